//! A low that nobody answers does not die quietly: it rings again, by other ways and then for other people,
//! until somebody answers or the value is back. An answer is not a recovery: a low that stays calls others even when it
//! was answered, and a very low goes on calling; that it goes on ringing too is a guarantee, in `guarantees`.
//! Decides when and whom; what is said and how it is sent is for others.

use super::Alert;
use super::calls::{Calls, LowCalls};
use super::people::About;
use super::steps::{Due, Made, Step, next};
use crate::domain::time::{Span, Timestamp};
use crate::engine::Engine;
use crate::engine::effect::{Condition, Id, Side, What};
use crate::engine::plan::Job;
use crate::engine::policy::{EscalationPolicy, Ways, Whom};
use crate::engine::reason::Reason;
use crate::engine::turn::{Judged, Turn};

/// A step that waits for a value to rise or fall is looked at again after this.
const LOOK_AGAIN_MIN: i64 = 5;

/// Two readings in a row are so far apart at least.
const TWO_READINGS_MIN: i64 = 4;

/// Fifteen minutes back end an episode (Danne 2017, Diabetes Care 40:1631).
const BACK_FOR_MIN: i64 = 15;

/// What the calls for a low do next, the mildest first.
#[derive(Debug, Clone, Copy)]
enum Next {
    Promote,
    Due(Due),
}

impl Next {
    const fn due(self) -> Option<Due> {
        match self {
            Self::Promote => None,
            Self::Due(due) => Some(due),
        }
    }

    const fn step(self) -> Step {
        match self {
            Self::Promote => Step::Promote,
            Self::Due(due) => due.step(),
        }
    }

    /// Does it call somebody, for the first time?
    fn calls_somebody(self) -> bool {
        matches!(self, Self::Due(Due::Step(step)) if step.to != Whom::Wearer)
    }
}

impl Calls {
    /// What is still to be done, with when it is due. Once it is answered it rings no more, and others are called
    /// only for a value that stays.
    fn ahead(
        &self,
        low: &LowCalls,
        policy: &EscalationPolicy,
        night: bool,
        waits: Option<Timestamp>,
    ) -> Vec<(Timestamp, Next)> {
        let mut ahead = match low.very_low {
            _ if self.is_answered() => self.calls_after_an_answer(low, policy, night),
            Some(start) => self.steps_from(start, policy, night),
            None => {
                let start = low.began + policy.low_unanswered;
                let mut ahead = self.steps_from(start, policy, night);
                if !low.promoted {
                    ahead.push((start, Next::Promote));
                }
                ahead
            }
        };
        // Calls to others wait; the wearer is rung all the same.
        if let Some(waits) = waits {
            let mut rings = Vec::new();
            for (at, _) in ahead.iter_mut().filter(|(at, next)| *at < waits && next.calls_somebody()) {
                if !self.is_answered() && self.made.last.is_none_or(|last| last < *at) {
                    rings.push((*at, Next::Due(Due::Again)));
                }
                *at = waits;
            }
            ahead.extend(rings);
        }
        ahead
    }

    fn steps_from(&self, start: Timestamp, policy: &EscalationPolicy, night: bool) -> Vec<(Timestamp, Next)> {
        let ahead = self.made.ahead(&policy.high, night, start).into_iter();
        ahead.map(|(at, due)| (at, Next::Due(due))).collect()
    }

    fn calls_after_an_answer(&self, low: &LowCalls, policy: &EscalationPolicy, night: bool) -> Vec<(Timestamp, Next)> {
        let steps = policy.high.steps(night);
        let first = steps.iter().find(|step| step.to != Whom::Wearer);
        let calls = self.made.left(steps).filter(|step| step.to != Whom::Wearer);
        calls
            .map(|step| {
                let at = match low.very_low {
                    Some(start) if Some(step) == first => start + policy.not_recovering,
                    Some(start) => start + step.after.max(policy.not_recovering),
                    None => low.began + policy.low_answered + step.after,
                };
                (at, Next::Due(Due::Step(*step)))
            })
            .collect()
    }
}

impl Engine {
    /// What was decided on the low side from `first` on, in this turn, begins its calls or makes them graver.
    pub(in crate::engine) fn follow_chain(&mut self, turn: &mut Turn, first: usize) {
        // Most readings decide nothing on that side, and nothing is called for.
        if turn.out.len() == first && self.state.register.calls.is_empty() {
            return;
        }
        let rung = |condition: Condition| {
            turn.out.iter().skip(first).any(|decision| {
                decision.rings
                    && decision.condition == condition
                    && matches!(decision.what, What::Raised | What::Repeated)
            })
        };
        let (very_low, low) = (rung(Condition::VeryLow), rung(Condition::Low));
        // The number of the thread all its messages are in: of two that begin at once one is part of the other.
        let root = self.root(Side::Low).map(Alert::thread);
        match root {
            None => self.end_chain(turn),
            Some(id) if very_low || low => {
                let mut calls = match self.state.register.take_calls_of_low() {
                    // A new low under the same alert is a new one to answer; who was called stays told.
                    Some(before) if low && !very_low => begun_anew(before, id, turn.now),
                    // Its spans count from this ring: nothing of the time the value was back before is added.
                    Some(mut calls) => {
                        if let Some(low) = calls.of_low_mut() {
                            (low.back, low.rests) = (None, None);
                        }
                        let anew = if calls.is_answered() { Some(turn.now) } else { calls.anew };
                        Calls { answer: None, anew, made: Made::default(), ..calls }
                    }
                    None => Calls::for_low(id, turn.now),
                };
                if let Some(low) = calls.of_low_mut().filter(|_| very_low) {
                    low.very_low = Some(turn.now);
                }
                self.state.register.calls.push(calls);
            }
            Some(_) => {}
        }
        self.plan_chain(turn);
        self.tell_back(turn);
    }

    /// A step is due.
    pub(in crate::engine) fn escalate(&mut self, turn: &mut Turn) {
        if self.ring_covered_late(turn) {
            return;
        }
        if self.root(Side::Low).is_none() {
            // The settings may have ended the alert.
            self.end_chain(turn);
            return;
        }
        let last = self.last_known(turn.now);
        let low = self.state.register.calls_of_low().map(|(_, low)| *low);
        if self.is_back(self.last_of_sensors(turn.now))
            || low.is_none_or(|low| self.is_doubted(&low, turn.now) || self.is_covered(&low))
        {
            self.plan_chain(turn);
            return;
        }
        if let Some(later) = self.calls_wait_without_signal(turn) {
            self.state.plan.set(Job::LowCalls, later);
            return;
        }
        turn.judged = last;
        self.ask_who_has_it(turn);
        let Some((calls, low)) = self.state.register.calls_of_low().map(|(calls, low)| (calls.clone(), *low)) else {
            return;
        };
        // One finger-prick ends the calls of a very low no more than its rings.
        let fresh =
            if low.very_low.is_some() { self.lowest_of_sensors(turn.now) } else { self.lowest_latest(turn.now) };
        let waits = self.call_waits_until(&low, turn.now);
        let ahead = calls.ahead(&low, &self.policy.escalation, turn.night.inside, waits);
        let due: Vec<Next> = ahead.into_iter().filter(|(at, _)| *at <= turn.now).map(|(_, next)| next).collect();
        // After a sleep all that fell due is one step: the gravest.
        match due.iter().map(|next| next.step()).max() {
            // Others are called only for a value that stays.
            Some(_) if calls.is_answered() && !self.stays(&low, turn.now, fresh) => {
                self.state.plan.set(Job::LowCalls, turn.now + Span::minutes(LOOK_AGAIN_MIN));
                return;
            }
            Some(gravest) if self.spares_a_repeat(turn, &calls, &low, gravest, fresh) => return,
            Some(gravest) => self.make_steps(turn, calls, &due, gravest, waits.is_some()),
            None => {}
        }
        self.plan_chain(turn);
    }

    /// Nobody beside the wearer is called while calls wait.
    fn make_steps(&mut self, turn: &mut Turn, mut calls: Calls, due: &[Next], gravest: Step, waits: bool) {
        let steps: Vec<Due> = due.iter().filter_map(|next| next.due()).collect();
        let about @ (condition, id, part_of) = self.speaking(calls.id);
        let before = calls.told();
        let mut people = Vec::new();
        if !waits {
            people = self.calls(turn, &steps, &self.policy.escalation.high, &mut calls.made, &mut calls.called);
            self.call_on_with(turn, &mut calls, &mut people);
        }
        calls.made.note(&steps, turn.now);
        if let Some(low) = calls.of_low_mut() {
            low.promoted |= due.iter().any(|next| matches!(next, Next::Promote));
            if !people.is_empty() {
                low.called(turn.now);
            } else if due.iter().any(|next| next.calls_somebody()) {
                // That nobody may be called at this hour ends no calls: they begin when somebody may be.
                low.called_at.get_or_insert(turn.now);
            }
        }
        let reason = |told, ways| self.why_called(turn.now, &calls, turn.judged, gravest, told, ways);
        let calling: Vec<(u8, Reason)> =
            people.into_iter().map(|(person, ways)| (person, reason(before.clone(), ways))).collect();
        let ways = due.iter().map(|next| next.due().map_or(Ways::All, Due::ways)).max().unwrap_or_default();
        let rings = (!calls.is_answered()).then(|| reason(calls.told(), ways));
        if let Some(reason) = rings {
            turn.tell(What::Escalated, condition, id, part_of, reason, true);
        }
        for (person, reason) in calling {
            turn.call(person, about, reason);
        }
        if let Some(known) = self.state.register.calls_of_low_mut() {
            *known = calls;
        }
    }

    /// The low is over, and its calls with it.
    fn end_chain(&mut self, turn: &mut Turn) {
        let Some(calls) = self.state.register.take_calls_of_low() else { return };
        self.state.plan.stop(Job::LowCalls);
        self.state.plan.stop(Job::CallsLast);
        self.tell_over(turn, calls.id, calls.since, &calls.told());
    }

    /// The value has been back for an episode's length: whoever was called is told, once.
    fn tell_back(&mut self, turn: &mut Turn) {
        let Some(calls) = self.state.register.calls_of_low_mut() else { return };
        let back = calls.of_low().and_then(|low| low.back);
        if back.is_some_and(|back| turn.now - back >= Span::minutes(BACK_FOR_MIN)) {
            let (id, since, told) = (calls.id, calls.since, calls.told());
            (calls.called, calls.informed) = (Vec::new(), Vec::new());
            self.tell_over(turn, id, since, &told);
        }
    }

    /// The low is over: whoever knows of it is told.
    fn tell_over(&self, turn: &mut Turn, id: Id, since: Timestamp, told: &[(u8, Timestamp)]) {
        let before = turn.judged;
        let reason = if told.is_empty() { return } else { self.over_of_low(turn, since) };
        for (person, _) in told {
            turn.tell_on(*person, (Condition::Low, id, None), reason.clone());
        }
        turn.judged = before;
    }

    /// Sets the job of the next step; none while it rests, and that time does not count.
    pub(in crate::engine) fn plan_chain(&mut self, turn: &Turn) {
        let Some((_, low)) = self.state.register.calls_of_low() else { return };
        let is_doubted = self.is_doubted(low, turn.now) || self.is_covered(low);
        let is_back = self.is_back(self.last_of_sensors(turn.now));
        let is_over = is_back && self.is_back_for_good(low, turn.now);
        let Some(calls) = self.state.register.calls_of_low_mut() else { return };
        let Some(low) = calls.of_low_mut() else { return };
        // An older version kept only since when it was back.
        low.rests = low.rests.or(low.back);
        low.back = low.back.or(Some(turn.now)).filter(|_| is_back);
        if is_over {
            (low.called_at, low.waits_until) = (None, None);
        }
        if is_back || is_doubted {
            low.rests.get_or_insert(turn.now);
            self.plan_covered();
            return;
        }
        if let Some(rests) = low.rests.take() {
            let by = turn.now - rests;
            low.began = low.began + by;
            low.very_low = low.very_low.map(|at| at + by);
            calls.made.shift(by);
        }
        let policy = &self.policy.escalation;
        let Some((calls, low)) = self.state.register.calls_of_low() else { return };
        let waits = self.call_waits_until(low, turn.now);
        match next(turn.night, |night| calls.ahead(low, policy, night, waits)) {
            Some(at) => self.state.plan.set(Job::LowCalls, at.max(turn.now)),
            None => self.state.plan.stop(Job::LowCalls),
        }
    }

    /// The lowest value that is fresh; when none is, the last there was: a low that fell silent is still one, and
    /// a silence after any other value is told as a silence.
    pub(in crate::engine) fn last_known(&self, now: Timestamp) -> Option<Judged> {
        let last = || self.state.window.newest().and_then(|last| self.latest_of(last.source));
        self.lowest_latest(now).or_else(last)
    }

    /// Is the value no longer low? Not knowing any is not being back.
    pub(super) fn is_back(&self, judged: Option<Judged>) -> bool {
        judged.is_some_and(|judged| judged.glucose.hundredths() >= self.policy.levels.low.limit.hundredths())
    }

    /// Two readings that are back, a few minutes apart, and not falling: calls that went on do so no more.
    fn is_back_for_good(&self, low: &LowCalls, now: Timestamp) -> bool {
        let long_enough = low.back.is_some_and(|back| now - back >= Span::minutes(TWO_READINGS_MIN));
        let judged = self.lowest_of_sensors(now).filter(|_| long_enough);
        judged.is_some_and(|judged| {
            self.is_back(Some(judged)) && !judged.rate.is_some_and(|rate| rate.direction().falls())
        })
    }

    /// Does the value stay where it was, answered or not? One that rose from very low and is low for as long
    /// as an answered low may be stays as well.
    pub(super) fn stays(&self, low: &LowCalls, now: Timestamp, judged: Option<Judged>) -> bool {
        let limit = match low.very_low {
            Some(at) if now - at < self.policy.escalation.low_answered => self.policy.levels.very_low.limit,
            Some(_) | None => self.policy.levels.low.limit,
        };
        judged.is_none_or(|judged| {
            let rises = judged.rate.is_some_and(|rate| rate.direction().rises());
            judged.glucose.hundredths() < limit.hundredths() && !rises
        })
    }

    /// The alert that speaks for the low now: the worse one while the value is beyond its limit. `thread` is that of its
    /// calls.
    pub(in crate::engine) fn speaking(&self, thread: Id) -> About {
        let register = &self.state.register;
        // A milder one that was hidden has never been told: the worse goes on speaking for it.
        let told = register.of(Condition::Low).filter(|milder| !milder.is_spoken_for());
        let beyond = register.of(Condition::VeryLow).filter(|worse| worse.is_beyond() || told.is_none());
        match beyond.or(told) {
            Some(alert) => (alert.condition, alert.id, alert.part_of),
            None => (Condition::Low, thread, None),
        }
    }
}

/// The calls of a new low under the same alert: who was called stays told, and whoever has it has it still.
fn begun_anew(before: Calls, id: Id, now: Timestamp) -> Calls {
    let kept = before.of_low().copied();
    let mut calls = Calls { called: before.called, informed: before.informed, ..Calls::for_low(id, now) };
    if let (Some(low), Some(LowCalls { waits_until, treated_at, called_at, has_it, .. })) = (calls.of_low_mut(), kept) {
        *low = LowCalls { waits_until, treated_at, called_at, has_it, ..*low };
    }
    calls
}
