//! Without a signal nothing new can be said: what rings then about a value, or about the lost signal itself, rings at
//! growing spans, as one series. A very low that nobody answered or treated keeps its calls for two hours first.
//! Decides of no ring but when; what is said is for others.

use super::Engine;
use super::effect::{Condition, Decision, Side};
use super::turn::Turn;
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// The first span between two rings without a signal; each after it is twice as long. Ours.
const FIRST_SPAN: Span = Span::minutes(30);

/// No longer than this: ours.
const LONGEST_SPAN: Span = Span::hours(24);

/// The calls of a low whose signal is lost go on for so long: ours.
const CALLS_FOR: Span = Span::hours(2);

/// And those of one that is not very low come so often: ours.
const CALLS_EVERY: Span = Span::minutes(20);

/// What rings this soon after another is the same moment.
const SAME_MOMENT: Span = Span::minutes(2);

/// Rings since the signal was lost.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Silence {
    /// The last of them.
    last: Timestamp,
    /// How long after the one before it that was; nothing at the first.
    span: Span,
}

impl Silence {
    /// The clock was set: every span keeps its length.
    pub(super) fn shift(&mut self, by: Span) {
        self.last = self.last + by;
    }

    /// After one more ring.
    fn rings(known: Option<Self>, now: Timestamp) -> Self {
        match known {
            Some(known) if now - known.last < SAME_MOMENT => known,
            Some(known) => Self { last: now, span: now - known.last },
            None => Self { last: now, span: Span::ZERO },
        }
    }

    fn next(self) -> Timestamp {
        self.last + self.span.times(2, 1).max(FIRST_SPAN).min(LONGEST_SPAN)
    }
}

impl Engine {
    /// Until when nothing may ring, because no signal says anything new and it has rung a short while ago.
    pub(super) fn waits_without_signal(&self, turn: &Turn) -> Option<Timestamp> {
        let known = self.state.register.silence;
        let rings_now = turn.out.iter().any(is_of_value_or_signal);
        if known.is_none() && !rings_now || self.fresh_reading(turn.now).is_some() {
            return None;
        }
        let silence = if rings_now { Some(Silence::rings(known, turn.now)) } else { known };
        silence.map(Silence::next).filter(|next| *next > turn.now)
    }

    /// A loss that is hours old, of a sensor that was changed, say, is one more of the same series.
    pub(super) fn loss_waits(&self, turn: &Turn, newest: Option<Timestamp>) -> Option<Timestamp> {
        self.waits_without_signal(turn).filter(|_| newest.is_some_and(|newest| turn.now - newest >= CALLS_FOR))
    }

    /// When what rings now may ring again, as long as no signal comes.
    pub(super) fn again_without_signal(&self, now: Timestamp) -> Timestamp {
        Silence::rings(self.state.register.silence, now).next()
    }

    /// The same of the calls for a low. For two hours those of a very low that nobody answered or treated go on as they
    /// are, and those of any low that nobody answered come every 20 minutes, whatever else rings.
    pub(super) fn calls_wait_without_signal(&self, turn: &Turn) -> Option<Timestamp> {
        let waits = self.waits_without_signal(turn)?;
        let newest = self.state.window.newest()?;
        let (calls, _) = self.state.register.calls_of_low()?;
        if turn.now - newest.measured >= CALLS_FOR || calls.is_answered() && self.state.plan.low().is_some() {
            return Some(waits);
        }
        if Side::Low.is_beyond(newest.glucose, self.policy.levels.very_low.limit) {
            return None;
        }
        let last = calls.made.last.unwrap_or(calls.since);
        Some(waits.min(last + CALLS_EVERY)).filter(|next| *next > turn.now)
    }

    /// At the end of a turn: what rang without a signal makes the next wait longer; a signal ends that.
    pub(super) fn note_rings_without_signal(&mut self, turn: &Turn) {
        let known = self.state.register.silence;
        if turn.out.is_empty() && known.is_none() {
            return;
        }
        if self.fresh_reading(turn.now).is_some() {
            self.state.register.silence = None;
        } else if turn.out.iter().any(is_of_value_or_signal) {
            self.state.register.silence = Some(Silence::rings(known, turn.now));
        }
    }
}

/// Does it ring about a value or a lost signal? Answers of others ring because they answered.
fn is_of_value_or_signal(decision: &Decision) -> bool {
    let of_signal = matches!(decision.condition, Condition::Gap | Condition::SourceFailed);
    let answered = matches!(decision.reason, super::reason::Reason::Answered { .. });
    decision.rings && !answered && (of_signal || decision.condition.side().is_some())
}
