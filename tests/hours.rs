//! Quiet hours, their one message and floods where clocks change, people travel and programs restart: at the local
//! end, once, and nothing that waited is lost.

use recheck::domain::glucose::Glucose;
use recheck::domain::local::{Hours, Zone};
use recheck::domain::reading::{Reading, SourceId};
use recheck::domain::schedule::Schedule;
use recheck::domain::time::{Span, Timestamp};
use recheck::engine::Engine;
use recheck::engine::effect::{Condition, Decision};
use recheck::engine::event::{Cause, Event};
use recheck::engine::policy::{Policy, SourceKind, SourcePolicy};
use recheck::engine::reason::Reason;
use recheck::wording::text::text;

fn at(text: &str) -> Timestamp {
    Timestamp::from_millis(chrono::DateTime::parse_from_rfc3339(text).unwrap().timestamp_millis())
}

fn policy(zone: &str, hours: Option<&str>) -> Policy {
    let mut policy = Policy::new(Zone::named(zone).unwrap());
    policy.sources = vec![SourcePolicy::new("sensor", SourceKind::Streaming)];
    policy.quiet_hours = hours.map(|hours| Schedule::parse(hours).unwrap()).unwrap_or_default();
    policy
}

/// A life with a reading of 120 every five minutes, saved and restored at every event.
struct Life {
    engine: Engine,
    now: Timestamp,
    rang: Vec<(Timestamp, Decision)>,
}

impl Life {
    fn new(policy: Policy, begin: Timestamp) -> Self {
        Self { engine: Engine::new(policy), now: begin, rang: Vec::new() }
    }

    fn handle(&mut self, event: &Event) {
        let told = self.engine.handle(event, self.now);
        self.rang.extend(told.into_iter().filter(|one| one.rings).map(|one| (self.now, one)));
        let saved = serde_json::to_string(self.engine.snapshot()).unwrap();
        self.engine = Engine::restore(self.engine.policy().clone(), serde_json::from_str(&saved).unwrap());
    }

    fn until(&mut self, end: Timestamp) {
        while self.now < end {
            let next = self.now + Span::minutes(5);
            while let Some(deadline) = self.engine.next_deadline().filter(|deadline| *deadline < next) {
                self.now = deadline;
                self.handle(&Event::Tick);
            }
            self.now = next;
            let reading = Reading { source: SourceId(0), measured: next, glucose: Glucose::mg_dl(120) };
            self.handle(&Event::Readings { rows: vec![reading], first_sight: false });
        }
    }

    fn odd_line(&mut self, number: u32) {
        self.handle(&Event::DiaryRefused { words: format!("diary.csv: line {number}"), more: 0 });
    }

    /// When each message about quiet hours came, and how many rings it told of.
    fn told(&self) -> Vec<(Timestamp, Condition, usize)> {
        let told = self.rang.iter().filter_map(|(at, decision)| match &decision.reason {
            Reason::Morning { held, .. } | Reason::Digest { held, .. } => Some((*at, decision.condition, held.len())),
            _ => None,
        });
        told.collect()
    }

    /// What rang beside these messages.
    fn others(&self) -> usize {
        self.rang.len() - self.told().len()
    }
}

/// The night of each clock change, two rings held in it, one before the change and one after. The ends of the nights
/// are from the tz database, as Python's zoneinfo reads it:
///
///     python3 -c 'from datetime import *; from zoneinfo import ZoneInfo as Z
///     for z, w in [("Europe/Madrid", "2026-03-29 07:00"), ("Europe/Madrid", "2026-10-25 07:00"),
///       ("Australia/Lord_Howe", "2026-10-04 07:00"), ("Australia/Lord_Howe", "2026-04-05 07:00")]:
///       print(z, w, datetime.fromisoformat(w).replace(tzinfo=Z(z)).astimezone(UTC))'
#[test]
fn what_waited_is_told_at_the_end_of_the_night_over_both_clock_changes() {
    for (zone, evening, end) in [
        ("Europe/Madrid", "2026-03-28T20:00:00Z", "2026-03-29T05:00:00Z"),
        ("Europe/Madrid", "2026-10-24T20:00:00Z", "2026-10-25T06:00:00Z"),
        ("Australia/Lord_Howe", "2026-10-03T11:00:00Z", "2026-10-03T20:00:00Z"),
        ("Australia/Lord_Howe", "2026-04-04T11:00:00Z", "2026-04-04T20:30:00Z"),
    ] {
        let end = at(end);
        let mut life = Life::new(policy(zone, None), at(evening));
        life.until(end - Span::hours(6));
        life.odd_line(1);
        life.until(end - Span::hours(1));
        life.odd_line(2);
        life.until(end + Span::hours(30));
        assert_eq!(life.told(), [(end, Condition::Morning, 2)], "{zone} {evening}");
        assert_eq!(life.others(), 0, "{zone} {evening}");
    }
}

/// Hours whose end the change skips end when they would have; hours whose end it repeats end the first time, and the
/// second time is not quiet again.
#[test]
fn hours_that_end_in_the_change_end_once() {
    for (begin, first, end) in [
        // 02:30 is skipped: it would have been at 01:30 UTC.
        ("2026-03-28T23:00:00Z", "2026-03-29T00:45:00Z", "2026-03-29T01:30:00Z"),
        // 02:30 comes at 00:30 and at 01:30 UTC.
        ("2026-10-24T22:00:00Z", "2026-10-25T00:00:00Z", "2026-10-25T00:30:00Z"),
    ] {
        let mut policy = policy("Europe/Madrid", Some("sun 01:30-02:30"));
        policy.night = Hours::parse("12:00-13:00").unwrap();
        let mut life = Life::new(policy, at(begin));
        life.until(at(first));
        life.odd_line(1);
        life.until(at(end) + Span::minutes(45));
        assert_eq!(life.told(), [(at(end), Condition::Digest, 1)], "{begin}");
        life.odd_line(2);
        assert_eq!(life.others(), 1, "what comes after the end rings by itself");
    }
}

/// From Lisbon to Tokyo, nine hours ahead: the night is over on arrival, and what waited is told then, not again at
/// the end of the night at home. By the clock there it waited in no night.
#[test]
fn a_flight_over_nine_hours_tells_what_waited_where_the_night_is_over() {
    let mut life = Life::new(policy("Europe/Lisbon", None), at("2026-03-02T20:00:00Z"));
    life.until(at("2026-03-02T23:30:00Z"));
    life.odd_line(1);
    life.until(at("2026-03-03T03:00:00Z"));
    life.handle(&Event::PolicyChanged(Box::new(policy("Asia/Tokyo", None))));
    life.until(at("2026-03-04T12:00:00Z"));
    assert_eq!(life.told(), [(at("2026-03-03T03:00:00Z"), Condition::Digest, 1)]);
    assert_eq!(life.others(), 0);
    // And back, by day in Tokyo into the night at home: what waits there is told in the morning there.
    life.handle(&Event::PolicyChanged(Box::new(policy("Europe/Lisbon", None))));
    life.until(at("2026-03-04T23:30:00Z"));
    life.odd_line(2);
    life.until(at("2026-03-05T12:00:00Z"));
    assert_eq!(life.told()[1..], [(at("2026-03-05T07:00:00Z"), Condition::Morning, 1)]);
}

/// To a zone of half hours where it is still night: the night ends there.
#[test]
fn a_flight_into_another_night_waits_for_its_end() {
    let mut life = Life::new(policy("Europe/Lisbon", None), at("2026-03-02T20:00:00Z"));
    life.until(at("2026-03-02T23:30:00Z"));
    life.odd_line(1);
    life.until(at("2026-03-03T00:30:00Z"));
    life.handle(&Event::PolicyChanged(Box::new(policy("Asia/Kolkata", None))));
    life.until(at("2026-03-03T12:00:00Z"));
    assert_eq!(life.told(), [(at("2026-03-03T01:30:00Z"), Condition::Morning, 1)], "07:00 there is 01:30 UTC");
    assert_eq!(life.others(), 0);
}

/// The computer's clock is set while something waits: it is told at the end by the new clock, also where that is past.
#[test]
fn a_clock_that_is_set_moves_the_end_with_it() {
    for (by, told) in [(-90, "2026-03-03T07:00:00Z"), (20, "2026-03-03T07:00:00Z"), (600, "2026-03-03T13:30:00Z")] {
        let mut life = Life::new(policy("UTC", None), at("2026-03-02T22:00:00Z"));
        life.until(at("2026-03-03T03:00:00Z"));
        life.odd_line(1);
        life.until(at("2026-03-03T03:30:00Z"));
        life.now = life.now + Span::minutes(by);
        life.handle(&Event::ClockStepped { by: Span::minutes(by) });
        life.until(at("2026-03-03T20:00:00Z"));
        assert_eq!(life.told(), [(at(told), Condition::Morning, 1)], "set by {by} min");
    }
}

/// The end of quiet hours passes while the computer sleeps: what waited is told once, when readings had time to come.
#[test]
fn a_sleep_over_the_end_tells_it_once() {
    let mut life = Life::new(policy("UTC", Some("mon-fri 09:00-12:00")), at("2026-03-02T08:00:00Z"));
    life.until(at("2026-03-02T10:00:00Z"));
    life.odd_line(1);
    let from = life.now;
    life.now = at("2026-03-02T15:00:00Z");
    life.handle(&Event::Unwatched { from, to: life.now, cause: Cause::Slept });
    life.until(at("2026-03-03T08:00:00Z"));
    assert_eq!(life.told(), [(at("2026-03-02T15:02:01Z"), Condition::Digest, 1)]);
}

/// Far more rings wait than are kept one by one: their number is told.
#[test]
fn rings_beyond_those_kept_are_counted() {
    let mut life = Life::new(policy("UTC", Some("mon-fri 09:00-12:00")), at("2026-03-02T08:00:00Z"));
    life.until(at("2026-03-02T10:00:00Z"));
    (1..=70).for_each(|number| life.odd_line(number));
    life.until(at("2026-03-02T12:30:00Z"));
    let digests: Vec<&Decision> = life.rang.iter().map(|(_, decision)| decision).collect();
    assert_eq!(digests.len(), 1);
    let Reason::Digest { held, more } = &digests[0].reason else { panic!("{digests:?}") };
    assert_eq!((held.len(), *more), (20, 50));
    let said = text(digests[0], life.engine.policy(), life.now);
    assert!(said.body.chars().count() <= 160 && said.body.lines().count() <= 5, "{}", said.body);
    let shown = said.body.lines().count() - 1;
    assert!(said.body.ends_with(&format!("And {} more.", 70 - shown)), "{}", said.body);
}

/// A flood goes on over a clock that is set and over a restart: it is over ten minutes after the last new alert.
#[test]
fn a_flood_keeps_its_spans_when_the_clock_is_set() {
    let mut policy = policy("UTC", None);
    policy.sources.extend((1..=5).map(|place| SourcePolicy::new(&format!("other-{place}"), SourceKind::History)));
    let mut life = Life::new(policy, at("2026-03-02T10:00:00Z"));
    life.until(at("2026-03-02T10:30:00Z"));
    // Sources that are lost, each a little more than a minute after the other: those of one minute have one cause.
    for step in 0..6 {
        life.now = at("2026-03-02T10:31:00Z") + Span::seconds(61 * i64::from(step));
        life.handle(&Event::Lost { source: SourceId(step), words: "no such folder".to_owned() });
    }
    let by = Span::hours(-3);
    life.now = life.now + by;
    life.handle(&Event::ClockStepped { by });
    let over_at = at("2026-03-02T10:46:05Z") + by;
    let before = life.rang.len();
    assert_eq!(before, 4, "three that ring by themselves, and one message");
    while let Some(deadline) = life.engine.next_deadline().filter(|deadline| *deadline <= over_at) {
        life.now = deadline;
        life.handle(&Event::Tick);
    }
    let after: Vec<(Timestamp, &str)> =
        life.rang[before..].iter().map(|(at, decision)| (*at, decision.reason.word())).collect();
    assert_eq!(after, [(at("2026-03-02T10:44:03Z") + by, "flood_told"), (over_at, "flood_over")]);
}
