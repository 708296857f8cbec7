//! A delimited table with a header line becomes rows. Keeps no place in a file; intake does.

use super::row_error::RowError;
use super::stamp::{Read, Stamp};
use crate::domain::glucose::{Glucose, NotGlucose, Unit};
use crate::domain::local::Zone;
use crate::domain::time::Timestamp;
use csv::ByteRecord;
use serde::{Deserialize, Serialize};

/// Refusals kept with their words from one piece of text; the rest are only counted.
const REFUSALS_KEPT_MAX: usize = 20;

/// Headers taken for the time of measurement when the settings name none.
const TIME_HEADERS: [&str; 3] = ["timestamp", "time", "datetime"];

/// How the header of the glucose column begins when the settings name none.
const GLUCOSE_HEADER: &str = "glucose";

/// How a source writes its table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Format {
    /// Between the cells.
    pub delimiter: u8,
    /// Header of the column that holds the time of measurement; none: `timestamp`, `time` or `datetime`.
    pub time: Option<String>,
    /// Header of the column that holds the glucose value; none: the one that begins with `glucose`.
    pub glucose: Option<String>,
    /// How times are written.
    pub stamp: Stamp,
    /// Zone of times without an offset.
    pub zone: Zone,
    /// Unit of the values.
    pub unit: Unit,
}

/// Where the two columns stand, found in the header; kept with a file's place so that appended lines
/// need no header.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Columns {
    time: usize,
    glucose: usize,
}

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
    /// Rows whose glucose cell is empty: other record kinds, not errors.
    pub blank: u64,
    /// Rows in a skipped or repeated hour of a clock change.
    pub clock_change: u64,
}

impl Format {
    /// Finds the columns in the header line.
    ///
    /// # Errors
    /// When a column is missing; the refusal lists the columns there are.
    pub fn columns(&self, header: &[u8], line: u64) -> Result<Columns, RowError> {
        let header = header.strip_prefix(b"\xef\xbb\xbf").unwrap_or(header);
        let mut record = ByteRecord::new();
        let readable = self.reader(header).read_byte_record(&mut record).unwrap_or(false);
        let names: Vec<String> =
            record.iter().map(|cell| String::from_utf8_lossy(cell).trim().to_lowercase()).collect();
        let time = names.iter().position(|name| match &self.time {
            Some(wanted) => *name == wanted.to_lowercase(),
            None => TIME_HEADERS.contains(&name.as_str()),
        });
        let glucose = names.iter().position(|name| match &self.glucose {
            Some(wanted) => *name == wanted.to_lowercase(),
            None => name.starts_with(GLUCOSE_HEADER),
        });
        let missing = match (time.filter(|_| readable), glucose) {
            (Some(time), Some(glucose)) => {
                let name = names.get(glucose).map_or("", String::as_str);
                let says_mmol = name.contains("mmol");
                if says_mmol && self.unit == Unit::MgDl || name.contains("mg") && self.unit == Unit::MmolL {
                    let expected = format!("values in {}, as the settings say", self.unit.name());
                    return Err(RowError::new(line, glucose + 1, name, &expected, name.as_bytes()));
                }
                return Ok(Columns { time, glucose });
            }
            (None, _) => self.time.as_deref().unwrap_or("timestamp"),
            (Some(_), None) => self.glucose.as_deref().unwrap_or(GLUCOSE_HEADER),
        };
        Err(RowError::new(line, 0, "", &format!("a header with a column called \"{missing}\""), header))
    }

    /// Reads whole lines that follow the header. `first_line` is the number of the first of them;
    /// `after` is the row before them, which decides the repeated hour of an autumn change.
    #[must_use]
    pub fn rows(&self, columns: Columns, text: &[u8], first_line: u64, after: Option<Timestamp>) -> Rows {
        let mut found = Rows::default();
        let mut reader = self.reader(text);
        let mut record = ByteRecord::new();
        let mut before = after;
        let (mut counted_to, mut line) = (0, first_line);
        loop {
            match reader.read_byte_record(&mut record) {
                Ok(false) => return found,
                Ok(true) => {}
                // Reading from memory with flexible rows leaves no way to fail; a refusal keeps it visible.
                Err(error) => {
                    found.refuse(RowError::new(line, 0, "", "a row", error.to_string().as_bytes()));
                    return found;
                }
            }
            // The reader's own line count is off by one after CRLF, so lines are counted here.
            let start = record.position().and_then(|place| usize::try_from(place.byte()).ok()).unwrap_or(counted_to);
            let ends = text.iter().skip(start).take_while(|byte| matches!(byte, b'\r' | b'\n')).count();
            let passed = text.get(counted_to..start + ends).unwrap_or_default();
            line += passed.iter().map(|byte| u64::from(*byte == b'\n')).sum::<u64>();
            counted_to = start + ends;
            match self.row(columns, &record, line, before, &mut found.clock_change) {
                Ok(Some(row)) => {
                    before = Some(row.measured);
                    found.refused_at_end = 0;
                    found.rows.push(row);
                }
                Ok(None) => found.blank += 1,
                Err(refusal) => found.refuse(refusal),
            }
        }
    }

    fn row(
        &self,
        columns: Columns,
        record: &ByteRecord,
        line: u64,
        before: Option<Timestamp>,
        clock_change: &mut u64,
    ) -> Result<Option<Row>, RowError> {
        let refuse = |column: usize, name: &str, expected: &str, found: &[u8]| {
            Err(RowError::new(line, column + 1, name, expected, found))
        };
        let Some(cell) = record.get(columns.glucose) else {
            let whole = record.as_slice();
            return Err(RowError::new(
                line,
                0,
                "",
                &format!("at least {} cells", columns.glucose.max(columns.time) + 1),
                whole,
            ));
        };
        let text = std::str::from_utf8(cell).unwrap_or("\u{fffd}");
        let glucose = match Glucose::parse(text, self.unit) {
            Ok(glucose) => glucose,
            Err(NotGlucose::Empty) => return Ok(None),
            Err(NotGlucose::NotANumber) => {
                let expected = format!("a number of {}, or a word for below or above range", self.unit.name());
                return refuse(columns.glucose, self.glucose.as_deref().unwrap_or(GLUCOSE_HEADER), &expected, cell);
            }
        };
        let Some(cell) = record.get(columns.time) else {
            return Err(RowError::new(line, 0, "", &format!("at least {} cells", columns.time + 1), record.as_slice()));
        };
        let text = std::str::from_utf8(cell).unwrap_or("\u{fffd}");
        let measured = match self.stamp.read(text, self.zone) {
            Some(Read::Once(at)) => at,
            Some(Read::Twice(earlier, later)) => {
                *clock_change += 1;
                // Order within the file decides: going back would mean the second time round.
                if before.is_some_and(|before| earlier <= before && before < later) { later } else { earlier }
            }
            Some(Read::Skipped(at)) => {
                *clock_change += 1;
                at
            }
            None => {
                return refuse(columns.time, self.time.as_deref().unwrap_or("time"), &self.stamp.expected(), cell);
            }
        };
        Ok(Some(Row { measured, glucose }))
    }

    fn reader<'a>(&self, text: &'a [u8]) -> csv::Reader<&'a [u8]> {
        csv::ReaderBuilder::new().has_headers(false).flexible(true).delimiter(self.delimiter).from_reader(text)
    }
}

impl Rows {
    fn refuse(&mut self, refusal: RowError) {
        self.refused_count += 1;
        self.refused_at_end += 1;
        if self.refused.len() < REFUSALS_KEPT_MAX {
            self.refused.push(refusal);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn format() -> Format {
        Format {
            delimiter: b',',
            time: None,
            glucose: None,
            stamp: Stamp::Iso,
            zone: Zone::named("Europe/Madrid").unwrap(),
            unit: Unit::MgDl,
        }
    }

    #[test]
    fn a_bad_row_is_named_and_the_rest_is_read() {
        let format = format();
        let columns = format.columns(b"device,TIME,glucose\r\n", 1).unwrap();
        let text = b"x,2026-03-02 14:10,120\r\nx,2026-03-02 14:15,abc\r\n\r\nx,yesterday,130\r\nx,2026-03-02 14:20,\r\nx,2026-03-02 14:25,LOW\r\nx\r\n";
        let found = format.rows(columns, text, 2, None);
        assert_eq!(found.rows.len(), 2);
        assert_eq!((found.blank, found.refused_count, found.refused_at_end), (1, 3, 1));
        let said: Vec<String> = found.refused.iter().map(ToString::to_string).collect();
        assert_eq!(
            said[0],
            "line 3, column 3 (glucose): expected a number of mg/dL, or a word for below or above range, found \"abc\""
        );
        assert_eq!(
            said[1],
            "line 5, column 2 (time): expected a time such as 2026-03-02 14:10:00, found \"yesterday\""
        );
        assert_eq!(said[2], "line 8: expected at least 3 cells, found \"x\"");
    }

    #[test]
    fn a_missing_column_lists_what_there_is() {
        let refusal = format().columns(b"when,glucose", 1).unwrap_err();
        assert_eq!(
            refusal.to_string(),
            "line 1: expected a header with a column called \"timestamp\", found \"when,glucose\""
        );
    }

    #[test]
    fn a_header_in_the_other_unit_is_refused() {
        let refusal = format().columns(b"time,glucose mmol/L", 1).unwrap_err();
        let said = "line 1, column 2 (glucose mmol/l): expected values in mg/dL, as the settings say, found \"glucose mmol/l\"";
        assert_eq!(refusal.to_string(), said);
    }

    #[test]
    fn order_in_the_file_decides_the_repeated_hour() {
        let format = format();
        let columns = format.columns(b"time,glucose", 1).unwrap();
        let text = b"2026-10-25 02:50,100\n2026-10-25 02:10,101\n2026-10-25 02:50,102\n2026-10-25 03:00,103\n";
        let found = format.rows(columns, text, 2, None);
        let gaps: Vec<i64> =
            found.rows.windows(2).map(|pair| (pair[1].measured - pair[0].measured).as_minutes()).collect();
        assert_eq!(gaps, [20, 40, 10]);
        assert_eq!(found.clock_change, 3);
    }
}
