//! What the alerts asked of the wearer: how often they rang, by day and by night, whether anybody answered,
//! and which rings nobody needed. The definitions stand in docs/burden.md.

use super::answers::Sides;
use super::story::{Story, limit_in, only_tells, rings};
use super::watched::{Part, Watched, doubted, is_in, parts};
use crate::domain::reading::{Reading, SourceId};
use crate::domain::time::{Span, Timestamp};
use crate::domain::travel::WallClock;
use crate::engine::alert::flood::{ALERTS_MAX, WITHIN_MIN};
use crate::engine::effect::{Condition, Decision, Id, What};
use crate::engine::mode::reason::Why;
use crate::engine::policy::Policy;
use crate::engine::reason::Reason;
use crate::formats::rows::Row;
use std::collections::{BTreeMap, BTreeSet};

/// A ring that was answered within this was acted on: our own.
pub const ACTED_WITHIN_MIN: i64 = 20;

/// A ring that nobody answered by then has no answer: our own.
pub const ANSWER_MAX_HOURS: i64 = 4;

/// As in docs/alerts-measured.md.
const RE_RAISED_WITHIN_MIN: i64 = 30;

/// Open for longer than this is standing: our own; longer than that is stale: common practice, no source.
const STANDING_HOURS: i64 = 4;
const STALE_HOURS: i64 = 24;

/// Rings this close are one interruption: our own.
const ONE_INTERRUPTION_MIN: i64 = 2;

/// The rings and alerts of one condition.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct OfCondition {
    /// Rings by day.
    pub day: u64,
    /// Rings by night.
    pub night: u64,
    /// Rings by night that nobody needed.
    pub needless: u64,
    /// Rings that ask for something, and are old enough to have been acted on.
    pub asked: u64,
    /// Of these, acted on in time.
    pub acted: u64,
    /// Rings that ask for something, too fresh to say.
    pub fresh: u64,
    /// How long each of those that asked waited for its answer; none where nobody answered. Sorted, these last.
    answers: Vec<Option<Span>>,
    /// Alerts open when the period began.
    pub open_before: u64,
    /// Alerts raised in it.
    pub raised: u64,
    /// Of these, raised by night.
    pub raised_by_night: u64,
    /// Alerts that rang again while they were open.
    pub repeated: u64,
    /// Of these, soon after the end of the last.
    pub re_raised: u64,
    /// Of these, back at the next reading.
    pub cleared_at_next: u64,
    /// Alerts that ended.
    pub ended: u64,
    /// Alerts still open when it ended.
    pub open: u64,
    /// Alerts whose end was never written: the engine began anew.
    pub end_unknown: u64,
    /// Alerts open for more than four hours.
    pub standing: u64,
    /// Of these, for more than a day.
    pub stale: u64,
    /// Alerts that rang and returned to normal.
    pub returned: u64,
    /// Of these, without anybody having seen or treated them.
    pub returned_unacknowledged: u64,
}

/// Interruptions by day, or by night.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Interruptions {
    /// All of them.
    pub all: u64,
    /// How many in each whole day, or night, that was watched for half of it or more; sorted.
    counted: Vec<u64>,
    /// Of those counted, how many had this as their highest priority: information, low, medium, high.
    pub by_priority: [u64; 4],
}

/// What the alerts asked of one wearer or more.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Burden {
    /// By condition.
    pub conditions: BTreeMap<Condition, OfCondition>,
    /// Rings by priority: information, low, medium, high.
    pub by_priority: [u64; 4],
    /// Interruptions by day.
    pub day: Interruptions,
    /// Interruptions by night.
    pub night: Interruptions,
    /// Interruptions by night of which no ring was needed.
    pub needless_wakes: u64,
    /// Floods.
    pub floods: u64,
    /// Rings that came in a flood.
    pub in_flood: u64,
    /// How long readings came and somebody watched.
    pub watched: Span,
    /// Stretches that are not to be counted.
    left_out: Vec<(Timestamp, Timestamp)>,
}

/// An alert that is open.
#[derive(Debug, Clone, Copy)]
struct Open {
    condition: Condition,
    since: Timestamp,
    rang: bool,
}

/// A ring with what was found about it.
#[derive(Debug, Clone, Copy)]
struct Ring {
    at: Timestamp,
    /// In which of the wearer's days and nights.
    part: usize,
    priority: usize,
    needless: bool,
    /// Its alert; without a number, its condition.
    about: (Id, Condition),
}

impl Burden {
    /// Counts nothing of some stretches.
    #[must_use]
    pub fn leaving_out(stretches: &[(Timestamp, Timestamp)]) -> Self {
        Self { left_out: stretches.to_vec(), ..Self::default() }
    }

    /// Adds some time of a wearer's life.
    pub fn add(&mut self, story: &Story<'_>) {
        let sides = Sides::of(story.decisions);
        let parts = parts(story.clock, story.night, story.from, story.until);
        let watched = Watched::new(story.readings, story.decisions).without(&self.left_out);
        self.watched = self.watched + watched.within(story.from, story.until);
        let rings = self.add_rings(story, &sides, &parts);
        self.add_alerts(story, &sides, &parts);
        self.add_interruptions(&rings, &parts, &watched);
        self.add_floods(&rings);
        for of in self.conditions.values_mut() {
            of.answers.sort_unstable_by_key(|answer| (answer.is_none(), *answer));
        }
    }

    /// Adds a replay of one file, which nobody answers.
    pub fn add_replayed(&mut self, rows: &[Row], decisions: &[(Timestamp, Decision)], policy: &Policy) {
        let Some((first, last)) = rows.first().zip(rows.last()) else { return };
        let source = SourceId(0);
        let reading = |row: &Row| Reading { source, measured: row.measured, glucose: row.glucose };
        let readings: Vec<Reading> = rows.iter().map(reading).collect();
        self.add(&Story {
            from: first.measured,
            until: last.measured + Span::millis(1),
            decisions,
            actions: &[],
            readings: &readings,
            clock: &WallClock::at_home(policy.zone),
            night: policy.night,
            levels: &policy.levels,
        });
    }

    /// Rings of all conditions.
    #[must_use]
    pub fn rings(&self) -> u64 {
        self.by_priority.iter().sum()
    }

    fn add_rings(&mut self, story: &Story<'_>, sides: &Sides, parts: &[Part]) -> Vec<Ring> {
        let mut all = Vec::new();
        let doubted = doubted(story.decisions);
        for (place, (at, decision)) in story.decisions.iter().enumerate() {
            let counts = !is_in(&doubted, *at) && !is_in(&self.left_out, *at);
            let (at, inside) = (*at, counts && story.from <= *at && *at < story.until);
            if !inside || !rings(decision) {
                continue;
            }
            let part = part_at(parts, at);
            let night = is_night(parts, part);
            let needless = night && story.needless(place, at, decision);
            let of = self.conditions.entry(decision.condition).or_default();
            of.day += u64::from(!night);
            of.night += u64::from(night);
            of.needless += u64::from(needless);
            if !only_tells(decision) {
                let answer = story.answer(sides, at, decision, Span::hours(ANSWER_MAX_HOURS));
                let in_time = answer.is_some_and(|answer| answer <= Span::minutes(ACTED_WITHIN_MIN));
                if in_time || story.until - at > Span::minutes(ACTED_WITHIN_MIN) {
                    of.asked += 1;
                    of.acted += u64::from(in_time);
                    of.answers.push(answer);
                } else {
                    of.fresh += 1;
                }
            }
            let priority = decision.priority as usize;
            self.by_priority[priority] += 1;
            all.push(Ring { at, part, priority, needless, about: (decision.id, decision.condition) });
        }
        all
    }

    fn add_alerts(&mut self, story: &Story<'_>, sides: &Sides, parts: &[Part]) {
        let mut open: BTreeMap<Id, Open> = BTreeMap::new();
        let mut ended: BTreeMap<Condition, Timestamp> = BTreeMap::new();
        for (place, (at, decision)) in story.decisions.iter().enumerate().take_while(|(_, (at, _))| *at < story.until) {
            let (at, id, condition) = (*at, decision.id, decision.condition);
            let known = open.get(&id).is_some_and(|alert| alert.condition == condition);
            let counts = !is_in(&self.left_out, at);
            if decision.what == What::Raised && !known && counts {
                // A level has one alert at a time, and a number one meaning: the end of the other is not known.
                let is_level = limit_in(&decision.reason).is_some();
                let lost: Vec<Id> = open
                    .iter()
                    .filter(|(other, alert)| **other == id || is_level && alert.condition == condition)
                    .map(|(other, _)| *other)
                    .collect();
                for alert in lost.iter().filter_map(|lost| open.remove(lost)).filter(|_| at >= story.from) {
                    self.close(story, &alert, at).end_unknown += 1;
                }
                open.insert(id, Open { condition, since: at, rang: false });
                if at >= story.from {
                    let soon = Span::minutes(RE_RAISED_WITHIN_MIN);
                    let of = self.conditions.entry(condition).or_default();
                    of.raised += 1;
                    of.raised_by_night += u64::from(is_night(parts, part_at(parts, at)));
                    of.re_raised += u64::from(ended.get(&condition).is_some_and(|ended| at - *ended <= soon));
                    of.cleared_at_next += u64::from(story.cleared_at_next(place, at, decision));
                }
            }
            if decision.what == What::Repeated && at >= story.from && counts {
                self.conditions.entry(condition).or_default().repeated += 1;
            }
            if rings(decision) {
                for about in [Some(id), decision.part_of].into_iter().flatten() {
                    if let Some(alert) = open.get_mut(&about) {
                        alert.rang = true;
                    }
                }
            }
            if decision.what == What::Ended
                && let Some(alert) = open.remove(&id)
            {
                ended.insert(alert.condition, at);
                if at >= story.from {
                    let acts = story.actions.iter().filter(|action| alert.since <= action.at && action.at <= at);
                    let acknowledged =
                        acts.map(|action| action.act).any(|act| sides.acknowledges(act, id, alert.condition));
                    let returned = alert.rang && !is_unasked(&decision.reason);
                    let of = self.close(story, &alert, at);
                    of.ended += 1;
                    of.returned += u64::from(returned);
                    of.returned_unacknowledged += u64::from(returned && !acknowledged);
                }
            }
        }
        for alert in open.values() {
            self.close(story, alert, story.until).open += 1;
        }
    }

    /// How long it was open by then.
    fn close(&mut self, story: &Story<'_>, alert: &Open, at: Timestamp) -> &mut OfCondition {
        let of = self.conditions.entry(alert.condition).or_default();
        of.open_before += u64::from(alert.since < story.from);
        of.standing += u64::from(at - alert.since > Span::hours(STANDING_HOURS));
        of.stale += u64::from(at - alert.since > Span::hours(STALE_HOURS));
        of
    }

    fn add_interruptions(&mut self, rings: &[Ring], parts: &[Part], watched: &Watched) {
        let one = Span::minutes(ONE_INTERRUPTION_MIN);
        let mut in_part: Vec<[u64; 4]> = vec![[0; 4]; parts.len()];
        let mut rest = rings;
        while let Some(first) = rest.first() {
            let (together, after) = rest.split_at(rest.partition_point(|ring| ring.at - first.at <= one));
            rest = after;
            let highest = together.iter().map(|ring| ring.priority).max().unwrap_or(0);
            if let Some(counts) = in_part.get_mut(first.part) {
                counts[highest] += 1;
            }
            let night = is_night(parts, first.part);
            let of = if night { &mut self.night } else { &mut self.day };
            of.all += 1;
            self.needless_wakes += u64::from(night && together.iter().all(|ring| ring.needless));
        }
        for (part, counts) in parts.iter().zip(in_part) {
            if part.whole && watched.within(part.from, part.until).times(2, 1) >= part.until - part.from {
                let of = if part.night { &mut self.night } else { &mut self.day };
                of.counted.push(counts.iter().sum());
                of.by_priority.iter_mut().zip(counts).for_each(|(sum, n)| *sum += n);
            }
        }
        self.day.counted.sort_unstable();
        self.night.counted.sort_unstable();
    }

    fn add_floods(&mut self, rings: &[Ring]) {
        let mut flooded_until = 0;
        for (place, first) in rings.iter().enumerate() {
            let end = place + rings[place..].partition_point(|ring| ring.at - first.at <= Span::minutes(WITHIN_MIN));
            // A forecast is no alert beside the level it foresaw.
            let abouts = rings[place..end].iter().map(|ring| ring.about);
            let distinct: BTreeSet<(Id, Condition)> = abouts.filter(|(_, of)| of.foreseen().is_none()).collect();
            if distinct.len() > ALERTS_MAX {
                self.floods += u64::from(place >= flooded_until);
                self.in_flood += count(end - place.max(flooded_until).min(end));
                flooded_until = flooded_until.max(end);
            }
        }
    }
}

impl OfCondition {
    /// The answer time that so many in a hundred of the rings that asked had or were under; none where that
    /// one was not answered, or nothing was asked.
    #[must_use]
    pub fn answered_within(&self, of_hundred: usize) -> Option<Span> {
        nearest_rank(&self.answers, of_hundred).flatten()
    }
}

impl Interruptions {
    /// Days, or nights, that count.
    #[must_use]
    pub fn parts(&self) -> u64 {
        count(self.counted.len())
    }

    /// Interruptions in those.
    #[must_use]
    pub fn counted(&self) -> u64 {
        self.counted.iter().sum()
    }

    /// So many in a hundred of the days, or nights, had that many or fewer.
    #[must_use]
    pub fn percentile(&self, of_hundred: usize) -> Option<u64> {
        nearest_rank(&self.counted, of_hundred)
    }
}

/// In which of the wearer's days and nights an instant falls.
fn part_at(parts: &[Part], at: Timestamp) -> usize {
    parts.partition_point(|part| part.until <= at)
}

fn is_night(parts: &[Part], place: usize) -> bool {
    parts.get(place).is_some_and(|part| part.night)
}

/// Did an alert end because nothing asked for it any more, whatever the value?
fn is_unasked(reason: &Reason) -> bool {
    matches!(reason, Reason::ConditionGone | Reason::Mode { said: Why::NothingAsks })
}

/// The nearest rank: the smallest of them that so many in a hundred do not exceed.
fn nearest_rank<T: Copy>(sorted: &[T], of_hundred: usize) -> Option<T> {
    let rank = (sorted.len() * of_hundred).div_ceil(100).max(1);
    sorted.get(rank - 1).copied()
}

fn count(n: usize) -> u64 {
    u64::try_from(n).unwrap_or(u64::MAX)
}
