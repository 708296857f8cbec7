//! One sensor reading, with the two times it has, and what is known when one of them is not clear.

use super::glucose::Glucose;
use super::time::Timestamp;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// A source of readings, numbered in the order of the settings.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(transparent)]
pub struct SourceId(pub u16);

/// One reading: when it was measured, and what it said. When it reached us is the event's own time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Reading {
    /// Where it came from.
    pub source: SourceId,
    /// When the sensor measured it.
    pub measured: Timestamp,
    /// What it measured.
    pub glucose: Glucose,
}

/// A row whose wall clock time comes twice and whose order says not which: it is read as the earlier.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Undecided {
    /// Its place among the rows.
    pub row: usize,
    /// The later instant it could be.
    pub later: Timestamp,
}

/// What speaks for one of the two instants.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Speaks {
    /// For the earlier.
    Earlier,
    /// For the later.
    Later,
    /// Nothing does.
    Nothing,
}

/// Settles rows that order left undecided. A value that is known already at one of the two instants is that
/// reading again; else what `speaks` says; else the earlier, unless another value is known there: then both
/// are kept. `known` tells what is known beside these rows.
pub fn settle(
    rows: &mut [Reading],
    undecided: &[Undecided],
    speaks: impl Fn(Timestamp, Timestamp) -> Speaks,
    known: impl Fn(Timestamp) -> Option<Glucose>,
) {
    let mut here: BTreeMap<Timestamp, Option<Glucose>> = BTreeMap::new();
    for one in undecided {
        let earlier = rows.get(one.row).map(|row| row.measured);
        here.extend(earlier.into_iter().chain([one.later]).map(|at| (at, known(at))));
    }
    let mut open = undecided.iter().map(|one| one.row).peekable();
    for (place, row) in rows.iter().enumerate() {
        if open.next_if_eq(&place).is_none()
            && let Some(value) = here.get_mut(&row.measured)
        {
            value.get_or_insert(row.glucose);
        }
    }
    for Undecided { row, later } in undecided {
        let Some(row) = rows.get_mut(*row) else { continue };
        let at = |at: Timestamp| here.get(&at).copied().flatten();
        let earlier = row.measured;
        let is_later = match (at(earlier), at(*later), speaks(earlier, *later)) {
            (Some(known), _, _) if known == row.glucose => false,
            (_, Some(known), _) if known == row.glucose => true,
            (_, _, Speaks::Earlier) | (None, _, Speaks::Nothing) => false,
            (_, _, Speaks::Later) | (Some(_), _, Speaks::Nothing) => true,
        };
        if is_later {
            row.measured = *later;
        }
        here.entry(row.measured).or_default().get_or_insert(row.glucose);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn settled(known: &[(i64, i32)], speaks: Speaks, row: (i64, i64, i32)) -> i64 {
        let mut rows =
            [Reading { source: SourceId(0), measured: Timestamp::from_seconds(row.0), glucose: Glucose::mg_dl(row.2) }];
        let later = Timestamp::from_seconds(row.1);
        settle(
            &mut rows,
            &[Undecided { row: 0, later }],
            |_, _| speaks,
            |at| known.iter().find(|(known, _)| *known == at.seconds()).map(|(_, value)| Glucose::mg_dl(*value)),
        );
        rows[0].measured.seconds()
    }

    #[test]
    fn what_is_known_speaks_first_then_arrival_then_the_earlier() {
        let row = (0, 3_600, 100);
        assert_eq!(settled(&[], Speaks::Nothing, row), 0);
        assert_eq!(settled(&[], Speaks::Later, row), 3_600);
        assert_eq!(settled(&[(0, 90)], Speaks::Nothing, row), 3_600, "both values are kept");
        assert_eq!(settled(&[(0, 90)], Speaks::Earlier, row), 0, "the later would be in the future");
        assert_eq!(settled(&[(0, 100)], Speaks::Later, row), 0, "the reading that is known");
        assert_eq!(settled(&[(3_600, 100)], Speaks::Nothing, row), 3_600, "the reading that is known");
    }

    #[test]
    fn two_values_at_one_wall_time_of_one_text_are_both_kept() {
        let reading = |value| Reading {
            source: SourceId(0),
            measured: Timestamp::from_seconds(0),
            glucose: Glucose::mg_dl(value),
        };
        let later = Timestamp::from_seconds(3_600);
        let mut rows = [reading(100), reading(101), reading(100)];
        let undecided = [0, 1, 2].map(|row| Undecided { row, later });
        settle(&mut rows, &undecided, |_, _| Speaks::Nothing, |_| None);
        assert_eq!(rows.map(|row| row.measured.seconds()), [0, 3_600, 0]);
    }
}
