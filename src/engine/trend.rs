//! How fast glucose changes, from the last readings of one source. Says nothing when they are too few.

use crate::domain::glucose::{Glucose, MG_DL_PER_MMOL_L, Measured, Unit};
use crate::domain::reading::Reading;
use crate::domain::time::Span;
use serde::{Deserialize, Serialize};

/// The stretch a rate is taken over at cadences below ten minutes.
const STRETCH_MIN: i64 = 20;

/// The stretch at 15-minute cadence: three readings are half an hour apart, and one may be late.
const STRETCH_SPARSE_MIN: i64 = 45;

/// From this cadence on the longer stretch is used.
const SPARSE_CADENCE_MIN: i64 = 10;

/// Fewest readings a rate is taken from.
const READINGS_MIN: u32 = 3;

/// No rate is said to be faster, in hundredths of a mg/dL per minute.
const RATE_MAX: i32 = 100_000;

const MILLIS_PER_MINUTE: f64 = 60_000.0;

/// Below this a value counts as steady, in hundredths of a mg/dL per minute. With a measurement noise
/// of 2 mg/dL and five readings over 20 minutes the slope's standard error is 0.13 mg/dL/min, so 0.5
/// is almost four of them.
const STEADY_BELOW: u32 = 50;

/// From here on a change is more than slow: 1 mg/dL/min, the edge of the inner rate band of continuous
/// glucose error-grid analysis (Kovatchev 2004, Diabetes Care 27:1922).
const PLAIN_FROM: u32 = 100;

/// From here on it is fast: 2 mg/dL/min, the edge of the next band there.
const FAST_FROM: u32 = 200;

/// A rate of change in hundredths of a mg/dL per minute.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Rate(pub i32);

/// A rate in words.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Direction {
    /// 2 mg/dL/min or more downwards.
    FallingFast,
    /// 1 to 2 downwards.
    Falling,
    /// 0.5 to 1 downwards.
    FallingSlowly,
    /// Less than 0.5 either way.
    Steady,
    /// 0.5 to 1 upwards.
    RisingSlowly,
    /// 1 to 2 upwards.
    Rising,
    /// 2 or more upwards.
    RisingFast,
}

impl Rate {
    /// The rate in words.
    #[must_use]
    pub const fn direction(self) -> Direction {
        match (self.0.unsigned_abs(), self.0 < 0) {
            (FAST_FROM.., true) => Direction::FallingFast,
            (PLAIN_FROM..FAST_FROM, true) => Direction::Falling,
            (STEADY_BELOW..PLAIN_FROM, true) => Direction::FallingSlowly,
            (0..STEADY_BELOW, _) => Direction::Steady,
            (STEADY_BELOW..PLAIN_FROM, false) => Direction::RisingSlowly,
            (PLAIN_FROM..FAST_FROM, false) => Direction::Rising,
            (FAST_FROM.., false) => Direction::RisingFast,
        }
    }

    /// `-1.8 mg/dL/min` or `-0.10 mmol/L/min`.
    #[must_use]
    pub fn shown(self, unit: Unit) -> String {
        let sign = if self.0 < 0 { "-" } else { "+" };
        let size = self.0.abs();
        match unit {
            Unit::MgDl => {
                let tenths = (size + 5) / 10;
                format!("{sign}{}.{} mg/dL/min", tenths / 10, tenths % 10)
            }
            Unit::MmolL => {
                let hundredths = (size + MG_DL_PER_MMOL_L / 2) / MG_DL_PER_MMOL_L;
                format!("{sign}{}.{:02} mmol/L/min", hundredths / 100, hundredths % 100)
            }
        }
    }
}

impl Direction {
    /// Any kind of falling.
    #[must_use]
    pub const fn falls(self) -> bool {
        matches!(self, Self::FallingFast | Self::Falling | Self::FallingSlowly)
    }

    /// Any kind of rising.
    #[must_use]
    pub const fn rises(self) -> bool {
        matches!(self, Self::RisingFast | Self::Rising | Self::RisingSlowly)
    }

    /// As the wearer reads it.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::FallingFast => "falling fast",
            Self::Falling => "falling",
            Self::FallingSlowly => "slowly falling",
            Self::Steady => "steady",
            Self::RisingSlowly => "slowly rising",
            Self::Rising => "rising",
            Self::RisingFast => "rising fast",
        }
    }
}

/// Sums over points in time, for a least-squares line: of whole milliseconds and hundredths, so that they are exact.
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    n: u32,
    millis: f64,
    hundredths: f64,
    squares: f64,
    products: f64,
}

impl Sums {
    /// A value so long before the newest.
    #[inline]
    #[expect(clippy::cast_precision_loss, reason = "sums within an hour are far below 2^53")]
    fn add(&mut self, before: Span, glucose: Glucose) {
        let (millis, hundredths) = (-(before.as_millis() as f64), f64::from(glucose.hundredths()));
        self.n += 1;
        self.millis += millis;
        self.hundredths += hundredths;
        self.squares += millis * millis;
        self.products += millis * hundredths;
    }

    /// In hundredths of a mg/dL per minute; nothing when all points are at one time.
    #[inline]
    fn slope(&self) -> Option<f64> {
        let n = f64::from(self.n);
        let spread = n * self.squares - self.millis * self.millis;
        let products = n * self.products - self.millis * self.hundredths;
        (spread > 0.0).then(|| products * MILLIS_PER_MINUTE / spread)
    }
}

/// Are readings so far apart that a rate is one over a longer stretch?
pub(super) fn is_sparse(cadence: Span) -> bool {
    cadence >= Span::minutes(SPARSE_CADENCE_MIN)
}

/// The least-squares slope of the last stretch, or nothing when fewer than three readings are in it.
/// `newest_first` are readings of one source.
#[must_use]
#[expect(clippy::cast_possible_truncation, reason = "what is beyond the range of an i32 is cut to it")]
pub fn rate<'a>(mut newest_first: impl Iterator<Item = &'a Reading>, cadence: Span) -> Option<Rate> {
    let newest = newest_first.next()?;
    // Beyond its range a sensor gives no number to take a difference from.
    let number = |reading: &Reading| reading.glucose.measured() == Measured::Number;
    if !number(newest) {
        return None;
    }
    let sparse = is_sparse(cadence);
    let from = newest.measured - Span::minutes(if sparse { STRETCH_SPARSE_MIN } else { STRETCH_MIN });
    let mut sums = Sums::default();
    sums.add(Span::ZERO, newest.glucose);
    for reading in newest_first {
        if reading.measured < from {
            break;
        }
        sums.add(newest.measured - reading.measured, reading.glucose);
        if !number(reading) {
            return None;
        }
    }
    let slope = sums.slope().filter(|_| sums.n >= READINGS_MIN)?;
    // Halves away from zero, as `round` does it, which takes a call.
    let whole = (slope + 0.5_f64.copysign(slope)) as i32;
    Some(Rate(whole.clamp(-RATE_MAX, RATE_MAX)))
}

/// The slope of the last 20 minutes, from at least `least` readings. What lay beyond the sensor's range before counts as
/// the end of that range: it has moved at least so far since.
#[must_use]
#[expect(clippy::cast_possible_truncation, reason = "what is beyond the range of an i32 is cut to it")]
pub fn pace<'a>(mut newest_first: impl Iterator<Item = &'a Reading>, least: u32) -> Option<Rate> {
    let newest = newest_first.next().filter(|newest| newest.glucose.measured() == Measured::Number)?;
    let mut sums = Sums::default();
    sums.add(Span::ZERO, newest.glucose);
    for reading in newest_first {
        let before = newest.measured - reading.measured;
        if before > Span::minutes(STRETCH_MIN) {
            break;
        }
        sums.add(before, reading.glucose);
    }
    let slope = sums.slope().filter(|_| sums.n >= least)?;
    Some(Rate((slope.round() as i32).clamp(-RATE_MAX, RATE_MAX)))
}

/// The least-squares slope of a stretch in mg/dL per minute; zero where one reading tells nothing of it. A value beyond
/// the sensor's range counts as the end of that range.
#[must_use]
pub fn slope<'a>(newest_first: impl Iterator<Item = &'a Reading>, stretch: Span) -> f64 {
    let (mut sums, mut newest) = (Sums::default(), None);
    for reading in newest_first {
        let before = *newest.get_or_insert(reading.measured) - reading.measured;
        if before > stretch {
            break;
        }
        sums.add(before, reading.glucose);
    }
    sums.slope().unwrap_or(0.0) / 100.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::reading::SourceId;
    use crate::domain::time::Timestamp;

    fn readings(points: &[(i64, i32)]) -> Vec<Reading> {
        points
            .iter()
            .map(|(minute, mg_dl)| Reading {
                source: SourceId(0),
                measured: Timestamp::from_seconds(minute * 60),
                glucose: Glucose::mg_dl(*mg_dl),
            })
            .collect()
    }

    /// numpy.polyfit([0,5,10,15,20],[120,113,108,99,96],1)[0] = -1.24 (numpy 1.26).
    #[test]
    fn slope_agrees_with_a_general_library() {
        let rows = readings(&[(0, 120), (5, 113), (10, 108), (15, 99), (20, 96)]);
        assert_eq!(rate(rows.iter().rev(), Span::minutes(5)), Some(Rate(-124)));
        assert!((slope(rows.iter().rev(), Span::minutes(30)) + 1.24).abs() < 1e-9);
        assert!((slope(rows.iter().rev(), Span::minutes(5)) + 0.6).abs() < 1e-9);
        assert!(slope(rows[..1].iter(), Span::minutes(30)).abs() < 1e-9);
    }

    #[test]
    fn says_nothing_from_too_few_readings() {
        let rows = readings(&[(0, 120), (15, 113), (30, 108)]);
        assert_eq!(rate(rows.iter().rev(), Span::minutes(5)), None);
        assert_eq!(rate(rows.iter().rev(), Span::minutes(15)), Some(Rate(-40)));
        assert_eq!(rate(rows[..2].iter().rev(), Span::minutes(15)), None);
    }

    #[test]
    fn two_readings_a_quarter_of_an_hour_apart_are_a_rate_of_their_own() {
        let rows = readings(&[(0, 190), (15, 89), (30, 70)]);
        assert_eq!(pace(rows.iter().rev(), 2), Some(Rate(-127)));
        assert_eq!(pace(rows.iter().rev(), 3), None);
        assert_eq!(pace(rows[..1].iter().rev(), 2), None);
    }

    #[test]
    fn halves_are_rounded_away_from_zero() {
        let of = |hundredths: [i32; 3]| {
            let mut rows = readings(&[(0, 0), (1, 0), (2, 0)]);
            for (row, hundredths) in rows.iter_mut().zip(hundredths) {
                row.glucose = Glucose::from_hundredths(10_000 + hundredths, Unit::MgDl, Measured::Number);
            }
            rate(rows.iter().rev(), Span::minutes(1))
        };
        // The slope of three is half of what the last differs from the first.
        for (last, rounded) in [(0, 0), (1, 1), (2, 1), (3, 2), (-1, -1), (-2, -1), (-3, -2)] {
            assert_eq!(of([0, 0, last]), Some(Rate(rounded)), "{last}");
        }
    }

    #[test]
    fn every_rate_has_a_word_and_the_bands_meet() {
        for hundredths in -400..=400 {
            let direction = Rate(hundredths).direction();
            assert_eq!(direction.falls(), hundredths <= -50);
            assert_eq!(direction.rises(), hundredths >= 50);
            assert_eq!(direction == Direction::FallingFast, hundredths <= -200);
        }
        // 1 mg/dL/min = 0.056 mmol/L/min, 2 = 0.111 (conventional factor 18).
        assert_eq!(Rate(-100).shown(Unit::MmolL), "-0.06 mmol/L/min");
        assert_eq!(Rate(-180).shown(Unit::MgDl), "-1.8 mg/dL/min");
    }
}
