//! `recheck zone`: where the wearer is when that is not home, and until when.

use super::Place;
use super::print::{Failure, folded};
use super::say::{past, say};
use crate::config::files::computer_zone;
use crate::config::words::{LIKENESS_MIN, span};
use crate::daemon::clock;
use crate::domain::local::{Local, TimeOfDay, Zone};
use crate::domain::time::Timestamp;
use crate::domain::travel::{Travel, WallClock};
use crate::formats::stamp::{Read, Stamp};
use crate::store::inbox::Said;
use crate::wording::zone::travel;
use chrono::{Duration, NaiveDate, NaiveTime};
use std::process::ExitCode;

/// Names suggested for one that does not exist.
const SUGGESTED: usize = 3;

pub(super) fn run(place: &Place, words: &[String], from: Option<&str>) -> Result<ExitCode, Failure> {
    let home = place.settings_to_show(&[], computer_zone())?.policy.zone;
    let clock = place.wall_clock(home)?;
    let now = clock::wall();
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    match words.as_slice() {
        [] if from.is_none() => {
            for text in shown(&clock, now) {
                folded(&text);
            }
            Ok(ExitCode::SUCCESS)
        }
        ["home"] if from.is_none() => say(&place.state(), &Said::Home),
        [name, "until", day @ ..] if !day.is_empty() => {
            let zone = Zone::named(name).ok_or_else(|| no_such_zone(name))?;
            let until = end(&day.join(" "), zone, now)?;
            let from = from.map_or(Ok(now), |text| begin(text, &clock, now))?;
            if from >= until {
                return Err(Failure::new("this travel would end before it begins")
                    .hint("--from is by the clock you had then, and until is by the clock there"));
            }
            say(&place.state(), &Said::Zone(Travel { zone, from, until }))
        }
        _ => {
            if let [name, ..] = words.as_slice()
                && *name != "home"
                && Zone::named(name).is_none()
            {
                return Err(no_such_zone(name));
            }
            Err(Failure::new("this does not say where you are, and until when").hint(
                "write it as: recheck zone Asia/Tokyo until 2026-12-20; or: recheck zone home; \
                 without anything it shows the zone in force",
            ))
        }
    }
}

/// The zone in force, and travel that is planned.
fn shown(clock: &WallClock, now: Timestamp) -> Vec<String> {
    let home = clock.home();
    let mut lines = vec![match clock.travel_at(now) {
        Some(there) => format!(
            "{}; it is {} there, {} at home ({})",
            travel(there, home, now),
            there.zone.clock(now),
            home.clock_seen_from(now, now),
            home.name()
        ),
        None => format!("{}, at home; it is {}", home.name(), home.clock(now)),
    }];
    let planned = clock.travels().iter().filter(|travel| travel.from > now);
    lines.extend(planned.map(|there| format!("planned: {}", travel(there, home, now))));
    lines
}

/// A zone that does not exist, and the names it could have been.
pub(super) fn no_such_zone(name: &str) -> Failure {
    let wanted = name.to_lowercase().replace(' ', "_");
    let likeness = |known: &str| {
        let known = known.to_lowercase();
        let city = known.rsplit('/').next().unwrap_or_default().to_owned();
        strsim::jaro_winkler(&known, &wanted).max(strsim::jaro_winkler(&city, &wanted))
    };
    let mut near: Vec<(f64, &str)> =
        Zone::names().map(|known| (likeness(known), known)).filter(|(likeness, _)| *likeness >= LIKENESS_MIN).collect();
    near.sort_by(|one, two| two.0.total_cmp(&one.0).then(one.1.cmp(two.1)));
    let names: Vec<&str> = near.into_iter().take(SUGGESTED).map(|(_, name)| name).collect();
    let hint = if names.is_empty() {
        "a name such as Europe/Madrid or UTC".to_owned()
    } else {
        format!("did you mean {}?", names.join(", or "))
    };
    Failure::new(format!("no time zone is called \"{name}\"")).hint(hint)
}

/// The end of a travel, by the clock there: a day counts to its end.
fn end(text: &str, there: Zone, now: Timestamp) -> Result<Timestamp, Failure> {
    let until = match day(text).and_then(|day| day.checked_add_signed(Duration::days(1))) {
        Some(next) => Some(midnight(next, &there)),
        None => match Stamp::Iso.read(text, there) {
            Some(Read::Once(at) | Read::Skipped(at) | Read::Twice(_, at)) => Some(at),
            None => None,
        },
    };
    let until = until.ok_or_else(|| {
        Failure::new(format!("until is \"{text}\"")).hint("it should be a day, 2026-12-20, or \"2026-12-20 14:00\"")
    })?;
    if until <= now {
        return Err(Failure::new(format!("until {text} has passed in {}", there.name()))
            .hint("name the last day you are there; --from may lie in the past"));
    }
    Ok(until)
}

/// The beginning of a travel, by the clock the wearer had until then.
fn begin(text: &str, clock: &WallClock, now: Timestamp) -> Result<Timestamp, Failure> {
    if span(text).is_some() || TimeOfDay::parse(text).is_some() {
        return past(text, clock, now);
    }
    let read = match day(text) {
        Some(day) => Some(midnight(day, clock)),
        None => match Stamp::Iso.read(text, clock) {
            Some(Read::Once(at) | Read::Skipped(at) | Read::Twice(at, _)) => Some(at),
            None => None,
        },
    };
    read.ok_or_else(|| {
        Failure::new(format!("--from is \"{text}\""))
            .hint("it should be 2026-12-10, \"2026-12-10 14:05\", 14:05, or 20m for twenty minutes ago")
    })
}

pub(super) fn day(text: &str) -> Option<NaiveDate> {
    NaiveDate::parse_from_str(text, "%Y-%m-%d").ok()
}

/// When a day begins by a clock.
pub(super) fn midnight(day: NaiveDate, clock: &impl Local) -> Timestamp {
    clock.meaning(day.and_time(NaiveTime::MIN)).first()
}
