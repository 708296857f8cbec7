//! `recheck status`: what is true now, and whether the alerting itself works.

use super::print::{Failure, folded, line};
use super::sources::order;
use super::{Place, calls, exclude, mode, status_hours, status_insulin};
use crate::config::ChannelSettings;
use crate::daemon::{clock, control};
use crate::domain::reading::SourceId;
use crate::domain::time::{Span, Timestamp};
use crate::domain::travel::WallClock;
use crate::engine::alert::{Alert, Because, Detail, Standing};
use crate::engine::effect::Side;
use crate::engine::plan::Job;
use crate::engine::policy::{Policy, SourceKind};
use crate::engine::two_signals::Trust;
use crate::engine::{Engine, PAST_MIN};
use crate::store::Store;
use crate::store::history::ChannelPast;
use crate::wording::compare;
use crate::wording::zone::travel;
use serde_json::{Value, json};
use std::process::ExitCode;

/// Refusals shown.
const REFUSALS_SHOWN: u32 = 3;

/// A loop that turns says so once a minute.
const HANGS_SECONDS: i64 = 180;

pub(super) fn run(place: &Place, as_json: bool) -> Result<ExitCode, Failure> {
    let (settings, clock) = place.settings_in_force()?;
    let folder = place.state();
    let Some(store) = Store::look(&folder)? else {
        let hint = "start it with `recheck run`, or see it work with `recheck demo`";
        return Err(
            Failure::new(format!("nothing has been watched yet: {} holds no state", folder.display())).hint(hint)
        );
    };
    let now = clock::wall();
    let runs = control::is_there(&folder);
    let (state, lived_by) = store.saved()?.map_or((None, None), |saved| (saved.state, saved.policy));
    let state = state.unwrap_or_default();
    let engine = Engine::restore(settings.policy.clone(), state);
    let seen =
        Seen { store: &store, engine: &engine, now, runs, channels: &settings.channels, clock: &clock, lived_by };
    let all = seen.all()?;
    if as_json {
        line(&all.to_string());
    } else {
        for text in seen.lines(&all).iter().chain(&exclude::covering(&store, &clock, now)?) {
            folded(text);
        }
    }
    Ok(ExitCode::SUCCESS)
}

/// What the wearer was told of an alert.
const fn told(alert: &Alert) -> &'static str {
    match (alert.silent(), alert.detail) {
        (None, _) => "rang",
        (Some(Because::Held), _) => "held until quiet hours are over",
        (Some(Because::SpokenFor), Detail::Lost { .. }) => "another source's alert speaks for it",
        (Some(Because::SpokenFor), _) => "a worse alert speaks for it",
        (Some(Because::Followed), _) => "the checks of your treatment speak for it",
        (Some(Because::Covered), _) => "what rang just before covers it",
        (Some(Because::Unsure), _) => "recorded, not sure enough to ring",
    }
}

struct Seen<'a> {
    store: &'a Store,
    engine: &'a Engine,
    now: Timestamp,
    runs: bool,
    channels: &'a [ChannelSettings],
    clock: &'a WallClock,
    /// What the last run was told: it knows standard input, which the settings do not name.
    lived_by: Option<Policy>,
}

impl Seen<'_> {
    fn all(&self) -> Result<Value, Failure> {
        let policy = self.engine.policy();
        let stamp = |at: Timestamp| policy.zone.rfc3339(at);
        let alive = self.store.last_alive()?;
        let names = self.store.source_names()?;
        let counts = self.store.counts()?;
        let reading = self.engine.newest().map(|(glucose, at, rate)| {
            json!({
                "shown": glucose.shown(policy.unit, None),
                "unit": policy.unit.name(),
                "mg_dl": glucose.as_mg_dl(),
                "at": stamp(at),
                "age_min": (self.now - at).as_minutes(),
                "direction": rate.map(|rate| rate.direction().words()),
                "rate": rate.map(|rate| rate.shown(policy.unit)),
            })
        });
        let sources: Vec<Value> = names
            .iter()
            .enumerate()
            .map(|(number, name)| {
                let counted: serde_json::Map<String, Value> = counts
                    .iter()
                    .filter(|(source, _, _)| usize::from(source.0) == number)
                    .map(|(_, what, n)| (what.clone(), json!(n)))
                    .collect();
                json!({ "name": name, "note": self.note_on(number, name), "counts": counted })
            })
            .collect();
        let mut channels = Vec::new();
        for channel in self.channels {
            let ChannelPast { accepted, failed } = self.store.channel_past(channel.name())?;
            channels.push(json!({
                "name": channel.name(),
                "last_accepted": accepted.map(stamp),
                "last_failure": failed.as_ref().map(|(at, _)| stamp(*at)),
                "failure": failed.map(|(_, words)| words),
            }));
        }
        let refusals: Vec<Value> = self
            .store
            .refusals(REFUSALS_SHOWN)?
            .into_iter()
            .map(|(at, words)| json!({ "at": stamp(at), "words": words }))
            .collect();
        Ok(json!({
            "running": self.runs,
            "last_turn": alive.map(|alive| stamp(alive.at)),
            "last_turn_age_s": alive.map(|alive| (self.now - alive.at).as_millis() / 1_000),
            "reading": reading,
            "insulin": status_insulin::value(self.engine, self.now),
            "zone": self.zone(),
            "alerts": self.alerts(&names),
            "rechecks": self.rechecks(),
            "unanswered": calls::of_the_low(self.engine),
            "waiting": calls::of_others(self.engine),
            "returned": self.engine.snapshot().register.returned.iter().map(|returned| {
                let until = match returned.standing {
                    Standing::ReturnedUnacknowledged { until } => Some(stamp(until)),
                    Standing::Unacknowledged | Standing::Acknowledged | Standing::SuppressedByDesign { .. } => None,
                };
                json!({ "id": returned.id.0, "condition": returned.condition.name(), "since": stamp(returned.since), "until": until })
            }).collect::<Vec<Value>>(),
            "quiet": status_hours::quiet(self.engine, self.now),
            "out_of_service": status_hours::out_of_service(self.engine),
            "quiet_hours_until": status_hours::quiet_hours(self.engine, self.now),
            "held": status_hours::held(self.engine),
            "modes": mode::all(self.engine, self.now),
            "not_counted_now": exclude::covering(self.store, self.clock, self.now)?,
            "channels": channels,
            "sources": sources,
            "refusals": refusals,
            "answered_at_start": self.answered_at_start()?,
        }))
    }

    /// What had been kept while recheck did not run, each line with its answer, for a day.
    fn answered_at_start(&self) -> Result<Value, Failure> {
        let kept = self.store.kept_answered(self.now - Span::hours(24))?;
        Ok(kept
            .map_or(Value::Null, |(at, lines)| json!({ "at": self.engine.policy().zone.rfc3339(at), "lines": lines })))
    }

    /// What is to be known of a source beside its counts.
    fn note_on(&self, number: usize, name: &str) -> Option<String> {
        let (policy, state) = (self.engine.policy(), self.engine.snapshot());
        let clock = |at: Timestamp| policy.zone.clock_seen_from(at, self.now);
        let source = state.sources.get(number)?;
        // The settings list sources by name, the state by their lasting numbers.
        let lived_by = self.lived_by.as_ref().and_then(|policy| policy.sources.get(number));
        let known = lived_by.into_iter().chain(&policy.sources).find(|source| source.name == name);
        let kind = known.map_or(SourceKind::History, |source| source.kind);
        let sensor = known.map(|source| source.sensor).unwrap_or_default();
        let session = source.session();
        let mut notes = Vec::new();
        if kind == SourceKind::History || source.history_only() {
            notes.push("history only: it CANNOT ALERT".to_owned());
        }
        match state.trust {
            Some(Trust::Source(trusted)) if usize::from(trusted.0) != number => {
                notes.push("set aside by `recheck trust`".to_owned());
            }
            Some(Trust::Signal { ours, other, .. }) => notes.push(format!(
                "of two signals the one at {} counts, the one at {} does not",
                ours.shown(policy.unit, None),
                other.shown(policy.unit, None)
            )),
            Some(Trust::Source(_)) | None => {}
        }
        if source.wrote_twice().is_some_and(|at| self.now - at < Span::hours(1)) {
            notes.push("writes each value twice".to_owned());
        }
        if session.is_stopped() {
            notes.push("its sensor is off".to_owned());
        } else if let Some(started) = session.started() {
            let warm = started + sensor.warm_up;
            let end = sensor.life.map_or_else(String::new, |life| format!(", ends {}", clock(started + life)));
            let warm = if warm > self.now { format!(", warms up until {}", clock(warm)) } else { String::new() };
            notes.push(format!("sensor started {}{warm}{end}", clock(started)));
        }
        if let Some(bias) = source.checks().bias() {
            let off = if source.checks().is_off() { ", which is more than published accuracy allows" } else { "" };
            notes.push(format!("{}{off}", compare::over(&bias)));
        }
        let id = u16::try_from(number).ok().map(SourceId)?;
        if let Some(next) = state.plan.due(Job::Scan(id)) {
            notes.push(format!("asks for a scan {}", clock(next)));
        }
        (!notes.is_empty()).then(|| notes.join("; "))
    }

    /// The zone in force; where it is not home, until when.
    fn zone(&self) -> Value {
        let there = self.clock.travel_at(self.now);
        let zone = self.engine.policy().zone;
        json!({
            "name": zone.name(),
            "home": self.clock.home().name(),
            "until": there.map(|there| zone.rfc3339(there.until)),
            "words": there.map(|there| travel(there, self.clock.home(), self.now)),
        })
    }

    /// What is open, whatever it is about, in the order of the register.
    fn alerts(&self, names: &[String]) -> Vec<Value> {
        let stamp = |at: Timestamp| self.engine.policy().zone.rfc3339(at);
        let open = self.engine.snapshot().register.open();
        open.map(|alert| {
            let mut value = json!({
                "id": alert.id.0,
                "condition": alert.condition.name(),
                "since": stamp(alert.since),
                "told": told(alert),
                "seen": alert.is_acknowledged(),
            });
            match alert.detail {
                Detail::Level(_) => value["state"] = json!(self.engine.alarm_state(alert.condition).name()),
                Detail::Forecast { by, .. } => value["by"] = json!(stamp(by)),
                Detail::Lost { source } => value["source"] = json!(names.get(usize::from(source.0))),
                Detail::Ketones(facts) => {
                    value["row"] = json!(facts.found.row.name());
                    value["next"] = json!(self.engine.snapshot().plan.due(Job::Ketones).map(stamp));
                }
                Detail::TwoSignals { .. } | Detail::Channels { .. } => {}
            }
            value
        })
        .collect()
    }

    /// What is looked at again, and when.
    fn rechecks(&self) -> Vec<Value> {
        let stamp = |at: Timestamp| self.engine.policy().zone.rfc3339(at);
        let checks = self.engine.snapshot().plan.checks();
        let of_a_side = checks.filter_map(|(check, due)| Some((check, due, check.side()?)));
        let mut all: Vec<(Side, Value)> = of_a_side
            .map(|(check, due, side)| {
                let of = if side == Side::Low { "low" } else { "high" };
                let treated = check.treated_at().map(stamp);
                (side, json!({ "id": check.id().0, "of": of, "treated": treated, "next": due.map(stamp) }))
            })
            .collect();
        all.sort_by_key(|(side, _)| *side);
        all.into_iter().map(|(_, value)| value).collect()
    }

    fn lines(&self, all: &Value) -> Vec<String> {
        let clock = |value: &Value| clock_of(value.as_str());
        let hangs = self.runs && all["last_turn_age_s"].as_i64().is_some_and(|age| age > HANGS_SECONDS);
        let mut lines = vec![if hangs {
            format!("recheck is running but has not turned since {}: it may hang", clock(&all["last_turn"]))
        } else if self.runs {
            "recheck is running".to_owned()
        } else {
            format!("recheck is NOT running: nothing is watched (last turn {})", clock(&all["last_turn"]))
        }];
        lines.push(match all["reading"].as_object() {
            None => "No reading yet".to_owned(),
            Some(reading) => {
                let age = reading["age_min"].as_i64().unwrap_or(0);
                let direction = reading["direction"].as_str().map_or_else(String::new, |words| format!(", {words}"));
                let old = if age > PAST_MIN { ": too old to say what is true now" } else { "" };
                format!(
                    "{} {}{direction}, at {}, {} ago{old}",
                    reading["shown"].as_str().unwrap_or_default(),
                    reading["unit"].as_str().unwrap_or_default(),
                    clock(&reading["at"]),
                    Span::minutes(age)
                )
            }
        });
        lines.extend(status_insulin::line(&all["insulin"]));
        lines.extend(all["zone"]["words"].as_str().map(|words| format!("You are in {words}")));
        lines.extend(mode::lines(&all["modes"]));
        section(&mut lines, "Open alerts", &all["alerts"], |alert| {
            let seen = if alert["seen"] == true { ", seen" } else { "" };
            let told = alert["told"].as_str().unwrap_or_default();
            let since = alert["since"].as_str().map_or_else(String::new, |at| format!(" since {}", clock_of(Some(at))));
            let of = alert["source"].as_str().map_or_else(String::new, |source| format!(" ({source})"));
            let condition = text(alert, "condition").replace('_', " ");
            let by = alert["by"].as_str().map_or_else(String::new, |by| format!(", likely by {}", clock_of(Some(by))));
            let row = alert["row"].as_str().map_or_else(String::new, |row| format!(" ({})", row.replace('_', " ")));
            let next =
                alert["next"].as_str().map_or_else(String::new, |at| format!(", asked again {}", clock_of(Some(at))));
            format!("{:>4}  {condition}{of}{row}{since}{by}, {told}{seen}{next}", alert["id"].to_string())
        });
        lines.extend(calls::lines(&all["unanswered"], &all["waiting"]));
        section(&mut lines, "Over, and never answered", &all["returned"], |returned| {
            format!(
                "{:>4}  {} {} to {}",
                returned["id"].to_string(),
                text(returned, "condition"),
                clock(&returned["since"]),
                clock(&returned["until"])
            )
        });
        status_hours::lines(&mut lines, all);
        section(&mut lines, "Re-checks", &all["rechecks"], |care| {
            let treated = care["treated"]
                .as_str()
                .map_or("not marked as treated".to_owned(), |at| format!("treated {}", clock_of(Some(at))));
            format!(
                "{:>4}  {}, {treated}, next look {}",
                care["id"].to_string(),
                text(care, "of"),
                clock(&care["next"])
            )
        });
        section(&mut lines, "Channels", &all["channels"], |channel| {
            let accepted = channel["last_accepted"]
                .as_str()
                .map_or("nothing accepted yet".to_owned(), |at| format!("last accepted {}", clock_of(Some(at))));
            let failure = match (channel["failure"].as_str(), channel["last_failure"].as_str()) {
                (Some(words), Some(at)) => {
                    format!("; last failure {}: {words}", clock_of(Some(at)))
                }
                _ => String::new(),
            };
            format!("      {}: {accepted}{failure}", text(channel, "name"))
        });
        section(&mut lines, "Sources", &all["sources"], |source| {
            let mut counts: Vec<_> = source["counts"].as_object().into_iter().flatten().collect();
            counts.sort_by_key(|(what, _)| order(what));
            let counts: Vec<String> =
                counts.into_iter().map(|(what, n)| format!("{n} {}", what.replace('_', " "))).collect();
            let note = source["note"].as_str().map_or_else(String::new, |note| format!("\n        {note}"));
            format!(
                "      {}: {}{note}",
                text(source, "name"),
                if counts.is_empty() { "nothing yet".to_owned() } else { counts.join(", ") }
            )
        });
        let kept = &all["answered_at_start"];
        section(
            &mut lines,
            &format!("Kept while recheck was off, taken in {}", clock(&kept["at"])),
            &kept["lines"],
            |line| format!("      {}", line.as_str().unwrap_or_default()),
        );
        section(&mut lines, "Refused lately", &all["refusals"], |refusal| {
            format!("      {} {}", clock(&refusal["at"]), text(refusal, "words"))
        });
        lines
    }
}

pub(super) fn section(lines: &mut Vec<String>, title: &str, all: &Value, line: impl Fn(&Value) -> String) {
    let all = all.as_array().map_or(&[][..], Vec::as_slice);
    if !all.is_empty() {
        lines.push(title.to_owned());
        lines.extend(all.iter().map(line));
    }
}

pub(super) fn text<'a>(value: &'a Value, key: &str) -> &'a str {
    value[key].as_str().unwrap_or_default()
}

/// `2026-03-02 14:10` of an RFC 3339 time.
pub(super) fn clock_of(stamp: Option<&str>) -> String {
    stamp.and_then(|stamp| stamp.get(..16)).map_or_else(|| "-".to_owned(), |shown| shown.replace('T', " "))
}
