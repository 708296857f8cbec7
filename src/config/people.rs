//! Others who are called when the wearer does not answer, and when.

use super::ends::Reach;
use super::problem::Place;
use super::words::Words;
use crate::domain::local::Hours;
use crate::domain::time::Span;
use crate::engine::policy::{EscalationPolicy, PEOPLE_MAX, PersonPolicy, Policy};
use std::collections::BTreeMap;

pub(super) fn people(top: &mut Words<'_>, policy: &mut Policy, reaches: &mut BTreeMap<String, Reach>, start: Place) {
    let node = top.take("person");
    let mut all = Words::of("person", node, start, top.problems());
    let mut found: Vec<(usize, Place, PersonPolicy, Vec<String>)> = Vec::new();
    for (name, node) in all.take_all() {
        let place = node.place;
        let mut words = Words::of(&format!("person.{name}"), Some(node), place, all.problems());
        let order = words.number("order", 1..=PEOPLE_MAX).unwrap_or(found.len() + 1);
        let hours = words.parsed("hours", "hours such as \"18:00-08:00\"", Hours::parse);
        let channels = words.texts("channels");
        if channels.is_empty() {
            words.wrong(place, format!("person.{name} has no channels"), "name the channels that reach this person");
        }
        for (before, channel) in channels.iter().enumerate() {
            if channels.iter().take(before).any(|known| known == channel) {
                words.wrong(place, format!("person.{name} names channel \"{channel}\" twice"), "name it once");
            } else if !reaches.contains_key(channel) {
                let known: Vec<&str> = reaches.keys().map(String::as_str).collect();
                words.wrong(
                    place,
                    format!("person.{name}: there is no channel \"{channel}\""),
                    format!("the channels are: {}", known.join(", ")),
                );
            }
        }
        if found.iter().any(|(known, ..)| *known == order) {
            words.wrong(place, format!("two people have order {order}"), "the second person is 1, the third is 2");
        }
        words.end();
        found.push((order, place, PersonPolicy { name, hours }, channels));
    }
    if found.len() > PEOPLE_MAX {
        let place = found.last().map_or(start, |(_, place, ..)| *place);
        all.wrong(place, "there are more than two people to call", "leave the second and the third");
    }
    found.sort_by_key(|(order, ..)| *order);
    for (number, (_, place, person, channels)) in (0..).zip(found) {
        for channel in &channels {
            if let Some(reach) = reaches.get_mut(channel) {
                if reach.owner.is_some_and(|owner| owner != number) {
                    all.wrong(place, format!("channel.{channel} reaches two people"), "give each their own channel");
                }
                reach.owner = Some(number);
            }
        }
        policy.people.push(person);
    }
    if !reaches.is_empty() && reaches.values().all(|reach| reach.owner.is_some() || reach.later) {
        all.wrong(
            start,
            "no channel reaches the wearer at once",
            "leave one that is nobody else's, without later = true",
        );
    }
    all.end();
}

pub(super) fn escalation(top: &mut Words<'_>, policy: &mut EscalationPolicy, start: Place) {
    let node = top.take("escalation");
    let mut words = Words::of("escalation", node, start, top.problems());
    let place = words.place;
    for (name, span) in [
        ("repeat", &mut policy.repeat),
        ("second_by_night", &mut policy.second_by_night),
        ("second_by_day", &mut policy.second_by_day),
        ("third", &mut policy.third),
        ("every", &mut policy.every),
        ("low_unanswered", &mut policy.low_unanswered),
        ("low_answered", &mut policy.low_answered),
        ("not_recovering", &mut policy.not_recovering),
        ("gap_by_night", &mut policy.gap_by_night),
    ] {
        words.span(name, span);
        // No value may mean "never" by accident.
        if *span < Span::minutes(1) || *span > Span::hours(2) {
            words.wrong(place, format!("escalation.{name} is out of range"), "it should be from 1m to 2h");
        }
    }
    words.end();
}
