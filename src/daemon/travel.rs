//! Where the wearer is: what they say of it, and the zone the engine lives by.

use super::run::{Broken, Daemon};
use crate::domain::local::Zone;
use crate::domain::time::{Span, Timestamp};
use crate::domain::travel::WallClock;
use crate::engine::event::Event;
use crate::intake::folder::Wake;
use crate::store::inbox::{Line, Said};
use crate::store::travels::follow;
use crate::store::{self, Store};
use crate::wording::zone::answer;

/// How far the computer's clock and ours may be apart between two looks at them.
const CLOCKS_APART: Span = Span::seconds(1);

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
    let line = by_our_clock(line, now);
    let dropped = follow(clock, &line)?;
    let said = if let Said::Zone(travel) = &line.what { Some(travel) } else { None };
    Some(answer(said, &dropped, clock, now))
}

/// The wall clock that a line is said by may run a little ahead of ours: what begins now has begun.
fn by_our_clock(line: &Line, now: Timestamp) -> Line {
    let begun = |at: Timestamp| if at - now < CLOCKS_APART { at.min(now) } else { at };
    let mut line = line.clone();
    line.said = begun(line.said);
    if let Said::Zone(travel) = &mut line.what {
        travel.from = begun(travel.from);
    }
    line
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::travel::Travel;

    const NOW: Timestamp = Timestamp::from_seconds(1_772_411_400);

    fn lived_by(clock: &mut WallClock, what: Said) -> &'static str {
        // Said by a clock that is 4 ms ahead of ours.
        let line = Line { number: 1, said: NOW + Span::millis(4), what };
        hear(clock, &line, NOW).unwrap();
        clock.zone_at(NOW).name()
    }

    #[test]
    fn what_is_said_a_little_ahead_of_our_clock_holds_now() {
        let tokyo = Zone::named("Asia/Tokyo").unwrap();
        let mut clock = WallClock::at_home(Zone::UTC);
        let travel = |from| Said::Zone(Travel { zone: tokyo, from, until: NOW + Span::hours(48) });
        assert_eq!(lived_by(&mut clock, travel(NOW + Span::millis(4))), "Asia/Tokyo");
        assert_eq!(lived_by(&mut clock, Said::Home), "UTC");
        assert_eq!(lived_by(&mut clock, travel(NOW + Span::hours(2))), "UTC", "a travel that is planned");
    }
}
