//! Clocks in files: the skipped and the repeated hour in three zones, offsets, and travel. Instants come
//! from the tz database; the command beside them prints them with Python's zoneinfo.

use super::real::{Receiver, Recheck, now_seconds, rows_until, wait_for, webhook, written};
use recheck::config::meant::{Purpose, settings};
use recheck::daemon::clock::Clock;
use recheck::daemon::{Daemon, Plan};
use recheck::domain::glucose::Unit;
use recheck::domain::local::Zone;
use recheck::domain::reading::{Reading, SourceId, Speaks, settle};
use recheck::domain::time::{Span, Timestamp};
use recheck::domain::travel::{Travel, WallClock};
use recheck::formats::encoding::Encoding;
use recheck::formats::repeated::After;
use recheck::formats::rows::{Row, Rows};
use recheck::formats::wanted::{Dialect, Wanted};
use recheck::store::Store;
use recheck::store::inbox::Said;
use std::fs;
use std::path::Path;
use std::time::Duration;

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
fn line_of(clock: &WallClock, row: &Row) -> String {
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
    rows.iter().map(|row| line_of(clock, row)).collect()
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
        let mut after = None;
        let mut cut = Vec::new();
        for line in text.split_inclusive('\n') {
            let one = dialect(clock.home()).rows_by(&clock, line.as_bytes(), 2, after);
            after = one.last;
            cut.extend(one.rows);
        }
        assert_eq!(cut, rows, "{travel:?}, a row at a time");
        rows.reverse();
        let found = dialect(clock.home()).rows_by(&clock, text_of(&clock, &rows).as_bytes(), 2, None);
        assert_eq!((found.rows, found.undecided.len()), (rows, 0), "{travel:?}, backwards");
    }
}

/// A daemon with a clock of its own: what it keeps of files of one source, and how often a repeated hour
/// left something open.
fn kept(now: &str, files: &[(&str, &str)]) -> (Vec<(String, f64, bool)>, u64) {
    let home = tempfile::tempdir().unwrap();
    let exports = home.path().join("exports");
    fs::create_dir(&exports).unwrap();
    for (name, rows) in files {
        fs::write(exports.join(name), format!("time,glucose\n{rows}\n")).unwrap();
    }
    let text = super::real::settings(&exports, &webhook("http://127.0.0.1:9/")).replace("\"UTC\"", "\"Europe/Madrid\"");
    let folder = home.path().join("state");
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    // Twice over: what is read again changes nothing.
    for pass in 1..=2 {
        let wanted = pass * files.iter().map(|(_, rows)| rows.lines().count() as u64).sum::<u64>();
        runtime.block_on(async {
            let settings = settings(&text, None, &[], Purpose::Watch, Zone::UTC).unwrap();
            let clock = Clock::fast(at(now), 1);
            let folder = folder.clone();
            let plan = Plan { settings, folder, clock, mark: None, stdin: false, listener: None, before_judging: None };
            Daemon::start(plan).unwrap().run(counted(&home.path().join("state"), wanted)).await
        });
        let store = rusqlite::Connection::open(folder.join("recheck.sqlite3")).unwrap();
        store.execute("DELETE FROM places", []).unwrap();
    }
    let store = rusqlite::Connection::open(folder.join("recheck.sqlite3")).unwrap();
    let marked = |measured: Timestamp| {
        let kind = "SELECT kind FROM readings WHERE measured = ?1";
        store.query_row(kind, [measured.millis()], |row| row.get::<_, u8>(0)).unwrap() & 8 == 8
    };
    let look = Store::look(&folder).unwrap().unwrap();
    let readings = look.readings_since(at("2026-10-24T00:00:00Z")).unwrap();
    let shown = readings
        .iter()
        .map(|reading| (Zone::UTC.clock(reading.measured), reading.glucose.as_mg_dl(), marked(reading.measured)));
    let counts = look.counts().unwrap();
    let open = counts.iter().find(|(_, name, _)| name == "undecided_hour").map_or(0, |(_, _, n)| *n);
    (shown.collect(), open)
}

/// Waits until so many rows were taken in or known already.
async fn counted(folder: &Path, wanted: u64) {
    for _ in 0..400 {
        let counts = Store::look(folder).unwrap().unwrap().counts().unwrap();
        let rows = counts.iter().filter(|(_, name, _)| ["taken", "doubled"].contains(&name.as_str()));
        if rows.map(|(_, _, n)| n).sum::<u64>() >= wanted {
            return;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    panic!("waited in vain for {wanted} rows");
}

fn marks(rows: &[(&str, f64, bool)]) -> Vec<(String, f64, bool)> {
    rows.iter().map(|(at, value, open)| ((*at).to_owned(), *value, *open)).collect()
}

/// 02:30 in Madrid is 00:30 UTC or 01:30 UTC, and the row before it is too far away to tell.
#[test]
fn arrival_decides_what_order_leaves_open() {
    let rows = "2026-10-25 00:10,90\n2026-10-25 02:30,100";
    let first = kept("2026-10-25T00:31:00Z", &[("day.csv", rows)]);
    assert_eq!(first, (marks(&[("22:10", 90.0, false), ("00:30", 100.0, true)]), 1), "the later is in the future");
    let second = kept("2026-10-25T01:31:00Z", &[("day.csv", rows)]);
    assert_eq!(second, (marks(&[("22:10", 90.0, false), ("01:30", 100.0, true)]), 1), "it has just come");
    let history = kept("2026-10-27T01:31:00Z", &[("day.csv", rows)]);
    assert_eq!(history, (marks(&[("22:10", 90.0, false), ("00:30", 100.0, true)]), 1), "history: the earlier");
}

/// A phone's line of 02:30 that has just come is of the second time round; read again the next day it is the
/// same line, whatever its arrival says then.
#[test]
fn a_diary_line_is_settled_by_its_arrival_and_stays_so() {
    let home = tempfile::tempdir().unwrap();
    let exports = home.path().join("exports");
    fs::create_dir(&exports).unwrap();
    fs::write(exports.join("diary.csv"), "time,kind,note\n2026-10-25 02:30,text,woke\n").unwrap();
    let text = super::real::settings(&exports, &webhook("http://127.0.0.1:9/")).replace("\"UTC\"", "\"Europe/Madrid\"");
    let folder = home.path().join("state");
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    for (now, count) in [("2026-10-25T01:31:00Z", "diary_taken"), ("2026-10-26T09:00:00Z", "diary_doubled")] {
        runtime.block_on(async {
            let settings = settings(&text, None, &[], Purpose::Watch, Zone::UTC).unwrap();
            let (clock, folder) = (Clock::fast(at(now), 1), folder.clone());
            let plan = Plan { settings, folder, clock, mark: None, stdin: false, listener: None, before_judging: None };
            let state = home.path().join("state");
            let read = async {
                // The line is counted when it is read, and is in the diary when it has been handled.
                while !Store::look(&state).unwrap().unwrap().counts().unwrap().iter().any(|(_, name, _)| name == count)
                    || diary_of(&state).is_empty()
                {
                    tokio::time::sleep(Duration::from_millis(20)).await;
                }
            };
            let mut daemon = Daemon::start(plan).unwrap();
            daemon.run(async { tokio::time::timeout(Duration::from_secs(20), read).await.unwrap() }).await
        });
        let store = rusqlite::Connection::open(folder.join("recheck.sqlite3")).unwrap();
        store.execute("DELETE FROM places", []).unwrap();
        assert_eq!(diary_of(&folder), [at("2026-10-25T01:30:00Z").millis()], "{now}");
    }
}

/// The times of what is in the diary.
fn diary_of(state: &Path) -> Vec<i64> {
    let store = rusqlite::Connection::open(state.join("recheck.sqlite3")).unwrap();
    let kept: Result<_, _> =
        store.prepare("SELECT at FROM diary").unwrap().query_map([], |row| row.get(0)).unwrap().collect();
    kept.unwrap()
}

#[test]
fn another_value_at_the_earlier_instant_makes_it_the_later() {
    let files = [
        ("a.csv", "2026-10-25 00:10,90\n2026-10-25 02:30,100"),
        ("b.csv", "2026-10-25 00:10,90\n2026-10-25 02:30,101"),
        ("c.csv", "2026-10-25 00:10,90\n2026-10-25 02:30,101"),
    ];
    let kept = kept("2026-10-27T01:31:00Z", &files);
    assert_eq!(kept, (marks(&[("22:10", 90.0, false), ("00:30", 100.0, true), ("01:30", 101.0, true)]), 2));
}

/// A replay has no arrival: of open rows with two values at one wall time both are kept.
#[test]
fn a_replay_keeps_both_values_and_inspect_says_what_is_open() {
    let recheck = Recheck::new(&webhook("http://127.0.0.1:9/"));
    let file = recheck.exports().join("past.csv");
    let rows = ["00:10,90", "02:30,100", "02:20,101", "02:30,102", "02:30,102"];
    fs::write(&file, format!("time,glucose\n{}", rows.map(|row| format!("2026-10-25 {row}\n")).concat())).unwrap();
    let replayed = words(&recheck.say(&["replay", file.to_str().unwrap(), "--timezone", "Europe/Madrid"]));
    assert!(replayed.starts_with("4 readings, "), "{replayed}");
    let inspected = words(&recheck.say(&["inspect", file.to_str().unwrap(), "--set", "wearer.timezone=Europe/Madrid"]));
    assert!(inspected.contains("  4 of them could be the second time round: their order does not say"), "{inspected}");
}

fn words(said: &std::process::Output) -> String {
    format!("{}{}", String::from_utf8_lossy(&said.stdout), String::from_utf8_lossy(&said.stderr))
}

/// The zone the engine lives by, as it was last saved.
fn lived_by(recheck: &Recheck) -> Option<String> {
    Some(Store::look(&recheck.state()).ok()??.saved().ok()??.policy?.zone.name().to_owned())
}

#[test]
fn a_zone_is_said_in_clear_words_or_asked_about() {
    let recheck = Recheck::new(&webhook("http://127.0.0.1:9/"));
    assert!(words(&recheck.say(&["zone"])).starts_with("UTC, at home; it is "));
    for (said, what, hint) in [
        (&["zone", "Asia/Tokio", "until", "2099-12-20"][..], "no time zone is called \"Asia/Tokio\"", "Asia/Tokyo"),
        (&["zone", "new york"], "no time zone is called \"new york\"", "America/New_York"),
        (&["zone", "Asia/Tokyo", "until", "2020-12-20"], "until 2020-12-20 has passed in Asia/Tokyo", "the last day"),
        (&["zone", "Asia/Tokyo", "until", "sunday"], "until is \"sunday\"", "2026-12-20"),
        (&["zone", "Asia/Tokyo"], "does not say where you are, and until when", "until 2026-12-20"),
        (&["zone", "Asia/Tokyo", "2099-12-20"], "does not say where you are, and until when", "until 2026-12-20"),
        (&["zone", "Asia/Tokyo", "until", "2099-12-20", "--from", "2099-12-21"], "end before it begins", "--from"),
        (&["zone", "Asia/Tokyo", "until", "2099-12-20", "--from", "soon"], "--from is \"soon\"", "14:05"),
    ] {
        let answer = recheck.say(said);
        let words = words(&answer);
        assert_eq!(answer.status.code(), Some(1), "{said:?}: {words}");
        assert!(words.contains(what) && words.contains("hint: ") && words.contains(hint), "{said:?}: {words}");
    }
    assert!(words(&recheck.say(&["zone"])).starts_with("UTC, at home"), "nothing of that was kept");
}

/// The wearer is in Tokyo while the computer's zone is UTC: what the phone writes by the clock there is
/// read by it, and texts and the night follow.
#[test]
fn while_travel_holds_the_zone_there_counts() {
    let receiver = Receiver::start();
    let mut recheck = Recheck::new(&webhook(&receiver.url()));
    // It is day on both clocks whenever this runs: from 14:00 to 22:00 UTC it would be night in Tokyo, and over at home.
    let hour = now_seconds() / 3_600 + 3;
    let settings = recheck.exports().with_file_name("recheck.toml");
    let night = format!("[wearer]\nnight = \"{:02}:00-{:02}:00\"", hour % 24, (hour + 1) % 24);
    fs::write(&settings, fs::read_to_string(&settings).unwrap().replace("[wearer]", &night)).unwrap();
    let said = recheck.say(&["zone", "Asia/Tokyo", "until", "2099-12-20", "--from", "1d"]);
    assert!(words(&said).contains("Kept. recheck is not running"), "{said:?}");
    let shown = words(&recheck.say(&["zone"]));
    assert!(shown.starts_with("Asia/Tokyo until Sun 2099-12-20 24:00 there, 15:00 at home; it is "), "{shown}");
    // Tokyo is nine hours ahead of UTC, all year.
    let there = |rows: Vec<(i64, f64)>| rows.into_iter().map(|(at, v)| (at + 9 * 3_600, v)).collect::<Vec<_>>();
    recheck.drop_rows("before.csv", "glucose", &there(rows_until(now_seconds() - 300, &[95.0, 90.0, 86.0, 82.0])));
    recheck.watch();
    wait_for("the reading there", || recheck.status().filter(|status| status["reading"]["mg_dl"] == 82.0));
    let status = recheck.status().unwrap();
    assert!((4..=6).contains(&status["reading"]["age_min"].as_i64().unwrap()), "{status}");
    assert!(status["reading"]["at"].as_str().unwrap().ends_with("+09:00"), "{status}");
    assert_eq!((&status["zone"]["name"], &status["zone"]["home"]), (&"Asia/Tokyo".into(), &"UTC".into()));
    assert_eq!(lived_by(&recheck).as_deref(), Some("Asia/Tokyo"));
    recheck.drop_rows("low.csv", "glucose", &there(rows_until(now_seconds() - 60, &[82.0, 62.0])));
    let low = receiver.wait_for("low", 1);
    assert!(low[0].body["decided_at"].as_str().unwrap().ends_with("+09:00"), "{:?}", low[0].body);
    // A time the wearer names is one of the clock there.
    let ago = chrono::DateTime::from_timestamp(now_seconds() + 9 * 3_600 - 600, 0).unwrap().format("%H:%M").to_string();
    let treated = words(&recheck.say(&["treated", "low", "--at", &ago]));
    assert!(treated.starts_with("Low of ") && treated.contains(&format!("{ago}: looks at")), "{treated}");

    let home = words(&recheck.say(&["zone", "home"]));
    let wanted = "At home from now on, UTC. No longer: Asia/Tokyo until Sun 2099-12-20 24:00 there, 15:00 at home";
    assert_eq!(home.trim_end(), wanted);
    assert_eq!(lived_by(&recheck).as_deref(), Some("UTC"));
    let taken = recheck.counted("taken");
    let doubled = recheck.counted("doubled");
    // Rows are written in whole seconds, and travel ended within this one.
    std::thread::sleep(Duration::from_millis(1_100));
    recheck.drop_rows("home.csv", "glucose", &[(now_seconds(), 84.0)]);
    wait_for("the reading at home", || recheck.status().filter(|status| status["reading"]["mg_dl"] == 84.0));
    assert_eq!((recheck.counted("taken"), recheck.counted("doubled")), (taken + 1, doubled), "nothing is read again");
    assert!(receiver.got().iter().all(|got| got.body["condition"] == "low"), "a zone is no alert");
}

#[test]
fn standard_input_is_read_by_the_clock_there() {
    let recheck = Recheck::new(&webhook("http://127.0.0.1:9/"));
    recheck.say(&["zone", "Asia/Tokyo", "until", "2099-12-20", "--from", "1d"]);
    let now = now_seconds();
    recheck.pipe(&["run", "--stdin"], super::real::table("glucose", &[(now + 9 * 3_600, 100.0)]).as_bytes());
    let kept = Store::look(&recheck.state()).unwrap().unwrap().newest_readings().unwrap();
    assert_eq!(kept.iter().map(|(reading, _)| reading.measured.seconds()).collect::<Vec<_>>(), [now]);
}

#[test]
fn a_source_with_a_zone_of_its_own_keeps_it() {
    let mut recheck = Recheck::new(&format!("timezone = \"UTC\"\n\n{}", webhook("http://127.0.0.1:9/")));
    recheck.say(&["zone", "Asia/Tokyo", "until", "2099-12-20", "--from", "1d"]);
    recheck.watch_after_an_hour_in_range();
    let status = recheck.status().unwrap();
    assert!((4..=6).contains(&status["reading"]["age_min"].as_i64().unwrap()), "{status}");
    assert_eq!(status["zone"]["name"], "Asia/Tokyo");
}

#[test]
fn travel_ends_by_itself_also_while_nobody_watches() {
    let mut recheck = Recheck::new(&webhook("http://127.0.0.1:9/"));
    let until = |seconds: i64| written(now_seconds() + 9 * 3_600 + seconds);
    recheck.watch();
    let said = words(&recheck.say(&["zone", "Asia/Tokyo", "until", &until(5)]));
    assert!(said.starts_with("Asia/Tokyo until "), "{said}");
    let there = |recheck: &Recheck| recheck.words().matches("zone=\"Asia/Tokyo\"").count();
    assert_eq!(there(&recheck), 1, "the engine lived by the zone there");
    wait_for("the end of travel", || (lived_by(&recheck)? == "UTC").then_some(()));

    recheck.say(&["zone", "Asia/Tokyo", "until", &until(5)]);
    assert_eq!(there(&recheck), 2);
    recheck.kill();
    std::thread::sleep(Duration::from_secs(5));
    recheck.watch();
    wait_for("the zone at home", || (lived_by(&recheck)? == "UTC").then_some(()));

    let begins = written(now_seconds() + 5);
    let said = words(&recheck.say(&["zone", "Asia/Tokyo", "until", "2099-12-20", "--from", &begins]));
    assert!(said.contains("Asia/Tokyo from ") && said.contains(" at home, until Sun 2099-12-20 24:00 there"), "{said}");
    assert!(words(&recheck.say(&["zone"])).contains("planned: Asia/Tokyo from "));
    wait_for("the travel to begin", || (lived_by(&recheck)? == "Asia/Tokyo").then_some(()));
}

/// A store of the last version: it is looked at as it is, and opened with the new table.
#[test]
fn a_store_without_travels_opens() {
    let folder = tempfile::tempdir().unwrap();
    drop(Store::open(folder.path()).unwrap());
    let old = rusqlite::Connection::open(folder.path().join("recheck.sqlite3")).unwrap();
    old.execute_batch(super::real::FIRST_FORM).unwrap();
    let home = zone("Europe/Madrid");
    let look = Store::look(folder.path()).unwrap().unwrap();
    assert_eq!(look.wall_clock(home).unwrap(), WallClock::at_home(home));
    drop(look);
    let mut store = Store::open(folder.path()).unwrap();
    let there =
        Travel { zone: zone("Asia/Tokyo"), from: at("2026-12-10T12:00:00Z"), until: at("2026-12-20T15:00:00Z") };
    let line = store.say(at("2026-12-01T00:00:00Z"), &Said::Zone(there)).unwrap();
    assert_eq!(store.wall_clock(home).unwrap().travels(), [there], "said, and not taken in yet");
    assert_eq!(store.travels(home).unwrap(), WallClock::at_home(home));
    store.keep_travels(&WallClock::new(home, &[there]), line, "there").unwrap();
    assert_eq!(store.travels(home).unwrap().travels(), [there]);
    assert_eq!(store.answer(line).unwrap(), Some((true, "there".to_owned())));
}
