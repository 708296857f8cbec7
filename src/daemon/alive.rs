//! Tells the service manager that the loop turns. Fed only by a completed turn, so that a hung loop is
//! restarted. One lock keeps two daemons from watching with one state folder.

use sd_notify::NotifyState;
use std::fs::{File, OpenOptions};
use std::io;
use std::path::Path;
use std::time::Duration;

/// Holds the state folder; released when dropped or when the process ends, however it ends.
#[derive(Debug)]
pub struct Lock {
    _file: File,
}

impl Lock {
    /// Takes the lock; none when another daemon holds it.
    ///
    /// # Errors
    /// When the lock file cannot be made.
    pub fn take(folder: &Path) -> io::Result<Option<Self>> {
        let file = OpenOptions::new().create(true).truncate(false).write(true).open(folder.join("lock"))?;
        match file.try_lock() {
            Ok(()) => Ok(Some(Self { _file: file })),
            Err(std::fs::TryLockError::WouldBlock) => Ok(None),
            Err(std::fs::TryLockError::Error(error)) => Err(error),
        }
    }
}

/// How often the manager wants to hear of a turn: half of what it waits for; none without a watchdog.
#[must_use]
pub fn wanted_every() -> Option<Duration> {
    sd_notify::watchdog_enabled().map(|watchdog| watchdog / 2)
}

/// The loop is ready.
pub fn ready() {
    tell(&[NotifyState::Ready]);
}

/// A turn is complete.
pub fn turned() {
    tell(&[NotifyState::Watchdog]);
}

/// The program is stopping in order.
pub fn stopping() {
    tell(&[NotifyState::Stopping]);
}

fn tell(state: &[NotifyState<'_>]) {
    // Without a service manager this is nothing; with one, a failure would end in a restart: say so.
    if let Err(error) = sd_notify::notify(state) {
        tracing::warn!(%error, "cannot tell the service manager");
    }
}
