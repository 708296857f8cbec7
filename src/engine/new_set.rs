//! A pump's set was changed: one silent look whether the new one works, which rings only where glucose is very high and
//! does not fall.
//!
//! Pump teaching has it so: a university clinic's page says to check one to two hours after a new set, and a health
//! service's page one hour after a correction; from 250 on both name set and ketones.

use super::Engine;
use super::check::Check;
use super::effect::{Condition, Id, Side, What};
use super::plan::Job;
use super::policy::Therapy;
use super::reason::Reason;
use super::turn::Turn;
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// The middle of the one to two hours.
const LOOK_AFTER: Span = Span::minutes(90);

/// Without a value it looks again after so long, and gives up where the two hours are long over. Ours.
const AGAIN_AFTER: Span = Span::minutes(30);
const GIVES_UP_AFTER: Span = Span::hours(4);

/// The look at a new set.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct SetCheck {
    /// Its number.
    pub id: Id,
    /// When the set was changed.
    pub at: Timestamp,
}

impl Engine {
    /// A set was changed. Whoever injects has none, and only notes it.
    pub(super) fn set_changed(&mut self, turn: &mut Turn, at: Timestamp) {
        let has_pump = self.policy.therapy != Therapy::Injections;
        let is_newer = self.state.plan.new_set().is_none_or(|known| known.at <= at);
        if !has_pump || !is_newer || turn.now - at > GIVES_UP_AFTER {
            return turn.only_noted();
        }
        let look = (at + LOOK_AFTER).max(turn.now);
        let known = self.state.plan.new_set().map(|known| known.id);
        let id = known.unwrap_or_else(|| self.take_id());
        self.state.plan.look_at(Check::NewSet(SetCheck { id, at }));
        self.state.plan.set(Job::SetCheck, look);
        turn.tell(What::Answer, Condition::Diary, Id(0), None, Reason::SetNoted { at, look }, false);
    }

    /// The set that was noted then was none.
    pub(super) fn forget_set(&mut self, at: Timestamp) {
        if self.state.plan.new_set().is_some_and(|known| known.at == at) {
            self.state.plan.take_new_set();
            self.state.plan.stop(Job::SetCheck);
        }
    }

    /// The look is due.
    pub(super) fn look_at_set(&mut self, turn: &mut Turn) {
        let Some(SetCheck { id, at }) = self.state.plan.take_new_set() else { return };
        turn.judged = self.of_two_signals(Side::High, turn.now).or_else(|| self.latest(turn.now));
        let Some(judged) = turn.judged else {
            if turn.now - at < GIVES_UP_AFTER {
                self.state.plan.look_at(Check::NewSet(SetCheck { id, at }));
                self.state.plan.set(Job::SetCheck, turn.now + AGAIN_AFTER);
            }
            return;
        };
        let falls = judged.rate.is_some_and(|rate| rate.direction().falls());
        let works = judged.glucose.hundredths() < turn.very_high.hundredths() || falls;
        let reason = Reason::NewSet { at, works };
        turn.tell(What::Look, Condition::RecheckHigh, id, None, reason.clone(), false);
        if !works {
            turn.tell(What::Prompt, Condition::RecheckHigh, id, None, reason, true);
        }
    }
}
