//! A clock that was set: every span keeps its length. Where it was set back, readings that lie ahead of it were measured
//! by the clock that was wrong: they move with it,
//! so that those which come next are taken for the new ones they are.

use super::Engine;
use super::alert::Detail;
use super::turn::Turn;
use crate::domain::time::{Span, Timestamp};

impl Engine {
    /// A clock was set: every span keeps its length.
    pub(super) fn clock_stepped(&mut self, turn: &Turn, by: Span) {
        self.move_readings_back(turn.now, by);
        self.state.plan.shift(by);
        self.state.register.shift_calls(by);
        for quiet in &mut self.state.quiet {
            quiet.shift(by);
        }
        self.state.off.iter_mut().for_each(|off| off.shift(by));
        self.state.flood.shift(by);
        self.state.moments.shift(by);
        self.state.flaps.iter_mut().for_each(|flaps| flaps.shift(by));
        self.state.modes.shift(by);
        self.state.ketones.shift(by);
        self.state.doses.shift(by);
        self.state.past_lows.shift(by);
        self.state.high.shift(by);
        self.state.foreseen.shift(by);
        self.state.high_looked = self.state.high_looked.map(|looked| looked + by);
        self.keep_reminders_by(by, turn.now);
        self.keep_bedtime_by(by, turn.now);
        self.move_evening_look(turn.now, by);
        for source in self.numbers() {
            self.source(source).scan.shift(by);
            self.plan_scan(turn.now, source);
        }
        self.plan_digest(turn);
    }

    /// The clock was set back to `now`.
    fn move_readings_back(&mut self, now: Timestamp, by: Span) {
        let is_ahead = |at: Option<Timestamp>| at.is_some_and(|at| at > now);
        let mut moved = false;
        for source in self.numbers() {
            let state = self.source(source);
            if by >= Span::ZERO || !is_ahead(state.newest) {
                continue;
            }
            state.move_times(by);
            self.state.window.shift(source, by);
            self.latest.forget();
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
