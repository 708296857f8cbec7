//! What is said of a treated low that is not back: to wait, with the reason for it; to treat again by the plan; and to
//! prick a finger where it was very low.

use super::text::{Said, fitting, sentences};
use super::{Voice, since};
use crate::domain::time::Timestamp;
use crate::engine::effect::Decision;
use crate::engine::nadir::{Lowest, VERY_LOW};
use crate::engine::reason::{Began, Reason, Treatment};
use crate::engine::trend::Direction;

/// Does a look at a low ask for a finger-prick?
#[must_use]
pub fn asks_for_prick(decision: &Decision) -> bool {
    matches!(&decision.reason, Reason::StillLow { lowest: Some(lowest), .. } if lowest.prick)
}

impl Said<'_> {
    /// `Wait: 66, rising, 08:25; +10 in 15 min`, or `Prick a finger: 62, rising, 08:25; +12 in 15 min`.
    pub(super) fn still_low(&self, treated: &Treatment, lowest: Option<Lowest>, next: Timestamp) -> (String, String) {
        let low = self.policy.levels.low.limit.hundredths();
        let is_back = self.decision.glucose.is_some_and(|glucose| glucose.hundredths() >= low);
        let rises = self.direction().is_some_and(Direction::rises) && !is_back;
        let falls = self.direction().is_some_and(Direction::falls);
        let prick = lowest.is_some_and(|lowest| lowest.prick) && !is_back;
        let (action, body) = match treated.told {
            _ if is_back => ("Look again", "Back, but falling: check with a meter, and follow your plan."),
            _ if rises && prick => ("Prick a finger", "Rising: wait for the next look, and prick a finger meanwhile."),
            _ if rises && self.is_very_low() => {
                ("Check", "Rising, and still very low: check with a meter, and follow your plan.")
            }
            _ if rises => ("Wait", "Rising: wait for the next look, unless your plan says to treat again."),
            Began::Symptoms | Began::Meter => {
                ("Treat by plan", "Not rising: treat by your plan, then `recheck treated`. Do not stay alone.")
            }
            Began::Treated if falls => (
                "Treat by plan",
                "Falling after treating: treat again by your plan, check with a meter, and do not stay alone.",
            ),
            Began::Treated => ("Treat by plan", "Not rising: treat again by your plan, and check with a meter."),
        };
        let action = if prick && !rises { "Treat by plan, prick a finger" } else { action };
        let title = format!("{action}: {}, {}", self.value_and_direction(), self.read_at());
        let changed = format!("{title}; {}{}", self.changed_since(treated), since(treated.at, self.voice.now));
        let (why, lowest) = lowest.map_or_else(Default::default, |lowest| {
            let why = format!("Below {} and not back: prick a finger.", self.voice.limit(VERY_LOW));
            (if prick { why } else { String::new() }, lowest_told(&lowest, rises, self.voice))
        });
        let next = format!("Next look {}.", self.voice.clock(next));
        let body = [&self.full_value(), &self.treated_then(treated), body, &why, &lowest, &next];
        (fitting(&[changed, title]), sentences(&body))
    }
}

/// `Its lowest was 56 at 08:10, 17 min ago; lows like it took about 12 min from there to be back.`
fn lowest_told(lowest: &Lowest, rises: bool, voice: Voice) -> String {
    let known =
        format!("Its lowest was {} at {}, {} ago", voice.value(lowest.value), voice.clock(lowest.at), lowest.ago);
    match lowest.usual.filter(|_| rises) {
        Some(usual) if lowest.ago > usual => {
            format!("{known}; lows like it took about {usual} from there to be back. This one takes longer: measure.")
        }
        Some(usual) => format!("{known}; lows like it took about {usual} from there to be back."),
        None => format!("{known}."),
    }
}

/// Why, for `why`.
pub(super) fn sentence(treated: &Treatment, lowest: Option<Lowest>, next: Timestamp, voice: Voice) -> String {
    let lowest = lowest.map_or_else(String::new, |Lowest { value, at, ago, usual, prick }| {
        let usual = usual.map_or_else(String::new, |usual| format!(" (lows like it: back after about {usual})"));
        let prick = if prick {
            format!("; below {} and not back, so a finger-prick is asked for", voice.limit(VERY_LOW))
        } else {
            String::new()
        };
        format!(", lowest {} at {}, {ago} before{usual}{prick}", voice.value(value), voice.clock(at))
    });
    format!("still low{lowest}; treated at {}, next look {}", voice.clock(treated.at), voice.clock(next))
}
