//! How far this person's glucose had come down, so long after each of their own past corrections: a small, bounded
//! memory that answers with a median and how many it is of. Facts about the past; it foresees nothing.

use super::glucose::{Glucose, Measured};
use super::spread::Spread;
use super::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// Ages are kept in steps of this, a sensor's slowest usual cadence.
pub const STEP: Span = Span::minutes(15);

/// As many steps: four hours, for as long as rapid insulin mostly works (aspart 3 to 5 h: AACE 2022, Endocrine
/// Practice 28:923, table 19).
pub const STEPS: usize = 16;

/// As many corrections are kept, the newest: our own. At one or two a day they are a season of a life.
pub const CORRECTIONS_MAX: usize = 120;

/// What followed one correction.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Drops {
    /// When the insulin was taken.
    at: Timestamp,
    /// By how many hundredths of a mg/dL glucose was lower, at each step from the first on; less than zero where it was
    /// higher. None where there was no reading, and from the step on by which other insulin or food came in between.
    by: Vec<Option<i32>>,
}

/// The drops of the last corrections, oldest first.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct PastDrops {
    corrections: Vec<Drops>,
}

impl Drops {
    /// What followed a correction taken at a time with glucose `before` it. `reading` answers what was measured about
    /// then, if anything was; from `until` on something else was eaten or injected, and nothing counts.
    #[must_use]
    pub fn new(
        at: Timestamp,
        before: Glucose,
        until: Option<Timestamp>,
        reading: impl Fn(Timestamp) -> Option<Glucose>,
    ) -> Self {
        let mut then = at;
        let by = (0..STEPS).map(|_| {
            then = then + STEP;
            if until.is_some_and(|until| until <= then) { None } else { drop(before, reading(then)?) }
        });
        Self { at, by: by.collect() }
    }

    /// When the insulin was taken.
    #[must_use]
    pub const fn at(&self) -> Timestamp {
        self.at
    }

    /// The drop at an age, in hundredths of a mg/dL: between two steps on the line between them, before the first on
    /// the line from zero. None where one of them is not known, and outside 0 to 4 hours.
    #[must_use]
    pub fn at_age(&self, age: Span) -> Option<i64> {
        let (age, step) = (age.as_millis(), STEP.as_millis());
        let place = usize::try_from(age.div_euclid(step)).ok()?;
        let (part, known) = (age.rem_euclid(step), |place: usize| match place.checked_sub(1) {
            None => Some(0),
            Some(place) => self.by.get(place).copied().flatten().map(i64::from),
        });
        let below = known(place)?;
        let above = if part == 0 { below } else { known(place + 1)? };
        Some(below + (above - below) * part / step)
    }
}

/// By how much the second is lower. A word for beyond the sensor's range is no number to take a difference from.
fn drop(before: Glucose, after: Glucose) -> Option<i32> {
    let numbers = [before, after].iter().all(|value| value.measured() == Measured::Number);
    numbers.then(|| before.hundredths() - after.hundredths())
}

impl PastDrops {
    /// Nothing is known yet.
    #[must_use]
    pub const fn new() -> Self {
        Self { corrections: Vec::new() }
    }

    /// Keeps what followed a correction, in place of what was kept of one at the same time; the oldest goes when there
    /// are too many.
    pub fn keep(&mut self, drops: Drops) {
        let place = self.corrections.partition_point(|known| known.at < drops.at);
        match self.corrections.get_mut(place) {
            Some(known) if known.at == drops.at => *known = drops,
            _ => self.corrections.insert(place, drops),
        }
        let over = self.corrections.len().saturating_sub(CORRECTIONS_MAX);
        self.corrections.drain(..over);
    }

    /// Forgets corrections taken from a time on and before another, as of a stretch that is not to count.
    pub fn forget(&mut self, from: Timestamp, until: Timestamp) {
        self.corrections.retain(|drops| drops.at < from || until <= drops.at);
    }

    /// How many corrections are kept, whatever is known of each.
    #[must_use]
    pub const fn len(&self) -> usize {
        self.corrections.len()
    }

    /// Is none kept?
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.corrections.is_empty()
    }

    /// How far glucose had come down so long after them, in hundredths of a mg/dL: of how many that is known, their
    /// median where it is of five or more, their quartiles where it is of eight or more.
    ///
    /// ```
    /// use recheck::domain::drops::{Drops, PastDrops};
    /// use recheck::domain::glucose::Glucose;
    /// use recheck::domain::time::{Span, Timestamp};
    /// let mut past = PastDrops::new();
    /// for day in 0..5 {
    ///     let at = Timestamp::from_seconds(day * 86_400);
    ///     // One mg/dL a minute.
    ///     let falls = |then: Timestamp| Some(Glucose::mg_dl(260 - (then - at).as_minutes() as i32));
    ///     past.keep(Drops::new(at, Glucose::mg_dl(260), None, falls));
    /// }
    /// let drop = past.at_age(Span::minutes(60));
    /// assert_eq!((drop.n, drop.median), (5, Some(6_000)));
    /// ```
    #[must_use]
    pub fn at_age(&self, age: Span) -> Spread {
        self.at_age_of(age, |_| true)
    }

    /// The same of the corrections that count, by when their insulin was taken.
    #[must_use]
    pub fn at_age_of(&self, age: Span, counts: impl Fn(Timestamp) -> bool) -> Spread {
        let counted = self.corrections.iter().filter(|drops| counts(drops.at));
        Spread::of(counted.filter_map(|drops| drops.at_age(age)).collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::glucose::Unit;

    fn minute(minute: i64) -> Timestamp {
        Timestamp::from_seconds(minute * 60)
    }

    /// Falls by `rate` mg/dL a quarter of an hour from 260, a reading every quarter.
    fn falling(at: i64, rate: i32, until: Option<i64>) -> Drops {
        let reading = |then: Timestamp| {
            let quarters = i32::try_from((then - minute(at)).as_minutes() / 15).unwrap();
            Some(Glucose::mg_dl(260 - rate * quarters))
        };
        Drops::new(minute(at), Glucose::mg_dl(260), until.map(minute), reading)
    }

    #[test]
    fn an_age_between_two_steps_lies_between_their_drops() {
        let drops = falling(0, 15, None);
        for (age, drop) in [(0, 0), (5, 500), (15, 1_500), (20, 2_000), (60, 6_000), (240, 24_000)] {
            assert_eq!(drops.at_age(Span::minutes(age)), Some(drop), "{age}");
        }
        assert_eq!(drops.at_age(Span::minutes(241)), None);
        assert_eq!(drops.at_age(Span::minutes(-1)), None);
    }

    #[test]
    fn nothing_counts_once_something_else_came_in_between() {
        let drops = falling(100, 15, Some(220));
        assert_eq!(drops.at_age(Span::minutes(105)), Some(10_500));
        assert_eq!(drops.at_age(Span::minutes(106)), None);
        assert_eq!(drops.at_age(Span::minutes(120)), None);
    }

    #[test]
    fn a_value_beyond_range_is_no_number() {
        let above = Glucose::beyond_range(Measured::AboveRange, Unit::MgDl);
        let drops = Drops::new(minute(0), above, None, |_| Some(Glucose::mg_dl(200)));
        assert_eq!(drops.at_age(Span::minutes(60)), None);
        let drops = Drops::new(minute(0), Glucose::mg_dl(390), None, |_| Some(above));
        assert_eq!(drops.at_age(Span::minutes(60)), None);
    }

    /// numpy.percentile([10, 20, 30, 40, 50, 60, 70, 80], [25, 50, 75]) = 27.5, 45, 62.5 (times four mg/dL at 1 h).
    #[test]
    fn the_median_is_of_those_that_are_known() {
        let mut past = PastDrops::new();
        for (place, rate) in (0..).zip([80, 10, 70, 20, 60, 30, 50, 40]) {
            past.keep(falling(place * 1_000, rate, (rate == 80).then_some(120)));
        }
        let hour = past.at_age(Span::hours(1));
        assert_eq!(hour, Spread { n: 8, median: Some(18_000), quartiles: Some((11_000, 25_000)) });
        let two = past.at_age(Span::hours(2));
        assert_eq!(two, Spread { n: 7, median: Some(32_000), quartiles: None });
        past.forget(minute(1_000), minute(4_000));
        assert_eq!((past.len(), past.at_age(Span::hours(2))), (5, Spread { n: 4, median: None, quartiles: None }));
    }

    #[test]
    fn order_does_not_matter_and_the_oldest_goes() {
        let many = i64::try_from(CORRECTIONS_MAX).unwrap() + 3;
        let (mut one, mut other) = (PastDrops::new(), PastDrops::new());
        (0..many).for_each(|place| one.keep(falling(place * 500, 15, None)));
        (0..many).rev().for_each(|place| other.keep(falling(place * 500, 15, None)));
        assert_eq!(one, other);
        assert_eq!((one.len(), one.corrections[0].at), (CORRECTIONS_MAX, minute(3 * 500)));
        one.keep(falling(5 * 500, 30, None));
        assert_eq!((one.len(), one.corrections[2].at_age(Span::hours(1))), (CORRECTIONS_MAX, Some(12_000)));
    }

    #[test]
    fn it_reads_back_as_it_was_written() {
        let mut past = PastDrops::new();
        past.keep(falling(7, 15, Some(100)));
        let text = serde_json::to_string(&past).unwrap();
        assert_eq!(serde_json::from_str::<PastDrops>(&text).unwrap(), past);
        assert!(text.len() < 200, "{text}");
    }
}
