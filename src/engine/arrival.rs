//! How late the readings of a source arrive. A steady lateness of single readings is a clock that is behind;
//! a habit of arriving late makes a source good for history only. Both are said, neither is corrected for.

use super::Engine;
use super::effect::{Condition, Id, What};
use super::plan::Job;
use super::policy::SourceKind;
use super::reason::Reason;
use super::turn::Turn;
use crate::domain::reading::SourceId;
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// Arrivals that tell a habit.
const HABIT: usize = 3;

/// Arrivals closer than this are one.
const APART_MIN: i64 = 30;

/// Later than this, time after time, is history only.
const LATE_MIN: i64 = 30;

/// Of a clock that is behind each reading is late by the same, give or take this.
const SAME_LATENESS_MIN: i64 = 4;

/// Single readings further apart than this do not come as they are made.
const AS_MADE_MIN: i64 = 35;

/// How a source's readings arrive.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Arrivals {
    /// The last pieces, whatever they held.
    pieces: Vec<Arrival>,
    /// The last arrivals that were well apart.
    apart: Vec<Arrival>,
    /// Said to have a clock that is behind.
    behind: bool,
    /// Good for history only.
    history_only: bool,
}

/// One arrival.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Arrival {
    at: Timestamp,
    late: Span,
    single: bool,
}

impl Arrivals {
    /// Does it habitually arrive late?
    #[must_use]
    pub(super) const fn history_only(&self) -> bool {
        self.history_only
    }

    /// It arrives as it should: nothing is known against it.
    fn forget(&mut self) {
        let Self { pieces, apart, behind, history_only } = self;
        pieces.clear();
        apart.clear();
        (*behind, *history_only) = (false, false);
    }

    fn add(&mut self, arrival: Arrival) {
        keep_last(&mut self.pieces, arrival);
        match self.apart.last_mut().filter(|last| arrival.at - last.at < Span::minutes(APART_MIN)) {
            Some(last) => last.late = last.late.min(arrival.late),
            None => keep_last(&mut self.apart, arrival),
        }
    }

    /// By how much the clock behind this source is behind, if all of its last readings say so.
    fn behind_by(&self, cadence: Span) -> Option<Span> {
        if self.pieces.len() < HABIT || !self.pieces.iter().all(|piece| piece.single) {
            return None;
        }
        let as_made = self.pieces.windows(2).all(|pair| {
            let step = pair[1].at - pair[0].at;
            step >= cadence.times(1, 2) && step <= Span::minutes(AS_MADE_MIN)
        });
        let least = self.pieces.iter().map(|piece| piece.late).min()?;
        let most = self.pieces.iter().map(|piece| piece.late).max()?;
        (as_made && most <= least + Span::minutes(SAME_LATENESS_MIN)).then_some(least)
    }

    /// How late it is at best, if it is late time after time.
    fn habit(&self) -> Option<Span> {
        let least = self.apart.iter().map(|arrival| arrival.late).min()?;
        (self.apart.len() == HABIT && least > Span::minutes(LATE_MIN)).then_some(least)
    }
}

impl Engine {
    /// A piece of readings arrived: when its newest was measured, and whether that was its only one.
    pub(super) fn learn_arrival(&mut self, turn: &mut Turn, source: SourceId, newest: Timestamp, single: bool) {
        let past_after = self.past_after(source);
        let late = turn.now - newest;
        if late <= past_after {
            self.source(source).arrivals.forget();
            return;
        }
        let night = turn.night.inside;
        let state = self.source(source);
        let cadence = state.cadence();
        state.arrivals.add(Arrival { at: turn.now, late, single });
        if let Some(by) = state.arrivals.behind_by(cadence) {
            if !std::mem::replace(&mut state.arrivals.behind, true) {
                turn.judged = None;
                turn.tell(What::Told, Condition::SourceFailed, Id(0), None, Reason::ClockBehind { by }, true);
            }
            return;
        }
        // Said by day: by night nothing could be done about it, and its silence is told already.
        if let Some(late) = state.arrivals.habit().filter(|_| !night && !state.arrivals.history_only) {
            state.arrivals.history_only = true;
            let lost = self.state.register.end_lost(source);
            turn.judged = None;
            turn.tell(What::Told, Condition::SourceFailed, Id(0), None, Reason::HistoryOnly { late }, true);
            if let Some(lost) = lost {
                turn.tell(What::Ended, lost.condition, lost.id, None, Reason::HistoryOnly { late }, false);
            }
            self.state.plan.stop(Job::Gap(source));
            self.plan_scan(turn.now, source);
        }
    }

    /// What is expected of a source: its kind in the settings, or history only when it is late by habit.
    pub(super) fn kind(&self, source: SourceId) -> SourceKind {
        let place = usize::from(source.0);
        let kind = self.policy.sources.get(place).map_or(SourceKind::History, |source| source.kind);
        let late = self.state.sources.get(place).is_some_and(|source| source.arrivals.history_only);
        if late { SourceKind::History } else { kind }
    }
}

fn keep_last(all: &mut Vec<Arrival>, arrival: Arrival) {
    if all.len() == HABIT {
        all.remove(0);
    }
    all.push(arrival);
}
