//! Rapid insulin that was taken for long-acting: the care team at once, a look every half hour for as long as it acts,
//! and somebody else knows. It judges no amount.

use super::Engine;
use super::alert::steps::Whom;
use super::check::Check;
use super::effect::{Condition, Id, Side, What};
use super::evening::goes_low;
use super::plan::Job;
use super::reason::Reason;
use super::turn::Turn;
use crate::domain::diary::Note;
use crate::domain::insulin::is_mistaken;
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// How often it is looked at. Ours, and that of other watches over insulin that acts.
const EVERY: Span = Span::minutes(30);

/// The watch over such a dose.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct MistakenCheck {
    /// Its number.
    pub id: Id,
    /// When it was taken.
    pub at: Timestamp,
    /// When it has done nearly all of its work.
    pub until: Timestamp,
    /// Who was told, by the name in the settings.
    #[serde(default)]
    pub told: Option<String>,
}

/// Does a note say so?
pub(super) fn says_mistaken(note: &Note) -> bool {
    note.kind.is_insulin() && is_mistaken(&note.words)
}

impl Engine {
    /// Such a dose was noted.
    pub(super) fn mistaken_noted(&mut self, turn: &mut Turn, at: Timestamp) {
        let until = at + self.policy.insulin.works_for();
        if until <= turn.now {
            return;
        }
        let known = self.state.plan.mistaken().map(|known| (known.id, known.at, known.until));
        let id = known.map_or_else(|| self.take_id(), |(id, ..)| id);
        let (at, until) = known.map_or((at, until), |(_, before, then)| (before.max(at), then.max(until)));
        let person = self.person(Whom::Second, &[], turn.now);
        let told = person.and_then(|person| Some(self.policy.people.get(usize::from(person))?.name.clone()));
        self.state.plan.look_at(Check::Mistaken(MistakenCheck { id, at, until, told }));
        self.state.plan.set(Job::MistakenCheck, turn.now + EVERY);
        turn.ask(Reason::RapidForLong { at, until, told: person });
        if let Some(person) = person {
            let reason = Reason::RapidForLong { at, until, told: None };
            turn.tell_on(person, (Condition::Diary, id, None), reason);
        }
    }

    /// The dose that was noted then was none, or another.
    pub(super) fn forget_mistaken(&mut self, turn: &mut Turn, at: Timestamp) {
        if self.state.plan.mistaken().is_none_or(|known| known.at != at) {
            return;
        }
        if let Some(check) = self.state.plan.take_mistaken() {
            self.state.plan.stop(Job::MistakenCheck);
            self.tell_mistaken_over(turn, &check, true);
        }
    }

    /// Whoever was told of it is told that it is over.
    fn tell_mistaken_over(&self, turn: &mut Turn, check: &MistakenCheck, taken_back: bool) {
        let name = check.told.as_deref();
        let person = self.policy.people.iter().position(|person| Some(person.name.as_str()) == name);
        if let Some(person) = person.and_then(|person| u8::try_from(person).ok()) {
            let reason = Reason::MistakenOver { at: check.at, taken_back };
            turn.tell_on(person, (Condition::Diary, check.id, None), reason);
        }
    }

    /// It is looked at again: what goes low rings; what is low already is told as a low.
    pub(super) fn look_at_mistaken(&mut self, turn: &mut Turn) {
        let Some(check) = self.state.plan.take_mistaken() else { return };
        let MistakenCheck { id, at, until, .. } = check;
        turn.judged = self.lowest_latest(turn.now);
        let low_is_told = self.root(Side::Low).is_some() || self.state.plan.low().is_some();
        let rings = !low_is_told && turn.judged.is_some_and(|judged| goes_low(judged, true));
        let goes_on = turn.now + EVERY <= until;
        let next = goes_on.then_some(turn.now + EVERY);
        let reason = Reason::MistakenLook { at, next };
        turn.tell(What::Look, Condition::RecheckHigh, id, None, reason.clone(), false);
        if rings {
            turn.tell(What::Prompt, Condition::RecheckHigh, id, None, reason, true);
        }
        if let Some(next) = next {
            self.state.plan.look_at(Check::Mistaken(check));
            self.state.plan.set(Job::MistakenCheck, next);
        } else {
            self.tell_mistaken_over(turn, &check, false);
        }
    }
}
