//! A rise that no insulin was noted for: a meal without a dose, perhaps. It is asked about once for each meal, by day, and
//! only of a wearer who notes doses; never while a low is looked at, or soon after one. Food that was noted names the
//! meal, and answers nothing. Nothing follows from it, and no level knows of it.

use super::Engine;
use super::effect::{Condition, Doubt, Id, Side, What};
use super::plan::Job;
use super::policy::Rings;
use super::reason::Reason;
use super::trend::Direction;
use super::turn::Turn;
use crate::domain::glucose::{Glucose, Measured, Unit};
use crate::domain::reading::Reading;
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;

/// A rise of 80 mg/dL or more within two hours, with no insulin in the hour before it, found missed doses in a trial,
/// 0.94 times a day (Diabetes 2019;68(Suppl 1):83-LB, seen as an abstract).
const WITHIN: Span = Span::hours(2);
const NOTED_BEFORE: Span = Span::hours(1);

/// A meal is over when the value has come down by half of the rise that is asked about from its highest, or so long
/// after it was noticed. Ours: most of what a meal does to glucose is over in four hours.
const MEAL_LASTS: Span = Span::hours(4);

/// Whoever noted a dose within this notes doses. Ours.
const NOTES_DOSES: Span = Span::hours(7 * 24);

/// The lowest values are kept so far apart: what is in between moves a rise by less than a minute's change or two.
const APART: Span = Span::minutes(4);

/// What the wearer wants of it, already checked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct RisePolicy {
    /// By day, or never; by night nobody is asked.
    pub rings: Rings,
    /// So far up from the lowest value of two hours.
    pub by: Glucose,
    /// Of everybody, and not only of a wearer who noted a dose within seven days.
    pub always: bool,
}

impl Default for RisePolicy {
    fn default() -> Self {
        Self { rings: Rings::ByDay, by: Glucose::mg_dl(80), always: false }
    }
}

/// The lowest values of one source over the last two hours, as far as a later one is not as low: each is higher than the
/// one before it, so that the first that is still in time is the lowest.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct Floor {
    lows: VecDeque<(Timestamp, i32)>,
}

impl Floor {
    /// One more value, in hundredths.
    #[inline]
    pub(super) fn see(&mut self, at: Timestamp, value: i32) {
        match self.lows.back() {
            Some((last, _)) if *last > at => return self.see_late(at, value),
            Some((last, low)) if *low < value && at - *last < APART => return,
            _ => {}
        }
        while self.lows.back().is_some_and(|(_, low)| *low >= value) {
            self.lows.pop_back();
        }
        self.lows.push_back((at, value));
        while self.lows.front().is_some_and(|(first, _)| at - *first > WITHIN) {
            self.lows.pop_front();
        }
    }

    #[cold]
    fn see_late(&mut self, at: Timestamp, value: i32) {
        let mut lows = Vec::from(std::mem::take(&mut self.lows));
        let place = lows.partition_point(|(known, _)| *known <= at);
        let (before, after) = lows.split_at(place);
        let is_old = after.last().is_some_and(|(newest, _)| *newest - at > WITHIN);
        let is_no_low = after.first().is_some_and(|(_, low)| *low <= value);
        let is_known = before.last().is_some_and(|(last, low)| *low < value && at - *last < APART);
        if !is_old && !is_no_low && !is_known {
            let first = before.partition_point(|(_, low)| *low < value);
            lows.splice(first..place, [(at, value)]);
        }
        self.lows = lows.into();
    }

    /// Is a value so far above the lowest that there is? That may be older than two hours.
    fn is_far_below(&self, value: i32, by: i32) -> bool {
        self.lows.front().is_some_and(|(_, low)| value - low >= by)
    }

    /// The lowest value of the two hours before an instant.
    fn lowest(&self, at: Timestamp) -> Option<(Timestamp, i32)> {
        self.lows.iter().copied().find(|(known, _)| at - *known <= WITHIN).filter(|(known, _)| *known <= at)
    }

    /// Another sensor, or another meal: what was before it counts no more.
    pub(super) fn clear(&mut self) {
        self.lows.clear();
    }
}

/// The meal there is, as far as glucose tells: from the reading that had risen on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Meal {
    /// When the rise began.
    since: Timestamp,
    /// When it was noticed.
    noticed: Timestamp,
    /// The highest value since, in hundredths.
    top: i32,
    /// The number it was asked about by.
    id: Option<Id>,
    /// It was noticed by night, or soon after a low: it is asked about when that is over, if it goes on.
    #[serde(default)]
    silent: bool,
}

impl Meal {
    /// One more reading. False when it has come down.
    fn goes_on(&mut self, reading: &Reading, by: i32) -> bool {
        let (at, value) = (reading.measured, reading.glucose.hundredths());
        self.top = self.top.max(value);
        // A clock that was set back ends it.
        at >= self.noticed && self.top - value < by / 2
    }

    /// May a rise that began then be another meal? One that was asked about is not asked about again within two hours.
    fn is_before(&self, since: Timestamp, at: Timestamp) -> bool {
        since > self.noticed && (self.id.is_none() || self.silent || at - self.noticed >= WITHIN)
    }
}

impl Engine {
    /// Is it ever asked about a rise? Of whoever never noted a dose nothing is followed; one that may not have been meant was
    /// noted all the same.
    #[inline]
    pub(super) fn follows_rises(&self) -> bool {
        let RisePolicy { rings, always, .. } = self.policy.unnoted_rise;
        rings != Rings::Never && (always || self.last_noted_dose().is_some())
    }

    /// The newest current reading, judged on both sides: it may have risen for no reason that was noted.
    pub(super) fn notice_rise(&mut self, turn: &mut Turn, reading: &Reading) {
        if !self.follows_rises() {
            return;
        }
        let by = self.policy.unnoted_rise.by.hundredths();
        if let Some(meal) = &mut self.state.meal {
            if !meal.goes_on(reading, by) {
                return self.meal_is_over(reading);
            }
            // By now nothing of it is within two hours: what rises is not what was noticed then.
            if reading.measured - meal.noticed >= MEAL_LASTS {
                self.state.meal = None;
            }
        }
        if self.source(reading.source).floor.is_far_below(reading.glucose.hundredths(), by) {
            self.has_risen(turn, reading, by);
        }
    }

    #[cold]
    fn meal_is_over(&mut self, reading: &Reading) {
        self.state.meal = None;
        for source in &mut self.state.sources {
            source.floor.clear();
        }
        self.source(reading.source).floor.see(reading.measured, reading.glucose.hundredths());
    }

    #[cold]
    fn has_risen(&mut self, turn: &mut Turn, reading: &Reading, by: i32) {
        let (at, top) = (reading.measured, reading.glucose.hundredths());
        let Some((since, low)) = self.source(reading.source).floor.lowest(at) else { return };
        // A rise that began after a meal was noticed is another; else one that was noticed silently may be asked about now.
        let known = self.state.meal.filter(|meal| !meal.is_before(since, at));
        if known.is_some_and(|meal| !meal.silent || turn.night.inside) {
            return;
        }
        let before = known.is_some();
        let direction = turn.judged.and_then(|judged| judged.rate).map(super::trend::Rate::direction);
        if top - low < by
            || reading.glucose.measured() != Measured::Number
            || !before && direction.is_some_and(|direction| !Direction::rises(direction))
            || self.is_in_doubt(turn)
        {
            return;
        }
        if let Some(doubt) = self.doubt_of_shape(turn, Side::High, reading) {
            // What was before a jump is no value to rise from.
            if doubt == Doubt::Jump {
                let floor = &mut self.source(reading.source).floor;
                floor.clear();
                floor.see(at, top);
            }
            return;
        }
        let asks = !self.is_noted_for(since, turn.now) && self.notes_doses(turn.now);
        let speaks = self.speaks_of_rise(turn);
        let silent = turn.night.inside || speaks.is_some();
        if before && silent {
            return;
        }
        let id = asks.then(|| self.take_id());
        self.state.meal = Some(Meal { since, noticed: at, top, id, silent });
        let Some(id) = id else { return };
        let from = Glucose::from_received(low, Unit::MgDl);
        let none_since = since - NOTED_BEFORE;
        let food = self.state.high.last_food(none_since, turn.now);
        let rise = |by_night: bool| Reason::UnnotedRise { from, since, none_since, by_night, food };
        match speaks {
            Some(reason) => turn.tell(What::Withheld, Condition::UnnotedRise, id, None, reason, false),
            None if turn.night.inside => {
                turn.tell(What::Withheld, Condition::UnnotedRise, id, None, rise(true), false);
            }
            None => turn.tell(What::Prompt, Condition::UnnotedRise, id, None, rise(false), true),
        }
    }

    /// A sensor that is doubted, or is one of two signals, tells of no meal.
    fn is_in_doubt(&self, turn: &Turn) -> bool {
        self.state.register.two_signals().is_some() || turn.doubt.is_some_and(|doubt| doubt != Doubt::FirstDay)
    }

    /// Was insulin noted, or a high treated, from not long before a rise began until then?
    fn is_noted_for(&self, since: Timestamp, until: Timestamp) -> bool {
        let memory = &self.state.before_sleep;
        let mut noted = [memory.insulin, memory.high_treated].into_iter().flatten();
        // One noted by a clock that was ahead tells nothing of this meal.
        noted.any(|noted| since - noted <= NOTED_BEFORE && noted <= until)
    }

    fn last_noted_dose(&self) -> Option<Timestamp> {
        self.state.before_sleep.insulin.max(self.state.doses.taken().next_back())
    }

    fn notes_doses(&self, now: Timestamp) -> bool {
        let noted = self.last_noted_dose();
        self.policy.unnoted_rise.always || noted.is_some_and(|noted| now - noted <= NOTES_DOSES)
    }

    /// What speaks of the value already: a look at a low that comes, a low that came before it.
    fn speaks_of_rise(&self, turn: &Turn) -> Option<Reason> {
        let low = self.state.plan.due(Job::LowCheck).filter(|_| self.state.plan.low().is_some());
        let rebound = self.rebound_until(turn.now).filter(|_| self.low_within(turn.now, WITHIN));
        let after_low = || rebound.map(|(low, next)| Reason::AfterLow { low, next });
        low.map(|next| Reason::LookComes { next }).or_else(after_low)
    }

    /// Is a question about that meal still one: it goes on, and nothing was noted since?
    pub(super) fn still_asks_about(&self, id: Id) -> bool {
        let meal = self.state.meal.filter(|meal| meal.id == Some(id));
        meal.is_some_and(|meal| !self.is_noted_for(meal.since, meal.noticed + MEAL_LASTS))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(minute: i64) -> Timestamp {
        Timestamp::from_seconds(minute * 60)
    }

    /// The lowest of what was within two hours, straight from all values.
    fn plainly(all: &[(i64, i32)], now: i64) -> i32 {
        all.iter().filter(|(minute, _)| (now - 120..=now).contains(minute)).map(|(_, value)| *value).min().unwrap()
    }

    #[test]
    fn the_floor_is_the_lowest_of_two_hours() {
        let mut dice = 7_u64;
        let mut roll = |sides: u64| {
            dice = dice.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            i64::try_from((dice >> 33) % sides).unwrap_or(0)
        };
        let (mut floor, mut all) = (Floor::default(), Vec::new());
        let (mut minute, mut value) = (0, 12_000_i32);
        for _ in 0..5_000 {
            minute += 5 + 10 * i64::from(roll(9) == 0) + 200 * i64::from(roll(300) == 0);
            value = (value + i32::try_from(roll(2_001)).unwrap_or(0) - 1_000).clamp(4_000, 40_000);
            // Some come late, behind one that is newer.
            let measured = if roll(8) == 0 { minute - 7 } else { minute };
            all.push((measured, value));
            floor.see(at(measured), value);
            if measured == minute {
                let found = floor.lowest(at(minute)).map(|(_, low)| low);
                // What came within four minutes of a lower one may be left out, and be missed once that is too old.
                let least = plainly(&all, minute);
                assert!(found.is_some_and(|found| found >= least && found - least <= 2_500), "{found:?} {least}");
                assert!(floor.lows.iter().is_sorted_by(|a, b| a.0 < b.0 && a.1 < b.1), "{:?}", floor.lows);
                assert!(floor.lows.len() <= 40, "{}", floor.lows.len());
            }
        }
    }

    #[test]
    fn readings_five_minutes_apart_are_all_kept() {
        let mut floor = Floor::default();
        for (place, value) in (0..).zip([100, 105, 99, 120, 110, 130]) {
            floor.see(at(place * 5), value * 100);
        }
        assert_eq!(floor.lows, [(at(10), 9_900), (at(20), 11_000), (at(25), 13_000)]);
        floor.see_late(at(12), 9_800);
        assert_eq!(floor.lows, [(at(12), 9_800), (at(20), 11_000), (at(25), 13_000)]);
        assert_eq!(floor.lowest(at(132)), Some((at(12), 9_800)));
        assert_eq!(floor.lowest(at(133)), Some((at(20), 11_000)));
        assert_eq!(floor.lowest(at(146)), None);
        assert!(floor.is_far_below(17_800, 8_000) && !floor.is_far_below(17_700, 8_000));
    }
}
