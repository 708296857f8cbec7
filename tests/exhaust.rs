//! Every short story: all sequences of six events out of seven kinds, out of five where others may be called, and out of
//! five with ketones, with what must hold after each.

use recheck::domain::diary::{self, Amount};
use recheck::domain::glucose::Glucose;
use recheck::domain::local::Zone;
use recheck::domain::reading::{Reading, SourceId};
use recheck::domain::time::{Span, Timestamp};
use recheck::engine::Engine;
use recheck::engine::alert::Alert;
use recheck::engine::alert::calls::Calls;
use recheck::engine::effect::{Audience, Condition, Decision, Id, Side, What};
use recheck::engine::event::{Event, Which};
use recheck::engine::plan::Job;
use recheck::engine::policy::{Line, PersonPolicy, Policy, SourceKind, SourcePolicy, Tells};
use std::collections::BTreeSet;

/// 2026-03-02 06:30 UTC: the stories run from the night into the day.
const START: Timestamp = Timestamp::from_seconds(1_772_433_000);

/// Events in one story.
const LENGTH: u32 = 6;

#[derive(Clone, Copy, Debug)]
enum Kind {
    VeryLow,
    Low,
    InRange,
    High,
    VeryHigh,
    Treated,
    HourPasses,
    SomebodyHasIt,
    Emergency,
    NotRaised,
    Vomiting,
}

const KINDS: [Kind; 7] =
    [Kind::VeryLow, Kind::Low, Kind::InRange, Kind::High, Kind::VeryHigh, Kind::Treated, Kind::HourPasses];

#[derive(Clone)]
struct Story {
    engine: Engine,
    now: Timestamp,
    open: BTreeSet<(Id, Condition)>,
    told: Vec<Kind>,
}

#[test]
fn every_story_of_six_events_keeps_the_rules() {
    let mut policy = Policy::new(Zone::UTC);
    policy.sources = vec![SourcePolicy::new("sensor", SourceKind::Streaming)];
    let story = Story { engine: Engine::new(policy), now: START, open: BTreeSet::new(), told: Vec::new() };
    let mut stories = 0;
    tell(&story, &KINDS, LENGTH, &mut stories);
    assert_eq!(stories, 117_649);
}

/// The same where others may be called, one of whom answers now and then: nobody is called out of turn, and a low that
/// only the wearer or somebody else answered goes on being looked after.
#[test]
fn every_story_with_somebody_else_keeps_the_rules() {
    let mut policy = Policy::new(Zone::UTC);
    policy.sources = vec![SourcePolicy::new("sensor", SourceKind::Streaming)];
    let person = |name: &str, line| PersonPolicy { name: name.to_owned(), hours: None, line, tells: Tells::default() };
    policy.people = vec![person("sam", Line::First), person("kim", Line::Escalation)];
    let story = Story { engine: Engine::new(policy), now: START, open: BTreeSet::new(), told: Vec::new() };
    let kinds = [Kind::VeryLow, Kind::Low, Kind::InRange, Kind::SomebodyHasIt, Kind::HourPasses];
    let mut stories = 0;
    tell(&story, &kinds, LENGTH, &mut stories);
    assert_eq!(stories, 15_625);
}

/// The same with ketones and a red flag of them: an emergency is never silent before somebody has answered, and ends with a
/// value that is not raised.
#[test]
fn every_story_with_ketones_keeps_the_rules() {
    let mut policy = Policy::new(Zone::UTC);
    policy.sources = vec![SourcePolicy::new("sensor", SourceKind::Streaming)];
    let person = PersonPolicy { name: "sam".to_owned(), hours: None, line: Line::Escalation, tells: Tells::default() };
    policy.people = vec![person];
    let story = Story { engine: Engine::new(policy), now: START, open: BTreeSet::new(), told: Vec::new() };
    let kinds = [Kind::Emergency, Kind::NotRaised, Kind::Vomiting, Kind::SomebodyHasIt, Kind::HourPasses];
    let mut stories = 0;
    tell(&story, &kinds, LENGTH, &mut stories);
    assert_eq!(stories, 15_625);
}

fn low_calls(engine: &Engine) -> Option<&Calls> {
    engine.snapshot().register.calls_of_low().map(|(calls, _)| calls)
}

fn tell(story: &Story, kinds: &[Kind], left: u32, stories: &mut u32) {
    if left == 0 {
        *stories += 1;
        return;
    }
    for kind in kinds {
        let mut next = story.clone();
        next.told.push(*kind);
        next.happens(*kind);
        tell(&next, kinds, left - 1, stories);
    }
}

impl Story {
    fn happens(&mut self, kind: Kind) {
        let value = match kind {
            Kind::VeryLow => 50,
            Kind::Low => 62,
            Kind::InRange => 110,
            Kind::High => 220,
            Kind::VeryHigh => 290,
            Kind::Treated => {
                let side =
                    if self.engine.snapshot().register.root(Side::High).is_some() { Side::High } else { Side::Low };
                let told =
                    self.turn(&Event::Treated { which: Some(Which::Side(side)), at: self.now, look: None }, self.now);
                assert!(told.iter().any(|decision| decision.what == What::Answer), "unanswered: {:?}", self.told);
                return;
            }
            Kind::SomebodyHasIt => {
                let was_open = low_calls(&self.engine).is_some_and(|calls| !calls.is_answered());
                let by = Some("sam".to_owned());
                let told = self.turn(&Event::Seen { which: None, until: None, by }, self.now);
                let hears = |who| told.iter().any(|one| one.to == who && one.rings && one.what == What::Told);
                assert!(!was_open || hears(Audience::Wearer), "the wearer was not told: {:?}", self.told);
                assert!(!hears(Audience::Person(0)), "sam was told of sam's own answer: {:?}", self.told);
                let calls = low_calls(&self.engine);
                assert!(calls.is_none_or(Calls::is_answered), "it goes on ringing: {:?}", self.told);
                return;
            }
            Kind::Emergency => return self.notes(diary::Kind::Ketones(Amount(350)), ""),
            Kind::NotRaised => return self.notes(diary::Kind::Ketones(Amount(20)), ""),
            Kind::Vomiting => return self.notes(diary::Kind::Symptoms, "vomiting"),
            Kind::HourPasses => {
                self.now = self.now + Span::hours(1);
                self.until(self.now);
                return;
            }
        };
        self.now = self.now + Span::minutes(5);
        self.until(self.now);
        let reading = Reading { source: SourceId(0), measured: self.now, glucose: Glucose::mg_dl(value) };
        let told = self.turn(&Event::Readings { rows: vec![reading], first_sight: false }, self.now);
        let state = self.engine.snapshot();
        if value < 54 {
            assert!(state.register.of(Condition::VeryLow).is_some(), "a very low is never delayed: {:?}", self.told);
        }
        if value < 70 {
            assert!(state.register.root(Side::Low).is_some(), "a low is alerted on its first reading: {:?}", self.told);
        }
        let first =
            told.iter().any(|decision| decision.what == What::Raised && decision.condition == Condition::VeryLow);
        assert!(!first || told.iter().any(|decision| decision.rings && decision.condition == Condition::VeryLow));
        // The same reading again changes nothing.
        let before = state.clone();
        let again = self.turn(&Event::Readings { rows: vec![reading], first_sight: false }, self.now);
        assert!(again.is_empty(), "a doubled reading spoke: {:?}", self.told);
        assert_eq!(before.register, self.engine.snapshot().register);
    }

    /// A line of the diary about ketones: what is an emergency rings at once and calls, and what is not raised ends it.
    fn notes(&mut self, kind: diary::Kind, words: &str) {
        self.now = self.now + Span::minutes(5);
        self.until(self.now);
        let is_emergency = kind != diary::Kind::Ketones(Amount(20));
        let flags = self.told.iter().any(|kind| matches!(kind, Kind::Vomiting));
        let note = diary::Note { at: self.now, kind, words: words.to_owned() };
        let told = self.turn(&Event::Noted(note), self.now);
        let of_ketones = |one: &&Decision| one.condition == Condition::Ketones;
        assert!(told.iter().any(|one| one.what == What::Answer), "unanswered: {:?}", self.told);
        let rings = told.iter().filter(of_ketones).any(|one| one.rings && one.to == Audience::Wearer);
        let calls = told.iter().filter(of_ketones).any(|one| one.what == What::Called);
        let open = self.engine.snapshot().register.of(Condition::Ketones);
        // Beside a value that is not raised a red flag is no emergency yet; while low it is one of its own.
        let denied = self.told.iter().any(|kind| matches!(kind, Kind::NotRaised));
        if is_emergency && !denied {
            assert!(rings && calls, "an emergency that nobody hears: {:?}", self.told);
            assert!(open.is_some_and(|alert| !alert.is_acknowledged()), "nobody has answered: {:?}", self.told);
        } else if !is_emergency && !flags {
            assert!(open.is_none(), "a value that is not raised ends it: {:?}", self.told);
        }
    }

    fn until(&mut self, now: Timestamp) {
        for _ in 0..200 {
            match self.engine.next_deadline().filter(|deadline| *deadline < now) {
                Some(deadline) => drop(self.turn(&Event::Tick, deadline)),
                None => return,
            }
        }
        panic!("the engine wants more than 200 ticks an hour: {:?}", self.told);
    }

    fn turn(&mut self, event: &Event, now: Timestamp) -> Vec<Decision> {
        let told = self.engine.handle(event, now);
        assert!(
            self.engine.next_deadline().is_none_or(|deadline| deadline > now),
            "a deadline is left behind: {:?}",
            self.told
        );
        let broken = self.engine.broken_guarantees(now);
        assert!(broken.is_empty(), "{broken:?} does not hold: {:?}", self.told);
        let (mut rang, mut heard) = (BTreeSet::new(), BTreeSet::new());
        let people = self.engine.policy().people.len();
        for decision in &told {
            let key = (decision.id, decision.condition);
            if let Audience::Person(person) = decision.to {
                assert!(usize::from(person) < people, "nobody is there to be told: {:?}", self.told);
                assert!(decision.rings, "told without a ring: {:?}", self.told);
                let first = matches!(decision.what, What::Raised | What::Repeated);
                assert!(!first || person == 0, "kim is only to be called: {:?}", self.told);
                assert!(heard.insert((person, key)), "told twice in one turn: {:?}", self.told);
                continue;
            }
            match decision.what {
                What::Raised => assert!(self.open.insert(key), "raised twice: {:?}", self.told),
                What::Repeated => assert!(self.open.contains(&key), "repeated while closed: {:?}", self.told),
                What::Ended if !matches!(decision.condition, Condition::RecheckHigh | Condition::RecheckLow) => {
                    assert!(self.open.remove(&key), "ended while closed: {:?}", self.told);
                }
                What::Escalated => assert!(self.open.contains(&key), "escalated while closed: {:?}", self.told),
                What::Called => panic!("the wearer is rung, and not called: {:?}", self.told),
                What::Ended | What::Held | What::Withheld | What::Look | What::Prompt | What::Told | What::Answer => {}
            }
            if decision.rings {
                assert!(rang.insert(key), "rang twice in one turn: {:?}", self.told);
            }
        }
        let state = self.engine.snapshot();
        if state.register.root(Side::High).is_some() {
            assert!(state.plan.due(Job::HighCheck).is_some(), "a high fell silent for good: {:?}", self.told);
        }
        if state.register.of_side(Side::Low).any(Alert::is_beyond) {
            let calls = low_calls(&self.engine);
            assert!(calls.is_some(), "nobody would be called for a low: {:?}", self.told);
            assert!(
                state.plan.due(Job::LowCalls).is_some() || calls.is_some_and(Calls::is_answered),
                "an unanswered low fell silent: {:?}",
                self.told
            );
        }
        if state.plan.low().is_some() {
            assert!(state.plan.due(Job::LowCheck).is_some(), "a treated low is not looked at again: {:?}", self.told);
        }
        told
    }
}
