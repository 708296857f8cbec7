//! What calls for a low make of treatments: one that was treated three times and stays calls somebody, and one that
//! rises is spared a ring once.

use super::calls::{Answered, Calls, LowCalls};
use super::people::is_called;
use super::steps::Step;
use crate::domain::time::{Span, Timestamp};
use crate::engine::Engine;
use crate::engine::effect::Id;
use crate::engine::plan::Job;
use crate::engine::policy::{Ways, Whom};
use crate::engine::recheck_low::TREATED_OFTEN;
use crate::engine::turn::{Judged, Turn};

/// Whoever was called within this is not called again for it. Ours.
const CALLED_WITHIN: Span = Span::minutes(20);

/// A repeat that is spared is looked at again after this. Ours.
const SPARED_FOR: Span = Span::minutes(10);

impl Engine {
    /// A low was treated again and again, and a check finds it still there: the second person is called, unless
    /// somebody has been just now, or only a doubted sensor says so.
    pub(in crate::engine) fn call_for_treatments(&mut self, turn: &mut Turn, treatments: u32, last: Timestamp) {
        let Some((calls, low)) = self.state.register.calls_of_low().map(|(calls, low)| (calls.clone(), *low)) else {
            return;
        };
        let again = treatments > TREATED_OFTEN;
        let lately = calls.called.iter().any(|(_, at)| *at >= last || again && turn.now - *at < CALLED_WITHIN);
        // Whoever has it is given the time (promise P2), until they were asked how it goes.
        let has_it = low.has_it.filter(|has_it| !has_it.was_asked());
        let waits = has_it.is_some_and(|has_it| has_it.asks_at() > turn.now) || self.is_before_check(&low, turn.now);
        if lately || waits || self.is_doubted(&low, turn.now) {
            return;
        }
        let about = self.speaking(calls.id);
        let reason = self.why_called(turn.now, &calls, turn.judged, Step::Second, calls.told(), Ways::All);
        let Some(person) = self.person(Whom::Second, &calls.made.people, turn.now) else { return };
        let Some(known) = self.state.register.calls_of_low_mut() else { return };
        if is_called(&mut known.called, person, turn.now) {
            if !known.made.people.contains(&person) {
                known.made.people.push(person);
            }
            if let Some(low) = known.of_low_mut() {
                low.called(turn.now);
            }
            turn.call(person, about, reason);
            self.plan_chain(turn);
        }
    }

    /// What was covered has been told by a check: from then on somebody may be called for it as for any that was answered
    /// when it was treated.
    pub(in crate::engine) fn begin_answered_calls(&mut self, turn: &Turn, thread: Id) {
        if self.state.register.calls_of_low().is_none() {
            let at = self.low_treated(turn.now);
            let answer = at.map(|at| Answered { at, by: None });
            self.state.register.calls.push(Calls { answer, ..Calls::for_low(thread, turn.now) });
            self.plan_chain(turn);
        }
    }

    /// Is it the low of before, or the one that was foreseen, and does that still speak for it?
    pub(in crate::engine) fn is_covered(&self, low: &LowCalls) -> bool {
        low.very_low.is_none() && self.state.register.story.covered.is_some()
    }

    pub(super) fn is_very_low(&self, judged: Option<Judged>) -> bool {
        let limit = self.policy.levels.very_low.limit.hundredths();
        judged.is_some_and(|judged| judged.glucose.hundredths() < limit)
    }

    /// While calls rest, only what is covered has a time.
    pub(in crate::engine) fn plan_covered(&mut self) {
        match self.covered_until() {
            Some(until) => self.state.plan.set(Job::LowCalls, until),
            None => self.state.plan.stop(Job::LowCalls),
        }
    }

    /// A ring for want of an answer, and nobody called by it: spared once, for a little, while it rises.
    pub(in crate::engine) fn spares_a_repeat(
        &mut self,
        turn: &Turn,
        calls: &Calls,
        low: &LowCalls,
        gravest: Step,
        fresh: Option<Judged>,
    ) -> bool {
        let only_rings = matches!(gravest, Step::Promote | Step::Repeat);
        if calls.is_answered() || low.very_low.is_some() || low.spared || !only_rings || !self.rises_low(fresh) {
            return false;
        }
        if let Some(low) = self.state.register.calls_of_low_mut().and_then(Calls::of_low_mut) {
            low.spared = true;
        }
        self.state.plan.set(Job::LowCalls, turn.now + SPARED_FOR);
        true
    }
}
