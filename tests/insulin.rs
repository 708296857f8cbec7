//! Insulin that was noted: what is said of it, word for word, and what of it is never said.

use super::life::{Life, MIDNIGHT, NOON, one_sensor};
use recheck::domain::diary::{Amount, Kind};
use recheck::domain::local::Zone;
use recheck::domain::time::Span;
use recheck::engine::effect::{Condition, Decision, What};
use recheck::engine::event::Event;
use recheck::engine::outcome::{Found, Outcome};
use recheck::engine::policy::{Policy, Therapy};
use recheck::engine::reason::Reason;
use recheck::wording::Voice;
use recheck::wording::answer::whole_answer;
use recheck::wording::reason::line;
use recheck::wording::text::text;

fn of(therapy: Therapy) -> Life {
    Life::new(Policy { therapy, ..one_sensor() }, NOON)
}

fn note(life: &mut Life, kind: Kind) -> String {
    let told = life.notes(kind, life.now);
    whole_answer(&told, life.engine.policy(), life.now).map_or_else(String::new, |answer| answer.words)
}

fn last(life: &Life, wanted: impl Fn(&Decision) -> bool) -> (String, String, String) {
    let (at, decision) = life.told.iter().rev().find(|(_, decision)| wanted(decision)).unwrap();
    let text = text(decision, life.engine.policy(), *at);
    (text.title, text.body, line(decision, Voice::new(life.engine.policy(), *at)))
}

const INSULIN: Kind = Kind::Insulin(Some(Amount(437)));

#[test]
fn a_high_says_how_long_ago_insulin_was_noted_and_what_is_still_to_come() {
    for (therapy, after, said) in [
        (Therapy::Injections, 50, "Insulin 1 h ago: about five sixths still to act (estimate)."),
        (Therapy::Pump, 170, "Insulin 3 h ago: about a quarter still to act (estimate)."),
        (Therapy::SelfAdjusting, 50, "Insulin 1 h ago; what your pump gives by itself is not seen."),
        (Therapy::Injections, 410, "Insulin 7 h ago."),
    ] {
        let mut life = of(therapy);
        life.reads([120]);
        note(&mut life, INSULIN);
        life.reads(vec![120; after / 5 - 1]);
        life.reads([190, 190, 190, 190, 190]);
        let (_, body, _) = last(&life, |decision| decision.condition == Condition::High && decision.rings);
        assert!(body.ends_with(said), "{therapy:?} {after}: {body}");
    }
    let mut life = of(Therapy::Injections);
    life.reads(vec![190; 6]);
    let (title, body, _) = last(&life, |decision| decision.condition == Condition::High && decision.rings);
    assert!(title.ends_with("Check, and note what you did") && !body.contains("nsulin"), "{title} {body}");
}

/// What was noted is never said as an amount, whatever is told of it.
#[test]
fn no_amount_is_ever_said_of_a_dose() {
    let mut life = of(Therapy::Pump);
    life.reads([120]);
    note(&mut life, INSULIN);
    life.reads([150, 200, 230, 260, 262, 264, 266, 270]);
    let stacked = note(&mut life, INSULIN);
    life.reads(vec![275; 140]);
    life.reads((0..40).map(|step| 275 - 5 * step));
    life.reads(vec![80; 60]);
    let mut said = vec![stacked];
    for (at, decision) in &life.told {
        let text = text(decision, life.engine.policy(), *at);
        let why = line(decision, Voice::new(life.engine.policy(), *at));
        said.extend([text.title, text.body, why, serde_json::to_string(decision).unwrap()]);
    }
    for words in &said {
        for never in ["4.37", ":437", " units", "inject ", "safe", "fine"] {
            assert!(!words.contains(never), "{never}: {words}");
        }
    }
    assert!(said.len() > 60, "{}", said.len());
}

#[test]
fn two_doses_that_overlap_are_one_calm_line_with_both_shares() {
    let mut life = of(Therapy::Injections);
    life.reads([120]);
    note(&mut life, INSULIN);
    life.reads([150, 180, 200, 210, 220, 225, 228, 230, 232, 234, 236, 238]);
    let answer = note(&mut life, INSULIN);
    let lines: Vec<&str> = answer.lines().collect();
    assert!(lines[0].starts_with("High of 12:15, treated 13:05: looks at 14:05, 15:05, 16:05"), "{answer}");
    assert_eq!(
        lines[1],
        "Two doses overlap, 1 h apart: 12:05 (1 h ago) and 13:05 (0 min ago). Still to come of their effect, by an estimate: about five sixths of the first, nearly all of the second. They add up. Look again before anything else, and follow your plan."
    );
    assert_eq!(lines.len(), 2, "{answer}");
}

/// When each therapy is asked about ketones, and about what gives the insulin: a pump an hour after the dose, since a failed
/// set is found early, a pen after two; then again, and after three hours with the care team.
#[test]
fn no_response_is_asked_about_and_asked_again() {
    for (therapy, what, minutes) in [
        (Therapy::Pump, "set", &[60, 180, 300][..]),
        // From the beginning of the stretch, a quarter of an hour before the dose.
        (Therapy::SelfAdjusting, "set", &[75, 180, 300]),
        (Therapy::Injections, "pen", &[105, 180]),
    ] {
        let mut life = of(therapy);
        life.reads([262, 265, 268]);
        note(&mut life, INSULIN);
        let dose = life.now;
        life.reads(vec![270; 61]);
        let asks = |decision: &Decision| matches!(decision.reason, Reason::HighStays(_));
        let prompts: Vec<_> = life.told.iter().filter(|(_, one)| one.what == What::Prompt && asks(one)).collect();
        let after: Vec<i64> = prompts.iter().map(|(at, _)| (*at - dose).as_minutes()).collect();
        assert_eq!(after, minutes, "{therapy:?}");
        for (place, (at, one)) in prompts.iter().enumerate() {
            let said = text(one, life.engine.policy(), *at);
            assert!(said.title.starts_with("High 270") && said.title.contains(what), "{}", said.title);
            assert!(said.body.contains("etones") && said.body.contains(what), "{}", said.body);
            assert!(said.body.chars().count() <= 160, "{}", said.body);
            assert_eq!(said.title.contains("call your team"), minutes[place] >= 180, "{}", said.title);
            let decides = said.body.contains("decide by your plan");
            assert!(!decides || minutes[place] >= 120, "{}", said.body);
        }
    }
}

#[test]
fn the_persons_own_past_stands_beside_a_look_once_there_is_enough_of_it() {
    let mut life = of(Therapy::Pump);
    let correct = |life: &mut Life, after_an_hour: i32| {
        life.reads(vec![230; 6]);
        note(life, INSULIN);
        life.reads((1..=12).map(|step| 230 - (230 - after_an_hour) * step / 12));
        life.reads((1..=24).map(|step| after_an_hour - (after_an_hour - 110) * step / 24));
        life.reads(vec![110; 24]);
    };
    for after_an_hour in [200, 190, 180, 170] {
        correct(&mut life, after_an_hour);
    }
    let found = |life: &Life| -> Found {
        life.told
            .iter()
            .rev()
            .find_map(|(_, one)| match &one.reason {
                Reason::ComingDown { found, .. } | Reason::NotComingDown { found, .. } => Some(*found),
                _ => None,
            })
            .unwrap()
    };
    assert_eq!(found(&life).usual, None, "too few");
    correct(&mut life, 210);
    life.reads(vec![230; 6]);
    note(&mut life, INSULIN);
    life.reads(vec![228; 13]);
    let found = found(&life);
    assert_eq!((found.outcome, found.drop), (Outcome::NoResponse, Some(200)));
    let usual = found.usual.unwrap();
    // The middle of 30, 40, 50, 60 and 20, between the readings around the hour.
    assert_eq!(usual.n, 5);
    assert!((3_500..=4_500).contains(&usual.drop), "{}", usual.drop);
    let (_, body, _) = last(&life, |one| one.what == What::Prompt && one.condition == Condition::RecheckHigh);
    assert!(body.contains("After your last 5 corrections it had changed by -"), "{body}");
    assert!(body.contains("a check is not a reason to add"), "{body}");
}

/// A high that was treated at 22:40 is looked at at 02:30 by the clock on the wall, whatever zone and clock there are then.
#[test]
fn the_look_in_the_small_hours_keeps_its_hour() {
    let evening = MIDNIGHT + Span::minutes(22 * 60 + 30);
    let looked = |after: usize, happens: Option<(Event, Span)>| {
        let mut life = Life::new(one_sensor(), evening);
        life.reads([220, 220]);
        note(&mut life, INSULIN);
        life.reads([215, 205, 195, 185, 175, 165, 155, 150]);
        life.reads(vec![150; after]);
        if let Some((event, by)) = happens {
            // No tick comes in between: the hours that a clock skips are never there.
            life.now = life.now + by;
            life.engine.handle(&event, life.now).into_iter().for_each(|one| life.told.push((life.now, one)));
        }
        life.reads(vec![150; 80]);
        let looks = life.told.iter().filter(|(_, one)| matches!(one.reason, Reason::EveningLook { .. }));
        looks.map(|(at, _)| *at).collect::<Vec<_>>()
    };
    let half_past_two = MIDNIGHT + Span::minutes(26 * 60 + 30);
    assert_eq!(looked(0, None), [half_past_two]);
    for by in [Span::minutes(-20), Span::minutes(70)] {
        assert_eq!(looked(0, Some((Event::ClockStepped { by }, by))), [half_past_two], "{by}");
    }
    // At 01:40 the clock is set to after it: it comes at once.
    let by = Span::hours(1);
    assert_eq!(looked(28, Some((Event::ClockStepped { by }, by))), [half_past_two + Span::minutes(10)]);
    let settings = |change: fn(&mut Policy)| {
        let mut policy = one_sensor();
        change(&mut policy);
        Some((Event::PolicyChanged(Box::new(policy)), Span::ZERO))
    };
    let east = |policy: &mut Policy| policy.zone = Zone::named("Europe/Berlin").unwrap();
    assert_eq!(looked(0, settings(east)), [half_past_two - Span::hours(1)]);
    assert_eq!(looked(0, settings(|policy| policy.recheck.evening_look = false)), []);
}
