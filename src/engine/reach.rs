//! Whether the wearer can be reached at all: one alert for all channels that fail. The first message about
//! one that comes and goes is sent at once, and then one an hour, with how often it failed.

use super::Engine;
use super::State;
use super::alert::{Alert, Detail, Standing};
use super::effect::{Condition, Id, What};
use super::plan::Job;
use super::reason::Reason;
use super::turn::Turn;
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// A channel that fails again within this comes and goes: that is told of no more often. Ours.
const TOLD_EVERY: Span = Span::hours(1);

/// Channels that come and go.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Flaps {
    /// When the first failure was.
    since: Timestamp,
    /// When the wearer was last told.
    told: Timestamp,
    /// How often one failed since the first.
    times: u32,
    /// One failed since the wearer was told.
    news: bool,
}

impl Flaps {
    /// The clock was set: every span keeps its length.
    pub(super) fn shift(&mut self, by: Span) {
        (self.since, self.told) = (self.since + by, self.told + by);
    }
}

impl State {
    /// Does any way to reach the wearer fail, as far as was told? And does none work any more?
    #[must_use]
    pub fn channels_fail(&self) -> Option<bool> {
        match self.register.of(Condition::ChannelFailed)?.detail {
            Detail::Channels { none_works } => Some(none_works),
            Detail::Level(_)
            | Detail::Forecast { .. }
            | Detail::Lost { .. }
            | Detail::TwoSignals { .. }
            | Detail::Ketones(_) => None,
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
                let again = self.fails_again(turn, none_works);
                self.state.register.raise(Alert {
                    id,
                    part_of: None,
                    condition: Condition::ChannelFailed,
                    since: turn.now,
                    standing: Standing::Unacknowledged,
                    told_at: Some(turn.now),
                    detail: Detail::Channels { none_works },
                });
                turn.tell(What::Raised, Condition::ChannelFailed, id, None, reason, !again);
                if again {
                    let flaps = self.channel_flaps(failing.to_vec());
                    turn.tell(What::Withheld, Condition::ChannelFailed, id, None, flaps, false);
                }
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

    /// Does a channel fail once more, shortly after the wearer was told of one? That none is left is news in any case.
    fn fails_again(&mut self, turn: &Turn, none_works: bool) -> bool {
        let known = self.state.flaps.filter(|flaps| turn.now - flaps.told < TOLD_EVERY);
        let mut flaps = known.unwrap_or(Flaps { since: turn.now, told: turn.now, times: 0, news: false });
        flaps.times = flaps.times.saturating_add(1);
        let again = known.is_some() && !none_works;
        flaps.news |= again;
        if again {
            self.state.plan.set(Job::Flaps, flaps.told + TOLD_EVERY);
        }
        self.state.flaps = Some(flaps);
        again
    }

    /// An hour after the wearer was told: how often it failed, if it did since.
    pub(super) fn tell_flaps(&mut self, turn: &mut Turn) {
        let Some(flaps) = self.state.flaps.filter(|flaps| flaps.news) else { return };
        let reason = self.channel_flaps(Vec::new());
        let id = self.state.register.of(Condition::ChannelFailed).map_or(Id(0), |alert| alert.id);
        turn.judged = None;
        let what = if id == Id(0) { What::Told } else { What::Repeated };
        turn.tell(what, Condition::ChannelFailed, id, None, reason, true);
        self.state.flaps = Some(Flaps { told: turn.now, news: false, ..flaps });
    }

    fn channel_flaps(&self, words: Vec<String>) -> Reason {
        let (times, since) = self.state.flaps.map_or((0, None), |flaps| (flaps.times, Some(flaps.since)));
        Reason::ChannelFlaps { times, since, words }
    }
}
