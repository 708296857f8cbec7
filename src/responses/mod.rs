//! What followed on what this person noted: corrections, meals, treated lows, and stretches without either. Facts of
//! past days with how many they are of; it foresees nothing and works out no amounts. docs/responses.md has each word.
#![deny(clippy::disallowed_methods, clippy::disallowed_types)]

pub mod background;
pub mod correction;
pub mod course;
pub mod low;
pub mod meal;
mod noted;
pub mod part;
mod sorted;
pub mod summary;
mod trace;

use crate::domain::diary::Note;
use crate::domain::drops::PastDrops;
use crate::domain::glucose::Glucose;
use crate::domain::reading::Reading;
use crate::domain::time::Timestamp;
use crate::domain::travel::WallClock;
use crate::domain::written::Excursion;
use background::Background;
use correction::Correction;
use low::Low;
use meal::Meal;
use sorted::Sorted;
use trace::Trace;

/// `recheck treated`, or the same by file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Treated {
    /// When it was done.
    pub at: Timestamp,
    /// A high counts as insulin, a low as food, of which nobody said how much; where it was not said, the value then
    /// tells.
    pub which: Option<Excursion>,
}

/// The limits that the rows are told apart by.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    /// Below it is very low: 54 mg/dL.
    pub very_low: Glucose,
    /// Below it is low: 70 mg/dL.
    pub low: Glucose,
    /// Above it is high: 180 mg/dL.
    pub high: Glucose,
}

/// The consensus range, both ends within it, and the limit of a level 2 low: Battelino 2019, Diabetes Care 42:1593.
impl Default for Limits {
    fn default() -> Self {
        Self { very_low: Glucose::mg_dl(54), low: Glucose::mg_dl(70), high: Glucose::mg_dl(180) }
    }
}

impl Limits {
    fn is_low(&self, glucose: Glucose) -> bool {
        glucose.hundredths() < self.low.hundredths()
    }

    fn is_high(&self, glucose: Glucose) -> bool {
        glucose.hundredths() > self.high.hundredths()
    }
}

/// A person's past days, in any order.
#[derive(Debug, Clone, Copy)]
pub struct Past<'a> {
    /// Readings of one source.
    pub readings: &'a [Reading],
    /// What was noted. Insulin is taken for rapid insulin: a note does not say which it was.
    pub notes: &'a [Note],
    /// What was said to be treated.
    pub treated: &'a [Treated],
    /// Stretches whose readings do not count, the second instant not included.
    pub left_out: &'a [(Timestamp, Timestamp)],
    /// The limits.
    pub limits: Limits,
    /// The wearer's clock.
    pub clock: &'a WallClock,
    /// What was noted before it has no row, and still counts for the rows after it.
    pub from: Timestamp,
    /// What was noted from here on has no row.
    pub until: Timestamp,
}

/// What was noted and has no row, by why.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct NoRow {
    /// Noted in a stretch that is left out.
    pub left_out: usize,
    /// Insulin noted with no reading in the 20 minutes before it.
    pub insulin_without_reading: usize,
    /// Food noted, or a low said to be treated, with no reading in the 20 minutes before it.
    pub food_without_reading: usize,
    /// Insulin noted neither with food nor above the high limit: what it was for is not known.
    pub insulin_for_other: usize,
    /// Something said to be treated, not said what, while neither high nor low.
    pub treated_unclear: usize,
}

/// What followed.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Responses {
    /// Of corrections, in order of time.
    pub corrections: Vec<Correction>,
    /// Of meals, in order of time.
    pub meals: Vec<Meal>,
    /// Of treated lows, in order of time.
    pub lows: Vec<Low>,
    /// While neither food nor insulin was noted.
    pub background: Background,
    /// What has no row.
    pub no_row: NoRow,
    /// How far glucose had come down after each correction.
    pub drops: PastDrops,
}

impl Responses {
    /// What followed on what was noted.
    #[must_use]
    pub fn of(past: &Past<'_>) -> Self {
        let trace = Trace::new(past.readings, past.left_out);
        let sorted = Sorted::new(past, &trace);
        let corrections = correction::rows(past, &trace, &sorted);
        let mut drops = PastDrops::new();
        for correction in &corrections {
            drops.keep(correction.drops(&trace));
        }
        Self {
            meals: meal::rows(past, &trace, &sorted),
            lows: low::rows(past, &trace, &sorted),
            background: Background::of(past, &trace, &sorted),
            no_row: sorted.no_row,
            corrections,
            drops,
        }
    }
}
