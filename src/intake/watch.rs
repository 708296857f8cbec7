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
                    Wake::Travels(travels) => self.travels = travels,
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::SourceSettings;
    use crate::config::ends::Watch;
    use crate::domain::local::Zone;
    use crate::domain::reading::SourceId;
    use crate::formats::wanted::Wanted;
    use crate::intake::places::Places;

    /// Looking alone never takes more than a twentieth of the time, until the wait would hide too much.
    #[test]
    fn a_look_that_takes_long_is_followed_by_a_long_rest() {
        let (name, files) = ("sensor".to_owned(), "*.csv".to_owned());
        let format = Wanted::anything(Zone::UTC);
        let settings =
            SourceSettings { name, folder: "/".into(), files, subfolders: false, watch: Watch::Events, format };
        let (queue, _kept) = tokio::sync::mpsc::channel(1);
        let (mut folder, _waker) = Folder::new(SourceId(0), settings, Places::default(), false, queue);
        // Took, rest after it, wait until the next look at all: in seconds.
        for (took, rest, wait) in [(0, 0, 60), (1, 20, 60), (6, 120, 120), (60, 300, 300)] {
            folder.took = Duration::from_secs(took);
            let began = Instant::now();
            let (rested_at, all_at) = folder.next_looks();
            let near = |at: Instant, seconds: u64| {
                let over = (at - began).saturating_sub(Duration::from_secs(seconds));
                at >= began + Duration::from_secs(seconds) && over < Duration::from_secs(5)
            };
            assert!(near(rested_at, rest) && near(all_at, wait), "took {took} s");
        }
    }
}
