//! A look in the small hours after a high was treated in the evening: insulin taken late goes on working while its
//! wearer sleeps. It is recorded, and rings only for a value that is low already or will be.
//!
//! A children's hospital's teaching sheet has it so: after an evening correction, check at 02:00 to 03:00.

use super::Engine;
use super::check::Check;
use super::effect::{Condition, Id, Side, What};
use super::plan::Job;
use super::reason::{Reason, Treatment};
use super::turn::{Judged, Turn};
use crate::domain::glucose::Glucose;
use crate::domain::local::TimeOfDay;
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// When it looks, and for a late correction at the latest so much after that: the middle and the end of the hour that
/// the sheet names.
const LOOK_AT: &str = "02:30";
const LATER_AT_MOST: Span = Span::minutes(30);

/// A treatment from 20:00 to 02:00 is of the evening.
const BEFORE_AT_MOST: Span = Span::minutes(390);
const BEFORE_AT_LEAST: Span = Span::minutes(30);

/// Insulin has done about half of its work after so long: sooner there is little to see.
const NOT_SOONER: Span = Span::hours(2);

/// It rings below this, and for a fall that reaches it within the span at the speed there is.
const RINGS_BELOW: Glucose = Glucose::mg_dl(100);
const FALLS_WITHIN_MIN: i64 = 60;

/// A dose of which less is still to come pulls a steady value no further down. Ours.
const WORKS_FROM: f64 = 0.1;

/// A look that is due.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct EveningCheck {
    /// The number of the check it follows.
    pub id: Id,
    /// What is looked back at.
    pub treated: Treatment,
}

impl Engine {
    /// A high was treated: if that was in the evening, it is looked at in the small hours too. One that is noted when
    /// the hour has passed is not.
    pub(super) fn plan_evening_look(&mut self, now: Timestamp, id: Id, treated: Treatment) {
        if let Some(due) = self.evening_look_of(treated.at).filter(|due| *due > now) {
            self.state.plan.look_at(Check::Evening(EveningCheck { id, treated }));
            self.state.plan.set(Job::EveningCheck, due);
        }
    }

    /// When a treatment is looked at in the small hours, if it is one of an evening.
    fn evening_look_of(&self, treated: Timestamp) -> Option<Timestamp> {
        let time = TimeOfDay::parse(LOOK_AT).filter(|_| self.policy.recheck.evening_look)?;
        let of_this_evening = |look: &Timestamp| (BEFORE_AT_LEAST..=BEFORE_AT_MOST).contains(&(*look - treated));
        let look = self.policy.zone.shows(time, treated).find(of_this_evening)?;
        Some(look.max(treated + NOT_SOONER).min(look + LATER_AT_MOST))
    }

    /// The treatment that it looks back at was another, or none: it looks back at the newest that stands.
    pub(super) fn evening_look_hangs_on(&mut self, now: Timestamp, was: Timestamp, newest: Option<Timestamp>) {
        if self.state.plan.evening().is_none_or(|check| check.treated.at != was) {
            return;
        }
        let Some(EveningCheck { id, treated }) = self.state.plan.take_evening() else { return };
        self.state.plan.stop(Job::EveningCheck);
        if let Some(at) = newest {
            self.plan_evening_look(now, id, self.treatment(at, treated.alert_since, treated.told));
        }
    }

    /// The clock was set, and all timers were moved with it; or the zone or the settings are others. The treatment keeps
    /// its age, and the look its hour; one whose hour was skipped comes now.
    pub(super) fn move_evening_look(&mut self, now: Timestamp, by: Span) {
        let Some(EveningCheck { id, treated }) = self.state.plan.take_evening() else { return };
        self.state.plan.stop(Job::EveningCheck);
        let treated = Treatment { at: treated.at + by, ..treated };
        if let Some(due) = self.evening_look_of(treated.at) {
            self.state.plan.look_at(Check::Evening(EveningCheck { id, treated }));
            self.state.plan.set(Job::EveningCheck, due.max(now));
        }
    }

    /// The hour has come.
    pub(super) fn look_after_evening(&mut self, turn: &mut Turn) {
        let Some(EveningCheck { id, treated }) = self.state.plan.take_evening() else { return };
        turn.judged = self.lowest_latest(turn.now);
        let reason = Reason::EveningLook { treated: self.by_one_signal(treated, turn.judged) };
        turn.tell(What::Look, Condition::RecheckHigh, id, None, reason.clone(), false);
        // What is low already, or treated as a low, is told and looked at as one.
        let low_is_told = self.root(Side::Low).is_some() || self.state.plan.low().is_some();
        let works = |dose: Timestamp| self.policy.insulin.still_to_come(turn.now - dose) >= WORKS_FROM;
        let works = works(treated.at) || self.state.doses.last_by(turn.now).is_some_and(works);
        if !low_is_told && turn.judged.is_some_and(|judged| goes_low(judged, works)) {
            turn.tell(What::Prompt, Condition::RecheckHigh, id, None, reason, true);
        }
    }
}

/// Low enough to look at while insulin works, and not rising; or falling there.
pub(super) fn goes_low(judged: Judged, works: bool) -> bool {
    let (value, below) = (judged.glucose.hundredths(), RINGS_BELOW.hundredths());
    let Some(rate) = judged.rate else { return value < below && works };
    let soon = i64::from(value) + i64::from(rate.0) * FALLS_WITHIN_MIN;
    let direction = rate.direction();
    value < below && works && !direction.rises() || direction.falls() && soon < i64::from(below)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::signal::Signal;
    use crate::engine::trend::Rate;

    #[test]
    fn it_rings_for_what_is_low_already_or_will_be() {
        let rings_at = |works: bool, value: i32, rate: Option<i32>| {
            let (glucose, at) = (Glucose::mg_dl(value), Timestamp::from_seconds(0));
            goes_low(Judged { glucose, at, rate: rate.map(Rate), of: Signal::Meter }, works)
        };
        let rings = |value: i32, rate: Option<i32>| rings_at(true, value, rate);
        assert!(rings(99, Some(0)) && rings(99, None) && rings(150, Some(-100)));
        assert!(!rings(100, Some(0)) && !rings(99, Some(60)), "within range and steady, or rising");
        assert!(!rings(220, Some(-100)) && !rings(130, Some(-40)), "it does not reach it within the hour");
        assert!(
            !rings_at(false, 99, Some(0)) && rings_at(false, 99, Some(-60)),
            "nothing pulls it any more, or it falls"
        );
    }
}
