//! Why something was said of ketones: a part of every reason's value.

use crate::domain::ketone_table::KetoneRow;
use crate::domain::ketones::Ketones;
use crate::domain::symptoms::Symptoms;
use crate::domain::time::Timestamp;
use serde::{Deserialize, Serialize};

/// What is known of ketones, and the row that it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Finding {
    /// The row.
    pub row: KetoneRow,
    /// When what made it was measured or felt.
    pub at: Timestamp,
    /// What was measured last, if that still says something.
    pub measured: Option<(Timestamp, Ketones)>,
    /// Red flags, and when they were noted.
    pub symptoms: Option<(Timestamp, Symptoms)>,
    /// Glucose was low then: sugar may not stay down.
    pub low: bool,
}

/// The reason of a decision about ketones.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs, reason = "the sentence above each variant says what its fields are")]
pub enum KetoneWhy {
    /// Something was noted, and this is its row; when it is asked about again, or measured next if it is still high.
    Row { found: Finding, next: Option<Timestamp> },
    /// It is asked about again, and then.
    Again { found: Finding, next: Timestamp },
    /// What was noted since is no emergency, or not raised any more.
    Over { now: Finding },
    /// The diary no longer says it.
    NoLongerNoted { at: Timestamp },
    /// It was asked about again and again, and nothing was noted: it is asked about no more.
    NotMeasured { at: Timestamp },
    /// Drowsy while glucose is low, or not known: a low first.
    LowFirst { at: Timestamp },
    /// Whoever is prone to ketones is to measure them, whatever the glucose; when it is asked about again.
    Wanted { since: Timestamp, next: Option<Timestamp> },
}

impl KetoneWhy {
    /// The word for it in machine-readable output.
    #[must_use]
    pub const fn word(&self) -> &'static str {
        match self {
            Self::Row { .. } => "ketone_row",
            Self::Again { .. } => "ketones_again",
            Self::Over { .. } => "ketones_over",
            Self::NoLongerNoted { .. } => "ketones_no_longer_noted",
            Self::NotMeasured { .. } => "ketones_not_measured",
            Self::LowFirst { .. } => "low_first",
            Self::Wanted { .. } => "ketones_wanted",
        }
    }

    /// Is it more than raised, or a red flag? That rings while low, too.
    #[must_use]
    pub fn is_grave(&self) -> bool {
        match self {
            Self::Row { found, .. } | Self::Again { found, .. } => found.row > KetoneRow::Raised,
            Self::Over { .. }
            | Self::NoLongerNoted { .. }
            | Self::NotMeasured { .. }
            | Self::LowFirst { .. }
            | Self::Wanted { .. } => false,
        }
    }

    /// Is it an emergency?
    #[must_use]
    pub const fn is_emergency(&self) -> bool {
        matches!(
            self,
            Self::Row { found: Finding { row: KetoneRow::Emergency, .. }, .. }
                | Self::Again { found: Finding { row: KetoneRow::Emergency, .. }, .. }
        )
    }
}
