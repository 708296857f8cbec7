//! The part of `recheck status` that is about what does not ring: limited silences, quiet hours and what waits for
//! their end, and levels that are switched off.

use super::status::{clock_of, section, text as part};
use crate::domain::time::Timestamp;
use crate::engine::Engine;
use crate::engine::alert::hours::Held;
use crate::engine::service::OffBecause;
use crate::wording::text::text;
use serde_json::{Value, json};

/// Limited silences that run.
pub(super) fn quiet(engine: &Engine, now: Timestamp) -> Vec<Value> {
    let running = engine.snapshot().quiet.iter().filter(|quiet| quiet.until > now);
    let stamp = |at: Timestamp| engine.policy().zone.rfc3339(at);
    running.map(|quiet| json!({ "condition": quiet.condition.name(), "until": stamp(quiet.until) })).collect()
}

/// Until when quiet hours last, if it is within them.
pub(super) fn quiet_hours(engine: &Engine, now: Timestamp) -> Value {
    let quiet = engine.quiet_around(now);
    json!(quiet.inside.then(|| engine.policy().zone.rfc3339(quiet.until)))
}

/// Rings that wait for their end.
pub(super) fn held(engine: &Engine) -> Vec<Value> {
    let policy = engine.policy();
    let ring = |held: &Held| {
        json!({
            "condition": held.decision.condition.name(),
            "at": policy.zone.rfc3339(held.at),
            "words": text(&held.decision, policy, held.at).title,
        })
    };
    engine.snapshot().kept.rings.iter().map(ring).collect()
}

/// Levels that are switched off, since when, and why.
pub(super) fn out_of_service(engine: &Engine) -> Vec<Value> {
    let stamp = |at: Timestamp| engine.policy().zone.rfc3339(at);
    let off = |level: OffBecause| {
        json!({
            "condition": level.off.condition.name(), "since": stamp(level.off.since), "because": level.because,
        })
    };
    engine.switched_off().into_iter().map(off).collect()
}

/// The same for people.
pub(super) fn lines(lines: &mut Vec<String>, all: &Value) {
    let clock = |value: &Value| clock_of(value.as_str());
    section(lines, "Quiet", &all["quiet"], |quiet| {
        format!("      {} until {}", part(quiet, "condition"), clock(&quiet["until"]))
    });
    section(lines, "Switched off in the settings", &all["out_of_service"], |off| {
        format!("      {} since {}: {}", part(off, "condition"), clock(&off["since"]), part(off, "because"))
    });
    lines.extend(all["quiet_hours_until"].as_str().map(|at| format!("Quiet hours until {}", clock_of(Some(at)))));
    section(lines, "Told when they are over, if it still stands", &all["held"], |held| {
        format!("      {} {}", clock(&held["at"]), part(held, "words"))
    });
}
