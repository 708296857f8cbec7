//! Limited silence: one condition does not ring for a while. It stays visible, it ends by itself, it never
//! touches another condition, and what is graver breaks through.

use super::Engine;
use super::effect::{Condition, Decision, Id, Priority, What};
use super::level::{Active, Told};
use super::reason::Reason;
use super::source::SourceState;
use super::timers::Timer;
use super::turn::Turn;
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// Longest silence of each condition. Common practice for the kinds, our own for the spans: a low that is
/// still there after a quarter of an hour is treated again, a high acts slowly.
const VERY_LOW_MAX_MIN: i64 = 10;
const LOW_MAX_MIN: i64 = 15;
const CAUTION_MAX_MIN: i64 = 30;
const HIGH_MAX_MIN: i64 = 120;
const OTHERS_MAX_MIN: i64 = 60;

/// A condition that does not ring until then.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Quiet {
    /// Which.
    pub condition: Condition,
    /// Until when.
    pub until: Timestamp,
    /// Something was withheld meanwhile.
    withheld: bool,
    /// Since when: one that is asked for again ends no later for it.
    #[serde(default)]
    began: Option<Timestamp>,
}

/// The longest silence of a condition; none for what rings only when it is answered or asked for.
#[must_use]
pub fn longest(condition: Condition) -> Option<Span> {
    let minutes = match condition {
        Condition::VeryLow => VERY_LOW_MAX_MIN,
        Condition::Low | Condition::ForecastVeryLow | Condition::ForecastLow | Condition::RecheckLow => LOW_MAX_MIN,
        Condition::Caution => CAUTION_MAX_MIN,
        Condition::High
        | Condition::VeryHigh
        | Condition::ForecastHigh
        | Condition::UnnotedRise
        | Condition::RecheckHigh => HIGH_MAX_MIN,
        Condition::Gap | Condition::SourceFailed | Condition::TwoSignals | Condition::Scan => OTHERS_MAX_MIN,
        Condition::ChannelFailed
        | Condition::Stacking
        | Condition::Sensor
        | Condition::WhileAway
        | Condition::NotWatching
        | Condition::Diary
        | Condition::Reminder
        | Condition::Morning
        | Condition::Bedtime
        | Condition::Mode
        | Condition::Digest
        | Condition::OutOfService
        | Condition::Flood => return None,
    };
    Some(Span::minutes(minutes))
}

impl Quiet {
    /// The clock was set: every span keeps its length.
    pub(super) fn shift(&mut self, by: Span) {
        self.until = self.until + by;
        self.began = self.began.map(|began| began + by);
    }
}

impl Engine {
    /// The wearer wants no ring for a while: of one condition, or of what rang last.
    pub(super) fn quiet(&mut self, turn: &mut Turn, span: Span, condition: Option<Condition>) {
        let answer = |turn: &mut Turn, reason| turn.tell(What::Answer, Condition::Diary, Id(0), None, reason, false);
        let meant = condition.or(self.state.last_rung.filter(|last| *last != Condition::VeryLow));
        let Some((condition, most)) = meant.and_then(|meant| Some((meant, self.longest_quiet(meant)?))) else {
            answer(turn, Reason::QuietWhat { last: self.state.last_rung });
            return;
        };
        let until = self.begin_quiet(turn.now, condition, span, most);
        let capped = turn.now + span > until;
        answer(turn, Reason::QuietUntil { condition, until, capped: capped.then_some(most) });
    }

    /// A silence begins, or goes on, and is no longer than it may be. Says when it ends.
    pub(super) fn begin_quiet(&mut self, now: Timestamp, condition: Condition, span: Span, most: Span) -> Timestamp {
        // Silence upon silence would have no end: what was withheld rings first.
        let before = self.state.quiet.iter().position(|quiet| quiet.condition == condition);
        let before = before.map(|place| self.state.quiet.remove(place));
        let withheld = before.is_some_and(|quiet| quiet.withheld);
        let running = before.filter(|quiet| quiet.until > now);
        let began = running.and_then(|quiet| quiet.began).unwrap_or(now);
        let until = (now + span).min(began + most);
        self.state.quiet.push(Quiet { condition, until, withheld, began: Some(began) });
        self.plan_quiet();
        until
    }

    /// The longest silence of a condition; the settings may make it shorter, never longer.
    fn longest_quiet(&self, condition: Condition) -> Option<Span> {
        let most = longest(condition)?;
        Some(self.policy.quiet_longest.get(&condition).map_or(most, |set| most.min(*set)))
    }

    /// All that was quiet rings again from now on, and at once if it was withheld and still stands.
    pub(super) fn quiet_off(&mut self, turn: &mut Turn) {
        let ended = std::mem::take(&mut self.state.quiet);
        self.state.timers.stop(Timer::Quiet);
        let conditions = ended.iter().map(|quiet| quiet.condition).collect();
        turn.tell(What::Answer, Condition::Diary, Id(0), None, Reason::QuietOff { conditions }, false);
        self.ring_withheld(turn, &ended);
        self.plan_digest(turn);
    }

    /// After a turn's decisions: those of a quiet condition do not ring. What is of high priority rings, unless
    /// very low itself was named.
    pub(super) fn keep_quiet(&mut self, turn: &mut Turn) {
        if self.state.quiet.is_empty() {
            return;
        }
        let mut withheld = Vec::new();
        for decision in turn.out.iter_mut().filter(|decision| decision.rings && decision.to.is_wearer()) {
            let graver = decision.priority == Priority::High && decision.condition != Condition::VeryLow;
            // One whose time is over may still be there: after a sleep timers wait a little.
            let quiet = self.state.quiet.iter_mut().find(|quiet| quiet.condition == decision.condition);
            let quiet = quiet.filter(|quiet| quiet.until > turn.now);
            if let Some(quiet) = quiet.filter(|_| !graver) {
                decision.rings = false;
                quiet.withheld = true;
                let reason = Reason::Quiet { until: quiet.until };
                withheld.push(Decision { what: What::Withheld, reason, ..decision.clone() });
            }
        }
        turn.out.extend(withheld);
    }

    /// A silence is over: what is still beyond its limit, and was withheld, rings now.
    pub(super) fn quiet_is_over(&mut self, turn: &mut Turn) {
        let (over, rest): (Vec<Quiet>, Vec<Quiet>) = self.state.quiet.iter().partition(|quiet| quiet.until <= turn.now);
        self.state.quiet = rest;
        self.plan_quiet();
        self.ring_withheld(turn, &over);
    }

    /// A check with a meter at that time was none: what is quiet for it rings.
    pub(super) fn end_quiet_of_meter(&mut self, turn: &mut Turn, measured: Timestamp) {
        let is_of_it = |quiet: &Quiet| quiet.until == measured + Span::minutes(super::meter::SAME_TIME_MIN);
        let (over, rest): (Vec<Quiet>, Vec<Quiet>) = self.state.quiet.iter().partition(|quiet| is_of_it(quiet));
        self.state.quiet = rest;
        self.plan_quiet();
        self.ring_withheld(turn, &over);
    }

    fn ring_withheld(&self, turn: &mut Turn, over: &[Quiet]) {
        turn.judged = self.latest(turn.now);
        for Quiet { condition, .. } in over.iter().filter(|quiet| quiet.withheld) {
            let active = self.still_beyond(*condition).map(|active| (active.id, active.part_of, active.since));
            for (id, part_of, since) in active.into_iter().chain(self.still_lost(*condition)) {
                if turn.out.iter().any(|told| told.rings && told.to.is_wearer() && told.id == id) {
                    continue;
                }
                turn.tell(What::Repeated, *condition, id, part_of, Reason::QuietOver { since }, true);
            }
        }
    }

    /// Silences, failures and two signals that nobody has seen: nothing asks about them again.
    fn still_lost(&self, condition: Condition) -> Vec<(Id, Option<Id>, Timestamp)> {
        let lost = self.state.sources.iter().filter_map(SourceState::lost);
        let lost = lost
            .filter(|lost| lost.condition == condition && !lost.seen && !lost.is_spoken_for())
            .map(|lost| (lost.id, None, lost.since));
        let two = self.state.two_signals.filter(|two| condition == Condition::TwoSignals && !two.seen);
        lost.chain(two.map(|two| (two.id, None, two.since))).collect()
    }

    /// Until when the wearer wants no ring of a condition, if they do.
    pub(super) fn silent_until(&self, condition: Condition, now: Timestamp) -> Option<Timestamp> {
        let quiet = self.state.quiet.iter().find(|quiet| quiet.condition == condition);
        quiet.map(|quiet| quiet.until).filter(|until| *until > now)
    }

    /// Something waits for the end of a limited silence, and rings then. False when there is none.
    pub(super) fn wait_for_silence(&mut self, condition: Condition, now: Timestamp) -> bool {
        let running = self.state.quiet.iter_mut().find(|quiet| quiet.condition == condition && quiet.until > now);
        running.map(|quiet| quiet.withheld = true).is_some()
    }

    pub(super) fn still_beyond(&self, condition: Condition) -> Option<Active> {
        let active = self.state.active(condition).copied();
        active.filter(|active| active.is_beyond() && active.told != Told::Hidden && !active.seen)
    }

    fn plan_quiet(&mut self) {
        match self.state.quiet.iter().map(|quiet| quiet.until).min() {
            Some(until) => self.state.timers.set(Timer::Quiet, until),
            None => self.state.timers.stop(Timer::Quiet),
        }
    }

    /// What rang last, after all that keeps rings back. What only tells will not ring again, and nobody means it.
    pub(super) fn remember_rung(&mut self, decisions: &[Decision]) {
        let rung = decisions
            .iter()
            .rev()
            .find(|decision| decision.rings && decision.to.is_wearer() && longest(decision.condition).is_some());
        if let Some(decision) = rung {
            self.state.last_rung = Some(decision.condition);
        }
    }
}
