//! When a folder is looked at, and which of its files. Events only say where to look; what is there is found
//! by looking, and all is looked at once a minute anyway.

use super::Incoming;
use super::folder::{Folder, SETTLED, Wake};
use super::listing::{BOUNDS, Named, named};
use std::collections::BTreeSet;
use std::path::PathBuf;
use std::sync::mpsc::RecvTimeoutError;
use std::time::{Duration, Instant};

/// A look at all files waits at least so many times as long as the last one took, so that looking alone
/// never takes more than about a twentieth of a core...
const REST_TIMES: u32 = 20;

/// ... and never longer than this: a slow disk must not hide a low.
const REST_MAX: Duration = Duration::from_secs(300);

impl Folder {
    /// Watches until told to stop. Runs on a thread of its own.
    pub fn watch(mut self) {
        if !self.look_once() || self.queue.blocking_send(Incoming::LookedOnce).is_err() {
            return;
        }
        let (mut rested_at, mut all_at) = self.next_looks();
        loop {
            let now = Instant::now();
            let settles_at = now + SETTLED;
            let wakes_at = if self.unsettled.is_empty() { all_at } else { all_at.min(settles_at) };
            let mut woken = self.wake.recv_timeout(wakes_at.saturating_duration_since(now));
            while let Ok(wake) = woken {
                match wake {
                    Wake::Stop => return,
                    Wake::Back(places) => {
                        self.places = places;
                        all_at = now;
                    }
                    Wake::Changed => all_at = all_at.min(rested_at),
                    Wake::Noticed => {}
                }
                woken = self.wake.try_recv().map_err(|_| RecvTimeoutError::Timeout);
            }
            let noticed = self.events.take();
            if noticed.all {
                all_at = all_at.min(rested_at);
            }
            let goes_on = if Instant::now() >= all_at {
                let goes_on = self.look_once();
                (rested_at, all_at) = self.next_looks();
                goes_on
            } else {
                let mut files: BTreeSet<PathBuf> = self.unsettled.keys().map(PathBuf::from).collect();
                for below in &noticed.paths {
                    match named(&self.settings, below, BOUNDS) {
                        Named::File(path) => drop(files.insert(path)),
                        Named::Folder if self.settings.subfolders => all_at = all_at.min(rested_at),
                        Named::Folder | Named::Nothing => {}
                    }
                }
                files.into_iter().try_for_each(|path| self.look_at(&path)).is_ok()
            };
            if !goes_on {
                return;
            }
        }
    }

    /// When all may be looked at again at the earliest, and when it will be at the latest.
    fn next_looks(&self) -> (Instant, Instant) {
        let rest = self.took.saturating_mul(REST_TIMES).min(REST_MAX);
        let now = Instant::now();
        (now + rest, now + rest.max(self.events.look_every()))
    }
}
