//! Shapes that a sensor draws and glucose hardly does: a sharp dip from a steady value, a line that does not move, a
//! jump. They add a doubt to what is said, and a call for a meter; they delay nothing and silence nothing, since a
//! quarter of such dips become very lows.

use super::effect::{Doubt, Side};
use super::nadir::LOW_HUNDREDTHS;
use super::trend;
use crate::domain::glucose::{Glucose, Measured};
use crate::domain::reading::Reading;
use crate::domain::time::Span;

/// A dip falls so far within so long, in hundredths of a mg/dL, and before it nothing fell. On the open traces (see
/// docs/forecast-measured.md) one low in ten begins so; half of these are back within 20 minutes, of others three in ten.
const DIP_HUNDREDTHS: i32 = 2_500;
const DIP_WITHIN: Span = Span::minutes(15);
const STEADY_OVER: Span = Span::minutes(30);
const FALLS_FROM: f64 = -0.5;

/// Ours: on the open traces one pair of readings in 12,500 changes faster than this, in mg/dL per minute.
const JUMP_PER_MIN: i64 = 10;
const NEXT_WITHIN: Span = Span::minutes(16);

/// Ours: the same number for so long comes once in two months on the open traces. Readings come a little early.
const FLAT_FOR: Span = Span::minutes(55);
const FLAT_READINGS: usize = 5;

/// A low is the same while it stays within this, in hundredths of a mg/dL, and is doubted after so long: ours. A reading
/// may come a little early.
const SAME_LOW: i32 = 200;
/// What was seen at one reading is said at the next ring, which is no more than half an hour later.
const SAYS_SO_FOR: Span = Span::minutes(30);
const SAME_LOW_FOR: Span = Span::minutes(44);

/// At the lowest a sensor can say, and below, flatness tells nothing: values are clipped there. 40 mg/dL is common
/// practice, no source.
const FLOOR_HUNDREDTHS: i32 = 4_000;

/// A fall counts from a value at least this long before, and this high, that had been flat for half an hour: within 0.5
/// mg/dL a minute either way. Ours.
const FELL_WITHIN: Span = Span::minutes(11);
const FELL_WITHIN_MOST: Span = Span::minutes(25);
const FELL_FROM_HUNDREDTHS: i32 = 8_000;
const FLAT_SPREAD_HUNDREDTHS: i32 = 1_500;

/// What is odd about how the newest reading was come to, as far as it makes values of that side less sure.
pub(super) fn doubt<'a>(side: Side, newest_first: impl Iterator<Item = &'a Reading> + Clone) -> Option<Doubt> {
    let newest = newest_first.clone().next()?;
    if jumped(newest_first.clone()) {
        return Some(Doubt::Jump);
    }
    if is_flat(newest, newest_first.clone()) && !(side == Side::Low && is_at_floor(newest)) {
        return Some(Doubt::Flat);
    }
    (side == Side::Low && dips(newest, newest_first)).then_some(Doubt::Dip)
}

fn jumped<'a>(mut newest_first: impl Iterator<Item = &'a Reading>) -> bool {
    let (Some(newest), Some(before)) = (newest_first.next(), newest_first.next()) else { return false };
    let step = newest.measured - before.measured;
    let change = i64::from(newest.glucose.hundredths() - before.glucose.hundredths()).abs();
    // Beyond its range a sensor gives no number to take a difference from.
    let numbers = [newest, before].iter().all(|reading| reading.glucose.measured() == Measured::Number);
    numbers && step <= NEXT_WITHIN && change * 60_000 > JUMP_PER_MIN * 100 * step.as_millis()
}

fn is_flat<'a>(newest: &Reading, newest_first: impl Iterator<Item = &'a Reading>) -> bool {
    let hundredths = |reading: &Reading| reading.glucose.hundredths();
    let mut same = newest_first.take_while(|reading| hundredths(reading) == hundredths(newest));
    let number = newest.glucose.measured() == Measured::Number;
    let (count, oldest) = same.by_ref().fold((0, newest), |(count, _), reading| (count + 1, reading));
    number && count >= FLAT_READINGS && newest.measured - oldest.measured >= FLAT_FOR
}

/// Has a low been the same for three quarters of an hour, now or at a reading of the last half hour? One at the sensor's
/// floor says nothing by that.
pub(super) fn is_flat_low<'a>(newest_first: &(impl Iterator<Item = &'a Reading> + Clone)) -> bool {
    let Some(newest) = newest_first.clone().next() else { return false };
    let is_low = |reading: &Reading| !is_at_floor(reading) && reading.glucose.hundredths() < LOW_HUNDREDTHS;
    let lately = |reading: &&Reading| newest.measured - reading.measured <= SAYS_SO_FOR && is_low(reading);
    let count = newest_first.clone().take_while(lately).count();
    (0..count).any(|later| is_the_same(newest_first.clone().skip(later)))
}

fn is_the_same<'a>(newest_first: impl Iterator<Item = &'a Reading> + Clone) -> bool {
    let Some(newest) = newest_first.clone().next() else { return false };
    let value = newest.glucose.hundredths();
    let same = newest_first.take_while(|reading| (reading.glucose.hundredths() - value).abs() <= SAME_LOW);
    !is_at_floor(newest) && same.last().is_some_and(|oldest| newest.measured - oldest.measured >= SAME_LOW_FOR)
}

fn is_at_floor(reading: &Reading) -> bool {
    reading.glucose.measured() != Measured::Number || reading.glucose.hundredths() <= FLOOR_HUNDREDTHS
}

/// Did it fall sharply from a steady value? That of whoever lies on their sensor does.
pub(super) fn falls_from_steady<'a>(newest_first: impl Iterator<Item = &'a Reading> + Clone) -> bool {
    let Some(newest) = newest_first.clone().next() else { return false };
    let mut before = newest_first.clone().skip_while(|reading| newest.measured - reading.measured < FELL_WITHIN);
    let Some(from) = before.clone().next().filter(|from| newest.measured - from.measured <= FELL_WITHIN_MOST) else {
        return dips(newest, newest_first);
    };
    let value = from.glucose.hundredths();
    let fell = value >= FELL_FROM_HUNDREDTHS && value - newest.glucose.hundredths() >= DIP_HUNDREDTHS;
    let is_flat = before.by_ref().take_while(|reading| from.measured - reading.measured <= STEADY_OVER);
    let (count, flat) = is_flat.fold((0, true), |(count, flat), reading| {
        let near = (reading.glucose.hundredths() - value).abs() <= FLAT_SPREAD_HUNDREDTHS;
        (count + 1, flat && near)
    });
    fell && flat && count > 2 || dips(newest, newest_first)
}

fn dips<'a>(newest: &Reading, newest_first: impl Iterator<Item = &'a Reading> + Clone) -> bool {
    let age = |reading: &Reading| newest.measured - reading.measured;
    let lately = newest_first.clone().take_while(|reading| age(reading) <= DIP_WITHIN);
    let highest = lately.map(|reading| reading.glucose).max_by_key(|value: &Glucose| value.hundredths());
    let fell = highest.is_some_and(|highest| highest.hundredths() - newest.glucose.hundredths() >= DIP_HUNDREDTHS);
    let mut before = newest_first.skip_while(|reading| age(reading) < DIP_WITHIN).peekable();
    fell && before.peek().is_some() && trend::slope(before, STEADY_OVER) >= FALLS_FROM
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::reading::SourceId;
    use crate::domain::time::Timestamp;

    fn found(side: Side, values: &[i32]) -> Option<Doubt> {
        let readings: Vec<Reading> = (0..)
            .zip(values)
            .map(|(place, value)| Reading {
                source: SourceId(0),
                measured: Timestamp::from_seconds(place * 300),
                glucose: Glucose::mg_dl(*value),
            })
            .collect();
        doubt(side, readings.iter().rev())
    }

    #[test]
    fn a_dip_falls_from_what_was_steady() {
        assert_eq!(found(Side::Low, &[96, 95, 96, 95, 94, 95, 84, 74, 68]), Some(Doubt::Dip));
        assert_eq!(found(Side::High, &[96, 95, 96, 95, 94, 95, 84, 74, 68]), None);
        assert_eq!(found(Side::Low, &[150, 142, 134, 126, 118, 110, 96, 82, 68]), None, "it fell all the time");
        assert_eq!(found(Side::Low, &[96, 95, 96, 95, 94, 90, 85, 78, 69]), None, "not far enough");
        assert_eq!(found(Side::Low, &[96, 68]), None, "too little is known");
    }

    #[test]
    fn a_jump_is_faster_than_glucose_and_a_flat_line_does_not_move() {
        assert_eq!(found(Side::High, &[120, 171]), Some(Doubt::Jump));
        assert_eq!(found(Side::High, &[120, 170]), None);
        assert_eq!(found(Side::Low, &[66; 12]), Some(Doubt::Flat));
        assert_eq!(found(Side::Low, &[66; 11]), None);
        assert_eq!(found(Side::Low, &[66, 67, 66, 66, 66, 66, 66, 66, 66, 66, 66, 66]), None);
    }
}
