//! What the wearer says, on the command line or by a diary file, kept before anything else happens to it:
//! with or without a running daemon, nothing said is lost, and it is taken in exactly once.

use super::{Error, Store, json};
use crate::domain::change::{Change, WhichLine};
use crate::domain::diary::Note;
use crate::domain::mode::Wish;
use crate::domain::reminder::Asked;
use crate::domain::time::{Span, Timestamp};
use crate::domain::travel::Travel;
use crate::domain::written::Written;
use crate::engine::effect::{Condition, Id};
use crate::engine::event::{Trusted, Which};
use rusqlite::{OptionalExtension, Transaction, params};
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
    /// A dose that was asked about was meant.
    Meant {
        /// When it was taken; none for the one that was asked about last.
        at: Option<Timestamp>,
    },
    /// Which of several signals counts.
    Trust(Trusted),
    /// No ring for a while.
    Quiet {
        /// For how long.
        span: Span,
        /// Of what; none for what rang last.
        condition: Option<Condition>,
    },
    /// Everything rings again.
    QuietOff,
    /// What is wanted of the modes.
    Mode(Wish),
    /// An alert was seen.
    Seen {
        /// Which; none for all.
        which: Option<Id>,
        /// Who has seen it, by the name in the settings; none: the wearer.
        #[serde(default)]
        by: Option<String>,
    },
    /// Somebody is with the wearer, and has it.
    With {
        /// Which; none for all.
        which: Option<Id>,
        /// Who, by the name in the settings.
        by: String,
    },
    /// A line of a diary file.
    Written {
        /// What it says.
        line: Written,
        /// Where it stands: file and line.
        whence: String,
    },
    /// The wearer is, was or will be in another zone.
    Zone(Travel),
    /// The wearer is at home again.
    Home,
    /// The wearer asks to be reminded.
    Remind(Asked),
    /// The wearer wants a reminder no more.
    CancelReminders {
        /// Which; none for all.
        which: Option<Id>,
    },
    /// What is not to be counted has changed; the store knows how.
    Excluded,
    /// A line of the diary is to be changed.
    Diary {
        /// Which line.
        which: WhichLine,
        /// How.
        change: Change,
    },
}

impl Said {
    /// When it happened, of a line that a file may bring late; the others were said as they came.
    #[must_use]
    pub const fn written_at(&self) -> Option<Timestamp> {
        match self {
            Self::Written { line, .. } => Some(line.at),
            Self::Treated { .. }
            | Self::Noted(_)
            | Self::Trust(_)
            | Self::Quiet { .. }
            | Self::QuietOff
            | Self::Mode(_)
            | Self::Seen { .. }
            | Self::With { .. }
            | Self::Zone(_)
            | Self::Home
            | Self::Meant { .. }
            | Self::Remind(_)
            | Self::CancelReminders { .. }
            | Self::Diary { .. }
            | Self::Excluded => None,
        }
    }
}

impl Said {
    /// Does whoever says it read an answer? Of a line of a file, and of what the store alone knows, nobody does.
    #[must_use]
    pub const fn is_answered(&self) -> bool {
        !matches!(self, Self::Written { .. } | Self::Excluded)
    }
}

/// The answer to a line that came too late for looks.
const PAST: &str = "Noted. It came too late for looks.";

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

    /// Has the wearer ever answered an alert: said that it was seen, or treated?
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn was_answered(&self) -> Result<bool, Error> {
        let answers = "SELECT 1 FROM inbox WHERE accepted = 1 AND (body LIKE '{\"seen\"%' OR body LIKE '{\"with\"%' OR body LIKE '{\"treated\"%' OR body LIKE '{\"written\"%') LIMIT 1";
        Ok(!self.all(answers, [], |_| Ok(()))?.is_empty())
    }

    /// Is there a line of a diary file with that key, or was one amended to say that?
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn knows_line(&self, key: &str) -> Result<bool, Error> {
        let known = "SELECT 1 FROM inbox WHERE key = ?1 UNION ALL SELECT 1 FROM diary_changes WHERE key = ?1";
        Ok(!self.all(known, [key], |_| Ok(()))?.is_empty())
    }

    /// Lines not taken in yet, in the order said.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn unanswered(&self) -> Result<Vec<Line>, Error> {
        self.lines("SELECT number, said, body FROM inbox WHERE accepted IS NULL ORDER BY number", [])
    }

    pub(super) fn lines(&self, sql: &str, params: impl rusqlite::Params) -> Result<Vec<Line>, Error> {
        let rows =
            self.all(sql, params, |row| Ok((row.get::<_, i64>(0)?, row.get::<_, i64>(1)?, row.get::<_, String>(2)?)))?;
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

/// Keeps the lines of a diary file that are not known yet, to be taken in; those that come too late for
/// looks go to the diary at once. Answers how many were new.
pub(super) fn keep(
    transaction: &Transaction<'_>,
    at: Timestamp,
    lines: &[(String, Written)],
) -> rusqlite::Result<usize> {
    let mut insert = transaction.prepare_cached(
        "INSERT OR IGNORE INTO inbox (said, body, key, accepted, answer)
         SELECT ?1, ?2, ?3, ?4, ?5 WHERE NOT EXISTS (SELECT 1 FROM diary_changes WHERE key = ?3)",
    )?;
    let mut taken = 0;
    for (whence, line) in lines {
        let past = line.is_diary_only(at);
        let said = Said::Written { line: line.clone(), whence: whence.clone() };
        let answer = past.then_some(PAST);
        let new = insert.execute(params![at.millis(), json(&said), line.key(), past.then_some(true), answer])?;
        taken += new;
        if let (1, true, Some(note)) = (new, past, line.note(at)) {
            super::diary::note(transaction, at, &note, Some(transaction.last_insert_rowid()))?;
        }
    }
    Ok(taken)
}
