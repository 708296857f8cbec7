//! The sentences people read: titles for a wrist, bodies for a screen, reasons for `why`. Decides nothing,
//! names no amount, and never says that all is well.
#![deny(clippy::disallowed_methods, clippy::disallowed_types)]

mod also;
pub mod answer;
mod asked;
mod bedtime;
pub mod body;
mod called;
pub mod compare;
mod digest;
mod flood;
mod forecast;
mod insulin;
pub mod ketones;
mod landing;
mod level_reason;
mod looks;
mod meter;
pub mod mode;
mod morning;
mod old;
mod past;
pub mod people;
mod pump;
mod question;
pub mod reason;
mod reason_calls;
mod rebound;
pub mod reminder;
mod rise;
mod sensor;
mod service;
pub mod steps;
pub mod still_low;
pub mod text;
mod waits;
mod watched;
pub mod zone;

use crate::domain::glucose::{Glucose, Unit};
use crate::domain::local::Zone;
use crate::domain::time::{Span, Timestamp};
use crate::engine::policy::Policy;

/// Most lines of a message that tells several things.
const LINES_MAX: usize = 5;

/// How one wearer reads: unit, zone, and the time it is for them.
#[derive(Debug, Clone, Copy)]
pub struct Voice {
    /// The unit values are shown in.
    pub unit: Unit,
    /// The zone times are shown in.
    pub zone: Zone,
    /// Now, so that yesterday's times carry their day.
    pub now: Timestamp,
}

impl Voice {
    /// The voice for a wearer's settings.
    #[must_use]
    pub const fn new(policy: &Policy, now: Timestamp) -> Self {
        Self { unit: policy.unit, zone: policy.zone, now }
    }

    fn clock(self, at: Timestamp) -> String {
        self.zone.clock_seen_from(at, self.now)
    }

    fn value(self, glucose: Glucose) -> String {
        glucose.shown(self.unit, None)
    }

    fn value_with_unit(self, glucose: Glucose) -> String {
        format!("{} {}", self.value(glucose), self.unit.name())
    }

    fn limit(self, limit: Glucose) -> String {
        limit.shown(self.unit, None)
    }

    /// `+12` or `-0.7`: how far a value is from an earlier one.
    fn change(self, from: Glucose, to: Glucose) -> String {
        let hundredths = to.hundredths() - from.hundredths();
        let size = Glucose::from_received(hundredths.abs(), Unit::MgDl).shown(self.unit, None);
        format!("{}{size}", if hundredths < 0 { "-" } else { "+" })
    }
}

/// `15 min`, `1 h`, `1 h 05 min` since a time; never negative.
fn since(at: Timestamp, now: Timestamp) -> Span {
    (now - at).max(Span::ZERO)
}
