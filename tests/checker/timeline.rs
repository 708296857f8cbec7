//! Shows a break: what was promised, why it is broken, and the hours around it as a timeline that a document of
//! docs/behaviour can begin with. Judges nothing.

use super::lives::DAY;
use super::record::{Given, HOUR, In, MIN, Ms, Note, Record, Side, Therapy};
use super::verdict::Stake;
use std::fmt::Write as _;

/// The hours before a break, and after it.
const BEFORE: Ms = 3 * HOUR;
const AFTER: Ms = 20 * MIN;

pub(crate) fn show(record: &Record, stake: &Stake) -> String {
    let start = (stake.at - BEFORE).max(record.from).div_euclid(24 * HOUR) * 24 * HOUR;
    let clock = |at: Ms| {
        let minutes = (at - start).div_euclid(MIN);
        format!("{:02}:{:02}", minutes / 60, minutes % 60)
    };
    let mut text = String::new();
    let why = stake.broken.as_deref().unwrap_or("kept");
    let _ = writeln!(
        text,
        "{} in {}, at {} (day {}): {why}",
        stake.promise,
        record.name,
        clock(stake.at),
        (start - DAY) / 24 / HOUR
    );
    let _ = writeln!(text, "```timeline");
    match record.settings.therapy {
        Therapy::Pump => text.push_str("set wearer.therapy=pump\n"),
        Therapy::SelfAdjusting => text.push_str("set wearer.therapy=self-adjusting\n"),
        Therapy::Injections | Therapy::Unknown => {}
    }
    for person in &record.settings.people {
        let name = person.name.to_lowercase();
        let _ = writeln!(text, "set channel.{name}.kind=desktop\nset person.{name}.channels={name}");
    }
    let near = |at: Ms| (stake.at - BEFORE..=stake.at + AFTER).contains(&at);
    for given in record.given.iter().filter(|given| near(given.at)) {
        let _ = writeln!(text, "{} {}", clock(given.at), line(given, &clock));
    }
    for out in record.out.iter().filter(|out| near(out.at)) {
        let to = match &out.to {
            Some(name) => {
                let place = record.settings.people.iter().position(|person| &person.name == name);
                format!(" rings person {}", place.map_or(0, |place| place + 1))
            }
            None if out.rings => " rings".to_owned(),
            None => String::new(),
        };
        let title = if out.rings { format!(" \"{}\"", out.title) } else { String::new() };
        let _ = writeln!(text, "{} -> {} {} {}{to}{title}", clock(out.at), out.event, out.condition, out.reason);
    }
    text.push_str("```\n");
    text
}

fn number(hundredths: i32) -> String {
    if hundredths % 100 == 0 {
        (hundredths / 100).to_string()
    } else {
        format!("{}.{:02}", hundredths / 100, hundredths % 100)
    }
}

fn line(given: &Given, clock: &dyn Fn(Ms) -> String) -> String {
    match &given.what {
        In::Started => "started".to_owned(),
        In::Reading { measured, value, signal, .. } => {
            let from = if *signal > 0 { format!(" from {signal}") } else { String::new() };
            if given.at - measured > MIN {
                format!("brings {}-{} at {}", clock(*measured), clock(*measured), number(*value))
            } else {
                format!("reads {}{from}", number(*value))
            }
        }
        In::Line { at, note, .. } | In::Amended { at, note, .. } => {
            let amended = if matches!(given.what, In::Amended { .. }) { " (amended)" } else { "" };
            let when = if given.at - at > MIN { format!(" at {}", clock(*at)) } else { String::new() };
            format!("{}{when}{amended}", noted(note))
        }
        In::Deleted { line } => format!("deletes line {line}"),
        In::Seen { by: Some(by) } => format!("seen by {by}"),
        In::Seen { by: None } => "seen".to_owned(),
        In::With { by } => format!("with by {by}"),
        In::Mode { mode, until } => format!("mode {mode} {}m", (until - given.at) / MIN),
        In::ModeOff { mode } => format!("mode off {mode}"),
        In::Mute { condition, until } => {
            format!("quiet {}m {}", (until - given.at) / MIN, condition.unwrap_or_default()).trim_end().to_owned()
        }
        In::ClockStepped { by } => format!("clock set by {} min", by / MIN),
        In::Unwatched { from, slept } => {
            format!("unwatched {} {}", clock(*from), if *slept { "slept" } else { "stopped" })
        }
        In::Channels { working, failing } => {
            format!("channels {working}{}", " failing".repeat(*failing))
        }
    }
}

fn noted(note: &Note) -> String {
    match note {
        Note::Treated(Side::Low) => "treated low".to_owned(),
        Note::Treated(Side::High) => "treated high".to_owned(),
        Note::Insulin(_) => "notes insulin".to_owned(),
        Note::LongActing(_) => "notes long-acting".to_owned(),
        Note::Carbohydrate(_) => "notes carbohydrate".to_owned(),
        Note::Meter(value) => format!("meter {}", number(*value)),
        Note::Ketones(value) => format!("notes ketones {}", number(*value)),
        Note::Urine(word) => format!("notes urine ketones {word}"),
        Note::Symptoms(words) => format!("notes symptoms {words}"),
        Note::Exercise => "notes exercise".to_owned(),
        Note::Site => "notes site".to_owned(),
        Note::SensorOn => "notes sensor-start".to_owned(),
        Note::SensorOff => "notes sensor-stop".to_owned(),
    }
}
