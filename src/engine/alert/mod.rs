//! THE ALERT, and all that happens to one whatever it is about: it stands in the [`register`], is answered, muted, held,
//! told as one of several, and calls others when nobody answers. Where it differs from condition to condition stands in
//! the table of [`condition`]. This room judges no value: what raises and ends alerts is beside it.
//!
//! Here is the alert itself: the same type for each of them, so that an answer, a mute, a call or a list of what is open
//! is one loop.

pub mod alarm;
mod answered;
pub mod calls;
pub mod condition;
pub mod escalation;
pub mod flood;
mod going_on;
pub mod has_it;
pub mod hours;
pub mod moment;
pub mod people;
pub(in crate::engine) mod priority;
pub mod quiet;
pub mod register;
pub(in crate::engine) mod said;
pub mod steps;
mod treatments;
pub mod waiting;

use crate::domain::glucose::Glucose;
use crate::domain::reading::SourceId;
use crate::domain::time::Timestamp;
use crate::engine::effect::Id;
use crate::engine::ketones::KetoneFacts;
use crate::engine::level::LevelFacts;
use condition::Condition;
use serde::{Deserialize, Serialize};

/// An alert.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Alert {
    /// Its number.
    pub id: Id,
    /// The alert it grew out of, or that speaks for it.
    pub part_of: Option<Id>,
    /// What it is about.
    pub condition: Condition,
    /// Since when: of a value, its first reading beyond the limit.
    pub since: Timestamp,
    /// Where it stands.
    pub standing: Standing,
    /// When the wearer was last told, by our clock: later than the reading, by as much as that came late.
    pub told_at: Option<Timestamp>,
    /// What its kind remembers.
    pub detail: Detail,
}

/// Where an alert stands, in the terms of ANSI/ISA-18.2 and IEC 62682. A mute shelves a condition, and settings take it
/// out of service; both hold whether there is an alert or not, and are not kept with it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Standing {
    /// It rang, and nobody has answered.
    Unacknowledged,
    /// It rang, and somebody has answered.
    Acknowledged,
    /// It has not rung, by rule; it may have been answered all the same, with all that is open.
    SuppressedByDesign {
        /// Why it has not.
        because: Because,
        /// Somebody has answered.
        acknowledged: bool,
    },
    /// It is over, and nobody answered.
    ReturnedUnacknowledged {
        /// Until when it lasted.
        until: Timestamp,
    },
}

/// Why an alert has not rung.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Because {
    /// It waits for the end of quiet hours.
    Held,
    /// A worse one, or an earlier one of the same cause, speaks for it.
    SpokenFor,
    /// What is foreseen is not sure enough.
    Unsure,
    /// A treated high is followed, and its checks speak for it.
    Followed,
    /// What rang just before covers it for a while.
    Covered,
}

/// What an alert must remember beside what all alerts do.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Detail {
    /// Of a value beyond a limit.
    Level(LevelFacts),
    /// Of what is foreseen.
    Forecast {
        /// A reading beyond the limit is likely until then.
        by: Timestamp,
        /// Why it does not ring was recorded.
        silence_told: bool,
    },
    /// Of a source that is silent, or cannot be read.
    Lost {
        /// Which.
        source: SourceId,
    },
    /// Of readings that alternate.
    TwoSignals {
        /// When they last went back and forth.
        last: Timestamp,
        /// What the lower one said last.
        lower: Glucose,
        /// What the higher one said last.
        higher: Glucose,
    },
    /// Of ways to reach the wearer.
    Channels {
        /// Nothing works any more.
        none_works: bool,
    },
    /// Of ketones.
    Ketones(KetoneFacts),
}

impl Standing {
    /// Where one stands that rang, or has not for that reason.
    #[must_use]
    pub const fn new(silent: Option<Because>, acknowledged: bool) -> Self {
        match (silent, acknowledged) {
            (None, false) => Self::Unacknowledged,
            (None, true) => Self::Acknowledged,
            (Some(because), acknowledged) => Self::SuppressedByDesign { because, acknowledged },
        }
    }
}

impl Alert {
    /// Why it has not rung; none when it has.
    #[must_use]
    pub const fn silent(&self) -> Option<Because> {
        match self.standing {
            Standing::SuppressedByDesign { because, .. } => Some(because),
            Standing::Unacknowledged | Standing::Acknowledged | Standing::ReturnedUnacknowledged { .. } => None,
        }
    }

    /// Has it rung?
    #[must_use]
    pub const fn has_rung(&self) -> bool {
        self.silent().is_none()
    }

    /// Does it wait for the end of quiet hours?
    #[must_use]
    pub const fn is_held(&self) -> bool {
        matches!(self.silent(), Some(Because::Held))
    }

    /// Does another speak for it?
    #[must_use]
    pub const fn is_spoken_for(&self) -> bool {
        matches!(self.silent(), Some(Because::SpokenFor))
    }

    /// Do the checks of a treated high speak for it?
    #[must_use]
    pub const fn is_followed(&self) -> bool {
        matches!(self.silent(), Some(Because::Followed))
    }

    /// Has somebody answered?
    #[must_use]
    pub const fn is_acknowledged(&self) -> bool {
        match self.standing {
            Standing::Acknowledged => true,
            Standing::SuppressedByDesign { acknowledged, .. } => acknowledged,
            Standing::Unacknowledged | Standing::ReturnedUnacknowledged { .. } => false,
        }
    }

    /// Somebody answers. True when that is news.
    pub const fn acknowledge(&mut self) -> bool {
        let is_news = !self.is_acknowledged();
        self.standing = Standing::new(self.silent(), true);
        is_news
    }

    /// What answered it was none.
    pub const fn take_back_answer(&mut self) {
        self.standing = Standing::new(self.silent(), false);
    }

    /// It rings, or does not for a reason; that it was answered stays.
    pub const fn told_as(&mut self, silent: Option<Because>) {
        self.standing = Standing::new(silent, self.is_acknowledged());
    }

    /// What a level remembers, where it is about one.
    #[must_use]
    pub const fn level(&self) -> Option<&LevelFacts> {
        match &self.detail {
            Detail::Level(facts) => Some(facts),
            Detail::Forecast { .. }
            | Detail::Lost { .. }
            | Detail::TwoSignals { .. }
            | Detail::Channels { .. }
            | Detail::Ketones(_) => None,
        }
    }

    /// The same, to be changed.
    pub const fn level_mut(&mut self) -> Option<&mut LevelFacts> {
        match &mut self.detail {
            Detail::Level(facts) => Some(facts),
            Detail::Forecast { .. }
            | Detail::Lost { .. }
            | Detail::TwoSignals { .. }
            | Detail::Channels { .. }
            | Detail::Ketones(_) => None,
        }
    }

    /// Is it about a value, and is the last one beyond the limit?
    #[must_use]
    pub fn is_beyond(&self) -> bool {
        self.level().is_some_and(LevelFacts::is_beyond)
    }

    /// Had it rung by a time? `calls_since` is when it last rang, where calls tell.
    #[must_use]
    pub fn had_rung(&self, until: Timestamp, calls_since: Option<Timestamp>) -> bool {
        match self.detail {
            Detail::Level(facts) => self.has_rung() && self.told_at.unwrap_or(facts.rang) <= until,
            Detail::Forecast { .. } | Detail::Ketones(_) => {
                self.has_rung() && self.told_at.is_some_and(|told| told <= until)
            }
            Detail::Lost { .. } | Detail::TwoSignals { .. } => self.told_at.unwrap_or(self.since) <= until,
            Detail::Channels { .. } => calls_since.is_some_and(|rang| rang <= until),
        }
    }

    /// Would it ring, if something had kept it back until now?
    #[must_use]
    pub fn still_stands(&self) -> bool {
        match self.detail {
            Detail::Level(facts) => {
                facts.is_beyond() && !self.is_spoken_for() && !self.is_followed() && !self.is_acknowledged()
            }
            Detail::Lost { .. } | Detail::TwoSignals { .. } | Detail::Ketones(_) => !self.is_acknowledged(),
            Detail::Forecast { .. } | Detail::Channels { .. } => true,
        }
    }

    /// The number of the thread its messages are in.
    #[must_use]
    pub fn thread(&self) -> Id {
        self.part_of.unwrap_or(self.id)
    }

    /// The source that is lost, where it is about one.
    #[must_use]
    pub const fn source(&self) -> Option<SourceId> {
        match self.detail {
            Detail::Lost { source } => Some(source),
            Detail::Level(_)
            | Detail::Forecast { .. }
            | Detail::TwoSignals { .. }
            | Detail::Channels { .. }
            | Detail::Ketones(_) => None,
        }
    }

    /// What two signals said last, where it is about them: the lower one, and the higher one.
    #[must_use]
    pub const fn two_signals(&self) -> Option<(Glucose, Glucose)> {
        match self.detail {
            Detail::TwoSignals { lower, higher, .. } => Some((lower, higher)),
            Detail::Level(_)
            | Detail::Forecast { .. }
            | Detail::Lost { .. }
            | Detail::Channels { .. }
            | Detail::Ketones(_) => None,
        }
    }
}
