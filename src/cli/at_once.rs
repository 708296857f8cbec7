//! Jobs worked off on all cores at once. What comes of them is handed over in their order, so that nothing printed
//! depends on the number of cores; and on a terminal a bar shows how far it is, for as long as it lasts.

use super::print;
use crate::daemon::clock;
use std::collections::BTreeMap;
use std::num::NonZero;
use std::sync::atomic::{AtomicU32, AtomicUsize, Ordering};
use std::sync::mpsc::{self, RecvTimeoutError};
use std::time::{Duration, Instant};

/// What is over sooner shows no bar.
const SHOWN_AFTER: Duration = Duration::from_secs(1);

/// How often the bar is drawn, if nothing comes of a job meanwhile.
const DRAWN_EVERY: Duration = Duration::from_millis(100);

/// Cells of the bar.
const CELLS: u32 = 40;

/// All of a job.
const WHOLE: u32 = 1_000;

/// How far one job is.
#[derive(Debug)]
pub(super) struct Share<'a>(&'a AtomicU32);

impl Share<'_> {
    /// So much of it is done, of so much.
    pub(super) fn reach(&self, done: i64, of: i64) {
        let thousandths = (done.max(0) * i64::from(WHOLE)).checked_div(of).and_then(|part| u32::try_from(part).ok());
        self.0.store(thousandths.unwrap_or(0).min(WHOLE), Ordering::Relaxed);
    }
}

/// Works off as many jobs as that, each by its number, and takes what comes of them in their order.
pub(super) fn in_order<T: Send>(jobs: usize, work: impl Fn(usize, &Share<'_>) -> T + Sync, mut take: impl FnMut(T)) {
    let cores = std::thread::available_parallelism().map_or(1, NonZero::get).min(jobs);
    let shares: Vec<AtomicU32> = (0..jobs).map(|_| AtomicU32::new(0)).collect();
    let next = AtomicUsize::new(0);
    let (sender, done) = mpsc::channel();
    std::thread::scope(|scope| {
        for _ in 0..cores {
            let (sender, shares, next, work) = (sender.clone(), &shares, &next, &work);
            scope.spawn(move || {
                while let Some((job, share)) = {
                    let job = next.fetch_add(1, Ordering::Relaxed);
                    shares.get(job).map(|share| (job, share))
                } {
                    let came = work(job, &Share(share));
                    share.store(WHOLE, Ordering::Relaxed);
                    if sender.send((job, came)).is_err() {
                        return;
                    }
                }
            });
        }
        drop(sender);
        let mut bar = Bar::new();
        let mut early: BTreeMap<usize, T> = BTreeMap::new();
        let mut taken = 0;
        loop {
            match done.recv_timeout(DRAWN_EVERY) {
                Ok((job, came)) => {
                    early.insert(job, came);
                    while let Some(came) = early.remove(&taken) {
                        bar.take_away();
                        take(came);
                        taken += 1;
                    }
                }
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => break,
            }
            bar.draw(&shares);
        }
        bar.take_away();
    });
}

/// A line on standard error, where that is a terminal. It is not there while something else is printed.
struct Bar {
    begun: Instant,
    is_shown: bool,
}

impl Bar {
    fn new() -> Self {
        Self { begun: clock::stopwatch(), is_shown: false }
    }

    fn draw(&mut self, shares: &[AtomicU32]) {
        if self.begun.elapsed() < SHOWN_AFTER {
            return;
        }
        let sum: u32 = shares.iter().map(|share| share.load(Ordering::Relaxed)).sum();
        let whole = u32::try_from(shares.len()).unwrap_or(u32::MAX).saturating_mul(WHOLE);
        print::passing(&bar(sum, whole));
        self.is_shown = true;
    }

    fn take_away(&mut self) {
        if std::mem::take(&mut self.is_shown) {
            print::passing("");
        }
    }
}

fn bar(done: u32, of: u32) -> String {
    let part = |whole: u32| u64::from(done) * u64::from(whole) / u64::from(of.max(1));
    let filled = usize::try_from(part(CELLS)).unwrap_or(0);
    let empty = usize::try_from(CELLS).unwrap_or(0).saturating_sub(filled);
    format!("replaying [{}{}] {:>3} %", "=".repeat(filled), " ".repeat(empty), part(100))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_comes_of_jobs_is_taken_in_their_order() {
        let mut taken = Vec::new();
        // The first one lasts longest.
        let work = |job: usize, share: &Share<'_>| {
            share.reach(1, 2);
            std::thread::sleep(Duration::from_millis(if job == 0 { 50 } else { 0 }));
            job
        };
        in_order(40, work, |job| taken.push(job));
        assert_eq!(taken, (0..40).collect::<Vec<_>>());
        in_order(0, work, |_| panic!("there was no job"));
    }

    #[test]
    fn the_bar_fills() {
        assert_eq!(bar(0, 1_000), format!("replaying [{}]   0 %", " ".repeat(40)));
        assert_eq!(bar(500, 1_000), format!("replaying [{}{}]  50 %", "=".repeat(20), " ".repeat(20)));
        assert_eq!(bar(1_000, 1_000), format!("replaying [{}] 100 %", "=".repeat(40)));
        assert_eq!(bar(0, 0), format!("replaying [{}]   0 %", " ".repeat(40)));
    }
}
