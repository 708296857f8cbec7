//! The part of `recheck status` that is about what does not ring just now: quiet hours and what waits for their end.

use crate::domain::time::Timestamp;
use crate::engine::Engine;
use crate::engine::hours::Held;
use crate::wording::text::text;
use serde_json::{Value, json};

/// Rings that wait for the end of quiet hours.
pub(super) fn waiting(engine: &Engine) -> Vec<Value> {
    let policy = engine.policy();
    let line = |held: &Held| {
        json!({
            "condition": held.decision.condition.name(),
            "at": policy.zone.rfc3339(held.at),
            "words": text(&held.decision, policy, held.at).title,
        })
    };
    engine.snapshot().waiting.rings.iter().map(line).collect()
}

/// Until when quiet hours last, if it is within them.
pub(super) fn quiet_hours(engine: &Engine, now: Timestamp) -> Value {
    let quiet = engine.quiet_around(now);
    json!(quiet.inside.then(|| engine.policy().zone.rfc3339(quiet.until)))
}
