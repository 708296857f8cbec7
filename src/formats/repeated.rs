//! Which time round a row of a repeated hour is. The order of the rows decides; what it does not decide
//! stays undecided, and is never chosen in silence.

use super::rows::Row;
use crate::domain::local::{Local, Meaning};
use crate::domain::reading::Undecided;
use crate::domain::time::{Span, Timestamp};
use crate::domain::travel::WallClock;
use serde::{Deserialize, Serialize};

/// The row before a piece of text.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum After {
    /// It was measured then.
    Row(Timestamp),
    /// Its wall clock time came twice and nothing decided which it was.
    Undecided {
        /// The earlier instant.
        undecided: Timestamp,
    },
}

/// The first or the second time a wall clock time was shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Round {
    First,
    Second,
    Open,
}

/// The row before or after a run of rows in one repeated stretch.
#[derive(Debug, Clone, Copy)]
enum Beside {
    /// Nothing, or nothing that is known.
    Nothing,
    /// A row outside the stretch.
    Outside(Timestamp),
    /// A row inside it, with its earlier instant.
    Inside(Timestamp, Round),
}

impl After {
    pub(super) const fn at(self) -> Timestamp {
        match self {
            Self::Row(at) | Self::Undecided { undecided: at } => at,
        }
    }
}

/// Decides rows that come twice, all of them read as the earlier so far; answers those that stay undecided.
pub(super) fn decide(
    rows: &mut [Row],
    twice: Vec<Undecided>,
    after: Option<After>,
    clock: &WallClock,
) -> Vec<Undecided> {
    if twice.is_empty() {
        return twice;
    }
    let backwards = runs_backwards(rows, after);
    // In the order of time, whichever way the text runs.
    let mut rest = twice;
    if backwards {
        rest.reverse();
    }
    let mut open = Vec::new();
    let mut rest = rest.as_slice();
    while let Some(first) = rest.first() {
        let stretch = first.later - earlier(rows, first);
        let length = rest.windows(2).take_while(|pair| are_together(rows, &pair[0], &pair[1], stretch)).count() + 1;
        let (run, others) = rest.split_at(length);
        rest = others;
        let place = |of: &Undecided, on: bool| if on == backwards { of.row.checked_sub(1) } else { Some(of.row + 1) };
        let beside = |place: Option<usize>| match place {
            Some(place) if place < rows.len() => Some(After::Row(rows[place].measured)),
            Some(_) => None,
            None => after,
        };
        let before = beside(place(first, false)).map_or(Beside::Nothing, |row| seen(row, rows, first, clock));
        let next = run.last().and_then(|last| beside(place(last, true)));
        for (one, round) in run.iter().zip(rounds(rows, run, stretch, before, next.map(After::at))) {
            match round {
                Round::First => {}
                Round::Second => rows[one.row].measured = one.later,
                Round::Open => open.push(*one),
            }
        }
    }
    open.sort_by_key(|one| one.row);
    open
}

/// Does the text hold the newest row first? The majority of its steps says so.
fn runs_backwards(rows: &[Row], after: Option<After>) -> bool {
    let (mut up, mut down) = (0_usize, 0_usize);
    for pair in rows.windows(2) {
        up += usize::from(pair[0].measured < pair[1].measured);
        down += usize::from(pair[0].measured > pair[1].measured);
    }
    // A few rows appended across the change go back once, and are not a text that runs backwards.
    up += usize::from(rows.first().zip(after).is_some_and(|(first, after)| after.at() < first.measured));
    down > up
}

fn earlier(rows: &[Row], of: &Undecided) -> Timestamp {
    rows[of.row].measured
}

/// Two rows that stand side by side, in one and the same repeated stretch.
fn are_together(rows: &[Row], one: &Undecided, other: &Undecided, stretch: Span) -> bool {
    let apart = earlier(rows, other) - earlier(rows, one);
    one.row.abs_diff(other.row) == 1
        && other.later - earlier(rows, other) == stretch
        && apart.as_millis().abs() < stretch.as_millis()
}

/// The row before a run, as seen from it.
fn seen(before: After, rows: &[Row], first: &Undecided, clock: &WallClock) -> Beside {
    let stretch = first.later - earlier(rows, first);
    let (at, decided) = match before {
        After::Row(at) => (at, true),
        After::Undecided { undecided } => (undecided, false),
    };
    match clock.meaning(clock.zone_at(at).wall(at)) {
        Meaning::Twice(one, two)
            if two - one == stretch
                && (one - earlier(rows, first)).as_millis().abs() < stretch.as_millis()
                && (at == one || at == two) =>
        {
            let round = match decided {
                false => Round::Open,
                true if at == one => Round::First,
                true => Round::Second,
            };
            Beside::Inside(one, round)
        }
        _ => Beside::Outside(at),
    }
}

/// A step back by half of the stretch or more is the clock going back; a smaller one may be disorder.
fn goes_back(step: Span, stretch: Span) -> bool {
    step.as_millis() * 2 >= stretch.as_millis()
}

/// The round of each row of a run, in the order of time.
fn rounds(rows: &[Row], run: &[Undecided], stretch: Span, before: Beside, next: Option<Timestamp>) -> Vec<Round> {
    let (Some(first), Some(last)) = (run.first(), run.last()) else { return Vec::new() };
    let begins = begins(before, earlier(rows, first), stretch);
    let (mut restarts, mut slip) = (Vec::new(), None);
    for (place, pair) in run.windows(2).enumerate() {
        let (one, two) = (&rows[pair[0].row], &rows[pair[1].row]);
        let step = one.measured - two.measured;
        // The same time and value is a row written twice; another value may be the second time round.
        let is_restart = goes_back(step, stretch) || step == Span::ZERO && one.glucose != two.glucose;
        if is_restart {
            restarts.push(place + 1);
        } else if step > Span::ZERO {
            slip = slip.or(Some(place + 1));
        }
    }
    let follows = next.is_some_and(|next| last.later <= next && next - last.later <= stretch);
    let split = |at: usize, one: Round, two: Round| -> Vec<Round> {
        (0..run.len()).map(|place| if place < at { one } else { two }).collect()
    };
    match (begins, restarts.as_slice(), slip) {
        (Round::Second, [], _) => split(0, Round::Open, Round::Second),
        (Round::First | Round::Open, [at], _) => split(*at, Round::First, Round::Second),
        (Round::First, [], slip) => split(slip.unwrap_or(run.len()), Round::First, Round::Open),
        (Round::Open, [], None) if follows => split(0, Round::Open, Round::Second),
        (Round::Open, _, _) => split(0, Round::Open, Round::Open),
        (Round::First | Round::Second, [at, ..], _) => split(*at, begins, Round::Open),
    }
}

/// The round a run begins in, by the row before it.
fn begins(before: Beside, first: Timestamp, stretch: Span) -> Round {
    match before {
        Beside::Outside(at) if at < first => {
            // A row not further away than the stretch is long is what this one follows.
            if first - at <= stretch { Round::First } else { Round::Open }
        }
        Beside::Outside(at) => {
            if at < first + stretch {
                Round::Second
            } else {
                Round::Open
            }
        }
        Beside::Inside(_, Round::Second) => Round::Second,
        Beside::Inside(at, _) if goes_back(at - first, stretch) => Round::Second,
        Beside::Inside(at, Round::First) if at < first => Round::First,
        Beside::Nothing | Beside::Inside(..) => Round::Open,
    }
}
