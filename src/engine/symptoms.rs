//! Symptoms that were noted: which of them begin the checks of a low, whatever the sensor says, and which are another
//! thing. Says no row of any plan.

use super::Engine;
use super::effect::Side;
use super::past_lows::TELLS_FOR;
use super::reason::Began;
use super::turn::Turn;
use crate::domain::diary::Note;
use crate::domain::symptoms::Symptoms;
use crate::domain::time::Timestamp;

impl Engine {
    /// Symptoms were noted. Those of a low begin its checks; vomiting never does.
    pub(super) fn symptoms_noted(&mut self, turn: &mut Turn, note: &Note) {
        let symptoms = Symptoms::of(&note.words);
        if symptoms.begin_a_low(self.is_low_or_unknown(turn)) {
            return self.treat_low(turn, note.at, Began::Symptoms);
        }
        turn.only_noted();
    }

    /// Is glucose low now, or does nobody know it?
    fn is_low_or_unknown(&self, turn: &Turn) -> bool {
        let low = self.policy.levels.low.limit;
        let is_old = |at: Timestamp| turn.now - at > TELLS_FOR;
        self.lowest_latest(turn.now).is_none_or(|judged| is_old(judged.at) || Side::Low.is_beyond(judged.glucose, low))
    }
}

/// May a note of symptoms have begun the checks of a low?
pub(super) fn may_begin_a_low(note: &Note) -> bool {
    Symptoms::of(&note.words).begin_a_low(true)
}
