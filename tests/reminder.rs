//! The wearer's own reminders: by the engine over clock changes, journeys and a clock that is set, and through
//! the running program. Needs no part beyond the program itself.

use super::real::{Receiver, Recheck, wait_for, webhook};
use chrono::{DateTime, NaiveDateTime};
use recheck::config::meant::{Purpose, settings};
use recheck::daemon::clock::Clock;
use recheck::daemon::{Daemon, Plan};
use recheck::domain::local::Zone;
use recheck::domain::reminder::{Asked, Every, Wall, When};
use recheck::domain::time::{Span, Timestamp};
use recheck::engine::effect::{Id, What};
use recheck::engine::event::{Cause, Event};
use recheck::engine::policy::Policy;
use recheck::engine::{Engine, State};
use recheck::store::Store;
use recheck::store::inbox::Said;
use std::fs;
use std::path::Path;
use std::time::Duration;

fn at(text: &str) -> Timestamp {
    Timestamp::from_millis(DateTime::parse_from_rfc3339(text).unwrap().timestamp_millis())
}

fn wall(text: &str) -> When {
    When::Wall(Wall::of(NaiveDateTime::parse_from_str(text, "%Y-%m-%d %H:%M").unwrap()))
}

fn asked(text: &str, when: When, every: Option<Every>, said: &str) -> Asked {
    Asked { text: text.to_owned(), when, every, only: None, said: at(said) }
}

fn daily() -> Option<Every> {
    Every::span(Span::hours(24))
}

/// A life without readings, restarted at every step.
struct Life {
    engine: Engine,
    rang: Vec<(Timestamp, String)>,
}

impl Life {
    fn new(zone: &str) -> Self {
        let policy = Policy::new(Zone::named(zone).unwrap());
        Self { engine: Engine::new(policy), rang: Vec::new() }
    }

    fn happens(&mut self, now: &str, event: &Event) {
        while let Some(deadline) = self.engine.next_deadline().filter(|deadline| *deadline < at(now)) {
            self.turn(&Event::Tick, deadline);
        }
        self.turn(event, at(now));
    }

    fn turn(&mut self, event: &Event, now: Timestamp) {
        for decision in self.engine.handle(event, now) {
            if decision.what == What::Prompt {
                let said = recheck::wording::text::text(&decision, self.engine.policy(), now);
                self.rang.push((now, said.title));
            }
        }
        let saved = serde_json::to_string(self.engine.snapshot()).unwrap();
        self.engine = Engine::restore(self.engine.policy().clone(), serde_json::from_str(&saved).unwrap());
    }

    fn asks(&mut self, now: &str, text: &str, when: When, every: Option<Every>) {
        self.happens(now, &Event::Remind(asked(text, when, every, now)));
    }

    fn moves(&mut self, now: &str, zone: &str) {
        let policy = Policy { zone: Zone::named(zone).unwrap(), ..self.engine.policy().clone() };
        self.happens(now, &Event::PolicyChanged(Box::new(policy)));
    }

    fn rang_by(&mut self, now: &str, wanted: &[(&str, &str)]) {
        self.happens(now, &Event::Tick);
        let shown: Vec<(String, &str)> =
            self.rang.iter().map(|(at, title)| (Zone::UTC.rfc3339(*at), title.as_str())).collect();
        let wanted: Vec<(String, &str)> =
            wanted.iter().map(|(when, title)| (Zone::UTC.rfc3339(at(when)), *title)).collect();
        assert_eq!(shown, wanted);
    }
}

/// Half past two, which Madrid's clocks skip in spring and show twice in autumn. Instants as Python's zoneinfo
/// reads them, fold 0:
///
///     python3 -c 'from datetime import *; from zoneinfo import ZoneInfo as Z
///     for day in ["03-28", "03-29", "03-30", "10-24", "10-25", "10-26"]:
///       print(datetime.fromisoformat(f"2026-{day} 02:30").replace(tzinfo=Z("Europe/Madrid")).astimezone(UTC))'
#[test]
fn every_day_over_both_clock_changes() {
    let mut spring = Life::new("Europe/Madrid");
    spring.asks("2026-03-27T12:00:00Z", "turn", wall("2026-03-28 02:30"), daily());
    let days = ["2026-03-28T01:30:00Z", "2026-03-29T01:30:00Z", "2026-03-30T00:30:00Z"];
    spring.rang_by("2026-03-30T23:00:00Z", &days.map(|day| (day, "turn")));
    let mut autumn = Life::new("Europe/Madrid");
    autumn.asks("2026-10-23T12:00:00Z", "turn", wall("2026-10-24 02:30"), daily());
    let days = ["2026-10-24T00:30:00Z", "2026-10-25T00:30:00Z", "2026-10-26T01:30:00Z"];
    autumn.rang_by("2026-10-26T23:00:00Z", &days.map(|day| (day, "turn")));
}

/// The hands of a clock count: an hour that is skipped has no reminder of its own, and one that comes twice has one.
#[test]
fn every_hour_over_both_clock_changes() {
    let hourly = Every::span(Span::hours(1));
    let mut spring = Life::new("Europe/Madrid");
    spring.asks("2026-03-28T23:00:00Z", "turn", wall("2026-03-29 01:30"), hourly);
    // 01:30, 02:30 as 03:30, 04:30.
    let hours = ["2026-03-29T00:30:00Z", "2026-03-29T01:30:00Z", "2026-03-29T02:30:00Z"];
    spring.rang_by("2026-03-29T03:00:00Z", &hours.map(|hour| (hour, "turn")));
    let mut autumn = Life::new("Europe/Madrid");
    autumn.asks("2026-10-24T23:00:00Z", "turn", wall("2026-10-25 01:30"), hourly);
    // 01:30, the first 02:30, 03:30.
    let hours = ["2026-10-24T23:30:00Z", "2026-10-25T00:30:00Z", "2026-10-25T02:30:00Z"];
    autumn.rang_by("2026-10-25T03:00:00Z", &hours.map(|hour| (hour, "turn")));
}

/// A span is a span: forty-five minutes over a clock change are forty-five minutes, and in the second of two
/// equal hours it does not fall back into the first.
#[test]
fn a_span_has_its_length_and_then_the_wall_clock_rules() {
    let mut life = Life::new("Europe/Madrid");
    life.asks("2026-10-25T00:15:00Z", "look", When::At(at("2026-10-25T01:00:00Z")), daily());
    // 02:15 of the first time round, and 45 minutes later it is 02:00 of the second; the next day 02:00 is once.
    life.rang_by("2026-10-26T12:00:00Z", &[("2026-10-25T01:00:00Z", "look"), ("2026-10-26T01:00:00Z", "look")]);
}

/// Offsets of the tz database in winter: Madrid +01:00, New York -05:00.
#[test]
fn a_journey_west_brings_a_time_again_and_one_east_skips_it() {
    let mut life = Life::new("Europe/Madrid");
    life.asks("2026-12-10T09:00:00Z", "site", wall("2026-12-10 14:30"), daily());
    life.asks("2026-12-10T09:00:00Z", "drops", wall("2026-12-10 20:00"), None);
    // 16:00 in Madrid is 10:00 in New York: 14:30 comes again and has rung, 20:00 is to come.
    life.moves("2026-12-10T15:00:00Z", "America/New_York");
    // 10:00 in New York is 16:00 in Madrid: 14:30 of that day is skipped, and falls when it would have been.
    life.moves("2026-12-11T15:00:00Z", "Europe/Madrid");
    life.rang_by(
        "2026-12-12T20:00:00Z",
        &[
            ("2026-12-10T13:30:00Z", "site"),
            ("2026-12-11T01:00:00Z", "drops"),
            ("2026-12-11T19:30:00Z", "site"),
            ("2026-12-12T13:30:00Z", "site"),
        ],
    );
}

#[test]
fn a_clock_that_is_set_moves_spans_and_leaves_hours() {
    for (by, span_rings, wall_rings) in [
        (Span::hours(1), ("2026-12-10T12:00:00Z", "span"), ("2026-12-10T14:30:00Z", "wall")),
        (Span::hours(-1), ("2026-12-10T10:00:00Z", "span"), ("2026-12-10T14:30:00Z", "wall")),
    ] {
        let mut life = Life::new("UTC");
        life.asks("2026-12-10T10:00:00Z", "span", When::At(at("2026-12-10T11:00:00Z")), None);
        life.asks("2026-12-10T10:00:00Z", "wall", wall("2026-12-10 14:30"), None);
        life.turn(&Event::ClockStepped { by }, at("2026-12-10T10:00:00Z") + by);
        life.rang_by("2026-12-10T15:00:00Z", &[span_rings, wall_rings]);
    }
    // One that waits after sleep, until readings have come in, goes on waiting.
    let mut life = Life::new("UTC");
    life.asks("2026-12-10T10:00:00Z", "wall", wall("2026-12-10 11:00"), None);
    let (from, to) = (at("2026-12-10T10:30:00Z"), at("2026-12-10T12:00:00Z"));
    life.turn(&Event::Unwatched { from, to, cause: Cause::Slept }, to);
    life.turn(&Event::ClockStepped { by: Span::seconds(10) }, at("2026-12-10T12:00:10Z"));
    life.rang_by("2026-12-10T13:00:00Z", &[("2026-12-10T12:02:11Z", "wall (due 11:00)")]);
    // Set past a reminder's hour: it is late. Set back over one that rang: it rang.
    let mut life = Life::new("UTC");
    life.asks("2026-12-10T10:00:00Z", "wall", wall("2026-12-10 11:00"), daily());
    life.turn(&Event::ClockStepped { by: Span::hours(2) }, at("2026-12-10T12:10:00Z"));
    life.turn(&Event::ClockStepped { by: Span::hours(-2) }, at("2026-12-10T10:20:00Z"));
    life.rang_by(
        "2026-12-11T11:00:00Z",
        &[("2026-12-10T12:10:00Z", "wall (due 11:00)"), ("2026-12-11T11:00:00Z", "wall")],
    );
}

/// After a fault what was due is given up; a reminder that comes again still does.
#[test]
fn a_fault_does_not_end_what_comes_again() {
    let mut life = Life::new("UTC");
    life.asks("2026-12-10T10:00:00Z", "once", wall("2026-12-10 11:00"), None);
    life.asks("2026-12-10T10:00:00Z", "daily", wall("2026-12-10 11:00"), daily());
    life.engine.give_up_due(at("2026-12-10T11:00:00Z"));
    assert_eq!(life.engine.snapshot().reminders.iter().map(|one| one.id).collect::<Vec<_>>(), [Id(2)]);
    life.rang_by("2026-12-11T11:00:00Z", &[("2026-12-11T11:00:00Z", "daily")]);
}

/// What an engine without reminders saved is read back.
#[test]
fn a_state_without_reminders_is_read() {
    let mut saved = serde_json::to_value(State::default()).unwrap();
    assert!(saved.as_object_mut().unwrap().remove("reminders").is_some());
    assert_eq!(serde_json::from_value::<State>(saved).unwrap(), State::default());
}

fn words(recheck: &Recheck, said: &[&str]) -> String {
    let output = recheck.say(said);
    format!("{}{}", String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr))
}

#[test]
fn a_reminder_survives_a_kill_and_rings_once() {
    let receiver = Receiver::start();
    let mut recheck = Recheck::new(&webhook(&receiver.url()));
    recheck.watch();
    let answer = words(&recheck, &["remind", "4s", "look at", "the pump", "--every", "1d"]);
    assert!(answer.starts_with("Reminder 1, ") && answer.ends_with(", every day: look at the pump\n"), "{answer}");
    recheck.kill();
    let listed = words(&recheck, &["remind"]);
    assert_eq!(listed.trim_start().replace("1  ", "Reminder 1, "), answer, "the same, whether it runs or not");
    recheck.watch();
    let got = receiver.wait_for("reminder", 1);
    assert_eq!((&got[0].body["title"], &got[0].body["what"]), (&"look at the pump".into(), &"prompt".into()));
    assert_eq!((&got[0].body["alert"], &got[0].body["priority"]), (&1.into(), &"information".into()));
    assert!(got[0].body["text"].as_str().unwrap().starts_with("look at the pump. Your own reminder, due "));
    // Stopped and started once more: it rang, and comes again tomorrow. A kill before it was kept that it was accepted would
    // send it again, marked as a repeat.
    wait_for("that it was accepted to be kept", || {
        recheck.status()?["channels"][0]["last_accepted"].as_str().map(str::to_owned)
    });
    recheck.kill();
    recheck.watch();
    std::thread::sleep(Duration::from_secs(1));
    assert_eq!(receiver.about("reminder").len(), 1);
    assert!(words(&recheck, &["remind"]).contains("every day: look at the pump"));
    assert!(words(&recheck, &["why", "1"]).contains("reminder asked: \"look at the pump\" was due "));
}

#[test]
fn reminders_are_kept_listed_and_cancelled_with_and_without_a_daemon() {
    let mut recheck = Recheck::new(&webhook("http://127.0.0.1:9/"));
    assert!(words(&recheck, &["remind"]).starts_with("There are no reminders."));
    for said in [
        &["remind", "2099-12-20", "09:00", "change the site"][..],
        &["remind", "2099-12-20 08:00", "still high?", "--above", "180"],
    ] {
        assert!(words(&recheck, said).starts_with("Kept. recheck is not running"), "{said:?}");
    }
    let waiting = words(&recheck, &["remind"]);
    assert!(
        waiting.contains("   -  2099-12-20 09:00: change the site (numbered when `recheck run` starts)\n"),
        "{waiting}"
    );
    recheck.watch();
    let listed =
        wait_for("the reminders", || Some(words(&recheck, &["remind"])).filter(|listed| !listed.contains("-  ")));
    let soonest_first =
        "   2  2099-12-20 08:00, only above 180: still high?\n   1  2099-12-20 09:00: change the site\n";
    assert_eq!(listed, soonest_first);
    // Travel: the wall clock rules, and the list is by it.
    words(&recheck, &["zone", "Asia/Tokyo", "until", "2099-12-30"]);
    assert_eq!(words(&recheck, &["remind"]), soonest_first);
    words(&recheck, &["zone", "home"]);
    assert_eq!(words(&recheck, &["remind"]), soonest_first);
    assert_eq!(words(&recheck, &["remind", "cancel", "2"]), "Cancelled: 2.\n");
    assert!(words(&recheck, &["remind", "cancel", "2"]).contains("error: no reminder has the number 2\n"));
    recheck.kill();
    words(&recheck, &["remind", "cancel", "all"]);
    assert!(words(&recheck, &["remind"]).starts_with("There are no reminders."));
}

#[test]
fn what_is_no_reminder_is_said_with_a_hint() {
    let recheck = Recheck::new(&webhook("http://127.0.0.1:9/"));
    let long = "word ".repeat(41);
    for (said, what, hint) in [
        (&["remind", "14:30"][..], "this reminder has no words", "change the site"),
        (&["remind", "soon", "look"], "\"soon\" is not a time to be reminded at", "45m"),
        (&["remind", "25:00", "look"], "\"25:00\" is not a time to be reminded at", "14:30"),
        (&["remind", "31d", "look"], "\"31d\" is not a time to be reminded at", "up to 30d"),
        (&["remind", "0m", "look"], "0m has passed", "tomorrow's"),
        (&["remind", "2020-12-20 09:00", "look"], "2020-12-20 09:00 has passed", "to come"),
        (&["remind", "14:30", &long], "the text has 204 characters, and 200 are the most", "fewer words"),
        (&["remind", "14:30", "bell \u{7}"], "character 6 of the text", "letters"),
        (&["remind", "14:30", "look", "--every", "5m"], "--every is \"5m\"", "from 15m to 30d"),
        (&["remind", "14:30", "look", "--every", "workdays"], "--every is \"workdays\"", "mon,thu"),
        (&["remind", "14:30", "look", "--above", "10.0"], "--above is \"10.0\"", "from 40 to 400 mg/dL"),
        (&["remind", "14:30", "look", "--below", "high"], "--below is \"high\"", "from 40 to 400 mg/dL"),
        (&["remind", "cancel"], "cancel needs one number, or all", "recheck remind"),
        (&["remind", "cancel", "site"], "\"site\" is no number of a reminder", "or all"),
        (&["remind", "cancel", "7"], "no reminder has the number 7", "lists them"),
        (&["remind", "--every", "1d"], "--every, --above and --below belong to a new", "--above 180"),
    ] {
        let output = recheck.say(said);
        let words = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(1), "{said:?}: {words}");
        assert!(words.contains(&format!("error: {what}")) && words.contains("hint: "), "{said:?}: {words}");
        assert!(words.split("hint: ").last().unwrap().contains(hint), "{said:?}: {words}");
    }
    let both = recheck.say(&["remind", "14:30", "look", "--above", "180", "--below", "70"]);
    assert!(!both.status.success());
    assert!(words(&recheck, &["remind"]).starts_with("There are no reminders."), "nothing of that was kept");
}

/// What cannot be kept is refused at once, daemon or not.
#[test]
fn the_fifty_first_is_refused() {
    let recheck = Recheck::new(&webhook("http://127.0.0.1:9/"));
    let store = {
        words(&recheck, &["remind", "2099-12-20 09:00", "first"]);
        Store::open(&recheck.state()).unwrap()
    };
    let more = asked("more", wall("2099-12-20 10:00"), None, "2026-12-10T10:00:00Z");
    for _ in 0..48 {
        store.say(at("2026-12-10T10:00:00Z"), &Said::Remind(more.clone())).unwrap();
    }
    assert!(words(&recheck, &["remind", "2099-12-20 11:00", "fiftieth"]).starts_with("Kept."));
    let refused = words(&recheck, &["remind", "2099-12-20 12:00", "one more"]);
    assert!(refused.contains("error: there are 50 reminders, and that is the most\n"), "{refused}");
    assert_eq!(words(&recheck, &["remind"]).lines().count(), 50);
}

/// Runs the program by a pretend clock until what is looked for is there.
fn live(home: &Path, url: &str, clock: Clock, mut until: impl FnMut() -> bool) {
    let text = super::real::settings(&home.join("exports"), &webhook(url));
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    runtime.block_on(async {
        let settings = settings(&text, None, &[], Purpose::Watch, Zone::UTC).unwrap();
        let folder = home.join("state");
        let plan = Plan { settings, folder, clock, mark: None, stdin: false, listener: None, before_judging: None };
        let wait = async {
            while !until() {
                tokio::time::sleep(Duration::from_millis(20)).await;
            }
        };
        let mut daemon = Daemon::start(plan).unwrap();
        daemon.run(async { tokio::time::timeout(Duration::from_secs(20), wait).await.unwrap() }).await
    });
}

/// Stopped from ten to four: what was due at half past two rings once, and says so; what was said meanwhile
/// rings too.
#[test]
fn what_was_due_while_it_was_stopped_rings_late() {
    let receiver = Receiver::start();
    let home = tempfile::tempdir().unwrap();
    fs::create_dir(home.path().join("exports")).unwrap();
    let folder = home.path().join("state");
    fs::create_dir(&folder).unwrap();
    let store = Store::open(&folder).unwrap();
    let say = |text: &str, when: When, every: Option<Every>, said: &str| {
        store.say(at(said), &Said::Remind(asked(text, when, every, said))).unwrap();
    };
    say("change the site", wall("2026-03-02 14:30"), Every::span(Span::hours(1)), "2026-03-02T10:00:00Z");
    let kept = || store.saved().unwrap().and_then(|saved| saved.state).map_or(0, |state| state.reminders.len());
    live(home.path(), &receiver.url(), Clock::fast(at("2026-03-02T10:00:00Z"), 1), || kept() == 1);
    say("look at the pump", When::At(at("2026-03-02T15:20:00Z")), None, "2026-03-02T14:35:00Z");
    // Two minutes until what is due falls due are two seconds.
    let clock = Clock::fast(at("2026-03-02T16:00:00Z"), 60);
    live(home.path(), &receiver.url(), clock, || {
        // What is due in one moment with something worse stands in its message (promise O1).
        let said = |words: &str| {
            let got = receiver.got();
            got.iter().any(|got| format!("{} {}", got.body["title"], got.body["text"]).contains(words))
        };
        said("change the site (due 14:30)") && said("look at the pump (due 15:20)")
    });
    let state = store.saved().unwrap().unwrap().state.unwrap();
    assert_eq!(state.reminders.iter().map(|one| one.due).collect::<Vec<_>>(), [at("2026-03-02T16:30:00Z")]);
}
