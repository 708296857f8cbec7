//! The rows put together by the parts of the day: medians with how many they are of, and counts.

use super::Responses;
use super::background::Drift;
use super::correction::Correction;
use super::course::Course;
use super::low::{Depth, Low};
use super::meal::Meal;
use super::part::Part;
use crate::domain::spread::Spread;
use crate::domain::time::Span;

/// Of corrections.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct OfCorrections {
    /// Rows.
    pub rows: usize,
    /// Of these, mixed within 3 hours.
    pub mixed: usize,
    /// Of these, with insulin or food noted in the 3 hours before.
    pub earlier: usize,
    /// Of these, with a second correction within 3 hours.
    pub second: usize,
    /// How much higher than before at 1, 2 and 3 hours, in hundredths of a mg/dL.
    pub changes: [Spread; 3],
    /// The lowest value in 4 hours, in hundredths of a mg/dL.
    pub lowest: Spread,
    /// Whole minutes until back in range, of those that were within 4 hours.
    pub in_range: Spread,
    /// Not back in range within 4 hours, though readings came and nothing else was noted.
    pub not_in_range: usize,
}

/// Of meals.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct OfMeals {
    /// Rows.
    pub rows: usize,
    /// Of these, mixed within 3 hours.
    pub mixed: usize,
    /// Of these, without insulin noted within an hour.
    pub without_insulin: usize,
    /// Of these, with further insulin within 3 hours.
    pub second: usize,
    /// How much higher than before at 1, 2 and 3 hours, in hundredths of a mg/dL.
    pub changes: [Spread; 3],
    /// From before to the peak of 3 hours, in hundredths of a mg/dL.
    pub rise: Spread,
    /// Whole minutes to that peak.
    pub to_peak: Spread,
    /// The lowest value in 4 hours, in hundredths of a mg/dL.
    pub lowest: Spread,
    /// Whole minutes until back in range, of those that left it and were back within 4 hours.
    pub in_range: Spread,
    /// Not back in range within 4 hours, though readings came and nothing else was noted.
    pub not_in_range: usize,
}

/// Of treated lows.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct OfLows {
    /// Rows.
    pub rows: usize,
    /// Of these, mixed within 3 hours.
    pub mixed: usize,
    /// Of these, treated again before glucose was back.
    pub second: usize,
    /// How much higher than before at 1, 2 and 3 hours, in hundredths of a mg/dL.
    pub changes: [Spread; 3],
    /// The lowest value of the low, in hundredths of a mg/dL.
    pub lowest: Spread,
    /// Whole minutes from treatment until back in range, of those that were within 4 hours.
    pub in_range: Spread,
    /// The same from the lowest reading on.
    pub from_lowest: Spread,
    /// Not back in range within 4 hours, though readings came and nothing else was noted.
    pub not_in_range: usize,
    /// Above the high limit within 2 hours of the last value below the low limit, before anything else was noted.
    pub high_after: usize,
    /// Not so, though readings came and nothing else was noted.
    pub not_high_after: usize,
    /// Below the low limit again within 2 hours of being back, before anything else was noted.
    pub low_again: usize,
    /// Not so, though readings came and nothing else was noted.
    pub not_low_again: usize,
}

/// What is mixed by then tells less than it could.
const MIXED_WITHIN_HOURS: i64 = 3;

fn is_mixed(course: &Course) -> bool {
    !course.is_alone_for(MIXED_WITHIN_HOURS)
}

fn changes<'a>(courses: impl Iterator<Item = &'a Course>) -> [Spread; 3] {
    let courses: Vec<&Course> = courses.collect();
    [0, 1, 2].map(|hour| Spread::of(courses.iter().filter_map(|course| course.change(hour)).collect()))
}

fn minutes(spans: impl Iterator<Item = Option<Span>>) -> Spread {
    Spread::of(spans.flatten().map(Span::as_minutes).collect())
}

/// Counts of those that are meant.
fn count<T>(rows: &[&T], is_meant: impl Fn(&T) -> bool) -> usize {
    rows.iter().filter(|row| is_meant(row)).count()
}

impl OfCorrections {
    /// Of these rows.
    #[must_use]
    pub fn of(rows: &[&Correction]) -> Self {
        let counted = || rows.iter().filter(|row| row.in_range_counts);
        Self {
            rows: rows.len(),
            mixed: count(rows, |row| is_mixed(&row.course)),
            earlier: count(rows, |row| row.earlier.is_some()),
            second: count(rows, |row| row.second.is_some()),
            changes: changes(rows.iter().map(|row| &row.course)),
            lowest: Spread::of(rows.iter().filter_map(|row| row.course.lowest_alone()).collect()),
            in_range: minutes(counted().map(|row| row.in_range)),
            not_in_range: counted().filter(|row| row.in_range.is_none()).count(),
        }
    }
}

impl OfMeals {
    /// Of these rows.
    #[must_use]
    pub fn of(rows: &[&Meal]) -> Self {
        let counted = || rows.iter().filter(|row| row.was_high && row.in_range_counts);
        Self {
            rows: rows.len(),
            mixed: count(rows, |row| is_mixed(&row.course)),
            without_insulin: count(rows, |row| row.doses.is_empty()),
            second: count(rows, |row| row.second.is_some()),
            changes: changes(rows.iter().map(|row| &row.course)),
            rise: Spread::of(rows.iter().filter_map(|row| row.rise()).collect()),
            to_peak: minutes(rows.iter().map(|row| row.to_peak())),
            lowest: Spread::of(rows.iter().filter_map(|row| row.course.lowest_alone()).collect()),
            in_range: minutes(counted().map(|row| row.in_range)),
            not_in_range: counted().filter(|row| row.in_range.is_none()).count(),
        }
    }
}

impl OfLows {
    /// Of these rows.
    #[must_use]
    pub fn of(rows: &[&Low]) -> Self {
        let counted = || rows.iter().filter(|row| row.in_range_counts);
        let lowest = rows.iter().filter_map(|row| row.lowest);
        Self {
            rows: rows.len(),
            mixed: count(rows, |row| is_mixed(&row.course)),
            second: count(rows, |row| row.second.is_some()),
            changes: changes(rows.iter().map(|row| &row.course)),
            lowest: Spread::of(lowest.map(|reading| i64::from(reading.glucose.hundredths())).collect()),
            in_range: minutes(counted().map(|row| row.in_range)),
            from_lowest: minutes(counted().map(|row| row.from_lowest)),
            not_in_range: counted().filter(|row| row.in_range.is_none()).count(),
            high_after: count(rows, |row| row.high_after_counts && row.high_after.is_some()),
            not_high_after: count(rows, |row| row.high_after_counts && row.high_after.is_none()),
            low_again: count(rows, |row| row.low_again_counts && row.low_again.is_some()),
            not_low_again: count(rows, |row| row.low_again_counts && row.low_again.is_none()),
        }
    }
}

impl Responses {
    /// Corrections of a part of the day, or of all.
    #[must_use]
    pub fn of_corrections(&self, part: Option<Part>) -> OfCorrections {
        let is_meant = |row: &&Correction| part.is_none_or(|part| row.course.part == part);
        OfCorrections::of(&self.corrections.iter().filter(is_meant).collect::<Vec<_>>())
    }

    /// Meals of a part of the day, or of all.
    #[must_use]
    pub fn of_meals(&self, part: Option<Part>) -> OfMeals {
        let is_meant = |row: &&Meal| part.is_none_or(|part| row.course.part == part);
        OfMeals::of(&self.meals.iter().filter(is_meant).collect::<Vec<_>>())
    }

    /// Treated lows of a part of the day, or of all.
    #[must_use]
    pub fn of_lows(&self, part: Option<Part>) -> OfLows {
        let is_meant = |row: &&Low| part.is_none_or(|part| row.course.part == part);
        OfLows::of(&self.lows.iter().filter(is_meant).collect::<Vec<_>>())
    }

    /// Treated lows of a depth.
    #[must_use]
    pub fn of_lows_as_deep(&self, depth: Depth) -> OfLows {
        OfLows::of(&self.lows.iter().filter(|row| row.depth == depth).collect::<Vec<_>>())
    }

    /// How fast glucose moved by itself in a part of the day, or in all, in hundredths of a mg/dL an hour.
    #[must_use]
    pub fn of_background(&self, part: Option<Part>) -> Spread {
        let is_meant = |drift: &&Drift| part.is_none_or(|part| drift.part == part);
        Spread::of(self.background.drifts.iter().filter(is_meant).map(|drift| drift.per_hour).collect())
    }
}
