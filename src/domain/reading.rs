//! One sensor reading, with the two times it has. Judges nothing.

use super::glucose::Glucose;
use super::time::Timestamp;
use serde::{Deserialize, Serialize};

/// A source of readings, numbered in the order of the settings.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(transparent)]
pub struct SourceId(pub u16);

/// One reading: when it was measured, and what it said. When it reached us is the event's own time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Reading {
    /// Where it came from.
    pub source: SourceId,
    /// When the sensor measured it.
    pub measured: Timestamp,
    /// What it measured.
    pub glucose: Glucose,
}
