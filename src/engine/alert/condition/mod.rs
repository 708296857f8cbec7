//! What there can be an alert or a message about: one table, a row for each condition. Whatever differs from condition
//! to condition and is no rule of its own stands here, and lists, longest mutes, words and documents follow from it.
//! Judges nothing.

mod table;

use crate::domain::time::Span;
use crate::engine::alert::priority::Rule;
use crate::engine::effect::Side;
use serde::{Deserialize, Serialize};
use table::TABLE;

/// What a decision is about.
///
/// The four levels are named as LOINC names the ranges (104642-4 very low, 104641-6 low, 104640-8
/// high, 104639-0 very high).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Condition {
    /// Glucose below the very low limit.
    VeryLow,
    /// Glucose below the low limit.
    Low,
    /// Glucose above the high limit.
    High,
    /// Glucose above the very high limit.
    VeryHigh,
    /// Glucose below a cautious limit that a mode or a profile asks for.
    Caution,
    /// Glucose is likely to fall below the very low limit soon.
    ForecastVeryLow,
    /// Glucose is likely to fall below the low limit soon.
    ForecastLow,
    /// Glucose is likely to rise above the high limit soon.
    ForecastHigh,
    /// Glucose has risen far, and nothing was noted for it.
    UnnotedRise,
    /// A streaming source has gone silent.
    Gap,
    /// A source sends what cannot be read, or what cannot be glucose.
    SourceFailed,
    /// A way to reach the wearer does not work, or none does.
    ChannelFailed,
    /// Readings alternate between two signals that cannot both be true.
    TwoSignals,
    /// The memory of a scanned sensor fills.
    Scan,
    /// A sensor comes to its end.
    Sensor,
    /// Looking again after a high.
    RecheckHigh,
    /// Looking again after a low.
    RecheckLow,
    /// A correction upon a dose that still works.
    Stacking,
    /// Past readings that came in late.
    WhileAway,
    /// A stretch nobody watched.
    NotWatching,
    /// What the wearer said, where it is about no alert.
    Diary,
    /// One of the wearer's own reminders.
    Reminder,
    /// What the night held.
    Morning,
    /// What is known before the wearer sleeps.
    Bedtime,
    /// A mode: its looks, its end, and whether it is too early to drive.
    Mode,
    /// What other quiet hours held.
    Digest,
    /// A level is switched off.
    OutOfService,
    /// Several alerts told as one.
    Flood,
    /// Ketones that are raised, or a red flag of them.
    Ketones,
}

/// What is known of a condition.
#[derive(Debug, Clone, Copy)]
#[expect(clippy::struct_excessive_bools, reason = "a row of a table: each column says yes or no by itself")]
pub struct Row {
    /// Which.
    pub condition: Condition,
    /// Its name in settings and in machine-readable output: once written it stays.
    pub name: &'static str,
    /// What is said for it where several things are told in one line.
    pub short: &'static str,
    /// What somebody who sees no values is told to do.
    pub discreet: &'static str,
    /// Which side of the range it is about, where it is about a value.
    pub side: Option<Side>,
    /// Of a forecast, the level it foresees.
    pub foresees: Option<Condition>,
    /// What it is in the register.
    pub kind: Kind,
    /// Its place among open alerts: of each side the worse first, then what is foreseen, then sensors and channels.
    pub order: u32,
    /// How its priority follows from what is decided.
    pub(in crate::engine) rank: Rule,
    /// In quiet hours.
    pub waits: Waits,
    /// The longest mute, in minutes; none for what rings only when it is answered or asked for.
    mute_longest_min: Option<i64>,
    /// Which of the topics that a person may be told of at the first ring.
    pub topic: Option<Topic>,
    /// Several of it and others at once may be told as one.
    pub may_flood: bool,
    /// Told once, it may be made to ring again by steps for information; what was true only when it was told may not.
    pub may_be_asked_again: bool,
    /// A value that is said with it is said with its doubt.
    pub says_doubt: bool,
    /// It only tells, so that there is nothing to answer.
    pub only_tells: bool,
    /// The wearer can do something about it at the sensor.
    pub about_sensor: bool,
    /// What the morning calls it, where it tells of a night's stretches of it.
    pub overnight: Option<&'static str>,
    /// Among several the smaller comes first.
    pub gravity: u8,
}

/// What a condition is in the register.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// An alert of a value: nobody's steps but those for lows, and looks for highs, ask about it again.
    Value,
    /// An alert that lasts and that nothing else asks about again: the steps of its priority do.
    Lasting,
    /// No alert: a check, or something that is told.
    Told,
}

/// May a ring wait for the end of quiet hours?
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Waits {
    /// As the settings of its level say, and never with high priority.
    AsItsLevel,
    /// With low priority, or none.
    WhenMinor,
    /// Only that it is over.
    ItsEnd,
    /// Only what does not ask the wearer: its questions have put off by the same rule what may wait.
    AllButQuestions,
    /// Never.
    Never,
}

/// A topic that a person may be told of at the first ring.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Topic {
    /// Low and very low.
    Lows,
    /// High and very high.
    Highs,
    /// Silences, and sources that cannot be read.
    Gaps,
}

impl Condition {
    /// All of them.
    pub const ALL: [Self; 29] = {
        let mut all = [Self::Diary; 29];
        let mut place = 0;
        while place < all.len() {
            let condition = TABLE[place].condition;
            assert!(condition as usize == place, "the rows of the table stand in the order of the conditions");
            all[place] = condition;
            place += 1;
        }
        all
    };

    /// The levels: of each side the worse first.
    pub const LEVELS: [Self; 5] = [Self::VeryLow, Self::Low, Self::Caution, Self::VeryHigh, Self::High];

    /// The forecasts.
    pub const FORECASTS: [Self; 3] = [Self::ForecastVeryLow, Self::ForecastLow, Self::ForecastHigh];

    /// What is known of it.
    #[must_use]
    pub const fn row(self) -> &'static Row {
        const ROWS: &[Row; 29] = &TABLE;
        &ROWS[self as usize]
    }

    /// Its name in settings and in machine-readable output.
    #[must_use]
    pub const fn name(self) -> &'static str {
        self.row().name
    }

    /// By its name.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|condition| condition.name() == name)
    }

    /// Of a forecast, the level it foresees.
    #[must_use]
    pub const fn foreseen(self) -> Option<Self> {
        self.row().foresees
    }

    /// Which side of the range it is about, where it is about a value.
    #[must_use]
    pub const fn side(self) -> Option<Side> {
        self.row().side
    }

    /// Is it about a value, rather than about sensor, channels or diary?
    #[must_use]
    pub const fn is_about_glucose(self) -> bool {
        self.side().is_some()
    }

    /// Does an alert of it last, with nothing else that asks about it again?
    #[must_use]
    pub fn is_lasting(self) -> bool {
        self.row().kind == Kind::Lasting
    }

    /// The longest mute of it; none for what rings only when it is answered or asked for.
    #[must_use]
    pub fn mute_longest(self) -> Option<Span> {
        self.row().mute_longest_min.map(Span::minutes)
    }
}

impl Side {
    /// Its levels, the worse first; a caution is none of them.
    #[must_use]
    pub const fn levels(self) -> (Condition, Condition) {
        match self {
            Self::Low => (Condition::VeryLow, Condition::Low),
            Self::High => (Condition::VeryHigh, Condition::High),
        }
    }

    /// Its forecasts, the worse first.
    #[must_use]
    pub const fn forecasts(self) -> &'static [Condition] {
        match self {
            Self::Low => &[Condition::ForecastVeryLow, Condition::ForecastLow],
            Self::High => &[Condition::ForecastHigh],
        }
    }
}
