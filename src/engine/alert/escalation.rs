//! A low that nobody answers does not die quietly: it rings again, by other ways and then for other people,
//! until somebody answers or the value is back. An answer is not a recovery: a low that stays calls others even when it
//! was answered, and a very low goes on calling; that it goes on ringing too is a guarantee, in `guarantees`.
//! Decides when and whom; what is said and how it is sent is for others.

use super::Alert;
use super::calls::{Answered, Calls, LowCalls};
use super::people::{About, Answer, is_called};
use super::steps::{Due, Made, Step, next};
use crate::domain::mode::Mode;
use crate::domain::time::{Span, Timestamp};
use crate::engine::Engine;
use crate::engine::effect::{Condition, Id, Side, What};
use crate::engine::plan::Job;
use crate::engine::policy::{EscalationPolicy, Ways, Whom};
use crate::engine::reason::Reason;
use crate::engine::turn::{Judged, Turn};

/// A step that waits for a value to rise or fall is looked at again after this.
const LOOK_AGAIN_MIN: i64 = 5;

/// A diary's times are whole minutes.
const WRITTEN_TO_MIN: i64 = 1;

/// While it stays very low others are called at least this often, whatever was answered: ours.
const CALLS_GO_ON: Span = Span::minutes(20);

/// "I have it" holds calls for so long; then who said so is asked first. Ours.
const HAS_IT: Span = Span::minutes(20);

/// A call waits for the check after a treatment, and no longer than this. Ours.
const WAITS_FOR_CHECK: Span = Span::minutes(20);

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
}

impl Calls {
    /// What is still to be done, with when it is due. Once it is answered it rings no more, and others are called
    /// only for a value that stays.
    fn ahead(&self, low: &LowCalls, policy: &EscalationPolicy, night: bool) -> Vec<(Timestamp, Next)> {
        match low.very_low {
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
        }
    }

    fn steps_from(&self, start: Timestamp, policy: &EscalationPolicy, night: bool) -> Vec<(Timestamp, Next)> {
        let ahead = self.made.ahead(&policy.high, night, start).into_iter();
        ahead.map(|(at, due)| (at, Next::Due(due))).collect()
    }

    fn calls_after_an_answer(&self, low: &LowCalls, policy: &EscalationPolicy, night: bool) -> Vec<(Timestamp, Next)> {
        let steps = policy.high.steps(night);
        let first = steps.iter().find(|step| step.to != Whom::Wearer);
        let calls = self.made.left(steps).filter(|step| step.to != Whom::Wearer);
        // Whoever has it is given the time, and the same again once they were asked how it goes.
        let has_it = self.answer.as_ref().filter(|answer| answer.by.is_some()).map(|answer| {
            let asked = self.called.iter().map(|(_, at)| *at).filter(|at| *at > answer.at).max();
            asked.map_or(answer.at + HAS_IT, |asked| asked + CALLS_GO_ON)
        });
        let last = self.called.iter().map(|(_, at)| *at).max().filter(|_| low.very_low.is_some());
        let asks = self.answer.as_ref().filter(|answer| answer.by.is_some()).map(|answer| answer.at + HAS_IT);
        let asks = asks.filter(|at| self.made.last.is_none_or(|last| last < *at)).map(|at| (at, Next::Due(Due::Again)));
        let goes_on = last.map(|last| (last.max(self.made.last.unwrap_or(last)) + CALLS_GO_ON, Next::Due(Due::Again)));
        calls
            .map(|step| {
                let at = match low.very_low {
                    Some(start) if Some(step) == first => start + policy.not_recovering,
                    Some(start) => start + step.after.max(policy.not_recovering),
                    None => low.began + policy.low_answered + step.after,
                };
                (at, Next::Due(Due::Step(*step)))
            })
            .chain(goes_on)
            .chain(asks)
            .map(|(at, next)| (has_it.map_or(at, |has_it| at.max(has_it)), next))
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
                    Some(Calls { called, informed, .. }) if low && !very_low => {
                        Calls { called, informed, ..Calls::for_low(id, turn.now) }
                    }
                    // Its spans count from this ring: nothing of the time the value was back before is added.
                    Some(mut calls) => {
                        if let Some(low) = calls.of_low_mut() {
                            (low.back, low.rests) = (None, None);
                        }
                        Calls { answer: None, made: Made::default(), ..calls }
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

    /// Somebody answered: marked it as seen, treated, ate. Others who know of it are told. A line of a diary file
    /// answers what had rung by its time. Says of what it is the answer, if that is news.
    pub(in crate::engine) fn answer_chain(&mut self, turn: &mut Turn, answer: Answer<'_>) -> Option<About> {
        let written = answer.at + Span::minutes(WRITTEN_TO_MIN);
        let is_later = |alert: &Alert| alert.has_rung() && !alert.had_rung(written, None);
        let later = self.state.register.of_side(Side::Low).any(is_later);
        if turn.written && later {
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

    /// What answered a low was none: it calls as if it had rung now. Says when it does next; none where nothing called,
    /// or something else was the answer.
    pub(in crate::engine) fn call_again(&mut self, turn: &Turn, answered: Timestamp) -> Option<Timestamp> {
        let calls = self.state.register.calls_of_low_mut().filter(|calls| calls.answered_at() == Some(answered))?;
        (calls.answer, calls.made) = (None, Made::default());
        if let Some(low) = calls.of_low_mut() {
            (low.began, low.rests) = (turn.now, None);
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
        let Some((calls, low)) = self.state.register.calls_of_low().map(|(calls, low)| (calls.clone(), *low)) else {
            return;
        };
        let last = self.last_known(turn.now);
        if self.is_back(last) || self.is_doubted(&low, turn.now) || self.is_covered(&low) {
            return;
        }
        turn.judged = last;
        let fresh = self.lowest_latest(turn.now);
        let ahead = calls.ahead(&low, &self.policy.escalation, turn.night.inside);
        let due: Vec<Next> = ahead.into_iter().filter(|(at, _)| *at <= turn.now).map(|(_, next)| next).collect();
        // After a sleep all that fell due is one step: the gravest.
        let Some(gravest) = due.iter().map(|next| next.step()).max() else {
            self.plan_chain(turn);
            return;
        };
        if self.spares_a_repeat(turn, &calls, &low, gravest, fresh) {
            return;
        }
        let goes_on = due.iter().any(|next| matches!(next, Next::Due(Due::Again))) && self.is_very_low(fresh);
        if calls.is_answered() && !goes_on && !self.stays(&low, turn.now, fresh) {
            self.state.plan.set(Job::LowCalls, turn.now + Span::minutes(LOOK_AGAIN_MIN));
            return;
        }
        if calls.is_answered() && self.waits_for_check(turn) {
            return;
        }
        self.make_steps(turn, calls, &due, gravest);
        self.plan_chain(turn);
    }

    fn make_steps(&mut self, turn: &mut Turn, mut calls: Calls, due: &[Next], gravest: Step) {
        if let Some(low) = calls.of_low_mut() {
            low.promoted |= due.iter().any(|next| matches!(next, Next::Promote));
        }
        let steps: Vec<Due> = due.iter().filter_map(|next| next.due()).collect();
        let about @ (condition, id, part_of) = self.speaking(calls.id);
        let before = calls.told();
        let first = self.asked_first(turn, &calls);
        let first = first.filter(|person| is_called(&mut calls.called, *person, turn.now));
        let people = if let Some(person) = first {
            calls.made.last = Some(turn.now);
            vec![(person, Ways::All)]
        } else {
            let policy = &self.policy.escalation.high;
            let people = self.calls(turn, &steps, policy, &mut calls.made, &mut calls.called);
            calls.made.note(&steps, turn.now);
            people
        };
        if let Some(low) = calls.of_low_mut() {
            low.waits_until = None;
        }
        let since = calls.since;
        let reason = |told: Vec<(u8, Timestamp)>, ways: Ways| match &calls.answer {
            None => Reason::Unanswered { since, step: gravest, told, ways },
            Some(Answered { at, by }) => Reason::NotRecovering { since, answered: *at, by: by.clone(), told },
        };
        if !calls.is_answered() {
            let ways = due.iter().map(|next| next.due().map_or(Ways::All, Due::ways)).max().unwrap_or_default();
            turn.tell(What::Escalated, condition, id, part_of, reason(calls.told(), ways), true);
        }
        for (person, ways) in people {
            turn.call(person, about, reason(before.clone(), ways));
        }
        if let Some(known) = self.state.register.calls_of_low_mut() {
            *known = calls;
        }
    }

    /// Whoever said that they have it, and has not been asked since how it goes, if they may be called at this hour.
    fn asked_first(&self, turn: &Turn, calls: &Calls) -> Option<u8> {
        let answer = calls.answer.as_ref()?;
        let name = answer.by.as_ref()?;
        let place = self.policy.people.iter().position(|person| person.name == *name)?;
        let person = u8::try_from(place).ok()?;
        let asked = calls.called.iter().any(|(known, at)| *known == person && *at > answer.at);
        let reachable = self.policy.people[place].may_be_reached(self.policy.zone, turn.now);
        (reachable && !asked).then_some(person)
    }

    /// A treatment is to have its check before anybody is told that nothing came of it, on a value from after it: the
    /// call waits once, and not for long.
    fn waits_for_check(&mut self, turn: &Turn) -> bool {
        let Some(treated) = self.state.plan.low().and_then(|check| check.treated) else { return false };
        let check = treated.at + self.policy.recheck.low_look;
        let before = turn.judged.is_some_and(|judged| judged.at <= treated.at);
        if treated.at > turn.now || check < turn.now && !before {
            return false;
        }
        let Some(low) = self.state.register.calls_of_low_mut().and_then(Calls::of_low_mut) else { return false };
        let latest = *low.waits_until.get_or_insert(turn.now + WAITS_FOR_CHECK);
        let next = (check + Span::minutes(1)).max(turn.now + Span::minutes(1)).min(latest);
        if next <= turn.now {
            return false;
        }
        self.state.plan.set(Job::LowCalls, next);
        true
    }

    /// The low is over, and its calls with it.
    fn end_chain(&mut self, turn: &mut Turn) {
        let Some(calls) = self.state.register.take_calls_of_low() else { return };
        self.state.plan.stop(Job::LowCalls);
        tell_over(turn, calls.id, calls.since, &calls.told());
    }

    /// The value has been back for an episode's length: whoever was called is told, once.
    fn tell_back(&mut self, turn: &mut Turn) {
        let Some(calls) = self.state.register.calls_of_low_mut() else { return };
        let back = calls.of_low().and_then(|low| low.back);
        if back.is_some_and(|back| turn.now - back >= Span::minutes(BACK_FOR_MIN)) {
            let told = calls.told();
            (calls.called, calls.informed) = (Vec::new(), Vec::new());
            tell_over(turn, calls.id, calls.since, &told);
        }
    }

    /// Sets the job of the next step; none while it rests, and that time does not count.
    pub(in crate::engine) fn plan_chain(&mut self, turn: &Turn) {
        let Some((_, low)) = self.state.register.calls_of_low() else { return };
        let is_doubted = self.is_doubted(low, turn.now) || self.is_covered(low);
        let is_back = self.is_back(self.last_known(turn.now));
        let Some(calls) = self.state.register.calls_of_low_mut() else { return };
        let Some(low) = calls.of_low_mut() else { return };
        // An older version kept only since when it was back.
        low.rests = low.rests.or(low.back);
        low.back = low.back.or(Some(turn.now)).filter(|_| is_back);
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
        match next(turn.night, |night| calls.ahead(low, policy, night)) {
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
    fn is_back(&self, judged: Option<Judged>) -> bool {
        judged.is_some_and(|judged| judged.glucose.hundredths() >= self.policy.levels.low.limit.hundredths())
    }

    /// Does only a sensor say that it is low that is doubted, or that a meter has just denied? It may be wrong, and
    /// nobody is called for it; very low is never doubted away.
    pub(in crate::engine) fn is_doubted(&self, low: &LowCalls, now: Timestamp) -> bool {
        low.very_low.is_none() && (self.is_on(Mode::Doubted, now) || self.meter_denies_low(now))
    }

    /// Does the value stay where it was, answered or not? One that rose from very low and is low for as long
    /// as an answered low may be stays as well.
    fn stays(&self, low: &LowCalls, now: Timestamp, judged: Option<Judged>) -> bool {
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

/// The low is over: whoever knows of it is told.
fn tell_over(turn: &mut Turn, id: Id, since: Timestamp, told: &[(u8, Timestamp)]) {
    for (person, _) in told {
        turn.tell_on(*person, (Condition::Low, id, None), Reason::LowOver { since });
    }
}
