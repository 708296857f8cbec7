//! Levels that the settings switch off. Since when is remembered, and once a week the wearer is reminded of it, with
//! their own reason: what was meant for a while must not stay for good unseen.

use super::Engine;
use super::effect::{Condition, Id, What};
use super::plan::Job;
use super::policy::{Levels, Rings};
use super::reason::Reason;
use super::turn::Turn;
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// The wearer is reminded this often. Our own.
const REMINDED_EVERY_DAYS: i64 = 7;

/// A level that is switched off.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Off {
    /// Which.
    pub condition: Condition,
    /// Since when, as far as this program has watched.
    pub since: Timestamp,
}

impl Off {
    /// The clock was set: every span keeps its length.
    pub(super) fn shift(&mut self, by: Span) {
        self.since = self.since + by;
    }
}

/// The same, with the wearer's reason.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct OffBecause {
    /// Which, and since when.
    pub off: Off,
    /// Why, in the wearer's words.
    pub because: String,
}

impl Engine {
    /// What the settings switch off is remembered; what they switch on again is forgotten.
    pub(super) fn note_switched_off(&mut self, now: Timestamp) {
        let Levels { very_low, low, high, very_high } = &self.policy.levels;
        let all_on = [very_low, low, high, very_high].iter().all(|level| level.rings != Rings::Never);
        if all_on && self.state.off.is_empty() {
            return;
        }
        for condition in Condition::LEVELS {
            let is_off = self.policy.levels.of(condition).is_some_and(|level| level.rings == Rings::Never);
            let known = self.state.off.iter().position(|off| off.condition == condition);
            match (is_off, known) {
                (true, None) => self.state.off.push(Off { condition, since: now }),
                (false, Some(place)) => {
                    self.state.off.remove(place);
                    if self.state.off.is_empty() {
                        self.state.plan.stop(Job::Off);
                    }
                }
                (true, Some(_)) | (false, None) => {}
            }
        }
        if !self.state.off.is_empty() && self.state.plan.due(Job::Off).is_none() {
            self.state.plan.set(Job::Off, now + Span::hours(24 * REMINDED_EVERY_DAYS));
        }
    }

    /// A week has passed.
    pub(super) fn remind_of_switched_off(&mut self, turn: &mut Turn) {
        if turn.night.inside {
            self.state.plan.set(Job::Off, turn.night.until);
            return;
        }
        // The next week is planned when the turn ends.
        let levels = self.switched_off();
        if !levels.is_empty() {
            turn.judged = None;
            turn.tell(What::Told, Condition::OutOfService, Id(0), None, Reason::SwitchedOff { levels }, true);
        }
    }

    /// The levels that are switched off, each with its reason.
    #[must_use]
    pub fn switched_off(&self) -> Vec<OffBecause> {
        let because = |condition| self.policy.because.get(&condition).cloned().unwrap_or_default();
        let is_off = |off: &&Off| self.policy.levels.of(off.condition).is_some_and(|level| level.rings == Rings::Never);
        let off = self.state.off.iter().filter(is_off);
        off.map(|off| OffBecause { off: *off, because: because(off.condition) }).collect()
    }
}
