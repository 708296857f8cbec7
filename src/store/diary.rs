//! The diary on disk. A line is never rewritten: what becomes of it is kept beside it, and the newest of that holds.

use super::{Error, Store, json};
use crate::domain::change::{Change, NotChanged, WhichLine, treated};
use crate::domain::diary::Note;
use crate::domain::time::{Span, Timestamp};
use crate::domain::written::{Entry, Written};
use crate::engine::AHEAD_MIN;
use rusqlite::{Transaction, params};
use std::collections::BTreeMap;

/// A line of the diary.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DiaryLine {
    /// Its number.
    pub number: i64,
    /// When it was taken in.
    pub noted: Timestamp,
    /// What it says: as it stands, or as it stood when it was deleted.
    pub note: Note,
    /// When it was deleted, if it is.
    pub deleted: Option<Timestamp>,
    /// What it said before, oldest first, each until when; none while it was deleted.
    pub earlier: Vec<(Timestamp, Option<Note>)>,
}

/// A change of a line that is to be made, with what it said and says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Changed {
    /// Its number.
    pub number: i64,
    /// What it said; none when it was deleted.
    pub was: Option<Note>,
    /// What it says; none when it is deleted.
    pub is: Option<Note>,
}

/// All lines with what they said first and after each change, in the order they were taken in, and made.
const FORMS: &str = "SELECT diary.number, diary.noted, diary.body, changes.at, changes.body FROM diary
    LEFT JOIN diary_changes AS changes ON changes.line = diary.number";

impl Store {
    /// The diary as it now stands: amended lines as they are now, and none that is deleted; of what happened from one
    /// time on and before another, oldest first.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn diary(&self, from: Timestamp, until: Timestamp) -> Result<Vec<DiaryLine>, Error> {
        let mut lines = self.diary_with_deleted()?;
        lines.retain(|line| line.deleted.is_none() && from <= line.note.at && line.note.at < until);
        Ok(lines)
    }

    /// The whole diary in the order of what happened, deleted lines among the others.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn diary_with_deleted(&self) -> Result<Vec<DiaryLine>, Error> {
        let mut lines = if self.has_table("diary_changes")? {
            self.diary_lines(&format!("{FORMS} ORDER BY diary.number, changes.number"), [])?
        } else {
            self.diary_lines("SELECT number, noted, body, NULL, NULL FROM diary ORDER BY number", [])?
        };
        lines.sort_by_key(|line| (line.note.at, line.number));
        Ok(lines)
    }

    /// One line, whatever became of it.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn diary_line(&self, which: WhichLine) -> Result<Option<DiaryLine>, Error> {
        let (column, number) = match which {
            WhichLine::Number(number) => ("number", number),
            WhichLine::Said(number) => ("said", number),
        };
        let sql = format!("{FORMS} WHERE diary.{column} = ?1 ORDER BY changes.number");
        Ok(self.diary_lines(&sql, [number])?.into_iter().next())
    }

    /// What became of each line of the inbox that is in the diary and has been changed, by its number there; none
    /// of one that is deleted.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn changed_since_said(&self) -> Result<BTreeMap<i64, Option<Note>>, Error> {
        if !self.has_table("diary_changes")? {
            return Ok(BTreeMap::new());
        }
        let rows = self.all(
            "SELECT diary.said, changes.body FROM diary JOIN diary_changes AS changes ON changes.line = diary.number
             WHERE diary.said IS NOT NULL ORDER BY changes.number",
            [],
            |row| Ok((row.get::<_, i64>(0)?, row.get::<_, Option<String>>(1)?)),
        )?;
        rows.into_iter().map(|(said, body)| Ok((said, body.map(|body| self.read_back(&body)).transpose()?))).collect()
    }

    /// What a change makes of a line, or why it makes nothing.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn change_of(
        &self,
        which: WhichLine,
        change: &Change,
        now: Timestamp,
    ) -> Result<Result<Changed, NotChanged>, Error> {
        let Some(line) = self.diary_line(which)? else { return Ok(Err(NotChanged::NoSuchLine)) };
        let refused = match (change, line.deleted) {
            (Change::Restore, None) => Some(NotChanged::NotDeleted),
            (Change::Amend { .. } | Change::Delete, Some(_)) => Some(NotChanged::IsDeleted),
            (Change::Restore, Some(_)) | (Change::Amend { .. } | Change::Delete, None) => None,
        };
        if let Some(refused) = refused {
            return Ok(Err(refused));
        }
        let was = line.deleted.is_none().then(|| line.note.clone());
        let is = change.of(&line.note);
        if is == was {
            return Ok(Err(NotChanged::SaysSo));
        }
        if let Some(note) = &is {
            if note.at > now + Span::minutes(AHEAD_MIN) {
                return Ok(Err(NotChanged::InFuture));
            }
            if let Some(other) = self.other_that_says(note, line.number)? {
                return Ok(Err(NotChanged::OtherSaysSo(other)));
            }
        }
        Ok(Ok(Changed { number: line.number, was, is }))
    }

    /// Refuses a line of the inbox, in words.
    ///
    /// # Errors
    /// When the store cannot be written.
    pub fn refuse(&self, line: i64, words: &str) -> Result<(), Error> {
        self.connection
            .execute("UPDATE inbox SET accepted = 0, answer = ?2 WHERE number = ?1", params![line, words])
            .map_err(|error| self.wrap(error))?;
        Ok(())
    }

    fn other_that_says(&self, note: &Note, number: i64) -> Result<Option<i64>, Error> {
        let same = self.diary(note.at, note.at + Span::millis(1))?;
        Ok(same.into_iter().find(|line| line.number != number && line.note == *note).map(|line| line.number))
    }

    fn diary_lines(&self, sql: &str, params: impl rusqlite::Params) -> Result<Vec<DiaryLine>, Error> {
        let rows = self.all(sql, params, |row| {
            Ok((
                row.get::<_, i64>(0)?,
                Timestamp::from_millis(row.get(1)?),
                row.get::<_, String>(2)?,
                row.get::<_, Option<i64>>(3)?.map(Timestamp::from_millis),
                row.get::<_, Option<String>>(4)?,
            ))
        })?;
        let mut lines: Vec<DiaryLine> = Vec::new();
        for (number, noted, first, changed, then) in rows {
            if lines.last().is_none_or(|line| line.number != number) {
                let note: Note = self.read_back(&first)?;
                lines.push(DiaryLine { number, noted, note, deleted: None, earlier: Vec::new() });
            }
            if let Some((line, at)) = lines.last_mut().zip(changed) {
                let stood = line.deleted.is_none().then(|| line.note.clone());
                line.earlier.push((at, stood));
                match then {
                    Some(body) => (line.note, line.deleted) = (self.read_back(&body)?, None),
                    None => line.deleted = Some(at),
                }
            }
        }
        Ok(lines)
    }
}

/// Writes a note into the diary, with what it came of.
pub(super) fn note(
    transaction: &Transaction<'_>,
    at: Timestamp,
    note: &Note,
    said: Option<i64>,
) -> rusqlite::Result<()> {
    transaction
        .prepare_cached("INSERT INTO diary (at, noted, body, said) VALUES (?1, ?2, ?3, ?4)")?
        .execute(params![note.at.millis(), at.millis(), json(note), said])?;
    Ok(())
}

/// Writes what becomes of a line. A file that says the same is known by it.
pub(super) fn change(transaction: &Transaction<'_>, at: Timestamp, changed: &Changed) -> rusqlite::Result<()> {
    let key = changed.is.as_ref().map(key);
    transaction
        .prepare_cached("INSERT INTO diary_changes (line, at, body, key) VALUES (?1, ?2, ?3, ?4)")?
        .execute(params![changed.number, at.millis(), changed.is.as_ref().map(json), key])?;
    Ok(())
}

/// The key of the line of a file that would say the same.
fn key(note: &Note) -> String {
    let what = match treated(note) {
        Some(which) => Entry::Treated(which),
        None => Entry::Noted { kind: note.kind.clone(), words: note.words.clone() },
    };
    Written { at: note.at, what }.key()
}
