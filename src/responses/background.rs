//! What glucose did while neither food nor insulin had been noted for four hours: what background insulin and the body
//! do by themselves, as far as the notes tell.

use super::Past;
use super::part::Part;
use super::sorted::Sorted;
use super::trace::{GAP_MIN, Trace};
use crate::domain::glucose::Measured;
use crate::domain::reading::Reading;
use crate::domain::time::{Span, Timestamp};
use crate::engine::trend::slope;

/// After food or rapid insulin so long counts for its effect.
pub const QUIET_HOURS: i64 = 4;

/// Longer than this without food or insulin is taken for not noted: longer than a night between supper and breakfast.
/// Our own.
pub const UNNOTED_HOURS: i64 = 16;

/// A stretch shorter than an hour, or of fewer readings, tells no drift: a sensor's noise would. Our own.
const STRETCH_MIN: i64 = 60;
const READINGS_MIN: usize = 4;

/// A stretch in one part of the day, and how glucose moved in it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Drift {
    /// Its first reading.
    pub from: Reading,
    /// Its last reading.
    pub until: Reading,
    /// In which part of the day.
    pub part: Part,
    /// How many readings it has.
    pub readings: usize,
    /// Of the least-squares line through them, in hundredths of a mg/dL an hour; less than zero: downwards.
    pub per_hour: i64,
}

/// All such stretches.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Background {
    /// In order of time.
    pub drifts: Vec<Drift>,
    /// Times of more than 16 hours without a note, which are left out.
    pub unnoted: usize,
}

impl Background {
    pub(super) fn of(past: &Past<'_>, trace: &Trace, sorted: &Sorted) -> Self {
        let mut noted: Vec<Timestamp> = sorted.insulin.iter().chain(&sorted.food).copied().collect();
        noted.sort_unstable();
        let mut background = Self::default();
        let last = trace.all().last().map(|reading| reading.measured + Span::millis(1));
        let ends = noted.iter().skip(1).copied().map(Some).chain([last]);
        for (begin, end) in noted.iter().zip(ends) {
            let Some(end) = end.map(|end| end.min(past.until)).filter(|end| *end > past.from) else { continue };
            if end - *begin > Span::hours(UNNOTED_HOURS) {
                background.unnoted += 1;
                continue;
            }
            let from = (*begin + Span::hours(QUIET_HOURS)).max(past.from);
            let just_before = Span::millis(1);
            let readings = trace.between(from - just_before, end - just_before);
            background.drifts.extend(pieces(past, readings).into_iter().filter_map(drift));
        }
        background
    }
}

/// Readings in one part of one day, without a gap between them.
fn pieces<'a>(past: &Past<'_>, readings: &'a [Reading]) -> Vec<(Part, &'a [Reading])> {
    let of_day = |reading: &Reading| Part::at(past.clock, reading.measured);
    let together = |one: &Reading, next: &Reading| {
        of_day(one) == of_day(next) && next.measured - one.measured <= Span::minutes(GAP_MIN)
    };
    let all = readings.chunk_by(together);
    all.filter_map(|piece| Some((of_day(piece.first()?), piece))).collect()
}

#[expect(clippy::cast_possible_truncation, reason = "clamped to a range far within an i64 first")]
fn drift((part, readings): (Part, &[Reading])) -> Option<Drift> {
    let (from, until) = (*readings.first()?, *readings.last()?);
    let numbers = readings.iter().all(|reading| reading.glucose.measured() == Measured::Number);
    let length = until.measured - from.measured;
    if !numbers || readings.len() < READINGS_MIN || length < Span::minutes(STRETCH_MIN) {
        return None;
    }
    let per_hour = slope(readings.iter().rev(), length) * 60.0 * 100.0;
    let per_hour = per_hour.clamp(-1e9, 1e9).round() as i64;
    Some(Drift { from, until, part, readings: readings.len(), per_hour })
}
