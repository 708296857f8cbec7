//! Diary files as a phone's automation writes them: taken in exactly once, late, out of order and doubled,
//! and what is not understood reaches the person. Needs no part beyond the program itself.

use super::real::{Receiver, Recheck, now_seconds, rows_until, wait_for, webhook, written};
use recheck::domain::glucose::Glucose;
use recheck::domain::local::Zone;
use recheck::domain::reading::{Reading, SourceId};
use recheck::domain::time::{Span, Timestamp};
use recheck::engine::effect::{Condition, Id};
use recheck::engine::event::Event;
use recheck::engine::policy::Policy;
use recheck::engine::reason::Reason;
use recheck::engine::{Engine, State};
use recheck::formats::encoding::Encoding;
use recheck::formats::wanted::{Dialect, NotFound, Wanted};
use recheck::store::Store;
use recheck::store::inbox::Said;
use rusqlite::{Connection, OpenFlags};
use std::fmt::Write as _;
use std::fs::{self, OpenOptions};
use std::io::Write as _;
use std::path::Path;

const HEADER: &str = "time,kind,amount,unit,note\n";

/// The same in other letters: a file that begins in another way is read from its start.
const CAPITALS: &str = "Time,Kind,Amount,Unit,Note\n";

/// A high that rings at its first reading, by day and by night.
const QUICK: &str = "[level.very_high]\non_delay = \"0m\"\n\n";

fn ago(minutes: i64) -> String {
    written(now_seconds() - 60 * minutes)
}

/// The phone appends lines; a file that is not there begins with the header.
fn append(recheck: &Recheck, lines: &str) {
    let path = recheck.exports().join("diary.csv");
    let header = if path.exists() { "" } else { HEADER };
    let mut file = OpenOptions::new().create(true).append(true).open(path).unwrap();
    file.write_all(format!("{header}{lines}").as_bytes()).unwrap();
}

/// The phone writes the file anew, as most synchronised folders do.
fn rewrite(recheck: &Recheck, text: &str) {
    let aside = recheck.exports().join("diary.csv.tmp");
    fs::write(&aside, text).unwrap();
    fs::rename(aside, recheck.exports().join("diary.csv")).unwrap();
}

/// The notes in the diary, oldest first, as they were stored.
fn diary(state: &Path) -> Vec<serde_json::Value> {
    let path = state.join("recheck.sqlite3");
    let store = Connection::open_with_flags(path, OpenFlags::SQLITE_OPEN_READ_ONLY).unwrap();
    let mut notes = store.prepare("SELECT body FROM diary ORDER BY at, number").unwrap();
    let notes = notes.query_map([], |row| row.get::<_, String>(0)).unwrap();
    notes.map(|body| serde_json::from_str(&body.unwrap()).unwrap()).collect()
}

fn wait_until_counted(recheck: &Recheck, word: &str, count: u64) {
    wait_for(&format!("{count} {word}"), || (recheck.counted(word) >= count).then_some(()));
    assert_eq!(recheck.counted(word), count, "{word}");
}

fn answers(recheck: &Recheck, reason: &str) -> usize {
    let path = recheck.state().join("recheck.sqlite3");
    let store = Connection::open_with_flags(path, OpenFlags::SQLITE_OPEN_READ_ONLY).unwrap();
    let count = "SELECT count(*) FROM decisions WHERE what = 'answer' AND body LIKE ?1";
    let count: i64 = store.query_row(count, [format!("%\"why\":\"{reason}\"%")], |row| row.get(0)).unwrap();
    usize::try_from(count).unwrap()
}

#[test]
fn a_high_is_marked_as_treated_from_the_phone_exactly_once() {
    let receiver = Receiver::start();
    let mut recheck = Recheck::new(&format!("{QUICK}{}", webhook(&receiver.url())));
    recheck.watch_after_an_hour_in_range();
    recheck.drop_rows("day.csv", "glucose", &[(now_seconds(), 270.0)]);
    receiver.wait_for("very_high", 1);
    let dose = format!("{},insulin,\"4,5\",U,by the plan\n", ago(1));
    append(&recheck, &dose);
    let care = wait_for("the looks", || {
        let status = recheck.status()?;
        status["rechecks"].as_array()?.iter().find(|care| care["treated"].is_string()).cloned()
    });
    assert_eq!(care["of"], "high");
    wait_until_counted(&recheck, "diary_taken", 1);
    // The same line again: written whole, in a second file, and said in another way.
    rewrite(&recheck, &format!("{CAPITALS}{dose}"));
    wait_until_counted(&recheck, "diary_doubled", 1);
    let same = dose.replace("\"4,5\",U", "4.50,units");
    fs::write(recheck.exports().join("copy.csv"), format!("{HEADER}{same}")).unwrap();
    wait_until_counted(&recheck, "diary_doubled", 2);
    // Killed and started again, with the file written whole once more.
    recheck.kill();
    rewrite(&recheck, &format!("{HEADER}\n{dose}"));
    recheck.watch();
    wait_until_counted(&recheck, "diary_doubled", 3);
    assert_eq!(recheck.counted("diary_taken"), 1);
    assert_eq!(answers(&recheck, "looks_planned"), 1);
    let after = recheck.status().unwrap()["rechecks"].as_array().unwrap().clone();
    assert!(after.iter().any(|now| now["next"] == care["next"] && now["treated"] == care["treated"]), "{after:?}");
    let notes = diary(&recheck.state());
    assert_eq!(notes.len(), 1, "{notes:?}");
    assert_eq!((&notes[0]["kind"]["insulin"], notes[0]["words"].as_str()), (&450.into(), Some("by the plan")));
    let sources = String::from_utf8_lossy(&recheck.say(&["sources"]).stdout).into_owned();
    assert!(sources.contains("diary.csv: a diary between \",\"") && sources.contains("1 diary lines taken in"));
}

/// A script that writes thousands of lines keeps no reading waiting: a very low rings while most of them are
/// still to be taken in, and then they are.
#[test]
fn a_flood_of_lines_does_not_hold_up_a_very_low() {
    let receiver = Receiver::start();
    let mut recheck = Recheck::new(&webhook(&receiver.url()));
    recheck.watch_after_an_hour_in_range();
    let lines = 3_000;
    let mut text = HEADER.to_owned();
    for line in 0..lines {
        writeln!(text, "{},text,,,line {line}", written(now_seconds() - 3_600)).unwrap();
    }
    rewrite(&recheck, &text);
    wait_until_counted(&recheck, "diary_taken", lines);
    recheck.drop_rows("day.csv", "glucose", &[(now_seconds(), 50.0)]);
    receiver.wait_for("very_low", 1);
    let taken_in = || answers(&recheck, "noted");
    let meanwhile = taken_in();
    assert!(meanwhile < usize::try_from(lines).unwrap(), "all were taken in before");
    wait_for("every line", || (taken_in() as u64 == lines).then_some(()));
}

/// Killed at many moments while the phone writes: every line is in the diary once.
#[test]
fn no_line_is_lost_or_doubled_by_kills() {
    let mut recheck = Recheck::new(&webhook("http://127.0.0.1:9/"));
    recheck.watch();
    let mut text = HEADER.to_owned();
    let rounds = 12_u64;
    for round in 0..rounds {
        writeln!(text, "{},text,,,line {round}", written(now_seconds() - 600)).unwrap();
        // Written aside and written over in turn.
        if round % 2 == 0 {
            rewrite(&recheck, &text);
        } else {
            fs::write(recheck.exports().join("diary.csv"), &text).unwrap();
        }
        std::thread::sleep(std::time::Duration::from_millis(round * 7));
        recheck.kill();
        recheck.watch();
    }
    wait_for("all lines", || (recheck.counted("diary_taken") >= rounds).then_some(()));
    wait_for("all lines to be taken in", || {
        (answers(&recheck, "noted") >= usize::try_from(rounds).unwrap()).then_some(())
    });
    let words: Vec<String> =
        diary(&recheck.state()).iter().map(|note| note["words"].as_str().unwrap().to_owned()).collect();
    let mut once = words.clone();
    once.sort();
    once.dedup();
    assert_eq!((words.len(), once.len()), (12, 12), "{words:?}");
    assert_eq!(answers(&recheck, "noted"), 12);
}

#[test]
fn a_dose_that_arrives_late_plans_the_looks_anew_and_an_old_one_does_not() {
    let receiver = Receiver::start();
    let mut recheck = Recheck::new(&format!("{QUICK}{}", webhook(&receiver.url())));
    recheck.watch_after_an_hour_in_range();
    recheck.drop_rows("day.csv", "glucose", &[(now_seconds(), 270.0)]);
    receiver.wait_for("very_high", 1);
    let now = now_seconds();
    append(&recheck, &format!("{},insulin,4,U,\n", written(now - 5 * 3_600)));
    wait_until_counted(&recheck, "diary_taken", 1);
    assert_eq!(answers(&recheck, "looks_planned"), 0, "five hours are too late for looks");
    assert_eq!(diary(&recheck.state()).len(), 1, "it is in the diary");
    append(&recheck, &format!("{},insulin,4,U,\n", written(now - 5_400)));
    // The look at an hour is overdue: one look now, which asks, as very high does at any first look that
    // rises; the next is at two hours.
    let status = wait_for("the next look", || {
        recheck.status().filter(|status| {
            status["rechecks"].as_array().is_some_and(|all| all.iter().any(|care| care["treated"].is_string()))
        })
    });
    let care = status["rechecks"].as_array().unwrap().iter().find(|care| care["treated"].is_string()).unwrap().clone();
    let clock = |seconds: i64| written(seconds).replace(' ', "T") + "+00:00";
    assert_eq!(care["treated"], clock(now - 5_400));
    let next = wait_for("the look that is overdue", || {
        let next =
            recheck.status()?["rechecks"].as_array()?.iter().find(|care| care["treated"].is_string())?["next"].clone();
        (next == clock(now - 5_400 + 7_200)).then_some(next)
    });
    assert!(next.is_string());
    assert_eq!(diary(&recheck.state()).len(), 2);
}

#[test]
fn what_was_seen_before_it_rang_was_not_seen() {
    let receiver = Receiver::start();
    let mut recheck = Recheck::new(&webhook(&receiver.url()));
    recheck.watch_after_an_hour_in_range();
    recheck.drop_a_low();
    receiver.wait_for("low", 1);
    append(&recheck, &format!("{},seen,,,\n", ago(3)));
    wait_until_counted(&recheck, "diary_taken", 1);
    wait_for("the answer", || (answers(&recheck, "marked_seen") == 1).then_some(()));
    assert_eq!(recheck.alert("low", |_| true)["seen"], false);
    // A phone whose clock is four minutes ahead: now.
    append(&recheck, &format!("{},seen,,,\n", ago(-4)));
    recheck.alert("low", |alert| alert["seen"] == true);
}

#[test]
fn lines_that_are_not_understood_are_told_once_and_say_nothing_about_the_source() {
    let receiver = Receiver::start();
    let mut recheck = Recheck::new(&webhook(&receiver.url()));
    recheck.watch_after_an_hour_in_range();
    let bad = format!(
        "{},insuline,4,U,\n{},meter,5.4,mg/dL,\n{},text,,,good\n{},text,,,tomorrow\n",
        ago(3),
        ago(2),
        ago(1),
        ago(-60)
    );
    append(&recheck, &bad);
    let told = receiver.wait_for("diary", 1);
    assert_eq!(told[0].body["title"], "3 diary lines were not understood");
    assert_eq!((&told[0].body["priority"], &told[0].body["what"]), (&"information".into(), &"told".into()));
    let text = told[0].body["text"].as_str().unwrap();
    for words in ["diary.csv: line 2, column 2 (kind): expected one of insulin,", "and 2 more", "Correct the line"] {
        assert!(text.contains(words), "{words} is not in {text}");
    }
    wait_until_counted(&recheck, "refused", 3);
    // The same lines again are no news; a further one is.
    rewrite(&recheck, &format!("{CAPITALS}{bad}"));
    wait_until_counted(&recheck, "diary_doubled", 1);
    append(&recheck, &format!("{},insulin,some,U,\n", ago(0)));
    let told = receiver.wait_for("diary", 2);
    assert_eq!(told[1].body["title"], "A diary line was not understood");
    assert!(told[1].body["text"].as_str().unwrap().contains("line 6, column 3 (amount)"), "{}", told[1].body["text"]);
    // A line that asks back is told as well.
    append(&recheck, &format!("{},treated,,,\n", ago(0)));
    let told = receiver.wait_for("diary", 3);
    assert_eq!(told[2].body["reason"], "diary_line_asks");
    assert!(told[2].body["text"].as_str().unwrap().contains("diary.csv: line 7"), "{}", told[2].body["text"]);
    let why = String::from_utf8_lossy(&recheck.say(&["status"]).stdout).into_owned();
    assert!(why.contains("the time is in the future") && why.contains("is the unit mmol/L?"), "{why}");
    assert_eq!(receiver.about("diary").len(), 3);
    assert!(receiver.about("source_failed").is_empty());
}

/// A diary whose days could be months is asked about, and nothing of it is lost: the settings answer.
#[test]
fn a_question_about_the_whole_file_is_told_and_answered_by_the_settings() {
    let receiver = Receiver::start();
    let channel = webhook(&receiver.url());
    let mut recheck = Recheck::new(&channel);
    recheck.watch_after_an_hour_in_range();
    fs::write(recheck.exports().join("diary.csv"), "time,kind,note\n02/03/2026 14:10,text,walked\n").unwrap();
    let told = receiver.wait_for("diary", 1);
    let text = told[0].body["text"].as_str().unwrap();
    assert!(text.contains("could be either way round") && text.contains("time_format = \"%d/%m/%Y %H:%M\""), "{text}");
    let inspected = recheck.say(&["inspect", recheck.exports().join("diary.csv").to_str().unwrap()]);
    assert_eq!(inspected.status.code(), Some(3), "{inspected:?}");
    recheck.kill();
    recheck.set_channels(&format!("time_format = \"%d/%m/%Y %H:%M\"\n\n{channel}"));
    recheck.watch();
    wait_until_counted(&recheck, "diary_taken", 1);
    let inspected = recheck.say(&["inspect", recheck.exports().join("diary.csv").to_str().unwrap()]);
    let shown = String::from_utf8_lossy(&inspected.stdout).into_owned();
    assert!(shown.contains("1 diary lines") && shown.contains("2026-03-02T14:10:00+00:00   text walked"), "{shown}");
    assert!(receiver.about("source_failed").is_empty());
}

#[test]
fn note_scan_is_said_and_a_doubtful_meter_value_is_asked_about() {
    let recheck = Recheck::new(&webhook("http://127.0.0.1:9/"));
    assert!(recheck.say(&["note", "scan"]).status.success());
    assert!(recheck.say(&["note", "insulin", "4", "before", "supper"]).status.success());
    let asked = recheck.say(&["note", "meter", "5.4"]);
    let words = String::from_utf8_lossy(&asked.stderr).into_owned();
    assert!(!asked.status.success() && words.contains("is the unit mmol/L?") && words.contains("hint:"), "{words}");
    let kept: Vec<Said> = Store::look(&recheck.state())
        .unwrap()
        .unwrap()
        .unanswered()
        .unwrap()
        .into_iter()
        .map(|line| line.what)
        .collect();
    assert_eq!(kept.len(), 2, "{kept:?}");
}

/// Whichever file is read first, and whichever line stands first in it: what happened first is taken in
/// first, after the readings of that time. In another order the earlier dose would plan nothing.
#[test]
fn lines_are_taken_in_in_the_order_of_what_happened() {
    let mut recheck = Recheck::new(&webhook("http://127.0.0.1:9/"));
    let dose = |minutes: i64| format!("{},insulin,,,\n", ago(minutes));
    fs::write(recheck.exports().join("a.csv"), format!("{HEADER}{}{}", dose(1), dose(3))).unwrap();
    fs::write(recheck.exports().join("b.csv"), format!("{HEADER}{}{}", dose(2), dose(4))).unwrap();
    recheck.drop_rows("readings.csv", "glucose", &rows_until(now_seconds() - 60, &[255.0, 260.0, 265.0]));
    recheck.watch();
    wait_for("all answers", || (answers(&recheck, "looks_planned") + answers(&recheck, "noted") == 4).then_some(()));
    assert_eq!(answers(&recheck, "looks_planned"), 4);
}

/// The moment between keeping a line and taking it in, as a power cut leaves it.
#[test]
fn a_line_that_was_kept_and_not_taken_in_is_taken_in_at_the_next_start() {
    let mut recheck = Recheck::new(&webhook("http://127.0.0.1:9/"));
    append(&recheck, &format!("{},exercise,,,walked home\n", ago(10)));
    recheck.watch();
    wait_for("the answer", || (answers(&recheck, "noted") == 1).then_some(()));
    recheck.kill();
    let store = Connection::open(recheck.state().join("recheck.sqlite3")).unwrap();
    store.execute_batch("UPDATE inbox SET accepted = NULL, answer = NULL; DELETE FROM diary").unwrap();
    drop(store);
    recheck.watch();
    wait_for("the answer again", || (answers(&recheck, "noted") == 2).then_some(()));
    assert_eq!(diary(&recheck.state()).len(), 1);
    assert_eq!(recheck.counted("diary_taken"), 1);
}

/// A reading that came four minutes late rang four minutes later: what was seen between was something else.
#[test]
fn seen_counts_from_the_ring_and_not_from_the_reading() {
    let (read, rang) = (Timestamp::from_seconds(1_772_438_400), Timestamp::from_seconds(1_772_438_640));
    let mut engine = Engine::new(Policy::new(Zone::UTC));
    let rows = vec![Reading { source: SourceId(0), measured: read, glucose: Glucose::mg_dl(66) }];
    engine.handle(&Event::Readings { rows, first_sight: false }, rang);
    let mut seen = |until: Timestamp| {
        let said = Box::new(Event::Seen { which: None, until: Some(until), by: None });
        let told =
            engine.handle(&Event::Written { said, whence: "diary.csv: line 2".to_owned() }, rang + Span::minutes(2));
        told.into_iter().next().unwrap().reason
    };
    assert_eq!(seen(rang - Span::seconds(1)), Reason::MarkedSeen { ids: vec![] });
    assert_eq!(seen(rang), Reason::MarkedSeen { ids: vec![Id(1)] });
}

/// A diary beside readings settles neither their unit nor how their times are written, nor they its.
#[test]
fn a_diary_and_readings_are_written_by_different_hands() {
    let wanted = Wanted::anything(Zone::UTC);
    let sniff = |text: &str, known: Option<&Dialect>| wanted.sniff(text.as_bytes(), Encoding::Utf8, known);
    let of_diary = sniff("time,kind\n2026-03-02 14:10,seen\n", None).unwrap();
    assert!(of_diary.is_diary());
    let either_unit = "time,glucose\n2026-03-02 14:10,25\n";
    assert!(matches!(sniff(either_unit, Some(&of_diary)), Err(NotFound::Question { .. })));
    let of_readings = sniff("time,glucose\n27/02/2026 14:10,120\n", None).unwrap();
    assert_eq!(sniff("time,glucose\n02/03/2026 14:10,120\n", Some(&of_readings)).unwrap().stamp, of_readings.stamp);
    let either_day = "time,kind\n02/03/2026 14:10,seen\n";
    assert!(matches!(sniff(either_day, Some(&of_readings)), Err(NotFound::Question { .. })));
    let day_first = sniff("time,kind\n27/02/2026 14:10,seen\n", None).unwrap();
    assert_eq!(sniff(either_day, Some(&day_first)).unwrap().stamp, day_first.stamp);
    // What the settings say of the readings' times does not hold for a diary that is written otherwise.
    let said = Wanted { stamp: Some(day_first.stamp.clone()), ..Wanted::anything(Zone::UTC) };
    let iso = said.sniff(b"time,kind\n2026-03-02 14:10,seen\n", Encoding::Utf8, None).unwrap();
    assert_eq!(iso.stamp, of_diary.stamp);
}

/// What the version before saved still reads: a store without keys, and events and alerts without times.
#[test]
fn what_was_saved_before_still_reads() {
    let folder = tempfile::tempdir().unwrap();
    let seen = r#"{"seen":{"which":null}}"#;
    drop(Store::open(folder.path()).unwrap());
    let store = Connection::open(folder.path().join("recheck.sqlite3")).unwrap();
    store
        .execute_batch(&format!("{} INSERT INTO inbox (said, body) VALUES (1000, '{seen}');", super::real::FIRST_FORM))
        .unwrap();
    drop(store);
    let lines = Store::open(folder.path()).unwrap().unanswered().unwrap();
    assert_eq!(lines.iter().map(|line| &line.what).collect::<Vec<_>>(), [&Said::Seen { which: None, by: None }]);
    assert_eq!(serde_json::from_str::<Event>(seen).unwrap(), Event::Seen { which: None, until: None, by: None });
    let file = include_str!("states/v1/01-low-unanswered.json");
    let mut form: serde_json::Value = serde_json::from_str::<serde_json::Value>(file).unwrap()["state"].take();
    let active = form["low"]["milder"]["active"].as_object_mut().unwrap();
    active.remove("told_at").unwrap();
    let rang = Timestamp::from_millis(active["rang"].as_i64().unwrap());
    let state = State::read(1, &form.to_string()).unwrap();
    let low = state.register.of(Condition::Low).unwrap();
    assert!(low.had_rung(rang, None) && !low.had_rung(rang - Span::minutes(1), None));
}
