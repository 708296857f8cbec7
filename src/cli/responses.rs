//! `recheck responses`: what followed on corrections, meals and treated lows. docs/responses.md defines each word.

use super::Place;
use super::burden;
use super::exclude;
use super::print::{Failure, folded, line, words};
use super::replay::read_any;
use super::responses_json;
use super::responses_table;
use super::responses_talk;
use super::suggest::most_read;
use crate::config::Settings;
use crate::config::files::computer_zone;
use crate::domain::change;
use crate::domain::diary::{Kind, Note};
use crate::domain::glucose::Unit;
use crate::domain::reading::{Reading, SourceId};
use crate::domain::time::{Span, Timestamp};
use crate::domain::travel::WallClock;
use crate::domain::written::{Entry, Excursion, Written};
use crate::engine::effect::{Decision, Side};
use crate::engine::event::Which;
use crate::replay::watched::{Watched, doubted};
use crate::responses::background::UNNOTED_HOURS;
use crate::responses::{Limits, Past, Responses, Treated};
use crate::store::Store;
use crate::store::inbox::Said;
use clap::Args;
use std::collections::HashSet;
use std::path::PathBuf;
use std::process::ExitCode;

/// Notes before the period still count in it: for as long as no note is taken for nothing noted.
const LEAD: Span = Span::hours(UNNOTED_HOURS);

/// Fewer days with readings than this are said to be little, as for a report on time in range: 14 days worn (Battelino
/// 2019, Diabetes Care 42:1593).
const LITTLE_DAYS: i64 = 14;

/// What is typed after `recheck responses`.
#[derive(Debug, Args)]
pub(super) struct Typed {
    /// Files of one person, readings and diaries together; without one, your own history.
    files: Vec<PathBuf>,
    /// Of your own history so many days back from now.
    #[arg(long, value_name = "N", default_value_t = 28, conflicts_with = "files", value_parser = clap::value_parser!(u16).range(1..))]
    days: u16,
    /// As one JSON object, as docs/responses.md describes.
    #[arg(long)]
    json: bool,
    /// A setting to look by, beside those in use, such as `wearer.unit=mmol/L` or `level.high.limit=200`.
    #[arg(long, value_name = "KEY=VALUE")]
    set: Vec<String>,
}

/// A person's past days.
struct Days {
    readings: Vec<Reading>,
    notes: Vec<Note>,
    treated: Vec<Treated>,
    left_out: Vec<(Timestamp, Timestamp)>,
    clock: WallClock,
    from: Timestamp,
    until: Timestamp,
}

/// What is shown.
pub(super) struct Shown {
    pub(super) responses: Responses,
    pub(super) limits: Limits,
    pub(super) unit: Unit,
    pub(super) clock: WallClock,
    pub(super) from: Timestamp,
    pub(super) until: Timestamp,
    /// How long readings came.
    pub(super) covered: Span,
    /// Lines that noted insulin, and food, in the period.
    pub(super) noted: [usize; 2],
}

pub(super) fn run(place: &Place, typed: &Typed) -> Result<ExitCode, Failure> {
    let settings = place.settings_to_show(&typed.set, computer_zone())?;
    let days = if typed.files.is_empty() { own(place, &settings, typed.days)? } else { of_files(&settings, typed)? };
    let levels = &settings.policy.levels;
    let limits = Limits { very_low: levels.very_low.limit, low: levels.low.limit, high: levels.high.limit };
    let shown = days.shown(limits, settings.policy.unit);
    if typed.json {
        line(&responses_json::object(&shown).to_string());
    } else {
        for text in responses_table::lines(&shown) {
            folded(&text);
        }
        for text in responses_talk::lines(&shown) {
            folded(&text);
        }
    }
    Ok(ExitCode::SUCCESS)
}

impl Days {
    fn shown(self, limits: Limits, unit: Unit) -> Shown {
        let responses = Responses::of(&Past {
            readings: &self.readings,
            notes: &self.notes,
            treated: &self.treated,
            left_out: &self.left_out,
            limits,
            clock: &self.clock,
            from: self.from,
            until: self.until,
        });
        let is_left_out = |at: Timestamp| self.left_out.iter().any(|(begin, end)| *begin <= at && at < *end);
        let counts: Vec<Reading> =
            self.readings.iter().filter(|reading| !is_left_out(reading.measured)).copied().collect();
        let inside = |note: &&Note| self.from <= note.at && note.at < self.until;
        let count =
            |is_meant: fn(&Kind) -> bool| self.notes.iter().filter(inside).filter(|note| is_meant(&note.kind)).count();
        Shown {
            responses,
            limits,
            unit,
            covered: Watched::new(&counts, &[]).within(self.from, self.until),
            noted: [
                count(|kind| matches!(kind, Kind::Insulin(_))),
                count(|kind| matches!(kind, Kind::Carbohydrate(_))),
            ],
            clock: self.clock,
            from: self.from,
            until: self.until,
        }
    }
}

impl Shown {
    pub(super) fn is_little(&self) -> bool {
        self.covered < Span::hours(LITTLE_DAYS * 24)
    }
}

/// The wearer's own history: the source that gave most, what was noted as the diary says it now, without the stretches
/// that are not to be counted or in which the sensor was doubted.
fn own(place: &Place, settings: &Settings, days: u16) -> Result<Days, Failure> {
    let folder = place.state();
    let nothing = || {
        Failure::new(format!("there is no history yet: {} holds no reading", folder.display()))
            .hint("start watching with `recheck run`; `recheck responses FILE...` reads past readings and diaries")
    };
    let store = Store::look(&folder)?.ok_or_else(nothing)?;
    let until = burden::until(&store, &folder)?;
    let lead = |from: Timestamp| from - LEAD;
    let wished = until - Span::hours(i64::from(days) * 24);
    let mut readings = store.readings_since(lead(wished))?;
    readings.retain(|reading| reading.measured < until);
    let most = most_read(&readings).ok_or_else(nothing)?;
    readings.retain(|reading| reading.source == most);
    let begun = readings.first().map_or(wished, |reading| reading.measured);
    let decisions = store.decisions_between(lead(wished), until)?;
    let (mut notes, mut treated) = (Vec::new(), Vec::new());
    let mut changed = store.changed_since_said()?;
    for said in store.said_since(lead(wished))? {
        match (changed.remove(&said.number), said.what) {
            (Some(Some(note)), _) => match change::treated(&note) {
                Some(which) => treated.push(Treated { at: note.at, which }),
                None => notes.push(note),
            },
            (None, Said::Noted(note)) => notes.push(note),
            (None, Said::Written { line, .. }) => take(&line, &mut notes, &mut treated),
            (None, Said::Treated { which, at, .. }) => {
                treated.push(Treated { at, which: side(which, at, &decisions) });
            }
            (Some(None) | None, _) => {}
        }
    }
    let excluded = store.excluded(lead(wished), until)?;
    if let Some(text) = exclude::left_out(&excluded, begun.max(wished), until) {
        words(&text);
    }
    Ok(Days {
        left_out: doubted(&decisions).into_iter().chain(excluded).collect(),
        readings,
        notes,
        treated,
        clock: place.wall_clock(settings.policy.zone)?,
        from: begun.max(wished),
        until,
    })
}

/// What a diary line says.
fn take(line: &Written, notes: &mut Vec<Note>, treated: &mut Vec<Treated>) {
    match &line.what {
        Entry::Noted { kind, words } => {
            notes.push(Note { at: line.at, kind: kind.clone(), words: words.clone() });
        }
        Entry::Treated(which) => treated.push(Treated { at: line.at, which: *which }),
        Entry::Seen | Entry::SeenBy(_) | Entry::Meant => {}
    }
}

/// What a treatment was of: what was said, or what its alert was about.
fn side(which: Option<Which>, at: Timestamp, decisions: &[(Timestamp, Decision)]) -> Option<Excursion> {
    let side = match which? {
        Which::Side(side) => side,
        Which::Alert(id) => {
            let mut of_alert = decisions.iter().filter(|(_, decision)| decision.id == id);
            let by_then = of_alert.clone().rfind(|(decided, _)| *decided <= at);
            by_then.or_else(|| of_alert.next()).and_then(|(_, decision)| decision.condition.side())?
        }
    };
    Some(match side {
        Side::High => Excursion::High,
        Side::Low => Excursion::Low,
    })
}

/// Files of one person, readings and diaries.
fn of_files(settings: &Settings, typed: &Typed) -> Result<Days, Failure> {
    let format = settings.first_format();
    let (mut told, mut rows, mut notes, mut treated) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    let mut known = HashSet::new();
    for file in &typed.files {
        let found = read_any(file, &format, &mut told)?;
        rows.extend(found.rows);
        // A line that stands in two files is one, as it is for `recheck run`.
        for row in found.diary.iter().filter(|row| known.insert(row.written.key())) {
            take(&row.written, &mut notes, &mut treated);
        }
    }
    for text in &told {
        words(text);
    }
    crate::replay::run::put_in_order(&mut rows);
    let (Some(first), Some(last)) = (rows.first(), rows.last()) else {
        return Err(Failure::new("there is no reading in the files that were named")
            .hint("name files with readings beside the diary; `recheck inspect FILE` shows how a file is understood"));
    };
    let source = SourceId(0);
    let reading = |row: &crate::formats::rows::Row| Reading { source, measured: row.measured, glucose: row.glucose };
    Ok(Days {
        from: first.measured,
        until: last.measured + Span::millis(1),
        readings: rows.iter().map(reading).collect(),
        notes,
        treated,
        left_out: Vec::new(),
        clock: WallClock::at_home(settings.policy.zone),
    })
}
