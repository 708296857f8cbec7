//! `recheck diary`: what is noted, and its care: a line is amended, deleted, or brought back, and what it said
//! before is kept.

use super::kind::kind_of;
use super::print::{Failure, folded, line};
use super::say::{noted_at, say};
use super::zone::midnight;
use super::{Place, open_store};
use crate::config::words::span;
use crate::daemon::clock;
use crate::domain::change::{Change, NotChanged, WhichLine, treated, treatment};
use crate::domain::diary::{Kind, Note};
use crate::domain::local::{Local as _, Meaning, TimeOfDay, Zone};
use crate::domain::time::{Span, Timestamp};
use crate::domain::travel::WallClock;
use crate::domain::written::{Excursion, amount_and_unit};
use crate::store::Store;
use crate::store::diary::DiaryLine;
use crate::store::inbox::{Line, Said};
use crate::wording::answer::{not_changed, what_of};
use chrono::{Datelike as _, Duration, NaiveDate};
use clap::Args;
use serde_json::{Value, json};
use std::process::ExitCode;

/// What is typed after `recheck diary`.
#[derive(Debug, Args)]
pub(super) struct Typed {
    /// Nothing, to list; or amend, delete or restore, and the number of a line; after amend what it says instead. Or
    /// meant: a dose that was asked about was as it stands.
    #[arg(value_name = "amend|delete|restore|meant NUMBER")]
    words: Vec<String>,
    /// Of amend, when it happened: 14:05 (of that line's day), "2026-03-02 14:05", or 20m for twenty minutes ago.
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
    /// List one day: 2026-03-02.
    #[arg(long, value_name = "DAY", conflicts_with = "days")]
    day: Option<String>,
    /// List so many days, today the last of them.
    #[arg(long, value_name = "N", default_value_t = 2, value_parser = clap::value_parser!(u16).range(1..))]
    days: u16,
    /// With what lines said before, and with those that are deleted.
    #[arg(long)]
    history: bool,
    /// As one JSON object, as docs/diary.md describes.
    #[arg(long)]
    json: bool,
}

pub(super) fn run(place: &Place, typed: &Typed) -> Result<ExitCode, Failure> {
    let words: Vec<&str> = typed.words.iter().map(String::as_str).collect();
    match words.as_slice() {
        [] if typed.at.is_none() => list(place, typed),
        ["amend", number, what @ ..] if !what.is_empty() || typed.at.is_some() => amend(place, typed, number, what),
        ["amend", number] => Err(Failure::new(format!("what is line {number} to say instead?")).hint(format!(
            "write it as: recheck diary amend {number} insulin 4, or recheck diary amend {number} --at 14:05"
        ))),
        ["delete", number] if typed.at.is_none() => change(place, number, Change::Delete),
        ["restore", number] if typed.at.is_none() => change(place, number, Change::Restore),
        ["meant"] if typed.at.is_none() => say(&place.state(), &Said::Meant { at: None }),
        ["meant", number] if typed.at.is_none() => {
            let (_, note) = line_named(place, number)?;
            say(&place.state(), &Said::Meant { at: Some(note.at) })
        }
        _ => Err(Failure::new("this is no way to care for the diary").hint(
            "write it as: recheck diary amend NUMBER KIND AMOUNT --at TIME, recheck diary delete NUMBER, \
             recheck diary restore NUMBER, or recheck diary meant; `recheck diary` shows the numbers",
        )),
    }
}

/// A change is kept, and the daemon asked. What can be told at once is: there may be no daemon.
fn change(place: &Place, number: &str, change: Change) -> Result<ExitCode, Failure> {
    let (which, _) = line_named(place, number)?;
    let store = Store::open(&place.state())?;
    if let WhichLine::Number(_) = which
        && let Err(not) = store.change_of(which, &change, clock::wall())?
    {
        return Err(refused(which, not));
    }
    say(&place.state(), &Said::Diary { which, change })
}

fn refused(which: WhichLine, not: NotChanged) -> Failure {
    let words = not_changed(which, not);
    let (what, hint) =
        words.split_once(". ").unwrap_or((words.trim_end_matches('.'), "`recheck diary` shows the lines"));
    let (first, rest) = what.split_at(what.chars().next().map_or(0, char::len_utf8));
    Failure::new(format!("{}{rest}", first.to_lowercase())).hint(hint)
}

/// A line by its number, with what it says now.
fn line_named(place: &Place, number: &str) -> Result<(WhichLine, Note), Failure> {
    let no_such = || {
        Failure::new(format!("the diary has no line {number}")).hint("`recheck diary` lists them with their numbers")
    };
    let which = match number.strip_prefix('s') {
        Some(said) => WhichLine::Said(said.parse().map_err(|_| no_such())?),
        None => WhichLine::Number(number.parse().map_err(|_| no_such())?),
    };
    let store = open_store(&place.state())?;
    if let Some(line) = store.diary_line(which)? {
        return Ok((WhichLine::Number(line.number), line.note));
    }
    // What is not taken in yet has no number in the diary.
    let waiting = store.unanswered()?.into_iter().find(|line| WhichLine::Said(line.number) == which);
    let note = waiting.as_ref().and_then(noted).ok_or_else(no_such)?;
    Ok((which, note))
}

/// What the diary will keep of something said.
fn noted(line: &Line) -> Option<Note> {
    match &line.what {
        Said::Noted(note) => Some(note.clone()),
        Said::Treated { at, .. } => Some(treatment((*at).min(line.said), None)),
        Said::Written { line: written, .. } => written.note(line.said),
        _ => None,
    }
}

fn amend(place: &Place, typed: &Typed, number: &str, what: &[&str]) -> Result<ExitCode, Failure> {
    let (settings, clock) = place.settings_in_force()?;
    let (_, note) = line_named(place, number)?;
    let what = match what {
        [] => None,
        ["treated", rest @ ..] => {
            let which = match rest {
                [] => None,
                ["high"] => Some(Excursion::High),
                ["low"] => Some(Excursion::Low),
                _ => return Err(Failure::new("treated is high or low").hint("write it as: treated low")),
            };
            Some((Kind::Text, treatment(note.at, which).words))
        }
        [kind, words @ ..] => {
            let words: Vec<String> = words.iter().map(|word| (*word).to_owned()).collect();
            let (kind, words) = kind_of(kind, &words, settings.policy.unit)?;
            Some((kind, words.join(" ")))
        }
    };
    let kind = what.as_ref().map_or(&note.kind, |(kind, _)| kind);
    let at = match typed.at.as_deref() {
        None => None,
        Some(text) => Some(match TimeOfDay::parse(text).filter(|_| span(text).is_none()) {
            Some(time) => nearest(time, note.at, &clock, clock::wall())
                .ok_or_else(|| Failure::new(format!("--at is \"{text}\"")).hint("that time of day was not"))?,
            None => noted_at(kind, Some(text), &clock)?,
        }),
    };
    change(place, number, Change::Amend { at, what })
}

/// The time of day that is nearest to when it happened, and has been.
fn nearest(time: TimeOfDay, at: Timestamp, clock: &WallClock, now: Timestamp) -> Option<Timestamp> {
    let day = clock.zone_at(at).wall(at).date();
    let on = |days: i64| match clock.meaning((day + Duration::days(days)).and_time(time.on_clock())) {
        Meaning::Once(at) | Meaning::Skipped(at) => [at; 2],
        Meaning::Twice(earlier, later) => [earlier, later],
    };
    let all = (-1..=1).flat_map(on).filter(|other| *other <= now);
    all.min_by_key(|other| ((*other - at).as_millis().abs(), *other))
}

fn list(place: &Place, typed: &Typed) -> Result<ExitCode, Failure> {
    let (_, clock) = place.settings_in_force()?;
    let now = clock::wall();
    let nothing = || Failure::new("the diary is empty").hint("write a line with: recheck note insulin --at 14:05");
    let store = Store::look(&place.state())?;
    let all = store.as_ref().map_or_else(|| Ok(Vec::new()), Store::diary_with_deleted)?;
    let unanswered = store.as_ref().map_or_else(|| Ok(Vec::new()), Store::unanswered)?;
    let waiting: Vec<(i64, Note)> = unanswered.iter().filter_map(|line| Some((line.number, noted(line)?))).collect();
    if all.is_empty() && waiting.is_empty() && !typed.json {
        return Err(nothing());
    }
    let (from, until) = period(typed, &clock, now)?;
    let within = |at: Timestamp| from <= at && at < until;
    // What was noted in these days is looked for here, whenever it happened.
    let is_shown = |line: &&DiaryLine| {
        (typed.history || line.deleted.is_none()) && (within(line.note.at) || typed.day.is_none() && within(line.noted))
    };
    let shown: Vec<&DiaryLine> = all.iter().filter(is_shown).collect();
    let listed = Listed { shown, waiting, history: typed.history, clock: &clock, now };
    if typed.json {
        line(&listed.object().to_string());
        return Ok(ExitCode::SUCCESS);
    }
    let others = all.iter().filter(|line| line.deleted.is_none()).count()
        - listed.shown.iter().filter(|line| line.deleted.is_none()).count();
    for text in listed.lines() {
        folded(&text);
    }
    if others > 0 {
        folded(&format!("{others} more lines of other days: --day 2026-03-02, or --days 30"));
    }
    Ok(ExitCode::SUCCESS)
}

/// The days that are listed.
fn period(typed: &Typed, clock: &WallClock, now: Timestamp) -> Result<(Timestamp, Timestamp), Failure> {
    let midnight = |day: NaiveDate| midnight(day, clock);
    if let Some(text) = &typed.day {
        let day = super::zone::day(text).filter(|day| (1970..=9_000).contains(&day.year())).ok_or_else(|| {
            Failure::new(format!("--day is \"{text}\"")).hint("it should be a day such as 2026-03-02")
        })?;
        return Ok((midnight(day), midnight(day + Duration::days(1))));
    }
    let today = clock.zone_at(now).wall(now).date();
    let first = today - Duration::days(i64::from(typed.days) - 1);
    Ok((midnight(first), midnight(today + Duration::days(1)).max(now + Span::minutes(5))))
}

struct Listed<'a> {
    shown: Vec<&'a DiaryLine>,
    waiting: Vec<(i64, Note)>,
    history: bool,
    clock: &'a WallClock,
    now: Timestamp,
}

impl Listed<'_> {
    fn zone(&self, at: Timestamp) -> Zone {
        self.clock.zone_at(at)
    }

    fn lines(&self) -> Vec<String> {
        let mut lines = Vec::new();
        let mut day = None;
        for shown in &self.shown {
            let (zone, note) = (self.zone(shown.note.at), &shown.note);
            let this = zone.wall(note.at).date();
            if day.replace(this) != Some(this) {
                lines.push(this.format("%A %Y-%m-%d").to_string());
            }
            let state = match (shown.deleted, shown.earlier.is_empty()) {
                (Some(at), _) => format!(" (deleted {})", self.clock(at)),
                (None, false) if !self.history => " (amended)".to_owned(),
                (None, _) => String::new(),
            };
            lines.push(format!("{:>6}  {}  {}{state}", shown.number, zone.clock(note.at), what_of(note)));
            if self.history {
                lines.extend(shown.earlier.iter().map(|(until, was)| match was {
                    Some(was) => format!(
                        "               until {}: {}, at {}",
                        self.clock(*until),
                        what_of(was),
                        self.clock_of(was.at, note.at)
                    ),
                    None => format!("               until {}: deleted", self.clock(*until)),
                }));
            }
        }
        if self.shown.is_empty() {
            lines.push("Nothing is noted in these days".to_owned());
        }
        if !self.waiting.is_empty() {
            lines.push("Kept, and taken in when `recheck run` starts".to_owned());
        }
        lines.extend(
            self.waiting
                .iter()
                .map(|(said, note)| format!("{:>6}  {}  {}", format!("s{said}"), self.clock(note.at), what_of(note))),
        );
        lines
    }

    /// When a change was made.
    fn clock(&self, at: Timestamp) -> String {
        self.zone(at).clock_seen_from(at, self.now)
    }

    fn clock_of(&self, at: Timestamp, seen_from: Timestamp) -> String {
        self.zone(at).clock_seen_from(at, seen_from)
    }

    fn object(&self) -> Value {
        let stamp = |at: Timestamp| self.zone(at).rfc3339(at);
        let lines: Vec<Value> = self
            .shown
            .iter()
            .map(|shown| {
                let mut object = self.note(&shown.note);
                object["number"] = json!(shown.number);
                object["noted"] = json!(stamp(shown.noted));
                object["deleted"] = json!(shown.deleted.map(stamp));
                let earlier = shown.earlier.iter().map(
                    |(until, was)| json!({ "until": stamp(*until), "said": was.as_ref().map(|was| self.note(was)) }),
                );
                object["earlier"] = earlier.collect();
                object
            })
            .collect();
        let waiting: Vec<Value> = self
            .waiting
            .iter()
            .map(|(said, note)| {
                let mut object = self.note(note);
                object["number"] = json!(format!("s{said}"));
                object
            })
            .collect();
        json!({ "lines": lines, "not_taken_in": waiting })
    }

    fn note(&self, note: &Note) -> Value {
        let at = self.zone(note.at).rfc3339(note.at);
        if let Some(which) = treated(note) {
            let which = which.map_or("", Excursion::word);
            return json!({ "at": at, "kind": "treated", "amount": which, "unit": "", "words": "" });
        }
        let (amount, unit) = amount_and_unit(&note.kind);
        json!({ "at": at, "kind": note.kind.word(), "amount": amount, "unit": unit, "words": note.words })
    }
}
