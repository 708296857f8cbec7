//! Insulin that was noted: when it was taken, which of two doses work at the same time, and how far glucose came down
//! after each correction. Only the times count here; what of a dose is still to come is in [`crate::domain::insulin`].

use super::Engine;
use super::asked::{IN_QUESTION_MAX, InQuestion};
use super::effect::{Condition, Id, Side, What};
use super::reason::Reason;
use super::turn::Turn;
use crate::domain::diary::Amount;
use crate::domain::drops::{Drops, PastDrops, STEP, STEPS};
use crate::domain::glucose::Glucose;
use crate::domain::reading::Reading;
use crate::domain::time::{Span, Timestamp};
use crate::domain::usual::UsualDoses;
use serde::{Deserialize, Serialize};

/// A correction within this after another dose stacks: what diabetes education calls so (three hours: needs of people
/// who correct twice; a joint clinic's teaching text, seen as an excerpt).
pub const STACKS_WITHIN: Span = Span::hours(3);

/// Doses are kept for so long before one that is noted: longer than any of them works.
const KEPT: Span = Span::hours(24);

/// Most doses kept. Ours: one every half hour of a day.
const DOSES_MAX: usize = 48;

/// A dose of the insulin that is taken for meals and for highs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Dose {
    /// When it was taken.
    pub at: Timestamp,
    /// It was noted while glucose was high.
    correction: bool,
    /// The wearer was told that it stacks upon an earlier one.
    told: bool,
}

/// A correction that is still followed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
struct Followed {
    at: Timestamp,
    before: Glucose,
    /// From then on something else was eaten or injected.
    until: Option<Timestamp>,
    /// What was read nearest to each step, and how far from it.
    read: Vec<Option<(Span, Glucose)>>,
}

/// What is known of the insulin that was noted.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Doses {
    /// In order of time.
    taken: Vec<Dose>,
    followed: Vec<Followed>,
    past: PastDrops,
    /// How large doses have been.
    #[serde(default, skip_serializing_if = "UsualDoses::is_empty")]
    usual: UsualDoses,
    /// Doses that are asked about, in the order of the questions.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    in_question: Vec<InQuestion>,
}

impl Doses {
    /// The last dose by then. One noted by a clock that was ahead is not of now.
    #[must_use]
    pub fn last_by(&self, now: Timestamp) -> Option<Timestamp> {
        self.taken().rfind(|at| *at <= now)
    }

    /// The clock was set: every span keeps its length.
    pub(super) fn shift(&mut self, by: Span) {
        self.taken.iter_mut().for_each(|dose| dose.at = dose.at + by);
        self.in_question.iter_mut().for_each(|dose| dose.at = dose.at + by);
        for followed in &mut self.followed {
            followed.at = followed.at + by;
            followed.until = followed.until.map(|until| until + by);
        }
    }

    /// The doses in order of time.
    #[must_use]
    pub fn taken(&self) -> impl DoubleEndedIterator<Item = Timestamp> {
        self.taken.iter().map(|dose| dose.at)
    }

    /// How far glucose came down after this person's own past corrections.
    #[must_use]
    pub const fn past(&self) -> &PastDrops {
        &self.past
    }

    /// Is one of that time known to be a correction?
    pub(super) fn is_correction_at(&self, at: Timestamp) -> bool {
        self.taken.iter().any(|dose| dose.at == at && dose.correction)
    }

    /// How large doses have been.
    pub(super) const fn usual(&self) -> &UsualDoses {
        &self.usual
    }

    /// A dose is asked about: until that is answered it is known to act, and nothing else follows from it.
    pub(super) fn question(&mut self, dose: InQuestion) {
        self.add(dose.at);
        self.in_question.retain(|known| known.at != dose.at);
        self.in_question.push(dose);
        let over = self.in_question.len().saturating_sub(IN_QUESTION_MAX);
        self.in_question.drain(..over);
    }

    /// Is a dose of that time asked about?
    pub(super) fn is_in_question(&self, at: Timestamp) -> bool {
        self.in_question.iter().any(|known| known.at == at)
    }

    /// The dose in question of that time, or the one asked about last, is none in question any more.
    pub(super) fn answer(&mut self, at: Option<Timestamp>) -> Option<InQuestion> {
        let is_meant = |known: &InQuestion| at.is_none_or(|at| known.at == at);
        let place = self.in_question.iter().rposition(is_meant)?;
        Some(self.in_question.remove(place))
    }

    /// One that was noted and is usual, or was meant.
    pub(super) fn learn(&mut self, at: Timestamp, amount: Option<Amount>) {
        if let Some(amount) = amount {
            self.usual.add(at, amount);
        }
    }

    fn add(&mut self, at: Timestamp) {
        let place = self.taken.partition_point(|dose| dose.at < at);
        if self.taken.get(place).is_none_or(|dose| dose.at != at) {
            self.taken.insert(place, Dose { at, correction: false, told: false });
        }
        let over = self.taken.len().saturating_sub(DOSES_MAX);
        let old = self.taken.partition_point(|dose| at - dose.at > KEPT);
        self.taken.drain(..over.max(old));
        self.something_else(at);
    }

    /// Food or another dose at that time: what is followed from before it does not show what its own dose did.
    fn something_else(&mut self, at: Timestamp) {
        for followed in self.followed.iter_mut().filter(|followed| followed.at < at) {
            followed.until = Some(followed.until.map_or(at, |until| until.min(at)));
        }
    }

    /// A dose was taken back: nothing follows from it.
    pub(super) fn forget(&mut self, at: Timestamp, amount: Option<Amount>) {
        let was_in_question = self.answer(Some(at)).is_some();
        if let Some(amount) = amount.filter(|_| !was_in_question && self.taken().any(|known| known == at)) {
            self.usual.forget(at, amount);
        }
        self.taken.retain(|dose| dose.at != at);
        self.followed.retain(|followed| followed.at != at);
        self.past.forget(at, at + Span::millis(1));
    }

    /// A dose was taken while high: it counts as a correction, and is followed from its value.
    fn mark_correction(&mut self, at: Timestamp, before: Option<Glucose>) {
        if let Some(dose) = self.taken.iter_mut().find(|dose| dose.at == at) {
            dose.correction = true;
        }
        if let Some(before) = before.filter(|_| self.followed.iter().all(|followed| followed.at != at)) {
            let until = self.taken.iter().map(|dose| dose.at).find(|other| *other > at);
            self.followed.push(Followed { at, before, until, read: vec![None; STEPS] });
            let over = self.followed.len().saturating_sub(DOSES_MAX);
            self.followed.drain(..over);
        }
    }

    /// A correction that stacks upon the dose before it, and was not told: both.
    fn stacked(&mut self) -> Option<(Timestamp, Timestamp)> {
        let place = self.taken.windows(2).position(|pair| {
            let [earlier, later] = pair else { return false };
            later.correction && !later.told && later.at - earlier.at < STACKS_WITHIN
        })?;
        let [earlier, later] = self.taken.get_mut(place..place + 2)? else { return None };
        later.told = true;
        Some((earlier.at, later.at))
    }

    /// A reading of a correction that is followed, and what of them is complete.
    #[cold]
    fn follow(&mut self, reading: &Reading) {
        for followed in &mut self.followed {
            let since = reading.measured - followed.at;
            let step = (since + STEP.times(1, 2)).as_millis() / STEP.as_millis();
            let away = Span::millis((since.as_millis() - STEP.times(step, 1).as_millis()).abs());
            let place = usize::try_from(step).ok().and_then(|step| step.checked_sub(1));
            if let Some(read) = place.and_then(|place| followed.read.get_mut(place))
                && read.is_none_or(|(before, _)| away < before)
            {
                *read = Some((away, reading.glucose));
            }
        }
        let ends = STEP.times(i64::try_from(STEPS).unwrap_or(i64::MAX), 1) + STEP;
        while let Some(place) = self.followed.iter().position(|followed| reading.measured - followed.at > ends) {
            let done = self.followed.remove(place);
            let read = |then: Timestamp| {
                let step = (then - done.at).as_millis() / STEP.as_millis();
                let place = usize::try_from(step).ok().and_then(|step| step.checked_sub(1));
                place.and_then(|place| done.read.get(place).copied().flatten()).map(|(_, glucose)| glucose)
            };
            self.past.keep(Drops::new(done.at, done.before, done.until, read));
        }
    }
}

impl Engine {
    /// A dose was noted, whenever it was taken. One that is far from usual teaches nothing of what is usual.
    pub(super) fn remember_dose(&mut self, at: Timestamp, amount: Option<Amount>) {
        let doses = &mut self.state.doses;
        let is_new = doses.taken().all(|known| known != at);
        doses.add(at);
        if is_new {
            let is_usual = |amount: &Amount| !doses.usual.is_far_above(*amount, at);
            doses.learn(at, amount.filter(is_usual));
        }
        self.remember_given(at);
    }

    /// Food was noted.
    pub(super) fn remember_food(&mut self, at: Timestamp) {
        self.state.doses.something_else(at);
        self.state.high.eat(at);
    }

    /// One more reading, for what follows corrections.
    pub(super) fn follow_corrections(&mut self, reading: &Reading) {
        if !self.state.doses.followed.is_empty() {
            self.state.doses.follow(reading);
        }
    }

    /// A dose was noted while high.
    pub(super) fn correction_noted(&mut self, at: Timestamp) {
        let before = self.value_at(at).filter(|value| Side::High.is_beyond(*value, self.policy.levels.high.limit));
        self.state.doses.mark_correction(at, before);
    }

    /// Says once of each pair that a correction stacks upon the dose before it. At a keyboard it is part of the answer;
    /// a line of a file has nobody who reads one.
    pub(super) fn tell_stacked(&mut self, turn: &mut Turn) {
        while let Some((earlier, later)) = self.state.doses.stacked() {
            let (what, rings) = if turn.written { (What::Told, true) } else { (What::Answer, false) };
            turn.tell(what, Condition::Stacking, Id(0), None, Reason::Stacked { earlier, later }, rings);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::reading::SourceId;

    fn at(minute: i64) -> Timestamp {
        Timestamp::from_seconds(minute * 60)
    }

    #[test]
    fn a_correction_within_three_hours_of_a_dose_is_told_once_whichever_is_noted_first() {
        let mut doses = Doses::default();
        doses.add(at(0));
        doses.add(at(179));
        assert_eq!(doses.stacked(), None, "a dose for a meal stacks upon nothing");
        doses.mark_correction(at(179), None);
        assert_eq!(doses.stacked(), Some((at(0), at(179))));
        assert_eq!(doses.stacked(), None);
        doses.add(at(359));
        doses.mark_correction(at(359), None);
        assert_eq!(doses.stacked(), None, "three hours after the last");
        doses.add(at(300));
        assert_eq!(doses.stacked(), Some((at(300), at(359))), "the earlier one noted late");
        doses.add(at(300));
        assert_eq!(doses.taken().count(), 4);
    }

    #[test]
    fn what_followed_a_correction_is_kept_until_something_else_came_in_between() {
        let fall = |doses: &mut Doses| {
            for minute in (0..300).step_by(5) {
                let value = Glucose::mg_dl(260 - i32::try_from(minute / 3).unwrap());
                doses.follow(&Reading { source: SourceId(0), measured: at(minute), glucose: value });
            }
        };
        let mut doses = Doses::default();
        doses.add(at(0));
        doses.mark_correction(at(0), Some(Glucose::mg_dl(260)));
        fall(&mut doses);
        assert_eq!((doses.past.len(), doses.followed.len()), (1, 0));
        let at_age = |doses: &Doses, minutes| doses.past.at_age(Span::minutes(minutes)).n;
        assert_eq!((at_age(&doses, 60), at_age(&doses, 240)), (1, 1));

        let mut doses = Doses::default();
        doses.add(at(0));
        doses.mark_correction(at(0), Some(Glucose::mg_dl(260)));
        doses.something_else(at(100));
        fall(&mut doses);
        assert_eq!((at_age(&doses, 60), at_age(&doses, 120)), (1, 0));
        doses.forget(at(0), None);
        assert_eq!((doses.past.len(), doses.taken().count()), (0, 0));
    }

    #[test]
    fn doses_are_bounded() {
        let mut doses = Doses::default();
        for minute in 0..5_000 {
            doses.add(at(minute));
        }
        assert_eq!(doses.taken.len(), DOSES_MAX);
        doses.add(at(10_000));
        assert_eq!(doses.taken.len(), 1);
    }
}
