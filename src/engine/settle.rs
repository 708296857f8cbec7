//! A finger-prick beside two signals settles which of them counts: the nearer one, where it is near and the other is not.
//! That a very low one is wrong takes two, as with any very low.

use super::Engine;
use super::alert::Detail;
use super::denial::HOLDS;
use super::effect::{Condition, Id, Side, What};
use super::event::Trusted;
use super::reason::Reason;
use super::turn::Turn;
use super::two_signals::Trust;
use crate::domain::glucose::Glucose;
use crate::domain::time::Timestamp;

/// So near is near: 20 mg/dL, or 20 % of the meter's value where that is more; the band of 21 CFR 862.1355 (from memory)
/// that nearly nine of ten readings are within.
const NEAR_HUNDREDTHS: i32 = 2_000;
const NEAR_FIFTHS: i32 = 5;

/// And the other is so much further away: ours, more than two signals are apart at least.
const FURTHER_HUNDREDTHS: i32 = 2_500;

impl Engine {
    /// True when something was answered about the two.
    pub(super) fn settle_two_signals(&mut self, turn: &mut Turn, at: Timestamp, meter: Glucose) -> bool {
        self.doubt_what_was_chosen(turn, meter);
        let two = self.state.register.of(Condition::TwoSignals).map(|alert| alert.detail);
        let Some(Detail::TwoSignals { lower, higher, .. }) = two else { return false };
        let away = |signal: Glucose| (signal.hundredths() - meter.hundredths()).abs();
        let (nearer, further) = (away(lower).min(away(higher)), away(lower).max(away(higher)));
        if !is_near(nearer, meter) || further - nearer < FURTHER_HUNDREDTHS {
            return false;
        }
        let very_low = Side::Low.is_beyond(lower, self.policy.levels.very_low.limit);
        if very_low && away(higher) < away(lower) && !self.denied_twice() {
            let reason = Reason::SecondDecides { meter, lower, from: at + HOLDS };
            turn.tell(What::Answer, Condition::TwoSignals, Id(0), None, reason, false);
            return true;
        }
        self.trust(turn, Trusted::Near(meter));
        if let Some(Trust::Signal { by_meter, .. }) = &mut self.state.trust {
            *by_meter = true;
        }
        true
    }

    /// The signal that was chosen is far from what a finger says now: all count again, so that none hides a low.
    fn doubt_what_was_chosen(&mut self, turn: &mut Turn, meter: Glucose) {
        if let Some(Trust::Signal { ours, .. }) = self.state.trust
            && !is_near((ours.hundredths() - meter.hundredths()).abs(), meter)
        {
            self.trust_all(turn);
        }
    }
}

fn is_near(away: i32, meter: Glucose) -> bool {
    away <= NEAR_HUNDREDTHS.max(meter.hundredths() / NEAR_FIFTHS)
}
