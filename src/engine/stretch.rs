//! What a high comes to over hours: since when it goes on, what was given for it, what was eaten beside it, and when it
//! was asked about. Derives; it asks and rings nothing.

use super::Engine;
use super::effect::Side;
use super::high_calls::{HighCalls, PUMP_FROM};
use super::plan::Job;
use crate::domain::glucose::Glucose;
use crate::domain::reading::Reading;
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// A stretch goes on until it has been wholly below its limit for this long: ours.
const ENDS_AFTER: Span = Span::minutes(30);

/// After a silence of more than this what is far above begins anew: a fresh value is at most a little younger.
const SILENCE: Span = Span::minutes(17);

/// Doses and meals are kept for so long before the newest: longer than any of them matters to a high.
const KEPT: Span = Span::hours(24);

/// Most doses kept, and most meals. Ours: one every half hour of a day.
const KEPT_MAX: usize = 48;

/// A treated high is followed for so long, by its checks; and by so much above its value then it is another, in
/// hundredths of a mg/dL. Both are ours.
const FOLLOWED: Span = Span::hours(3);
const RISEN: i32 = 5_000;

/// The last questions kept: from the fourth on their span stays the same.
const ASKED_MAX: usize = 4;

/// Readings on one side of a limit, with no half hour on the other.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stretch {
    /// Its first reading.
    pub since: Timestamp,
    /// Its last.
    pub last: Timestamp,
    /// The first reading on the other side after the last.
    below: Option<Timestamp>,
}

impl Stretch {
    const fn new(at: Timestamp) -> Self {
        Self { since: at, last: at, below: None }
    }

    /// One more reading, on this side of the limit or not. What nobody saw in between ends nothing.
    fn see(known: &mut Option<Self>, at: Timestamp, within: bool) {
        let Some(stretch) = known else {
            *known = within.then_some(Self::new(at));
            return;
        };
        if at < stretch.last {
            return;
        }
        let over = stretch.below.is_some_and(|below| at - below >= ENDS_AFTER);
        match (within, over) {
            (true, true) => *stretch = Self::new(at),
            (true, false) => (stretch.last, stretch.below) = (at, None),
            (false, true) => *known = None,
            (false, false) => stretch.below = stretch.below.or(Some(at)),
        }
    }

    /// A reading that came late may be of it, before its first; asked from the newest on.
    fn see_late(&mut self, at: Timestamp, within: bool) {
        if within && at < self.since && self.since - at <= ENDS_AFTER {
            self.since = at;
        }
    }

    fn shift(&mut self, by: Span) {
        (self.since, self.last) = (self.since + by, self.last + by);
        self.below = self.below.map(|below| below + by);
    }
}

/// Insulin that was noted, or a high that was marked as treated.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Given {
    /// When.
    pub at: Timestamp,
    /// The value then, if one was fresh.
    pub value: Option<Glucose>,
}

/// All that is known of the high there is.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct HighStory {
    /// At the very high limit or above.
    #[serde(default)]
    pub very_high: Option<Stretch>,
    /// Above the high limit.
    #[serde(default)]
    high: Option<Stretch>,
    /// In the order of their times.
    #[serde(default)]
    given: Vec<Given>,
    #[serde(default)]
    food: Vec<Timestamp>,
    /// When ketones were last asked about.
    #[serde(default)]
    asked: Vec<Timestamp>,
    /// Far above the very high limit: since when, and the last reading there.
    #[serde(default)]
    pub(super) far_above: Option<(Timestamp, Timestamp)>,
    /// Who answered, and who was called.
    #[serde(default)]
    pub(super) calls: HighCalls,
    /// Nobody watched: what was noted meanwhile comes in before anything is asked.
    #[serde(default)]
    pub(super) waits_until: Option<Timestamp>,
    /// When the question itself rang last, with pen or set; a mode may have asked for ketones since.
    #[serde(default)]
    pub(super) with_set: Option<Timestamp>,
    /// When it was last said to call the care team.
    #[serde(default)]
    pub(super) team: Option<Timestamp>,
}

impl HighStory {
    /// Since when it is above the high limit, whatever was silent in between.
    pub(super) fn since(&self) -> Option<Timestamp> {
        self.high.or(self.very_high).map(|stretch| stretch.since)
    }

    /// What was given by then, the latest last.
    pub(super) fn given_by(&self, now: Timestamp) -> impl DoubleEndedIterator<Item = &Given> {
        self.given.iter().filter(move |given| given.at <= now)
    }

    /// The first dose of the high there is; one of three hours and more before it became very high is of what was
    /// before.
    pub(super) fn first_dose(&self, now: Timestamp) -> Option<Given> {
        let start = self.very_high?.since;
        let since = self.high.map_or(start, |high| high.since.min(start));
        let first = self.given_by(now).find(|given| given.at >= since)?;
        (start - first.at < Span::hours(3)).then_some(*first)
    }

    /// The doses of the stretch at the very high limit.
    pub(super) fn doses_of_stretch(&self, now: Timestamp) -> impl Iterator<Item = &Given> {
        let since = self.very_high.map(|stretch| stretch.since);
        self.given_by(now).filter(move |given| since.is_some_and(|since| given.at >= since))
    }

    /// The latest dose by then, if nothing was given in the hours before it.
    pub(super) fn lone_dose(&self, now: Timestamp, hours: i64) -> Option<Given> {
        let mut latest_first = self.given_by(now).rev();
        let latest = latest_first.next()?;
        latest_first.next().is_none_or(|before| latest.at - before.at >= Span::hours(hours)).then_some(*latest)
    }

    /// A meal within an hour of a dose, before or after it.
    pub(super) fn meal_beside(&self, dose: Timestamp, now: Timestamp) -> Option<Timestamp> {
        let beside = |food: &&Timestamp| **food <= now && (-60..=60).contains(&(**food - dose).as_minutes());
        self.food.iter().find(beside).copied()
    }

    /// The last food between two times.
    pub(super) fn last_food(&self, from: Timestamp, until: Timestamp) -> Option<Timestamp> {
        self.food.iter().rfind(|food| (from..=until).contains(*food)).copied()
    }

    /// A meal beside a dose, or beside the first of the doses of the last four hours, which it may still act upon.
    pub(super) fn meal_of(&self, dose: Timestamp, now: Timestamp) -> Option<Timestamp> {
        let first = self.given_by(now).find(|given| now - given.at <= Span::hours(4)).map(|given| given.at);
        self.meal_beside(dose, now).or_else(|| self.meal_beside(first?, now))
    }

    /// The questions since then.
    pub(super) fn asked_since(&self, since: Timestamp) -> &[Timestamp] {
        &self.asked[self.asked.partition_point(|asked| *asked < since)..]
    }

    /// When it was last asked about.
    pub(super) fn last_asked(&self) -> Option<Timestamp> {
        self.asked.last().copied()
    }

    pub(super) fn ask(&mut self, now: Timestamp) {
        self.asked.retain(|asked| *asked < now);
        self.asked.push(now);
        let over = self.asked.len().saturating_sub(ASKED_MAX);
        self.asked.drain(..over);
    }

    pub(super) fn give(&mut self, at: Timestamp, value: Option<Glucose>) {
        let place = self.given.partition_point(|given| given.at < at);
        match self.given.get_mut(place).filter(|given| given.at == at) {
            Some(known) => known.value = known.value.or(value),
            None => self.given.insert(place, Given { at, value }),
        }
        let over = self.given.len().saturating_sub(KEPT_MAX);
        let old = self.given.partition_point(|given| at - given.at > KEPT);
        self.given.drain(..over.max(old));
    }

    pub(super) fn eat(&mut self, at: Timestamp) {
        let place = self.food.partition_point(|food| *food < at);
        if self.food.get(place) != Some(&at) {
            self.food.insert(place, at);
        }
        let over = self.food.len().saturating_sub(KEPT_MAX);
        let old = self.food.partition_point(|food| at - *food > KEPT);
        self.food.drain(..over.max(old));
    }

    /// What was noted of a dose of that time was not so. Says what the value was.
    pub(super) fn forget_given(&mut self, at: Timestamp) -> Option<Glucose> {
        let place = self.given.iter().position(|given| given.at == at)?;
        self.given.remove(place).value
    }

    /// The same of food.
    pub(super) fn forget_food(&mut self, at: Timestamp) {
        self.food.retain(|food| *food != at);
    }

    /// The clock was set: every span keeps its length.
    pub(super) fn shift(&mut self, by: Span) {
        self.very_high.iter_mut().chain(&mut self.high).for_each(|stretch| stretch.shift(by));
        let times = self.given.iter_mut().map(|given| &mut given.at).chain(&mut self.food).chain(&mut self.asked);
        let far = self.far_above.iter_mut().flat_map(|(since, last)| [since, last]);
        times
            .chain(&mut self.team)
            .chain(&mut self.with_set)
            .chain(&mut self.waits_until)
            .chain(far)
            .for_each(|at| *at = *at + by);
        self.calls.shift(by);
    }
}

impl Engine {
    /// A reading of now: it goes on with a stretch, begins one, or ends one.
    #[inline]
    pub(super) fn notice_high(&mut self, reading: &Reading, now: Timestamp) {
        let (high, very_high) = self.sides_of(reading.glucose);
        if high || very_high || self.state.high.high.is_some() || self.state.high.very_high.is_some() {
            Stretch::see(&mut self.state.high.high, reading.measured, high);
            Stretch::see(&mut self.state.high.very_high, reading.measured, very_high);
            self.notice_far_above(reading, now);
        }
    }

    /// Counted from when it was known: until then nobody could have answered. A silence ends it.
    fn notice_far_above(&mut self, reading: &Reading, now: Timestamp) {
        if self.state.window.newest().is_some_and(|newest| newest.measured > reading.measured) {
            return;
        }
        let story = &mut self.state.high;
        let far = reading.glucose.hundredths() >= PUMP_FROM.hundredths();
        let goes_on = |(_, last): &(Timestamp, Timestamp)| now - *last <= SILENCE;
        let since = story.far_above.filter(goes_on).map_or(now, |(since, _)| since);
        story.far_above = far.then_some((since, now));
    }

    /// Readings that came late may show that it began earlier.
    pub(super) fn notice_late_highs(&mut self, late: &[Reading]) {
        for reading in late.iter().rev() {
            let (high, very_high) = self.sides_of(reading.glucose);
            let story = &mut self.state.high;
            story.high.iter_mut().for_each(|stretch| stretch.see_late(reading.measured, high));
            story.very_high.iter_mut().for_each(|stretch| stretch.see_late(reading.measured, very_high));
        }
    }

    /// While a treated high is followed, and this value is not far above what it was then: when its next check speaks for
    /// it.
    pub(super) fn check_speaks(&self, now: Timestamp, value: Glucose) -> Option<Timestamp> {
        let limit = self.policy.levels.high.limit.hundredths();
        let since = self.state.high.high?.since;
        // What may not have been meant keeps nothing silent.
        let was_high = |given: &&Given| {
            given.value.is_some_and(|value| value.hundredths() >= limit) && !self.state.doses.is_in_question(given.at)
        };
        let given = self.state.high.given_by(now).rev().find(was_high)?;
        let risen = given.value.is_some_and(|then| value.hundredths() - then.hundredths() >= RISEN);
        let followed = since <= given.at && now - given.at <= FOLLOWED && !risen;
        self.state.plan.due(Job::HighCheck).filter(|_| followed)
    }

    /// Insulin was noted, or a high was marked as treated, whenever that was.
    pub(super) fn remember_given(&mut self, at: Timestamp) {
        let value = self.value_at(at);
        self.state.high.give(at, value);
    }

    fn sides_of(&self, value: Glucose) -> (bool, bool) {
        let levels = &self.policy.levels;
        let very_high = value.hundredths() >= self.asked_from();
        (Side::High.is_beyond(value, levels.high.limit), very_high)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(minute: i64) -> Timestamp {
        Timestamp::from_seconds(minute * 60)
    }

    fn since(readings: &[(i64, bool)]) -> Option<Timestamp> {
        let mut known = None;
        for (minute, within) in readings {
            Stretch::see(&mut known, at(*minute), *within);
        }
        known.map(|stretch| stretch.since)
    }

    #[test]
    fn a_stretch_goes_on_until_half_an_hour_wholly_below() {
        assert_eq!(since(&[(0, true), (5, false), (30, false), (34, true)]), Some(at(0)));
        assert_eq!(since(&[(0, true), (5, false), (30, false), (35, true)]), Some(at(35)));
        assert_eq!(since(&[(0, true), (5, false), (35, false)]), None);
        assert_eq!(since(&[(0, true), (240, true)]), Some(at(0)), "a silence ends nothing");
        assert_eq!(since(&[(10, true), (0, false), (15, true)]), Some(at(10)), "one that came late");
    }

    #[test]
    fn a_late_reading_just_before_it_is_of_it() {
        let mut stretch = Stretch::new(at(60));
        for minute in [45, 20, -15] {
            stretch.see_late(at(minute), true);
        }
        assert_eq!(stretch.since, at(20));
    }

    #[test]
    fn the_first_dose_of_a_high_is_the_one_that_stands_first() {
        let mut story = HighStory { very_high: Some(Stretch::new(at(0))), ..HighStory::default() };
        for minute in [120, 10, 60, 200] {
            story.give(at(minute), Some(Glucose::mg_dl(260)));
        }
        assert_eq!(story.doses_of_stretch(at(150)).count(), 3);
        assert_eq!(story.first_dose(at(300)).map(|given| given.at), Some(at(10)));
        assert_eq!(story.lone_dose(at(30), 3).map(|given| given.at), Some(at(10)));
        assert_eq!(story.lone_dose(at(90), 3), None);
        story.forget_given(at(10));
        assert_eq!(story.first_dose(at(300)).map(|given| given.at), Some(at(60)));
    }

    #[test]
    fn a_meal_within_an_hour_is_beside_a_dose() {
        let mut story = HighStory::default();
        for minute in [500, 100] {
            story.eat(at(minute));
        }
        let beside = |dose: i64, now: i64| story.meal_beside(at(dose), at(now)).is_some();
        assert!(beside(160, 600) && beside(40, 600) && !beside(161, 600) && !beside(39, 600));
        assert!(!beside(450, 499), "nobody knows of it yet");
    }

    #[test]
    fn what_is_kept_is_bounded() {
        let mut story = HighStory::default();
        for minute in 0..500 {
            story.give(at(minute), None);
            story.eat(at(minute));
            story.ask(at(minute));
        }
        assert_eq!((story.given.len(), story.food.len(), story.asked.len()), (KEPT_MAX, KEPT_MAX, ASKED_MAX));
        assert_eq!(story.asked_since(at(498)).len(), 2);
    }
}
