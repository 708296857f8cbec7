//! The running program: files as exporters write them, words of the wearer, kills and restarts. Needs no
//! part beyond the program itself.

use super::real::{Receiver, Recheck, now_seconds, rows_until, table, wait_for, webhook, written};
use recheck::config::meant::{Purpose, settings};
use recheck::daemon::clock::Clock;
use recheck::daemon::{Daemon, Heard, Plan, Stopped};
use recheck::domain::local::Zone;
use recheck::domain::time::Timestamp;
use recheck::engine::effect::Condition;
use recheck::engine::event::Event;
use recheck::store::Store;
use std::fs::{self, OpenOptions};
use std::io::Write as _;
use std::time::Duration;

#[test]
fn a_file_appended_rewritten_and_renamed_is_read_once() {
    let receiver = Receiver::start();
    let mut recheck = Recheck::new(&webhook(&receiver.url()));
    recheck.watch_after_an_hour_in_range();
    let known = recheck.counted("taken");
    let now = now_seconds();
    let file = recheck.exports().join("day.csv");
    let rows = [(now - 200, 80.0), (now - 100, 78.0), (now, 62.0)];
    // Written aside under a name that counts only after the rename.
    recheck.drop_rows("day.csv", "glucose", &rows[..2]);
    wait_for("the renamed file", || (recheck.counted("taken") == known + 2).then_some(()));
    // Appended in two halves of one line.
    let (first, second) = table("glucose", &rows[2..])
        .split_once('\n')
        .map(|(_, row)| (row[..8].to_owned(), row[8..].to_owned()))
        .unwrap();
    let mut open = OpenOptions::new().append(true).open(&file).unwrap();
    open.write_all(first.as_bytes()).unwrap();
    std::thread::sleep(Duration::from_millis(100));
    open.write_all(second.as_bytes()).unwrap();
    receiver.wait_for("low", 1);
    // Rewritten whole, the same rows again, and once more as another file.
    fs::write(&file, table("glucose", &rows)).unwrap();
    recheck.drop_rows("copy.csv", "glucose", &rows);
    wait_for("the copy", || (recheck.counted("doubled") >= 3).then_some(()));
    assert_eq!(recheck.counted("taken"), known + 3);
    assert_eq!(recheck.counted("refused"), 0);
    assert_eq!(receiver.about("low").len(), 1, "one low is one alert");
}

#[test]
fn late_rows_and_rows_that_differ_are_counted_apart() {
    let mut recheck = Recheck::new(&webhook("http://127.0.0.1:9/"));
    let now = now_seconds();
    recheck.drop_rows("history.csv", "glucose", &[(now - 7_200, 100.0), (now - 3_600, 101.0)]);
    recheck.watch();
    wait_for("the history", || (recheck.counted("taken") == 2).then_some(()));
    assert_eq!(recheck.counted("late"), 0, "what is there at the first sight is not late");
    // One late and one in time; one known; one known with another value, and a new one twice with two.
    let rows = [
        (now - 1_800, 102.0),
        (now - 60, 103.0),
        (now - 3_600, 101.0),
        (now - 7_200, 99.0),
        (now - 30, 104.0),
        (now - 30, 105.0),
    ];
    recheck.drop_rows("more.csv", "glucose", &rows);
    wait_for("the rows", || (recheck.counted("taken") == 5).then_some(()));
    let counted = ["late", "doubled", "differing"].map(|word| recheck.counted(word));
    assert_eq!(counted, [1, 1, 2]);
    let sources = String::from_utf8_lossy(&recheck.say(&["sources"]).stdout).into_owned();
    for line in [
        "5 readings taken in\n",
        "1 of them measured more than 15 minutes before they came\n",
        "1 readings known already\n",
        "2 rows with another value at a known time; the first is kept\n",
    ] {
        assert!(sources.contains(line), "{sources}");
    }
    let status = String::from_utf8_lossy(&recheck.say(&["status"]).stdout).into_owned();
    assert!(status.contains("sensor: 5 taken, 1 late, 1 doubled, 2 differing\n"), "{status}");
    let kept = Store::look(&recheck.state()).unwrap().unwrap().readings_since(Timestamp::from_seconds(0)).unwrap();
    let kept: Vec<i32> = kept.iter().map(|reading| reading.glucose.hundredths()).collect();
    assert_eq!(kept, [10_000, 10_100, 10_200, 10_300, 10_400], "the first value is kept");
}

#[test]
fn folders_below_count_when_the_settings_say_so() {
    for (subfolders, taken) in [("true", 2), ("false", 1)] {
        let mut recheck = Recheck::new(&format!("subfolders = {subfolders}\n\n{}", webhook("http://127.0.0.1:9/")));
        fs::create_dir_all(recheck.exports().join("2026/11")).unwrap();
        let below = recheck.exports().join("2026/11/day.csv");
        fs::write(below, table("glucose", &[(now_seconds() - 600, 101.0)])).unwrap();
        recheck.drop_rows("day.csv", "glucose", &[(now_seconds() - 300, 102.0)]);
        recheck.watch();
        wait_for("the readings", || (recheck.counted("taken") >= taken).then_some(()));
        let sources = String::from_utf8_lossy(&recheck.say(&["sources"]).stdout).into_owned();
        assert_eq!(recheck.counted("taken"), taken, "{sources}");
        assert!(sources.contains("newest reading 102 mg/dL") && sources.contains("readings taken in"), "{sources}");
    }
}

#[test]
fn a_last_line_without_an_end_is_read_when_it_has_settled() {
    let receiver = Receiver::start();
    let mut recheck = Recheck::new(&webhook(&receiver.url()));
    recheck.watch_after_an_hour_in_range();
    let text = table("glucose", &rows_until(now_seconds(), &[82.0, 50.0]));
    fs::write(recheck.exports().join("day.csv"), text.trim_end()).unwrap();
    let got = receiver.wait_for("very_low", 1);
    assert_eq!(got[0].body["glucose"]["mg_dl"], 50.0);
}

#[test]
fn bad_rows_are_named_and_when_nothing_else_comes_they_are_an_alert() {
    let receiver = Receiver::start();
    let mut recheck = Recheck::new(&webhook(&receiver.url()));
    recheck.watch_after_an_hour_in_range();
    let now = now_seconds();
    let mixed = format!("timestamp,glucose\n{},abc\n{},95\n", written(now - 240), written(now - 200));
    fs::write(recheck.exports().join("mixed.csv"), mixed).unwrap();
    wait_for("the good row", || recheck.status().filter(|status| status["reading"]["mg_dl"] == 95.0));
    let status = recheck.status().unwrap();
    let words = status["refusals"][0]["words"].as_str().unwrap().to_owned();
    assert!(words.contains("mixed.csv: line 2, column 2 (glucose): expected a number of mg/dL"), "{words}");
    assert!(receiver.about("source_failed").is_empty(), "a good row came after the bad one");
    let bad = [0, 60, 120].map(|back| written(now - back)).join(",?\n") + ",?\n";
    fs::write(recheck.exports().join("bad.csv"), format!("timestamp,glucose\n{bad}")).unwrap();
    let got = receiver.wait_for("source_failed", 1);
    let title = got[0].body["title"].as_str().unwrap();
    assert!(title.starts_with("Cannot read your file since") && title.ends_with("not watching"), "{title}");
}

#[test]
fn what_is_said_without_a_daemon_is_kept_and_taken_in_at_its_start() {
    let mut recheck = Recheck::new(&webhook("http://127.0.0.1:9/"));
    let said = recheck.say(&["note", "insulin", "4", "before", "supper", "--at", "10m"]);
    let words = String::from_utf8_lossy(&said.stdout).into_owned();
    assert!(said.status.success() && words.contains("Kept. recheck is not running"), "{words}");
    recheck.watch();
    let why = wait_for("the note to be taken in", || {
        let why = String::from_utf8_lossy(&recheck.say(&["why"]).stdout).into_owned();
        why.contains("diary answered").then_some(why)
    });
    assert_eq!(why.matches("diary answered").count(), 1, "{why}");
}

#[test]
fn treated_is_echoed_and_asked_about_when_it_is_not_clear() {
    let mut recheck = Recheck::new(&webhook("http://127.0.0.1:9/"));
    recheck.watch_after_an_hour_in_range();
    let asked = recheck.say(&["treated"]);
    assert_eq!(asked.status.code(), Some(3));
    assert!(String::from_utf8_lossy(&asked.stdout).contains("No alert is open"), "{asked:?}");
    recheck.drop_a_low();
    recheck.alert("low", |_| true);
    let said = recheck.say(&["treated"]);
    let words = String::from_utf8_lossy(&said.stdout).into_owned();
    assert!(
        said.status.success()
            && words.starts_with("Low of ")
            && words.contains(", treated ")
            && words.contains("looks at"),
        "{words}"
    );
    assert_eq!(recheck.status().unwrap()["rechecks"][0]["of"], "low");
    let future = recheck.say(&["treated", "low", "--at", "2999-01-01 10:00"]);
    let words = String::from_utf8_lossy(&future.stderr).into_owned();
    assert!(!future.status.success() && words.contains("error: --at") && words.contains("hint:"), "{words}");
}

/// What was understood is said back: words and amounts are easily mistaken. What would be left out silently is
/// asked about instead.
#[test]
fn what_is_said_is_said_back_or_asked_about() {
    let mut recheck = Recheck::new(&webhook("http://127.0.0.1:9/"));
    recheck.watch_after_an_hour_in_range();
    let noted = recheck.say(&["note", "insulin", "4U", "by", "my", "plan"]);
    let words = String::from_utf8_lossy(&noted.stdout).into_owned();
    assert!(words.starts_with("Noted: insulin 4 U by my plan, at "), "{words}");
    recheck.drop_a_low();
    recheck.alert("low", |_| true);
    let noted = recheck.say(&["note", "carbohydrate", "15", "g"]);
    let words = String::from_utf8_lossy(&noted.stdout).into_owned();
    assert!(words.starts_with("Noted: carbohydrate 15 g, at ") && words.contains("\nLow of "), "{words}");
    for (said, what) in [
        (&["treated", "low", "--look", "60m"][..], "--look is for a high"),
        (&["trust", "8.4"], "is the unit mmol/L?"),
        (&["note", "sensor", "arm", "stop"], "it is not clear whether a sensor is to stop"),
    ] {
        let asked = recheck.say(said);
        let words = String::from_utf8_lossy(&asked.stderr).into_owned();
        assert!(
            asked.status.code() == Some(1) && words.contains(what) && words.contains("hint: "),
            "{said:?}: {words}"
        );
    }
}

#[test]
fn status_says_which_source_an_alert_is_about() {
    let mut recheck = Recheck::new(&webhook("http://127.0.0.1:9/"));
    recheck.watch_after_an_hour_in_range();
    fs::remove_dir_all(recheck.exports()).unwrap();
    recheck.alert("source_failed", |alert| alert["source"] == "sensor");
    let status = String::from_utf8_lossy(&recheck.say(&["status"]).stdout).into_owned();
    assert!(status.contains("  source failed (sensor) since "), "{status}");
}

/// The look of a treated high falls due after the program was killed and started again: it goes on as if it
/// had not stopped.
#[test]
fn a_look_survives_a_kill() {
    let receiver = Receiver::start();
    let mut recheck = Recheck::new(&webhook(&receiver.url()));
    recheck.watch_after_an_hour_in_range();
    recheck.drop_rows("day.csv", "glucose", &rows_until(now_seconds(), &[150.0, 270.0]));
    wait_for("the high reading", || recheck.status().filter(|status| status["reading"]["mg_dl"] == 270.0));
    // Sixty minutes after this treatment is a few seconds from now.
    let said = recheck.say(&["treated", "high", "--at", "3594s"]);
    assert!(said.status.success(), "{said:?}");
    let next = recheck.status().unwrap()["rechecks"][0]["next"].clone();
    recheck.kill();
    assert_eq!(recheck.status().unwrap()["running"], false);
    recheck.watch();
    assert_eq!(recheck.status().unwrap()["rechecks"][0]["next"], next, "the same deadline");
    let got = receiver.wait_for("recheck_high", 1);
    assert_eq!(got[0].body["what"], "prompt");
    assert!(got[0].body["text"].as_str().unwrap().contains("a check is not a reason to add"));
    assert_eq!(got.len(), 1);
}

#[test]
fn lines_of_standard_input_are_read_and_its_end_is_an_alert() {
    let receiver = Receiver::start();
    let recheck = Recheck::new(&webhook(&receiver.url()));
    let rows = table("glucose", &rows_until(now_seconds(), &[90.0, 82.0, 75.0, 64.0]));
    let ended = recheck.pipe(&["run", "--stdin"], rows.as_bytes());
    assert_eq!(ended.status.code(), Some(1), "{ended:?}");
    assert_eq!(receiver.about("low").len(), 1);
    let lost = receiver.about("source_failed");
    assert_eq!(lost.len(), 1);
    assert!(lost[0].body["text"].as_str().unwrap().contains("standard input has ended"));
    let status = recheck.status().unwrap();
    assert_eq!(
        (&status["sources"][0]["name"], &status["sources"][0]["note"]),
        (&"stdin".into(), &serde_json::Value::Null)
    );
}

#[test]
fn two_daemons_do_not_share_a_state_folder() {
    let mut recheck = Recheck::new(&webhook("http://127.0.0.1:9/"));
    recheck.watch();
    let second = recheck.say(&["run"]);
    let words = String::from_utf8_lossy(&second.stderr).into_owned();
    assert_eq!(second.status.code(), Some(1));
    assert!(words.contains("error: another recheck is watching") && words.contains("hint:"), "{words}");
}

#[test]
fn check_tells_all_problems_at_once() {
    let recheck = Recheck::new("[level.low]\nlimit = 200\nrings = \"never\"\n[wearer2]\n");
    let checked = recheck.say(&["check"]);
    let words = String::from_utf8_lossy(&checked.stderr).into_owned();
    assert_eq!(checked.status.code(), Some(1));
    for wanted in [
        "recheck.toml:",
        "there would be no low alert",
        "level.low.limit 200 is not below level.high.limit 180",
        "there is no setting \"wearer2\"",
        "did you mean \"wearer\"?",
        "there is no channel: no alert could reach you",
    ] {
        assert!(words.contains(wanted), "{wanted}\nis not in\n{words}");
    }
}

/// A file is inspected by the settings of the source that reads it. What was found can be pasted, and does
/// not tie the source to a zone that nobody chose for it.
#[test]
fn inspect_goes_by_the_source_that_reads_the_file() {
    let channel = webhook("http://127.0.0.1:9/");
    let recheck =
        Recheck::new(&format!("glucose = [\"stored\", \"scanned\"]\n\n[source.a]\nfolder = \"/nowhere\"\n\n{channel}"));
    let file = recheck.exports().join("scans.csv");
    fs::write(&file, "time,stored,scanned\n2026-03-02 14:00,120,\n2026-03-02 14:07,,118\n").unwrap();
    let inspected = recheck.say(&["inspect", file.to_str().unwrap()]);
    let words = String::from_utf8_lossy(&inspected.stdout).into_owned();
    assert!(inspected.status.success() && words.contains("\n[source.sensor]\n"), "{inspected:?}");
    assert!(words.contains("\n# timezone = \"UTC\" "), "{words}");
    let own = recheck.say(&["inspect", file.to_str().unwrap(), "--set", "source.sensor.timezone=Asia/Tokyo"]);
    let words = String::from_utf8_lossy(&own.stdout).into_owned();
    assert!(words.contains("\ntimezone = \"Asia/Tokyo\"\n"), "{words}");
    // Beside every source's folder the first counts, unless another is tried.
    let other = recheck.state().join("other.csv");
    fs::create_dir_all(recheck.state()).unwrap();
    fs::copy(&file, &other).unwrap();
    let asked = recheck.say(&["inspect", other.to_str().unwrap()]);
    assert_eq!(asked.status.code(), Some(3), "{asked:?}");
    let tried = "source.sensor.unit=mg/dL";
    assert!(recheck.say(&["inspect", other.to_str().unwrap(), "--set", tried]).status.success());
}

/// The replay's lines are a contract: every key on every line, and only the seven events.
#[test]
fn replay_prints_the_lines_that_are_promised() {
    let recheck = Recheck::new(&webhook("http://127.0.0.1:9/"));
    let values: Vec<f64> =
        [100.0, 90.0, 80.0, 60.0, 50.0, 60.0, 80.0].into_iter().chain([120.0; 12]).chain([230.0; 40]).collect();
    let file = recheck.exports().join("past.csv");
    fs::write(&file, table("glucose_value_mg_dl", &rows_until(1_772_460_000, &values))).unwrap();
    let replayed = recheck.say(&[
        "replay",
        file.to_str().unwrap(),
        "--json",
        "--timezone",
        "Europe/Madrid",
        "--set",
        "level.low.limit=72",
    ]);
    assert!(replayed.status.success(), "{replayed:?}");
    let keys = [
        "file",
        "at",
        "event",
        "id",
        "part_of",
        "condition",
        "priority",
        "glucose_mg_dl",
        "reading_at",
        "reason",
        "rings",
        "to",
        "title",
        "outcome",
        "message",
        "beyond",
    ];
    let mut events = std::collections::BTreeSet::new();
    for line in String::from_utf8(replayed.stdout).unwrap().lines() {
        let object: serde_json::Map<String, serde_json::Value> = serde_json::from_str(line).unwrap();
        assert_eq!(object.len(), keys.len(), "{line}");
        assert!(keys.iter().all(|key| object.contains_key(*key)), "{line}");
        assert!(object["at"].as_str().unwrap().ends_with("+01:00"), "{line}");
        events.insert(object["event"].as_str().unwrap().to_owned());
    }
    let known = ["raised", "repeated", "ended", "held", "withheld", "look", "prompt", "escalated"];
    assert!(events.iter().all(|event| known.contains(&event.as_str())), "{events:?}");
    assert!(["raised", "ended", "prompt"].iter().all(|event| events.contains(*event)), "{events:?}");
}

/// A fault in the engine: the wearer is told, the reading is kept, and the next start does not meet it again.
#[test]
fn a_fault_inside_is_told_and_met_once() {
    let receiver = Receiver::start();
    let home = tempfile::tempdir().unwrap();
    let exports = home.path().join("exports");
    fs::create_dir(&exports).unwrap();
    let text = super::real::settings(&exports, &webhook(&receiver.url()));
    let file = exports.join("day.csv");
    fs::write(&file, table("glucose", &rows_until(now_seconds() - 60, &[90.0, 77.0]))).unwrap();
    let start = |fault: Option<fn(&Event)>, listener| {
        let settings = settings(&text, None, &[], Purpose::Watch, Zone::UTC).unwrap();
        let folder = home.path().join("state");
        Daemon::start(Plan {
            settings,
            folder,
            clock: Clock::real(),
            mark: None,
            stdin: false,
            listener,
            before_judging: fault,
        })
        .unwrap()
    };
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    let stopped = runtime.block_on(async {
        let mut daemon = start(
            Some(|event| {
                let Event::Readings { rows, .. } = event else { return };
                assert!(rows.iter().all(|row| row.glucose.hundredths() != 7_700), "a fault made on purpose");
            }),
            None,
        );
        daemon.run(tokio::time::sleep(Duration::from_secs(20))).await
    });
    assert_eq!(stopped, Stopped::Broken);
    let told: Vec<String> =
        receiver.got().iter().filter_map(|got| got.body["title"].as_str().map(str::to_owned)).collect();
    assert_eq!(told, ["Alerts are not working. Use the sensor's own"]);
    let kept = Store::look(&home.path().join("state")).unwrap().unwrap().newest_readings().unwrap();
    assert_eq!(kept[0].0.glucose.hundredths(), 7_700, "the reading is kept as history");
    // The next start goes on: the reading is not judged again, and a new one is.
    fs::write(exports.join("more.csv"), table("glucose", &[(now_seconds(), 64.0)])).unwrap();
    // A child that another test is just starting holds a copy of the lock until it is another program.
    wait_for("the lock to be free", || fs::File::open(home.path().join("state").join("lock")).unwrap().try_lock().ok());
    let (listener, mut heard) = tokio::sync::mpsc::unbounded_channel();
    let stopped = runtime.block_on(async {
        let mut daemon = start(None, Some(listener));
        daemon.run(tokio::time::sleep(Duration::from_secs(2))).await
    });
    assert_eq!(stopped, Stopped::InOrder);
    let mut judged = Vec::new();
    while let Ok(heard) = heard.try_recv() {
        if let Heard::Decided(_, decision) = heard {
            judged.push((decision.condition, decision.glucose.map(recheck::domain::glucose::Glucose::hundredths)));
        }
    }
    assert_eq!(judged, [(Condition::Low, Some(6_400))]);
}

/// A low that was over before a failing way could bring it is told when that way works again.
#[test]
fn what_came_too_late_is_told_in_one_line() {
    let receiver = Receiver::start();
    let quick = "[level.low]\ndeadband = 0\noff_delay = \"0m\"\nagain_quiet = \"0m\"\n";
    let mut recheck = Recheck::new(&format!("{quick}\n{}", webhook(&receiver.url())));
    recheck.watch_after_an_hour_in_range();
    receiver.answer_next(&[500, 500]);
    let now = now_seconds();
    recheck.drop_rows("one.csv", "glucose", &[(now - 120, 62.0)]);
    receiver.wait_for("low", 1);
    recheck.drop_rows("two.csv", "glucose", &[(now - 60, 92.0)]);
    wait_for("the low to end", || recheck.status().filter(|status| status["alerts"] == serde_json::json!([])));
    // Below 60 it rings whatever rang just before (promise L2).
    recheck.drop_rows("three.csv", "glucose", &[(now, 59.0)]);
    let missed = wait_for("the word of what was missed", || {
        receiver.got().into_iter().find(|got| got.body["what"] == "missed" && got.answered == Some(200))
    });
    assert_eq!(missed.body["title"].as_str().unwrap().split(',').next(), Some("While this way was down: Low 62"));
}
