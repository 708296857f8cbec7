//! Clocks in files: the skipped and the repeated hour in three zones, offsets, and travel. Instants come
//! from the tz database; the command beside them prints them with Python's zoneinfo.

use recheck::domain::glucose::Unit;
use recheck::domain::local::Zone;
use recheck::domain::reading::{Reading, SourceId, Speaks, settle};
use recheck::domain::time::{Span, Timestamp};
use recheck::domain::travel::{Travel, WallClock};
use recheck::formats::encoding::Encoding;
use recheck::formats::repeated::After;
use recheck::formats::rows::{Row, Rows};
use recheck::formats::wanted::{Dialect, Wanted};

fn at(text: &str) -> Timestamp {
    Timestamp::from_millis(chrono::DateTime::parse_from_rfc3339(text).unwrap().timestamp_millis())
}

fn zone(name: &str) -> Zone {
    Zone::named(name).unwrap()
}

fn dialect(zone: Zone) -> Dialect {
    Wanted::anything(zone).sniff(b"time,glucose\n2026-06-01 10:00,100\n", Encoding::Utf8, None).unwrap()
}

/// A row as an export writes it, by the clock on the wall.
fn written(clock: &WallClock, row: &Row) -> String {
    let wall = clock.zone_at(row.measured).wall(row.measured).format("%Y-%m-%d %H:%M");
    format!("{wall},{}\n", row.glucose.shown(Unit::MgDl, None))
}

/// Readings every five minutes, no value twice within any two hours.
fn series(from: &str, count: i64) -> Vec<Row> {
    (0..count)
        .map(|n| Row {
            measured: at(from) + Span::minutes(5 * n),
            glucose: recheck::domain::glucose::Glucose::mg_dl(i32::try_from(80 + n * 7 % 97).unwrap()),
        })
        .collect()
}

fn read(zone_name: &str, text: &str) -> Rows {
    dialect(zone(zone_name)).rows(text.as_bytes(), 2, None)
}

fn text_of(clock: &WallClock, rows: &[Row]) -> String {
    rows.iter().map(|row| written(clock, row)).collect()
}

/// Both changes of a year in three zones; the change on Lord Howe Island is half an hour. Each day is
/// written by the clock on the wall and read back, whole and cut at every row, oldest first and newest
/// first.
///
///     python3 -c 'from datetime import *; from zoneinfo import ZoneInfo as Z
///     for z in ["Europe/Madrid", "America/New_York", "Australia/Lord_Howe"]:
///       t = datetime(2026, 1, 1, tzinfo=UTC)
///       while t.year == 2026:
///         n = t + timedelta(minutes=5)
///         a, b = t.astimezone(Z(z)).utcoffset(), n.astimezone(Z(z)).utcoffset()
///         if a != b: print(z, n.isoformat(), a, "->", b)
///         t = n'
const CHANGES: [(&str, &str, i64); 6] = [
    ("Europe/Madrid", "2026-03-29T01:00:00Z", 60),
    ("Europe/Madrid", "2026-10-25T01:00:00Z", -60),
    ("America/New_York", "2026-03-08T07:00:00Z", 60),
    ("America/New_York", "2026-11-01T06:00:00Z", -60),
    ("Australia/Lord_Howe", "2026-10-03T15:30:00Z", 30),
    ("Australia/Lord_Howe", "2026-04-04T15:00:00Z", -30),
];

#[test]
fn days_with_a_clock_change_read_back_whole_cut_and_backwards() {
    for (name, change, minutes) in CHANGES {
        let clock = WallClock::at_home(zone(name));
        let wall = |at: Timestamp| zone(name).wall(at);
        let jump = wall(at(change)) - wall(at(change) - Span::minutes(5));
        assert_eq!(jump.num_minutes() - 5, minutes, "{name} {change}");
        let mut rows = series(change, 60);
        for row in &mut rows {
            row.measured = row.measured - Span::hours(2);
        }
        let text = text_of(&clock, &rows);
        let whole = read(name, &text);
        assert_eq!((whole.rows.as_slice(), whole.undecided.len()), (rows.as_slice(), 0), "{name} {change}");
        let repeated = if minutes < 0 { u64::try_from(-minutes * 2 / 5).unwrap() } else { 0 };
        assert_eq!(whole.clock_change, repeated, "{name} {change}");

        let mut after = None;
        let mut cut = Vec::new();
        for line in text.split_inclusive('\n') {
            let one = dialect(zone(name)).rows(line.as_bytes(), 2, after);
            assert!(one.undecided.is_empty(), "{name} {line}");
            after = one.last;
            cut.extend(one.rows);
        }
        assert_eq!(cut, rows, "{name} {change}, a row at a time");

        rows.reverse();
        let newest_first = read(name, &text_of(&clock, &rows));
        assert_eq!((newest_first.rows, newest_first.undecided.len()), (rows, 0), "{name} {change}, backwards");
    }
}

#[test]
fn an_offset_decides_whatever_the_order_says() {
    let found = read(
        "Europe/Madrid",
        "2026-10-25 02:30+01:00,100\n2026-10-25 02:30+02:00,101\n2026-10-25 02:30Z,102\n2026-03-29 02:30+01:00,103\n",
    );
    let means = ["2026-10-25T01:30:00Z", "2026-10-25T00:30:00Z", "2026-10-25T02:30:00Z", "2026-03-29T01:30:00Z"];
    assert_eq!(found.rows.iter().map(|row| row.measured).collect::<Vec<_>>(), means.map(at));
    assert_eq!((found.clock_change, found.undecided.len()), (0, 0));
}

/// What each text means: the instants in UTC, with ? where order does not decide.
#[test]
fn order_decides_the_repeated_hour_or_leaves_it_open() {
    for (why, text, means) in [
        ("nothing stands before it", "02:30,100", "00:30?"),
        ("the row before it is too far away", "00:10,90 02:30,100 02:35,101", "22:10 00:30? 00:35?"),
        ("it follows the row before it", "01:55,90 02:00,100 02:05,101", "23:55 00:00 00:05"),
        ("it leads on to the row after it", "02:50,90 02:55,91 03:00,92", "01:50 01:55 02:00"),
        ("the clock went back", "02:50,90 02:55,91 02:00,92 02:05,93", "00:50 00:55 01:00 01:05"),
        ("a row written twice is one row", "01:55,90 02:00,100 02:00,100 02:05,99", "23:55 00:00 00:00 00:05"),
        ("another value at the same time", "01:30,90 02:30,100 02:30,101 03:30,99", "23:30 00:30 01:30 02:30"),
        ("a row written twice the second time round", "02:55,91 02:00,92 02:00,92 02:05,93", "00:55 01:00 01:00 01:05"),
        (
            "the same after more rows",
            "02:45,90 02:50,91 02:55,92 02:00,93 02:00,93 02:05,94",
            "00:45 00:50 00:55 01:00 01:00 01:05",
        ),
        ("a small step back may be disorder", "01:55,89 02:20,90 02:15,91 02:25,92", "23:55 00:20 00:15? 00:25?"),
        (
            "disorder before the clock went back",
            "01:55,89 02:20,90 02:15,91 02:55,92 02:00,93 03:00,94",
            "23:55 00:20 00:15 00:55 01:00 02:00",
        ),
        (
            "it goes back twice",
            "01:50,88 01:55,89 02:00,90 02:50,91 02:00,92 02:50,93 02:00,94 02:10,95",
            "23:50 23:55 00:00 00:50 00:00? 00:50? 00:00? 00:10?",
        ),
        (
            "newest first",
            "03:05,90 03:00,91 02:55,92 02:00,93 02:55,94 02:50,95",
            "02:05 02:00 01:55 01:00 00:55 00:50",
        ),
        ("newest first, written twice", "03:00,91 02:55,92 02:55,92 02:50,93", "02:00 01:55 01:55 01:50"),
    ] {
        let lines: String = text.split(' ').flat_map(|row| ["2026-10-25 ", row, "\n"]).collect();
        let found = read("Europe/Madrid", &lines);
        let shown: Vec<String> = found
            .rows
            .iter()
            .enumerate()
            .map(|(place, row)| {
                let open = found.undecided.iter().find(|open| open.row == place);
                if let Some(open) = open {
                    assert_eq!(open.later - row.measured, Span::hours(1), "{why}");
                }
                format!("{}{}", Zone::UTC.clock(row.measured), if open.is_some() { "?" } else { "" })
            })
            .collect();
        assert_eq!(shown.join(" "), means, "{why}");
    }
}

#[test]
fn what_stays_open_is_open_for_the_rows_that_follow() {
    let madrid = dialect(zone("Europe/Madrid"));
    let row = |text: &str, after| madrid.rows(format!("2026-10-25 {text}\n").as_bytes(), 2, after);
    let first = row("02:30,100", Some(After::Row(at("2026-10-24T22:00:00Z"))));
    assert_eq!(first.last, Some(After::Undecided { undecided: at("2026-10-25T00:30:00Z") }));
    let second = row("02:35,101", first.last);
    assert_eq!(second.undecided.len(), 1);
    // What was appended after that and goes back can only be the second time round.
    let third = row("02:00,102", second.last);
    assert_eq!((third.rows[0].measured, third.undecided.len()), (at("2026-10-25T01:00:00Z"), 0));
    // The same row again in another piece: a double or another reading. What is known decides.
    let known = row("02:10,103", Some(After::Row(at("2026-10-25T00:10:00Z"))));
    assert_eq!(known.undecided.len(), 1);
}

/// A place in a file as the last version saved it reads back.
#[test]
fn a_saved_last_row_reads_back() {
    assert_eq!(serde_json::from_str::<After>("1792886400000").unwrap(), After::Row(at("2026-10-25T00:00:00Z")));
    let open = After::Undecided { undecided: at("2026-10-25T00:00:00Z") };
    assert_eq!(serde_json::from_str::<After>(&serde_json::to_string(&open).unwrap()).unwrap(), open);
}

/// A file in which each of three hours has its own values: nothing is lost, whatever is open.
#[test]
fn open_rows_with_other_values_are_both_kept() {
    let found = read("Europe/Madrid", "2026-10-25 02:30,100\n2026-10-25 02:20,101\n2026-10-25 02:30,102\n");
    let source = SourceId(0);
    let mut rows: Vec<Reading> =
        found.rows.iter().map(|row| Reading { source, measured: row.measured, glucose: row.glucose }).collect();
    settle(&mut rows, &found.undecided, |_, _| Speaks::Nothing, |_| None);
    let mut kept: Vec<Timestamp> = rows.iter().map(|row| row.measured).collect();
    kept.sort_unstable();
    kept.dedup();
    assert_eq!(kept.len(), 3, "{found:?}");
}

/// A wearer flies from Madrid to Tokyo and back, and from Madrid to New York and back: what the phone wrote
/// by the clock on its wall reads back, in one file, with nothing open.
#[test]
fn rows_written_on_a_journey_read_back() {
    let travel = |name: &str, from: &str, until: &str| Travel { zone: zone(name), from: at(from), until: at(until) };
    for travel in [
        travel("Asia/Tokyo", "2026-12-10T12:00:00Z", "2026-12-12T15:00:00Z"),
        travel("America/New_York", "2026-12-10T18:00:00Z", "2026-12-12T05:00:00Z"),
        // Half hours, and a clock change on the way home: Madrid changes at 01:00 UTC.
        travel("Asia/Kolkata", "2026-10-24T06:00:00Z", "2026-10-24T18:30:00Z"),
        // The clock changes in New York while the wearer is there.
        travel("America/New_York", "2026-10-31T12:00:00Z", "2026-11-02T05:00:00Z"),
    ] {
        let clock = WallClock::new(zone("Europe/Madrid"), &[travel]);
        let mut rows = series(&Zone::UTC.rfc3339(travel.from - Span::hours(12)).replace("+00:00", "Z"), 12 * 72);
        let text = text_of(&clock, &rows);
        let found = dialect(clock.home()).rows_by(&clock, text.as_bytes(), 2, None);
        assert_eq!((found.rows.as_slice(), found.undecided.len()), (rows.as_slice(), 0), "{travel:?}");
        assert!(found.clock_change > 0, "{travel:?}");
        rows.reverse();
        let found = dialect(clock.home()).rows_by(&clock, text_of(&clock, &rows).as_bytes(), 2, None);
        assert_eq!((found.rows, found.undecided.len()), (rows, 0), "{travel:?}, backwards");
    }
}
