//! Looking again after a low: every quarter of an hour until the value is back. Rings by night too.

use super::Engine;
use super::effect::{Condition, Id, Side, What};
use super::reason::{Reason, Treatment};
use super::timers::Timer;
use super::turn::Turn;
use crate::domain::time::Timestamp;
use serde::{Deserialize, Serialize};

/// The re-check of one low.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LowCare {
    /// Its number.
    pub id: Id,
    /// The alert it belongs to; none when symptoms were noted without one.
    pub part_of: Option<Id>,
    /// What is looked back at.
    pub treated: Treatment,
    /// A look fell due without a fresh reading; the next reading completes it.
    pub unseen: bool,
}

impl Engine {
    /// Starts, or re-plans, the looks of a treated low. Answers with what was understood.
    pub(super) fn treat_low(&mut self, turn: &mut Turn, at: Timestamp) {
        let root = self.side(Side::Low).root().map(|root| (root.id, root.since));
        let treated = Treatment { at, value: self.value_at(at), alert_since: root.map(|(_, since)| since) };
        let part_of = root.map(|(alert, _)| alert);
        let id = match &self.state.low_care {
            Some(care) => care.id,
            None => self.take_id(),
        };
        self.state.low_care = Some(LowCare { id, part_of, treated, unseen: false });
        let due = (at + self.policy.recheck.low_look).max(turn.now);
        self.state.timers.set(Timer::LowLook, due);
        let reason = Reason::LooksPlanned { side: Side::Low, treated, looks: vec![due], night_rule: false };
        turn.tell(What::Answer, Condition::RecheckLow, id, part_of, reason, false);
    }

    /// The timer of the re-check is due.
    pub(super) fn look_at_low(&mut self, turn: &mut Turn) {
        let Some(care) = self.state.low_care.clone() else {
            return;
        };
        turn.judged = self.latest(turn.now);
        let next = turn.now + self.policy.recheck.low_look;
        let limit = self.policy.levels.low.limit.hundredths();
        let treated = care.treated;
        let (reason, unseen) = match turn.judged {
            None => {
                let last = self.state.window.newest().map(|last| last.measured);
                (Reason::NoFreshReading { treated, last, next }, true)
            }
            Some(judged) if judged.glucose.hundredths() < limit => (Reason::StillLow { treated, next }, false),
            Some(_) => {
                turn.tell(What::Look, Condition::RecheckLow, care.id, care.part_of, Reason::Back { treated }, false);
                turn.tell(
                    What::Ended,
                    Condition::RecheckLow,
                    care.id,
                    care.part_of,
                    Reason::Back { treated },
                    !turn.night.inside,
                );
                self.state.low_care = None;
                return;
            }
        };
        self.state.timers.set(Timer::LowLook, next);
        self.state.low_care = Some(LowCare { unseen, ..care.clone() });
        turn.tell(What::Look, Condition::RecheckLow, care.id, care.part_of, reason.clone(), false);
        turn.tell(What::Prompt, Condition::RecheckLow, care.id, care.part_of, reason, true);
    }

    /// A reading came in: a look that was waiting for one is completed.
    pub(super) fn complete_low_look(&mut self, turn: &mut Turn) {
        if self.state.low_care.as_ref().is_some_and(|care| care.unseen) {
            self.look_at_low(turn);
        }
    }
}
