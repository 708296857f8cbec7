//! A high that comes down fast, or with insulin that still acts, is not over, in range or not yet: it is a landing. It is looked at every half hour, by day
//! and by night, until it is level or its insulin has acted; meanwhile a low is said at a lower chance (`foresee`). Never
//! says how much insulin is left to act, but as the estimate that words have.

use super::Engine;
use super::check::Check;
use super::effect::{Condition, Decision, Id, Side, What};
use super::forecast::SLOPE_OVER;
use super::plan::Job;
use super::policy::Therapy;
use super::reason::{Reason, Treatment};
use super::recheck_high::{HighCheck, Stage};
use super::trend::{Direction, Rate, slope};
use super::turn::{Judged, Turn};
use crate::domain::reading::Reading;
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// So fast it comes down whatever is known of insulin, in hundredths of a mg/dL per minute; and so fast with a dose that
/// still acts. The edges of the rate bands of error-grid analysis, as in `trend`.
const FALLS_FAST: Rate = Rate(-200);
const FALLS: Rate = Rate(-100);

/// Above its limit it is one no more when it falls by less than this.
const STAYS: Rate = Rate(-50);

/// More of a dose than this is still to come: a third. It is spent when a tenth is left. Ours.
const MUCH_TO_COME: f64 = 1.0 / 3.0;
const SPENT: f64 = 0.1;

/// It is looked at so often: ours, as often as a high that is coming down.
const EVERY: Span = Span::minutes(30);

/// Without insulin that acts it is watched for so long only: lows within 90 minutes were counted to a landing when the
/// chance it rings from was chosen, and one is foreseen a quarter of an hour before. On the tune traces it
/// rings 0.178 times a day with this, 0.234 without; of the 287 lows within 90 minutes of 1,934 landings .742 are rung for,
/// .753 without.
const LOW_WITHIN: Span = Span::minutes(75);

/// Level is less than this either way over half an hour, in mg/dL per minute.
const LEVEL_BELOW: f64 = 0.5;

/// A high that comes down.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Landing {
    /// The number of the check it goes on from.
    pub id: Id,
    /// The thread of the high.
    pub part_of: Option<Id>,
    /// What is looked back at; none for a high that nobody treated.
    pub treated: Option<Treatment>,
    /// Since when.
    pub began: Timestamp,
    /// The wearer was told.
    said: bool,
    /// A look fell due without a fresh reading; the next reading completes it.
    unseen: bool,
}

impl Landing {
    /// The clock was set: every span keeps its length.
    pub(super) fn shift(&mut self, by: Span) {
        self.began = self.began + by;
    }
}

impl Engine {
    /// One more reading, judged on the high side: a high that is followed may be a landing from now on.
    #[inline]
    pub(super) fn follow_landing(&mut self, turn: &mut Turn, reading: &Reading) {
        if self.state.plan.high().is_some() || self.state.plan.landing().is_some() {
            self.may_land(turn, reading);
        }
    }

    #[cold]
    fn may_land(&mut self, turn: &mut Turn, reading: &Reading) {
        if let Some(landing) = self.state.plan.landing() {
            if landing.unseen {
                self.look_at_landing(turn);
            }
        } else if let Some((check, judged)) = self.state.plan.high().cloned().zip(self.latest_of(reading.source)) {
            self.land(turn.now, &check, judged);
        }
    }

    /// Begins, if the high that this check follows comes down so that it is not over in range.
    pub(super) fn land(&mut self, now: Timestamp, check: &HighCheck, judged: Judged) {
        let treated = match check.stage {
            Stage::Looking { treated, .. } => Some(treated),
            Stage::Asking { .. } => None,
        };
        let low = self.policy.levels.low.limit;
        let is_low = Side::Low.is_beyond(judged.glucose, low);
        let Some(rate) = self.pace(judged).filter(|rate| *rate <= FALLS && !is_low) else { return };
        if rate > FALLS_FAST && self.insulin_to_come(now, treated) <= MUCH_TO_COME {
            return;
        }
        let (id, part_of) = (check.id, check.part_of);
        self.state.plan.look_at(Check::Landing(Landing {
            id,
            part_of,
            treated,
            began: now,
            said: false,
            unseen: false,
        }));
        // It is looked at now, unless it has just been.
        let due = self.state.high_looked.map_or(now, |looked| (looked + EVERY).min(now + EVERY).max(now));
        self.state.plan.set(Job::Landing, due);
    }

    /// The timer of its looks is due.
    pub(super) fn look_at_landing(&mut self, turn: &mut Turn) {
        let Some(mut landing) = self.state.plan.landing().cloned() else { return };
        turn.judged = self.latest(turn.now);
        if let Some(judged) = turn.judged {
            let landed = self.has_landed(turn, &landing, judged);
            if Side::High.is_beyond(judged.glucose, self.policy.levels.high.limit) {
                // What stays high has the checks of a high, as soon as it is alerted.
                let stays = self.pace(judged).is_none_or(|rate| rate > STAYS);
                if stays && self.state.plan.high().is_some() || landed {
                    return self.forget_landing();
                }
            } else if landed {
                return self.end_landing(turn);
            }
        }
        let (id, part_of, next) = (landing.id, landing.part_of, turn.now + EVERY);
        let reason = Reason::Landing { acts: self.acts(turn.now, landing.treated), next };
        turn.tell(What::Look, Condition::RecheckHigh, id, part_of, reason.clone(), false);
        landing.unseen = turn.judged.is_none();
        // What would have been told as back is told once as what it is, unless a low that may come has told it.
        let since = turn.now - landing.began;
        if landing.treated.is_some() && !landing.said && since >= EVERY && self.may_be_told(turn) {
            let told = self.rung_forecasts().any(|alert| alert.condition.side() == Some(Side::Low));
            if !told {
                turn.tell(What::Told, Condition::RecheckHigh, id, part_of, reason, true);
            }
            landing.said = true;
        }
        self.state.plan.look_at(Check::Landing(landing));
        self.state.plan.set(Job::Landing, next);
    }

    /// By day, and on a value in range.
    fn may_be_told(&self, turn: &Turn) -> bool {
        let (low, high) = (self.policy.levels.low.limit, self.policy.levels.high.limit);
        let is_out = |value| Side::Low.is_beyond(value, low) || Side::High.is_beyond(value, high);
        let within = turn.judged.is_some_and(|judged| !is_out(judged.glucose));
        within && !turn.night.inside && self.state.plan.low().is_none()
    }

    /// Level for half an hour; or nine tenths of the insulin have acted, and it does not fall fast.
    fn has_landed(&self, turn: &Turn, landing: &Landing, judged: Judged) -> bool {
        let fast = self.pace(judged).is_some_and(|rate| rate <= FALLS_FAST);
        let newest = self.state.window.newest().map(|reading| reading.source);
        let slope = newest.map_or(0.0, |source| slope(self.state.window.newest_first(source), SLOPE_OVER));
        let steady = self.pace(judged).is_some_and(|rate| rate.direction() == Direction::Steady);
        let is_level = steady && slope.abs() < LEVEL_BELOW;
        let spent = if self.goes_by_insulin(landing.treated) {
            self.insulin_to_come(turn.now, landing.treated) <= SPENT
        } else {
            judged.rate.is_some_and(|rate| rate.direction().rises())
        };
        is_level || spent && !fast
    }

    fn end_landing(&mut self, turn: &mut Turn) {
        // The high's own check is over with it, and says nothing beside it.
        if matches!(self.state.plan.high(), Some(HighCheck { stage: Stage::Looking { .. }, .. })) {
            self.close_high(turn);
        }
        let Some(landing) = self.state.plan.take_landing() else { return };
        self.state.plan.stop(Job::Landing);
        if let Some(treated) = landing.treated {
            let reason = Reason::Back { treated, found: Some(self.found(turn, &treated, false)) };
            let rings = !landing.said && self.may_be_told(turn);
            turn.tell(What::Ended, Condition::RecheckHigh, landing.id, landing.part_of, reason, rings);
        }
    }

    /// Any look at the high is one at its landing.
    pub(super) fn count_looks_at_landing(&mut self, turn: &Turn) {
        let looked = |decision: &Decision| {
            decision.condition == Condition::RecheckHigh && matches!(decision.what, What::Look | What::Prompt)
        };
        if turn.out.iter().any(looked) {
            self.state.high_looked = Some(turn.now);
            if self.state.plan.landing().is_some() {
                self.state.plan.set(Job::Landing, turn.now + EVERY);
            }
        }
    }

    /// What comes down is treated once more: it goes on by that treatment.
    pub(super) fn landing_is_treated(&mut self, treated: Treatment) {
        if let Some(landing) = self.state.plan.landing_mut() {
            (landing.treated, landing.said) = (Some(treated), false);
        }
    }

    /// It is followed in another way, or not at all.
    pub(super) fn forget_landing(&mut self) {
        if self.state.plan.take_landing().is_some() {
            self.state.plan.stop(Job::Landing);
        }
    }

    /// Since when a landing is under way that may go too far: for so long as its insulin acts, and at first by its fall
    /// alone.
    pub(super) fn may_land_low(&self, at: Timestamp) -> Option<Timestamp> {
        let landing = self.state.plan.landing()?;
        let early = at - landing.began <= LOW_WITHIN;
        (early || self.acts(at, landing.treated)).then_some(landing.began)
    }

    /// The treatment that it looks back at was another, or none.
    pub(super) fn landing_hangs_on(&mut self, was: Timestamp, newest: Option<Timestamp>) {
        let value = newest.and_then(|at| self.value_at(at));
        if let Some(landing) = self.state.plan.landing_mut() {
            let treated = landing.treated.filter(|treated| treated.at == was);
            if let Some(treated) = treated {
                landing.treated = newest.map(|at| Treatment { at, value, ..treated });
            }
        }
    }

    /// The share of the last dose that is still to come, from 0 to 1; none where a pump doses by itself.
    fn insulin_to_come(&self, now: Timestamp, treated: Option<Treatment>) -> f64 {
        // A check that has asked about it since no longer knows of the treatment.
        let treated = treated.map(|treated| treated.at).max(self.state.before_sleep.high_treated);
        let last = self
            .state
            .doses
            .last_by(now)
            .max(treated.filter(|at| *at <= now))
            .filter(|_| self.policy.therapy != Therapy::SelfAdjusting);
        last.map_or(0.0, |at| self.policy.insulin.still_to_come(now - at))
    }

    fn acts(&self, now: Timestamp, treated: Option<Treatment>) -> bool {
        self.insulin_to_come(now, treated) > SPENT
    }

    /// Is there a dose that its end can go by? One that had acted before it began is none.
    fn goes_by_insulin(&self, treated: Option<Treatment>) -> bool {
        let noted = treated.is_some() || self.state.doses.taken().next_back().is_some();
        noted && self.policy.therapy != Therapy::SelfAdjusting
    }
}
