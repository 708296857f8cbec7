//! `recheck replay`: past readings through the same engine, in pretend time.

use super::Place;
use super::print::{Failure, fail, line, words};
use crate::config::files::computer_zone;
use crate::domain::local::Zone;
use crate::domain::reading::{Reading, SourceId, Speaks, settle};
use crate::domain::time::Timestamp;
use crate::engine::effect::{Decision, Id, What};
use crate::formats::encoding::Encoding;
use crate::formats::rows::{Row, Rows};
use crate::formats::wanted::{NotFound, Wanted};
use crate::intake::folder::after_lines;
use crate::intake::named;
use crate::replay::burden::{Burden, Interruptions};
use crate::replay::run::{put_in_order, run as live};
use crate::replay::score::Score;
use serde::Serialize;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Refusals told of one file.
const REFUSALS_TOLD_MAX: usize = 5;

/// One line of `--json`, as docs/replay.md promises it. Every key is on every line.
#[derive(Debug, Serialize)]
struct Line<'a> {
    file: &'a str,
    at: String,
    event: &'static str,
    id: u64,
    part_of: Option<u64>,
    condition: &'static str,
    priority: &'static str,
    glucose_mg_dl: Option<f64>,
    reading_at: Option<String>,
    reason: &'static str,
}

pub(super) fn run(
    place: &Place,
    files: &[PathBuf],
    as_json: bool,
    timezone: Option<&str>,
    set: &[String],
) -> Result<ExitCode, Failure> {
    let zone = match timezone {
        Some(name) => Zone::named(name).ok_or_else(|| super::zone::no_such_zone(name))?,
        None => computer_zone(),
    };
    let mut settings = place.settings_to_show(set, zone)?;
    let mut format = settings.first_format();
    if timezone.is_some() {
        settings.policy.zone = zone;
        format.zone = zone;
    }
    let mut score = Score::default();
    let mut burden = Burden::default();
    let mut code = ExitCode::SUCCESS;
    for path in files {
        let rows = match read(path, &format) {
            Ok(rows) => rows,
            // One file that is not understood is named, and the others are still replayed.
            Err(failure) => {
                code = fail(&failure);
                continue;
            }
        };
        let mut decisions: Vec<(Timestamp, Decision)> = Vec::new();
        let file = path.display().to_string();
        live(settings.policy.clone(), &rows, |at, decision| {
            if as_json {
                print(&file, settings.policy.zone, at, decision);
            } else {
                decisions.push((at, decision.clone()));
            }
        });
        if !as_json {
            score.add(&rows, &decisions, &settings.policy.levels);
            burden.add_replayed(&rows, &decisions, &settings.policy);
        }
    }
    if !as_json {
        for text in table(&score) {
            line(&text);
        }
        line(&interruptions(&burden));
    }
    Ok(code)
}

fn read(path: &Path, format: &Wanted) -> Result<Vec<Row>, Failure> {
    let name = path.display().to_string();
    let bytes = std::fs::read(path).map_err(|error| Failure::new(format!("cannot read {name}: {error}")))?;
    let encoding = format.encoding.unwrap_or_else(|| Encoding::guess(bytes.get(..4_096).unwrap_or(&bytes)));
    let text = encoding.text(&bytes);
    let dialect = match format.sniff(&text, encoding, None) {
        Ok(dialect) => dialect,
        Err(NotFound::NoRowYet) => return Ok(Vec::new()),
        Err(NotFound::Question { line, what, hint }) => {
            return Err(Failure::new(format!("{name}: line {line}: {what}"))
                .hint(format!("{hint}, with --set source.NAME.KEY=VALUE or in the settings")));
        }
    };
    if dialect.is_diary() {
        words(&format!("left out: {name} is a diary, and replay reads readings"));
        return Ok(Vec::new());
    }
    let mut found = dialect.rows(after_lines(&text, dialect.head_lines), dialect.head_lines + 1, None);
    for refusal in found.refused.iter().take(REFUSALS_TOLD_MAX) {
        words(&format!("refused: {}", named(&name, refusal)));
    }
    let told = u64::try_from(found.refused.len().min(REFUSALS_TOLD_MAX)).unwrap_or(u64::MAX);
    if found.refused_count > told {
        words(&format!("refused: {name}: and {} more rows", found.refused_count - told));
    }
    keep_both(&mut found);
    put_in_order(&mut found.rows);
    Ok(found.rows)
}

/// Of the rows that a repeated hour leaves open the earlier instant counts, and both where the values differ.
fn keep_both(found: &mut Rows) {
    if found.undecided.is_empty() {
        return;
    }
    let source = SourceId(0);
    let mut readings: Vec<Reading> =
        found.rows.iter().map(|row| Reading { source, measured: row.measured, glucose: row.glucose }).collect();
    settle(&mut readings, &found.undecided, |_, _| Speaks::Nothing, |_| None);
    for (row, reading) in found.rows.iter_mut().zip(readings) {
        row.measured = reading.measured;
    }
}

fn print(file: &str, zone: Zone, at: Timestamp, decision: &Decision) {
    let written = Line {
        file,
        at: zone.rfc3339(at),
        event: match decision.what {
            What::Raised
            | What::Repeated
            | What::Ended
            | What::Held
            | What::Withheld
            | What::Look
            | What::Prompt
            | What::Escalated => decision.what.name(),
            // There is nobody to be called. Past readings, stretches not watched and answers do not happen in a replay.
            What::Called | What::Told | What::Answer => return,
        },
        id: decision.id.0,
        part_of: decision.part_of.map(|Id(id)| id),
        condition: decision.condition.name(),
        priority: decision.priority.name(),
        glucose_mg_dl: decision.glucose.map(crate::domain::glucose::Glucose::as_mg_dl),
        reading_at: decision.reading_at.map(|at| zone.rfc3339(at)),
        reason: decision.reason.word(),
    };
    line(&serde_json::to_string(&written).unwrap_or_else(|error| unreachable!("texts and numbers are JSON: {error}")));
}

/// The summary: a row a level.
#[expect(clippy::cast_precision_loss, reason = "counts of episodes and alerts are far below 2^53")]
fn table(score: &Score) -> Vec<String> {
    let days = score.days();
    let per_day = |n: u64| {
        if days > 0.0 { format!("{:.2}", n as f64 / days) } else { "-".to_owned() }
    };
    let share = |n: u64, of: u64| {
        if of > 0 { format!("{:.1}", n as f64 * 100.0 / of as f64) } else { "-".to_owned() }
    };
    let mut lines = vec![
        format!("{} readings, {days:.1} days covered", score.readings),
        format!(
            "{:<10} {:>9} {:>10} {:>12} {:>12} {:>9} {:>10}",
            "level", "episodes", "rings/day", "raised/day", "re-raised %", "missed %", "delay min"
        ),
    ];
    for level in &score.levels {
        let told = level.episodes - level.missed;
        let delay = if told > 0 {
            format!("{:.1}", level.delay_millis as f64 / 60_000.0 / told as f64)
        } else {
            "-".to_owned()
        };
        lines.push(format!(
            "{:<10} {:>9} {:>10} {:>12} {:>12} {:>9} {:>10}",
            level.condition.name(),
            level.episodes,
            per_day(level.raised + level.repeated),
            per_day(level.raised),
            share(level.re_raised, level.raised),
            share(level.missed, level.episodes),
            delay
        ));
    }
    for f in &score.forecasts {
        let min = |of| f.lead(of).map_or("-".to_owned(), |lead| lead.as_minutes().to_string());
        lines.push(format!(
            "{} episodes {} raised/day {} rang/day {} detected % {} early % {} false/day {} precision % {} lead {} {}",
            f.condition.name(),
            f.episodes,
            per_day(f.raised),
            per_day(f.rang),
            share(f.detected, f.episodes),
            share(f.detected_early, f.episodes),
            per_day(f.were_false),
            share(f.came_true, f.came_true + f.were_false),
            min(25),
            min(50)
        ));
    }
    lines.push(format!("re-check prompts/day {}   gap alerts/day {}", per_day(score.prompts), per_day(score.gaps)));
    lines
}

/// How often the wearer would have been interrupted, in the words of docs/burden.md.
fn interruptions(burden: &Burden) -> String {
    let shown = |of: &Interruptions| {
        let percentile = |of_hundred| of.percentile(of_hundred).map_or("-".to_owned(), |n| n.to_string());
        format!("{}, p95 {}", percentile(50), percentile(95))
    };
    format!("interruptions if nobody answers: by day median {}; by night {}", shown(&burden.day), shown(&burden.night))
}
