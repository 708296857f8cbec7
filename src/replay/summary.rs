//! The figures of a replay, as they are shown and compared: plain numbers with their units in their names, rounded
//! once, so that a table, an object and a difference say the same. docs/replay.md defines each.

use super::burden::{Burden, OfCondition};
use super::foreseen::ForecastScore;
use super::score::{LevelScore, Score};
use super::story::Story;
use super::watched::is_in;
use crate::domain::time::{Span, Timestamp};
use crate::engine::effect::{Condition, Decision};
use crate::engine::policy::Policy;
use crate::formats::rows::Row;
use serde::Serialize;
use std::collections::BTreeMap;

/// All that is measured on the rows and decisions of one person or more. Whatever else is measured on them gets a
/// field here, its figures a field in [`Summary`], and each figure a line in `cli/replay_table.rs`; differences are
/// taken of all numbers there are.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Measures {
    score: Score,
    burden: Burden,
    /// Stretches that are not to be counted.
    left_out: Vec<(Timestamp, Timestamp)>,
}

impl Measures {
    /// Counts nothing of some stretches.
    #[must_use]
    pub fn leaving_out(stretches: &[(Timestamp, Timestamp)]) -> Self {
        Self { burden: Burden::leaving_out(stretches), left_out: stretches.to_vec(), ..Self::default() }
    }

    /// Adds a replay of one file, which nobody answers.
    pub fn add_file(&mut self, rows: &[Row], decisions: &[(Timestamp, Decision)], policy: &Policy) {
        self.score.add(rows, decisions, &policy.levels);
        self.burden.add_replayed(rows, decisions, policy);
    }

    /// Adds some time of a wearer's own life, with the rows of that time in order.
    pub fn add_life(&mut self, rows: &[Row], story: &Story<'_>) {
        let place = |at: Timestamp| story.decisions.partition_point(|(decided, _)| *decided < at);
        let inside = &story.decisions[place(story.from)..place(story.until)];
        if self.left_out.is_empty() {
            self.score.add(rows, inside, story.levels);
        } else {
            let counts = |at: Timestamp| !is_in(&self.left_out, at);
            let rows: Vec<Row> = rows.iter().filter(|row| counts(row.measured)).copied().collect();
            let inside: Vec<_> = inside.iter().filter(|(at, _)| counts(*at)).cloned().collect();
            self.score.add(&rows, &inside, story.levels);
        }
        self.burden.add(story);
    }

    /// The figures.
    #[must_use]
    pub fn summary(&self) -> Summary {
        Summary::new(&self.score, &self.burden)
    }
}

/// What the alerts did over some days of one person or more.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Summary {
    /// Readings that were lived through.
    pub readings: u64,
    /// Wearer-days that readings cover, gaps left out: what is said *a day* and *a night* is by these.
    pub days_covered: f64,
    /// Days that were watched: what is said *a week* is by these.
    pub days_watched: f64,
    /// Each condition that occurs, and the four levels.
    pub conditions: BTreeMap<Condition, Alerts>,
    /// Each forecast.
    pub forecasts: BTreeMap<Condition, Foreseen>,
    /// Prompts of re-checks.
    pub recheck_prompts_per_day: Option<f64>,
    /// Interruptions by night.
    pub wakes_per_week: Option<f64>,
    /// Of these, those that nobody needed.
    pub needless_wakes_per_week: Option<f64>,
    /// Interruptions of the median day.
    pub interruptions_by_day_median: Option<u64>,
    /// Of 95 days in a hundred, at most.
    pub interruptions_by_day_p95: Option<u64>,
    /// Interruptions of the median night.
    pub interruptions_by_night_median: Option<u64>,
    /// Of 95 nights in a hundred, at most.
    pub interruptions_by_night_p95: Option<u64>,
}

/// The alerts of one condition.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Alerts {
    /// Episodes beyond the limit, of a level.
    pub episodes: Option<u64>,
    /// Alerts raised.
    pub raised_per_day: Option<f64>,
    /// Alerts raised or repeated.
    pub rings_per_day: Option<f64>,
    /// Alerts raised within the hours of the night.
    pub raised_per_night: Option<f64>,
    /// All that rings by night, whatever it says about the condition.
    pub heard_per_night: Option<f64>,
    /// Of the alerts raised, those soon after the last one's end.
    pub re_raised_percent: Option<f64>,
    /// Of the episodes, those nobody was told of.
    pub missed_percent: Option<f64>,
    /// From the first reading of an episode to its first ring, on average.
    pub delay_min_mean: Option<f64>,
}

/// How well one forecast did.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Foreseen {
    /// Episodes that could be foreseen.
    pub episodes: u64,
    /// Those that were.
    pub detected_percent: Option<f64>,
    /// Those that were 15 minutes before or earlier.
    pub detected_15_min_percent: Option<f64>,
    /// The lead that a quarter of the detected have at most.
    pub lead_min_p25: Option<i64>,
    /// The lead that half of them have at most.
    pub lead_min_p50: Option<i64>,
    /// Of the forecasts that were true or false, the true.
    pub precision_percent: Option<f64>,
    /// Forecasts raised.
    pub raised_per_day: Option<f64>,
    /// Those that nothing followed.
    pub false_per_day: Option<f64>,
    /// Those that rang.
    pub rings_per_day: Option<f64>,
    /// Those that rang and that nothing followed.
    pub false_rings_per_day: Option<f64>,
}

impl Foreseen {
    fn new(score: &ForecastScore, days: f64) -> Self {
        let lead = |of_hundred| score.lead(of_hundred).map(Span::as_minutes);
        Self {
            episodes: score.episodes,
            detected_percent: percent(score.detected, score.episodes),
            detected_15_min_percent: percent(score.detected_early, score.episodes),
            lead_min_p25: lead(25),
            lead_min_p50: lead(50),
            precision_percent: percent(score.came_true, score.came_true + score.were_false),
            raised_per_day: over(score.raised, days, 2),
            false_per_day: over(score.were_false, days, 3),
            rings_per_day: over(score.rang, days, 2),
            false_rings_per_day: over(score.rang_false, days, 3),
        }
    }
}

impl Summary {
    fn new(score: &Score, burden: &Burden) -> Self {
        let days = score.days();
        let weeks = days_of(burden.watched) / 7.0;
        let mut conditions: BTreeMap<Condition, Alerts> =
            burden.conditions.iter().map(|(condition, of)| (*condition, of_condition(of, days))).collect();
        for level in &score.levels {
            let alerts = conditions.entry(level.condition).or_insert_with(|| Alerts::none(days));
            alerts.add_level(level, days);
        }
        for forecast in &score.forecasts {
            // One that is raised need not ring.
            if let Some(alerts) = conditions.get_mut(&forecast.condition) {
                alerts.rings_per_day = over(forecast.rang, days, 2);
            }
        }
        let forecasts = score.forecasts.iter().map(|forecast| (forecast.condition, Foreseen::new(forecast, days)));
        let forecasts = forecasts.collect();
        Self {
            readings: score.readings,
            days_covered: rounded(days, 1),
            days_watched: rounded(days_of(burden.watched), 1),
            conditions,
            forecasts,
            recheck_prompts_per_day: over(score.prompts, days, 2),
            wakes_per_week: over(burden.night.all, weeks, 1),
            needless_wakes_per_week: over(burden.needless_wakes, weeks, 1),
            interruptions_by_day_median: burden.day.percentile(50),
            interruptions_by_day_p95: burden.day.percentile(95),
            interruptions_by_night_median: burden.night.percentile(50),
            interruptions_by_night_p95: burden.night.percentile(95),
        }
    }

    /// Names the conditions that occur in another as well: there was none of them here.
    pub fn name_those_of(&mut self, other: &Self) {
        let days = self.days_covered;
        for condition in other.conditions.keys() {
            self.conditions.entry(*condition).or_insert_with(|| Alerts::none(days));
        }
    }
}

impl Alerts {
    /// A condition of which there was nothing.
    fn none(days: f64) -> Self {
        of_condition(&OfCondition::default(), days)
    }

    /// What is defined for a level only, and what is counted by its rule.
    fn add_level(&mut self, level: &LevelScore, days: f64) {
        self.episodes = Some(level.episodes);
        self.raised_per_day = over(level.raised, days, 2);
        self.rings_per_day = over(level.raised + level.repeated, days, 2);
        self.re_raised_percent = percent(level.re_raised, level.raised);
        self.missed_percent = percent(level.missed, level.episodes);
        let minutes = u64::try_from(level.delay_millis).unwrap_or(0);
        self.delay_min_mean = over(minutes, number(level.episodes - level.missed) * 60_000.0, 1);
    }
}

fn of_condition(of: &OfCondition, days: f64) -> Alerts {
    Alerts {
        raised_per_day: over(of.raised, days, 2),
        rings_per_day: over(of.raised + of.repeated, days, 2),
        raised_per_night: over(of.raised_by_night, days, 2),
        heard_per_night: over(of.night, days, 2),
        re_raised_percent: percent(of.re_raised, of.raised),
        ..Alerts::default()
    }
}

/// A number to so many decimals.
#[must_use]
pub fn rounded(value: f64, decimals: i32) -> f64 {
    let unit = 10.0_f64.powi(decimals);
    (value * unit).round() / unit
}

fn percent(n: u64, of: u64) -> Option<f64> {
    over(n, number(of) / 100.0, 1)
}

/// So many for each one of a measure; none where there is nothing of it.
fn over(n: u64, of: f64, decimals: i32) -> Option<f64> {
    (of > 0.0).then(|| rounded(number(n) / of, decimals))
}

#[expect(clippy::cast_precision_loss, reason = "counts of alerts, and milliseconds of a life, are far below 2^53")]
fn number(n: u64) -> f64 {
    n as f64
}

fn days_of(span: Span) -> f64 {
    number(u64::try_from(span.as_millis()).unwrap_or(0)) / 86_400_000.0
}
