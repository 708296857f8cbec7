//! What a message says beside its title: the text that docs/webhook.md shows, what an answer to a mute promises, and what
//! is said with the worst of one moment.

use recheck::domain::glucose::{Glucose, Unit};
use recheck::domain::local::Zone;
use recheck::domain::time::{Span, Timestamp};
use recheck::engine::effect::{Audience, Condition, Decision, Id, Priority, What};
use recheck::engine::event::Event;
use recheck::engine::policy::{Policy, SourceKind, SourcePolicy};
use recheck::engine::reason::Reason;
use recheck::engine::trend::Rate;
use recheck::wording::answer::whole_answer;
use recheck::wording::body::BODY_CHARS_MAX;
use recheck::wording::text::text;
use std::fs;
use std::path::Path;

/// 2026-03-02 01:10 UTC, ten past two in Madrid.
const AT: Timestamp = Timestamp::from_seconds(1_772_413_800);

fn decision(condition: Condition, value: i32, reason: Reason) -> Decision {
    Decision {
        what: What::Raised,
        id: Id(12),
        part_of: None,
        condition,
        priority: Priority::Medium,
        rings: true,
        glucose: Some(Glucose::from_received(value * 100, Unit::MgDl)),
        reading_at: Some(AT),
        rate: Some(Rate(-140)),
        doubt: None,
        after_low: None,
        insulin: None,
        mode: None,
        also: Vec::new(),
        to: Audience::Wearer,
        reason,
    }
}

fn beyond(limit: i32) -> Reason {
    Reason::BeyondLimit { limit: Glucose::mg_dl(limit), since: AT }
}

/// The page for whoever reads a webhook shows what is sent, word for word.
#[test]
fn the_page_about_webhooks_shows_a_text_that_is_sent() {
    let page = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/webhook.md")).unwrap();
    let said = text(
        &decision(Condition::Low, 62, beyond(70)),
        &Policy::new(Zone::named("Europe/Madrid").unwrap()),
        AT + Span::seconds(4),
    );
    let shown = format!("\"title\":\"{}\",\"text\":\"{}\"", said.title, said.body);
    assert!(page.contains(&shown), "{shown}");
}

/// What rings in one moment is one message: the worst leads, and the rest stands in its body, as far as there is room.
#[test]
fn the_rest_of_a_moment_stands_in_the_body_of_the_worst() {
    let policy = Policy::new(Zone::UTC);
    let channel = |word: &str| {
        let reason = Reason::ChannelsFail { working: 1, words: vec![format!("{word}: refused")] };
        Decision { glucose: None, reading_at: None, rate: None, ..decision(Condition::ChannelFailed, 100, reason) }
    };
    let very_low = decision(Condition::VeryLow, 41, beyond(54));
    let low = decision(Condition::Low, 41, beyond(70));
    let with = |also: Vec<Decision>| text(&Decision { also, ..very_low.clone() }, &policy, AT);
    let alone = with(Vec::new());
    assert_eq!(alone.title, "Very low 41, falling, 01:10. Treat now");
    assert_eq!(with(vec![low]), alone, "of a low everything is said already");
    let both = with(vec![channel("phone")]);
    assert_eq!(both.title, alone.title);
    assert!(both.body.ends_with("finger-prick when you can. Also: A channel is failing."), "{}", both.body);
    let many = with((0..9).map(|_| channel("phone")).collect());
    assert!(many.body.contains("; and ") && many.body.chars().count() <= BODY_CHARS_MAX, "{}", many.body);
}

/// The answer says what will be quiet, until when, and what rings all the same: that a low which nobody answers is
/// escalated is no surprise (promise Q2).
#[test]
fn an_answer_to_a_mute_names_what_rings_all_the_same() {
    let mut policy = Policy::new(Zone::UTC);
    policy.sources = vec![SourcePolicy::new("sensor", SourceKind::Streaming)];
    for (condition, words) in [
        (Condition::Low, ["Low does not ring until 01:25", "the ring and the calls when nobody answers"]),
        (Condition::VeryLow, ["Very low does not ring until 01:20", "its first ring, one every 15 min while it lasts"]),
        (Condition::High, ["High does not ring until 03:10", "its checks"]),
        (Condition::RecheckHigh, ["Recheck high does not ring until 03:10", "a word every four hours"]),
    ] {
        let mut engine = recheck::engine::Engine::new(policy.clone());
        let told = engine.handle(&Event::Quiet { span: Span::hours(2), condition: Some(condition) }, AT);
        let answer = whole_answer(&told, &policy, AT).unwrap();
        assert!(words.iter().all(|words| answer.words.contains(words)), "{}", answer.words);
        assert!(answer.words.contains("All the same ring: "), "{}", answer.words);
    }
}
