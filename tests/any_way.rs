//! The same rows, whichever way they are written: split over files, in any order, doubled, rewritten longer
//! and shorter, in any letters and ends of line, cut anywhere. What is stored is always the same. The tables
//! are written by the csv crate, a general-purpose library, and read by ours.

use super::intake::Looked;
use super::properties::{Dice, day};
use recheck::domain::glucose::{Glucose, Measured, Unit};
use recheck::domain::local::Zone;
use recheck::formats::encoding::Encoding;
use recheck::formats::rows::Row;
use recheck::formats::stamp::{Read, Stamp};
use recheck::formats::wanted::Wanted;
use std::collections::BTreeMap;
use std::fs;

/// Notes that stand beside a value: quotes, delimiters, letters of two, three and four bytes.
const NOTES: [&str; 6] = ["", "Frühstück", "a \"big\" one", "one; two, three", "größer\tals", "naïve, \"ß\""];

/// Letters that Latin-1 has not, and that UTF-16 writes as two units.
const WIDE_NOTE: &str = "朝食 \u{1f95e}";

/// How a table is written.
struct Written {
    encoding: Encoding,
    mark: bool,
    delimiter: u8,
    crlf: bool,
    always_quoted: bool,
}

impl Written {
    fn any(dice: &mut Dice) -> Self {
        let encodings = [Encoding::Utf8, Encoding::Utf16Le, Encoding::Utf16Be, Encoding::Latin1];
        Self {
            encoding: encodings[below(dice, 4)],
            mark: dice.roll(2) == 0,
            delimiter: [b',', b';', b'\t'][below(dice, 3)],
            crlf: dice.roll(2) == 0,
            always_quoted: dice.roll(2) == 0,
        }
    }

    fn bytes(&self, rows: &[Row], dice: &mut Dice) -> Vec<u8> {
        let mut table = csv::WriterBuilder::new()
            .delimiter(self.delimiter)
            .terminator(if self.crlf { csv::Terminator::CRLF } else { csv::Terminator::Any(b'\n') })
            .quote_style(if self.always_quoted { csv::QuoteStyle::Always } else { csv::QuoteStyle::Necessary })
            .from_writer(Vec::new());
        table.write_record(["time", "note", "glucose"]).unwrap();
        for row in rows {
            let wide = self.encoding != Encoding::Latin1 && dice.roll(8) == 0;
            let note = if wide { WIDE_NOTE } else { NOTES[below(dice, NOTES.len())] };
            let at = Zone::UTC.wall(row.measured).format("%Y-%m-%d %H:%M:%S").to_string();
            table.write_record([&at, note, &row.glucose.shown(Unit::MgDl, None)]).unwrap();
        }
        let text = String::from_utf8(table.into_inner().unwrap()).unwrap();
        let marked = if self.mark { format!("\u{feff}{text}") } else { text.clone() };
        match self.encoding {
            Encoding::Utf8 => marked.into_bytes(),
            Encoding::Utf16Le => marked.encode_utf16().flat_map(u16::to_le_bytes).collect(),
            Encoding::Utf16Be => marked.encode_utf16().flat_map(u16::to_be_bytes).collect(),
            Encoding::Latin1 => text.chars().map(|letter| u8::try_from(u32::from(letter)).unwrap()).collect(),
        }
    }
}

fn below(dice: &mut Dice, bound: usize) -> usize {
    usize::try_from(dice.roll(i64::try_from(bound).unwrap())).unwrap()
}

fn stored(rows: &[Row]) -> BTreeMap<i64, i32> {
    rows.iter().map(|row| (row.measured.millis(), row.glucose.hundredths())).collect()
}

/// Some of the rows, in any order, some of them twice.
fn mixed(rows: &[Row], dice: &mut Dice) -> Vec<Row> {
    let mut mixed: Vec<Row> = rows.iter().chain(rows.iter().step_by(4)).copied().collect();
    dice.shuffle(&mut mixed);
    mixed
}

#[test]
fn every_way_of_writing_a_table_gives_the_same_rows() {
    for seed in 0..200 {
        let (rows, mut dice) = (day(seed), Dice(seed ^ 0x0dd5));
        let bytes = Written::any(&mut dice).bytes(&rows, &mut dice);
        let encoding = Encoding::guess(&bytes);
        let text = encoding.text(&bytes);
        let dialect = Wanted::anything(Zone::UTC).sniff(&text, encoding, None).unwrap();
        let table = recheck::intake::folder::after_lines(&text, dialect.head_lines);
        let found = dialect.rows(table, 2, None);
        assert_eq!((found.rows, found.refused_count, found.blank), (rows, 0, 0), "seed {seed}");
    }
}

#[test]
fn any_cut_of_the_bytes_of_a_growing_file_stores_the_same() {
    for seed in 0..24 {
        let (rows, mut dice) = (day(seed), Dice(seed ^ 0xcafe));
        let bytes = Written::any(&mut dice).bytes(&mixed(&rows, &mut dice), &mut dice);
        let mut looked = Looked::new();
        let mut rest = bytes.as_slice();
        while !rest.is_empty() {
            // Many cuts of a byte or two, within letters and ends of line, and some of many lines.
            let most = if dice.roll(2) == 0 { 3 } else { 1_500 };
            let (piece, after) = rest.split_at((below(&mut dice, most) + 1).min(rest.len()));
            looked.append("day.csv", piece);
            if dice.roll(20) == 0 {
                looked.restart();
            }
            looked.look();
            rest = after;
        }
        assert_eq!(looked.stored, stored(&rows), "seed {seed}");
        assert_eq!(looked.words, Vec::<String>::new(), "seed {seed}");
        assert_eq!(looked.handed_on, mixed(&rows, &mut Dice(0)).len(), "seed {seed}: a line was read twice");
    }
}

#[test]
fn files_split_rewritten_shortened_and_doubled_store_the_same() {
    for seed in 0..40 {
        let (rows, mut dice) = (day(seed), Dice(seed ^ 0xf11e));
        let mut looked = Looked::new();
        let written = Written::any(&mut dice);
        let mut files: Vec<Vec<Row>> = vec![Vec::new(); below(&mut dice, 4) + 1];
        let mut left = mixed(&rows, &mut dice);
        while !left.is_empty() {
            let count = (below(&mut dice, 60) + 1).min(left.len());
            let some = left.split_off(left.len() - count);
            let file = below(&mut dice, files.len());
            let name = format!("part-{file}.csv");
            files[file].extend(&some);
            // Shorter first, now and then: what was in the file is known, and comes again.
            if dice.roll(3) == 0 {
                let shorter = &files[file][..below(&mut dice, files[file].len())];
                looked.replace(&name, &written.bytes(shorter, &mut dice));
                looked.look();
            }
            if dice.roll(3) == 0 {
                dice.shuffle(&mut files[file]);
            }
            let bytes = written.bytes(&files[file], &mut dice);
            if dice.roll(2) == 0 {
                looked.replace(&name, &bytes);
            } else {
                fs::write(looked.path(&name), &bytes).unwrap();
            }
            if dice.roll(4) == 0 {
                looked.restart();
            }
            looked.look();
        }
        assert_eq!(looked.stored, stored(&rows), "seed {seed}");
        assert_eq!(looked.words, Vec::<String>::new(), "seed {seed}");
    }
}

fn millis_of(text: &str) -> Option<i64> {
    match Stamp::Iso.read(text, Zone::UTC)? {
        Read::Once(at) => Some(at.millis()),
        Read::Twice(_, _) | Read::Skipped(_) => None,
    }
}

/// Held against chrono's own readers, a general-purpose library: RFC 3339 with an offset, and a pattern
/// without. Some digits are altered, so that months of 13 and hours of 25 come up as well.
#[test]
fn times_are_read_as_a_general_reader_reads_them() {
    let mut dice = Dice(0x71e5);
    let (mut read, mut refused) = (0, 0);
    for _ in 0..20_000 {
        let at = chrono::DateTime::from_timestamp(dice.roll(4_000_000_000), 0).unwrap();
        let mut text = at.format("%Y-%m-%dT%H:%M:%S").to_string().into_bytes();
        if dice.roll(3) > 0 {
            let place = [5, 6, 8, 9, 11, 12, 14, 15, 18][below(&mut dice, 9)];
            text[place] = b'0' + u8::try_from(dice.roll(10)).unwrap();
        }
        if dice.roll(2) == 0 {
            text[10] = b' ';
        }
        let mut text = String::from_utf8(text).unwrap();
        let separator = &text[10..11];
        let pattern = format!("%Y-%m-%d{separator}%H:%M:%S");
        let theirs = chrono::NaiveDateTime::parse_from_str(&text, &pattern).ok();
        assert_eq!(millis_of(&text), theirs.map(|wall| wall.and_utc().timestamp_millis()), "{text}");
        text.push_str(["Z", "+00:00", "-08:00", "+05:45", "+13:00"][below(&mut dice, 5)]);
        let theirs = chrono::DateTime::parse_from_rfc3339(&text).ok().map(|moment| moment.timestamp_millis());
        assert_eq!(millis_of(&text), theirs, "{text}");
        *if theirs.is_some() { &mut read } else { &mut refused } += 1;
    }
    assert!(read > 5_000 && refused > 500, "{read} read, {refused} refused");
}

/// Held against plain arithmetic in floating point.
#[test]
fn values_are_read_as_plain_arithmetic_reads_them() {
    let mut dice = Dice(0x9a1e);
    for _ in 0..20_000 {
        let (whole, digits) = (dice.roll(600), below(&mut dice, 4));
        let fraction: String = (0..digits).map(|_| char::from(b'0' + u8::try_from(dice.roll(10)).unwrap())).collect();
        let text = if digits == 0 { whole.to_string() } else { format!("{whole}.{fraction}") };
        let plain: f64 = text.parse().unwrap();
        let mg_dl = Glucose::parse(&text, Unit::MgDl).unwrap();
        assert!((f64::from(mg_dl.hundredths()) - plain * 100.0).abs() <= 0.5 + 1e-6, "{text}: {mg_dl:?}");
        assert_eq!(mg_dl.measured(), Measured::Number);
        if whole <= 40 && digits <= 2 {
            let mmol = Glucose::parse(&text, Unit::MmolL).unwrap();
            let value = f64::from(mmol.hundredths()) / 100.0;
            assert!((value - plain * 18.0).abs() <= 0.5 + 1e-6, "{text} mmol/L: {mmol:?}");
            assert!((value - value.round()).abs() < 1e-9, "{text} mmol/L: {mmol:?}");
        }
    }
}
