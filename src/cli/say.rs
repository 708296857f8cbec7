//! `seen`, `treated`, `note`: what the wearer says. It is kept first; then the daemon, if one runs, is
//! woken and asked what it understood.

use super::Place;
use super::print::{ASKED_BACK, Failure, line};
use crate::config::words::{SPAN_EXPECTED, span};
use crate::daemon::{clock, control};
use crate::domain::diary::{Amount, Kind, Note};
use crate::domain::glucose::{Glucose, Unit};
use crate::domain::local::{Local, Meaning, TimeOfDay};
use crate::domain::reading::SourceId;
use crate::domain::time::{Span, Timestamp};
use crate::domain::travel::WallClock;
use crate::engine::effect::{Condition, Id, Side};
use crate::engine::event::{Trusted, Which};
use crate::engine::quiet;
use crate::formats::diary::{self, KINDS, NotANote, Part, Told};
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

pub(super) fn seen(place: &Place, id: Option<u64>) -> Result<ExitCode, Failure> {
    say(&place.state(), &Said::Seen { which: id.map(Id) })
}

pub(super) fn treated(
    place: &Place,
    which: Option<&str>,
    at: Option<&str>,
    look: Option<&str>,
) -> Result<ExitCode, Failure> {
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
    let (kind, words) = kind_of(kind, words, settings.policy.unit)?;
    say(&place.state(), &Said::Noted(Note { at: when(at, &clock)?, kind, words: words.join(" ") }))
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
        Condition::ALL.into_iter().filter(|one| quiet::longest(*one).is_some()).map(Condition::name).collect();
    let condition = match condition {
        None => None,
        Some(name) => Some(Condition::named(name).filter(|one| quiet::longest(*one).is_some()).ok_or_else(|| {
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
        (value, None) => Trusted::Near(Glucose::parse(value, unit).map_err(|_| {
            Failure::new(format!("there is no source called \"{value}\", and it is no value in {}", unit.name()))
                .hint(format!("say all, a value, or one of: {}", names.join(", ")))
        })?),
    };
    say(&place.state(), &Said::Trust(trusted))
}

/// Keeps what was said, wakes the daemon, and prints its answer.
pub(super) fn say(folder: &Path, said: &Said) -> Result<ExitCode, Failure> {
    std::fs::create_dir_all(folder)
        .map_err(|error| Failure::new(format!("cannot use the state folder {}: {error}", folder.display())))?;
    let store = Store::open(folder)?;
    let number = store.say(clock::wall(), said)?;
    if !control::wake(folder) {
        line("Kept. recheck is not running: it is taken in when `recheck run` starts.");
        return Ok(ExitCode::SUCCESS);
    }
    let began = clock::stopwatch();
    while began.elapsed() < ANSWER_MAX {
        if let Some((accepted, words)) = store.answer(number)? {
            line(&words);
            return Ok(if accepted { ExitCode::SUCCESS } else { ExitCode::from(ASKED_BACK) });
        }
        std::thread::sleep(LOOK_EVERY);
    }
    line("Kept, but recheck has not answered yet. See `recheck status`.");
    Ok(ExitCode::SUCCESS)
}

/// The kind with its amount, and the words that are left. How much may stand first among the words.
fn kind_of<'a>(kind: &str, words: &'a [String], unit: Unit) -> Result<(Kind, &'a [String]), Failure> {
    let first = words.first().map_or("", String::as_str);
    let has_amount = match kind.to_lowercase().as_str() {
        "insulin" | "carbohydrate" => Amount::parse(first).is_some(),
        "meter" | "ketones" => !first.is_empty(),
        _ => false,
    };
    let (amount, rest) = if has_amount { (first, words.get(1..).unwrap_or_default()) } else { ("", words) };
    let told = Told { kind, amount, unit: "", words: &rest.join(" ") };
    match diary::kind_of(&told, unit) {
        Ok(kind) => Ok((kind, rest)),
        Err(NotANote { part: Part::Kind, .. }) => Err(Failure::new(format!("there is no note called \"{kind}\""))
            .hint(format!("the kinds are: {}", KINDS.join(", ")))),
        Err(NotANote { expected, .. }) => Err(Failure::new(format!("note {kind} needs {expected}"))
            .hint(format!("write it as: recheck note {kind} {}", example(kind)))),
    }
}

fn example(kind: &str) -> &'static str {
    match kind {
        "meter" => "142",
        "ketones" => "0.4",
        _ => "\"walked home\"",
    }
}

/// A time the wearer names: now, a time of day that was last, a date and time, or a span ago.
fn when(text: Option<&str>, clock: &WallClock) -> Result<Timestamp, Failure> {
    let now = clock::wall();
    let Some(text) = text else { return Ok(now) };
    let at = past(text, clock, now)?;
    if at > now {
        return Err(Failure::new(format!("--at {text} is in the future")).hint("note it when it has happened"));
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
        match Stamp::Iso.read(text, clock) {
            Some(Read::Once(at) | Read::Skipped(at)) => Some(at),
            // Of the repeated hour the later that has already been.
            Some(Read::Twice(earlier, later)) => Some(if later <= now { later } else { earlier }),
            None => None,
        }
    };
    at.ok_or_else(|| {
        Failure::new(format!("--at is \"{text}\""))
            .hint("it should be 14:05, \"2026-03-02 14:05\", or 20m for twenty minutes ago")
    })
}

/// The last time the wall clock showed this time of day.
fn last_time(time: TimeOfDay, clock: &WallClock, now: Timestamp) -> Timestamp {
    let today = clock.zone_at(now).wall(now).date();
    let shown = |days: i64| {
        let date = today - chrono::Duration::days(days);
        let text = format!("{} {time}", date.format("%Y-%m-%d"));
        match chrono::NaiveDateTime::parse_from_str(&text, "%Y-%m-%d %H:%M").map(|wall| clock.meaning(wall)) {
            Ok(Meaning::Once(at) | Meaning::Skipped(at)) => at,
            Ok(Meaning::Twice(earlier, later)) => {
                if later <= now {
                    later
                } else {
                    earlier
                }
            }
            Err(_) => now,
        }
    };
    let at = shown(0);
    if at <= now { at } else { shown(1) }
}
