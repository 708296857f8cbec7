//! What a sensor makes of blood glucose: later, with an error of its own, sometimes pressed, sometimes silent. Knows
//! nobody who reads it.
//!
//! The numbers behind it, with their sources: docs/wearer.md.

use super::chance::{Chance, Purpose, exp, whole};
use crate::domain::glucose::{Glucose, Measured, Unit};

/// Minutes between two readings.
pub const CADENCE_MIN: i32 = 5;

/// Minutes of a day.
pub const DAY_MIN: i32 = 1_440;

/// mg/dL of one mmol/L, as the standards print it.
pub const MG_DL_PER_MMOL_L: f64 = 18.0;

/// An error in percent would make lows nearly exact, which sensors are not: below this it is counted as if glucose
/// were this, mmol/L (100 mg/dL). As accuracy standards do (ISO 15197:2013: 15 mg/dL below 100, 15 % above).
const ERROR_FLOOR_MMOL_L: f64 = 100.0 / MG_DL_PER_MMOL_L;

/// A sensor, and the person who lies on it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Kind {
    /// Interstitial glucose follows blood by a filter of this time constant, min.
    pub lag_min: f64,
    /// Error that comes and goes: standard deviation, as a share.
    pub noise: f64,
    /// How much of it is left at the next reading: its correlation over five minutes.
    pub noise_kept: f64,
    /// Error of the calibration, the same for one sensor: standard deviation over sensors, as a share.
    pub calibration: f64,
    /// Both errors on the first day, as a factor.
    pub first_day: f64,
    /// Chance that the sensor is pressed in a night.
    pub pressed_a_night: f64,
    /// Times a day that readings are lost for a while.
    pub lost_a_day: f64,
    /// Days one sensor is worn.
    pub days_worn: i32,
    /// A new one gives nothing for so long, min.
    pub warm_up_min: i32,
}

impl Default for Kind {
    /// Sources in docs/wearer.md.
    fn default() -> Self {
        Self {
            lag_min: 8.0,
            noise: 0.06,
            noise_kept: 0.85,
            calibration: 0.065,
            first_day: 1.3,
            pressed_a_night: 0.35,
            lost_a_day: 0.3,
            days_worn: 10,
            warm_up_min: 120,
        }
    }
}

impl Kind {
    /// Without lag worth a word, errors, pressure or losses.
    pub const PERFECT: Self = Self {
        lag_min: 0.01,
        noise: 0.0,
        noise_kept: 0.0,
        calibration: 0.0,
        first_day: 1.0,
        pressed_a_night: 0.0,
        lost_a_day: 0.0,
        days_worn: i32::MAX,
        warm_up_min: 0,
    };
}

/// A stretch of minutes.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Stretch {
    from: i32,
    until: i32,
}

impl Stretch {
    const fn holds(self, minute: i32) -> bool {
        self.from <= minute && minute < self.until
    }
}

/// A sensor that is worn.
#[derive(Debug, Clone, PartialEq)]
pub struct Sensor {
    kind: Kind,
    seed: u64,
    /// The share by which interstitial glucose comes nearer to blood in a minute.
    nearer: f64,
    /// Interstitial glucose, mmol/L.
    tissue: f64,
    /// The error that comes and goes, in standard deviations.
    noise: f64,
    noises: Chance,
    /// The error of the calibration, in standard deviations.
    calibration: f64,
    worn_since: i32,
    /// When the next one is put on today, with the error of its calibration.
    next: Option<(i32, f64)>,
    lost: Vec<Stretch>,
    pressed: Option<(Stretch, f64)>,
}

/// How fast a pressed sensor falls and comes back, min. Baysal 2014 (JDST 8:1091) describes a sudden drop and a quick
/// recovery; no number was seen, this one is ours.
const PRESS_SLOPE_MIN: i32 = 10;

impl Sensor {
    /// Put on long ago, at that blood glucose.
    #[must_use]
    pub fn new(kind: Kind, seed: u64, mmol_l: f64) -> Self {
        let mut noises = Chance::of(seed, Purpose::Noise, 0);
        // As if it had been worn for a part of its days, so that not all begin on one day.
        let worn_since = if kind.days_worn == i32::MAX {
            i32::MIN / 2
        } else {
            -noises.minutes(1, kind.days_worn.max(2) - 1) * DAY_MIN
        };
        let (noise, calibration) = (noises.normal(), noises.normal());
        Self {
            kind,
            seed,
            nearer: 1.0 - exp(-1.0 / kind.lag_min.max(0.01)),
            tissue: mmol_l,
            noise,
            noises,
            calibration,
            worn_since,
            next: None,
            lost: Vec::new(),
            pressed: None,
        }
    }

    /// Interstitial glucose, mmol/L.
    #[must_use]
    pub const fn tissue_mmol_l(&self) -> f64 {
        self.tissue
    }

    /// Is it in its warm-up at that minute?
    #[must_use]
    pub const fn warms_up(&self, minute: i32) -> bool {
        minute - self.worn_since < self.kind.warm_up_min
    }

    /// A day begins: what will become of the sensor in it. It may be pressed between those minutes of the day.
    pub fn day(&mut self, day: i32, asleep_min: [i32; 2]) {
        let mut chance = Chance::of(self.seed, Purpose::Sensor, day.unsigned_abs().into());
        let start = day * DAY_MIN;
        let mut lost = Vec::new();
        // Two chances of half the number each: as good as any other way of having some days with none and some with
        // two.
        for _ in 0..2 {
            let (happens, from) = (chance.happens(self.kind.lost_a_day / 2.0), chance.minutes(0, DAY_MIN - 1));
            let lasts = chance.minutes(6, 60);
            if happens {
                lost.push(Stretch { from: start + from, until: start + from + lasts });
            }
        }
        self.lost.retain(|stretch| stretch.until > start);
        self.lost.append(&mut lost);
        let pressed = chance.happens(self.kind.pressed_a_night);
        let from = start + chance.minutes(asleep_min[0], asleep_min[1] - 60);
        let until = from + chance.minutes(20, 60);
        let depth = chance.between(0.2, 0.5);
        self.pressed = pressed.then_some((Stretch { from, until }, depth));
        let changed_at = start + chance.minutes(9 * 60, 11 * 60);
        let calibration = chance.normal();
        if changed_at - self.worn_since >= self.kind.days_worn.saturating_mul(DAY_MIN) {
            self.next = Some((changed_at, calibration));
        }
    }

    /// When the sensor that is worn was put on.
    #[must_use]
    pub const fn worn_since(&self) -> i32 {
        self.worn_since
    }

    /// A minute has gone by, with that blood glucose in its middle.
    pub fn minute(&mut self, mmol_l: f64) {
        self.tissue += self.nearer * (mmol_l - self.tissue);
    }

    /// What it says at that minute, to be asked once every five; none while it warms up or its readings are lost.
    pub fn reading(&mut self, minute: i32) -> Option<Glucose> {
        let kept = self.kind.noise_kept;
        let fresh = self.noises.normal();
        // Keeps the deviation at one.
        self.noise = kept * self.noise + (1.0 - kept * kept).sqrt() * fresh;
        if let Some((at, calibration)) = self.next.filter(|(at, _)| *at <= minute) {
            (self.worn_since, self.calibration, self.next) = (at, calibration, None);
        }
        let worn_min = minute - self.worn_since;
        if worn_min < self.kind.warm_up_min || self.lost.iter().any(|stretch| stretch.holds(minute)) {
            return None;
        }
        let first_day = if worn_min < DAY_MIN { self.kind.first_day } else { 1.0 };
        let share = first_day * (self.kind.noise * self.noise + self.kind.calibration * self.calibration);
        let shown = self.tissue * self.pressure(minute) + share * self.tissue.max(ERROR_FLOOR_MMOL_L);
        Some(as_shown(whole(shown * MG_DL_PER_MMOL_L)))
    }

    /// What pressure leaves of the value, as a share.
    fn pressure(&self, minute: i32) -> f64 {
        let Some((stretch, depth)) = self.pressed.filter(|(stretch, _)| stretch.holds(minute)) else { return 1.0 };
        let inside = (minute - stretch.from).min(stretch.until - minute).min(PRESS_SLOPE_MIN);
        1.0 - depth * f64::from(inside) / f64::from(PRESS_SLOPE_MIN)
    }
}

/// Whole mg/dL as a sensor shows them: from 40 to 400, and words beyond.
fn as_shown(mg_dl: i32) -> Glucose {
    match mg_dl {
        ..40 => Glucose::beyond_range(Measured::BelowRange, Unit::MgDl),
        40..=400 => Glucose::mg_dl(mg_dl),
        401.. => Glucose::beyond_range(Measured::AboveRange, Unit::MgDl),
    }
}
