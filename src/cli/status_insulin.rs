//! What `recheck status` says of insulin that was noted: when, and what of its effect is still to come.

use crate::domain::insulin::words;
use crate::domain::time::{Span, Timestamp};
use crate::engine::Engine;
use crate::engine::policy::Therapy;
use serde_json::{Value, json};

/// The last dose; null when none is noted.
pub(super) fn value(engine: &Engine, now: Timestamp) -> Value {
    let (policy, doses) = (engine.policy(), &engine.snapshot().doses);
    let Some(last) = doses.taken().rfind(|at| *at <= now) else { return Value::Null };
    let after = now - last;
    let shown = policy.therapy != Therapy::SelfAdjusting && after <= policy.insulin.works_for();
    let share = shown.then(|| policy.insulin.still_to_come(after));
    json!({
        "last": policy.zone.rfc3339(last),
        "ago_min": after.as_minutes(),
        "still_to_come_percent": share.map(|share| (share * 100.0).round()),
        "still_to_come": share.map(words),
    })
}

/// The same in a line.
pub(super) fn line(insulin: &Value) -> Option<String> {
    let ago = Span::minutes(insulin["ago_min"].as_i64()?);
    let to_come = insulin["still_to_come"].as_str();
    let to_come =
        to_come.map_or_else(String::new, |words| format!(", {words} of its effect still to come, by an estimate"));
    Some(format!("Insulin last noted {ago} ago{to_come}"))
}
