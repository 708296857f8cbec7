//! What is said of a value that is not of now: what it was and when, that nothing has come since, and what to do. Never
//! that it is still so, and nothing of how it moves.

use super::text::{Parts, Said, fitting};
use crate::domain::glucose::Glucose;
use crate::domain::time::Timestamp;
use crate::engine::effect::{Condition, Doubt, Side};
use crate::engine::reason::Reason;

impl Said<'_> {
    /// Is it about a low or a high, and is the last value of it too old to be said as now?
    pub(super) fn is_old(&self) -> bool {
        self.decision.doubt == Some(Doubt::Old)
            && self.decision.glucose.is_some()
            && matches!(
                self.decision.condition,
                Condition::VeryLow | Condition::Low | Condition::High | Condition::VeryHigh
            )
    }

    /// `Very low: was 50 at 12:10, nothing since. Treat now`
    pub(super) fn old_level(&self) -> Parts {
        let is_low = self.decision.condition.side() == Some(Side::Low);
        let (what, action) = match self.decision.condition {
            _ if is_low && self.is_very_low() => ("Very low", "Treat now"),
            _ if is_low => ("Low", "Finger-prick now"),
            Condition::VeryHigh => ("Very high", "Finger-prick"),
            _ => ("High", "Finger-prick"),
        };
        let at = self.read_at();
        let was = format!("{what}: was {} at {at}", self.value_alone());
        let title = fitting(&[
            format!("{was}, nothing since. {action}"),
            format!("{was}. {action}"),
            format!("{was}, nothing since"),
            was,
        ]);
        let what_to_do = match () {
            () if is_low && self.is_very_low() => "Treat by your plan now, and do a finger-prick when you can.",
            () if is_low => "Do a finger-prick now; if you cannot, treat by your plan.",
            () => "Do a finger-prick, and follow your plan.",
        };
        let fact = match &self.decision.reason {
            Reason::Unanswered { since, told, .. } => self.nobody(*since, told),
            _ => format!("Nothing has reached me since {at}: what came after is not known."),
        };
        (title, vec![what_to_do.to_owned(), fact])
    }

    /// `No longer watched: last 49 at 12:05`
    pub(super) fn no_longer_watched(&self, last: Glucose, at: Timestamp) -> Parts {
        let (last, at) = (self.voice.value(last), self.voice.clock(at));
        (
            format!("No longer watched: last {last} at {at}"),
            vec![
                "Do a finger-prick, and follow your plan.".to_owned(),
                "The sensor that was low gives nothing any more.".to_owned(),
            ],
        )
    }
}
