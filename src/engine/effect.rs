//! What the engine decides. A decision says what, about what, why, and whether it rings; not in which
//! words, and not by which channel.

pub use super::alert::condition::Condition;
use super::reason::Reason;
use super::trend::Rate;
use crate::domain::glucose::Glucose;
use crate::domain::mode::Mode;
use crate::domain::time::Timestamp;
use serde::{Deserialize, Serialize};

/// Number of an alert or of a re-check, from 1, in one life.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Id(pub u64);

impl std::fmt::Display for Id {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(out, "{}", self.0)
    }
}

/// The two sides of the range.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Side {
    /// Below range.
    Low,
    /// Above range.
    High,
}

impl Side {
    /// Is a value on that side of a limit? One on the limit is not.
    #[must_use]
    pub const fn is_beyond(self, value: Glucose, limit: Glucose) -> bool {
        match self {
            Self::Low => value.hundredths() < limit.hundredths(),
            Self::High => value.hundredths() > limit.hundredths(),
        }
    }
}

/// How much harm no response may do, and how soon: high, medium, low as the alarm standard IEC
/// 60601-1-8 ranks them in its table 1, and information for what is no alarm.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Priority {
    /// No alarm.
    Information,
    /// Discomfort, or harm far off.
    Low,
    /// Reversible harm soon, or grave harm far off.
    Medium,
    /// Grave harm soon.
    High,
}

impl Priority {
    /// Its name in machine-readable output.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Information => "information",
            Self::Low => "low",
            Self::Medium => "medium",
            Self::High => "high",
        }
    }
}

/// What was decided.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum What {
    /// An alert became active.
    Raised,
    /// An active alert rings again.
    Repeated,
    /// An alert or a re-check is over.
    Ended,
    /// A ring is put off until later.
    Held,
    /// A ring is not given at all.
    Withheld,
    /// A re-check looked.
    Look,
    /// A re-check asks the wearer something.
    Prompt,
    /// Nobody answered an alert: it rings again, and by more ways.
    Escalated,
    /// Somebody else is called.
    Called,
    /// Something the wearer is told once.
    Told,
    /// The answer to what the wearer just said.
    Answer,
}

impl What {
    /// Its name in machine-readable output.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Raised => "raised",
            Self::Repeated => "repeated",
            Self::Ended => "ended",
            Self::Held => "held",
            Self::Withheld => "withheld",
            Self::Look => "look",
            Self::Prompt => "prompt",
            Self::Escalated => "escalated",
            Self::Called => "called",
            Self::Told => "told",
            Self::Answer => "answer",
        }
    }
}

/// Whom a decision is for.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Audience {
    /// The wearer.
    #[default]
    Wearer,
    /// One of the people who are called, from 0 in the order of the settings.
    Person(u8),
}

impl Audience {
    /// Is it for the wearer?
    #[must_use]
    pub const fn is_wearer(&self) -> bool {
        matches!(self, Self::Wearer)
    }
}

/// Why a value is less sure than others.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Doubt {
    /// Readings alternate between two signals.
    TwoSignals {
        /// What the lower one says.
        lower: Glucose,
        /// What the higher one says.
        higher: Glucose,
    },
    /// The sensor is in its first day.
    FirstDay,
    /// The wearer doubts the sensor.
    Doubted,
    /// The value fell sharply from a steady one.
    Dip,
    /// The sensor says the same number over and over.
    Flat,
    /// The value changed faster than glucose does.
    Jump,
    /// It is not of now, and none has come since.
    Old,
}

/// One decision of the engine.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Decision {
    /// What was decided.
    pub what: What,
    /// The alert or re-check it is about.
    pub id: Id,
    /// The alert that this one is part of.
    pub part_of: Option<Id>,
    /// The condition.
    pub condition: Condition,
    /// The priority.
    pub priority: Priority,
    /// Does it ring? What does not ring is recorded, and shown by `status` and `why`.
    pub rings: bool,
    /// The value it was decided on.
    pub glucose: Option<Glucose>,
    /// When that value was measured.
    pub reading_at: Option<Timestamp>,
    /// How the value was changing, where enough readings tell.
    pub rate: Option<Rate>,
    /// Why the value is less sure than others; it is said with it, and delays nothing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub doubt: Option<Doubt>,
    /// Of a high that came soon after a low, and may be a rebound: when that low began.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub after_low: Option<Timestamp>,
    /// Of a high: when insulin was last noted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub insulin: Option<Timestamp>,
    /// Of a low: the mode it is said by. Its words change with it, nothing else does.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mode: Option<Mode>,
    /// For whom.
    #[serde(default, skip_serializing_if = "Audience::is_wearer")]
    pub to: Audience,
    /// Why.
    pub reason: Reason,
    /// What would have rung in the same moment, and is said with it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub also: Vec<Decision>,
}
