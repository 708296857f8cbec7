//! Readings that came in late. They enter the window and raise nothing; what they held beyond the
//! limits is told in one line.

use super::Engine;
use super::effect::{Condition, Id, What};
use super::reason::{PastSpan, Reason};
use super::turn::Turn;
use crate::domain::reading::Reading;
use crate::domain::time::{Span, Timestamp};

/// A break longer than this between two past readings ends a stretch.
const BREAK_MIN: i64 = 35;

/// Most stretches told in one line: the worst first.
const SPANS_TOLD_MAX: usize = 3;

impl Engine {
    /// Tells what past readings held. `judged` is the reading that is judged as now: a stretch that
    /// runs into it is told by its alert, not here.
    pub(super) fn tell_past(&self, turn: &mut Turn, past: &[Reading], judged: Option<&Reading>) {
        let levels = &self.policy.levels;
        let mut spans = Vec::new();
        for (condition, below) in [(Condition::VeryLow, true), (Condition::Low, true), (Condition::VeryHigh, false)] {
            let Some(level) = levels.of(condition) else {
                continue;
            };
            let limit = level.limit.hundredths();
            let beyond = |reading: &Reading| {
                let value = reading.glucose.hundredths();
                if below { value < limit } else { value > limit }
            };
            let told_by_alert = judged.is_some_and(beyond);
            for (from, to) in stretches(past, &beyond) {
                let runs_on = told_by_alert && past.last().is_some_and(|last| last.measured == to);
                // A low that went very low is one stretch to tell: the worse one.
                let inside_worse = spans.iter().any(|worse: &PastSpan| {
                    condition == Condition::Low
                        && worse.condition == Condition::VeryLow
                        && worse.from >= from
                        && worse.to <= to
                });
                if !runs_on && !inside_worse {
                    spans.push(PastSpan { condition, limit: level.limit, from, to });
                }
            }
        }
        if spans.is_empty() {
            return;
        }
        spans.truncate(SPANS_TOLD_MAX);
        turn.tell(What::Told, Condition::WhileAway, Id(0), None, Reason::Past { spans }, true);
    }
}

/// Unbroken stretches of readings beyond a limit.
fn stretches(readings: &[Reading], beyond: &impl Fn(&Reading) -> bool) -> Vec<(Timestamp, Timestamp)> {
    let mut found: Vec<(Timestamp, Timestamp)> = Vec::new();
    let mut open = false;
    let mut before: Option<Timestamp> = None;
    for reading in readings {
        let at = reading.measured;
        let broken = before.is_some_and(|before| at - before > Span::minutes(BREAK_MIN));
        before = Some(at);
        if !beyond(reading) {
            open = false;
        } else if open && !broken {
            if let Some(last) = found.last_mut() {
                last.1 = at;
            }
        } else {
            found.push((at, at));
            open = true;
        }
    }
    found
}
