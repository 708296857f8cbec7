//! What a forecast says: what is likely, and how sure that is. A value of a reason, and nothing that decides.

use super::tally::Came;
use super::watched::Watched;
use crate::domain::glucose::Glucose;
use crate::domain::time::Timestamp;
use crate::engine::forecast::Chance;
use serde::{Deserialize, Serialize};

/// What is likely, and how sure that is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Likely {
    /// A reading beyond this.
    pub limit: Glucose,
    /// Until then.
    pub by: Timestamp,
    /// The chance of it.
    pub chance: Chance,
    /// From this chance on it rings.
    pub sounds_from: Chance,
    /// That has moved by itself.
    pub moved: bool,
    /// Food or insulin was noted then, and it is less sure.
    pub noted: Option<Timestamp>,
    /// How the last forecasts like it came out.
    pub came: Came,
    /// It rings from a lower chance, since a low is watched for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub watched: Option<Watched>,
}
