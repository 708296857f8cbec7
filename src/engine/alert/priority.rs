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
//! | very low likely soon | irreversible harm possible | delayed | medium |
//! | low likely soon after one that is back, or while a high comes down | reversible | prompt | medium |
//! | low or high likely soon | reversible | delayed | low |
//! | ketones 3.0 or more, or a red flag of them | irreversible harm possible | prompt | high |
//! | ketones that are raised | irreversible harm possible | delayed | medium |
//! | ketones on a sick day | irreversible harm possible, unseen | delayed | medium |
//! | very high | irreversible harm possible (ketones) | delayed | medium |
//! | high | reversible | delayed | low |
//! | gap after a low or falling value | unseen low | prompt | medium |
//! | gap otherwise | reversible | delayed | low |
//! | source or channels fail | loss of protection | delayed | medium |
//! | two signals | one of them may hide a low | prompt | medium |
//! | several alerts told as one | as the gravest of them | | |
//! | rapid insulin taken for long-acting | irreversible harm possible | prompt | high |
//! | a look at it | reversible (a low) | prompt | medium |
//! | a note that may not have been meant | reversible (a low) | prompt | medium |
//! | last call for a scan, memory full | values lost | delayed | low |
//! | look at a high that is very high and does not fall | irreversible harm possible (ketones) | delayed | medium |
//! | a very high that stays: ketones, pen or set | irreversible harm possible (ketones) | delayed | medium |
//! | look at a treated high that falls fast | reversible (a low) | prompt | medium |
//! | look in the small hours after an evening's treated high | reversible (a low) | prompt | medium |
//! | other looks at a high, a rise that nothing was noted for, past readings, stretches not watched, first call for a scan, end of a sensor, what waited for the end of quiet hours, a correction upon a dose that still works, a level that is switched off, own reminders, the line before sleep, looks and ends of modes, too early to drive | none by themselves | - | information |
//!
//! Deviation: a gap after a low is high by the letter of the table; medium, since the low is not established.

use super::condition::Condition;
use crate::domain::glucose::Glucose;
use crate::engine::effect::Priority;
use crate::engine::ketones::reason::KetoneWhy;
use crate::engine::mode::reason::{Asks, Why};
use crate::engine::reason::{Call, Likely, Reason};
use crate::engine::trend::{Direction, Rate};
use crate::engine::turn::Judged;

/// How a condition's priority follows from what is decided.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::engine) enum Rule {
    /// It is the same whatever is decided.
    Always(Priority),
    /// It depends on what is decided.
    By(Rank),
}

/// What decides of a priority, where not the condition alone does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::engine) enum Rank {
    /// The value before a silence.
    Silence,
    /// What a check of a low finds.
    CheckOfLow,
    /// What a check of a high finds.
    CheckOfHigh,
    /// What is asked about a line.
    Diary,
    /// How soon a sensor's memory is full.
    Scan,
    /// What a mode asks for.
    Mode,
    /// The row of ketones.
    Ketones,
    /// The gravest of those that are told as one.
    Several,
}

/// The priority of a decision on a value, where values above a limit are very high.
pub(in crate::engine) fn of(
    condition: Condition,
    reason: &Reason,
    judged: Option<Judged>,
    very_high: Glucose,
) -> Priority {
    // That nobody answers makes only a low graver.
    let reason = reason.first();
    match (reason, condition.row().rank) {
        (
            Reason::Unanswered { .. } | Reason::NotRecovering { .. } | Reason::StillCalled(_) | Reason::HowIsIt { .. },
            _,
        ) => Priority::High,
        (Reason::Answered { .. } | Reason::LowOver { .. } | Reason::NoLongerWatched { .. }, _) => Priority::Information,
        // It rings by night too, and of what is to be woken up for nothing is of low priority.
        (Reason::SlipsBack { .. } | Reason::Likely(Likely { watched: Some(_), .. }), Rule::Always(_)) => {
            Priority::Medium
        }
        (_, Rule::Always(priority)) => priority,
        (_, Rule::By(rank)) => by(rank, reason, judged, very_high),
    }
}

fn by(rank: Rank, reason: &Reason, judged: Option<Judged>, very_high: Glucose) -> Priority {
    let rises = judged.and_then(|judged| judged.rate).is_some_and(|rate| rate.direction().rises());
    match rank {
        Rank::Silence => match reason {
            Reason::NothingReached { grave: true, .. } => Priority::Medium,
            _ => Priority::Low,
        },
        Rank::CheckOfLow => match reason {
            Reason::StillLow { .. } if rises => Priority::Medium,
            Reason::StillLow { .. } | Reason::NoFreshReading { .. } => Priority::High,
            // What a finger-prick held is low still, by night as well.
            Reason::PrickAgain { .. } | Reason::MeterAgain { .. } | Reason::Mode { said: Why::StillBelow { .. } } => {
                Priority::Medium
            }
            _ => Priority::Information,
        },
        Rank::CheckOfHigh => match reason {
            Reason::LooksPlanned { .. } => Priority::Information,
            Reason::FallingTooFast { .. }
            | Reason::EveningLook { .. }
            | Reason::MistakenLook { .. }
            | Reason::HighStays(_)
            | Reason::HighUnanswered { .. } => Priority::Medium,
            _ => of_look_at_high(judged, very_high),
        },
        Rank::Diary => match reason {
            Reason::RapidForLong { .. } => Priority::High,
            Reason::Meant { .. } => Priority::Medium,
            _ => Priority::Information,
        },
        Rank::Scan => match reason {
            Reason::ScanDue { call: Call::Last | Call::Full, .. } => Priority::Low,
            _ => Priority::Information,
        },
        Rank::Mode => match reason {
            Reason::Mode { said: Why::Look { asks: Asks { ketones: true, .. }, .. } } => Priority::Medium,
            _ => Priority::Information,
        },
        Rank::Ketones => match reason {
            Reason::Ketones { said } if said.is_emergency() => Priority::High,
            Reason::Ketones { said: KetoneWhy::Row { .. } | KetoneWhy::Again { .. } | KetoneWhy::Wanted { .. } } => {
                Priority::Medium
            }
            _ => Priority::Information,
        },
        Rank::Several => match reason {
            Reason::FloodTold { held, .. } | Reason::FloodOver { held, .. } => {
                held.iter().map(|held| held.decision.priority).max().unwrap_or(Priority::Low)
            }
            _ => Priority::Information,
        },
    }
}

/// The priority of what is likely to come.
pub(in crate::engine) const fn of_forecast(condition: Condition) -> Priority {
    match condition.row().rank {
        Rule::Always(priority) => priority,
        Rule::By(_) => Priority::Low,
    }
}

/// The priority of what a look at a high says.
pub(in crate::engine) fn of_look_at_high(judged: Option<Judged>, very_high: Glucose) -> Priority {
    let direction = judged.and_then(|judged| judged.rate).map(Rate::direction);
    let is_very_high = judged.is_some_and(|judged| judged.glucose.hundredths() > very_high.hundredths());
    match direction {
        Some(Direction::FallingFast) => Priority::Medium,
        _ if is_very_high && !direction.is_some_and(Direction::falls) => Priority::Medium,
        _ => Priority::Information,
    }
}
