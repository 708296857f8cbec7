//! How far the settings of a level may go before they switch it off: nobody is to find out in a low that a wrong
//! number meant "never".

use super::meant::Purpose;
use crate::domain::time::Span;
use std::ops::RangeInclusive;

/// Where a limit may lie, in mg/dL. Sensors show 40 to 400, and give a word beyond (common practice, no source): a
/// limit further out would be silent even then. The inner ends are ours, far beyond any target.
const LOW_SIDE: RangeInclusive<i32> = 40..=120;
const HIGH_SIDE: RangeInclusive<i32> = 100..=400;

/// How far back a value may have to come before an alert may end, in mg/dL. Ours.
pub(super) const DEADBAND: RangeInclusive<i32> = 0..=60;

/// The longest span that is read at all.
const ANY: Span = Span::hours(30 * 24);

/// Bounds of one level.
#[derive(Debug, Clone)]
pub(super) struct Bounds {
    pub(super) limit: RangeInclusive<i32>,
    pub(super) on_delay: Span,
    pub(super) off_delay: Span,
    pub(super) again_after: Span,
    pub(super) again_quiet: Span,
}

impl Bounds {
    /// Of the level of that name. To watch by, a low may not be put off for long; a replay may try anything.
    pub(super) fn of(level: &str, purpose: Purpose) -> Self {
        let low_side = matches!(level, "very_low" | "low");
        let limit = if low_side { LOW_SIDE } else { HIGH_SIDE };
        if low_side && purpose == Purpose::Watch {
            let (on_delay, again_after) = (Span::minutes(30), Span::minutes(30));
            Self { limit, on_delay, off_delay: Span::hours(4), again_after, again_quiet: Span::hours(2) }
        } else {
            Self { limit, on_delay: ANY, off_delay: ANY, again_after: ANY, again_quiet: ANY }
        }
    }
}
