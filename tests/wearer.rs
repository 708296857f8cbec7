//! The pretend wearer against published values and exact solutions. Each check has its source beside it: *published*
//! parameters stand in docs/wearer.md with theirs; what is computed from them by hand is said so.
#![expect(clippy::cast_precision_loss, reason = "counts are small")]

use recheck::domain::glucose::{Glucose, Measured};
use recheck::domain::reading::{Reading, SourceId};
use recheck::engine::Engine;
use recheck::engine::event::Event;
use recheck::wearer::alone::{Alone, Lived, at, usual_policy};
use recheck::wearer::body::{Action, Body, GRAMS_PER_MMOL, Hour, Pace, Parameters};
use recheck::wearer::habits::{Habits, Looks};
use recheck::wearer::life::Deed;
use recheck::wearer::person::{Means, Person};
use recheck::wearer::script::{ACTS, LENGTH_MIN, readings};
use recheck::wearer::sensor::{DAY_MIN, Kind, Sensor};

/// The published body of 70 kg, steady at 8 mmol/L, and the insulin that holds it.
fn steady(mmol_l: f64) -> (Body, f64) {
    Body::steady(Parameters::published(70.0), mmol_l).unwrap()
}

/// Two bodies of one kind, one with a unit of insulin more: what the unit does is the difference, for everything about
/// insulin is linear in it.
struct Bolus {
    with: Body,
    without: Body,
    basal: f64,
}

impl Bolus {
    fn new() -> Self {
        let (without, basal) = steady(8.0);
        let mut with = without.clone();
        with.inject(1.0);
        Self { with, without, basal }
    }

    fn pass(&mut self, minutes: u32) {
        for _ in 0..minutes {
            self.with.minute(self.basal, Hour::USUAL);
            self.without.minute(self.basal, Hour::USUAL);
        }
    }

    fn under_skin(&self) -> f64 {
        self.with.under_skin() - self.without.under_skin()
    }

    fn in_plasma(&self) -> f64 {
        (self.with.insulin_mu_l() - self.without.insulin_mu_l()) * 0.12 * 70.0 / 1_000.0
    }

    fn acting(&self, way: usize) -> f64 {
        self.with.acting()[way] - self.without.acting()[way]
    }
}

fn near(found: f64, expected: f64, tolerance: f64, what: &str) {
    assert!((found - expected).abs() <= tolerance, "{what}: {found}, expected {expected} within {tolerance}");
}

/// Two equal compartments of 55 minutes: (1 + t/55) e^(-t/55) of a unit is still under the skin. Worked out by hand
/// from tmaxI of the model (Hovorka 2004); half a unit of the third decimal.
#[test]
fn a_unit_under_the_skin_goes_as_the_model_says() {
    let mut bolus = Bolus::new();
    for expected in [0.702, 0.359, 0.162, 0.068, 0.028, 0.011] {
        bolus.pass(60);
        near(bolus.under_skin(), expected, 0.000_6, "under the skin");
    }
}

/// From the same expression: half at 92 min, 10 % at 214, 5 % at 261, 1 % at 365; to the minute.
#[test]
fn half_a_tenth_a_twentieth_and_a_hundredth_come_at_their_minutes() {
    let mut bolus = Bolus::new();
    let mut minute = 0;
    for (share, expected) in [(0.5, 92), (0.1, 214), (0.05, 261), (0.01, 365)] {
        while bolus.under_skin() > share {
            bolus.pass(1);
            minute += 1;
        }
        assert!((0..=1).contains(&(minute - expected)), "{share}: {minute}, not {expected}");
    }
}

/// Under the skin and in plasma together at 1 to 5 h, from tmaxI and ke by hand.
#[test]
fn what_is_under_the_skin_and_in_plasma_goes_as_the_model_says() {
    let mut bolus = Bolus::new();
    for expected in [0.750, 0.394, 0.180, 0.076, 0.031] {
        bolus.pass(60);
        near(bolus.under_skin() + bolus.in_plasma(), expected, 0.000_6, "skin and plasma");
    }
}

/// The minute of the highest value of something after a unit.
fn peak(of: impl Fn(&Bolus) -> f64) -> i32 {
    let mut bolus = Bolus::new();
    let mut best = (f64::MIN, 0);
    for minute in 1..=400 {
        bolus.pass(1);
        let value = of(&bolus);
        if value > best.0 {
            best = (value, minute);
        }
    }
    best.1
}

/// Absorption is fastest at 55 min, and disposal, liver and transport are strongest at 84, 101 and 165 min; by hand
/// from tmaxI, ke and ka2, ka3, ka1 (read: PMC7449052, table 3), to the minute.
#[test]
fn absorption_and_actions_peak_when_the_model_says() {
    let absorbed = |bolus: &Bolus| {
        let flow = |body: &Body| body.flows(Hour::USUAL).insulin;
        flow(&bolus.with) - flow(&bolus.without)
    };
    for (found, expected) in [
        (peak(absorbed), 55),
        (peak(|bolus| bolus.acting(1)), 84),
        (peak(|bolus| bolus.acting(2)), 101),
        (peak(|bolus| bolus.acting(0)), 165),
    ] {
        assert!((found - expected).abs() <= 1, "{found}, not {expected}");
    }
}

/// How much of a unit's effect is still to come at 1 to 5 h, for the way of acting: the area that is left under its
/// curve. By hand from the same parameters.
#[test]
fn what_a_unit_will_still_do_goes_as_the_model_says() {
    for (way, expected) in [
        (1, [0.844, 0.484, 0.231, 0.100, 0.041]),
        (2, [0.893, 0.574, 0.300, 0.139, 0.060]),
        (0, [0.971, 0.844, 0.670, 0.503, 0.366]),
    ] {
        let mut bolus = Bolus::new();
        let mut areas = vec![0.0];
        let mut area = 0.0;
        // Forty hours: what is left then is nothing, even on the slowest way.
        for _ in 0..2_400 {
            let before = bolus.acting(way);
            bolus.pass(1);
            area += f64::midpoint(before, bolus.acting(way));
            areas.push(area);
        }
        for (hour, expected) in expected.into_iter().enumerate() {
            near(1.0 - areas[(hour + 1) * 60] / area, expected, 0.001, "effect to come");
        }
    }
}

/// A meal: 5.5 % appeared after a quarter of an hour, 17, 44, 66, 80 and 94 % after 30, 60, 90, 120 and 180 minutes;
/// by hand from tmaxG, two compartments of 40 minutes.
#[test]
fn a_meal_is_absorbed_as_the_model_says() {
    let (mut body, basal) = steady(8.0);
    body.eat(60.0, Pace::Meal);
    let eaten = body.in_gut_mmol();
    near(eaten, 60.0 / GRAMS_PER_MMOL * 0.8, 1e-9, "AG of what is eaten appears");
    let mut minute = 0;
    for (until, percent, tolerance) in
        [(15, 5.5, 0.05), (30, 17.0, 0.5), (60, 44.0, 0.5), (90, 66.0, 0.5), (120, 80.0, 0.5), (180, 94.0, 0.5)]
    {
        while minute < until {
            body.minute(basal, Hour::USUAL);
            minute += 1;
        }
        near(100.0 * (1.0 - body.in_gut_mmol() / eaten), percent, tolerance, "absorbed, %");
    }
}

/// Sugar for a low is absorbed faster than a meal: in a camp 15 minutes after the lowest value 89 % of 54-69 were
/// above 70 (Norlander 2020, Diabetes 69 Suppl 1 882-P), which a meal's 5.5 % in that time could not do.
#[test]
fn sugar_is_much_faster_than_a_meal_and_a_slow_meal_is_slower() {
    let after = |pace: Pace, minutes: u32| {
        let (mut body, basal) = steady(8.0);
        body.eat(15.0, pace);
        let eaten = body.in_gut_mmol();
        (0..minutes).for_each(|_| body.minute(basal, Hour::USUAL));
        1.0 - body.in_gut_mmol() / eaten
    };
    near(after(Pace::Fast, 15), 0.442, 0.001, "(1 - 2.5 e^-1.5) by hand");
    near(after(Pace::Slow, 120), 0.511, 0.001, "(1 + 120/70) e^(-120/70) is left, by hand");
}

/// Basal insulin of 70 kg, units an hour: computed from the published parameters, outside this program.
#[test]
fn steady_basal_of_seventy_kilograms() {
    for (mmol_l, units) in [(5.0, 0.401), (6.0, 0.386), (8.0, 0.361), (10.0, 0.321), (12.0, 0.268)] {
        near(steady(mmol_l).1, units, 0.000_6, "U/h");
    }
    near(steady(5.0).0.insulin_mu_l(), 5.76, 0.006, "mU/L at 5 mmol/L");
}

#[test]
fn steady_stays_steady_for_a_week() {
    for mmol_l in [5.0, 8.0, 12.0] {
        let (mut body, basal) = steady(mmol_l);
        (0..7 * 1_440).for_each(|_| body.minute(basal, Hour::USUAL));
        near(body.mmol_l(), mmol_l, 1e-6, "mmol/L after a week");
    }
}

/// What came in is what went out and what is there: glucose over a day with meals and doses, insulin likewise. The
/// flows are summed by the trapezoid rule, which is worse than the steps; a thousandth is its error.
#[test]
fn nothing_is_made_and_nothing_is_lost() {
    let (mut body, basal) = steady(8.0);
    let plasma_mu = |body: &Body| body.insulin_mu_l() * 0.12 * 70.0;
    let glucose_first = body.glucose_mmol();
    let (mut came, mut went) = (0.0, 0.0);
    let insulin_first = body.under_skin() * 1_000.0 + plasma_mu(&body);
    let (mut given, mut cleared) = (0.0, 0.0);
    for minute in 0..1_440 {
        let eaten = match minute {
            420 => Some(Pace::Fast),
            780 => Some(Pace::Meal),
            1_140 => Some(Pace::Slow),
            _ => None,
        };
        if let Some(pace) = eaten {
            body.eat(60.0, pace);
            body.inject(5.0);
            given += 5_000.0;
        }
        let before = body.flows(Hour::USUAL);
        body.minute(basal, Hour::USUAL);
        let after = body.flows(Hour::USUAL);
        came += f64::midpoint(before.gut + before.liver, after.gut + after.liver);
        went +=
            f64::midpoint(before.brain + before.urine + before.disposed, after.brain + after.urine + after.disposed);
        cleared += f64::midpoint(before.cleared, after.cleared);
        given += basal * 1_000.0 / 60.0;
    }
    near((body.glucose_mmol() - glucose_first) / (came - went), 1.0, 0.01, "glucose");
    near(came - went - (body.glucose_mmol() - glucose_first), 0.0, came / 1_000.0, "glucose, mmol");
    let there = body.under_skin() * 1_000.0 + plasma_mu(&body) - insulin_first;
    near(given - cleared - there, 0.0, given / 1_000.0, "insulin, mU");
}

/// A life in steps of so many parts of a minute: what happens at each minute, and the glucose after it.
fn in_steps(mmol_l: f64, minutes: u32, parts: u32, happens: impl Fn(u32, &mut Body)) -> Vec<f64> {
    let (mut body, basal) = steady(mmol_l);
    let mut found = Vec::new();
    for minute in 0..minutes {
        happens(minute, &mut body);
        (0..parts).for_each(|_| body.pass(1.0 / f64::from(parts), basal, Hour::USUAL));
        found.push(body.mmol_l());
    }
    found
}

fn furthest_apart(one: &[f64], other: &[f64]) -> f64 {
    one.iter().zip(other).map(|(one, other)| (one - other).abs()).fold(0.0, f64::max)
}

/// A day of meals and doses, over both corners of the model (4.5 and 9 mmol/L), in steps of a minute and of half a
/// second: less than a ten-thousandth of a mmol/L apart.
#[test]
fn a_minute_is_short_enough() {
    let day = |parts: u32| {
        in_steps(8.0, 1_440, parts, |minute, body| match minute {
            420 | 780 | 1_140 => body.eat(80.0, Pace::Meal),
            430 | 795 | 1_135 => body.inject(7.0),
            1_300 => body.eat(20.0, Pace::Fast),
            _ => {}
        })
    };
    let (whole, fine) = (day(1), day(120));
    assert!(
        whole.iter().any(|value| *value < 4.5) && whole.iter().any(|value| *value > 9.0),
        "both corners are passed"
    );
    let worst = furthest_apart(&whole, &fine);
    assert!(worst < 1e-4, "{worst}");
}

/// Between the corners the method is of fourth order: half the step, a sixteenth of the error.
#[test]
fn half_the_step_is_a_sixteenth_of_the_error() {
    let day = |parts: u32| {
        in_steps(6.0, 400, parts, |minute, body| match minute {
            10 => body.eat(10.0, Pace::Meal),
            30 => body.inject(0.3),
            _ => {}
        })
    };
    let fine = day(60);
    assert!(fine.iter().all(|value| (4.5..9.0).contains(value)), "no corner is passed");
    let ratio = furthest_apart(&day(1), &fine) / furthest_apart(&day(2), &fine);
    near(ratio, 16.0, 2.0, "how much better half the step is");
}

/// The older and the newer strengths of insulin disagree (a fit of 2019 used SIT 25e-4 and SID 6e-4, PMC7449052 table
/// 3): weaker insulin needs more of it.
#[test]
fn weaker_insulin_needs_more_of_it() {
    let weaker = Parameters {
        transport: Action { strength: 25e-4, ..Parameters::published(70.0).transport },
        disposal: Action { strength: 6e-4, ..Parameters::published(70.0).disposal },
        ..Parameters::published(70.0)
    };
    let (_, units) = Body::steady(weaker, 8.0).unwrap();
    assert!(units > 1.1 * steady(8.0).1, "{units}");
}

/// Interstitial glucose is a filter of blood glucose, not a shift (DTT 10.1089/dia.2016.0112): after a step, one time
/// constant later, 1 - 1/e of it has come. Published lags are 4 to 10 minutes (Boyne 2003, Diabetes 52:2790).
#[test]
fn a_sensor_is_late_by_its_filter() {
    for lag in [4, 8, 10] {
        let mut sensor = Sensor::new(Kind { lag_min: f64::from(lag), ..Kind::PERFECT }, 1, 5.0);
        (0..lag).for_each(|_| sensor.minute(10.0));
        near(sensor.tissue_mmol_l(), 10.0 - 5.0 * (-1.0_f64).exp(), 1e-6, "mmol/L one time constant after a step");
    }
}

/// The errors of many sensors at a steady 10 mmol/L, five days each, as shares of it.
fn errors(kind: Kind) -> Vec<Vec<f64>> {
    let one = |seed: u64| {
        let mut sensor = Sensor::new(kind, seed, 10.0);
        let mut found = Vec::new();
        for minute in 0..5 * DAY_MIN {
            if minute % DAY_MIN == 0 {
                sensor.day(minute / DAY_MIN, [0, 420]);
            }
            if minute % 5 == 0 {
                found.extend(sensor.reading(minute).map(|glucose| glucose.as_mg_dl() / 180.0 - 1.0));
            }
            sensor.minute(10.0);
        }
        found
    };
    (1..=60).map(one).collect()
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

fn deviation(values: &[f64]) -> f64 {
    let middle = mean(values);
    (values.iter().map(|value| (value - middle).powi(2)).sum::<f64>() / values.len() as f64).sqrt()
}

#[test]
fn noise_is_as_large_and_as_lasting_as_configured() {
    let kind = Kind { noise: 0.06, noise_kept: 0.85, ..Kind::PERFECT };
    let (mut size, mut kept) = (Vec::new(), Vec::new());
    for errors in errors(kind) {
        assert_eq!(errors.len(), 5 * 288, "nothing is lost");
        size.push(deviation(&errors));
        let middle = mean(&errors);
        let products: Vec<f64> = errors.windows(2).map(|pair| (pair[0] - middle) * (pair[1] - middle)).collect();
        kept.push(mean(&products) / deviation(&errors).powi(2));
    }
    near(mean(&size), 0.06, 0.002, "standard deviation");
    near(mean(&kept), 0.85, 0.01, "correlation over five minutes");
}

#[test]
fn each_sensor_has_a_calibration_of_its_own() {
    let kind = Kind { calibration: 0.06, ..Kind::PERFECT };
    let of_each: Vec<f64> = errors(kind).iter().map(|errors| mean(errors)).collect();
    // Of 60 the standard error is 0.06 / sqrt(60) of the mean and 0.06 / sqrt(120) of the deviation; three of them.
    near(mean(&of_each), 0.0, 0.024, "mean over sensors");
    near(deviation(&of_each), 0.06, 0.017, "deviation over sensors");
}

/// Pressed sensors give about 3 % of the readings of a night (Baysal 2014, JDST 8:1091); silences of 25 minutes and
/// more come about 0.21 times a day at five minutes (docs/alerts-measured.md).
#[test]
fn pressure_and_silence_are_as_common_as_published() {
    let quiet = Kind { noise: 0.0, calibration: 0.0, days_worn: i32::MAX, ..Kind::default() };
    let (mut pressed, mut night, mut silences) = (0, 0, 0);
    let days = 300;
    for seed in 1..=10 {
        let mut sensor = Sensor::new(quiet, seed, 10.0);
        let mut last = 0;
        for minute in 0..days * DAY_MIN {
            if minute % DAY_MIN == 0 {
                sensor.day(minute / DAY_MIN, [0, 420]);
            }
            if minute % 5 == 0
                && let Some(glucose) = sensor.reading(minute)
            {
                silences += i32::from(minute - last > 25);
                last = minute;
                if minute % DAY_MIN < 420 {
                    night += 1;
                    pressed += i32::from(glucose.as_mg_dl() < 0.95 * 180.0);
                }
            }
            sensor.minute(10.0);
        }
    }
    near(100.0 * f64::from(pressed) / f64::from(night), 3.0, 0.5, "% of night readings");
    near(f64::from(silences) / f64::from(10 * days), 0.21, 0.05, "silences a day");
}

#[test]
fn a_sensor_shows_what_sensors_show() {
    for (mmol_l, expected) in [(2.0, Measured::BelowRange), (2.3, Measured::Number), (22.2, Measured::Number)] {
        assert_eq!(Sensor::new(Kind::PERFECT, 1, mmol_l).reading(0).unwrap().measured(), expected, "{mmol_l}");
    }
    assert_eq!(Sensor::new(Kind::PERFECT, 1, 22.4).reading(0).unwrap().measured(), Measured::AboveRange);
    // A sensor of one day is changed in the morning of each, and is silent for two hours.
    let mut sensor = Sensor::new(Kind { days_worn: 1, warm_up_min: 120, ..Kind::PERFECT }, 1, 8.0);
    let mut silent = 0;
    for minute in 0..4 * DAY_MIN {
        if minute % DAY_MIN == 0 {
            sensor.day(minute / DAY_MIN, [0, 420]);
        }
        silent += i32::from(minute % 5 == 0 && sensor.reading(minute).is_none());
    }
    assert!((1..=4).any(|changes| silent == changes * 24), "{silent} readings in warm-ups of 24");
}

fn lived(seed: u64, means: Means, habits: Habits, days: i32) -> Lived {
    Alone::new(Person::draw(seed, means), habits, usual_policy(means)).days(days)
}

/// FNV-1a of a life: its readings, what was done, and blood glucose to the last bit.
fn checksum(lived: &Lived) -> u64 {
    let mut sum = 0xcbf2_9ce4_8422_2325_u64;
    let mut add = |bytes: &[u8]| {
        for byte in bytes {
            sum = (sum ^ u64::from(*byte)).wrapping_mul(0x0100_0000_01b3);
        }
    };
    for (at, glucose) in &lived.readings {
        add(&at.to_le_bytes());
        add(&glucose.hundredths().to_le_bytes());
    }
    lived.deeds.iter().for_each(|(at, _)| add(&at.to_le_bytes()));
    lived.blood.iter().for_each(|mmol_l| add(&mmol_l.to_le_bytes()));
    sum
}

/// The same seed is the same life for ever and everywhere. These lives have no engine, so that they change only if the
/// wearer does; whoever changes it on purpose measures docs/lives-measured.md anew.
#[test]
fn the_same_seed_is_the_same_life() {
    let alone = |seed: u64, means: Means| checksum(&lived(seed, means, Habits::without_alerts(), 5));
    let found = [alone(1, Means::Pens), alone(1, Means::Pump), alone(2, Means::Pens)];
    assert_eq!(found.map(|sum| format!("{sum:016x}")), ["0253cc969f62259d", "99a89ca6132f29ea", "6c61b3ee64621b34"]);
    let with_engine = || lived(3, Means::Pump, Habits::annoyed(Looks::Heeded), 5);
    assert_eq!(with_engine(), with_engine());
}

/// Habits change what is done about a day, not the day.
#[test]
fn the_same_days_come_whatever_the_habits() {
    let meals = |habits: Habits| {
        let lived = lived(4, Means::Pens, habits, 6);
        let meals = lived.deeds.into_iter().filter(|(_, deed)| matches!(deed, Deed::Ate(grams) if *grams != 15.0));
        meals.collect::<Vec<_>>()
    };
    assert!(meals(Habits::without_alerts()).len() > 15);
    assert_eq!(meals(Habits::without_alerts()), meals(Habits::annoyed(Looks::Hourly)));
}

/// What thirty bodies show their owners in four weeks, one number of each body.
struct Shown {
    in_range: Vec<f64>,
    variation: Vec<f64>,
    fast: Vec<f64>,
    apart: Vec<f64>,
    near_by: Vec<f64>,
    below_70: Vec<f64>,
    below_54: Vec<f64>,
}

fn shown(habits: Habits, means: Means) -> Shown {
    let mut shown = Shown {
        in_range: Vec::new(),
        variation: Vec::new(),
        fast: Vec::new(),
        apart: Vec::new(),
        near_by: Vec::new(),
        below_70: Vec::new(),
        below_54: Vec::new(),
    };
    for seed in 1..=30 {
        let lived = lived(seed, means, habits, 28);
        let values: Vec<f64> = lived.readings.iter().map(|(_, glucose)| glucose.as_mg_dl()).collect();
        let percent = |holds: &dyn Fn(f64) -> bool| {
            100.0 * values.iter().filter(|value| holds(**value)).count() as f64 / values.len() as f64
        };
        shown.in_range.push(percent(&|value| (70.0..=180.0).contains(&value)));
        shown.below_70.push(percent(&|value| value < 70.0));
        shown.below_54.push(percent(&|value| value < 54.0));
        shown.variation.push(100.0 * deviation(&values) / mean(&values));
        let quarters: Vec<f64> = lived
            .readings
            .windows(4)
            .filter(|four| four[3].0 - four[0].0 == 15)
            .map(|four| (four[3].1.as_mg_dl() - four[0].1.as_mg_dl()).abs() / 15.0)
            .collect();
        let fast = quarters.iter().filter(|rate| **rate > 1.8).count();
        shown.fast.push(100.0 * fast as f64 / quarters.len() as f64);
        let blood = |at: i32| lived.blood[usize::try_from(at / 5).unwrap()] * 18.0;
        let pairs: Vec<(f64, f64)> = lived
            .readings
            .iter()
            .filter(|(_, glucose)| glucose.measured() == Measured::Number)
            .map(|(at, glucose)| (glucose.as_mg_dl(), blood(*at)))
            .collect();
        shown
            .apart
            .push(mean(&pairs.iter().map(|(seen, blood)| 100.0 * (seen - blood).abs() / blood).collect::<Vec<_>>()));
        let is_near = |(seen, blood): &&(f64, f64)| (seen - blood).abs() <= 0.2 * blood.max(100.0);
        shown.near_by.push(100.0 * pairs.iter().filter(is_near).count() as f64 / pairs.len() as f64);
    }
    shown
}

fn ranked(values: &[f64]) -> Vec<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted
}

/// Thirty bodies with alerts beside what is published of people with type 1 diabetes.
#[test]
fn thirty_bodies_are_like_people() {
    for means in [Means::Pens, Means::Pump] {
        let shown = shown(Habits::calm(Looks::Heeded), means);
        // Changing faster than 1.8 mg/dL/min: 6.9 % of the time, interquartile range 4.5 to 9.5 (Christensen 2024,
        // JDST 18:795). Nothing was chosen by this.
        let fast = ranked(&shown.fast);
        near(fast[15], 6.9, 1.2, "% faster than 1.8 mg/dL/min, median");
        near(fast[7], 4.5, 1.2, "first quartile");
        near(fast[22], 9.5, 2.0, "third quartile");
        // A coefficient of variation of 36 % parts stable from unstable (Danne 2017): people are on both sides.
        let unstable = shown.variation.iter().filter(|variation| **variation >= 36.0).count();
        assert!((3..=27).contains(&unstable), "{unstable} of 30 are unstable");
        near(ranked(&shown.variation)[15], 36.0, 6.0, "coefficient of variation, median");
        // The target is above 70 % of the time from 70 to 180 mg/dL (Battelino 2019): people are on both sides. That
        // none is below 40 % or above 95 % is common practice, no source.
        let reached = shown.in_range.iter().filter(|share| **share > 70.0).count();
        assert!((5..=27).contains(&reached), "{reached} of 30 are in range for 70 %");
        assert!(shown.in_range.iter().all(|share| (40.0..=95.0).contains(share)), "{:?}", ranked(&shown.in_range));
        // Mean absolute relative difference 9.0 %, and 93.9 % within 20 mg/dL or 20 % (PMC6422005). The sizes of the
        // errors were chosen by these two.
        near(mean(&shown.apart), 9.0, 0.7, "mean absolute relative difference");
        near(mean(&shown.near_by), 93.9, 1.5, "% within 20/20");
    }
}

/// At 4 % of the time below 70, 0.94 % is below 54 (DTT 10.1089/dia.2022.0462): the line through that and zero,
/// within a half of it. Without alerts, for those who have them are seldom so low.
#[test]
fn the_tail_of_lows_is_like_that_of_people() {
    let shown = shown(Habits::without_alerts(), Means::Pens);
    let (below_70, below_54) = (mean(&shown.below_70), mean(&shown.below_54));
    near(below_70, 4.0, 1.5, "% below 70");
    near(below_54 / below_70, 0.94 / 4.0, 0.12, "of it below 54");
}

/// The demo's day through the default engine: what rings, and in which order. Its story is the one the demo promises:
/// a high that stays after it is treated and is asked about, a low that is asked about, a sensor that falls silent.
#[test]
fn the_day_of_the_demo_tells_its_story() {
    let mut policy = usual_policy(Means::Pens);
    policy.night = recheck::domain::local::Hours::parse("06:30-13:00").unwrap();
    let mut engine = Engine::new(policy);
    // It begins at 13:00 with an hour of history.
    let now = |minute: i64| at(13 * 60 + i32::try_from(minute).unwrap());
    let row = |minute: i64, glucose: Glucose| Reading { source: SourceId(0), measured: now(minute), glucose };
    let rows = (-60..0).step_by(5).map(|minute| row(minute, Glucose::mg_dl(118))).collect();
    engine.handle(&Event::Readings { rows, first_sight: true }, now(0));
    let mut readings = readings().into_iter().peekable();
    let mut told = Vec::new();
    for minute in 0..=LENGTH_MIN {
        let mut decisions = engine.handle(&Event::Tick, now(minute));
        if let Some((_, Some(glucose))) = readings.next_if(|(at, _)| *at == minute) {
            let rows = vec![row(minute, glucose)];
            decisions.extend(engine.handle(&Event::Readings { rows, first_sight: false }, now(minute)));
        }
        if ACTS.iter().any(|(at, _, _)| *at == minute) {
            told.push("she treats".to_owned());
            decisions.extend(engine.handle(&Event::Treated { which: None, at: now(minute), look: None }, now(minute)));
        }
        let rings = decisions.iter().filter(|decision| decision.rings);
        told.extend(rings.map(|ring| format!("{} {}", ring.what.name(), ring.condition.name())));
    }
    let story = [
        "raised high",
        "she treats",
        // While a treated high is followed its check asks, and very high does not ring beside it (promise H6); what comes
        // down is a landing (promise H5), and a low that was no very low is back without a ring (promise L2).
        "prompt recheck_high",
        "she treats",
        "told recheck_high",
        "raised low",
        "she treats",
        "prompt recheck_low",
        "raised gap",
    ];
    // In this order, whatever else rings between.
    let mut ahead = told.iter();
    for line in story {
        assert!(ahead.any(|told| told == line), "{line} is missing, or out of order, in {told:#?}");
    }
}
