//! Whether the wearer can be reached at all: one alert for all ways that fail.

use super::Engine;
use super::effect::{Condition, Id, What};
use super::reason::Reason;
use super::turn::Turn;
use serde::{Deserialize, Serialize};

/// An open alert about ways to reach the wearer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct ChannelTrouble {
    /// Its number.
    pub id: Id,
    /// Nothing works any more.
    pub none_works: bool,
    /// Marked as seen.
    #[serde(default)]
    pub seen: bool,
}

impl Engine {
    /// How many ways work, and which fail.
    pub(super) fn channels(&mut self, turn: &mut Turn, working: usize, failing: &[String]) {
        let reason = Reason::ChannelsFail { working, words: failing.to_vec() };
        match (self.state.channels, failing.is_empty() && working > 0) {
            (None, false) => {
                let id = self.take_id();
                self.state.channels = Some(ChannelTrouble { id, none_works: working == 0, seen: false });
                turn.tell(What::Raised, Condition::ChannelFailed, id, None, reason, true);
            }
            // It was one of several; now nothing is left.
            (Some(ChannelTrouble { id, none_works: false, .. }), false) if working == 0 => {
                self.state.channels = Some(ChannelTrouble { id, none_works: true, seen: false });
                turn.tell(What::Repeated, Condition::ChannelFailed, id, None, reason, true);
            }
            (Some(ChannelTrouble { id, .. }), true) => {
                self.state.channels = None;
                turn.tell(What::Ended, Condition::ChannelFailed, id, None, Reason::ChannelsWork, false);
            }
            (Some(ChannelTrouble { id, .. }), false) => self.still_waiting(id, &reason),
            (None, true) => {}
        }
    }
}
