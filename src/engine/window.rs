//! The last hour of readings, in order of measurement, each once. Keeps no history.

use crate::domain::reading::{Reading, SourceId};
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// How far back the window reaches from its newest reading.
const KEPT_MIN: i64 = 60;

/// Most readings kept: an hour of two sources at one-minute cadence.
const READINGS_MAX: usize = 128;

/// Readings that are out of the window are left in place until they are so many: moving the rest up each time costs more
/// than all that is done with a reading here.
const GONE_MAX: usize = 64;

/// Recent readings of all sources.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
#[serde(from = "Vec<Reading>", into = "Vec<Reading>")]
pub struct Window {
    readings: Vec<Reading>,
    /// So many of them, the oldest, are out of it.
    gone: usize,
}

impl From<Vec<Reading>> for Window {
    fn from(readings: Vec<Reading>) -> Self {
        Self { readings, gone: 0 }
    }
}

impl From<Window> for Vec<Reading> {
    fn from(window: Window) -> Self {
        window.all().to_vec()
    }
}

impl PartialEq for Window {
    fn eq(&self, other: &Self) -> bool {
        self.all() == other.all()
    }
}

impl Window {
    fn all(&self) -> &[Reading] {
        &self.readings[self.gone..]
    }

    /// Puts a reading in its place. One that is there already, by source and time, changes nothing: false.
    pub fn insert(&mut self, reading: Reading) -> bool {
        // Nearly all belong at the end.
        if self.newest().is_none_or(|newest| newest.measured < reading.measured) {
            self.readings.push(reading);
            self.forget_old(reading.measured);
            return true;
        }
        let mut place = self.readings.len();
        for known in self.all().iter().rev().take_while(|known| known.measured >= reading.measured) {
            if known.measured > reading.measured {
                place -= 1;
            } else if known.source == reading.source {
                return false;
            }
        }
        self.readings.insert(place, reading);
        let newest = self.readings.last().map_or(reading.measured, |newest| newest.measured);
        self.forget_old(newest);
        true
    }

    fn forget_old(&mut self, newest: Timestamp) {
        let all = self.all();
        let old = all.iter().take_while(|reading| newest - reading.measured > Span::minutes(KEPT_MIN)).count();
        self.gone += old.max(all.len().saturating_sub(READINGS_MAX));
        if self.gone >= GONE_MAX {
            self.readings.drain(..self.gone);
            self.gone = 0;
        }
    }

    /// The newest reading of any source.
    #[must_use]
    pub fn newest(&self) -> Option<&Reading> {
        self.all().last()
    }

    /// The three newest readings of any source, the newest last.
    #[must_use]
    pub fn newest_three(&self) -> Option<&[Reading; 3]> {
        self.all().last_chunk()
    }

    /// The newest reading measured at or before an instant.
    #[must_use]
    pub fn newest_before(&self, at: Timestamp) -> Option<&Reading> {
        self.all().iter().rev().find(|reading| reading.measured <= at)
    }

    /// All readings, newest first.
    pub fn all_newest_first(&self) -> impl Iterator<Item = &Reading> {
        self.all().iter().rev()
    }

    /// Keeps what is wanted; asked from the newest on.
    pub fn retain_newest_first(&mut self, mut wanted: impl FnMut(&Reading) -> bool) {
        let mut kept: Vec<Reading> = self.all().iter().rev().filter(|reading| wanted(reading)).copied().collect();
        kept.reverse();
        *self = Self::from(kept);
    }

    /// The readings of one source were measured by a clock that was set.
    pub fn shift(&mut self, source: SourceId, by: Span) {
        let mut kept = self.all().to_vec();
        kept.iter_mut().filter(|reading| reading.source == source).for_each(|reading| {
            reading.measured = reading.measured + by;
        });
        kept.sort_by_key(|reading| reading.measured);
        *self = Self::from(kept);
    }

    /// Readings of one source, newest first.
    pub fn newest_first(&self, source: SourceId) -> impl Iterator<Item = &Reading> + Clone {
        self.all().iter().rev().filter(move |reading| reading.source == source)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::glucose::Glucose;

    fn reading(minute: i64) -> Reading {
        Reading { source: SourceId(0), measured: Timestamp::from_seconds(minute * 60), glucose: Glucose::mg_dl(100) }
    }

    #[test]
    fn any_order_and_any_doubling_give_the_same_window() {
        let mut straight = Window::default();
        let mut shuffled = Window::default();
        for minute in [0, 5, 10, 15, 20] {
            straight.insert(reading(minute));
        }
        for minute in [20, 0, 15, 15, 5, 20, 10, 0] {
            shuffled.insert(reading(minute));
        }
        assert_eq!(straight, shuffled);
    }

    #[test]
    fn forgets_what_is_older_than_an_hour_and_never_grows_past_its_bound() {
        let mut window = Window::default();
        for second in 0..1_000 {
            window.insert(Reading { measured: Timestamp::from_seconds(second), ..reading(0) });
        }
        assert_eq!(window.all().len(), READINGS_MAX);
        window.insert(reading(600));
        assert_eq!(window.all().len(), 1);
    }
}
