//! Where each level stands in the terms of the alarm standards, and what may follow what. The states are named as
//! ANSI/ISA-18.2 and IEC 62682 name them; they are read off the engine's state, and kept nowhere else.

use super::effect::{Condition, Id, Side};
use super::level::{Active, Level, Told};
use super::policy::Rings;
use super::recheck_high::Stage;
use super::turn::Turn;
use super::{Engine, State};
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// An alert that nobody answered is remembered this long after it is over.
const RETURNED_KEPT_HOURS: i64 = 24;

/// Where an alert stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum AlarmState {
    /// Nothing to tell.
    Normal,
    /// It rang, and nobody has answered.
    Unacknowledged,
    /// Somebody has answered, and it is not over.
    Acknowledged,
    /// It is over, and nobody answered.
    ReturnedUnacknowledged,
    /// Quiet for a limited time, because the wearer wants it.
    Shelved,
    /// Not told by rule: a worse one speaks for it, or it waits for the morning.
    SuppressedByDesign,
    /// Switched off in the settings; of caution, not asked for by any mode or profile.
    OutOfService,
}

use AlarmState::{
    Acknowledged, Normal, OutOfService, ReturnedUnacknowledged, Shelved, SuppressedByDesign, Unacknowledged,
};

/// What may follow what. A test lives through every short story and finds these, all of these, and no others.
pub const FOLLOWS: [(AlarmState, &[AlarmState]); 7] = [
    (Normal, &[Unacknowledged, Shelved, SuppressedByDesign, OutOfService]),
    (Unacknowledged, &[Acknowledged, ReturnedUnacknowledged, Shelved, OutOfService]),
    (Acknowledged, &[Normal, Unacknowledged, Shelved, OutOfService]),
    (ReturnedUnacknowledged, &[Normal, Unacknowledged, Shelved, SuppressedByDesign, OutOfService]),
    (Shelved, &[Normal, Unacknowledged, Acknowledged, ReturnedUnacknowledged, SuppressedByDesign, OutOfService]),
    (SuppressedByDesign, &[Normal, Unacknowledged, Acknowledged, Shelved, OutOfService]),
    (OutOfService, &[Normal]),
];

/// An alert that is over and that nobody answered.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Returned {
    /// Its number.
    pub id: Id,
    /// What it was.
    pub condition: Condition,
    /// Since when.
    pub since: Timestamp,
    /// Until when.
    pub until: Timestamp,
}

impl AlarmState {
    /// Its name in machine-readable output.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Normal => "normal",
            Unacknowledged => "unacknowledged",
            Acknowledged => "acknowledged",
            ReturnedUnacknowledged => "returned_unacknowledged",
            Shelved => "shelved",
            SuppressedByDesign => "suppressed_by_design",
            OutOfService => "out_of_service",
        }
    }
}

impl State {
    /// Has the wearer answered an alert: marked it as seen, or treated it since it rang? One whose looks are over is
    /// asked about again, and so it is to be answered again.
    fn is_answered(&self, condition: Condition, active: &Active) -> bool {
        let by_care = match condition.side() {
            None => false,
            // A low that was answered is no answer to the caution that comes after it.
            Some(Side::Low) if condition == Condition::Caution => false,
            Some(Side::Low) => self.chain.as_ref().is_some_and(|chain| chain.answered.is_some()),
            Some(Side::High) => self.high_care.as_ref().is_some_and(|care| match care.stage {
                Stage::Looking { treated, .. } => treated.at >= active.told_at.unwrap_or(active.rang),
                Stage::Asking { .. } => false,
            }),
        };
        active.seen || by_care
    }

    /// An alert is over: if it rang and nobody answered, that is remembered. What an earlier one of its condition
    /// left was forgotten when this one came.
    pub(super) fn remember_returned(&mut self, condition: Condition, active: &Active, until: Timestamp) {
        if active.told == Told::Rang && !self.is_answered(condition, active) {
            self.returned.push(Returned { id: active.id, condition, since: active.since, until });
        }
    }
}

impl Engine {
    /// Where a level stands.
    #[must_use]
    pub fn alarm_state(&self, condition: Condition) -> AlarmState {
        let Some(level) = self.state.level(condition) else { return Normal };
        let off = self.policy.levels.of(condition).is_some_and(|level| level.rings == Rings::Never);
        if off || condition == Condition::Caution && !self.asks_for_caution() {
            return OutOfService;
        }
        let shelved = self.state.quiet.iter().any(|quiet| quiet.condition == condition);
        match level {
            Level::Active(active) if active.told == Told::Hidden && !active.seen => SuppressedByDesign,
            Level::Active(_) if shelved => Shelved,
            Level::Active(active) if self.state.is_answered(condition, active) => Acknowledged,
            Level::Active(active) if active.told == Told::Held => SuppressedByDesign,
            Level::Active(_) => Unacknowledged,
            Level::Clear | Level::Waiting { .. } => {
                let returned = self.state.returned.iter().any(|returned| returned.condition == condition);
                if returned { ReturnedUnacknowledged } else { Normal }
            }
        }
    }

    /// What is over long enough, or has come again, need not be answered any more.
    pub(super) fn forget_returned(&mut self, turn: &Turn) {
        let is_recent = |returned: &Returned| turn.now - returned.until <= Span::hours(RETURNED_KEPT_HOURS);
        // Nothing has come again where nothing was decided.
        if turn.out.is_empty() && self.state.returned.iter().all(is_recent) {
            return;
        }
        let stays =
            |state: &State, returned: &Returned| is_recent(returned) && state.active(returned.condition).is_none();
        let mut returned = std::mem::take(&mut self.state.returned);
        returned.retain(|returned| stays(&self.state, returned));
        self.state.returned = returned;
    }
}
