//! `recheck remind`: the wearer's own reminders, asked for, listed and cancelled.

use super::Place;
use super::print::{Failure, line};
use super::say::say;
use crate::config::words::span;
use crate::daemon::clock;
use crate::domain::glucose::{ABOVE_RANGE_MG_DL, BELOW_RANGE_MG_DL, Glucose, Measured, Unit};
use crate::domain::local::{Local, Meaning, TimeOfDay, Zone};
use crate::domain::reminder::{Asked, Every, Only, REMINDERS_MAX, TEXT_CHARS_MAX, Wall, Weekdays, When};
use crate::domain::time::{Span, Timestamp};
use crate::domain::travel::WallClock;
use crate::engine::effect::Id;
use crate::engine::reminder::Reminder;
use crate::formats::stamp::{Read, Stamp};
use crate::store::Store;
use crate::store::inbox::Said;
use crate::wording::{Voice, reminder};
use chrono::{Duration, NaiveDate, NaiveDateTime};
use clap::Args;
use std::cell::Cell;
use std::process::ExitCode;

/// What is typed after `recheck remind`.
#[derive(Debug, Args)]
pub(super) struct Typed {
    /// Nothing, to list them; a time (14:30, 45m, "2026-12-20 09:00") and your own words; `cancel` and a number, or all.
    #[arg(value_name = "TIME TEXT | cancel NUMBER")]
    words: Vec<String>,
    /// Again and again by the wall clock: 1d, 12h, thursday, "mon,thu".
    #[arg(long, value_name = "SPAN or DAYS")]
    every: Option<String>,
    /// Only if the newest value is above this then.
    #[arg(long, value_name = "VALUE", conflicts_with = "below")]
    above: Option<String>,
    /// Only if the newest value is below this then.
    #[arg(long, value_name = "VALUE")]
    below: Option<String>,
}

/// Reminders there are, and those that were asked for and not taken in yet.
struct Kept {
    reminders: Vec<Reminder>,
    waiting: Vec<Asked>,
}

pub(super) fn run(place: &Place, typed: &Typed) -> Result<ExitCode, Failure> {
    let words: Vec<&str> = typed.words.iter().map(String::as_str).collect();
    let is_plain = typed.every.is_none() && typed.above.is_none() && typed.below.is_none();
    match words.as_slice() {
        [] | ["cancel", ..] if !is_plain => Err(Failure::new("--every, --above and --below belong to a new reminder")
            .hint("write it as: recheck remind 45m \"look again\" --above 180")),
        [] => list(place),
        ["cancel", which] => cancel(place, which),
        ["cancel", ..] => {
            Err(Failure::new("cancel needs one number, or all").hint("`recheck remind` shows the numbers"))
        }
        // A date and a time of day without quotes.
        [day, time, text @ ..] if is_day(day) && TimeOfDay::parse(time).is_some() => {
            ask(place, typed, &format!("{day} {time}"), text)
        }
        [when, text @ ..] => ask(place, typed, when, text),
    }
}

fn ask(place: &Place, typed: &Typed, when: &str, text: &[&str]) -> Result<ExitCode, Failure> {
    let (settings, clock) = place.settings_in_force()?;
    let now = clock::wall();
    let every = typed.every.as_deref().map(every).transpose()?;
    let when = first(coming(when, &clock, now)?, every, clock.zone_at(now));
    let unit = settings.policy.unit;
    let only = match (&typed.above, &typed.below) {
        (Some(above), _) => Some(Only::Above(limit("--above", above, unit)?)),
        (None, Some(below)) => Some(Only::Below(limit("--below", below, unit)?)),
        (None, None) => None,
    };
    let text = own_words(text)?;
    let kept = Kept::of(place)?;
    if kept.reminders.len() + kept.waiting.len() >= REMINDERS_MAX {
        return Err(Failure::new(format!("there are {REMINDERS_MAX} reminders, and that is the most"))
            .hint("`recheck remind` lists them, `recheck remind cancel NUMBER` ends one"));
    }
    say(&place.state(), &Said::Remind(Asked { text, when, every, only, said: now }))
}

fn cancel(place: &Place, which: &str) -> Result<ExitCode, Failure> {
    if which == "all" {
        return say(&place.state(), &Said::CancelReminders { which: None });
    }
    let id = which.parse().map(Id).map_err(|_| {
        Failure::new(format!("\"{which}\" is no number of a reminder"))
            .hint("say a number that `recheck remind` shows, or all")
    })?;
    if !Kept::of(place)?.reminders.iter().any(|reminder| reminder.id == id) {
        return Err(Failure::new(format!("no reminder has the number {id}")).hint("`recheck remind` lists them"));
    }
    say(&place.state(), &Said::CancelReminders { which: Some(id) })
}

fn list(place: &Place) -> Result<ExitCode, Failure> {
    let (settings, clock) = place.settings_in_force()?;
    let voice = Voice::new(&settings.policy, clock::wall());
    let Kept { mut reminders, waiting } = Kept::of(place)?;
    if reminders.is_empty() && waiting.is_empty() {
        line("There are no reminders. Ask for one with: recheck remind 45m \"look at the pump\"");
    }
    reminders.sort_by_key(|reminder| (reminder.due, reminder.id));
    for kept in &reminders {
        line(&format!("{:>4}  {}", kept.id.to_string(), reminder::reminder(kept, voice)));
    }
    for Asked { text, when, every, only, said } in waiting {
        let kept = Reminder { id: Id(0), text, due: when.due(&clock, said), wall: None, every, only };
        line(&format!("   -  {} (numbered when `recheck run` starts)", reminder::reminder(&kept, voice)));
    }
    Ok(ExitCode::SUCCESS)
}

impl Kept {
    fn of(place: &Place) -> Result<Self, Failure> {
        let mut kept = Self { reminders: Vec::new(), waiting: Vec::new() };
        let Some(store) = Store::look(&place.state())? else { return Ok(kept) };
        // What waits is read first: a word that is taken in between is then shown twice, and never not at all.
        let unanswered = store.unanswered()?;
        kept.reminders = store.saved()?.and_then(|saved| saved.state).map(|state| state.reminders).unwrap_or_default();
        for said in unanswered {
            match said.what {
                Said::Remind(asked) => kept.waiting.push(asked),
                Said::CancelReminders { which: Some(id) } => kept.reminders.retain(|reminder| reminder.id != id),
                Said::CancelReminders { which: None } => kept = Self { reminders: Vec::new(), waiting: Vec::new() },
                _ => {}
            }
        }
        Ok(kept)
    }
}

/// The wearer's words in one line, whole: what is too long is said, not cut.
fn own_words(words: &[&str]) -> Result<String, Failure> {
    let text = words.iter().flat_map(|words| words.split_whitespace()).collect::<Vec<_>>().join(" ");
    let length = text.chars().count();
    if text.is_empty() {
        return Err(Failure::new("this reminder has no words")
            .hint("write it as: recheck remind 14:30 \"change the site\"; `recheck remind` alone lists them"));
    }
    if length > TEXT_CHARS_MAX {
        return Err(Failure::new(format!("the text has {length} characters, and {TEXT_CHARS_MAX} are the most"))
            .hint("say it in fewer words; a title shows the first 60 characters"));
    }
    if let Some((place, _)) = text.chars().enumerate().find(|(_, letter)| letter.is_control()) {
        return Err(Failure::new(format!("character {} of the text is none to read", place + 1))
            .hint("write letters, digits and signs only"));
    }
    Ok(text)
}

/// When it is due: after a span, at the next such time of day, or at a date and time.
fn coming(text: &str, clock: &WallClock, now: Timestamp) -> Result<When, Failure> {
    let bad = || {
        Failure::new(format!("\"{text}\" is not a time to be reminded at"))
            .hint("it should be 14:30, 45m or 1h30m (up to 30d), or \"2026-12-20 09:00\"")
    };
    let passed = || {
        Failure::new(format!("{text} has passed"))
            .hint("name a time that is to come; 14:30 alone is tomorrow's when today's has passed")
    };
    if let Some(after) = span(text) {
        return if after > Span::ZERO { Ok(When::At(now + after)) } else { Err(passed()) };
    }
    if let Some(time) = TimeOfDay::parse(text) {
        return next_time(time, clock, now).map(|wall| When::Wall(Wall::of(wall))).ok_or_else(bad);
    }
    let noticed = Noticed { clock, wall: Cell::new(None) };
    let (Read::Once(at) | Read::Skipped(at) | Read::Twice(_, at)) = Stamp::Iso.read(text, &noticed).ok_or_else(bad)?;
    if at <= now {
        return Err(passed());
    }
    // With an offset it is one instant, whatever the clocks show then.
    Ok(noticed.wall.get().map_or(When::At(at), |wall| When::Wall(Wall::of(wall))))
}

/// Reads by a clock, and keeps the wall time that it was asked about.
struct Noticed<'a> {
    clock: &'a WallClock,
    wall: Cell<Option<NaiveDateTime>>,
}

impl Local for Noticed<'_> {
    fn meaning(&self, wall: NaiveDateTime) -> Meaning {
        self.wall.set(Some(wall));
        self.clock.meaning(wall)
    }
}

/// The next time the wall clock shows this time of day.
fn next_time(time: TimeOfDay, clock: &WallClock, now: Timestamp) -> Option<NaiveDateTime> {
    let today = clock.zone_at(now).wall(now).date();
    // A journey west brings the same day twice, one east may leave one out.
    (0..=3).map(|days| (today + Duration::days(days)).and_time(time.on_clock())).find(|wall| {
        let (Meaning::Once(at) | Meaning::Twice(_, at) | Meaning::Skipped(at)) = clock.meaning(*wall);
        at > now
    })
}

/// The first time of one that comes on some days of the week only.
fn first(when: When, every: Option<Every>, zone: Zone) -> When {
    let Some(every) = every else { return when };
    let wall = match when {
        When::At(at) => Wall::of(zone.wall(at)),
        When::Wall(wall) => wall,
    };
    let first = every.first(wall);
    if first == wall { when } else { When::Wall(first) }
}

fn every(text: &str) -> Result<Every, Failure> {
    span(text).and_then(Every::span).or_else(|| Weekdays::parse(text).map(Every::Weekdays)).ok_or_else(|| {
        Failure::new(format!("--every is \"{text}\""))
            .hint("it should be a span from 15m to 30d, such as 1d or 12h, or days of the week, such as \"mon,thu\"")
    })
}

/// A limit that a sensor's values can be on both sides of; another number is most likely of another unit.
fn limit(option: &str, text: &str, unit: Unit) -> Result<Glucose, Failure> {
    let (least, most) = (Glucose::mg_dl(BELOW_RANGE_MG_DL + 1), Glucose::mg_dl(ABOVE_RANGE_MG_DL - 1));
    Glucose::parse(text, unit)
        .ok()
        .filter(|limit| limit.measured() == Measured::Number)
        .filter(|limit| (least.hundredths()..=most.hundredths()).contains(&limit.hundredths()))
        .ok_or_else(|| {
            let (least, most) = (least.shown(unit, None), most.shown(unit, None));
            Failure::new(format!("{option} is \"{text}\""))
                .hint(format!("it should be a value from {least} to {most} {}", unit.name()))
        })
}

fn is_day(text: &str) -> bool {
    NaiveDate::parse_from_str(text, "%Y-%m-%d").is_ok()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::travel::Travel;

    fn at(text: &str) -> Timestamp {
        Timestamp::from_millis(chrono::DateTime::parse_from_rfc3339(text).unwrap().timestamp_millis())
    }

    fn zone(name: &str) -> Zone {
        Zone::named(name).unwrap()
    }

    fn due(text: &str, clock: &WallClock, now: &str) -> Timestamp {
        coming(text, clock, at(now)).unwrap().due(clock, at(now))
    }

    /// Offsets of the tz database: Madrid +01:00 in winter and +02:00 in summer, Tokyo +09:00; the clock
    /// changes are those of local.rs.
    #[test]
    fn a_time_that_has_passed_today_is_tomorrows() {
        let madrid = WallClock::at_home(zone("Europe/Madrid"));
        for (text, now, wanted) in [
            ("14:30", "2026-12-10T13:29:59Z", "2026-12-10T13:30:00Z"),
            ("14:30", "2026-12-10T13:30:00Z", "2026-12-11T13:30:00Z"),
            ("45m", "2026-12-10T13:30:00Z", "2026-12-10T14:15:00Z"),
            ("2026-12-20 09:00", "2026-12-10T13:30:00Z", "2026-12-20T08:00:00Z"),
            ("2026-12-20T09:00+09:00", "2026-12-10T13:30:00Z", "2026-12-20T00:00:00Z"),
            // The skipped half past two, and both of the repeated ones.
            ("02:30", "2026-03-29T00:30:00Z", "2026-03-29T01:30:00Z"),
            ("02:30", "2026-10-25T00:10:00Z", "2026-10-25T00:30:00Z"),
            ("02:30", "2026-10-25T00:40:00Z", "2026-10-25T01:30:00Z"),
            ("02:30", "2026-10-25T01:30:00Z", "2026-10-26T01:30:00Z"),
        ] {
            assert_eq!(due(text, &madrid, now), at(wanted), "{text} {now}");
        }
        let there =
            Travel { zone: zone("Asia/Tokyo"), from: at("2026-12-10T00:00:00Z"), until: at("2026-12-20T15:00:00Z") };
        let tokyo = WallClock::new(zone("Europe/Madrid"), &[there]);
        assert_eq!(due("14:30", &tokyo, "2026-12-12T05:00:00Z"), at("2026-12-12T05:30:00Z"));
    }

    #[test]
    fn days_of_the_week_begin_with_the_next_of_them() {
        let days = every("mon,thu").unwrap();
        let madrid = WallClock::at_home(zone("Europe/Madrid"));
        let due = |text: &str, now: &str| {
            let when = first(coming(text, &madrid, at(now)).unwrap(), Some(days), madrid.home());
            when.due(&madrid, at(now))
        };
        // 2026-12-10 is a Thursday.
        assert_eq!(due("09:00", "2026-12-10T07:00:00Z"), at("2026-12-10T08:00:00Z"));
        assert_eq!(due("09:00", "2026-12-10T09:00:00Z"), at("2026-12-14T08:00:00Z"));
        assert_eq!(due("2h", "2026-12-10T09:00:00Z"), at("2026-12-10T11:00:00Z"));
        assert_eq!(due("1d", "2026-12-10T09:00:00Z"), at("2026-12-14T09:00:00Z"));
    }

    /// A limit in the other unit would ring always, or never.
    #[test]
    fn a_limit_is_one_of_the_wearers_unit() {
        for (text, unit, is_one) in [
            ("180", Unit::MgDl, true),
            ("10.0", Unit::MgDl, false),
            ("HIGH", Unit::MgDl, false),
            ("10,0", Unit::MmolL, false),
            ("10.0", Unit::MmolL, true),
            ("180", Unit::MmolL, false),
            ("40", Unit::MgDl, true),
            ("22.2", Unit::MmolL, true),
        ] {
            assert_eq!(limit("--above", text, unit).is_ok(), is_one, "{text} {unit:?}");
        }
    }
}
