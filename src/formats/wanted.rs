//! What the settings say of how a source writes, and what was found of one file. What the settings leave
//! open is guessed from the first lines; a guess that could be two things is a question, never a choice.

use super::diary::Columns;
use super::encoding::Encoding;
use super::stamp::Stamp;
use crate::domain::glucose::Unit;
use crate::domain::local::Zone;
use crate::domain::travel::{Travel, WallClock};
use serde::{Deserialize, Serialize};

/// A column, as the settings name it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Column {
    /// By its header, in any capitals.
    Named(String),
    /// By its place, from 1: for tables without a header.
    Place(usize),
}

/// What the settings say. Nothing said is guessed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wanted {
    /// How letters are written.
    pub encoding: Option<Encoding>,
    /// Between the cells.
    pub delimiter: Option<u8>,
    /// Lines before the header, or before the first row where there is none.
    pub skip_lines: Option<usize>,
    /// Is there a header line?
    pub header: Option<bool>,
    /// The time: one column, or a date and a time of day.
    pub time: Vec<Column>,
    /// Glucose: the first of these columns that is not empty in a row.
    pub glucose: Vec<Column>,
    /// A column that says the unit of each row.
    pub unit_column: Option<Column>,
    /// Only rows with this text in this column are readings.
    pub only: Option<(Column, String)>,
    /// How times are written.
    pub stamp: Option<Stamp>,
    /// Unit of the values.
    pub unit: Option<Unit>,
    /// Zone of times without an offset.
    pub zone: Zone,
    /// The wearer's unit: of a meter check in a diary that says none.
    pub meter_unit: Unit,
    /// The settings name that zone for this source: it stays there when the wearer travels.
    pub zone_stays: bool,
}

/// How one file is written: all that reading its rows needs. Kept with the file's place, so that appended
/// lines need no header.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Dialect {
    /// How letters are written.
    pub encoding: Encoding,
    /// Lines before the first row.
    pub head_lines: u64,
    /// What its lines are.
    pub lines: Lines,
    /// How times are written.
    pub stamp: Stamp,
    /// Zone of times without an offset.
    pub zone: Zone,
    /// Unit of the values; a row's own unit wins.
    pub unit: Unit,
}

/// What the lines of a file are.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Lines {
    /// Cells between delimiters.
    Table {
        /// Between the cells.
        delimiter: u8,
        /// Places of the time, one or two.
        time: Vec<Cell>,
        /// Places of glucose, the first that is not empty counts.
        glucose: Vec<Cell>,
        /// Place of the unit.
        unit: Option<Cell>,
        /// Only rows with this text there.
        only: Option<(Cell, String)>,
    },
    /// One JSON object a line.
    Json {
        /// Key of the time.
        time: String,
        /// Key of glucose.
        glucose: String,
        /// Key of the unit.
        unit: Option<String>,
    },
    /// The wearer's diary, as a table or as JSON objects.
    Diary(Columns),
}

/// A place in a row, and what its header calls it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Cell {
    /// From 0.
    pub place: usize,
    /// The header; its number where there is none.
    pub name: String,
}

/// Why a file's way of writing was not found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NotFound {
    /// There is no row yet to tell from.
    NoRowYet,
    /// It could be two things, or none: what to ask, and what to set.
    Question {
        /// The line it is about.
        line: u64,
        /// What is not clear.
        what: String,
        /// What to do.
        hint: String,
    },
}

impl Cell {
    /// As a question names it.
    pub(super) fn shown(&self) -> String {
        if self.name.is_empty() { format!("column {}", self.place + 1) } else { format!("\"{}\"", self.name) }
    }

    /// As the settings would name it.
    #[must_use]
    pub fn column(&self) -> Column {
        if self.name.is_empty() { Column::Place(self.place + 1) } else { Column::Named(self.name.clone()) }
    }
}

impl Wanted {
    /// Nothing said.
    #[must_use]
    pub const fn anything(zone: Zone) -> Self {
        Self {
            encoding: None,
            delimiter: None,
            skip_lines: None,
            header: None,
            time: Vec::new(),
            glucose: Vec::new(),
            unit_column: None,
            only: None,
            stamp: None,
            unit: None,
            zone,
            meter_unit: Unit::MgDl,
            zone_stays: false,
        }
    }

    /// The clock that times without an offset were written by, in a file of that zone.
    #[must_use]
    pub fn clock(&self, zone: Zone, travels: &[Travel]) -> WallClock {
        if self.zone_stays { WallClock::at_home(zone) } else { WallClock::new(zone, travels) }
    }
}

impl Dialect {
    /// Is the file the wearer's diary, rather than readings?
    #[must_use]
    pub const fn is_diary(&self) -> bool {
        matches!(self.lines, Lines::Diary(_))
    }

    /// The settings that say the same, to paste under `[source.NAME]`. A diary needs none: of it is told
    /// what was found.
    #[must_use]
    pub fn as_settings(&self) -> Vec<String> {
        let quoted = |text: &str| format!("\"{}\"", text.replace('\\', "\\\\").replace('"', "\\\""));
        let listed = |cells: &[Cell]| {
            let names: Vec<String> = cells
                .iter()
                .map(|cell| if cell.name.is_empty() { (cell.place + 1).to_string() } else { quoted(&cell.name) })
                .collect();
            if names.len() == 1 { names.concat() } else { format!("[{}]", names.join(", ")) }
        };
        let mut lines = vec![format!("encoding = {}", quoted(self.encoding.name()))];
        match &self.lines {
            Lines::Diary(columns) => {
                let written = match columns.delimiter() {
                    None => "a diary of JSON objects".to_owned(),
                    Some(b'\t') => "a diary between tabs".to_owned(),
                    Some(delimiter) => format!("a diary between {}", quoted(&char::from(delimiter).to_string())),
                };
                lines.insert(0, written);
            }
            Lines::Table { delimiter, time, glucose, unit, only } => {
                let delimiter = if *delimiter == b'\t' { "tab".to_owned() } else { char::from(*delimiter).to_string() };
                let has_header = time.iter().any(|cell| !cell.name.is_empty());
                lines.push(format!("delimiter = {}", quoted(&delimiter)));
                lines.push(format!("header = {has_header}"));
                lines.push(format!("skip_lines = {}", self.head_lines.saturating_sub(u64::from(has_header))));
                lines.push(format!("time = {}", listed(time)));
                lines.push(format!("glucose = {}", listed(glucose)));
                if let Some(unit) = unit {
                    lines.push(format!("unit_column = {}", listed(std::slice::from_ref(unit))));
                }
                if let Some((cell, text)) = only {
                    lines.push(format!("only_column = {}", listed(std::slice::from_ref(cell))));
                    lines.push(format!("only = {}", quoted(text)));
                }
            }
            Lines::Json { time, glucose, .. } => {
                lines.push(format!("time = {}", quoted(time)));
                lines.push(format!("glucose = {}", quoted(glucose)));
            }
        }
        lines.push(format!("time_format = {}", quoted(self.stamp.name())));
        lines.push(format!("timezone = {}", quoted(self.zone.name())));
        lines.push(format!("unit = {}", quoted(self.unit.name())));
        lines
    }
}
