//! After a low that somebody else had to help with: a note that says so begins a day of closer watching. Reads words, and
//! judges no value; nothing is said about what to do.

use crate::domain::diary::{Kind, Note};
use crate::domain::mode::Mode;
use crate::engine::Engine;
use crate::engine::turn::Turn;

/// What a noted symptom is called after which somebody had to help.
const HELPED: [&str; 9] = [
    "unconscious",
    "passed out",
    "not wake",
    "not waking",
    "fit",
    "fits",
    "seizure",
    "convulsion",
    "could not swallow",
];

/// What is only given by somebody else.
const GIVEN: &str = "glucagon";

impl Engine {
    /// A note says that somebody had to help: the next day is watched more closely, unless it is so already.
    pub(in crate::engine) fn watch_after_help(&mut self, turn: &mut Turn, note: &Note) {
        if says_help(note) && !self.is_on(Mode::Aftercare, turn.now) {
            self.begin_mode(turn, Mode::Aftercare, None, note.at.min(turn.now));
        }
    }
}

fn says_help(note: &Note) -> bool {
    let words = note.words.to_lowercase();
    match note.kind {
        Kind::Symptoms => HELPED.iter().any(|said| has_words(&words, said)) || has_words(&words, GIVEN),
        Kind::Text => has_words(&words, GIVEN),
        _ => false,
    }
}

/// Do these stand in a text as whole words?
fn has_words(text: &str, words: &str) -> bool {
    text.match_indices(words).any(|(at, _)| {
        let before = text[..at].chars().next_back();
        let after = text[at + words.len()..].chars().next();
        [before, after].into_iter().flatten().all(|letter| !letter.is_alphanumeric())
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::time::Timestamp;

    #[test]
    fn only_what_somebody_had_to_help_with_is_meant() {
        let note = |kind: Kind, words: &str| Note { at: Timestamp::from_seconds(0), kind, words: words.to_owned() };
        for words in ["a fit", "Did not wake", "seizure, glucagon given"] {
            assert!(says_help(&note(Kind::Symptoms, words)), "{words}");
        }
        for words in ["shaky", "benefits of walking", "fitful sleep"] {
            assert!(!says_help(&note(Kind::Symptoms, words)), "{words}");
        }
        assert!(says_help(&note(Kind::Text, "Noor gave glucagon")));
        assert!(!says_help(&note(Kind::Text, "fit and well")));
    }
}
