//! `recheck suggest`: which settings would have asked less of this person on their own past days, and what they would
//! have cost. Searches, shows, and changes nothing.

use super::at_once::in_order;
use super::burden;
use super::print::{Failure, folded, line, words};
use super::replay::read;
use super::suggest_picture;
use super::{Place, exclude};
use crate::config::files::computer_zone;
use crate::domain::reading::{Reading, SourceId};
use crate::domain::time::{Span, Timestamp};
use crate::engine::effect::Decision;
use crate::engine::policy::Policy;
use crate::formats::rows::Row;
use crate::replay::run::{put_in_order, run as live};
use crate::replay::suggest::choices::{Choice, Search, together};
use crate::replay::suggest::{Days, Figures, Outcome, counts, front, holds};
use crate::replay::watched::{doubted, is_in};
use crate::store::Store;
use clap::Args;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::path::PathBuf;
use std::process::ExitCode;

/// Fewer days covered in either part are no ground to stand on, and fewer in all are little.
const PART_DAYS_MIN: f64 = 3.0;
const DAYS_LITTLE: f64 = 28.0;

/// What is typed after `recheck suggest`.
#[derive(Debug, Args)]
pub(super) struct Typed {
    /// Files of one person to search on; without one, your own history.
    files: Vec<PathBuf>,
    /// Of your own history so many days back from now.
    #[arg(long, value_name = "N", default_value_t = 42, conflicts_with = "files", value_parser = clap::value_parser!(u16).range(7..))]
    days: u16,
    /// As one JSON object, as docs/suggest.md describes.
    #[arg(long)]
    json: bool,
    /// A setting to search from, beside those in use, such as `level.high.limit=200`.
    #[arg(long, value_name = "KEY=VALUE")]
    set: Vec<String>,
}

/// What was found.
struct Found {
    days: [f64; 2],
    tried: usize,
    now: Outcome,
    /// All that was put together, for the picture.
    all: Vec<Outcome>,
    shown: Vec<(Choice, Outcome)>,
    forecasts: Vec<(Choice, Outcome)>,
}

pub(super) fn run(place: &Place, typed: &Typed) -> Result<ExitCode, Failure> {
    let settings = place.settings_to_show(&typed.set, computer_zone())?;
    let rows = if typed.files.is_empty() {
        own_rows(place, typed.days)?
    } else {
        let format = settings.first_format();
        let (mut rows, mut told) = (Vec::new(), Vec::new());
        for file in &typed.files {
            rows.extend(read(file, &format, &mut told)?);
        }
        for text in &told {
            words(text);
        }
        put_in_order(&mut rows);
        rows
    };
    let policy = settings.policy;
    let too_few = |days: [f64; 2]| {
        Failure::new(format!("too little data: {:.1} days to choose by and {:.1} to check by", days[0], days[1])).hint(
            format!("each needs {PART_DAYS_MIN:.0} days covered by readings: wait, or name files with `recheck suggest FILE`"),
        )
    };
    let days = Days::new(rows, &policy).ok_or_else(|| too_few([0.0, 0.0]))?;
    if days.days().into_iter().any(|part| part < PART_DAYS_MIN) {
        return Err(too_few(days.days()));
    }
    let found = search(&days, &policy);
    if typed.json {
        line(&found.object().to_string());
    } else {
        found.print();
    }
    Ok(ExitCode::SUCCESS)
}

/// The readings of the source that gave most, as they were measured, without the stretches in which it was doubted.
fn own_rows(place: &Place, days: u16) -> Result<Vec<Row>, Failure> {
    let folder = place.state();
    let nothing = || {
        Failure::new(format!("there is no history yet: {} holds no reading", folder.display()))
            .hint("start watching with `recheck run`; `recheck suggest FILE` searches on past files")
    };
    let store = Store::look(&folder)?.ok_or_else(nothing)?;
    let until = burden::until(&store, &folder)?;
    let from = until - Span::hours(i64::from(days) * 24);
    let readings = store.readings_since(from)?;
    let most = most_read(&readings).ok_or_else(nothing)?;
    let mut left_out = store.excluded(from, until)?;
    if let Some(text) = exclude::left_out(&left_out, from, until) {
        words(&text);
    }
    left_out.extend(doubted(&store.decisions_between(from, until)?));
    let is_left_out = |at: Timestamp| is_in(&left_out, at);
    let counts =
        |reading: &&Reading| reading.source == most && reading.measured < until && !is_left_out(reading.measured);
    let row = |reading: &Reading| Row { measured: reading.measured, glucose: reading.glucose };
    let mut rows = readings.iter().filter(counts).map(row).collect();
    put_in_order(&mut rows);
    Ok(rows)
}

/// The source that gave most.
pub(super) fn most_read(readings: &[Reading]) -> Option<SourceId> {
    let mut of_each: BTreeMap<SourceId, usize> = BTreeMap::new();
    for reading in readings {
        *of_each.entry(reading.source).or_default() += 1;
    }
    of_each.into_iter().max_by_key(|(_, count)| *count).map(|(source, _)| source)
}

/// Lives through the days with each choice, on all cores.
fn judged(days: &Days, choices: Vec<Choice>) -> Vec<(Choice, Outcome)> {
    let mut outcomes = Vec::with_capacity(choices.len());
    let whole =
        days.rows().first().zip(days.rows().last()).map_or(Span::ZERO, |(first, last)| last.measured - first.measured);
    in_order(
        choices.len(),
        |place, share| {
            let mut decisions: Vec<(Timestamp, Decision)> = Vec::new();
            let begin = days.rows().first().map(|row| row.measured);
            live(choices[place].policy.clone(), days.rows(), |at, decision| {
                if counts(decision) {
                    share.reach(begin.map_or(0, |begin| (at - begin).as_millis()), whole.as_millis());
                    decisions.push((at, decision.clone()));
                }
            });
            days.judge(&decisions)
        },
        |outcome| outcomes.push(outcome),
    );
    choices.into_iter().zip(outcomes).collect()
}

fn search(days: &Days, policy: &Policy) -> Found {
    let sides = [Search::Low, Search::High, Search::VeryHigh, Search::Forecast];
    let choices: Vec<Vec<Choice>> = sides.iter().map(|side| side.choices(policy)).collect();
    let counts: Vec<usize> = choices.iter().map(Vec::len).collect();
    let mut alone = judged(days, choices.into_iter().flatten().collect()).into_iter();
    let mut of_each: Vec<Vec<(Choice, Outcome)>> =
        counts.iter().map(|count| alone.by_ref().take(*count).collect()).collect();
    let forecasts = of_each.pop().unwrap_or_default();
    let best: Vec<Vec<Choice>> = sides.iter().zip(&of_each).map(|(side, judged)| side.best(judged)).collect();
    let [low, high, very_high] = &best[..] else { unreachable!("three sides are put together") };
    let both = judged(days, together(low, high, very_high));
    let tried = counts.iter().sum::<usize>() + both.len();
    let now = both.first().map_or_else(|| forecasts[0].1, |(_, outcome)| *outcome);
    let all = both.iter().chain(of_each.iter().flatten()).map(|(_, outcome)| *outcome).collect();
    Found { days: days.days(), tried, now, all, shown: front(&both), forecasts }
}

impl Found {
    fn print(&self) {
        let [first, last] = self.days;
        folded(&format!(
            "{:.1} days covered: {first:.1} to choose by, the last {last:.1} to check by; {} choices of settings tried, as if nobody answers",
            first + last,
            self.tried
        ));
        if first + last < DAYS_LITTLE {
            folded(&format!("too little data for more than a hint: fewer than {DAYS_LITTLE:.0} days covered"));
        }
        line("");
        lines(&self.headline());
        if !self.shown.is_empty() {
            line("");
            lines(&self.table());
            line("");
            for text in self.legend() {
                folded(&text);
            }
            line("");
            let marked: Vec<(char, Outcome)> =
                ('A'..).zip(&self.shown).map(|(letter, (_, outcome))| (letter, *outcome)).collect();
            lines(&suggest_picture::draw(&self.now, &self.all, &marked));
        }
        line("");
        lines(&self.of_forecasts());
        line("");
        folded(
            "Nothing is changed. To see a choice in full: recheck replay --against LINE, once for each line. Talk limits over with your care team before you change them.",
        );
    }

    /// `5.1 to 3.2 rings a day and no low missed, if`
    fn headline(&self) -> Vec<String> {
        let good =
            self.shown.iter().filter(|(_, outcome)| holds(outcome, &self.now) && costs_little(outcome, &self.now));
        let Some((choice, outcome)) =
            good.min_by(|one, other| one.1.first.rings_per_day.total_cmp(&other.1.first.rings_per_day))
        else {
            return vec![
                "Nothing that was tried asks much less at little cost: no low missed or told".to_owned(),
                "later, hardly a high more that is not told. What quiet would cost:".to_owned(),
            ];
        };
        let (now, then) = (&self.now, outcome);
        let lows = |figures: &Figures| match figures.lows_missed {
            0 => "no low missed".to_owned(),
            missed => format!("{missed} of {} lows missed, as now", figures.lows),
        };
        let mut lines = vec![format!(
            "{:.1} to {:.1} rings a day and {}, if",
            now.first.rings_per_day,
            then.first.rings_per_day,
            lows(&then.first)
        )];
        lines.extend(choice.lines.iter().map(|text| format!("    {text}")));
        lines.push(format!(
            "In the days it was not chosen by: {:.1} to {:.1}, and {}.",
            now.last.rings_per_day,
            then.last.rings_per_day,
            lows(&then.last)
        ));
        lines.push(format!(
            "What it costs: {:.0} min a day above the high limit without a word, now {:.0}; highs",
            then.first.untold(),
            now.first.untold()
        ));
        lines.push(format!(
            "are told after {:.0} min, now {:.0}; {} of {} are not told, now {}.",
            then.first.high_delay_min_mean,
            now.first.high_delay_min_mean,
            then.first.highs_missed,
            then.first.highs,
            now.first.highs_missed
        ));
        lines
    }

    fn table(&self) -> Vec<String> {
        let mut lines = vec![
            "        rings a day  lows missed   highs: told   not told   untold".to_owned(),
            "        first  last  first  last  after, min  of those    min/day".to_owned(),
        ];
        let row = |name: &str, outcome: &Outcome| {
            let Outcome { first, last } = outcome;
            format!(
                "{name:<6} {:>6.2} {:>5.2} {:>6} {:>5} {:>11.0} {:>9} {:>10.0}",
                first.rings_per_day,
                last.rings_per_day,
                first.lows_missed,
                last.lows_missed,
                first.high_delay_min_mean,
                format!("{}/{}", first.highs_missed, first.highs),
                first.untold()
            )
        };
        lines.push(row("now", &self.now));
        for (letter, (_, outcome)) in ('A'..).zip(&self.shown) {
            let mark = if holds(outcome, &self.now) { "" } else { "  !" };
            lines.push(format!("{}{mark}", row(&letter.to_string(), outcome)));
        }
        if self.shown.iter().any(|(_, outcome)| !holds(outcome, &self.now)) {
            lines.push("! does not hold in the last days: more rings, or a low missed or told later".to_owned());
        }
        lines
    }

    /// What each letter stands for.
    fn legend(&self) -> Vec<String> {
        let lines = ('A'..).zip(&self.shown);
        lines.map(|(letter, (choice, _))| format!("{letter}  {}", choice.lines.join(", "))).collect()
    }

    /// What other chances to ring from would do, beside what is in use.
    fn of_forecasts(&self) -> Vec<String> {
        let mut lines = vec!["Forecasts of lows that ring       a day  of these false     in the last days".to_owned()];
        lines.extend(self.forecasts.iter().take(FORECASTS_SHOWN).map(|(choice, Outcome { first, last })| {
            let name = if choice.lines.is_empty() { "now".to_owned() } else { choice.lines.join(", ") };
            format!(
                "{name:<32} {:>6.2} {:>15.2} {:>12.2} {:>7.2}",
                first.forecast_rings_per_day,
                first.forecast_false_per_day,
                last.forecast_rings_per_day,
                last.forecast_false_per_day
            )
        }));
        lines
    }

    fn object(&self) -> Value {
        let choice = |(choice, outcome): &(Choice, Outcome)| json!({ "settings": choice.lines, "first": outcome.first, "last": outcome.last, "holds": holds(outcome, &self.now) });
        json!({
            "days_to_choose_by": self.days[0],
            "days_to_check_by": self.days[1],
            "choices_tried": self.tried,
            "now": { "first": self.now.first, "last": self.now.last },
            "choices": self.shown.iter().map(choice).collect::<Vec<_>>(),
            "forecasts": self.forecasts.iter().map(choice).collect::<Vec<_>>(),
        })
    }
}

/// The choices of a chance that leave the hours of rings as they are come first.
const FORECASTS_SHOWN: usize = 6;

/// What is named first saves so many rings a day, and costs no more than this: of a hundred highs so many that are not
/// told, and a mean delay in minutes. Ours; the table shows what else there is.
const RINGS_SAVED_MIN: f64 = 0.2;
const HIGHS_OF_HUNDRED_MAX: u64 = 10;
const LATER_MAX_MIN: f64 = 15.0;

fn costs_little(outcome: &Outcome, now: &Outcome) -> bool {
    let (first, now) = (&outcome.first, &now.first);
    let more = first.highs_missed.saturating_sub(now.highs_missed);
    first.rings_per_day + RINGS_SAVED_MIN <= now.rings_per_day
        && more * 100 <= first.highs * HIGHS_OF_HUNDRED_MAX
        && first.high_delay_min_mean <= now.high_delay_min_mean + LATER_MAX_MIN
}

fn lines(all: &[String]) {
    for text in all {
        line(text);
    }
}
