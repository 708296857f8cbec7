//! Limited silence: one condition does not ring for a while. It stays visible, it ends by itself, it never
//! touches another condition, and what is graver breaks through.

use super::{Alert, Detail};
use crate::domain::time::{Span, Timestamp};
use crate::engine::Engine;
use crate::engine::effect::{Condition, Decision, Id, Priority, Side, What};
use crate::engine::plan::Job;
use crate::engine::reason::Reason;
use crate::engine::turn::{Judged, Turn};
use serde::{Deserialize, Serialize};

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

impl Quiet {
    /// The clock was set: every span keeps its length.
    pub(in crate::engine) fn shift(&mut self, by: Span) {
        self.until = self.until + by;
        self.began = self.began.map(|began| began + by);
    }
}

impl Engine {
    /// The wearer wants no ring for a while: of one condition, or of what rang last.
    pub(in crate::engine) fn quiet(&mut self, turn: &mut Turn, span: Span, condition: Option<Condition>) {
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
    pub(in crate::engine) fn begin_quiet(
        &mut self,
        now: Timestamp,
        condition: Condition,
        span: Span,
        most: Span,
    ) -> Timestamp {
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
        let most = condition.mute_longest()?;
        Some(self.policy.quiet_longest.get(&condition).map_or(most, |set| most.min(*set)))
    }

    /// All that was quiet rings again from now on, and at once if it was withheld and still stands.
    pub(in crate::engine) fn quiet_off(&mut self, turn: &mut Turn) {
        let ended = std::mem::take(&mut self.state.quiet);
        self.state.plan.stop(Job::Unmute);
        let conditions = ended.iter().map(|quiet| quiet.condition).collect();
        turn.tell(What::Answer, Condition::Diary, Id(0), None, Reason::QuietOff { conditions }, false);
        self.ring_withheld(turn, &ended);
        self.check_withheld(turn.now, &ended);
        self.plan_digest(turn);
    }

    /// After a turn's decisions: those of a quiet condition do not ring. What is of high priority rings, unless
    /// very low itself was named; and even then it rings when it begins.
    pub(in crate::engine) fn keep_quiet(&mut self, turn: &mut Turn) {
        if self.state.quiet.is_empty() {
            return;
        }
        let mut withheld = Vec::new();
        for decision in turn.out.iter_mut().filter(|decision| decision.rings && decision.to.is_wearer()) {
            let begins = decision.what == What::Raised || matches!(decision.reason, Reason::NewEpisode { .. });
            // A question about a high that stays comes after what keeps rings back; one that waited a moment goes by that too.
            let stays = matches!(decision.reason, Reason::HighStays(_));
            let graver =
                stays || decision.priority == Priority::High && (decision.condition != Condition::VeryLow || begins);
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
    pub(in crate::engine) fn quiet_is_over(&mut self, turn: &mut Turn) {
        let (over, rest): (Vec<Quiet>, Vec<Quiet>) = self.state.quiet.iter().partition(|quiet| quiet.until <= turn.now);
        self.state.quiet = rest;
        self.plan_quiet();
        self.ring_withheld(turn, &over);
        self.check_withheld(turn.now, &over);
    }

    /// A check that a mute silenced is made when that is over, and says what is true then.
    fn check_withheld(&mut self, now: Timestamp, over: &[Quiet]) {
        for Quiet { condition, .. } in over.iter().filter(|quiet| quiet.withheld) {
            let job = match condition {
                Condition::RecheckHigh => Job::HighCheck,
                Condition::RecheckLow => Job::LowCheck,
                _ => continue,
            };
            // One that is due before the catch-up after a sleep waits for it.
            if self.state.plan.due(job).is_some_and(|due| due > now) {
                self.state.plan.set(job, now);
            }
        }
    }

    /// A check with a meter at that time was none: what is quiet for it rings.
    pub(in crate::engine) fn end_quiet_of_meter(&mut self, turn: &mut Turn, measured: Timestamp) {
        let is_of_it = |quiet: &Quiet| quiet.until == measured + Span::minutes(crate::engine::meter::SAME_TIME_MIN);
        let (over, rest): (Vec<Quiet>, Vec<Quiet>) = self.state.quiet.iter().partition(|quiet| is_of_it(quiet));
        self.state.quiet = rest;
        self.plan_quiet();
        self.ring_withheld(turn, &over);
    }

    fn ring_withheld(&self, turn: &mut Turn, over: &[Quiet]) {
        turn.judged = self.latest(turn.now);
        for Quiet { condition, .. } in over.iter().filter(|quiet| quiet.withheld) {
            for alert in
                self.state.register.open().filter(|alert| alert.condition == *condition && rings_after_mute(alert))
            {
                let Alert { id, part_of, since, .. } = *alert;
                let unseen = condition.side().is_some() || alert.source().is_some();
                if unseen && self.waits_without_signal(turn).is_some() {
                    continue;
                }
                let checked = |judged: Judged| self.check_speaks(turn.now, judged.glucose).is_some();
                let followed = condition.side() == Some(Side::High) && turn.judged.is_some_and(checked);
                if followed || turn.out.iter().any(|told| told.rings && told.to.is_wearer() && told.id == id) {
                    continue;
                }
                // Of two signals both values are said, as they are now.
                let reason = match alert.two_signals() {
                    Some((lower, higher)) => Reason::TwoSignals { lower, higher, since },
                    None => Reason::QuietOver { since },
                };
                turn.tell(What::Repeated, *condition, id, part_of, reason, true);
            }
        }
    }

    /// Until when the wearer wants no ring of a condition, if they do.
    pub(in crate::engine) fn silent_until(&self, condition: Condition, now: Timestamp) -> Option<Timestamp> {
        let quiet = self.state.quiet.iter().find(|quiet| quiet.condition == condition);
        quiet.map(|quiet| quiet.until).filter(|until| *until > now)
    }

    /// Something waits for the end of a limited silence, and rings then. False when there is none.
    pub(in crate::engine) fn wait_for_silence(&mut self, condition: Condition, now: Timestamp) -> bool {
        let running = self.state.quiet.iter_mut().find(|quiet| quiet.condition == condition && quiet.until > now);
        running.map(|quiet| quiet.withheld = true).is_some()
    }

    fn plan_quiet(&mut self) {
        match self.state.quiet.iter().map(|quiet| quiet.until).min() {
            Some(until) => self.state.plan.set(Job::Unmute, until),
            None => self.state.plan.stop(Job::Unmute),
        }
    }

    /// What rang last, after all that keeps rings back. What only tells will not ring again, and nobody means it.
    pub(in crate::engine) fn remember_rung(&mut self, decisions: &[Decision]) {
        let rung = decisions
            .iter()
            .rev()
            .find(|decision| decision.rings && decision.to.is_wearer() && decision.condition.mute_longest().is_some());
        if let Some(decision) = rung {
            self.state.last_rung = Some(decision.condition);
        }
    }
}

/// What was kept back by a mute that is over rings, if nobody has answered it; a forecast is told when it is made, and
/// of ways that fail nothing is muted.
fn rings_after_mute(alert: &Alert) -> bool {
    let is_told_now = matches!(alert.detail, Detail::Level(_) | Detail::TwoSignals { .. } | Detail::Lost { .. });
    is_told_now && alert.still_stands() && !alert.is_spoken_for()
}
