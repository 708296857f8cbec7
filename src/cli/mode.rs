//! `recheck mode`: modes begun, ended and listed, and what `recheck status` shows of them.

use super::Place;
use super::print::{Failure, line};
use super::say::say;
use crate::config::words::{LIKENESS_MIN, SPAN_EXPECTED, span};
use crate::daemon::clock;
use crate::domain::mode::{Mode, Wish};
use crate::domain::time::{Span, Timestamp};
use crate::engine::Engine;
use crate::store::Store;
use crate::store::inbox::Said;
use serde_json::{Value, json};
use std::process::ExitCode;

pub(super) fn run(place: &Place, words: &[String]) -> Result<ExitCode, Failure> {
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    let wish = match words.as_slice() {
        [] => return list(place),
        ["off"] => Wish::End { mode: None },
        ["off", name] => Wish::End { mode: Some(named(name)?) },
        [name] => Wish::Begin { mode: named(name)?, span: None },
        [name, how_long] => Wish::Begin { mode: named(name)?, span: Some(lasting(how_long)?) },
        [_, _, rest @ ..] => {
            return Err(Failure::new(format!("\"{}\" is too much", rest.join(" ")))
                .hint("write it as: recheck mode driving 2h, or recheck mode off driving"));
        }
    };
    say(&place.state(), &Said::Mode(wish))
}

fn named(name: &str) -> Result<Mode, Failure> {
    Mode::named(name).ok_or_else(|| {
        let names = Mode::ALL.map(Mode::name);
        let near = names.into_iter().map(|known| (strsim::jaro_winkler(known, name), known));
        let near = near.filter(|(likeness, _)| *likeness >= LIKENESS_MIN).max_by(|a, b| a.0.total_cmp(&b.0));
        let near = near.map_or_else(String::new, |(_, known)| format!("did you mean {known}? "));
        let hint = format!("{near}the modes are: {}; `recheck mode off` ends them", names.join(", "));
        Failure::new(format!("there is no mode \"{name}\"")).hint(hint)
    })
}

fn lasting(text: &str) -> Result<Span, Failure> {
    span(text).filter(|span| *span >= Span::minutes(1)).ok_or_else(|| {
        Failure::new(format!("\"{text}\" is no time for a mode to last")).hint(format!("it should be {SPAN_EXPECTED}"))
    })
}

/// What is in force, and what was said and is not taken in yet.
fn list(place: &Place) -> Result<ExitCode, Failure> {
    let (settings, _) = place.settings_in_force()?;
    let now = clock::wall();
    let store = Store::look(&place.state())?;
    let saved = store.as_ref().map_or(Ok(None), Store::saved)?;
    let engine = Engine::restore(settings.policy, saved.and_then(|saved| saved.state).unwrap_or_default());
    let mut shown = lines(&all(&engine, now));
    for said in store.map_or_else(|| Ok(Vec::new()), |store| store.unanswered())? {
        let wish = match said.what {
            Said::Mode(Wish::Begin { mode, .. }) => mode.name().to_owned(),
            Said::Mode(Wish::End { mode }) => format!("off {}", mode.map_or("", Mode::name)),
            _ => continue,
        };
        shown.push(format!("      {} (taken in when `recheck run` starts)", wish.trim_end()));
    }
    if shown.is_empty() {
        line("No mode is on. Begin one with: recheck mode driving 2h");
    }
    for text in shown {
        line(&text);
    }
    Ok(ExitCode::SUCCESS)
}

/// Modes in force, profiles, the cautious limit that counts, and the wait of a driver.
pub(super) fn all(engine: &Engine, now: Timestamp) -> Value {
    let (policy, modes) = (engine.policy(), &engine.snapshot().modes);
    let stamp = |at: Timestamp| policy.zone.rfc3339(at);
    let in_force =
        modes.running.iter().filter(|running| running.until.max(running.after.unwrap_or(running.until)) > now);
    let cautious = engine.cautious(now);
    json!({
        "on": in_force.map(|running| json!({
            "mode": running.mode.name(),
            "since": stamp(running.since),
            "until": stamp(running.until),
            "after_until": running.after.map(stamp),
            "lasts": running.until > now,
        })).collect::<Vec<Value>>(),
        "profiles": policy.profiles.iter().map(|profile| profile.name()).collect::<Vec<&str>>(),
        "caution_below": cautious.map(|cautious| json!({
            "shown": cautious.limit.shown(policy.unit, None),
            "unit": policy.unit.name(),
            "mg_dl": cautious.limit.as_mg_dl(),
            "by": cautious.mode.map_or("profile", Mode::name),
        })),
        "next_look": engine.next_mode_look().map(stamp),
        "do_not_drive": engine.snapshot().plan.driving().map(|hold| json!({
            "since": stamp(hold.since),
            "until": hold.until().map(stamp),
        })),
    })
}

/// The same as lines, for people.
pub(super) fn lines(all: &Value) -> Vec<String> {
    let clock = super::status::clock_of;
    let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
    let list = |value: &Value| value.as_array().cloned().unwrap_or_default();
    let mut lines = Vec::new();
    let on = list(&all["on"]);
    if !on.is_empty() {
        lines.push("Modes".to_owned());
    }
    lines.extend(on.iter().map(|one| {
        let (name, until) = (text(&one["mode"]), clock(one["until"].as_str()));
        match (one["lasts"] == true, one["after_until"].as_str()) {
            (true, Some(after)) => {
                format!("      {name} until {until}, the hours after it until {}", clock(Some(after)))
            }
            (true, None) => format!("      {name} until {until}"),
            (false, after) => format!("      {name} is over, the hours after it until {}", clock(after)),
        }
    }));
    let profiles: Vec<String> = list(&all["profiles"]).iter().map(|name| text(name).replace('_', " ")).collect();
    if !profiles.is_empty() {
        lines.push(format!("Profile: {}", profiles.join(", ")));
    }
    if let Some(below) = all["caution_below"].as_object() {
        let shown = format!("{} {}", text(&below["shown"]), text(&below["unit"]));
        lines.push(format!("Caution below {shown} ({})", text(&below["by"])));
    }
    if let Some(next) = all["next_look"].as_str() {
        lines.push(format!("Next look of a mode {}", clock(Some(next))));
    }
    if let Some(hold) = all["do_not_drive"].as_object() {
        let until = hold["until"].as_str().map_or_else(
            || "the wait begins when the value is back".to_owned(),
            |until| format!("wait until {}", clock(Some(until))),
        );
        lines.push(format!("Do not drive yet: {until}"));
    }
    lines
}
