//! Modes: over clock changes, journeys and a clock that is set; what they never change; and through the running
//! program. Needs no part beyond the program itself.

use super::properties::{Dice, day};
use super::real::{Recheck, wait_for, webhook};
use chrono::DateTime;
use recheck::config::meant::{Purpose, settings};
use recheck::domain::diary::{Amount, Kind, Note};
use recheck::domain::glucose::{Glucose, Unit};
use recheck::domain::local::Zone;
use recheck::domain::mode::{Mode, Wish};
use recheck::domain::reading::{Reading, SourceId};
use recheck::domain::time::{Span, Timestamp};
use recheck::engine::Engine;
use recheck::engine::alert::alarm::{AlarmState, FOLLOWS};
use recheck::engine::effect::{Condition, Decision, Side, What};
use recheck::engine::event::{Cause, Event, Which};
use recheck::engine::mode::hold::DrivingWait;
use recheck::engine::mode::reason::Why;
use recheck::engine::mode::{longest, usual};
use recheck::engine::policy::{Line, PersonPolicy, Policy, SourceKind, SourcePolicy, Tells};
use recheck::engine::reason::Reason;
use recheck::wording::answer::answer;
use recheck::wording::text::text;

/// 2026-03-02 06:40 UTC.
const MORNING: Timestamp = Timestamp::from_seconds(1_772_433_600);

fn at(text: &str) -> Timestamp {
    Timestamp::from_millis(DateTime::parse_from_rfc3339(text).unwrap().timestamp_millis())
}

fn policy(zone: &str) -> Policy {
    let sources = vec![SourcePolicy::new("sensor", SourceKind::Streaming)];
    Policy { sources, ..Policy::new(Zone::named(zone).unwrap()) }
}

fn begin(mode: Mode, at: Timestamp) -> Event {
    Event::Mode { wish: Wish::Begin { mode, span: None }, at }
}

fn reads(value: i32, at: Timestamp) -> Event {
    let row = Reading { source: SourceId(0), measured: at, glucose: Glucose::mg_dl(value) };
    Event::Readings { rows: vec![row], first_sight: false }
}

/// All that is decided by ticks until then.
fn ticks(engine: &mut Engine, until: Timestamp) -> Vec<(Timestamp, Decision)> {
    let mut told = Vec::new();
    while let Some(deadline) = engine.next_deadline().filter(|deadline| *deadline <= until) {
        told.extend(engine.handle(&Event::Tick, deadline).into_iter().map(|decision| (deadline, decision)));
    }
    told
}

fn end_of(told: &[(Timestamp, Decision)]) -> Option<Timestamp> {
    told.iter().find(|(_, one)| matches!(one.reason, Reason::Mode { said: Why::Over { .. } })).map(|(at, _)| *at)
}

/// Madrid goes back from +02:00 to +01:00 at 01:00 UTC on 2026-10-25 (tz database; the command stands in
/// clocks.rs): a day of alcohol from nine in the evening ends at eight.
#[test]
fn a_day_of_alcohol_is_24_hours_over_a_clock_change() {
    let began = at("2026-10-24T21:00:00+02:00");
    let mut engine = Engine::new(policy("Europe/Madrid"));
    let told = engine.handle(&begin(Mode::Alcohol, began), began);
    let words = answer(&told[0], engine.policy(), began).words;
    assert!(words.starts_with("Alcohol until Sun 20:00. Below 80 rings"), "{words}");
    assert_eq!(end_of(&ticks(&mut engine, began + Span::hours(30))), Some(at("2026-10-25T20:00:00+01:00")));
}

/// On a journey the night is the one there: a look at two in the morning in Tokyo is withheld, though it is six in
/// the evening at home. The spans are as long as they were.
#[test]
fn on_a_journey_spans_stay_and_the_night_is_the_one_there() {
    let began = at("2026-12-10T16:00:00+01:00");
    let mut engine = Engine::new(policy("Europe/Madrid"));
    engine.handle(&begin(Mode::Sick, began), began);
    engine.handle(&Event::PolicyChanged(Box::new(policy("Asia/Tokyo"))), began + Span::hours(1));
    let told = ticks(&mut engine, began + Span::hours(24));
    let looks: Vec<(i64, bool)> = told
        .iter()
        .filter(|(_, one)| matches!(one.reason, Reason::Mode { said: Why::Look { .. } }))
        .map(|(at, one)| ((*at - began).as_minutes() / 60, one.rings))
        .collect();
    // 16:00 there is 00:00: night until seven, seven hours on.
    assert_eq!(looks[..4], [(2, false), (4, true), (6, false), (8, true)]);
    assert_eq!(end_of(&told), Some(began + Span::hours(24)));
}

/// A clock that is set moves ends, looks and the wait of a driver with it: all keep their length.
#[test]
fn a_clock_that_is_set_changes_no_length() {
    for by in [Span::hours(-30), Span::minutes(-7), Span::hours(30)] {
        let mut engine = Engine::new(policy("UTC"));
        let start = MORNING + Span::hours(2);
        engine.handle(&begin(Mode::Driving, start), start);
        engine.handle(&reads(84, start + Span::minutes(5)), start + Span::minutes(5));
        engine.handle(&reads(95, start + Span::minutes(10)), start + Span::minutes(10));
        let now = start + Span::minutes(11) + by;
        engine.handle(&Event::ClockStepped { by }, now);
        let state = engine.snapshot();
        assert_eq!(state.plan.driving().and_then(DrivingWait::until), Some(start + Span::minutes(55) + by));
        let running = state.modes.running[0];
        assert_eq!((running.since, running.until), (start + by, start + Span::hours(4) + by));
        assert_eq!(engine.next_mode_look(), Some(start + Span::hours(2) + by));
        let told = ticks(&mut engine, start + Span::hours(5) + by);
        assert_eq!(end_of(&told), Some(start + Span::hours(4) + by), "{by}");
    }
}

/// What was said while nobody watched counts from when it was said.
#[test]
fn a_mode_taken_in_late_counts_from_when_it_was_said() {
    let mut engine = Engine::new(policy("UTC"));
    let said = MORNING + Span::hours(3);
    engine.handle(&begin(Mode::Driving, said), said + Span::hours(3));
    assert_eq!(end_of(&ticks(&mut engine, said + Span::hours(9))), Some(said + Span::hours(4)));
    let told = engine.handle(&begin(Mode::Driving, said + Span::hours(1)), said + Span::hours(9));
    let answer = answer(&told[0], engine.policy(), said + Span::hours(9));
    assert!(!answer.accepted && answer.words.starts_with("Driving was over 14:40, before"), "{}", answer.words);
    assert!(engine.snapshot().modes.running.is_empty());
    // One clock a little ahead of the other makes it no longer.
    let ahead = said + Span::hours(10);
    engine.handle(&begin(Mode::Driving, ahead + Span::minutes(4)), ahead);
    assert_eq!(engine.snapshot().modes.running[0].until, ahead + Span::hours(4));
}

#[test]
fn however_often_it_is_asked_for_it_lasts_no_longer_than_the_longest() {
    for mode in Mode::ALL {
        assert!(usual(mode) <= longest(mode));
        let mut engine = Engine::new(policy("UTC"));
        let mut ended = None;
        for hour in 0..200 {
            let now = MORNING + Span::hours(hour);
            let told = ticks(&mut engine, now);
            let over = |said: &Why| match said {
                Why::Over { at, .. } => Some(*at),
                Why::After { until } => Some(*until - Span::hours(12)),
                _ => None,
            };
            ended = told.iter().find_map(|(_, one)| match &one.reason {
                Reason::Mode { said } => over(said),
                _ => None,
            });
            if ended.is_some() {
                break;
            }
            engine.handle(&begin(mode, now), now);
            let repeated = engine.running(mode).unwrap();
            assert!(repeated.until <= MORNING + longest(mode), "{mode:?}");
            // Exercise is shorter than an hour's step is long enough to repeat, the others are longer.
            assert!(repeated.until >= (now + usual(mode)).min(MORNING + longest(mode)), "{mode:?}");
        }
        assert_eq!(ended, Some(MORNING + longest(mode)), "{mode:?}");
    }
}

/// What of a decision about lows must be the same with and without modes: all but its number and its words.
fn of_the_low(told: &[(Timestamp, Decision)]) -> Vec<String> {
    told.iter()
        .filter(|(_, one)| matches!(one.condition, Condition::VeryLow | Condition::Low | Condition::Gap))
        .map(|(at, one)| {
            format!(
                "{} {:?} {:?} {:?} {:?} {} {}",
                at.millis(),
                one.what,
                one.condition,
                one.to,
                one.priority,
                one.rings,
                one.reason.word()
            )
        })
        .collect()
}

/// The same, where what a mode rings may bring a step forward by two minutes, and a ring may stand in the message of
/// another (promise O1).
fn agree_within_a_moment(some: &[(Timestamp, Decision)], others: &[(Timestamp, Decision)]) -> bool {
    let of_a_low = |told: &[(Timestamp, Decision)]| -> Vec<(i64, String)> {
        let counts = |one: &&(Timestamp, Decision)| {
            let is_change = matches!(one.1.what, What::Raised | What::Ended | What::Called);
            matches!(one.1.condition, Condition::VeryLow | Condition::Low) && is_change
        };
        let told = told.iter().filter(counts);
        let words = |one: &Decision| format!("{:?} {:?} {:?} {}", one.what, one.condition, one.to, one.reason.word());
        let mut told: Vec<_> = told.map(|(at, one)| (at.millis(), words(one))).collect();
        // Within a moment they may change places.
        told.sort_by(|one, other| (&one.1, one.0).cmp(&(&other.1, other.0)));
        told
    };
    let (some, others) = (of_a_low(some), of_a_low(others));
    let near = |one: &(i64, String), other: &(i64, String)| (one.0 - other.0).abs() <= 121_000 && one.1 == other.1;
    some.len() == others.len() && some.iter().zip(&others).all(|(one, other)| near(one, other))
}

/// A life of made-up readings, with modes begun and ended at random, or not at all. Restarted now and then.
fn lived(seed: u64, modes: Option<&[Mode]>) -> Vec<(Timestamp, Decision)> {
    let mut settings = policy("UTC");
    settings.people.push(PersonPolicy {
        line: Line::Escalation,
        tells: Tells::default(),
        name: "sam".to_owned(),
        hours: None,
    });
    settings.unit = if seed.is_multiple_of(2) { Unit::MgDl } else { Unit::MmolL };
    let (mut dice, mut of_modes) = (Dice(seed ^ 0x00de), Dice(seed ^ 0x30de));
    let mut engine = Engine::new(settings.clone());
    let mut told = Vec::new();
    for row in day(seed) {
        let value = row.glucose.hundredths() / 100;
        told.extend(ticks(&mut engine, row.measured));
        // What falls due in the moment of an event comes before it, whether a mode begins in that moment or not.
        told.extend(engine.handle(&Event::Tick, row.measured).into_iter().map(|one| (row.measured, one)));
        let events = [of_modes.roll(12), dice.roll(40), dice.roll(30)];
        if let (0, Some(modes)) = (events[0], modes) {
            let mode = modes[usize::try_from(of_modes.roll(i64::try_from(modes.len()).unwrap())).unwrap()];
            let wish = match of_modes.roll(3) {
                0 => Wish::End { mode: (of_modes.roll(2) == 0).then_some(mode) },
                _ => Wish::Begin { mode, span: Some(Span::minutes(20 + of_modes.roll(300))) },
            };
            let event = Event::Mode { wish, at: row.measured };
            told.extend(engine.handle(&event, row.measured).into_iter().map(|one| (row.measured, one)));
        }
        if events[1] == 0 {
            let event = Event::Seen { which: None, until: None, by: None };
            told.extend(engine.handle(&event, row.measured).into_iter().map(|one| (row.measured, one)));
        }
        if events[2] == 0 {
            let saved = serde_json::to_string(engine.snapshot()).unwrap();
            engine = Engine::restore(settings.clone(), serde_json::from_str(&saved).unwrap());
        }
        // Lows are what this is about: the made-up days are moved down.
        let event = reads((value / 2).max(35), row.measured);
        told.extend(engine.handle(&event, row.measured).into_iter().map(|one| (row.measured, one)));
    }
    told
}

/// A mode adds: whatever rings or calls for a low without it does so with it, at the same moment. Only a doubted
/// sensor changes anything, and nothing about very low.
#[test]
fn no_mode_but_a_doubted_sensor_changes_anything_about_lows() {
    // After alcohol a low may not be felt, and nothing covers it (promise L2): it rings earlier than without, so that what
    // follows from it is not the same.
    let (strict, all) = ([Mode::Driving, Mode::Exercise, Mode::Sick], Mode::ALL);
    let (mut cautions, mut calls, mut softened) = (0, 0, 0);
    for seed in 0..80 {
        let plain = lived(seed, None);
        let with_modes = lived(seed, Some(&strict));
        if !agree_within_a_moment(&with_modes, &plain) {
            assert_eq!(of_the_low(&with_modes), of_the_low(&plain), "seed {seed}");
        }
        calls += plain.iter().filter(|(_, one)| one.what == What::Called).count();
        for (now, one) in &with_modes {
            cautions += usize::from(one.condition == Condition::Caution && one.rings);
            assert!(one.condition != Condition::Caution || one.to.is_wearer(), "seed {seed}: {one:?}");
            assert!(one.condition != Condition::Caution || one.what != What::Escalated, "seed {seed}: {one:?}");
            if one.rings && matches!(one.condition, Condition::Caution | Condition::Mode) {
                let policy =
                    Policy { unit: if seed.is_multiple_of(2) { Unit::MgDl } else { Unit::MmolL }, ..policy("UTC") };
                let said = text(one, &policy, *now);
                assert!(!said.title.ends_with("..."), "seed {seed}: {said:?}");
                let wrong = ["safe", "all clear", " unit", " gram", "OK"].iter().any(|words| said.body.contains(words));
                assert!(!wrong, "seed {seed}: {said:?}");
            }
        }
        let very_low = |told: &[(Timestamp, Decision)]| -> Vec<(Timestamp, What)> {
            let of = told.iter().filter(|(_, one)| one.condition == Condition::VeryLow);
            of.filter(|(_, one)| matches!(one.what, What::Raised | What::Ended))
                .map(|(at, one)| (*at, one.what))
                .collect()
        };
        let doubted = lived(seed, Some(&all));
        for (now, one) in doubted.iter().filter(|(_, one)| one.what == What::Called) {
            // The doubt is the wearer's: others are told to go.
            assert!(!text(one, &policy("UTC"), *now).body.contains("doubt"), "seed {seed}: {one:?}");
        }
        assert_eq!(very_low(&doubted), very_low(&plain), "seed {seed}");
        softened += usize::from(of_the_low(&doubted) != of_the_low(&plain));
    }
    assert!(cautions > 50 && calls > 1_000 && softened > 10, "{cautions} {calls} {softened}");
}

/// The longest titles there can be keep their ends: what to do stands there.
#[test]
fn the_longest_titles_are_whole() {
    // Eight in the evening, and a reading of the day before by the clock there.
    let midnight = at("2026-03-03T00:00:00Z");
    let mut engine = Engine::new(Policy { unit: Unit::MmolL, ..policy("UTC") });
    let mut titles = Vec::new();
    let mut hear = |engine: &Engine, told: Vec<(Timestamp, Decision)>| {
        for (now, one) in told.iter().filter(|(_, one)| one.rings && one.condition != Condition::Gap) {
            titles.push(text(one, engine.policy(), *now).title);
        }
    };
    let from = midnight - Span::hours(4);
    let told = engine.handle(&begin(Mode::Sick, from), from);
    hear(&engine, told.into_iter().map(|one| (from, one)).collect());
    let told = engine.handle(&begin(Mode::Driving, from - Span::hours(2)), from);
    hear(&engine, told.into_iter().map(|one| (from, one)).collect());
    for minute in [16, 11, 6, 2] {
        let now = midnight - Span::minutes(minute);
        let before = ticks(&mut engine, now);
        hear(&engine, before);
        // Slowly falling, the longest word for a change.
        let told = engine.handle(&reads(205 + i32::try_from(minute).unwrap() * 3 / 4, now), now);
        hear(&engine, told.into_iter().map(|one| (now, one)).collect());
    }
    let told = ticks(&mut engine, midnight);
    hear(&engine, told);
    assert!(
        titles.iter().any(|title| title == "Check ketones: sick day; 11.4, slowly falling, Mon 23:58"),
        "{titles:#?}"
    );
    assert!(titles.iter().all(|title| !title.ends_with("...") && title.chars().count() <= 60), "{titles:#?}");
}

/// The states of a caution, in every short story: nothing follows that the table of alarm states does not hold.
#[test]
fn a_caution_lives_by_the_table_of_alarm_states() {
    fn stories(
        engine: &Engine,
        now: Timestamp,
        left: u32,
        followed: &mut std::collections::BTreeSet<(AlarmState, AlarmState)>,
    ) {
        if left == 0 {
            return;
        }
        for kind in 0..9 {
            let mut engine = engine.clone();
            let now = now + if kind == 8 { Span::hours(1) } else { Span::minutes(5) };
            let event = match kind {
                0 => reads(62, now),
                1 => reads(84, now),
                2 => reads(120, now),
                3 => Event::Seen { which: None, until: None, by: None },
                4 => Event::Treated { which: Some(Which::Side(Side::Low)), at: now, look: None },
                5 => Event::Quiet { span: Span::minutes(15), condition: Some(Condition::Caution) },
                6 => Event::Mode { wish: Wish::Begin { mode: Mode::Driving, span: Some(Span::minutes(100)) }, at: now },
                7 => Event::Mode { wish: Wish::End { mode: None }, at: now },
                _ => Event::Tick,
            };
            let mut turn = |engine: &mut Engine, event: &Event, now: Timestamp| {
                let before = engine.alarm_state(Condition::Caution);
                engine.handle(event, now);
                let after = engine.alarm_state(Condition::Caution);
                if before != after {
                    followed.insert((before, after));
                }
            };
            while let Some(deadline) = engine.next_deadline().filter(|deadline| *deadline < now) {
                turn(&mut engine, &Event::Tick, deadline);
            }
            turn(&mut engine, &event, now);
            stories(&engine, now, left - 1, followed);
        }
    }
    let sets = ["level.low.off_delay=0m".to_owned()];
    let read = settings("", None, &sets, Purpose::Replay, Zone::UTC).unwrap();
    let policy = Policy { sources: vec![SourcePolicy::new("sensor", SourceKind::Streaming)], ..read.policy };
    let mut followed = std::collections::BTreeSet::new();
    stories(&Engine::new(policy), MORNING, 5, &mut followed);
    for (before, after) in &followed {
        let may = FOLLOWS.iter().any(|(from, to)| from == before && to.contains(after));
        assert!(may, "{} -> {} is not in the table", before.name(), after.name());
    }
    for wanted in [
        (AlarmState::Unacknowledged, AlarmState::OutOfService),
        (AlarmState::OutOfService, AlarmState::Normal),
        (AlarmState::Normal, AlarmState::SuppressedByDesign),
        (AlarmState::Unacknowledged, AlarmState::Acknowledged),
        (AlarmState::Unacknowledged, AlarmState::ReturnedUnacknowledged),
    ] {
        assert!(followed.contains(&wanted), "{wanted:?} was never seen: {followed:?}");
    }
}

/// A noted value of ketones, and a meter check, move on what they answer and nothing else.
#[test]
fn what_was_measured_moves_on_what_it_answers() {
    let note = |kind: Kind, at: Timestamp| Event::Noted(Note { at, kind, words: String::new() });
    let start = MORNING + Span::hours(1);
    let four = start + Span::hours(4);
    let asked = |measures: &[Kind], minutes_before: i64| -> Vec<bool> {
        let mut engine = Engine::new(policy("UTC"));
        engine.handle(&begin(Mode::Sick, start), start);
        ticks(&mut engine, four - Span::hours(1) - Span::minutes(30));
        for kind in measures {
            let at = four - Span::minutes(minutes_before);
            engine.handle(&note(kind.clone(), at), at);
        }
        let told = ticks(&mut engine, four);
        let asks = told.iter().find_map(|(_, one)| match &one.reason {
            Reason::Mode { said: Why::Look { asks, .. } } => Some([asks.sick, asks.ketones]),
            _ => None,
        });
        asks.map_or_else(Vec::new, |asks| asks.to_vec())
    };
    let meter = || Kind::Meter(Glucose::mg_dl(140));
    let ketones = || Kind::Ketones(Amount(40));
    assert_eq!(asked(&[], 30), [true, true]);
    assert_eq!(asked(&[meter()], 60), [false, true]);
    assert_eq!(asked(&[meter()], 61), [true, true]);
    assert_eq!(asked(&[ketones()], 30), [true, false]);
    assert!(asked(&[meter(), ketones()], 30).is_empty());
}

/// Looks that fell due while the computer slept for two days are one, and the mode that ended meanwhile is over.
#[test]
fn a_long_sleep_asks_once() {
    let start = MORNING + Span::hours(2);
    let mut engine = Engine::new(policy("UTC"));
    let wish = Wish::Begin { mode: Mode::Sick, span: Some(Span::hours(72)) };
    engine.handle(&Event::Mode { wish, at: start }, start);
    let woke = start + Span::hours(48) + Span::minutes(30);
    engine.handle(&Event::Unwatched { from: start, to: woke, cause: Cause::Slept }, woke);
    let told = ticks(&mut engine, woke + Span::minutes(30));
    let looks: Vec<&Why> = told
        .iter()
        .filter_map(|(_, one)| match &one.reason {
            Reason::Mode { said: said @ Why::Look { .. } } => Some(said),
            _ => None,
        })
        .collect();
    assert_eq!(looks.len(), 1, "{looks:?}");
    assert_eq!(engine.next_mode_look(), Some(start + Span::hours(50)), "the rhythm stays");
}

#[test]
fn a_mode_is_said_listed_kept_and_ended() {
    let mut recheck = Recheck::new(&webhook("http://127.0.0.1:9/"));
    let words = |recheck: &Recheck, said: &[&str]| {
        let output = recheck.say(said);
        let text = String::from_utf8_lossy(&[output.stdout.clone(), output.stderr.clone()].concat()).into_owned();
        (output.status.code(), text)
    };
    assert_eq!(
        words(&recheck, &["mode"]),
        (Some(0), "No mode is on. Begin one with: recheck mode driving 2h\n".to_owned())
    );
    let kept = words(&recheck, &["mode", "alcohol"]);
    assert!(kept.0 == Some(0) && kept.1.contains("Kept. recheck is not running"), "{kept:?}");
    assert!(words(&recheck, &["mode"]).1.contains("alcohol (taken in when `recheck run` starts)"));
    recheck.watch_after_an_hour_in_range();
    wait_for("the mode", || recheck.status().filter(|status| status["modes"]["on"][0]["mode"] == "alcohol"));
    for (said, code, wanted) in [
        (&["mode", "driving", "20h"][..], Some(0), "12 h is the longest for it."),
        (&["mode", "driving", "2h"], Some(0), "Check yourself first; local rules apply."),
        (&["mode", "sick"], Some(0), "do not trust the sensor alone"),
        (
            &["mode", "sik"],
            Some(1),
            "hint: did you mean sick? the modes are: driving, exercise, alcohol, sick, doubted",
        ),
        (&["mode", "driving", "soon"], Some(1), "hint: it should be a span such as"),
        (&["mode", "driving", "0m"], Some(1), "\"0m\" is no time for a mode to last"),
        (&["mode", "off", "drive"], Some(1), "error: there is no mode \"drive\""),
        (&["mode", "driving", "2h", "please"], Some(1), "error: \"please\" is too much"),
        (&["mode", "off", "doubted"], Some(0), "doubted was not on."),
    ] {
        let (found, text) = words(&recheck, said);
        assert!(found == code && text.contains(wanted), "{said:?}: {found:?} {text}");
    }
    let status = recheck.status().unwrap();
    let on: Vec<&str> =
        status["modes"]["on"].as_array().unwrap().iter().map(|on| on["mode"].as_str().unwrap()).collect();
    assert_eq!(on, ["alcohol", "driving", "sick"]);
    assert_eq!(status["modes"]["caution_below"]["mg_dl"], 90.0);
    assert_eq!(status["modes"]["caution_below"]["by"], "driving");
    let until = status["modes"]["on"][1]["until"].clone();
    recheck.kill();
    recheck.watch();
    assert_eq!(recheck.status().unwrap()["modes"]["on"][1]["until"], until, "kept over a kill");
    let shown = words(&recheck, &["status"]).1;
    assert!(
        shown.contains("\nModes\n      alcohol until ") && shown.contains("\nCaution below 90 mg/dL (driving)\n"),
        "{shown}"
    );
    assert!(words(&recheck, &["mode", "off", "driving"]).1.contains("Ended: driving. Below 80 still counts."));
    assert!(words(&recheck, &["mode", "off"]).1.contains("Ended: alcohol, sick. What rings is as in the settings."));
    assert_eq!(recheck.status().unwrap()["modes"]["on"], serde_json::json!([]));
}

#[test]
fn profiles_are_shown_and_a_wrong_one_is_told() {
    let recheck = Recheck::new("[wearer2]\n");
    let file = recheck.exports().join("own.toml");
    let channel =
        "[channel.phone]\nkind = \"webhook\"\nurl = \"http://127.0.0.1:9/\"\n[source.sensor]\nfolder = \"/tmp\"\n";
    for (profile, code, wanted) in [
        (
            "[\"pregnancy\", \"impaired_awareness\"]",
            Some(0),
            "Profile: pregnancy, impaired awareness\nCaution below 80 mg/dL (profile)",
        ),
        ("\"tired\"", Some(1), "wearer.profile is \"tired\""),
    ] {
        std::fs::write(&file, format!("[wearer]\nprofile = {profile}\n{channel}")).unwrap();
        let output = recheck.say(&["mode", "--config", file.to_str().unwrap()]);
        let text = String::from_utf8_lossy(&[output.stdout.clone(), output.stderr.clone()].concat()).into_owned();
        assert!(output.status.code() == code && text.contains(wanted), "{profile}: {text}");
        assert!(
            code == Some(0) || text.contains("hint: it should be \"pregnancy\" or \"impaired_awareness\""),
            "{text}"
        );
    }
}
