//! What holds after every turn, whatever was pressed, noted or broken: functions over the register and the plan alone,
//! in one place, so that no rule beside them has to be trusted for it. It decides nothing yet: it says what does not
//! hold, and tests ask it after each turn of every story.

use super::Engine;
use super::alert::Alert;
use super::alert::calls::Calls;
use super::effect::Side;
use super::plan::Job;
use crate::domain::time::Timestamp;

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
    /// No condition has two alerts at once, and no number stands for two of them.
    OneAlertEach,
    /// What has not rung because a worse one speaks for it has a worse one.
    SpokenForBySomething,
}

impl Guarantee {
    /// All of them.
    pub const ALL: [Self; 7] = [
        Self::NothingLeftBehind,
        Self::HighIsLookedAt,
        Self::CheckHasItsTime,
        Self::LowHasCalls,
        Self::UnansweredLowHasNextStep,
        Self::OneAlertEach,
        Self::SpokenForBySomething,
    ];
}

impl Engine {
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
            Guarantee::OneAlertEach => register.open().all(|one| {
                let same = |other: &&Alert| other.condition == one.condition && other.source() == one.source();
                register.open().filter(same).count() == 1
                    && register.open().filter(|other| other.id == one.id).count() == 1
            }),
            Guarantee::SpokenForBySomething => register.open().filter(|alert| alert.is_spoken_for()).all(|one| {
                one.source().is_some() || register.open().any(|other| other.condition.side() == one.condition.side())
            }),
        }
    }
}

/// Is it a low that has rung, and is one still?
fn speaks(low: &Alert) -> bool {
    low.is_beyond() && low.has_rung()
}
