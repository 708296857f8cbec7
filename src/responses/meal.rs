//! Meals: food noted that is not known to have treated a low, with or without insulin within an hour.

use super::Past;
use super::course::{Between, Course, FOLLOWS_HOURS, Of, difference};
use super::sorted::{MEAL_DOSE_WITHIN_MIN, SECOND_WITHIN_HOURS, Sorted};
use super::trace::Trace;
use crate::domain::diary::Amount;
use crate::domain::reading::Reading;
use crate::domain::time::{Span, Timestamp};

/// The peak of a meal is looked for within 3 hours of it: its rise and its fall fit in there for a mixed meal. Common
/// practice, no source.
pub const PEAK_WITHIN_HOURS: i64 = 3;

/// The insulin of a meal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Dose {
    /// How long after the meal it was; less than zero: before it.
    pub after: Span,
    /// The amounts that were told, as they were noted.
    pub amounts: Vec<Amount>,
}

/// A meal, and what followed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Meal {
    /// What followed.
    pub course: Course,
    /// Insulin noted within an hour of it, in order of time; none: no insulin was noted.
    pub doses: Vec<Dose>,
    /// How long after it insulin was noted that is more than an hour away from it, if that was within 3 hours.
    pub second: Option<Span>,
    /// The highest reading of the 3 hours after it.
    pub peak: Option<Reading>,
    /// Did readings come, and was nothing else noted, in these 3 hours?
    pub peak_counts: bool,
    /// Was any reading above the high limit, before it or within 4 hours of it?
    pub was_high: bool,
    /// How long after it glucose was back at the high limit or below, having been above, and stayed there for 15
    /// minutes; none if that was not within 4 hours, or glucose was never above.
    pub in_range: Option<Span>,
    /// Did readings come, and was nothing else noted, until then, or for 4 hours?
    pub in_range_counts: bool,
}

pub(super) fn rows(past: &Past<'_>, trace: &Trace, sorted: &Sorted) -> Vec<Meal> {
    let inside = |at: Timestamp| past.from <= at && at < past.until;
    let mut rows = Vec::new();
    for meal in sorted.meals.iter().filter(|meal| inside(meal.from.noted.at)) {
        let at = meal.from.noted.at;
        let own: Vec<Between> = meal.doses.iter().map(|dose| Between { at: dose.at, of: Of::Insulin }).collect();
        let course = Course::new(past, trace, sorted, &meal.from, &own);
        let end = at + Span::hours(FOLLOWS_HOURS);
        let high = |reading: &Reading| past.limits.is_high(reading.glucose);
        let first_high = if high(&course.before) {
            Some(at)
        } else {
            trace.between(at, end).iter().find(|reading| high(reading)).map(|reading| reading.measured)
        };
        let back = first_high
            .and_then(|since| trace.settled(since, end, |glucose| past.limits.is_high(glucose)))
            .map(|reading| reading.measured);
        let known_until = back.unwrap_or(end);
        let peak_until = at + Span::hours(PEAK_WITHIN_HOURS);
        let further = at + Span::minutes(MEAL_DOSE_WITHIN_MIN);
        let second = sorted.insulin.iter().find(|dose| **dose > further).map(|dose| *dose - at);
        rows.push(Meal {
            doses: meal.doses.iter().map(|dose| Dose { after: dose.at - at, amounts: dose.amounts.clone() }).collect(),
            second: second.filter(|after| *after <= Span::hours(SECOND_WITHIN_HOURS)),
            peak: trace.highest(at, peak_until),
            peak_counts: trace.is_whole(at, peak_until) && course.is_alone_until(peak_until),
            was_high: first_high.is_some(),
            in_range: back.map(|back| back - at),
            in_range_counts: trace.is_whole(at, known_until) && course.is_alone_until(known_until),
            course,
        });
    }
    rows
}

impl Meal {
    /// From the value before to the peak, in hundredths of a mg/dL: where both are numbers, readings came, and nothing
    /// else was noted in these 3 hours.
    #[must_use]
    pub fn rise(&self) -> Option<i64> {
        difference(self.course.before, self.peak.filter(|_| self.peak_counts)?)
    }

    /// From the meal to its peak, where that counts.
    #[must_use]
    pub fn to_peak(&self) -> Option<Span> {
        self.peak.filter(|_| self.peak_counts).map(|peak| peak.measured - self.course.at)
    }
}
