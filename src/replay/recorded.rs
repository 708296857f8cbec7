//! Runs the engine over the events of a wearer's own life, as they were recorded, with other settings. What came from
//! outside stays as it was: readings when they arrived, notes, answers, sleeps of the computer, clocks that were set,
//! ways that failed. Only the settings hold throughout, and an answer that names an alert by its number is brought to
//! the alert that stands in its place.

use super::stood::Stood;
use crate::domain::local::Zone;
use crate::domain::time::{Span, Timestamp};
use crate::domain::travel::WallClock;
use crate::engine::Engine;
use crate::engine::effect::{Condition, Decision, Id, What};
use crate::engine::event::{Event, Which};
use crate::engine::policy::{Policy, SourceKind, SourcePolicy};
use crate::engine::reason::Reason;
use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};

/// A running program is awake a moment after a timer was due. One that was due no longer than this before something
/// happened fires with it, as in life.
const AWAKE_WITHIN_SECONDS: i64 = 5;

/// A life as it was recorded.
#[derive(Debug, Clone, Copy)]
pub struct Recorded<'a> {
    /// What happened, in the order it happened.
    pub events: &'a [(Timestamp, Event)],
    /// What was decided then, in the order it was decided: it says what an answer meant.
    pub decisions: &'a [(Timestamp, Decision)],
    /// The names of all sources by their numbers.
    pub sources: &'a [String],
    /// The wearer's clock, at home and on travels.
    pub clock: &'a WallClock,
    /// What falls due from here on is not decided.
    pub until: Timestamp,
}

/// What became of the answers.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Answers {
    /// How often an alert was answered: seen, or treated.
    pub given: u64,
    /// Of these, how many found no alert that they could belong to.
    pub without_alert: u64,
    /// The alerts that were named, by the number they had, with the number they have now; none for one that there
    /// is not.
    pub named: BTreeMap<Id, Option<Id>>,
}

impl Answers {
    /// Counts an answer, and whether it found what it answers.
    pub(super) fn hear(&mut self, event: &Event, decisions: &[Decision]) {
        let said = if let Event::Written { said, .. } = event { &**said } else { event };
        if !matches!(said, Event::Seen { .. } | Event::With { .. } | Event::Treated { .. }) {
            return;
        }
        let found_nothing = |decision: &Decision| match &decision.reason {
            Reason::NoSuchAlert { .. } | Reason::WhichOne { .. } => true,
            Reason::MarkedSeen { ids } => ids.is_empty(),
            _ => false,
        };
        let mut answered = decisions.iter().filter(|decision| decision.what == What::Answer);
        self.given += 1;
        self.without_alert += u64::from(answered.any(found_nothing));
    }
}

/// A stretch of a life between two changes of its settings.
#[derive(Debug, Default)]
struct Stretch<'a> {
    /// What was lived by; not known before the first change.
    policy: Option<&'a Policy>,
    /// Sources that something came from.
    heard: BTreeSet<usize>,
}

/// Lives through what was recorded with a fresh engine and these settings, and hands over each decision with its
/// time.
pub fn live(policy: &Policy, recorded: &Recorded<'_>, mut each: impl FnMut(Timestamp, &Decision)) -> Answers {
    let mut life = Life {
        tried: policy,
        recorded,
        stretches: stretches(recorded.events),
        then: Stood::of(recorded.decisions),
        now: Stood::default(),
        answers: Answers::default(),
    };
    let Some((begun, _)) = recorded.events.first() else { return life.answers };
    let mut engine = Engine::new(life.policy_in(0, recorded.clock.zone_at(*begun)));
    let mut stretch = 0;
    let mut last = *begun;
    for (at, event) in recorded.events {
        // Nothing fell due while nobody watched, and what fell due before the clock was set did so by the old time.
        let awake_until = match event {
            Event::Unwatched { from, .. } => *from,
            Event::ClockStepped { by } => *at - *by - Span::seconds(AWAKE_WITHIN_SECONDS),
            _ => *at - Span::seconds(AWAKE_WITHIN_SECONDS),
        };
        life.tick(&mut engine, last, awake_until, &mut each);
        last = *at;
        let turned = match event {
            Event::PolicyChanged(_) => {
                stretch += 1;
                let policy = life.policy_in(stretch, recorded.clock.zone_at(*at));
                (policy != *engine.policy()).then(|| Cow::Owned(Event::PolicyChanged(Box::new(policy))))
            }
            _ => life.meant(event, *at),
        };
        if let Some(event) = turned {
            let decisions = engine.handle(&event, *at);
            life.answers.hear(&event, &decisions);
            life.tell(*at, &decisions, &mut each);
        }
    }
    life.tick(&mut engine, last, recorded.until, &mut each);
    life.answers
}

/// What is known while a life goes on.
struct Life<'a> {
    tried: &'a Policy,
    recorded: &'a Recorded<'a>,
    stretches: Vec<Stretch<'a>>,
    /// The alerts there were.
    then: Stood,
    /// The alerts there are with the settings that are tried.
    now: Stood,
    answers: Answers,
}

impl Life<'_> {
    fn tick(
        &mut self,
        engine: &mut Engine,
        last: Timestamp,
        until: Timestamp,
        each: &mut impl FnMut(Timestamp, &Decision),
    ) {
        while let Some(deadline) = engine.next_deadline().filter(|deadline| *deadline < until) {
            let at = deadline.max(last);
            let decisions = engine.handle(&Event::Tick, at);
            self.tell(at, &decisions, each);
        }
    }

    fn tell(&mut self, at: Timestamp, decisions: &[Decision], each: &mut impl FnMut(Timestamp, &Decision)) {
        for decision in decisions {
            self.now.take_in(at, decision);
            each(at, decision);
        }
    }

    /// The settings that are tried, with the sources as they were watched in that stretch, by their lasting numbers.
    fn policy_in(&self, stretch: usize, zone: Zone) -> Policy {
        let Stretch { policy, heard } = &self.stretches[stretch];
        // With one stretch nothing tells when a source came in: then all in the settings were there throughout.
        let is_whole = self.stretches.len() == 1;
        let sources = self.recorded.sources.iter().enumerate().map(|(number, name)| {
            let then = policy.and_then(|policy| policy.sources.get(number));
            let tried = self.tried.sources.iter().find(|source| source.name == *name);
            let was_watched = heard.contains(&number)
                || then.is_some_and(|then| then.kind != SourceKind::History)
                || (is_whole && tried.is_some());
            match (was_watched, tried, then) {
                (false, _, _) => SourcePolicy::new(name, SourceKind::History),
                (true, Some(tried), _) => tried.clone(),
                (true, None, Some(then)) => then.clone(),
                (true, None, None) => SourcePolicy::new(name, SourceKind::Streaming),
            }
        });
        Policy { sources: sources.collect(), zone, ..self.tried.clone() }
    }

    /// An event as it is meant with the settings that are tried; none for an answer to what there is not.
    fn meant<'e>(&mut self, event: &'e Event, at: Timestamp) -> Option<Cow<'e, Event>> {
        match event {
            Event::Seen { which: Some(id), until, by } => match self.number_of(*id, at) {
                Some(now) => Some(Cow::Owned(Event::Seen { which: Some(now), until: *until, by: by.clone() })),
                None => self.unanswerable(),
            },
            Event::With { which: Some(id), by } => match self.number_of(*id, at) {
                Some(now) => Some(Cow::Owned(Event::With { which: Some(now), by: by.clone() })),
                None => self.unanswerable(),
            },
            Event::Treated { which: Some(Which::Alert(id)), at: done, look } => match self.number_of(*id, at) {
                Some(now) => {
                    Some(Cow::Owned(Event::Treated { which: Some(Which::Alert(now)), at: *done, look: *look }))
                }
                None => self.unanswerable(),
            },
            Event::CancelReminders { which: Some(id) } => {
                let now = self.number_of(*id, at)?;
                Some(Cow::Owned(Event::CancelReminders { which: Some(now) }))
            }
            Event::Quiet { span, condition: None } => {
                Some(Cow::Owned(Event::Quiet { span: *span, condition: self.quietened(at) }))
            }
            _ => Some(Cow::Borrowed(event)),
        }
    }

    fn unanswerable<'e>(&mut self) -> Option<Cow<'e, Event>> {
        self.answers.given += 1;
        self.answers.without_alert += 1;
        None
    }

    /// The number that an alert has with the settings that are tried. One that was never there keeps its number, as
    /// long as nothing has it.
    fn number_of(&mut self, id: Id, at: Timestamp) -> Option<Id> {
        let now = match self.then.get(id, at) {
            Some(alert) => self.now.in_place_of(id, alert, at),
            None => Some(id).filter(|id| self.now.get(*id, at).is_none()),
        };
        self.answers.named.insert(id, now);
        now
    }

    /// What a silence without a name was about: what had rung last, then.
    fn quietened(&self, at: Timestamp) -> Option<Condition> {
        let then = self.recorded.decisions.iter().filter(|(decided, _)| *decided == at);
        then.map(|(_, decision)| decision).find_map(|decision| {
            if let Reason::QuietUntil { condition, .. } = decision.reason { Some(condition) } else { None }
        })
    }
}

fn stretches(events: &[(Timestamp, Event)]) -> Vec<Stretch<'_>> {
    let mut all = Vec::new();
    let mut stretch = Stretch::default();
    for (_, event) in events {
        match event {
            Event::PolicyChanged(policy) => {
                let next = Stretch { policy: Some(policy), heard: BTreeSet::new() };
                all.push(std::mem::replace(&mut stretch, next));
            }
            Event::Readings { rows, .. } => {
                stretch.heard.extend(rows.first().map(|reading| usize::from(reading.source.0)));
            }
            Event::Refused { source, .. } | Event::Lost { source, .. } => {
                stretch.heard.insert(usize::from(source.0));
            }
            _ => {}
        }
    }
    all.push(stretch);
    all
}
