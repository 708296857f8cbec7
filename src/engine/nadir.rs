//! The lowest value of a low, and what follows from it when the low is looked at again: how long lows like it take to be
//! back, and that after a very low one a finger-prick is asked for. It moves no look, and decides of no ring.

use super::Engine;
use super::alert::moment::MOMENT;
use super::level::NEW_EPISODE_AFTER_MIN;
use super::recheck_low::LowCheck;
use super::turn::{Judged, Turn};
use crate::domain::glucose::Glucose;
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// After treatment 89 % of lows with a lowest value of 54 to 69 mg/dL read above 70 fifteen minutes after it, and 47 %
/// of those below 54: a sensor that is not back by then is to be checked with a finger-prick. 241 events, children
/// (Norlander 2020, Diabetes 69 Suppl 1, 882-P, seen as an abstract). There the fifteen minutes are counted from the
/// lowest value; here from the treatment, so that none is asked for later than a look.
pub const VERY_LOW: Glucose = Glucose::mg_dl(54);
const VERY_LOW_HUNDREDTHS: i32 = VERY_LOW.hundredths();
pub(super) const LOW_HUNDREDTHS: i32 = 7_000;
const BACK_BY_MIN: i64 = 15;

/// From the lowest value to above 70: 11 to 12 minutes where it was 54 to 69; where it was below 54, 19 by day and 27
/// by night. The same source.
const LOW_BACK_MIN: i64 = 12;
const VERY_LOW_BACK_BY_DAY_MIN: i64 = 19;
const VERY_LOW_BACK_BY_NIGHT_MIN: i64 = 27;

/// The lowest value of a low.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Nadir {
    /// The value.
    pub value: Glucose,
    /// When it was measured; the last time, if several times.
    pub at: Timestamp,
}

/// The same as a look tells it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Lowest {
    /// The value.
    pub value: Glucose,
    /// When it was measured.
    pub at: Timestamp,
    /// How long before the look.
    pub ago: Span,
    /// How long after it lows like it were back.
    pub usual: Option<Span>,
    /// A finger-prick is asked for: a sensor is below 54, or was and the low is not back in time and nobody has just
    /// measured.
    pub prick: bool,
}

impl Nadir {
    /// One more value of the same low; values of 70 and more are none of it.
    pub(super) fn lower(known: &mut Option<Self>, value: Glucose, at: Timestamp) {
        let is_lower = |known: &Self| (value.hundredths(), known.at) < (known.value.hundredths(), at);
        if value.hundredths() < LOW_HUNDREDTHS && known.as_ref().is_none_or(is_lower) {
            *known = Some(Self { value, at });
        }
    }

    const fn was_very_low(self) -> bool {
        self.value.hundredths() < VERY_LOW_HUNDREDTHS
    }

    const fn usual(self, by_night: bool) -> Option<Span> {
        let minutes = match self.value.hundredths() {
            ..VERY_LOW_HUNDREDTHS if by_night => VERY_LOW_BACK_BY_NIGHT_MIN,
            ..VERY_LOW_HUNDREDTHS => VERY_LOW_BACK_BY_DAY_MIN,
            VERY_LOW_HUNDREDTHS..LOW_HUNDREDTHS => LOW_BACK_MIN,
            LOW_HUNDREDTHS.. => return None,
        };
        Some(Span::minutes(minutes))
    }
}

impl Engine {
    /// A value below 70 came in, from a sensor or a meter: it may be the lowest of a low that is looked at.
    pub(super) fn follow_nadir(&mut self, value: Glucose, at: Timestamp) {
        if let Some(care) = self.state.plan.low_mut()
            && care.since - at <= Span::minutes(NEW_EPISODE_AFTER_MIN)
        {
            Nadir::lower(&mut care.lowest, value, at);
        }
    }

    /// The lowest value so far of a low that is treated at that time.
    pub(super) fn nadir_of_low(&self, at: Timestamp) -> Option<Nadir> {
        let of_now = |last: Timestamp| at - last <= Span::minutes(NEW_EPISODE_AFTER_MIN);
        let mut lowest = self.state.plan.low().and_then(|check| check.lowest);
        let sensor = self.nadir_of_last_low(of_now);
        let meter = self.state.meter.filter(|(measured, _)| of_now(*measured));
        for Nadir { value, at } in sensor.into_iter().chain(meter.map(|(at, value)| Nadir { value, at })) {
            Nadir::lower(&mut lowest, value, at);
        }
        lowest
    }

    /// A check with a meter was none, or said something else: where it was the lowest value, that is found anew.
    pub(super) fn forget_nadir(&mut self, was: Nadir) {
        let Some(care) = self.state.plan.low_mut().filter(|check| check.lowest == Some(was)) else { return };
        care.lowest = None;
        let treated = care.treated.map_or(care.since, |treated| treated.at);
        let lowest = self.nadir_of_low(treated);
        if let Some(care) = self.state.plan.low_mut() {
            care.lowest = lowest;
        }
    }

    /// What a look at a low tells of its lowest value.
    pub(super) fn lowest_told(&self, turn: &Turn, care: &LowCheck, judged: Judged) -> Option<Lowest> {
        let nadir = care.lowest?;
        let by_night = self.policy.night.stretch(self.policy.zone, nadir.at).inside;
        let since = care.treated.map_or(care.since, |treated| treated.at);
        let is_low = judged.glucose.hundredths() < self.policy.levels.low.limit.hundredths();
        let in_time = turn.now + MOMENT < since + Span::minutes(BACK_BY_MIN);
        // A sensor that is very low beside a meter that is not asks for one more.
        let sensor = self.lowest_of_sensors(turn.now).map(|sensor| sensor.glucose);
        let sees_very_low = sensor.is_some_and(|sensor| sensor.hundredths() < VERY_LOW_HUNDREDTHS);
        let not_back = nadir.was_very_low() && !in_time && !self.measured_just_now(turn.now);
        let prick = is_low && (sees_very_low || not_back);
        let ago = (turn.now - nadir.at).max(Span::ZERO);
        Some(Lowest { value: nadir.value, at: nadir.at, ago, usual: nadir.usual(by_night), prick })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_class_has_its_published_time() {
        let usual = |mg_dl: i32, by_night: bool| {
            Nadir { value: Glucose::mg_dl(mg_dl), at: Timestamp::from_seconds(0) }.usual(by_night).map(Span::as_minutes)
        };
        // Norlander 2020: 11 to 12 minutes; 19 by day, 27 by night.
        for by_night in [false, true] {
            assert_eq!([54, 60, 69].map(|value| usual(value, by_night)), [Some(12); 3]);
            assert_eq!(usual(70, by_night), None);
        }
        assert_eq!([40, 53].map(|value| usual(value, false)), [Some(19); 2]);
        assert_eq!([40, 53].map(|value| usual(value, true)), [Some(27); 2]);
    }

    #[test]
    fn the_lowest_is_kept_with_its_last_time() {
        let at = |minute: i64| Timestamp::from_seconds(minute * 60);
        let mut lowest = None;
        for (minute, mg_dl) in [(0, 69), (5, 52), (15, 52), (10, 52), (20, 60), (25, 75)] {
            Nadir::lower(&mut lowest, Glucose::mg_dl(mg_dl), at(minute));
        }
        assert_eq!(lowest, Some(Nadir { value: Glucose::mg_dl(52), at: at(15) }));
        let mut none = None;
        Nadir::lower(&mut none, Glucose::mg_dl(70), at(0));
        assert_eq!(none, None);
    }
}
