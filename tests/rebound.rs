//! A high soon after a low: nothing of it touches the low side, and its words suggest no treatment.

use super::swings::swings;
use recheck::domain::glucose::Glucose;
use recheck::domain::local::Zone;
use recheck::domain::reading::{Reading, SourceId};
use recheck::domain::time::{Span, Timestamp};
use recheck::engine::Engine;
use recheck::engine::effect::{Condition, Decision, Side, What};
use recheck::engine::event::Event;
use recheck::engine::policy::{Policy, SourceKind, SourcePolicy};
use recheck::wording::Voice;
use recheck::wording::reason::line;
use recheck::wording::text::text;

/// 2026-03-02 12:00 UTC.
const NOON: Timestamp = Timestamp::from_seconds(1_772_452_800);

fn policy(wait: Span) -> Policy {
    let mut policy = Policy::new(Zone::UTC);
    policy.sources = vec![SourcePolicy::new("sensor", SourceKind::Streaming)];
    policy.recheck.rebound_delay = wait;
    policy
}

/// A value every five minutes, with restarts, and ticks when the engine wants them.
fn live(policy: Policy, values: &[i32]) -> Vec<(Timestamp, Decision)> {
    let mut engine = Engine::new(policy);
    let mut told = Vec::new();
    let mut now = NOON;
    for value in values {
        while let Some(due) = engine.next_deadline().filter(|due| *due < now) {
            told.extend(engine.handle(&Event::Tick, due).into_iter().map(|decision| (due, decision)));
        }
        let rows = vec![Reading { source: SourceId(0), measured: now, glucose: Glucose::mg_dl(*value) }];
        let event = Event::Readings { rows, first_sight: false };
        told.extend(engine.handle(&event, now).into_iter().map(|decision| (now, decision)));
        let saved = serde_json::to_string(engine.snapshot()).unwrap();
        engine = Engine::restore(engine.policy().clone(), serde_json::from_str(&saved).unwrap());
        now = now + Span::minutes(5);
    }
    told
}

#[test]
fn no_wait_for_a_high_changes_anything_about_lows() {
    // Alerts of lows begin and end alike. What rings for a high may bring a step forward by two minutes (promise O1).
    let low_side = |decisions: &[(Timestamp, Decision)]| -> Vec<(Timestamp, What, Condition)> {
        let of_lows = decisions.iter().filter(|(_, one)| {
            one.condition.side() == Some(Side::Low)
                && Condition::LEVELS.contains(&one.condition)
                && matches!(one.what, What::Raised | What::Ended)
        });
        of_lows.map(|(at, one)| (*at, one.what, one.condition)).collect()
    };
    let (mut lows, mut waited) = (0, 0);
    for seed in 1..=6 {
        let values = swings(seed, 14 * 288);
        let (at_once, late) = (live(policy(Span::ZERO), &values), live(policy(Span::hours(2)), &values));
        assert_eq!(low_side(&at_once), low_side(&late));
        lows += low_side(&late).len();
        let rings = |all: &[(Timestamp, Decision)]| all.iter().filter(|(_, decision)| decision.rings).count();
        waited += rings(&at_once).saturating_sub(rings(&late));
    }
    assert!(lows > 300 && waited > 50, "{lows} decisions about lows, {waited} rings waited away");
}

#[test]
fn its_words_say_what_it_may_be_and_suggest_nothing() {
    let mut values = vec![100, 66, 60, 90, 120, 150, 175, 190, 200];
    values.extend([210; 24]);
    values.extend([262; 6]);
    let policy = policy(Span::minutes(45));
    let told = live(policy.clone(), &values);
    let high: Vec<&(Timestamp, Decision)> = told
        .iter()
        .filter(|(_, one)| one.rings && one.what == What::Raised && one.condition.side() == Some(Side::High))
        .collect();
    let [(at, decision), (later, very_high)] = high.as_slice() else { panic!("{high:?}") };
    let said = text(decision, &policy, *at);
    assert_eq!(said.title, "High 210, steady, 13:20. May be a rebound");
    assert_eq!(said.body, "Follow your plan. It may be a rebound after the low of 12:05.");
    assert_eq!(
        line(decision, Voice::new(&policy, *at)),
        "high raised on 210 mg/dL at 13:20 (steady): beyond 180 since 12:35; may be a rebound after the low of 12:05"
    );
    let said = text(very_high, &policy, *later);
    assert!(said.title.ends_with("May be a rebound"), "{}", said.title);
    for (at, decision) in told.iter().filter(|(_, decision)| decision.after_low.is_some()) {
        let said = text(decision, &policy, *at);
        for word in ["treat", "correct", "insulin", "note"] {
            assert!(!said.title.to_lowercase().contains(word) && !said.body.to_lowercase().contains(word), "{said:?}");
        }
    }
}
