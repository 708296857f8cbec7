//! The pretend wearer against published values and exact solutions. Each check has its source beside it: *published*
//! parameters stand in docs/wearer.md with theirs; what is computed from them by hand is said so.

use recheck::wearer::body::{Action, Body, GRAMS_PER_MMOL, Hour, Pace, Parameters};

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
        assert!(
            (minute - expected) as i32 <= 1 && (expected - minute) as i32 <= 0,
            "{share}: {minute}, not {expected}"
        );
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

/// A meal: 5.5 % appeared after a quarter of an hour, 17, 44, 66, 80 and 94 % after 30, 60, 90, 120 and 180 minutes; by
/// hand from tmaxG, two compartments of 40 minutes.
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

/// Sugar for a low is absorbed faster than a meal: in a camp 15 minutes after the lowest value 89 % of 54-69 were above 70
/// (Norlander 2020, Diabetes 69 Suppl 1 882-P), which a meal's 5.5 % in that time could not do.
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
    assert!(after(Pace::Slow, 120) < 0.6 * after(Pace::Meal, 120) + 0.1);
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

/// What came in is what went out and what is there: glucose over a day with meals and doses, insulin likewise. The flows
/// are summed by the trapezoid rule, which is worse than the steps; a thousandth is its error.
#[test]
fn nothing_is_made_and_nothing_is_lost() {
    let (mut body, basal) = steady(8.0);
    let plasma_mu = |body: &Body| body.insulin_mu_l() * 0.12 * 70.0;
    let glucose_first = body.glucose_mmol();
    let (mut came, mut went) = (0.0, 0.0);
    let insulin_first = body.under_skin() * 1_000.0 + plasma_mu(&body);
    let (mut given, mut cleared) = (0.0, 0.0);
    for minute in 0..1_440 {
        if [420, 780, 1_140].contains(&minute) {
            body.eat(60.0, Pace::ALL[minute as usize / 420 % 3]);
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
fn lived(mmol_l: f64, minutes: u32, parts: u32, happens: impl Fn(u32, &mut Body)) -> Vec<f64> {
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

/// A day of meals and doses, over both corners of the model (4.5 and 9 mmol/L), in steps of a minute and of half a second:
/// less than a ten-thousandth of a mmol/L apart.
#[test]
fn a_minute_is_short_enough() {
    let day = |parts: u32| {
        lived(8.0, 1_440, parts, |minute, body| match minute {
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
        lived(6.0, 400, parts, |minute, body| match minute {
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

/// The older and the newer strengths of insulin disagree (a fit of 2019 used SIT 25e-4 and SID 6e-4, PMC7449052 table 3):
/// weaker insulin needs more of it.
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
