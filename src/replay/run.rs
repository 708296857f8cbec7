//! Runs the engine over rows as if each had arrived when it was measured.

use crate::domain::reading::{Reading, SourceId};
use crate::domain::time::Timestamp;
use crate::engine::Engine;
use crate::engine::effect::Decision;
use crate::engine::event::Event;
use crate::engine::policy::{Policy, SourceKind, SourcePolicy};
use crate::formats::rows::Row;

/// Puts rows in order of measurement, and drops doubles; of two values at one time the first is kept.
pub fn put_in_order(rows: &mut Vec<Row>) {
    rows.sort_by_key(|row| row.measured);
    rows.dedup_by_key(|row| row.measured);
}

/// The settings as a file alone is lived by: it is one streaming source, and there is nobody to be called.
#[must_use]
pub fn in_a_file(mut policy: Policy) -> Policy {
    policy.sources = vec![SourcePolicy::new("replay", SourceKind::Streaming)];
    policy.people = Vec::new();
    policy
}

/// Lives through the rows with a fresh engine, and hands over each decision with its time. `rows` are in
/// order and without doubles. Time ends with the last row: what would fall due after it is not decided.
pub fn run(policy: Policy, rows: &[Row], mut each: impl FnMut(Timestamp, &Decision)) {
    let mut engine = Engine::new(in_a_file(policy));
    let mut batch = Event::Readings { rows: Vec::with_capacity(1), first_sight: false };
    for row in rows {
        while let Some(deadline) = engine.next_deadline().filter(|deadline| *deadline < row.measured) {
            for decision in engine.handle(&Event::Tick, deadline) {
                each(deadline, &decision);
            }
        }
        if let Event::Readings { rows: batch, .. } = &mut batch {
            batch.clear();
            batch.push(Reading { source: SourceId(0), measured: row.measured, glucose: row.glucose });
        }
        for decision in engine.handle(&batch, row.measured) {
            each(row.measured, &decision);
        }
    }
}
