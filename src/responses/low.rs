//! Treated lows: food noted with a reading below the low limit before it, or a low said to be treated.

use super::Past;
use super::course::{Between, Course, FOLLOWS_HOURS, Of};
use super::sorted::{From, SECOND_WITHIN_HOURS, Sorted};
use super::trace::{BEFORE_MAX_MIN, GAP_MIN, Trace};
use crate::domain::reading::Reading;
use crate::domain::time::{Span, Timestamp};

/// A rebound high begins within 2 hours of a value below 70 (Acciaroli 2022, Journal of Diabetes Science and Technology
/// 16:677). As long is looked for a second low: our own.
pub const AFTER_HOURS: i64 = 2;

/// How deep a low was, by the classes of a consensus (Battelino 2019, Diabetes Care 42:1593): recovery differs between
/// them (Norlander 2020, Diabetes 69 supplement 1, 882-P).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Depth {
    /// No reading was below the low limit, about the treatment.
    NotBelow,
    /// The lowest was below the low limit, and not very low: 54 to 69 mg/dL.
    Low,
    /// The lowest was very low: below 54 mg/dL.
    VeryLow,
}

/// A treated low, and what followed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Low {
    /// What followed on its first treatment.
    pub course: Course,
    /// The lowest reading of the low, before the treatment or after it; none where no reading was below the limit.
    pub lowest: Option<Reading>,
    /// How deep it was.
    pub depth: Depth,
    /// How long after the treatment glucose was back at the low limit or above, and stayed there for 15 minutes; none
    /// if that was not within 4 hours, or glucose was never below.
    pub in_range: Option<Span>,
    /// The same from the lowest reading on.
    pub from_lowest: Option<Span>,
    /// Did readings come, and was no insulin and no meal noted, until then, or for 4 hours?
    pub in_range_counts: bool,
    /// Further treatments before glucose was back, within 3 hours of the first.
    pub further: usize,
    /// How long after the first the second one was.
    pub second: Option<Span>,
    /// From the last reading below the low limit to one above the high limit, if that was within 2 hours.
    pub high_after: Option<Span>,
    /// Was glucose back, did readings come, and was no insulin and no meal noted, until then, or for 2 hours?
    pub high_after_counts: bool,
    /// From being back to a reading below the low limit again, if that was within 2 hours.
    pub low_again: Option<Span>,
    /// Was glucose back, did readings come, and was no insulin and no meal noted, until then, or for 2 hours?
    pub low_again_counts: bool,
}

/// What readings tell of a low.
struct Episode {
    /// From the first reading below the limit, to the one that is back.
    lowest: Option<Reading>,
    last_below: Option<Timestamp>,
    back: Option<Timestamp>,
    /// A treatment before this is of the same low.
    same_until: Timestamp,
}

pub(super) fn rows(past: &Past<'_>, trace: &Trace, sorted: &Sorted) -> Vec<Low> {
    let mut lows: Vec<(&From, Episode, Vec<Timestamp>)> = Vec::new();
    for from in &sorted.treatments {
        let at = from.noted.at;
        match lows.last_mut() {
            Some((_, episode, further)) if at < episode.same_until => further.push(at),
            _ => lows.push((from, Episode::of(past, trace, from), Vec::new())),
        }
    }
    lows.retain(|(from, _, _)| past.from <= from.noted.at && from.noted.at < past.until);
    lows.into_iter().map(|(from, episode, further)| row(past, trace, sorted, from, &episode, &further)).collect()
}

impl Episode {
    fn of(past: &Past<'_>, trace: &Trace, from: &From) -> Self {
        let at = from.noted.at;
        let end = at + Span::hours(FOLLOWS_HOURS);
        let below = |reading: &Reading| past.limits.is_low(reading.glucose);
        // A sensor trails the blood: what was treated by a symptom may be read a little later.
        let soon = at + Span::minutes(BEFORE_MAX_MIN);
        let first = if below(&from.before) {
            Some(from.before)
        } else {
            trace.between(at, soon).iter().find(|reading| below(reading)).copied()
        };
        let Some(first) = first else { return Self { lowest: None, last_below: None, back: None, same_until: soon } };
        let earlier = trace.between(Timestamp::from_millis(i64::MIN), first.measured);
        let mut begun = first;
        for reading in earlier.iter().rev() {
            if !below(reading) || begun.measured - reading.measured > Span::minutes(GAP_MIN) {
                break;
            }
            begun = *reading;
        }
        let back = trace.settled(at.max(first.measured), end, |glucose| past.limits.is_low(glucose));
        let back = back.map(|reading| reading.measured);
        let just_before = begun.measured - Span::millis(1);
        let whole = trace.between(just_before, back.unwrap_or(end));
        let lowest = whole.iter().min_by_key(|reading| reading.glucose.hundredths());
        let last_below = whole.iter().rev().find(|reading| below(reading));
        Self {
            lowest: lowest.copied(),
            last_below: last_below.map(|reading| reading.measured),
            back,
            same_until: back.unwrap_or(end).min(at + Span::hours(SECOND_WITHIN_HOURS)),
        }
    }
}

fn row(past: &Past<'_>, trace: &Trace, sorted: &Sorted, from: &From, episode: &Episode, further: &[Timestamp]) -> Low {
    let at = from.noted.at;
    let own: Vec<Between> = further.iter().map(|at| Between { at: *at, of: Of::Food }).collect();
    let course = Course::new(past, trace, sorted, from, &own);
    let known_until = episode.back.unwrap_or(at + Span::hours(FOLLOWS_HOURS));
    let after = Span::hours(AFTER_HOURS);
    let first = |after: Timestamp, until: Timestamp, is_meant: &dyn Fn(&Reading) -> bool| {
        trace.between(after, until).iter().find(|reading| is_meant(reading)).map(|reading| reading.measured)
    };
    let high_after = episode.last_below.and_then(|last| {
        first(last, last + after, &|reading| past.limits.is_high(reading.glucose)).map(|high| high - last)
    });
    // None is below within 15 minutes of being back, or it would not be back.
    let low_again = episode.back.and_then(|back| {
        first(back, back + after, &|reading| past.limits.is_low(reading.glucose)).map(|low| low - back)
    });
    let is_known = |from: Option<Timestamp>, found: Option<Span>| {
        let until = from.filter(|_| episode.back.is_some()).map(|from| from + found.unwrap_or(after));
        until.is_some_and(|until| trace.is_whole(at, until) && course.is_alone_until(until))
    };
    let depth = match episode.lowest {
        None => Depth::NotBelow,
        Some(lowest) if lowest.glucose.hundredths() < past.limits.very_low.hundredths() => Depth::VeryLow,
        Some(_) => Depth::Low,
    };
    Low {
        lowest: episode.lowest,
        depth,
        in_range: episode.back.map(|back| back - at),
        from_lowest: episode.back.zip(episode.lowest).map(|(back, lowest)| back - lowest.measured),
        in_range_counts: depth != Depth::NotBelow
            && trace.is_whole(at, known_until)
            && course.is_alone_until(known_until),
        further: further.len(),
        second: further.first().map(|second| *second - at),
        high_after_counts: is_known(episode.last_below, high_after),
        high_after,
        low_again_counts: is_known(episode.back, low_again),
        low_again,
        course,
    }
}
