//! Others, through the running program: who is called, by which channel, and what they see.

use super::real::{Receiver, Recheck, now_seconds, rows_until, wait_for, webhook};
use recheck::domain::glucose::{Glucose, Unit};
use recheck::domain::local::Zone;
use recheck::domain::time::{Span, Timestamp};
use recheck::engine::Engine;
use recheck::engine::effect::{Audience, Condition, Decision, Id, Priority, What};
use recheck::engine::escalation::Step;
use recheck::engine::policy::Policy;
use recheck::engine::reason::Reason;
use recheck::outbox::plan::{Address, Addresses, Order, missed, plan};
use recheck::store::Store;
use recheck::store::commit::Turn;
use recheck::wording::text::text;
use serde_json::Value;

/// A very low that nobody answers: it rings again by the way kept for later, and the second person is called
/// by theirs; an answer is told to them. Steps of a minute are not waited for: the rows carry the time.
#[test]
fn a_second_person_is_called_by_their_own_channel_and_told_of_the_answer() {
    let (mine, later, sam) = (Receiver::start(), Receiver::start(), Receiver::start());
    let named =
        |name: &str, url: &str, more: &str| format!("[channel.{name}]\nkind = \"webhook\"\nurl = \"{url}\"\n{more}\n");
    let mut recheck = Recheck::new(&format!(
        "{}{}{}[person.sam]\nchannels = \"sam\"\n\n[escalation]\nrepeat = \"1m\"\nsecond_by_night = \"1m\"\nsecond_by_day = \"1m\"\n",
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
    let seen = recheck.say(&["seen"]);
    assert!(seen.status.success());
    let why = String::from_utf8(recheck.say(&["why"]).stdout).unwrap();
    let words: Vec<&str> = why.split_whitespace().collect();
    assert!(words.join(" ").contains("(to sam)"), "{why}");
    wait_for("sam to be told", || sam.got().iter().any(|got| got.body["reason"] == "answered").then_some(()));
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
            Reason::Unanswered { since, step: Step::Second, told: told.clone() },
            Reason::NotRecovering { since, answered: since, told },
            Reason::NothingReached { since: Some(since), grave: true },
            Reason::Answered { at: since },
            Reason::LowOver { since },
        ] {
            for glucose in [Some(Glucose::parse("LOW", unit).unwrap()), Some(Glucose::mg_dl(112)), None] {
                let decision = decision(Condition::VeryLow, glucose, since, reason.clone());
                let said = text(&decision, &policy, now);
                let length = said.title.chars().count();
                assert!(length <= 60 && !said.title.ends_with("..."), "{} in {length}", said.title);
                assert!(!said.body.contains("safe") && !said.body.contains("all clear"), "{}", said.body);
            }
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
        mode: None,
        to: Audience::Person(0),
        reason,
    }
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
    let unanswered = Reason::Unanswered { since: at, step: Step::Second, told: Vec::new() };
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
