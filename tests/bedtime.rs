//! The line before sleep: its text word for word, and the clocks it follows.

use chrono::DateTime;
use recheck::domain::diary::{Amount, Kind, Note};
use recheck::domain::glucose::Glucose;
use recheck::domain::local::{TimeOfDay, Zone};
use recheck::domain::mode::{Mode, Wish};
use recheck::domain::reading::{Reading, SourceId};
use recheck::domain::time::{Span, Timestamp};
use recheck::engine::Engine;
use recheck::engine::effect::{Condition, Decision, Side};
use recheck::engine::event::{Cause, Event, Which};
use recheck::engine::policy::{Policy, SourceKind, SourcePolicy};
use recheck::wording::text::text;

fn at(stamp: &str) -> Timestamp {
    Timestamp::from_millis(DateTime::parse_from_rfc3339(stamp).unwrap().timestamp_millis())
}

fn policy(zone: &str, bedtime: &str, kind: SourceKind) -> Policy {
    let bedtime = TimeOfDay::parse(bedtime);
    assert!(bedtime.is_some());
    Policy { bedtime, sources: vec![SourcePolicy::new("sensor", kind)], ..Policy::new(Zone::named(zone).unwrap()) }
}

/// Ticks come when the engine wants them, then what happens.
fn live(engine: &mut Engine, event: &Event, now: Timestamp) -> Vec<(Timestamp, Decision)> {
    let mut told = Vec::new();
    while let Some(due) = engine.next_deadline().filter(|due| *due < now) {
        told.extend(engine.handle(&Event::Tick, due).into_iter().map(|decision| (due, decision)));
    }
    told.extend(engine.handle(event, now).into_iter().map(|decision| (now, decision)));
    told.retain(|(_, decision)| decision.condition == Condition::Bedtime);
    told
}

fn reads(now: Timestamp, value: i32) -> Event {
    let rows = vec![Reading { source: SourceId(0), measured: now, glucose: Glucose::mg_dl(value) }];
    Event::Readings { rows, first_sight: false }
}

fn noted(at: Timestamp, kind: Kind) -> Event {
    Event::Noted(Note { at, kind, words: String::new() })
}

#[test]
fn five_short_lines_say_all_there_is_and_no_amount() {
    let mut engine = Engine::new(policy("UTC", "22:45", SourceKind::Scanned));
    let evening = at("2026-03-02T22:45:00Z");
    live(&mut engine, &reads(evening - Span::hours(23), 120), evening - Span::hours(23));
    let slept =
        Event::Unwatched { from: at("2026-03-02T00:40:00Z"), to: at("2026-03-02T06:50:00Z"), cause: Cause::Slept };
    live(&mut engine, &slept, at("2026-03-02T06:50:00Z"));
    // A shorter sleep of the same night, and one of an afternoon, are not the one to name.
    let nap =
        Event::Unwatched { from: at("2026-03-02T06:51:00Z"), to: at("2026-03-02T07:05:00Z"), cause: Cause::Slept };
    live(&mut engine, &nap, at("2026-03-02T07:05:00Z"));
    let after =
        Event::Unwatched { from: at("2026-03-02T13:00:00Z"), to: at("2026-03-02T20:00:00Z"), cause: Cause::Slept };
    live(&mut engine, &after, at("2026-03-02T20:00:00Z"));
    let dose = Kind::Insulin(Amount::parse("4.5"));
    live(&mut engine, &noted(at("2026-03-02T19:10:00Z"), dose), at("2026-03-02T20:01:00Z"));
    live(&mut engine, &noted(at("2026-03-02T17:30:00Z"), Kind::Exercise), at("2026-03-02T20:02:00Z"));
    let drinks = Wish::Begin { mode: Mode::Alcohol, span: None };
    live(&mut engine, &Event::Mode { wish: drinks, at: at("2026-03-02T21:00:00Z") }, at("2026-03-02T21:00:00Z"));
    for minute in [30, 25, 20, 15, 10] {
        live(
            &mut engine,
            &reads(evening - Span::minutes(minute), 130 + i32::try_from(minute).unwrap()),
            evening - Span::minutes(minute),
        );
    }
    let told = live(&mut engine, &Event::Tick, evening);
    let [(now, decision)] = told.as_slice() else { panic!("{told:?}") };
    assert!(decision.rings);
    let said = text(decision, engine.policy(), *now);
    assert_eq!(said.title, "Bedtime: 140, falling, 22:35");
    assert_eq!(
        said.body,
        "140 mg/dL at 22:35, falling, -1.0 mg/dL/min. 10 min ago.\n\
         Insulin noted 19:10, 3 h 35 min ago.\n\
         Noted: exercise 17:30, alcohol 21:00.\n\
         The sensor's memory is full Tue 06:35.\n\
         This computer slept last night from 00:40 to 06:50: not watching while it sleeps."
    );
    assert!(!said.body.contains("4.5"));
}

#[test]
fn nothing_fresh_an_open_low_and_a_full_memory_are_said_plainly() {
    let mut engine = Engine::new(policy("UTC", "22:45", SourceKind::Scanned));
    let scanned = at("2026-03-02T14:00:00Z");
    live(&mut engine, &reads(scanned, 62), scanned);
    let told = live(&mut engine, &Event::Tick, at("2026-03-02T22:46:00Z"));
    let [(now, decision)] = told.as_slice() else { panic!("{told:?}") };
    let said = text(decision, engine.policy(), *now);
    assert_eq!(said.title, "Bedtime: low since 14:00, nothing fresh. Measure");
    assert_eq!(
        said.body,
        "No fresh reading: the last came 14:00, 8 h 45 min ago. Open: low since 14:00.\n\
         No insulin noted in the last 8 h.\n\
         The sensor's memory is full since 22:00. Scan now."
    );
}

/// A button says that a high was treated, and nothing of insulin: that there is none is not what is said then.
#[test]
fn a_high_that_was_marked_as_treated_is_no_night_without_a_dose() {
    let mut engine = Engine::new(policy("UTC", "22:45", SourceKind::Streaming));
    let treated = at("2026-03-02T21:00:00Z");
    let event = Event::Treated { which: Some(Which::Side(Side::High)), at: treated, look: None };
    live(&mut engine, &event, treated);
    let told = live(&mut engine, &Event::Tick, at("2026-03-02T22:45:00Z"));
    let said = text(&told[0].1, engine.policy(), told[0].0);
    assert!(
        said.body.contains("A high marked as treated 21:00, 1 h 45 min ago; no insulin noted since."),
        "{}",
        said.body
    );
    // A diary line that comes too late for looks still says when the dose was.
    let late = Event::Written {
        said: Box::new(noted(at("2026-03-03T16:00:00Z"), Kind::Insulin(None))),
        whence: "diary.csv: line 3".to_owned(),
    };
    live(&mut engine, &late, at("2026-03-03T22:00:00Z"));
    let told = live(&mut engine, &Event::Tick, at("2026-03-03T22:45:00Z"));
    let said = text(&told[0].1, engine.policy(), told[0].0);
    assert!(said.body.contains("Insulin noted 16:00, 6 h 45 min ago."), "{}", said.body);
}

/// 02:30 in Madrid: skipped on 2026-03-29, shown twice on 2026-10-25. Instants as in domain/local.rs.
#[test]
fn once_an_evening_through_both_clock_changes_and_restarts() {
    for (from, expected) in [
        ("2026-03-27T12:00:00Z", ["2026-03-28T01:30:00Z", "2026-03-29T01:30:00Z", "2026-03-30T00:30:00Z"]),
        ("2026-10-23T12:00:00Z", ["2026-10-24T00:30:00Z", "2026-10-25T00:30:00Z", "2026-10-26T01:30:00Z"]),
    ] {
        let mut engine = Engine::new(policy("Europe/Madrid", "02:30", SourceKind::Scanned));
        let mut told = Vec::new();
        for step in 0..72 * 2 {
            let now = at(from) + Span::minutes(30 * step);
            told.extend(live(&mut engine, &Event::Tick, now).into_iter().map(|(at, _)| at));
            let saved = serde_json::to_string(engine.snapshot()).unwrap();
            engine = Engine::restore(engine.policy().clone(), serde_json::from_str(&saved).unwrap());
        }
        assert_eq!(told, expected.map(at));
    }
}

/// The computer's clock is set: bedtime keeps its hour, and comes once an evening.
#[test]
fn a_clock_that_is_set_neither_skips_nor_repeats_it() {
    let begin = |now: &str| {
        let mut engine = Engine::new(policy("UTC", "22:45", SourceKind::Scanned));
        live(&mut engine, &Event::Tick, at(now));
        engine
    };
    let stepped = |engine: &mut Engine, by: Span, now: &str| {
        engine
            .handle(&Event::ClockStepped { by }, at(now))
            .iter()
            .filter(|told| told.condition == Condition::Bedtime)
            .count()
    };
    // Set past it by less than an hour, and by more.
    assert_eq!(stepped(&mut begin("2026-03-02T22:30:00Z"), Span::minutes(40), "2026-03-02T23:10:00Z"), 1);
    assert_eq!(stepped(&mut begin("2026-03-02T22:30:00Z"), Span::minutes(90), "2026-03-03T00:00:00Z"), 0);
    // Set back before it: it waits for its hour.
    let mut engine = begin("2026-03-02T22:40:00Z");
    assert_eq!(stepped(&mut engine, Span::minutes(-30), "2026-03-02T22:10:00Z"), 0);
    let told = live(&mut engine, &Event::Tick, at("2026-03-03T12:00:00Z"));
    assert_eq!(told.iter().map(|(at, _)| *at).collect::<Vec<_>>(), [at("2026-03-02T22:45:00Z")]);
    // Set back after it was told: not again that evening.
    let mut engine = begin("2026-03-02T22:40:00Z");
    assert_eq!(live(&mut engine, &Event::Tick, at("2026-03-02T22:50:00Z")).len(), 1);
    assert_eq!(stepped(&mut engine, Span::minutes(-30), "2026-03-02T22:21:00Z"), 0);
    assert_eq!(live(&mut engine, &Event::Tick, at("2026-03-03T12:00:00Z")).len(), 0);
    // Due while the computer slept, and the clock is set as it wakes: it still comes.
    let mut engine = begin("2026-03-02T22:40:00Z");
    let slept =
        Event::Unwatched { from: at("2026-03-02T22:40:00Z"), to: at("2026-03-02T23:00:00Z"), cause: Cause::Slept };
    engine.handle(&slept, at("2026-03-02T23:00:00Z"));
    assert_eq!(stepped(&mut engine, Span::seconds(5), "2026-03-02T23:00:06Z"), 0);
    assert_eq!(live(&mut engine, &Event::Tick, at("2026-03-02T23:05:00Z")).len(), 1);
}
