//! Finds out whether a file is a diary, and how it is written. A diary has its own columns and its own way
//! of writing times, whatever the readings beside it look like.

use super::diary::{Columns, NAMES, is_kind};
use super::encoding::Encoding;
use super::sniff::{DELIMITERS, HEAD_LINES_MAX, Record, question, records, same, says_glucose};
use super::sniff_time::{stamp_of, stamps_of};
use super::stamp::Stamp;
use super::wanted::{Column, Dialect, Lines, NotFound, Wanted};
use serde_json::{Map, Value};

/// Lines looked at to tell a diary from readings.
const LINES_LOOKED_AT: usize = HEAD_LINES_MAX + 20;

/// A diary that was found.
pub(super) struct Found {
    columns: Columns,
    head_lines: u64,
}

impl Wanted {
    /// Is a text the beginning of a diary?
    #[must_use]
    pub fn is_diary(&self, text: &[u8]) -> bool {
        find(self, text).is_some()
    }
}

/// Finds the columns, or keys, of a diary; none when the text is something else.
pub(super) fn find(wanted: &Wanted, text: &[u8]) -> Option<Found> {
    let end = text.iter().enumerate().filter(|(_, byte)| **byte == b'\n').nth(LINES_LOOKED_AT).map(|(at, _)| at);
    let head = end.and_then(|end| text.get(..end)).unwrap_or(text);
    if head.trim_ascii_start().first() == Some(&b'{') {
        let object: Map<String, Value> =
            head.split(|byte| *byte == b'\n').find_map(|line| serde_json::from_slice(line).ok())?;
        let keys: Vec<String> = object.keys().cloned().collect();
        let kind = object.iter().find(|(key, _)| same(key, NAMES[1])).and_then(|(_, kind)| kind.as_str());
        return is_header(wanted, &keys, kind.into_iter())
            .then_some(Found { columns: Columns { delimiter: None, width: 0, places: [None; 5] }, head_lines: 0 });
    }
    wanted.delimiter.into_iter().chain(DELIMITERS).find_map(|delimiter| {
        let records = records(head, delimiter);
        let (place, (line, names)) = records.iter().take(HEAD_LINES_MAX).enumerate().find(|(_, (_, cells))| {
            cells.iter().any(|cell| same(cell, NAMES[0])) && cells.iter().any(|cell| same(cell, NAMES[1]))
        })?;
        let places = NAMES.map(|name| names.iter().position(|cell| same(cell, name)));
        let kinds = records.get(place + 1..).unwrap_or_default();
        let kinds = kinds.iter().filter_map(|(_, cells)| cells.get(places[1]?).map(String::as_str));
        let columns = Columns { delimiter: Some(delimiter), width: names.len(), places };
        is_header(wanted, names, kinds).then_some(Found { columns, head_lines: *line })
    })
}

/// Readings may have columns of these names as well: a kind of record. They have glucose, and no amount.
fn is_header<'a>(wanted: &Wanted, names: &[String], mut kinds: impl Iterator<Item = &'a str>) -> bool {
    let has = |wanted: &str| names.iter().any(|name| same(name, wanted));
    let is_glucose = |name: &String| {
        let is_named = |column: &Column| matches!(column, Column::Named(glucose) if same(glucose, name));
        says_glucose(name) || wanted.glucose.iter().any(is_named)
    };
    let only_these = || names.iter().all(|name| NAMES.iter().any(|known| same(known, name)));
    has(NAMES[0])
        && has(NAMES[1])
        && !names.iter().any(is_glucose)
        && (has(NAMES[2]) || only_these() || kinds.any(is_kind))
}

/// How a diary that was found is written.
pub(super) fn dialect(
    wanted: &Wanted,
    text: &[u8],
    encoding: Encoding,
    known: Option<&Dialect>,
    found: Found,
) -> Result<Dialect, NotFound> {
    let texts = times(text, &found);
    if texts.is_empty() {
        return Err(NotFound::NoRowYet);
    }
    let texts: Vec<&str> = texts.iter().map(String::as_str).collect();
    let known = known.filter(|known| known.is_diary()).map(|known| &known.stamp);
    let stamp = stamp(wanted, &texts, known, found.head_lines + 1)?;
    Ok(Dialect {
        encoding,
        head_lines: found.head_lines,
        lines: Lines::Diary(found.columns),
        stamp,
        zone: wanted.zone,
        unit: wanted.meter_unit,
    })
}

/// The texts of the times.
fn times(text: &[u8], found: &Found) -> Vec<String> {
    let texts: Vec<String> = if let (Some(delimiter), Some(place)) = (found.columns.delimiter, found.columns.places[0])
    {
        let rows = records(text, delimiter).into_iter().filter(|(line, _): &Record| *line > found.head_lines);
        rows.filter_map(|(_, cells)| cells.get(place).cloned()).collect()
    } else {
        let objects = text.split(|byte| *byte == b'\n').filter_map(|line| serde_json::from_slice(line).ok());
        let time = |object: Map<String, Value>| {
            object.iter().find(|(key, _)| same(key, NAMES[0])).map(|(_, time)| match time {
                Value::String(text) => text.trim().to_owned(),
                other => other.to_string(),
            })
        };
        objects.filter_map(time).collect()
    };
    texts.into_iter().filter(|text| !text.is_empty()).collect()
}

/// One bad time must not make the others doubtful: ISO wins where any line is written so, then what the
/// settings say where it fits, then what all the lines that can be read agree on. `known` is how an
/// earlier diary of the source wrote, and settles which is the day and which the month.
fn stamp(wanted: &Wanted, texts: &[&str], known: Option<&Stamp>, line: u64) -> Result<Stamp, NotFound> {
    let read: Vec<(&str, Vec<Stamp>)> =
        texts.iter().map(|text| (*text, stamps_of(&[text]))).filter(|(_, stamps)| !stamps.is_empty()).collect();
    if read.iter().any(|(_, stamps)| *stamps == [Stamp::Iso]) {
        return Ok(Stamp::Iso);
    }
    if let Some(said) = &wanted.stamp
        && texts.iter().any(|text| said.read(text, wanted.zone).is_some())
    {
        return Ok(said.clone());
    }
    let readable: Vec<&str> = read.iter().map(|(text, _)| *text).collect();
    match stamp_of(if readable.is_empty() { texts } else { &readable }, line) {
        Ok(stamp) => Ok(stamp),
        Err(NotFound::Question { line, what, hint }) => match known {
            Some(known) if read.iter().any(|(_, stamps)| stamps.contains(known)) => Ok(known.clone()),
            Some(_) | None => Err(question(line, what, &format!("write it as 2026-03-02 14:10, or {hint}"))),
        },
        Err(NotFound::NoRowYet) => Err(NotFound::NoRowYet),
    }
}
