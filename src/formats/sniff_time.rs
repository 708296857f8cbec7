//! Finds the column, or the two columns, that hold the time, and how it is written. A day and a month that
//! could be either way round are asked about.

use super::sniff::question;
use super::stamp::{Read, Stamp};
use super::wanted::{Cell, NotFound};
use crate::domain::local::Zone;
use crate::domain::time::{Span, Timestamp};

/// Headers taken for the time of measurement when several columns hold times.
const TIME_HEADERS: [&str; 4] = ["timestamp", "time", "datetime", "date time"];

/// Dates as people write them. ISO dates are read without a pattern, unless a 12-hour clock follows.
const DATES: [&str; 11] = [
    "%Y/%m/%d", "%Y.%m.%d", "%d.%m.%Y", "%d.%m.%y", "%d/%m/%Y", "%m/%d/%Y", "%d-%m-%Y", "%m-%d-%Y", "%d/%m/%y",
    "%m/%d/%y", "%Y-%m-%d",
];

/// Times of day as people write them.
const HOURS: [&str; 4] = ["%H:%M:%S", "%H:%M", "%I:%M:%S %p", "%I:%M %p"];

/// Readings are minutes apart: with the right order of day and month no two neighbours are further apart
/// than this, with the wrong one some are months apart.
const NEAR_DAYS: i64 = 3;
const FAR_DAYS: i64 = 25;

/// What was found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Times {
    /// One column, or a date and a time of day.
    pub(super) cells: Vec<Cell>,
    /// How it is written.
    pub(super) stamp: Stamp,
}

/// Could a cell be a time, or a date? Then its row is no header.
pub(super) fn is_time_or_date(text: &str) -> bool {
    is_date(text) || !stamps_of(&[text]).is_empty()
}

/// Finds the time among columns, each with its texts. `said` and `cells` are what the settings say;
/// `joined` gives the texts of several columns put together.
pub(super) fn find(
    said: Option<&Stamp>,
    cells: Option<Vec<Cell>>,
    columns: &[(Cell, Vec<&str>)],
    joined: &dyn Fn(&[Cell]) -> Vec<String>,
    line: u64,
) -> Result<Times, NotFound> {
    let cells = match cells {
        Some(cells) => cells,
        None => time_cells(said, columns, line)?,
    };
    let texts = joined(&cells);
    let texts: Vec<&str> = texts.iter().map(String::as_str).collect();
    let stamp = match said {
        Some(stamp) => stamp.clone(),
        None => stamp_of(&texts, line)?,
    };
    Ok(Times { cells, stamp })
}

/// How texts are written; a question when a day and a month could be either way round.
pub(super) fn stamp_of(texts: &[&str], line: u64) -> Result<Stamp, NotFound> {
    let stamps = stamps_of(texts);
    match stamps.as_slice() {
        [] => {
            let shown = texts.first().copied().unwrap_or_default();
            Err(question(
                line,
                format!("how the time \"{shown}\" is written is not known"),
                "set time_format to a pattern such as \"%d/%m/%Y %H:%M\"",
            ))
        }
        [stamp] => Ok(stamp.clone()),
        several => {
            let steps: Vec<i64> = several.iter().map(|stamp| longest_step(stamp, texts)).collect();
            let near: Vec<&Stamp> =
                several.iter().zip(&steps).filter(|(_, days)| **days <= NEAR_DAYS).map(|(stamp, _)| stamp).collect();
            let far = steps.iter().filter(|days| **days >= FAR_DAYS).count();
            if let ([right], true) = (near.as_slice(), far + 1 == several.len()) {
                return Ok((*right).clone());
            }
            let shown = texts.first().copied().unwrap_or_default();
            let ways: Vec<String> = several.iter().map(|stamp| format!("time_format = \"{}\"", stamp.name())).collect();
            Err(question(
                line,
                format!("the day and the month of \"{shown}\" could be either way round"),
                &format!("set {}", ways.join(" or ")),
            ))
        }
    }
}

fn time_cells(said: Option<&Stamp>, columns: &[(Cell, Vec<&str>)], line: u64) -> Result<Vec<Cell>, NotFound> {
    let reads = |texts: &[&str]| match said {
        Some(stamp) => {
            let read = texts.iter().filter(|text| stamp.read(text, Zone::UTC).is_some()).count();
            !texts.is_empty() && read * 5 >= texts.len() * 4
        }
        None => !stamps_of(texts).is_empty(),
    };
    let whole: Vec<&Cell> = columns.iter().filter(|(_, texts)| reads(texts)).map(|(cell, _)| cell).collect();
    let by_name = |cells: &[&Cell]| -> Option<Cell> {
        TIME_HEADERS
            .iter()
            .find_map(|name| cells.iter().find(|cell| cell.name.eq_ignore_ascii_case(name)).map(|cell| (*cell).clone()))
    };
    match whole.as_slice() {
        [one] => return Ok(vec![(*one).clone()]),
        [] => {}
        several => {
            return by_name(several).map(|cell| vec![cell]).ok_or_else(|| {
                let names: Vec<String> = several.iter().map(|cell| cell.shown()).collect();
                question(
                    line,
                    format!("several columns hold times: {}", names.join(", ")),
                    "name the time of measurement with time = \"...\"",
                )
            });
        }
    }
    let all = |texts: &[&str], test: &dyn Fn(&str) -> bool| !texts.is_empty() && texts.iter().all(|text| test(text));
    let date = columns.iter().find(|(_, texts)| all(texts, &is_date));
    let time = columns.iter().find(|(_, texts)| all(texts, &is_hour));
    if let (Some((date, _)), Some((time, _))) = (date, time) {
        Ok(vec![date.clone(), time.clone()])
    } else {
        let names: Vec<&str> = columns.iter().map(|(cell, _)| cell.name.as_str()).collect();
        Err(question(
            line,
            format!("no column holds a time; the columns are \"{}\"", names.join(", ")),
            "name it with time = \"...\", a date and a time with time = [\"...\", \"...\"], and how they are written \
             with time_format = \"%d/%m/%Y %H:%M\"",
        ))
    }
}

/// All ways in which every text can be read, those that mean the same told once.
pub(super) fn stamps_of(texts: &[&str]) -> Vec<Stamp> {
    if texts.is_empty() {
        return Vec::new();
    }
    // Some rows may be broken: four in five must be read, and of several ways only those count that read
    // the most.
    let reads = |stamp: &Stamp| texts.iter().filter(|text| plausible(stamp.read(text, Zone::UTC))).count();
    let enough = |count: usize| count * 5 >= texts.len() * 4;
    for plain in [Stamp::Iso, Stamp::EpochSeconds, Stamp::EpochMillis] {
        if enough(reads(&plain)) {
            return vec![plain];
        }
    }
    let patterns = DATES.iter().flat_map(|date| HOURS.iter().map(move |hour| Stamp::Pattern(format!("{date} {hour}"))));
    let counted: Vec<(usize, Stamp)> = patterns.map(|stamp| (reads(&stamp), stamp)).collect();
    let most = counted.iter().map(|(count, _)| *count).max().unwrap_or(0);
    let mut found: Vec<Stamp> = Vec::new();
    for (_, stamp) in counted.into_iter().filter(|(count, _)| *count == most && enough(*count)) {
        let means = |stamp: &Stamp| texts.iter().map(|text| stamp.read(text, Zone::UTC)).collect::<Vec<_>>();
        if found.iter().all(|known| means(known) != means(&stamp)) {
            found.push(stamp);
        }
    }
    found
}

/// A time of our age: a two-digit year read as four digits is not.
fn plausible(read: Option<Read>) -> bool {
    // 2000-01-01 and 2100-01-01.
    let age = Timestamp::from_seconds(946_684_800)..Timestamp::from_seconds(4_102_444_800);
    match read {
        Some(Read::Once(at) | Read::Skipped(at) | Read::Twice(at, _)) => age.contains(&at),
        None => false,
    }
}

fn is_date(text: &str) -> bool {
    let midnight = format!("{text} 00:00");
    plausible(Stamp::Iso.read(&midnight, Zone::UTC))
        || DATES.iter().any(|date| plausible(Stamp::Pattern(format!("{date} %H:%M")).read(&midnight, Zone::UTC)))
}

fn is_hour(text: &str) -> bool {
    let dated = format!("2026-01-01 {text}");
    HOURS.iter().any(|hour| Stamp::Pattern(format!("%Y-%m-%d {hour}")).read(&dated, Zone::UTC).is_some())
}

/// Days between the two neighbours that are furthest apart.
fn longest_step(stamp: &Stamp, texts: &[&str]) -> i64 {
    let times: Vec<Timestamp> = texts
        .iter()
        .filter_map(|text| match stamp.read(text, Zone::UTC) {
            Some(Read::Once(at) | Read::Skipped(at) | Read::Twice(at, _)) => Some(at),
            None => None,
        })
        .collect();
    let longest = times.windows(2).map(|pair| (pair[1] - pair[0]).as_millis().abs()).max().unwrap_or(0);
    longest / Span::hours(24).as_millis()
}
