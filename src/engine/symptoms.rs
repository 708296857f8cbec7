//! Symptoms that were noted: which of them begin the checks of a low, whatever the sensor says, and which are another
//! thing: red flags, whose row is said in [`super::ketones`].

use super::Engine;
use super::effect::Side;
use super::past_lows::TELLS_FOR;
use super::reason::Began;
use super::turn::Turn;
use crate::domain::diary::Note;
use crate::domain::glucose::Glucose;
use crate::domain::symptoms::Symptoms;
use crate::domain::time::Timestamp;

impl Engine {
    /// Symptoms were noted. Those of a low begin its checks; vomiting never does. Red flags are held against the table of
    /// ketones, unless they are taken for a low first.
    pub(super) fn symptoms_noted(&mut self, turn: &mut Turn, note: &Note) {
        let symptoms = Symptoms::of(&note.words);
        let begins_a_low = symptoms.begin_a_low(self.is_low_or_unknown(turn));
        if begins_a_low {
            self.treat_low(turn, note.at, Began::Symptoms);
        }
        if symptoms.is_red_flag() {
            self.red_flags_noted(turn, note.at, symptoms, begins_a_low);
        } else {
            self.symptoms_want_ketones(turn, note.at);
        }
    }

    /// Somebody who was drowsy has pricked a finger: if it is not low, it was no low.
    pub(super) fn drowsy_and_measured(&mut self, turn: &mut Turn, glucose: Glucose) {
        if !Side::Low.is_beyond(glucose, self.policy.levels.low.limit) {
            self.drowsy_and_not_low(turn);
        }
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
