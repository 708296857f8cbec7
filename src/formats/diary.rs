//! Diary lines: what a phone's automation, or a hand, writes beside the readings. Text becomes lines that
//! are understood, or refusals that say in which cell what was expected.

use super::noted::{NotANote, Part, Told, implied, kind_named, kind_of};
use super::repeated::After;
use super::row_error::RowError;
use super::rows::{Changed, Rows, for_each_record};
use super::wanted::Dialect;
use crate::domain::glucose::Unit;
use crate::domain::reading::Undecided;
use crate::domain::travel::WallClock;
use crate::domain::written::{Entry, Excursion, Written};
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};

/// What a file may say besides.
const ANSWERS: [&str; 2] = ["treated", "seen"];

/// The answer to a question about a dose.
const MEANT: &str = "meant";

/// One line that was understood.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DiaryRow {
    /// Its line in the file, from 1.
    pub line: u64,
    /// When, and what.
    pub written: Written,
}

/// Where the cells of a diary stand; of JSON objects nothing but that they are.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Columns {
    /// Between the cells; none for JSON objects.
    pub(super) delimiter: Option<u8>,
    /// Cells of the header.
    pub(super) width: usize,
    /// The place of each column, from 0, in the order of [`NAMES`].
    pub(super) places: [Option<usize>; 5],
}

/// The columns a diary may have; it has the first two.
pub(super) const NAMES: [&str; 5] = ["time", "kind", "amount", "unit", "note"];

const TIME: usize = 0;
const KIND: usize = 1;
const AMOUNT: usize = 2;
const UNIT: usize = 3;
const NOTE: usize = 4;

/// One line's cells as texts, in the order of [`NAMES`]; blank where the line has none.
type Cells = [String; 5];

impl Columns {
    /// Between the cells; none for JSON objects.
    #[must_use]
    pub const fn delimiter(&self) -> Option<u8> {
        self.delimiter
    }

    /// Reads whole lines, as [`Dialect::rows`] does.
    pub(super) fn read(
        &self,
        dialect: &Dialect,
        clock: &WallClock,
        text: &[u8],
        first_line: u64,
        after: Option<After>,
    ) -> Rows {
        let mut found = Rows { of_diary: true, ..Rows::default() };
        let mut before = after.map(After::at);
        let mut take = |line: u64, cells: Result<Cells, RowError>| {
            match cells.and_then(|cells| self.row(dialect, clock, &cells, line)) {
                Ok(Some((mut row, changed))) => {
                    found.clock_change += u64::from(changed != Changed::No);
                    if let Changed::Twice(later) = changed {
                        // A line written after a later one is of the second time round; else its arrival tells.
                        if before.is_some_and(|before| row.written.at < before && before < later) {
                            row.written.at = later;
                        } else {
                            found.undecided.push(Undecided { row: found.diary.len(), later });
                        }
                    }
                    before = Some(row.written.at);
                    found.diary.push(row);
                }
                Ok(None) => found.blank += 1,
                Err(refusal) => found.refuse(refusal),
            }
        };
        if let Some(delimiter) = self.delimiter {
            for_each_record(text, delimiter, first_line, |line, record| {
                let cells: Vec<String> = record.iter().map(|cell| clean(&String::from_utf8_lossy(cell))).collect();
                take(line, self.cells(&cells, delimiter, line));
            });
        } else {
            for (line, text) in (first_line..).zip(text.split(|byte| *byte == b'\n')) {
                let text = text.trim_ascii();
                if !text.is_empty() {
                    take(line, json_cells(text, line));
                }
            }
        }
        found.last = found.diary.last().map(|row| After::Row(row.written.at)).or(after);
        found
    }

    /// A table's cells. A note that is not quoted may hold the delimiter, if nothing else can be meant.
    fn cells(&self, record: &[String], delimiter: u8, line: u64) -> Result<Cells, RowError> {
        let last = self.places[NOTE].filter(|note| note + 1 == self.width);
        let after_amount = self.places[AMOUNT].is_some_and(|amount| Some(amount + 1) == last);
        let too_many = record.get(self.width..).is_some_and(|more| more.iter().any(|cell| !cell.is_empty()));
        if too_many && (last.is_none() || after_amount) {
            let delimiter = char::from(delimiter);
            let expected = format!("at most {} cells, one that holds a {delimiter} in quotes", self.width);
            return Err(RowError::new(line, 0, "", &expected, record.join(&delimiter.to_string()).as_bytes()));
        }
        if let Some(next) = next_line(record) {
            // What was appended to a line without an end would be lost in that line's note.
            let expected = "the end of the line before the next one begins";
            return Err(RowError::new(line, 0, "", expected, next.join(&char::from(delimiter).to_string()).as_bytes()));
        }
        if let Some(amount) = self.places[AMOUNT].filter(|_| delimiter == b',') {
            // In `insulin,4,5` the second comma can be a decimal one: half a unit would be lost in the note.
            let [whole, fraction] = [amount, amount + 1].map(|place| record.get(place).map_or("", String::as_str));
            let is_number = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
            if after_amount && is_number(whole) && is_number(fraction) {
                let found = format!("{whole},{fraction}");
                let expected = "an amount, in quotes if it has a decimal comma";
                return Err(RowError::new(line, amount + 1, NAMES[AMOUNT], expected, found.as_bytes()));
            }
        }
        let mut cells = Cells::default();
        for (cell, place) in cells.iter_mut().zip(self.places) {
            *cell = place.and_then(|place| record.get(place)).cloned().unwrap_or_default();
        }
        if too_many && let Some(note) = last.and_then(|note| record.get(note..)) {
            cells[NOTE] = note.join(&format!("{} ", char::from(delimiter)));
        }
        Ok(cells)
    }

    fn row(
        &self,
        dialect: &Dialect,
        clock: &WallClock,
        cells: &Cells,
        line: u64,
    ) -> Result<Option<(DiaryRow, Changed)>, RowError> {
        let is_header = cells[TIME].eq_ignore_ascii_case(NAMES[TIME]) && cells[KIND].eq_ignore_ascii_case(NAMES[KIND]);
        if is_header || cells.iter().all(String::is_empty) {
            return Ok(None);
        }
        let [_, kind, amount, unit, words] = cells.each_ref().map(String::as_str);
        let told = Told { kind, amount, unit, words };
        let what = entry(&told, dialect.unit).map_err(|wrong| {
            let cell = match wrong.part {
                Part::Kind => KIND,
                Part::Amount => AMOUNT,
                Part::Unit => UNIT,
                Part::Note => NOTE,
            };
            RowError::new(line, self.column(cell), NAMES[cell], &wrong.expected, cells[cell].as_bytes())
        })?;
        let time = (self.column(TIME), NAMES[TIME], cells[TIME].as_str().into());
        let (at, changed) = dialect.measured(&time, line, clock)?;
        Ok(Some((DiaryRow { line, written: Written { at, what } }, changed)))
    }

    /// The column from 1; 1 for JSON, and for a column that the file does not have.
    fn column(&self, cell: usize) -> usize {
        self.places[cell].unwrap_or(0) + 1
    }
}

/// The cells of a further line that follow those of a first one, its time still hanging on the last of them.
fn next_line(record: &[String]) -> Option<&[String]> {
    let ends_in_a_time = |cell: &str| cell.contains(':') && cell.ends_with(|c: char| c.is_ascii_digit() || c == 'Z');
    let first = (2..record.len().saturating_sub(1))
        .find(|at| ends_in_a_time(&record[*at]) && record.get(at + 1).is_some_and(|cell| is_kind(cell)))?;
    record.get(first..)
}

/// What a line says.
fn entry(told: &Told<'_>, wearers: Unit) -> Result<Entry, NotANote> {
    let wrong = |part: Part, expected: &str| NotANote { part, expected: expected.to_owned() };
    match told.kind.to_lowercase().as_str() {
        "treated" if !told.unit.is_empty() => Err(wrong(Part::Unit, "nothing")),
        "treated" => {
            const WHICH: &str = "high, low, or nothing";
            let amount = excursion(told.amount).ok_or_else(|| wrong(Part::Amount, WHICH))?;
            let note = excursion(told.words).ok_or_else(|| wrong(Part::Note, WHICH))?;
            match (amount, note) {
                (Some(one), Some(other)) if one != other => Err(wrong(Part::Note, "the same as in amount")),
                (amount, note) => Ok(Entry::Treated(amount.or(note))),
            }
        }
        MEANT => Ok(Entry::Meant),
        "seen" if !told.amount.is_empty() => Err(wrong(Part::Amount, "nothing")),
        "seen" if !told.unit.is_empty() => Err(wrong(Part::Unit, "nothing")),
        "seen" if told.words.is_empty() => Ok(Entry::Seen),
        "seen" => Ok(Entry::SeenBy(told.words.to_owned())),
        _ => {
            let kind = kind_of(told, wearers).map_err(|wrong| match wrong.part {
                Part::Kind => {
                    NotANote { expected: format!("{}, {}", wrong.expected, ANSWERS.join(", ")), part: Part::Kind }
                }
                Part::Amount | Part::Unit | Part::Note => wrong,
            })?;
            // A kind that has no amount keeps what stands there with its words: 30 min of exercise.
            let extra = if kind.has_amount() { [""; 2] } else { [told.amount, told.unit] };
            let words: Vec<&str> = implied(told.kind)
                .into_iter()
                .chain(extra)
                .chain([told.words])
                .filter(|part| !part.is_empty())
                .collect();
            Ok(Entry::Noted { kind, words: words.join(" ") })
        }
    }
}

/// Which way, if it is said; none when something else is said.
#[expect(clippy::option_option, reason = "not said and not understood are two things")]
fn excursion(text: &str) -> Option<Option<Excursion>> {
    match text.to_lowercase().as_str() {
        "" => Some(None),
        "high" => Some(Some(Excursion::High)),
        "low" => Some(Some(Excursion::Low)),
        _ => None,
    }
}

/// Is it a word that begins a line of a diary?
pub(super) fn is_kind(word: &str) -> bool {
    let word = word.trim();
    let is = |answer: &&str| answer.eq_ignore_ascii_case(word);
    kind_named(word).is_some() || ANSWERS.iter().chain([&MEANT]).any(is)
}

fn json_cells(text: &[u8], line: u64) -> Result<Cells, RowError> {
    let object: Map<String, Value> =
        serde_json::from_slice(text).map_err(|_| RowError::new(line, 0, "", "a JSON object", text))?;
    let mut cells = Cells::default();
    for (cell, name) in cells.iter_mut().zip(NAMES) {
        let value = object.iter().find(|(key, _)| key.trim().eq_ignore_ascii_case(name)).map(|(_, value)| value);
        *cell = match value {
            Some(Value::String(text)) => clean(text),
            Some(Value::Number(number)) => number.to_string(),
            Some(Value::Null) | None => String::new(),
            Some(other @ (Value::Bool(_) | Value::Array(_) | Value::Object(_))) => {
                return Err(RowError::new(line, 1, name, "a text or a number", other.to_string().as_bytes()));
            }
        };
    }
    Ok(cells)
}

/// One line of text, without what would break a line elsewhere.
fn clean(text: &str) -> String {
    text.split(|letter: char| letter.is_control() || letter.is_whitespace())
        .filter(|word| !word.is_empty())
        .collect::<Vec<_>>()
        .join(" ")
}
