//! Notes that are asked about, and bad input, at the keyboard: the question comes before anything else, is answered by a
//! word, and every error says what to do. Needs no part beyond the program itself.

use super::real::{Recheck, webhook};
use std::process::Output;

const NOWHERE: &str = "http://127.0.0.1:9/";

fn words(done: &Output) -> String {
    format!("{}{}", String::from_utf8_lossy(&done.stdout), String::from_utf8_lossy(&done.stderr))
}

#[test]
fn a_dose_far_from_usual_is_asked_about_first_and_said_to_be_meant_once() {
    let mut recheck = Recheck::new(&webhook(NOWHERE));
    recheck.watch();
    let said = |arguments: &[&str]| {
        let done = recheck.say(arguments);
        (done.status.code(), words(&done))
    };
    let (code, asked) = said(&["note", "insulin", "40", "supper"]);
    let question = asked.find("Was this meant?").unwrap_or_else(|| panic!("{asked}"));
    assert!(code == Some(0) && question < asked.find("Noted: insulin 40 U supper").unwrap(), "{asked}");
    assert!(asked.contains("`recheck diary meant`"), "{asked}");
    assert_eq!(said(&["diary", "meant", "1"]).0, Some(0));
    let (code, again) = said(&["diary", "meant"]);
    assert!(code == Some(3) && again.contains("No dose is in question"), "{again}");
    // What was deleted is in question no more.
    said(&["note", "insulin", "44"]);
    said(&["diary", "delete", "2"]);
    assert_eq!(said(&["diary", "meant"]).0, Some(3));
}

#[test]
fn ketones_of_urine_and_everyday_words_are_kept_as_they_were_meant() {
    let mut recheck = Recheck::new(&webhook(NOWHERE));
    recheck.watch();
    for (typed, kept) in [
        (&["note", "ketones", "urine", "large"][..], "ketones large in urine"),
        (&["note", "ketones", "HI"], "ketones HI mmol/L"),
        (&["note", "food", "40", "rice"], "carbohydrate 40 g rice"),
        (&["note", "basal", "14"], "long-acting 14 U"),
        (&["note", "set", "left side"], "site left side"),
    ] {
        let done = recheck.say(typed);
        assert!(done.status.success() && words(&done).contains(kept), "{typed:?}: {done:?}");
    }
    let done = recheck.say(&["note", "wrong-insulin", "14"]);
    assert!(words(&done).starts_with("Rapid insulin instead of long-acting"), "{done:?}");
    assert!(words(&done).contains("call your care team now"), "{done:?}");
    let done = recheck.say(&["note", "sensor", "start"]);
    assert!(words(&done).contains("How long until its first value?"), "{done:?}");
}

#[test]
fn bad_input_is_an_error_with_a_hint() {
    let recheck = Recheck::new(&webhook(NOWHERE));
    for (typed, code) in [
        (&["note"][..], 2),
        (&["notes", "insulin"], 2),
        (&["note", "tea", "2"], 1),
        (&["note", "ketones", "some"], 1),
        (&["note", "meter", "high"], 1),
        (&["diary", "meant", "7"], 1),
        (&["diary", "means"], 1),
        (&["treated", "both"], 1),
    ] {
        let done = recheck.say(typed);
        let said = words(&done);
        let is_told = said.contains("error: ") && said.contains("hint: ");
        assert!(done.status.code() == Some(code) && is_told, "{typed:?}: {done:?}");
    }
}
