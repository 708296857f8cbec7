//! `recheck replay`: one's own history lived again, the table and its object, and two choices of settings beside each
//! other.

use super::properties::{Dice, any_event, any_policy, day};
use super::real::{Recheck, now_seconds, rows_until, table, wait_for, webhook};
use recheck::config::meant::{Purpose, settings};
use recheck::domain::local::Zone;
use recheck::domain::mode::{Mode, Wish};
use recheck::domain::reading::{Reading, SourceId};
use recheck::domain::reminder::{Asked, When};
use recheck::domain::time::{Span, Timestamp};
use recheck::domain::travel::{Travel, WallClock};
use recheck::engine::Engine;
use recheck::engine::effect::{Condition, Decision, Id, What};
use recheck::engine::event::{Cause, Event, Which};
use recheck::engine::policy::{Policy, SourceKind, SourcePolicy};
use recheck::outbox::plan::Addresses;
use recheck::replay::recorded::{Answers, Recorded, live};
use recheck::store::Store;
use recheck::store::commit::{Intake, Turn};
use recheck::store::inbox::Said;
use serde_json::Value;
use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

/// A life as a daemon lives it: ticks come a moment late, and everything is kept.
struct Life {
    engine: Engine,
    now: Timestamp,
    clock: WallClock,
    events: Vec<(Timestamp, Event)>,
    decisions: Vec<(Timestamp, Decision)>,
}

impl Life {
    fn new(policy: Policy, from: Timestamp) -> Self {
        let clock = WallClock::at_home(policy.zone);
        let engine = Engine::new(policy);
        let mut life = Self { engine, now: from, clock, events: Vec::new(), decisions: Vec::new() };
        life.happens(Event::Started, from);
        life
    }

    fn happens(&mut self, event: Event, at: Timestamp) {
        let told = self.engine.handle(&event, at);
        self.decisions.extend(told.into_iter().map(|decision| (at, decision)));
        self.events.push((at, event));
        self.now = at;
    }

    /// Time passes, and the loop wakes so much after each deadline.
    fn passes(&mut self, until: Timestamp, late: Span) {
        while let Some(tick) = self.engine.next_deadline().map(|at| at + late).filter(|tick| *tick < until) {
            self.happens(Event::Tick, tick.max(self.now));
        }
    }

    fn at(&mut self, at: Timestamp, event: Event) {
        self.passes(at, Span::millis(7));
        self.happens(event, at);
    }

    fn reads(&mut self, rows: Vec<Reading>, at: Timestamp) {
        self.at(at, Event::Readings { rows, first_sight: false });
    }

    /// Lived again with these settings, until a minute after the last event.
    fn again(&self, policy: &Policy) -> (Vec<(Timestamp, Decision)>, Answers) {
        let sources: Vec<String> = self.engine.policy().sources.iter().map(|source| source.name.clone()).collect();
        let recorded = Recorded {
            events: &self.events,
            decisions: &self.decisions,
            sources: &sources,
            clock: &self.clock,
            until: self.now,
        };
        let mut told = Vec::new();
        let answers = live(policy, &recorded, |at, decision| told.push((at, decision.clone())));
        (told, answers)
    }

    fn keep(&self, folder: &Path) {
        fs::create_dir_all(folder).unwrap();
        let mut store = Store::open(folder).unwrap();
        for source in &self.engine.policy().sources {
            store.source_number(&source.name).unwrap();
        }
        let addresses = Addresses { channels: Vec::new(), mark: None, life: "life".to_owned() };
        let mut decisions = self.decisions.iter().peekable();
        for (at, event) in &self.events {
            let mut told = Vec::new();
            while let Some((_, decision)) = decisions.next_if(|(decided, _)| decided <= at) {
                told.push(decision.clone());
            }
            let rows = if let Event::Readings { rows, .. } = event { rows.clone() } else { Vec::new() };
            let intake = Intake { readings: rows, source: Some(SourceId(0)), ..Intake::default() };
            let turn = Turn {
                at: *at,
                event: Some(event),
                state: self.engine.snapshot(),
                policy: self.engine.policy(),
                decisions: &told,
                intake: Some(&intake),
                answer: None,
            };
            store.commit(&turn, &addresses).unwrap();
            let said = match event {
                Event::Seen { which, .. } => Said::Seen { which: *which, by: None },
                Event::Treated { which, at, look } => Said::Treated { which: *which, at: *at, look: *look },
                _ => continue,
            };
            store.say(*at, &said).unwrap();
        }
        assert!(decisions.next().is_none());
    }
}

fn number(answers: &Answers) -> [u64; 2] {
    [answers.given, answers.without_alert]
}

/// Lives of anything, with any settings: answers to alerts by their numbers, sleeps, clocks that are set, travels. The
/// same settings decide the same again, to the millisecond and with the same numbers.
#[test]
fn with_the_same_settings_the_same_is_decided_again() {
    let mut seen: BTreeSet<&str> = BTreeSet::new();
    let (mut decided, mut given, mut named) = (0, 0, 0);
    for seed in 0..120 {
        let mut dice = Dice(seed ^ 0x1ab0);
        let policy = any_policy(&mut dice);
        let sources = policy.sources.len();
        let mut life = Life::new(policy.clone(), Timestamp::from_seconds(1_774_569_600));
        for (source, row) in day(seed).into_iter().take(sources).enumerate() {
            let source = SourceId(u16::try_from(source).unwrap());
            life.reads(vec![Reading { source, measured: life.now, glucose: row.glucose }], life.now + Span::seconds(9));
        }
        for _ in 0..80 {
            let minutes = [dice.roll(10), dice.roll(300), dice.roll(1_000)][usize::try_from(dice.roll(3)).unwrap()];
            let until = life.now + Span::minutes(minutes) + Span::millis(dice.roll(60_000));
            if dice.roll(12) == 0 {
                seen.insert("slept");
                let event = Event::Unwatched { from: life.now, to: until, cause: Cause::Slept };
                life.happens(event, until);
                continue;
            }
            life.passes(until, Span::millis(dice.roll(3_000)));
            let ids: BTreeSet<Id> = life.decisions.iter().rev().take(12).map(|(_, decision)| decision.id).collect();
            let one = ids.iter().copied().nth(usize::try_from(dice.roll(4)).unwrap()).unwrap_or(Id(999));
            let by = Span::minutes([1, -1][usize::try_from(dice.roll(2)).unwrap()] * (1 + dice.roll(200)));
            let (at, event) = match dice.roll(18) {
                0 => (until, Event::Seen { which: Some(one), until: None, by: None }),
                1 => (until, Event::Treated { which: Some(Which::Alert(one)), at: until, look: None }),
                2 => (until, Event::CancelReminders { which: Some(one) }),
                3 | 4 => {
                    let when = When::At(until + Span::minutes(dice.roll(900)));
                    let asked = Asked { text: "oven".to_owned(), when, every: None, only: None, said: until };
                    (until, Event::Remind(asked))
                }
                5 => (until, Event::Quiet { span: Span::minutes(9), condition: None }),
                6 => (until, Event::Mode { wish: Wish::Begin { mode: Mode::Exercise, span: None }, at: until }),
                // What was said of a place is kept by the time it holds from: it is not tried with clocks set back.
                7 if seed % 2 == 0 => (until + by, Event::ClockStepped { by }),
                _ => (until, any_event(&mut dice, &policy, until)),
            };
            let event = match event {
                Event::PolicyChanged(other) if seed % 2 == 1 && other.zone != life.engine.policy().zone => {
                    life.clock.add(Travel { zone: other.zone, from: at, until: at + Span::hours(9_999) });
                    seen.insert("travelled");
                    Event::PolicyChanged(Box::new(Policy { zone: other.zone, ..policy.clone() }))
                }
                Event::PolicyChanged(_) | Event::Started => Event::Tick,
                // Sources are numbered as the settings name them.
                Event::Readings { mut rows, first_sight } => {
                    let source = SourceId(rows[0].source.0 % u16::try_from(sources).unwrap());
                    for row in &mut rows {
                        row.source = source;
                    }
                    Event::Readings { rows, first_sight }
                }
                other => other,
            };
            if let Event::ClockStepped { .. } = event {
                seen.insert("clock");
            }
            life.happens(event, at);
        }
        let (again, answers) = life.again(&policy);
        for (lived, again) in life.decisions.iter().zip(&again) {
            assert_eq!(lived, again, "seed {seed}");
        }
        assert_eq!(life.decisions.len(), again.len(), "seed {seed}");
        assert!(answers.named.iter().all(|(then, now)| now.is_none_or(|now| now == *then)), "seed {seed}");
        decided += again.len();
        given += answers.given;
        named += answers.named.values().flatten().count();
    }
    assert_eq!(seen.len(), 3, "{seen:?}");
    assert!(decided > 3_000 && given > 300 && named > 200, "{decided} decisions, {given} answers, {named} named");
}

/// 2026-03-02, midnight in UTC.
const START: Timestamp = Timestamp::from_seconds(1_772_409_600);

fn minute(minute: i64) -> Timestamp {
    START + Span::minutes(minute)
}

fn reading(at: Timestamp, mg_dl: i32) -> Reading {
    Reading { source: SourceId(0), measured: at, glucose: recheck::domain::glucose::Glucose::mg_dl(mg_dl) }
}

/// The baker's first days with recheck, five minutes a reading: each night at two an hour of 67, and an evening of 190
/// that turns to 210. The lows are answered by their number, the highs by side. One night a sleep of the computer.
fn bakery(policy: &Policy) -> Life {
    let mut life = Life::new(policy.clone(), START);
    let mut treated = BTreeSet::new();
    for step in 0..4 * 288 {
        let at = minute(step * 5);
        let value = match step % 288 {
            24..36 => 67,
            220..232 => 190,
            232..250 => 210,
            _ => 120,
        };
        if (288 + 100..288 + 112).contains(&step) {
            continue;
        }
        if step == 288 + 112 {
            let from = minute((288 + 100) * 5 - 5) + Span::seconds(20);
            life.happens(Event::Unwatched { from, to: at, cause: Cause::Slept }, at);
        }
        life.reads(vec![reading(at, value)], at + Span::seconds(20));
        let is_level = |one: &Decision| one.what == What::Raised && one.condition.foreseen().is_none();
        let open = life.decisions.iter().rev().find(|(_, one)| is_level(one)).map(|(_, one)| one.clone());
        let Some(open) = open.filter(|one| treated.len() < 6 && treated.insert(one.id)) else { continue };
        let which = match open.condition {
            Condition::Low => Which::Alert(open.id),
            Condition::High => Which::Side(recheck::engine::effect::Side::High),
            _ => continue,
        };
        let at = at + Span::minutes(2);
        if open.condition == Condition::Low {
            life.at(at, Event::Seen { which: Some(open.id), until: None, by: None });
        }
        life.at(at + Span::seconds(30), Event::Treated { which: Some(which), at, look: None });
    }
    life
}

fn one_source(more: &[&str]) -> Policy {
    let more: Vec<String> = more.iter().map(|one| (*one).to_owned()).collect();
    let mut policy = settings("", None, &more, Purpose::Replay, Zone::UTC).unwrap().policy;
    policy.sources = vec![SourcePolicy::new("sensor", SourceKind::Streaming)];
    policy
}

/// With a limit of 65 there is no low at 67: nothing rings, and what answered it has no effect. With 75 it is the same
/// alert, by another number if more was raised before.
#[test]
fn an_answer_finds_the_alert_that_stands_in_the_place_of_its_own() {
    let life = bakery(&one_source(&[]));
    let raised = |decisions: &[(Timestamp, Decision)], condition| {
        decisions.iter().filter(|(_, one)| one.what == What::Raised && one.condition == condition).count()
    };
    let (same, answers) = life.again(&one_source(&[]));
    assert_eq!(same, life.decisions);
    assert_eq!((raised(&same, Condition::Low), raised(&same, Condition::High)), (4, 4));
    assert_eq!(number(&answers), [9, 0], "three lows seen and treated, three highs treated");

    let (fewer, answers) = life.again(&one_source(&["level.low.limit=65"]));
    assert_eq!((raised(&fewer, Condition::Low), raised(&fewer, Condition::High)), (0, 4));
    assert_eq!(number(&answers), [9, 6]);
    assert!(fewer.iter().all(|(_, one)| one.condition != Condition::RecheckLow), "nothing was there to be treated");

    // The high of the evening comes earlier, and a very high beside it takes a number.
    let (more, answers) = life.again(&one_source(&["level.very_high.limit=205", "level.very_high.on_delay=0m"]));
    assert_eq!(number(&answers), [9, 0]);
    let moved = answers.named.iter().filter(|(then, now)| now.is_some_and(|now| now != **then));
    assert_eq!((moved.count(), answers.named.len()), (2, 3), "the lows of the second and third night");
    let looked = |decisions: &[(Timestamp, Decision)]| {
        let of_low = decisions.iter().filter(|(_, one)| one.condition == Condition::RecheckLow);
        of_low.map(|(at, one)| (*at, one.what)).collect::<Vec<_>>()
    };
    assert!(looked(&more).len() > 5);
    assert_eq!(looked(&more), looked(&same), "the lows are looked after as they were");
}

/// Recorded changes of the settings do not count, and a source that came in later is not missed before.
#[test]
fn the_settings_that_are_tried_hold_throughout() {
    let tried = {
        let mut policy = one_source(&[]);
        policy.sources.push(SourcePolicy::new("second", SourceKind::Streaming));
        policy
    };
    let mut life = Life::new(one_source(&["level.low.limit=60"]), START);
    life.reads(vec![reading(START, 100)], minute(0) + Span::seconds(9));
    for step in 1..100 {
        if step == 50 {
            life.at(minute(245), Event::PolicyChanged(Box::new(tried.clone())));
        }
        life.reads(vec![reading(minute(step * 5), 67)], minute(step * 5) + Span::seconds(9));
    }
    let raised = |decisions: &[(Timestamp, Decision)], condition| -> Vec<i64> {
        let of = decisions.iter().filter(|(_, one)| one.what == What::Raised && one.condition == condition);
        of.map(|(at, _)| (*at - START).as_minutes()).collect()
    };
    assert_eq!(raised(&life.decisions, Condition::Low), [250]);
    let gap = raised(&life.decisions, Condition::Gap);
    assert!(gap.len() == 1 && gap[0] > 245, "{gap:?}");
    let (again, _) = life.again(&tried);
    assert_eq!(raised(&again, Condition::Low), [5]);
    assert_eq!(raised(&again, Condition::Gap), gap, "the second source is missed from when it came in");
}

fn replayed(recheck: &Recheck, arguments: &[&str]) -> String {
    let done = recheck.say(&[&["replay"], arguments].concat());
    assert!(done.status.success(), "{done:?}");
    String::from_utf8(done.stdout).unwrap()
}

fn object(recheck: &Recheck, arguments: &[&str]) -> Value {
    serde_json::from_str(&replayed(recheck, &[arguments, &["--summary"]].concat())).unwrap()
}

const FIGURES: [(&str, usize); 8] = [
    ("episodes", 0),
    ("raised_per_day", 2),
    ("rings_per_day", 2),
    ("raised_per_night", 2),
    ("heard_per_night", 2),
    ("re_raised_percent", 1),
    ("missed_percent", 1),
    ("delay_min_mean", 1),
];

/// The same of forecasts.
const FORECAST_FIGURES: [(&str, usize); 9] = [
    ("episodes", 0),
    ("detected_percent", 1),
    ("detected_15_min_percent", 1),
    ("lead_min_p25", 0),
    ("lead_min_p50", 0),
    ("precision_percent", 1),
    ("raised_per_day", 2),
    ("false_per_day", 3),
    ("rings_per_day", 2),
];

const LISTED: [(&str, &str, usize); 9] = [
    ("answers that were given", "answers_given", 0),
    ("answers that find no alert", "answers_without_alert", 0),
    ("re-check prompts a day", "recheck_prompts_per_day", 2),
    ("wakes a week", "wakes_per_week", 1),
    ("needless wakes a week", "needless_wakes_per_week", 1),
    ("interruptions by day, median", "interruptions_by_day_median", 0),
    ("interruptions by day, p95", "interruptions_by_day_p95", 0),
    ("interruptions by night, median", "interruptions_by_night_median", 0),
    ("interruptions by night, p95", "interruptions_by_night_p95", 0),
];

fn written(value: &Value, decimals: usize, is_signed: bool) -> String {
    match value.as_f64() {
        None => "-".to_owned(),
        Some(0.0) if is_signed => "0".to_owned(),
        Some(number) if is_signed => format!("{number:+.decimals$}"),
        Some(number) => format!("{number:.decimals$}"),
    }
}

/// Every figure of the table is the object's, and every line fits a terminal.
/// The rows of one table; how many there are.
fn rows_agree(text: &str, object: &Value, parts: &[(&Value, bool)], of: &str, figures: &[(&str, usize)]) -> usize {
    let two = parts.len() > 1;
    let head = &of[..of.len() - 1];
    let mut lines = text.lines().skip_while(|line| !line.starts_with(&format!("{head} "))).skip(1).peekable();
    let mut rows = 0;
    while let Some(line) = lines.next_if(|line| !line.is_empty()) {
        let name = line.split_whitespace().next().unwrap();
        let mut all = vec![line];
        all.extend(lines.next_if(|line| line.starts_with("  other ")));
        all.extend(lines.next_if(|line| line.starts_with("  difference ")));
        assert!(two && all.len() != 2 || all.len() == 1, "{text}");
        for (line, (part, is_signed)) in all.iter().zip(parts) {
            let figure_of = &part[of][name];
            let cells: Vec<&str> = line.split_whitespace().skip(1).collect();
            let expected: Vec<String> =
                figures.iter().map(|(key, decimals)| written(&figure_of[*key], *decimals, *is_signed)).collect();
            assert_eq!(cells, expected, "{name}\n{text}");
        }
        if two && all.len() == 1 {
            for (key, _) in figures {
                assert_eq!(object["first"][of][name][*key], object["other"][of][name][*key], "{text}");
            }
        }
        rows += 1;
    }
    rows
}

fn agree(text: &str, object: &Value) {
    let two = object.get("first").is_some();
    let parts: Vec<(&Value, bool)> = if two {
        vec![(&object["first"], false), (&object["other"], false), (&object["difference"], true)]
    } else {
        vec![(object, false)]
    };
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
    assert!(rows_agree(text, object, &parts, "conditions", &FIGURES) >= 4, "{text}");
    assert!(rows_agree(text, object, &parts, "forecasts", &FORECAST_FIGURES) >= 1, "{text}");
    let is_own = parts[0].0["replayed"] == "own_history";
    for (words, key, decimals) in LISTED.iter().filter(|(_, key, _)| is_own || !key.starts_with("answers")) {
        let cells: Vec<String> =
            parts.iter().map(|(part, is_signed)| written(&part[*key], *decimals, *is_signed)).collect();
        let line = text.lines().find(|line| line.starts_with(&format!("{words}  "))).unwrap();
        assert_eq!(line[words.len()..].split_whitespace().collect::<Vec<_>>(), cells, "{text}");
    }
}

/// docs/replay.md, between two headings.
fn documented_keys() -> BTreeSet<String> {
    let document = include_str!("../docs/replay.md");
    let section = document.split("## `--summary`").nth(1).unwrap().split("\n## ").next().unwrap();
    let row = |line: &str| Some(line.strip_prefix("| `")?.split_once('`')?.0.to_owned());
    section.lines().filter_map(row).collect()
}

fn printed_keys(object: &Value) -> BTreeSet<String> {
    let mut keys: BTreeSet<String> = object.as_object().unwrap().keys().cloned().collect();
    for table in ["conditions", "forecasts"] {
        for of in object[table].as_object().unwrap().values() {
            keys.extend(of.as_object().unwrap().keys().cloned());
        }
    }
    keys
}

#[test]
fn the_table_and_the_object_of_files_say_the_same() {
    let recheck = Recheck::new(&webhook("http://127.0.0.1:9/"));
    let mut files = Vec::new();
    for seed in 0..5 {
        let rows: Vec<(i64, f64)> = (0..4)
            .flat_map(|later| day(seed * 10 + later).into_iter().map(move |row| (later, row)))
            .map(|(later, row)| {
                (row.measured.seconds() + i64::try_from(later).unwrap() * 100_000, row.glucose.as_mg_dl())
            })
            .collect();
        let file = recheck.exports().join(format!("{seed}.csv"));
        fs::write(&file, table("glucose", &rows)).unwrap();
        files.push(file.to_str().unwrap().to_owned());
    }
    let files: Vec<&str> = files.iter().map(String::as_str).collect();
    let all = object(&recheck, &files);
    let text = replayed(&recheck, &files);
    agree(&text, &all);
    assert!(
        text.contains(" days covered, in 5 files; if nobody answers\nEach file is taken for one person.\n"),
        "{text}"
    );
    assert_eq!(printed_keys(&all), documented_keys());
    assert_eq!((&all["replayed"], &all["files"]), (&"files".into(), &5.into()));
    assert!(all["conditions"]["low"]["raised_per_day"].as_f64().unwrap() > 0.5, "{all}");
    assert!(all["needless_wakes_per_week"].as_f64().unwrap() > 0.0, "{all}");

    let against = [&files[..], &["--against", "level.low.limit=75", "--against", "level.high.rings=always"]].concat();
    let (text, two) = (replayed(&recheck, &against), object(&recheck, &against));
    agree(&text, &two);
    assert_eq!(two["first"], all, "the first are the settings in use");
    let set = [&files[..], &["--set", "level.low.limit=75", "--set", "level.high.rings=always"]].concat();
    let mut other = object(&recheck, &set);
    other["settings"] = two["other"]["settings"].clone();
    assert_eq!(two["other"], other, "each is what it is alone");
    let difference = &two["difference"]["conditions"];
    assert!(difference["low"]["episodes"].as_i64().unwrap() > 0, "{difference}");
    assert!(difference["high"]["heard_per_night"].as_f64().unwrap() > 0.0, "{difference}");
    assert_eq!(difference["very_low"]["episodes"], 0);
    // The same as a file of settings.
    let file = recheck.exports().join("other.toml");
    fs::write(&file, "[wearer]\ntimezone = \"UTC\"\n[level.low]\nlimit = 75\n[level.high]\nrings = \"always\"\n")
        .unwrap();
    let by_file = object(&recheck, &[&files[..], &["--against", file.to_str().unwrap()]].concat());
    assert_eq!(by_file["difference"], two["difference"]);

    // However many cores: the lines of several files are those of each, in the order they were named.
    let each: String = files.iter().map(|file| replayed(&recheck, &[file, "--json"])).collect();
    assert!(each.lines().count() > 100);
    assert_eq!(replayed(&recheck, &[&files[..], &["--json"]].concat()), each);
}

#[test]
fn what_is_typed_wrong_is_said_with_a_hint() {
    let recheck = Recheck::new(&webhook("http://127.0.0.1:9/"));
    let file = recheck.exports().join("day.csv");
    fs::write(&file, table("glucose", &rows_until(1_772_460_000, &[100.0, 60.0, 60.0]))).unwrap();
    let file = file.to_str().unwrap();
    let settings = recheck.exports().join("other.toml");
    fs::write(&settings, "[level.low]\nlimit = 75\n").unwrap();
    let settings = settings.to_str().unwrap();
    for (typed, what) in [
        (&[][..], "error: there is no history yet"),
        (&[file, "--against", "nowhere.toml"], "--against nowhere.toml is neither a settings file nor a setting"),
        (&[file, "--against", "level.lo.limit=3"], "there is no setting \"lo\""),
        (&[file, "--against", settings, "--against", "level.low.limit=72"], "and there is more beside it"),
    ] {
        let done = recheck.say(&[&["replay"], typed].concat());
        let words = String::from_utf8(done.stderr).unwrap();
        assert_eq!(done.status.code(), Some(1), "{typed:?}: {words}");
        assert!(words.contains(what) && words.contains("hint:") && done.stdout.is_empty(), "{typed:?}: {words}");
    }
    for typed in [&[file, "--days", "3"][..], &[file, "--json", "--summary"], &[file, "--json", "--against", settings]]
    {
        assert_eq!(recheck.say(&[&["replay"], typed].concat()).status.code(), Some(2), "{typed:?}");
    }
}

/// A store as a daemon leaves it, lived again by the command; nothing of it is changed.
#[test]
fn the_command_lives_ones_own_history_again() {
    let recheck = Recheck::new(&webhook("http://127.0.0.1:9/"));
    let life = bakery(&one_source(&[]));
    life.keep(&recheck.state());
    let file = recheck.state().join(recheck::store::FILE);
    let kept = |folder: &Path| {
        let store = Store::look(folder).unwrap().unwrap();
        (
            store.events().unwrap(),
            store.decisions_between(START, life.now).unwrap(),
            store.readings_since(START).unwrap(),
        )
    };
    let (before, held) = (fs::read(&file).unwrap(), kept(&recheck.state()));
    assert_eq!(held.0.0, life.events);

    let lines = replayed(&recheck, &["--json"]);
    assert_eq!(lines.lines().count(), life.decisions.len());
    for (line, (at, decision)) in lines.lines().zip(&life.decisions) {
        let object: Value = serde_json::from_str(line).unwrap();
        assert!(object["file"].is_null() && object.as_object().unwrap().len() == 16, "{line}");
        assert_eq!(object["at"], Zone::UTC.rfc3339(*at));
        assert_eq!((&object["event"], &object["id"]), (&decision.what.name().into(), &decision.id.0.into()), "{line}");
        assert_eq!(object["condition"], decision.condition.name());
        assert_eq!(object["reason"], decision.reason.word());
    }
    let (text, all) = (replayed(&recheck, &[]), object(&recheck, &[]));
    agree(&text, &all);
    assert_eq!(printed_keys(&all), documented_keys());
    assert!(text.contains(" of your own history\n") && text.contains("; with the answers that were given\n"), "{text}");
    let low = &all["conditions"]["low"];
    assert_eq!(
        (&low["episodes"], &low["missed_percent"], &low["delay_min_mean"]),
        (&4.into(), &0.0.into(), &0.3.into())
    );
    // One low a night, by night, over the days that readings cover.
    let days = all["days_covered"].as_f64().unwrap();
    assert!(days == 4.0 && low["raised_per_day"] == low["raised_per_night"], "{all}");
    assert_eq!((&all["answers_given"], &all["answers_without_alert"]), (&9.into(), &0.into()));

    let two = object(&recheck, &["--against", "level.low.limit=65"]);
    agree(&replayed(&recheck, &["--against", "level.low.limit=65"]), &two);
    // What only the other has is named in both.
    let mut first = two["first"].clone();
    first["conditions"].as_object_mut().unwrap().retain(|name, _| !all["conditions"][name].is_null());
    assert_eq!(first, all);
    assert_eq!(
        (&two["other"]["conditions"]["low"]["episodes"], &two["other"]["answers_without_alert"]),
        (&0.into(), &6.into())
    );
    assert_eq!(two["difference"]["answers_without_alert"], 6);

    // The last day alone: its one low, with all that was before lived through.
    let last = object(&recheck, &["--days", "1"]);
    assert_eq!((&last["conditions"]["low"]["episodes"], &last["replayed"]), (&1.into(), &"own_history".into()));
    assert_eq!(last["from"], Zone::UTC.rfc3339(life.now + Span::millis(1) - Span::hours(24)));
    assert!(replayed(&recheck, &["--days", "1"]).contains("too little data: fewer than 3 days covered\n"));
    let ids = |lines: &str| -> Vec<Value> {
        lines.lines().map(|line| serde_json::from_str::<Value>(line).unwrap()["id"].clone()).collect()
    };
    let day = ids(&replayed(&recheck, &["--days", "1", "--json"]));
    assert!(!day.is_empty() && ids(&lines).ends_with(&day), "the numbers are those of the whole life");

    assert_eq!(kept(&recheck.state()), held);
    assert_eq!(fs::read(&file).unwrap(), before, "the store is looked at, and not written");
}

/// What the running program decided over a folder, with words of the wearer and a restart, is decided again.
#[test]
fn a_lived_hour_of_the_running_program_is_decided_again() {
    let mut recheck = Recheck::new(&webhook("http://127.0.0.1:9/"));
    recheck.watch_after_an_hour_in_range();
    recheck.drop_a_low();
    let alert = recheck.alert("low", |_| true);
    assert!(recheck.say(&["seen", &alert["id"].to_string()]).status.success());
    // Twelve minutes of fifteen are over: the look comes in a moment, by a tick.
    assert!(recheck.say(&["treated", "low", "--at", "896s"]).status.success());
    wait_for("the look", || {
        let store = Store::look(&recheck.state()).unwrap().unwrap();
        let all = store.last_decisions(100).unwrap();
        all.iter()
            .any(|past| past.decision.condition == Condition::RecheckLow && past.decision.what != What::Answer)
            .then_some(())
    });
    recheck.kill();
    assert!(recheck.say(&["note", "carbohydrate", "--at", "1m"]).status.success());
    recheck.watch();
    let noted = || {
        let store = Store::look(&recheck.state()).unwrap().unwrap();
        store.unanswered().unwrap().is_empty().then_some(())
    };
    wait_for("the note", noted);
    recheck.kill();
    let store = Store::look(&recheck.state()).unwrap().unwrap();
    let (events, _) = store.events().unwrap();
    let last = events.last().unwrap().0 + Span::millis(1);
    let lived = store.decisions_between(START, last).unwrap();
    let policy = store.saved().unwrap().unwrap().policy.unwrap();
    let clock = store.wall_clock(policy.zone).unwrap();
    let sources = store.source_names().unwrap();
    let recorded = Recorded { events: &events, decisions: &lived, sources: &sources, clock: &clock, until: last };
    let mut again = Vec::new();
    let answers = live(&policy, &recorded, |at, decision| again.push((at, decision.clone())));
    assert_eq!(again, lived);
    assert!(lived.len() > 4 && events.iter().any(|(_, event)| *event == Event::Tick), "{events:?}");
    assert_eq!(number(&answers), [2, 0]);
    let said = now_seconds();
    assert!(lived.iter().all(|(at, _)| (said - at.seconds()) < 3_600));
}

/// Old events go a few at a time, and what is younger than a hundred days stays.
#[test]
fn what_happened_is_kept_for_a_hundred_days() {
    let folder = tempfile::tempdir().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    let engine = Engine::new(one_source(&[]));
    let addresses = Addresses { channels: Vec::new(), mark: None, life: "life".to_owned() };
    let mut happens = |at: Timestamp| {
        let (state, policy) = (engine.snapshot(), engine.policy());
        let event = Some(&Event::Tick);
        let turn = Turn { at, event, state, policy, decisions: &[], intake: None, answer: None };
        store.commit(&turn, &addresses).unwrap();
        store.events().unwrap().0.iter().map(|(at, _)| *at).collect::<Vec<_>>()
    };
    for hour in 0..100 {
        happens(START + Span::hours(hour));
    }
    let day = |day: i64| START + Span::hours(day * 24);
    assert_eq!(happens(day(100)).len(), 101, "a hundred days old is not older");
    assert_eq!(happens(day(102))[0], START + Span::hours(48));
    let left = happens(day(150));
    assert!(left.first() == Some(&day(100)) && left.len() == 3, "{left:?}");
}
