//! Stretches of time that the wearer does not want counted, a faulty sensor's for instance. Readings and decisions of
//! them stay; only what is counted of a life leaves them out, and a stretch that was taken back counts again.

use super::inbox::Said;
use super::{Error, Store, json};
use crate::domain::time::Timestamp;
use rusqlite::params;

/// A stretch that is not counted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Exclusion {
    /// Its number.
    pub number: i64,
    /// First instant of it.
    pub from: Timestamp,
    /// First instant after it.
    pub until: Timestamp,
    /// Why, in the wearer's own words.
    pub reason: String,
    /// When it was said.
    pub said: Timestamp,
    /// When it was taken back, if it was.
    pub taken_back: Option<Timestamp>,
}

impl Exclusion {
    /// Does it stand, and overlap a stretch?
    #[must_use]
    pub fn overlaps(&self, from: Timestamp, until: Timestamp) -> bool {
        self.taken_back.is_none() && self.from < until && from < self.until
    }
}

impl Store {
    /// All stretches that were ever marked, oldest first.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn exclusions(&self) -> Result<Vec<Exclusion>, Error> {
        if !self.has_table("exclusions")? {
            return Ok(Vec::new());
        }
        self.all(
            "SELECT number, start, until, reason, said, taken_back FROM exclusions ORDER BY start, number",
            [],
            |row| {
                Ok(Exclusion {
                    number: row.get(0)?,
                    from: Timestamp::from_millis(row.get(1)?),
                    until: Timestamp::from_millis(row.get(2)?),
                    reason: row.get(3)?,
                    said: Timestamp::from_millis(row.get(4)?),
                    taken_back: row.get::<_, Option<i64>>(5)?.map(Timestamp::from_millis),
                })
            },
        )
    }

    /// The stretches that stand and reach into a period, in order and apart from each other.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn excluded(&self, from: Timestamp, until: Timestamp) -> Result<Vec<(Timestamp, Timestamp)>, Error> {
        let mut merged: Vec<(Timestamp, Timestamp)> = Vec::new();
        for one in self.exclusions()?.into_iter().filter(|one| one.overlaps(from, until)) {
            match merged.last_mut() {
                Some((_, end)) if one.from <= *end => *end = (*end).max(one.until),
                Some(_) | None => merged.push((one.from, one.until)),
            }
        }
        Ok(merged)
    }

    /// Marks a stretch, and leaves word for what counts as it goes. Answers its number.
    ///
    /// # Errors
    /// When the store cannot be written; then nothing of it is.
    pub fn exclude(&mut self, said: Timestamp, from: Timestamp, until: Timestamp, reason: &str) -> Result<i64, Error> {
        let path = self.path.clone();
        let wrap = |error| Error::Sqlite { path: path.clone(), error };
        let transaction = self.connection.transaction().map_err(wrap)?;
        let all = params![said.millis(), from.millis(), until.millis(), reason];
        transaction
            .execute("INSERT INTO exclusions (said, start, until, reason) VALUES (?1, ?2, ?3, ?4)", all)
            .map_err(wrap)?;
        let number = transaction.last_insert_rowid();
        transaction
            .execute("INSERT INTO inbox (said, body) VALUES (?1, ?2)", params![said.millis(), json(&Said::Excluded)])
            .map_err(wrap)?;
        transaction.commit().map_err(wrap)?;
        Ok(number)
    }

    /// Takes a stretch back. False when there is none of that number, or it was taken back before.
    ///
    /// # Errors
    /// When the store cannot be written; then nothing of it is.
    pub fn take_back(&mut self, number: i64, at: Timestamp) -> Result<bool, Error> {
        let path = self.path.clone();
        let wrap = |error| Error::Sqlite { path: path.clone(), error };
        let transaction = self.connection.transaction().map_err(wrap)?;
        let taken = transaction
            .execute(
                "UPDATE exclusions SET taken_back = ?2 WHERE number = ?1 AND taken_back IS NULL",
                params![number, at.millis()],
            )
            .map_err(wrap)?;
        if taken > 0 {
            transaction
                .execute("INSERT INTO inbox (said, body) VALUES (?1, ?2)", params![at.millis(), json(&Said::Excluded)])
                .map_err(wrap)?;
        }
        transaction.commit().map_err(wrap)?;
        Ok(taken > 0)
    }
}
