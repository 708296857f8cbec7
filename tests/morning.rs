//! The morning after: what is counted to which night.

use recheck::domain::glucose::Glucose;
use recheck::domain::local::Zone;
use recheck::domain::reading::{Reading, SourceId};
use recheck::domain::reminder::{Asked, When};
use recheck::domain::time::{Span, Timestamp};
use recheck::engine::Engine;
use recheck::engine::event::Event;
use recheck::engine::policy::{Policy, SourceKind, SourcePolicy};
use recheck::engine::reason::Reason;

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
