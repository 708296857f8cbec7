//! The morning after: one word, when the night is over, of what it held. A night that held nothing says nothing.

use super::Engine;
use super::effect::{Condition, Decision, Id, What};
use super::reason::Reason;
use super::turn::Turn;
use crate::domain::time::Timestamp;
use serde::{Deserialize, Serialize};

/// Most stretches remembered of one night.
const STRETCHES_MAX: usize = 20;

/// What a night held so far.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Overnight {
    /// Stretches, in the order they began.
    pub(super) stretches: Vec<Stretch>,
    /// How often it rang.
    pub(super) rings: u32,
}

/// One thing that lasted for a while.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stretch {
    /// Its alert.
    id: Id,
    /// What it was.
    pub condition: Condition,
    /// When it was told, or held.
    pub from: Timestamp,
    /// When it was over; none while it lasts.
    pub to: Option<Timestamp>,
}

impl Engine {
    /// After a turn by night: what it decided belongs to the night.
    pub(super) fn remember_night(&mut self, turn: &Turn) {
        if !turn.night.inside {
            return;
        }
        for decision in turn.out.iter().filter(|decision| decision.to.is_wearer()) {
            // At bedtime nobody is woken.
            if decision.rings && decision.condition != Condition::Bedtime {
                self.state.overnight.rings = self.state.overnight.rings.saturating_add(1);
            }
            self.remember_stretch(decision, turn);
        }
        // A night that only rang is told nothing of, but its rings must not be counted to the next one.
        self.plan_digest(turn);
    }

    fn remember_stretch(&mut self, decision: &Decision, turn: &Turn) {
        let lasts = decision.condition.row().overnight.is_some();
        let known = &mut self.state.overnight.stretches;
        match decision.what {
            // What a worse level hides is told as the worse.
            What::Raised if lasts && known.len() < STRETCHES_MAX => {
                let from = decision.reading_at.unwrap_or(turn.now);
                known.push(Stretch { id: decision.id, condition: decision.condition, from, to: None });
            }
            What::Ended => {
                let ended = known.iter_mut().find(|stretch| stretch.id == decision.id && stretch.to.is_none());
                if let Some(stretch) = ended {
                    stretch.to =
                        Some(if let Reason::BackWithin { since } = decision.reason { since } else { turn.now });
                }
            }
            What::Told if decision.condition == Condition::NotWatching && known.len() < STRETCHES_MAX => {
                if let Reason::Unwatched { from, to, .. } = decision.reason {
                    known.push(Stretch { id: Id(0), condition: Condition::NotWatching, from, to: Some(to) });
                }
            }
            _ => {}
        }
    }

    /// The night is over, and what it held is forgotten. A high that was kept for the morning is asked about then.
    pub(super) fn take_overnight(&mut self) -> Overnight {
        let mut overnight = std::mem::take(&mut self.state.overnight);
        overnight.stretches.retain(|stretch| stretch.condition != Condition::High || stretch.to.is_some());
        overnight
    }
}
