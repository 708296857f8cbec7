//! Ketones as they are measured: a number of a blood meter, its word for beyond what it shows, or the field of a urine
//! strip. Knows no row of any plan.

use super::diary::Amount;
use serde::{Deserialize, Serialize};

/// What a urine strip shows, as strips name their fields.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Urine {
    /// None.
    Negative,
    /// Trace or small.
    Trace,
    /// Moderate.
    Moderate,
    /// Large.
    Large,
}

impl Urine {
    /// The words that are noted, as they are asked for.
    pub const EXPECTED: &'static str = "negative, trace, small, moderate, or large";

    /// The field of that name.
    #[must_use]
    pub fn named(text: &str) -> Option<Self> {
        Some(match text.trim().to_lowercase().as_str() {
            "negative" | "neg" => Self::Negative,
            "trace" | "small" => Self::Trace,
            "moderate" | "medium" => Self::Moderate,
            "large" => Self::Large,
            _ => return None,
        })
    }

    /// Its name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Negative => "negative",
            Self::Trace => "trace",
            Self::Moderate => "moderate",
            Self::Large => "large",
        }
    }
}

/// One measurement of ketones.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Ketones {
    /// Of a blood meter, in mmol/L.
    Blood(Amount),
    /// A blood meter shows its word for more than it can measure.
    BloodHigh,
    /// Of a urine strip.
    Urine(Urine),
}
