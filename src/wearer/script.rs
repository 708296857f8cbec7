//! One scripted day of an invented night-shift baker: a late lunch, a high that stays after it is treated, a low
//! before work, a sensor that falls silent. What she does is written here; what glucose does with it is the model's,
//! and what the sensor makes of that comes from a fixed seed.

use super::body::{Action, Body, Hour, Pace, Parameters};
use super::sensor::{Kind, Sensor};
use crate::domain::glucose::Glucose;
use crate::domain::time::Span;

/// Minutes between two readings.
pub const CADENCE_MIN: i64 = 5;

/// The day's length in minutes, from 13:00 to 05:00.
pub const LENGTH_MIN: i64 = 960;

/// What the wearer does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Act {
    /// Treats the open high or low, and says so.
    Treats,
}

/// When the wearer does something that she says, in minutes from the start, and what it looks like.
pub const ACTS: [(i64, Act, &str); 3] = [
    (168, Act::Treats, "takes insulin and types: recheck treated"),
    (296, Act::Treats, "changes the pen's needle, takes insulin, types: recheck treated"),
    (647, Act::Treats, "eats something sweet and types: recheck treated"),
];

/// What her body meets, and when. The amounts make this story; they are nobody's, and nobody is shown them.
enum Meets {
    Carbohydrate(f64, Pace),
    Insulin(f64),
}

const DAY: [(i64, Meets); 7] = [
    (70, Meets::Carbohydrate(30.0, Pace::Meal)),
    (120, Meets::Carbohydrate(14.0, Pace::Slow)),
    // The needle lets little through.
    (168, Meets::Insulin(0.4)),
    (296, Meets::Insulin(3.0)),
    (395, Meets::Carbohydrate(7.0, Pace::Meal)),
    (460, Meets::Insulin(1.6)),
    (647, Meets::Carbohydrate(21.0, Pace::Meal)),
];

/// Her weight, kg.
const WEIGHT_KG: f64 = 64.0;

/// Her glucose when the day begins, mmol/L.
const BEGINS_MMOL_L: f64 = 6.5;

/// The sensor is silent between these minutes.
const SILENT: (i64, i64) = (781, 834);

/// A sensor in the middle of its days, that nobody lies on.
const SENSOR: Kind = Kind { lag_min: 8.0, noise: 0.015, noise_kept: 0.8, ..Kind::PERFECT };
const SEED: u64 = 11;

/// What the sensor says, every five minutes from the start to the end; none while it is silent.
#[must_use]
pub fn readings() -> Vec<(i64, Option<Glucose>)> {
    let Some((mut body, basal)) = Body::steady(her_body(), BEGINS_MMOL_L) else {
        unreachable!("the published body has a steady state here")
    };
    let mut sensor = Sensor::new(SENSOR, SEED, BEGINS_MMOL_L);
    let mut found = Vec::new();
    for (minute, number) in (0..=LENGTH_MIN).zip(0..) {
        if minute % CADENCE_MIN == 0 {
            let reading = sensor.reading(number);
            found.push((minute, reading.filter(|_| !(SILENT.0..SILENT.1).contains(&minute))));
        }
        for (_, meets) in DAY.iter().filter(|(at, _)| *at == minute) {
            match meets {
                Meets::Carbohydrate(grams, pace) => body.eat(*grams, *pace),
                Meets::Insulin(units) => body.inject(*units),
            }
        }
        let before = body.mmol_l();
        body.minute(basal, Hour::USUAL);
        sensor.minute(f64::midpoint(before, body.mmol_l()));
    }
    found
}

/// The published body, on which insulin is not half as strong: nearer to the fit of 2019 (docs/wearer.md).
fn her_body() -> Parameters {
    let published = Parameters::published(WEIGHT_KG);
    let weaker = |action: Action| Action { strength: 0.43 * action.strength, ..action };
    Parameters {
        transport: weaker(published.transport),
        disposal: weaker(published.disposal),
        production: weaker(published.production),
        ..published
    }
}

/// The span from the start to a minute.
#[must_use]
pub const fn at(minute: i64) -> Span {
    Span::minutes(minute)
}
