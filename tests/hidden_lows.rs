//! No rule hides a very low: neither what thins, sets aside, waits or doubts, nor a source that is lost.
//! What the wearer chose to set aside ends by itself.

use recheck::domain::diary::{Kind, Note};
use recheck::domain::glucose::{Glucose, Unit};
use recheck::domain::local::Zone;
use recheck::domain::reading::{Reading, SourceId};
use recheck::domain::time::{Span, Timestamp};
use recheck::engine::Engine;
use recheck::engine::effect::{Condition, Decision};
use recheck::engine::event::{Event, Trusted};
use recheck::engine::policy::{Policy, SourceKind, SourcePolicy};
use recheck::engine::reason::Reason;
use recheck::wording::text::text;

/// 2026-03-02 00:00 UTC, a Monday.
const DAY: Timestamp = Timestamp::from_seconds(1_772_409_600);

const ARM: SourceId = SourceId(0);
const PHONE: SourceId = SourceId(1);

struct Life {
    engine: Engine,
    told: Vec<(Timestamp, Decision)>,
}

fn at(hour: i64, minute: i64) -> Timestamp {
    DAY + Span::minutes(hour * 60 + minute)
}

fn two_sources() -> Policy {
    let mut policy = Policy::new(Zone::UTC);
    policy.sources =
        vec![SourcePolicy::new("arm", SourceKind::Streaming), SourcePolicy::new("phone", SourceKind::Streaming)];
    policy
}

impl Life {
    fn new(policy: Policy) -> Self {
        Self { engine: Engine::new(policy), told: Vec::new() }
    }

    /// Ticks come when the engine wants them, then what happens.
    fn happens(&mut self, now: Timestamp, event: &Event) {
        while let Some(deadline) = self.engine.next_deadline().filter(|deadline| *deadline < now) {
            let told = self.engine.handle(&Event::Tick, deadline);
            self.told.extend(told.into_iter().map(|decision| (deadline, decision)));
        }
        let told = self.engine.handle(event, now);
        self.told.extend(told.into_iter().map(|decision| (now, decision)));
    }

    fn reads(&mut self, source: SourceId, now: Timestamp, value: i32) {
        let reading = Reading { source, measured: now, glucose: Glucose::mg_dl(value) };
        self.happens(now, &Event::Readings { rows: vec![reading], first_sight: false });
    }

    /// When a condition first rang after an instant.
    fn rang(&self, condition: Condition, after: Timestamp) -> Option<Timestamp> {
        let rang =
            |(at, decision): &&(Timestamp, Decision)| *at >= after && decision.condition == condition && decision.rings;
        self.told.iter().find(rang).map(|(at, _)| *at)
    }

    fn is_told(&self, wanted: impl Fn(&Reason) -> bool) -> bool {
        self.told.iter().any(|(_, decision)| wanted(&decision.reason))
    }
}

/// A reader writes each value a second time, and both rows come in one piece: of an echo the first is judged.
#[test]
fn of_rows_that_come_twice_in_one_piece_one_is_judged() {
    let mut life = Life::new(two_sources());
    for (place, value) in [120, 115, 110, 105, 100, 95, 66, 52, 48, 46].into_iter().enumerate() {
        let first = at(8, i64::try_from(place).unwrap() * 5);
        let rows = [first, first + Span::minutes(2)].map(|measured| Reading {
            source: ARM,
            measured,
            glucose: Glucose::mg_dl(value),
        });
        life.happens(first + Span::minutes(2), &Event::Readings { rows: rows.to_vec(), first_sight: false });
    }
    assert_eq!(life.rang(Condition::Low, DAY), Some(at(8, 32)));
    assert_eq!(life.rang(Condition::VeryLow, DAY), Some(at(8, 37)));
}

/// What is set aside still comes: its source is not silent, and the choice holds.
#[test]
fn a_source_that_is_set_aside_is_not_silent() {
    let mut life = Life::new(two_sources());
    life.reads(ARM, at(8, 0), 120);
    life.reads(PHONE, at(8, 1), 125);
    life.happens(at(8, 2), &Event::Trust(Trusted::Source(ARM)));
    for minute in (5..240).step_by(5) {
        life.reads(ARM, at(8, minute), 120);
        life.reads(PHONE, at(8, minute + 1), 60);
    }
    assert!(life.told.iter().all(|(_, decision)| !decision.rings), "{:?}", life.told);
    assert!(life.engine.snapshot().trust.is_some());
}

/// Whatever takes away the source that the wearer chose, what they set aside counts again within the hour.
#[test]
fn a_choice_ends_when_the_chosen_source_gives_nothing() {
    let words = || "the folder is gone".to_owned();
    let note = |now, kind| Event::Noted(Note { at: now, kind, words: String::new() });
    let rows = |count: i64| -> Vec<Reading> {
        (0..count).map(|i| Reading { source: ARM, measured: at(9, i), glucose: Glucose::mg_dl(9) }).collect()
    };
    let causes: Vec<(&str, Event)> = vec![
        ("silence", Event::Tick),
        ("lost", Event::Lost { source: ARM, words: words() }),
        ("refused", Event::Refused { source: ARM, rows: 3, words: words(), whole_file: false }),
        ("absurd", Event::Readings { rows: rows(3), first_sight: false }),
        ("taken off", note(at(9, 0), Kind::SensorStop(Some("arm".to_owned())))),
        ("a new sensor", note(at(9, 0), Kind::SensorStart(Some("arm".to_owned())))),
    ];
    for (name, cause) in causes {
        for lost_before in [false, true] {
            let mut life = Life::new(two_sources());
            for minute in (0..60).step_by(5) {
                life.reads(ARM, at(8, minute), 120);
                life.reads(PHONE, at(8, minute + 1), 110);
            }
            if lost_before {
                life.happens(at(9, 2), &cause);
            }
            life.happens(at(9, 3), &Event::Trust(Trusted::Source(ARM)));
            if !lost_before {
                life.happens(at(9, 4), &cause);
            }
            for minute in (6..180).step_by(5) {
                life.reads(PHONE, at(9, minute), 50);
            }
            let rang = life.rang(Condition::VeryLow, at(9, 0));
            assert!(rang.is_some_and(|rang| rang <= at(10, 5)), "{name}, lost before: {lost_before}: {rang:?}");
        }
    }
}

/// A source that the settings do not hold cannot be chosen: nothing would count.
#[test]
fn only_a_source_that_is_watched_can_be_chosen() {
    let mut policy = two_sources();
    policy.sources[0].kind = SourceKind::History;
    let mut life = Life::new(policy);
    life.reads(PHONE, at(8, 0), 120);
    life.happens(at(8, 1), &Event::Trust(Trusted::Source(ARM)));
    life.happens(at(8, 2), &Event::Trust(Trusted::Source(SourceId(7))));
    life.reads(PHONE, at(8, 5), 50);
    assert_eq!(life.rang(Condition::VeryLow, DAY), Some(at(8, 5)));
    assert!(life.is_told(|reason| matches!(reason, Reason::NoSuchSource { .. })));
}

/// Two signals that met and crossed cannot be told apart by their values: the chosen one must not become
/// the one that is set aside.
#[test]
fn signals_that_cross_are_not_taken_for_each_other() {
    let mut life = Life::new(two_sources());
    let pairs = |life: &mut Life, from: Timestamp, pairs: &[(i32, i32)]| {
        for (place, (ours, other)) in pairs.iter().enumerate() {
            let now = from + Span::minutes(10 * i64::try_from(place).unwrap());
            life.reads(ARM, now, *ours);
            life.reads(ARM, now + Span::minutes(5), *other);
        }
    };
    pairs(&mut life, at(8, 0), &[(150, 80), (150, 80), (150, 80), (150, 80)]);
    life.happens(at(8, 38), &Event::Trust(Trusted::Near(Glucose::mg_dl(150))));
    // The chosen one falls, the other rises: they meet at 100, and part again the other way round.
    pairs(&mut life, at(8, 40), &[(130, 85), (110, 95), (100, 100), (90, 118), (72, 120), (60, 120)]);
    pairs(&mut life, at(9, 40), &[(50, 120), (46, 120), (44, 122), (44, 125)]);
    let rang = life.rang(Condition::VeryLow, at(9, 40));
    assert_eq!(rang, Some(at(9, 40)));
}

/// A value from before a long silence tells nothing of the unit: a true 30 is a very low.
#[test]
fn an_old_high_does_not_make_a_very_low_the_other_unit() {
    let mut life = Life::new(two_sources());
    life.reads(ARM, at(1, 0), 330);
    life.reads(ARM, at(9, 0), 30);
    assert_eq!(life.rang(Condition::VeryLow, DAY), Some(at(9, 0)));
    // Nor does a fraction, where the source writes them.
    let mut life = Life::new(two_sources());
    for (now, value) in [(at(1, 0), "330.4"), (at(9, 0), "30.6")] {
        let reading = Reading { source: ARM, measured: now, glucose: Glucose::parse(value, Unit::MgDl).unwrap() };
        life.happens(now, &Event::Readings { rows: vec![reading], first_sight: false });
    }
    assert_eq!(life.rang(Condition::VeryLow, DAY), Some(at(9, 0)));
}

/// What is said of a silence names no value that is not known any more.
#[test]
fn a_silence_whose_last_value_is_forgotten_is_said_without_it() {
    let mut life = Life::new(two_sources());
    life.reads(PHONE, at(8, 0), 75);
    let off = Kind::SensorStop(Some("phone".to_owned()));
    life.happens(at(8, 1), &Event::Noted(Note { at: at(8, 1), kind: off, words: String::new() }));
    for minute in (0..750).step_by(5) {
        life.reads(ARM, at(8, minute), 120);
    }
    let policy = life.engine.policy().clone();
    let silence = life.told.iter().find(|(_, decision)| decision.condition == Condition::Gap && decision.rings);
    let (at, silence) = silence.unwrap();
    let said = text(silence, &policy, *at);
    assert_eq!(said.title, "Nothing reached me since 08:00. Check the sensor");
    assert_eq!(said.body, "Check sensor, phone and export. What came after 08:00 is not known.");
}

/// What was seen at eight is not what rang at half past: a diary line that comes late marks nothing newer.
#[test]
fn two_signals_that_rang_after_a_line_was_written_are_not_seen() {
    let mut life = Life::new(two_sources());
    for (place, value) in [150, 100].into_iter().cycle().take(10).enumerate() {
        life.reads(ARM, at(8, 5 * i64::try_from(place).unwrap()), value);
    }
    let rang = life.rang(Condition::TwoSignals, DAY).unwrap();
    let is_seen = |life: &Life| life.engine.snapshot().register.of(Condition::TwoSignals).unwrap().is_acknowledged();
    for (until, seen) in [(rang - Span::minutes(1), false), (rang, true)] {
        let said = Box::new(Event::Seen { which: None, until: Some(until), by: None });
        life.happens(at(8, 50), &Event::Written { said, whence: "diary.csv: line 2".to_owned() });
        assert_eq!(is_seen(&life), seen);
    }
}
