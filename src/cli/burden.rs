//! `recheck burden`: what the alerts asked of the wearer. docs/burden.md defines each number.

use super::print::{Failure, line};
use super::{Place, exclude};
use crate::config::files::computer_zone;
use crate::daemon::{clock, control};
use crate::domain::change::treated;
use crate::domain::local::{Hours, Zone};
use crate::domain::time::{Span, Timestamp};
use crate::domain::written::{Entry, Written, end_of};
use crate::engine::effect::Priority;
use crate::replay::answers::{Act, Action};
use crate::replay::burden::{Burden, Interruptions, OfCondition};
use crate::replay::story::Story;
use crate::store::Store;
use crate::store::inbox::{Line, Said};
use serde_json::{Value, json};
use std::path::Path;
use std::process::ExitCode;

/// Fewer watched days than this tell little of how things go.
pub(super) const LITTLE_DAYS: i64 = 3;

/// At most so many rings in a hundred are to be of high priority, or the word loses its meaning: common practice
/// in process-industry alarm management, no source.
const HIGH_OF_HUNDRED_MAX: u64 = 5;

/// How much before the period is read: alerts that ended then may be raised again in it.
pub(super) const LEAD_MIN: i64 = 60;

const PRIORITIES: [Priority; 4] = [Priority::Information, Priority::Low, Priority::Medium, Priority::High];

pub(super) fn run(place: &Place, days: u16, as_json: bool) -> Result<ExitCode, Failure> {
    let settings = place.settings_to_show(&[], computer_zone())?;
    let wall = place.wall_clock(settings.policy.zone)?;
    let folder = place.state();
    let nothing = || {
        Failure::new(format!("nothing has been watched yet: {} holds no readings and no decisions", folder.display()))
            .hint("start watching with `recheck run`; `recheck replay` counts on past files")
    };
    let store = Store::look(&folder)?.ok_or_else(nothing)?;
    let begun = store.watched_since()?.ok_or_else(nothing)?;
    let until = until(&store, &folder)?;
    let from = begun.max(until - Span::hours(i64::from(days) * 24)).min(until);
    let lead = from - Span::minutes(LEAD_MIN);
    let lead = store.open_since(from)?.map_or(lead, |open| open.min(lead));
    let mut decisions = store.decisions_between(lead, until)?;
    // What others are told is no burden of the wearer's.
    decisions.retain(|(_, decision)| decision.to.is_wearer());
    let readings = store.readings_since(lead)?;
    // What is said is about the time it was said, or about an earlier one.
    let actions = actions(&store, lead)?;
    let period = Story {
        from,
        until,
        decisions: &decisions,
        actions: &actions,
        readings: &readings,
        clock: &wall,
        night: settings.policy.night,
        levels: &settings.policy.levels,
    };
    let left_out = store.excluded(from, until)?;
    let mut burden = Burden::leaving_out(&left_out);
    burden.add(&period);
    let exclusions: Vec<Value> = store
        .exclusions()?
        .iter()
        .filter(|one| one.overlaps(from, until))
        .map(|one| exclude::object(one, &wall))
        .collect();
    let left_out = exclude::left_out(&left_out, from, until);
    let (zone, night) = (wall.zone_at(until), settings.policy.night);
    let shown = Shown { burden: &burden, from, until, zone, night, left_out, exclusions };
    if as_json {
        line(&shown.json().to_string());
    } else {
        for text in shown.lines() {
            line(&text);
        }
    }
    Ok(ExitCode::SUCCESS)
}

/// Where a period ends: now, or with the last turn when nobody watches, which counts.
pub(super) fn until(store: &Store, folder: &Path) -> Result<Timestamp, Failure> {
    let now = clock::wall();
    let last_turn = store.last_alive()?.map_or(now, |alive| alive.at.min(now));
    Ok(if control::is_there(folder) { now } else { last_turn + Span::millis(1) })
}

/// What the wearer did, as the diary says it now, oldest first.
pub(super) fn actions(store: &Store, from: Timestamp) -> Result<Vec<Action>, Failure> {
    let changed = store.changed_since_said()?;
    let lines = store.said_since(from)?;
    let now = lines.iter().filter_map(|line| match changed.get(&line.number) {
        None => action(line),
        Some(None) => None,
        Some(Some(note)) => {
            let what = match treated(note) {
                Some(which) => Entry::Treated(which),
                None => Entry::Noted { kind: note.kind.clone(), words: note.words.clone() },
            };
            let said = Said::Written { line: Written { at: note.at, what }, whence: String::new() };
            action(&Line { number: line.number, said: line.said, what: said })
        }
    });
    let mut actions: Vec<Action> = now.collect();
    actions.sort_by_key(|action| action.at);
    Ok(actions)
}

/// What a line of the inbox says that the wearer did.
fn action(line: &Line) -> Option<Action> {
    let (at, act) = match &line.what {
        Said::Treated { which, at, .. } => (*at, Act::Treated(*which)),
        Said::Seen { which, .. } | Said::With { which, .. } => (line.said, Act::Seen(*which)),
        Said::Noted(note) => (note.at, Act::noted(&note.kind)?),
        Said::Trust(_) => (line.said, Act::Sensor),
        Said::Written { line: written, .. } => (written.at, Act::written(&written.what)?),
        Said::Quiet { .. }
        | Said::QuietOff
        | Said::Mode(_)
        | Said::Zone(_)
        | Said::Home
        | Said::Meant { .. }
        | Said::Remind(_)
        | Said::CancelReminders { .. }
        | Said::Diary { .. }
        | Said::Excluded => return None,
    };
    Some(Action { at: end_of(at).min(line.said.max(at)), act })
}

struct Shown<'a> {
    burden: &'a Burden,
    from: Timestamp,
    until: Timestamp,
    zone: Zone,
    night: Hours,
    /// What is not counted, in words and as objects.
    left_out: Option<String>,
    exclusions: Vec<Value>,
}

impl Shown<'_> {
    fn is_little(&self) -> bool {
        self.burden.watched < Span::hours(LITTLE_DAYS * 24)
    }

    fn lines(&self) -> Vec<String> {
        let burden = self.burden;
        let stamp = |at: Timestamp| self.zone.wall(at).format("%Y-%m-%d %H:%M").to_string();
        let mut lines = vec![
            format!("{} to {}, {}", stamp(self.from), stamp(self.until), self.zone.name()),
            format!(
                "{} days, of which {} were watched; night {}",
                days(self.until - self.from),
                days(burden.watched),
                self.night
            ),
        ];
        lines.extend(self.left_out.clone());
        if self.is_little() {
            lines.push(format!("too little data: fewer than {LITTLE_DAYS} watched days"));
        }
        lines.push(String::new());
        lines.push(row("rings", &["day", "night", "needless", "asked", "acted", "p50 min", "p95 min"]));
        let rang = burden.conditions.iter().filter(|(_, of)| of.day + of.night > 0);
        lines.extend(rang.map(|(condition, of)| {
            row(
                condition.name(),
                &[
                    &of.day.to_string(),
                    &of.night.to_string(),
                    &of.needless.to_string(),
                    &of.asked.to_string(),
                    &share(of.acted, of.asked),
                    &waited(of, 50),
                    &waited(of, 95),
                ],
            )
        }));
        lines.push(String::new());
        lines.push(row("alerts", &["raised", "again", "at next", "over 4h", "over 24h", "open", "unseen"]));
        let alerts = burden.conditions.iter().filter(|(_, of)| of.raised + of.open_before > 0);
        lines.extend(alerts.map(|(condition, of)| {
            row(
                condition.name(),
                &[
                    &of.raised.to_string(),
                    &share(of.re_raised, of.raised),
                    &share(of.cleared_at_next, of.raised),
                    &of.standing.to_string(),
                    &of.stale.to_string(),
                    &of.open.to_string(),
                    &share(of.returned_unacknowledged, of.returned),
                ],
            )
        }));
        lines.push(String::new());
        lines.push(row("interruptions", &["all", "median", "p95"]));
        for (name, of) in [("by day", &burden.day), ("by night", &burden.night)] {
            let of_part = |of_hundred| of.percentile(of_hundred).map_or("-".to_owned(), |n| n.to_string());
            let whole = format!("  of {} whole", of.parts());
            lines.push(row(name, &[&of.all.to_string(), &of_part(50), &of_part(95)]) + &whole);
        }
        lines.push(String::new());
        lines.push(format!("Wakes {}, of which nobody needed {}", burden.night.all, burden.needless_wakes));
        let high = burden.by_priority[Priority::High as usize];
        let too_many = if high * 100 > burden.rings() * HIGH_OF_HUNDRED_MAX { ": more than 5 %" } else { "" };
        let shares = share(high, burden.rings());
        lines.push(format!("High priority: {high} of {} rings, {shares}{too_many}", burden.rings()));
        lines.push(format!("Floods {}, with {} rings", burden.floods, burden.in_flood));
        lines.push("Each word is defined in docs/burden.md.".to_owned());
        lines
    }

    fn json(&self) -> Value {
        let burden = self.burden;
        let by_priority = |counts: &[u64; 4]| -> Value {
            PRIORITIES.iter().map(|priority| (priority.name().to_owned(), json!(counts[*priority as usize]))).collect()
        };
        let interruptions = |of: &Interruptions| {
            json!({
                "all": of.all,
                "counted_in": of.parts(),
                "counted": of.counted(),
                "median": of.percentile(50),
                "p95": of.percentile(95),
                "by_priority": by_priority(&of.by_priority),
            })
        };
        let conditions: serde_json::Map<String, Value> =
            burden.conditions.iter().map(|(condition, of)| (condition.name().to_owned(), of_condition(of))).collect();
        json!({
            "from": self.zone.rfc3339(self.from),
            "until": self.zone.rfc3339(self.until),
            "zone": self.zone.name(),
            "night": self.night.to_string(),
            "hours": hours(self.until - self.from),
            "hours_watched": hours(burden.watched),
            "too_little_data": self.is_little(),
            "excluded": self.exclusions,
            "rings": burden.rings(),
            "rings_by_priority": by_priority(&burden.by_priority),
            "interruptions_by_day": interruptions(&burden.day),
            "interruptions_by_night": interruptions(&burden.night),
            "needless_wakes": burden.needless_wakes,
            "floods": burden.floods,
            "rings_in_floods": burden.in_flood,
            "conditions": conditions,
        })
    }
}

fn of_condition(of: &OfCondition) -> Value {
    let seconds = |of_hundred| of.answered_within(of_hundred).map(|span| span.as_millis() / 1_000);
    json!({
        "rings_by_day": of.day,
        "rings_by_night": of.night,
        "needless_rings": of.needless,
        "asked": of.asked,
        "acted": of.acted,
        "too_fresh": of.fresh,
        "answer_s_p50": seconds(50),
        "answer_s_p95": seconds(95),
        "open_before": of.open_before,
        "raised": of.raised,
        "re_raised": of.re_raised,
        "cleared_at_next": of.cleared_at_next,
        "ended": of.ended,
        "open": of.open,
        "end_unknown": of.end_unknown,
        "standing": of.standing,
        "stale": of.stale,
        "returned": of.returned,
        "returned_unacknowledged": of.returned_unacknowledged,
    })
}

/// A name of at most 14 letters, and columns of nine.
fn row(name: &str, cells: &[&str]) -> String {
    cells.iter().fold(format!("{name:<14}"), |row, cell| format!("{row}{cell:>9}"))
}

/// Days with one decimal, rounded down.
fn days(span: Span) -> String {
    let tenths = span.as_millis() / 8_640_000;
    format!("{}.{}", tenths / 10, tenths % 10)
}

fn hours(span: Span) -> f64 {
    f64::from(i32::try_from(span.as_minutes()).unwrap_or(i32::MAX)) / 60.0
}

fn share(n: u64, of: u64) -> String {
    if of == 0 { "-".to_owned() } else { format!("{} %", (n * 200 + of) / (of * 2)) }
}

/// Whole minutes an answer took; `none` where that many were not answered.
fn waited(of: &OfCondition, of_hundred: usize) -> String {
    match of.answered_within(of_hundred) {
        Some(span) => span.as_minutes().to_string(),
        None if of.asked == 0 => "-".to_owned(),
        None => "none".to_owned(),
    }
}
