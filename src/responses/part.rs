//! The parts of a day that rows are put together by, by the wearer's clock.

use crate::domain::time::Timestamp;
use crate::domain::travel::WallClock;
use chrono::Timelike as _;

/// A part of the day. The night is 00:00 to 06:00 (Danne 2017, Diabetes Care 40:1631, table 1); where the others end is
/// our own.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Part {
    /// From 00:00 on.
    Night,
    /// From 06:00 on.
    Morning,
    /// From 11:00 on.
    Midday,
    /// From 15:00 on.
    Afternoon,
    /// From 19:00 on.
    Evening,
}

impl Part {
    /// All of them, in the order of a day.
    pub const ALL: [Self; 5] = [Self::Night, Self::Morning, Self::Midday, Self::Afternoon, Self::Evening];

    /// The part of the day at an instant.
    #[must_use]
    pub fn at(clock: &WallClock, at: Timestamp) -> Self {
        match clock.zone_at(at).wall(at).hour() {
            0..6 => Self::Night,
            6..11 => Self::Morning,
            11..15 => Self::Midday,
            15..19 => Self::Afternoon,
            _ => Self::Evening,
        }
    }

    /// Its name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Night => "night",
            Self::Morning => "morning",
            Self::Midday => "midday",
            Self::Afternoon => "afternoon",
            Self::Evening => "evening",
        }
    }

    /// Its hours.
    #[must_use]
    pub const fn hours(self) -> &'static str {
        match self {
            Self::Night => "00-06",
            Self::Morning => "06-11",
            Self::Midday => "11-15",
            Self::Afternoon => "15-19",
            Self::Evening => "19-24",
        }
    }
}
