//! What `recheck replay --json` prints: one object a decision, as docs/replay.md promises.

use crate::domain::glucose::{Glucose, Measured};
use crate::domain::local::Zone;
use crate::domain::time::Timestamp;
use crate::engine::effect::{Audience, Condition, Decision, Id, What};
use crate::engine::outcome::Outcome;
use crate::engine::policy::Policy;
use crate::engine::reason::Reason;
use crate::outbox::reached::reached;
use crate::wording::text::text;
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
    rings: bool,
    to: Vec<&'a str>,
    title: Option<String>,
    outcome: Option<&'static str>,
    message: Option<u64>,
    beyond: Option<&'static str>,
}

/// A life whose decisions become lines.
#[derive(Debug, Clone, Copy)]
pub(super) struct Life<'a> {
    /// The file that was lived through, as it was named; none of the wearer's own history.
    pub(super) file: Option<&'a str>,
    /// Can somebody be called in it, or answer? In a file alone there is nobody.
    pub(super) with_others: bool,
    /// What it was lived by.
    pub(super) policy: &'a Policy,
    /// What was decided before is lived through, and has no line.
    pub(super) from: Option<Timestamp>,
}

/// What a message is on a line of it.
struct Part<'a> {
    number: u64,
    is_first: bool,
    /// The decision whose text arrives.
    arrives: &'a Decision,
}

/// The lines of a life's decisions, oldest first, by the zone of each instant.
pub(super) fn lines(
    life: &Life<'_>,
    decisions: &[(Timestamp, Decision)],
    zone: impl Fn(Timestamp) -> Zone,
    mut each: impl FnMut(&str),
) {
    let has_line = |what: What| life.with_others || !matches!(what, What::Called | What::Told | What::Answer);
    let mut policy = life.policy.clone();
    let mut messages = 0;
    for instant in decisions.chunk_by(|(one, _), (next, _)| one == next) {
        let at = instant[0].0;
        let told: Vec<&Decision> =
            instant.iter().map(|(_, decision)| decision).filter(|decision| has_line(decision.what)).collect();
        policy.zone = zone(at);
        let arrives = reached(&told);
        let mut numbers: Vec<(usize, u64)> = Vec::new();
        for (decision, arrives) in told.iter().zip(arrives) {
            let part = arrives.map(|place| {
                let known = numbers.iter().find(|(known, _)| *known == place).map(|(_, number)| *number);
                let number = known.unwrap_or_else(|| {
                    messages += 1;
                    numbers.push((place, messages));
                    messages
                });
                Part { number, is_first: known.is_none(), arrives: told[place] }
            });
            if life.from.is_none_or(|from| at >= from) {
                each(&line(life.file, &policy, at, decision, part.as_ref()));
            }
        }
    }
}

fn line(file: Option<&str>, policy: &Policy, at: Timestamp, decision: &Decision, part: Option<&Part<'_>>) -> String {
    let zone = policy.zone;
    let beyond = decision.glucose.and_then(beyond);
    let written = Line {
        file,
        at: zone.rfc3339(at),
        event: decision.what.name(),
        id: decision.id.0,
        part_of: decision.part_of.map(|Id(id)| id),
        condition: decision.condition.name(),
        priority: decision.priority.name(),
        // What a sensor only says to be beyond its range is no number.
        glucose_mg_dl: decision.glucose.filter(|_| beyond.is_none()).map(Glucose::as_mg_dl),
        reading_at: decision.reading_at.map(|at| zone.rfc3339(at)),
        reason: decision.reason.word(),
        rings: part.is_some_and(|part| part.is_first),
        to: part.map(|_| name(policy, decision.to)).into_iter().collect(),
        title: part.map(|part| text(part.arrives, policy, at).title),
        outcome: outcome(decision).map(Outcome::name),
        message: part.map(|part| part.number),
        beyond,
    };
    let text = serde_json::to_string(&written);
    text.unwrap_or_else(|error| unreachable!("texts and numbers are JSON: {error}"))
}

fn name(policy: &Policy, to: Audience) -> &str {
    match to {
        Audience::Wearer => "wearer",
        Audience::Person(place) => policy.people.get(usize::from(place)).map_or("", |person| person.name.as_str()),
    }
}

const fn beyond(glucose: Glucose) -> Option<&'static str> {
    match glucose.measured() {
        Measured::Number => None,
        Measured::BelowRange => Some("below"),
        Measured::AboveRange => Some("above"),
    }
}

/// What a look at a treated high found.
fn outcome(decision: &Decision) -> Option<Outcome> {
    if !matches!(decision.condition, Condition::RecheckHigh) {
        return None;
    }
    match &decision.reason {
        Reason::ComingDown { found, .. }
        | Reason::TooEarly { found, .. }
        | Reason::NotComingDown { found, .. }
        | Reason::FallingTooFast { found, .. }
        | Reason::Back { found: Some(found), .. } => Some(found.outcome),
        Reason::HighStays(question) => question.found.map(|found| found.outcome),
        Reason::NoFreshReading { .. } => Some(Outcome::Unseen),
        _ => None,
    }
}
