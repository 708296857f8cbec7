//! Where the wearer is: what they say of it, and the zone the engine lives by.

use super::run::{Broken, Daemon};
use crate::domain::local::Zone;
use crate::domain::time::Timestamp;
use crate::domain::travel::WallClock;
use crate::engine::event::Event;
use crate::intake::folder::Wake;
use crate::store::inbox::{Line, Said};
use crate::store::travels::follow;
use crate::store::{self, Store};
use crate::wording::zone::answer;

/// The wearer's clock at the start. What was said of it while nobody watched is taken in before any file is
/// read, so that its rows are read by it.
pub(super) fn at_start(store: &mut Store, home: Zone, now: Timestamp) -> Result<WallClock, store::Error> {
    let mut clock = store.travels(home)?;
    let lines = store.unanswered().unwrap_or_else(|error| {
        tracing::error!(%error, "cannot read what was said");
        Vec::new()
    });
    for line in lines {
        if let Some(words) = hear(&mut clock, &line, now)
            && let Err(error) = store.keep_travels(&clock, line.number, &words)
        {
            tracing::error!(%error, "cannot save where the wearer is");
        }
    }
    Ok(clock)
}

/// Follows a line; answers in words, or not at all where it is about something else.
fn hear(clock: &mut WallClock, line: &Line, now: Timestamp) -> Option<String> {
    let dropped = follow(clock, line)?;
    let said = if let Said::Zone(travel) = &line.what { Some(travel) } else { None };
    Some(answer(said, &dropped, clock, now))
}

impl Daemon {
    /// Takes in where the wearer says they are. False when the line says nothing of it.
    pub(super) fn heard_where(&mut self, line: &Line) -> Result<bool, Broken> {
        let Some(words) = hear(&mut self.wall, line, self.clock.now()) else { return Ok(false) };
        // What is answered holds already.
        self.live_by_zone()?;
        if let Err(error) = self.store.keep_travels(&self.wall, line.number, &words) {
            tracing::error!(%error, "cannot save where the wearer is");
            self.handled_unsaved.insert(line.number);
        }
        for (_, waker) in &self.wakers {
            // A thread that is gone has said so already.
            let _ = waker.send(Wake::Travels(self.wall.travels().to_vec()));
        }
        Ok(true)
    }

    /// A travel begins and ends by itself, also while the computer sleeps: the engine is told.
    pub(super) fn live_by_zone(&mut self) -> Result<(), Broken> {
        let zone = self.wall.zone_at(self.clock.now());
        if self.engine.policy().zone == zone {
            return Ok(());
        }
        tracing::info!(zone = zone.name(), "the wearer's clock is of this zone now");
        let mut policy = self.engine.policy().clone();
        policy.zone = zone;
        self.turn(Some(&Event::PolicyChanged(Box::new(policy))), None, None)
    }
}
