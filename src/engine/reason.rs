//! Why something was raised, and why something was not. A value, so that the log, `why` and the tests
//! all read the same reason; the sentences are made elsewhere.

use super::alert::calls::StillCalled;
use super::alert::hours::Held;
use super::alert::steps::{Step, Ways};
use super::asked::Odd;
use super::bedtime::Evening;
use super::compare::Compared;
use super::effect::{Condition, Id, Side};
use super::event::Cause;
pub use super::foresee::likely::Likely;
use super::ketones::reason::KetoneWhy;
use super::mode::reason::Why;
use super::morning::Stretch;
use super::nadir::Lowest;
use super::outcome::Found;
pub use super::past::PastSpan;
use super::question::Question;
use super::reminder::{Come, Reminder};
use super::service::OffBecause;
use super::story::Covers;
pub use super::treatment::{Began, Treatment};
use super::two_signals::Trust;
use crate::domain::diary::Kind;
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
    /// What rang just before covers it, until then at the latest.
    Covered { by: Covers, until: Timestamp },
    /// By night this waits for the morning.
    Night { until: Timestamp },
    /// In quiet hours this waits for their end.
    QuietHours { until: Timestamp },
    /// The value has been back within the deadband's far side for the off-delay.
    BackWithin { since: Timestamp },
    /// A reading beyond the limit is likely soon.
    Likely(Likely),
    /// What was foreseen is there.
    CameTrue { limit: Glucose, since: Timestamp },
    /// What was foreseen has not come in the time it stood.
    DidNotCome { limit: Glucose, since: Timestamp },
    /// A forecast rang a short while ago.
    RangLately { rang: Timestamp },
    /// Food was noted: what is foreseen of a low is quiet for a while.
    FoodNoted { at: Timestamp, until: Timestamp },
    /// A low that is back since then was looked at once more, and has stayed so.
    StaysBack { back: Timestamp },
    /// The same, and it may come again: it falls, or is only just back.
    SlipsBack { back: Timestamp, falls: bool },
    /// A high that is in range comes down further; insulin still acts.
    Landing { acts: bool, next: Timestamp },
    /// What was treated is looked at soon anyway.
    LookComes { next: Timestamp },
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
    /// A channel comes and goes: how often one failed since then, and which fail now.
    ChannelFlaps { times: u32, since: Option<Timestamp>, words: Vec<String> },
    /// A look found the high coming down: look again later, ask nothing.
    ComingDown {
        treated: Treatment,
        next: Timestamp,
        #[serde(default)]
        found: Found,
    },
    /// A look found the high neither coming down nor such that this therapy asks so early.
    TooEarly {
        treated: Treatment,
        next: Timestamp,
        #[serde(default)]
        found: Found,
    },
    /// A look found the high not coming down, or the wearer asked to be asked now.
    NotComingDown {
        treated: Treatment,
        asked_for: bool,
        next: Timestamp,
        #[serde(default)]
        found: Found,
    },
    /// A very high one stays: ketones, and pen or set, are asked about.
    HighStays(Box<Question>),
    /// A look found it falling so fast that a low may follow.
    FallingTooFast { treated: Treatment, next: Timestamp, found: Found },
    /// A high that was treated in the evening was looked at in the small hours.
    EveningLook { treated: Treatment },
    /// A correction was noted while the dose before it still works.
    Stacked { earlier: Timestamp, later: Timestamp },
    /// There is nothing to ask about a high now: it is coming down, within range, or not to be seen.
    NothingToAsk { next: Timestamp },
    /// A high that came soon after a low is not asked about yet.
    AfterLow { low: Timestamp, next: Timestamp },
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
    SensorStarted {
        at: Timestamp,
        until: Timestamp,
        end: Option<Timestamp>,
        /// How long it gives nothing is not set.
        #[serde(default)]
        asks: bool,
    },
    /// A sensor was taken off; until then its silence is no alert.
    SensorOff { until: Timestamp },
    /// A sensor comes to its end.
    SensorEnds { end: Timestamp },
    /// Nobody has answered this low; what was done about it now.
    Unanswered {
        since: Timestamp,
        step: Step,
        told: Vec<(u8, Timestamp)>,
        #[serde(default)]
        ways: Ways,
    },
    /// Nobody has answered what rang for that reason; what was done about it now.
    StillUnanswered { since: Timestamp, of: Box<Reason>, step: Step, told: Vec<(u8, Timestamp)>, ways: Ways },
    /// The low was answered, by the wearer if nobody else is named, and stays.
    NotRecovering {
        since: Timestamp,
        answered: Timestamp,
        #[serde(default)]
        by: Option<String>,
        told: Vec<(u8, Timestamp)>,
    },
    /// The low was answered, and how it goes is not known.
    StillCalled(StillCalled),
    /// Somebody said that they have the low, or are with the wearer, and is asked; others are called then.
    HowIsIt { since: Timestamp, said: Timestamp, by: String, with: bool, next: Timestamp },
    /// A child has seen what rings, and a carer is to answer.
    ChildSeen,
    /// A low rings again because it lasts, whatever was answered; who answered, and when, if somebody did.
    LowLasts {
        since: Timestamp,
        answered: Option<Timestamp>,
        #[serde(default)]
        by: Option<String>,
    },
    /// Nobody has answered what was asked about a high since then; when it began, and who was called before.
    HighUnanswered { began: Timestamp, since: Timestamp, told: Vec<(u8, Timestamp)> },
    /// Somebody has answered: the wearer if nobody else is named.
    Answered {
        at: Timestamp,
        #[serde(default)]
        by: Option<String>,
    },
    /// Nobody in the settings has that name.
    NoSuchPerson { names: Vec<String> },
    /// The low that somebody was called for is over.
    LowOver { since: Timestamp },
    /// The signal that was low gives nothing any more: its last low value, and when.
    NoLongerWatched { last: Glucose, at: Timestamp },
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
    /// It is said in the message of a worse one of the same moment.
    SaidWith { condition: Condition, id: Id },
    /// While it is low this waits for its end; that a high is over is not said then.
    WhileLow,
    /// It rang a moment ago, or often in the last half hour: this waits until then.
    RangJustNow { until: Timestamp },
    /// Several alerts came at once, and are told as one.
    Flood { since: Timestamp },
    /// So many distinct alerts so far, the first of them, and those that did not ring by themselves and still stand.
    FloodTold { count: u32, first: Box<Held>, held: Vec<Held>, more: u32 },
    /// Nothing new has come for a while: what did not ring, and still stands.
    FloodOver { held: Vec<Held>, more: u32 },
    /// These levels are switched off.
    SwitchedOff { levels: Vec<OffBecause> },
    /// The wearer's bedtime has come: what is known then.
    Bedtime { evening: Evening },
    /// No source has that name.
    NoSuchSource { names: Vec<String> },
    /// Glucose has risen from this value, and no insulin was noted from an hour before that on; by night nobody is asked.
    /// Food that was noted names the meal.
    UnnotedRise { from: Glucose, since: Timestamp, none_since: Timestamp, by_night: bool, food: Option<Timestamp> },
    /// A meter beside a sensor.
    Compared(Compared),
    /// A look found the low still there, after so many treatments.
    StillLow {
        treated: Treatment,
        #[serde(default)]
        lowest: Option<Lowest>,
        #[serde(default)]
        treatments: u32,
        next: Timestamp,
    },
    /// A meter saw a low, and nobody has measured since: a sensor that is within range does not end it.
    MeterAgain { measured: Timestamp, meter: Glucose, next: Timestamp },
    /// A meter within range beside a sensor that is not: the sensor's alert is quiet until then, if it may be.
    MeterDisagrees {
        condition: Condition,
        meter: Glucose,
        sensor: Glucose,
        sensor_at: Timestamp,
        until: Option<Timestamp>,
    },
    /// A meter says low, and no alert of a sensor does: it is looked at again.
    LowByMeter { meter: Glucose, sensor: Option<Glucose>, next: Timestamp },
    /// A finger-prick denied the low then, the sensor still says it, and nobody has measured since.
    PrickAgain { measured: Timestamp, meter: Glucose },
    /// Of two signals the lower is very low and a finger-prick is near the higher: a second one from then on decides.
    SecondDecides { meter: Glucose, lower: Glucose, from: Timestamp },
    /// A look found no fresh reading: measure or scan.
    NoFreshReading { treated: Treatment, last: Option<Timestamp>, next: Timestamp },
    /// The treated value is back within range.
    Back {
        treated: Treatment,
        #[serde(default)]
        found: Option<Found>,
    },
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
    /// A note was taken in, and it is asked whether it was meant: for what is odd about its amount, and for the low that
    /// insulin was noted for.
    Meant { kind: Kind, at: Timestamp, odd: Option<Odd>, low: Option<Glucose> },
    /// A pump's set was changed, and is looked at then.
    SetNoted { at: Timestamp, look: Timestamp },
    /// A look at a pump's new set: whether it seems to work.
    NewSet { at: Timestamp, works: bool },
    /// Rapid insulin was taken for long-acting: until when it is looked at, and who else is told.
    RapidForLong { at: Timestamp, until: Timestamp, told: Option<u8> },
    /// A look at rapid insulin that was taken for long-acting.
    MistakenLook { at: Timestamp, next: Option<Timestamp> },
    /// Rapid insulin that was taken for long-acting has done its work, or was none.
    MistakenOver { at: Timestamp, taken_back: bool },
    /// What was kept while nobody watched has been taken in: each line, and what was answered.
    KeptAnswered { lines: Vec<String> },
    /// No dose is in question.
    NothingInQuestion,
    /// Long-acting insulin was noted for a time at which glucose was low.
    LongActingWhileLow { at: Timestamp, glucose: Glucose },
    /// What is open began long after it is said to have been treated.
    TreatedBefore { side: Side, at: Timestamp, since: Timestamp },
    /// The diary no longer says that this was treated: since when it stands, and when it is asked about, or calls.
    NoLongerTreated { side: Side, since: Option<Timestamp>, next: Option<Timestamp> },
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
    /// It is about a mode, or follows from one.
    Mode { said: Why },
    /// It is about ketones.
    Ketones { said: KetoneWhy },
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
