//! Readings that came in late. They enter the window and raise nothing; what they held beyond the
//! limits is told in one line.

use super::Engine;
use super::effect::{Condition, Id, What};
use super::plan::Job;
use super::reason::Reason;
use super::turn::Turn;
use crate::domain::glucose::Glucose;
use crate::domain::reading::Reading;
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// A break longer than this between two past readings ends a stretch.
const BREAK: Span = Span::minutes(35);

/// Late readings are told of when none has come for this long.
const QUIET_MIN: i64 = 1;

/// Late readings kept to be told of: two days at five-minute cadence.
const READINGS_MAX: usize = 600;

/// Most stretches told: the worst first, and of those as bad the newest.
const SPANS_TOLD_MAX: usize = 5;

/// A stretch of past readings beyond one limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct PastSpan {
    /// Which level.
    pub condition: Condition,
    /// Its limit.
    pub limit: Glucose,
    /// First reading beyond it.
    pub from: Timestamp,
    /// Last reading beyond it.
    pub to: Timestamp,
}

impl Engine {
    /// Keeps late readings until no more come for a while: a line told of all at once is one line.
    pub(super) fn gather_past(&mut self, turn: &Turn, late: &[Reading]) {
        if late.is_empty() {
            return;
        }
        let room = READINGS_MAX.saturating_sub(self.state.past.len());
        self.state.past.extend(late.iter().take(room));
        self.state.plan.set(Job::Past, turn.now + Span::minutes(QUIET_MIN));
    }

    /// Do these rows come as several at once, or follow late ones without a hole?
    pub(super) fn is_batch(&self, rows: &[Reading]) -> bool {
        let before = self.state.past.last().map(|late| late.measured);
        let follows = |first: &Reading| before.is_some_and(|before| first.measured - before <= BREAK);
        rows.len() > 1 || rows.first().is_some_and(follows)
    }

    /// Tells what late readings held. A stretch that runs into the newest reading is told by its alert.
    pub(super) fn tell_past(&mut self, turn: &mut Turn) {
        let mut past = std::mem::take(&mut self.state.past);
        past.sort_by_key(|reading| reading.measured);
        let last = past.last().map(|last| last.measured);
        let following = self
            .state
            .window
            .newest()
            .filter(|newest| last.is_some_and(|last| newest.measured > last && newest.measured - last <= BREAK));
        let judged = following.copied();
        let (past, judged) = (past.as_slice(), judged.as_ref());
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
            for (from, to) in stretches(past, &beyond).into_iter().rev() {
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
        let more = spans.len().saturating_sub(SPANS_TOLD_MAX);
        spans.truncate(SPANS_TOLD_MAX);
        turn.judged = None;
        turn.tell(What::Told, Condition::WhileAway, Id(0), None, Reason::Past { spans, more }, true);
    }
}

/// Unbroken stretches of readings beyond a limit.
fn stretches(readings: &[Reading], beyond: &impl Fn(&Reading) -> bool) -> Vec<(Timestamp, Timestamp)> {
    let mut found: Vec<(Timestamp, Timestamp)> = Vec::new();
    let mut open = false;
    let mut before: Option<Timestamp> = None;
    for reading in readings {
        let at = reading.measured;
        let broken = before.is_some_and(|before| at - before > BREAK);
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
