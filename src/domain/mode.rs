//! Times in which the wearer wants to be watched in another way: what they are called, and what is asked of them.

use super::time::Span;
use serde::{Deserialize, Serialize};

/// A way to be watched for some time. What each asks for, and for how long, is the engine's.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Mode {
    /// At the wheel.
    Driving,
    /// Exercise, and the hours after it.
    Exercise,
    /// Alcohol, and the day after it.
    Alcohol,
    /// Ill.
    Sick,
    /// The sensor is doubted.
    Doubted,
    /// After a low that somebody else had to help with.
    Aftercare,
}

impl Mode {
    /// All of them.
    pub const ALL: [Self; 6] =
        [Self::Driving, Self::Exercise, Self::Alcohol, Self::Sick, Self::Doubted, Self::Aftercare];

    /// The word it is asked for by.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Driving => "driving",
            Self::Exercise => "exercise",
            Self::Alcohol => "alcohol",
            Self::Sick => "sick",
            Self::Doubted => "doubted",
            Self::Aftercare => "aftercare",
        }
    }

    /// By that word.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|mode| mode.name() == name)
    }
}

/// What the wearer wants of the modes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Wish {
    /// One begins, or is asked for again.
    Begin {
        /// Which.
        mode: Mode,
        /// For how long; none: as long as is usual for it.
        span: Option<Span>,
    },
    /// One ends.
    End {
        /// Which; none for all.
        mode: Option<Mode>,
    },
}
