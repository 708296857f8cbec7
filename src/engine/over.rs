//! When a low is said to be over: only on a fresh value of the signal that was low, or on a finger-prick. Where that signal
//! gives nothing any more it is no longer watched, which is another thing.

use super::Engine;
use super::effect::Side;
use super::reason::Reason;
use super::signal::Signal;
use super::turn::{Judged, Turn};
use crate::domain::glucose::Glucose;
use crate::domain::time::Timestamp;

/// The last value of a low: whose, when, and what.
pub(super) type Seen = (Signal, Timestamp, Glucose);

impl Engine {
    /// A value that is low: it is the one to be back.
    pub(super) fn remember_signal_of_low(&mut self, turn: &Turn, side: Side) {
        let low = self.policy.levels.low.limit;
        let is_low = |judged: &Judged| side == Side::Low && side.is_beyond(judged.glucose, low);
        if let Some(judged) = turn.judged.filter(is_low) {
            self.state.register.low_seen = Some((judged.of, judged.at, judged.glucose));
        }
    }

    /// The value on which a low may be said to be over: that of the signal that was low. None where it has none.
    pub(super) fn value_of_the_low(&self, turn: &Turn) -> Option<Judged> {
        let judged = turn.judged.filter(|judged| turn.now - judged.at <= turn.fresh_for);
        let (of, _, _) = match self.state.register.low_seen {
            Some(seen @ (Signal::Sensor(_), _, _)) => seen,
            // What a finger-prick saw is back when its checks find it so.
            Some((Signal::Meter, _, _)) | None => return turn.judged,
        };
        if judged.is_some_and(|judged| judged.of == of || judged.of == Signal::Meter) {
            return judged;
        }
        let Signal::Sensor(source) = of else { return None };
        let low = self.policy.levels.low.limit;
        let own = self.latest_of(source).filter(|own| turn.now - own.at <= turn.fresh_for);
        own.filter(|own| !Side::Low.is_beyond(own.glucose, low))
    }

    /// What others are told when a low ends.
    pub(super) fn over_of_low(&self, turn: &mut Turn, since: Timestamp) -> Reason {
        match (self.value_of_the_low(turn), self.state.register.low_seen) {
            (None, Some((_, at, last))) => Reason::NoLongerWatched { last, at },
            (judged, _) => {
                turn.judged = judged;
                Reason::LowOver { since }
            }
        }
    }
}
