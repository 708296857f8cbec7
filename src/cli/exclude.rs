//! `recheck exclude`: stretches of time that are not counted, with the reason; listed, and taken back. What alerts is
//! not asked: alerts ring as ever.

use super::print::{Failure, folded, line};
use super::say::past;
use super::zone::midnight;
use super::{Place, open_store};
use crate::daemon::{clock, control};
use crate::domain::local::{Local as _, TimeOfDay};
use crate::domain::time::{Span, Timestamp};
use crate::domain::travel::WallClock;
use crate::store::Store;
use crate::store::exclusions::Exclusion;
use chrono::Duration;
use clap::Args;
use serde_json::{Value, json};
use std::process::ExitCode;

/// What is typed after `recheck exclude`.
#[derive(Debug, Args)]
pub(super) struct Typed {
    /// Nothing, to list; when it begins, when it ends, and why, in your own words; or off and a number.
    #[arg(value_name = "FROM TO REASON | off NUMBER")]
    words: Vec<String>,
    /// As one JSON object, with what was taken back.
    #[arg(long)]
    json: bool,
}

const WRITE: &str = "write it as: recheck exclude \"2026-03-02 14:00\" 20:30 the sensor came loose; \
    a time may be 14:05, a date, both, 20m for twenty minutes ago, and the end now";

pub(super) fn run(place: &Place, typed: &Typed) -> Result<ExitCode, Failure> {
    let words: Vec<&str> = typed.words.iter().map(String::as_str).collect();
    match words.as_slice() {
        [] => list(place, typed.json),
        _ if typed.json => Err(Failure::new("--json is for the list").hint("`recheck exclude --json`")),
        ["off", number] => take_back(place, number),
        ["off", ..] => Err(Failure::new("off needs one number").hint("`recheck exclude` shows the numbers")),
        words => exclude(place, words),
    }
}

fn exclude(place: &Place, words: &[&str]) -> Result<ExitCode, Failure> {
    let (_, clock) = place.settings_in_force()?;
    let now = clock::wall();
    let (from, rest) = time(words);
    let (to, reason) = time(rest);
    if from.is_empty() || to.is_empty() {
        return Err(Failure::new("this does not say from when to when").hint(WRITE));
    }
    let from = begin(&from, &clock, now)?;
    let until = end(&to, from, &clock, now)?;
    if from > now {
        return Err(Failure::new("it would begin in the future").hint("exclude it when it has begun"));
    }
    if until <= from {
        return Err(Failure::new("it would end before it begins").hint(WRITE));
    }
    let reason = reason.join(" ").split_whitespace().collect::<Vec<_>>().join(" ");
    if reason.is_empty() {
        return Err(Failure::new("the reason is missing").hint(WRITE));
    }
    let folder = place.state();
    let mut store = open_store(&folder)?;
    let others: Vec<String> = store
        .exclusions()?
        .iter()
        .filter(|other| other.overlaps(from, until))
        .map(|other| other.number.to_string())
        .collect();
    let number = store.exclude(now, from, until, &reason)?;
    // Without a daemon it is taken in when one starts.
    let _ = control::wake(&folder);
    let shown = Exclusion { number, from, until, reason, said: now, taken_back: None };
    folded(&format!("Not counted: {}", words_of(&shown, &clock, now)));
    if !others.is_empty() {
        folded(&format!("It overlaps {}: what is in both is left out once.", others.join(" and ")));
    }
    folded(&format!("Alerts ring as ever, and all is kept. `recheck exclude off {number}` takes it back."));
    Ok(ExitCode::SUCCESS)
}

fn take_back(place: &Place, number: &str) -> Result<ExitCode, Failure> {
    let none =
        || Failure::new(format!("no stretch {number} is left out")).hint("`recheck exclude` lists those that are");
    let number: i64 = number.parse().map_err(|_| none())?;
    let folder = place.state();
    if Store::look(&folder)?.is_none() {
        return Err(none());
    }
    if !Store::open(&folder)?.take_back(number, clock::wall())? {
        return Err(none());
    }
    // Without a daemon it is taken in when one starts.
    let _ = control::wake(&folder);
    line(&format!("Stretch {number} counts again."));
    Ok(ExitCode::SUCCESS)
}

fn list(place: &Place, as_json: bool) -> Result<ExitCode, Failure> {
    let (_, clock) = place.settings_in_force()?;
    let now = clock::wall();
    let all = Store::look(&place.state())?.map_or_else(|| Ok(Vec::new()), |store| store.exclusions())?;
    if as_json {
        let all: Vec<Value> = all.iter().map(|one| object(one, &clock)).collect();
        line(&json!({ "excluded": all }).to_string());
        return Ok(ExitCode::SUCCESS);
    }
    let standing: Vec<&Exclusion> = all.iter().filter(|one| one.taken_back.is_none()).collect();
    if standing.is_empty() {
        line("Everything counts. Leave a stretch out with: recheck exclude FROM TO REASON");
    }
    for one in standing {
        folded(&format!("{:>4}  {}", one.number, words_of(one, &clock, now)));
    }
    Ok(ExitCode::SUCCESS)
}

/// What is left out of a period, in one line; none when nothing is.
pub(super) fn left_out(stretches: &[(Timestamp, Timestamp)], from: Timestamp, until: Timestamp) -> Option<String> {
    let inside = stretches.iter().map(|(begin, end)| ((*begin).max(from), (*end).min(until)));
    let spans: Vec<Span> = inside.filter(|(begin, end)| begin < end).map(|(begin, end)| end - begin).collect();
    let whole = spans.iter().fold(Span::ZERO, |sum, span| sum + *span);
    (!spans.is_empty()).then(|| format!("left out: {} stretches, {whole} in all; see `recheck exclude`", spans.len()))
}

/// What covers an instant, as `status` and `why` say it.
pub(super) fn covering(store: &Store, clock: &WallClock, now: Timestamp) -> Result<Vec<String>, Failure> {
    let all = store.exclusions()?;
    let covering = all.iter().filter(|one| one.overlaps(now, now + Span::millis(1)));
    Ok(covering.map(|one| format!("Not counted now: {}; alerts ring as ever", words_of(one, clock, now))).collect())
}

/// `Mon 14:00 to 20:30, 6 h 30 min: the sensor came loose`
fn words_of(one: &Exclusion, clock: &WallClock, now: Timestamp) -> String {
    let (from, until) = (clock.zone_at(one.from), clock.zone_at(one.until));
    format!(
        "{} to {}, {}: {}",
        from.clock_seen_from(one.from, now),
        until.clock_seen_from(one.until, now),
        one.until - one.from,
        one.reason
    )
}

pub(super) fn object(one: &Exclusion, clock: &WallClock) -> Value {
    let stamp = |at: Timestamp| clock.zone_at(at).rfc3339(at);
    json!({
        "number": one.number, "from": stamp(one.from), "until": stamp(one.until), "reason": one.reason,
        "said": stamp(one.said), "taken_back": one.taken_back.map(stamp),
    })
}

/// The words of a time, which may be a date and a time of day without quotes, and the words after it.
fn time<'a>(words: &'a [&'a str]) -> (String, &'a [&'a str]) {
    match words {
        [day, time, rest @ ..] if super::zone::day(day).is_some() && TimeOfDay::parse(time).is_some() => {
            (format!("{day} {time}"), rest)
        }
        [one, rest @ ..] => ((*one).to_owned(), rest),
        [] => (String::new(), words),
    }
}

fn begin(text: &str, clock: &WallClock, now: Timestamp) -> Result<Timestamp, Failure> {
    match super::zone::day(text) {
        Some(day) => Ok(midnight(day, clock)),
        None => past(text, clock, now).map_err(|_| unread(text)),
    }
}

/// The end: now, a date and time, a day to its end, or the first time of day after the beginning.
fn end(text: &str, from: Timestamp, clock: &WallClock, now: Timestamp) -> Result<Timestamp, Failure> {
    if text == "now" {
        return Ok(now);
    }
    if let Some(day) = super::zone::day(text) {
        return day.succ_opt().map(|next| midnight(next, clock)).ok_or_else(|| unread(text));
    }
    let Some(time) = TimeOfDay::parse(text) else { return past(text, clock, now).map_err(|_| unread(text)) };
    let day = clock.zone_at(from).wall(from).date();
    let on = |days: i64| clock.meaning((day + Duration::days(days)).and_time(time.on_clock())).first();
    (0..=2).map(on).find(|at| *at > from).ok_or_else(|| unread(text))
}

fn unread(text: &str) -> Failure {
    Failure::new(format!("\"{text}\" is no time")).hint(WRITE)
}
