//! Insulin that was noted: what is said of it, word for word, and what of it is never said.

use recheck::domain::diary::{Amount, Kind, Note};
use recheck::domain::glucose::Glucose;
use recheck::domain::local::Zone;
use recheck::domain::reading::{Reading, SourceId};
use recheck::domain::time::{Span, Timestamp};
use recheck::engine::Engine;
use recheck::engine::effect::{Condition, Decision, What};
use recheck::engine::event::Event;
use recheck::engine::outcome::{Found, Outcome};
use recheck::engine::policy::{Policy, SourceKind, SourcePolicy, Therapy};
use recheck::engine::reason::Reason;
use recheck::wording::Voice;
use recheck::wording::answer::whole_answer;
use recheck::wording::reason::line;
use recheck::wording::text::text;

/// 2026-03-02 12:00 UTC.
const NOON: Timestamp = Timestamp::from_seconds(1_772_452_800);

struct Life {
    engine: Engine,
    now: Timestamp,
    told: Vec<(Timestamp, Decision)>,
}

impl Life {
    fn new(therapy: Therapy) -> Self {
        let mut policy = Policy::new(Zone::UTC);
        policy.therapy = therapy;
        policy.sources = vec![SourcePolicy::new("sensor", SourceKind::Streaming)];
        Self { engine: Engine::new(policy), now: NOON, told: Vec::new() }
    }

    fn happens(&mut self, event: &Event, at: Timestamp) -> Vec<Decision> {
        while let Some(due) = self.engine.next_deadline().filter(|due| *due < at) {
            let told = self.engine.handle(&Event::Tick, due);
            self.told.extend(told.into_iter().map(|decision| (due, decision)));
        }
        let told = self.engine.handle(event, at);
        self.told.extend(told.iter().map(|decision| (at, decision.clone())));
        told
    }

    /// A value every five minutes.
    fn reads(&mut self, values: impl IntoIterator<Item = i32>) {
        for value in values {
            let rows = vec![Reading { source: SourceId(0), measured: self.now, glucose: Glucose::mg_dl(value) }];
            self.happens(&Event::Readings { rows, first_sight: false }, self.now);
            self.now = self.now + Span::minutes(5);
        }
    }

    fn notes(&mut self, kind: Kind) -> String {
        let note = Note { at: self.now, kind, words: String::new() };
        let told = self.happens(&Event::Noted(note), self.now);
        whole_answer(&told, self.engine.policy(), self.now).map_or_else(String::new, |answer| answer.words)
    }

    fn last(&self, wanted: impl Fn(&Decision) -> bool) -> (String, String, String) {
        let (at, decision) = self.told.iter().rev().find(|(_, decision)| wanted(decision)).unwrap();
        let text = text(decision, self.engine.policy(), *at);
        (text.title, text.body, line(decision, Voice::new(self.engine.policy(), *at)))
    }
}

const INSULIN: Kind = Kind::Insulin(Some(Amount(437)));

#[test]
fn a_high_says_how_long_ago_insulin_was_noted_and_what_is_still_to_come() {
    for (therapy, after, said) in [
        (
            Therapy::Injections,
            50,
            "Insulin was last noted 1 h ago: about five sixths of its effect is still to come, by an estimate.",
        ),
        (
            Therapy::Pump,
            170,
            "Insulin was last noted 3 h ago: about a quarter of its effect is still to come, by an estimate.",
        ),
        (Therapy::SelfAdjusting, 50, "Insulin was last noted 1 h ago; what your pump gives by itself is not seen."),
        (Therapy::Injections, 410, "Insulin was last noted 7 h ago."),
    ] {
        let mut life = Life::new(therapy);
        life.reads([120]);
        life.notes(INSULIN);
        life.reads(vec![120; after / 5 - 1]);
        life.reads([190, 190, 190, 190, 190]);
        let (_, body, _) = life.last(|decision| decision.condition == Condition::High && decision.rings);
        assert!(body.ends_with(said), "{therapy:?} {after}: {body}");
    }
    let mut life = Life::new(Therapy::Injections);
    life.reads(vec![190; 6]);
    let (title, body, _) = life.last(|decision| decision.condition == Condition::High && decision.rings);
    assert!(title.ends_with("Look and note") && !body.contains("nsulin"), "{title} {body}");
}

/// What was noted is never said as an amount, whatever is told of it.
#[test]
fn no_amount_is_ever_said_of_a_dose() {
    let mut life = Life::new(Therapy::Pump);
    life.reads([120]);
    life.notes(INSULIN);
    life.reads([150, 200, 230, 260, 262, 264, 266, 270]);
    let stacked = life.notes(INSULIN);
    life.reads(vec![275; 40]);
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
    let mut life = Life::new(Therapy::Injections);
    life.reads([120]);
    life.notes(INSULIN);
    life.reads([150, 180, 200, 210, 220, 225, 228, 230, 232, 234, 236, 238]);
    let answer = life.notes(INSULIN);
    let lines: Vec<&str> = answer.lines().collect();
    assert!(lines[0].starts_with("High of 12:15, treated 13:05: looks at 14:05, 15:05, 16:05"), "{answer}");
    assert_eq!(
        lines[1],
        "Two doses overlap, 1 h apart: 12:05 (1 h ago) and 13:05 (0 min ago). Still to come of their effect, by an estimate: about five sixths of the first, nearly all of the second. They add up. Look again before anything else, and follow your plan."
    );
    assert_eq!(lines.len(), 2, "{answer}");
}

/// Levels of ketones: the international consensus on ketoacidosis, Danne 2019, table 1.
#[test]
fn no_response_asks_once_about_ketones_with_what_their_levels_mean() {
    for (therapy, what) in [(Therapy::Pump, "site"), (Therapy::SelfAdjusting, "site"), (Therapy::Injections, "pen")] {
        let mut life = Life::new(therapy);
        life.reads([262, 265, 268]);
        life.notes(INSULIN);
        life.reads(vec![270; 60]);
        let asks = |decision: &Decision| matches!(decision.reason, Reason::NotComingDown { ketones: true, .. });
        let prompts: Vec<_> = life.told.iter().filter(|(_, one)| one.what == What::Prompt && asks(one)).collect();
        assert_eq!(prompts.len(), 1, "{therapy:?}");
        let (title, body, why) = life.last(|one| one.what == What::Prompt && asks(one));
        assert!(title.starts_with(&format!("Check ketones and {what}: 270, steady")), "{title}");
        assert!(title.chars().count() <= 60);
        for part in
            ["Below 0.6 mmol/L", "0.6 to 1.5", "1.6 to 3.0", "Above 3.0", "vomiting", "emergency help now", what]
        {
            assert!(body.contains(part), "{part}: {body}");
        }
        assert!(why.contains("found: no response, +2 since"), "{why}");
    }
}

#[test]
fn the_persons_own_past_stands_beside_a_look_once_there_is_enough_of_it() {
    let mut life = Life::new(Therapy::Pump);
    let correct = |life: &mut Life, after_an_hour: i32| {
        life.reads(vec![230; 6]);
        life.notes(INSULIN);
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
    life.notes(INSULIN);
    life.reads(vec![228; 13]);
    let found = found(&life);
    assert_eq!((found.outcome, found.drop), (Outcome::NoResponse, Some(200)));
    let usual = found.usual.unwrap();
    // The middle of 30, 40, 50, 60 and 20, between the readings around the hour.
    assert_eq!(usual.n, 5);
    assert!((3_500..=4_500).contains(&usual.drop), "{}", usual.drop);
    let (_, body, _) = life.last(|one| one.what == What::Prompt && one.condition == Condition::RecheckHigh);
    assert!(body.contains("After your last 5 corrections it had changed by -"), "{body}");
    assert!(body.contains("No response so far.") && body.contains("a look is not a reason to add"), "{body}");
}
