//! What is said of a high that came soon after a low: what it may be, and nothing that suggests treating it.

use super::text::{Parts, Said};
use crate::engine::effect::Condition;

impl Said<'_> {
    /// `High 210, rising, 13:40. May be a rebound`, and what to do about it.
    pub(super) fn rebound(&self, value: &str, at: &str) -> Parts {
        let (name, what_to_do) = if self.decision.condition == Condition::VeryHigh {
            ("Very high", "Follow your plan; very high for two hours or feeling ill: check ketones.")
        } else {
            ("High", "Follow your plan.")
        };
        (format!("{name} {value}, {at}. May be a rebound"), vec![what_to_do.to_owned()])
    }

    /// What may have brought it.
    pub(super) fn after_low(&self) -> String {
        let low = self.decision.after_low.map(|low| self.voice.clock(low));
        low.map_or_else(String::new, |low| format!("It may be a rebound after the low of {low}."))
    }
}
