//! Corrections: insulin noted above the high limit, with no meal noted within an hour.

use super::Past;
use super::course::{Course, FOLLOWS_HOURS};
use super::sorted::{SECOND_WITHIN_HOURS, Sorted};
use super::trace::Trace;
use crate::domain::drops::Drops;
use crate::domain::time::{Span, Timestamp};

/// A correction, and what followed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Correction {
    /// What followed.
    pub course: Course,
    /// How long before it insulin or food was noted last, if that was within 3 hours: its own effect is not over.
    pub earlier: Option<Span>,
    /// How long after it the next correction was noted, if that was within 3 hours.
    pub second: Option<Span>,
    /// How long after it glucose was back at the high limit or below, and stayed there for 15 minutes; none if that was
    /// not within 4 hours.
    pub in_range: Option<Span>,
    /// Did readings come, and was nothing else noted, until then, or for 4 hours?
    pub in_range_counts: bool,
}

pub(super) fn rows(past: &Past<'_>, trace: &Trace, sorted: &Sorted) -> Vec<Correction> {
    let inside = |at: Timestamp| past.from <= at && at < past.until;
    let mut rows = Vec::new();
    for (place, from) in sorted.corrections.iter().enumerate() {
        let at = from.noted.at;
        if !inside(at) {
            continue;
        }
        let course = Course::new(past, trace, sorted, from, &[]);
        let end = at + Span::hours(FOLLOWS_HOURS);
        let back = trace.settled(at, end, |glucose| past.limits.is_high(glucose)).map(|reading| reading.measured);
        let known_until = back.unwrap_or(end);
        let next = sorted.corrections.get(place + 1).map(|next| next.noted.at - at);
        rows.push(Correction {
            earlier: sorted.last(at, at - Span::hours(SECOND_WITHIN_HOURS)).map(|last| at - last),
            second: next.filter(|after| *after <= Span::hours(SECOND_WITHIN_HOURS)),
            in_range: back.map(|back| back - at),
            in_range_counts: trace.is_whole(at, known_until) && course.is_alone_until(known_until),
            course,
        });
    }
    rows
}

impl Correction {
    /// How far glucose had come down at each age, for the memory of past corrections.
    pub(super) fn drops(&self, trace: &Trace) -> Drops {
        let until = self.course.mixed.map(|between| between.at);
        let reading = |at| trace.near(at).map(|reading| reading.glucose);
        Drops::new(self.course.at, self.course.before.glucose, until, reading)
    }
}
