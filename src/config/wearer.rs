//! The wearer: how they read, how they take insulin, when they sleep, and what is always so of them.

use super::problem::Place;
use super::words::Words;
use crate::domain::glucose::Unit;
use crate::domain::insulin::{self, Insulin};
use crate::domain::ketone_table::KetoneTest;
use crate::domain::local::{Hours, TimeOfDay, Zone};
use crate::engine::mode::profile::Profile;
use crate::engine::policy::{Policy, Therapy};

/// Longest name of the wearer, and of others: titles must leave room for the value and the time.
pub(super) const NAME_CHARS_MAX: usize = 16;

/// Longest words for whom to call in an emergency: a sentence must stay one.
const EMERGENCY_CHARS_MAX: usize = 30;

/// What may be said of it.
const THERAPIES: &str = "\"injections\", \"pump\", \"self-adjusting\" or \"unknown\"";

pub(super) fn wearer(top: &mut Words<'_>, policy: &mut Policy, start: Place) {
    let wearer_node = top.take("wearer");
    let mut wearer = Words::of("wearer", wearer_node, start, top.problems());
    if let Some(zone) = wearer.parsed("timezone", "a name such as \"Europe/Madrid\"", Zone::named) {
        policy.zone = zone;
    }
    if let Some(unit) = wearer.parsed("unit", "\"mg/dL\" or \"mmol/L\"", Unit::named) {
        policy.unit = unit;
    }
    if let Some(therapy) = wearer.parsed("therapy", THERAPIES, therapy) {
        policy.therapy_is_known = therapy.is_some();
        policy.therapy = therapy.unwrap_or(Therapy::Injections);
    }
    if let Some(kind) = wearer.parsed("insulin", "\"rapid\", \"faster\" or \"regular\"", insulin) {
        policy.insulin = Insulin::of(kind);
    }
    if let Some(test) = wearer.parsed("ketone_test", "\"blood\", \"urine\" or \"none\"", KetoneTest::named) {
        policy.ketone_test = test;
    }
    wearer.span_within("absorption_peak", insulin::PEAK_MIN..=insulin::PEAK_MAX, &mut policy.insulin.absorption_peak);
    if let Some(night) = wearer.parsed("night", "hours such as \"23:00-07:00\"", Hours::parse) {
        policy.night = night;
    }
    policy.bedtime = wearer.parsed("bedtime", "a time of day such as \"22:45\"", TimeOfDay::parse);
    profiles(&mut wearer, policy);
    policy.name = wearer.text("name").map(|(_, name)| name.trim().chars().take(NAME_CHARS_MAX).collect());
    policy.emergency = emergency(&mut wearer);
    wearer.end();
}

/// What is always so of the wearer comes first: what is written of limits and calls comes after it, and wins.
fn profiles(wearer: &mut Words<'_>, policy: &mut Policy) {
    let place = wearer.place_of("profile").unwrap_or(wearer.place);
    for name in wearer.texts("profile") {
        match Profile::named(&name) {
            Some(profile) if !policy.profiles.contains(&profile) => {
                profile.change(&mut policy.levels, &mut policy.escalation);
                policy.profiles.push(profile);
            }
            Some(_) => {}
            None => {
                let known = Profile::ALL.map(|profile| format!("\"{}\"", profile.name())).join(" or ");
                wearer.wrong(place, format!("wearer.profile is \"{name}\""), format!("it should be {known}"));
            }
        }
    }
    policy.profiles.sort_unstable();
}

/// Whom to call in an emergency. A number must not be cut short.
fn emergency(wearer: &mut Words<'_>) -> Option<String> {
    let (place, text) = wearer.text("emergency")?;
    let text = text.trim();
    if text.is_empty() || text.chars().count() > EMERGENCY_CHARS_MAX || text.contains(char::is_control) {
        wearer.wrong(
            place,
            format!("wearer.emergency is \"{text}\""),
            format!("it should be the number to call, at most {EMERGENCY_CHARS_MAX} characters in one line"),
        );
    }
    Some(text.to_owned())
}

fn insulin(text: &str) -> Option<insulin::Kind> {
    insulin::Kind::ALL.into_iter().find(|kind| kind.name() == text)
}

/// A therapy, or that it is not known.
#[expect(clippy::option_option, reason = "a word that is none, one that means none, and one that means a therapy")]
fn therapy(text: &str) -> Option<Option<Therapy>> {
    match text {
        "injections" => Some(Some(Therapy::Injections)),
        "pump" => Some(Some(Therapy::Pump)),
        "self-adjusting" => Some(Some(Therapy::SelfAdjusting)),
        "unknown" => Some(None),
        _ => None,
    }
}
