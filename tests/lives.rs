//! An experiment on pretend wearers: the same bodies through the same days, with prompts heeded and not. It measures
//! and compares; it holds no outcome, for an experiment that had to come out in one way would show nothing.
//!
//!     RECHECK_LIVES=full cargo test lives -- --nocapture
//!
//! lives 40 bodies through 28 days for each arm and therapy, and prints the tables of docs/lives-measured.md. Without
//! the variable a few bodies live a few days, and what must hold of any size is held.
#![expect(clippy::cast_precision_loss, reason = "counts are small")]

use recheck::engine::effect::{Condition, Side, What};
use recheck::wearer::alone::{Alone, Lived, usual_policy};
use recheck::wearer::chance::Chance;
use recheck::wearer::habits::{Habits, Looks};
use recheck::wearer::person::{Means, Person};

/// An arm: how it reads in the tables, and its habits.
const ARMS: [(&str, Habits); 7] = [
    ("no alerts", Habits::without_alerts()),
    ("alerts only", Habits::calm(Looks::Ignored)),
    ("looks", Habits::calm(Looks::Heeded)),
    ("hourly", Habits::calm(Looks::Hourly)),
    ("annoyed: alerts only", Habits::annoyed(Looks::Ignored)),
    ("annoyed: looks", Habits::annoyed(Looks::Heeded)),
    ("annoyed: hourly", Habits::annoyed(Looks::Hourly)),
];

/// Pairs of arms that are compared: the later with the earlier.
const PAIRS: [(usize, usize); 7] = [(0, 1), (1, 2), (1, 3), (3, 2), (4, 5), (4, 6), (6, 5)];

/// What is measured of one life, each for a day.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Measures([f64; 10]);

const NAMES: [&str; 10] = [
    "hours above 180 mg/dL",
    "hours above 250",
    "hours below 70",
    "hours below 54",
    "lows",
    "lows after a dose for a high",
    "lows after a second dose",
    "prompts",
    "rings",
    "second doses within 3 h",
];

/// Minutes in which blood glucose is below a limit for a quarter of an hour or more: when each such stretch begins.
fn lows(lived: &Lived) -> Vec<i32> {
    let mut found = Vec::new();
    let mut below = 0;
    for (place, mmol_l) in lived.blood.iter().enumerate() {
        if *mmol_l * 18.0 >= 70.0 {
            below = 0;
            continue;
        }
        below += 1;
        // Four samples five minutes apart are fifteen minutes.
        if below == 4 {
            found.push((i32::try_from(place).unwrap() - 3) * 5);
        }
    }
    // A low that ends for less than a quarter of an hour and goes on is one.
    found.dedup_by(|later, earlier| {
        let between = &lived.blood[usize::try_from(*earlier / 5).unwrap()..usize::try_from(*later / 5).unwrap()];
        let longest = between.split(|mmol_l| mmol_l * 18.0 < 70.0).map(<[f64]>::len).max().unwrap_or(0);
        longest < 3
    });
    found
}

fn is_prompt(condition: Condition, what: What) -> bool {
    what == What::Prompt && condition.side() != Some(Side::Low)
}

fn measured(lived: &Lived, habits: &Habits, days: i32) -> Measures {
    let days = f64::from(days);
    let samples = |holds: &dyn Fn(f64) -> bool| {
        lived.blood.iter().filter(|mmol_l| holds(**mmol_l * 18.0)).count() as f64 / 12.0 / days
    };
    let doses: Vec<i32> = lived.for_highs().collect();
    let second: Vec<i32> = doses.windows(2).filter(|pair| pair[1] - pair[0] <= 180).map(|pair| pair[1]).collect();
    let lows = lows(lived);
    let after = |doses: &[i32]| {
        lows.iter().filter(|low| doses.iter().any(|dose| (0..=240).contains(&(*low - dose)))).count() as f64 / days
    };
    let prompts = lived.rings.iter().filter(|(_, condition, what)| is_prompt(*condition, *what)).count() as f64;
    let others = lived.rings.len() as f64 - prompts;
    let hourly = lived.hourly.len() as f64;
    let prompts = match habits.looks {
        Looks::Ignored => 0.0,
        Looks::Heeded => prompts,
        Looks::Hourly => hourly,
    };
    Measures([
        samples(&|mg_dl| mg_dl > 180.0),
        samples(&|mg_dl| mg_dl > 250.0),
        samples(&|mg_dl| mg_dl < 70.0),
        samples(&|mg_dl| mg_dl < 54.0),
        lows.len() as f64 / days,
        after(&doses),
        after(&second),
        prompts / days,
        (prompts + others) / days,
        second.len() as f64 / days,
    ])
}

/// All arms of one therapy: for each arm, the measures of each body.
fn lived(means: Means, sites_fail: bool, bodies: u64, days: i32) -> Vec<Vec<Measures>> {
    let person = |seed: u64| Person { sites_fail, ..Person::draw(seed, means) };
    let people: Vec<Person> = (1..=bodies).map(person).collect();
    let live = |habits: &Habits| {
        let one = |person: &Person| {
            let lived = Alone::new(person.clone(), *habits, usual_policy(means)).days(days);
            measured(&lived, habits, days)
        };
        people.iter().map(one).collect()
    };
    ARMS.iter().map(|(_, habits)| live(habits)).collect()
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// The middle 95 % of the means of 4,000 samples of bodies, drawn with replacement.
fn interval(values: &[f64]) -> (f64, f64) {
    let mut chance = Chance::new(95);
    let last = i32::try_from(values.len()).unwrap() - 1;
    let mut means: Vec<f64> = (0..4_000)
        .map(|_| {
            let drawn = (0..values.len()).map(|_| values[usize::try_from(chance.minutes(0, last)).unwrap()]);
            drawn.sum::<f64>() / values.len() as f64
        })
        .collect();
    means.sort_by(f64::total_cmp);
    (means[100], means[3_899])
}

fn column(lives: &[Measures], measure: usize) -> Vec<f64> {
    lives.iter().map(|life| life.0[measure]).collect()
}

fn print_rows(heads: &[String], cells: impl Fn(usize) -> Vec<String>) {
    eprintln!("| | {} |", heads.join(" | "));
    eprintln!("|---|{}", "---|".repeat(heads.len()));
    for (place, name) in NAMES.iter().enumerate() {
        eprintln!("| {name} | {} |", cells(place).join(" | "));
    }
}

fn print_tables(title: &str, arms: &[Vec<Measures>]) {
    eprintln!("\n## {title}\n\nA day, mean of the bodies:\n");
    let heads: Vec<String> = ARMS.iter().map(|(name, _)| (*name).to_owned()).collect();
    print_rows(&heads, |place| arms.iter().map(|lives| format!("{:.2}", mean(&column(lives, place)))).collect());
    eprintln!("\nWhat the second has more than the first, the same bodies and days, with 95 % intervals:\n");
    let heads: Vec<String> = PAIRS.iter().map(|(from, to)| format!("{} → {}", ARMS[*from].0, ARMS[*to].0)).collect();
    print_rows(&heads, |place| {
        let difference = |(from, to): &(usize, usize)| {
            let (before, after) = (column(&arms[*from], place), column(&arms[*to], place));
            let differences: Vec<f64> = after.iter().zip(&before).map(|(after, before)| after - before).collect();
            let (low, high) = interval(&differences);
            format!("{:+.2} ({low:+.2} to {high:+.2})", mean(&differences))
        };
        PAIRS.iter().map(difference).collect()
    });
}

#[test]
fn the_same_bodies_with_prompts_heeded_and_not() {
    let is_full = std::env::var("RECHECK_LIVES").is_ok_and(|size| size == "full");
    let (bodies, days) = if is_full { (40, 28) } else { (6, 4) };
    let therapies =
        [("Pens", Means::Pens, true), ("Pump", Means::Pump, true), ("Pump whose sites never fail", Means::Pump, false)];
    for (title, means, sites_fail) in therapies {
        let arms = lived(means, sites_fail, bodies, days);
        if is_full {
            print_tables(title, &arms);
        }
        for ((name, habits), lives) in ARMS.iter().zip(&arms) {
            let prompts = mean(&column(lives, 7));
            assert_eq!(prompts > 0.0, habits.looks != Looks::Ignored, "{name}: {prompts} prompts");
            assert_eq!(mean(&column(lives, 8)) > 0.0, habits.alerts, "{name}: rings");
        }
    }
}
