//! Finds out how a table is written, from its first lines and what the settings say. What could be two
//! things is asked, not chosen.

use super::encoding::Encoding;
use super::rows::{for_each_record, with_point};
use super::sniff_time::{self, Times};
use super::wanted::{Cell, Column, Dialect, Lines, NotFound, Wanted};
use crate::domain::glucose::{Glucose, MG_DL_MIN_HUNDREDTHS, MMOL_L_MAX_HUNDREDTHS, Measured, Unit};

/// Records looked at.
const RECORDS_MAX: usize = 500;

/// Bytes looked at.
const BYTES_MAX: usize = 1 << 17;

/// Lines that may stand before the table.
pub(super) const HEAD_LINES_MAX: usize = 40;

/// Beginnings of the word for glucose in the headers of several languages.
const GLUCOSE_WORDS: [&str; 5] = ["gluc", "gluk", "glic", "glyc", "blutzucker"];

/// Delimiters tried, the commonest last: a comma may also be a decimal one.
pub(super) const DELIMITERS: [u8; 4] = [b';', b'\t', b'|', b','];

pub(super) type Record = (u64, Vec<String>);

impl Wanted {
    /// Finds out how a text is written. `text` is UTF-8, and whole lines from the start of a file; `known`
    /// is how another file of the same source is written.
    ///
    /// # Errors
    /// When there is no row yet to tell from, or what is there could be two things.
    pub fn sniff(&self, text: &[u8], encoding: Encoding, known: Option<&Dialect>) -> Result<Dialect, NotFound> {
        if let Some(found) = super::sniff_diary::find(self, text) {
            return super::sniff_diary::dialect(self, text, encoding, known, found);
        }
        let known_too = known.filter(|known| !known.is_diary()).map(|known| self.as_known(known));
        // What an earlier file of the source showed settles what this one leaves open; a file that is
        // written in another way is looked at afresh.
        match known_too.map(|wanted| wanted.sniff_text(text, encoding)) {
            Some(Ok(dialect)) => Ok(dialect),
            Some(Err(NotFound::NoRowYet)) => Err(NotFound::NoRowYet),
            Some(Err(NotFound::Question { .. })) | None => self.sniff_text(text, encoding),
        }
    }

    /// What the settings say, and where they say nothing, what an earlier file showed.
    fn as_known(&self, known: &Dialect) -> Self {
        let mut wanted = self.clone();
        wanted.unit = wanted.unit.or(Some(known.unit));
        wanted.stamp = wanted.stamp.or_else(|| Some(known.stamp.clone()));
        if let Lines::Table { delimiter, time, glucose, .. } = &known.lines {
            let columns = |cells: &[Cell]| cells.iter().map(Cell::column).collect::<Vec<Column>>();
            wanted.delimiter = wanted.delimiter.or(Some(*delimiter));
            if wanted.time.is_empty() && wanted.glucose.is_empty() {
                wanted.time = columns(time);
                wanted.glucose = columns(glucose);
            }
        }
        wanted
    }

    fn sniff_text(&self, text: &[u8], encoding: Encoding) -> Result<Dialect, NotFound> {
        let first = text.trim_ascii_start().first();
        let (lines, head_lines, stamp, unit) = match first {
            None => return Err(NotFound::NoRowYet),
            Some(b'{') => super::sniff_json::sniff(self, text)?,
            Some(_) => self.sniff_table(text)?,
        };
        Ok(Dialect { encoding, head_lines, lines, stamp, zone: self.zone, unit })
    }

    fn sniff_table(&self, text: &[u8]) -> Result<(Lines, u64, super::stamp::Stamp, Unit), NotFound> {
        let delimiter = match self.delimiter {
            Some(delimiter) => delimiter,
            None => likeliest_delimiter(text),
        };
        let records = records(text, delimiter);
        let start = self.start(&records)?;
        let table = Table::new(self, &records, start);
        if table.rows.is_empty() {
            return Err(NotFound::NoRowYet);
        }
        let only = match &self.only {
            None => None,
            Some((column, wanted)) => Some((table.place(column)?, wanted.clone())),
        };
        let table = table.only(only.as_ref());
        if table.rows.is_empty() {
            return Err(NotFound::NoRowYet);
        }
        let times = table.times(self)?;
        let glucose = table.glucose(self, &times)?;
        let unit_cell = table.unit_cell(self)?;
        let unit = table.unit(self, &glucose, unit_cell.as_ref())?;
        let lines = Lines::Table { delimiter, time: times.cells, glucose, unit: unit_cell, only };
        Ok((lines, table.head_lines, times.stamp, unit))
    }

    /// The record the table starts with: its header, or its first row.
    fn start(&self, records: &[Record]) -> Result<usize, NotFound> {
        if let Some(skip) = self.skip_lines {
            let skip = u64::try_from(skip).unwrap_or(u64::MAX);
            return records.iter().position(|(line, _)| *line > skip).ok_or(NotFound::NoRowYet);
        }
        let named: Vec<&str> = self
            .time
            .iter()
            .chain(&self.glucose)
            .filter_map(|column| match column {
                Column::Named(name) => Some(name.as_str()),
                Column::Place(_) => None,
            })
            .collect();
        if !named.is_empty() {
            let holds = |record: &Record| named.iter().all(|name| record.1.iter().any(|cell| same(cell, name)));
            return match records.iter().position(holds) {
                Some(start) => Ok(start),
                None if records.len() < 2 => Err(NotFound::NoRowYet),
                None => {
                    let found = records.first().map_or_else(String::new, |(_, cells)| cells.join(", "));
                    Err(question(
                        1,
                        format!("no header holds {}, found \"{found}\"", listed(&named)),
                        "name the columns as the file does, with time and glucose",
                    ))
                }
            };
        }
        // Lines before a table are narrower than its rows.
        let width = usual_width(records);
        let start = records.iter().position(|(_, cells)| cells.len() == width).unwrap_or(0);
        if start > HEAD_LINES_MAX {
            return Err(question(
                1,
                format!("no table begins in the first {HEAD_LINES_MAX} lines"),
                "set skip_lines, and delimiter",
            ));
        }
        Ok(start)
    }
}

/// A table's rows, with its header if it has one.
struct Table<'a> {
    names: Vec<String>,
    rows: Vec<&'a Record>,
    head_lines: u64,
    line: u64,
}

impl<'a> Table<'a> {
    fn new(wanted: &Wanted, records: &'a [Record], start: usize) -> Self {
        let rest = records.get(start..).unwrap_or_default();
        let first = rest.first();
        let line = first.map_or(1, |(line, _)| *line);
        let looks_like_header =
            || first.is_some_and(|(_, cells)| !cells.iter().any(|cell| sniff_time::is_time_or_date(cell)));
        let has_header = wanted.header.unwrap_or_else(looks_like_header);
        let names = if has_header { first.map(|(_, cells)| cells.clone()).unwrap_or_default() } else { Vec::new() };
        // Lines of another width are broken, or the rest of a note of two lines: they tell nothing.
        let width = usual_width(rest);
        let rows = rest.iter().skip(usize::from(has_header)).filter(|(_, cells)| cells.len() >= width).collect();
        let head_lines = if has_header { line } else { line - 1 };
        Self { names, rows, head_lines, line }
    }

    fn only(self, only: Option<&(Cell, String)>) -> Self {
        let Some((cell, wanted)) = only else { return self };
        let rows = self
            .rows
            .into_iter()
            .filter(|(_, cells)| cells.get(cell.place).is_some_and(|cell| cell == wanted))
            .collect();
        Self { rows, ..self }
    }

    fn width(&self) -> usize {
        self.rows.iter().map(|(_, cells)| cells.len()).max().unwrap_or(0).max(self.names.len())
    }

    fn cell(&self, place: usize) -> Cell {
        Cell { place, name: self.names.get(place).cloned().unwrap_or_default() }
    }

    fn place(&self, column: &Column) -> Result<Cell, NotFound> {
        let place = match column {
            Column::Place(from_one) => Some(from_one - 1).filter(|place| *place < self.width()),
            Column::Named(name) => self.names.iter().position(|known| same(known, name)),
        };
        place.map(|place| self.cell(place)).ok_or_else(|| {
            let wanted = match column {
                Column::Place(from_one) => format!("column {from_one}"),
                Column::Named(name) => format!("a column called \"{name}\""),
            };
            let found = self.names.join(", ");
            question(
                self.line,
                format!("there is no {wanted}, found \"{found}\""),
                "name the columns as the file does, with time and glucose",
            )
        })
    }

    /// Texts of one column, the empty ones left out.
    fn texts(&self, place: usize) -> Vec<&str> {
        self.rows
            .iter()
            .filter_map(|(_, cells)| cells.get(place))
            .map(String::as_str)
            .filter(|text| !text.is_empty())
            .collect()
    }

    fn times(&self, wanted: &Wanted) -> Result<Times, NotFound> {
        let cells = match wanted.time.as_slice() {
            [] => None,
            named => Some(named.iter().map(|column| self.place(column)).collect::<Result<Vec<Cell>, NotFound>>()?),
        };
        let columns: Vec<(Cell, Vec<&str>)> =
            (0..self.width()).map(|place| (self.cell(place), self.texts(place))).collect();
        let joined = |cells: &[Cell]| -> Vec<String> {
            let text = |row: &Record| {
                let parts: Option<Vec<&str>> =
                    cells.iter().map(|cell| row.1.get(cell.place).map(String::as_str)).collect();
                parts.map(|parts| parts.join(" ")).filter(|text| !text.trim().is_empty())
            };
            self.rows.iter().filter_map(|row| text(row)).collect()
        };
        sniff_time::find(wanted.stamp.as_ref(), cells, &columns, &joined, self.line)
    }

    fn glucose(&self, wanted: &Wanted, times: &Times) -> Result<Vec<Cell>, NotFound> {
        if !wanted.glucose.is_empty() {
            return wanted.glucose.iter().map(|column| self.place(column)).collect();
        }
        let numbers: Vec<Cell> = (0..self.width())
            .filter(|place| times.cells.iter().all(|cell| cell.place != *place))
            .filter(|place| is_glucose(&self.texts(*place)))
            .map(|place| self.cell(place))
            .collect();
        let named: Vec<Cell> = numbers.iter().filter(|cell| says_glucose(&cell.name)).cloned().collect();
        let candidates = if named.is_empty() { numbers } else { named };
        let filled = |row: &Record| {
            candidates.iter().filter(|cell| row.1.get(cell.place).is_some_and(|text| !text.is_empty())).count()
        };
        let each_fills_one = || self.rows.iter().all(|row| filled(row) <= 1);
        match candidates.len() {
            0 => Err(question(
                self.line,
                format!("no column holds glucose values; the columns are \"{}\"", self.names.join(", ")),
                "name it with glucose = \"...\"",
            )),
            1 => Ok(candidates),
            // Stored and scanned values of one sensor: each row fills one of them.
            _ if each_fills_one() && says_glucose(&candidates[0].name) => Ok(candidates),
            _ => {
                let listed: Vec<String> = candidates.iter().map(Cell::shown).collect();
                Err(question(
                    self.line,
                    format!("several columns could hold glucose: {}", listed.join(", ")),
                    if each_fills_one() {
                        "name the right one with glucose = \"...\", or all that are glucose: glucose = [\"...\", \"...\"]"
                    } else {
                        "name the right one with glucose = \"...\""
                    },
                ))
            }
        }
    }

    fn unit_cell(&self, wanted: &Wanted) -> Result<Option<Cell>, NotFound> {
        if let Some(column) = &wanted.unit_column {
            return self.place(column).map(Some);
        }
        let all_units = |place: &usize| {
            let texts = self.texts(*place);
            let units = texts.iter().filter(|text| Unit::named(text).is_some()).count();
            units > 0 && units * 2 >= texts.len()
        };
        Ok((0..self.width()).find(all_units).map(|place| self.cell(place)))
    }

    fn unit(&self, wanted: &Wanted, glucose: &[Cell], unit_cell: Option<&Cell>) -> Result<Unit, NotFound> {
        let texts: Vec<&str> = glucose.iter().flat_map(|cell| self.texts(cell.place)).collect();
        let header = glucose.iter().map(|cell| cell.name.to_lowercase()).collect::<String>();
        let said = match wanted.unit {
            Some(unit) => Some(unit),
            None if header.contains("mmol") => Some(Unit::MmolL),
            None if header.contains("mg/dl") || header.contains("mg_dl") || header.contains("mgdl") => Some(Unit::MgDl),
            None => None,
        };
        if wanted.unit == Some(Unit::MgDl) && header.contains("mmol") {
            return Err(question(
                self.line,
                "the header says mmol/L, and the settings say mg/dL".to_owned(),
                "set unit as the file is written",
            ));
        }
        if let Some(cell) = unit_cell {
            let first = self.texts(cell.place).first().and_then(|text| Unit::named(text));
            return Ok(first.or(said).unwrap_or(Unit::MgDl));
        }
        unit_of(said, &texts, self.line)
    }
}

/// The unit the values are in: what was said, if they can be that; what they can only be, if nothing was.
pub(super) fn unit_of(said: Option<Unit>, texts: &[&str], line: u64) -> Result<Unit, NotFound> {
    let values: Vec<i32> = texts
        .iter()
        .filter_map(|text| Glucose::parse(&with_point(text), Unit::MgDl).ok())
        .filter(|glucose| glucose.measured() == Measured::Number)
        .map(Glucose::hundredths)
        .collect();
    let values: Vec<i32> = values.into_iter().filter(|value| *value > 0).collect();
    if values.is_empty() {
        // Words for below or above range alone do not tell a unit, and do not need one.
        return Ok(said.unwrap_or(Unit::MgDl));
    }
    // A few broken values do not make the unit doubtful: four in five must agree.
    let most = |test: &dyn Fn(&i32) -> bool| values.iter().filter(|value| test(value)).count() * 5 >= values.len() * 4;
    let low_enough = most(&|value| *value <= MMOL_L_MAX_HUNDREDTHS);
    let fractions = values.iter().any(|value| value % 100 != 0);
    let only_mmol = low_enough && (fractions || most(&|value| *value < MG_DL_MIN_HUNDREDTHS));
    let only_mg = most(&|value| *value > MMOL_L_MAX_HUNDREDTHS);
    match (said, only_mmol, only_mg) {
        (Some(Unit::MgDl), true, _) => Err(question(
            line,
            "the values can only be mmol/L, and mg/dL is said".to_owned(),
            "set unit = \"mmol/L\" for this source",
        )),
        (Some(Unit::MmolL), _, true) => Err(question(
            line,
            "the values can only be mg/dL, and mmol/L is said".to_owned(),
            "set unit = \"mg/dL\" for this source",
        )),
        (Some(unit), _, _) => Ok(unit),
        (None, true, _) => Ok(Unit::MmolL),
        (None, _, true) => Ok(Unit::MgDl),
        (None, false, false) => Err(question(
            line,
            "the values could be mg/dL or mmol/L".to_owned(),
            "set unit = \"mg/dL\" or unit = \"mmol/L\" for this source",
        )),
    }
}

/// Does a column hold glucose values? Counters and percentages are told from them by the header alone.
pub(super) fn is_glucose(texts: &[&str]) -> bool {
    let plausible = |text: &&&str| {
        Glucose::parse(&with_point(text), Unit::MgDl).is_ok_and(|glucose| {
            glucose.measured() != Measured::Number || (50..=90_000).contains(&glucose.hundredths())
        })
    };
    !texts.is_empty() && texts.iter().filter(plausible).count() * 2 >= texts.len()
}

/// Does a header name glucose?
pub(super) fn says_glucose(name: &str) -> bool {
    let name = name.to_lowercase();
    GLUCOSE_WORDS.iter().any(|word| name.contains(word))
}

pub(super) fn question(line: u64, what: String, hint: &str) -> NotFound {
    NotFound::Question { line, what, hint: hint.to_owned() }
}

pub(super) fn records(text: &[u8], delimiter: u8) -> Vec<Record> {
    let text = text
        .get(..BYTES_MAX)
        .map_or(text, |head| head.get(..=head.iter().rposition(|byte| *byte == b'\n').unwrap_or(0)).unwrap_or(head));
    let mut found: Vec<Record> = Vec::new();
    for_each_record(text, delimiter, 1, |line, cells| {
        if found.len() < RECORDS_MAX {
            let cells = cells.iter().map(|cell| String::from_utf8_lossy(cell).trim().to_owned()).collect();
            found.push((line, cells));
        }
    });
    found
}

/// The delimiter that cuts the most lines into the same number of cells, two or more.
fn likeliest_delimiter(text: &[u8]) -> u8 {
    let agreeing = |delimiter: &u8| {
        let records = records(text, *delimiter);
        let width = usual_width(&records);
        let agree = records.iter().filter(|(_, cells)| cells.len() == width).count();
        if width >= 2 { agree } else { 0 }
    };
    // Of equals the last is taken; the comma stands last, but one that is decimal cuts fewer lines alike.
    DELIMITERS.into_iter().max_by_key(agreeing).unwrap_or(b',')
}

fn usual_width(records: &[Record]) -> usize {
    let mut widths: Vec<usize> = records.iter().map(|(_, cells)| cells.len()).filter(|width| *width > 1).collect();
    widths.sort_unstable();
    let runs = widths.chunk_by(|a, b| a == b);
    runs.max_by_key(|run| run.len()).and_then(|run| run.first().copied()).unwrap_or(1)
}

pub(super) fn same(a: &str, b: &str) -> bool {
    a.trim().to_lowercase() == b.trim().to_lowercase()
}

fn listed(names: &[&str]) -> String {
    names.iter().map(|name| format!("\"{name}\"")).collect::<Vec<_>>().join(" and ")
}
