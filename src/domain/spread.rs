//! The middle of a few numbers, and the middle half. Says nothing of too few.

use serde::{Deserialize, Serialize};

/// Fewer numbers than this have no median worth saying: our own, as for an hour of the day in a week's review.
pub const MEDIAN_N_MIN: usize = 5;

/// Fewer than this have no quartiles worth saying: below, a quarter holds less than two of them. Our own.
pub const QUARTILES_N_MIN: usize = 8;

/// How some numbers are spread. The numbers are whole, such as hundredths or minutes.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Spread {
    /// How many there are.
    pub n: usize,
    /// The middle one; none of fewer than five.
    pub median: Option<i64>,
    /// A quarter is no more than the first, three quarters no more than the second; none of fewer than eight.
    pub quartiles: Option<(i64, i64)>,
}

impl Spread {
    /// Of these, in any order. Between two numbers a quantile lies on the line between them (definition 7 of Hyndman
    /// and Fan 1996, *The American Statistician* 50:361), rounded to the nearest whole number, halves away from zero.
    ///
    /// ```
    /// use recheck::domain::spread::Spread;
    /// assert_eq!(Spread::of(vec![40, 10, 30, 20, 50]).median, Some(30));
    /// assert_eq!(Spread::of(vec![40, 10, 30, 20]).median, None);
    /// ```
    #[must_use]
    pub fn of(mut numbers: Vec<i64>) -> Self {
        numbers.sort_unstable();
        let n = numbers.len();
        Self {
            n,
            median: (n >= MEDIAN_N_MIN).then(|| quarter(&numbers, 2)),
            quartiles: (n >= QUARTILES_N_MIN).then(|| (quarter(&numbers, 1), quarter(&numbers, 3))),
        }
    }
}

/// The number that so many quarters of the sorted ones do not exceed; they are not empty.
fn quarter(sorted: &[i64], quarters: usize) -> i64 {
    let place = (sorted.len() - 1) * quarters;
    let (below, rest) = (sorted[place / 4], place % 4);
    let above = sorted[(place / 4 + 1).min(sorted.len() - 1)];
    let part = (above - below) * i64::try_from(rest).unwrap_or(0);
    // Four quarters of a step; halves away from zero of the whole number, not of the step.
    let quarters = below * 4 + part;
    (quarters.abs() + 2) / 4 * quarters.signum()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// numpy 2.4.6 prints 44.25, 70.5, 93.5; -4, 2, 8; 32.5, 55, 77.5:
    ///
    ///     python3 -c 'import numpy as np
    ///     for a in ([-30,12,55,70,71,90,104,150], [5,9,-4,-4,-17,33,2,8,1], [10,20,30,40,50,60,70,80,90,100]):
    ///       print(np.percentile(a, [25, 50, 75]).tolist())'
    #[test]
    fn quartiles_are_those_of_a_general_library() {
        for (numbers, lower, median, upper) in [
            (vec![-30, 12, 55, 70, 71, 90, 104, 150], 44, 71, 94),
            (vec![5, 9, -4, -4, -17, 33, 2, 8, 1], -4, 2, 8),
            (vec![10, 20, 30, 40, 50, 60, 70, 80, 90, 100], 33, 55, 78),
        ] {
            let n = numbers.len();
            let expected = Spread { n, median: Some(median), quartiles: Some((lower, upper)) };
            assert_eq!(Spread::of(numbers), expected);
        }
    }

    #[test]
    fn too_few_have_none() {
        assert_eq!(Spread::of(vec![]), Spread::default());
        assert_eq!(Spread::of(vec![1; 4]).median, None);
        assert_eq!(Spread::of(vec![1; 5]).median, Some(1));
        assert_eq!(Spread::of(vec![1; 7]).quartiles, None);
        assert_eq!(Spread::of(vec![1; 8]).quartiles, Some((1, 1)));
    }

    #[test]
    fn halves_are_rounded_away_from_zero() {
        assert_eq!(Spread::of(vec![0, 0, 0, 1, 1, 1]).median, Some(1));
        assert_eq!(Spread::of(vec![0, 0, 0, -1, -1, -1]).median, Some(-1));
    }
}
