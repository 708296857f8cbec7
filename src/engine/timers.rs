//! Named deadlines, kept as data so that they survive a restart. Nothing is spawned.

use super::effect::Id;
use super::mode::Due;
use crate::domain::reading::SourceId;
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// What falls due.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Timer {
    /// A treated low is looked at again.
    LowLook,
    /// A treated high is looked at again, or an unmarked one is asked about.
    HighLook,
    /// An evening's treated high is looked at in the small hours.
    EveningLook,
    /// Late readings have stopped coming in: what they held is told.
    Past,
    /// A source has been silent for too long.
    Gap(SourceId),
    /// A scanned sensor is to be scanned.
    Scan(SourceId),
    /// A sensor's end is to be told.
    SensorEnd(SourceId),
    /// The next step for a low that nobody answers.
    Chain,
    /// Somebody else is called for a silence that nobody answers.
    GapCall(SourceId),
    /// The next step for another alert that nobody answers.
    Waiting,
    /// A limited silence is over.
    Quiet,
    /// One of the wearer's own reminders is due.
    Reminder(Id),
    /// Quiet hours are over, the night among them: what waited is told.
    #[serde(alias = "morning")]
    Digest,
    /// A flood of alerts may be over, or told again.
    Flood,
    /// The wearer is reminded of what is switched off.
    Off,
    /// The wearer's bedtime has come.
    Bedtime,
    /// Something of a mode is due.
    Mode(Due),
}

/// All running timers; at most one of each name.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Timers {
    due: Vec<(Timer, Timestamp)>,
}

impl Timers {
    /// Starts a timer, or moves it.
    pub fn set(&mut self, timer: Timer, at: Timestamp) {
        match self.due.iter_mut().find(|(known, _)| *known == timer) {
            Some(entry) => entry.1 = at,
            None => self.due.push((timer, at)),
        }
    }

    /// Stops a timer; one that is not running stays so.
    pub fn stop(&mut self, timer: Timer) {
        if let Some(place) = self.due.iter().position(|(known, _)| *known == timer) {
            self.due.remove(place);
        }
    }

    /// How many are running.
    #[must_use]
    pub const fn count(&self) -> usize {
        self.due.len()
    }

    /// When a timer falls due.
    #[must_use]
    pub fn due(&self, timer: Timer) -> Option<Timestamp> {
        self.due.iter().find(|(known, _)| *known == timer).map(|(_, at)| *at)
    }

    /// The earliest deadline.
    #[must_use]
    pub fn next(&self) -> Option<Timestamp> {
        self.due.iter().map(|(_, at)| *at).min()
    }

    /// Takes out the earliest timer that is due; of two due at once, the one named first above.
    pub fn expired(&mut self, now: Timestamp) -> Option<(Timer, Timestamp)> {
        if self.due.iter().all(|(_, at)| *at > now) {
            return None;
        }
        let (timer, at) =
            self.due.iter().copied().filter(|(_, at)| *at <= now).min_by_key(|(timer, at)| (*at, *timer))?;
        self.stop(timer);
        Some((timer, at))
    }

    /// Nothing falls due before `earliest`.
    pub fn not_before(&mut self, earliest: Timestamp) {
        for (_, at) in &mut self.due {
            *at = (*at).max(earliest);
        }
    }

    /// The clock was set: every span keeps its length.
    pub fn shift(&mut self, by: Span) {
        for (_, at) in &mut self.due {
            *at = *at + by;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(minute: i64) -> Timestamp {
        Timestamp::from_seconds(minute * 60)
    }

    #[test]
    fn expire_in_due_order_not_in_the_order_set() {
        let mut timers = Timers::default();
        timers.set(Timer::LowLook, at(30));
        timers.set(Timer::Gap(SourceId(1)), at(10));
        timers.set(Timer::HighLook, at(20));
        timers.set(Timer::LowLook, at(15));
        assert_eq!(timers.next(), Some(at(10)));
        assert_eq!(timers.expired(at(9)), None);
        let order: Vec<Timer> = std::iter::from_fn(|| timers.expired(at(60)).map(|(timer, _)| timer)).collect();
        assert_eq!(order, [Timer::Gap(SourceId(1)), Timer::LowLook, Timer::HighLook]);
    }
}
