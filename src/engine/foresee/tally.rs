//! How a person's forecasts come out, by the day: for `why`, and for a chance to ring from that moves by itself.
//! Stretches in which the sensor is doubted do not count.

use super::policy::{ForecastPolicy, TRUE_WITHIN};
use crate::domain::time::{Span, Timestamp};
use crate::engine::forecast::Chance;
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;

/// Days that are kept; a day is so much time followed by readings.
const DAYS_KEPT: usize = 28;

/// A longer silence is not followed.
const SILENCE_MIN: i64 = 35;

/// The chance moves by this, at most once in so many days, by what these days held. Ours.
const STEP_PERCENT: i16 = 5;
const STEP_DAYS: u8 = 7;

/// It never moves beyond this: a chance is hardly ever said to be higher, and nothing would ring.
const SOUND_MAX_PERCENT: u8 = 70;

/// What came of the forecasts of one day.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
struct Day {
    rang_true: u16,
    rang_false: u16,
    silent_true: u16,
    silent_false: u16,
    /// From its first reading to its last; not known of one that an older version kept.
    #[serde(default)]
    stretch: Option<(Timestamp, Timestamp)>,
    /// A stretch that is not to be counted reaches into it.
    #[serde(default)]
    left_out: bool,
}

/// A forecast of which it is not known yet what came.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
struct Waiting {
    since: Timestamp,
    rang: bool,
}

/// What came of the forecasts of one condition.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Tally {
    days: VecDeque<Day>,
    today: Day,
    waiting: Vec<Waiting>,
    moved: i16,
    days_since: u8,
}

/// How many of the last forecasts like this one came true.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Came {
    /// Those that did.
    pub came: u32,
    /// Of so many.
    pub of: u32,
}

impl Day {
    const fn count(&mut self, rang: bool, came: bool) {
        let into = match (rang, came) {
            (true, true) => &mut self.rang_true,
            (true, false) => &mut self.rang_false,
            (false, true) => &mut self.silent_true,
            (false, false) => &mut self.silent_false,
        };
        *into = into.saturating_add(1);
    }

    /// Does something that is not to be counted reach into it?
    fn leave_out(&mut self, stretches: &[(Timestamp, Timestamp)]) {
        let reaches =
            |(first, last): (Timestamp, Timestamp)| stretches.iter().any(|(from, to)| *from <= last && first < *to);
        self.left_out = self.stretch.is_some_and(reaches);
    }
}

/// How long readings were followed of the day under way; the same for all forecasts.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Followed {
    span: Span,
    last: Option<Timestamp>,
    /// The first reading of that day.
    #[serde(default)]
    first: Option<Timestamp>,
}

/// How one more reading follows those before.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Follows {
    /// It goes on.
    On,
    /// It completes the day that began then.
    EndsDay {
        /// When.
        first: Timestamp,
    },
    /// After a silence, or while the sensor is doubted: what came meanwhile is not known.
    Not,
}

impl Followed {
    /// One more reading.
    pub(super) fn follow(&mut self, at: Timestamp, counts: bool) -> Follows {
        let step = self.last.map_or(Span::ZERO, |last| at - last);
        self.last = Some(at);
        if !counts || step <= Span::ZERO || step > Span::minutes(SILENCE_MIN) {
            return Follows::Not;
        }
        self.first.get_or_insert(at);
        self.span = self.span + step;
        if self.span < Span::hours(24) {
            return Follows::On;
        }
        self.span = Span::ZERO;
        Follows::EndsDay { first: self.first.take().unwrap_or(at) }
    }

    /// The day under way, as far as it was followed.
    pub(super) fn today(&self) -> Option<(Timestamp, Timestamp)> {
        self.first.zip(self.last)
    }
}

impl Tally {
    /// Is there a forecast of which it is not known yet what came?
    pub(super) const fn waits(&self) -> bool {
        !self.waiting.is_empty()
    }

    /// One more reading: it may decide what waits, and complete a day.
    pub(super) fn follow(&mut self, at: Timestamp, beyond: bool, follows: Follows, policy: &ForecastPolicy) {
        if follows == Follows::Not {
            // What a silence hides is neither true nor false.
            self.waiting.clear();
            return;
        }
        if self.waits() {
            self.decide(at, beyond);
        }
        if let Follows::EndsDay { first } = follows {
            self.today.stretch = Some((first, at));
            self.end_day(policy);
        }
    }

    fn decide(&mut self, at: Timestamp, beyond: bool) {
        if beyond {
            for waiting in self.waiting.drain(..) {
                self.today.count(waiting.rang, at - waiting.since <= TRUE_WITHIN);
            }
        } else if self.waiting.first().is_some_and(|first| at - first.since >= TRUE_WITHIN) {
            let first = self.waiting.remove(0);
            self.today.count(first.rang, false);
        }
    }

    fn end_day(&mut self, policy: &ForecastPolicy) {
        if self.days.len() == DAYS_KEPT {
            self.days.pop_front();
        }
        self.days.push_back(std::mem::take(&mut self.today));
        self.days_since = self.days_since.saturating_add(1);
        let Some(target) = policy.false_a_day else {
            self.moved = 0;
            return;
        };
        if self.days_since < STEP_DAYS {
            return;
        }
        self.days_since = 0;
        let last = self.days.iter().rev().take(usize::from(STEP_DAYS)).filter(|day| !day.left_out);
        let (days, rang_false) = last.fold((0, 0), |(days, sum), day| (days + 1, sum + u32::from(day.rang_false)));
        if days == 0 {
            return;
        }
        let (rate, target) = (rang_false * 100, u32::from(target) * days);
        let before = self.sounds_from(policy);
        let by = if rate > target {
            STEP_PERCENT
        } else if rate * 2 < target {
            -STEP_PERCENT
        } else {
            0
        };
        self.moved += by;
        // One that cannot move further does not go on counting.
        if self.sounds_from(policy) == before {
            self.moved -= by;
        }
    }

    /// Days that something reaches into that is not to be counted do not count, and count again when it is taken back.
    pub(super) fn leave_out(&mut self, stretches: &[(Timestamp, Timestamp)], today: Option<(Timestamp, Timestamp)>) {
        self.today.stretch = today;
        self.days.iter_mut().chain(std::iter::once(&mut self.today)).for_each(|day| day.leave_out(stretches));
    }

    /// A forecast was raised; what comes of it is not known yet.
    pub(super) fn wait_for(&mut self, since: Timestamp, rang: bool) {
        self.waiting.push(Waiting { since, rang });
    }

    /// The last one rings after all.
    pub(super) fn rings_now(&mut self) {
        if let Some(last) = self.waiting.last_mut() {
            last.rang = true;
        }
    }

    /// From this chance on it rings now: that of the settings, or what it has moved to.
    #[must_use]
    pub fn sounds_from(&self, policy: &ForecastPolicy) -> Chance {
        if policy.false_a_day.is_none() {
            return policy.sound;
        }
        let moved = policy.sound.share() + f64::from(self.moved) / 100.0;
        Chance::of(moved).min(Chance::percent(SOUND_MAX_PERCENT).max(policy.sound)).max(policy.raise)
    }

    /// How the forecasts of the last four weeks came out: those that rang, or those that did not.
    #[must_use]
    pub fn came(&self, rang: bool) -> Came {
        let days = self.days.iter().chain(std::iter::once(&self.today)).filter(|day| !day.left_out);
        days.fold(Came { came: 0, of: 0 }, |sum, day| {
            let (came, not) = if rang { (day.rang_true, day.rang_false) } else { (day.silent_true, day.silent_false) };
            Came { came: sum.came + u32::from(came), of: sum.of + u32::from(came) + u32::from(not) }
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::local::Zone;
    use crate::engine::effect::Condition;
    use crate::engine::policy::Policy;

    #[test]
    fn a_day_that_is_not_to_be_counted_counts_again_when_that_is_taken_back() {
        let policy = Policy::new(Zone::UTC);
        let policy = policy.forecasts.of(Condition::ForecastLow).unwrap();
        let at = |minutes: i64| Timestamp::from_seconds(minutes * 60);
        let mut tally = Tally::default();
        // Two days, each with a forecast that came true.
        for day in [0, 1_440] {
            tally.wait_for(at(day + 600), true);
            tally.follow(at(day + 605), false, Follows::On, policy);
            tally.follow(at(day + 610), true, Follows::On, policy);
            tally.follow(at(day + 1_440), false, Follows::EndsDay { first: at(day + 5) }, policy);
        }
        let counted = |tally: &Tally| (tally.came(true).came, tally.came(true).of);
        assert_eq!(counted(&tally), (2, 2));
        tally.leave_out(&[(at(1_440 + 606), at(1_440 + 607))], None);
        assert_eq!(counted(&tally), (1, 1));
        tally.leave_out(&[(at(0), at(6_000))], None);
        assert_eq!(counted(&tally), (0, 0));
        tally.leave_out(&[(at(3_000), at(6_000))], None);
        assert_eq!(counted(&tally), (2, 2), "nothing reaches into them any more");
        tally.wait_for(at(3_000), false);
        tally.follow(at(3_005), true, Follows::On, policy);
        assert_eq!(tally.came(false).of, 1);
        tally.leave_out(&[(at(3_004), at(6_000))], Some((at(2_890), at(3_005))));
        assert_eq!(tally.came(false).of, 0, "the day under way is not counted either");
    }
}
