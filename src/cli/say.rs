//! `seen`, `treated`, `note`: what the wearer says. It is kept first; then the daemon, if one runs, is
//! woken and asked what it understood.

use super::kind::kind_of;
use super::print::{ASKED_BACK, Failure, folded, line};
use super::{Place, open_store};
use crate::config::words::{SPAN_EXPECTED, span};
use crate::daemon::{clock, control};
use crate::domain::diary::{Kind, Note};
use crate::domain::local::TimeOfDay;
use crate::domain::reading::SourceId;
use crate::domain::time::{Span, Timestamp};
use crate::domain::travel::WallClock;
use crate::engine::effect::{Condition, Id, Side};
use crate::engine::event::{Trusted, Which};
use crate::formats::noted::{self, Told, implied};
use crate::formats::stamp::{Read, Stamp};
use crate::store::Store;
use crate::store::inbox::Said;
use std::path::Path;
use std::process::ExitCode;
use std::time::Duration;

/// How long a running daemon is given to answer.
const ANSWER_MAX: Duration = Duration::from_secs(5);

/// How often the answer is looked for.
const LOOK_EVERY: Duration = Duration::from_millis(10);

pub(super) fn seen(place: &Place, id: Option<u64>, by: Option<&str>, with: bool) -> Result<ExitCode, Failure> {
    let by = match by {
        None => None,
        Some(name) => Some(person(place, name)?),
    };
    let which = id.map(Id);
    let said = match by {
        Some(by) if with => Said::With { which, by },
        by => Said::Seen { which, by },
    };
    say(&place.state(), &said)
}

/// Somebody in the settings, by their name. A name that is not there must not wait for a daemon to say so.
fn person(place: &Place, name: &str) -> Result<String, Failure> {
    let people = place.settings_to_show(&[], crate::config::files::computer_zone())?.policy.people;
    let names: Vec<String> = people.into_iter().map(|person| person.name).collect();
    let known = names.iter().find(|known| known.to_lowercase() == name.trim().to_lowercase());
    known.cloned().ok_or_else(|| {
        Failure::new(format!("there is nobody called \"{name}\" in the settings")).hint(if names.is_empty() {
            "without --by it is you who has seen it; others are named in [person.NAME]".to_owned()
        } else {
            format!("it can be one of: {}", names.join(", "))
        })
    })
}

pub(super) fn treated(
    place: &Place,
    which: Option<&str>,
    at: Option<&str>,
    look: Option<&str>,
) -> Result<ExitCode, Failure> {
    if which == Some("low") && look.is_some() {
        return Err(Failure::new("--look is for a high").hint("a treated low is looked at until it is back"));
    }
    let which = match which {
        None => None,
        Some("high") => Some(Which::Side(Side::High)),
        Some("low") => Some(Which::Side(Side::Low)),
        Some(number) => Some(Which::Alert(Id(number.parse().map_err(|_| {
            Failure::new(format!("\"{number}\" is not something to treat"))
                .hint("say high, low, or the number of an alert from `recheck status`")
        })?))),
    };
    let look = match look {
        None => None,
        Some(text) => Some(span(text).filter(|span| *span > Span::ZERO).ok_or_else(|| {
            Failure::new(format!("--look is \"{text}\"")).hint(format!("it should be {SPAN_EXPECTED}"))
        })?),
    };
    let (_, clock) = place.settings_in_force()?;
    say(&place.state(), &Said::Treated { which, at: when(at, &clock)?, look })
}

pub(super) fn note(place: &Place, kind: &str, words: &[String], at: Option<&str>) -> Result<ExitCode, Failure> {
    let (settings, clock) = place.settings_in_force()?;
    let implied = implied(kind);
    let (kind, words) = kind_of(kind, words, settings.policy.unit)?;
    let said: Vec<&str> = words.iter().map(String::as_str).collect();
    if let (Kind::Sensor, [name, what @ ("start" | "stop")]) = (&kind, said.as_slice()) {
        return Err(Failure::new(format!("it is not clear whether a sensor is to {what}"))
            .hint(format!("write it as: recheck note sensor {what} {name}")));
    }
    let at = noted_at(&kind, at, &clock)?;
    let words: Vec<&str> = implied.into_iter().chain(said).collect();
    say(&place.state(), &Said::Noted(Note { at, kind, words: words.join(" ") }))
}

/// When it happened. What a laboratory or a clinic did may be of a day: then it was at noon.
pub(super) fn noted_at(kind: &Kind, text: Option<&str>, clock: &WallClock) -> Result<Timestamp, Failure> {
    let of_a_day = matches!(kind, Kind::A1c(_) | Kind::Therapy);
    let day = text.filter(|_| of_a_day).and_then(super::zone::day);
    let Some((day, text)) = day.zip(text) else { return when(text, clock) };
    let now = clock::wall();
    let has_come = day <= clock.zone_at(now).wall(now).date();
    let noon = on_clock(&format!("{text} 12:00"), clock, now).filter(|_| has_come);
    noon.map(|at| at.min(now)).ok_or_else(|| in_the_future(text))
}

fn in_the_future(text: &str) -> Failure {
    Failure::new(format!("--at {text} is in the future")).hint("note it when it has happened")
}

pub(super) fn quiet(place: &Place, how_long: &str, condition: Option<&str>) -> Result<ExitCode, Failure> {
    if how_long == "off" {
        return say(&place.state(), &Said::QuietOff);
    }
    let span = span(how_long).filter(|span| *span >= Span::minutes(1)).ok_or_else(|| {
        Failure::new(format!("\"{how_long}\" is no time to be quiet"))
            .hint("say `recheck quiet 30m`, `recheck quiet 30m high`, or `recheck quiet off`")
    })?;
    let can_be: Vec<&str> =
        Condition::ALL.into_iter().filter(|one| one.mute_longest().is_some()).map(Condition::name).collect();
    let condition = match condition {
        None => None,
        Some(name) => Some(Condition::named(name).filter(|one| one.mute_longest().is_some()).ok_or_else(|| {
            Failure::new(format!("there is no \"{name}\" to be quiet"))
                .hint(format!("it can be one of: {}", can_be.join(", ")))
        })?),
    };
    say(&place.state(), &Said::Quiet { span, condition })
}

pub(super) fn trust(place: &Place, which: &str) -> Result<ExitCode, Failure> {
    let unit = place.settings_to_show(&[], crate::config::files::computer_zone())?.policy.unit;
    let names = Store::look(&place.state())?.map_or(Ok(Vec::new()), |store| store.source_names())?;
    let number = names.iter().position(|name| name == which).and_then(|place| u16::try_from(place).ok());
    let trusted = match (which, number) {
        ("all", _) => Trusted::All,
        (_, Some(number)) => Trusted::Source(SourceId(number)),
        // Of two signals the nearest counts: a value in the other unit would choose the wrong one.
        (value, None) => {
            let near = noted::meter(&Told { amount: value, ..Told::default() }, unit);
            Trusted::Near(near.map_err(|wrong| {
                Failure::new(format!("\"{value}\" is no source, and not {}", wrong.expected))
                    .hint(format!("say all, a value, or one of: {}", names.join(", ")))
            })?)
        }
    };
    say(&place.state(), &Said::Trust(trusted))
}

/// Keeps what was said, wakes the daemon, and prints its answer.
pub(super) fn say(folder: &Path, said: &Said) -> Result<ExitCode, Failure> {
    let store = open_store(folder)?;
    let number = store.say(clock::wall(), said)?;
    if !control::wake(folder) {
        line("Kept. recheck is not running: it is taken in when `recheck run` starts.");
        return Ok(ExitCode::SUCCESS);
    }
    let began = clock::stopwatch();
    while began.elapsed() < ANSWER_MAX {
        if let Some((accepted, words)) = store.answer(number)? {
            folded(&words);
            return Ok(if accepted { ExitCode::SUCCESS } else { ExitCode::from(ASKED_BACK) });
        }
        std::thread::sleep(LOOK_EVERY);
    }
    line("Kept, but recheck has not answered yet. See `recheck status`.");
    Ok(ExitCode::SUCCESS)
}

/// A time the wearer names: now, a time of day that was last, a date and time, or a span ago.
fn when(text: Option<&str>, clock: &WallClock) -> Result<Timestamp, Failure> {
    let now = clock::wall();
    let Some(text) = text else { return Ok(now) };
    let at = past(text, clock, now)?;
    if at > now {
        return Err(in_the_future(text));
    }
    Ok(at)
}

/// A time of day that was last, a span ago, or a date and time.
pub(super) fn past(text: &str, clock: &WallClock, now: Timestamp) -> Result<Timestamp, Failure> {
    let at = if let Some(ago) = span(text) {
        Some(now - ago)
    } else if let Some(time) = TimeOfDay::parse(text) {
        Some(last_time(time, clock, now))
    } else {
        on_clock(text, clock, now)
    };
    at.ok_or_else(|| {
        Failure::new(format!("--at is \"{text}\""))
            .hint("it should be 14:05, \"2026-03-02 14:05\", or 20m for twenty minutes ago")
    })
}

/// A date and time. Hours that a flight has skipped are named by the clock the wearer looks at now.
fn on_clock(text: &str, clock: &WallClock, now: Timestamp) -> Option<Timestamp> {
    let read = match Stamp::Iso.read(text, clock)? {
        Read::Skipped(_) => Stamp::Iso.read(text, clock.zone_at(now))?,
        read => read,
    };
    Some(match read {
        Read::Once(at) | Read::Skipped(at) => at,
        // Of the repeated hour the later that has already been.
        Read::Twice(earlier, later) if later > now => earlier,
        Read::Twice(_, later) => later,
    })
}

/// The last time the wall clock showed this time of day.
fn last_time(time: TimeOfDay, clock: &WallClock, now: Timestamp) -> Timestamp {
    let today = clock.zone_at(now).wall(now).date();
    let shown = |days: i64| {
        let date = today - chrono::Duration::days(days);
        on_clock(&format!("{} {time}", date.format("%Y-%m-%d")), clock, now).unwrap_or(now)
    };
    let at = shown(0);
    if at <= now { at } else { shown(1) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::local::Zone;
    use crate::domain::travel::Travel;

    fn at(text: &str) -> Timestamp {
        Timestamp::from_millis(chrono::DateTime::parse_from_rfc3339(text).unwrap().timestamp_millis())
    }

    /// Madrid is at +01:00 in winter, Tokyo at +09:00 all year (tz database): who says the zone at 12:19
    /// there never had 11:00 of that day, and means it by the clock on the wall.
    #[test]
    fn hours_that_a_flight_skipped_are_named_by_the_clock_on_the_wall() {
        let (madrid, tokyo) = (Zone::named("Europe/Madrid").unwrap(), Zone::named("Asia/Tokyo").unwrap());
        let travel =
            Travel { zone: tokyo, from: at("2026-11-25T12:19:00+09:00"), until: at("2026-12-03T00:00:00+09:00") };
        let clock = WallClock::new(madrid, &[travel]);
        let now = at("2026-11-25T12:40:00+09:00");
        for said in ["11:00", "2026-11-25 11:00"] {
            assert_eq!(past(said, &clock, now).unwrap(), at("2026-11-25T11:00:00+09:00"), "{said}");
        }
        // Before the flight the clock at home was on the wall.
        assert_eq!(past("03:30", &clock, now).unwrap(), at("2026-11-25T03:30:00+01:00"));
        assert_eq!(past("12:30", &clock, now).unwrap(), at("2026-11-25T12:30:00+09:00"));
    }
}
