//! Which settings would have asked less of a person on their own past days, and what they would have cost. Many choices
//! are lived through; the first part of the days chooses, the last part only checks. Changes nothing.
//!
//! Sides of the range hardly touch each other, so they are searched one by one, and the best of each are put together.
//! On the low side quiet is bought with nothing: no low more may be missed, and none told later. On the high side it is
//! bought with time above the limit of which nobody was told; that is what the choices are laid out by.

pub mod choices;

use super::score::{LevelScore, Past, Score};
use crate::domain::time::Timestamp;
use crate::engine::effect::{Condition, Decision, What};
use crate::engine::policy::Policy;
use crate::formats::rows::Row;
use choices::{Choice, Search};
use serde::Serialize;

/// Of ten days, so many choose; the others check.
const CHOOSE_TENTHS: i64 = 7;

/// Most choices of one side that are put together with those of others.
const KEPT_MAX: usize = 8;

/// Most choices that are shown of each choice of the low side.
pub const SHOWN_MAX: usize = 3;

/// A low may be told later by this on average, in minutes: a rounding.
const LATER_MIN: f64 = 0.1;

/// Past days of one person, cut in two.
#[derive(Debug, Clone, PartialEq)]
pub struct Days {
    rows: Vec<Row>,
    cut: Timestamp,
    first: Past,
    last: Past,
}

/// What one choice would have done in one part of the days.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Figures {
    /// Rings of levels and of forecasts that are heard, a day covered.
    pub rings_per_day: f64,
    /// Lows, and those nobody was told of.
    pub lows: u64,
    /// Those nobody was told of.
    pub lows_missed: u64,
    /// From the first reading of a low to its first ring, on average.
    pub low_delay_min_mean: f64,
    /// Highs, and those nobody was told of.
    pub highs: u64,
    /// Those nobody was told of.
    pub highs_missed: u64,
    /// From the first reading of a high to its first ring, on average over those told.
    pub high_delay_min_mean: f64,
    /// Time above the high limit in use, of which nobody was told yet, a day covered.
    pub high_untold_min_per_day: f64,
    /// The same above the very high limit.
    pub very_high_untold_min_per_day: f64,
    /// Very lows nobody was told of.
    pub very_lows_missed: u64,
    /// Forecasts of lows that rang, a day covered.
    pub forecast_rings_per_day: f64,
    /// Of those, the ones that came to nothing.
    pub forecast_false_per_day: f64,
}

/// What one choice would have done.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Outcome {
    /// In the days that choose.
    pub first: Figures,
    /// In the days that check.
    pub last: Figures,
}

impl Days {
    /// One person's rows, in order and without doubles, by the limits in use; none where they are too few to be cut.
    #[must_use]
    pub fn new(rows: Vec<Row>, policy: &Policy) -> Option<Self> {
        let (begin, end) = (rows.first()?.measured, rows.last()?.measured);
        let cut = begin + (end - begin).times(CHOOSE_TENTHS, 10);
        let place = rows.partition_point(|row| row.measured < cut);
        let (first, last) = (Past::new(&rows[..place], &policy.levels), Past::new(&rows[place..], &policy.levels));
        (first.days() > 0.0 && last.days() > 0.0).then_some(Self { rows, cut, first, last })
    }

    /// The rows that are lived through.
    #[must_use]
    pub fn rows(&self) -> &[Row] {
        &self.rows
    }

    /// Days covered: those that choose, and those that check.
    #[must_use]
    pub fn days(&self) -> [f64; 2] {
        [self.first.days(), self.last.days()]
    }

    /// What was decided on the rows with one choice, each decision with its time.
    #[must_use]
    pub fn judge(&self, decisions: &[(Timestamp, Decision)]) -> Outcome {
        let place = decisions.partition_point(|(at, _)| *at < self.cut);
        Outcome { first: figures(&self.first, &decisions[..place]), last: figures(&self.last, &decisions[place..]) }
    }
}

/// Is it one that is counted here? The others do not depend on what is searched.
#[must_use]
pub fn counts(decision: &Decision) -> bool {
    let about = Condition::LEVELS.contains(&decision.condition) || decision.condition.foreseen().is_some();
    about && matches!(decision.what, What::Raised | What::Repeated | What::Ended)
}

#[expect(clippy::cast_precision_loss, reason = "counts of alerts, and milliseconds of days, are far below 2^53")]
fn figures(past: &Past, decisions: &[(Timestamp, Decision)]) -> Figures {
    let mut score = Score::default();
    score.add_past(past, decisions);
    let days = score.days();
    let level = |condition: Condition| score.levels.iter().find(|level| level.condition == condition);
    let of = |condition: Condition, count: fn(&LevelScore) -> u64| level(condition).map_or(0, count);
    let minutes = |condition: Condition, count: fn(&LevelScore) -> i64| {
        level(condition).map_or(0.0, |level| count(level) as f64 / 60_000.0)
    };
    let delay = |condition: Condition| {
        let told = of(condition, |level| level.episodes - level.missed);
        minutes(condition, |level| level.delay_millis) / (told.max(1) as f64)
    };
    let rings = decisions.iter().filter(|(_, decision)| decision.rings && decision.what != What::Ended).count();
    let foreseen = score.forecasts.iter().filter(|forecast| forecast.condition != Condition::ForecastHigh);
    let (rang, wrong) = foreseen.fold((0, 0), |(rang, wrong), one| (rang + one.rang, wrong + one.rang_false));
    Figures {
        rings_per_day: rings as f64 / days,
        lows: of(Condition::Low, |level| level.episodes),
        lows_missed: of(Condition::Low, |level| level.missed),
        low_delay_min_mean: delay(Condition::Low),
        highs: of(Condition::High, |level| level.episodes),
        highs_missed: of(Condition::High, |level| level.missed),
        high_delay_min_mean: delay(Condition::High),
        high_untold_min_per_day: minutes(Condition::High, |level| level.unheard_millis) / days,
        very_high_untold_min_per_day: minutes(Condition::VeryHigh, |level| level.unheard_millis) / days,
        very_lows_missed: of(Condition::VeryLow, |level| level.missed),
        forecast_rings_per_day: rang as f64 / days,
        forecast_false_per_day: wrong as f64 / days,
    }
}

impl Figures {
    /// Time above the limits of which nobody was told: what quiet is bought with.
    #[must_use]
    pub fn untold(&self) -> f64 {
        self.high_untold_min_per_day + self.very_high_untold_min_per_day
    }

    /// Does it take nothing from the low side that another has?
    #[must_use]
    pub fn keeps_lows_of(&self, other: &Self) -> bool {
        self.lows_missed <= other.lows_missed
            && self.very_lows_missed <= other.very_lows_missed
            && self.low_delay_min_mean <= other.low_delay_min_mean + LATER_MIN
    }
}

impl Search {
    /// The choices of this side that are worth going on with, the settings in use first: none that another beats.
    #[must_use]
    pub fn best(self, choices: &[(Choice, Outcome)]) -> Vec<Choice> {
        let Some((now, of_now)) = choices.first() else { return Vec::new() };
        let mut kept = vec![now.clone()];
        let keeps = choices.iter().filter(|(_, outcome)| outcome.first.keeps_lows_of(&of_now.first));
        let unbeaten = keeps.filter(|(_, one)| !choices.iter().any(|(_, other)| other.first.beats(&one.first)));
        let mut front: Vec<&(Choice, Outcome)> = unbeaten.collect();
        front.sort_by(|one, other| one.1.first.rings_per_day.total_cmp(&other.1.first.rings_per_day));
        let most = if self == Self::Low { 1 } else { KEPT_MAX };
        kept.extend(spread(&front, most).into_iter().map(|(choice, _)| choice.clone()).filter(|choice| choice != now));
        kept
    }
}

impl Figures {
    /// Fewer rings at no more cost, or as many at less; the low side kept.
    fn beats(&self, other: &Self) -> bool {
        let better = self.rings_per_day < other.rings_per_day || self.untold() < other.untold();
        better
            && self.keeps_lows_of(other)
            && self.rings_per_day <= other.rings_per_day
            && self.untold() <= other.untold()
    }
}

/// At most so many, from one end to the other.
fn spread<T: Copy>(all: &[T], most: usize) -> Vec<T> {
    if all.len() <= most || most < 2 {
        return all.iter().take(most).copied().collect();
    }
    (0..most).map(|place| all[place * (all.len() - 1) / (most - 1)]).collect()
}

/// The choices that nothing beats in the first days, by their cost; the first of all is what is in use. What the low side
/// found may not hold in the last days: so they are looked for with it and without it.
#[must_use]
pub fn front(judged: &[(Choice, Outcome)]) -> Vec<(Choice, Outcome)> {
    let Some((in_use, _)) = judged.first() else { return Vec::new() };
    let (with, without): (Vec<_>, Vec<_>) =
        judged.iter().partition(|(choice, _)| choice.policy.levels.low != in_use.policy.levels.low);
    let mut found: Vec<(Choice, Outcome)> = unbeaten(&without, &judged[0].1);
    found.extend(unbeaten(&with, &judged[0].1));
    found.sort_by(|one, other| one.1.first.untold().total_cmp(&other.1.first.untold()));
    found
}

fn unbeaten(judged: &[&(Choice, Outcome)], now: &Outcome) -> Vec<(Choice, Outcome)> {
    let keeps = judged.iter().filter(|(_, outcome)| {
        outcome.first.keeps_lows_of(&now.first) && outcome.first.rings_per_day < now.first.rings_per_day
    });
    let unbeaten = keeps.filter(|(_, one)| !judged.iter().any(|(_, other)| other.first.beats(&one.first)));
    let mut found: Vec<&(Choice, Outcome)> = unbeaten.copied().collect();
    found.sort_by(|one, other| {
        let by_cost = one.1.first.untold().total_cmp(&other.1.first.untold());
        by_cost.then(one.0.lines.len().cmp(&other.0.lines.len()))
    });
    // Of those that do the same, the one that changes least.
    found.dedup_by(|one, other| one.1.first == other.1.first);
    spread(&found, SHOWN_MAX).into_iter().cloned().collect()
}

/// Does a choice hold in the days it was not chosen by: fewer rings there too, and nothing taken from lows?
#[must_use]
pub fn holds(outcome: &Outcome, now: &Outcome) -> bool {
    outcome.last.keeps_lows_of(&now.last) && outcome.last.rings_per_day < now.last.rings_per_day
}
