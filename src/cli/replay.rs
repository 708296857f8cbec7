//! `recheck replay`: past readings, or the wearer's own history, through the same engine in pretend time; with one
//! choice of settings, or with two beside each other.

use super::Place;
use super::at_once::in_order;
use super::print::{Failure, fail, line, words};
use super::replay_lines::{Life, lines};
use super::replay_own;
use super::replay_table::{Shown, Through};
use super::replay_together;
use crate::config::Settings;
use crate::config::files::computer_zone;
use crate::domain::local::Zone;
use crate::domain::reading::{Reading, SourceId, Speaks, settle};
use crate::domain::time::Timestamp;
use crate::engine::effect::Decision;
use crate::engine::policy::Policy;
use crate::formats::encoding::Encoding;
use crate::formats::rows::{Row, Rows};
use crate::formats::wanted::{NotFound, Wanted};
use crate::intake::folder::after_lines;
use crate::intake::named;
use crate::replay::run::{in_a_file, put_in_order, run as live};
use crate::replay::summary::Measures;
use clap::Args;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Refusals told of one file.
const REFUSALS_TOLD_MAX: usize = 5;

/// What is typed after `recheck replay`.
#[derive(Debug, Args)]
pub(super) struct Typed {
    /// Files to read, each a life of its own; without one, your own history, with the answers that were given.
    #[arg(value_name = "FILE")]
    pub(super) files: Vec<PathBuf>,
    /// All files are one person's, diaries too; NAME=FILE says from which source. Answers count, and people are called.
    #[arg(long, requires = "files")]
    together: bool,
    /// Of your own history so many days back from now.
    #[arg(long, value_name = "N", default_value_t = 14, conflicts_with = "files", value_parser = clap::value_parser!(u16).range(1..))]
    pub(super) days: u16,
    /// One JSON object a decision, as docs/replay.md describes.
    #[arg(long)]
    pub(super) json: bool,
    /// The figures of the table as one JSON object, as docs/replay.md describes.
    #[arg(long, conflicts_with = "json")]
    pub(super) summary: bool,
    /// Zone of times without an offset, and of times shown.
    #[arg(long, value_name = "NAME")]
    pub(super) timezone: Option<String>,
    /// A setting to try, such as `level.low.limit=72`.
    #[arg(long, value_name = "KEY=VALUE")]
    set: Vec<String>,
    /// Other settings beside these: a settings file, or what differs, as often as needed.
    #[arg(long, value_name = "FILE | KEY=VALUE", conflicts_with = "json")]
    against: Vec<String>,
}

/// Settings that are tried.
#[derive(Debug)]
pub(super) struct Tried {
    /// Which they are, in words.
    pub(super) name: String,
    /// The settings.
    pub(super) settings: Settings,
}

/// What came of a file.
struct Lived {
    file: String,
    told: Vec<String>,
    outcome: Result<Vec<Row>, Failure>,
    /// With each of the settings that are tried.
    decided: Vec<Vec<(Timestamp, Decision)>>,
}

pub(super) fn run(place: &Place, typed: &Typed) -> Result<ExitCode, Failure> {
    let tried = tried(place, typed)?;
    if typed.files.is_empty() {
        return replay_own::run(place, typed, &tried);
    }
    if typed.together {
        return replay_together::run(typed, &tried);
    }
    let format = format(&tried[0].settings, None, typed.timezone.is_some());
    let policies: Vec<&Policy> = tried.iter().map(|one| &one.settings.policy).collect();
    let zone = policies[0].zone;
    let mut measures = vec![Measures::default(); policies.len()];
    let mut code = ExitCode::SUCCESS;
    in_order(
        typed.files.len(),
        |place, share| {
            let mut told = Vec::new();
            let outcome = read(&typed.files[place], &format, &mut told);
            let rows = outcome.as_deref().unwrap_or_default();
            let (first, last) = rows
                .first()
                .zip(rows.last())
                .map_or((0, 0), |(first, last)| (first.measured.millis(), last.measured.millis()));
            let lives = i64::try_from(policies.len()).unwrap_or(1);
            let decided = (0..lives).zip(&policies).map(|(before, policy)| {
                let mut decisions: Vec<(Timestamp, Decision)> = Vec::new();
                live((*policy).clone(), rows, |at, decision| {
                    share.reach((last - first) * before + at.millis() - first, (last - first) * lives);
                    decisions.push((at, decision.clone()));
                });
                decisions
            });
            let decided = decided.collect();
            Lived { file: typed.files[place].display().to_string(), told, outcome, decided }
        },
        |Lived { file, told, outcome, decided }| {
            for text in &told {
                words(text);
            }
            let rows = match outcome {
                Ok(rows) => rows,
                // One file that is not understood is named, and the others are still replayed.
                Err(failure) => {
                    code = fail(&failure);
                    return;
                }
            };
            for ((measures, policy), decisions) in measures.iter_mut().zip(&policies).zip(&decided) {
                if typed.json {
                    let policy = in_a_file((*policy).clone());
                    let life = Life { file: Some(&file), with_others: false, policy: &policy, from: None };
                    lines(&life, decisions, |_| zone, line);
                } else {
                    measures.add_file(&rows, decisions, policy);
                }
            }
        },
    );
    if !typed.json {
        let summaries = measures.iter().map(Measures::summary).collect();
        Shown::new(&Through::Files { files: typed.files.len() }, &tried, summaries).print(typed.summary);
    }
    Ok(code)
}

/// The settings that are tried: those in use with what is set, and the others beside them, if there are.
fn tried(place: &Place, typed: &Typed) -> Result<Vec<Tried>, Failure> {
    let zone = match &typed.timezone {
        Some(name) => Some(Zone::named(name).ok_or_else(|| super::zone::no_such_zone(name))?),
        None => None,
    };
    let settings = |place: &Place, set: &[String]| -> Result<Settings, Failure> {
        let mut settings = place.settings_to_show(set, zone.unwrap_or_else(computer_zone))?;
        settings.policy.zone = zone.unwrap_or(settings.policy.zone);
        Ok(settings)
    };
    let path = place.config();
    let of_file = if path.exists() { format!("the settings in {}", path.display()) } else { "the defaults".to_owned() };
    let name = if typed.set.is_empty() { of_file } else { format!("{of_file}, and {}", typed.set.join(", ")) };
    let mut tried = vec![Tried { name, settings: settings(place, &typed.set)? }];
    match other(&typed.against)? {
        None => {}
        Some(Other::File(path)) => {
            let name = format!("the settings in {}", path.display());
            let place = Place { config: Some(path), state: place.state.clone() };
            tried.push(Tried { name, settings: settings(&place, &[])? });
        }
        Some(Other::Set(more)) => {
            let name = format!("the first, and {}", more.join(", "));
            tried.push(Tried { name, settings: settings(place, &[&typed.set[..], more].concat())? });
        }
    }
    Ok(tried)
}

/// What `--against` names.
#[derive(Debug, PartialEq)]
enum Other<'a> {
    File(PathBuf),
    Set(&'a [String]),
}

fn other(against: &[String]) -> Result<Option<Other<'_>>, Failure> {
    let is_file = |text: &&String| Path::new(text).is_file();
    if let Some(text) = against.iter().find(|text| !is_file(text) && !text.contains('=')) {
        return Err(Failure::new(format!("--against {text} is neither a settings file nor a setting"))
            .hint("name a file that is there, or what differs, such as --against level.low.limit=72"));
    }
    match (against, against.iter().find(is_file)) {
        ([], _) => Ok(None),
        ([one], Some(_)) => Ok(Some(Other::File(PathBuf::from(one)))),
        (all, None) => Ok(Some(Other::Set(all))),
        (_, Some(file)) => {
            Err(Failure::new(format!("--against {file} is a settings file, and there is more beside it"))
                .hint("name the file alone, with all that differs in it; settings such as level.low.limit=72 add up"))
        }
    }
}

/// How files are written, as the settings of their source say, or else of the first.
pub(super) fn format(settings: &Settings, source: Option<&str>, is_zone_given: bool) -> Wanted {
    let of = source.and_then(|name| settings.sources.iter().find(|source| source.name == name));
    let mut format = of.map_or_else(|| settings.first_format(), |source| source.format.clone());
    if is_zone_given {
        format.zone = settings.policy.zone;
    }
    format
}

pub(super) fn read(path: &Path, format: &Wanted, told: &mut Vec<String>) -> Result<Vec<Row>, Failure> {
    let before = told.len();
    let found = read_any(path, format, told)?;
    if found.of_diary {
        told.truncate(before);
        told.push(format!("left out: {} is a diary, and replay reads readings", path.display()));
        told.push("hint: `recheck replay --together` takes a diary with the readings, as one person's".to_owned());
    }
    Ok(found.rows)
}

/// What a file holds, readings in order or a diary. What is refused is told.
pub(super) fn read_any(path: &Path, format: &Wanted, told: &mut Vec<String>) -> Result<Rows, Failure> {
    let name = path.display().to_string();
    let bytes = std::fs::read(path).map_err(|error| Failure::new(format!("cannot read {name}: {error}")))?;
    let encoding = format.encoding.unwrap_or_else(|| Encoding::guess(bytes.get(..4_096).unwrap_or(&bytes)));
    let text = encoding.text(&bytes);
    let dialect = match format.sniff(&text, encoding, None) {
        Ok(dialect) => dialect,
        Err(NotFound::NoRowYet) => return Ok(Rows::default()),
        Err(NotFound::Question { line, what, hint }) => {
            return Err(Failure::new(format!("{name}: line {line}: {what}"))
                .hint(format!("{hint}, with --set source.NAME.KEY=VALUE or in the settings")));
        }
    };
    let mut found = dialect.rows(after_lines(&text, dialect.head_lines), dialect.head_lines + 1, None);
    let refusals = found.refused.iter().take(REFUSALS_TOLD_MAX);
    told.extend(refusals.map(|refusal| format!("refused: {}", named(&name, refusal))));
    let named = u64::try_from(found.refused.len().min(REFUSALS_TOLD_MAX)).unwrap_or(u64::MAX);
    if found.refused_count > named {
        told.push(format!("refused: {name}: and {} more rows", found.refused_count - named));
    }
    keep_both(&mut found);
    put_in_order(&mut found.rows);
    Ok(found)
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
