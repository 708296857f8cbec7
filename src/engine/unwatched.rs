//! A stretch in which nobody watched: the program was stopped, it was killed, or the computer slept.

use super::Engine;
use super::alert::moment::NEXT_MOMENT;
use super::effect::{Condition, Id, What};
use super::event::Cause;
use super::plan::Job;
use super::reason::Reason;
use super::turn::Turn;
use crate::domain::time::{Span, Timestamp};

/// A shorter stretch is not told.
const TOLD_MIN: i64 = 10;

/// After such a stretch nothing falls due before this has passed: intake catches up first, and it was told a moment ago
/// that nobody watched.
const CATCH_UP: Span = NEXT_MOMENT;

impl Engine {
    /// Watching goes on.
    pub(super) fn unwatched(&mut self, turn: &mut Turn, from: Timestamp, to: Timestamp, cause: Cause) {
        self.remember_sleep(from, to, cause);
        self.state.plan.not_before(to + CATCH_UP);
        self.state.high.waits_until = Some(to + CATCH_UP);
        for source in self.numbers() {
            if self.state.plan.due(Job::Gap(source)).is_some() {
                // The source may have slept as well: it is given the time it is given after any reading.
                self.state.plan.set(Job::Gap(source), to + self.policy.gap.after_low);
            }
        }
        if to - from >= Span::minutes(TOLD_MIN) {
            turn.tell(What::Told, Condition::NotWatching, Id(0), None, Reason::Unwatched { from, to, cause }, true);
        }
    }
}
