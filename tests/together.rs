//! `recheck replay --together`: one person's readings and diary as one life; and the keys of `--json` that say what
//! rings, for whom, and with which title.

use super::open_data::folder;
use super::real::{Recheck, need, table, tool};
use recheck::domain::diary::Kind;
use recheck::domain::glucose::Glucose;
use recheck::domain::local::Zone;
use recheck::domain::time::{Span, Timestamp};
use recheck::domain::written::{Entry, Written};
use recheck::engine::effect::{Audience, Condition, Decision, Id, Priority, What};
use recheck::engine::event::{Cause, Event};
use recheck::engine::reason::Reason;
use recheck::formats::rows::Row;
use recheck::outbox::reached::reached;
use recheck::replay::answers::Act;
use recheck::replay::together::Together;
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::fs;
use std::process::Output;

/// 2026-03-02, midnight in UTC.
const START: i64 = 1_772_409_600;

/// The baker's day begins at two; somebody who may be called sleeps above the shop.
fn bakery() -> Recheck {
    let channels = "[channel.phone]\nkind = \"webhook\"\nurl = \"http://127.0.0.1:9/\"\n\
                    [channel.above]\nkind = \"webhook\"\nurl = \"http://127.0.0.1:9/above\"\n\
                    [person.sam]\norder = 1\nchannels = \"above\"\n";
    Recheck::new(channels)
}

/// A file of the folder, by its name.
fn write(recheck: &Recheck, name: &str, text: &str) -> String {
    let path = recheck.exports().join(name);
    fs::write(&path, text).unwrap();
    path.to_str().unwrap().to_owned()
}

/// Five minutes a reading, from this minute of the day on.
fn readings(from: i64, values: &[f64]) -> String {
    let at = |step: usize| START + from * 60 + 300 * i64::try_from(step).unwrap();
    let rows: Vec<(i64, f64)> = values.iter().enumerate().map(|(step, value)| (at(step), *value)).collect();
    table("glucose_value_mg_dl", &rows)
}

fn diary(lines: &[&str]) -> String {
    lines.iter().fold("time,kind,amount,unit,note\n".to_owned(), |text, line| text + line + "\n")
}

fn replay(recheck: &Recheck, arguments: &[&str]) -> Output {
    recheck.say(&[&["replay"], arguments].concat())
}

fn words(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}

fn lines(recheck: &Recheck, arguments: &[&str]) -> Vec<Value> {
    let done = replay(recheck, &[arguments, &["--json"]].concat());
    assert!(done.status.success(), "{done:?}");
    let text = String::from_utf8(done.stdout).unwrap();
    text.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

/// Lines with these values.
fn with<'a>(lines: &'a [Value], wanted: &[(&str, &str)]) -> Vec<&'a Value> {
    lines.iter().filter(|line| wanted.iter().all(|(key, value)| line[*key] == *value)).collect()
}

fn clock(line: &Value) -> &str {
    &line["at"].as_str().unwrap()[11..19]
}

const KEYS: [&str; 16] = [
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

/// A low of an hour, after an hour within range and before two more.
fn low() -> Vec<f64> {
    [vec![100.0; 12], vec![64.0; 12], vec![110.0; 24]].concat()
}

/// A high that is treated and comes down slowly.
fn high() -> Vec<f64> {
    let up = (0..12).map(|step| 120.0 + 12.0 * f64::from(step));
    let stays = std::iter::repeat_n(264.0, 30);
    let down = (0..30).map(|step| 260.0 - 5.0 * f64::from(step));
    up.chain(stays).chain(down).collect()
}

#[test]
fn every_line_has_every_key_in_the_order_of_the_document() {
    let recheck = bakery();
    let file = write(&recheck, "day.csv", &readings(0, &[low(), high()].concat()));
    let document = include_str!("../docs/replay.md");
    let table = document.split("## `--json`").nth(1).unwrap().split("\n| event |").next().unwrap();
    let documented: Vec<&str> = table.lines().filter_map(|line| line.strip_prefix("| `")?.split('`').next()).collect();
    assert_eq!(documented, KEYS);
    for arguments in [&[&file[..], "--json"][..], &[&file, "--json", "--together"]] {
        let done = replay(&recheck, arguments);
        let text = String::from_utf8(done.stdout).unwrap();
        assert!(text.lines().count() > 10, "{text}");
        for line in text.lines() {
            let mut rest = line;
            for key in KEYS {
                let place = rest.find(&format!("\"{key}\":")).unwrap_or_else(|| panic!("{key} in {line}"));
                rest = &rest[place + 1..];
            }
            let object: Value = serde_json::from_str(line).unwrap();
            assert_eq!(object.as_object().unwrap().len(), KEYS.len(), "{line}");
            assert!(object["rings"].is_boolean() && object["to"].is_array(), "{line}");
            let sent = !object["message"].is_null();
            assert_eq!((sent, sent), (!object["title"].is_null(), !object["to"].as_array().unwrap().is_empty()));
            assert!(sent || object["rings"] == false, "{line}");
        }
    }
}

/// Numbers go up by one, each message rings once, and all its lines have its title and its person.
#[test]
fn a_message_rings_once() {
    let recheck = bakery();
    let file = write(&recheck, "day.csv", &readings(0, &[low(), high(), low(), low()].concat()));
    for arguments in [&[&file[..]][..], &[&file, "--together"]] {
        let all = lines(&recheck, arguments);
        let mut messages: BTreeMap<u64, Vec<&Value>> = BTreeMap::new();
        for line in all.iter().filter(|line| !line["message"].is_null()) {
            messages.entry(line["message"].as_u64().unwrap()).or_default().push(line);
        }
        assert!(messages.len() > 5, "{messages:?}");
        assert!(messages.keys().copied().eq(1..=u64::try_from(messages.len()).unwrap()), "{messages:?}");
        for of in messages.values() {
            let rings: Vec<bool> = of.iter().map(|line| line["rings"].as_bool().unwrap()).collect();
            assert!(rings[0] && rings[1..].iter().all(|rings| !rings), "{of:?}");
            assert!(of.iter().all(|line| line["title"] == of[0]["title"] && line["to"] == of[0]["to"]), "{of:?}");
            assert!(of.iter().all(|line| line["at"] == of[0]["at"]), "{of:?}");
        }
    }
}

fn decision(what: What, id: u64, to: Audience) -> Decision {
    Decision {
        what,
        id: Id(id),
        part_of: None,
        condition: Condition::Low,
        priority: Priority::Medium,
        rings: what != What::Ended,
        glucose: None,
        reading_at: None,
        rate: None,
        doubt: None,
        after_low: None,
        insulin: None,
        mode: None,
        also: Vec::new(),
        to,
        reason: Reason::ConditionGone,
    }
}

/// As the outbox does it: a later message of a thread takes the place of one that is not sent yet, and the end of an
/// alert takes back what is not.
#[test]
fn what_one_person_gets_of_one_instant() {
    let (wearer, sam) = (Audience::Wearer, Audience::Person(0));
    let arrives = |all: &[(What, u64, Audience)]| {
        let all: Vec<Decision> = all.iter().map(|(what, id, to)| decision(*what, *id, *to)).collect();
        reached(&all.iter().collect::<Vec<_>>())
    };
    let (raised, called, ended, told) = (What::Raised, What::Called, What::Ended, What::Told);
    assert_eq!(arrives(&[(raised, 1, wearer), (called, 1, sam), (raised, 2, wearer)]), [Some(0), Some(1), Some(2)]);
    assert_eq!(arrives(&[(raised, 1, wearer), (raised, 1, wearer)]), [Some(1), Some(1)]);
    assert_eq!(arrives(&[(told, 0, wearer), (told, 0, wearer)]), [Some(0), Some(1)], "without a thread");
    assert_eq!(arrives(&[(raised, 1, wearer), (ended, 1, wearer), (raised, 2, wearer)]), [None, None, Some(2)]);
    assert_eq!(arrives(&[(told, 1, sam), (ended, 1, wearer)]), [Some(0), None]);
}

/// A low that nobody answers calls somebody; one that is seen does not, and it is said what came of it.
#[test]
fn people_are_called_and_answers_count() {
    let recheck = bakery();
    let file = write(&recheck, "day.csv", &readings(0, &low()));
    let alone = lines(&recheck, &[&file]);
    assert!(alone.iter().all(|line| line["event"] != "called" && line["file"] == file[..]), "{alone:?}");
    let unanswered = lines(&recheck, &[&file, "--together"]);
    let called = with(&unanswered, &[("event", "called")]);
    assert!(!called.is_empty(), "{unanswered:?}");
    for line in &called {
        assert_eq!((&line["to"], &line["rings"]), (&serde_json::json!(["sam"]), &true.into()));
        assert!(line["title"].as_str().unwrap().contains("64"), "{line}");
    }
    assert!(unanswered.iter().all(|line| line["file"].is_null()));

    let seen = diary(&["2026-03-02 01:04,seen,,,", "2026-03-02 01:06,treated,low,,", "2026-03-02 03:50,seen,,,"]);
    let seen = write(&recheck, "said.csv", &seen);
    let answered = lines(&recheck, &[&file, &seen, "--together"]);
    let answers: Vec<(&str, &str)> = with(&answered, &[("event", "answer")])
        .iter()
        .map(|line| (clock(line), line["reason"].as_str().unwrap()))
        .collect();
    assert_eq!(answers, [("01:04:59", "marked_seen"), ("01:06:59", "looks_planned"), ("03:50:59", "marked_seen")]);
    assert!(with(&answered, &[("event", "escalated")]).is_empty(), "{answered:?}");
    let looks = with(&answered, &[("condition", "recheck_low"), ("event", "look")]);
    assert!(!looks.is_empty() && looks.iter().all(|line| line["outcome"].is_null()), "{answered:?}");

    let object = |arguments: &[&str]| -> Value {
        let done = replay(&recheck, &[arguments, &["--together", "--summary"]].concat());
        assert!(done.status.success(), "{done:?}");
        serde_json::from_slice(&done.stdout).unwrap()
    };
    let (with_answers, without) = (object(&[&file, &seen]), object(&[&file]));
    assert_eq!((&with_answers["replayed"], &with_answers["files"]), (&"together".into(), &2.into()));
    assert_eq!(
        (&with_answers["answers_given"], &with_answers["answers_without_alert"]),
        (&3.into(), &1.into()),
        "all was over"
    );
    assert_eq!(without["answers_given"], 0);
    let low = |of: &Value| of["conditions"]["low"]["heard_per_night"].as_f64().unwrap();
    assert!(low(&with_answers) < low(&without), "{with_answers}");
    let two = object(&[&file, &seen, "--against", "level.low.limit=60"]);
    let mut first = two["first"].clone();
    first["conditions"].as_object_mut().unwrap().retain(|name, _| !with_answers["conditions"][name].is_null());
    assert_eq!(first, with_answers);
    assert_eq!(
        (&two["other"]["answers_given"], &two["difference"]["conditions"]["low"]["episodes"]),
        (&3.into(), &(-1).into())
    );
    let table = replay(&recheck, &[&file, &seen, "--together"]);
    let table = String::from_utf8(table.stdout).unwrap();
    assert!(table.contains(" days covered, in 2 files\nTaken for one person, with the answers"), "{table}");
    assert!(table.contains("answers that were given"), "{table}");
    assert!(table.lines().all(|line| line.chars().count() <= 80), "{table}");
}

/// Insulin noted while high plans looks, and each says what it found.
#[test]
fn insulin_is_looked_at_again() {
    let recheck = bakery();
    let file = write(&recheck, "day.csv", &readings(12 * 60, &high()));
    let said = write(&recheck, "said.csv", &diary(&["2026-03-02 13:10,insulin,4,U,", "2026-03-02 13:11,seen,,,"]));
    let all = lines(&recheck, &[&file, &said, "--together"]);
    let planned = with(&all, &[("reason", "looks_planned")]);
    assert_eq!(planned.iter().map(|line| clock(line)).collect::<Vec<_>>(), ["13:10:59"]);
    let looks = with(&all, &[("condition", "recheck_high"), ("event", "look")]);
    let found: Vec<&str> = looks.iter().filter_map(|line| line["outcome"].as_str()).collect();
    assert!(looks.len() > 2 && found.len() == looks.len(), "{looks:?}");
    assert!(found.contains(&"no_response") && found.contains(&"coming_down"), "{found:?}");
    let document = include_str!("../docs/insulin.md");
    for line in &all {
        if let Some(word) = line["outcome"].as_str() {
            assert!(document.contains(&format!("| `{word}` |")), "{word}");
            assert_eq!(line["condition"], "recheck_high", "{line}");
        }
    }
    let asked = with(&all, &[("condition", "recheck_high"), ("event", "prompt")]);
    assert!(asked.iter().any(|line| line["rings"] == true && line["outcome"] == "no_response"), "{asked:?}");
    assert!(lines(&recheck, &[&file]).iter().all(|line| line["outcome"].is_null()), "nothing was treated");
}

/// A time without seconds is known at the end of its minute: what was measured within it comes first.
#[test]
fn a_minute_without_seconds_is_known_at_its_end() {
    let recheck = bakery();
    let rows = "timestamp,glucose_value_mg_dl\n2026-03-02 00:50:30,100\n2026-03-02 00:55:30,90\n2026-03-02 01:00:30,64\n2026-03-02 01:05:30,64\n";
    let file = write(&recheck, "day.csv", rows);
    let answered = |time: &str| {
        let said = write(&recheck, "said.csv", &diary(&[&format!("2026-03-02 {time},treated,,,")]));
        let all = lines(&recheck, &[&file, &said, "--together"]);
        let answer = with(&all, &[("event", "answer")]);
        assert_eq!(answer.len(), 1, "{all:?}");
        (answer[0]["at"].as_str().unwrap()[11..].to_owned(), answer[0]["reason"].as_str().unwrap().to_owned())
    };
    // The low is raised on the reading of 01:00:30.
    assert_eq!(answered("01:00"), ("01:00:59+00:00".to_owned(), "looks_planned".to_owned()));
    assert_eq!(answered("01:00:30").1, "looks_planned", "a reading of the same time comes first");
    assert_eq!(answered("01:00:29").1, "which_one", "nothing was there yet");
}

/// Two sources, each silent by itself; a name that the settings know is as they say.
#[test]
fn a_file_may_be_of_a_source() {
    let recheck = bakery();
    let steady = vec![120.0; 36];
    let (left, right) = (readings(0, &steady), readings(2, &steady[..12]));
    let (left, right) = (write(&recheck, "left.csv", &left), write(&recheck, "right.csv", &right));
    let gaps = |arguments: &[&str]| {
        let all = lines(&recheck, &[arguments, &["--together"]].concat());
        with(&all, &[("condition", "gap"), ("event", "raised")]).len()
    };
    let (named, other) = (format!("left={left}"), format!("right={right}"));
    assert_eq!(gaps(&[&named, &other]), 1, "the right one falls silent");
    assert_eq!(gaps(&[&left, &right]), 0, "one source goes on");
    let set = ["--set", "source.right.folder=/", "--set", "source.right.kind=history"];
    assert_eq!(gaps(&[&[&named[..], &other], &set[..]].concat()), 0, "its silence is no alert");
    let same = lines(&recheck, &[&left, &left, "--together"]);
    assert_eq!(same, lines(&recheck, &[&left, "--together"]), "doubles between files are dropped");
    // A path that holds the sign is a file where there is one.
    let odd = write(&recheck, "left=arm.csv", &readings(0, &steady));
    assert_eq!(gaps(&[&odd]), 0);
}

/// Three days of nothing are one line at their end, and what would have fallen due in them is not lived.
#[test]
fn a_long_gap_is_one_line() {
    let recheck = bakery();
    let before = [vec![100.0; 12], vec![64.0; 4]].concat();
    let begins = "timestamp,glucose_value_mg_dl\n".len();
    let with_gap = |days: i64| {
        // The last reading before it is that of 12:15.
        let after = readings(12 * 60 + 15 + days * 1_440, &[120.0; 12]);
        let file = write(&recheck, "day.csv", &(readings(11 * 60, &before) + &after[begins..]));
        lines(&recheck, &[&file, "--together"])
    };
    let all = with_gap(3);
    let place = all.iter().position(|line| line["condition"] == "not_watching").unwrap();
    assert_eq!(all[place]["at"], "2026-03-05T12:15:00+00:00");
    assert_eq!((&all[place]["event"], &all[place]["reason"]), (&"told".into(), &"unwatched".into()));
    assert_eq!((&all[place]["rings"], &all[place]["to"]), (&true.into(), &serde_json::json!(["wearer"])));
    assert!(all[..place].iter().all(|line| line["at"].as_str().unwrap() <= "2026-03-02T12:15:00+00:00"), "{all:?}");
    assert!(place > 2 && all[place + 1..].iter().all(|line| line["condition"] != "not_watching"), "{all:?}");
    // A day is lived through: it is a gap, and somebody is called.
    let day = with_gap(1);
    assert!(with(&day, &[("condition", "not_watching")]).is_empty());
    assert_eq!(with(&day, &[("condition", "gap"), ("event", "raised")]).len(), 1);
    assert!(!with(&day, &[("event", "called")]).is_empty(), "{day:?}");
}

#[test]
fn what_is_only_below_the_range_is_no_number() {
    let recheck = bakery();
    let text = readings(0, &[100.0, 80.0, 60.0]) + "2026-03-02 00:15:00,LOW\n2026-03-02 00:20:00,Low\n";
    let file = write(&recheck, "day.csv", &text);
    let all = lines(&recheck, &[&file]);
    let raised = with(&all, &[("condition", "very_low"), ("event", "raised")]);
    assert_eq!(raised.len(), 1, "{all:?}");
    assert_eq!((&raised[0]["beyond"], &raised[0]["glucose_mg_dl"]), (&"below".into(), &Value::Null));
    assert!(raised[0]["title"].as_str().unwrap().contains("below range"), "{raised:?}");
    let low = with(&all, &[("condition", "low"), ("event", "raised")]);
    assert_eq!((&low[0]["beyond"], &low[0]["glucose_mg_dl"]), (&Value::Null, &60.0.into()));
    let text = readings(0, &[200.0, 300.0, 380.0]) + "2026-03-02 00:15:00,HIGH\n2026-03-02 00:20:00,HIGH\n";
    let above = lines(&recheck, &[&write(&recheck, "day.csv", &text), "--set", "level.very_high.limit=390"]);
    assert!(above.iter().any(|line| line["beyond"] == "above" && line["glucose_mg_dl"].is_null()), "{above:?}");
}

/// What is not understood is named with its place, and the rest is lived.
#[test]
fn a_bad_line_is_named_and_a_diary_alone_is_no_life() {
    let recheck = bakery();
    let file = write(&recheck, "day.csv", &readings(0, &low()));
    let bad = diary(&["2026-03-02 01:04,seen,,,", "2026-03-02 01:05,insuline,4,U,", "yesterday,meter,70,,"]);
    let bad = write(&recheck, "said.csv", &bad);
    let done = replay(&recheck, &[&file, &bad, "--together", "--json"]);
    assert!(done.status.success(), "{done:?}");
    let said = words(&done);
    assert!(said.contains("refused: ") && said.contains("said.csv") && said.contains("insuline"), "{said}");
    assert!(said.contains("yesterday"), "{said}");
    assert!(String::from_utf8(done.stdout).unwrap().contains("\"marked_seen\""));

    let done = replay(&recheck, &[&bad, "--together"]);
    assert_eq!(done.status.code(), Some(1), "{done:?}");
    let said = words(&done);
    assert!(said.contains("holds a reading") && said.contains("hint: name the readings beside the diary"), "{said}");
    assert!(done.stdout.is_empty());
    // A life that lacks a file would be another life.
    let done = replay(&recheck, &[&file, "nowhere.csv", "--together", "--json"]);
    assert!(done.status.code() == Some(1) && done.stdout.is_empty(), "{done:?}");
    assert!(words(&done).contains("cannot read nowhere.csv"), "{done:?}");
    assert_eq!(replay(&recheck, &["--together"]).status.code(), Some(2));

    let plain = replay(&recheck, &[&file, &bad, "--json"]);
    let said = words(&plain);
    assert!(plain.status.success() && said.contains("is a diary, and replay reads readings"), "{said}");
    assert!(said.contains("--together"), "{said}");
}

fn at(minute: i64) -> Timestamp {
    Timestamp::from_seconds(START + minute * 60)
}

fn rows(minutes: &[i64], mg_dl: i32) -> Vec<Row> {
    minutes.iter().map(|minute| Row { measured: at(*minute), glucose: Glucose::mg_dl(mg_dl) }).collect()
}

/// Without a diary, and without somebody to be called, it is what the file alone is.
#[test]
fn readings_alone_are_lived_as_a_file_is() {
    use recheck::config::meant::{Purpose, settings};
    let mut rows = super::properties::day(7);
    recheck::replay::run::put_in_order(&mut rows);
    let policy = settings("", None, &[], Purpose::Replay, Zone::UTC).unwrap().policy;
    let mut alone = Vec::new();
    recheck::replay::run::run(policy.clone(), &rows, |at, decision| alone.push((at, decision.clone())));
    let mut together = Vec::new();
    let life = Together::new(std::slice::from_ref(&rows), Vec::new());
    life.live(recheck::replay::run::in_a_file(policy), |at, decision| together.push((at, decision.clone())));
    assert!(alone.len() > 5);
    assert_eq!(alone, together);
}

#[test]
fn lines_come_after_readings_of_their_time_and_once() {
    let noted = |seconds: i64, kind: Kind| {
        let what = Entry::Noted { kind, words: String::new() };
        ("d.csv: line 2".to_owned(), Written { at: at(0) + Span::seconds(seconds), what })
    };
    let insulin = || noted(0, Kind::Insulin(None));
    let life =
        Together::new(&[rows(&[0, 5], 100), rows(&[0], 101)], vec![insulin(), noted(301, Kind::Symptoms), insulin()]);
    let actions: Vec<(i64, Act)> =
        life.actions().iter().map(|action| ((action.at - at(0)).as_millis(), action.act)).collect();
    assert_eq!(actions, [(59_999, Act::Insulin), (301_000, Act::Symptoms)]);
    let sources: Vec<(u16, i32)> =
        life.readings().iter().map(|reading| (reading.source.0, reading.glucose.hundredths())).collect();
    assert_eq!(sources, [(0, 10_000), (1, 10_100), (0, 10_000)]);
    assert_eq!(life.period(), Some((at(0), at(5) + Span::seconds(1))));
    // What a line means is what the daemon makes of it.
    let (whence, written) = insulin();
    let Event::Written { said, .. } = Event::written(&written, &whence, written.end()) else { panic!() };
    assert!(matches!(*said, Event::Noted(note) if note.at == at(0)));
    assert_eq!(Together::default().period(), None);
}

#[test]
fn two_days_are_lived_and_a_moment_more_is_not_watched() {
    use recheck::config::meant::{Purpose, settings};
    let policy = settings("", None, &[], Purpose::Replay, Zone::UTC).unwrap().policy;
    let unwatched = |minute: i64, more: Span| {
        let mut rows = rows(&[0, minute], 120);
        rows[1].measured = rows[1].measured + more;
        let mut found = Vec::new();
        let life = Together::new(&[rows], Vec::new());
        life.live(recheck::replay::run::in_a_file(policy.clone()), |at, decision| {
            if let Reason::Unwatched { from, to, cause } = decision.reason {
                found.push((at, from, to, cause));
            }
        });
        found
    };
    assert_eq!(unwatched(2_880, Span::ZERO), []);
    let end = at(2_880) + Span::millis(1);
    assert_eq!(unwatched(2_880, Span::millis(1)), [(end, at(0), end, Cause::Stopped)]);
}

/// The script that draws answers for a trace without any: shares and times as it says, the same ones again for the same
/// rings, and a diary that is understood.
#[test]
fn drawn_answers_are_a_diary_and_stay() {
    if !need("drawn_answers_are_a_diary_and_stay", &["python3"]) {
        return;
    }
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/docs/replay/draw-answers.py");
    assert!(fs::read_to_string(script).unwrap().lines().count() < 80);
    let recheck = bakery();
    let values: Vec<f64> = (0..12).flat_map(|_| [low(), high()].concat()).collect();
    let file = write(&recheck, "days.csv", &readings(0, &values));
    let told = replay(&recheck, &[&file, "--json"]);
    let told = write(&recheck, "lines.jsonl", &String::from_utf8(told.stdout).unwrap());
    let draw = |arguments: &[&str]| {
        let done = tool("python3").arg(script).arg(&told).args(arguments).output().unwrap();
        assert!(done.status.success(), "{done:?}");
        String::from_utf8(done.stdout).unwrap()
    };
    let count = |text: &str| text.lines().count() - 1;
    let all = lines(&recheck, &[&file]);
    let rings: Vec<&Value> = all.iter().filter(|line| line["rings"] == true && line["event"] != "ended").collect();
    let drawn = draw(&[]);
    assert_eq!(drawn, draw(&[]));
    assert_ne!(drawn, draw(&["--seed", "2"]));
    assert_eq!(count(&draw(&["--by-day", "0", "--by-night", "0"])), 0);
    assert!(rings.len() > 60 && (rings.len() * 4 / 10..rings.len() * 9 / 10).contains(&count(&drawn)), "{drawn}");
    assert!(drawn.contains(",seen,") && drawn.contains(",treated,low") && drawn.contains(",treated,high"), "{drawn}");
    // Whoever answers everything at once does so a minute after each ring.
    let at_once = draw(&["--by-day", "100", "--by-night", "100", "--after", "1", "1", "--treated", "0"]);
    let times: BTreeSet<i64> = rings.iter().map(|line| seconds(&line["at"]) + 60).collect();
    let answers = at_once.lines().skip(1).map(|line| seconds(&line.split(',').next().unwrap().into()));
    assert!(answers.eq(times), "{at_once}");
    let said = write(&recheck, "drawn.csv", &drawn);
    let done = replay(&recheck, &[&file, &said, "--together", "--summary"]);
    assert!(done.status.success() && words(&done).is_empty(), "{done:?}");
    let object: Value = serde_json::from_slice(&done.stdout).unwrap();
    assert_eq!(object["answers_given"].as_u64(), Some(u64::try_from(count(&drawn)).unwrap()));
}

fn seconds(at: &Value) -> i64 {
    chrono::DateTime::parse_from_rfc3339(&at.as_str().unwrap().replace(' ', "T")).unwrap().timestamp()
}

/// What the treated highs of somebody got.
#[derive(Debug, Default)]
struct Treated {
    /// Doses that were noted while high, or headed there.
    doses: usize,
    /// The highs that they were for.
    highs: usize,
    /// Highs without any look.
    unlooked: usize,
    looks: usize,
    /// By the word for what a look found.
    outcomes: BTreeMap<String, usize>,
    /// Questions that were sent.
    asked: usize,
    ketones: usize,
    /// Lows that began within four hours of such a dose.
    lows: usize,
}

impl Treated {
    fn of(all: &[Value]) -> Self {
        let doses = with(all, &[("event", "answer"), ("condition", "recheck_high"), ("reason", "looks_planned")]);
        let looks = with(all, &[("event", "look"), ("condition", "recheck_high")]);
        let looks: Vec<&Value> = looks.into_iter().filter(|line| !line["outcome"].is_null()).collect();
        let asked = with(all, &[("event", "prompt"), ("condition", "recheck_high")]);
        let is_ketones = |line: &Value| line["reason"] == "high_stays";
        let is_of_looks = |line: &Value| !line["outcome"].is_null();
        let asked: Vec<&Value> = asked
            .into_iter()
            .filter(|line| !line["message"].is_null() && (is_of_looks(line) || is_ketones(line)))
            .collect();
        let mut found = Self { doses: doses.len(), looks: looks.len(), asked: asked.len(), ..Self::default() };
        let highs: BTreeSet<u64> = doses.iter().map(|line| line["id"].as_u64().unwrap()).collect();
        found.highs = highs.len();
        found.unlooked = highs.iter().filter(|id| !looks.iter().any(|look| look["id"] == **id)).count();
        for look in &looks {
            *found.outcomes.entry(look["outcome"].as_str().unwrap().to_owned()).or_default() += 1;
        }
        found.ketones = asked.iter().filter(|line| is_ketones(line)).count();
        let soon = |low: &Value| {
            doses.iter().any(|dose| (0..=4 * 3_600).contains(&(seconds(&low["at"]) - seconds(&dose["at"]))))
        };
        let lows = all.iter().filter(|line| line["event"] == "raised" && line["part_of"].is_null());
        found.lows = lows
            .filter(|line| line["condition"] == "low" || line["condition"] == "very_low")
            .filter(|line| soon(line))
            .count();
        found
    }

    fn row(&self, person: &str) -> String {
        let mut row = format!("| {person} | {} | {} | {} | {} |", self.highs, self.doses, self.unlooked, self.looks);
        for outcome in ["down", "coming_down", "slow", "no_response", "falling_too_fast", "unseen"] {
            write!(row, " {} |", self.outcomes.get(outcome).copied().unwrap_or_default()).unwrap();
        }
        write!(row, " {} | {} | {} |", self.asked, self.ketones, self.lows).unwrap();
        row
    }
}

/// Six people's real doses, meals and finger-pricks, each person's days as one life from their beginning to their end.
/// Prints the table of docs/together-measured.md, which has to hold it.
#[test]
fn treated_highs_of_real_people_are_looked_at() {
    let Some(folder) = folder("treated_highs_of_real_people_are_looked_at") else { return };
    let folder = folder.join("shanghai-t1dm");
    let mut readings: Vec<_> = fs::read_dir(&folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    readings.retain(|path| path.to_str().unwrap().ends_with("-glucose.csv"));
    readings.sort();
    assert_eq!(readings.len(), 6);
    let recheck = bakery();
    let document = include_str!("../docs/together-measured.md");
    let (mut sum, mut refused, mut lacks) = (Treated::default(), 0, Vec::new());
    for (number, readings) in (1..).zip(&readings) {
        let readings = readings.to_str().unwrap();
        let diary = readings.replace("-glucose.csv", "-diary.csv");
        let arguments = [readings, &diary, "--together", "--set", "wearer.insulin=regular"];
        let done = replay(&recheck, &[&arguments[..], &["--summary"]].concat());
        assert!(done.status.success(), "{done:?}");
        refused += words(&done).lines().filter(|line| line.starts_with("refused: ")).count();
        let all = lines(&recheck, &arguments);
        let found = Treated::of(&all);
        let row = found.row(&number.to_string());
        eprintln!("{row}");
        lacks.extend((!document.contains(&row)).then_some(row));
        sum.doses += found.doses;
        sum.highs += found.highs;
        sum.unlooked += found.unlooked;
        sum.looks += found.looks;
        sum.asked += found.asked;
        sum.ketones += found.ketones;
        sum.lows += found.lows;
        for (outcome, count) in found.outcomes {
            *sum.outcomes.entry(outcome).or_default() += count;
        }
    }
    assert_eq!(refused, 1, "one finger-prick could be of either unit");
    let row = sum.row("all");
    eprintln!("{row}\nwithout a look: {}", sum.unlooked);
    lacks.extend((!document.contains(&row)).then_some(row));
    assert!(lacks.is_empty(), "docs/together-measured.md lacks\n{}", lacks.join("\n"));
}
