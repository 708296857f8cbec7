//! `recheck run`.

use super::Place;
use super::print::{FAILED, Failure, words};
use crate::daemon::clock::Clock;
use crate::daemon::{Daemon, Plan, Stopped};
use std::process::ExitCode;
use tokio::signal::unix::{SignalKind, signal};
use tracing_subscriber::EnvFilter;

pub(super) fn run(place: &Place, stdin: bool) -> Result<ExitCode, Failure> {
    log();
    let settings = place.settings()?;
    let runtime = runtime()?;
    let watched: Vec<(String, String)> = settings
        .sources
        .iter()
        .filter(|_| !stdin)
        .map(|source| (source.name.clone(), source.folder.display().to_string()))
        .collect();
    runtime.block_on(async {
        let plan = Plan {
            settings,
            folder: place.state(),
            clock: Clock::real(),
            mark: None,
            stdin,
            listener: None,
            before_judging: None,
        };
        let mut daemon = Daemon::start(plan)?;
        let stop = stop_asked()?;
        for (source, folder) in &watched {
            tracing::info!(%source, %folder, "watching");
        }
        match daemon.run(stop).await {
            Stopped::InOrder => Ok(ExitCode::SUCCESS),
            Stopped::InputEnded => {
                words("error: standard input has ended; nothing is watched any more");
                Ok(ExitCode::from(FAILED))
            }
            Stopped::Broken => {
                words("error: the engine failed; the wearer was told");
                Ok(ExitCode::from(FAILED))
            }
        }
    })
}

/// One thread turns the loop; it waits far more than it works.
pub(super) fn runtime() -> Result<tokio::runtime::Runtime, Failure> {
    tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|error| Failure::new(format!("cannot start: {error}")))
}

/// Ends when the program is asked to stop.
pub(super) fn stop_asked() -> Result<impl Future<Output = ()>, Failure> {
    let wrap = |error: std::io::Error| Failure::new(format!("cannot listen for signals: {error}"));
    let mut term = signal(SignalKind::terminate()).map_err(wrap)?;
    let mut interrupt = signal(SignalKind::interrupt()).map_err(wrap)?;
    Ok(async move {
        tokio::select! {
            _ = term.recv() => {}
            _ = interrupt.recv() => {}
        }
    })
}

fn log() {
    let filter = EnvFilter::try_from_env("RECHECK_LOG").unwrap_or_else(|_| EnvFilter::new("info"));
    // Under a service manager the journal puts the time before each line.
    let under_manager = std::env::var_os("JOURNAL_STREAM").is_some();
    let lines = tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(std::io::stderr)
        .with_target(false)
        .with_ansi(false);
    if under_manager {
        lines.without_time().init();
    } else {
        lines.init();
    }
}
