//! What `recheck replay --json` prints: one object a decision, as docs/replay.md promises.

use crate::domain::glucose::Glucose;
use crate::domain::local::Zone;
use crate::domain::time::Timestamp;
use crate::engine::effect::{Decision, Id, What};
use serde::Serialize;

/// One line. Every key is on every line.
#[derive(Debug, Serialize)]
struct Line<'a> {
    file: Option<&'a str>,
    at: String,
    event: &'static str,
    id: u64,
    part_of: Option<u64>,
    condition: &'static str,
    priority: &'static str,
    glucose_mg_dl: Option<f64>,
    reading_at: Option<String>,
    reason: &'static str,
}

/// A decision on a file, or without one on the wearer's own history; none for what has no line.
pub(super) fn line(file: Option<&str>, zone: Zone, at: Timestamp, decision: &Decision) -> Option<String> {
    // In a file there is nobody to be called, and past readings, stretches not watched and answers do not happen.
    if file.is_some() && matches!(decision.what, What::Called | What::Told | What::Answer) {
        return None;
    }
    let written = Line {
        file,
        at: zone.rfc3339(at),
        event: decision.what.name(),
        id: decision.id.0,
        part_of: decision.part_of.map(|Id(id)| id),
        condition: decision.condition.name(),
        priority: decision.priority.name(),
        glucose_mg_dl: decision.glucose.map(Glucose::as_mg_dl),
        reading_at: decision.reading_at.map(|at| zone.rfc3339(at)),
        reason: decision.reason.word(),
    };
    let text = serde_json::to_string(&written);
    Some(text.unwrap_or_else(|error| unreachable!("texts and numbers are JSON: {error}")))
}
