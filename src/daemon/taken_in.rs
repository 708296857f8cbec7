//! What reaches the loop becomes events: pieces of text, words of the wearer, pressed buttons.

use super::answers::{Keeps, Taken};
use super::run::{Broken, Daemon, Heard};
use crate::channels::{Button, Click};
use crate::domain::diary::Note;
use crate::domain::reading::{Reading, Speaks, settle};
use crate::domain::time::{Span, Timestamp};
use crate::engine::effect::Audience;
use crate::engine::event::{Event, Which};
use crate::engine::{AHEAD_MIN, PAST_MIN};
use crate::intake::folder::Wake;
use crate::intake::places::Places;
use crate::intake::{Incoming, Piece};
use crate::store::commit::{Intake, Unknown};
use crate::store::inbox::{Line, Said};
use std::borrow::Cow;
use std::collections::BTreeSet;

/// When the store cannot be written, intake goes back no more often than this.
const GO_BACK_EVERY_SECONDS: i64 = 30;

/// Rows older than this enter history only; the engine has no use for them.
const ENGINE_HOURS: i64 = 48;

/// Most lines taken in at once: a flood of them must not keep a reading waiting.
const LINES_MAX: usize = 100;

/// Of a source never seen before the engine gets this much, to have a trend to begin with.
const FIRST_SIGHT_HOURS: i64 = 3;

impl Daemon {
    pub(super) fn incoming(&mut self, incoming: Incoming) -> Result<(), Broken> {
        match incoming {
            Incoming::Piece(piece) => self.piece(&piece),
            Incoming::Lost { source, words } => {
                tracing::error!(%words, "a source cannot be read");
                self.turn(Some(&Event::Lost { source, words }), None, None).map(drop)
            }
            Incoming::Gone { source, paths } => {
                // Tried again at the next start: nothing depends on it.
                if let Err(error) = self.store.forget_places(source, &paths) {
                    tracing::warn!(%error, "cannot forget files that are gone");
                }
                Ok(())
            }
            Incoming::LookedOnce => {
                self.looking = self.looking.saturating_sub(1);
                // What was said while nobody watched is understood with the readings of that time.
                if self.looking == 0 { self.inbox() } else { Ok(()) }
            }
            Incoming::InputEnded => {
                let words = "standard input has ended".to_owned();
                self.stdin.ended = true;
                self.turn(Some(&Event::Lost { source: self.stdin.source, words }), None, None).map(drop)
            }
        }
    }

    fn piece(&mut self, piece: &Piece) -> Result<(), Broken> {
        for words in &piece.refusals {
            tracing::warn!("refused: {words}");
        }
        if piece.of_diary {
            return self.diary_piece(piece);
        }
        let rows = self.settled(piece);
        let Unknown { readings: new, differing } = match self.store.unknown(&rows) {
            Ok(unknown) => unknown,
            Err(error) => {
                tracing::error!(%error, "cannot tell old readings from new; judging all");
                Unknown { readings: rows.to_vec(), differing: 0 }
            }
        };
        let open: BTreeSet<Timestamp> =
            piece.undecided.iter().filter_map(|one| rows.get(one.row)).map(|row| row.measured).collect();
        let undecided: BTreeSet<Timestamp> =
            new.iter().map(|reading| reading.measured).filter(|at| open.contains(at)).collect();
        let first_sight = piece.first_sight || self.is_past_of_stdin(&new);
        // What is past when it arrives is counted as late.
        let late_before = self.clock.now() - Span::minutes(PAST_MIN);
        let late = |reading: &&Reading| !first_sight && reading.measured < late_before;
        let count = |n: usize| u64::try_from(n).unwrap_or(u64::MAX);
        let intake = Intake {
            readings: new.clone(),
            undecided: undecided.clone(),
            source: Some(piece.source),
            place: piece.place.clone(),
            refusals: piece.refusals.clone(),
            diary: Vec::new(),
            counts: [
                ("taken", count(new.len())),
                ("late", count(new.iter().filter(late).count())),
                ("doubled", count(rows.len() - new.len()).saturating_sub(differing)),
                ("differing", differing),
                ("refused", piece.refused),
                ("blank", piece.blank),
                ("clock_change", piece.clock_change),
                ("undecided_hour", count(undecided.len())),
            ]
            .into_iter()
            .filter(|(_, n)| *n > 0)
            .collect(),
        };
        let event = self.readings_event(new, first_sight);
        self.hear(Heard::Readings(intake.readings.clone()));
        self.turn(event.as_ref(), Some(&intake), None)?;
        if piece.refused_at_end > 0 {
            let words = piece.refusals.last().cloned().unwrap_or_default();
            self.turn(
                Some(&Event::Refused {
                    source: piece.source,
                    rows: piece.refused_at_end,
                    words,
                    whole_file: piece.whole_file,
                }),
                None,
                None,
            )?;
        }
        Ok(())
    }

    /// The rows of a piece, with those settled that a repeated hour left open: what is in the future has not
    /// been measured yet, and what has just come is about now.
    fn settled<'a>(&self, piece: &'a Piece) -> Cow<'a, [Reading]> {
        if piece.undecided.is_empty() {
            return Cow::Borrowed(&piece.rows);
        }
        let now = self.clock.now();
        let speaks = |earlier: Timestamp, later: Timestamp| arrival_speaks(earlier, later, now);
        let known = |at: Timestamp| {
            self.store.value_at(piece.source, at).unwrap_or_else(|error| {
                tracing::error!(%error, "cannot tell what is known of a repeated hour");
                None
            })
        };
        let mut rows = piece.rows.clone();
        settle(&mut rows, &piece.undecided, speaks, known);
        Cow::Owned(rows)
    }

    /// Standard input often begins with history: until a reading about now comes, nothing of it is news.
    fn is_past_of_stdin(&mut self, rows: &[Reading]) -> bool {
        let from = self.clock.now() - Span::minutes(PAST_MIN);
        self.stdin.past = self.stdin.past && rows.iter().all(|reading| reading.measured < from);
        self.stdin.past
    }

    fn readings_event(&self, new: Vec<Reading>, first_sight: bool) -> Option<Event> {
        // While nothing can be saved the same rows are read again and again: the old ones were told once.
        let hours = match (self.unsaved, first_sight) {
            (true, _) => 1,
            (false, true) => FIRST_SIGHT_HOURS,
            (false, false) => ENGINE_HOURS,
        };
        let from = self.clock.now() - Span::hours(hours);
        let rows: Vec<Reading> = new.into_iter().filter(|reading| reading.measured >= from).collect();
        (!rows.is_empty()).then_some(Event::Readings { rows, first_sight })
    }

    /// Takes in what the wearer said and that was not taken in yet. When it is much, the rest follows after
    /// what else has come.
    pub(super) fn inbox(&mut self) -> Result<(), Broken> {
        let lines = match self.store.unanswered() {
            Ok(lines) => lines,
            Err(error) => {
                tracing::error!(%error, "cannot read what was said");
                return Ok(());
            }
        };
        let mut lines: Vec<Line> =
            lines.into_iter().filter(|line| !self.handled_unsaved.contains(&line.number)).collect();
        // Files may bring lines in any order; they are taken in the order of what happened.
        lines.sort_by_key(|line| line.what.written_at().unwrap_or(line.said));
        self.more_said = lines.len() > LINES_MAX;
        lines.truncate(LINES_MAX);
        let mut kept = Vec::new();
        for line in lines {
            let was_kept = line.said < self.started && line.what.is_answered();
            if !self.heard_where(&line)?
                && !self.cared_for(&line)?
                && let Some((event, note)) = event_of(&line)
            {
                let keeps = note.as_ref().map_or(Keeps::Nothing, Keeps::Note);
                self.turn(Some(&event), None, Some(Taken { line: line.number, keeps }))?;
            }
            if was_kept {
                kept.extend(self.answer_to(&line));
            }
        }
        // Whoever said it without a daemon has read no answer.
        if kept.is_empty() { Ok(()) } else { self.turn(Some(&Event::KeptAnswered { lines: kept }), None, None) }
    }

    /// What was answered to a line, in one line.
    fn answer_to(&self, line: &Line) -> Option<String> {
        match self.store.answer(line.number) {
            Ok(answer) => answer.map(|(_, words)| words.replace('\n', " ")),
            Err(error) => {
                tracing::error!(%error, "cannot read an answer");
                None
            }
        }
    }

    /// A pressed button is something said.
    pub(super) fn click(&mut self, click: &Click) -> Result<(), Broken> {
        let now = self.clock.now();
        let alert = self.store.alert_shown_as(&click.channel, click.handle);
        // Whoever sees a channel presses its buttons.
        let by = match self.addresses.of(&click.channel) {
            Audience::Wearer => None,
            Audience::Person(person) => {
                self.engine.policy().people.get(usize::from(person)).map(|person| person.name.clone())
            }
        };
        let said = match (alert, click.button) {
            (Ok(Some(id)), Button::Seen) => Said::Seen { which: Some(id), by },
            (Ok(Some(id)), Button::Treated) => Said::Treated { which: Some(Which::Alert(id)), at: now, look: None },
            (Ok(None), _) => return Ok(()),
            (Err(error), _) => {
                tracing::error!(%error, "cannot tell which alert a button belongs to");
                return Ok(());
            }
        };
        if let Err(error) = self.store.say(now, &said) {
            tracing::error!(%error, "cannot keep a pressed button");
        }
        self.inbox()
    }

    /// What was read could not be kept: intake goes back to what the store knows, but not at once again.
    pub(super) fn go_back(&mut self, now: Timestamp) {
        if self.went_back.is_some_and(|before| now - before < Span::seconds(GO_BACK_EVERY_SECONDS)) {
            self.owes_going_back = true;
            return;
        }
        self.owes_going_back = false;
        self.went_back = Some(now);
        for (source, waker) in &self.wakers {
            let mut places = Places::default();
            if let Err(error) = self.store.each_place(*source, |path, body| places.read(path, body)) {
                tracing::error!(%error, "cannot tell how far files were read; reading them again");
            }
            // A folder's thread that is gone has said so already.
            let _ = waker.send(Wake::Back(places));
        }
    }
}

/// What the time of arrival says of an instant that came twice: it can not be the later one where that would be
/// ahead, and is the later one where only that is about now.
pub(super) fn arrival_speaks(earlier: Timestamp, later: Timestamp, now: Timestamp) -> Speaks {
    let (oldest, newest) = (now - Span::minutes(PAST_MIN), now + Span::minutes(AHEAD_MIN));
    if later > newest {
        Speaks::Earlier
    } else if earlier < oldest && oldest <= later {
        Speaks::Later
    } else {
        Speaks::Nothing
    }
}

fn event_of(line: &Line) -> Option<(Event, Option<Note>)> {
    let latest = |at: Timestamp| at.min(line.said);
    Some(match &line.what {
        Said::Treated { which, at, look } => (Event::Treated { which: *which, at: latest(*at), look: *look }, None),
        Said::Noted(note) => (Event::Noted(note.clone()), Some(note.clone())),
        Said::Quiet { span, condition } => (Event::Quiet { span: *span, condition: *condition }, None),
        Said::Meant { at } => (Event::Meant { at: *at }, None),
        Said::QuietOff => (Event::QuietOff, None),
        Said::Mode(wish) => (Event::Mode { wish: *wish, at: line.said }, None),
        Said::Trust(which) => (Event::Trust(*which), None),
        Said::Seen { which, by } => (Event::Seen { which: *which, until: None, by: by.clone() }, None),
        Said::With { which, by } => (Event::With { which: *which, by: by.clone() }, None),
        Said::Written { line: written, whence } => super::diary::event_of(written, whence, line.said),
        Said::Remind(asked) => (Event::Remind(asked.clone()), None),
        Said::CancelReminders { which } => (Event::CancelReminders { which: *which }, None),
        Said::Zone(_) | Said::Home | Said::Diary { .. } | Said::Excluded => return None,
    })
}
