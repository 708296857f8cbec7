//! One pretend wearer: a body drawn from a seed, and the rules of a person who has lived with it for years. The rules
//! are the person's own, inside a pretence; nothing of them is ever shown to anybody, and none is advice.

use super::body::{Action, Body, Hour, Pace, Parameters};
use super::chance::{Chance, Purpose};
use super::sensor;

/// How insulin is taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Means {
    /// By pens: a long-acting insulin once a day, and a rapid one.
    Pens,
    /// By a pump, through a site that may fail.
    Pump,
}

/// A pretend wearer.
#[derive(Debug, Clone, PartialEq)]
pub struct Person {
    /// The seed everything about them comes from.
    pub seed: u64,
    /// How insulin is taken.
    pub means: Means,
    /// The body.
    pub parameters: Parameters,
    /// Basal insulin, units an hour.
    pub basal: f64,
    /// The person's rule for a meal: grams for which one unit is taken.
    pub grams_per_unit: f64,
    /// The person's rule for a high: by how much one unit brings glucose down, mmol/L.
    pub mmol_l_per_unit: f64,
    /// Where the person wants to be, mmol/L.
    pub target_mmol_l: f64,
    /// By which share the liver gives more before breakfast.
    pub dawn: f64,
    /// Do the sites of a pump fail at times? Else they never do.
    pub sites_fail: bool,
    /// The sensor.
    pub sensor: sensor::Kind,
}

/// The glucose a person's rules are tried out at, mmol/L.
const HOME_MMOL_L: f64 = 6.5;

/// Basal insulin of a body that is let in, units for each kg and day: about half of the 0.4 to 1.0 that is usual for
/// all insulin (common practice, no source).
const BASAL_MIN: f64 = 0.12;
const BASAL_MAX: f64 = 0.60;

impl Person {
    /// The wearer of a seed. The same seed has the same body whatever the means.
    #[must_use]
    pub fn draw(seed: u64, means: Means) -> Self {
        let mut chance = Chance::of(seed, Purpose::Body, 0);
        loop {
            let parameters = draw_body(&mut chance);
            let Some((home, basal)) = Body::steady(parameters, HOME_MMOL_L) else { continue };
            let a_day = basal * 24.0 / parameters.weight_kg;
            if !(BASAL_MIN..=BASAL_MAX).contains(&a_day) {
                continue;
            }
            let grams = 60.0;
            let meal = dose_that_ends_at_home(&home, basal, |body| body.eat(grams, Pace::Meal));
            let rise = 6.0;
            let high = dose_that_ends_at_home(&home, basal, |body| body.set_mmol_l(HOME_MMOL_L + rise));
            // Nobody's rules fit quite.
            return Self {
                seed,
                means,
                parameters,
                basal: basal * chance.factor(0.08),
                grams_per_unit: grams / meal * chance.factor(0.12),
                mmol_l_per_unit: rise / high * chance.factor(0.12),
                target_mmol_l: chance.between(6.0, 7.5),
                dawn: chance.between(0.0, 0.3),
                sites_fail: true,
                sensor: sensor::Kind { lag_min: chance.between(5.0, 11.0), ..sensor::Kind::default() },
            };
        }
    }
}

/// Parameters spread around the published ones; docs/wearer.md has each spread, and why it is narrower than that of
/// published populations.
fn draw_body(chance: &mut Chance) -> Parameters {
    let middle = Parameters::published(75.0);
    let all = chance.factor(0.30) * STRENGTH_OF_MIDDLE;
    let mut way = |action: Action| Action {
        rate_per_min: action.rate_per_min * chance.factor(0.15),
        strength: action.strength * all * chance.factor(0.10),
    };
    let (transport, disposal, production) = (way(middle.transport), way(middle.disposal), way(middle.production));
    Parameters {
        weight_kg: middle.weight_kg * chance.factor(0.15),
        return_per_min: middle.return_per_min * chance.factor(0.15),
        transport,
        disposal,
        production,
        clearance_per_min: middle.clearance_per_min * chance.factor(0.10),
        insulin_volume_l_kg: middle.insulin_volume_l_kg * chance.factor(0.10),
        glucose_volume_l_kg: middle.glucose_volume_l_kg * chance.factor(0.10),
        insulin_peak_min: middle.insulin_peak_min * chance.factor(0.15),
        meal_peak_min: middle.meal_peak_min * chance.factor(0.20),
        meal_share: (middle.meal_share * chance.factor(0.08)).min(1.0),
        liver_mmol_kg_min: middle.liver_mmol_kg_min * chance.factor(0.10),
        brain_mmol_kg_min: middle.brain_mmol_kg_min * chance.factor(0.10),
        defence: 0.2,
    }
}

/// The middle of the population is less sensitive than the body of 2004, between it and the fit of 2019 (SIT 25e-4 for
/// 51.2e-4, SID 6e-4 for 8.2e-4: PMC7449052, table 3).
const STRENGTH_OF_MIDDLE: f64 = 0.6;

/// The dose with which a body is back where it was five hours after something happens to it, as its owner has found
/// out in years.
fn dose_that_ends_at_home(home: &Body, basal: f64, happens: impl Fn(&mut Body)) -> f64 {
    let ends_above = |units: f64| {
        let mut body = home.clone();
        happens(&mut body);
        body.inject(units);
        (0..300).for_each(|_| body.minute(basal, Hour::USUAL));
        body.mmol_l() > home.mmol_l()
    };
    let (mut low, mut high) = (0.0, 40.0);
    for _ in 0..14 {
        let middle = f64::midpoint(low, high);
        if ends_above(middle) { low = middle } else { high = middle }
    }
    f64::midpoint(low, high)
}
