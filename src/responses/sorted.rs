//! What was noted, told apart: corrections, meals with their insulin, treated lows, and what has no row.

use super::course::{Between, Of};
use super::noted::{Noted, One, food, insulin, together};
use super::trace::Trace;
use super::{NoRow, Past};
use crate::domain::reading::Reading;
use crate::domain::time::{Span, Timestamp};
use crate::domain::written::Excursion;

/// Insulin within this of a meal, before it or after it, is the meal's: insulin is taken before, with or after food.
/// Our own.
pub(super) const MEAL_DOSE_WITHIN_MIN: i64 = 60;

/// A further treatment of one low, and a second dose: insulin stacks within 3 hours, as diabetes clinics teach
/// (joslin.org on insulin stacking).
pub(super) const SECOND_WITHIN_HOURS: i64 = 3;

/// Something noted, and the reading before it.
#[derive(Debug, Clone)]
pub(super) struct From {
    pub(super) noted: Noted,
    pub(super) before: Reading,
}

/// A meal, and its insulin in order of time.
#[derive(Debug, Clone)]
pub(super) struct Eaten {
    pub(super) from: From,
    pub(super) doses: Vec<Noted>,
}

/// What was noted, each in order of time.
#[derive(Default)]
pub(super) struct Sorted {
    pub(super) corrections: Vec<From>,
    pub(super) meals: Vec<Eaten>,
    /// Food at a low; several of them may be of one low.
    pub(super) treatments: Vec<From>,
    pub(super) no_row: NoRow,
    /// When insulin was taken.
    pub(super) insulin: Vec<Timestamp>,
    /// When food was eaten.
    pub(super) food: Vec<Timestamp>,
}

impl Sorted {
    pub(super) fn new(past: &Past<'_>, trace: &Trace) -> Self {
        let mut sorted = Self::default();
        let (doses, foods) = sorted.lines(past, trace);
        sorted.insulin = doses.iter().map(|noted| noted.at).collect();
        sorted.food = foods.iter().map(|noted| noted.at).collect();
        // Food that is not known to have treated a low is a meal, as far as insulin near it goes.
        let mut meals: Vec<(Noted, Option<Reading>, Vec<Noted>)> = Vec::new();
        for noted in foods {
            let before = trace.before(noted.at);
            match before {
                Some(before) if noted.said || past.limits.is_low(before.glucose) => {
                    sorted.treatments.push(From { noted, before });
                }
                _ => meals.push((noted, before, Vec::new())),
            }
        }
        for noted in doses {
            let apart = |meal: &Noted| (meal.at - noted.at).as_millis().abs();
            let nearest = meals.iter_mut().min_by_key(|(meal, _, _)| apart(meal));
            match (nearest, trace.before(noted.at)) {
                (Some((meal, _, doses)), _) if apart(meal) <= Span::minutes(MEAL_DOSE_WITHIN_MIN).as_millis() => {
                    doses.push(noted);
                }
                (_, Some(before)) if past.limits.is_high(before.glucose) => {
                    sorted.corrections.push(From { noted, before });
                }
                (_, before) => sorted.count(past, trace, noted.at, |no_row| match before {
                    Some(_) => &mut no_row.insulin_for_other,
                    None => &mut no_row.insulin_without_reading,
                }),
            }
        }
        for (noted, before, doses) in meals {
            match before {
                Some(before) => sorted.meals.push(Eaten { from: From { noted, before }, doses }),
                None => sorted.count(past, trace, noted.at, |no_row| &mut no_row.food_without_reading),
            }
        }
        sorted
    }

    /// Lines of insulin, and of food.
    fn lines(&mut self, past: &Past<'_>, trace: &Trace) -> (Vec<Noted>, Vec<Noted>) {
        let mut doses: Vec<One> = past.notes.iter().filter_map(insulin).collect();
        let mut foods: Vec<One> = past.notes.iter().filter_map(food).collect();
        for treated in past.treated {
            let line = One { at: treated.at, amount: None, said: true };
            let before = trace.before(treated.at).map(|reading| reading.glucose);
            match treated.which {
                Some(Excursion::High) => doses.push(line),
                Some(Excursion::Low) => foods.push(line),
                None if before.is_some_and(|glucose| past.limits.is_low(glucose)) => foods.push(line),
                None if before.is_some_and(|glucose| past.limits.is_high(glucose)) => doses.push(line),
                None => self.count(past, trace, treated.at, |no_row| &mut no_row.treated_unclear),
            }
        }
        (together(doses), together(foods))
    }

    /// Counts what has no row, if it is of the period.
    fn count(&mut self, past: &Past<'_>, trace: &Trace, at: Timestamp, why: impl FnOnce(&mut NoRow) -> &mut usize) {
        if past.from <= at && at < past.until {
            let left_out = trace.leaves_out(at);
            *(if left_out { &mut self.no_row.left_out } else { why(&mut self.no_row) }) += 1;
        }
    }

    /// When insulin or food was noted first after a time, no later than another, apart from what belongs to the row.
    pub(super) fn next_but(&self, own: &[Between], after: Timestamp, until: Timestamp) -> Option<Between> {
        let first = |all: &[Timestamp], of: Of| {
            let from = all.partition_point(|at| *at <= after);
            let others = all[from..].iter().map(|at| Between { at: *at, of });
            others.take_while(|other| other.at <= until).find(|other| !own.contains(other))
        };
        let found = [first(&self.insulin, Of::Insulin), first(&self.food, Of::Food)];
        found.into_iter().flatten().min_by_key(|between| between.at)
    }

    /// The last insulin or food noted before a time, and no earlier than another.
    pub(super) fn last(&self, before: Timestamp, from: Timestamp) -> Option<Timestamp> {
        let last = |all: &[Timestamp]| all[..all.partition_point(|at| *at < before)].last().copied();
        last(&self.insulin).max(last(&self.food)).filter(|at| *at >= from)
    }
}
