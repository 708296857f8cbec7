//! A meter beside the sensor: what is answered word for word, and which checks count as of now.

use recheck::domain::diary::{Kind, Note};
use recheck::domain::glucose::Glucose;
use recheck::domain::local::Zone;
use recheck::domain::reading::{Reading, SourceId};
use recheck::domain::time::{Span, Timestamp};
use recheck::engine::Engine;
use recheck::engine::alert::alarm::AlarmState;
use recheck::engine::effect::{Condition, Decision, What};
use recheck::engine::event::Event;
use recheck::engine::policy::{Policy, SourceKind, SourcePolicy};
use recheck::wording::Voice;
use recheck::wording::answer::answer;
use recheck::wording::reason::line;
use recheck::wording::text::text;

/// 2026-03-02 12:00 UTC.
const NOON: Timestamp = Timestamp::from_seconds(1_772_452_800);

fn noon(minute: i64) -> Timestamp {
    NOON + Span::minutes(minute)
}

fn engine(readings: &[(u16, i64, i32)]) -> Engine {
    let mut policy = Policy::new(Zone::UTC);
    policy.sources = ["arm", "leg"].map(|name| SourcePolicy::new(name, SourceKind::Streaming)).to_vec();
    let mut engine = Engine::new(policy);
    for (source, minute, value) in readings {
        let reading = Reading { source: SourceId(*source), measured: noon(*minute), glucose: Glucose::mg_dl(*value) };
        engine.handle(&Event::Readings { rows: vec![reading], first_sight: false }, noon(*minute));
    }
    engine
}

/// Notes a check that was made at one minute, and is said at another.
fn check(engine: &mut Engine, value: i32, made: i64, said: i64) -> Decision {
    let note = Note { at: noon(made), kind: Kind::Meter(Glucose::mg_dl(value)), words: String::new() };
    let told = engine.handle(&Event::Noted(note), noon(said));
    told.into_iter().find(|decision| decision.what == What::Answer).unwrap()
}

fn words(engine: &Engine, decision: &Decision, said: i64) -> String {
    answer(decision, engine.policy(), noon(said)).words
}

#[test]
fn both_values_are_answered_and_what_follows() {
    let mut low = engine(&[(0, -5, 75), (0, 0, 58)]);
    let decision = check(&mut low, 104, 2, 2);
    let said = "Your meter says 104, the sensor 58 at 12:00. Low does not ring until 12:17. All the same ring: its checks, very low, and the ring and the calls when nobody answers.";
    assert_eq!(words(&low, &decision, 2), said);
    assert_eq!(
        line(&decision, Voice::new(low.policy(), noon(2))),
        "low answered: Your meter says 104, the sensor 58 at 12:00. low is quiet until 12:17"
    );
    assert_eq!(low.alarm_state(Condition::Low), AlarmState::Shelved);
    let quiet: Vec<_> = low.snapshot().quiet.iter().map(|quiet| (quiet.condition, quiet.until)).collect();
    assert_eq!(quiet, [(Condition::Low, noon(17))]);
    let mut very_low = engine(&[(0, 0, 50)]);
    let decision = check(&mut very_low, 104, 2, 2);
    let said = "Your meter says 104, the sensor 50 at 12:00. Very low is made quiet by no check. Measure again, and follow your plan.";
    assert_eq!(words(&very_low, &decision, 2), said);
    assert!(very_low.snapshot().quiet.is_empty());
    let mut within = engine(&[(0, 0, 95)]);
    let decision = check(&mut within, 62, 2, 2);
    let said = "Your meter says 62, the sensor 95: the meter counts. Treat by your plan, then `recheck treated`. Looks at 12:17, and every 15 min until it is back.";
    assert_eq!(words(&within, &decision, 2), said);
    let due = within.next_deadline().unwrap();
    let again = within.handle(&Event::Tick, due);
    let asked = again.iter().find(|decision| decision.rings).map(|decision| text(decision, within.policy(), due));
    let body = "Measure again, and follow your plan. No value has come since; next check 12:32.";
    assert_eq!(asked.map(|asked| asked.body), Some(body.to_owned()), "{again:?}");
}

/// A check counts for a quarter of an hour from when it was made, and not before it was.
#[test]
fn a_check_is_of_now_for_a_quarter_of_an_hour() {
    let readings = [(0, -5, 75), (0, 0, 58), (0, 5, 58), (0, 10, 58), (0, 15, 58)];
    let mut late = engine(&readings);
    check(&mut late, 104, 6, 16);
    assert_eq!(late.snapshot().quiet.iter().map(|quiet| quiet.until).collect::<Vec<_>>(), [noon(21)]);
    let mut too_late = engine(&readings);
    let decision = check(&mut too_late, 104, 1, 16);
    assert_eq!(words(&too_late, &decision, 16), "Noted.");
    assert!(too_late.snapshot().quiet.is_empty());
    let mut old_low = engine(&[(0, 0, 95), (0, 15, 95)]);
    let decision = check(&mut old_low, 62, -40, 16);
    assert_eq!(words(&old_low, &decision, 16), "Noted.");
    assert!(old_low.snapshot().plan.low().is_none());
    // Two checks in a row: no silence upon silence.
    let mut twice = engine(&readings[..2]);
    check(&mut twice, 104, 2, 2);
    check(&mut twice, 110, 9, 9);
    assert_eq!(twice.snapshot().quiet.iter().map(|quiet| quiet.until).collect::<Vec<_>>(), [noon(17)]);
}

/// Of two sensors one is very low: what speaks for it is not made quiet because the other agrees with the meter.
#[test]
fn the_sensor_that_is_further_out_is_the_one_to_disagree_with() {
    let mut two = engine(&[(0, 0, 100), (1, 1, 50), (0, 5, 100)]);
    let decision = check(&mut two, 102, 6, 6);
    assert!(two.snapshot().quiet.iter().all(|quiet| quiet.condition != Condition::VeryLow));
    assert!(!words(&two, &decision, 6).contains("does not ring"), "{}", words(&two, &decision, 6));
}
