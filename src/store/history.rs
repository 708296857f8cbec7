//! Questions asked of the store: by the daemon at its start, by `status`, `why` and the reports.

use super::commit::glucose;
use super::inbox::Line;
use super::{Error, Store};
use crate::domain::glucose::Glucose;
use crate::domain::reading::{Reading, SourceId};
use crate::domain::time::Timestamp;
use crate::engine::State;
use crate::engine::effect::Decision;
use crate::engine::event::Event;
use crate::engine::policy::Policy;
use crate::engine::reason::Reason;
use crate::engine::saved::Unread;
use rusqlite::{OptionalExtension, params};

/// What was last saved.
#[derive(Debug, Clone, PartialEq)]
pub struct Saved {
    /// The engine's state; none when it cannot be read.
    pub state: Option<State>,
    /// Why the state cannot be read, if it cannot.
    pub unread: Option<Unread>,
    /// The settings it lived by; none when they cannot be read.
    pub policy: Option<Policy>,
}

/// When the program was last known to be alive.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Alive {
    /// When.
    pub at: Timestamp,
    /// Was it stopped in order?
    pub stopped: bool,
}

/// A decision as it was written.
#[derive(Debug, Clone, PartialEq)]
pub struct Past {
    /// Its number.
    pub number: i64,
    /// When.
    pub at: Timestamp,
    /// What.
    pub decision: Decision,
}

/// What is known of a channel.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct ChannelPast {
    /// When it last accepted a message.
    pub accepted: Option<Timestamp>,
    /// When a try last failed, and why.
    pub failed: Option<(Timestamp, String)>,
}

/// One try of one message.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Delivery {
    /// Channel.
    pub channel: String,
    /// Title.
    pub title: String,
    /// State of the message.
    pub state: String,
    /// Tries so far.
    pub tries: u32,
    /// When the last try ended, and what came of it.
    pub last: Option<(Timestamp, String)>,
}

impl Store {
    /// The saved engine, if there is one.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn saved(&self) -> Result<Option<Saved>, Error> {
        let row: Option<(u32, String, String)> = self
            .connection
            .query_row("SELECT version, policy, body FROM snapshot", [], |row| {
                Ok((row.get(0)?, row.get(1)?, row.get(2)?))
            })
            .optional()
            .map_err(|error| self.wrap(error))?;
        let Some((version, policy, body)) = row else {
            return Ok(None);
        };
        let (state, unread) = match State::read(version, &body) {
            Ok(state) => (Some(state), None),
            Err(unread) => (None, Some(unread)),
        };
        Ok(Some(Saved { state, unread, policy: self.read_back(&policy).ok() }))
    }

    /// Events still kept, oldest first, to rebuild an engine from, or to try other settings on. Events of a form no
    /// longer known are left out, and counted.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn events(&self) -> Result<(Vec<(Timestamp, Event)>, usize), Error> {
        let rows = self.all("SELECT at, body FROM events ORDER BY number", [], |row| {
            Ok((row.get::<_, i64>(0)?, row.get::<_, String>(1)?))
        })?;
        let all = rows.len();
        let events: Vec<_> = rows
            .into_iter()
            .filter_map(|(at, body)| Some((Timestamp::from_millis(at), self.read_back(&body).ok()?)))
            .collect();
        let unknown = all - events.len();
        Ok((events, unknown))
    }

    /// When the program was last alive.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn last_alive(&self) -> Result<Option<Alive>, Error> {
        self.connection
            .query_row("SELECT at, stopped FROM alive", [], |row| {
                Ok(Alive { at: Timestamp::from_millis(row.get(0)?), stopped: row.get(1)? })
            })
            .optional()
            .map_err(|error| self.wrap(error))
    }

    /// What was answered at the last start to what had been kept until then, and when, if that was after an instant.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn kept_answered(&self, after: Timestamp) -> Result<Option<(Timestamp, Vec<String>)>, Error> {
        let rows = self.all(
            "SELECT at, body FROM decisions WHERE at > ?1 AND condition = 'diary' AND what = 'told'
             AND body LIKE '%\"kept_answered\"%' ORDER BY number",
            [after.millis()],
            |row| Ok((Timestamp::from_millis(row.get(0)?), row.get::<_, String>(1)?)),
        )?;
        let mut last = None;
        for (at, body) in rows {
            let decision: Decision = self.read_back(&body)?;
            if let Reason::KeptAnswered { lines } = decision.reason {
                last = Some((at, lines));
            }
        }
        Ok(last)
    }

    /// Has this source ever given a reading?
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn has_readings(&self, source: SourceId) -> Result<bool, Error> {
        let found = self.all("SELECT 1 FROM readings WHERE source = ?1 LIMIT 1", [source.0], |_| Ok(()))?;
        Ok(!found.is_empty())
    }

    /// Readings from a time on, oldest first.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn readings_since(&self, from: Timestamp) -> Result<Vec<Reading>, Error> {
        self.all(
            "SELECT source, measured, hundredths, kind FROM readings WHERE measured >= ?1 ORDER BY measured, source",
            [from.millis()],
            |row| {
                Ok(Reading {
                    source: SourceId(row.get(0)?),
                    measured: Timestamp::from_millis(row.get(1)?),
                    glucose: glucose(row.get(2)?, row.get(3)?),
                })
            },
        )
    }

    /// The newest reading of each source, with when it arrived.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn newest_readings(&self) -> Result<Vec<(Reading, Timestamp)>, Error> {
        self.all(
            "SELECT source, measured, hundredths, kind, arrived FROM readings AS r
             WHERE measured = (SELECT MAX(measured) FROM readings WHERE source = r.source) ORDER BY source",
            [],
            |row| {
                let reading = Reading {
                    source: SourceId(row.get(0)?),
                    measured: Timestamp::from_millis(row.get(1)?),
                    glucose: glucose(row.get(2)?, row.get(3)?),
                };
                Ok((reading, Timestamp::from_millis(row.get(4)?)))
            },
        )
    }

    /// What a source measured at an instant, if that is known.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn value_at(&self, source: SourceId, at: Timestamp) -> Result<Option<Glucose>, Error> {
        let found = self.all(
            "SELECT hundredths, kind FROM readings WHERE source = ?1 AND measured = ?2",
            params![source.0, at.millis()],
            |row| Ok(glucose(row.get(0)?, row.get(1)?)),
        )?;
        Ok(found.into_iter().next())
    }

    /// Where reading of each file goes on.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn places(&self, source: SourceId) -> Result<Vec<(String, String)>, Error> {
        self.all("SELECT path, body FROM places WHERE source = ?1", [source.0], |row| Ok((row.get(0)?, row.get(1)?)))
    }

    /// Hands over where reading of each file goes on, one at a time: there may be very many.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn each_place(&self, source: SourceId, mut each: impl FnMut(&str, &str)) -> Result<(), Error> {
        let mut read = || -> rusqlite::Result<()> {
            let mut statement = self.connection.prepare_cached("SELECT path, body FROM places WHERE source = ?1")?;
            let mut rows = statement.query([source.0])?;
            while let Some(row) = rows.next()? {
                each(row.get_ref(0)?.as_str()?, row.get_ref(1)?.as_str()?);
            }
            Ok(())
        };
        read().map_err(|error| self.wrap(error))
    }

    /// Counts of each source.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn counts(&self) -> Result<Vec<(SourceId, String, u64)>, Error> {
        self.all("SELECT source, name, n FROM counts WHERE source >= 0 ORDER BY source, name", [], |row| {
            Ok((SourceId(row.get(0)?), row.get(1)?, u64::try_from(row.get::<_, i64>(2)?).unwrap_or(0)))
        })
    }

    /// The last refusals, newest first.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn refusals(&self, most: u32) -> Result<Vec<(Timestamp, String)>, Error> {
        self.all("SELECT at, words FROM refusals ORDER BY number DESC LIMIT ?1", [most], |row| {
            Ok((Timestamp::from_millis(row.get(0)?), row.get(1)?))
        })
    }

    /// Decisions about an alert and all that is part of it, oldest first.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn decisions_about(&self, id: u64) -> Result<Vec<Past>, Error> {
        let id = super::commit::number(id);
        self.past("SELECT number, at, body FROM decisions WHERE id = ?1 OR part_of = ?1 ORDER BY number", params![id])
    }

    /// The last decisions, newest last.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn last_decisions(&self, most: u32) -> Result<Vec<Past>, Error> {
        let mut last =
            self.past("SELECT number, at, body FROM decisions ORDER BY number DESC LIMIT ?1", params![most])?;
        last.reverse();
        Ok(last)
    }

    /// Decisions between two times, oldest first, the second time not included.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn decisions_between(&self, from: Timestamp, until: Timestamp) -> Result<Vec<(Timestamp, Decision)>, Error> {
        let past = self.past(
            "SELECT number, at, body FROM decisions WHERE at >= ?1 AND at < ?2 ORDER BY at, number",
            params![from.millis(), until.millis()],
        )?;
        Ok(past.into_iter().map(|past| (past.at, past.decision)).collect())
    }

    /// Decisions from a time on in the order they were made, which is not that of their times where the clock was set
    /// back between them.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn decisions_as_made(&self, from: Timestamp) -> Result<Vec<(Timestamp, Decision)>, Error> {
        let past =
            self.past("SELECT number, at, body FROM decisions WHERE at >= ?1 ORDER BY number", [from.millis()])?;
        Ok(past.into_iter().map(|past| (past.at, past.decision)).collect())
    }

    /// When the oldest of the alerts was raised that were open at a time; none when none was.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn open_since(&self, at: Timestamp) -> Result<Option<Timestamp>, Error> {
        let found = self.all(
            "SELECT MIN(at) FROM decisions AS raised WHERE what = 'raised' AND at < ?1 AND NOT EXISTS
                (SELECT 1 FROM decisions AS ended WHERE ended.id = raised.id AND ended.what = 'ended'
                    AND ended.number > raised.number AND ended.at < ?1)",
            [at.millis()],
            |row| row.get::<_, Option<i64>>(0),
        )?;
        Ok(found.into_iter().flatten().next().map(Timestamp::from_millis))
    }

    /// When the program began to watch: the first reading came in, or the first decision was made.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn watched_since(&self) -> Result<Option<Timestamp>, Error> {
        let found = self.all(
            "SELECT MIN(at) FROM (SELECT MIN(at) AS at FROM decisions UNION ALL SELECT MIN(arrived) FROM readings)",
            [],
            |row| row.get::<_, Option<i64>>(0),
        )?;
        Ok(found.into_iter().flatten().next().map(Timestamp::from_millis))
    }

    /// Lines of the inbox said from a time on, whatever came of them, in the order said.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn said_since(&self, from: Timestamp) -> Result<Vec<Line>, Error> {
        self.lines("SELECT number, said, body FROM inbox WHERE said >= ?1 ORDER BY number", [from.millis()])
    }

    fn past(&self, sql: &str, params: impl rusqlite::Params) -> Result<Vec<Past>, Error> {
        let rows =
            self.all(sql, params, |row| Ok((row.get::<_, i64>(0)?, row.get::<_, i64>(1)?, row.get::<_, String>(2)?)))?;
        rows.into_iter()
            .map(|(number, at, body)| {
                Ok(Past { number, at: Timestamp::from_millis(at), decision: self.read_back(&body)? })
            })
            .collect()
    }

    /// What became of the messages of a decision.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn deliveries(&self, decision: i64) -> Result<Vec<Delivery>, Error> {
        self.all(
            "SELECT channel, json_extract(body, '$.title'), state, tries,
                (SELECT at FROM tries WHERE message = messages.number ORDER BY number DESC LIMIT 1),
                (SELECT words FROM tries WHERE message = messages.number ORDER BY number DESC LIMIT 1)
             FROM messages WHERE decision = ?1 ORDER BY number",
            [decision],
            |row| {
                let at: Option<i64> = row.get(4)?;
                let words: Option<String> = row.get(5)?;
                Ok(Delivery {
                    channel: row.get(0)?,
                    title: row.get(1)?,
                    state: row.get(2)?,
                    tries: row.get(3)?,
                    last: at.map(Timestamp::from_millis).zip(words),
                })
            },
        )
    }

    /// What is known of a channel.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn channel_past(&self, channel: &str) -> Result<ChannelPast, Error> {
        let row = self.all("SELECT accepted, failed, failure FROM channels WHERE name = ?1", [channel], |row| {
            let failed =
                row.get::<_, Option<i64>>(1)?.map(Timestamp::from_millis).zip(row.get::<_, Option<String>>(2)?);
            Ok(ChannelPast { accepted: row.get::<_, Option<i64>>(0)?.map(Timestamp::from_millis), failed })
        })?;
        Ok(row.into_iter().next().unwrap_or_default())
    }
}
