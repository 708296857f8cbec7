//! What a turn answers to a line of the inbox, and what the diary keeps of it.

use crate::domain::change::treatment as diary_line;
use crate::domain::diary::Note;
use crate::domain::time::Timestamp;
use crate::domain::written::Excursion;
use crate::engine::effect::{Decision, Side, What};
use crate::engine::event::Event;
use crate::engine::policy::Policy;
use crate::engine::reason::Reason;
use crate::store::commit::Answered;
use crate::store::diary::Changed;
use crate::wording::answer::{Answer, answer, to_change, to_note, together};

/// A line of the inbox that a turn takes in.
#[derive(Debug, Clone, Copy)]
pub(super) struct Taken<'a> {
    /// Its number.
    pub(super) line: i64,
    /// What the diary keeps of it.
    pub(super) keeps: Keeps<'a>,
}

/// What the diary keeps of something said.
#[derive(Debug, Clone, Copy)]
pub(super) enum Keeps<'a> {
    /// Nothing.
    Nothing,
    /// A line.
    Note(&'a Note),
    /// Another form of a line.
    Change(&'a Changed),
}

impl<'a> Taken<'a> {
    /// The answer in what was decided, with what was understood said first.
    pub(super) fn answer(self, decisions: &[Decision], policy: &Policy, now: Timestamp) -> Answer {
        let answers = decisions.iter().filter(|decision| decision.what == What::Answer);
        let answers: Vec<Answer> = answers.map(|decision| answer(decision, policy, now)).collect();
        if let Keeps::Change(Changed { number, was, is }) = self.keeps {
            return to_change(*number, was.as_ref(), is.as_ref(), &answers, policy, now);
        }
        let answer = together(&answers);
        match self.keeps {
            Keeps::Note(note) => Answer { words: to_note(note, &answer, policy, now), ..answer },
            Keeps::Nothing | Keeps::Change(_) => answer,
        }
    }

    /// What is written of it: the answer, and what the diary keeps; of a treatment the line it makes.
    pub(super) fn answered(self, answer: &'a Answer, treatment: Option<&'a Note>) -> Answered<'a> {
        let (note, changed) = match self.keeps {
            Keeps::Nothing => (treatment, None),
            Keeps::Note(note) => (Some(note), None),
            Keeps::Change(changed) => (None, Some(changed)),
        };
        Answered { line: self.line, accepted: answer.accepted, words: &answer.words, note, changed }
    }
}

/// The answer to a line on which the engine failed.
pub(super) fn failed_inside() -> Answer {
    let words = "recheck failed inside on this. It is kept in the diary, and no look follows from it.".to_owned();
    Answer { first: false, accepted: false, words }
}

/// The line of the diary that says what the wearer treated, as it was understood; none when that was asked back.
pub(super) fn treatment(event: &Event, decisions: &[Decision]) -> Option<Note> {
    let Event::Treated { at, .. } = event else { return None };
    let answer = decisions.iter().find(|decision| decision.what == What::Answer)?;
    // What is asked about is kept as it was said.
    let side = match answer.reason {
        Reason::TreatedBefore { side, .. } => side,
        _ => answer.condition.side()?,
    };
    let which = if side == Side::High { Excursion::High } else { Excursion::Low };
    Some(diary_line(*at, Some(which)))
}
