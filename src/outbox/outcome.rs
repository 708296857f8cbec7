//! What came of one try.

use crate::domain::time::Span;

/// What a channel answers. It decides nothing: whether to try again is for [`super::retry`].
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Outcome {
    /// Accepted by the other side. Not: seen by a person.
    Accepted {
        /// The other side's handle for it, where there is one.
        handle: Option<u32>,
    },
    /// Not accepted this time.
    Failed {
        /// Why, in words.
        words: String,
        /// The other side asked for this pause.
        pause: Option<Span>,
    },
    /// The way does not exist at the moment: no desktop session.
    Absent {
        /// Why, in words.
        words: String,
    },
    /// The other side will never accept it: the address is gone.
    Refused {
        /// Why, in words.
        words: String,
    },
}
