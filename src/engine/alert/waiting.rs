//! An alert that does not ask again by itself, and that nobody answers: the steps of its priority. Lows have their own
//! chain, highs and scans their own questions; here are silences, sources and ways that fail, two signals, and what is
//! told once, if the settings have steps for that.

use super::calls::{Answered, Calls, For};
use super::people::{Answer, is_called};
use super::steps::{Due, Whom, next};
use crate::domain::reading::SourceId;
use crate::domain::time::{Span, Timestamp};
use crate::engine::Engine;
use crate::engine::effect::{Condition, Decision, Id, Priority, What};
use crate::engine::plan::Job;
use crate::engine::reason::Reason;
use crate::engine::turn::Turn;

/// What was told once rings no more after this: it says what was, not what is.
const TOLD_ONCE_HOURS: i64 = 24;

impl Calls {
    fn for_ring(decision: &Decision, now: Timestamp) -> Self {
        let reason = For::Other { priority: decision.priority, reason: decision.reason.clone() };
        Self::new(decision.id, decision.condition, now, reason)
    }

    fn is_told_once(&self) -> bool {
        !self.condition.is_lasting()
    }

    /// Is it what this decision is about? Of what is told once the newest of its condition counts.
    fn is_about(&self, decision: &Decision) -> bool {
        if self.of_low().is_some() {
            false
        } else if self.is_told_once() {
            self.condition == decision.condition
        } else {
            self.id == decision.id
        }
    }

    /// The priority of what is no low, and why it rang.
    const fn of_other(&self) -> Option<(Priority, &Reason)> {
        match &self.reason {
            For::Low(_) => None,
            For::Other { priority, reason } => Some((*priority, reason)),
        }
    }
}

/// Is it said once, as what was? What was true when it was told need not be true any more.
fn tells_once(decision: &Decision) -> bool {
    decision.what == What::Told
        && decision.priority == Priority::Information
        && decision.condition.side().is_none()
        && !decision.condition.is_lasting()
        && decision.condition.row().may_be_asked_again
}

/// An emergency of ketones has begun its calls by now, and what is less has none.
fn calls_by_itself(decision: &Decision) -> bool {
    decision.condition != Condition::Ketones
}

impl Engine {
    /// At the end of a turn: what rang waits to be answered, what is over does not, and whoever was called for it is
    /// told why it is over.
    pub(in crate::engine) fn keep_waiting(&mut self, turn: &mut Turn) {
        if turn.out.is_empty() && self.state.register.calls.is_empty() {
            return;
        }
        let mut over = Vec::new();
        let all = &mut self.state.register.calls;
        for decision in turn.out.iter().filter(|decision| decision.to.is_wearer()) {
            let new = match decision.what {
                What::Raised | What::Repeated => decision.condition.is_lasting() && calls_by_itself(decision),
                What::Told => tells_once(decision) && !self.policy.escalation.information.is_empty(),
                _ => false,
            };
            let before = all.iter().position(|calls| calls.is_about(decision));
            // A mute that the wearer wanted is over: what waited meanwhile goes on, and calls others as before.
            let goes_on = before.is_some() && matches!(decision.reason, Reason::QuietOver { .. });
            if new && decision.rings && !goes_on {
                let called = before.map(|place| all.remove(place).called).unwrap_or_default();
                all.push(Calls { called, ..Calls::for_ring(decision, turn.now) });
            } else if decision.what == What::Ended
                && let Some(place) = before
            {
                over.push((all.remove(place), decision.reason.clone()));
            }
        }
        for (calls, reason) in over {
            for (person, _) in &calls.called {
                turn.tell_on(*person, calls.about(), reason.clone());
            }
        }
        let mut all = std::mem::take(&mut self.state.register.calls);
        all.retain(|calls| self.still_calls(calls, turn.now));
        self.state.register.calls = all;
        self.plan_waiting(turn);
    }

    /// What it rang for goes on, and is said in other words since.
    pub(in crate::engine) fn still_waiting(&mut self, id: Id, now_said: &Reason) {
        if let Some(Calls { reason: For::Other { reason, .. }, .. }) = self.state.register.calls_of_mut(id) {
            *reason = now_said.clone();
        }
    }

    /// Steps are due.
    pub(in crate::engine) fn ring_waiting(&mut self, turn: &mut Turn) {
        let mut all = std::mem::take(&mut self.state.register.calls);
        for calls in all.iter_mut().filter(|calls| !calls.is_answered()) {
            if calls.of_low().is_none() {
                self.make_due_steps(turn, calls);
            }
        }
        self.state.register.calls = all;
        self.plan_waiting(turn);
    }

    fn make_due_steps(&mut self, turn: &mut Turn, calls: &mut Calls) {
        let Some((priority, _)) = calls.of_other() else { return };
        if !self.still_calls(calls, turn.now) {
            // It ended in this turn, and its calls end with the turn.
            return;
        }
        if self.waits_for_a_signal(turn, calls).is_some() {
            return;
        }
        let policy = &self.policy.escalation.of_calls(calls.condition, priority).clone();
        let ahead = calls.made.ahead(policy, turn.night.inside, calls.since);
        let due: Vec<Due> = ahead.into_iter().filter(|(at, _)| *at <= turn.now).map(|(_, due)| due).collect();
        // After a sleep all that fell due is one step: the gravest.
        let Some(step) = due.iter().map(|due| due.step()).max() else { return };
        let mut people = self.calls(turn, &due, policy, &mut calls.made, &mut calls.called);
        calls.made.note(&due, turn.now);
        people.retain(|(person, _)| !self.was_called_tonight(turn, *person, calls.condition));
        turn.judged = self.source_lost_as(calls.id).and_then(|source| self.latest_of(source));
        let two = self.state.register.two_signals();
        if let (For::Other { reason: Reason::TwoSignals { lower, higher, .. }, .. }, Some(two)) =
            (&mut calls.reason, two)
        {
            (*lower, *higher) = two;
        }
        let Some((_, rang_for)) = calls.of_other() else { return };
        let (since, of, told) = (calls.unanswered_since(), Box::new(rang_for.clone()), calls.called.clone());
        let reason = |ways| Reason::StillUnanswered { since, of: of.clone(), step, told: told.clone(), ways };
        let ways = due.iter().map(|due| due.ways()).max().unwrap_or_default();
        let (condition, id, part_of) = calls.about();
        // Without any way left there is nothing to ring by; the log has said so.
        let no_way = matches!(rang_for, Reason::ChannelsFail { working: 0, .. });
        let rung = turn.out.iter().any(|told| told.rings && told.to.is_wearer() && told.id == id);
        if !no_way && !rung {
            turn.tell(What::Escalated, condition, id, part_of, reason(ways), true);
        }
        for (person, ways) in people {
            turn.call(person, calls.about(), reason(ways));
        }
    }

    /// Somebody answered these, and all that was told once by then, or one of it. Whoever was called is told.
    pub(in crate::engine) fn answer_waiting(
        &mut self,
        turn: &mut Turn,
        ids: &[Id],
        which: Option<Id>,
        Answer { at, by }: Answer<'_>,
    ) {
        let mut all = std::mem::take(&mut self.state.register.calls);
        for calls in all.iter_mut().filter(|calls| calls.of_low().is_none()) {
            let is_meant = if calls.is_told_once() {
                which.is_none_or(|which| which == calls.id) && calls.since <= at
            } else {
                ids.contains(&calls.id)
            };
            if is_meant && calls.is_news(by) {
                calls.answer = Some(Answered { at, by: by.cloned() });
                self.tell_answered(turn, calls.about(), &calls.called, Answer { at, by });
            }
        }
        self.state.register.calls = all;
        self.plan_waiting(turn);
    }

    /// By night nothing has come for long after a low or falling value, and nobody answers: it rings again by a rule
    /// of its own, and the second person is called. Steps that would do the same are made by it.
    pub(in crate::engine) fn call_for_gap(&mut self, turn: &mut Turn, source: SourceId) {
        let (newest, lost) = (self.source(source).newest, self.state.register.lost(source));
        let Some(lost) = lost.filter(|lost| !lost.is_acknowledged()).copied() else { return };
        turn.judged = self.latest_of(source);
        let reason = Reason::NothingReached { since: newest, grave: true };
        turn.tell(What::Escalated, lost.condition, lost.id, None, reason.clone(), true);
        let person = self.person(Whom::Second, &[], turn.now);
        // Whoever is called on for a very low whose signal is lost is told so in those words.
        let calls_go_on = self.calls_go_on(turn.now);
        if person.is_none()
            && let Some(at) = self.next_reachable(turn.now).filter(|at| *at < turn.night.until)
        {
            // Nobody may be called at this hour: the first who may be is.
            self.state.plan.set(Job::GapCall(source), at);
        }
        // One that the wearer wants quiet has not rung: others are called all the same.
        let register = &mut self.state.register;
        if let Some(rung) = turn.out.last().filter(|_| register.calls_of(lost.id).is_none()) {
            register.calls.push(Calls::for_ring(rung, turn.now));
        }
        if let Some(calls) = register.calls_of_mut(lost.id) {
            calls.made.steps.push(Whom::Wearer);
            calls.made.steps.extend(person.map(|_| Whom::Second));
            calls.made.last = Some(turn.now);
        }
        let person = person.filter(|_| !calls_go_on);
        let person = person.filter(|person| !self.was_called_tonight(turn, *person, lost.condition));
        let register = &mut self.state.register;
        // Whoever is called for a low as well is called once, and told when that is over.
        let of_low = register.calls_of_low().is_some();
        let calls = if of_low { register.calls_of_low_mut() } else { register.calls_of_mut(lost.id) };
        if let (Some(person), Some(calls)) = (person, calls)
            && is_called(&mut calls.called, person, turn.now)
        {
            turn.call(person, (lost.condition, lost.id, None), reason);
        }
    }

    fn still_calls(&self, calls: &Calls, now: Timestamp) -> bool {
        if calls.of_low().is_some() {
            return true;
        }
        if calls.condition.is_lasting() {
            return self.state.register.get(calls.id).is_some();
        }
        !calls.is_answered() && now - calls.since < Span::hours(TOLD_ONCE_HOURS)
    }

    /// A lost signal rings on at growing spans, together with what is open without it.
    fn waits_for_a_signal(&self, turn: &Turn, calls: &Calls) -> Option<Timestamp> {
        let is_lost = matches!(calls.condition, Condition::Gap | Condition::SourceFailed);
        self.waits_without_signal(turn).filter(|_| is_lost)
    }

    fn source_lost_as(&self, id: Id) -> Option<SourceId> {
        self.state.register.get(id)?.source()
    }

    pub(in crate::engine) fn plan_waiting(&mut self, turn: &Turn) {
        let waits = |calls: &&Calls| !calls.is_answered() && self.still_calls(calls, turn.now);
        let due = self.state.register.calls.iter().filter(waits).filter_map(|calls| {
            let (priority, _) = calls.of_other()?;
            let policy = self.policy.escalation.of_calls(calls.condition, priority);
            let at = next(turn.night, |night| calls.made.ahead(policy, night, calls.since))?;
            Some(self.waits_for_a_signal(turn, calls).map_or(at, |waits| at.max(waits)))
        });
        match due.min() {
            // What is overdue waits as long as all timers do after a stretch without watching.
            Some(at) if at <= turn.now => {
                let waits = self.state.plan.due(Job::OtherCalls);
                self.state.plan.set(Job::OtherCalls, waits.unwrap_or(turn.now));
            }
            Some(at) => self.state.plan.set(Job::OtherCalls, at),
            None => self.state.plan.stop(Job::OtherCalls),
        }
    }
}
