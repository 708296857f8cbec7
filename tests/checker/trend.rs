//! What readings in a row say: their slope, how long they are the same, a stretch of a high, back from a low. Derives,
//! and judges nothing.

use super::glance::{Now, Point, minutes};
use super::record::{MIN, Ms};

/// The slope through the readings of the last 15 to 20 minutes, newest first.
pub(crate) fn rate(own: &[Point], cadence: Ms) -> Option<f64> {
    let newest = own.first()?;
    let last: Vec<&Point> = own.iter().take_while(|one| newest.measured - one.measured <= 20 * MIN).collect();
    let enough = if cadence >= 15 * MIN { 2 } else { 3 };
    let reach = newest.measured - last.last()?.measured;
    if last.len() < enough || reach == 0 || (enough == 3 && reach < 10 * MIN) {
        return None;
    }
    let (mut count, mut x_sum, mut y_sum, mut squares, mut products) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for one in last {
        let x = -minutes(newest.measured - one.measured);
        count += 1.0;
        x_sum += x;
        y_sum += one.value;
        squares += x * x;
        products += x * one.value;
    }
    let spread = count * squares - x_sum * x_sum;
    (spread.abs() > f64::EPSILON).then(|| (count * products - x_sum * y_sum) / spread)
}

pub(crate) fn same_since(known: &[Point], newest: Point) -> Ms {
    // Of what nobody saw nobody knows that it was the same, and at its floor a sensor says nothing by it.
    let mut seen = newest.measured;
    let same = known.iter().rev().take_while(|one| {
        let is_seen = seen - one.measured < 35 * MIN;
        seen = one.measured;
        is_seen && (one.value - newest.value).abs() <= 2.0 && one.floor == newest.floor
    });
    same.last().map_or(newest.measured, |first| first.measured)
}

/// First of the readings in a row that fit, the newest among them.
pub(crate) fn run_since(known: &[Point], fits: impl Fn(f64) -> bool) -> Option<Ms> {
    known.iter().rev().take_while(|one| fits(one.value)).last().map(|one| one.measured)
}

/// A stretch goes on until 30 minutes wholly below its limit.
pub(crate) fn stretch(known: &[Point], limit: f64) -> Option<Ms> {
    let newest = known.last()?;
    let mut since = None;
    let mut seen = newest.measured;
    for one in known.iter().rev() {
        if one.value >= limit {
            since = Some(one.measured);
            seen = one.measured;
        } else if seen - one.measured >= 30 * MIN {
            break;
        }
    }
    since
}

/// Back is two readings of 70 or more, at least 4 minutes apart, and not falling.
pub(crate) fn see_low(now: &mut Now, known: &[Point], at: Ms) {
    if now.value < 70.0 {
        if now.low_since.is_none() {
            now.low_since = Some(now.measured);
        }
        // A late batch may show that it began earlier.
        if let Some(since) = run_since(known, |value| value < 70.0) {
            now.low_since = now.low_since.map(|known| known.min(since));
        }
        now.last_low = now.measured;
        now.back = None;
        return;
    }
    if now.low_since.is_none() {
        return;
    }
    let risen = known.iter().rev().take_while(|one| one.value >= 70.0).last();
    let long_enough = risen.is_some_and(|first| now.measured - first.measured >= 4 * MIN);
    if long_enough && !now.falls(1.0) {
        now.low_since = None;
        now.back = Some(at);
    }
}
