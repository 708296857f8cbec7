//! What came of a treated high so far: one word, and the facts it rests on. A look finds it; whether the look asks the
//! wearer is decided in [`super::recheck_high`].

use super::effect::{Condition, Side};
use super::forecast::Chance;
use super::reason::Treatment;
use super::trend::{Direction, Rate};
use super::turn::{Judged, Turn};
use super::{Engine, foresee};
use crate::domain::glucose::{Glucose, Measured};
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// A change smaller than this is none, in hundredths of a mg/dL: ours, half of what a sensor near 200 mg/dL may be off
/// by itself (20 % of 200: 21 CFR 862.1355).
const CHANGE: i32 = 2_000;

/// So fast is too fast wherever it is, in hundredths of a mg/dL per minute: the next band after that of a fast change (3
/// mg/dL/min; from memory).
const TOO_FAST: Rate = Rate(-300);

/// A fast fall that is headed below this within the horizon is too fast as well. Ours: the limit of the look by night.
const TOO_FAST_BELOW: Glucose = Glucose::mg_dl(100);

/// What came of a treated high.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    /// Back within range.
    Down,
    /// Still high, and falling.
    ComingDown,
    /// Lower than it was, or too early to tell, and not falling now.
    Slow,
    /// As high as it was, or higher, when most of a dose has had time to begin.
    NoResponse,
    /// Falling so fast that a low may follow.
    FallingTooFast,
    /// There is no fresh reading.
    #[default]
    Unseen,
}

impl Outcome {
    /// Its name in machine-readable output.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Down => "down",
            Self::ComingDown => "coming_down",
            Self::Slow => "slow",
            Self::NoResponse => "no_response",
            Self::FallingTooFast => "falling_too_fast",
            Self::Unseen => "unseen",
        }
    }
}

/// What is known of how a treated high comes down.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Found {
    /// In one word.
    pub outcome: Outcome,
    /// By how many hundredths of a mg/dL it is lower than it was.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub drop: Option<i32>,
    /// What this person's own past corrections had done by that age.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub usual: Option<Usual>,
    /// Where it is headed, as far as its speed tells.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ahead: Option<Ahead>,
    /// Food that was noted beside the dose: a meal is slow, and no want of response.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub meal: Option<Timestamp>,
    /// A low is that likely within the horizon of a forecast, where it is one in ten or more.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub low: Option<Chance>,
}

/// How far this person's glucose had come down at an age, in the middle of so many corrections.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Usual {
    /// The median, in hundredths of a mg/dL.
    pub drop: i32,
    /// Of so many.
    pub n: u32,
}

/// A value that is foreseen, and when.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Ahead {
    /// The value.
    pub value: Glucose,
    /// When.
    pub by: Timestamp,
}

/// The first look is early for injected insulin, of which five sixths are still to come then: what is not falling is
/// asked about only when it is very high and rising. The published guidance behind it: pumps, check at one hour (a failed
/// site is found early); injections, check again after two. On the open traces nothing that stayed was asked about any
/// later for it (`tests/treated_data.rs`).
pub(super) fn is_too_early(early: bool, judged: Judged, very_high: Glucose) -> bool {
    let rises = judged.rate.is_some_and(|rate| rate.direction().rises());
    early && !(rises && Side::High.is_beyond(judged.glucose, very_high))
}

/// What the outcome rests on.
struct Facts {
    value: Glucose,
    rate: Rate,
    drop: Option<i32>,
    ahead: Option<Glucose>,
    /// Too early for injected insulin to have shown much.
    early: bool,
    /// Food was noted beside the dose.
    meal: bool,
    high: Glucose,
}

fn outcome(facts: &Facts) -> Outcome {
    let direction = facts.rate.direction();
    let headed = match facts.ahead {
        Some(ahead) => ahead.hundredths(),
        None => facts.value.hundredths(),
    };
    let headed_low = direction == Direction::FallingFast && headed < TOO_FAST_BELOW.hundredths();
    if headed_low || facts.rate <= TOO_FAST {
        return Outcome::FallingTooFast;
    }
    if facts.value.hundredths() <= facts.high.hundredths() {
        return Outcome::Down;
    }
    if direction.falls() {
        return Outcome::ComingDown;
    }
    match facts.drop {
        Some(drop) if drop < CHANGE && !facts.early && !facts.meal => Outcome::NoResponse,
        None if direction.rises() && !facts.early && !facts.meal => Outcome::NoResponse,
        Some(_) | None => Outcome::Slow,
    }
}

impl Engine {
    /// What came of a treated high so far; `early` is too early for its insulin to have shown much.
    pub(super) fn found(&self, turn: &Turn, treated: &Treatment, early: bool) -> Found {
        let Some(Judged { glucose: value, rate, .. }) = turn.judged else { return Found::default() };
        let numbers = |then: &Glucose| [*then, value].iter().all(|one| one.measured() == Measured::Number);
        let drop = treated.value.filter(numbers).map(|then| then.hundredths() - value.hundredths());
        let ahead = self.ahead(turn.now);
        let high = self.policy.levels.high.limit;
        let low = self.chance(Condition::ForecastLow).filter(|chance| *chance >= foresee::SELDOM);
        let meal = self.state.high.meal_of(treated.at, turn.now);
        let usual = self.usual(turn.now - treated.at);
        let outcome = outcome(&Facts {
            value,
            rate: rate.unwrap_or(Rate(0)),
            drop,
            ahead: ahead.map(|ahead| ahead.value),
            early,
            meal: meal.is_some(),
            high,
        });
        Found { outcome, drop, usual, ahead, meal, low }
    }

    fn usual(&self, age: Span) -> Option<Usual> {
        let is_left_out =
            |at: Timestamp| self.state.left_out.iter().any(|(from, until)| *from <= at + age && at < *until);
        let spread = self.state.doses.past().at_age_of(age, |at| !is_left_out(at));
        let drop = i32::try_from(spread.median?).ok()?;
        Some(Usual { drop, n: u32::try_from(spread.n).unwrap_or(u32::MAX) })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::signal::Signal;

    fn of(value: i32, rate: i32, drop: Option<i32>, ahead: Option<i32>, early: bool) -> Outcome {
        outcome(&Facts {
            value: Glucose::mg_dl(value),
            rate: Rate(rate),
            drop: drop.map(|drop| drop * 100),
            ahead: ahead.map(Glucose::mg_dl),
            early,
            meal: false,
            high: Glucose::mg_dl(180),
        })
    }

    #[test]
    fn each_outcome_has_its_facts() {
        assert_eq!(of(150, 0, Some(100), None, false), Outcome::Down);
        assert_eq!(of(180, 100, Some(100), None, false), Outcome::Down);
        assert_eq!(of(240, -60, Some(-10), None, true), Outcome::ComingDown);
        assert_eq!(of(240, 0, Some(20), None, false), Outcome::Slow);
        assert_eq!(of(240, 0, Some(19), None, false), Outcome::NoResponse);
        assert_eq!(of(240, 60, Some(-30), None, false), Outcome::NoResponse);
        assert_eq!(of(240, 0, Some(0), None, true), Outcome::Slow, "too early to call it none");
        assert_eq!(of(240, 0, None, None, false), Outcome::Slow, "nothing to compare with");
        assert_eq!(of(240, 60, None, None, false), Outcome::NoResponse);
        assert_eq!(of(122, -200, Some(100), Some(99), false), Outcome::FallingTooFast);
        assert_eq!(of(122, -200, Some(100), Some(100), false), Outcome::Down);
        assert_eq!(of(230, -299, Some(40), Some(197), false), Outcome::ComingDown);
        assert_eq!(of(230, -300, Some(40), Some(197), false), Outcome::FallingTooFast);
    }

    #[test]
    fn the_first_look_at_injected_insulin_asks_only_about_what_is_very_high_and_rises() {
        let too_early = |early: bool, value: i32, rate: Option<i32>| {
            let (glucose, at) = (Glucose::mg_dl(value), Timestamp::from_seconds(0));
            is_too_early(early, Judged { glucose, at, rate: rate.map(Rate), of: Signal::Meter }, Glucose::mg_dl(250))
        };
        assert!(too_early(true, 220, Some(0)) && too_early(true, 220, Some(60)) && too_early(true, 220, None));
        assert!(too_early(true, 251, Some(0)) && too_early(true, 250, Some(60)));
        assert!(!too_early(true, 251, Some(60)));
        assert!(!too_early(false, 220, Some(0)), "a pump, or a later look");
    }
}
