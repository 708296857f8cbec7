//! Why something was raised, and why something was not. A value, so that the log, `why` and the tests
//! all read the same reason; the sentences are made elsewhere.

use super::effect::{Condition, Id, Side};
use super::escalation::Step;
use super::event::Cause;
use super::hours::Held;
use super::morning::Stretch;
use super::reminder::{Come, Reminder};
use super::service::OffBecause;
use super::two_signals::Trust;
use crate::domain::glucose::Glucose;
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// The reason of one decision.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "why")]
#[allow(missing_docs, reason = "the sentence above each variant says what its fields are")]
pub enum Reason {
    /// The value is beyond the limit, and has been for the on-delay.
    BeyondLimit { limit: Glucose, since: Timestamp },
    /// Under an alert that never ended, the value had been back for an episode's length and is beyond
    /// the limit again.
    NewEpisode { limit: Glucose, since: Timestamp },
    /// Readings came back after a silence, and the value is still beyond the limit.
    StillBeyond { limit: Glucose, silent_since: Timestamp },
    /// The worse level of the same side has just ended, and the milder one still holds.
    NoLongerWorse { limit: Glucose, since: Timestamp },
    /// A worse level of the same side is active and speaks for this one.
    WorseActive { worse: Condition },
    /// By night this waits for the morning.
    Night { until: Timestamp },
    /// In quiet hours this waits for their end.
    QuietHours { until: Timestamp },
    /// The value has been back within the deadband's far side for the off-delay.
    BackWithin { since: Timestamp },
    /// The settings no longer hold this condition.
    ConditionGone,
    /// Nothing newer has reached us.
    NothingReached { since: Option<Timestamp>, grave: bool },
    /// Another source was lost in the same minute, and its alert speaks for this one.
    OneCause { first: Id },
    /// Readings arrive again.
    Arriving,
    /// Rows cannot be read any more.
    Unreadable { since: Timestamp, words: String },
    /// Values that cannot be glucose in this unit, several in a row.
    Absurd { since: Timestamp, values: u32 },
    /// One or more ways to reach the wearer fail.
    ChannelsFail { working: usize, words: Vec<String> },
    /// All ways to reach the wearer work again.
    ChannelsWork,
    /// A look found the high coming down: look again later, ask nothing.
    ComingDown { treated: Treatment, next: Timestamp },
    /// A look found the high neither coming down nor such that this therapy asks so early.
    TooEarly { treated: Treatment, next: Timestamp },
    /// A look found the high not coming down, or the wearer asked to be asked now.
    NotComingDown { treated: Treatment, asked_for: bool, next: Timestamp },
    /// There is nothing to ask about a high now: it is coming down, within range, or not to be seen.
    NothingToAsk { next: Timestamp },
    /// Asked by an older version about a low that nobody marked as treated.
    LowNobodyMarked { since: Timestamp, next: Timestamp },
    /// The source's clock runs ahead of this computer's.
    ClockAhead { by: Span },
    /// Single readings come as they are made, all late by the same: the source's clock or zone is behind, or
    /// its export is.
    ClockBehind { by: Span },
    /// Readings come this late time after time: the source is good for history only.
    HistoryOnly { late: Span },
    /// Readings alternate between two signals.
    TwoSignals { lower: Glucose, higher: Glucose, since: Timestamp },
    /// No reading has gone back and forth for an hour.
    OneSignal,
    /// The wearer chose one of two signals.
    Chosen,
    /// From now on these readings count; all, when none are named.
    Trusts { trust: Option<Trust> },
    /// There are no two signals to choose from.
    NothingToChoose,
    /// What was set aside has ended, or what was chosen fell silent: all readings count again.
    AllCount,
    /// One signal is written twice, the second time that much later; the second is left out.
    WrittenTwice { by: Span },
    /// A scanned sensor should be scanned.
    ScanDue { call: Call, last: Timestamp, full: Timestamp },
    /// It was scanned.
    Scanned,
    /// No value of this stretch was read before the sensor's memory was full.
    Lost { from: Timestamp, to: Timestamp },
    /// A new sensor is silent while it warms up.
    WarmingUp { until: Timestamp },
    /// A new sensor was noted.
    SensorStarted { at: Timestamp, until: Timestamp, end: Option<Timestamp> },
    /// A sensor was taken off; until then its silence is no alert.
    SensorOff { until: Timestamp },
    /// A sensor comes to its end.
    SensorEnds { end: Timestamp },
    /// Nobody has answered this low; what was done about it now.
    Unanswered { since: Timestamp, step: Step, told: Vec<(u8, Timestamp)> },
    /// The low was answered, and stays.
    NotRecovering { since: Timestamp, answered: Timestamp, told: Vec<(u8, Timestamp)> },
    /// The wearer has answered.
    Answered { at: Timestamp },
    /// The low that somebody was called for is over.
    LowOver { since: Timestamp },
    /// The wearer wants no ring of this until then.
    Quiet { until: Timestamp },
    /// A limited silence was noted; capped at the longest there is.
    QuietUntil { condition: Condition, until: Timestamp, capped: Option<Span> },
    /// It is not clear what is to be quiet: nothing rang, or what rang may not be.
    QuietWhat { last: Option<Condition> },
    /// Everything rings again.
    QuietOff { conditions: Vec<Condition> },
    /// A limited silence is over, and the value is still beyond its limit.
    QuietOver { since: Timestamp },
    /// What the night held, what waited for its end, and how much more did.
    Morning {
        stretches: Vec<Stretch>,
        rings: u32,
        #[serde(default)]
        held: Vec<Held>,
        #[serde(default)]
        more: u32,
    },
    /// What waited for the end of quiet hours by day, and how much more did.
    Digest { held: Vec<Held>, more: u32 },
    /// Several alerts came at once, and are told as one.
    Flood { since: Timestamp },
    /// So many distinct alerts so far, the first of them, and those that did not ring by themselves and still stand.
    FloodTold { count: u32, first: Box<Held>, held: Vec<Held>, more: u32 },
    /// Nothing new has come for a while: what did not ring, and still stands.
    FloodOver { held: Vec<Held>, more: u32 },
    /// These levels are switched off.
    SwitchedOff { levels: Vec<OffBecause> },
    /// No source has that name.
    NoSuchSource { names: Vec<String> },
    /// A look found the low still there.
    StillLow { treated: Treatment, next: Timestamp },
    /// A look found no fresh reading: measure or scan.
    NoFreshReading { treated: Treatment, last: Option<Timestamp>, next: Timestamp },
    /// The treated value is back within range.
    Back { treated: Treatment },
    /// A high that nobody marked as treated, or that outlived its looks.
    StillHigh { since: Timestamp, marked: bool, next: Timestamp },
    /// A high that was held during the night is still there in the morning.
    NightOver { since: Timestamp, next: Timestamp },
    /// The same of other quiet hours.
    QuietHoursOver { since: Timestamp, next: Timestamp },
    /// Past readings held values beyond these limits.
    Past { spans: Vec<PastSpan>, more: usize },
    /// Nobody was watching.
    Unwatched { from: Timestamp, to: Timestamp, cause: Cause },
    /// A treatment was understood, and these looks follow.
    LooksPlanned { side: Side, treated: Treatment, looks: Vec<Timestamp>, night_rule: bool },
    /// A treatment was told, and it is not clear of what.
    WhichOne { open: Vec<Open> },
    /// No alert has that number, or it is not one to treat.
    NoSuchAlert { id: Id },
    /// A note was taken in, and nothing follows from it.
    Noted,
    /// These alerts are marked as seen.
    MarkedSeen { ids: Vec<Id> },
    /// Lines of a diary file were not understood: the first in words, and how many more.
    DiaryLineRefused { words: String, more: u64 },
    /// A line of a diary file says that something was treated, and it is not clear what.
    DiaryLineAsks { whence: String, at: Timestamp, open: Vec<Open> },
    /// The time of a reminder has come, and what it rings for holds.
    ReminderDue { reminder: Come },
    /// The time of a reminder has come, and no fresh value tells whether what it rings for holds.
    ReminderUnseen { reminder: Come },
    /// The time of a reminder has come, and what it rings for does not hold.
    ReminderNotMet { reminder: Come },
    /// A reminder was understood, and is kept.
    ReminderSet { reminder: Reminder },
    /// These reminders are no more.
    RemindersCancelled { ids: Vec<Id> },
    /// No reminder has that number.
    NoSuchReminder { id: Id },
    /// There are as many reminders as there may be.
    TooManyReminders { most: usize },
}

/// Why a scan is called for; the later is the graver.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Call {
    /// The wearer wants to be asked when they wake.
    Waking,
    /// The wearer wants to be asked before they sleep.
    Bedtime,
    /// A noted scan has not been exported.
    Export,
    /// The memory fills soon, or during the night.
    Soon,
    /// The last call before it is full.
    Last,
    /// It is full.
    Full,
}

/// A treatment that a re-check looks back at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Treatment {
    /// When it was taken.
    pub at: Timestamp,
    /// The value then, if one was fresh.
    pub value: Option<Glucose>,
    /// When the alert that it belongs to began.
    pub alert_since: Option<Timestamp>,
}

/// A stretch of past readings beyond one limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct PastSpan {
    /// Which level.
    pub condition: Condition,
    /// Its limit.
    pub limit: Glucose,
    /// First reading beyond it.
    pub from: Timestamp,
    /// Last reading beyond it.
    pub to: Timestamp,
}

/// An open alert, to choose from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Open {
    /// Its number.
    pub id: Id,
    /// What it is.
    pub condition: Condition,
    /// Since when.
    pub since: Timestamp,
}

impl Reason {
    /// Every word that [`Reason::word`] can answer; the behaviour documents show each of them.
    pub const WORDS: [&'static str; 77] = [
        "beyond_limit",
        "new_episode",
        "still_beyond",
        "no_longer_worse",
        "worse_active",
        "night",
        "quiet_hours",
        "back_within",
        "condition_gone",
        "nothing_reached",
        "one_cause",
        "arriving",
        "unreadable",
        "absurd_values",
        "channels_fail",
        "channels_work",
        "coming_down",
        "too_early",
        "asked_for",
        "not_coming_down",
        "nothing_to_ask",
        "clock_ahead",
        "clock_behind",
        "history_only",
        "two_signals",
        "one_signal",
        "chosen",
        "trusts",
        "nothing_to_choose",
        "all_count",
        "written_twice",
        "scan_due",
        "scanned",
        "lost",
        "warming_up",
        "sensor_started",
        "sensor_off",
        "sensor_ends",
        "unanswered",
        "not_recovering",
        "answered",
        "low_over",
        "quiet",
        "quiet_until",
        "quiet_what",
        "quiet_off",
        "quiet_over",
        "morning",
        "digest",
        "flood",
        "flood_told",
        "flood_over",
        "switched_off",
        "no_such_source",
        "still_low",
        "no_fresh_reading",
        "back",
        "still_high",
        "nobody_marked",
        "night_over",
        "quiet_hours_over",
        "past_readings",
        "unwatched",
        "looks_planned",
        "which_one",
        "no_such_alert",
        "noted",
        "marked_seen",
        "diary_line_refused",
        "diary_line_asks",
        "reminder_due",
        "reminder_unseen",
        "reminder_not_met",
        "reminder_set",
        "reminders_cancelled",
        "no_such_reminder",
        "too_many_reminders",
    ];

    /// The word for it in machine-readable output.
    #[must_use]
    pub const fn word(&self) -> &'static str {
        match self {
            Self::BeyondLimit { .. } => "beyond_limit",
            Self::NewEpisode { .. } => "new_episode",
            Self::StillBeyond { .. } => "still_beyond",
            Self::NoLongerWorse { .. } => "no_longer_worse",
            Self::WorseActive { .. } => "worse_active",
            Self::Night { .. } => "night",
            Self::QuietHours { .. } => "quiet_hours",
            Self::BackWithin { .. } => "back_within",
            Self::ConditionGone => "condition_gone",
            Self::NothingReached { .. } => "nothing_reached",
            Self::OneCause { .. } => "one_cause",
            Self::Arriving => "arriving",
            Self::Unreadable { .. } => "unreadable",
            Self::Absurd { .. } => "absurd_values",
            Self::ChannelsFail { .. } => "channels_fail",
            Self::ChannelsWork => "channels_work",
            Self::ComingDown { .. } => "coming_down",
            Self::TooEarly { .. } => "too_early",
            Self::NotComingDown { asked_for: true, .. } => "asked_for",
            Self::NotComingDown { .. } => "not_coming_down",
            Self::NothingToAsk { .. } => "nothing_to_ask",
            Self::LowNobodyMarked { .. } => "low_nobody_marked",
            Self::ClockAhead { .. } => "clock_ahead",
            Self::ClockBehind { .. } => "clock_behind",
            Self::HistoryOnly { .. } => "history_only",
            Self::TwoSignals { .. } => "two_signals",
            Self::OneSignal => "one_signal",
            Self::Chosen => "chosen",
            Self::Trusts { .. } => "trusts",
            Self::NothingToChoose => "nothing_to_choose",
            Self::AllCount => "all_count",
            Self::WrittenTwice { .. } => "written_twice",
            Self::ScanDue { .. } => "scan_due",
            Self::Scanned => "scanned",
            Self::Lost { .. } => "lost",
            Self::WarmingUp { .. } => "warming_up",
            Self::SensorStarted { .. } => "sensor_started",
            Self::SensorOff { .. } => "sensor_off",
            Self::SensorEnds { .. } => "sensor_ends",
            Self::Unanswered { .. } => "unanswered",
            Self::NotRecovering { .. } => "not_recovering",
            Self::Answered { .. } => "answered",
            Self::LowOver { .. } => "low_over",
            Self::Quiet { .. } => "quiet",
            Self::QuietUntil { .. } => "quiet_until",
            Self::QuietWhat { .. } => "quiet_what",
            Self::QuietOff { .. } => "quiet_off",
            Self::QuietOver { .. } => "quiet_over",
            Self::Morning { .. } => "morning",
            Self::Digest { .. } => "digest",
            Self::Flood { .. } => "flood",
            Self::FloodTold { .. } => "flood_told",
            Self::FloodOver { .. } => "flood_over",
            Self::SwitchedOff { .. } => "switched_off",
            Self::NoSuchSource { .. } => "no_such_source",
            Self::StillLow { .. } => "still_low",
            Self::NoFreshReading { .. } => "no_fresh_reading",
            Self::Back { .. } => "back",
            Self::StillHigh { marked: true, .. } => "still_high",
            Self::StillHigh { .. } => "nobody_marked",
            Self::NightOver { .. } => "night_over",
            Self::QuietHoursOver { .. } => "quiet_hours_over",
            Self::Past { .. } => "past_readings",
            Self::Unwatched { .. } => "unwatched",
            Self::LooksPlanned { .. } => "looks_planned",
            Self::WhichOne { .. } => "which_one",
            Self::NoSuchAlert { .. } => "no_such_alert",
            Self::Noted => "noted",
            Self::MarkedSeen { .. } => "marked_seen",
            Self::DiaryLineRefused { .. } => "diary_line_refused",
            Self::DiaryLineAsks { .. } => "diary_line_asks",
            Self::ReminderDue { .. } => "reminder_due",
            Self::ReminderUnseen { .. } => "reminder_unseen",
            Self::ReminderNotMet { .. } => "reminder_not_met",
            Self::ReminderSet { .. } => "reminder_set",
            Self::RemindersCancelled { .. } => "reminders_cancelled",
            Self::NoSuchReminder { .. } => "no_such_reminder",
            Self::TooManyReminders { .. } => "too_many_reminders",
        }
    }
}
