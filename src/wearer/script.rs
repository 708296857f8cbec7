//! One scripted day of an invented night-shift baker: a late lunch, a high that stays after it is
//! treated, a low before work, a sensor that falls silent. Drawn by hand, not by a model of physiology.

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

/// When the wearer does something, in minutes from the start, and what it looks like.
pub const ACTS: [(i64, Act, &str); 2] = [
    (168, Act::Treats, "takes insulin and types: recheck treated"),
    (664, Act::Treats, "eats something sweet and types: recheck treated"),
];

/// The sensor is silent between these minutes.
const SILENT: (i64, i64) = (781, 834);

/// The curve's corners: minutes from the start, mg/dL.
const CORNERS: [(i64, i32); 21] = [
    (0, 118),
    (60, 112),
    (105, 176),
    (140, 232),
    (170, 256),
    (228, 263),
    (250, 262),
    (315, 232),
    (375, 176),
    (450, 124),
    (540, 104),
    (620, 82),
    (645, 71),
    (660, 63),
    (668, 60),
    (680, 63),
    (700, 82),
    (740, 132),
    (800, 150),
    (880, 138),
    (960, 124),
];

/// The reading at a minute of the day, or none while the sensor is silent.
#[must_use]
pub fn reading(minute: i64) -> Option<Glucose> {
    if (SILENT.0..SILENT.1).contains(&minute) {
        return None;
    }
    let place = CORNERS.partition_point(|(at, _)| *at <= minute);
    let (from, start) = CORNERS.get(place.saturating_sub(1)).copied().unwrap_or(CORNERS[0]);
    let (to, end) = CORNERS.get(place).copied().unwrap_or((from + 1, start));
    let passed = i32::try_from(minute - from).unwrap_or(0);
    let whole = i32::try_from(to - from).unwrap_or(1).max(1);
    // A little unrest, the same in every run.
    let unrest = i32::try_from((minute * 7_919).rem_euclid(3)).unwrap_or(0) - 1;
    Some(Glucose::mg_dl(start + (end - start) * passed / whole + unrest))
}

/// The span from the start to a minute.
#[must_use]
pub const fn at(minute: i64) -> Span {
    Span::minutes(minute)
}
