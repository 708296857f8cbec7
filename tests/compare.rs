//! A sensor held against a meter, over whole sessions: what is answered, what is offered once, and that nothing else
//! changes by it.

use super::life::{Life, NOON, note, one_sensor};
use super::swings::swings;
use recheck::domain::diary::{Kind, Note};
use recheck::domain::glucose::Glucose;
use recheck::domain::time::{Span, Timestamp};
use recheck::engine::Engine;
use recheck::engine::effect::Decision;
use recheck::engine::event::Event;
use recheck::engine::policy::{Policy, SourceKind, SourcePolicy};
use recheck::engine::reason::Reason;
use recheck::wording::Voice;
use recheck::wording::answer::whole_answer;
use recheck::wording::reason::line;

fn of(sources: &[&str]) -> Life {
    let sources = sources.iter().map(|name| SourcePolicy::new(name, SourceKind::Streaming)).collect();
    Life::new(Policy { sources, ..one_sensor() }, NOON + Span::minutes(5))
}

/// A steady hour of the sensor at one value, and a check two minutes after its last reading.
fn checks(life: &mut Life, meter: i32, sensor: i32) -> String {
    life.reads([sensor; 12]);
    measures(life, meter)
}

fn measures(life: &mut Life, meter: i32) -> String {
    let at = life.now - Span::minutes(3);
    let told = life.notes(by_meter(meter), at);
    life.now = at + Span::minutes(6);
    whole_answer(&told, life.engine.policy(), at).unwrap().words
}

fn by_meter(value: i32) -> Kind {
    Kind::Meter(Glucose::mg_dl(value))
}

#[test]
fn the_answer_says_how_far_apart_and_how_the_sensor_reads() {
    let mut life = of(&["arm"]);
    assert_eq!(
        checks(&mut life, 100, 110),
        "Your meter says 100, the sensor 110 at 13:00: 10 apart, within the band of 15 %."
    );
    assert_eq!(
        checks(&mut life, 150, 118),
        "Your meter says 150, the sensor 118 at 14:03: 32 apart, beyond the band of 20 %. Over 2 checks this sensor reads \
         6 % lower, give or take 199. Percent are of your meter's value, or of 100 where that is less."
    );
    let said = checks(&mut life, 96, 58);
    assert_eq!(
        said.lines().nth(1).unwrap(),
        "Your meter says 96, the sensor 58 at 15:06: 38 apart, beyond the band of 20 mg/dL. Over 3 checks this sensor \
         reads 16 % lower, give or take 61. Percent are of your meter's value, or of 100 where that is less. That is more than published \
         accuracy allows. If you doubt it: `recheck mode doubted`. To leave its readings since 13:02 out of reports: \
         `recheck exclude FROM TO REASON`. No value is changed."
    );
    // Once in a session.
    assert!(!checks(&mut life, 200, 140).contains("recheck mode doubted"));
    let (at, last) = life.told.iter().rev().find(|(_, one)| matches!(one.reason, Reason::Compared(_))).unwrap();
    assert_eq!(
        line(last, Voice::new(life.engine.policy(), *at)),
        "sensor answered: the meter said 200, the sensor 140 at 16:09: 60 apart, beyond the band of 20 %; over 4 checks \
         this sensor reads 20 % lower, give or take 33"
    );
    // Another sensor begins anew.
    life.notes(Kind::SensorStart(None), life.now);
    assert!(!checks(&mut life, 100, 60).contains("Over "));
    assert!(checks(&mut life, 100, 60).contains("Over 2 checks this sensor reads 40 % lower, give or take 0."));
}

#[test]
fn a_sensor_that_moves_fast_is_marked_and_does_not_count() {
    let mut life = of(&["arm"]);
    life.now = NOON;
    life.reads([100, 115, 130, 145, 160]);
    assert_eq!(
        measures(&mut life, 200),
        "Your meter says 200, the sensor 160 at 12:20: 40 apart, beyond the band of 15 %; it moves fast (+3.0 mg/dL/min) \
         and sensors follow late, so this does not count."
    );
    assert_eq!(life.engine.snapshot().sources[0].checks().first(), None);
}

/// Nobody reads the answer to a line of a file: what may be done is offered at the next check that is said.
#[test]
fn a_line_of_a_diary_counts_and_uses_up_no_offer() {
    let mut life = of(&["arm"]);
    checks(&mut life, 100, 60);
    life.reads([60; 12]);
    let at = life.now - Span::minutes(5);
    let said = Box::new(Event::Noted(note(by_meter(100), at)));
    let told = life.happens(&Event::Written { said, whence: "diary.csv: line 2".to_owned() }, at);
    let offered = |told: &[Decision]| {
        told.iter().any(|one| matches!(&one.reason, Reason::Compared(compared) if compared.offer.is_some()))
    };
    assert!(life.engine.snapshot().sources[0].checks().is_off() && !offered(&told), "{told:?}");
    assert!(checks(&mut life, 100, 60).contains("recheck mode doubted"));
}

/// A slip of the pen: what it said of the sensor is said no more, and of what it should have been it is.
#[test]
fn an_amended_check_counts_as_it_is_now_and_a_deleted_one_no_more() {
    let mut life = of(&["arm"]);
    checks(&mut life, 100, 110);
    let at = life.now + Span::minutes(57);
    assert!(checks(&mut life, 15, 110).contains("Over 2 checks"));
    let slip = note(by_meter(15), at);
    let checked = |life: &Life| life.engine.snapshot().sources[0].checks().bias().map(|bias| (bias.checks, bias.mean));
    assert_eq!(checked(&life), Some((2, 5_250)), "10 % and 95 % of 100");
    let amends = |life: &mut Life, was: Option<&Note>, is: Option<&Note>| {
        let others = vec![note(by_meter(100), NOON + Span::minutes(62))];
        life.happens(&Event::Amended { was: was.cloned(), is: is.cloned(), others }, life.now)
    };
    let meant = note(by_meter(105), at);
    amends(&mut life, Some(&slip), Some(&meant));
    // 10 % and 5 of 105, as 4.76 %.
    assert_eq!(checked(&life), Some((2, 738)));
    amends(&mut life, Some(&meant), None);
    assert_eq!(checked(&life), None, "one check tells nothing of the next");
    amends(&mut life, None, Some(&meant));
    assert_eq!(checked(&life), Some((2, 738)));
}

#[test]
fn each_of_two_sensors_is_named() {
    let mut life = of(&["arm", "leg"]);
    for _ in 0..4 {
        life.reads_of(0, 100);
        life.reads_of(1, 130);
        life.now = life.now + Span::minutes(5);
    }
    let said = measures(&mut life, 105);
    assert!(said.contains("arm: 100 at 12:20: 5 apart, within the band of 15 %."), "{said}");
    assert!(said.contains("leg: 130 at 12:20: 25 apart, beyond the band of 20 %."), "{said}");
}

fn forget_checks(life: &mut Life) {
    let mut saved = serde_json::to_value(life.engine.snapshot()).unwrap();
    for source in saved["sources"].as_array_mut().unwrap() {
        source.as_object_mut().unwrap().remove("checks").unwrap();
    }
    life.engine = Engine::restore(life.engine.policy().clone(), serde_json::from_value(saved).unwrap());
}

/// With all that is known of checks forgotten at every turn, every other decision is the same: none is corrected or made
/// quiet by it.
#[test]
fn what_was_compared_changes_no_other_decision() {
    let mut compared = 0;
    for seed in 1..=3 {
        let lives = [false, true].map(|forgets| {
            let mut life = of(&["arm"]);
            for (place, value) in swings(seed, 6 * 288).into_iter().enumerate() {
                life.reads([value]);
                if place % 40 == 7 {
                    life.notes(by_meter(value + 45), life.now - Span::minutes(5));
                }
                if forgets {
                    forget_checks(&mut life);
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
