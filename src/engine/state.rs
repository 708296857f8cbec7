//! What the engine remembers from turn to turn: its form is what is saved.

use super::after_back::Below;
use super::alert::flood::Flood;
use super::alert::hours::Kept;
use super::alert::moment::Moments;
use super::alert::quiet::Quiet;
use super::alert::register::Register;
use super::bedtime::BeforeSleep;
use super::effect::{Condition, Id};
use super::foresee::Foreseen;
use super::ketones::KetonesKnown;
use super::mode::Modes;
use super::morning::Overnight;
use super::past_lows::PastLows;
use super::plan::Plan;
use super::reach::Flaps;
use super::rebound::LastLow;
use super::reminder::Reminder;
use super::rise::Meal;
use super::service::Off;
use super::source::SourceState;
use super::stretch::HighStory;
use super::two_signals::Trust;
use super::window::Window;
use super::working::Doses;
use crate::domain::glucose::Glucose;
use crate::domain::reading::Reading;
use crate::domain::time::Timestamp;
use serde::{Deserialize, Serialize};

/// Version of the snapshot's form. Earlier ones are read by [`State::read`] and converted.
pub const SNAPSHOT_VERSION: u32 = 2;

/// All that the engine remembers. Saved whole at every turn.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct State {
    pub(super) last_id: u64,
    pub(super) window: Window,
    /// Every alert, and the calls for what nobody answers.
    pub register: Register,
    /// Everything that is looked at later.
    pub plan: Plan,
    pub(super) meter: Option<(Timestamp, Glucose)>,
    /// Late readings, until they are told of.
    pub(super) past: Vec<Reading>,
    /// Sources by their number.
    pub sources: Vec<SourceState>,
    /// What the night held so far.
    #[serde(default)]
    pub(super) overnight: Overnight,
    /// Rings that wait for the end of quiet hours.
    #[serde(default)]
    pub kept: Kept,
    /// Conditions that do not ring for a while.
    #[serde(default)]
    pub quiet: Vec<Quiet>,
    /// What rang lately, and a flood of it.
    #[serde(default)]
    pub(super) flood: Flood,
    /// When it rang lately, and what waits to.
    #[serde(default)]
    pub(super) moments: Moments,
    /// Channels that come and go.
    #[serde(default)]
    pub(super) flaps: Option<Flaps>,
    /// Levels that are switched off.
    #[serde(default)]
    pub(super) off: Vec<Off>,
    /// What rang last.
    #[serde(default)]
    pub(super) last_rung: Option<Condition>,
    /// When two signals last alternated.
    #[serde(default)]
    pub(super) two_signals_last: Option<Timestamp>,
    /// What the wearer chose to count; all when nothing.
    #[serde(default)]
    pub trust: Option<Trust>,
    /// The wearer's own reminders, in the order they were asked for.
    #[serde(default)]
    pub reminders: Vec<Reminder>,
    /// The last low, for the high that may follow it.
    #[serde(default)]
    pub(super) last_low: Option<LastLow>,
    /// When glucose was low in the last hours.
    #[serde(default, skip_serializing_if = "PastLows::is_empty")]
    pub(super) past_lows: PastLows,
    /// What the line before sleep tells.
    #[serde(default)]
    pub(super) before_sleep: BeforeSleep,
    /// Modes in force, and what follows from them.
    #[serde(default)]
    pub modes: Modes,
    /// What was measured of ketones, and red flags of them.
    #[serde(default)]
    pub ketones: KetonesKnown,
    /// The insulin that was noted, and what it did.
    #[serde(default)]
    pub doses: Doses,
    /// How long the high there is has gone on, and what was given for it.
    #[serde(default)]
    pub(super) high: HighStory,
    /// The meal there is, as far as a rise tells.
    #[serde(default)]
    pub(super) meal: Option<Meal>,
    /// What is seen to come.
    #[serde(default)]
    pub foreseen: Foreseen,
    /// A low that is not back yet.
    #[serde(default)]
    pub(super) below: Option<Below>,
    /// When a high was last looked at.
    #[serde(default)]
    pub(super) high_looked: Option<Timestamp>,
    /// Stretches of time that are not to be counted.
    #[serde(default)]
    pub(super) left_out: Vec<(Timestamp, Timestamp)>,
}

impl State {
    /// The next number.
    pub(super) const fn take_id(&mut self) -> Id {
        self.last_id += 1;
        Id(self.last_id)
    }
}
