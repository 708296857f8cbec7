//! One story of a low: the forecast that foresaw it and its first reading, a low and the next within three quarters of an
//! hour. What rang for the earlier part covers the later for a while, so that one low does not ring three times in five
//! minutes. Covers nothing very low, nothing that falls fast, and nobody who may not feel a low.

use super::Engine;
use super::alert::{Alert, Because, Standing, priority};
use super::effect::{Condition, Side, What};
use super::level::Seen;
use super::plan::Job;
use super::reason::Reason;
use super::trend;
use super::turn::Turn;
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// A forecast that rang and was answered covers the low it foresaw for so long from its ring; one that nobody answered
/// for less. All spans and values here were chosen on open traces: 4.8 rings a day on the low side became 4.1, no very
/// low was told later, and fewer lows were silent for a quarter of an hour than before (docs/alerts-measured.md).
const ANSWERED_COVERS: Span = Span::minutes(30);
const UNANSWERED_COVERS: Span = Span::minutes(10);

/// Readings within this of the last low one are the same low.
const SAME_LOW: Span = Span::minutes(45);

/// What covers that has rung itself within this.
const RANG_WITHIN: Span = Span::minutes(60);

/// A covered low that is still one rings after this, whatever it was in between.
const COVERED_AT_MOST: Span = Span::minutes(15);

/// What is eaten before a low belongs to it for so long: ours.
const EATEN_BEFORE: Span = Span::minutes(20);

/// So many are remembered: more than anybody treats one low.
const TREATMENTS_MAX: usize = 64;

/// Readings come a little early or late.
const JITTER: Span = Span::minutes(1);

/// Nothing below this is covered, in hundredths.
const COVERED_FROM: i32 = 6_000;

/// Nothing that falls as fast is covered, in hundredths of a mg/dL per minute.
const FALLS_BY: i32 = -200;

/// What is remembered of the low that is there, or of the last one.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Story {
    /// When the forecast rang that came true last, and whether it was answered.
    pub(in crate::engine) foretold: Option<(Timestamp, bool)>,
    /// The last reading below the low limit.
    pub(in crate::engine) last: Option<Timestamp>,
    /// When it was treated, in order: what was eaten shortly before it is a treatment of it as well.
    #[serde(default)]
    treatments: Vec<Timestamp>,
    /// The first reading of a low that is covered, until it rings.
    pub(in crate::engine) covered: Option<Timestamp>,
}

/// Why a low that begins does not ring yet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Covers {
    /// A forecast rang.
    Forecast,
    /// It is the low of just before.
    SameLow,
}

impl Story {
    /// It was treated then, too, or something was eaten; the same that is told twice is one.
    pub(in crate::engine) fn treated(&mut self, at: Timestamp) {
        self.treatments.push(at);
        self.treatments.sort_unstable();
        self.treatments.dedup_by_key(|at| at.seconds().div_euclid(60));
        let more = self.treatments.len().saturating_sub(TREATMENTS_MAX);
        self.treatments.drain(..more);
    }

    /// These are the treatments that stand.
    pub(in crate::engine) fn treated_only(&mut self, times: impl Iterator<Item = Timestamp>) {
        self.treatments.clear();
        times.for_each(|at| self.treated(at));
    }

    /// The clock was set: every span keeps its length.
    pub(in crate::engine) fn shift(&mut self, by: Span) {
        self.foretold = self.foretold.map(|(rang, answered)| (rang + by, answered));
        for at in self.treatments.iter_mut().chain(&mut self.covered) {
            *at = *at + by;
        }
    }
}

impl Engine {
    /// How often the low there is was treated; one that only a finger-prick or symptoms tell of began with its check.
    #[must_use]
    pub fn times_treated(&self) -> u32 {
        let register = &self.state.register;
        let Some(began) = register.began.low_since().or(self.state.plan.low().map(|check| check.since)) else {
            return 0;
        };
        let of_it = register.story.treatments.iter().filter(|at| **at >= began - EATEN_BEFORE).count();
        u32::try_from(of_it).unwrap_or(u32::MAX)
    }

    /// What covers a low reading, and until when at the latest; nothing, for most that are graver.
    pub(super) fn covered_by(&self, turn: &Turn, seen: &Seen) -> Option<(Covers, Timestamp)> {
        // Where there is no rate yet, two readings tell how fast it falls.
        let newest = self.state.window.newest().map(|newest| newest.source);
        let rate = turn.judged.and_then(|judged| judged.rate);
        let rate = rate.or_else(|| trend::pace(self.state.window.newest_first(newest?), 2));
        let falls = rate.is_some_and(|rate| rate.0 <= FALLS_BY);
        if seen.side != Side::Low || seen.value.hundredths() < COVERED_FROM || falls || self.may_miss_lows(turn.now) {
            return None;
        }
        let story = &self.state.register.story;
        let until = story.covered.unwrap_or(seen.measured) + COVERED_AT_MOST;
        if seen.measured + JITTER >= until {
            return None;
        }
        let lately = |at: Timestamp, span: Span| (Span::ZERO..=span).contains(&(seen.measured - at));
        let spans = |answered: bool| if answered { ANSWERED_COVERS } else { UNANSWERED_COVERS };
        let foretold = story
            .foretold
            .filter(|(rang, answered)| seen.measured >= *rang && seen.measured + JITTER < *rang + spans(*answered));
        if let Some((rang, answered)) = foretold {
            let ends = if answered { until } else { (rang + UNANSWERED_COVERS).min(until) };
            return Some((Covers::Forecast, ends));
        }
        let rang = self.state.register.low_rang.is_some_and(|rang| turn.now - rang <= RANG_WITHIN);
        story.last.filter(|last| rang && lately(*last, SAME_LOW)).map(|_| (Covers::SameLow, until))
    }

    /// After the levels of a low reading were judged: what was covered rings when nothing covers it any more.
    pub(super) fn follow_story(&mut self, turn: &mut Turn, seen: &Seen) {
        let policy = self.policy.levels.low;
        let beyond = seen.side.is_beyond(seen.value, policy.limit);
        let covered = self.state.register.story.covered.filter(|_| beyond);
        if self.state.register.of(Condition::Low).is_none() {
            self.state.register.story.covered = None;
        } else if let Some(first) = covered {
            let rang = self.state.register.low_rang.is_some_and(|rang| rang >= first);
            if turn.cover.is_none() || rang {
                self.ring_covered_low(turn, seen.measured, rang);
            }
        }
        if let Some(until) = self.covered_until() {
            self.state.plan.set(Job::LowCalls, until);
        }
        if beyond {
            self.state.register.story.last = Some(seen.measured);
        }
    }

    /// When what is covered rings at the latest, whether a reading comes or not.
    pub(super) fn covered_until(&self) -> Option<Timestamp> {
        self.state.register.story.covered.map(|first| first + COVERED_AT_MOST + JITTER)
    }

    /// No reading has said since that it is back: what is covered rings by the clock. True when something is covered.
    pub(super) fn ring_covered_late(&mut self, turn: &mut Turn) -> bool {
        let Some(until) = self.covered_until() else { return false };
        let first = turn.out.len();
        let limit = self.policy.levels.low.limit;
        let before = turn.judged;
        turn.judged = self.last_known(turn.now);
        let low = turn.judged.filter(|judged| Side::Low.is_beyond(judged.glucose, limit));
        if let Some(judged) = low.filter(|_| until <= turn.now) {
            let rang = self.state.register.low_rang.is_some_and(|rang| rang + COVERED_AT_MOST >= until);
            self.ring_covered_low(turn, judged.at, rang);
            self.follow_chain(turn, first);
        } else if low.is_none() {
            self.state.register.story.covered = None;
            self.plan_chain(turn);
        } else {
            self.state.plan.set(Job::LowCalls, until);
        }
        turn.judged = before;
        true
    }

    fn ring_covered_low(&mut self, turn: &mut Turn, at: Timestamp, is_told: bool) {
        let policy = self.policy.levels.low;
        let worse = self.state.register.of(Condition::VeryLow).is_some_and(Alert::is_beyond);
        self.state.register.story.covered = None;
        let Some(alert) = self.state.register.of_mut(Condition::Low) else { return };
        if let Some(facts) = alert.level_mut() {
            facts.rang = at;
        }
        alert.told_at = Some(turn.now);
        if is_told || worse {
            // A very low, a check or a repeat has spoken for it meanwhile.
            if alert.is_covered() {
                alert.told_as(None);
            }
            let thread = alert.thread();
            return self.begin_answered_calls(turn, thread);
        }
        let (id, part_of) = (alert.id, alert.part_of);
        let reason = Reason::BeyondLimit { limit: policy.limit, since: alert.since };
        let held = turn.holds(policy.rings, priority::of(Condition::Low, &reason, turn.judged, turn.very_high));
        alert.standing = Standing::new(held.as_ref().map(|_| Because::Held), false);
        match held {
            Some(waits) => turn.tell(What::Held, Condition::Low, id, part_of, waits, false),
            None => turn.tell(What::Repeated, Condition::Low, id, part_of, reason, true),
        }
    }
}

impl Alert {
    /// Does an earlier ring of the same story cover it?
    #[must_use]
    pub const fn is_covered(&self) -> bool {
        matches!(self.silent(), Some(Because::Covered))
    }
}

impl Turn {
    /// A low that begins is covered: recorded, and not rung.
    pub(super) fn tell_covered(&mut self, alert: (Condition, super::effect::Id, Option<super::effect::Id>)) -> bool {
        let Some((by, until)) = self.cover else { return false };
        let (condition, id, part_of) = alert;
        self.tell(What::Withheld, condition, id, part_of, Reason::Covered { by, until }, false);
        true
    }
}
