//! Do not drive yet: after a value below the driving limit, until it has been back for long enough. What is over is
//! said in neutral words; nothing here ever says that somebody may drive.

use super::Due;
use super::caution::DRIVING;
use super::reason::Why;
use crate::domain::mode::Mode;
use crate::domain::time::{Span, Timestamp};
use crate::engine::Engine;
use crate::engine::check::Check;
use crate::engine::effect::{Condition, Id, Side, What};
use crate::engine::level::Seen;
use crate::engine::reason::Reason;
use crate::engine::turn::Turn;
use serde::{Deserialize, Serialize};

/// 45 minutes after a treated low is back at 5.0 mmol/L (DVLA INF294, seen as a copy).
const WAIT_MIN: i64 = 45;

/// Do not drive yet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct DrivingWait {
    /// Its number.
    pub id: Id,
    /// Since when.
    pub since: Timestamp,
    /// The last value that was judged.
    last: Timestamp,
    /// The value is back since then.
    back: Option<Timestamp>,
    /// Until when the wearer was told to wait; it is looked at again then, and what is true is said.
    told: Option<Timestamp>,
}

impl DrivingWait {
    /// Until when, if the value is back.
    #[must_use]
    pub fn until(&self) -> Option<Timestamp> {
        self.back.map(|back| back + Span::minutes(WAIT_MIN))
    }

    /// The clock was set: every span keeps its length.
    pub(in crate::engine) fn shift(&mut self, by: Span) {
        (self.since, self.last) = (self.since + by, self.last + by);
        [&mut self.back, &mut self.told].into_iter().flatten().for_each(|at| *at = *at + by);
    }
}

impl Engine {
    /// Driving begins: what was below the limit just before counts as well.
    pub(super) fn hold_at_start(&mut self, turn: &mut Turn) {
        if self.state.plan.driving().is_some() {
            return;
        }
        let is_back = |hundredths: i32| hundredths >= DRIVING.hundredths();
        let newest = self.lowest_latest(turn.now);
        let below = newest.is_some_and(|judged| !is_back(judged.glucose.hundredths()));
        let low = self.policy.levels.low.limit.hundredths();
        let from = turn.now - Span::minutes(WAIT_MIN);
        let lately = self.state.window.all_newest_first().take_while(|reading| reading.measured >= from);
        let was_low = lately.map(|reading| reading.glucose.hundredths()).min().is_some_and(|lowest| lowest < low);
        if !below && !was_low && self.root(Side::Low).is_none() {
            return;
        }
        let rows = self.state.window.all_newest_first();
        let back = rows.take_while(|reading| is_back(reading.glucose.hundredths())).last();
        let back = back.map(|reading| reading.measured).filter(|_| newest.is_some() && !below);
        let id = self.take_id();
        let last = newest.map_or(turn.now, |judged| judged.at);
        let hold = DrivingWait { id, since: turn.now, last, back, told: None };
        if hold.until().is_none_or(|until| until > turn.now) {
            // The answer to the wearer's word says it.
            self.state.plan.look_at(Check::Driving(DrivingWait { told: hold.until(), ..hold }));
            self.set_or_stop(Due::Hold, hold.until());
        }
    }

    /// Follows the newest value. A wait that has begun goes on when the mode ends, by itself or early: it was promised
    /// that its end is told.
    pub(in crate::engine) fn follow_hold(&mut self, turn: &mut Turn, seen: &Seen) {
        let drives = self.is_on(Mode::Driving, turn.now);
        let is_back = seen.value.hundredths() >= DRIVING.hundredths();
        match self.state.plan.driving_mut() {
            Some(hold) if seen.measured < hold.last => {}
            Some(hold) => {
                let unseen = seen.measured - hold.last > seen.long_silence();
                hold.last = seen.measured;
                // What it was during a silence is not known: the wait begins anew.
                let before = hold.back.filter(|_| !unseen);
                hold.back = is_back.then(|| before.unwrap_or(seen.measured));
                if is_back && hold.told.is_none() {
                    self.tell_hold(turn);
                }
            }
            None if is_back || !drives => {}
            None => {
                // The ring of the low, or of the caution, says so.
                let id = self.take_id();
                let hold = DrivingWait { id, since: turn.now, last: seen.measured, back: None, told: None };
                self.state.plan.look_at(Check::Driving(hold));
                let said = Why::Hold { limit: DRIVING, until: None };
                turn.tell(What::Told, Condition::Mode, id, None, Reason::Mode { said }, false);
            }
        }
    }

    /// The time has come that the wearer was told: it is over, or it goes on, and which is said.
    pub(super) fn look_at_hold(&mut self, turn: &mut Turn) {
        let Some(hold) = self.state.plan.driving().copied() else { return };
        turn.judged = self.lowest_latest(turn.now);
        let is_back = turn.judged.is_some_and(|judged| judged.glucose.hundredths() >= DRIVING.hundredths());
        match hold.back.filter(|_| is_back) {
            Some(back) if turn.now - back >= Span::minutes(WAIT_MIN) => {
                self.drop_hold();
                let said = Why::HoldOver { limit: DRIVING, back };
                turn.tell(What::Ended, Condition::Mode, hold.id, None, Reason::Mode { said }, true);
            }
            back => {
                self.state.plan.look_at(Check::Driving(DrivingWait { back, told: None, ..hold }));
                self.tell_hold(turn);
            }
        }
    }

    /// Says that it is too early to drive, and until when if that is known. By night, with the mode over, nobody is woken
    /// for that: only that the wait is over was promised.
    fn tell_hold(&mut self, turn: &mut Turn) {
        let Some(hold) = self.state.plan.driving_mut() else { return };
        let until = hold.until();
        hold.told = until;
        let id = hold.id;
        self.set_or_stop(Due::Hold, until.map(|until| until.max(turn.now)));
        let said = Why::Hold { limit: DRIVING, until };
        let rings = !turn.night.inside || self.is_on(Mode::Driving, turn.now);
        turn.tell(What::Told, Condition::Mode, id, None, Reason::Mode { said }, rings);
    }

    /// The wait is over.
    fn drop_hold(&mut self) {
        self.state.plan.take_driving();
        self.set_or_stop(Due::Hold, None);
    }
}
