//! A life to be lived through by hand: what happens at its time, ticks whenever the engine wants them, and a restart
//! from what was saved after every turn.

use recheck::domain::diary::{Kind, Note};
use recheck::domain::glucose::Glucose;
use recheck::domain::local::Zone;
use recheck::domain::reading::{Reading, SourceId};
use recheck::domain::time::{Span, Timestamp};
use recheck::engine::Engine;
use recheck::engine::effect::Decision;
use recheck::engine::event::Event;
use recheck::engine::policy::{Policy, SourceKind, SourcePolicy};
use std::borrow::Borrow;

/// 2026-03-02 00:00 UTC.
pub(crate) const MIDNIGHT: Timestamp = Timestamp::from_seconds(1_772_409_600);

/// The noon of that day.
pub(crate) const NOON: Timestamp = Timestamp::from_seconds(1_772_452_800);

/// One sensor that streams, and all else as it comes.
pub(crate) fn one_sensor() -> Policy {
    let mut policy = Policy::new(Zone::UTC);
    policy.sources = vec![SourcePolicy::new("sensor", SourceKind::Streaming)];
    policy
}

pub(crate) struct Life {
    pub(crate) engine: Engine,
    /// When the next reading comes.
    pub(crate) now: Timestamp,
    pub(crate) told: Vec<(Timestamp, Decision)>,
}

impl Life {
    pub(crate) fn new(policy: Policy, now: Timestamp) -> Self {
        Self { engine: Engine::new(policy), now, told: Vec::new() }
    }

    pub(crate) fn happens(&mut self, event: &Event, at: Timestamp) -> Vec<Decision> {
        while let Some(due) = self.engine.next_deadline().filter(|due| *due < at) {
            self.told.extend(self.engine.handle(&Event::Tick, due).into_iter().map(|one| (due, one)));
        }
        let told = self.engine.handle(event, at);
        self.told.extend(told.iter().map(|one| (at, one.clone())));
        let saved = serde_json::to_string(self.engine.snapshot()).unwrap();
        self.engine = Engine::restore(self.engine.policy().clone(), serde_json::from_str(&saved).unwrap());
        told
    }

    /// A value every five minutes.
    pub(crate) fn reads<Value: Borrow<i32>>(&mut self, values: impl IntoIterator<Item = Value>) -> &mut Self {
        for value in values {
            self.reads_of(0, *value.borrow());
            self.now = self.now + Span::minutes(5);
        }
        self
    }

    /// A value of one source, now.
    pub(crate) fn reads_of(&mut self, source: u16, value: i32) {
        let rows = vec![Reading { source: SourceId(source), measured: self.now, glucose: Glucose::mg_dl(value) }];
        self.happens(&Event::Readings { rows, first_sight: false }, self.now);
    }

    pub(crate) fn notes(&mut self, kind: Kind, at: Timestamp) -> Vec<Decision> {
        self.happens(&Event::Noted(note(kind, at)), at)
    }
}

pub(crate) fn note(kind: Kind, at: Timestamp) -> Note {
    Note { at, kind, words: String::new() }
}
