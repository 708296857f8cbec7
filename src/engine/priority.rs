//! The priority of each decision, from one written table.
//!
//! The scheme is table 1 of IEC 60601-1-8 (result of no response, and how soon harm could begin);
//! which row a condition falls in is our own reading of it:
//!
//! | decision | if nobody responds | begins | priority |
//! |---|---|---|---|
//! | very low | irreversible harm possible | prompt | high |
//! | low | reversible | prompt | medium |
//! | low still low at a look, not rising, or not to be seen | irreversible harm possible | prompt | high |
//! | low that a meter saw, not measured since, and no sensor sees | reversible | prompt | medium |
//! | low that nobody answers, or that stays when answered | irreversible harm possible | prompt | high |
//! | caution, and one that was treated and is not back | reversible | prompt | medium |
//! | ketones on a sick day | irreversible harm possible, unseen | delayed | medium |
//! | very high | irreversible harm possible (ketones) | delayed | medium |
//! | high | reversible | delayed | low |
//! | gap after a low or falling value | unseen low | prompt | medium |
//! | gap otherwise | reversible | delayed | low |
//! | source or channels fail | loss of protection | delayed | medium |
//! | two signals | one of them may hide a low | prompt | medium |
//! | last call for a scan, memory full | values lost | delayed | low |
//! | re-check of a high, past readings, stretches not watched, first call for a scan, end of a sensor, own reminders, the line before sleep, looks and ends of modes, too early to drive | none by themselves | - | information |
//!
//! Deviation: a gap after a low is high by the letter of the table; medium, since the low is not established.

use super::effect::{Condition, Priority};
use super::mode::reason::{Asks, Why};
use super::reason::{Call, Reason};
use super::trend::Rate;

/// The priority of a decision.
pub(super) fn of(condition: Condition, reason: &Reason, rate: Option<Rate>) -> Priority {
    // That nobody answers makes only a low graver.
    let reason = reason.first();
    match condition {
        _ if matches!(reason, Reason::Unanswered { .. } | Reason::NotRecovering { .. }) => Priority::High,
        _ if matches!(reason, Reason::Answered { .. } | Reason::LowOver { .. }) => Priority::Information,
        Condition::VeryLow => Priority::High,
        Condition::Low
        | Condition::Caution
        | Condition::VeryHigh
        | Condition::SourceFailed
        | Condition::ChannelFailed
        | Condition::TwoSignals => Priority::Medium,
        Condition::High => Priority::Low,
        Condition::Gap => match reason {
            Reason::NothingReached { grave: true, .. } => Priority::Medium,
            _ => Priority::Low,
        },
        Condition::RecheckLow => match reason {
            Reason::StillLow { .. } if rate.is_some_and(|rate| rate.direction().rises()) => Priority::Medium,
            Reason::StillLow { .. } | Reason::NoFreshReading { .. } => Priority::High,
            Reason::MeterAgain { .. } | Reason::Mode { said: Why::StillBelow { .. } } => Priority::Medium,
            _ => Priority::Information,
        },
        Condition::Scan => match reason {
            Reason::ScanDue { call: Call::Last | Call::Full, .. } => Priority::Low,
            _ => Priority::Information,
        },
        Condition::Mode => match reason {
            Reason::Mode { said: Why::Look { asks: Asks { ketones: true, .. }, .. } } => Priority::Medium,
            _ => Priority::Information,
        },
        Condition::Sensor
        | Condition::RecheckHigh
        | Condition::WhileAway
        | Condition::NotWatching
        | Condition::Diary
        | Condition::Morning
        | Condition::Bedtime
        | Condition::Reminder => Priority::Information,
    }
}
