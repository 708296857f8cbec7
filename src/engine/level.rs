//! One level: a limit with deadband, on-delay and off-delay. Driven by readings alone, so that a level
//! never changes without a value to show for it. Knows nothing of other levels, of day and night.

use super::policy::LevelPolicy;
use super::effect::{Id, Side};
use crate::domain::glucose::Glucose;
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// An episode is over when values have been back for this long (consensus on sensor metrics, Danne
/// 2017, Diabetes Care 40:1631: 15 minutes).
const EPISODE_OVER_MIN: i64 = 15;

/// After a silence this long, or this many cadences, a value still beyond the limit is news.
const SILENCE_MIN: i64 = 20;
const SILENCE_SPARSE_MIN: i64 = 35;
const SPARSE_CADENCE_MIN: i64 = 10;

/// Readings come a little early or late: a delay counts as over when this little is missing.
const JITTER_MIN: i64 = 1;

/// Where a level stands.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Level {
    /// Not beyond the limit.
    #[default]
    Clear,
    /// Beyond the limit, the on-delay still runs.
    Waiting {
        /// First reading beyond.
        since: Timestamp,
    },
    /// The alert is active.
    Active(Active),
}

/// An active alert.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Active {
    /// Its number.
    pub id: Id,
    /// The alert it grew out of, or that hides it.
    pub part_of: Option<Id>,
    /// First reading beyond the limit.
    pub since: Timestamp,
    /// What the wearer has been told of it.
    pub told: Told,
    /// Marked as seen.
    pub seen: bool,
    /// Where its values are.
    pub values: Values,
    /// Last reading judged.
    pub last: Timestamp,
    /// When it last rang, or would have.
    pub rang: Timestamp,
}

/// What the wearer has been told of an active alert.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Told {
    /// It rang.
    Rang,
    /// It is held until the morning.
    Held,
    /// A worse level spoke for it.
    Hidden,
}

/// Where the values of an active alert are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Values {
    /// Beyond the limit, in the episode that rang.
    Beyond,
    /// Beyond the limit again after the episode was over; not yet rung for.
    Anew { since: Timestamp },
    /// Back at the limit or within it.
    Inside {
        /// First reading back.
        since: Timestamp,
        /// First reading past the deadband, in an unbroken row.
        past_deadband: Option<Timestamp>,
        /// The new episode that was under way when values came back, not yet rung for.
        anew: Option<Timestamp>,
    },
}

/// What a reading does to a level.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Step {
    /// Nothing to tell.
    None,
    /// The alert becomes active.
    Raise { since: Timestamp },
    /// The alert rings again for a new episode.
    Anew { since: Timestamp },
    /// The alert rings again after a silence.
    Still { silent_since: Timestamp },
    /// The alert ends.
    End { since: Timestamp },
}

/// A value as one level of one side sees it.
#[derive(Debug, Clone, Copy)]
pub struct Seen {
    /// The side of the range.
    pub side: Side,
    /// The value.
    pub value: Glucose,
    /// When it was measured.
    pub measured: Timestamp,
    /// The source's cadence.
    pub cadence: Span,
}

impl Seen {
    /// How far beyond the limit, in hundredths; negative or zero when not beyond.
    const fn beyond(&self, policy: &LevelPolicy) -> i32 {
        let (value, limit) = (self.value.hundredths(), policy.limit.hundredths());
        match self.side {
            Side::Low => limit - value,
            Side::High => value - limit,
        }
    }
}

impl Level {
    /// Judges one reading. The caller raises: it knows the number to give.
    pub fn step(&mut self, policy: &LevelPolicy, seen: &Seen) -> Step {
        let beyond = seen.beyond(policy);
        match self {
            Self::Clear | Self::Waiting { .. } if beyond <= 0 => {
                *self = Self::Clear;
                Step::None
            }
            Self::Clear => self.wait(policy, seen, seen.measured),
            Self::Waiting { since } => {
                let since = *since;
                self.wait(policy, seen, since)
            }
            Self::Active(active) => {
                let step = active.step(policy, seen, beyond);
                if matches!(step, Step::End { .. }) {
                    *self = Self::Clear;
                }
                step
            }
        }
    }

    /// The active alert, if there is one.
    #[must_use]
    pub const fn active(&self) -> Option<&Active> {
        match self {
            Self::Active(active) => Some(active),
            Self::Clear | Self::Waiting { .. } => None,
        }
    }

    /// The active alert, to be changed.
    pub const fn active_mut(&mut self) -> Option<&mut Active> {
        match self {
            Self::Active(active) => Some(active),
            Self::Clear | Self::Waiting { .. } => None,
        }
    }

    fn wait(&mut self, policy: &LevelPolicy, seen: &Seen, since: Timestamp) -> Step {
        if lasted(seen.measured - since, policy.on_delay) {
            Step::Raise { since }
        } else {
            *self = Self::Waiting { since };
            Step::None
        }
    }
}

impl Active {
    fn step(&mut self, policy: &LevelPolicy, seen: &Seen, beyond: i32) -> Step {
        let silence = seen.measured - self.last;
        let silent_since = self.last;
        self.last = seen.measured;
        if beyond <= 0 {
            return self.inside(policy, seen, beyond);
        }
        let sparse = seen.cadence >= Span::minutes(SPARSE_CADENCE_MIN);
        let long = if sparse { SILENCE_SPARSE_MIN } else { SILENCE_MIN };
        let may_ring = lasted(seen.measured - self.rang, policy.again_quiet);
        if silence > Span::minutes(long) && may_ring {
            self.values = Values::Beyond;
            self.rang = seen.measured;
            return Step::Still { silent_since };
        }
        let over = Span::minutes(EPISODE_OVER_MIN);
        let anew = match self.values {
            Values::Beyond => return Step::None,
            Values::Anew { since } => since,
            Values::Inside { since, .. } if seen.measured - since > over => seen.measured,
            Values::Inside { anew: Some(anew), .. } => anew,
            Values::Inside { anew: None, .. } => {
                self.values = Values::Beyond;
                return Step::None;
            }
        };
        // The next reading of a sparse sensor is too far off to wait for.
        let sure = sparse
            || lasted(seen.measured - anew, policy.again_after)
            || beyond >= policy.again_beyond.hundredths();
        if sure && may_ring {
            self.values = Values::Beyond;
            self.rang = seen.measured;
            return Step::Anew { since: anew };
        }
        self.values = Values::Anew { since: anew };
        Step::None
    }

    fn inside(&mut self, policy: &LevelPolicy, seen: &Seen, beyond: i32) -> Step {
        let (since, row, anew) = match self.values {
            Values::Beyond => (seen.measured, None, None),
            Values::Anew { since } => (seen.measured, None, Some(since)),
            Values::Inside { since, past_deadband, anew } => (since, past_deadband, anew),
        };
        // Back for an episode's length: a dip that was not yet rung for is over as well.
        let anew = anew.filter(|_| seen.measured - since < Span::minutes(EPISODE_OVER_MIN));
        let past_deadband = (-beyond >= policy.deadband.hundredths()).then(|| row.unwrap_or(seen.measured));
        self.values = Values::Inside { since, past_deadband, anew };
        match past_deadband {
            Some(past) if lasted(seen.measured - past, policy.off_delay) => Step::End { since: past },
            Some(_) | None => Step::None,
        }
    }
}

/// Has a delay passed, give or take the jitter of readings?
fn lasted(span: Span, delay: Span) -> bool {
    span + Span::minutes(JITTER_MIN) >= delay
}
