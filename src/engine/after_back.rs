//! A low that is back is not over yet: it is looked at once more a quarter of an hour later, and until it has stayed
//! back for three of them it rings sooner that it may come again. What is foreseen is in `foresee`; here is when a low is
//! back, and what the check of it finds. It ends no alert, and quiets none.

use super::Engine;
use super::alert::Alert;
use super::check::Check;
use super::effect::{Condition, Id, Side, What};
use super::plan::Job;
use super::reason::Reason;
use super::source::SourceState;
use super::trend::{self, Rate};
use super::turn::{Judged, Turn};
use crate::domain::reading::Reading;
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// Back is two readings at the limit or above that are at least so far apart. Ours.
const APART: Span = Span::minutes(4);

/// ... and not falling: one falls from here on, in hundredths of a mg/dL per minute. The edge of the inner rate band of
/// error-grid analysis, as in `trend`.
const FALLS: i32 = -100;

/// The check comes with the first reading from then on, a minute of jitter allowed, and at the latest after so long.
/// Ours: the span of the rule of 15 (ADA, seen as a summary), once more.
const CHECK_FROM: Span = Span::minutes(14);
const CHECK_BY: Span = Span::minutes(20);

/// For so long after it is back a low may slip: of 643 lows that closed at 70 to 79 mg/dL 125 were low again within 45
/// minutes (the open traces).
const MAY_SLIP_FOR: Span = Span::minutes(45);

/// So little above the limit it is only just back; in hundredths of a mg/dL.
const JUST_BACK: i32 = 1_000;

/// A fall from so far above the limit is no low to come: ours, fifty minutes at the speed at which it begins to count.
const FAR_ABOVE: i32 = 5_000;

/// A low that is not back yet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Below {
    /// The thread of its alert.
    thread: Id,
}

/// The check of a low that is back.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct BackCheck {
    /// Its number.
    pub id: Id,
    /// The thread of the low.
    pub part_of: Option<Id>,
    /// Since when it is back, and the reading that showed it.
    pub back: Timestamp,
    pub(super) seen: Timestamp,
    /// It was looked at.
    looked: bool,
    /// It slips, and something has kept that from being said.
    unsaid: bool,
}

impl BackCheck {
    /// Does it slip, and was that not said so far?
    pub(super) const fn is_unsaid(&self) -> bool {
        self.unsaid
    }

    /// The clock was set: every span keeps its length.
    pub(super) fn shift(&mut self, by: Span) {
        self.back = self.back + by;
    }
}

impl Engine {
    /// One more reading: a low may be back, or stay so, if no other signal says that it is low.
    #[inline]
    pub(super) fn follow_back(&mut self, turn: &mut Turn, reading: &Reading) {
        if Side::Low.is_beyond(reading.glucose, self.policy.levels.low.limit) {
            self.is_low_again();
        } else if self.state.below.is_some() || self.state.plan.back().is_some() {
            self.is_not_low(turn, reading);
        }
    }

    #[cold]
    fn is_low_again(&mut self) {
        let Some(thread) = self.root(Side::Low).map(Alert::thread) else { return };
        self.state.below = Some(Below { thread });
        self.end_back_check();
    }

    #[cold]
    fn is_not_low(&mut self, turn: &mut Turn, reading: &Reading) {
        let Some(judged) = self.latest_of(reading.source) else { return };
        if let Some(Below { thread }) = self.state.below
            && self.has_been_above(reading)
            && !self.falls(judged)
        {
            self.state.below = None;
            self.begin_back_check(turn.now, reading.measured, thread);
        }
        if let Some(check) = self.state.plan.back().copied() {
            let since = turn.now - check.back;
            if !check.looked && since >= CHECK_FROM || check.unsaid {
                let before = turn.judged.replace(judged);
                self.look_at_back(turn, check);
                turn.judged = before;
            }
        }
    }

    /// Was another reading at the limit or above long enough before it, and none below in between?
    fn has_been_above(&self, reading: &Reading) -> bool {
        let limit = self.policy.levels.low.limit;
        let mut row = self.state.window.all_newest_first().filter(|other| other.measured <= reading.measured);
        let ends =
            row.find(|other| Side::Low.is_beyond(other.glucose, limit) || reading.measured - other.measured >= APART);
        ends.is_some_and(|other| !Side::Low.is_beyond(other.glucose, limit))
    }

    fn begin_back_check(&mut self, now: Timestamp, seen: Timestamp, thread: Id) {
        let id = self.take_id();
        let check = BackCheck { id, part_of: Some(thread), back: now, seen, looked: false, unsaid: false };
        self.state.plan.look_at(Check::Back(check));
        self.state.plan.set(Job::BackCheck, now + CHECK_BY);
    }

    /// The timer of the check is due: no reading has come for it, or it has stayed back for long enough.
    pub(super) fn back_check_is_due(&mut self, turn: &mut Turn) {
        let Some(check) = self.state.plan.back().copied() else { return };
        if turn.now - check.back >= MAY_SLIP_FOR {
            return self.end_back_check();
        }
        turn.judged = self.lowest_latest(turn.now);
        if turn.judged.is_some() && !check.looked {
            self.look_at_back(turn, check);
        } else {
            self.state.plan.set(Job::BackCheck, check.back + MAY_SLIP_FOR);
        }
    }

    fn look_at_back(&mut self, turn: &mut Turn, mut check: BackCheck) {
        let slips = turn.judged.filter(|judged| self.slips(turn, *judged));
        if !check.looked {
            let back = check.back;
            let reason = match slips {
                Some(judged) => Reason::SlipsBack { back, falls: self.falls(judged) },
                None => Reason::StaysBack { back },
            };
            turn.tell(What::Look, Condition::RecheckLow, check.id, check.part_of, reason, false);
        }
        check.unsaid = match slips {
            Some(judged) => !self.say_that_it_slips(turn, &check, judged.at, self.falls(judged)),
            None => false,
        };
        check.looked = true;
        self.state.plan.look_at(Check::Back(check));
        self.state.plan.set(Job::BackCheck, (check.back + MAY_SLIP_FOR).max(turn.now));
    }

    /// Falling towards the limit; or, by day, only just above it and not rising.
    fn slips(&self, turn: &Turn, judged: Judged) -> bool {
        let above = judged.glucose.hundredths() - self.policy.levels.low.limit.hundredths();
        let rises = self.pace(judged).is_some_and(|rate| rate.direction().rises());
        let just_back = (0..JUST_BACK).contains(&above) && !rises && !turn.night.inside;
        just_back || (0..FAR_ABOVE).contains(&above) && self.falls(judged)
    }

    fn falls(&self, judged: Judged) -> bool {
        self.pace(judged).is_some_and(|rate| rate.0 <= FALLS)
    }

    /// How fast a value changes over the last 20 minutes. Where readings are a quarter of an hour apart two of them tell:
    /// a rate from three is that of the half hour before as well.
    pub(super) fn pace(&self, judged: Judged) -> Option<Rate> {
        let newest = self.state.window.newest().filter(|newest| newest.measured == judged.at);
        let Some(source) = newest.map(|newest| newest.source) else { return judged.rate };
        // The rate of a sensor that gives a value every ten minutes, or seldomer, is one over three quarters of an hour.
        let cadence = self.state.sources.get(usize::from(source.0)).map_or(Span::ZERO, SourceState::cadence);
        let sparse = trend::is_sparse(cadence);
        match judged.rate {
            Some(rate) if !sparse => Some(rate),
            _ => trend::pace(self.state.window.newest_first(source), if sparse { 2 } else { 3 }),
        }
    }

    fn end_back_check(&mut self) {
        if self.state.plan.take_back().is_some() {
            self.state.plan.stop(Job::BackCheck);
        }
    }
}
