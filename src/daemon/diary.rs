//! Diary files: their lines go into the inbox with the place they were read to, in one transaction, and are
//! then taken in like anything said. What is refused is told, once.

use super::run::{Broken, Daemon};
use super::taken_in::arrival_speaks;
use crate::domain::diary::Note;
use crate::domain::reading::Speaks;
use crate::domain::time::{Span, Timestamp};
use crate::domain::written::Written;
use crate::engine::AHEAD_MIN;
use crate::engine::event::Event;
use crate::intake::Piece;
use crate::store::commit::Intake;

impl Daemon {
    /// Keeps the lines of a piece of a diary, tells what was refused, and takes in what was kept.
    pub(super) fn diary_piece(&mut self, piece: &Piece) -> Result<(), Broken> {
        // A line further ahead is refused; one a little ahead is about now.
        let soon = self.clock.now() + Span::minutes(AHEAD_MIN);
        let lines = self.settled_lines(piece);
        let (ahead, mut diary): (Vec<_>, Vec<_>) = lines.into_iter().partition(|(_, line)| line.at > soon);
        diary.sort_by_key(|(_, line)| line.at);
        let zone = self.engine.policy().zone;
        let mut refusals = piece.refusals.clone();
        refusals.extend(ahead.iter().map(|(whence, line)| {
            let at = zone.rfc3339(line.at);
            format!("{whence}: the time is in the future: {at}; check the clock and the zone of what wrote it")
        }));
        // A file that is written whole again brings its refused lines again: they are no news.
        let untold = self.store.untold(&refusals).unwrap_or_else(|error| {
            tracing::error!(%error, "cannot tell old refusals from new; telling all");
            refusals.clone()
        });
        let count = |n: usize| u64::try_from(n).unwrap_or(u64::MAX);
        let wordless = if untold.is_empty() { 0 } else { piece.refused.saturating_sub(count(piece.refusals.len())) };
        let refused = count(untold.len()) + wordless;
        // While nothing can be saved the same lines are read again and again: they were told once.
        let told = untold.iter().find(|words| !self.refused_unsaved.contains(*words));
        let event = told.map(|words| Event::DiaryRefused { words: words.clone(), more: refused.saturating_sub(1) });
        let counts = [("refused", refused), ("blank", piece.blank), ("clock_change", piece.clock_change)];
        let intake = Intake {
            source: Some(piece.source),
            place: piece.place.clone(),
            refusals: untold,
            diary,
            counts: counts.into_iter().filter(|(_, n)| *n > 0).collect(),
            ..Intake::default()
        };
        self.turn(event.as_ref(), Some(&intake), None)?;
        if self.unsaved {
            self.refused_unsaved.extend(intake.refusals);
        }
        // The first look at every folder comes first: what was written is understood with its readings.
        if self.looking == 0 { self.inbox() } else { Ok(()) }
    }
}

impl Daemon {
    /// The lines of a piece, with those settled that a repeated hour left open: one that is known at either
    /// instant is that line again; else its arrival tells, and where that does not either, the earlier.
    fn settled_lines(&self, piece: &Piece) -> Vec<(String, Written)> {
        let mut lines = piece.diary.clone();
        let is_known = |line: &Written| {
            self.store.knows_line(&line.key()).unwrap_or_else(|error| {
                tracing::error!(%error, "cannot tell what is known of a repeated hour");
                false
            })
        };
        for open in &piece.undecided {
            let Some((_, line)) = lines.get_mut(open.row) else { continue };
            let later = Written { at: open.later, ..line.clone() };
            let speaks = arrival_speaks(line.at, later.at, self.clock.now());
            if !is_known(line) && (is_known(&later) || speaks == Speaks::Later) {
                *line = later;
            }
        }
        lines
    }
}

/// What a line of a diary file means to the engine, and what of it belongs in the diary.
pub(super) fn event_of(line: &Written, whence: &str, said: Timestamp) -> (Event, Option<Note>) {
    (Event::written(line, whence, said), line.note(said))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::written::Entry;

    /// What was seen in a minute had rung by its end, but nothing that rings later is seen.
    #[test]
    fn a_time_without_seconds_is_its_whole_minute() {
        let until = |at: i64, said: i64| {
            let line = Written { at: Timestamp::from_seconds(at), what: Entry::Seen };
            match event_of(&line, "d.csv: line 2", Timestamp::from_seconds(said)).0 {
                Event::Written { said, .. } => match *said {
                    Event::Seen { until: Some(until), .. } => until.millis(),
                    other => panic!("{other:?}"),
                },
                other => panic!("{other:?}"),
            }
        };
        assert_eq!(until(600, 900), 659_999);
        assert_eq!(until(601, 900), 601_000);
        assert_eq!(until(600, 630), 630_000);
        // A phone whose clock is a little ahead: now.
        assert_eq!(until(700, 630), 630_000);
    }
}
