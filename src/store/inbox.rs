//! What the wearer says on the command line, kept before anything else happens to it: with or without a
//! running daemon, nothing said is lost, and it is taken in exactly once.

use super::{Error, Store, json};
use crate::domain::diary::Note;
use crate::domain::time::{Span, Timestamp};
use crate::domain::travel::Travel;
use crate::engine::effect::Id;
use crate::engine::event::Which;
use rusqlite::{OptionalExtension, params};
use serde::{Deserialize, Serialize};

/// Something said.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Said {
    /// A high or a low was treated.
    Treated {
        /// What was treated.
        which: Option<Which>,
        /// When.
        at: Timestamp,
        /// A look to be asked at.
        look: Option<Span>,
    },
    /// A diary line.
    Noted(Note),
    /// An alert was seen.
    Seen {
        /// Which; none for all.
        which: Option<Id>,
    },
    /// The wearer is, was or will be in another zone.
    Zone(Travel),
    /// The wearer is at home again.
    Home,
}

/// A line of the inbox.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// Its number.
    pub number: i64,
    /// When it was said.
    pub said: Timestamp,
    /// What was said.
    pub what: Said,
}

impl Store {
    /// Keeps a line.
    ///
    /// # Errors
    /// When the store cannot be written.
    pub fn say(&self, said: Timestamp, what: &Said) -> Result<i64, Error> {
        self.connection
            .execute("INSERT INTO inbox (said, body) VALUES (?1, ?2)", params![said.millis(), json(what)])
            .map_err(|error| self.wrap(error))?;
        Ok(self.connection.last_insert_rowid())
    }

    /// Lines not taken in yet, in the order said.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn unanswered(&self) -> Result<Vec<Line>, Error> {
        let rows =
            self.all("SELECT number, said, body FROM inbox WHERE accepted IS NULL ORDER BY number", [], |row| {
                Ok((row.get::<_, i64>(0)?, row.get::<_, i64>(1)?, row.get::<_, String>(2)?))
            })?;
        rows.into_iter()
            .map(|(number, said, body)| {
                Ok(Line { number, said: Timestamp::from_millis(said), what: self.read_back(&body)? })
            })
            .collect()
    }

    /// The answer to a line, once there is one: accepted or not, and the words.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn answer(&self, line: i64) -> Result<Option<(bool, String)>, Error> {
        self.connection
            .query_row("SELECT accepted, answer FROM inbox WHERE number = ?1 AND accepted IS NOT NULL", [line], |row| {
                Ok((row.get(0)?, row.get(1)?))
            })
            .optional()
            .map_err(|error| self.wrap(error))
    }
}
