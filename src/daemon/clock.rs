//! The only file that asks the time.
//!
//! Engine time is boot time anchored to the wall clock at the start: it goes on during suspend, and it
//! does not jump when somebody sets the clock. A clock that was set, and a computer that slept, are
//! both told to the engine, so that neither looks like a sensor that fell silent.

use crate::domain::time::{Span, Timestamp};
use rustix::time::{ClockId, Timespec, clock_gettime};
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

/// Wall and boot time may differ by this before the clock counts as set.
const SET_MILLIS: i64 = 2_000;

/// Boot and running time may differ by this before the computer counts as having slept.
const SLEPT_MILLIS: i64 = 30_000;

/// Tells the time, and what happened to it.
#[derive(Debug)]
pub struct Clock {
    kind: Kind,
    running: Instant,
    booted: i64,
}

#[derive(Debug)]
enum Kind {
    /// The computer's clocks.
    Real {
        /// Wall time minus boot time, in milliseconds.
        offset: i64,
    },
    /// A pretend clock that starts at a time and runs faster.
    Fast { start: Timestamp, began: Instant, times: u32 },
}

/// What happened to time since the last look.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Happened {
    /// Nothing.
    Nothing,
    /// The clock was set by that much.
    Set(Span),
    /// The computer slept from one time to another.
    Slept(Timestamp, Timestamp),
}

impl Clock {
    /// The computer's clock.
    #[must_use]
    pub fn real() -> Self {
        let booted = boot_millis();
        Self { kind: Kind::Real { offset: wall_millis() - booted }, running: Instant::now(), booted }
    }

    /// A clock that starts at a time and runs `times` as fast: for the demo.
    #[must_use]
    pub fn fast(start: Timestamp, times: u32) -> Self {
        Self {
            kind: Kind::Fast { start, began: Instant::now(), times },
            running: Instant::now(),
            booted: boot_millis(),
        }
    }

    /// Now.
    #[must_use]
    pub fn now(&self) -> Timestamp {
        match &self.kind {
            Kind::Real { offset } => Timestamp::from_millis(boot_millis() + offset),
            Kind::Fast { start, began, times } => *start + Span::millis(elapsed_millis(began) * i64::from(*times)),
        }
    }

    /// How long to wait until a time, in the computer's own time.
    #[must_use]
    pub fn until(&self, at: Timestamp) -> Duration {
        let millis = (at - self.now()).as_millis().max(0);
        let millis = match &self.kind {
            Kind::Real { .. } => millis,
            Kind::Fast { times, .. } => millis / i64::from(*times) + 1,
        };
        Duration::from_millis(u64::try_from(millis).unwrap_or(0))
    }

    /// What happened to time since this was last asked.
    pub fn look(&mut self) -> Happened {
        let Kind::Real { offset } = &mut self.kind else {
            return Happened::Nothing;
        };
        let booted = boot_millis();
        let ran = elapsed_millis(&self.running);
        let passed = booted - self.booted;
        let before = Timestamp::from_millis(self.booted + *offset);
        self.running = Instant::now();
        self.booted = booted;
        if passed - ran > SLEPT_MILLIS {
            return Happened::Slept(before, Timestamp::from_millis(booted + *offset));
        }
        let set = wall_millis() - booted - *offset;
        if set.abs() > SET_MILLIS {
            *offset += set;
            return Happened::Set(Span::millis(set));
        }
        Happened::Nothing
    }
}

/// The wall clock, for commands that are not the daemon.
#[must_use]
pub fn wall() -> Timestamp {
    Timestamp::from_millis(wall_millis())
}

/// Now, to measure how long something takes.
#[must_use]
pub fn stopwatch() -> Instant {
    Instant::now()
}

fn wall_millis() -> i64 {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    i64::try_from(since.as_millis()).unwrap_or(i64::MAX)
}

fn boot_millis() -> i64 {
    let Timespec { tv_sec, tv_nsec } = clock_gettime(ClockId::Boottime);
    tv_sec.saturating_mul(1_000).saturating_add(tv_nsec / 1_000_000)
}

fn elapsed_millis(since: &Instant) -> i64 {
    i64::try_from(since.elapsed().as_millis()).unwrap_or(i64::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_real_clock_agrees_with_the_wall() {
        let mut clock = Clock::real();
        assert!((clock.now() - wall()).as_millis().abs() < 1_000);
        assert_eq!(clock.look(), Happened::Nothing);
    }

    #[test]
    fn the_fast_clock_waits_less() {
        let clock = Clock::fast(Timestamp::from_seconds(0), 1_000);
        let wait = clock.until(clock.now() + Span::minutes(10));
        assert!(wait <= Duration::from_millis(601), "{wait:?}");
    }
}
