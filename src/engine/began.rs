//! When a low began: one running value for each level, fed with every reading, so that it survives sleep,
//! stops, holes, and readings that come late. Rings nothing, and judges no level.

use super::Engine;
use super::effect::Condition;
use crate::domain::reading::Reading;
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// A low is back with two readings this far apart that do not fall by this, in hundredths of a mg/dL per minute.
const BACK_OVER: Span = Span::minutes(4);
const BACK_FALLS_BY: i32 = -100;

/// A beginning this long before what is told is said with it.
pub const TOLD_FROM: Span = Span::minutes(10);

/// The levels it is followed for.
const LEVELS: [Condition; 2] = [Condition::VeryLow, Condition::Low];

/// Readings beyond one limit, and those since that are not.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
struct Run {
    since: Timestamp,
    /// The first reading since the last beyond it.
    back: Option<Timestamp>,
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

    /// Since when it is low, until it is back.
    pub(super) fn low_since(&self) -> Option<Timestamp> {
        self.of(Condition::Low).map(|run| run.since)
    }

    fn set(&mut self, condition: Condition, run: Option<Run>) {
        self.runs.retain(|(known, _)| *known != condition);
        self.runs.extend(run.map(|run| (condition, run)));
    }

    /// The source's clock was set.
    pub(super) fn shift(&mut self, by: Span) {
        for (_, run) in &mut self.runs {
            run.since = run.since + by;
            run.back = run.back.map(|back| back + by);
        }
        self.seen = self.seen.map(|seen| seen + by);
    }
}

impl Run {
    /// One more reading, measured after all others; none when it is over.
    fn follow(run: Option<Self>, condition: Condition, beyond: bool, falls: bool, at: Timestamp) -> Option<Self> {
        let Some(run) = run else { return beyond.then_some(Self { since: at, back: None }) };
        if beyond {
            return Some(Self { back: None, ..run });
        }
        let back = run.back.unwrap_or(at);
        let is_over = condition == Condition::VeryLow || at - back >= BACK_OVER && !falls;
        (!is_over).then_some(Self { back: Some(back), ..run })
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
        let rate = self.latest_of(reading.source).and_then(|judged| judged.rate);
        let falls = rate.is_some_and(|rate| rate.0 <= BACK_FALLS_BY);
        for condition in LEVELS {
            let Some((level, side)) = self.policy.levels.of(condition).zip(condition.side()) else { continue };
            let beyond = side.is_beyond(reading.glucose, level.limit);
            let began = &mut self.state.register.began;
            let run = Run::follow(began.of(condition), condition, beyond, falls, reading.measured);
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
        let run =
            beyond.iter().fold(None, |run, (minute, beyond)| Run::follow(run, condition, *beyond, false, at(*minute)));
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
