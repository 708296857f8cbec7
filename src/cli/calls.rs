//! What `status` shows of who was called, and who answered.

use super::status::{clock_of, section, text};
use crate::domain::time::Timestamp;
use crate::engine::Engine;
use crate::engine::plan::Job;
use serde_json::{Value, json};

/// The low that nobody has answered yet, or somebody has, and who was called for it.
pub(super) fn of_the_low(engine: &Engine) -> Value {
    let state = engine.snapshot();
    state.register.calls_of_low().map_or(Value::Null, |(calls, _)| {
        json!({
            "since": stamp(engine, calls.since),
            "answered": calls.answered_at().map(|at| stamp(engine, at)),
            "by": calls.answered_by(),
            "called": people(engine, &calls.called),
            "told": people(engine, &calls.informed),
            "next": state.plan.due(Job::LowCalls).map(|at| stamp(engine, at)),
        })
    })
}

/// Other alerts that rang and are not over: answered or not, and who was called for each.
pub(super) fn of_others(engine: &Engine) -> Value {
    let state = engine.snapshot();
    let next = state.plan.due(Job::OtherCalls).map(|at| stamp(engine, at));
    let others = state.register.calls.iter().filter(|calls| calls.of_low().is_none());
    let all = others.map(|calls| {
        json!({
            "id": calls.id.0,
            "condition": calls.condition.name(),
            "rang": stamp(engine, calls.since),
            "answered": calls.answered_at().map(|at| stamp(engine, at)),
            "by": calls.answered_by(),
            "called": people(engine, &calls.called),
        })
    });
    json!({ "next": next, "alerts": all.collect::<Vec<Value>>() })
}

/// The same in lines.
pub(super) fn lines(low: &Value, others: &Value) -> Vec<String> {
    let mut lines = Vec::new();
    if low["since"].is_string() {
        let next = low["next"].as_str().map(|at| clock_of(Some(at)));
        let answered = match (low["answered"].as_str(), next) {
            (Some(at), _) => answered(at, low),
            (None, Some(next)) => format!("NOT ANSWERED, rings again {next}"),
            (None, None) => "not answered; it rings again if the value is low again".to_owned(),
        };
        lines.push(format!("Low since {}, {answered}", clock_of(low["since"].as_str())));
        section(&mut lines, "Called", &low["called"], person);
        section(&mut lines, "Told when it rang", &low["told"], person);
    }
    section(&mut lines, "Rang, and not over", &others["alerts"], |alert| {
        let state = match alert["answered"].as_str() {
            Some(at) => answered(at, alert),
            None => "not answered".to_owned(),
        };
        let called = alert["called"].as_array().map_or(&[][..], Vec::as_slice);
        let called: Vec<String> = called.iter().map(|call| person(call).trim().to_owned()).collect();
        let called = if called.is_empty() { String::new() } else { format!("; called {}", called.join(", ")) };
        format!(
            "{:>4}  {} {}, {state}{called}",
            alert["id"].to_string(),
            text(alert, "condition").replace('_', " "),
            clock_of(alert["rang"].as_str())
        )
    });
    lines
        .extend(others["next"].as_str().map(|at| format!("      the next of them rings again {}", clock_of(Some(at)))));
    lines
}

/// `answered 2026-03-02 02:14 by sam`
fn answered(at: &str, alert: &Value) -> String {
    let by = alert["by"].as_str().map_or_else(String::new, |by| format!(" by {by}"));
    format!("answered {}{by}", clock_of(Some(at)))
}

fn person(call: &Value) -> String {
    format!("      {} {}", text(call, "name"), clock_of(call["at"].as_str()))
}

fn people(engine: &Engine, told: &[(u8, Timestamp)]) -> Vec<Value> {
    let name = |person: u8| engine.policy().people.get(usize::from(person)).map(|person| person.name.clone());
    told.iter().map(|(person, at)| json!({ "name": name(*person), "at": stamp(engine, *at) })).collect()
}

fn stamp(engine: &Engine, at: Timestamp) -> String {
    engine.policy().zone.rfc3339(at)
}
