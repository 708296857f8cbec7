//! How large this person's doses have been: a small, bounded memory of 30 days that tells whether an amount is far from
//! them. It asks about what may have been typed wrongly, and never says what an amount should be.

use super::diary::Amount;
use super::time::Timestamp;
use serde::{Deserialize, Serialize};

/// So far back a dose is remembered.
const DAYS: i64 = 30;

const DAY_MILLIS: i64 = 86_400_000;

/// Fewer doses than this are no usual.
const FEW: u32 = 3;

/// Where nothing is known, more than this is asked about, in hundredths of a unit. Ours: a start value.
const UNKNOWN_MOST: i32 = 2_500;

/// The doses of one day, by UTC: how many, and the two largest, so that one of them can be taken back.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
struct Day {
    number: i64,
    count: u32,
    largest: i32,
    second: i32,
}

/// The doses of the last 30 days, oldest day first.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct UsualDoses {
    days: Vec<Day>,
}

const fn day_of(at: Timestamp) -> i64 {
    at.millis().div_euclid(DAY_MILLIS)
}

impl UsualDoses {
    /// Is nothing known?
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.days.is_empty()
    }

    /// One more dose.
    pub fn add(&mut self, at: Timestamp, amount: Amount) {
        let day = day_of(at);
        let place = self.days.partition_point(|known| known.number < day);
        if self.days.get(place).is_none_or(|known| known.number != day) {
            self.days.insert(place, Day { number: day, count: 0, largest: 0, second: 0 });
        }
        if let Some(known) = self.days.get_mut(place) {
            known.count += 1;
            known.second = known.second.max(amount.0.min(known.largest));
            known.largest = known.largest.max(amount.0);
        }
        let newest = self.days.last().map_or(day, |known| known.number);
        self.days.retain(|known| newest - known.number < DAYS);
    }

    /// A dose was none.
    pub fn forget(&mut self, at: Timestamp, amount: Amount) {
        let is_known = |known: &&mut Day| known.number == day_of(at) && amount.0 <= known.largest;
        let Some(known) = self.days.iter_mut().find(is_known) else { return };
        known.count -= 1;
        if known.largest == amount.0 {
            known.largest = std::mem::take(&mut known.second);
        } else if known.second == amount.0 {
            known.second = 0;
        }
        self.days.retain(|known| known.count > 0);
    }

    /// The largest of the 30 days before then, where at least three are known.
    #[must_use]
    pub fn largest(&self, at: Timestamp) -> Option<Amount> {
        let days = || self.days.iter().filter(|known| day_of(at) - known.number < DAYS);
        let enough = days().map(|known| known.count).sum::<u32>() >= FEW;
        days().map(|known| known.largest).max().filter(|_| enough).map(Amount)
    }

    /// Is it so much more than usual that it may have been typed wrongly: more than one and a half times the largest,
    /// or, where that is not known, more than 25 units?
    #[must_use]
    pub fn is_far_above(&self, amount: Amount, at: Timestamp) -> bool {
        self.largest(at).map_or(amount.0 > UNKNOWN_MOST, |largest| amount.0 > largest.0 + largest.0 / 2)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(day: i64) -> Timestamp {
        Timestamp::from_millis(day * DAY_MILLIS + 1)
    }

    fn units(units: i32) -> Amount {
        Amount(units * 100)
    }

    #[test]
    fn fewer_than_three_doses_are_no_usual() {
        let mut usual = UsualDoses::default();
        assert!(!usual.is_far_above(units(25), at(0)) && usual.is_far_above(units(26), at(0)));
        usual.add(at(0), units(4));
        usual.add(at(0), units(6));
        assert_eq!(usual.largest(at(0)), None);
        usual.add(at(1), units(5));
        assert_eq!(usual.largest(at(1)), Some(units(6)));
        assert!(!usual.is_far_above(units(9), at(1)) && usual.is_far_above(Amount(901), at(1)));
    }

    #[test]
    fn thirty_days_are_remembered_and_a_dose_can_be_taken_back() {
        let mut usual = UsualDoses::default();
        for day in 0..40 {
            usual.add(at(day), units(if day == 5 { 20 } else { 4 }));
        }
        assert_eq!(usual.days.len(), 30);
        assert_eq!(usual.largest(at(39)), Some(units(4)));
        usual.add(at(39), units(8));
        usual.forget(at(39), units(8));
        assert_eq!(usual.largest(at(39)), Some(units(4)));
        usual.forget(at(39), units(4));
        assert_eq!((usual.days.len(), usual.largest(at(80))), (29, None));
    }
}
