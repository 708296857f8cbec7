//! When glucose was below 70 in the last hours, for notes that come late: the window of readings keeps one hour, and a
//! dose may be noted for a time before it. Alerts do not go by it.

use crate::domain::glucose::Glucose;
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// Lows are remembered for so long.
const KEPT: Span = Span::hours(12);

/// A reading tells of the time after it for so long, where none follows.
const TELLS_FOR: Span = Span::minutes(15);

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
        } else if let Some(stretch) = self.stretches.last_mut().filter(|low| low.last < at)
            && stretch.until.is_none_or(|until| at < until)
        {
            stretch.until = Some(at);
        }
    }

    #[cold]
    fn see_low(&mut self, at: Timestamp, glucose: Glucose) {
        let near = |low: &&mut Stretch| low.from - at <= TELLS_FOR && at - low.last <= TELLS_FOR;
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
        self.stretches.insert(place, Stretch { from: at, last: at, until: None, lowest: glucose });
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
        for (minute, value) in [(0, 80), (5, 66), (10, 58), (15, 64), (20, 75), (200, 60)] {
            lows.see(at(minute), Glucose::mg_dl(value), value < 70);
        }
        let lowest = |minute: i64| lows.at(at(minute)).map(|glucose| glucose.hundredths() / 100);
        assert_eq!([4, 5, 19, 20, 199, 214, 215].map(lowest), [None, Some(58), Some(58), None, None, Some(60), None]);
    }

    #[test]
    fn late_readings_join_and_old_lows_go() {
        let mut lows = PastLows::default();
        for minute in [100, 120, 110, 95] {
            lows.see(at(minute), Glucose::mg_dl(60), true);
        }
        assert_eq!(lows.stretches.len(), 2, "two that a late one lies between stay two");
        assert!([95, 105, 118, 130].map(|minute| lows.at(at(minute)).is_some()).iter().all(|known| *known));
        for hour in 0..40 {
            lows.see(at(1_000 + hour * 60), Glucose::mg_dl(60), true);
        }
        assert!(lows.stretches.len() <= 13 && lows.at(at(110)).is_none());
    }
}
