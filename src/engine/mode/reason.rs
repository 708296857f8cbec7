//! Why something was said of modes, of caution, of driving: a part of every reason's value.

use crate::domain::glucose::Glucose;
use crate::domain::mode::Mode;
use crate::domain::time::{Span, Timestamp};
use crate::engine::reason::Treatment;
use serde::{Deserialize, Serialize};

/// The reason of a decision about modes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs, reason = "the sentence above each variant says what its fields are")]
pub enum Why {
    /// A mode is in force; capped at the longest there is. A driver who is to wait waits until then, if that is known.
    Set {
        mode: Mode,
        until: Timestamp,
        after: Option<Timestamp>,
        limit: Option<Glucose>,
        capped: Option<Span>,
        waits: bool,
        hold: Option<Timestamp>,
    },
    /// The wearer ended these; what of exercise goes on, and the cautious limit that still counts.
    Off { asked: Option<Mode>, modes: Vec<Mode>, after: Option<Timestamp>, limit: Option<Glucose> },
    /// A mode ended by itself; the cautious limit that still counts.
    Over { mode: Mode, at: Timestamp, limit: Option<Glucose> },
    /// Exercise is over, and the hours after it count until then.
    After { until: Timestamp },
    /// No mode and no profile asks for caution any more.
    NothingAsks,
    /// A caution was treated, and is looked at once.
    LookPlanned { treated: Treatment, look: Timestamp },
    /// The look at a treated caution found it not back.
    StillBelow { treated: Treatment, limit: Glucose },
    /// A look that modes ask for; for a driver who is to wait, with a word of that.
    Look { asks: Asks, waits: bool, next: Option<Timestamp> },
    /// A look that is not asked for: it was measured so shortly before.
    JustMeasured { at: Timestamp, next: Option<Timestamp> },
    /// Do not drive yet; until then if the value is back.
    Hold { limit: Glucose, until: Option<Timestamp> },
    /// The value has been back for as long as a driver is to wait.
    HoldOver { limit: Glucose, back: Timestamp },
}

/// What a look asks for.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Asks {
    /// Before driving on.
    pub driving: bool,
    /// A meter check on a sick day.
    pub sick: bool,
    /// Ketones.
    pub ketones: bool,
}

impl Why {
    /// The word for it in machine-readable output.
    #[must_use]
    pub const fn word(&self) -> &'static str {
        match self {
            Self::Set { .. } => "mode_set",
            Self::Off { .. } => "mode_off",
            Self::Over { .. } => "mode_over",
            Self::After { .. } => "mode_after",
            Self::NothingAsks => "nothing_asks",
            Self::LookPlanned { .. } => "look_planned",
            Self::StillBelow { .. } => "still_below",
            Self::Look { .. } => "mode_look",
            Self::JustMeasured { .. } => "just_measured",
            Self::Hold { .. } => "hold",
            Self::HoldOver { .. } => "hold_over",
        }
    }
}
