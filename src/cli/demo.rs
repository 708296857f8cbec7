//! `recheck demo`: a scripted day of a modelled body through everything that is real: a file in a folder, the
//! watcher, the engine, the store, the outbox, and desktop notifications if a server is there. Only time runs fast.

use super::chart;
use super::print::{Failure, folded, line};
use super::stories::story;
use super::watch::{runtime, stop_asked};
use crate::config::ends::Watch;
use crate::config::{ChannelSettings, Settings, SourceSettings};
use crate::daemon::clock::Clock;
use crate::daemon::{Daemon, Heard, Plan, control};
use crate::domain::local::{Hours, Zone};
use crate::domain::reading::Reading;
use crate::domain::time::{Span, Timestamp};
use crate::engine::policy::{Policy, SourceKind, SourcePolicy};
use crate::formats::wanted::Wanted;
use crate::store::Store;
use crate::store::inbox::Said;
use crate::wearer::script::{ACTS, Act, LENGTH_MIN, at, readings};
use std::collections::BTreeMap;
use std::fs::OpenOptions;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use tokio::sync::mpsc;

/// How much faster than life the day runs: sixteen hours in a minute.
const TIMES: u32 = 1_000;

/// The day begins here: 2026-03-02 13:00 UTC.
const START: Timestamp = Timestamp::from_seconds(1_772_456_400);

/// History in the folder before the day begins.
const BEFORE_MIN: i64 = 60;

pub(super) fn run() -> Result<ExitCode, Failure> {
    let folder = TemporaryFolder::make()?;
    let policy = policy();
    let wanted = Settings {
        policy: policy.clone(),
        sources: vec![source(&folder.0)],
        channels: channels(),
        reaches: BTreeMap::new(),
    };
    line("DEMO: a night-shift baker wears a sensor and injects insulin. She sleeps from 06:30 to 13:00.");
    line("Sixteen hours pass in a minute. Nothing here is a real person; nothing is left behind.\n");
    let readings = runtime()?.block_on(live(&folder.0, wanted, &policy))?;
    line("\nThe day, in mg/dL (dots: 70 and 180; T: she treats):\n");
    let end = START + at(LENGTH_MIN);
    let treated: Vec<Timestamp> = ACTS.iter().map(|(minute, _, _)| START + at(*minute)).collect();
    for row in chart::draw(&readings, &treated, START..=end, policy.zone, [70, 180]) {
        line(row.trim_end());
    }
    line("\nNext: copy config/recheck.toml, run `recheck check`, then `recheck run`.");
    Ok(ExitCode::SUCCESS)
}

async fn live(folder: &Path, settings: Settings, policy: &Policy) -> Result<Vec<Reading>, Failure> {
    let file = folder.join("export").join("sensor.csv");
    write_history(&file)?;
    let (listener, heard) = mpsc::unbounded_channel();
    let clock = Clock::fast(START, TIMES);
    let pace = Clock::fast(START, TIMES);
    let plan = Plan {
        settings,
        folder: folder.join("state"),
        clock,
        mark: Some("DEMO"),
        stdin: false,
        listener: Some(listener),
        before_judging: None,
    };
    let mut daemon = Daemon::start(plan)?;
    let telling = tokio::spawn(tell(heard, policy.clone()));
    let state = folder.join("state");
    let stop = stop_asked()?;
    let day = async {
        tokio::select! {
            () = stop => Ok(()),
            done = act(&file, &state, &pace, policy.zone) => done,
        }
    };
    let (ended, ending) = tokio::sync::oneshot::channel();
    let day = async {
        let done = day.await;
        // The daemon's loop waits for this; when it is gone the day is over anyway.
        let _ = ended.send(());
        done
    };
    let watching = async {
        daemon
            .run(async {
                let _ = ending.await;
            })
            .await;
        daemon.take_down_all().await;
        drop(daemon);
    };
    let (done, ()) = tokio::join!(day, watching);
    done?;
    telling.await.map_err(|error| Failure::new(error.to_string()))
}

/// Writes each reading when it is due, and does what the wearer does.
async fn act(file: &Path, state: &Path, pace: &Clock, zone: Zone) -> Result<(), Failure> {
    let mut acts = ACTS.iter().peekable();
    let mut readings = readings().into_iter().peekable();
    for minute in 0..=LENGTH_MIN {
        let now = START + at(minute);
        tokio::time::sleep(pace.until(now)).await;
        if let Some((_, Some(glucose))) = readings.next_if(|(at, _)| *at == minute) {
            append(file, &format!("{},{}\n", written(now), glucose.shown(crate::domain::glucose::Unit::MgDl, None)))?;
        }
        if let Some((_, Act::Treats, words)) = acts.next_if(|(at, _, _)| *at == minute) {
            line(&format!("{}  SHE    {words}", zone.clock(now)));
            Store::open(state)?.say(now, &Said::Treated { which: None, at: now, look: None })?;
            if !control::wake(state) {
                return Err(Failure::new("the demo's daemon does not answer"));
            }
        }
    }
    Ok(())
}

/// Prints what the daemon says until it ends; returns the readings it took in.
async fn tell(mut heard: mpsc::UnboundedReceiver<Heard>, policy: Policy) -> Vec<Reading> {
    let mut readings = Vec::new();
    let mut delivered = 0_u32;
    while let Some(heard) = heard.recv().await {
        match heard {
            Heard::Readings(more) => readings.extend(more),
            Heard::Decided(at, decision) => folded(&story(at, &decision, &policy)),
            Heard::Delivered { .. } => delivered += 1,
        }
    }
    if delivered > 0 {
        line(&format!("\n{delivered} desktop notifications were accepted."));
    } else {
        line("\nNo desktop session here: no notification was shown.");
    }
    readings
}

fn policy() -> Policy {
    let mut policy = Policy::new(Zone::UTC);
    policy.night = Hours::parse("06:30-13:00").unwrap_or(policy.night);
    policy.sources = vec![SourcePolicy::new("sensor", SourceKind::Streaming)];
    policy
}

fn source(folder: &Path) -> SourceSettings {
    SourceSettings {
        name: "sensor".to_owned(),
        folder: folder.join("export"),
        files: "*.csv".to_owned(),
        subfolders: false,
        watch: Watch::Auto,
        format: Wanted::anything(Zone::UTC),
    }
}

fn channels() -> Vec<ChannelSettings> {
    let desktop = crate::channels::desktop::session_is_there();
    if desktop { vec![ChannelSettings::Desktop { name: "desktop".to_owned() }] } else { Vec::new() }
}

fn write_history(file: &Path) -> Result<(), Failure> {
    let mut text = String::from("time,glucose\n");
    for minute in (-BEFORE_MIN..0).step_by(5) {
        text.push_str(&written(START + Span::minutes(minute)));
        text.push_str(",118\n");
    }
    append(file, &text)
}

fn written(at: Timestamp) -> String {
    Zone::UTC.wall(at).format("%Y-%m-%d %H:%M:%S").to_string()
}

fn append(file: &Path, text: &str) -> Result<(), Failure> {
    let wrap = |error: std::io::Error| Failure::new(format!("cannot write {}: {error}", file.display()));
    let mut open = OpenOptions::new().create(true).append(true).open(file).map_err(wrap)?;
    open.write_all(text.as_bytes()).map_err(wrap)
}

/// Gone when the demo ends, however it ends.
struct TemporaryFolder(PathBuf);

impl TemporaryFolder {
    fn make() -> Result<Self, Failure> {
        let path = std::env::temp_dir().join(format!("recheck-demo-{}", std::process::id()));
        std::fs::create_dir_all(path.join("export")).map_err(|error| {
            Failure::new(format!("cannot make {}: {error}", path.display()))
                .hint("set TMPDIR to a folder you may write")
        })?;
        Ok(Self(path))
    }
}

impl Drop for TemporaryFolder {
    fn drop(&mut self) {
        if let Err(error) = std::fs::remove_dir_all(&self.0) {
            super::print::words(&format!("cannot remove {}: {error}", self.0.display()));
        }
    }
}
