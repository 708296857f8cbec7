//! A low that nobody answers does not die quietly: it rings again, by other ways and then for other people,
//! until somebody answers or the value is back. An answer is not a recovery: a low that stays calls others
//! even when it was answered. Decides when and whom; what is said and how it is sent is for others.

use super::Engine;
use super::effect::{Condition, Id, Side, What};
use super::level::Told;
use super::people::{About, Answer, moved};
use super::policy::{EscalationPolicy, Ways, Whom};
use super::reason::Reason;
use super::steps::{Due, Made, Step, next};
use super::timers::Timer;
use super::turn::{Judged, Turn};
use crate::domain::mode::Mode;
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// A step that waits for a value to rise or fall is looked at again after this.
const LOOK_AGAIN_MIN: i64 = 5;

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
    /// When somebody answered.
    pub answered: Option<Timestamp>,
    /// Who, if it was not the wearer.
    #[serde(default)]
    pub by: Option<String>,
    /// When each person was called.
    pub called: Vec<(u8, Timestamp)>,
    /// When each of those was told who are told at the first ring.
    #[serde(default)]
    pub informed: Vec<(u8, Timestamp)>,
    /// As grave as a very low, because nobody answered.
    #[serde(default)]
    promoted: bool,
    /// Steps made.
    #[serde(default)]
    made: Made,
}

/// What a chain does next, the mildest first.
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

impl Chain {
    fn new(id: Id, now: Timestamp) -> Self {
        Self {
            id,
            since: now,
            began: now,
            very_low: None,
            back: None,
            rests: None,
            answered: None,
            by: None,
            called: Vec::new(),
            informed: Vec::new(),
            promoted: false,
            made: Made::default(),
        }
    }

    /// The clock was set: every span keeps its length.
    fn shift(&mut self, by: Span) {
        self.since = self.since + by;
        self.began = self.began + by;
        self.made.shift(by);
        let told = self.called.iter_mut().chain(&mut self.informed).map(|(_, at)| at);
        let others = [&mut self.very_low, &mut self.back, &mut self.rests, &mut self.answered];
        for at in others.into_iter().flatten().chain(told) {
            *at = *at + by;
        }
    }

    /// The people of the settings have other places.
    pub(super) fn move_people(&mut self, to: &impl Fn(u8) -> Option<u8>) {
        moved(&mut self.called, to);
        moved(&mut self.informed, to);
        self.made.move_people(to);
    }

    /// Everybody who knows of it beside the wearer, and since when.
    #[must_use]
    pub fn told(&self) -> Vec<(u8, Timestamp)> {
        let only_informed = |(person, _): &&(u8, Timestamp)| !self.called.iter().any(|(called, _)| called == person);
        let mut told: Vec<_> = self.called.iter().chain(self.informed.iter().filter(only_informed)).copied().collect();
        told.sort_by_key(|(person, at)| (*at, *person));
        told
    }

    /// What is still to be done, with when it is due. Once it is answered it rings no more, and others are called
    /// only for a value that stays.
    fn ahead(&self, policy: &EscalationPolicy, night: bool) -> Vec<(Timestamp, Next)> {
        match (self.very_low, self.answered) {
            (_, Some(_)) => self.calls_after_an_answer(policy, night),
            (Some(start), None) => self.steps_from(start, policy, night),
            (None, None) => {
                let start = self.began + policy.low_unanswered;
                let mut ahead = self.steps_from(start, policy, night);
                if !self.promoted {
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

    fn calls_after_an_answer(&self, policy: &EscalationPolicy, night: bool) -> Vec<(Timestamp, Next)> {
        let steps = policy.high.steps(night);
        let first = steps.iter().find(|step| step.to != Whom::Wearer);
        let calls = self.made.left(steps).filter(|step| step.to != Whom::Wearer);
        calls
            .map(|step| {
                let at = match self.very_low {
                    Some(start) if Some(step) == first => start + policy.not_recovering,
                    Some(start) => start + step.after.max(policy.not_recovering),
                    None => self.began + policy.low_answered + step.after,
                };
                (at, Next::Due(Due::Step(*step)))
            })
            .collect()
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
                    Some(Chain { called, informed, .. }) if low && !very_low => {
                        Chain { called, informed, ..Chain::new(id, turn.now) }
                    }
                    // Its spans count from this ring: nothing of the time the value was back before is added.
                    Some(chain) => {
                        Chain { answered: None, by: None, made: Made::default(), back: None, rests: None, ..chain }
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

    /// Somebody answered: marked it as seen, treated, ate. Others who know of it are told. A line of a diary file
    /// answers what had rung by its time. Says of what it is the answer, if that is news.
    pub(super) fn answer_chain(&mut self, turn: &mut Turn, answer: Answer<'_>) -> Option<About> {
        let written = answer.at + Span::minutes(WRITTEN_TO_MIN);
        let later = self.side(Side::Low).active().any(|active| active.told == Told::Rang && !active.had_rung(written));
        if turn.written && later {
            return None;
        }
        let chain = self.state.chain.as_mut()?;
        // That somebody else has it is news even where the wearer has answered.
        let is_news = chain.answered.is_none() || answer.by.is_some() && chain.by.as_ref() != answer.by;
        let mut about = None;
        if is_news {
            (chain.answered, chain.by) = (Some(answer.at), answer.by.cloned());
            let chain = chain.clone();
            let speaking = self.speaking(&chain);
            self.tell_answered(turn, speaking, &chain.told(), answer);
            about = Some(speaking);
        }
        self.plan_chain(turn);
        about
    }

    /// What answered a low was none: it calls as if it had rung now. Says when it does next; none where nothing called,
    /// or something else was the answer.
    pub(super) fn call_again(&mut self, turn: &Turn, answered: Timestamp) -> Option<Timestamp> {
        let chain = self.state.chain.as_mut().filter(|chain| chain.answered == Some(answered))?;
        (chain.answered, chain.by) = (None, None);
        (chain.began, chain.rests, chain.made) = (turn.now, None, Made::default());
        chain.very_low = chain.very_low.map(|_| turn.now);
        self.plan_chain(turn);
        self.state.timers.due(Timer::Chain)
    }

    /// What answered a low was at another time: where that was before it rang, it calls again.
    pub(super) fn move_answer(&mut self, turn: &Turn, from: Timestamp, to: Timestamp) {
        let Some(chain) = self.state.chain.as_mut().filter(|chain| chain.answered == Some(from)) else { return };
        if to + Span::minutes(WRITTEN_TO_MIN) > chain.since {
            chain.answered = Some(to);
        } else {
            self.call_again(turn, from);
        }
    }

    /// The clock was set: every span of what nobody answers keeps its length.
    pub(super) fn shift_calls(&mut self, by: Span) {
        if let Some(chain) = &mut self.state.chain {
            chain.shift(by);
        }
        for waiting in &mut self.state.waiting {
            waiting.shift(by);
        }
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
        let night = turn.night.inside;
        let ahead = chain.ahead(&self.policy.escalation, night);
        let due: Vec<Next> = ahead.into_iter().filter(|(at, _)| *at <= turn.now).map(|(_, next)| next).collect();
        // After a sleep all that fell due is one step: the gravest.
        let Some(gravest) = due.iter().map(|next| next.step()).max() else {
            self.plan_chain(turn);
            return;
        };
        if chain.answered.is_some() && !self.stays(&chain, turn.now, fresh) {
            self.state.timers.set(Timer::Chain, turn.now + Span::minutes(LOOK_AGAIN_MIN));
            return;
        }
        chain.promoted |= due.iter().any(|next| matches!(next, Next::Promote));
        let steps: Vec<Due> = due.iter().filter_map(|next| next.due()).collect();
        let about @ (condition, id, part_of) = self.speaking(&chain);
        let before = chain.told();
        let calls = self.calls(turn, &steps, &self.policy.escalation.high, &mut chain.made, &mut chain.called);
        chain.made.note(&steps, turn.now);
        let (since, by) = (chain.since, chain.by.clone());
        let reason = |told: Vec<(u8, Timestamp)>, ways: Ways| match chain.answered {
            None => Reason::Unanswered { since, step: gravest, told, ways },
            Some(answered) => Reason::NotRecovering { since, answered, by: by.clone(), told },
        };
        if chain.answered.is_none() {
            let ways = due.iter().map(|next| next.due().map_or(Ways::All, Due::ways)).max().unwrap_or_default();
            turn.tell(What::Escalated, condition, id, part_of, reason(chain.told(), ways), true);
        }
        for (person, ways) in calls {
            turn.call(person, about, reason(before.clone(), ways));
        }
        self.state.chain = Some(chain);
        self.plan_chain(turn);
    }

    /// The low is over, and its calls with it.
    fn end_chain(&mut self, turn: &mut Turn) {
        let Some(chain) = self.state.chain.take() else { return };
        self.state.timers.stop(Timer::Chain);
        tell_over(turn, chain.id, chain.since, &chain.told());
    }

    /// The value has been back for an episode's length: whoever was called is told, once.
    fn tell_back(&mut self, turn: &mut Turn) {
        let Some(chain) = &mut self.state.chain else { return };
        if chain.back.is_some_and(|back| turn.now - back >= Span::minutes(BACK_FOR_MIN)) {
            let told = chain.told();
            (chain.called, chain.informed) = (Vec::new(), Vec::new());
            tell_over(turn, chain.id, chain.since, &told);
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
            chain.made.shift(by);
        }
        let policy = &self.policy.escalation;
        match next(turn.night, |night| chain.ahead(policy, night)) {
            Some(at) => self.state.timers.set(Timer::Chain, at.max(turn.now)),
            None => self.state.timers.stop(Timer::Chain),
        }
    }

    /// The lowest value that is fresh; when none is, the last there was: a low that fell silent is still one, and
    /// a silence after any other value is told as a silence.
    pub(super) fn last_known(&self, now: Timestamp) -> Option<Judged> {
        let last = || self.state.window.newest().and_then(|last| self.latest_of(last.source));
        self.lowest_latest(now).or_else(last)
    }

    /// Is the value no longer low? Not knowing any is not being back.
    fn is_back(&self, judged: Option<Judged>) -> bool {
        judged.is_some_and(|judged| judged.glucose.hundredths() >= self.policy.levels.low.limit.hundredths())
    }

    /// Does only a sensor say that it is low that is doubted, or that a meter has just denied? It may be wrong, and
    /// nobody is called for it; very low is never doubted away.
    fn is_doubted(&self, chain: &Chain, now: Timestamp) -> bool {
        chain.very_low.is_none() && (self.is_on(Mode::Doubted, now) || self.meter_denies_low(now))
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

/// The low is over: whoever knows of it is told.
fn tell_over(turn: &mut Turn, id: Id, since: Timestamp, told: &[(u8, Timestamp)]) {
    for (person, _) in told {
        turn.tell_on(*person, (Condition::Low, id, None), Reason::LowOver { since });
    }
}
