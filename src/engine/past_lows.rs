//! When glucose was below 70 in the last hours, for notes that come late: the window of readings keeps one hour, and a
//! dose may be noted for a time before it. Alerts do not go by it.

use crate::domain::glucose::Glucose;
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// Lows are remembered for so long.
const KEPT: Span = Span::hours(12);

/// A reading tells of the time after it for so long, where none follows: 1.7 cadences of a sensor that gives one every
/// quarter of an hour.
pub(super) const TELLS_FOR: Span = Span::seconds(25 * 60 + 30);

/// A low is back after two readings so far apart.
const BACK_AFTER: Span = Span::minutes(4);

/// Most stretches kept, the newest. Ours: two an hour.
const STRETCHES_MAX: usize = 24;

/// One stretch of readings below 70.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
struct Stretch {
    from: Timestamp,
    /// Its last reading.
    last: Timestamp,
    /// The first reading after it that is none of it.
    until: Option<Timestamp>,
    /// A second one followed: it is back.
    #[serde(default)]
    back: bool,
    lowest: Glucose,
}

/// The lows of the last hours, oldest first.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct PastLows {
    stretches: Vec<Stretch>,
}

impl PastLows {
    /// Is none known?
    pub(super) const fn is_empty(&self) -> bool {
        self.stretches.is_empty()
    }

    /// One more reading, low or not, of now or late.
    #[inline]
    pub(super) fn see(&mut self, at: Timestamp, glucose: Glucose, is_low: bool) {
        if is_low {
            self.see_low(at, glucose);
        } else if let Some(stretch) = self.stretches.last_mut().filter(|low| low.last < at) {
            let until = stretch.until.map_or(at, |until| until.min(at));
            stretch.until = Some(until);
            stretch.back |= at - until >= BACK_AFTER;
        }
    }

    #[cold]
    fn see_low(&mut self, at: Timestamp, glucose: Glucose) {
        let near = |low: &&mut Stretch| {
            let is_later = at > low.last && low.back;
            low.from - at <= TELLS_FOR && at - low.last <= TELLS_FOR && !is_later
        };
        if let Some(stretch) = self.stretches.iter_mut().find(near) {
            stretch.from = stretch.from.min(at);
            if at > stretch.last {
                (stretch.last, stretch.until) = (at, None);
            }
            if glucose.hundredths() < stretch.lowest.hundredths() {
                stretch.lowest = glucose;
            }
            return;
        }
        let place = self.stretches.partition_point(|low| low.from < at);
        self.stretches.insert(place, Stretch { from: at, last: at, until: None, back: false, lowest: glucose });
        let over = self.stretches.len().saturating_sub(STRETCHES_MAX);
        self.stretches.drain(..over);
        let newest = self.stretches.last().map_or(at, |low| low.last);
        self.stretches.retain(|low| newest - low.last <= KEPT);
    }

    /// The lowest value of the low that there was at a time, if there was one.
    pub(super) fn at(&self, at: Timestamp) -> Option<Glucose> {
        let holds = |low: &&Stretch| {
            let until = low.until.unwrap_or(low.last + TELLS_FOR).min(low.last + TELLS_FOR);
            low.from <= at && at < until
        };
        self.stretches.iter().rev().find(holds).map(|low| low.lowest)
    }

    /// Since when there is a low now, of readings that are not long ago.
    pub(super) fn since(&self, now: Timestamp) -> Option<Timestamp> {
        let last = self.stretches.last().filter(|low| !low.back && now - low.last <= TELLS_FOR);
        last.map(|low| low.from)
    }

    /// The clock was set: what was keeps its age.
    pub(super) fn shift(&mut self, by: Span) {
        for low in &mut self.stretches {
            (low.from, low.last) = (low.from + by, low.last + by);
            low.until = low.until.map(|until| until + by);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(minute: i64) -> Timestamp {
        Timestamp::from_seconds(minute * 60)
    }

    #[test]
    fn a_low_is_known_for_as_long_as_its_readings_tell() {
        let mut lows = PastLows::default();
        for (minute, value) in [(0, 80), (5, 66), (10, 58), (15, 64), (20, 75), (25, 76), (200, 60)] {
            lows.see(at(minute), Glucose::mg_dl(value), value < 70);
        }
        let lowest = |minute: i64| lows.at(at(minute)).map(|glucose| glucose.hundredths() / 100);
        assert_eq!([4, 5, 19, 20, 199, 225, 226].map(lowest), [None, Some(58), Some(58), None, None, Some(60), None]);
    }

    #[test]
    fn one_reading_that_is_not_low_ends_no_low_and_two_do() {
        let mut lows = PastLows::default();
        let mut see = |minute: i64, value: i32| {
            lows.see(at(minute), Glucose::mg_dl(value), value < 70);
            lows.since(at(minute)).map(|since| (since - at(0)).as_minutes())
        };
        let since =
            [(0, 66), (5, 70), (10, 66), (15, 71), (20, 72), (25, 68)].map(|(minute, value)| see(minute, value));
        assert_eq!(since, [Some(0), Some(0), Some(0), Some(0), None, Some(25)]);
    }

    #[test]
    fn late_readings_join_and_old_lows_go() {
        let mut lows = PastLows::default();
        for minute in [100, 130, 110, 95] {
            lows.see(at(minute), Glucose::mg_dl(60), true);
        }
        assert_eq!(lows.stretches.len(), 2, "two that a late one lies between stay two");
        assert!([95, 105, 128, 150].map(|minute| lows.at(at(minute)).is_some()).iter().all(|known| *known));
        for hour in 0..40 {
            lows.see(at(1_000 + hour * 60), Glucose::mg_dl(60), true);
        }
        assert!(lows.stretches.len() <= 13 && lows.at(at(110)).is_none());
    }
}
