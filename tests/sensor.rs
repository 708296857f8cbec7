//! What the wearer says of their sensor, through the running program: which signal counts, a new sensor, a
//! scan. Needs no part beyond the program itself.

use super::real::{Receiver, Recheck, now_seconds, rows_until, wait_for, webhook};

fn said(recheck: &Recheck, words: &[&str]) -> String {
    let output = recheck.say(words);
    format!("{}{}", String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr))
}

fn note_on_source(recheck: &Recheck) -> String {
    let status = recheck.status().unwrap();
    status["sources"][0]["note"].as_str().unwrap_or_default().to_owned()
}

/// A file in which two signals alternate: told once by its own name, chosen from by a value, and open again.
#[test]
fn two_signals_are_told_and_chosen_from() {
    let receiver = Receiver::start();
    let mut recheck = Recheck::new(&webhook(&receiver.url()));
    let values = [248.0, 110.0, 247.0, 111.0, 246.0, 112.0, 245.0];
    let now = now_seconds();
    recheck.drop_rows("day.csv", "glucose", &rows_until(now - 60, &values));
    recheck.watch();
    let told = receiver.wait_for("two_signals", 1);
    assert_eq!(told[0].body["title"], "Two signals: 112 and 245. Check with a meter");
    assert!(said(&recheck, &["trust", "nobody"]).contains("\"nobody\" is no source"));
    let answer = said(&recheck, &["trust", "240"]);
    assert!(answer.contains("The signal at 245 counts, the one at 112 does not."), "{answer}");
    assert!(note_on_source(&recheck).contains("of two signals the one at 245 counts"));
    // The other one is kept as history, and judged no more.
    recheck.drop_rows("next.csv", "glucose", &[(now, 50.0)]);
    wait_for("the next value", || (recheck.counted("taken") == 8).then_some(()));
    assert!(receiver.about("very_low").is_empty());
    let answer = said(&recheck, &["trust", "all"]);
    assert!(answer.contains("All readings count."), "{answer}");
    recheck.drop_rows("after.csv", "glucose", &[(now + 1, 50.0)]);
    receiver.wait_for("very_low", 1);
    assert_eq!(receiver.about("two_signals").len(), 1, "told once");
}

#[test]
fn a_new_sensor_and_a_scan_are_noted() {
    let mut recheck =
        Recheck::new(&format!("kind = \"scanned\"\nlife = \"10d\"\n\n{}", webhook("http://127.0.0.1:9/")));
    recheck.drop_rows("day.csv", "glucose", &rows_until(now_seconds() - 60, &[110.0, 111.0, 112.0]));
    recheck.watch();
    wait_for("the rows", || (recheck.counted("taken") == 3).then_some(()));
    assert!(note_on_source(&recheck).contains("asks for a scan "), "{}", note_on_source(&recheck));
    let answer = said(&recheck, &["note", "sensor", "start"]);
    assert!(
        answer.contains("Its silence is no alert until") && answer.contains("you are told the evening before"),
        "{answer}"
    );
    assert!(note_on_source(&recheck).contains("warms up until "), "{}", note_on_source(&recheck));
    let answer = said(&recheck, &["note", "scan"]);
    assert!(answer.contains("Noted: scan, at "), "{answer}");
    let answer = said(&recheck, &["note", "sensor", "stop", "leg"]);
    assert!(answer.contains("There is no such source. There are: sensor."), "{answer}");
    let answer = said(&recheck, &["note", "sensor", "stop", "sensor"]);
    assert!(answer.contains("Sensor off."), "{answer}");
    assert!(note_on_source(&recheck).contains("its sensor is off"), "{}", note_on_source(&recheck));
    assert!(!note_on_source(&recheck).contains("asks for a scan"), "{}", note_on_source(&recheck));
}
