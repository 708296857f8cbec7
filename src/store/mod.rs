//! The only SQL. One `SQLite` file holds readings, diary, events, the engine's state and the outbox, so
//! that one transaction can hold a whole turn. Decides nothing.

pub mod commit;
pub mod diary;
pub mod exclusions;
pub mod history;
pub mod inbox;
mod migrations;
pub mod queue;
pub mod travels;

use rusqlite::{Connection, OpenFlags, OptionalExtension};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// How long a writer waits for another process that writes.
const BUSY: Duration = Duration::from_secs(5);

/// The file's name in the state folder.
pub const FILE: &str = "recheck.sqlite3";

/// The store.
#[derive(Debug)]
pub struct Store {
    connection: Connection,
    path: PathBuf,
}

/// Why the store could not do something.
#[derive(Debug)]
pub enum Error {
    /// `SQLite` said no.
    Sqlite {
        /// The file.
        path: PathBuf,
        /// What it said.
        error: rusqlite::Error,
    },
    /// A stored value cannot be read back.
    Form {
        /// The file.
        path: PathBuf,
        /// What was wrong.
        what: String,
    },
    /// The file comes from a newer version of the program.
    TooNew {
        /// The file.
        path: PathBuf,
    },
}

impl std::fmt::Display for Error {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Sqlite { path, error } => write!(out, "cannot use {}: {error}", path.display()),
            Self::Form { path, what } => write!(out, "cannot read back what {} holds: {what}", path.display()),
            Self::TooNew { path } => write!(out, "{} was written by a newer version of recheck", path.display()),
        }
    }
}

impl std::error::Error for Error {}

impl Store {
    /// Opens the store in a state folder, makes it if it is not there, and brings it to the present form.
    ///
    /// # Errors
    /// When the file cannot be used, or is newer than the program.
    pub fn open(folder: &Path) -> Result<Self, Error> {
        let path = folder.join(FILE);
        let wrap = |error| Error::Sqlite { path: path.clone(), error };
        let mut connection = Connection::open(&path).map_err(wrap)?;
        connection.busy_timeout(BUSY).map_err(wrap)?;
        connection.pragma_update(None, "journal_mode", "WAL").map_err(wrap)?;
        // A commit is on the disk before anything is sent because of it.
        connection.pragma_update(None, "synchronous", "FULL").map_err(wrap)?;
        if !migrations::run(&mut connection).map_err(wrap)? {
            return Err(Error::TooNew { path });
        }
        Ok(Self { connection, path })
    }

    /// Opens the store to look only; none when there is no store yet.
    ///
    /// # Errors
    /// When the file is there and cannot be used.
    pub fn look(folder: &Path) -> Result<Option<Self>, Error> {
        let path = folder.join(FILE);
        if !path.exists() {
            return Ok(None);
        }
        let wrap = |error| Error::Sqlite { path: path.clone(), error };
        let connection = Connection::open_with_flags(&path, OpenFlags::SQLITE_OPEN_READ_WRITE).map_err(wrap)?;
        connection.busy_timeout(BUSY).map_err(wrap)?;
        let known = migrations::version(&connection).map_err(wrap)?;
        if known > migrations::newest() {
            return Err(Error::TooNew { path });
        }
        Ok(Some(Self { connection, path }))
    }

    /// What tells this installation's messages from another's.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn life(&self) -> Result<String, Error> {
        self.connection
            .query_row("SELECT value FROM meta WHERE name = 'life'", [], |row| row.get(0))
            .map_err(|error| self.wrap(error))
    }

    /// The lasting number of a source name.
    ///
    /// # Errors
    /// When the store cannot be written.
    pub fn source_number(&self, name: &str) -> Result<u16, Error> {
        let known = self
            .connection
            .query_row("SELECT number FROM sources WHERE name = ?1", [name], |row| row.get(0))
            .optional()
            .map_err(|error| self.wrap(error))?;
        if let Some(number) = known {
            return Ok(number);
        }
        self.connection
            .execute("INSERT INTO sources (number, name) SELECT COALESCE(MAX(number) + 1, 0), ?1 FROM sources", [name])
            .map_err(|error| self.wrap(error))?;
        self.source_number(name)
    }

    /// All source names by number.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn source_names(&self) -> Result<Vec<String>, Error> {
        self.all("SELECT name FROM sources ORDER BY number", [], |row| row.get(0))
    }

    /// A store that only older versions have opened lacks what came later.
    fn has_table(&self, name: &str) -> Result<bool, Error> {
        let found = self.all("SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = ?1", [name], |_| Ok(()))?;
        Ok(!found.is_empty())
    }

    fn all<T>(
        &self,
        sql: &str,
        params: impl rusqlite::Params,
        read: impl FnMut(&rusqlite::Row<'_>) -> rusqlite::Result<T>,
    ) -> Result<Vec<T>, Error> {
        let mut statement = self.connection.prepare_cached(sql).map_err(|error| self.wrap(error))?;
        let rows = statement.query_map(params, read).map_err(|error| self.wrap(error))?;
        rows.collect::<rusqlite::Result<Vec<T>>>().map_err(|error| self.wrap(error))
    }

    fn wrap(&self, error: rusqlite::Error) -> Error {
        Error::Sqlite { path: self.path.clone(), error }
    }

    fn read_back<T: serde::de::DeserializeOwned>(&self, text: &str) -> Result<T, Error> {
        serde_json::from_str(text).map_err(|error| Error::Form { path: self.path.clone(), what: error.to_string() })
    }
}

/// Writes a value as JSON. Our own types have no form that JSON lacks.
fn json<T: serde::Serialize>(value: &T) -> String {
    serde_json::to_string(value).unwrap_or_else(|error| unreachable!("our own types are JSON: {error}"))
}
