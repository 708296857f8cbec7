//! Where the wearer said they are, and until when.

use super::inbox::{Line, Said};
use super::{Error, Store};
use crate::domain::local::Zone;
use crate::domain::time::Timestamp;
use crate::domain::travel::{Travel, WallClock};
use rusqlite::params;

/// Does a line say where the wearer is? Then the clock follows it; answers the travels that no longer hold.
pub fn follow(clock: &mut WallClock, line: &Line) -> Option<Vec<Travel>> {
    match &line.what {
        Said::Zone(travel) => {
            clock.add(*travel);
            Some(Vec::new())
        }
        Said::Home => Some(clock.end(line.said)),
        Said::Treated { .. }
        | Said::Noted(_)
        | Said::Trust(_)
        | Said::Quiet { .. }
        | Said::QuietOff
        | Said::Mode(_)
        | Said::Meant { .. }
        | Said::Seen { .. }
        | Said::With { .. }
        | Said::Written { .. }
        | Said::Remind(_)
        | Said::CancelReminders { .. }
        | Said::Diary { .. }
        | Said::Excluded => None,
    }
}

impl Store {
    /// The wearer's clock as the daemon last knew it.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn travels(&self, home: Zone) -> Result<WallClock, Error> {
        if !self.has_table("travels")? {
            return Ok(WallClock::at_home(home));
        }
        let rows = self.all("SELECT zone, start, until FROM travels ORDER BY start", [], |row| {
            Ok((row.get::<_, String>(0)?, row.get::<_, i64>(1)?, row.get::<_, i64>(2)?))
        })?;
        // A zone that the tz database no longer names is no reason not to start.
        let travels: Vec<Travel> = rows
            .into_iter()
            .filter_map(|(zone, from, until)| {
                let (from, until) = (Timestamp::from_millis(from), Timestamp::from_millis(until));
                Some(Travel { zone: Zone::named(&zone)?, from, until })
            })
            .collect();
        Ok(WallClock::new(home, &travels))
    }

    /// The wearer's clock, with what was said and not taken in yet.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn wall_clock(&self, home: Zone) -> Result<WallClock, Error> {
        let mut clock = self.travels(home)?;
        // Lines that cannot be read are told where they are taken in; the clock goes by the others.
        for line in self.unanswered().unwrap_or_default() {
            follow(&mut clock, &line);
        }
        Ok(clock)
    }

    /// Keeps the wearer's clock, and the answer to the line that changed it, at once.
    ///
    /// # Errors
    /// When the store cannot be written; then nothing of it is.
    pub fn keep_travels(&mut self, clock: &WallClock, line: i64, words: &str) -> Result<(), Error> {
        let path = self.path.clone();
        let wrap = |error| Error::Sqlite { path: path.clone(), error };
        let transaction = self.connection.transaction().map_err(wrap)?;
        transaction.execute("DELETE FROM travels", []).map_err(wrap)?;
        for Travel { zone, from, until } in clock.travels() {
            transaction
                .execute("INSERT INTO travels VALUES (?1, ?2, ?3)", params![from.millis(), until.millis(), zone.name()])
                .map_err(wrap)?;
        }
        transaction
            .execute("UPDATE inbox SET accepted = 1, answer = ?2 WHERE number = ?1", params![line, words])
            .map_err(wrap)?;
        transaction.commit().map_err(wrap)
    }
}
