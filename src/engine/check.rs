//! A check: a planned look at something later. Its due time stands in the [`super::plan`]; here is what it is of.

use super::after_back::BackCheck;
use super::effect::{Id, Side};
use super::evening::EveningCheck;
use super::landing::Landing;
use super::mistaken::MistakenCheck;
use super::mode::Due;
use super::mode::hold::DrivingWait;
use super::new_set::SetCheck;
use super::plan::Job;
use super::recheck_high::{HighCheck, Stage};
use super::recheck_low::LowCheck;
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// What is looked at again.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Check {
    /// A low, until it is back.
    Low(LowCheck),
    /// A high, until it is over.
    High(HighCheck),
    /// An evening's treated high, in the small hours.
    Evening(EveningCheck),
    /// A pump's new set.
    NewSet(SetCheck),
    /// Rapid insulin that was taken for long-acting.
    Mistaken(MistakenCheck),
    /// A value that is too low to drive, until it has been back for long enough.
    Driving(DrivingWait),
    /// A low that is back, until it has stayed so.
    Back(BackCheck),
    /// A high that comes down, until it is level.
    Landing(Landing),
}

impl Check {
    /// The job whose due time is its own.
    #[must_use]
    pub const fn job(&self) -> Job {
        match self {
            Self::Low(_) => Job::LowCheck,
            Self::High(_) => Job::HighCheck,
            Self::Evening(_) => Job::EveningCheck,
            Self::NewSet(_) => Job::SetCheck,
            Self::Mistaken(_) => Job::MistakenCheck,
            Self::Driving(_) => Job::Mode(Due::Hold),
            Self::Back(_) => Job::BackCheck,
            Self::Landing(_) => Job::Landing,
        }
    }

    /// Its number.
    #[must_use]
    pub const fn id(&self) -> Id {
        match self {
            Self::Low(check) => check.id,
            Self::High(check) => check.id,
            Self::Evening(check) => check.id,
            Self::NewSet(check) => check.id,
            Self::Mistaken(check) => check.id,
            Self::Driving(check) => check.id,
            Self::Back(check) => check.id,
            Self::Landing(check) => check.id,
        }
    }

    /// Which side of the range a treatment of it is of; what is only waited for is treated by its alert.
    #[must_use]
    pub const fn side(&self) -> Option<Side> {
        match self {
            Self::Low(_) | Self::Back(_) => Some(Side::Low),
            Self::High(_) => Some(Side::High),
            Self::Evening(_) | Self::NewSet(_) | Self::Mistaken(_) | Self::Driving(_) | Self::Landing(_) => None,
        }
    }

    /// When what it looks back at was treated, if it was.
    #[must_use]
    pub fn treated_at(&self) -> Option<Timestamp> {
        match self {
            Self::Low(check) => check.treated.map(|treated| treated.at),
            Self::High(check) => match check.stage {
                Stage::Looking { treated, .. } => Some(treated.at),
                Stage::Asking { .. } => None,
            },
            Self::Evening(check) => Some(check.treated.at),
            Self::Landing(check) => check.treated.map(|treated| treated.at),
            Self::NewSet(_) | Self::Mistaken(_) | Self::Driving(_) | Self::Back(_) => None,
        }
    }

    /// The clock was set: what is watched from a time on keeps its age.
    pub(super) fn shift(&mut self, by: Span) {
        match self {
            Self::NewSet(check) => check.at = check.at + by,
            Self::Mistaken(check) => (check.at, check.until) = (check.at + by, check.until + by),
            Self::Back(check) => check.shift(by),
            Self::Landing(check) => check.shift(by),
            Self::Low(_) | Self::High(_) | Self::Evening(_) | Self::Driving(_) => {}
        }
    }
}
