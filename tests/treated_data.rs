//! On the open traces, as if every high had been treated when it was first told: how often the looks ask, for a pump and
//! for injections, beside a question every hour; and whether a high that stays was asked about. The traces know of no
//! such treatment, so they show what is asked where none helps more than what was done.

use super::open_data::{folder, people};
use recheck::config::meant::{Purpose, settings};
use recheck::domain::local::Zone;
use recheck::domain::reading::{Reading, SourceId};
use recheck::domain::time::{Span, Timestamp};
use recheck::engine::Engine;
use recheck::engine::effect::{Condition, Decision, Side, What};
use recheck::engine::event::{Event, Which};
use recheck::engine::policy::{Policy, SourceKind, SourcePolicy};
use recheck::engine::recheck_high::{HighCheck, Stage};
use recheck::formats::rows::Row;

/// A reading is about a time within this.
const NEAR: Span = Span::minutes(16);

/// A high that stays matters where it is very high for so long, from two hours after a treatment on.
const STAYS: Span = Span::minutes(60);
const FROM: Span = Span::hours(2);
const TO: Span = Span::hours(6);

/// One that is lower than an hour before by this comes down, in hundredths of a mg/dL.
const COMES_DOWN: i32 = 2_000;

/// It is asked about in time within this of when it is known to stay.
const IN_TIME: Span = Span::minutes(60);

/// A question that rang so shortly before the stretch is one about it: the next comes two hours later (promise H2).
const JUST_BEFORE: Span = Span::minutes(45);

struct Lived {
    told: Vec<(Timestamp, Decision)>,
    treated: Vec<Timestamp>,
}

fn policy(sets: &[&str]) -> Policy {
    let sets: Vec<String> = sets.iter().map(ToString::to_string).collect();
    let read = settings("", None, &sets, Purpose::Replay, Zone::UTC).unwrap_or_else(|problems| panic!("{problems}"));
    Policy { sources: vec![SourcePolicy::new("trace", SourceKind::Streaming)], ..read.policy }
}

/// Each high is treated once, at the first ring about it.
fn live(policy: Policy, rows: &[Row]) -> Lived {
    let mut engine = Engine::new(policy);
    let mut lived = Lived { told: Vec::new(), treated: Vec::new() };
    for row in rows {
        let reading = Reading { source: SourceId(0), measured: row.measured, glucose: row.glucose };
        let event = Event::Readings { rows: vec![reading], first_sight: false };
        while let Some(due) = engine.next_deadline().filter(|due| *due < row.measured) {
            let told = engine.handle(&Event::Tick, due);
            take(&mut engine, &mut lived, told, due);
        }
        let told = engine.handle(&event, row.measured);
        take(&mut engine, &mut lived, told, row.measured);
    }
    lived
}

fn take(engine: &mut Engine, lived: &mut Lived, told: Vec<Decision>, at: Timestamp) {
    let rings = |one: &Decision| one.rings && one.condition.side() == Some(Side::High) && one.what != What::Ended;
    let first = told.iter().any(rings);
    lived.told.extend(told.into_iter().map(|decision| (at, decision)));
    let untreated = matches!(
        engine.snapshot().plan.high(),
        Some(HighCheck { stage: Stage::Asking { marked: false, .. }, .. }) | None
    );
    if first && untreated {
        let treated = Event::Treated { which: Some(Which::Side(Side::High)), at, look: None };
        let told = engine.handle(&treated, at);
        lived.treated.push(at);
        lived.told.extend(told.into_iter().map(|decision| (at, decision)));
    }
}

fn value_at(rows: &[Row], at: Timestamp) -> Option<i32> {
    let place = rows.partition_point(|row| row.measured <= at);
    let row = rows.get(place.checked_sub(1)?)?;
    (at - row.measured <= NEAR).then(|| row.glucose.hundredths())
}

/// The rule beside it: asked after every hour, up to four times, while it is above the limit.
fn nags(rows: &[Row], treated: Timestamp) -> usize {
    let above = |hour: &i64| value_at(rows, treated + Span::hours(*hour)).is_some_and(|value| value > 18_000);
    (1..=4).take_while(above).count()
}

/// Stretches above 250 mg/dL that last, after a treatment: when each is known to stay, and when it ends.
fn stays(rows: &[Row], treated: Timestamp) -> Option<(Timestamp, Timestamp)> {
    let mut since: Option<Timestamp> = None;
    let mut last = treated;
    let mut found = None;
    for row in rows.iter().filter(|row| row.measured >= treated + FROM && row.measured <= treated + TO) {
        if row.glucose.hundredths() <= 25_000 || row.measured - last > NEAR && since.is_some() {
            if found.is_some() {
                break;
            }
            since = None;
        }
        if row.glucose.hundredths() > 25_000 {
            let began = *since.get_or_insert(row.measured);
            let lower = value_at(rows, began).is_some_and(|then| row.glucose.hundredths() < then - COMES_DOWN);
            if row.measured - began >= STAYS && !lower {
                found = Some((began + STAYS, row.measured));
            }
        }
        last = row.measured;
    }
    found
}

#[derive(Debug, Default)]
struct Counted {
    days: f64,
    treated: usize,
    prompts: usize,
    by_night: usize,
    nags: usize,
    stay: usize,
    asked: usize,
    ketones: usize,
}

#[expect(clippy::cast_precision_loss, reason = "minutes of years are far below 2^53")]
fn count(people: &[(String, Vec<Row>)], sets: &[&str]) -> Counted {
    let mut counted = Counted::default();
    for (_, rows) in people {
        let gap = |pair: &[Row]| (pair[1].measured - pair[0].measured).min(Span::minutes(35)).as_minutes() as f64;
        counted.days += rows.windows(2).map(gap).sum::<f64>() / 1_440.0;
        let policy = policy(sets);
        let lived = live(policy, rows);
        let rings = |one: &&(Timestamp, Decision)| one.1.rings && one.1.condition.side() == Some(Side::High);
        let prompts = lived
            .told
            .iter()
            .filter(|(_, one)| one.what == What::Prompt && one.condition == Condition::RecheckHigh && one.rings);
        for (at, one) in prompts {
            counted.prompts += 1;
            let hour = at.seconds().rem_euclid(86_400) / 3_600;
            counted.by_night += usize::from(!(7..23).contains(&hour));
            counted.ketones += usize::from(matches!(one.reason, recheck::engine::reason::Reason::HighStays(_)));
        }
        for treated in &lived.treated {
            counted.treated += 1;
            counted.nags += nags(rows, *treated);
            if let Some((known, _)) = stays(rows, *treated) {
                counted.stay += 1;
                let since = known - STAYS;
                let asked = |(at, _): &&(Timestamp, Decision)| *at >= since - JUST_BEFORE && *at <= known + IN_TIME;
                counted.asked += usize::from(lived.told.iter().filter(rings).any(|one| asked(&one)));
            }
        }
    }
    counted
}

#[expect(clippy::cast_precision_loss, reason = "counts of prompts are small")]
#[test]
fn every_high_treated_asks_as_often_as_the_document_says() {
    let Some(folder) = folder("every_high_treated_asks_as_often_as_the_document_says") else { return };
    let mut all = people(&folder.join("t1d-uom"));
    all.extend(people(&folder.join("hupa-ucm")));
    let mut wrong = Vec::new();
    // Treated a day, prompts a day, of them by night and about ketones, and those of a question every hour.
    for (name, sets, documented) in [
        ("injections", "wearer.therapy=injections", [1.41, 1.26, 0.25, 0.44, 2.07]),
        ("pump", "wearer.therapy=pump", [1.41, 1.79, 0.26, 0.68, 2.07]),
    ] {
        let counted = count(&all, &[sets]);
        let counts = [counted.treated, counted.prompts, counted.by_night, counted.ketones, counted.nags];
        let found = counts.map(|n| n as f64 / counted.days);
        eprintln!(
            "{name}, {:.0} days: {found:.3?}; of {} that stay {} asked",
            counted.days, counted.stay, counted.asked
        );
        for (found, documented) in found.into_iter().zip(documented) {
            if (found - documented).abs() > 0.006 {
                wrong.push(format!("{name}: {found:.3}, the document says {documented}"));
            }
        }
        assert!(name == "pump" || found[1] <= 1.5, "{name}: {:.3} prompts a day", found[1]);
        assert!(counted.stay > 300 && counted.asked == counted.stay, "{name}: {counted:?}");
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
