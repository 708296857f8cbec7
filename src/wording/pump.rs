//! What is said otherwise to the wearer of a pump that doses by itself: of a high, to see on it what it has given, and
//! nothing that asks for a dose or for a note of one; of a low, the plan is the pump's.

use super::text::Said;
use crate::engine::effect::{Side, What};
use crate::engine::policy::Therapy;

/// What to do about a high.
pub(super) const SEE: &str = "See on the pump what it has given.";

/// Whose plan a low is treated by, and whose where a pump doses by itself.
const PLAN: &str = "by your plan";
const OF_PUMP: &str = "by your pump's plan (it may have stopped already)";

impl Said<'_> {
    /// Does a pump dose by itself?
    pub(super) fn adjusts(&self) -> bool {
        self.policy.therapy == Therapy::SelfAdjusting
    }

    /// What is said of a low, where a pump doses by itself: the plan is the pump's.
    pub(super) fn by_the_pumps_plan(&self, mut parts: Vec<String>) -> Vec<String> {
        let low = self.decision.condition.side() == Some(Side::Low) && self.decision.to.is_wearer();
        if !self.adjusts() || !low || self.decision.what == What::Ended {
            return parts;
        }
        match parts.first_mut().filter(|first| first.contains(PLAN)) {
            Some(first) => *first = first.replacen(PLAN, OF_PUMP, 1),
            None => parts.insert(parts.len().min(1), format!("Treat {OF_PUMP}.")),
        }
        parts
    }
}
