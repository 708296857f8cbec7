//! One turn, written as one transaction: what came in, what the engine now remembers, what it decided,
//! what is owed. Either all of it is on the disk or none.

use super::diary::Changed;
use super::{Error, Store, json};
use crate::domain::diary::Note;
use crate::domain::glucose::{Glucose, Measured, Unit};
use crate::domain::reading::{Reading, SourceId};
use crate::domain::time::{Span, Timestamp};
use crate::domain::written::Written as DiaryLine;
use crate::engine::effect::Decision;
use crate::engine::event::Event;
use crate::engine::policy::Policy;
use crate::engine::{SNAPSHOT_VERSION, State};
use crate::outbox::message::Message;
use crate::outbox::plan::{self, Addresses, Order};
use rusqlite::{OptionalExtension, Transaction, params};
use std::collections::BTreeSet;

/// Events are kept this long: enough to try settings on a season of one's own history, and far more than an engine
/// is rebuilt from. Our own.
const EVENTS_KEPT_HOURS: i64 = 100 * 24;

/// Most old events that one turn takes away. They are found by their number, so that no turn looks through all that
/// is kept; a turn adds one at most.
const EVENTS_DROPPED_MAX: i64 = 64;

/// Refusals kept.
const REFUSALS_KEPT: i64 = 1_000;

/// Beside unit and kind of a value: a repeated hour left open when it was measured.
const UNDECIDED: u8 = 8;

/// One turn to be written.
#[derive(Debug)]
pub struct Turn<'a> {
    /// When it happened.
    pub at: Timestamp,
    /// What happened; none for a turn that only keeps books.
    pub event: Option<&'a Event>,
    /// What the engine remembers after it.
    pub state: &'a State,
    /// What it was told to do.
    pub policy: &'a Policy,
    /// What it decided.
    pub decisions: &'a [Decision],
    /// What intake learned.
    pub intake: Option<&'a Intake>,
    /// The answer to a line of the inbox.
    pub answer: Option<Answered<'a>>,
}

/// What intake learned in one step.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Intake {
    /// New readings.
    pub readings: Vec<Reading>,
    /// Times of those that a repeated hour left undecided.
    pub undecided: BTreeSet<Timestamp>,
    /// Of which source.
    pub source: Option<SourceId>,
    /// Where reading of a file goes on: its path, and a form only intake knows.
    pub place: Option<(String, String)>,
    /// Refusals, with file, line and column.
    pub refusals: Vec<String>,
    /// Lines of a diary file, in the order of their times, each with its file and line.
    pub diary: Vec<(String, DiaryLine)>,
    /// Counts to add.
    pub counts: Vec<(&'static str, u64)>,
}

/// What of some rows is new.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Unknown {
    /// New readings, in order and without doubles.
    pub readings: Vec<Reading>,
    /// Rows that say another value at a time that is known.
    pub differing: u64,
}

/// The answer to a line of the inbox.
#[derive(Debug, Clone, Copy)]
pub struct Answered<'a> {
    /// Which line.
    pub line: i64,
    /// Was it taken in?
    pub accepted: bool,
    /// The words.
    pub words: &'a str,
    /// The note to keep in the diary.
    pub note: Option<&'a Note>,
    /// What becomes of a line of the diary.
    pub changed: Option<&'a Changed>,
}

/// What a commit made.
#[derive(Debug, Default, PartialEq)]
pub struct Written {
    /// Number of each decision.
    pub decisions: Vec<i64>,
    /// Threads to be taken down where they are shown.
    pub withdrawn: Vec<(String, u32)>,
}

impl Store {
    /// The rows of a source that are not known yet. Of two values at one time the first is kept.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn unknown(&self, readings: &[Reading]) -> Result<Unknown, Error> {
        let mut statement = self
            .connection
            .prepare_cached("SELECT hundredths, kind FROM readings WHERE source = ?1 AND measured = ?2")
            .map_err(|error| self.wrap(error))?;
        let mut unknown = Unknown::default();
        for reading in readings {
            let known = statement
                .query_row(params![reading.source.0, reading.measured.millis()], |row| {
                    Ok(glucose(row.get(0)?, row.get(1)?))
                })
                .optional()
                .map_err(|error| self.wrap(error))?;
            match known {
                None => unknown.readings.push(*reading),
                Some(known) => unknown.differing += u64::from(differ(known, reading.glucose)),
            }
        }
        unknown.readings.sort_by_key(|reading| reading.measured);
        unknown.readings.dedup_by(|again, first| {
            let same_time = again.measured == first.measured;
            unknown.differing += u64::from(same_time && differ(again.glucose, first.glucose));
            same_time
        });
        Ok(unknown)
    }

    /// Refusals that were not told yet, in the order given.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn untold(&self, refusals: &[String]) -> Result<Vec<String>, Error> {
        let mut statement = self
            .connection
            .prepare_cached("SELECT 1 FROM refusals WHERE words = ?1")
            .map_err(|error| self.wrap(error))?;
        let mut untold = Vec::new();
        for words in refusals {
            if !statement.exists([words]).map_err(|error| self.wrap(error))? {
                untold.push(words.clone());
            }
        }
        Ok(untold)
    }

    /// Forgets where reading of these files goes on.
    ///
    /// # Errors
    /// When the store cannot be written; then none is forgotten.
    pub fn forget_places(&mut self, source: SourceId, paths: &[String]) -> Result<(), Error> {
        let path = self.path.clone();
        let wrap = |error| Error::Sqlite { path: path.clone(), error };
        let transaction = self.connection.transaction().map_err(wrap)?;
        for path in paths {
            transaction
                .prepare_cached("DELETE FROM places WHERE source = ?1 AND path = ?2")
                .and_then(|mut statement| statement.execute(params![source.0, path]))
                .map_err(wrap)?;
        }
        transaction.commit().map_err(wrap)
    }

    /// Writes one turn.
    ///
    /// # Errors
    /// When the store cannot be written; then nothing of the turn is.
    pub fn commit(&mut self, turn: &Turn<'_>, addresses: &Addresses) -> Result<Written, Error> {
        let path = self.path.clone();
        let wrap = |error| Error::Sqlite { path: path.clone(), error };
        let transaction = self.connection.transaction().map_err(wrap)?;
        let written = write(&transaction, turn, addresses).map_err(wrap)?;
        transaction.commit().map_err(wrap)?;
        Ok(written)
    }

    /// Notes that the program is alive, or was stopped in order.
    ///
    /// # Errors
    /// When the store cannot be written.
    pub fn alive(&self, at: Timestamp, stopped: bool) -> Result<(), Error> {
        self.connection
            .prepare_cached(
                "INSERT INTO alive VALUES (1, ?1, ?2) ON CONFLICT (only) DO UPDATE SET at = ?1, stopped = ?2",
            )
            .and_then(|mut statement| statement.execute(params![at.millis(), stopped]))
            .map_err(|error| self.wrap(error))?;
        Ok(())
    }
}

fn write(transaction: &Transaction<'_>, turn: &Turn<'_>, addresses: &Addresses) -> rusqlite::Result<Written> {
    if let Some(event) = turn.event {
        transaction
            .prepare_cached("INSERT INTO events (at, body) VALUES (?1, ?2)")?
            .execute(params![turn.at.millis(), json(event)])?;
        transaction
            .prepare_cached(
                "DELETE FROM events WHERE number IN (SELECT number FROM events ORDER BY number LIMIT ?2) AND at < ?1",
            )?
            .execute([(turn.at - Span::hours(EVENTS_KEPT_HOURS)).millis(), EVENTS_DROPPED_MAX])?;
    }
    transaction
        .prepare_cached("INSERT INTO snapshot VALUES (1, ?1, ?2, ?3, ?4) ON CONFLICT (only) DO UPDATE SET version = ?1, at = ?2, policy = ?3, body = ?4")?
        .execute(params![SNAPSHOT_VERSION, turn.at.millis(), json(turn.policy), json(turn.state)])?;
    transaction
        .prepare_cached("INSERT INTO alive VALUES (1, ?1, 0) ON CONFLICT (only) DO UPDATE SET at = ?1, stopped = 0")?
        .execute([turn.at.millis()])?;
    if let Some(intake) = turn.intake {
        write_intake(transaction, turn.at, intake)?;
    }
    if let Some(answered) = &turn.answer {
        transaction
            .prepare_cached("UPDATE inbox SET accepted = ?2, answer = ?3 WHERE number = ?1")?
            .execute(params![answered.line, answered.accepted, answered.words])?;
        if let Some(note) = answered.note {
            super::diary::note(transaction, turn.at, note, Some(answered.line))?;
        }
        if let Some(changed) = answered.changed {
            super::diary::change(transaction, turn.at, changed)?;
        }
    }
    let mut written = Written::default();
    for decision in turn.decisions {
        transaction
            .prepare_cached(
                "INSERT INTO decisions (at, id, part_of, what, condition, body) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
            )?
            .execute(params![
                turn.at.millis(),
                number(decision.id.0),
                decision.part_of.map(|id| number(id.0)),
                decision.what.name(),
                decision.condition.name(),
                json(decision)
            ])?;
        let decision_number = transaction.last_insert_rowid();
        written.decisions.push(decision_number);
        match plan::plan(decision, decision_number, addresses, turn.policy, turn.at) {
            Some(Order::Send(messages)) => {
                for message in &messages {
                    send(transaction, decision_number, message)?;
                }
            }
            Some(Order::Withdraw(thread)) => written.withdrawn.extend(withdraw(transaction, number(thread.0))?),
            None => {}
        }
    }
    Ok(written)
}

fn write_intake(transaction: &Transaction<'_>, at: Timestamp, intake: &Intake) -> rusqlite::Result<()> {
    let mut insert = transaction.prepare_cached("INSERT OR IGNORE INTO readings VALUES (?1, ?2, ?3, ?4, ?5)")?;
    for reading in &intake.readings {
        let glucose = reading.glucose;
        insert.execute(params![
            reading.source.0,
            reading.measured.millis(),
            glucose.hundredths(),
            kind(glucose) | if intake.undecided.contains(&reading.measured) { UNDECIDED } else { 0 },
            at.millis()
        ])?;
    }
    let source = intake.source.map_or(-1, |source| i64::from(source.0));
    if let Some((path, body)) = &intake.place {
        transaction
            .prepare_cached(
                "INSERT INTO places VALUES (?1, ?2, ?3) ON CONFLICT (source, path) DO UPDATE SET body = ?3",
            )?
            .execute(params![source, path, body])?;
    }
    for words in &intake.refusals {
        transaction
            .prepare_cached("INSERT INTO refusals (at, source, words) VALUES (?1, ?2, ?3)")?
            .execute(params![at.millis(), source, words])?;
    }
    if !intake.refusals.is_empty() {
        transaction
            .prepare_cached("DELETE FROM refusals WHERE number <= (SELECT MAX(number) FROM refusals) - ?1")?
            .execute([REFUSALS_KEPT])?;
    }
    let taken = super::inbox::keep(transaction, at, &intake.diary)?;
    let of_diary = [("diary_taken", taken), ("diary_doubled", intake.diary.len() - taken)]
        .map(|(name, n)| (name, u64::try_from(n).unwrap_or(u64::MAX)));
    for (name, n) in intake.counts.iter().chain(of_diary.iter().filter(|(_, n)| *n > 0)) {
        transaction
            .prepare_cached(
                "INSERT INTO counts VALUES (?1, ?2, ?3) ON CONFLICT (source, name) DO UPDATE SET n = n + ?3",
            )?
            .execute(params![source, name, number(*n)])?;
    }
    Ok(())
}

/// Adds a message; older unsent ones of its thread and channel are superseded.
fn send(transaction: &Transaction<'_>, decision: i64, message: &Message) -> rusqlite::Result<()> {
    let thread = message.thread.map(|thread| number(thread.0));
    transaction
        .prepare_cached(
            "UPDATE messages SET state = 'superseded' WHERE channel = ?1 AND thread = ?2 AND state = 'waiting'",
        )?
        .execute(params![message.channel, thread])?;
    super::queue::insert(transaction, Some(decision), message)
}

/// The thread is over: unsent messages are superseded, and one that is being tried is not tried again. What
/// tells others that a low was answered, or is over, is as true as before: they were called, and wait for it.
/// Answers where it is shown: channel and handle.
fn withdraw(transaction: &Transaction<'_>, thread: i64) -> rusqlite::Result<Vec<(String, u32)>> {
    // What a failing way could not bring in time is told when it works again, as what expires there is.
    transaction
        .prepare_cached("UPDATE messages SET state = iif(tries > 0 AND rank >= 2, 'expired', 'superseded') WHERE thread = ?1 AND state = 'waiting' AND json_extract(body, '$.what') IS NOT 'told'")?
        .execute([thread])?;
    transaction
        .prepare_cached("UPDATE messages SET withdrawn = 1 WHERE thread = ?1 AND state = 'trying' AND json_extract(body, '$.what') IS NOT 'told'")?
        .execute([thread])?;
    let mut shown = transaction.prepare_cached(
        "SELECT channel, handle FROM messages WHERE thread = ?1 AND handle IS NOT NULL AND state = 'delivered' GROUP BY channel HAVING number = MAX(number)",
    )?;
    shown.query_map([thread], |row| Ok((row.get(0)?, row.get(1)?)))?.collect()
}

/// `SQLite`'s integers are signed; ours count up from zero and stay far below the sign.
pub(super) fn number(unsigned: u64) -> i64 {
    i64::try_from(unsigned).unwrap_or(i64::MAX)
}

/// Do two values say different things? The unit they came in does not matter.
fn differ(one: Glucose, other: Glucose) -> bool {
    (one.hundredths(), one.measured()) != (other.hundredths(), other.measured())
}

/// Unit and kind of a value in one small number.
fn kind(glucose: Glucose) -> u8 {
    let unit = match glucose.received() {
        Unit::MgDl => 0,
        Unit::MmolL => 1,
    };
    let measured = match glucose.measured() {
        Measured::Number => 0,
        Measured::BelowRange => 2,
        Measured::AboveRange => 4,
    };
    unit + measured
}

/// The value that [`kind`] and its hundredths stand for.
pub(super) fn glucose(hundredths: i32, kind: u8) -> Glucose {
    let unit = if kind & 1 == 1 { Unit::MmolL } else { Unit::MgDl };
    let measured = match kind & 6 {
        2 => Measured::BelowRange,
        4 => Measured::AboveRange,
        _ => Measured::Number,
    };
    Glucose::from_hundredths(hundredths, unit, measured)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_come_back_as_they_were() {
        for unit in [Unit::MgDl, Unit::MmolL] {
            for text in ["54.5", "LOW", "HIGH"] {
                let value = Glucose::parse(text, unit).unwrap();
                assert_eq!(glucose(value.hundredths(), kind(value)), value);
                assert_eq!(glucose(value.hundredths(), kind(value) | UNDECIDED), value);
            }
        }
    }
}
