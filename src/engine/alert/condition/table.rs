//! The table of conditions, in the order they are listed in [`Condition`]. A new condition is a row here, and its rule
//! in a file of its own. Holds no rule.

use super::{Condition, Kind, Row, Topic, Waits};
use crate::engine::alert::priority::{Rank, Rule};
use crate::engine::effect::{Priority, Side};

/// What only tells, as most do.
const TELLS: Row = Row {
    condition: Condition::Diary,
    name: "",
    short: "a message",
    discreet: "Look when you can",
    side: None,
    foresees: None,
    kind: Kind::Told,
    order: ORDER_LAST,
    rank: Rule::Always(Priority::Information),
    waits: Waits::WhenMinor,
    mute_longest_min: None,
    topic: None,
    may_flood: true,
    may_be_asked_again: true,
    says_doubt: false,
    only_tells: true,
    about_sensor: false,
    overnight: None,
    gravity: 6,
};

const ORDER_LAST: u32 = 99;

/// What is told as it was at one moment, and is part of nothing.
const AT_ONE_TIME: Row = Row { may_flood: false, may_be_asked_again: false, ..TELLS };

/// A value beyond a limit, or likely to be.
const VALUE: Row = Row { kind: Kind::Value, says_doubt: true, only_tells: false, ..TELLS };

/// The level of a side.
const LOW: Row = Row {
    side: Some(Side::Low),
    waits: Waits::AsItsLevel,
    topic: Some(Topic::Lows),
    discreet: "Treat by your plan",
    ..VALUE
};
const HIGH: Row = Row {
    side: Some(Side::High),
    waits: Waits::AsItsLevel,
    topic: Some(Topic::Highs),
    discreet: "Check, and note what you did",
    ..VALUE
};

/// What is foreseen: what could not ring was withheld when it was decided, so that it waits for nothing, and the level
/// that was foreseen tells the same in a flood.
const FORESEEN: Row = Row { waits: Waits::Never, may_flood: false, ..VALUE };

/// What is wrong with a sensor or its source.
const SOURCE: Row = Row {
    kind: Kind::Lasting,
    discreet: "Check the sensor",
    mute_longest_min: Some(60),
    may_be_asked_again: false,
    only_tells: false,
    about_sensor: true,
    ..TELLS
};

/// Longest mutes: common practice for the kinds, our own for the spans: a low that is still there after a quarter of an
/// hour is treated again, a high acts slowly.
pub(super) const TABLE: [Row; 29] = [
    Row {
        condition: Condition::VeryLow,
        name: "very_low",
        short: "very low",
        discreet: "Treat now",
        order: 0,
        rank: Rule::Always(Priority::High),
        mute_longest_min: Some(10),
        overnight: Some("very low"),
        gravity: 0,
        ..LOW
    },
    Row {
        condition: Condition::Low,
        name: "low",
        short: "low",
        order: 1,
        rank: Rule::Always(Priority::Medium),
        mute_longest_min: Some(15),
        overnight: Some("low"),
        gravity: 1,
        ..LOW
    },
    Row {
        condition: Condition::High,
        name: "high",
        short: "high",
        order: 3,
        rank: Rule::Always(Priority::Low),
        mute_longest_min: Some(120),
        overnight: Some("high"),
        ..HIGH
    },
    Row {
        condition: Condition::VeryHigh,
        name: "very_high",
        short: "very high",
        order: 2,
        rank: Rule::Always(Priority::Medium),
        mute_longest_min: Some(120),
        overnight: Some("very high"),
        gravity: 4,
        ..HIGH
    },
    Row {
        condition: Condition::Caution,
        name: "caution",
        short: "below a cautious limit",
        discreet: "Check, and follow your plan",
        order: 4,
        rank: Rule::Always(Priority::Medium),
        waits: Waits::WhenMinor,
        mute_longest_min: Some(30),
        topic: None,
        overnight: Some("caution"),
        gravity: 5,
        ..LOW
    },
    Row {
        condition: Condition::ForecastVeryLow,
        name: "forecast_very_low",
        short: "very low likely",
        discreet: "Check, and follow your plan",
        side: Some(Side::Low),
        foresees: Some(Condition::VeryLow),
        order: 5,
        rank: Rule::Always(Priority::Medium),
        mute_longest_min: Some(15),
        ..FORESEEN
    },
    Row {
        condition: Condition::ForecastLow,
        name: "forecast_low",
        short: "low likely",
        discreet: "Check, and follow your plan",
        side: Some(Side::Low),
        foresees: Some(Condition::Low),
        order: 6,
        rank: Rule::Always(Priority::Low),
        mute_longest_min: Some(15),
        ..FORESEEN
    },
    Row {
        condition: Condition::ForecastHigh,
        name: "forecast_high",
        short: "high likely",
        discreet: "Check, and note what you did",
        side: Some(Side::High),
        foresees: Some(Condition::High),
        order: 7,
        rank: Rule::Always(Priority::Low),
        mute_longest_min: Some(120),
        ..FORESEEN
    },
    Row {
        condition: Condition::UnnotedRise,
        name: "unnoted_rise",
        short: "a rise",
        mute_longest_min: Some(120),
        says_doubt: true,
        ..TELLS
    },
    Row {
        condition: Condition::Gap,
        name: "gap",
        short: "no readings",
        order: 8,
        rank: Rule::By(Rank::Silence),
        waits: Waits::Never,
        topic: Some(Topic::Gaps),
        overnight: Some("no readings"),
        gravity: 3,
        ..SOURCE
    },
    Row {
        condition: Condition::SourceFailed,
        name: "source_failed",
        short: "trouble with a source",
        order: 8,
        rank: Rule::Always(Priority::Medium),
        topic: Some(Topic::Gaps),
        ..SOURCE
    },
    Row {
        condition: Condition::ChannelFailed,
        name: "channel_failed",
        short: "a channel that fails",
        discreet: "Look when you can",
        order: 10,
        rank: Rule::Always(Priority::Medium),
        mute_longest_min: None,
        about_sensor: false,
        ..SOURCE
    },
    Row {
        condition: Condition::TwoSignals,
        name: "two_signals",
        short: "two signals",
        order: 9,
        rank: Rule::Always(Priority::Medium),
        ..SOURCE
    },
    Row {
        condition: Condition::Scan,
        name: "scan",
        short: "a scan",
        discreet: "Scan the sensor",
        rank: Rule::By(Rank::Scan),
        mute_longest_min: Some(60),
        only_tells: false,
        about_sensor: true,
        ..TELLS
    },
    Row { condition: Condition::Sensor, name: "sensor", short: "the sensor's end", about_sensor: true, ..TELLS },
    Row {
        condition: Condition::RecheckHigh,
        name: "recheck_high",
        short: "a look at a high",
        discreet: "Check again",
        side: Some(Side::High),
        rank: Rule::By(Rank::CheckOfHigh),
        waits: Waits::AllButQuestions,
        mute_longest_min: Some(120),
        says_doubt: true,
        only_tells: false,
        ..TELLS
    },
    Row {
        condition: Condition::RecheckLow,
        name: "recheck_low",
        short: "a look at a low",
        discreet: "Check again",
        side: Some(Side::Low),
        rank: Rule::By(Rank::CheckOfLow),
        mute_longest_min: Some(15),
        says_doubt: true,
        only_tells: false,
        ..TELLS
    },
    Row {
        condition: Condition::Stacking,
        name: "stacking",
        short: "two doses that overlap",
        only_tells: false,
        ..TELLS
    },
    Row { condition: Condition::WhileAway, name: "while_away", short: "late readings", ..TELLS },
    Row { condition: Condition::NotWatching, name: "not_watching", short: "not watching", gravity: 2, ..TELLS },
    Row {
        condition: Condition::Diary,
        name: "diary",
        short: "a diary line",
        rank: Rule::By(Rank::Diary),
        only_tells: false,
        ..TELLS
    },
    Row {
        condition: Condition::Reminder,
        name: "reminder",
        short: "a reminder",
        discreet: "Your reminder",
        waits: Waits::Never,
        may_flood: false,
        says_doubt: true,
        ..TELLS
    },
    Row { condition: Condition::Morning, name: "morning", discreet: "The night is over", ..AT_ONE_TIME },
    Row {
        condition: Condition::Bedtime,
        name: "bedtime",
        discreet: "Before you sleep",
        waits: Waits::Never,
        says_doubt: true,
        ..AT_ONE_TIME
    },
    Row {
        condition: Condition::Mode,
        name: "mode",
        rank: Rule::By(Rank::Mode),
        waits: Waits::ItsEnd,
        only_tells: false,
        ..AT_ONE_TIME
    },
    Row { condition: Condition::Digest, name: "digest", discreet: "Quiet hours are over", ..AT_ONE_TIME },
    Row { condition: Condition::OutOfService, name: "out_of_service", may_be_asked_again: true, ..AT_ONE_TIME },
    Row {
        condition: Condition::Flood,
        name: "flood",
        discreet: "Several alerts. Look now",
        rank: Rule::By(Rank::Several),
        waits: Waits::Never,
        ..AT_ONE_TIME
    },
    Row {
        condition: Condition::Ketones,
        name: "ketones",
        short: "ketones",
        discreet: "Look now, and follow your plan",
        kind: Kind::Lasting,
        order: 2,
        rank: Rule::By(Rank::Ketones),
        waits: Waits::Never,
        may_flood: false,
        may_be_asked_again: false,
        only_tells: false,
        gravity: 0,
        ..TELLS
    },
];
