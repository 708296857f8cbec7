//! A sensor held against a meter, over whole sessions: what is answered, what is offered once, and that nothing else
//! changes by it.

use super::swings::swings;
use recheck::domain::diary::{Kind, Note};
use recheck::domain::glucose::Glucose;
use recheck::domain::local::Zone;
use recheck::domain::reading::{Reading, SourceId};
use recheck::domain::time::{Span, Timestamp};
use recheck::engine::Engine;
use recheck::engine::effect::Decision;
use recheck::engine::event::Event;
use recheck::engine::policy::{Policy, SourceKind, SourcePolicy};
use recheck::engine::reason::Reason;
use recheck::wording::Voice;
use recheck::wording::answer::whole_answer;
use recheck::wording::reason::line;

/// 2026-03-02 12:00 UTC.
const NOON: Timestamp = Timestamp::from_seconds(1_772_452_800);

struct Life {
    engine: Engine,
    now: Timestamp,
    told: Vec<(Timestamp, Decision)>,
    /// What was compared is forgotten after each turn.
    forgets: bool,
}

impl Life {
    fn of(sources: &[&str]) -> Self {
        let mut policy = Policy::new(Zone::UTC);
        policy.sources = sources.iter().map(|name| SourcePolicy::new(name, SourceKind::Streaming)).collect();
        Self { engine: Engine::new(policy), now: NOON, told: Vec::new(), forgets: false }
    }

    fn happens(&mut self, event: &Event, at: Timestamp) -> Vec<Decision> {
        while let Some(due) = self.engine.next_deadline().filter(|due| *due < at) {
            self.told.extend(self.engine.handle(&Event::Tick, due).into_iter().map(|one| (due, one)));
        }
        let told = self.engine.handle(event, at);
        self.told.extend(told.iter().map(|one| (at, one.clone())));
        let mut saved = serde_json::to_value(self.engine.snapshot()).unwrap();
        if self.forgets {
            for source in saved["sources"].as_array_mut().unwrap() {
                source.as_object_mut().unwrap().remove("checks").unwrap();
            }
        }
        self.engine = Engine::restore(self.engine.policy().clone(), serde_json::from_value(saved).unwrap());
        self.now = at;
        told
    }

    fn reads(&mut self, source: u16, value: i32) {
        let rows = vec![Reading { source: SourceId(source), measured: self.now, glucose: Glucose::mg_dl(value) }];
        self.happens(&Event::Readings { rows, first_sight: false }, self.now);
    }

    /// A steady hour of the sensor at one value, and a check two minutes after its last reading.
    fn checks(&mut self, meter: i32, sensor: i32) -> String {
        for _ in 0..12 {
            self.now = self.now + Span::minutes(5);
            self.reads(0, sensor);
        }
        self.measures(meter)
    }

    fn measures(&mut self, meter: i32) -> String {
        let at = self.now + Span::minutes(2);
        let told = self.happens(&Event::Noted(note(at, meter)), at);
        self.now = at + Span::minutes(1);
        whole_answer(&told, self.engine.policy(), at).unwrap().words
    }
}

fn note(at: Timestamp, meter: i32) -> Note {
    Note { at, kind: Kind::Meter(Glucose::mg_dl(meter)), words: String::new() }
}

#[test]
fn the_answer_says_how_far_apart_and_how_the_sensor_reads() {
    let mut life = Life::of(&["arm"]);
    assert_eq!(
        life.checks(100, 110),
        "Your meter says 100, the sensor 110 at 13:00: 10 apart, within the band of 15 %."
    );
    assert_eq!(
        life.checks(150, 118),
        "Your meter says 150, the sensor 118 at 14:03: 32 apart, beyond the band of 20 %. Over 2 checks this sensor reads \
         6 % lower, give or take 199. Percent of your meter, and below 100 of that."
    );
    let said = life.checks(96, 58);
    assert_eq!(
        said.lines().nth(1).unwrap(),
        "Your meter says 96, the sensor 58 at 15:06: 38 apart, beyond the band of 20 mg/dL. Over 3 checks this sensor \
         reads 16 % lower, give or take 61. Percent of your meter, and below 100 of that. That is more than published \
         accuracy allows. If you doubt it: `recheck mode doubted`. To leave its readings since 13:02 out of reports: \
         `recheck exclude FROM TO REASON`. No value is changed."
    );
    // Once in a session.
    assert!(!life.checks(200, 140).contains("recheck mode doubted"));
    let (at, last) = life.told.iter().rev().find(|(_, one)| matches!(one.reason, Reason::Compared(_))).unwrap();
    assert_eq!(
        line(last, Voice::new(life.engine.policy(), *at)),
        "sensor answered: the meter said 200, the sensor 140 at 16:09: 60 apart, beyond the band of 20 %; over 4 checks \
         this sensor reads 20 % lower, give or take 33"
    );
    // Another sensor begins anew.
    let start = Note { at: life.now, kind: Kind::SensorStart(None), words: String::new() };
    life.happens(&Event::Noted(start), life.now);
    assert!(!life.checks(100, 60).contains("Over "));
    assert!(life.checks(100, 60).contains("Over 2 checks this sensor reads 40 % lower, give or take 0."));
}

#[test]
fn a_sensor_that_moves_fast_is_marked_and_does_not_count() {
    let mut life = Life::of(&["arm"]);
    for value in [100, 115, 130, 145, 160] {
        life.reads(0, value);
        life.now = life.now + Span::minutes(5);
    }
    life.now = life.now - Span::minutes(5);
    assert_eq!(
        life.measures(200),
        "Your meter says 200, the sensor 160 at 12:20: 40 apart, beyond the band of 15 %; it moves fast (+3.0 mg/dL/min) \
         and sensors follow late, so this does not count."
    );
    assert_eq!(life.engine.snapshot().sources[0].checks().first(), None);
}

/// Nobody reads the answer to a line of a file: what may be done is offered at the next check that is said.
#[test]
fn a_line_of_a_diary_counts_and_uses_up_no_offer() {
    let mut life = Life::of(&["arm"]);
    life.checks(100, 60);
    for _ in 0..12 {
        life.now = life.now + Span::minutes(5);
        life.reads(0, 60);
    }
    let said = Box::new(Event::Noted(note(life.now, 100)));
    let told = life.happens(&Event::Written { said, whence: "diary.csv: line 2".to_owned() }, life.now);
    let offered = |told: &[Decision]| {
        told.iter().any(|one| matches!(&one.reason, Reason::Compared(compared) if compared.offer.is_some()))
    };
    assert!(life.engine.snapshot().sources[0].checks().is_off() && !offered(&told), "{told:?}");
    assert!(life.checks(100, 60).contains("recheck mode doubted"));
}

#[test]
fn each_of_two_sensors_is_named() {
    let mut life = Life::of(&["arm", "leg"]);
    for _ in 0..4 {
        life.now = life.now + Span::minutes(5);
        life.reads(0, 100);
        life.reads(1, 130);
    }
    let said = life.measures(105);
    assert!(said.contains("arm: 100 at 12:20: 5 apart, within the band of 15 %."), "{said}");
    assert!(said.contains("leg: 130 at 12:20: 25 apart, beyond the band of 20 %."), "{said}");
}

/// With all that is known of checks forgotten at every turn, every other decision is the same: none is corrected or made
/// quiet by it.
#[test]
fn what_was_compared_changes_no_other_decision() {
    let mut compared = 0;
    for seed in 1..=3 {
        let lives = [false, true].map(|forgets| {
            let mut life = Life { forgets, ..Life::of(&["arm"]) };
            for (place, value) in swings(seed, 6 * 288).into_iter().enumerate() {
                life.now = life.now + Span::minutes(5);
                life.reads(0, value);
                if place % 40 == 7 {
                    let at = life.now;
                    life.happens(&Event::Noted(note(at, value + 45)), at);
                }
            }
            life.told
        });
        let [kept, forgot] = lives.map(|told| {
            let of_checks = |(_, one): &(Timestamp, Decision)| matches!(one.reason, Reason::Compared(_));
            let (of_checks, others): (Vec<_>, Vec<_>) = told.into_iter().partition(of_checks);
            compared += of_checks.len();
            assert!(of_checks.iter().all(|(_, one)| !one.rings));
            others
        });
        assert_eq!(kept, forgot, "seed {seed}");
        assert!(kept.len() > 200, "{}", kept.len());
    }
    assert!(compared > 200, "{compared}");
}
