//! What every row has: the value before, at 1, 2 and 3 hours, the lowest, what else was noted, and where readings lack.

use super::Past;
use super::noted::Noted;
use super::part::Part;
use super::sorted::{From, Sorted};
use super::trace::{GAP_MIN, Trace};
use crate::domain::diary::Amount;
use crate::domain::glucose::Measured;
use crate::domain::reading::Reading;
use crate::domain::time::{Span, Timestamp};

/// What is looked at follows within 4 hours: for as long as rapid insulin mostly works (aspart 3 to 5 h: AACE 2022,
/// Endocrine Practice 28:923, table 19).
pub const FOLLOWS_HOURS: i64 = 4;

/// The hours at which the value is told.
pub const HOURS: [i64; 3] = [1, 2, 3];

/// Something else that was noted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Between {
    /// When.
    pub at: Timestamp,
    /// What.
    pub of: Of,
}

/// What can come in between.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Of {
    /// Insulin.
    Insulin,
    /// Food.
    Food,
}

impl Of {
    /// As the wearer reads it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Insulin => "insulin",
            Self::Food => "food",
        }
    }
}

/// What followed on something noted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Course {
    /// When it was noted to have been.
    pub at: Timestamp,
    /// In which part of the day.
    pub part: Part,
    /// The amounts that were told, as they were noted.
    pub amounts: Vec<Amount>,
    /// It was said to be a treatment, by `recheck treated`.
    pub said: bool,
    /// The last reading before it, 20 minutes old or less.
    pub before: Reading,
    /// The readings nearest to 1, 2 and 3 hours after it, within 10 minutes.
    pub hours: [Option<Reading>; 3],
    /// The lowest reading in the 4 hours after it.
    pub lowest: Option<Reading>,
    /// The longest time without a reading in these 4 hours, if that is more than 35 minutes.
    pub gap: Option<Span>,
    /// The first other insulin or food noted in these 4 hours: from then on the row is mixed.
    pub mixed: Option<Between>,
}

impl Course {
    /// `own` is what was noted after it and belongs to it.
    pub(super) fn new(past: &Past<'_>, trace: &Trace, sorted: &Sorted, from: &From, own: &[Between]) -> Self {
        let Noted { at, amounts, said } = from.noted.clone();
        let end = at + Span::hours(FOLLOWS_HOURS);
        let gap = trace.longest_gap(at, end);
        Self {
            at,
            part: Part::at(past.clock, at),
            amounts,
            said,
            before: from.before,
            hours: HOURS.map(|hours| trace.near(at + Span::hours(hours))),
            lowest: trace.lowest(at, end),
            gap: (gap > Span::minutes(GAP_MIN)).then_some(gap),
            mixed: sorted.next_but(own, at, end),
        }
    }

    /// Had nothing else been noted by then?
    #[must_use]
    pub fn is_alone_until(&self, at: Timestamp) -> bool {
        self.mixed.is_none_or(|between| at < between.at)
    }

    /// Had nothing else been noted so many hours after it?
    #[must_use]
    pub fn is_alone_for(&self, hours: i64) -> bool {
        self.is_alone_until(self.at + Span::hours(hours))
    }

    /// How much higher glucose was at the first, second or third hour than before, in hundredths of a mg/dL: where both
    /// are numbers, and nothing else had been noted by then.
    #[must_use]
    pub fn change(&self, hour: usize) -> Option<i64> {
        let reading = (*self.hours.get(hour)?)?;
        if !self.is_alone_for(HOURS[hour]) {
            return None;
        }
        difference(self.before, reading)
    }

    /// The lowest value in hundredths of a mg/dL: where readings came and nothing else was noted for 4 hours.
    #[must_use]
    pub fn lowest_alone(&self) -> Option<i64> {
        let counts = self.gap.is_none() && self.is_alone_for(FOLLOWS_HOURS);
        self.lowest.filter(|_| counts).map(|reading| i64::from(reading.glucose.hundredths()))
    }
}

/// How much higher the second is, in hundredths of a mg/dL. A word for beyond the sensor's range is no number.
pub(super) fn difference(before: Reading, after: Reading) -> Option<i64> {
    let numbers = [before, after].iter().all(|reading| reading.glucose.measured() == Measured::Number);
    numbers.then(|| i64::from(after.glucose.hundredths()) - i64::from(before.glucose.hundredths()))
}
