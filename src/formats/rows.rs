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
use csv::ByteRecord;
use serde_json::{Map, Value};

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
    time: (usize, &'a str, String),
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
                for_each_record(text, *delimiter, first_line, |line, record| match record {
                    Ok(record) => found.take(self.table_row(record, line, clock)),
                    Err(refusal) => found.refuse(refusal),
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

    fn table_row(&self, record: &ByteRecord, line: u64, clock: &WallClock) -> Result<Option<(Row, Changed)>, RowError> {
        let Lines::Table { time, glucose, unit, only, .. } = &self.lines else { return Ok(None) };
        let cell =
            |cell: &Cell| record.get(cell.place).map(|bytes| std::str::from_utf8(bytes).unwrap_or("\u{fffd}").trim());
        if only.as_ref().is_some_and(|(column, wanted)| cell(column) != Some(wanted)) {
            return Ok(None);
        }
        let needed = time.iter().chain(glucose.first()).map(|cell| cell.place + 1).max().unwrap_or(1);
        let short = || RowError::new(line, 0, "", &format!("at least {needed} cells"), record.as_slice());
        if record.len() < needed && glucose.len() < 2 {
            return Err(short());
        }
        let Some((column, text)) =
            glucose.iter().filter_map(|column| Some((column, cell(column)?))).find(|(_, text)| !text.is_empty())
        else {
            return Ok(None);
        };
        let mut joined = String::new();
        for part in time {
            if !joined.is_empty() {
                joined.push(' ');
            }
            joined.push_str(cell(part).ok_or_else(short)?);
        }
        let Some(first_time) = time.first() else { return Err(short()) };
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
        let texts = Texts { glucose: (1, glucose, &value), time: (1, time, as_text(time)), unit: said.as_deref() };
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
        (column, name, text): &(usize, &str, String),
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
pub(super) fn with_point(text: &str) -> std::borrow::Cow<'_, str> {
    match text.split_once(',') {
        Some((whole, fraction)) if !fraction.contains([',', '.']) && !whole.contains('.') => {
            format!("{whole}.{fraction}").into()
        }
        _ => text.into(),
    }
}

/// Hands over each record of a table with its line number. A record is one line: a quote that is never
/// closed must not swallow the rows after it, and they are worth more than a note of two lines.
pub(super) fn for_each_record(
    text: &[u8],
    delimiter: u8,
    first_line: u64,
    mut each: impl FnMut(u64, Result<&ByteRecord, RowError>),
) {
    let mut record = ByteRecord::new();
    for (line, bytes) in (first_line..).zip(text.split(|byte| *byte == b'\n')) {
        let bytes = bytes.strip_suffix(b"\r").unwrap_or(bytes);
        if bytes.is_empty() {
            continue;
        }
        if bytes.contains(&b'"') {
            let mut reader =
                csv::ReaderBuilder::new().has_headers(false).flexible(true).delimiter(delimiter).from_reader(bytes);
            match reader.read_byte_record(&mut record) {
                Ok(_) => each(line, Ok(&record)),
                // Reading from memory with flexible rows leaves no way to fail; a refusal keeps it visible.
                Err(error) => each(line, Err(RowError::new(line, 0, "", "a row", error.to_string().as_bytes()))),
            }
        } else {
            record.clear();
            for cell in bytes.split(|byte| *byte == delimiter) {
                record.push_field(cell);
            }
            each(line, Ok(&record));
        }
    }
}
