//! The calls for one alert that nobody answers, or that stays although somebody did: since when, who answered, who was
//! called, and how far its steps are made. Decides nothing; see [`super::escalation`].

use super::condition::Condition;
use super::has_it::HasIt;
use super::people::{About, moved};
use super::steps::Made;
use crate::domain::glucose::Glucose;
use crate::domain::time::{Span, Timestamp};
use crate::engine::effect::{Id, Priority};
use crate::engine::reason::Reason;
use serde::{Deserialize, Serialize};

/// The calls for one alert, from its first ring to its end.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Calls {
    /// The alert that began them; of a low, the thread of all its alerts.
    pub id: Id,
    /// What it is about.
    pub condition: Condition,
    /// When it rang; of a new low under one alert, when that did.
    pub since: Timestamp,
    /// Who answered, and when.
    pub answer: Option<Answered>,
    /// When it rang anew although somebody had answered, or was answered by somebody whose answer does not count: since
    /// then nobody has.
    #[serde(default)]
    pub(in crate::engine) anew: Option<Timestamp>,
    /// When each person was called.
    pub called: Vec<(u8, Timestamp)>,
    /// When each of those was told who are told at the first ring.
    pub informed: Vec<(u8, Timestamp)>,
    /// Steps made.
    pub(in crate::engine) made: Made,
    /// What they are for.
    pub(in crate::engine) reason: For,
}

/// Somebody has answered.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Answered {
    /// When.
    pub at: Timestamp,
    /// Who, if it was not the wearer.
    pub by: Option<String>,
}

/// A low was answered, and how it goes is not known: a treatment has not been checked, or nothing has come since.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct StillCalled {
    /// When it began to ring.
    pub since: Timestamp,
    /// When it was answered.
    pub answered: Timestamp,
    /// By whom, if it was not the wearer.
    pub by: Option<String>,
    /// When it was treated, if it was.
    pub treated: Option<Timestamp>,
    /// A finger-prick from after the value that is told.
    pub meter: Option<(Timestamp, Glucose)>,
    /// Who knows of it.
    pub told: Vec<(u8, Timestamp)>,
}

/// What calls are for.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum For {
    /// A low, whichever of its alerts speaks for it.
    Low(LowCalls),
    /// Any other alert.
    Other {
        /// Its priority: whose steps they are.
        priority: Priority,
        /// Why it rang.
        reason: Reason,
    },
}

/// What the calls for a low remember.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct LowCalls {
    /// Its first ring, later by the time the value was back meanwhile: steps count from it.
    pub(in crate::engine) began: Timestamp,
    /// When it rang as very low, if it did; later by the same.
    pub(in crate::engine) very_low: Option<Timestamp>,
    /// The value is back since then, and the alert has not ended.
    pub(in crate::engine) back: Option<Timestamp>,
    /// Since then no step is made, and the time does not count: the value is back, or only a doubted sensor says that
    /// it is low.
    pub(in crate::engine) rests: Option<Timestamp>,
    /// As grave as a very low, because nobody answered.
    pub(in crate::engine) promoted: bool,
    /// It was treated since somebody was last called: a call waits for the check after that, until then at the latest.
    #[serde(default)]
    pub(in crate::engine) waits_until: Option<Timestamp>,
    /// One ring was spared because it rose.
    #[serde(default)]
    pub(in crate::engine) spared: bool,
    /// When it was last treated.
    #[serde(default)]
    pub(in crate::engine) treated_at: Option<Timestamp>,
    /// When others were last called, or were to be and nobody could be; none before the first time, and once it is back.
    #[serde(default)]
    pub(in crate::engine) called_at: Option<Timestamp>,
    /// Who said last that they have it.
    #[serde(default)]
    pub(in crate::engine) has_it: Option<HasIt>,
}

impl LowCalls {
    /// Did it ring for the first time, or as very low, within this?
    pub(in crate::engine) fn rang_within(&self, span: Span, now: Timestamp) -> bool {
        now - self.very_low.unwrap_or(self.began) < span
    }

    /// From a first ring on.
    pub(in crate::engine) const fn new(now: Timestamp) -> Self {
        Self {
            began: now,
            very_low: None,
            back: None,
            rests: None,
            promoted: false,
            waits_until: None,
            treated_at: None,
            called_at: None,
            has_it: None,
            spared: false,
        }
    }
}

impl Calls {
    /// For an alert that rings now.
    pub(in crate::engine) fn new(id: Id, condition: Condition, now: Timestamp, reason: For) -> Self {
        Self {
            id,
            condition,
            since: now,
            answer: None,
            anew: None,
            called: Vec::new(),
            informed: Vec::new(),
            made: Made::default(),
            reason,
        }
    }

    /// For a low that rings now.
    pub(in crate::engine) fn for_low(id: Id, now: Timestamp) -> Self {
        Self::new(id, Condition::Low, now, For::Low(LowCalls::new(now)))
    }

    /// What those for a low remember; none for others.
    #[must_use]
    pub const fn of_low(&self) -> Option<&LowCalls> {
        match &self.reason {
            For::Low(low) => Some(low),
            For::Other { .. } => None,
        }
    }

    /// The same, to be changed.
    pub(in crate::engine) const fn of_low_mut(&mut self) -> Option<&mut LowCalls> {
        match &mut self.reason {
            For::Low(low) => Some(low),
            For::Other { .. } => None,
        }
    }

    /// Has somebody answered?
    #[must_use]
    pub const fn is_answered(&self) -> bool {
        self.answer.is_some()
    }

    /// When somebody answered.
    #[must_use]
    pub fn answered_at(&self) -> Option<Timestamp> {
        self.answer.as_ref().map(|answer| answer.at)
    }

    /// Who answered, if it was not the wearer.
    #[must_use]
    pub fn answered_by(&self) -> Option<&String> {
        self.answer.as_ref().and_then(|answer| answer.by.as_ref())
    }

    /// Since when nobody has answered, where nobody has.
    pub(in crate::engine) fn unanswered_since(&self) -> Timestamp {
        self.anew.map_or(self.since, |anew| anew.max(self.since))
    }

    /// Is an answer news: the first, or that somebody else has it?
    pub(in crate::engine) fn is_news(&self, by: Option<&String>) -> bool {
        !self.is_answered() || by.is_some() && self.answered_by() != by
    }

    /// Everybody who knows of it beside the wearer, and since when.
    #[must_use]
    pub fn told(&self) -> Vec<(u8, Timestamp)> {
        let only_informed = |(person, _): &&(u8, Timestamp)| !self.called.iter().any(|(called, _)| called == person);
        let mut told: Vec<_> = self.called.iter().chain(self.informed.iter().filter(only_informed)).copied().collect();
        told.sort_by_key(|(person, at)| (*at, *person));
        told
    }

    /// What is told of it to others.
    pub(in crate::engine) const fn about(&self) -> About {
        (self.condition, self.id, None)
    }

    /// The people of the settings have other places.
    pub(in crate::engine) fn move_people(&mut self, to: &impl Fn(u8) -> Option<u8>) {
        moved(&mut self.called, to);
        moved(&mut self.informed, to);
        self.made.move_people(to);
        if let Some(low) = self.of_low_mut() {
            low.has_it = low.has_it.and_then(|has_it| has_it.moved(to));
        }
    }

    /// The clock was set: every span keeps its length.
    pub(in crate::engine) fn shift(&mut self, by: Span) {
        self.since = self.since + by;
        self.made.shift(by);
        let told = self.called.iter_mut().chain(&mut self.informed).map(|(_, at)| at);
        for at in self.answer.iter_mut().map(|answer| &mut answer.at).chain(&mut self.anew).chain(told) {
            *at = *at + by;
        }
        if let Some(low) = self.of_low_mut() {
            low.began = low.began + by;
            let LowCalls { very_low, back, rests, waits_until, treated_at, called_at, .. } = low;
            let others = [very_low, back, rests, waits_until, treated_at, called_at];
            others.into_iter().flatten().for_each(|at| *at = *at + by);
            if let Some(has_it) = &mut low.has_it {
                has_it.shift(by);
            }
        }
    }
}
