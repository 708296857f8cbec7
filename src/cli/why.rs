//! `recheck why`: the chain behind an alert, or behind a silence.

use super::print::{Failure, folded, line};
use super::{Place, exclude};
use crate::daemon::clock;
use crate::domain::time::{Span, Timestamp};
use crate::engine::effect::{Audience, Id, Priority};
use crate::engine::policy::Policy;
use crate::store::Store;
use crate::store::history::Past;
use crate::wording::{Voice, reason};
use std::process::ExitCode;

/// Decisions shown when none is asked for.
const LAST: u32 = 20;

/// Readings shown before the first decision of an alert.
const READINGS_BEFORE_MIN: i64 = 45;

pub(super) fn run(place: &Place, id: Option<u64>) -> Result<ExitCode, Failure> {
    let (settings, clock) = place.settings_in_force()?;
    let Some(store) = Store::look(&place.state())? else {
        return Err(Failure::new("nothing has been decided yet").hint("start watching with `recheck run`"));
    };
    let voice = Voice::new(&settings.policy, clock::wall());
    let decisions = match id {
        Some(id) => store.decisions_about(id)?,
        None => store.last_decisions(LAST)?,
    };
    let Some(first) = decisions.first() else {
        return Err(match id {
            Some(id) => Failure::new(format!("nothing has been decided about {id} yet"))
                .hint("`recheck why` without a number shows the last decisions"),
            None => Failure::new("nothing has been decided yet").hint("`recheck status` shows whether readings arrive"),
        });
    };
    if id.is_some() {
        readings(&store, voice, first.at)?;
    }
    for text in exclude::covering(&store, &clock, voice.now)? {
        folded(&text);
    }
    for past in &decisions {
        decision(&store, &settings.policy, voice, past)?;
    }
    Ok(ExitCode::SUCCESS)
}

fn readings(store: &Store, voice: Voice, until: Timestamp) -> Result<(), Failure> {
    let readings = store.readings_since(until - Span::minutes(READINGS_BEFORE_MIN))?;
    let shown: Vec<String> = readings
        .iter()
        .filter(|reading| reading.measured <= until)
        .map(|reading| format!("{} {}", voice.zone.clock(reading.measured), reading.glucose.shown(voice.unit, None)))
        .collect();
    if !shown.is_empty() {
        line(&format!("Readings in {} before it:", voice.unit.name()));
        for row in shown.chunks(6) {
            line(&format!("  {}", row.join("   ")));
        }
    }
    Ok(())
}

fn decision(store: &Store, policy: &Policy, voice: Voice, past: &Past) -> Result<(), Failure> {
    let at = voice.zone.clock_seen_from(past.at, voice.now);
    // What is no alert has no number, and no priority worth a word.
    let id = if past.decision.id == Id(0) { String::new() } else { format!("[{}] ", past.decision.id) };
    let priority = match past.decision.priority {
        Priority::Information => String::new(),
        priority => format!(" ({} priority)", priority.name()),
    };
    let to = match past.decision.to {
        Audience::Wearer => String::new(),
        Audience::Person(person) => {
            let name = policy.people.get(usize::from(person)).map_or("somebody else", |person| person.name.as_str());
            format!(" (to {name})")
        }
    };
    folded(&format!("{at}  {id}{}{priority}{to}", reason::line(&past.decision, voice)));
    for delivery in store.deliveries(past.number)? {
        let last = delivery
            .last
            .as_ref()
            .map_or_else(|| "not tried".to_owned(), |(at, words)| format!("{} at {}", words, voice.zone.clock(*at)));
        let tries = if delivery.tries > 1 { format!(", {} tries", delivery.tries) } else { String::new() };
        folded(&format!("         {}: {} ({last}{tries}): {}", delivery.channel, delivery.state, delivery.title));
    }
    Ok(())
}
