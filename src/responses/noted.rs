//! Notes of one kind that belong together: what was noted within ten minutes is one dose, or one meal.

use crate::domain::diary::{Amount, Kind, Note};
use crate::domain::time::{Span, Timestamp};

/// What is noted no later than this after the first of several is one with it: below the 15 minutes after which a low
/// may be treated again, above the time that noting takes. Our own.
const ONE_WITHIN_MIN: i64 = 10;

/// Insulin, or food, noted once or several times within ten minutes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Noted {
    /// When the first of it was.
    pub(super) at: Timestamp,
    /// The amounts that were told, in units or grams, in order.
    pub(super) amounts: Vec<Amount>,
    /// It was said to be a treatment.
    pub(super) said: bool,
}

/// One line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct One {
    pub(super) at: Timestamp,
    pub(super) amount: Option<Amount>,
    pub(super) said: bool,
}

/// Rapid insulin. A note does not say of which kind the insulin is: all of it is taken for rapid.
pub(super) fn insulin(note: &Note) -> Option<One> {
    match note.kind {
        Kind::Insulin(amount) => Some(One { at: note.at, amount, said: false }),
        _ => None,
    }
}

/// Food.
pub(super) fn food(note: &Note) -> Option<One> {
    match note.kind {
        Kind::Carbohydrate(amount) => Some(One { at: note.at, amount, said: false }),
        _ => None,
    }
}

/// Lines that belong together, whatever their order.
pub(super) fn together(mut lines: Vec<One>) -> Vec<Noted> {
    lines.sort_unstable();
    let mut all: Vec<Noted> = Vec::new();
    for line in lines {
        match all.last_mut() {
            Some(noted) if line.at - noted.at <= Span::minutes(ONE_WITHIN_MIN) => {
                noted.amounts.extend(line.amount);
                noted.said |= line.said;
            }
            _ => all.push(Noted { at: line.at, amounts: line.amount.into_iter().collect(), said: line.said }),
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ten_minutes_are_one_and_more_are_two() {
        let line = |minute: i64, units: i32| One {
            at: Timestamp::from_seconds(minute * 60),
            amount: (units > 0).then_some(Amount(units * 100)),
            said: units == 0,
        };
        let all = together(vec![line(11, 1), line(10, 2), line(0, 4), line(5, 0)]);
        let found: Vec<_> = all.iter().map(|noted| (noted.amounts.len(), noted.said)).collect();
        assert_eq!(found, [(2, true), (1, false)]);
    }
}
