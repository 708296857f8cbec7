//! Quiet hours: the night, and the hours of the week in the settings. In them a ring to the wearer that is of high
//! or medium priority passes; what is of low priority, and what is information, waits for their end and is told
//! then in one message, if it still stands.
//!
//! These pass whatever their priority: the wearer's own reminders, the line before sleep, looks they asked for or that
//! a mode of theirs asks for, that somebody else has answered, a silence of the sensor (by its own rule late and
//! once), a level that the settings let ring always. What is told to others is not for the wearer, and answers to what
//! they say do not ring.

use super::condition::{Kind, Topic, Waits};
use super::{Alert, Because};
use crate::domain::local::Stretch;
use crate::domain::schedule::Schedule;
use crate::domain::time::Timestamp;
use crate::engine::Engine;
use crate::engine::effect::{Condition, Decision, Id, Priority, Side, What};
use crate::engine::mode::reason::Why;
use crate::engine::morning::Overnight;
use crate::engine::plan::Job;
use crate::engine::policy::{Policy, Rings};
use crate::engine::reason::Reason;
use crate::engine::turn::Turn;
use serde::{Deserialize, Serialize};

/// Most rings that wait one by one; of those beyond it only the number is told.
const KEPT_MAX: usize = 20;

/// A ring that waits.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Held {
    /// Since when.
    pub at: Timestamp,
    /// What was decided then.
    pub decision: Decision,
}

/// The rings that wait for the end of quiet hours.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Kept {
    /// In the order they were held.
    pub rings: Vec<Held>,
    /// How many more there were than are kept.
    more: u32,
}

impl Kept {
    pub(in crate::engine) fn add(&mut self, held: Held) {
        let decision = &held.decision;
        let is_same = |known: &Decision| {
            known.condition == decision.condition
                && known.id == decision.id
                && (decision.id != Id(0) || known.reason == decision.reason)
        };
        // What is asked again says it as it is now.
        self.rings.retain(|known| !is_same(&known.decision));
        if self.rings.len() < KEPT_MAX {
            self.rings.push(held);
        } else {
            self.more = self.more.saturating_add(1);
        }
    }

    /// How many more there were than are kept.
    pub(in crate::engine) const fn more(&self) -> u32 {
        self.more
    }

    const fn is_empty(&self) -> bool {
        self.rings.is_empty() && self.more == 0
    }
}

impl Turn {
    /// Why a ring waits in these quiet hours, and until when.
    pub(in crate::engine) const fn waits(&self) -> Reason {
        let until = self.quiet.until;
        if self.night.inside { Reason::Night { until } } else { Reason::QuietHours { until } }
    }

    /// Why a ring waits, if it does: by night if it is to ring by day only, and in all quiet hours
    /// if it is of low priority as well.
    pub(in crate::engine) fn holds(&self, rings: Rings, priority: Priority) -> Option<Reason> {
        match rings {
            Rings::ByDay if self.quiet.inside && priority <= Priority::Low => Some(self.waits()),
            Rings::ByDay if self.night.inside => Some(Reason::Night { until: self.night.until }),
            Rings::Always | Rings::ByDay | Rings::Never => None,
        }
    }

    /// When what waits now is looked at again at the latest: it may be graver when the night ends than when the
    /// quiet hours do.
    pub(in crate::engine) fn held_until(&self) -> Timestamp {
        if self.night.inside { self.night.until } else { self.quiet.until }
    }
}

impl Engine {
    /// The night or the day around an instant, and the quiet hours or the time between them.
    pub(in crate::engine) fn hours_around(&mut self, now: Timestamp) -> (Stretch, Stretch) {
        let holds = |around: &Stretch| around.from <= now && now < around.until;
        if let Some(around) = self.around.filter(|(night, quiet)| holds(night) && holds(quiet)) {
            return around;
        }
        let Policy { zone, night, quiet_hours, .. } = &self.policy;
        let night = night.stretch(*zone, now);
        let around = (night, if quiet_hours.is_empty() { night } else { self.quiet_around(now) });
        self.around = Some(around);
        around
    }

    /// The quiet hours around an instant, or the time between them.
    #[must_use]
    pub fn quiet_around(&self, at: Timestamp) -> Stretch {
        let Policy { zone, night, quiet_hours, .. } = &self.policy;
        if quiet_hours.is_empty() {
            return night.stretch(*zone, at);
        }
        Schedule::daily(*night).with(quiet_hours).stretch(*zone, at)
    }

    pub(in crate::engine) fn is_quiet(&self, at: Timestamp) -> bool {
        self.quiet_around(at).inside
    }

    /// After a turn's decisions: what does not ring after all, in quiet hours, because the wearer wants it silent, while
    /// it is low, or in a flood.
    pub(in crate::engine) fn keep_back(&mut self, turn: &mut Turn) {
        self.hold_denied_low(turn);
        self.hold_in_quiet_hours(turn);
        self.keep_quiet(turn);
        self.wait_for_low(turn);
        self.keep_waiting(turn);
        self.hold_flood(turn);
    }

    /// In quiet hours those that can wait do not ring.
    fn hold_in_quiet_hours(&mut self, turn: &mut Turn) {
        if !turn.quiet.inside {
            return;
        }
        let mut out = std::mem::take(&mut turn.out);
        let mut waiting = Vec::new();
        for decision in out.iter_mut().filter(|decision| self.can_wait(turn, decision)) {
            waiting.push(decision.clone());
            decision.rings = false;
        }
        turn.out = out;
        for decision in waiting {
            self.keep_for_later(turn, decision);
        }
        self.plan_digest(turn);
    }

    /// May this ring wait for the end of quiet hours?
    pub(in crate::engine) fn can_wait(&self, turn: &Turn, decision: &Decision) -> bool {
        let minor = decision.priority <= Priority::Low;
        let waits = match decision.condition.row().waits {
            Waits::AsItsLevel => decision.priority < Priority::High && self.level_holds(turn, decision),
            // What a flood tells has passed here before.
            Waits::Never => false,
            Waits::ItsEnd => matches!(decision.reason, Reason::Mode { said: Why::Over { .. } }),
            Waits::AllButQuestions | Waits::WhenMinor if matches!(decision.reason, Reason::Answered { .. }) => false,
            Waits::AllButQuestions => minor && decision.what != What::Prompt,
            Waits::WhenMinor => minor,
        };
        decision.rings && decision.to.is_wearer() && waits
    }

    fn level_holds(&self, turn: &Turn, decision: &Decision) -> bool {
        let level = self.policy.levels.of(decision.condition);
        level.is_some_and(|level| turn.holds(level.rings, decision.priority).is_some())
    }

    /// A ring waits: recorded, and kept to be told once.
    pub(in crate::engine) fn keep_for_later(&mut self, turn: &mut Turn, decision: Decision) {
        let condition = decision.condition;
        let reason = match self.silent_until(condition, turn.now) {
            Some(until) if !turn.quiet.inside => Reason::Quiet { until },
            _ => turn.waits(),
        };
        turn.out.push(Decision { what: What::Held, rings: false, reason, ..decision.clone() });
        let level = self.state.register.of_mut(condition).filter(|_| condition.row().waits == Waits::AsItsLevel);
        if let Some(alert) = level {
            // Its own readings or looks ring for it, with the value there is then.
            alert.told_as(Some(Because::Held));
            self.ask_when_over(turn, condition);
        } else if decision.what != What::Escalated && (condition != Condition::NotWatching || !turn.night.inside) {
            // What was not watched by night is told by the word of the morning; steps for what nobody answers go on.
            self.state.kept.add(Held { at: turn.now, decision });
        }
    }

    /// Plans the message of what waits; none when nothing does.
    pub(in crate::engine) fn plan_digest(&mut self, turn: &Turn) {
        let waits = !self.state.kept.is_empty() || self.state.overnight != Overnight::default();
        if !waits {
            self.state.plan.stop(Job::Digest);
            return;
        }
        let silent = self.state.kept.rings.iter().map(|held| self.silent_until(held.decision.condition, turn.now));
        let due = if turn.quiet.inside { turn.quiet.until } else { silent.min().flatten().unwrap_or(turn.now) };
        self.state.plan.set(Job::Digest, due);
    }

    /// Quiet hours are over: one message tells what waited and still stands, and after a night what that held. What
    /// the wearer wants silent just now waits on.
    pub(in crate::engine) fn quiet_hours_are_over(&mut self, turn: &mut Turn) {
        if turn.quiet.inside {
            // Another zone, or other hours in the settings: they are not over yet.
            self.plan_digest(turn);
            return;
        }
        let Kept { rings, more } = std::mem::take(&mut self.state.kept);
        let is_silent = |held: &Held| self.silent_until(held.decision.condition, turn.now).is_some();
        let (silent, held): (Vec<Held>, Vec<Held>) = rings.into_iter().partition(is_silent);
        let held: Vec<Held> = held.into_iter().filter(|held| self.still_stands(&held.decision)).collect();
        self.state.kept.rings = silent;
        let Overnight { stretches, rings } = self.take_overnight();
        self.plan_digest(turn);
        if stretches.is_empty() && held.is_empty() && more == 0 {
            return;
        }
        turn.judged = self.latest_of_sensors(turn.now).or_else(|| self.latest(turn.now));
        // Between two nights this is when the last one ended.
        let by_night = !stretches.is_empty() || held.iter().any(|held| held.at < turn.night.from);
        let (condition, reason) = if by_night {
            (Condition::Morning, Reason::Morning { stretches, rings, held, more })
        } else {
            (Condition::Digest, Reason::Digest { held, more })
        };
        turn.tell(What::Told, condition, Id(0), None, reason, true);
    }

    /// Does what was decided still hold? What is over, or was done since, need not be told; what was a fact stays.
    pub(in crate::engine) fn still_stands(&self, decision: &Decision) -> bool {
        let (id, state) = (decision.id, &self.state);
        let is_over = |side: Side| !state.register.of_side(side).any(Alert::is_beyond);
        let open = || state.register.get(id).is_some_and(Alert::still_stands);
        match (&decision.reason, decision.condition) {
            (Reason::Back { .. }, Condition::RecheckHigh) => is_over(Side::High),
            (Reason::Back { .. }, Condition::RecheckLow) => is_over(Side::Low),
            (Reason::SensorEnds { end }, _) => self.sensor_ends_at(*end),
            // It is of no high any more, and rang for what may become a low.
            (Reason::EveningLook { .. } | Reason::NewSet { .. } | Reason::MistakenLook { .. }, _) => true,
            (Reason::DiaryLineAsks { at, .. }, _) => !self.was_treated_at(*at),
            (Reason::Meant { kind, at, odd: Some(_), .. }, _) if kind.is_insulin() => state.doses.is_in_question(*at),
            (Reason::Mode { said: Why::Over { mode, .. } }, _) => self.running(*mode).is_none(),
            (_, Condition::Scan) => state.sources.iter().any(|source| source.is_called_for(id)),
            // A question about a very high stretch stands while that lasts, whatever check there is.
            (Reason::HighStays(_), _) => state.high.very_high.is_some(),
            (_, Condition::RecheckHigh) => {
                !is_over(Side::High) && state.plan.high().is_some_and(|check| check.id == id)
            }
            (_, Condition::RecheckLow) => state.plan.low().is_some_and(|check| check.id == id),
            (_, Condition::UnnotedRise) => self.still_asks_about(id),
            (_, Condition::OutOfService) => !state.off.is_empty(),
            (_, condition) => match condition.row().kind {
                Kind::Value => open(),
                // What is told once of a source is a fact.
                Kind::Lasting => id == Id(0) && condition.row().topic == Some(Topic::Gaps) || open(),
                Kind::Told => true,
            },
        }
    }
}
