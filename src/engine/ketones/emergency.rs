//! An emergency of ketones: the second person is called at once, it rings every quarter of an hour until a person answers,
//! and what the diary no longer says is none. Its steps are data, as those of other alerts are.

use super::reason::KetoneWhy;
use super::{Flags, is_emergency};
use crate::domain::diary::{Kind, Note};
use crate::domain::symptoms::Symptoms;
use crate::engine::Engine;
use crate::engine::alert::calls::{Calls, For};
use crate::engine::alert::people::Answer;
use crate::engine::alert::steps::Whom;
use crate::engine::effect::{Condition, Id, Priority};
use crate::engine::reason::Reason;
use crate::engine::turn::Turn;

/// Does a note say something of ketones, as a value or as a red flag?
pub(in crate::engine) fn is_about_ketones(note: &Note) -> bool {
    note.kind.ketones().is_some() || flags(note).is_some()
}

fn flags(note: &Note) -> Option<Symptoms> {
    (note.kind == Kind::Symptoms).then(|| Symptoms::of(&note.words)).filter(|symptoms| symptoms.is_red_flag())
}

impl Engine {
    /// The second person is called now; from then on the steps of an emergency count.
    pub(super) fn call_for_ketones(&mut self, turn: &mut Turn, id: Id, reason: Reason) {
        let before = self.state.register.calls.iter().position(|calls| calls.id == id);
        let called = before.map(|place| self.state.register.calls.remove(place).called).unwrap_or_default();
        let for_it = For::Other { priority: Priority::High, reason: reason.clone() };
        let mut calls = Calls { called, ..Calls::new(id, Condition::Ketones, turn.now, for_it) };
        calls.made.steps.push(Whom::Second);
        calls.made.last = Some(turn.now);
        if let Some(person) = self.person(Whom::Second, &[], turn.now) {
            calls.made.people.push(person);
            calls.called.retain(|(known, _)| *known != person);
            calls.called.push((person, turn.now));
            turn.call(person, calls.about(), reason);
        }
        self.state.register.calls.push(calls);
    }

    /// Insulin was noted, or a high treated: a person is at it, and has answered.
    pub(in crate::engine) fn ketones_treated(&mut self, turn: &mut Turn, answer: Answer<'_>) {
        let open = self.state.register.of_mut(Condition::Ketones).filter(|alert| is_emergency(alert));
        if let Some(alert) = open
            && alert.acknowledge()
        {
            let id = alert.id;
            self.answer_waiting(turn, &[id], Some(id), answer);
        }
    }

    /// A line of the diary is another: what is known of ketones is what stands now, `is` apart, which is noted after this.
    pub(in crate::engine) fn forget_ketones(&mut self, turn: &mut Turn, was: &Note, standing: &[&Note], follows: bool) {
        if !is_about_ketones(was) {
            return;
        }
        let known = &mut self.state.ketones;
        if known.last.is_some_and(|(at, _)| at == was.at) && was.kind.ketones().is_some() {
            known.last = standing.iter().filter_map(|note| Some((note.at, note.kind.ketones()?))).max_by_key(|of| of.0);
        }
        if known.flags.is_some_and(|known| known.at == was.at) && flags(was).is_some() {
            let standing = standing.iter().filter_map(|note| Some((note.at, flags(note)?)));
            let newest = standing.max_by_key(|(at, _)| *at);
            known.flags = newest.map(|(at, symptoms)| Flags { at, symptoms, low_first: false });
        }
        if follows {
            return;
        }
        let Some(alert) = self.state.register.of(Condition::Ketones).copied() else { return };
        match self.standing_finding(turn.now) {
            Some(found) => self.follow_ketones(turn, found, true),
            None => self.end_ketones(turn, alert.id, KetoneWhy::NoLongerNoted { at: was.at }),
        }
    }
}
