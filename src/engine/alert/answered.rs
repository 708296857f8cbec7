//! A low is answered, by the wearer or by somebody else who has it; what answered it is changed or deleted. An answer
//! ends the noise until the next check, and nothing else: what goes on is for [`super::escalation`] and
//! [`super::going_on`].

use super::Alert;
use super::calls::{Answered, Calls};
use super::has_it::HasIt;
use super::people::{About, Answer};
use super::steps::Made;
use crate::domain::time::{Span, Timestamp};
use crate::engine::Engine;
use crate::engine::effect::{Condition, Id, Side, What};
use crate::engine::plan::Job;
use crate::engine::reason::Reason;
use crate::engine::turn::Turn;

/// A diary's times are whole minutes.
const WRITTEN_TO_MIN: i64 = 1;

impl Engine {
    /// Somebody answered: marked it as seen, treated, ate. Others who know of it are told. A line of a diary file
    /// answers what had rung by its time. Says of what it is the answer, if that is news.
    pub(in crate::engine) fn answer_chain(&mut self, turn: &mut Turn, answer: Answer<'_>) -> Option<About> {
        if self.is_from_before_a_ring(turn, answer.at) {
            return None;
        }
        let calls = self.state.register.calls_of_low_mut()?;
        let mut about = None;
        if !calls.is_news(answer.by)
            && let Some(known) =
                calls.answer.as_mut().filter(|known| known.by.is_some() && known.by.as_ref() == answer.by)
        {
            // Who says again that they have it is given the time again.
            known.at = known.at.max(answer.at);
        }
        // That somebody else has it is news even where the wearer has answered.
        if calls.is_news(answer.by) {
            calls.answer = Some(Answered { at: answer.at, by: answer.by.cloned() });
            let (id, told) = (calls.id, calls.told());
            let speaking = self.speaking(id);
            self.tell_answered(turn, speaking, &told, answer);
            about = Some(speaking);
        }
        self.plan_chain(turn);
        about
    }

    /// Somebody else said that they have the low, or are with the wearer: nobody beside them is called for a while, and
    /// then they are asked first.
    pub(in crate::engine) fn has_low(&mut self, turn: &Turn, name: &str, at: Timestamp, with: bool) {
        let place = self.policy.people.iter().position(|person| person.name == name);
        let person = place.and_then(|place| u8::try_from(place).ok());
        if self.is_from_before_a_ring(turn, at) {
            return;
        }
        if let (Some(person), Some(low)) = (person, self.state.register.calls_of_low_mut().and_then(Calls::of_low_mut))
        {
            low.has_it = Some(HasIt::new(person, with, at, low.has_it));
            self.plan_chain(turn);
        }
    }

    /// A line of a diary file from before a ring does not answer it.
    fn is_from_before_a_ring(&self, turn: &Turn, at: Timestamp) -> bool {
        let written = at + Span::minutes(WRITTEN_TO_MIN);
        let is_later = |alert: &Alert| alert.has_rung() && !alert.had_rung(written, None);
        turn.written && self.state.register.of_side(Side::Low).any(is_later)
    }

    /// Somebody says that the low was treated. Even where that is asked about, and answers nothing, nobody has been silent.
    pub(in crate::engine) fn something_is_said_of_low(&mut self, now: Timestamp) {
        if let Some(calls) = self.state.register.calls_of_low_mut().filter(|calls| !calls.is_answered()) {
            calls.anew = Some(now);
        }
    }

    /// A child has seen it: that is remembered, so that no text says that nobody did, and answers nothing.
    pub(in crate::engine) fn child_has_seen(&mut self, turn: &mut Turn) {
        for calls in self.state.register.calls.iter_mut().filter(|calls| !calls.is_answered()) {
            calls.anew = Some(turn.now);
        }
        turn.tell(What::Answer, Condition::Diary, Id(0), None, Reason::ChildSeen, false);
    }

    /// What answered a low was none: it calls as if it had rung now. Says when it does next; none where nothing called,
    /// or something else was the answer.
    pub(in crate::engine) fn call_again(&mut self, turn: &Turn, answered: Timestamp) -> Option<Timestamp> {
        let calls = self.state.register.calls_of_low_mut().filter(|calls| calls.answered_at() == Some(answered))?;
        (calls.answer, calls.anew, calls.made) = (None, Some(turn.now), Made::default());
        if let Some(low) = calls.of_low_mut() {
            (low.began, low.rests) = (turn.now, None);
            (low.waits_until, low.treated_at) = (None, None);
            low.very_low = low.very_low.map(|_| turn.now);
        }
        self.plan_chain(turn);
        self.state.plan.due(Job::LowCalls)
    }

    /// What answered a low was at another time: where that was before it rang, it calls again.
    pub(in crate::engine) fn move_answer(&mut self, turn: &Turn, from: Timestamp, to: Timestamp) {
        let calls = self.state.register.calls_of_low_mut().filter(|calls| calls.answered_at() == Some(from));
        let Some(calls) = calls else { return };
        if to + Span::minutes(WRITTEN_TO_MIN) <= calls.since {
            self.call_again(turn, from);
        } else if let Some(answer) = &mut calls.answer {
            answer.at = to;
        }
    }
}
