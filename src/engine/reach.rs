//! Whether the wearer can be reached at all: one alert for all ways that fail.

use super::Engine;
use super::State;
use super::alert::{Alert, Detail, Standing};
use super::effect::{Condition, What};
use super::reason::Reason;
use super::turn::Turn;

impl State {
    /// Does any way to reach the wearer fail, as far as was told? And does none work any more?
    #[must_use]
    pub fn channels_fail(&self) -> Option<bool> {
        match self.register.of(Condition::ChannelFailed)?.detail {
            Detail::Channels { none_works } => Some(none_works),
            Detail::Level(_) | Detail::Forecast { .. } | Detail::Lost { .. } | Detail::TwoSignals { .. } => None,
        }
    }
}

impl Engine {
    /// How many ways work, and which fail.
    pub(super) fn channels(&mut self, turn: &mut Turn, working: usize, failing: &[String]) {
        let reason = Reason::ChannelsFail { working, words: failing.to_vec() };
        let none_works = working == 0;
        let known = self.state.register.of(Condition::ChannelFailed).copied();
        match (known, failing.is_empty() && working > 0) {
            (None, false) => {
                let id = self.take_id();
                self.state.register.raise(Alert {
                    id,
                    part_of: None,
                    condition: Condition::ChannelFailed,
                    since: turn.now,
                    standing: Standing::Unacknowledged,
                    told_at: Some(turn.now),
                    detail: Detail::Channels { none_works },
                });
                turn.tell(What::Raised, Condition::ChannelFailed, id, None, reason, true);
            }
            // It was one of several; now nothing is left.
            (Some(alert), false) if none_works && alert.detail == (Detail::Channels { none_works: false }) => {
                let (standing, detail) = (Standing::Unacknowledged, Detail::Channels { none_works });
                self.state.register.replace(Alert { standing, detail, told_at: Some(turn.now), ..alert });
                turn.tell(What::Repeated, Condition::ChannelFailed, alert.id, None, reason, true);
            }
            (Some(alert), true) => {
                self.state.register.end(alert.id);
                turn.tell(What::Ended, Condition::ChannelFailed, alert.id, None, Reason::ChannelsWork, false);
            }
            (Some(alert), false) => self.still_waiting(alert.id, &reason),
            (None, true) => {}
        }
    }
}
