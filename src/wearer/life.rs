//! A pretend life, minute by minute: a person's body and sensor, the meals, doses and mishaps of their days. What
//! they do about alerts comes from outside (`alone`); what is usual in a day they do by themselves. Knows no engine.

use super::body::{Body, Hour, Pace};
use super::day::{Day, Exercise, Meal};
use super::person::{Means, Person};
use super::sensor::{CADENCE_MIN, DAY_MIN, MG_DL_PER_MMOL_L, Sensor};
use crate::domain::glucose::Glucose;

/// Why insulin is taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Why {
    /// For a meal.
    Meal,
    /// For a meal whose dose was forgotten.
    Remembered,
    /// For a high.
    High,
}

/// A dose of rapid insulin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dose {
    /// When, minute of the life.
    pub at: i32,
    /// How much, units.
    pub units: f64,
    /// What for.
    pub why: Why,
    /// What the sensor said then, mmol/L.
    pub seen: Option<f64>,
}

/// Something the person did that others can know of.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Deed {
    /// Took rapid insulin.
    Dosed(Dose),
    /// Ate a meal, or what they take for so many grams.
    Ate(f64),
    /// Took sugar for a low, grams.
    Sugar(f64),
    /// Changed the pump's site.
    Site,
    /// Began to exercise.
    Exercised,
    /// Put on a new sensor.
    Sensor,
}

/// Insulin lasts so long in the rule by which people count what still works, min: four hours in a straight line
/// (common practice, no source; the model's insulin lasts longer).
pub const COUNTED_MIN: i32 = 240;

/// A pump's site is changed after so many days (common practice, no source).
const SITE_DAYS: i32 = 3;

/// Long-acting insulin comes in over so long after a dose, and goes out over as long a day later, min. AACE 2022
/// (Endocr Pract 28:923, table 19): onset one to two hours, flat, 24 hours and more.
const LONG_ACTING_SLOPE_MIN: i32 = 240;

/// While one exercises, and at its end, insulin is so much stronger; the second wears off in twelve hours. Lows come
/// 8 to 12 hours later in life (abstract, Charlton 2015); the factors are ours.
const EXERCISE_NOW: f64 = 0.8;
const EXERCISE_AFTER: f64 = 0.35;
const EXERCISE_AFTER_MIN: i32 = 720;

/// The liver's morning: it rises from four, is full from five to eight, and is over at half past nine.
const DAWN: [i32; 4] = [240, 300, 480, 570];

/// When people lie down and rise, minutes around midnight: from 23:00 to 07:00.
pub const SLEEPS_FROM_MIN: i32 = 1_380;
/// See [`SLEEPS_FROM_MIN`].
pub const WAKES_AT_MIN: i32 = 420;

/// A life under way.
#[derive(Debug, Clone)]
pub struct Life {
    person: Person,
    body: Body,
    sensor: Sensor,
    /// The minute that comes next.
    minute: i32,
    today: Day,
    /// What the sensor said last, and when.
    last: Option<(i32, Glucose)>,
    doses: Vec<Dose>,
    long_acting: Vec<i32>,
    exercised: Option<(i32, Exercise)>,
    site_since: i32,
    site_lets_in: f64,
    /// Meals whose dose was forgotten, with the minute of the life they were eaten at.
    forgotten: Option<(i32, Meal)>,
    deeds: Vec<(i32, Deed)>,
}

impl Life {
    /// Begins at a midnight, at rest.
    #[must_use]
    pub fn new(person: Person) -> Self {
        let (body, _) = Body::steady(person.parameters, 7.0).unwrap_or_else(|| unreachable!("a person was let in"));
        let sensor = Sensor::new(person.sensor, person.seed, body.mmol_l());
        let today = Day::plan(person.seed, 0);
        let mut life = Self {
            person,
            body,
            sensor,
            minute: 0,
            today,
            last: None,
            doses: Vec::new(),
            long_acting: vec![-DAY_MIN - 120, -120],
            exercised: None,
            site_since: -DAY_MIN,
            site_lets_in: 1.0,
            forgotten: None,
            deeds: Vec::new(),
        };
        life.begin_day();
        life
    }

    /// Who lives it.
    #[must_use]
    pub const fn person(&self) -> &Person {
        &self.person
    }

    /// The minute that comes next, from 0.
    #[must_use]
    pub const fn minute(&self) -> i32 {
        self.minute
    }

    /// Blood glucose, which nobody in the life knows, mmol/L.
    #[must_use]
    pub fn blood_mmol_l(&self) -> f64 {
        self.body.mmol_l()
    }

    /// Is the person asleep?
    #[must_use]
    pub const fn asleep(&self) -> bool {
        let minute = self.minute.rem_euclid(DAY_MIN);
        minute >= SLEEPS_FROM_MIN || minute < WAKES_AT_MIN
    }

    /// What the person sees: the last value of the sensor, mmol/L, if it is no older than 15 minutes.
    #[must_use]
    pub fn seen_mmol_l(&self) -> Option<f64> {
        let (at, glucose) = self.last?;
        (self.minute - at <= 15).then(|| glucose.as_mg_dl() / MG_DL_PER_MMOL_L)
    }

    /// Doses so far, in order.
    #[must_use]
    pub fn doses(&self) -> &[Dose] {
        &self.doses
    }

    /// What was done, in order, with its minute.
    #[must_use]
    pub fn deeds(&self) -> &[(i32, Deed)] {
        &self.deeds
    }

    /// What the sensor says at this minute; to be asked once for each minute.
    pub fn reading(&mut self) -> Option<Glucose> {
        if self.minute % CADENCE_MIN != 0 {
            return None;
        }
        let worn = self.sensor.worn_since();
        let reading = self.sensor.reading(self.minute);
        if self.sensor.worn_since() != worn {
            self.deeds.push((self.minute, Deed::Sensor));
        }
        if let Some(reading) = reading {
            self.last = Some((self.minute, reading));
        }
        reading
    }

    /// The day's own doings at this minute, and then the minute goes by.
    pub fn pass(&mut self) {
        let minute = self.minute.rem_euclid(DAY_MIN);
        self.live(minute);
        let (basal, hour) = (self.basal(), self.hour());
        let before = self.body.mmol_l();
        self.body.minute(basal, hour);
        self.sensor.minute(f64::midpoint(before, self.body.mmol_l()));
        self.minute += 1;
        if self.minute % DAY_MIN == 0 {
            self.begin_day();
        }
    }

    /// Insulin that the person counts as still working, units; of doses for highs only, if `only_highs`.
    #[must_use]
    pub fn counted(&self, only_highs: bool) -> f64 {
        let left = |dose: &Dose| {
            dose.units * f64::from((COUNTED_MIN - (self.minute - dose.at)).max(0)) / f64::from(COUNTED_MIN)
        };
        self.doses.iter().rev().take(12).filter(|dose| !only_highs || dose.why == Why::High).map(left).sum()
    }

    /// Takes rapid insulin, by the pump's site or, with `pen`, around it.
    pub fn dose(&mut self, units: f64, why: Why, pen: bool) {
        let by_pen = pen || self.person.means == Means::Pens;
        let units = if by_pen { (units * 2.0).round() / 2.0 } else { (units * 10.0).round() / 10.0 };
        if units <= 0.0 {
            return;
        }
        self.body.inject(if by_pen { units } else { units * self.site_lets_in });
        let dose = Dose { at: self.minute, units, why, seen: self.seen_mmol_l() };
        self.doses.push(dose);
        self.deeds.push((self.minute, Deed::Dosed(dose)));
    }

    /// Takes sugar for a low.
    pub fn take_sugar(&mut self, grams: f64) {
        self.body.eat(grams, Pace::Fast);
        self.deeds.push((self.minute, Deed::Sugar(grams)));
    }

    /// Eats a bite without a dose.
    pub fn bite(&mut self, grams: f64) {
        self.body.eat(grams, Pace::Meal);
        self.deeds.push((self.minute, Deed::Ate(grams)));
    }

    /// Changes the pump's site.
    pub fn change_site(&mut self) {
        self.site_since = self.minute;
        self.site_lets_in = 1.0;
        self.deeds.push((self.minute, Deed::Site));
    }

    /// A dose for a meal that the person remembers to have forgotten, if there is one no older than three hours.
    pub fn remember_meal(&mut self) -> Option<f64> {
        let (at, meal) = self.forgotten.take()?;
        (self.minute - at <= 180).then(|| meal.guessed / self.person.grams_per_unit)
    }

    fn begin_day(&mut self) {
        let day = self.minute / DAY_MIN;
        self.today = Day::plan(self.person.seed, day);
        self.sensor.day(day, [0, WAKES_AT_MIN]);
        self.doses.retain(|dose| self.minute - dose.at < DAY_MIN);
    }

    fn live(&mut self, minute: i32) {
        for place in 0..self.today.meals.len() {
            let Some(meal) = self.today.meals.get(place).copied() else { continue };
            if meal.dosed_at == Some(minute) {
                self.dose_for(&meal);
            }
            if meal.at == minute {
                self.body.eat(meal.grams, meal.pace);
                self.deeds.push((self.minute, Deed::Ate(meal.guessed)));
                if meal.forgotten {
                    self.forgotten = Some((self.minute, meal));
                }
            }
        }
        if let Some(exercise) = self.today.exercise.filter(|exercise| exercise.from == minute) {
            self.exercised = Some((self.minute, exercise));
            self.deeds.push((self.minute, Deed::Exercised));
            if exercise.eats {
                self.body.eat(20.0, Pace::Meal);
            }
        }
        if self.person.means == Means::Pens && self.today.long_acting_at == Some(minute) {
            self.long_acting.retain(|at| self.minute - at < 2 * DAY_MIN);
            self.long_acting.push(self.minute);
        }
        if self.person.means == Means::Pump {
            if let Some((_, lets_in)) = self.today.site_fails.filter(|(at, _)| *at == minute && self.person.sites_fail)
            {
                self.site_lets_in = lets_in;
            }
            if self.minute - self.site_since >= SITE_DAYS * DAY_MIN && minute == WAKES_AT_MIN + 60 {
                self.change_site();
            }
        }
    }

    /// The person's rule for a meal: what they take it for, and what the sensor is off by, less what was taken for
    /// highs and still counts.
    fn dose_for(&mut self, meal: &Meal) {
        let person = &self.person;
        let off = self.seen_mmol_l().map_or(0.0, |seen| {
            let beyond = (seen - person.target_mmol_l) / person.mmol_l_per_unit;
            if beyond > 0.0 { (beyond - self.counted(true)).max(0.0) } else { beyond }
        });
        self.dose((meal.guessed / person.grams_per_unit + off).max(0.0), Why::Meal, false);
    }

    /// Basal insulin now, units an hour.
    fn basal(&self) -> f64 {
        match self.person.means {
            Means::Pump => self.person.basal * self.site_lets_in,
            Means::Pens => {
                let share = |at: &i32| {
                    let age = self.minute - at;
                    let rising = f64::from(age.min(LONG_ACTING_SLOPE_MIN));
                    let falling = f64::from((DAY_MIN + LONG_ACTING_SLOPE_MIN - age).clamp(0, LONG_ACTING_SLOPE_MIN));
                    rising.min(falling) / f64::from(LONG_ACTING_SLOPE_MIN)
                };
                self.person.basal * self.long_acting.iter().map(share).sum::<f64>()
            }
        }
    }

    fn hour(&self) -> Hour {
        let exercise = self.exercised.map_or(0.0, |(began, exercise)| {
            let passed = self.minute - began;
            let lasts = exercise.until - exercise.from;
            if passed < lasts {
                EXERCISE_NOW
            } else {
                EXERCISE_AFTER * f64::from((EXERCISE_AFTER_MIN - (passed - lasts)).max(0))
                    / f64::from(EXERCISE_AFTER_MIN)
            }
        });
        let [rises, full, falls, over] = DAWN;
        let minute = self.minute.rem_euclid(DAY_MIN);
        let rising = f64::from(minute - rises) / f64::from(full - rises);
        let falling = f64::from(over - minute) / f64::from(over - falls);
        let dawn = self.person.dawn * rising.min(falling).clamp(0.0, 1.0);
        Hour { sensitivity: self.today.sensitivity * (1.0 + exercise), liver: 1.0 + dawn }
    }
}
