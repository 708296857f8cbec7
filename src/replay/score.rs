//! How well level alerts did on past days: rings a day, re-raised, missed, delay.
//!
//! The definitions are those of docs/alerts-measured.md. In short: readings closer than 3.9 minutes to
//! the last kept one are dropped; readings are split at gaps; an episode is a run beyond the limit of at
//! least two readings and 10 minutes, adding half an interval at its end, and runs with no more than
//! 15 minutes back between them are one; *re-raised* is raised within 30 minutes of its own end;
//! *missed* is an episode in which nothing rang, and nothing in the 30 minutes before it; a forecast of it that rang
//! counts where nothing else did, for it covers a short low (promise L2).

use super::foreseen::ForecastScore;
use crate::domain::time::{Span, Timestamp};
use crate::engine::effect::{Condition, Decision, Side, What};
use crate::engine::policy::Levels;
use crate::formats::rows::Row;

const KEPT_APART_MILLIS: i64 = 234_000;
const EPISODE_OVER_MIN: i64 = 15;
/// Three readings five minutes apart span ten, and the third lasts a while.
const EPISODE_SPAN_MIN: i64 = 10;
const COVERED_BEFORE_MIN: i64 = 30;
const RE_RAISED_WITHIN_MIN: i64 = 30;
const FLOOR_HUNDREDTHS: i32 = 3_900;
const GAP_MIN: i64 = 20;
const GAP_SPARSE_MIN: i64 = 35;
const SPARSE_CADENCE_MIN: i64 = 10;

/// Episodes with less before them cannot be foreseen.
const KNOWN_BEFORE_MIN: i64 = 20;

/// Nobody asks for readings followed longer than this.
const FOLLOWED_ENOUGH: Span = Span::minutes(60);

/// The levels scored, each with the worse one whose ring covers it.
const SCORED: [(Condition, Option<Condition>); 4] = [
    (Condition::VeryLow, None),
    (Condition::Low, Some(Condition::VeryLow)),
    (Condition::High, Some(Condition::VeryHigh)),
    (Condition::VeryHigh, None),
];

/// What one level's alerts did.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LevelScore {
    /// Which level.
    pub condition: Condition,
    /// Episodes beyond its limit.
    pub episodes: u64,
    /// Alerts that became active.
    pub raised: u64,
    /// Rings for a new episode under an old alert.
    pub repeated: u64,
    /// Alerts raised within half an hour of their own end.
    pub re_raised: u64,
    /// Episodes nobody was told of.
    pub missed: u64,
    /// Time from the beginning of each episode to its first ring, or to its end where nothing rang, in milliseconds.
    pub unheard_millis: i64,
    /// Summed delay of the first ring over the episodes that had one, in milliseconds.
    pub delay_millis: i64,
}

/// What all alerts did over some days of one or more people.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Score {
    /// Covered time, gaps excluded, in milliseconds.
    pub covered_millis: i64,
    /// Readings that were read.
    pub readings: u64,
    /// One entry a level.
    pub levels: Vec<LevelScore>,
    /// One entry a forecast.
    pub forecasts: Vec<ForecastScore>,
    /// Prompts of re-checks.
    pub prompts: u64,
    /// Gap alerts.
    pub gaps: u64,
}

impl Default for Score {
    fn default() -> Self {
        let level = |(condition, _): (Condition, Option<Condition>)| LevelScore {
            condition,
            episodes: 0,
            raised: 0,
            repeated: 0,
            re_raised: 0,
            missed: 0,
            unheard_millis: 0,
            delay_millis: 0,
        };
        Self {
            covered_millis: 0,
            readings: 0,
            levels: SCORED.map(level).to_vec(),
            forecasts: Condition::FORECASTS.map(ForecastScore::new).to_vec(),
            prompts: 0,
            gaps: 0,
        }
    }
}

impl Score {
    /// Wearer-days.
    #[must_use]
    #[expect(clippy::cast_precision_loss, reason = "a few thousand days in milliseconds are far below 2^53")]
    pub fn days(&self) -> f64 {
        self.covered_millis as f64 / 86_400_000.0
    }

    /// Adds one person's rows and the decisions made on them, each with its time.
    pub fn add(&mut self, rows: &[Row], decisions: &[(Timestamp, Decision)], levels: &Levels) {
        self.add_past(&Past::new(rows, levels), decisions);
    }

    /// The same of rows that are looked through already.
    pub fn add_past(&mut self, past: &Past, decisions: &[(Timestamp, Decision)]) {
        self.readings += past.readings;
        self.covered_millis += past.kept.covered_millis();
        for (forecast, foreseeable) in self.forecasts.iter_mut().zip(&past.foreseeable) {
            forecast.add_kept(&past.kept, foreseeable, decisions, &past.levels);
        }
        let count = |wanted: &dyn Fn(&Decision) -> bool| {
            u64::try_from(decisions.iter().filter(|(_, decision)| wanted(decision)).count()).unwrap_or(u64::MAX)
        };
        self.prompts += count(&|decision| decision.what == What::Prompt);
        self.gaps += count(&|decision| decision.what == What::Raised && decision.condition == Condition::Gap);
        for ((score, (condition, worse)), episodes) in self.levels.iter_mut().zip(SCORED).zip(&past.episodes) {
            score.add(episodes, decisions, condition, worse);
        }
    }
}

impl LevelScore {
    fn add(
        &mut self,
        episodes: &[(Timestamp, Timestamp)],
        decisions: &[(Timestamp, Decision)],
        condition: Condition,
        worse: Option<Condition>,
    ) {
        let mut ended: Option<Timestamp> = None;
        let (mut rings, mut foretold): (Vec<Timestamp>, Vec<Timestamp>) = (Vec::new(), Vec::new());
        for (at, decision) in decisions {
            let rang = matches!(decision.what, What::Raised | What::Repeated);
            // What waits for the morning counts as rung; a low that is covered has not.
            let rang = rang && (decision.rings || condition.side() != Some(Side::Low));
            if rang && (decision.condition == condition || Some(decision.condition) == worse) {
                rings.push(*at);
            }
            let foreseen = decision.condition.foreseen();
            if decision.rings && foreseen.is_some() && (foreseen == Some(condition) || foreseen == worse) {
                foretold.push(*at);
            }
            if decision.condition != condition {
                continue;
            }
            match decision.what {
                What::Raised => {
                    self.raised += 1;
                    self.re_raised +=
                        u64::from(ended.is_some_and(|ended| *at - ended <= Span::minutes(RE_RAISED_WITHIN_MIN)));
                }
                What::Repeated => self.repeated += 1,
                What::Ended => ended = Some(*at),
                What::Held
                | What::Withheld
                | What::Look
                | What::Prompt
                | What::Escalated
                | What::Called
                | What::Told
                | What::Answer => {}
            }
        }
        self.episodes += u64::try_from(episodes.len()).unwrap_or(u64::MAX);
        for (from, to) in episodes {
            let first_of = |rings: &[Timestamp]| {
                let first = rings.partition_point(|ring| *ring < *from - Span::minutes(COVERED_BEFORE_MIN));
                rings.get(first).filter(|ring| *ring <= to).copied()
            };
            let ring = first_of(&rings).or_else(|| first_of(&foretold));
            let delay = ring.map(|ring| (ring - *from).max(Span::ZERO).as_millis());
            self.missed += u64::from(delay.is_none());
            self.delay_millis += delay.unwrap_or(0);
            self.unheard_millis += delay.unwrap_or((*to - *from).as_millis());
        }
    }
}

/// One person's rows, looked through once: however many settings are tried on them, the episodes beyond these limits
/// are the same.
#[derive(Debug, Clone, PartialEq)]
pub struct Past {
    readings: u64,
    kept: Kept,
    levels: Levels,
    /// Of each level that is scored.
    episodes: Vec<Vec<(Timestamp, Timestamp)>>,
    /// Of each forecast the episodes it could foresee.
    foreseeable: Vec<Vec<Timestamp>>,
}

impl Past {
    /// Looks through rows.
    #[must_use]
    pub fn new(rows: &[Row], levels: &Levels) -> Self {
        let kept = Kept::of(rows);
        let beyond = |condition: Condition| -> Vec<(Timestamp, Timestamp)> {
            let Some((level, side)) = levels.of(condition).zip(condition.side()) else { return Vec::new() };
            let limit = level.limit.hundredths();
            episodes(&kept, &|value: i32| if side == Side::Low { value < limit } else { value > limit })
        };
        let found: Vec<_> = SCORED.into_iter().map(|(condition, _)| beyond(condition)).collect();
        let foreseeable = |condition: &Condition| {
            let place = SCORED.iter().position(|(level, _)| Some(*level) == condition.foreseen());
            let begins = place.map(|place| &found[place]).into_iter().flatten().map(|(from, _)| *from);
            begins.filter(|from| *from - kept.followed_since(*from) >= Span::minutes(KNOWN_BEFORE_MIN)).collect()
        };
        let foreseeable = Condition::FORECASTS.iter().map(foreseeable).collect();
        let readings = u64::try_from(rows.len()).unwrap_or(u64::MAX);
        Self { readings, levels: *levels, episodes: found, foreseeable, kept }
    }

    /// Wearer-days.
    #[must_use]
    pub fn days(&self) -> f64 {
        Score { covered_millis: self.kept.covered_millis(), ..Score::default() }.days()
    }
}

/// One person's readings as they are scored: cleaned, and split at gaps.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Kept {
    /// Times and values in hundredths, in order.
    values: Vec<(Timestamp, i32)>,
    cadence: Span,
    gap: Span,
}

impl Kept {
    pub(super) fn of(rows: &[Row]) -> Self {
        let mut values: Vec<(Timestamp, i32)> = Vec::with_capacity(rows.len());
        for row in rows {
            if values.last().is_none_or(|(last, _)| (row.measured - *last).as_millis() >= KEPT_APART_MILLIS) {
                values.push((row.measured, row.glucose.hundredths().max(FLOOR_HUNDREDTHS)));
            }
        }
        let mut intervals: Vec<Span> = values.windows(2).map(|pair| pair[1].0 - pair[0].0).collect();
        let middle = intervals.len() / 2;
        let cadence = match intervals.get_mut(..) {
            Some(all) if !all.is_empty() => *all.select_nth_unstable(middle).1,
            _ => Span::minutes(5),
        };
        let gap = Span::minutes(if cadence > Span::minutes(SPARSE_CADENCE_MIN) { GAP_SPARSE_MIN } else { GAP_MIN });
        Self { values, cadence, gap }
    }

    fn covered_millis(&self) -> i64 {
        let intervals = self.values.windows(2).map(|pair| pair[1].0 - pair[0].0);
        intervals.filter(|interval| *interval <= self.gap).map(Span::as_millis).sum()
    }

    /// The values within a span after an instant.
    pub(super) fn after(&self, at: Timestamp, span: Span) -> impl Iterator<Item = &(Timestamp, i32)> {
        let first = self.values.partition_point(|(measured, _)| *measured <= at);
        self.values[first..].iter().take_while(move |(measured, _)| *measured - at <= span)
    }

    /// Up to when readings follow from an instant on without a gap.
    pub(super) fn followed_until(&self, at: Timestamp) -> Timestamp {
        let first = self.values.partition_point(|(measured, _)| *measured <= at);
        let mut until = at;
        for (next, _) in &self.values[first..] {
            if *next - until > self.gap || until - at > FOLLOWED_ENOUGH {
                break;
            }
            until = *next;
        }
        until
    }

    /// Since when readings lead up to an instant without a gap.
    pub(super) fn followed_since(&self, at: Timestamp) -> Timestamp {
        let first = self.values.partition_point(|(measured, _)| *measured < at);
        let mut since = at;
        for (before, _) in self.values[..first].iter().rev() {
            if since - *before > self.gap || at - since > FOLLOWED_ENOUGH {
                break;
            }
            since = *before;
        }
        since
    }
}

/// First and last reading beyond the limit of each episode.
pub(super) fn episodes(kept: &Kept, beyond: &impl Fn(i32) -> bool) -> Vec<(Timestamp, Timestamp)> {
    let Kept { values: kept, cadence, gap } = kept;
    let (cadence, gap) = (*cadence, *gap);
    let mut runs: Vec<Run> = Vec::new();
    let mut before: Option<Timestamp> = None;
    let mut segment = 0;
    let mut open = false;
    for (at, value) in kept {
        if before.is_some_and(|before| *at - before > gap) {
            segment += 1;
            open = false;
        }
        before = Some(*at);
        match (beyond(*value), open, runs.last_mut()) {
            (true, true, Some(run)) => {
                run.to = *at;
                run.readings += 1;
            }
            (true, _, _) => runs.push(Run { segment, from: *at, to: *at, readings: 1, last_back: None }),
            (false, _, Some(run)) if run.segment == segment => run.last_back = Some(*at),
            (false, _, _) => {}
        }
        open = beyond(*value);
    }
    let long_enough =
        |run: &Run| run.readings >= 2 && (run.to - run.from) + cadence.times(1, 2) >= Span::minutes(EPISODE_SPAN_MIN);
    let mut found: Vec<Run> = Vec::new();
    let mut last_back: Option<Timestamp> = None;
    for run in runs {
        let back_until = last_back.max(run.last_back);
        if long_enough(&run) {
            match found.last_mut() {
                Some(known)
                    if known.segment == run.segment
                        && last_back.is_none_or(|back| back - known.to <= Span::minutes(EPISODE_OVER_MIN)) =>
                {
                    known.to = run.to;
                }
                Some(_) | None => found.push(run),
            }
        }
        last_back = back_until;
    }
    found.into_iter().map(|run| (run.from, run.to)).collect()
}

struct Run {
    segment: usize,
    from: Timestamp,
    to: Timestamp,
    readings: u32,
    last_back: Option<Timestamp>,
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kept(values: &[i32]) -> Kept {
        let values = values
            .iter()
            .enumerate()
            .map(|(place, value)| (Timestamp::from_seconds(i64::try_from(place).unwrap() * 300), value * 100))
            .collect();
        Kept { values, cadence: Span::minutes(5), gap: Span::minutes(20) }
    }

    fn lows(values: &[i32]) -> Vec<(i64, i64)> {
        let found = episodes(&kept(values), &|value| value < 7_000);
        found.into_iter().map(|(from, to)| (from.seconds() / 300, to.seconds() / 300)).collect()
    }

    #[test]
    fn an_episode_is_three_readings_and_a_short_return_does_not_end_it() {
        assert_eq!(lows(&[80, 65, 65, 80]), []);
        assert_eq!(lows(&[80, 65, 65, 65, 80]), [(1, 3)]);
        assert_eq!(lows(&[65, 65, 65, 80, 80, 80, 65, 65, 65]), [(0, 8)]);
        assert_eq!(lows(&[65, 65, 65, 80, 80, 80, 80, 65, 65, 65]), [(0, 2), (7, 9)]);
        assert_eq!(lows(&[65, 65, 65, 80, 80, 65, 80, 80, 80, 65, 65, 65]), [(0, 2), (9, 11)]);
    }
}
