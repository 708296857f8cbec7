//! An alert that does not ask again by itself, and that nobody answers: the steps of its priority. Lows have their own
//! chain, highs and scans their own questions; here are silences, sources and ways that fail, two signals, and what is
//! told once, if the settings have steps for that.

use super::Engine;
use super::effect::{Condition, Decision, Id, Priority, What};
use super::people::{About, Answer, is_called, moved};
use super::reason::Reason;
use super::source::SourceState;
use super::steps::{Due, Made, Whom, next};
use super::timers::Timer;
use super::turn::Turn;
use crate::domain::reading::SourceId;
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// What was told once rings no more after this: it says what was, not what is.
const TOLD_ONCE_HOURS: i64 = 24;

/// An alert that rang, and is not over.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Waiting {
    /// Its number; none of what was told once.
    pub id: Id,
    /// What it is about.
    pub condition: Condition,
    priority: Priority,
    /// When it rang.
    pub since: Timestamp,
    /// Why.
    reason: Reason,
    /// When somebody answered.
    pub answered: Option<Timestamp>,
    /// Who, if it was not the wearer.
    pub by: Option<String>,
    /// When each person was called.
    pub called: Vec<(u8, Timestamp)>,
    made: Made,
}

impl Waiting {
    fn new(decision: &Decision, now: Timestamp) -> Self {
        Self {
            id: decision.id,
            condition: decision.condition,
            priority: decision.priority,
            since: now,
            reason: decision.reason.clone(),
            answered: None,
            by: None,
            called: Vec::new(),
            made: Made::default(),
        }
    }

    fn is_told_once(&self) -> bool {
        !asks_nothing_again(self.condition)
    }

    /// Is it what this decision is about? Of what is told once the newest of its condition counts.
    fn is_about(&self, decision: &Decision) -> bool {
        if self.is_told_once() { self.condition == decision.condition } else { self.id == decision.id }
    }

    /// The people of the settings have other places.
    pub(super) fn move_people(&mut self, to: &impl Fn(u8) -> Option<u8>) {
        moved(&mut self.called, to);
        self.made.move_people(to);
    }

    fn about(&self) -> About {
        (self.condition, self.id, None)
    }

    /// The clock was set: every span keeps its length.
    pub(super) fn shift(&mut self, by: Span) {
        self.since = self.since + by;
        self.made.shift(by);
        let called = self.called.iter_mut().map(|(_, at)| at);
        for at in self.answered.iter_mut().chain(called) {
            *at = *at + by;
        }
    }
}

/// Alerts that last and that nothing else asks about again.
const fn asks_nothing_again(condition: Condition) -> bool {
    matches!(condition, Condition::Gap | Condition::SourceFailed | Condition::ChannelFailed | Condition::TwoSignals)
}

/// Is it said once, as what was?
fn tells_once(decision: &Decision) -> bool {
    decision.what == What::Told
        && decision.priority == Priority::Information
        && decision.condition.side().is_none()
        && !asks_nothing_again(decision.condition)
        // What was true when it was told need not be true any more.
        && !matches!(
            decision.condition,
            Condition::Morning | Condition::Digest | Condition::Flood | Condition::Bedtime | Condition::Mode
        )
}

impl Engine {
    /// At the end of a turn: what rang waits to be answered, what is over does not, and whoever was called for it is
    /// told why it is over.
    pub(super) fn keep_waiting(&mut self, turn: &mut Turn) {
        if turn.out.is_empty() && self.state.waiting.is_empty() {
            return;
        }
        let mut over = Vec::new();
        for decision in turn.out.iter().filter(|decision| decision.to.is_wearer()) {
            let new = match decision.what {
                What::Raised | What::Repeated => asks_nothing_again(decision.condition),
                What::Told => tells_once(decision) && !self.policy.escalation.information.is_empty(),
                _ => false,
            };
            let before = self.state.waiting.iter().position(|waiting| waiting.is_about(decision));
            // A silence that the wearer wanted is over: what waited meanwhile goes on, and calls others as before.
            let goes_on = before.is_some() && matches!(decision.reason, Reason::QuietOver { .. });
            if new && decision.rings && !goes_on {
                let before = before.map(|place| self.state.waiting.remove(place));
                let called = before.map(|waiting| waiting.called).unwrap_or_default();
                self.state.waiting.push(Waiting { called, ..Waiting::new(decision, turn.now) });
            } else if decision.what == What::Ended
                && let Some(place) = self.state.waiting.iter().position(|waiting| waiting.is_about(decision))
            {
                over.push((self.state.waiting.remove(place), decision.reason.clone()));
            }
        }
        for (waiting, reason) in over {
            for (person, _) in &waiting.called {
                turn.tell_on(*person, waiting.about(), reason.clone());
            }
        }
        let mut waiting = std::mem::take(&mut self.state.waiting);
        waiting.retain(|waiting| self.is_open(waiting, turn.now));
        self.state.waiting = waiting;
        self.plan_waiting(turn);
    }

    /// What it rang for goes on, and is said in other words since.
    pub(super) fn still_waiting(&mut self, id: Id, reason: &Reason) {
        if let Some(waiting) = self.state.waiting.iter_mut().find(|waiting| waiting.id == id) {
            waiting.reason = reason.clone();
        }
    }

    /// Steps are due.
    pub(super) fn ring_waiting(&mut self, turn: &mut Turn) {
        let (now, night) = (turn.now, turn.night.inside);
        let mut all = std::mem::take(&mut self.state.waiting);
        for waiting in all.iter_mut().filter(|waiting| waiting.answered.is_none()) {
            let policy = self.policy.escalation.of(waiting.priority);
            let ahead = waiting.made.ahead(policy, night, waiting.since);
            let due: Vec<Due> = ahead.into_iter().filter(|(at, _)| *at <= now).map(|(_, due)| due).collect();
            // After a sleep all that fell due is one step: the gravest.
            let Some(step) = due.iter().map(|due| due.step()).max() else { continue };
            let calls = self.calls(turn, &due, policy, &mut waiting.made, &mut waiting.called);
            waiting.made.note(&due, now);
            turn.judged = self.source_lost_as(waiting.id).and_then(|source| self.latest_of(source));
            if let (Reason::TwoSignals { lower, higher, .. }, Some(two)) = (&mut waiting.reason, self.state.two_signals)
            {
                (*lower, *higher) = (two.lower, two.higher);
            }
            let (since, of, told) = (waiting.since, Box::new(waiting.reason.clone()), waiting.called.clone());
            let reason = |ways| Reason::StillUnanswered { since, of: of.clone(), step, told: told.clone(), ways };
            let ways = due.iter().map(|due| due.ways()).max().unwrap_or_default();
            let (condition, id, part_of) = waiting.about();
            // Without any way left there is nothing to ring by; the log has said so.
            let no_way = matches!(waiting.reason, Reason::ChannelsFail { working: 0, .. });
            let rung = turn.out.iter().any(|told| told.rings && told.to.is_wearer() && told.id == id);
            if !no_way && !rung {
                turn.tell(What::Escalated, condition, id, part_of, reason(ways), true);
            }
            for (person, ways) in calls {
                turn.call(person, waiting.about(), reason(ways));
            }
        }
        self.state.waiting = all;
        self.plan_waiting(turn);
    }

    /// Somebody answered these, and all that was told once by then, or one of it. Whoever was called is told.
    pub(super) fn answer_waiting(
        &mut self,
        turn: &mut Turn,
        ids: &[Id],
        which: Option<Id>,
        Answer { at, by }: Answer<'_>,
    ) {
        let mut all = std::mem::take(&mut self.state.waiting);
        for waiting in &mut all {
            let is_meant = if waiting.is_told_once() {
                which.is_none_or(|which| which == waiting.id) && waiting.since <= at
            } else {
                ids.contains(&waiting.id)
            };
            if is_meant && (waiting.answered.is_none() || by.is_some() && waiting.by.as_ref() != by) {
                (waiting.answered, waiting.by) = (Some(at), by.cloned());
                self.tell_answered(turn, waiting.about(), &waiting.called, Answer { at, by });
            }
        }
        self.state.waiting = all;
        self.plan_waiting(turn);
    }

    /// By night nothing has come for long after a low or falling value, and nobody answers: it rings again by a rule
    /// of its own, and the second person is called. Steps that would do the same are made by it.
    pub(super) fn call_for_gap(&mut self, turn: &mut Turn, source: SourceId) {
        let state = self.source(source).clone();
        let Some(lost) = state.lost.filter(|lost| !lost.seen) else { return };
        turn.judged = self.latest_of(source);
        let reason = Reason::NothingReached { since: state.newest, grave: true };
        turn.tell(What::Escalated, lost.condition, lost.id, None, reason.clone(), true);
        let person = self.person(Whom::Second, &[], turn.now);
        if person.is_none()
            && let Some(at) = self.next_reachable(turn.now).filter(|at| *at < turn.night.until)
        {
            // Nobody may be called at this hour: the first who may be is.
            self.state.timers.set(Timer::GapCall(source), at);
        }
        // One that the wearer wants quiet has not rung: others are called all the same.
        let is_new = !self.state.waiting.iter().any(|waiting| waiting.id == lost.id);
        self.state.waiting.extend(turn.out.last().filter(|_| is_new).map(|rung| Waiting::new(rung, turn.now)));
        let waiting = self.state.waiting.iter_mut().find(|waiting| waiting.id == lost.id);
        let waiting = waiting.map(|waiting| {
            waiting.made.steps.push(Whom::Wearer);
            waiting.made.steps.extend(person.map(|_| Whom::Second));
            waiting.made.last = Some(turn.now);
            &mut waiting.called
        });
        // Whoever is called for a low as well is called once, and told when that is over.
        let called = self.state.chain.as_mut().map(|chain| &mut chain.called).or(waiting);
        if let (Some(person), Some(called)) = (person, called)
            && is_called(called, person, turn.now)
        {
            turn.call(person, (lost.condition, lost.id, None), reason);
        }
    }

    fn is_open(&self, waiting: &Waiting, now: Timestamp) -> bool {
        match waiting.condition {
            Condition::Gap | Condition::SourceFailed => self.source_lost_as(waiting.id).is_some(),
            Condition::TwoSignals => self.state.two_signals.is_some_and(|two| two.id == waiting.id),
            Condition::ChannelFailed => self.state.channels.is_some_and(|trouble| trouble.id == waiting.id),
            _ => waiting.answered.is_none() && now - waiting.since < Span::hours(TOLD_ONCE_HOURS),
        }
    }

    fn source_lost_as(&self, id: Id) -> Option<SourceId> {
        let is_it = |state: &SourceState| state.lost().is_some_and(|lost| lost.id == id);
        let place = self.state.sources.iter().position(is_it)?;
        u16::try_from(place).ok().map(SourceId)
    }

    pub(super) fn plan_waiting(&mut self, turn: &Turn) {
        let unanswered = self.state.waiting.iter().filter(|waiting| waiting.answered.is_none());
        let due = unanswered.filter_map(|waiting| {
            let policy = self.policy.escalation.of(waiting.priority);
            next(turn.night, |night| waiting.made.ahead(policy, night, waiting.since))
        });
        match due.min() {
            // What is overdue waits as long as all timers do after a stretch without watching.
            Some(at) if at <= turn.now => {
                let waits = self.state.timers.due(Timer::Waiting);
                self.state.timers.set(Timer::Waiting, waits.unwrap_or(turn.now));
            }
            Some(at) => self.state.timers.set(Timer::Waiting, at),
            None => self.state.timers.stop(Timer::Waiting),
        }
    }
}
