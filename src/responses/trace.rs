//! Readings in the order they were measured, and what is asked of them. Knows nothing of what was noted.

use crate::domain::glucose::Glucose;
use crate::domain::reading::Reading;
use crate::domain::time::{Span, Timestamp};

/// A value before something is no older than this: a sensor of 15-minute cadence, and a reading that came late. Our
/// own.
pub(super) const BEFORE_MAX_MIN: i64 = 20;

/// A value at an hour is the nearest reading within this of it: between two readings 15 minutes apart, and some. Our
/// own.
pub(super) const NEAR_MAX_MIN: i64 = 10;

/// Between readings further apart than this nothing is known, as in docs/alerts-measured.md.
pub(super) const GAP_MIN: i64 = 35;

/// Glucose has settled where nothing in so many minutes leaves again: an episode ends with 15 minutes in range (Danne
/// 2017, Diabetes Care 40:1631: 15 minutes, and both ends to be defined).
pub(super) const SETTLED_MIN: i64 = 15;

/// The readings that count.
pub(super) struct Trace {
    readings: Vec<Reading>,
    left_out: Vec<(Timestamp, Timestamp)>,
}

impl Trace {
    /// Of two values at one time the lower counts, so that their order does not matter.
    pub(super) fn new(readings: &[Reading], left_out: &[(Timestamp, Timestamp)]) -> Self {
        let left_out = left_out.to_vec();
        let mut trace = Self { readings: Vec::new(), left_out };
        let mut readings: Vec<Reading> =
            readings.iter().filter(|reading| !trace.leaves_out(reading.measured)).copied().collect();
        readings.sort_by_key(|reading| (reading.measured, reading.glucose.hundredths(), reading.source));
        readings.dedup_by_key(|reading| reading.measured);
        trace.readings = readings;
        trace
    }

    pub(super) fn leaves_out(&self, at: Timestamp) -> bool {
        self.left_out.iter().any(|(from, until)| *from <= at && at < *until)
    }

    /// All that count, in order.
    pub(super) fn all(&self) -> &[Reading] {
        &self.readings
    }

    /// Those later than one time, and no later than another.
    pub(super) fn between(&self, after: Timestamp, until: Timestamp) -> &[Reading] {
        let first = self.readings.partition_point(|reading| reading.measured <= after);
        let last = self.readings.partition_point(|reading| reading.measured <= until);
        &self.readings[first..last.max(first)]
    }

    /// The last reading by a time, if it is fresh enough to stand for it, and the time is not left out.
    pub(super) fn before(&self, at: Timestamp) -> Option<Reading> {
        if self.leaves_out(at) {
            return None;
        }
        let place = self.readings.partition_point(|reading| reading.measured <= at);
        let last = self.readings.get(place.checked_sub(1)?)?;
        (at - last.measured <= Span::minutes(BEFORE_MAX_MIN)).then_some(*last)
    }

    /// The reading nearest to a time, the earlier of two as near.
    pub(super) fn near(&self, at: Timestamp) -> Option<Reading> {
        let apart = |reading: &&Reading| (reading.measured - at).as_millis().abs();
        let place = self.readings.partition_point(|reading| reading.measured <= at);
        let around = &self.readings[place.saturating_sub(1)..self.readings.len().min(place + 1)];
        let nearest = around.iter().min_by_key(apart)?;
        (apart(&nearest) <= Span::minutes(NEAR_MAX_MIN).as_millis()).then_some(*nearest)
    }

    /// The longest time without a reading from one time to another.
    pub(super) fn longest_gap(&self, from: Timestamp, until: Timestamp) -> Span {
        let mut last = from;
        let mut longest = Span::ZERO;
        for at in self.between(from, until).iter().map(|reading| reading.measured).chain([until]) {
            longest = longest.max(at - last);
            last = at;
        }
        longest
    }

    /// Is it known throughout what glucose was?
    pub(super) fn is_whole(&self, from: Timestamp, until: Timestamp) -> bool {
        self.longest_gap(from, until) <= Span::minutes(GAP_MIN)
    }

    /// The first reading within a stretch that is inside, after which none is outside for 15 minutes.
    pub(super) fn settled(
        &self,
        after: Timestamp,
        until: Timestamp,
        is_outside: impl Fn(Glucose) -> bool,
    ) -> Option<Reading> {
        let outside = |reading: &Reading| is_outside(reading.glucose);
        let stays = |reading: &&Reading| {
            let next = self.between(reading.measured, reading.measured + Span::minutes(SETTLED_MIN));
            !outside(reading) && !next.iter().any(outside)
        };
        self.between(after, until).iter().find(stays).copied()
    }

    /// The lowest reading of a stretch, the earliest of several.
    pub(super) fn lowest(&self, after: Timestamp, until: Timestamp) -> Option<Reading> {
        self.between(after, until).iter().min_by_key(|reading| reading.glucose.hundredths()).copied()
    }

    /// The highest reading of a stretch, the earliest of several.
    pub(super) fn highest(&self, after: Timestamp, until: Timestamp) -> Option<Reading> {
        self.between(after, until).iter().rev().max_by_key(|reading| reading.glucose.hundredths()).copied()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::reading::SourceId;

    fn minute(minute: i64) -> Timestamp {
        Timestamp::from_seconds(minute * 60)
    }

    fn trace(points: &[(i64, i32)]) -> Trace {
        let reading = |(at, mg_dl): &(i64, i32)| Reading {
            source: SourceId(0),
            measured: minute(*at),
            glucose: Glucose::mg_dl(*mg_dl),
        };
        Trace::new(&points.iter().map(reading).collect::<Vec<_>>(), &[(minute(100), minute(110))])
    }

    fn value(reading: Option<Reading>) -> Option<i32> {
        reading.map(|reading| reading.glucose.hundredths() / 100)
    }

    #[test]
    fn a_value_is_looked_for_near_and_before_a_time() {
        let trace = trace(&[(15, 90), (0, 100), (30, 85), (30, 80), (105, 70)]);
        assert_eq!(value(trace.before(minute(14))), Some(100));
        assert_eq!(value(trace.before(minute(15))), Some(90));
        assert_eq!(value(trace.before(minute(50))), Some(80), "of two the lower");
        assert_eq!(value(trace.before(minute(51))), None);
        assert_eq!(value(trace.near(minute(22))), Some(90));
        assert_eq!(value(trace.near(minute(23))), Some(80));
        assert_eq!(value(trace.near(minute(40))), Some(80));
        assert_eq!(value(trace.near(minute(41))), None);
        assert_eq!(value(trace.near(minute(105))), None, "it is left out");
        assert_eq!(trace.longest_gap(minute(0), minute(60)), Span::minutes(30));
        assert!(trace.is_whole(minute(0), minute(65)) && !trace.is_whole(minute(0), minute(66)));
    }

    #[test]
    fn what_leaves_again_within_fifteen_minutes_has_not_settled() {
        let trace = trace(&[(0, 60), (5, 72), (10, 68), (15, 71), (20, 75), (31, 69)]);
        let low = |glucose: Glucose| glucose.hundredths() < 7_000;
        assert_eq!(value(trace.settled(minute(0), minute(60), low)), Some(71));
        assert_eq!(value(trace.lowest(minute(0), minute(60))), Some(68));
        assert_eq!(value(trace.highest(minute(0), minute(60))), Some(75));
    }
}
