//! What holds after every turn, whatever was pressed, noted or broken: functions over the register and the plan alone,
//! in one place, so that no rule beside them has to be trusted for it. What must ring about a low or a high rings from here,
//! after everything that keeps a ring back; the rest is said by [`Engine::broken_guarantees`], and tests ask it after each turn.

use super::Engine;
use super::alert::Alert;
use super::alert::calls::Calls;
use super::effect::{Condition, Decision, Id, Side, What};
use super::ketones::is_emergency;
use super::plan::Job;
use super::policy::Rings;
use super::reason::{Began, Reason};
use super::recheck_high::HighCheck;
use super::turn::{Judged, Turn};
use crate::domain::time::{Span, Timestamp};

/// A value below very low rings at least this often, whatever was answered: a quarter of an hour is the span of the rule
/// of 15 (ADA, seen as a summary), after which a low is measured and treated again.
const VERY_LOW_EVERY: Span = Span::minutes(15);

/// A low that is not back rings at least this often, whatever was answered; once later by as much while it rises from
/// 60 on. Ours, between the two checks of the rule of 15 that a treatment is given.
const LOW_EVERY: Span = Span::minutes(30);

/// At the very high limit or above nothing is silent for longer than this, whatever was answered, noted or muted: ours,
/// the longest span after which a ketone measurement is repeated (a children's hospital's sick-day guideline).
const VERY_HIGH_EVERY: Span = Span::hours(4);

/// Something that must hold after every turn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Guarantee {
    /// Nothing that was due is left behind.
    NothingLeftBehind,
    /// A high that is open is looked at again.
    HighIsLookedAt,
    /// Whatever is looked at again has a time for it.
    CheckHasItsTime,
    /// A value that is low has calls that were begun for it.
    LowHasCalls,
    /// A low that nobody answers has a next step.
    UnansweredLowHasNextStep,
    /// Calls that began for a very low go on.
    CallsGoOn,
    /// No condition has two alerts at once, and no number stands for two of them.
    OneAlertEach,
    /// What has not rung because a worse one speaks for it has a worse one.
    SpokenForBySomething,
    /// Ketones that are raised are asked about again, and an emergency of them that nobody answered rings on.
    KetonesAreAskedAbout,
}

impl Guarantee {
    /// All of them.
    pub const ALL: [Self; 9] = [
        Self::NothingLeftBehind,
        Self::HighIsLookedAt,
        Self::CheckHasItsTime,
        Self::LowHasCalls,
        Self::UnansweredLowHasNextStep,
        Self::CallsGoOn,
        Self::OneAlertEach,
        Self::SpokenForBySomething,
        Self::KetonesAreAskedAbout,
    ];
}

impl Engine {
    /// At the end of a turn, after all that keeps rings back: what must ring does.
    pub(super) fn keep_guarantees(&mut self, turn: &mut Turn) {
        self.ask_due_questions(turn);
        self.call_for_high(turn);
        self.keep_high_in_sight(turn);
        self.keep_low_in_sight(turn);
        self.keep_calls(turn);
    }

    fn keep_high_in_sight(&mut self, turn: &mut Turn) {
        // What may come is no word about a high that is there.
        let is_there = |decision: &Decision| decision.condition.foreseen().is_none();
        if turn.out.iter().any(|decision| rings_about(decision, Side::High) && is_there(decision)) {
            self.note_ring_about_high(turn);
        }
        let Some(since) = self.state.high.very_high.map(|stretch| stretch.since) else { return };
        let judged = self.very_high_now(turn);
        let rang = self.state.register.high_rang.filter(|rang| *rang >= since).unwrap_or(since);
        // Whoever measured ketones that evening is left to sleep for longer.
        let sleeps = self.ketones_answered_by_night(turn.now, judged);
        let due = (rang + VERY_HIGH_EVERY).max(sleeps.unwrap_or(rang));
        match judged {
            Some(judged) if due <= turn.now && self.follows_highs() && !self.is_low_beside() => {
                let HighCheck { id, part_of, .. } = self.check_of_high(turn.now);
                let before = turn.judged.replace(judged);
                let next = turn.now + VERY_HIGH_EVERY;
                let since = self.state.high.since().unwrap_or(since);
                let reason = Reason::StillHigh { since, marked: true, next };
                turn.tell(What::Prompt, Condition::RecheckHigh, id, part_of, reason, true);
                turn.judged = before;
                self.note_ring_about_high(turn);
                self.state.plan.set(Job::HighLasts, next);
            }
            // Without a value that is still there the next reading tells.
            _ if due <= turn.now => self.state.plan.stop(Job::HighLasts),
            _ => self.state.plan.set(Job::HighLasts, due),
        }
    }

    pub(super) fn note_ring_about_high(&mut self, turn: &mut Turn) {
        let before = self.state.register.high_rang.replace(turn.now);
        turn.high_rang = before.filter(|before| *before != turn.now).or(turn.high_rang);
    }

    /// What was to ring about a high waits a moment: until it does, the four hours count from the ring before it.
    pub(super) fn high_has_not_rung(&mut self, turn: &Turn, until: Timestamp) {
        let rang_now = self.state.register.high_rang == Some(turn.now);
        if let Some(before) = turn.high_rang.filter(|_| rang_now) {
            self.state.register.high_rang = Some(before);
            self.state.plan.set(Job::HighLasts, (before + VERY_HIGH_EVERY).max(until + Span::minutes(1)));
        }
    }

    fn keep_low_in_sight(&mut self, turn: &mut Turn) {
        // What may come, and what only asks for caution, is no word about a low that is there.
        let foretells =
            |decision: &Decision| decision.condition.foreseen().is_some() || decision.condition == Condition::Caution;
        if turn.out.iter().any(|decision| rings_about(decision, Side::Low) && !foretells(decision)) {
            self.state.register.low_rang = Some(turn.now);
        } else if self.root(Side::Low).is_none() {
            // Most turns end here.
            return self.state.plan.stop(Job::LowLasts);
        }
        match self.very_low_rings_by(turn).or_else(|| self.low_rings_by(turn)) {
            Some((due, judged)) if due <= turn.now => {
                self.ring_lasting_low(turn, judged);
                let is_very_low = Side::Low.is_beyond(judged.glucose, self.policy.levels.very_low.limit);
                let every = if is_very_low { VERY_LOW_EVERY } else { LOW_EVERY };
                self.state.plan.set(Job::LowLasts, turn.now + every);
            }
            Some((due, _)) => self.state.plan.set(Job::LowLasts, due),
            None => self.state.plan.stop(Job::LowLasts),
        }
    }

    /// While the newest fresh value is very low: when it must ring again at the latest, with that value. A treatment has
    /// its own check after as long.
    fn very_low_rings_by(&self, turn: &Turn) -> Option<(Timestamp, Judged)> {
        let register = &self.state.register;
        let since = register.of(Condition::VeryLow)?.since;
        let limit = self.policy.levels.very_low.limit;
        // One finger-prick that says otherwise ends nothing; two hold it for a while.
        let judged = self.lowest_of_sensors(turn.now).filter(|judged| Side::Low.is_beyond(judged.glucose, limit))?;
        if let Some(until) = self.very_low_held(turn.now) {
            return Some((until, judged));
        }
        let rang = register.low_rang.filter(|rang| *rang >= since).unwrap_or(since);
        let treated = self.state.plan.low().and_then(|check| check.treated);
        // Symptoms, and a finger-prick, begin the same checks and are no treatment.
        let treated = treated.filter(|treated| treated.told == Began::Treated && treated.at <= turn.now);
        let from = treated.map_or(rang, |treated| treated.at.max(rang));
        Some((from + VERY_LOW_EVERY, judged))
    }

    /// The same while it is low and not very low. What waits for the morning by its setting, and what the wearer muted,
    /// does not ring from here, nor does what a finger-prick has just denied.
    fn low_rings_by(&self, turn: &Turn) -> Option<(Timestamp, Judged)> {
        let low = self.state.register.of(Condition::Low).filter(|low| !low.is_held());
        if self.state.register.story.covered.is_some() {
            return None;
        }
        let since = low.or_else(|| self.root(Side::Low))?.since;
        let waits = self.policy.levels.low.rings == Rings::ByDay && turn.night.inside;
        if waits || self.silent_until(Condition::Low, turn.now).is_some() || self.meter_denies_low(turn.now) {
            return None;
        }
        let limit = self.policy.levels.low.limit;
        let judged = self.lowest_of_sensors(turn.now).filter(|judged| Side::Low.is_beyond(judged.glucose, limit))?;
        let rang = self.state.register.low_rang.unwrap_or(since).max(since);
        let waits = self.rises_low(Some(judged));
        Some((rang + if waits { LOW_EVERY.times(2, 1) } else { LOW_EVERY }, judged))
    }

    fn ring_lasting_low(&mut self, turn: &mut Turn, judged: Judged) {
        let register = &self.state.register;
        let calls = register.calls_of_low().map(|(calls, _)| calls);
        let since = register.root(Side::Low).map_or(judged.at, |root| root.since);
        let (answered, by) = calls.map_or((None, None), |calls| (calls.answered_at(), calls.answered_by().cloned()));
        let (condition, id, part_of) = self.speaking(calls.map_or(Id(0), |calls| calls.id));
        let before = turn.judged.replace(judged);
        turn.tell(What::Repeated, condition, id, part_of, Reason::LowLasts { since, answered, by }, true);
        turn.judged = before;
        self.state.register.low_rang = Some(turn.now);
    }

    /// What does not hold at the end of a turn at that time; nothing, unless the program has a fault.
    #[must_use]
    pub fn broken_guarantees(&self, now: Timestamp) -> Vec<Guarantee> {
        Guarantee::ALL.into_iter().filter(|guarantee| !self.holds(*guarantee, now)).collect()
    }

    fn holds(&self, guarantee: Guarantee, now: Timestamp) -> bool {
        let (register, plan) = (&self.state.register, &self.state.plan);
        let calls = register.calls_of_low().map(|(calls, _)| calls);
        match guarantee {
            Guarantee::NothingLeftBehind => plan.next().is_none_or(|next| next > now),
            Guarantee::HighIsLookedAt => register.root(Side::High).is_none() || plan.due(Job::HighCheck).is_some(),
            Guarantee::CheckHasItsTime => {
                // A driver's wait has none while the value is not back: the next reading tells.
                plan.checks().all(|(check, due)| due.is_some() || check.side().is_none())
            }
            Guarantee::LowHasCalls => !register.of_side(Side::Low).any(speaks) || calls.is_some(),
            Guarantee::UnansweredLowHasNextStep => {
                !register.of_side(Side::Low).any(speaks)
                    || calls.is_none_or(Calls::is_answered)
                    || plan.due(Job::LowCalls).is_some()
                    || calls.and_then(Calls::of_low).is_some_and(|low| low.rests.is_some())
            }
            Guarantee::CallsGoOn => self.is_called_on(now),
            Guarantee::OneAlertEach => register.open().all(|one| {
                let same = |other: &&Alert| other.condition == one.condition && other.source() == one.source();
                register.open().filter(same).count() == 1
                    && register.open().filter(|other| other.id == one.id).count() == 1
            }),
            Guarantee::SpokenForBySomething => register.open().filter(|alert| alert.is_spoken_for()).all(|one| {
                one.source().is_some() || register.open().any(|other| other.condition.side() == one.condition.side())
            }),
            Guarantee::KetonesAreAskedAbout => register.of(Condition::Ketones).is_none_or(|alert| {
                let rings_on = plan.due(Job::OtherCalls).is_some();
                plan.due(Job::Ketones).is_some() && (!is_emergency(alert) || alert.is_acknowledged() || rings_on)
            }),
        }
    }
}

fn rings_about(decision: &Decision, side: Side) -> bool {
    decision.rings && decision.to.is_wearer() && decision.condition.side() == Some(side)
}

/// Is it a low that has rung, and is one still?
fn speaks(low: &Alert) -> bool {
    low.is_beyond() && low.has_rung()
}
