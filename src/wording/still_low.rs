//! What is said of a treated low that is not back: to treat again by the plan, never to wait; and to prick a finger where
//! it was very low; from the third treatment on how many there were, and to get help.

use super::Voice;
use super::text::{Parts, Said, fitting};
use crate::domain::time::Timestamp;
use crate::engine::effect::{Decision, Doubt};
use crate::engine::nadir::{Lowest, VERY_LOW};
use crate::engine::reason::{Began, Reason, Treatment};
use crate::engine::recheck_low::TREATED_OFTEN;
use crate::engine::trend::Direction;

/// Does a look at a low ask for a finger-prick?
#[must_use]
pub fn asks_for_prick(decision: &Decision) -> bool {
    matches!(&decision.reason, Reason::StillLow { lowest: Some(lowest), .. } if lowest.prick)
}

impl Said<'_> {
    /// `Still low 62, falling, 08:25. Treat again by your plan`, or `Rising, still low 66, 08:25. By your plan`: that it
    /// rises is no order to wait.
    pub(super) fn still_low(
        &self,
        treated: &Treatment,
        lowest: Option<Lowest>,
        treatments: u32,
        next: Timestamp,
    ) -> Parts {
        let low = self.policy.levels.low.limit.hundredths();
        let (at, value) = (self.read_at(), self.value_and_direction());
        let next = self.voice.clock(next);
        if self.decision.glucose.is_some_and(|glucose| glucose.hundredths() >= low) {
            return (
                format!("Back, but {value}, {at}. Check again"),
                vec!["Check with a meter, and follow your plan.".to_owned(), format!("Falling; next check {next}.")],
            );
        }
        let rises = self.direction().is_some_and(Direction::rises);
        let flat = self.decision.doubt == Some(Doubt::Flat);
        let prick = flat || self.is_very_low() || lowest.is_some_and(|lowest| lowest.prick);
        let again = if treated.told == Began::Treated { "Treat again" } else { "Treat" };
        let how = if self.is_very_low() { "very low" } else { "low" };
        let bare = self.decision.glucose.map_or_else(String::new, |value| value.shown(self.voice.unit, self.limit()));
        if treatments >= TREATED_OFTEN {
            let often = format!("Still {bare} after {treatments} treatments, {at}.");
            return (
                fitting(&[format!("{often} Finger-prick, get help now"), format!("{often} Get help now")]),
                vec![
                    "Do a finger-prick and get help now; do not stay alone.".to_owned(),
                    format!("If the meter is low or you have none, treat again by your plan; next check {next}."),
                ],
            );
        }
        let title = match (rises, prick) {
            (true, true) => vec![
                format!("Rising, still {how} {bare}, {at}. Finger-prick, by your plan"),
                format!("Rising, still {how} {bare}, {at}. Finger-prick"),
            ],
            (true, false) => vec![format!("Rising, still {how} {bare}, {at}. By your plan")],
            (false, true) => vec![
                format!("Still {how} {value}, {at}. {again}, finger-prick"),
                format!("Still {how} {bare}, {at}. {again}, finger-prick"),
            ],
            (false, false) => vec![
                format!("Still {how} {value}, {at}. {again} by your plan"),
                format!("Still {how} {value}, {at}. {again} by plan"),
            ],
        };
        let act = match (rises, prick) {
            (true, true) => "Do a finger-prick, and follow your plan; if you treat again, press Treated.".to_owned(),
            (true, false) => "Follow your plan; if it says to treat again, press Treated.".to_owned(),
            (false, true) => format!("{again} by your plan, press Treated, do a finger-prick; do not stay alone."),
            (false, false) => format!("{again} by your plan, then press Treated; do not stay alone."),
        };
        (fitting(&title), vec![act, format!("Still {how}, {}; next check {next}.", self.since_treated(treated))])
    }
}

/// Why, for `why`.
pub(super) fn sentence(
    treated: &Treatment,
    lowest: Option<Lowest>,
    treatments: u32,
    next: Timestamp,
    voice: Voice,
) -> String {
    let lowest = lowest.map_or_else(String::new, |Lowest { value, at, ago, usual, prick }| {
        let usual = usual.map_or_else(String::new, |usual| format!(" (lows like it: back after about {usual})"));
        let prick = if prick {
            format!("; below {} and not back, so a finger-prick is asked for", voice.limit(VERY_LOW))
        } else {
            String::new()
        };
        format!(", lowest {} at {}, {ago} before{usual}{prick}", voice.value(value), voice.clock(at))
    });
    let often = if treatments > 1 { format!(" {treatments} times, last") } else { String::new() };
    format!("still low{lowest}; treated{often} at {}, next check {}", voice.clock(treated.at), voice.clock(next))
}
