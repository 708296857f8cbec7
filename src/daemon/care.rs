//! The care of what is kept: a line of the diary is amended, deleted, or counts again. What hangs on it follows in the engine, and the
//! change, what follows and the answer are written at once.

use super::answers::{Keeps, Taken};
use super::run::{Broken, Daemon};
use crate::domain::change::treated;
use crate::domain::diary::{Kind, Note};
use crate::domain::time::{Span, Timestamp};
use crate::engine::AHEAD_MIN;
use crate::engine::event::Event;
use crate::store::diary::Changed;
use crate::store::inbox::{Line, Said};
use crate::store::{Error, Store};
use crate::wording::answer::not_changed;

/// What stands in the diary for so long may have to do with what is changed.
const OTHERS_HOURS: i64 = 12;

/// The engine counts days of readings, and keeps 28 of them: with gaps they reach further back.
const EXCLUDED_HOURS: i64 = 100 * 24;

/// Most of it that is handed over, the newest: a diary may be written by a script.
const OTHERS_MAX: usize = 200;

impl Daemon {
    /// Takes in what is wanted of a line of the diary. False when the line of the inbox says nothing of it.
    pub(super) fn cared_for(&mut self, line: &Line) -> Result<bool, Broken> {
        let now = self.clock.now();
        if line.what == Said::Excluded {
            return self.leave_out(line.number, now).map(|()| true);
        }
        let Said::Diary { which, change } = &line.what else { return Ok(false) };
        let found = self.store.change_of(*which, change, now).and_then(|changed| {
            Ok(match changed {
                Ok(changed) => Ok((others(&self.store, &changed, now)?, changed)),
                Err(not) => Err(not),
            })
        });
        let failed = match found {
            Ok(Ok((others, changed))) => {
                let event = Event::Amended { was: changed.was.clone(), is: changed.is.clone(), others };
                let taken = Taken { line: line.number, keeps: Keeps::Change(&changed) };
                return self.turn(Some(&event), None, Some(taken)).map(|()| true);
            }
            Ok(Err(not)) => self.store.refuse(line.number, &not_changed(*which, not)).err(),
            Err(error) => Some(error),
        };
        if let Some(error) = failed {
            // It stays in the inbox, and is tried again with what is said next.
            tracing::error!(%error, "cannot change a line of the diary");
        }
        Ok(true)
    }

    /// What counts as it goes is told what is not to be counted.
    fn leave_out(&mut self, line: i64, now: Timestamp) -> Result<(), Broken> {
        let from = now - Span::hours(EXCLUDED_HOURS);
        match self.store.excluded(from, now + Span::hours(EXCLUDED_HOURS)) {
            Ok(stretches) => {
                let taken = Taken { line, keeps: Keeps::Nothing };
                self.turn(Some(&Event::Excluded { stretches }), None, Some(taken))
            }
            Err(error) => {
                tracing::error!(%error, "cannot tell what is not to be counted");
                Ok(())
            }
        }
    }
}

/// What else stands in the diary of the last hours and may have to do with looks.
fn others(store: &Store, changed: &Changed, now: Timestamp) -> Result<Vec<Note>, Error> {
    let lines = store.diary(now - Span::hours(OTHERS_HOURS), now + Span::minutes(AHEAD_MIN))?;
    let matters = |note: &Note| {
        let kinds = matches!(
            note.kind,
            Kind::Insulin(_) | Kind::Carbohydrate(_) | Kind::Symptoms | Kind::Meter(_) | Kind::Exercise
        );
        kinds || note.kind.ketones().is_some() || treated(note).is_some()
    };
    let all = lines.into_iter().filter(|line| line.number != changed.number && matters(&line.note));
    let mut all: Vec<Note> = all.map(|line| line.note).collect();
    all.drain(..all.len().saturating_sub(OTHERS_MAX));
    Ok(all)
}
