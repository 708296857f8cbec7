//! One message to one channel.

use crate::domain::glucose::Unit;
use crate::domain::local::Zone;
use crate::domain::time::Timestamp;
use crate::engine::effect::{Decision, Id, Priority};
use serde::{Deserialize, Serialize};

/// A message, complete: a channel needs nothing else to send it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Message {
    /// Stays the same over all tries, so that a receiver can drop repeats.
    pub key: String,
    /// The channel's name in the settings.
    pub channel: String,
    /// Messages of one thread replace each other; none for what stands alone.
    pub thread: Option<Id>,
    /// For the wrist.
    pub title: String,
    /// For the screen.
    pub body: String,
    /// What was decided; none for what is not about glucose, sensor or channels.
    pub decision: Option<Decision>,
    /// What it is: the decision's own word, or `trial`, `missed`, `trouble`.
    pub what: String,
    /// The priority.
    pub priority: Priority,
    /// When it was decided.
    pub decided: Timestamp,
    /// Of no help after this.
    pub expires: Timestamp,
    /// Unit for values.
    pub unit: Unit,
    /// Zone for times.
    pub zone: Zone,
    /// A try may have arrived before the program was stopped: this one may be a repeat.
    #[serde(default)]
    pub may_repeat: bool,
}
