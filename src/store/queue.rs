//! The outbox on disk: what is due, what is being tried, what came of it.

use super::commit::number;
use super::{Error, Store, json};
use crate::domain::time::{Span, Timestamp};
use crate::engine::effect::{Id, Priority};
use crate::outbox::message::Message;
use crate::outbox::retry::Next;
use rusqlite::{Connection, params};

/// A message that is due.
#[derive(Debug, Clone, PartialEq)]
pub struct Due {
    /// Its number.
    pub number: i64,
    /// Tries before this one.
    pub tries: u32,
    /// The handle under which its thread is shown on this channel, to be replaced.
    pub replaces: Option<u32>,
    /// The message.
    pub message: Message,
}

impl Store {
    /// After a start: a message that was being tried when the program ended may have arrived.
    ///
    /// # Errors
    /// When the store cannot be written.
    pub fn recover_tries(&self) -> Result<usize, Error> {
        self.connection
            .execute("UPDATE messages SET state = iif(withdrawn, 'superseded', 'waiting'), body = json_set(body, '$.may_repeat', json('true'))
                 WHERE state = 'trying'", [])
            .map_err(|error| self.wrap(error))
    }

    /// What is due on one channel, the gravest first.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn due(&self, channel: &str, now: Timestamp) -> Result<Option<Due>, Error> {
        let rows = self.all(
            "SELECT number, tries, body,
                (SELECT handle FROM messages AS shown WHERE shown.channel = messages.channel AND shown.thread = messages.thread
                 AND shown.handle IS NOT NULL ORDER BY number DESC LIMIT 1)
             FROM messages WHERE state = 'waiting' AND channel = ?1 AND due <= ?2
             ORDER BY rank DESC, due, number LIMIT 1",
            params![channel, now.millis()],
            |row| Ok((row.get(0)?, row.get(1)?, row.get::<_, String>(2)?, row.get(3)?)),
        )?;
        let Some((number, tries, body, replaces)) = rows.into_iter().next() else {
            return Ok(None);
        };
        Ok(Some(Due { number, tries, replaces, message: self.read_back(&body)? }))
    }

    /// When the next message of a channel falls due.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn next_due(&self, channel: &str) -> Result<Option<Timestamp>, Error> {
        let due =
            self.all("SELECT MIN(due) FROM messages WHERE state = 'waiting' AND channel = ?1", [channel], |row| {
                row.get::<_, Option<i64>>(0)
            })?;
        Ok(due.into_iter().flatten().next().map(Timestamp::from_millis))
    }

    /// The clock was set: waiting messages keep their waits and their time to be of help.
    ///
    /// # Errors
    /// When the store cannot be written.
    pub fn shift_messages(&self, by: Span) -> Result<usize, Error> {
        self.connection
            .execute(
                "UPDATE messages SET due = due + ?1, expires = expires + ?1 WHERE state IN ('waiting', 'trying')",
                [by.as_millis()],
            )
            .map_err(|error| self.wrap(error))
    }

    /// A try begins. Written before anything is sent, so that a crash cannot make an unmarked repeat.
    ///
    /// # Errors
    /// When the store cannot be written.
    pub fn trying(&self, message: i64) -> Result<(), Error> {
        self.connection
            .prepare_cached("UPDATE messages SET state = 'trying', tries = tries + 1 WHERE number = ?1")
            .and_then(|mut statement| statement.execute([message]))
            .map_err(|error| self.wrap(error))?;
        Ok(())
    }

    /// Writes down that a channel accepted something, or why it did not.
    ///
    /// # Errors
    /// When the store cannot be written.
    pub fn channel_tried(&self, channel: &str, at: Timestamp, failure: Option<&str>) -> Result<(), Error> {
        let sql = match failure {
            None => {
                "INSERT INTO channels (name, accepted) VALUES (?1, ?2) ON CONFLICT (name) DO UPDATE SET accepted = ?2 WHERE ?3 IS NULL"
            }
            Some(_) => {
                "INSERT INTO channels (name, failed, failure) VALUES (?1, ?2, ?3) ON CONFLICT (name) DO UPDATE SET failed = ?2, failure = ?3"
            }
        };
        self.connection
            .prepare_cached(sql)
            .and_then(|mut statement| statement.execute(params![channel, at.millis(), failure]))
            .map_err(|error| self.wrap(error))?;
        Ok(())
    }

    /// A channel works again: what was put off there is due now.
    ///
    /// # Errors
    /// When the store cannot be written.
    pub fn hasten(&self, channel: &str, now: Timestamp) -> Result<usize, Error> {
        self.connection
            .prepare_cached(
                "UPDATE messages SET due = ?2 WHERE channel = ?1 AND state = 'waiting' AND tries > 0 AND due > ?2",
            )
            .and_then(|mut statement| statement.execute(params![channel, now.millis()]))
            .map_err(|error| self.wrap(error))
    }

    /// What came of a try.
    ///
    /// # Errors
    /// When the store cannot be written.
    pub fn tried(
        &mut self,
        message: i64,
        at: Timestamp,
        took: Span,
        words: &str,
        handle: Option<u32>,
        next: &Next,
    ) -> Result<(), Error> {
        let path = self.path.clone();
        let wrap = |error| Error::Sqlite { path: path.clone(), error };
        let (state, due) = match next {
            Next::Delivered => ("delivered", None),
            Next::Again(at) => ("waiting", Some(at.millis())),
            Next::Expired => ("expired", None),
            Next::GivenUp => ("given_up", None),
        };
        let transaction = self.connection.transaction().map_err(wrap)?;
        transaction
            .execute(
                "UPDATE messages SET state = ?2, due = COALESCE(?3, due), handle = COALESCE(?4, handle) WHERE number = ?1",
                params![message, state, due, handle],
            )
            .map_err(wrap)?;
        transaction
            .execute(
                "INSERT INTO tries (message, at, took, words) VALUES (?1, ?2, ?3, ?4)",
                params![message, at.millis(), took.as_millis(), words],
            )
            .map_err(wrap)?;
        // Its alert is over, or a newer message of the same thread is there: it need not be tried again.
        transaction
            .execute(
                "UPDATE messages SET state = 'superseded' WHERE number = ?1 AND state = 'waiting' AND (withdrawn OR EXISTS
                 (SELECT 1 FROM messages AS newer WHERE newer.channel = messages.channel AND newer.thread = messages.thread
                  AND newer.number > messages.number))",
                [message],
            )
            .map_err(wrap)?;
        transaction.commit().map_err(wrap)
    }

    /// Messages whose time ran out before they could be tried: after sleep, or while the program was stopped.
    ///
    /// # Errors
    /// When the store cannot be written.
    pub fn expire(&self, now: Timestamp) -> Result<usize, Error> {
        self.connection
            .prepare_cached("UPDATE messages SET state = 'expired' WHERE state = 'waiting' AND expires < ?1")
            .and_then(|mut statement| statement.execute([now.millis()]))
            .map_err(|error| self.wrap(error))
    }

    /// Adds a message that no decision made.
    ///
    /// # Errors
    /// When the store cannot be written.
    pub fn add_message(&self, message: &Message) -> Result<(), Error> {
        insert(&self.connection, None, message).map_err(|error| self.wrap(error))
    }

    /// Tells on a channel what expired there, in one message; what was told is marked in the same transaction.
    ///
    /// # Errors
    /// When the store cannot be written.
    pub fn tell_missed(&mut self, channel: &str, words: impl FnOnce(&[String]) -> Message) -> Result<(), Error> {
        let path = self.path.clone();
        let wrap = |error| Error::Sqlite { path: path.clone(), error };
        let transaction = self.connection.transaction().map_err(wrap)?;
        let titles: Vec<String> = transaction
            .prepare_cached(
                "SELECT json_extract(body, '$.title') FROM messages
                 WHERE channel = ?1 AND state = 'expired' AND missed_told = 0 ORDER BY number",
            )
            .and_then(|mut statement| statement.query_map([channel], |row| row.get(0))?.collect())
            .map_err(wrap)?;
        if !titles.is_empty() {
            transaction
                .execute("UPDATE messages SET missed_told = 1 WHERE channel = ?1 AND state = 'expired'", [channel])
                .map_err(wrap)?;
            insert(&transaction, None, &words(&titles)).map_err(wrap)?;
        }
        transaction.commit().map_err(wrap)
    }

    /// Which alert or re-check a shown notification is about.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn alert_shown_as(&self, channel: &str, handle: u32) -> Result<Option<Id>, Error> {
        let found = self.all(
            "SELECT json_extract(body, '$.decision.id') FROM messages WHERE channel = ?1 AND handle = ?2 ORDER BY number DESC LIMIT 1",
            params![channel, handle],
            |row| row.get::<_, Option<i64>>(0),
        )?;
        Ok(found.into_iter().flatten().next().and_then(|id| u64::try_from(id).ok()).filter(|id| *id > 0).map(Id))
    }
}

/// Adds one message, waiting to be tried.
pub(super) fn insert(connection: &Connection, decision: Option<i64>, message: &Message) -> rusqlite::Result<()> {
    connection
        .prepare_cached(
            "INSERT INTO messages (key, decision, channel, rank, thread, state, due, expires, body)
             VALUES (?1, ?2, ?3, ?4, ?5, 'waiting', ?6, ?7, ?8)",
        )?
        .execute(params![
            message.key,
            decision,
            message.channel,
            rank(message.priority),
            message.thread.map(|thread| number(thread.0)),
            message.decided.millis(),
            message.expires.millis(),
            json(message)
        ])?;
    Ok(())
}

/// The graver goes first.
const fn rank(priority: Priority) -> u8 {
    match priority {
        Priority::Information => 0,
        Priority::Low => 1,
        Priority::Medium => 2,
        Priority::High => 3,
    }
}
