//! Lines become rows, in a dialect that is known. Keeps no place in a file; intake does.

use super::diary::DiaryRow;
use super::repeated::{After, decide};
use super::row_error::RowError;
use super::stamp::Read;
use super::wanted::{Cell, Dialect, Lines};
use crate::domain::glucose::{Glucose, NotGlucose, Unit};
use crate::domain::reading::Undecided;
use crate::domain::time::Timestamp;
use crate::domain::travel::WallClock;
use serde_json::{Map, Value};
use std::borrow::Cow;

/// Refusals kept with their words from one piece of text; the rest are only counted.
const REFUSALS_KEPT_MAX: usize = 20;

/// One accepted row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Row {
    /// When it was measured.
    pub measured: Timestamp,
    /// What was measured.
    pub glucose: Glucose,
}

/// What a piece of text held.
#[derive(Debug, Default, PartialEq, Eq)]
pub struct Rows {
    /// Accepted rows in the order written.
    pub rows: Vec<Row>,
    /// The first refusals, with their words.
    pub refused: Vec<RowError>,
    /// All refusals, kept or not.
    pub refused_count: u64,
    /// Refusals after the last accepted row.
    pub refused_at_end: u64,
    /// Rows that are no readings: another record kind, or an empty glucose cell.
    pub blank: u64,
    /// Rows in a skipped or repeated hour of a clock change or a journey.
    pub clock_change: u64,
    /// The text was of a diary.
    pub of_diary: bool,
    /// Its lines, in the order written.
    pub diary: Vec<DiaryRow>,
    /// Rows of a repeated hour that are read as the earlier, and could be the later.
    pub undecided: Vec<Undecided>,
    /// The last row, for the text that comes after.
    pub last: Option<After>,
}

/// What a clock change did to a row's time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Changed {
    No,
    Skipped,
    /// It could be this later instant as well.
    Twice(Timestamp),
}

/// A row's cells as texts: whatever its lines are, from here on all rows are alike.
struct Texts<'a> {
    /// Column from 1 and name of glucose, and its text.
    glucose: (usize, &'a str, &'a str),
    /// The same of the time; a date and a time of day are joined.
    time: (usize, &'a str, Cow<'a, str>),
    /// The unit the row says.
    unit: Option<&'a str>,
}

impl Dialect {
    /// Reads whole lines, none of them from before the first row. `first_line` is the number of the first;
    /// `after` is the row before them, which helps to decide the repeated hour of an autumn change.
    #[must_use]
    pub fn rows(&self, text: &[u8], first_line: u64, after: Option<After>) -> Rows {
        self.rows_by(&WallClock::at_home(self.zone), text, first_line, after)
    }

    /// The same, with times without an offset read by the clock of a wearer who may travel.
    #[must_use]
    pub fn rows_by(&self, clock: &WallClock, text: &[u8], first_line: u64, after: Option<After>) -> Rows {
        let mut found = Rows::default();
        match &self.lines {
            Lines::Diary(columns) => return columns.read(self, clock, text, first_line, after),
            Lines::Table { delimiter, .. } => {
                for_each_record(text, *delimiter, first_line, |line, cells| {
                    found.take(self.table_row(cells, line, clock));
                });
            }
            Lines::Json { .. } => {
                for (line, text) in (first_line..).zip(text.split(|byte| *byte == b'\n')) {
                    let text = text.trim_ascii();
                    if !text.is_empty() {
                        found.take(self.json_row(text, line, clock));
                    }
                }
            }
        }
        found.undecided = decide(&mut found.rows, std::mem::take(&mut found.undecided), after, clock);
        found.last = found.rows.last().map(|row| match found.undecided.last() {
            Some(open) if open.row + 1 == found.rows.len() => After::Undecided { undecided: row.measured },
            _ => After::Row(row.measured),
        });
        found
    }

    fn table_row(&self, cells: Cells<'_>, line: u64, clock: &WallClock) -> Result<Option<(Row, Changed)>, RowError> {
        let Lines::Table { time, glucose, unit, only, .. } = &self.lines else { return Ok(None) };
        let cell = |cell: &Cell| cells.get(cell.place).map(text_of);
        if only.as_ref().is_some_and(|(column, wanted)| cell(column) != Some(wanted)) {
            return Ok(None);
        }
        let needed = time.iter().chain(glucose.first()).map(|cell| cell.place + 1).max().unwrap_or(1);
        let short = || {
            let found: Vec<u8> = cells.iter().flatten().copied().collect();
            RowError::new(line, 0, "", &format!("at least {needed} cells"), &found)
        };
        if cells.places.len() < needed && glucose.len() < 2 {
            return Err(short());
        }
        let Some((column, text)) =
            glucose.iter().filter_map(|column| Some((column, cell(column)?))).find(|(_, text)| !text.is_empty())
        else {
            return Ok(None);
        };
        let Some((first_time, more)) = time.split_first() else { return Err(short()) };
        let mut joined = Cow::Borrowed(cell(first_time).ok_or_else(short)?);
        for part in more {
            let joined = joined.to_mut();
            if !joined.is_empty() {
                joined.push(' ');
            }
            joined.push_str(cell(part).ok_or_else(short)?);
        }
        let texts = Texts {
            glucose: (column.place + 1, &column.name, text),
            time: (first_time.place + 1, &first_time.name, joined),
            unit: unit.as_ref().and_then(cell),
        };
        self.row(&texts, line, clock)
    }

    fn json_row(&self, text: &[u8], line: u64, clock: &WallClock) -> Result<Option<(Row, Changed)>, RowError> {
        let Lines::Json { time, glucose, unit } = &self.lines else { return Ok(None) };
        let object: Map<String, Value> =
            serde_json::from_slice(text).map_err(|_| RowError::new(line, 0, "", "a JSON object", text))?;
        let as_text = |key: &str| match object.get(key) {
            Some(Value::String(text)) => text.trim().to_owned(),
            Some(Value::Number(number)) => number.to_string(),
            Some(Value::Null | Value::Bool(_) | Value::Array(_) | Value::Object(_)) | None => String::new(),
        };
        let (value, said) = (as_text(glucose), unit.as_deref().map(as_text));
        let texts =
            Texts { glucose: (1, glucose, &value), time: (1, time, as_text(time).into()), unit: said.as_deref() };
        self.row(&texts, line, clock)
    }

    fn row(&self, texts: &Texts<'_>, line: u64, clock: &WallClock) -> Result<Option<(Row, Changed)>, RowError> {
        let unit = match texts.unit.filter(|text| !text.is_empty()) {
            None => self.unit,
            Some(text) => Unit::named(text)
                .ok_or_else(|| RowError::new(line, 0, "", "a unit of mg/dL or mmol/L", text.as_bytes()))?,
        };
        let (column, name, text) = texts.glucose;
        let glucose = match Glucose::parse(&with_point(text), unit) {
            Ok(glucose) => glucose,
            Err(NotGlucose::Empty) => return Ok(None),
            Err(NotGlucose::NotANumber) => {
                let expected = format!("a number of {}, or a word for below or above range", unit.name());
                return Err(RowError::new(line, column, name, &expected, text.as_bytes()));
            }
        };
        let (measured, changed) = self.measured(&texts.time, line, clock)?;
        Ok(Some((Row { measured, glucose }, changed)))
    }

    /// The instant of a time, given with its column from 1 and its name.
    pub(super) fn measured(
        &self,
        (column, name, text): &(usize, &str, Cow<'_, str>),
        line: u64,
        clock: &WallClock,
    ) -> Result<(Timestamp, Changed), RowError> {
        match self.stamp.read(text, clock) {
            Some(Read::Once(at)) => Ok((at, Changed::No)),
            Some(Read::Twice(earlier, later)) => Ok((earlier, Changed::Twice(later))),
            Some(Read::Skipped(at)) => Ok((at, Changed::Skipped)),
            None => Err(RowError::new(line, *column, name, &self.stamp.expected(), text.as_bytes())),
        }
    }
}

impl Rows {
    fn take(&mut self, read: Result<Option<(Row, Changed)>, RowError>) {
        match read {
            Ok(Some((row, changed))) => {
                self.refused_at_end = 0;
                match changed {
                    Changed::No => {}
                    Changed::Skipped => self.clock_change += 1,
                    Changed::Twice(later) => {
                        self.clock_change += 1;
                        self.undecided.push(Undecided { row: self.rows.len(), later });
                    }
                }
                self.rows.push(row);
            }
            Ok(None) => self.blank += 1,
            Err(refusal) => self.refuse(refusal),
        }
    }

    pub(super) fn refuse(&mut self, refusal: RowError) {
        self.refused_count += 1;
        self.refused_at_end += 1;
        if self.refused.len() < REFUSALS_KEPT_MAX {
            self.refused.push(refusal);
        }
    }
}

/// `5,6` as `5.6`: a comma in a glucose value can only be a decimal one.
pub(super) fn with_point(text: &str) -> Cow<'_, str> {
    // Looking for a byte is much quicker than for a letter, and nearly no value has a comma.
    if !text.as_bytes().contains(&b',') {
        return text.into();
    }
    match text.split_once(',') {
        Some((whole, fraction)) if !fraction.contains([',', '.']) && !whole.contains('.') => {
            format!("{whole}.{fraction}").into()
        }
        _ => text.into(),
    }
}

/// A cell as text, without the spaces around it.
fn text_of(cell: &[u8]) -> &str {
    // Nearly all cells are plain: only others hold the wide spaces that take longer to look for.
    let text = std::str::from_utf8(cell.trim_ascii()).unwrap_or("\u{fffd}");
    if text.is_ascii() { text } else { text.trim() }
}

/// The cells of one line.
#[derive(Debug, Clone, Copy)]
pub(super) struct Cells<'a> {
    bytes: &'a [u8],
    /// Start and end of each.
    places: &'a [(usize, usize)],
}

impl<'a> Cells<'a> {
    pub(super) fn get(self, place: usize) -> Option<&'a [u8]> {
        self.places.get(place).and_then(|(start, end)| self.bytes.get(*start..*end))
    }

    pub(super) fn iter(self) -> impl Iterator<Item = &'a [u8]> {
        (0..self.places.len()).filter_map(move |place| self.get(place))
    }
}

/// Hands over each record of a table with its line number. A record is one line: a quote that is never
/// closed must not swallow the rows after it, and they are worth more than a note of two lines.
pub(super) fn for_each_record(text: &[u8], delimiter: u8, first_line: u64, mut each: impl FnMut(u64, Cells<'_>)) {
    let mut places: Vec<(usize, usize)> = Vec::new();
    let mut quoted: Option<Quoted> = None;
    for (line, bytes) in (first_line..).zip(text.split(|byte| *byte == b'\n')) {
        let bytes = bytes.strip_suffix(b"\r").unwrap_or(bytes);
        if bytes.is_empty() {
            continue;
        }
        places.clear();
        if bytes.contains(&b'"') {
            let quoted = quoted.get_or_insert_with(|| Quoted::new(delimiter));
            each(line, Cells { bytes: quoted.read(bytes, &mut places), places: &places });
        } else {
            let mut start = 0;
            for (at, _) in bytes.iter().enumerate().filter(|(_, byte)| **byte == delimiter) {
                places.push((start, at));
                start = at + 1;
            }
            places.push((start, bytes.len()));
            each(line, Cells { bytes, places: &places });
        }
    }
}

/// Reads lines with quotes. Making the reader takes far longer than a line, so that it is kept.
struct Quoted {
    reader: csv_core::Reader,
    text: Vec<u8>,
    ends: Vec<usize>,
}

impl Quoted {
    fn new(delimiter: u8) -> Self {
        let reader = csv_core::ReaderBuilder::new().delimiter(delimiter).build();
        Self { reader, text: Vec::new(), ends: Vec::new() }
    }

    /// The text of the cells, one after another, without their quotes.
    fn read(&mut self, line: &[u8], places: &mut Vec<(usize, usize)>) -> &[u8] {
        // Without its quotes a line is never longer, and has at most one cell more than bytes.
        self.text.resize(line.len(), 0);
        self.ends.resize(line.len() + 1, 0);
        self.reader.reset();
        let (result, _, written, cells) = self.reader.read_record(line, &mut self.text, &mut self.ends);
        let more = if result == csv_core::ReadRecordResult::InputEmpty {
            // An empty input says that the line is over.
            let (_, _, _, more) = self.reader.read_record(
                &[],
                self.text.get_mut(written..).unwrap_or_default(),
                self.ends.get_mut(cells..).unwrap_or_default(),
            );
            more
        } else {
            0
        };
        let mut start = 0;
        for end in self.ends.iter().take(cells + more) {
            places.push((start, *end));
            start = *end;
        }
        &self.text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Held against the csv crate, a general-purpose library, which gets each line by itself.
    #[test]
    fn cells_are_those_a_general_reader_finds() {
        let letters = [b'"', b'"', b',', b',', b';', b'a', b' ', 0xc3, 0xbc, b'\t'];
        let mut state = 11_u64;
        let mut text = Vec::new();
        for _ in 0..200_000 {
            // Knuth's MMIX constants.
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            let rolled = usize::try_from((state >> 33) % 14).unwrap();
            text.push(letters.get(rolled).copied().unwrap_or(if rolled < 12 { b'b' } else { b'\n' }));
        }
        let mut ours: Vec<(u64, Vec<Vec<u8>>)> = Vec::new();
        for_each_record(&text, b',', 7, |line, cells| ours.push((line, cells.iter().map(<[u8]>::to_vec).collect())));
        let mut theirs = Vec::new();
        for (line, bytes) in (7..).zip(text.split(|byte| *byte == b'\n')).filter(|(_, bytes)| !bytes.is_empty()) {
            let mut reader = csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(bytes);
            let record = reader.byte_records().next().unwrap().unwrap();
            theirs.push((line, record.iter().map(<[u8]>::to_vec).collect()));
        }
        assert!(ours.len() > 20_000, "{} lines", ours.len());
        assert_eq!(ours, theirs);
    }
}
