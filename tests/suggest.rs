//! Suggestions: what chooses, what only checks, and what they may not take.

use super::properties::day;
use super::real::table;
use super::real::{Recheck, webhook};
use super::swings::swings;
use recheck::config::meant::{Purpose, settings};
use recheck::domain::glucose::{Glucose, Unit};
use recheck::domain::local::Zone;
use recheck::domain::time::{Span, Timestamp};
use recheck::engine::effect::Decision;
use recheck::engine::policy::{Policy, Rings};
use recheck::formats::rows::Row;
use recheck::replay::run::run;
use recheck::replay::score::Score;
use recheck::replay::suggest::choices::{Choice, Search, together};
use recheck::replay::suggest::{Days, Outcome, counts, front, holds};
use serde_json::Value;
use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

/// 2026-03-02 00:00 UTC.
const START: Timestamp = Timestamp::from_seconds(1_772_409_600);

/// Days of one person, a reading every five minutes.
fn person(seed: u64, days: i64) -> Vec<Row> {
    let values = swings(seed, usize::try_from(days * 288).unwrap());
    let row =
        |(place, value): (i64, i32)| Row { measured: START + Span::minutes(5 * place), glucose: Glucose::mg_dl(value) };
    (0..).zip(values).map(row).collect()
}

fn lived(policy: &Policy, rows: &[Row]) -> Vec<(Timestamp, Decision)> {
    let mut decisions = Vec::new();
    run(policy.clone(), rows, |at, decision| {
        if counts(decision) {
            decisions.push((at, decision.clone()));
        }
    });
    decisions
}

fn judged(days: &Days, choices: Vec<Choice>) -> Vec<(Choice, Outcome)> {
    let judge = |choice: Choice| {
        let outcome = days.judge(&lived(&choice.policy, days.rows()));
        (choice, outcome)
    };
    choices.into_iter().map(judge).collect()
}

fn shown(days: &Days, policy: &Policy) -> (Outcome, Vec<(Choice, Outcome)>) {
    let best = |side: Search| side.best(&judged(days, side.choices(policy)));
    let both = judged(days, together(&best(Search::Low), &best(Search::High), &best(Search::VeryHigh)));
    (both[0].1, front(&both))
}

#[test]
fn what_is_in_use_has_the_figures_of_the_score() {
    let (rows, policy) = (person(3, 20), Policy::new(Zone::UTC));
    let days = Days::new(rows.clone(), &policy).unwrap();
    let decisions = lived(&policy, &rows);
    let outcome = days.judge(&decisions);
    // Both parts together are the whole, but for what the cut divides.
    let mut score = Score::default();
    score.add(&rows, &decisions, &policy.levels);
    let [first, last] = days.days();
    assert!((first + last - score.days()).abs() < 0.01 && (first / (first + last) - 0.7).abs() < 0.01);
    let lows = outcome.first.lows + outcome.last.lows;
    assert!(lows > 5 && lows.abs_diff(score.levels[1].episodes) <= 1, "{lows} {:?}", score.levels[1]);
    let rang = decisions.iter().filter(|(_, decision)| decision.rings).count();
    let told = outcome.first.rings_per_day * first + outcome.last.rings_per_day * last;
    assert!((told - f64::from(u32::try_from(rang).unwrap())).abs() < 0.5, "{told} {rang}");
}

/// No choice that is shown takes a low or tells it later in the days that chose, and each asks less.
#[test]
fn quiet_is_never_bought_with_lows() {
    let mut found = 0;
    for seed in 0..3 {
        let policy = Policy::new(Zone::UTC);
        let days = Days::new(person(seed, 15), &policy).unwrap();
        let (now, shown) = shown(&days, &policy);
        for (choice, outcome) in &shown {
            assert!(outcome.first.lows_missed <= now.first.lows_missed, "{:?}", choice.lines);
            assert!(outcome.first.low_delay_min_mean <= now.first.low_delay_min_mean + 0.1, "{:?}", choice.lines);
            assert!(outcome.first.rings_per_day < now.first.rings_per_day, "{:?}", choice.lines);
            assert_eq!(outcome.first.lows, now.first.lows, "episodes are those beyond the limits in use");
            assert!(!choice.lines.is_empty());
            let (very_low, limit) = (choice.policy.levels.very_low, choice.policy.levels.low.limit);
            assert_eq!((very_low, limit), (policy.levels.very_low, policy.levels.low.limit));
            assert!(choice.policy.levels.low.on_delay == Span::ZERO);
        }
        found += shown.len();
        if let Some((_, outcome)) = shown.first() {
            assert!(!holds(&now, &now) && (holds(outcome, &now) || outcome.last.rings_per_day > 0.0));
        }
    }
    assert!(found >= 6, "only {found} choices");
}

/// The last days check and do not choose: other last days leave the choices as they are.
#[test]
fn the_last_days_choose_nothing() {
    let policy = Policy::new(Zone::UTC);
    let (rows, mut other) = (person(1, 15), person(1, 15));
    let cut = rows.len() * 7 / 10 + 1;
    for row in &mut other[cut..] {
        row.glucose = Glucose::mg_dl(120);
    }
    let lines = |rows: Vec<Row>| -> Vec<Vec<String>> {
        let (_, shown) = shown(&Days::new(rows, &policy).unwrap(), &policy);
        shown.into_iter().map(|(choice, _)| choice.lines).collect()
    };
    assert_eq!(lines(rows), lines(other));
}

/// Every line that is suggested is one that the settings take, and does what was tried.
#[test]
fn the_lines_are_settings() {
    for unit in [Unit::MgDl, Unit::MmolL] {
        let set = format!("wearer.unit={}", unit.name());
        let policy = settings("", None, &[set], Purpose::Replay, Zone::UTC).unwrap().policy;
        let mut seen = BTreeSet::new();
        for side in [Search::Low, Search::High, Search::VeryHigh, Search::Forecast] {
            for choice in side.choices(&policy) {
                seen.extend(choice.lines.iter().filter_map(|line| line.split(' ').next().map(str::to_owned)));
                let written = choice.lines.iter().map(|line| line.replace(['"', ' '], ""));
                let sets: Vec<String> = written.chain([format!("wearer.unit={}", unit.name())]).collect();
                let read = settings("", None, &sets, Purpose::Replay, Zone::UTC).unwrap();
                assert_eq!(read.policy.levels, choice.policy.levels, "{:?}", choice.lines);
                assert_eq!(read.policy.forecasts, choice.policy.forecasts, "{:?}", choice.lines);
                // To watch by, too; there is neither a source nor a channel here.
                let problems = settings("", None, &sets, Purpose::Watch, Zone::UTC).unwrap_err().all;
                let missing = |what: &str| what.contains("no source") || what.contains("no channel");
                assert!(problems.iter().all(|problem| missing(&problem.what)), "{:?}: {problems:?}", choice.lines);
            }
        }
        assert_eq!(seen.len(), 11, "{seen:?}");
    }
    let mut off = Policy::new(Zone::UTC);
    off.levels.high.rings = Rings::Never;
    assert_eq!(Search::High.choices(&off).len(), 1, "what is off stays off");
}

fn keys(value: &Value, into: &mut BTreeSet<String>) {
    match value {
        Value::Object(all) => {
            for (key, value) in all {
                if !["now", "choices", "forecasts", "first", "last"].contains(&key.as_str()) {
                    into.insert(key.clone());
                }
                keys(value, into);
            }
        }
        Value::Array(all) => all.iter().for_each(|value| keys(value, into)),
        _ => {}
    }
}

#[test]
fn the_command_searches_says_how_few_days_it_saw_and_changes_nothing() {
    let recheck = Recheck::new(&webhook("http://127.0.0.1:9/"));
    let file = recheck.exports().join("past.csv");
    let rows: Vec<(i64, f64)> =
        person(5, 12).iter().map(|row| (row.measured.seconds(), row.glucose.as_mg_dl())).collect();
    fs::write(&file, table("glucose", &rows)).unwrap();
    let file = file.to_str().unwrap();
    let output = recheck.say(&["suggest", file]);
    let text = String::from_utf8(output.stdout).unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    assert!(text.starts_with("12.0 days covered: 8.4 to choose by, the last 3.6 to check by; "), "{text}");
    assert!(text.contains("too little data for more than a hint: fewer than 28 days covered\n"), "{text}");
    let (nothing, shown) = (text.find("\nNothing is changed.").unwrap(), |line: &&str| !line.contains(" = "));
    let lines = text[..nothing].lines().skip(1).filter(shown);
    assert!(lines.clone().all(|line| line.chars().count() <= 80), "{text}");
    for part in ["        rings a day  lows missed", "min/day above the limits without a word\n", "\nnow  "] {
        assert!(text.contains(part), "{part}\n{text}");
    }
    let output = recheck.say(&["suggest", file, "--json"]);
    let object: Value = serde_json::from_slice(&output.stdout).unwrap();
    let mut printed = BTreeSet::new();
    keys(&object, &mut printed);
    let document = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/suggest.md")).unwrap();
    let section = document.split("## `--json`").nth(1).unwrap();
    let documented: BTreeSet<String> =
        section.lines().filter_map(|line| line.strip_prefix("| `")?.split('`').next().map(str::to_owned)).collect();
    assert_eq!(printed, documented);

    let few: Vec<(i64, f64)> = day(1).iter().map(|row| (row.measured.seconds(), row.glucose.as_mg_dl())).collect();
    let short = recheck.exports().join("short.csv");
    fs::write(&short, table("glucose", &few)).unwrap();
    let output = recheck.say(&["suggest", short.to_str().unwrap()]);
    let said = String::from_utf8(output.stderr).unwrap();
    assert!(said.contains("error: too little data") && said.contains("hint: each needs 3 days"), "{said}");
    let output = recheck.say(&["suggest"]);
    let said = String::from_utf8(output.stderr).unwrap();
    assert!(said.contains("error: there is no history yet"), "{said}");
}
