//! The morning after: what is counted to which night.

use recheck::domain::glucose::Glucose;
use recheck::domain::local::Zone;
use recheck::domain::reading::{Reading, SourceId};
use recheck::domain::reminder::{Asked, When};
use recheck::domain::time::{Span, Timestamp};
use recheck::engine::Engine;
use recheck::engine::event::{Cause, Event};
use recheck::engine::policy::{Policy, SourceKind, SourcePolicy};
use recheck::engine::reason::Reason;
use recheck::wording::text::text;

/// 2026-03-02 22:00 UTC.
const EVENING: Timestamp = Timestamp::from_seconds(1_772_488_800);

/// A night in which only a reminder rings says nothing in the morning, and its ring is not counted to the next.
#[test]
fn a_night_that_only_rang_is_not_counted_to_the_next() {
    let mut policy = Policy::new(Zone::UTC);
    policy.sources = vec![SourcePolicy::new("sensor", SourceKind::Streaming)];
    let mut engine = Engine::new(policy);
    let asked = Asked {
        text: "turn the dough".to_owned(),
        when: When::At(EVENING + Span::hours(4)),
        every: None,
        only: None,
        said: EVENING,
    };
    engine.handle(&Event::Remind(asked), EVENING);
    let mut mornings = Vec::new();
    let mut rang = 0;
    for step in 1..=34 * 12 {
        let now = EVENING + Span::minutes(5 * step);
        // Low for a quarter of an hour in the second night, from 02:00.
        let value = if (28 * 60..28 * 60 + 15).contains(&(5 * step)) { 66 } else { 120 };
        let reading = Reading { source: SourceId(0), measured: now, glucose: Glucose::mg_dl(value) };
        for decision in engine.handle(&Event::Readings { rows: vec![reading], first_sight: false }, now) {
            if let Reason::Morning { stretches, rings, .. } = &decision.reason {
                mornings.push((stretches.len(), *rings));
            }
            rang += u32::from(decision.rings && matches!(decision.reason, Reason::ReminderDue { .. }));
        }
    }
    assert_eq!(rang, 1, "the reminder of the first night");
    assert_eq!(mornings, [(1, 1)], "one low, which rang once");
}

/// A night with a low, a very low, a silence, a sleep of the computer and a very high: the text word for word.
#[test]
fn the_morning_after_is_five_lines_the_gravest_first() {
    let mut policy = Policy::new(Zone::UTC);
    policy.sources = vec![SourcePolicy::new("sensor", SourceKind::Streaming)];
    let mut engine = Engine::new(policy.clone());
    let mut said = Vec::new();
    for step in 0..=10 * 12 {
        let minute = 5 * step;
        let now = EVENING + Span::minutes(minute);
        let value = match minute {
            120..135 => 66,
            210..230 => 50,
            // Nothing comes from 03:00 to 04:00, and the computer sleeps from 04:00 to 05:00.
            300..420 => continue,
            480..520 => 262,
            _ => 120,
        };
        let mut told = Vec::new();
        if minute == 420 {
            while let Some(due) = engine.next_deadline().filter(|due| *due < now - Span::hours(1)) {
                told.extend(engine.handle(&Event::Tick, due));
            }
            let slept = Event::Unwatched { from: now - Span::hours(1), to: now, cause: Cause::Slept };
            told.extend(engine.handle(&slept, now));
        }
        while let Some(due) = engine.next_deadline().filter(|due| *due < now) {
            told.extend(engine.handle(&Event::Tick, due));
        }
        let reading = Reading { source: SourceId(0), measured: now, glucose: Glucose::mg_dl(value) };
        told.extend(engine.handle(&Event::Readings { rows: vec![reading], first_sight: false }, now));
        let mornings = told.into_iter().filter(|decision| matches!(decision.reason, Reason::Morning { .. }));
        said.extend(mornings.map(|decision| text(&decision, &policy, now)));
    }
    let [said] = said.as_slice() else { panic!("{said:?}") };
    assert_eq!(said.title, "Now 120, 07:00. Last night: very low 01:30-01:50, and 4 more");
    // The low rang once, the very low at 0, 5 and 10 minutes, the silence and the very high once each; the sleep waited. Its
    // fall makes a low less likely than promise H5 rings from.
    assert_eq!(
        said.body,
        "very low 01:30-01:50\nlow 00:00-00:15\nnot watching 04:00-05:00\nno readings 02:55-05:00\n\
         And 1 more. It rang 6 times."
    );
}

/// Seven stretches in readings that came in late: at most five lines, the worst first, and of
/// those as bad the newest.
#[test]
fn what_late_readings_held_is_five_lines_the_worst_first() {
    let mut policy = Policy::new(Zone::UTC);
    policy.sources = vec![SourcePolicy::new("sensor", SourceKind::Streaming)];
    let mut engine = Engine::new(policy.clone());
    let noon = EVENING - Span::hours(10);
    let reading = |hours: i64, value: i32| Reading {
        source: SourceId(0),
        measured: noon - Span::hours(hours),
        glucose: Glucose::mg_dl(value),
    };
    engine.handle(&Event::Readings { rows: vec![reading(20, 120)], first_sight: true }, noon);
    let late = [(9, 60), (8, 62), (7, 300), (6, 50), (5, 61), (4, 290), (3, 65)];
    let rows = late.into_iter().map(|(hours, value)| reading(hours, value)).collect();
    engine.handle(&Event::Readings { rows, first_sight: false }, noon);
    let told = engine.handle(&Event::Tick, noon + Span::minutes(1));
    let told: Vec<_> = told.iter().map(|decision| text(decision, &policy, noon)).collect();
    assert_eq!(told.len(), 1);
    assert_eq!(told[0].title, "While away: below 54 at 06:00");
    let lines: Vec<&str> = told[0].body.lines().collect();
    let wanted = [
        "Readings that came in late: below 54 at 06:00",
        "below 70 at 09:00",
        "below 70 at 07:00",
        "below 70 at 04:00",
        "And 3 more.",
    ];
    assert_eq!(lines, wanted);
}
