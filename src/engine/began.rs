//! When a low began: one running value for each level, fed with every reading, so that it survives sleep,
//! stops, holes, and readings that come late. Rings nothing, and judges no level.

use super::Engine;
use super::effect::Condition;
use crate::domain::reading::Reading;
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// A low is back with two readings this far apart.
const BACK_OVER: Span = Span::minutes(4);

/// A beginning this long before what is told is said with it.
pub const TOLD_FROM: Span = Span::minutes(10);

/// The levels it is followed for.
const LEVELS: [Condition; 2] = [Condition::VeryLow, Condition::Low];

/// Readings beyond one limit, and those since that are not.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
struct Run {
    since: Timestamp,
    /// The first and the last reading since that is not beyond it.
    out: Option<(Timestamp, Timestamp)>,
}

/// The runs there are.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Beginnings {
    runs: Vec<(Condition, Run)>,
    /// The newest reading seen.
    seen: Option<Timestamp>,
}

impl Beginnings {
    fn of(&self, condition: Condition) -> Option<Run> {
        self.runs.iter().find(|(known, _)| *known == condition).map(|(_, run)| *run)
    }

    /// Since when values beyond that level go on; `known` where it is known for longer, or nothing is beyond it.
    pub(super) fn since(&self, condition: Condition, known: Timestamp) -> Timestamp {
        self.of(condition).map_or(known, |run| run.since.min(known))
    }

    fn set(&mut self, condition: Condition, run: Option<Run>) {
        self.runs.retain(|(known, _)| *known != condition);
        self.runs.extend(run.map(|run| (condition, run)));
    }

    /// The source's clock was set.
    pub(super) fn shift(&mut self, by: Span) {
        for (_, run) in &mut self.runs {
            run.since = run.since + by;
            run.out = run.out.map(|(first, last)| (first + by, last + by));
        }
        self.seen = self.seen.map(|seen| seen + by);
    }
}

impl Run {
    /// One more reading, measured after all others; none when it is over.
    fn follow(run: Option<Self>, condition: Condition, beyond: bool, at: Timestamp) -> Option<Self> {
        let Some(run) = run else { return beyond.then_some(Self { since: at, out: None }) };
        let out = match (run.out, beyond) {
            (known, true) => known,
            (known, false) => Some((known.map_or(at, |(first, _)| first), at)),
        };
        let is_over = out.is_some_and(|(first, last)| match condition {
            Condition::VeryLow => true,
            _ => last - first >= BACK_OVER,
        });
        match (is_over, beyond) {
            (true, true) => Some(Self { since: at, out: None }),
            (true, false) => None,
            (false, true) => Some(Self { out: None, ..run }),
            (false, false) => Some(Self { out, ..run }),
        }
    }
}

impl Engine {
    /// One more reading came in, of now or late.
    #[inline]
    pub(super) fn follow_beginnings(&mut self, reading: &Reading) {
        let (at, value) = (reading.measured, reading.glucose.hundredths());
        let levels = &self.policy.levels;
        let within = value >= levels.low.limit.hundredths();
        let began = &mut self.state.register.began;
        let is_late = began.seen.is_some_and(|seen| at < seen);
        if !is_late {
            began.seen = Some(at);
        }
        if !(within && began.runs.is_empty()) {
            if is_late { self.look_back_for_beginnings() } else { self.follow_each(reading) }
        }
    }

    fn follow_each(&mut self, reading: &Reading) {
        for condition in LEVELS {
            let Some((level, side)) = self.policy.levels.of(condition).zip(condition.side()) else { continue };
            let beyond = side.is_beyond(reading.glucose, level.limit);
            let began = &mut self.state.register.began;
            let run = Run::follow(began.of(condition), condition, beyond, reading.measured);
            began.set(condition, run);
        }
    }

    /// A late reading: where those before a beginning are beyond as well, it began earlier.
    #[cold]
    fn look_back_for_beginnings(&mut self) {
        for condition in LEVELS {
            let Some((level, side)) = self.policy.levels.of(condition).zip(condition.side()) else { continue };
            let Some(run) = self.state.register.began.of(condition) else { continue };
            let before = self.state.window.all_newest_first().skip_while(|reading| reading.measured >= run.since);
            let beyond = before.take_while(|reading| side.is_beyond(reading.glucose, level.limit));
            if let Some(first) = beyond.last() {
                let since = first.measured;
                self.state.register.began.set(condition, Some(Run { since, ..run }));
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn since(condition: Condition, beyond: &[(i64, bool)]) -> Option<i64> {
        let at = |minute: i64| Timestamp::from_seconds(minute * 60);
        let run = beyond.iter().fold(None, |run, (minute, beyond)| Run::follow(run, condition, *beyond, at(*minute)));
        run.map(|run| run.since.seconds() / 60)
    }

    #[test]
    fn a_run_goes_on_through_holes_and_ends_as_its_level_does() {
        assert_eq!(since(Condition::VeryLow, &[(0, true), (90, true)]), Some(0), "a hole is no end");
        assert_eq!(since(Condition::VeryLow, &[(0, true), (5, false), (10, true)]), Some(10));
        assert_eq!(since(Condition::Low, &[(0, true), (5, false), (10, true)]), Some(0), "one reading is not back");
        assert_eq!(since(Condition::Low, &[(0, true), (5, false), (10, false), (15, true)]), Some(15));
    }
}
