//! The numbered forms of the file. A form, once released, never changes; a new one is added below it.

use rusqlite::Connection;

/// Each step leads from the form of its place to the next.
const STEPS: &[&str] = &["
    CREATE TABLE meta (name TEXT PRIMARY KEY, value) WITHOUT ROWID;
    INSERT INTO meta VALUES ('life', lower(hex(randomblob(8))));
    CREATE TABLE sources (number INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE);
    CREATE TABLE readings (
        source INTEGER NOT NULL, measured INTEGER NOT NULL, hundredths INTEGER NOT NULL,
        kind INTEGER NOT NULL, arrived INTEGER NOT NULL, PRIMARY KEY (source, measured)
    ) WITHOUT ROWID;
    CREATE TABLE counts (source INTEGER NOT NULL, name TEXT NOT NULL, n INTEGER NOT NULL, PRIMARY KEY (source, name)) WITHOUT ROWID;
    CREATE TABLE refusals (number INTEGER PRIMARY KEY, at INTEGER NOT NULL, source INTEGER NOT NULL, words TEXT NOT NULL);
    CREATE TABLE places (source INTEGER NOT NULL, path TEXT NOT NULL, body TEXT NOT NULL, PRIMARY KEY (source, path)) WITHOUT ROWID;
    CREATE TABLE diary (number INTEGER PRIMARY KEY, at INTEGER NOT NULL, noted INTEGER NOT NULL, body TEXT NOT NULL);
    CREATE TABLE events (number INTEGER PRIMARY KEY, at INTEGER NOT NULL, body TEXT NOT NULL);
    CREATE TABLE snapshot (only INTEGER PRIMARY KEY CHECK (only = 1), version INTEGER NOT NULL, at INTEGER NOT NULL, policy TEXT NOT NULL, body TEXT NOT NULL);
    CREATE TABLE alive (only INTEGER PRIMARY KEY CHECK (only = 1), at INTEGER NOT NULL, stopped INTEGER NOT NULL);
    CREATE TABLE decisions (
        number INTEGER PRIMARY KEY, at INTEGER NOT NULL, id INTEGER NOT NULL, part_of INTEGER,
        what TEXT NOT NULL, condition TEXT NOT NULL, body TEXT NOT NULL
    );
    CREATE INDEX decisions_by_id ON decisions (id);
    CREATE TABLE messages (
        number INTEGER PRIMARY KEY, key TEXT NOT NULL UNIQUE, decision INTEGER, channel TEXT NOT NULL, rank INTEGER NOT NULL, thread INTEGER,
        state TEXT NOT NULL, due INTEGER NOT NULL, expires INTEGER NOT NULL, tries INTEGER NOT NULL DEFAULT 0,
        handle INTEGER, missed_told INTEGER NOT NULL DEFAULT 0, withdrawn INTEGER NOT NULL DEFAULT 0, body TEXT NOT NULL
    );
    CREATE INDEX messages_open ON messages (due) WHERE state IN ('waiting', 'trying');
    CREATE TABLE tries (number INTEGER PRIMARY KEY, message INTEGER NOT NULL, at INTEGER NOT NULL, took INTEGER NOT NULL, words TEXT NOT NULL);
    CREATE INDEX tries_by_message ON tries (message);
    CREATE TABLE channels (name TEXT PRIMARY KEY, accepted INTEGER, failed INTEGER, failure TEXT) WITHOUT ROWID;
    CREATE TABLE inbox (number INTEGER PRIMARY KEY, said INTEGER NOT NULL, body TEXT NOT NULL, accepted INTEGER, answer TEXT);
", "
    ALTER TABLE inbox ADD COLUMN key TEXT;
    CREATE UNIQUE INDEX inbox_by_key ON inbox (key) WHERE key IS NOT NULL;
", "
    CREATE TABLE travels (start INTEGER PRIMARY KEY, until INTEGER NOT NULL, zone TEXT NOT NULL);
", "
    ALTER TABLE diary ADD COLUMN said INTEGER;
    CREATE INDEX diary_by_said ON diary (said) WHERE said IS NOT NULL;
    CREATE TABLE diary_changes (number INTEGER PRIMARY KEY, line INTEGER NOT NULL, at INTEGER NOT NULL, body TEXT, key TEXT);
    CREATE INDEX diary_changes_by_line ON diary_changes (line);
    CREATE INDEX diary_changes_by_key ON diary_changes (key) WHERE key IS NOT NULL;
    CREATE TABLE exclusions (
        number INTEGER PRIMARY KEY, said INTEGER NOT NULL, start INTEGER NOT NULL, until INTEGER NOT NULL, reason TEXT NOT NULL,
        taken_back INTEGER
    );
"];

/// The form this program writes.
pub(super) fn newest() -> usize {
    STEPS.len()
}

/// The form of a file.
pub(super) fn version(connection: &Connection) -> rusqlite::Result<usize> {
    let version: i64 = connection.pragma_query_value(None, "user_version", |row| row.get(0))?;
    Ok(usize::try_from(version).unwrap_or(usize::MAX))
}

/// Brings a file to the newest form, one step a transaction. False when the file is newer than that.
pub(super) fn run(connection: &mut Connection) -> rusqlite::Result<bool> {
    let known = version(connection)?;
    if known > newest() {
        return Ok(false);
    }
    for (place, step) in STEPS.iter().enumerate().skip(known) {
        let transaction = connection.transaction()?;
        transaction.execute_batch(step)?;
        transaction.pragma_update(None, "user_version", i64::try_from(place + 1).unwrap_or(i64::MAX))?;
        transaction.commit()?;
    }
    Ok(true)
}
