//! The care of the diary through the program: lines listed, amended, deleted and brought back, once, with what they
//! said before; and stretches that are not counted. Needs no part beyond the program itself.

use super::real::{Receiver, Recheck, now_seconds, rows_until, wait_for, webhook, written};
use recheck::domain::change::{Change, WhichLine};
use recheck::domain::time::{Span, Timestamp};
use recheck::store::Store;
use recheck::store::inbox::Said;
use rusqlite::Connection;
use serde_json::Value;
use std::fs;
use std::process::Output;

const NOWHERE: &str = "http://127.0.0.1:9/";

fn words(done: &Output) -> String {
    format!("{}{}", String::from_utf8_lossy(&done.stdout), String::from_utf8_lossy(&done.stderr))
}

fn accepted(recheck: &Recheck, arguments: &[&str]) -> String {
    let done = recheck.say(arguments);
    assert!(done.status.success(), "{arguments:?}: {done:?}");
    words(&done)
}

/// What cannot be meant is told at once, with what to do.
fn refused(recheck: &Recheck, arguments: &[&str], what: &str) {
    let done = recheck.say(arguments);
    let said = words(&done);
    assert_eq!(done.status.code(), Some(1), "{arguments:?}: {said}");
    assert!(said.contains("error: ") && said.contains("hint: ") && said.contains(what), "{arguments:?}: {said}");
}

fn listed(recheck: &Recheck, more: &[&str]) -> Value {
    let done = recheck.say(&[&["diary", "--json"], more].concat());
    serde_json::from_slice(&done.stdout).unwrap_or_else(|_| panic!("{done:?}"))
}

fn lines(recheck: &Recheck, more: &[&str]) -> Vec<Value> {
    listed(recheck, more)["lines"].as_array().unwrap().clone()
}

fn treated(recheck: &Recheck) -> Option<String> {
    let status = recheck.status()?;
    let care = status["rechecks"].as_array()?.iter().find(|care| care["treated"].is_string())?.clone();
    care["treated"].as_str().map(str::to_owned)
}

/// A very high that rings at once, and nobody has treated.
fn with_a_high() -> (Receiver, Recheck) {
    let receiver = Receiver::start();
    let quick = "[level.very_high]\non_delay = \"0m\"\n\n";
    let mut recheck = Recheck::new(&format!("{quick}{}", webhook(&receiver.url())));
    recheck.watch_after_an_hour_in_range();
    recheck.drop_rows("day.csv", "glucose", &[(now_seconds(), 270.0)]);
    receiver.wait_for("very_high", 1);
    (receiver, recheck)
}

#[test]
fn a_dose_is_amended_and_its_looks_follow_and_a_deleted_one_is_asked_about_again() {
    let (_receiver, mut recheck) = with_a_high();
    accepted(&recheck, &["note", "insulin", "40", "supper", "--at", "10m"]);
    let before = treated(&recheck).unwrap();
    let number = lines(&recheck, &[])[0]["number"].to_string();
    let said = accepted(&recheck, &["diary", "amend", &number, "insulin", "4U", "supper"]);
    assert!(said.starts_with(&format!("Line {number} now: insulin 4 U supper, at ")), "{said}");
    assert!(said.contains("\nIt was: insulin 40 U supper, at "), "{said}");
    assert_eq!(treated(&recheck), Some(before.clone()), "an amount moves no look");
    let said = accepted(&recheck, &["diary", "amend", &number, "--at", "30m"]);
    assert!(said.contains("\nHigh of ") && said.contains("looks at "), "{said}");
    let after = treated(&recheck).unwrap();
    assert!(after < before, "{after} is not before {before}");
    // A kill loses none of it.
    recheck.kill();
    recheck.watch();
    assert_eq!(treated(&recheck), Some(after));
    let said = accepted(&recheck, &["diary", "delete", &number]);
    assert!(said.starts_with(&format!("Deleted line {number}: insulin 4 U supper, at ")), "{said}");
    assert!(said.contains("is not marked as treated now. If it stays, you are asked about it at "), "{said}");
    let status = recheck.status().unwrap();
    let care = status["rechecks"].as_array().unwrap().iter().find(|care| care["of"] == "high").unwrap();
    assert!(care["treated"].is_null() && care["next"].is_string(), "{status}");
    assert!(lines(&recheck, &[]).is_empty());
    let history = lines(&recheck, &["--history"]);
    let said: Vec<String> =
        history[0]["earlier"].as_array().unwrap().iter().map(|was| was["said"]["amount"].to_string()).collect();
    assert_eq!(said, ["\"40\"", "\"4\"", "\"4\""]);
    assert!(history[0]["deleted"].is_string());
    let shown = accepted(&recheck, &["diary", "--history"]);
    assert!(shown.lines().all(|line| line.chars().count() <= 80), "{shown}");
    assert!(shown.contains("(deleted ") && shown.contains(": insulin 40 U supper, at "), "{shown}");
    let said = accepted(&recheck, &["diary", "restore", &number]);
    assert!(said.contains(&format!("Line {number} counts again")) && said.contains("\nHigh of "), "{said}");
    assert!(treated(&recheck).is_some());
}

/// What was said by `treated` is a line too.
#[test]
fn a_treatment_of_a_high_can_be_taken_back() {
    let (_receiver, recheck) = with_a_high();
    accepted(&recheck, &["treated"]);
    let line = lines(&recheck, &[])[0].clone();
    assert_eq!((&line["kind"], &line["amount"]), (&"treated".into(), &"high".into()));
    let said = accepted(&recheck, &["diary", "delete", &line["number"].to_string()]);
    assert!(said.contains("is not marked as treated now"), "{said}");
    assert_eq!(treated(&recheck), None);
}

#[test]
fn what_cannot_be_meant_is_told_at_once() {
    let mut recheck = Recheck::new(&webhook(NOWHERE));
    refused(&recheck, &["diary"], "the diary is empty");
    refused(&recheck, &["diary", "delete", "1"], "the diary has no line 1");
    recheck.watch();
    accepted(&recheck, &["note", "insulin", "4", "--at", "2026-03-02 14:05"]);
    accepted(&recheck, &["note", "insulin", "4", "--at", "2026-03-02 14:10"]);
    for number in ["0", "3", "x", "s9", "99999999999999999999"] {
        refused(&recheck, &["diary", "delete", number], "the diary has no line");
    }
    refused(&recheck, &["diary", "amend", "1"], "what is line 1 to say instead?");
    refused(&recheck, &["diary", "amend", "1", "insuline", "4"], "there is no note called");
    refused(&recheck, &["diary", "amend", "1", "--at", "2999-01-01 10:00"], "in the future");
    refused(&recheck, &["diary", "amend", "1", "insulin", "4"], "says that already");
    refused(&recheck, &["diary", "amend", "1", "--at", "2026-03-02 14:10"], "line 2 says that already");
    refused(&recheck, &["diary", "restore", "1"], "is not deleted");
    refused(&recheck, &["diary", "forget", "1"], "no way to care for the diary");
    refused(&recheck, &["diary", "--day", "yesterday"], "--day is");
    accepted(&recheck, &["diary", "delete", "1"]);
    refused(&recheck, &["diary", "delete", "1"], "is deleted");
    refused(&recheck, &["diary", "amend", "1", "insulin", "5"], "recheck diary restore 1");
    // A time of day is that of the line's own day.
    let said = accepted(&recheck, &["diary", "amend", "2", "--at", "23:50"]);
    assert!(said.contains("at 2026-03-02 23:50"), "{said}");
    assert_eq!(lines(&recheck, &["--day", "2026-03-02"]).len(), 1);
}

/// With nobody watching a line that is not in the diary yet can be corrected too; both are taken in once.
#[test]
fn what_is_said_without_a_daemon_is_cared_for_without_one() {
    let mut recheck = Recheck::new(&webhook(NOWHERE));
    accepted(&recheck, &["note", "insulin", "40", "--at", "10m"]);
    accepted(&recheck, &["note", "text", "walked", "home"]);
    let shown = accepted(&recheck, &["diary"]);
    assert!(shown.contains("    s1  ") && shown.contains("taken in when `recheck run` starts"), "{shown}");
    let kept = accepted(&recheck, &["diary", "amend", "s1", "insulin", "4"]);
    assert!(kept.contains("Kept. recheck is not running"), "{kept}");
    accepted(&recheck, &["diary", "delete", "s2"]);
    recheck.watch();
    let all = wait_for("the lines", || {
        Some(lines(&recheck, &["--history"]))
            .filter(|all| all.len() == 2 && all.iter().all(|line| line["earlier"][0].is_object()))
    });
    assert_eq!((&all[0]["amount"], &all[0]["earlier"][0]["said"]["amount"]), (&"4".into(), &"40".into()));
    assert!(all[1]["deleted"].is_string(), "{all:?}");
    assert_eq!(lines(&recheck, &[]).len(), 1);
}

/// The file is not the diary: a line that was amended or deleted does not come back with it, as it was or as it is.
#[test]
fn a_line_of_a_file_does_not_come_back() {
    let mut recheck = Recheck::new(&webhook(NOWHERE));
    recheck.watch_after_an_hour_in_range();
    let (first, second) = (written(now_seconds() - 1_800), written(now_seconds() - 900));
    let file = recheck.exports().join("diary.csv");
    let text = format!("time,kind,amount,unit,note\n{first},insulin,4,U,\n{second},carbohydrate,15,g,\n");
    fs::write(&file, &text).unwrap();
    wait_for("the lines", || (lines(&recheck, &[]).len() == 2).then_some(()));
    let number =
        |kind: &str| lines(&recheck, &[]).iter().find(|line| line["kind"] == kind).unwrap()["number"].to_string();
    let (insulin, carbohydrate) = (number("insulin"), number("carbohydrate"));
    accepted(&recheck, &["diary", "amend", &insulin, "insulin", "2.5"]);
    accepted(&recheck, &["diary", "delete", &carbohydrate]);
    // Written whole again in other letters, with the line corrected by hand as well.
    let again = text.replace("time,kind", "Time,Kind") + &format!("{first},insulin,2.5,U,\n");
    fs::write(&file, &again).unwrap();
    wait_for("the file again", || (recheck.counted("diary_doubled") >= 3).then_some(()));
    recheck.kill();
    fs::write(recheck.exports().join("copy.csv"), again.replace("Time,Kind", "TIME,KIND")).unwrap();
    recheck.watch();
    wait_for("the copy", || (recheck.counted("diary_doubled") >= 6).then_some(()));
    let all = lines(&recheck, &[]);
    assert_eq!(all.len(), 1, "{all:?}");
    assert_eq!(all[0]["amount"], "2.5");
    assert_eq!(recheck.counted("diary_taken"), 2);
}

/// The moment between keeping a change and making it, as a power cut leaves it: it is made at the next start, once.
#[test]
fn a_change_that_was_kept_and_not_made_is_made_at_the_next_start() {
    let mut recheck = Recheck::new(&webhook(NOWHERE));
    recheck.watch();
    accepted(&recheck, &["note", "exercise", "walked"]);
    let number = lines(&recheck, &[])[0]["number"].to_string();
    recheck.kill();
    accepted(&recheck, &["diary", "amend", &number, "exercise", "ran"]);
    for _ in 0..2 {
        recheck.watch();
        wait_for("the change", || (lines(&recheck, &[])[0]["words"] == "ran").then_some(()));
        recheck.kill();
    }
    assert_eq!(lines(&recheck, &[])[0]["earlier"].as_array().unwrap().len(), 1);
}

/// Both of two at once are answered: changes of two things add up, and a line is deleted by one of them.
#[test]
fn two_changes_at_once() {
    let mut recheck = Recheck::new(&webhook(NOWHERE));
    recheck.watch();
    accepted(&recheck, &["note", "insulin", "40", "--at", "5m"]);
    let line = lines(&recheck, &[])[0].clone();
    let number = line["number"].to_string();
    let both = |one: &[&str], other: &[&str]| {
        std::thread::scope(|scope| {
            let one = scope.spawn(|| recheck.say(one));
            let other = scope.spawn(|| recheck.say(other));
            [one.join().unwrap(), other.join().unwrap()]
        })
    };
    let done = both(&["diary", "amend", &number, "--at", "50m"], &["diary", "amend", &number, "insulin", "4"]);
    assert!(done.iter().all(|done| done.status.success()), "{done:?}");
    let after = lines(&recheck, &[])[0].clone();
    assert_eq!(after["amount"], "4");
    assert!(after["at"].as_str() < line["at"].as_str(), "{after} {line}");
    assert_eq!(after["earlier"].as_array().unwrap().len(), 2);
    let done = both(&["diary", "delete", &number], &["diary", "delete", &number]);
    let deleted = done.iter().filter(|done| words(done).contains("Deleted line")).count();
    let told = done.iter().filter(|done| words(done).contains("is deleted")).count();
    assert_eq!((deleted, told), (1, 1), "{done:?}");
    assert_eq!(lines(&recheck, &["--history"])[0]["earlier"].as_array().unwrap().len(), 3);
}

/// A laboratory's A1c and a change of therapy are of any day, and start nothing.
#[test]
fn an_a1c_of_last_year_and_a_change_of_therapy_are_noted() {
    let mut recheck = Recheck::new(&webhook(NOWHERE));
    recheck.watch();
    let said = accepted(&recheck, &["note", "a1c", "53", "mmol/mol", "spring", "check", "--at", "2025-03-02"]);
    assert!(said.starts_with("Noted: a1c 53 mmol/mol (7.0 %) spring check, at 2025-03-02 12:00."), "{said}");
    accepted(&recheck, &["note", "therapy", "night", "basal", "changed", "--at", "2026-03-02"]);
    refused(&recheck, &["note", "a1c", "12"], "12 could be either");
    refused(&recheck, &["note", "therapy"], "what changed");
    refused(&recheck, &["note", "a1c", "7.1", "--at", "2999-03-02"], "in the future");
    refused(&recheck, &["note", "insulin", "4", "--at", "2026-03-02"], "--at is");
    let all = lines(&recheck, &[]);
    assert_eq!(
        (&all[0]["kind"], &all[0]["amount"], &all[0]["unit"]),
        (&"a1c".into(), &"53".into(), &"mmol/mol".into())
    );
    assert_eq!((&all[1]["kind"], &all[1]["words"]), (&"therapy".into(), &"night basal changed".into()));
    assert_eq!(recheck.status().unwrap()["rechecks"], Value::Array(Vec::new()));
}

/// The store alone: what stands, what stood, and what a later version of a note makes of the inbox.
#[test]
fn the_store_gives_the_diary_as_it_stands() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path()).unwrap();
    let all = |store: &Store| store.diary(Timestamp::from_seconds(0), Timestamp::from_seconds(1_000)).unwrap();
    assert!(all(&store).is_empty());
    let none = store.change_of(WhichLine::Number(1), &Change::Delete, Timestamp::from_seconds(1)).unwrap();
    assert!(none.is_err(), "{none:?}");
    drop(store);
    // What was noted before there was any care of it can be cared for as well.
    let old = Connection::open(folder.path().join("recheck.sqlite3")).unwrap();
    let body = r#"{"at":60000,"kind":{"insulin":400},"words":"supper"}"#;
    old.execute("INSERT INTO diary (at, noted, body) VALUES (60000, 61000, ?1)", [body]).unwrap();
    drop(old);
    let store = Store::open(folder.path()).unwrap();
    assert_eq!(all(&store)[0].note.words, "supper");
    let changed = store.change_of(WhichLine::Number(1), &Change::Delete, Timestamp::from_seconds(1)).unwrap().unwrap();
    assert_eq!(changed.was.unwrap().words, "supper");
    assert_eq!(store.say(Timestamp::from_seconds(1), &Said::Excluded).unwrap(), 1);
}

#[test]
fn stretches_that_are_not_counted_overlap_and_are_taken_back() {
    let folder = tempfile::tempdir().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    let at = |minutes: i64| Timestamp::from_seconds(minutes * 60);
    for (from, until) in [(100, 200), (150, 250), (250, 260), (400, 500)] {
        store.exclude(at(600), at(from), at(until), "faulty").unwrap();
    }
    assert_eq!(store.excluded(at(0), at(600)).unwrap(), [(at(100), at(260)), (at(400), at(500))]);
    assert_eq!(store.excluded(at(260), at(400)).unwrap(), []);
    assert!(store.take_back(2, at(601)).unwrap() && !store.take_back(2, at(602)).unwrap());
    assert!(!store.take_back(9, at(602)).unwrap());
    assert_eq!(store.excluded(at(0), at(300)).unwrap(), [(at(100), at(200)), (at(250), at(260))]);
    let kept = store.exclusions().unwrap();
    assert_eq!(kept.len(), 4);
    assert_eq!(kept[1].taken_back, Some(at(601)));
    assert_eq!(store.unanswered().unwrap().len(), 5, "the daemon is told of each");
}

#[test]
fn a_faulty_sensor_is_left_out_of_what_is_counted_and_alerts_as_ever() {
    let receiver = Receiver::start();
    let mut recheck = Recheck::new(&webhook(&receiver.url()));
    recheck.watch_after_an_hour_in_range();
    let rings = || {
        let done = recheck.say(&["burden", "--json"]);
        serde_json::from_slice::<Value>(&done.stdout).unwrap()["rings"].as_u64().unwrap()
    };
    for (typed, what) in [
        (&["exclude", "20m"][..], "does not say from when to when"),
        (&["exclude", "20m", "30m", "loose"], "end before it begins"),
        (&["exclude", "2999-01-01 10:00", "2999-01-02", "loose"], "begin in the future"),
        (&["exclude", "20m", "now"], "the reason is missing"),
        (&["exclude", "soon", "now", "loose"], "is no time"),
        (&["exclude", "off", "7"], "no stretch 7 is left out"),
    ] {
        refused(&recheck, typed, what);
    }
    let said = accepted(&recheck, &["exclude", "30m", "2999-01-02", "the", "sensor", "came", "loose"]);
    assert!(said.contains("Not counted: ") && said.contains(": the sensor came loose"), "{said}");
    recheck.drop_rows("low.csv", "glucose", &rows_until(now_seconds(), &[80.0, 60.0]));
    receiver.wait_for("low", 1);
    assert_eq!(rings(), 0, "left out");
    let said = accepted(&recheck, &["exclude", "10m", "now", "again"]);
    assert!(said.contains("It overlaps 1"), "{said}");
    for command in [&["status"][..], &["why"]] {
        let shown = accepted(&recheck, command);
        assert!(shown.contains("Not counted now: ") && shown.contains("the sensor came loose"), "{shown}");
    }
    assert!(accepted(&recheck, &["burden"]).contains("left out: 1 stretches"));
    let listed: Value = serde_json::from_str(&accepted(&recheck, &["exclude", "--json"])).unwrap();
    assert_eq!(listed["excluded"][0]["reason"], "the sensor came loose");
    for number in ["1", "2"] {
        accepted(&recheck, &["exclude", "off", number]);
    }
    assert_eq!(rings(), 1, "it counts again");
    assert!(accepted(&recheck, &["exclude"]).starts_with("Everything counts"));
    let store = Store::look(&recheck.state()).unwrap().unwrap();
    wait_for("the daemon to take it in", || store.unanswered().unwrap().is_empty().then_some(()));
    let all = store.readings_since(Timestamp::from_seconds(now_seconds()) - Span::hours(3)).unwrap();
    assert!(all.len() > 10, "readings stay in the store");
}

/// What followed on a dose is told of the diary as it stands, and not of a stretch that is not to be counted.
#[test]
fn responses_follow_the_diary_and_leave_out_what_is_not_counted() {
    let (_receiver, recheck) = with_a_high();
    let corrections = || {
        let told = recheck.say(&["responses", "--json"]);
        let told: Value = serde_json::from_slice(&told.stdout).unwrap_or_else(|_| panic!("{told:?}"));
        told["corrections"]["rows"].as_array().unwrap().len()
    };
    assert_eq!(corrections(), 0);
    accepted(&recheck, &["note", "insulin", "4"]);
    assert_eq!(corrections(), 1);
    let number = lines(&recheck, &[])[0]["number"].to_string();
    accepted(&recheck, &["diary", "delete", &number]);
    assert_eq!(corrections(), 0);
    accepted(&recheck, &["diary", "restore", &number]);
    assert_eq!(corrections(), 1);
    let ago = |minutes: i64| written(now_seconds() - 60 * minutes);
    let told = accepted(&recheck, &["exclude", &ago(30), &ago(-1), "the sensor was pressed"]);
    assert!(told.starts_with("Not counted: "), "{told}");
    assert_eq!(corrections(), 0);
    accepted(&recheck, &["exclude", "off", "1"]);
    assert_eq!(corrections(), 1);
}
