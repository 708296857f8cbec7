//! When a low is worth saying at a lower chance, by night too: soon after one that is back, and while a high comes down
//! under insulin that still acts. Here are these chances, and the check after a low that says the same without one.

use super::outlook::Outlook;
use super::policy::ForecastsPolicy;
use super::{Engine, Foresight};
use crate::domain::diary::{Kind, Note};
use crate::domain::reading::Reading;
use crate::domain::time::{Span, Timestamp};
use crate::engine::after_back::BackCheck;
use crate::engine::alert::Detail;
use crate::engine::effect::{Condition, Priority, Side, What};
use crate::engine::forecast::{Chance, LOW};
use crate::engine::policy::Rings;
use crate::engine::reason::Reason;
use crate::engine::turn::Turn;
use serde::{Deserialize, Serialize};

/// Noted food quiets what is foreseen of a low for so long: ours, the span after which a low is measured and treated
/// again, and five minutes.
const FED_FOR: Span = Span::minutes(20);

/// ... unless it falls by so much, in hundredths of a mg/dL per minute.
const FALLS_ALL_THE_SAME: i32 = -200;

/// What a low is watched for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Watched {
    /// One that is back may slip.
    AfterLow,
    /// A high comes down, and may come down too far.
    Landing,
}

impl ForecastsPolicy {
    const fn chance_of(&self, watched: Watched) -> Chance {
        match watched {
            Watched::AfterLow => self.after_low,
            Watched::Landing => self.landing,
        }
    }

    /// Is it to be said that a low slips? A chance that nothing reaches switches it off.
    fn says_that_it_slips(&self) -> bool {
        self.low.rings != Rings::Never && self.after_low <= LOW.most
    }
}

impl Engine {
    /// What a low is watched for, and since when: only what rang since then has told it. The reading that shows a low to
    /// be back tells nothing more.
    pub(super) fn watched(&self, condition: Condition, measured: Timestamp) -> Option<(Watched, Timestamp)> {
        if condition != Condition::ForecastLow {
            return None;
        }
        let back =
            self.state.plan.back().filter(|check| measured > check.seen).map(|check| (Watched::AfterLow, check.back));
        back.or_else(|| self.may_land_low(measured).map(|began| (Watched::Landing, began)))
    }

    /// How likely a forecast must be, where it is watched for.
    pub(super) fn outlook(&self, condition: Condition, side: Side, reading: &Reading) -> Option<Outlook> {
        let mut outlook = Outlook::of(&self.policy, condition, side, reading)?;
        // A chance that nothing reaches switches it off.
        let watched = self.watched(condition, reading.measured);
        outlook.watched = watched.filter(|(watched, _)| self.policy.forecasts.chance_of(*watched) <= LOW.most);
        if let Some((watched, _)) = outlook.watched {
            let chance = self.policy.forecasts.chance_of(watched);
            outlook.policy.raise = outlook.policy.raise.min(chance);
            outlook.policy.sound = outlook.policy.sound.min(chance);
        }
        Some(outlook)
    }

    /// What is watched for rings whenever the low itself would.
    pub(super) fn watch_waits(&self, turn: &Turn) -> Option<Reason> {
        turn.holds(self.policy.levels.low.rings, Priority::Medium)
    }

    /// Food and insulin make what is foreseen less sure.
    pub(in crate::engine) fn remember_what_moves(&mut self, note: &Note) {
        if matches!(note.kind, Kind::Insulin(_) | Kind::Carbohydrate(_)) {
            self.state.foreseen.noted = self.state.foreseen.noted.max(Some(note.at));
        }
        if matches!(note.kind, Kind::Carbohydrate(_)) {
            self.state.foreseen.ate = self.state.foreseen.ate.max(Some(note.at));
        }
    }

    /// Whoever has just eaten need not be told that a low may come, unless it is there, or comes fast.
    pub(super) fn fed(&self, turn: &Turn, side: Side) -> Option<Reason> {
        let at = self.state.foreseen.ate.filter(|ate| *ate <= turn.now && turn.now - *ate < FED_FOR)?;
        let judged = turn.judged.filter(|_| side == Side::Low)?;
        let is_low = Side::Low.is_beyond(judged.glucose, self.policy.levels.low.limit);
        let falls = self.pace(judged).is_some_and(|rate| rate.0 <= FALLS_ALL_THE_SAME);
        (!is_low && !falls).then_some(Reason::FoodNoted { at, until: at + FED_FOR })
    }

    /// The check of a low that is back found it falling, or hardly above its limit: that is said as what is foreseen is.
    /// False when something keeps it from being said now.
    pub(in crate::engine) fn say_that_it_slips(
        &mut self,
        turn: &mut Turn,
        check: &BackCheck,
        at: Timestamp,
        falls: bool,
    ) -> bool {
        let rang = self.state.foreseen.low.rang;
        if !self.policy.forecasts.says_that_it_slips() || rang.is_some_and(|rang| rang >= check.back) {
            return true;
        }
        let limit = self.policy.levels.low.limit;
        let (condition, side, policy) = (Condition::ForecastLow, Side::Low, self.policy.forecasts.low);
        let watched = Some((Watched::AfterLow, check.back));
        let Some(value) = turn.judged.map(|judged| judged.glucose) else { return false };
        let outlook = Outlook { condition, side, limit, policy, measured: at, value, watched };
        if let Some(reason) = self.why_silent(turn, &outlook, &Foresight::default()) {
            if !check.is_unsaid() {
                turn.tell(What::Withheld, Condition::RecheckLow, check.id, check.part_of, reason, false);
            }
            return false;
        }
        let known = self.state.register.of(condition).copied();
        let what = if known.is_some() { What::Repeated } else { What::Raised };
        let mut open = known.unwrap_or_else(|| self.new_forecast(&outlook));
        let reason = Reason::SlipsBack { back: check.back, falls };
        turn.tell(what, condition, open.id, open.part_of, reason, true);
        open.told_at = Some(at);
        open.told_as(None);
        if let Detail::Forecast { by, .. } = &mut open.detail {
            *by = at + LOW.horizon;
        }
        self.state.register.replace(open);
        let low = &mut self.state.foreseen.low;
        low.rang = Some(at);
        if what == What::Raised {
            low.raised = Some(at);
        }
        true
    }
}
