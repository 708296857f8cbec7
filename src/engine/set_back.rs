//! A clock that was set back. Readings that lie ahead of it were measured by the clock that was wrong: they move with it,
//! so that those which come next are taken for the new ones they are.

use super::Engine;
use super::alert::Detail;
use crate::domain::time::{Span, Timestamp};

impl Engine {
    /// The clock was set back to `now`.
    pub(super) fn move_readings_back(&mut self, now: Timestamp, by: Span) {
        let is_ahead = |at: Option<Timestamp>| at.is_some_and(|at| at > now);
        let mut moved = false;
        for source in self.numbers() {
            let state = self.source(source);
            if by >= Span::ZERO || !is_ahead(state.newest) {
                continue;
            }
            state.move_times(by);
            self.state.window.shift(source, by);
            moved = true;
        }
        if moved {
            self.state.register.move_values(by);
        }
    }
}

impl super::alert::register::Register {
    /// What is known of values was measured by a clock that was set.
    fn move_values(&mut self, by: Span) {
        self.began.shift(by);
        self.shift_pending(by);
        for alert in self.open_mut() {
            alert.since = alert.since + by;
            alert.told_at = alert.told_at.map(|told| told + by);
            if let Detail::Level(facts) = &mut alert.detail {
                facts.shift(by);
            }
        }
    }
}
