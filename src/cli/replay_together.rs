//! `recheck replay --together`: all files that are named are one person's, diaries too, and the settings say who can be
//! called.

use super::at_once::{Share, in_order};
use super::print::{Failure, fail, line, words};
use super::replay::{Tried, Typed, format, read_any};
use super::replay_lines::{Life, lines};
use super::replay_table::{Shown, Through};
use crate::domain::time::{Span, Timestamp};
use crate::domain::travel::WallClock;
use crate::engine::effect::Decision;
use crate::engine::policy::{Policy, SourceKind, SourcePolicy};
use crate::formats::rows::{Row, Rows};
use crate::replay::recorded::Answers;
use crate::replay::run::put_in_order;
use crate::replay::story::Story;
use crate::replay::summary::Measures;
use crate::replay::together::{Line, Together};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// The source of files that name none.
const UNNAMED: &str = "replay";

/// A file as it was named.
#[derive(Debug, PartialEq, Eq)]
struct Named {
    source: Option<String>,
    path: PathBuf,
}

/// A life with one choice of settings.
struct Lived {
    decisions: Vec<(Timestamp, Decision)>,
    answers: Answers,
}

pub(super) fn run(typed: &Typed, tried: &[Tried]) -> Result<ExitCode, Failure> {
    let files: Vec<Named> = typed.files.iter().map(|path| Named::new(path)).collect();
    let Some(read) = read(typed, &files, &tried[0]) else { return Ok(ExitCode::FAILURE) };
    let (sources, together) = one_life(&files, read)?;
    let policies: Vec<Policy> = tried.iter().map(|one| policy(one, &sources)).collect();
    let mut lived = Vec::new();
    in_order(policies.len(), |which, share| live(&together, &policies[which], share), |one| lived.push(one));
    if typed.json {
        let life = Life { file: None, with_others: true, policy: &policies[0], from: None };
        lines(&life, &lived[0].decisions, |_| policies[0].zone, line);
        return Ok(ExitCode::SUCCESS);
    }
    let measured = lived.iter().zip(&policies).map(|(one, policy)| measure(&together, one, policy));
    let summaries = measured.map(|measures| measures.summary()).collect();
    let answers = lived.iter().map(|one| (one.answers.given, one.answers.without_alert)).collect();
    Shown::new(&Through::Together { files: files.len(), answers }, tried, summaries).print(typed.summary);
    Ok(ExitCode::SUCCESS)
}

impl Named {
    /// `NAME=FILE`, or a file. A path that holds the sign is a file where there is one of that whole name, and so is one
    /// in a folder of such a name.
    fn new(typed: &Path) -> Self {
        let whole = || Self { source: None, path: typed.to_path_buf() };
        let Some((name, path)) = typed.to_str().and_then(|text| text.split_once('=')) else { return whole() };
        if typed.exists() || name.is_empty() || name.contains('/') || path.is_empty() {
            return whole();
        }
        Self { source: Some(name.to_owned()), path: PathBuf::from(path) }
    }

    fn source(&self) -> &str {
        self.source.as_deref().unwrap_or(UNNAMED)
    }
}

/// What each file holds. A life that lacks one of them would be another life: none where one is not understood, and
/// each that is not is told.
fn read(typed: &Typed, files: &[Named], tried: &Tried) -> Option<Vec<Rows>> {
    let mut all = Vec::new();
    in_order(
        files.len(),
        |place, _| {
            let mut told = Vec::new();
            let format = format(&tried.settings, files[place].source.as_deref(), typed.timezone.is_some());
            let outcome = read_any(&files[place].path, &format, &mut told);
            (told, outcome)
        },
        |(told, outcome)| {
            for text in &told {
                words(text);
            }
            match outcome {
                Ok(rows) => all.push(rows),
                Err(failure) => {
                    fail(&failure);
                }
            }
        },
    );
    (all.len() == files.len()).then_some(all)
}

/// The names of the sources by their numbers, and the life.
fn one_life(files: &[Named], read: Vec<Rows>) -> Result<(Vec<String>, Together), Failure> {
    let mut sources: Vec<String> = Vec::new();
    let mut rows: Vec<Vec<Row>> = Vec::new();
    let mut lines: Vec<Line> = Vec::new();
    for (named, found) in files.iter().zip(read) {
        let path = named.path.display();
        lines.extend(found.diary.into_iter().map(|row| (format!("{path}: line {}", row.line), row.written)));
        if found.rows.is_empty() {
            continue;
        }
        let place = sources.iter().position(|name| name == named.source()).unwrap_or_else(|| {
            sources.push(named.source().to_owned());
            rows.push(Vec::new());
            sources.len() - 1
        });
        rows[place].extend(found.rows);
    }
    rows.iter_mut().for_each(put_in_order);
    if rows.is_empty() {
        return Err(Failure::new("no file that is named holds a reading")
            .hint("name the readings beside the diary: recheck replay READINGS.csv DIARY.csv --together"));
    }
    Ok((sources, Together::new(&rows, lines)))
}

/// What the life is lived by: a source is as the settings say, or else a streaming one.
fn policy(tried: &Tried, sources: &[String]) -> Policy {
    let known = &tried.settings.policy.sources;
    let source = |name: &String| {
        let known = known.iter().find(|source| source.name == *name);
        known.cloned().unwrap_or_else(|| SourcePolicy::new(name, SourceKind::Streaming))
    };
    Policy { sources: sources.iter().map(source).collect(), ..tried.settings.policy.clone() }
}

fn live(together: &Together, policy: &Policy, share: &Share<'_>) -> Lived {
    let mut decisions = Vec::new();
    let period = together.period();
    let answers = together.live(policy.clone(), |at, decision| {
        if let Some((first, last)) = period {
            share.reach((at - first).as_millis(), (last - first).as_millis());
        }
        decisions.push((at, decision.clone()));
    });
    Lived { decisions, answers }
}

fn measure(together: &Together, lived: &Lived, policy: &Policy) -> Measures {
    let mut measures = Measures::default();
    let Some((from, last)) = together.period() else { return measures };
    // What others are told is no burden of the wearer's.
    let decisions: Vec<(Timestamp, Decision)> =
        lived.decisions.iter().filter(|(_, decision)| decision.to.is_wearer()).cloned().collect();
    let readings = together.readings();
    let mut rows: Vec<Row> =
        readings.iter().map(|reading| Row { measured: reading.measured, glucose: reading.glucose }).collect();
    put_in_order(&mut rows);
    let story = Story {
        from,
        until: last + Span::millis(1),
        decisions: &decisions,
        actions: &together.actions(),
        readings: &readings,
        clock: &WallClock::at_home(policy.zone),
        night: policy.night,
        levels: &policy.levels,
    };
    measures.add_life(&rows, &story);
    measures
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_before_the_sign_is_a_source_unless_it_is_a_path() {
        let folder = tempfile::tempdir().unwrap();
        let there = folder.path().join("arm=left.csv");
        std::fs::write(&there, "").unwrap();
        let named = |text: &str| {
            let named = Named::new(Path::new(text));
            (named.source, named.path.to_str().unwrap().to_owned())
        };
        let file = |text: &str| (None, text.to_owned());
        assert_eq!(named("arm=day.csv"), (Some("arm".to_owned()), "day.csv".to_owned()));
        assert_eq!(named("arm=days/a=b.csv"), (Some("arm".to_owned()), "days/a=b.csv".to_owned()));
        for whole in [there.to_str().unwrap(), "day.csv", "=day.csv", "arm=", "days/a=b.csv"] {
            assert_eq!(named(whole), file(whole));
        }
    }
}
