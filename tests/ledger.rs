//! A ledger of rings: how often the defaults ring 39 people of open traces by day and by night under two habits of
//! answering, and which promise of docs/promises.md demands each ring. Rings that no promise demands are counted as such.
//!
//! Answers are drawn by a hash of who, when and what, so that a setting or a rule that moves one ring moves no answer to
//! another. The traces do not react to what is answered: what is treated stays, and is rung about again.

use super::open_data::{Person, defaults, everybody, folder, person};
use recheck::domain::reading::{Reading, SourceId};
use recheck::domain::time::{Span, Timestamp};
use recheck::engine::Engine;
use recheck::engine::effect::{Condition, Decision, Side, What};
use recheck::engine::event::{Event, Which};
use recheck::engine::policy::{Policy, SourceKind, SourcePolicy};
use recheck::engine::reason::Reason;
use recheck::formats::rows::Row;
use recheck::replay::burden::Burden;
use std::collections::{BTreeMap, BTreeSet};

/// How what rings is answered.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Habit {
    /// Each answer is `seen`.
    Seen,
    /// One in two is `treated`.
    HalfTreated,
}

/// A number that goes by nothing but what it is drawn for (the finalizer of `SplitMix64`, from memory).
fn drawn(seed: u64, at: Timestamp, condition: Condition, for_what: u64) -> u64 {
    let mut mixed = seed ^ at.millis().cast_unsigned() ^ u64::from(condition.row().order) << 48 ^ for_what << 56;
    for (shift, by) in [(30, 0xbf58_476d_1ce4_e5b9_u64), (27, 0x94d0_49bb_1331_11eb)] {
        mixed = (mixed ^ mixed >> shift).wrapping_mul(by);
    }
    mixed ^ mixed >> 31
}

/// Lives through rows with somebody who answers four in five by day and 54 % by night (as many as answered alone in a camp
/// trial, PMID 24168317, seen as an abstract; the rest is made up), each after one to ten minutes.
fn live(policy: &Policy, rows: &[Row], seed: u64, habit: Habit) -> Vec<(Timestamp, Decision)> {
    let policy = Policy { sources: vec![SourcePolicy::new("replay", SourceKind::Streaming)], ..policy.clone() };
    let mut engine = Engine::new(policy.clone());
    let mut told: Vec<(Timestamp, Decision)> = Vec::new();
    let mut answers: BTreeSet<(Timestamp, Option<Side>)> = BTreeSet::new();
    let mut known = 0;
    for row in rows {
        loop {
            for (at, decision) in told.iter().skip(known) {
                let asks = decision.rings && decision.condition.is_about_glucose() && decision.what != What::Ended;
                let share = if policy.night.stretch(policy.zone, *at).inside { 54 } else { 80 };
                let die = |what| drawn(seed, decision.reading_at.unwrap_or(*at), decision.condition, what);
                if asks && die(1) % 100 < share {
                    let treats = habit == Habit::HalfTreated && die(2) % 2 == 0;
                    let side = decision.condition.side().filter(|_| treats);
                    answers.insert((*at + Span::minutes(1 + (die(3) % 10).cast_signed()), side));
                }
            }
            known = told.len();
            let tick = engine.next_deadline().filter(|deadline| *deadline < row.measured);
            let answer = answers.first().copied().filter(|(at, _)| *at < row.measured);
            let (event, at) = match (tick, answer) {
                (Some(tick), answer) if answer.is_none_or(|(at, _)| tick < at) => (Event::Tick, tick),
                (_, Some(answer)) => {
                    answers.remove(&answer);
                    (said(answer), answer.0)
                }
                (_, None) => break,
            };
            told.extend(engine.handle(&event, at).into_iter().map(|decision| (at, decision)));
        }
        let reading = Reading { source: SourceId(0), measured: row.measured, glucose: row.glucose };
        let event = Event::Readings { rows: vec![reading], first_sight: false };
        told.extend(engine.handle(&event, row.measured).into_iter().map(|decision| (row.measured, decision)));
    }
    told
}

fn said((at, treats): (Timestamp, Option<Side>)) -> Event {
    match treats {
        Some(side) => Event::Treated { which: Some(Which::Side(side)), at, look: None },
        None => Event::Seen { which: None, until: None, by: None },
    }
}

/// What demands a ring: a promise, by letter and number; or nothing but its own rule, in brackets.
fn demanded_by(decision: &Decision) -> &'static str {
    let reason = decision.reason.word();
    let very_low = decision.glucose.is_some_and(|glucose| glucose.hundredths() < 5_400);
    let low = decision.condition.side() == Some(Side::Low);
    match (decision.condition, reason) {
        (_, "slips_back") => "L4",
        (Condition::ForecastLow | Condition::ForecastVeryLow, _) => match &decision.reason {
            Reason::Likely(likely) => watched(likely.watched.is_some(), &decision.reason),
            _ => "(forecast)",
        },
        (Condition::RecheckLow, "still_low") => "L3",
        (Condition::RecheckLow, "no_fresh_reading" | "meter_again" | "prick_again") => "L3, M2",
        (_, "unanswered") if low => "L2, the steps of escalation",
        (_, "low_lasts") if very_low => "L1",
        (_, "low_lasts") => "L2, again",
        (Condition::VeryLow, _) => "L1, first",
        (Condition::Low, "beyond_limit" | "new_episode" | "still_beyond") => "L2, first",
        (Condition::RecheckHigh, "high_stays") => "H1 to H3",
        (Condition::RecheckHigh, "still_high") => "H7",
        (Condition::RecheckHigh, "falling_too_fast") => "H5",
        (Condition::RecheckHigh, "landing") => "(the job: a treated high comes down)",
        (Condition::RecheckHigh, "not_coming_down") => "H4, H6: a treated high",
        (Condition::RecheckHigh, "nobody_marked") => "(the job: a high nobody marked)",
        (Condition::RecheckHigh, "back") => "(the job: a treated high is back)",
        (Condition::UnnotedRise, _) => "H11",
        (Condition::Ketones, _) => "K",
        (Condition::Gap | Condition::SourceFailed, _) => "(signal lost)",
        (Condition::Morning | Condition::Digest, _) | (Condition::RecheckHigh, "night_over" | "quiet_hours_over") => {
            "Q1"
        }
        (Condition::High | Condition::VeryHigh, _) => "(high, first)",
        (Condition::Caution, _) => "(caution)",
        (_, "back") => "(back)",
        _ => "(other)",
    }
}

fn watched(is_watched: bool, reason: &Reason) -> &'static str {
    match (is_watched, format!("{reason:?}").contains("Landing")) {
        (false, _) => "(forecast)",
        (true, false) => "L4",
        (true, true) => "H5",
    }
}

#[expect(clippy::cast_precision_loss, reason = "counts of rings are small")]
fn ledger(everybody: &[Person], policy: &Policy, habit: Habit) -> [f64; 5] {
    let mut of_each: Vec<[f64; 5]> = Vec::new();
    let mut rings: BTreeMap<&str, [u64; 2]> = BTreeMap::new();
    let mut all_days = 0.0;
    let mut lows = 0;
    for (place, (_, rows)) in everybody.iter().enumerate() {
        let decisions = live(policy, rows, 1 + place as u64, habit);
        let mut burden = Burden::default();
        burden.add_replayed(rows, &decisions, policy);
        let days = burden.watched.as_millis() as f64 / 86_400_000.0;
        all_days += days;
        let mut free = 0;
        for (at, decision) in decisions.iter().filter(|(_, one)| one.rings && one.to.is_wearer()) {
            let night = usize::from(policy.night.stretch(policy.zone, *at).inside);
            let by = demanded_by(decision);
            rings.entry(by).or_default()[night] += 1;
            free += u64::from(by.starts_with('('));
        }
        let begins = |one: &&(Timestamp, Decision)| one.1.condition == Condition::Low && one.1.what == What::Raised;
        lows += decisions.iter().filter(begins).count();
        let mean = |n: u64, parts: u64| n as f64 / parts as f64;
        let (day, night) = (&burden.day, &burden.night);
        of_each.push([
            mean(day.counted(), day.parts()),
            mean(night.counted(), night.parts()),
            burden.needless_wakes as f64 * 7.0 / days,
            free as f64 / days,
            0.0,
        ]);
    }
    for (by, [day, night]) in &rings {
        let per_day = |n: u64| n as f64 / all_days;
        eprintln!("| {by} | {day} | {night} | {:.2} | {:.2} |", per_day(*day), per_day(*night));
    }
    let low_side: u64 = rings.iter().filter(|(by, _)| by.starts_with('L')).map(|(_, [day, night])| day + night).sum();
    let median = |place: usize| person(&of_each.iter().map(|one| one[place]).collect::<Vec<f64>>(), 50);
    let found = [median(0), median(1), median(2), median(3), low_side as f64 / (lows.max(1)) as f64];
    eprintln!(
        "median person: by day {:.2}, by night {:.2}, needless wakes a week {:.2}, no promise demands {:.2} a day; rings for a low {:.2}",
        found[0], found[1], found[2], found[3], found[4]
    );
    found
}

/// Prints the ledger of docs/ledger-measured.md and holds its sums to a twentieth, or to a tenth of a ring, whichever is
/// more.
#[test]
fn the_ledger_is_what_the_document_says() {
    let Some(folder) = folder("the_ledger_is_what_the_document_says") else { return };
    let (everybody, policy) = (everybody(&folder), defaults());
    for (habit, name, documented) in [
        (Habit::Seen, "every answer is seen", [6.38, 1.84, 1.48, 3.58, 3.98]),
        (Habit::HalfTreated, "half of the answers are treated", [7.92, 2.08, 2.01, 3.99, 4.86]),
    ] {
        eprintln!("{name}:");
        for (found, documented) in ledger(&everybody, &policy, habit).into_iter().zip(documented) {
            let allowed = (documented / 20.0_f64).max(0.1);
            assert!((found - documented).abs() <= allowed, "{name}: {found:.2}, documented {documented}");
        }
    }
}
