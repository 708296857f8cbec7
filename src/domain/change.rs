//! What may become of a line of the diary: another time, other words, or that it counts no more. Nothing of it is
//! ever lost.

use super::diary::{Kind, Note};
use super::time::Timestamp;
use super::written::Excursion;
use serde::{Deserialize, Serialize};

/// A line of the diary.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum WhichLine {
    /// By its number.
    Number(i64),
    /// By what it came of, which may not be taken in yet: the number of what was said.
    Said(i64),
}

impl std::fmt::Display for WhichLine {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Number(number) => number.fmt(out),
            Self::Said(number) => write!(out, "s{number}"),
        }
    }
}

/// What is wanted of a line. What is not named stays as it is then, so that two changes of one line add up.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Change {
    /// It happened at another time, or was something else.
    Amend {
        /// When it happened.
        at: Option<Timestamp>,
        /// What happened, with the words.
        what: Option<(Kind, String)>,
    },
    /// It counts no more.
    Delete,
    /// A deleted line counts again.
    Restore,
}

impl Change {
    /// The line after it; none when it is deleted.
    #[must_use]
    pub fn of(&self, note: &Note) -> Option<Note> {
        match self {
            Self::Amend { at, what } => {
                let (kind, words) = what.clone().unwrap_or_else(|| (note.kind.clone(), note.words.clone()));
                Some(Note { at: at.unwrap_or(note.at), kind, words })
            }
            Self::Delete => None,
            Self::Restore => Some(note.clone()),
        }
    }
}

/// Why a line is not changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NotChanged {
    /// There is no such line.
    NoSuchLine,
    /// It is deleted.
    IsDeleted,
    /// It is not deleted.
    NotDeleted,
    /// It says that already.
    SaysSo,
    /// Another line says that already.
    OtherSaysSo(i64),
    /// That would be in the future.
    InFuture,
}

/// Does a line of the diary say that something was treated, and which way if that was said?
#[must_use]
pub fn treated(note: &Note) -> Option<Option<Excursion>> {
    match (&note.kind, note.words.as_str()) {
        (Kind::Text, "treated") => Some(None),
        (Kind::Text, "treated high") => Some(Some(Excursion::High)),
        (Kind::Text, "treated low") => Some(Some(Excursion::Low)),
        _ => None,
    }
}

/// The line of the diary that says so.
#[must_use]
pub fn treatment(at: Timestamp, which: Option<Excursion>) -> Note {
    let words = which.map_or_else(|| "treated".to_owned(), |which| format!("treated {}", which.word()));
    Note { at, kind: Kind::Text, words }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::diary::Amount;

    #[test]
    fn two_changes_of_one_line_add_up() {
        let at = Timestamp::from_seconds;
        let forty = Note { at: at(60), kind: Kind::Insulin(Amount::parse("40")), words: "supper".to_owned() };
        let time = Change::Amend { at: Some(at(0)), what: None };
        let four = Change::Amend { at: None, what: Some((Kind::Insulin(Amount::parse("4")), "supper".to_owned())) };
        let one = four.of(&time.of(&forty).unwrap()).unwrap();
        assert_eq!(Some(&one), time.of(&four.of(&forty).unwrap()).as_ref());
        assert_eq!((one.at, one.kind), (at(0), Kind::Insulin(Amount::parse("4"))));
        assert_eq!(Change::Delete.of(&forty), None);
    }

    #[test]
    fn a_treatment_reads_back() {
        for which in [None, Some(Excursion::High), Some(Excursion::Low)] {
            assert_eq!(treated(&treatment(Timestamp::from_seconds(1), which)), Some(which));
        }
        let walked = Note { at: Timestamp::from_seconds(1), kind: Kind::Text, words: "walked".to_owned() };
        assert_eq!(treated(&walked), None);
    }
}
