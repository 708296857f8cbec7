//! A low that nobody answers does not die quietly: it rings again, by other ways and then for other people,
//! until somebody answers or the value is back. An answer is not a recovery: a low that stays calls others
//! even when it was answered. Decides when and whom; what is said and how it is sent is for others.

use super::Engine;
use super::effect::{Audience, Condition, Id, Side, What};
use super::level::Told;
use super::policy::{EscalationPolicy, PEOPLE_MAX};
use super::reason::Reason;
use super::timers::Timer;
use super::turn::{Judged, Turn};
use crate::domain::mode::Mode;
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// A step that waits for a value to rise or fall is looked at again after this.
const LOOK_AGAIN_MIN: i64 = 5;

/// Nobody is called twice within this: two steps, or a step and a silence, may fall on the same person.
const NOT_AGAIN_MIN: i64 = 5;

/// A diary's times are whole minutes.
const WRITTEN_TO_MIN: i64 = 1;

/// Fifteen minutes back end an episode (Danne 2017, Diabetes Care 40:1631).
const BACK_FOR_MIN: i64 = 15;

/// The calls for one low, from its first ring to its end.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Chain {
    /// The alert that began it.
    pub id: Id,
    /// Its first ring; of a new episode under one alert, that one's.
    pub since: Timestamp,
    /// The same, later by the time the value was back meanwhile: steps count from it.
    began: Timestamp,
    /// When it rang as very low, if it did; later by the same.
    very_low: Option<Timestamp>,
    /// The value is back since then, and the alert has not ended.
    back: Option<Timestamp>,
    /// Since then no step is made, and the time does not count: the value is back, or only a doubted sensor says
    /// that it is low.
    #[serde(default)]
    rests: Option<Timestamp>,
    /// When the wearer answered.
    pub answered: Option<Timestamp>,
    /// When each person was called.
    pub called: Vec<(u8, Timestamp)>,
    /// Steps made.
    done: Vec<Step>,
    /// When it last rang for want of an answer.
    again: Option<Timestamp>,
}

/// One step of a chain, the gravest last.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Step {
    /// A low nobody answered becomes high priority.
    Promote,
    /// It rings again, and by the ways kept for later.
    Repeat,
    /// And again, and again.
    Again,
    /// The second person is called.
    Second,
    /// The third.
    Third,
}

impl Chain {
    const fn new(id: Id, now: Timestamp) -> Self {
        Self {
            id,
            since: now,
            began: now,
            very_low: None,
            back: None,
            rests: None,
            answered: None,
            called: Vec::new(),
            done: Vec::new(),
            again: None,
        }
    }

    /// The clock was set: every span keeps its length.
    pub(super) fn shift(&mut self, by: Span) {
        self.since = self.since + by;
        self.began = self.began + by;
        let called = self.called.iter_mut().map(|(_, at)| at);
        let others = [&mut self.very_low, &mut self.back, &mut self.rests, &mut self.answered, &mut self.again];
        for at in others.into_iter().flatten().chain(called) {
            *at = *at + by;
        }
    }

    /// The steps that are still to be made, with when they are due. Once it is answered it rings no more, and
    /// others are called only for a value that stays.
    fn steps(&self, policy: &EscalationPolicy, night: bool) -> Vec<(Timestamp, Step)> {
        let start = match (self.very_low, self.answered) {
            (Some(at), _) => at,
            (None, None) => self.began + policy.low_unanswered,
            (None, Some(_)) => self.began + policy.low_answered,
        };
        let second = match (self.very_low, self.answered) {
            (Some(_), Some(_)) => policy.not_recovering,
            _ if night => policy.second_by_night,
            _ => policy.second_by_day,
        };
        let third = start + policy.third;
        let mut steps = vec![(start + second, Step::Second), (third, Step::Third)];
        if self.answered.is_none() {
            if self.very_low.is_none() {
                steps.push((start, Step::Promote));
            }
            // What comes after the last step goes on for good.
            let again = self.again.map_or(third, |again| again.max(third)) + policy.every;
            steps.extend([(start + policy.repeat, Step::Repeat), (again, Step::Again)]);
        }
        steps.retain(|(_, step)| !self.done.contains(step));
        steps
    }
}

impl Engine {
    /// What was decided on the low side from `first` on, in this turn, begins a chain or makes it graver.
    pub(super) fn follow_chain(&mut self, turn: &mut Turn, first: usize) {
        let rung = |condition: Condition| {
            turn.out.iter().skip(first).any(|decision| {
                decision.rings
                    && decision.condition == condition
                    && matches!(decision.what, What::Raised | What::Repeated)
            })
        };
        let (very_low, low) = (rung(Condition::VeryLow), rung(Condition::Low));
        // The number of the thread all its messages are in: of two that begin at once one is part of the other.
        let root = self.side(Side::Low).root().map(|root| root.part_of.unwrap_or(root.id));
        match root {
            None => self.end_chain(turn),
            Some(id) if very_low || low => {
                let mut chain = match self.state.chain.take() {
                    // A new low under the same alert is a new one to answer; who was called stays told.
                    Some(chain) if low && !very_low => Chain { called: chain.called, ..Chain::new(id, turn.now) },
                    // Its spans count from this ring: nothing of the time the value was back before is added.
                    Some(chain) => {
                        Chain { answered: None, done: Vec::new(), again: None, back: None, rests: None, ..chain }
                    }
                    None => Chain::new(id, turn.now),
                };
                if very_low {
                    chain.very_low = Some(turn.now);
                }
                self.state.chain = Some(chain);
            }
            Some(_) => {}
        }
        self.plan_chain(turn);
        self.tell_back(turn);
    }

    /// The wearer answered: marked as seen, treated, ate. Others who were called are told. A line of a diary
    /// file answers what had rung by its time.
    pub(super) fn answer_chain(&mut self, turn: &mut Turn, at: Timestamp) {
        let written = at + Span::minutes(WRITTEN_TO_MIN);
        let later = self.side(Side::Low).active().any(|active| active.told == Told::Rang && !active.had_rung(written));
        if turn.written && later {
            return;
        }
        let Some(chain) = &mut self.state.chain else { return };
        if chain.answered.is_none() {
            chain.answered = Some(at);
            let chain = chain.clone();
            let (condition, id, part_of) = self.speaking(&chain);
            for (person, _) in chain.called {
                let to = Audience::Person(person);
                turn.tell_to(to, What::Told, condition, id, part_of, Reason::Answered { at }, true);
            }
        }
        self.plan_chain(turn);
    }

    /// A step is due.
    pub(super) fn escalate(&mut self, turn: &mut Turn) {
        if self.side(Side::Low).root().is_none() {
            // The settings may have ended the alert.
            self.end_chain(turn);
            return;
        }
        let Some(mut chain) = self.state.chain.clone() else { return };
        let last = self.last_known(turn.now);
        if self.is_back(last) || self.is_doubted(&chain, turn.now) {
            return;
        }
        turn.judged = last;
        let fresh = self.lowest_latest(turn.now);
        let steps = chain.steps(&self.policy.escalation, turn.night.inside);
        let due: Vec<Step> = steps.into_iter().filter(|(at, _)| *at <= turn.now).map(|(_, step)| step).collect();
        let stays = self.stays(&chain, turn.now, fresh);
        // After a sleep all that fell due is one step: the gravest.
        let Some(gravest) = due.iter().copied().max() else {
            self.plan_chain(turn);
            return;
        };
        if chain.answered.is_some() && !stays {
            self.state.timers.set(Timer::Chain, turn.now + Span::minutes(LOOK_AGAIN_MIN));
            return;
        }
        chain.done.extend(due.iter().filter(|step| **step != Step::Again));
        let reason = match chain.answered {
            None => Reason::Unanswered { since: chain.since, step: gravest, told: chain.called.clone() },
            Some(at) => Reason::NotRecovering { since: chain.since, answered: at, told: chain.called.clone() },
        };
        let speaking @ (condition, id, part_of) = self.speaking(&chain);
        if chain.answered.is_none() {
            turn.tell(What::Escalated, condition, id, part_of, reason.clone(), true);
            chain.again = Some(turn.now);
        }
        for (step, person) in [(Step::Second, 0), (Step::Third, 1)] {
            let repeats = due.contains(&Step::Again) && chain.called.iter().any(|(known, _)| *known == person);
            if due.contains(&step) || repeats {
                self.call(turn, &mut chain.called, person, speaking, &reason);
            }
        }
        self.state.chain = Some(chain);
        self.plan_chain(turn);
    }

    /// Calls a person; one who may not be called at this hour is passed over for the next.
    pub(super) fn call(
        &self,
        turn: &mut Turn,
        called: &mut Vec<(u8, Timestamp)>,
        person: u8,
        (condition, id, part_of): (Condition, Id, Option<Id>),
        reason: &Reason,
    ) {
        let zone = self.policy.zone;
        let reachable = (usize::from(person)..self.policy.people.len().min(PEOPLE_MAX)).find(|place| {
            let hours = self.policy.people.get(*place).and_then(|person| person.hours);
            hours.is_none_or(|hours| hours.stretch(zone, turn.now).inside)
        });
        let Some(person) = reachable.and_then(|place| u8::try_from(place).ok()) else { return };
        match called.iter_mut().find(|(known, _)| *known == person) {
            Some((_, at)) if turn.now - *at < Span::minutes(NOT_AGAIN_MIN) => return,
            Some((_, at)) => *at = turn.now,
            None => called.push((person, turn.now)),
        }
        turn.tell_to(Audience::Person(person), What::Called, condition, id, part_of, reason.clone(), true);
    }

    /// The low is over, and its calls with it.
    fn end_chain(&mut self, turn: &mut Turn) {
        let Some(chain) = self.state.chain.take() else { return };
        self.state.timers.stop(Timer::Chain);
        tell_over(turn, chain.id, chain.since, chain.called);
    }

    /// The value has been back for an episode's length: whoever was called is told, once.
    fn tell_back(&mut self, turn: &mut Turn) {
        let Some(chain) = &mut self.state.chain else { return };
        if chain.back.is_some_and(|back| turn.now - back >= Span::minutes(BACK_FOR_MIN)) {
            let (id, since, called) = (chain.id, chain.since, std::mem::take(&mut chain.called));
            tell_over(turn, id, since, called);
        }
    }

    /// Sets the timer for the next step; none while it rests, and that time does not count.
    pub(super) fn plan_chain(&mut self, turn: &Turn) {
        let Some(chain) = &self.state.chain else { return };
        let is_doubted = self.is_doubted(chain, turn.now);
        let is_back = self.is_back(self.last_known(turn.now));
        let Some(chain) = &mut self.state.chain else { return };
        // An older version kept only since when it was back.
        chain.rests = chain.rests.or(chain.back);
        chain.back = chain.back.or(Some(turn.now)).filter(|_| is_back);
        if is_back || is_doubted {
            chain.rests.get_or_insert(turn.now);
            self.state.timers.stop(Timer::Chain);
            return;
        }
        if let Some(rests) = chain.rests.take() {
            let by = turn.now - rests;
            chain.began = chain.began + by;
            chain.very_low = chain.very_low.map(|at| at + by);
            chain.again = chain.again.map(|at| at + by);
        }
        let next = chain.steps(&self.policy.escalation, turn.night.inside).into_iter().map(|(at, _)| at).min();
        match next {
            Some(at) => self.state.timers.set(Timer::Chain, at.max(turn.now)),
            None => self.state.timers.stop(Timer::Chain),
        }
    }

    /// The lowest value that is fresh; when none is, the last there was: a low that fell silent is still one, and
    /// a silence after any other value is told as a silence.
    fn last_known(&self, now: Timestamp) -> Option<Judged> {
        let last = || self.state.window.newest().and_then(|last| self.latest_of(last.source));
        self.lowest_latest(now).or_else(last)
    }

    /// Is the value no longer low? Not knowing any is not being back.
    fn is_back(&self, judged: Option<Judged>) -> bool {
        judged.is_some_and(|judged| judged.glucose.hundredths() >= self.policy.levels.low.limit.hundredths())
    }

    /// Does only a doubted sensor say that it is low? It may be wrong, and nobody is called for it; very low is
    /// never doubted away.
    fn is_doubted(&self, chain: &Chain, now: Timestamp) -> bool {
        chain.very_low.is_none() && self.is_on(Mode::Doubted, now)
    }

    /// Does the value stay where it was, answered or not? One that rose from very low and is low for as long
    /// as an answered low may be stays as well.
    fn stays(&self, chain: &Chain, now: Timestamp, judged: Option<Judged>) -> bool {
        let limit = match chain.very_low {
            Some(at) if now - at < self.policy.escalation.low_answered => self.policy.levels.very_low.limit,
            Some(_) | None => self.policy.levels.low.limit,
        };
        judged.is_none_or(|judged| {
            let rises = judged.rate.is_some_and(|rate| rate.direction().rises());
            judged.glucose.hundredths() < limit.hundredths() && !rises
        })
    }

    /// The alert that speaks for the low now: the worse one while the value is beyond its limit.
    fn speaking(&self, chain: &Chain) -> (Condition, Id, Option<Id>) {
        let side = self.side(Side::Low);
        // A milder one that was hidden has never been told: the worse goes on speaking for it.
        let told = side.milder.active().filter(|milder| milder.told != Told::Hidden);
        let beyond = side.worse.active().filter(|worse| worse.is_beyond() || told.is_none());
        match (beyond, told) {
            (Some(worse), _) => (Condition::VeryLow, worse.id, worse.part_of),
            (None, Some(milder)) => (Condition::Low, milder.id, milder.part_of),
            (None, None) => (Condition::Low, chain.id, None),
        }
    }
}

/// The low is over: whoever was called is told.
fn tell_over(turn: &mut Turn, id: Id, since: Timestamp, called: Vec<(u8, Timestamp)>) {
    for (person, _) in called {
        let reason = Reason::LowOver { since };
        turn.tell_to(Audience::Person(person), What::Told, Condition::Low, id, None, reason, true);
    }
}
