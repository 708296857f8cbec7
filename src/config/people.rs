//! Others beside the wearer: who they are, by which channels they are reached, in which hours, and what they are told.

use super::ends::Reach;
use super::problem::Place;
use super::wearer::NAME_CHARS_MAX;
use super::words::Words;
use crate::domain::schedule::Schedule;
use crate::engine::policy::{Line, PEOPLE_MAX, PersonPolicy, Policy, Tells};
use std::collections::BTreeMap;

const HOURS_EXPECTED: &str = "hours such as \"18:00-08:00\" or \"mon-fri 08:00-16:00; sat 09:00-13:00\"";

pub(super) fn people(top: &mut Words<'_>, policy: &mut Policy, reaches: &mut BTreeMap<String, Reach>, start: Place) {
    let node = top.take("person");
    let mut all = Words::of("person", node, start, top.problems());
    let mut found: Vec<(usize, Place, PersonPolicy, Vec<String>)> = Vec::new();
    for (name, node) in all.take_all() {
        let place = node.place;
        let mut words = Words::of(&format!("person.{name}"), Some(node), place, all.problems());
        let order = words.number("order", 1..=PEOPLE_MAX).unwrap_or(found.len() + 1);
        if name.chars().count() > NAME_CHARS_MAX {
            let hint = format!("a name has at most {NAME_CHARS_MAX} characters: titles must leave room for the time");
            words.wrong(place, format!("person.{name} has a long name"), hint);
        }
        let hours = words.parsed("hours", HOURS_EXPECTED, Schedule::parse);
        let line = words.parsed("line", "\"first\" or \"escalation\"", line);
        let tells = tells(&mut words, line.unwrap_or_default());
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
            words.wrong(place, format!("two people have order {order}"), "1 is called first, then 2, and so on");
        }
        let at_once = |channel: &String| reaches.get(channel).is_none_or(|reach| !reach.later);
        if line == Some(Line::First) && !channels.iter().any(at_once) {
            words.wrong(
                place,
                format!("person.{name} is told first, and no channel reaches them at once"),
                "leave one without later = true",
            );
        }
        words.end();
        found.push((order, place, PersonPolicy { name, hours, line: line.unwrap_or_default(), tells }, channels));
    }
    if found.len() > PEOPLE_MAX {
        let place = found.last().map_or(start, |(_, place, ..)| *place);
        all.wrong(place, format!("there are more than {PEOPLE_MAX} people"), "leave those who can come soonest");
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

/// What somebody is told of, who is told at the first ring.
fn tells(words: &mut Words<'_>, line: Line) -> Tells {
    let Some((place, names)) = words.placed_texts("tells") else { return Tells::default() };
    if line != Line::First {
        words.wrong(
            place,
            "tells is for somebody who is told at the first ring",
            "add line = \"first\", or leave it out: whoever is called is told what they are called for",
        );
    }
    let mut tells = Tells { lows: false, highs: false, gaps: false };
    if names.is_empty() {
        words.wrong(place, "tells is empty", "name lows, highs or gaps, or leave line = \"first\" out");
    }
    for (place, name) in names {
        match name.as_str() {
            "lows" => tells.lows = true,
            "highs" => tells.highs = true,
            "gaps" => tells.gaps = true,
            _ => words.wrong(place, format!("\"{name}\" is nothing to tell"), "it can be lows, highs and gaps"),
        }
    }
    tells
}

fn line(text: &str) -> Option<Line> {
    match text {
        "first" => Some(Line::First),
        "escalation" => Some(Line::Escalation),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::meant::{Purpose, settings};
    use crate::domain::local::Zone;

    fn read(person: &str) -> Result<Vec<PersonPolicy>, Vec<String>> {
        let channels = "[channel.mine]\nkind = \"desktop\"\n[channel.sam]\nkind = \"desktop\"\nlater = true\n\
                        [channel.kim]\nkind = \"desktop\"\n";
        let read = settings(&format!("{channels}{person}"), None, &[], Purpose::Replay, Zone::UTC);
        read.map(|read| read.policy.people).map_err(|problems| {
            assert!(problems.all.iter().all(|problem| !problem.hint.is_empty()), "{problems}");
            problems.all.into_iter().map(|problem| problem.what).collect()
        })
    }

    #[test]
    fn somebody_is_called_for_lows_at_any_hour_if_nothing_else_is_said() {
        let people = read("[person.kim]\nchannels = \"kim\"\n").unwrap();
        let kim = PersonPolicy {
            name: "kim".to_owned(),
            hours: None,
            line: Line::Escalation,
            tells: Tells { lows: true, highs: false, gaps: false },
        };
        assert_eq!(people, [kim]);
    }

    #[test]
    fn hours_of_the_week_and_what_is_told_are_read() {
        let text = "[person.kim]\nchannels = \"kim\"\nhours = \"mon-fri 08:00-16:00; sat 09:00-13:00\"\n\
                    line = \"first\"\ntells = [\"highs\", \"gaps\"]\n";
        let kim = read(text).unwrap().remove(0);
        assert_eq!((kim.line, kim.tells), (Line::First, Tells { lows: false, highs: true, gaps: true }));
        assert_eq!(kim.hours.unwrap().to_string(), "Mon, Tue, Wed, Thu, Fri 08:00-16:00; Sat 09:00-13:00");
    }

    #[test]
    fn mistakes_are_named() {
        for (person, wanted) in [
            ("channels = \"kim\"\nhours = \"mon 9-12\"\n", "person.kim.hours is \"mon 9-12\""),
            ("channels = \"kim\"\nline = \"last\"\n", "person.kim.line is \"last\""),
            ("channels = \"kim\"\ntells = \"lows\"\n", "tells is for somebody who is told at the first ring"),
            ("channels = \"kim\"\nline = \"first\"\ntells = []\n", "tells is empty"),
            ("channels = \"kim\"\nline = \"first\"\ntells = \"all\"\n", "\"all\" is nothing to tell"),
            ("channels = \"sam\"\nline = \"first\"\n", "person.kim is told first, and no channel reaches them at once"),
            ("channels = \"kim\"\norder = 7\n", "person.kim.order is not such a number"),
        ] {
            assert_eq!(read(&format!("[person.kim]\n{person}")).unwrap_err(), [wanted]);
        }
        let long = read("[person.the-neighbour-downstairs]\nchannels = \"kim\"\n").unwrap_err();
        assert_eq!(long, ["person.the-neighbour-downstairs has a long name"]);
    }
}
