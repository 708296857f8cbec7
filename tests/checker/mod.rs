//! Are the promises kept? A judge that sees only what went in and what came out, and was written from the promises and
//! not from the program. docs/promises.md names each of them.
//!
//! `cargo test --test all checker -- --nocapture` prints the table; `RECHECK_CHECKER=full` runs everything that can be
//! run, `RECHECK_CHECKER_SHOW=L1,H7` shows breaks of those promises as timelines.

mod days;
mod drive;
mod glance;
mod highs;
mod highs_more;
mod ketones;
mod known;
mod lives;
mod lows;
mod meet;
mod people;
mod record;
mod seen;
mod self_check;
mod self_check_highs;
mod self_check_more;
mod tally;
mod texts;
mod timeline;
mod trend;
mod truth;
mod unseen;
mod verdict;
mod words;

use glance::Sight;
use lives::Dice;
use record::{HOUR, Record};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use tally::{Tally, table};
use verdict::Verdicts;

/// Everything that is judged of one record.
pub(crate) fn judge(record: &Record) -> Verdicts {
    let mut verdicts = Verdicts::default();
    // No promise names it: a program that ends itself keeps none.
    verdicts.judge("alive", record.stopped.unwrap_or(record.until), record.stopped.is_none(), || {
        "the program ended itself".to_owned()
    });
    let sight = Sight::new(record);
    if sight.minutes.is_empty() {
        return verdicts;
    }
    lows::judge(&sight, &mut verdicts);
    highs::judge(&sight, &mut verdicts);
    highs_more::judge(&sight, &mut verdicts);
    ketones::judge(&sight, &mut verdicts);
    people::judge(&sight, &mut verdicts);
    meet::judge(&sight, &mut verdicts);
    truth::judge(&sight, &mut verdicts);
    texts::judge(&sight, &mut verdicts);
    let again = meet::m3(&sight, &verdicts.stakes);
    verdicts.stakes.extend(again);
    verdicts
}

/// How much is run.
struct Share {
    /// Stories drawn of six events, besides all of three; all of them when none.
    drawn: Option<u64>,
    /// Seeds for each open trace.
    seeds: u64,
    /// One piece of a trace in so many is lived.
    one_in: i64,
    days: u64,
}

impl Share {
    fn wanted() -> Self {
        match std::env::var("RECHECK_CHECKER").as_deref() {
            Ok("full") => Self { drawn: None, seeds: 20, one_in: 1, days: 50_000 },
            Ok(number) => {
                let days = number.parse().unwrap_or_else(|_| panic!("RECHECK_CHECKER is `full`, or a number of days"));
                Self { drawn: Some(days * 3), seeds: 1, one_in: (40_000 / i64::try_from(days).unwrap()).max(1), days }
            }
            Err(_) => Self { drawn: Some(6_000), seeds: 1, one_in: 20, days: 2_000 },
        }
    }
}

fn told(number: u64, length: u32, tally: &mut Tally) {
    let record = drive::live_alone(lives::story(number, length));
    tally.add(&record, &judge(&record));
}

/// What was seen when the program was lived with, story by story: which promises each breaks.
fn seen(tally: &mut Tally) {
    for record in seen::stories() {
        let record = drive::live_alone(record);
        let verdicts = judge(&record);
        tally.add(&record, &verdicts);
        let mut broken: BTreeMap<&str, usize> = BTreeMap::new();
        for stake in verdicts.stakes.iter().filter(|stake| stake.broken.is_some()) {
            *broken.entry(stake.promise).or_default() += 1;
        }
        let broken: Vec<String> = broken.iter().map(|(promise, count)| format!("{promise} {count}")).collect();
        eprintln!("{}: broken {}", record.name, broken.join(", "));
    }
}

/// What was seen, all stories of three events, and of six as many as are wanted.
fn stories(share: &Share) -> Tally {
    let mut tally = Tally::default();
    seen(&mut tally);
    for number in 0..lives::stories(3) {
        told(number, 3, &mut tally);
    }
    let six = lives::stories(6);
    match share.drawn {
        None => (0..six).for_each(|number| told(number, 6, &mut tally)),
        Some(drawn) => {
            let mut dice = Dice::new(6);
            for _ in 0..drawn {
                told(dice.next() % six, 6, &mut tally);
            }
        }
    }
    tally
}

/// Pieces of three days of each trace, with answers drawn from a seed.
fn traces(share: &Share, folder: &Path) -> Tally {
    let mut tally = Tally::default();
    let mut dice = Dice::new(3);
    for (name, rows) in ["t1d-uom", "hupa-ucm"].iter().flat_map(|set| drive::open_traces(&folder.join(set))) {
        let mut from = 0;
        while let Some(first) = rows.get(from) {
            let count = rows[from..].iter().take_while(|row| row.0 - first.0 < 72 * HOUR).count();
            let piece = &rows[from..from + count];
            from += count;
            if piece.len() < 100 {
                continue;
            }
            for seed in 0..share.seeds {
                if !(share.one_in == 1 || dice.below(share.one_in) == 0) {
                    continue;
                }
                let record = answered(lives::trace(&name, piece, seed), seed);
                tally.add(&record, &judge(&record));
            }
        }
    }
    tally
}

/// Lived with somebody who answers, as the seed draws it.
fn answered(record: Record, seed: u64) -> Record {
    let settings = record.settings.clone();
    let mut line = 1_000;
    drive::live(record, |out| lives::answers(seed, settings.is_night(out.at), &settings.people, out, &mut line))
}

fn days(share: &Share) -> Tally {
    let mut tally = Tally::default();
    for seed in 0..share.days {
        // On one day in four nobody answers.
        let day = days::day(seed);
        let record = if seed % 4 == 3 { drive::live_alone(day) } else { answered(day, seed) };
        tally.add(&record, &judge(&record));
    }
    tally
}

#[test]
fn the_promises_are_kept_but_for_those_known_to_be_broken() {
    let share = Share::wanted();
    let (stories, days) = (stories(&share), days(&share));
    let folder = std::env::var_os("RECHECK_OPEN_CGM").map(PathBuf::from).filter(|folder| folder.is_dir());
    let traces = folder.as_ref().map(|folder| traces(&share, folder));
    if traces.is_none() {
        eprintln!("skipped open traces: RECHECK_OPEN_CGM names no folder with them");
    }
    let none = Tally::default();
    let all = [("stories", &stories), ("open traces", traces.as_ref().unwrap_or(&none)), ("pretend days", &days)];
    eprintln!("at stake / broken\n{}", table(&all));
    for promise in std::env::var("RECHECK_CHECKER_SHOW").unwrap_or_default().split(',').filter(|name| !name.is_empty())
    {
        for (_, tally) in &all {
            eprintln!("{}", tally.examples(promise));
        }
    }
    let wrong = known::unexpected(&all);
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
}

#[test]
fn only_the_driver_knows_the_program() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/checker");
    let files = super::tidy::rust_files(&folder);
    assert!(files.len() > 15);
    for file in files.iter().filter(|file| !file.ends_with("drive.rs")) {
        let text = std::fs::read_to_string(file).unwrap();
        let uses = text.lines().any(|line| line.starts_with("use recheck") || line.contains(concat!("recheck", "::")));
        assert!(!uses, "{} knows the program", file.display());
    }
}
