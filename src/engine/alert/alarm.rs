//! Where each level stands in the terms of the alarm standards, and what may follow what. The states are named as
//! ANSI/ISA-18.2 and IEC 62682 name them; what an alert does not carry itself is read off mutes and settings.

use super::{Alert, Standing};
use crate::domain::time::{Span, Timestamp};
use crate::engine::effect::{Condition, Side};
use crate::engine::policy::Rings;
use crate::engine::recheck_high::Stage;
use crate::engine::turn::Turn;
use crate::engine::{Engine, State};
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
    fn is_answered(&self, alert: &Alert) -> bool {
        let by_care = match alert.condition.side() {
            None => false,
            // A low that was answered is no answer to the caution that comes after it.
            Some(Side::Low) if alert.condition == Condition::Caution => false,
            Some(Side::Low) => self.register.calls_of_low().is_some_and(|(calls, _)| calls.is_answered()),
            Some(Side::High) => self.plan.high().is_some_and(|check| match check.stage {
                Stage::Looking { treated, .. } => {
                    let rang = alert.told_at.or(alert.level().map(|facts| facts.rang));
                    rang.is_none_or(|rang| treated.at >= rang)
                }
                Stage::Asking { .. } => false,
            }),
        };
        alert.is_acknowledged() || by_care
    }

    /// An alert is over: if it rang and nobody answered, that is remembered. What an earlier one of its condition
    /// left was forgotten when this one came.
    pub(in crate::engine) fn remember_returned(&mut self, alert: Alert, until: Timestamp) {
        if alert.has_rung() && !self.is_answered(&alert) {
            self.register.returned.push(Alert { standing: Standing::ReturnedUnacknowledged { until }, ..alert });
        }
    }
}

impl Engine {
    /// Where a level stands.
    #[must_use]
    pub fn alarm_state(&self, condition: Condition) -> AlarmState {
        if !Condition::LEVELS.contains(&condition) {
            return Normal;
        }
        let off = self.policy.levels.of(condition).is_some_and(|level| level.rings == Rings::Never);
        if off || condition == Condition::Caution && !self.asks_for_caution() {
            return OutOfService;
        }
        let shelved = self.state.quiet.iter().any(|quiet| quiet.condition == condition);
        match self.state.register.of(condition) {
            Some(alert) if (alert.is_spoken_for() || alert.is_covered()) && !alert.is_acknowledged() => {
                SuppressedByDesign
            }
            Some(_) if shelved => Shelved,
            Some(alert) if self.state.is_answered(alert) => Acknowledged,
            Some(alert) if alert.is_held() || alert.is_followed() => SuppressedByDesign,
            Some(_) => Unacknowledged,
            None => {
                let returned = self.state.register.returned.iter().any(|returned| returned.condition == condition);
                if returned { ReturnedUnacknowledged } else { Normal }
            }
        }
    }

    /// What is over long enough, or has come again, need not be answered any more.
    pub(in crate::engine) fn forget_returned(&mut self, turn: &Turn) {
        if self.state.register.returned.is_empty() {
            return;
        }
        let is_recent = |returned: &Alert| match returned.standing {
            Standing::ReturnedUnacknowledged { until } => turn.now - until <= Span::hours(RETURNED_KEPT_HOURS),
            Standing::Unacknowledged | Standing::Acknowledged | Standing::SuppressedByDesign { .. } => false,
        };
        let mut returned = std::mem::take(&mut self.state.register.returned);
        // Nothing has come again where nothing was decided.
        let anything_new = !turn.out.is_empty();
        let has_come_again = |alert: &Alert| anything_new && self.state.register.of(alert.condition).is_some();
        returned.retain(|alert| is_recent(alert) && !has_come_again(alert));
        self.state.register.returned = returned;
    }
}
