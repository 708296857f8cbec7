//! Others, through the running program: who is called, by which channel, and what they see.

use super::real::{Receiver, Recheck, now_seconds, rows_until, wait_for, webhook};
use recheck::domain::glucose::{Glucose, Unit};
use recheck::domain::local::Zone;
use recheck::domain::reading::{Reading, SourceId};
use recheck::domain::time::{Span, Timestamp};
use recheck::engine::Engine;
use recheck::engine::alert::steps::Step;
use recheck::engine::effect::{Audience, Condition, Decision, Id, Priority, What};
use recheck::engine::event::Event;
use recheck::engine::policy::{Line, PersonPolicy, Policy, SourceKind, SourcePolicy, Tells, Ways};
use recheck::engine::reason::Reason;
use recheck::outbox::plan::{Address, Addresses, Order, missed, plan};
use recheck::store::Store;
use recheck::store::commit::Turn;
use recheck::wording::text::{Text, text};
use serde_json::Value;
use std::collections::BTreeSet;

/// A very low that nobody answers: it rings again by the way kept for later, and the second person is called
/// by theirs; an answer is told to them. Steps of a minute are not waited for: the rows carry the time.
#[test]
fn a_second_person_is_called_by_their_own_channel_and_told_of_the_answer() {
    let (mine, later, sam) = (Receiver::start(), Receiver::start(), Receiver::start());
    let named =
        |name: &str, url: &str, more: &str| format!("[channel.{name}]\nkind = \"webhook\"\nurl = \"{url}\"\n{more}\n");
    let mut recheck = Recheck::new(&format!(
        "{}{}{}[person.sam]\nchannels = \"sam\"\n\n[escalation.high]\nby_day = [\"1m second\"]\nby_night = [\"1m second\"]\n",
        webhook(&mine.url()),
        named("later", &later.url(), "later = true\ndiscreet = true"),
        named("sam", &sam.url(), ""),
    ));
    recheck.drop_rows("day.csv", "glucose", &rows_until(now_seconds() - 60, &[58.0, 56.0, 55.0]));
    recheck.watch();
    mine.wait_for("low", 1);
    recheck.drop_rows("now.csv", "glucose", &[(now_seconds(), 48.0)]);
    mine.wait_for("very_low", 1);
    assert!(later.got().is_empty() && sam.got().is_empty(), "the first ring is the wearer's alone");
    // A minute of the computer's own time: the shortest step there is.
    let called = wait_for_a_minute(&sam);
    assert_eq!(called["what"], "called");
    let title = called["title"].as_str().unwrap();
    assert!(title.starts_with("Call the wearer: very low 48, "), "{title}");
    assert!(called["text"].as_str().unwrap().contains("nobody has answered"), "{called}");
    let again = later.wait_for("very_low", 1);
    assert_eq!(again[0].body["title"], "Treat now", "a discreet way shows no value");
    assert!(again[0].body["glucose"].is_null() && !again[0].body["text"].as_str().unwrap().contains("48"), "{again:?}");
    assert_eq!(mine.about("very_low").last().unwrap().body["what"], "escalated");
    let status = recheck.status().unwrap();
    assert_eq!(status["unanswered"]["called"][0]["name"], "sam");
    let nobody = recheck.say(&["seen", "--by", "max"]);
    let words = String::from_utf8(nobody.stderr).unwrap();
    assert!(!nobody.status.success() && words.contains("hint: it can be one of: sam"), "{words}");
    let seen = recheck.say(&["seen"]);
    assert!(seen.status.success());
    let why = String::from_utf8(recheck.say(&["why"]).stdout).unwrap();
    let words: Vec<&str> = why.split_whitespace().collect();
    assert!(words.join(" ").contains("(to sam)"), "{why}");
    wait_for("sam to be told", || sam.got().iter().any(|got| got.body["reason"] == "answered").then_some(()));
    // That somebody else has it is news to the wearer, by the ways of a first ring.
    assert!(recheck.say(&["seen", "--by", "Sam"]).status.success());
    wait_for("the wearer to be told", || {
        mine.got()
            .iter()
            .any(|got| got.body["title"].as_str().is_some_and(|title| title.starts_with("Sam has it, ")))
            .then_some(())
    });
    assert_eq!(recheck.status().unwrap()["unanswered"]["by"], "sam");
    let why = String::from_utf8(recheck.say(&["why"]).stdout).unwrap();
    assert!(why.split_whitespace().collect::<Vec<_>>().join(" ").contains("by sam"), "{why}");
    assert!(sam.got().iter().all(|got| got.body["what"] == "called" || got.body["what"] == "told"));
}

fn wait_for_a_minute(receiver: &Receiver) -> Value {
    let began = std::time::Instant::now();
    while began.elapsed().as_secs() < 90 {
        if let Some(got) = receiver.got().first() {
            return got.body.clone();
        }
        std::thread::sleep(std::time::Duration::from_millis(100));
    }
    panic!("nobody was called within 90 s");
}

/// The longest name there is, a value the sensor gives no number for, a time of yesterday, either unit: what
/// others see at a glance is whole.
#[test]
fn titles_for_others_are_never_cut() {
    let now = Timestamp::from_seconds(1_772_411_400);
    for unit in [Unit::MgDl, Unit::MmolL] {
        let mut policy = Policy::new(Zone::UTC);
        policy.unit = unit;
        policy.name = Some("Maximiliana-Ines".to_owned());
        let (since, told) = (now - Span::minutes(70), vec![(0, now - Span::minutes(40))]);
        for reason in [
            Reason::Unanswered { since, step: Step::Second, told: told.clone(), ways: Ways::All },
            Reason::NotRecovering { since, answered: since, by: None, told },
            Reason::NothingReached { since: Some(since), grave: true },
            Reason::Answered { at: since, by: None },
            Reason::Answered { at: since, by: Some("a-neighbour-next".to_owned()) },
            Reason::LowOver { since },
        ] {
            for glucose in [Some(Glucose::parse("LOW", unit).unwrap()), Some(Glucose::mg_dl(112)), None] {
                let told = matches!(reason, Reason::Answered { .. } | Reason::LowOver { .. });
                let what = if told { What::Told } else { What::Called };
                let called = Decision { what, ..decision(Condition::VeryLow, glucose, since, reason.clone()) };
                let by_somebody = matches!(reason, Reason::Answered { by: Some(_), .. });
                let mine = by_somebody.then(|| Decision { to: Audience::Wearer, ..called.clone() });
                for decision in mine.into_iter().chain([called]) {
                    let said = text(&decision, &policy, now);
                    let length = said.title.chars().count();
                    assert!(length <= 60 && !said.title.ends_with("..."), "{} in {length}", said.title);
                    assert!(!said.body.contains("safe") && !said.body.contains("all clear"), "{}", said.body);
                }
            }
        }
    }
}

/// Hours of a low that nobody answers, with readings that stay as they are and without any: no two rings in a row, nor
/// two calls of one person, say the same. A repeat says since when, and who was called.
#[test]
fn no_two_rings_in_a_row_say_the_same() {
    let at = Timestamp::from_seconds(1_772_411_400);
    for (value, silent) in [(50, false), (50, true), (64, false), (64, true)] {
        let person = |name: &str| PersonPolicy {
            name: name.to_owned(),
            hours: None,
            line: Line::First,
            tells: Tells::default(),
        };
        let mut policy = Policy::new(Zone::UTC);
        policy.sources = vec![SourcePolicy::new("sensor", SourceKind::Streaming)];
        policy.people = vec![person("sam"), person("kim")];
        let mut engine = Engine::new(policy.clone());
        let mut last: Vec<(Audience, Text)> = Vec::new();
        let mut rings = 0;
        for minute in 0..300 {
            let now = at + Span::minutes(minute);
            let event = if minute % 5 == 0 && (minute == 0 || !silent) {
                let reading = Reading { source: SourceId(0), measured: now, glucose: Glucose::mg_dl(value) };
                Event::Readings { rows: vec![reading], first_sight: false }
            } else {
                Event::Tick
            };
            for decision in engine.handle(&event, now).iter().filter(|decision| decision.rings) {
                let said = text(decision, &policy, now);
                if let Some(place) = last.iter().position(|(to, _)| *to == decision.to) {
                    let (_, before) = last.remove(place);
                    assert_ne!(before, said, "{:?} heard the same twice", decision.to);
                }
                last.push((decision.to, said));
                rings += 1;
            }
        }
        // Hours after the signal was lost, calls are spaced out (promise S1), and rings come at growing spans (S2).
        let enough = if silent { 15 } else { 50 };
        assert!(rings > enough, "{value} {silent}: {rings}");
        let mine = &last.iter().find(|(to, _)| to.is_wearer()).unwrap().1;
        assert!(mine.body.contains("Nobody has answered for ") && mine.body.contains("(told: Sam, "), "{mine:?}");
    }
}

/// What to do comes before any number, and whom to call is the wearer's own.
#[test]
fn whoever_is_very_low_reads_first_what_to_do() {
    let now = Timestamp::from_seconds(1_772_411_400);
    let mut policy = Policy::new(Zone::UTC);
    let limit = Glucose::mg_dl(54);
    let reasons = [
        Reason::BeyondLimit { limit, since: now },
        Reason::NewEpisode { limit, since: now },
        Reason::StillBeyond { limit, silent_since: now },
        Reason::Unanswered { since: now, step: Step::Repeat, told: Vec::new(), ways: Ways::All },
    ];
    for reason in reasons {
        let to_others = decision(Condition::VeryLow, Some(Glucose::mg_dl(48)), now, reason);
        let mine = Decision { to: Audience::Wearer, what: What::Raised, ..to_others.clone() };
        for emergency in [None, Some("112".to_owned())] {
            policy.emergency = emergency.clone();
            let called = format!("call {}.", emergency.as_deref().unwrap_or("the emergency number"));
            let said = text(&mine, &policy, now);
            // The title says the worst fact first, and then the one thing to do.
            assert!(said.title.starts_with("Very low 48") && said.title.ends_with("Treat now"), "{}", said.title);
            let number = said.body.find(|c: char| c.is_ascii_digit());
            assert!(said.body.starts_with("Treat ") && number.is_none_or(|number| number > 5), "{}", said.body);
            assert!(said.body.contains(&called), "{}", said.body);
            if matches!(to_others.reason, Reason::Unanswered { .. }) {
                let others = text(&to_others, &policy, now);
                assert!(others.body.contains(&called) && !others.body.contains("recheck"), "{}", others.body);
            }
        }
    }
}

/// Others see no value where the settings hide it, and are not sent to the wearer's own computer.
#[test]
fn a_discreet_way_of_somebody_else_says_what_to_do_and_no_value() {
    let at = Timestamp::from_seconds(1_772_411_000);
    let policy = Policy { name: Some("Ada".to_owned()), ..Policy::new(Zone::UTC) };
    let mut addresses = addresses();
    for address in &mut addresses.channels {
        address.discreet = true;
    }
    let unanswered = Reason::Unanswered { since: at, step: Step::Second, told: Vec::new(), ways: Ways::All };
    let called = decision(Condition::VeryLow, Some(Glucose::mg_dl(48)), at, unanswered);
    let rang = Decision { what: What::Raised, ..called.clone() };
    let over = Reason::LowOver { since: at };
    let over = Decision { what: What::Told, ..decision(Condition::Low, Some(Glucose::mg_dl(95)), at, over) };
    let answered = Reason::Answered { at, by: Some("sam".to_owned()) };
    let answered = Decision { to: Audience::Wearer, what: What::Told, reason: answered, ..called.clone() };
    for (decision, wanted) in [
        (called, "Call Ada now"),
        (rang, "An alert of Ada. Ask how it is"),
        (over, "Over: what you were told of Ada"),
        (answered, "Sam has it, 00:23"),
    ] {
        for address in &mut addresses.channels {
            address.later = false;
        }
        let Some(Order::Send(messages)) = plan(&decision, 1, &addresses, &policy, at) else { panic!("{wanted}") };
        assert_eq!(messages.iter().map(|message| message.title.as_str()).collect::<BTreeSet<_>>(), [wanted].into());
        for message in messages {
            assert!(!format!("{message:?}").contains("48") && !message.body.contains("95"), "{message:?}");
            assert!(decision.to.is_wearer() || !message.body.contains("recheck"), "{message:?}");
        }
    }
}

fn decision(condition: Condition, glucose: Option<Glucose>, at: Timestamp, reason: Reason) -> Decision {
    Decision {
        what: What::Called,
        id: Id(7),
        part_of: None,
        condition,
        priority: Priority::High,
        rings: true,
        glucose,
        reading_at: Some(at),
        rate: None,
        doubt: None,
        after_low: None,
        insulin: None,
        mode: None,
        also: Vec::new(),
        to: Audience::Person(0),
        reason,
    }
}

/// That somebody else has it tells nobody to treat a value that is no longer low.
#[test]
fn somebody_has_it_and_the_value_is_said_as_it_is() {
    let at = Timestamp::from_seconds(1_772_411_000);
    let answered = Reason::Answered { at, by: Some("sam".to_owned()) };
    let said = |value| {
        let decision = decision(Condition::VeryLow, Some(Glucose::mg_dl(value)), at, answered.clone());
        let decision = Decision { to: Audience::Wearer, what: What::Told, ..decision };
        text(&decision, &Policy::new(Zone::UTC), at)
    };
    assert!(said(48).title.starts_with("Sam has it, 00:23. Very low 48, 00:23: treat now"), "{}", said(48).title);
    assert!(said(62).title.starts_with("Sam has it, 00:23. Low 62, 00:23: treat by plan"), "{}", said(62).title);
    let back = said(104);
    assert!(back.title.starts_with("Sam has it, 00:23. Now 104"), "{}", back.title);
    assert!(!back.body.contains("Treat"), "{}", back.body);
}

/// One way of the wearer's, one kept for later, and one of somebody else's that is marked for later as well.
fn addresses() -> Addresses {
    let address = |name: &str, of: Audience, later: bool| Address { name: name.to_owned(), of, later, discreet: false };
    Addresses {
        channels: vec![
            address("mine", Audience::Wearer, false),
            address("later", Audience::Wearer, true),
            address("sam", Audience::Person(0), true),
        ],
        mark: None,
        life: "life".to_owned(),
    }
}

fn reached(decision: &Decision) -> Vec<String> {
    let now = Timestamp::from_seconds(1_772_411_400);
    match plan(decision, 1, &addresses(), &Policy::new(Zone::UTC), now) {
        Some(Order::Send(messages)) => messages.into_iter().map(|message| message.channel).collect(),
        other => panic!("{other:?}"),
    }
}

/// A way to somebody else that is kept for later reaches them; that a way fails goes by those kept for later.
#[test]
fn everybody_gets_what_is_meant_for_them_by_every_way_that_is_theirs() {
    let at = Timestamp::from_seconds(1_772_411_000);
    let since = at;
    let over = decision(Condition::VeryLow, Some(Glucose::mg_dl(90)), at, Reason::LowOver { since });
    assert_eq!(reached(&over), ["sam"]);
    // A step by the usual ways leaves those alone, and so does a first ring that is told.
    let usual = Reason::Unanswered { since, step: Step::Repeat, told: Vec::new(), ways: Ways::Usual };
    let step = decision(Condition::VeryLow, Some(Glucose::mg_dl(50)), at, usual);
    assert_eq!(reached(&step), Vec::<String>::new());
    assert_eq!(reached(&Decision { to: Audience::Wearer, what: What::Escalated, ..step.clone() }), ["mine"]);
    let all = Reason::Unanswered { since, step: Step::Repeat, told: Vec::new(), ways: Ways::All };
    let step = Decision { reason: all, ..step };
    assert_eq!(reached(&step), ["sam"]);
    assert_eq!(reached(&Decision { to: Audience::Wearer, what: What::Escalated, ..step.clone() }), ["mine", "later"]);
    assert_eq!(reached(&Decision { what: What::Raised, ..step }), Vec::<String>::new());
    let fails = Reason::ChannelsFail { working: 1, words: vec!["mine: refused".to_owned()] };
    let fails =
        Decision { to: Audience::Wearer, what: What::Raised, ..decision(Condition::ChannelFailed, None, at, fails) };
    assert_eq!(reached(&fails), ["mine", "later"]);
}

/// What a way of somebody else's missed does not send them to the wearer's own computer.
#[test]
fn what_others_missed_is_said_in_words_for_them() {
    let policy = Policy { name: Some("Ada".to_owned()), ..Policy::new(Zone::UTC) };
    let now = Timestamp::from_seconds(1_772_411_400);
    let said =
        |of| missed("sam", of, &["Call Ada: very low 48, 00:10".to_owned()], "key".to_owned(), &policy, now).body;
    assert!(said(Audience::Wearer).contains("recheck status"));
    let others = said(Audience::Person(0));
    assert!(!others.contains("recheck status") && others.ends_with("Ask Ada what is true now."), "{others}");
}

/// Somebody who was called and could not be reached is told that it is over, though the alert ended meanwhile.
#[test]
fn the_end_of_an_alert_takes_back_the_call_but_not_that_it_is_over() {
    let folder = tempfile::tempdir().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    let policy = Policy::new(Zone::UTC);
    let engine = Engine::new(policy.clone());
    let at = Timestamp::from_seconds(1_772_411_400);
    let unanswered = Reason::Unanswered { since: at, step: Step::Second, told: Vec::new(), ways: Ways::All };
    let called = decision(Condition::VeryLow, Some(Glucose::mg_dl(50)), at, unanswered);
    let over = Decision {
        what: What::Told,
        priority: Priority::Information,
        ..decision(Condition::Low, Some(Glucose::mg_dl(90)), at, Reason::LowOver { since: at })
    };
    let ended = Decision {
        what: What::Ended,
        rings: false,
        to: Audience::Wearer,
        ..decision(Condition::VeryLow, Some(Glucose::mg_dl(90)), at, Reason::BackWithin { since: at })
    };
    let mut commit = |decisions: &[Decision]| {
        let state = engine.snapshot();
        store
            .commit(
                &Turn { at, event: None, intake: None, decisions, state, policy: &policy, answer: None },
                &addresses(),
            )
            .unwrap();
        store.due("sam", at).unwrap().map(|due| due.message.title)
    };
    assert_eq!(commit(std::slice::from_ref(&called)).as_deref(), Some("Call the wearer: very low 50, 00:30"));
    assert_eq!(commit(std::slice::from_ref(&ended)), None);
    assert_eq!(commit(&[called, over]).as_deref(), Some("The low of 00:30 is over: 90, 00:30"));
    assert_eq!(commit(&[ended]).as_deref(), Some("The low of 00:30 is over: 90, 00:30"));
}
