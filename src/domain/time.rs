//! Instants and spans as whole milliseconds. Knows no clock and no calendar.

use serde::{Deserialize, Serialize};
use std::ops::{Add, Sub};

/// An instant: milliseconds since 1970-01-01T00:00:00Z, leap seconds not counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Timestamp(i64);

/// A length of time in milliseconds; may be negative.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Span(i64);

impl Timestamp {
    /// The instant that many milliseconds after the epoch.
    #[must_use]
    pub const fn from_millis(millis: i64) -> Self {
        Self(millis)
    }

    /// The instant that many seconds after the epoch.
    #[must_use]
    pub const fn from_seconds(seconds: i64) -> Self {
        Self(seconds.saturating_mul(1_000))
    }

    /// Milliseconds since the epoch.
    #[must_use]
    pub const fn millis(self) -> i64 {
        self.0
    }

    /// Whole seconds since the epoch, rounded towards the past.
    #[must_use]
    pub const fn seconds(self) -> i64 {
        self.0.div_euclid(1_000)
    }
}

impl Span {
    /// No time at all.
    pub const ZERO: Self = Self(0);

    /// A span of milliseconds.
    #[must_use]
    pub const fn millis(millis: i64) -> Self {
        Self(millis)
    }

    /// A span of seconds.
    #[must_use]
    pub const fn seconds(seconds: i64) -> Self {
        Self(seconds.saturating_mul(1_000))
    }

    /// A span of minutes.
    #[must_use]
    pub const fn minutes(minutes: i64) -> Self {
        Self::seconds(minutes.saturating_mul(60))
    }

    /// A span of hours.
    #[must_use]
    pub const fn hours(hours: i64) -> Self {
        Self::minutes(hours.saturating_mul(60))
    }

    /// The span in milliseconds.
    #[must_use]
    pub const fn as_millis(self) -> i64 {
        self.0
    }

    /// Whole minutes, rounded to the nearest (halves away from zero).
    #[must_use]
    pub const fn as_minutes(self) -> i64 {
        let half = if self.0 < 0 { -30_000 } else { 30_000 };
        self.0.saturating_add(half) / 60_000
    }

    /// The span times `numerator / denominator`, rounded towards zero.
    #[must_use]
    pub const fn times(self, numerator: i64, denominator: i64) -> Self {
        Self(self.0.saturating_mul(numerator) / denominator)
    }

    /// How the span reads: `0 min`, `45 min`, `2 h`, `2 h 05 min`.
    ///
    /// ```
    /// use recheck::domain::time::Span;
    /// assert_eq!(Span::minutes(125).to_string(), "2 h 05 min");
    /// ```
    fn words(self) -> String {
        let minutes = self.as_minutes();
        let (hours, rest) = (minutes / 60, (minutes % 60).abs());
        match (hours, rest) {
            (0, _) => format!("{minutes} min"),
            (_, 0) => format!("{hours} h"),
            (_, _) => format!("{hours} h {rest:02} min"),
        }
    }
}

impl std::fmt::Display for Span {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        out.write_str(&self.words())
    }
}

impl Add<Span> for Timestamp {
    type Output = Self;
    fn add(self, span: Span) -> Self {
        Self(self.0.saturating_add(span.0))
    }
}

impl Sub<Span> for Timestamp {
    type Output = Self;
    fn sub(self, span: Span) -> Self {
        Self(self.0.saturating_sub(span.0))
    }
}

impl Sub for Timestamp {
    type Output = Span;
    fn sub(self, earlier: Self) -> Span {
        Span(self.0.saturating_sub(earlier.0))
    }
}

impl Add for Span {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spans_read_as_people_say_them() {
        let said: Vec<String> = [0, 1, 59, 60, 61, 180].map(|m| Span::minutes(m).to_string()).to_vec();
        assert_eq!(said, ["0 min", "1 min", "59 min", "1 h", "1 h 01 min", "3 h"]);
        assert_eq!(Span::seconds(89).as_minutes(), 1);
        assert_eq!(Span::seconds(90).as_minutes(), 2);
    }

    #[test]
    fn arithmetic_at_the_ends_does_not_wrap() {
        let last = Timestamp::from_millis(i64::MAX);
        assert_eq!(last + Span::hours(1), last);
    }
}
