//! What a check looks back at: a treatment, symptoms, or a finger-prick, with the value there was then. Decides nothing.

use super::signal::Signal;
use crate::domain::glucose::Glucose;
use crate::domain::time::Timestamp;
use serde::{Deserialize, Serialize};

/// A treatment that a re-check looks back at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Treatment {
    /// When it was taken.
    pub at: Timestamp,
    /// The value then, if one was fresh.
    pub value: Option<Glucose>,
    /// Whose value that is.
    #[serde(default)]
    pub of: Option<Signal>,
    /// When the alert that it belongs to began.
    pub alert_since: Option<Timestamp>,
    /// What the wearer told.
    #[serde(default)]
    pub told: Began,
}

/// What a re-check began with: its looks are the same, and nobody is told of a treatment that was none.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Began {
    /// It was treated.
    #[default]
    Treated,
    /// Symptoms were felt.
    Symptoms,
    /// A meter said so.
    Meter,
}

impl Began {
    /// As the wearer reads it.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Treated => "Treated",
            Self::Symptoms => "Symptoms noted",
            Self::Meter => "Measured",
        }
    }
}
