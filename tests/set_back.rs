//! A clock that was set back: readings that come next are new ones, and not taken for those that are known (promise L2).

use recheck::domain::glucose::Glucose;
use recheck::domain::local::Zone;
use recheck::domain::reading::{Reading, SourceId};
use recheck::domain::time::{Span, Timestamp};
use recheck::engine::Engine;
use recheck::engine::effect::{Condition, Decision};
use recheck::engine::event::Event;
use recheck::engine::policy::{Policy, SourceKind, SourcePolicy};

fn reads(engine: &mut Engine, at: Timestamp, mg_dl: i32) -> Vec<Decision> {
    let reading = Reading { source: SourceId(0), measured: at, glucose: Glucose::mg_dl(mg_dl) };
    engine.handle(&Event::Readings { rows: vec![reading], first_sight: false }, at)
}

#[test]
fn a_low_after_a_clock_was_set_back_rings_at_its_first_reading() {
    let noon = Timestamp::from_seconds(1_772_452_800);
    let at = |minute: i64| noon + Span::minutes(minute);
    let mut policy = Policy::new(Zone::UTC);
    policy.sources = vec![SourcePolicy::new("sensor", SourceKind::Streaming)];
    let mut engine = Engine::new(policy);
    for minute in [0, 5, 10] {
        reads(&mut engine, at(minute), 100);
    }
    // The clock was ten minutes ahead, and so were the times of the readings.
    engine.handle(&Event::ClockStepped { by: Span::minutes(-10) }, at(1));
    let told = reads(&mut engine, at(5), 62);
    assert!(told.iter().any(|one| one.rings && one.condition == Condition::Low), "{told:?}");
    // It falls from the values before it, at their distance.
    let told = reads(&mut engine, at(10), 52);
    let very_low = told.iter().find(|one| one.rings && one.condition == Condition::VeryLow).unwrap();
    assert!(very_low.rate.is_some(), "{very_low:?}");
}

/// A sensor whose times were right all along keeps them.
#[test]
fn readings_that_do_not_lie_ahead_stay_where_they_are() {
    let noon = Timestamp::from_seconds(1_772_452_800);
    let at = |minute: i64| noon + Span::minutes(minute);
    let mut policy = Policy::new(Zone::UTC);
    policy.sources = vec![SourcePolicy::new("sensor", SourceKind::Streaming)];
    let mut engine = Engine::new(policy);
    for minute in [-10, -5, 0] {
        reads(&mut engine, at(minute), 100);
    }
    engine.handle(&Event::ClockStepped { by: Span::minutes(-10) }, at(1));
    assert_eq!(engine.newest().map(|(_, measured, _)| measured), Some(at(0)));
    let reading = Reading { source: SourceId(0), measured: at(0), glucose: Glucose::mg_dl(100) };
    let again = engine.handle(&Event::Readings { rows: vec![reading], first_sight: false }, at(2));
    assert!(again.is_empty(), "a reading that is known spoke: {again:?}");
}
