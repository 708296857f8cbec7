//! One alert for one lost source, whatever the cause: its silence, a file that cannot be read, a folder that is gone.
//! Of several sources lost in the same minute the first speaks for the others, until its own readings come again.

use super::Engine;
use super::effect::{Condition, Id, Priority, What};
use super::policy::Policy;
use super::priority;
use super::reason::Reason;
use super::source::SourceState;
use super::timers::Timer;
use super::turn::Turn;
use crate::domain::reading::SourceId;
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// Sources that are lost within this have one cause: a disk that is gone, a phone without power. Our own.
const ONE_CAUSE_SECONDS: i64 = 60;

/// The one alert of a lost source.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct LostSource {
    /// Its number.
    pub id: Id,
    /// Gap, or source failed.
    pub condition: Condition,
    /// Since when.
    pub since: Timestamp,
    /// Marked as seen.
    pub seen: bool,
    /// When the wearer was last told.
    #[serde(default)]
    pub told_at: Option<Timestamp>,
    /// The alert of another source that was lost in the same minute, and speaks for this one.
    #[serde(default)]
    pub part_of: Option<Id>,
}

impl LostSource {
    /// Has another source's alert spoken for it so far?
    #[must_use]
    pub fn is_spoken_for(&self) -> bool {
        self.part_of.is_some()
    }
}

impl Engine {
    pub(super) fn lose(
        &mut self,
        turn: &mut Turn,
        source: SourceId,
        condition: Condition,
        since: Timestamp,
        reason: Reason,
    ) {
        self.end_trust_in(turn, source);
        let id = self.take_id();
        self.state.timers.stop(Timer::Gap(source));
        turn.judged = self.latest_of(source);
        let lost = LostSource { id, condition, since, seen: false, told_at: None, part_of: None };
        self.tell_lost(turn, source, lost, What::Raised, reason);
    }

    pub(super) fn fail(&mut self, turn: &mut Turn, source: SourceId, since: Timestamp, reason: Reason) {
        match self.source(source).lost {
            // Silent already: the cause is news, the silence is not. It takes over the alert's number.
            Some(lost @ LostSource { condition: Condition::Gap, .. }) => {
                let lost = LostSource { condition: Condition::SourceFailed, seen: false, ..lost };
                self.tell_lost(turn, source, lost, What::Repeated, reason);
            }
            Some(_) => {}
            None => self.lose(turn, source, Condition::SourceFailed, since, reason),
        }
    }

    /// Rings for a lost source, unless the alert of another speaks for it.
    fn tell_lost(&mut self, turn: &mut Turn, source: SourceId, lost: LostSource, what: What, reason: Reason) {
        let LostSource { id, condition, .. } = lost;
        let priority = priority::of(condition, &reason, turn.judged, turn.very_high);
        let part_of = self.speaks_for(turn, source, condition, priority);
        let told_at = part_of.map_or(Some(turn.now), |_| lost.told_at);
        self.source(source).lost = Some(LostSource { told_at, part_of, ..lost });
        turn.tell(what, condition, id, part_of, reason, part_of.is_none());
        match part_of {
            Some(first) => turn.tell(What::Withheld, condition, id, part_of, Reason::OneCause { first }, false),
            None if lost.told_at.is_none() => self.plan_gap_call(turn, source),
            // That the cause is known by now changes nothing about the call.
            None => {}
        }
    }

    /// The alert of another source that was lost a moment ago in the same way, and is no less grave.
    fn speaks_for(&self, turn: &Turn, source: SourceId, condition: Condition, priority: Priority) -> Option<Id> {
        let others = self.state.sources.iter().zip(0..).filter(|(_, number)| SourceId(*number) != source);
        let found = others.filter_map(|(state, _)| {
            let lost = state.lost.filter(|lost| lost.condition == condition && !lost.seen && !lost.is_spoken_for())?;
            let ago = turn.now - lost.told_at?;
            let reason = Reason::NothingReached { since: None, grave: state.grave };
            let as_grave = priority::of(condition, &reason, None, turn.very_high) >= priority;
            let just_now = ago >= Span::ZERO && ago <= Span::seconds(ONE_CAUSE_SECONDS);
            (as_grave && just_now).then_some(lost.id)
        });
        found.min()
    }

    /// After a turn: where the source that spoke for others gives readings again, these are given the time to do so
    /// too, and then speak for themselves.
    pub(super) fn wait_after_first(&mut self, now: Timestamp) {
        if self.state.sources.iter().all(|source| source.lost.is_none()) {
            return;
        }
        let left_alone = |state: &SourceState| {
            let first = state.lost.and_then(|lost| lost.part_of);
            first.is_some_and(|first| !self.is_lost(first))
        };
        let waits = self.state.sources.iter().zip(0..).filter(|(state, _)| left_alone(state));
        let waits: Vec<SourceId> = waits.map(|(_, number)| SourceId(number)).collect();
        for source in waits {
            if self.state.timers.due(Timer::Gap(source)).is_none() {
                self.state.timers.set(Timer::Gap(source), now + self.policy.gap.after_low);
            }
        }
    }

    fn is_lost(&self, id: Id) -> bool {
        self.state.sources.iter().any(|source| source.lost.is_some_and(|lost| lost.id == id))
    }

    /// The first source came back, and this one did not.
    pub(super) fn speak_after_first(&mut self, turn: &mut Turn, source: SourceId, lost: LostSource) {
        if lost.seen || lost.part_of.is_none_or(|first| self.is_lost(first)) {
            return;
        }
        let state = self.source(source);
        let reason = Reason::NothingReached { since: state.newest, grave: state.grave };
        turn.judged = self.latest_of(source);
        self.tell_lost(turn, source, lost, What::Repeated, reason);
    }

    /// A silence after a low or falling value that lasts into the night calls others if nobody answers, whatever its
    /// cause.
    fn plan_gap_call(&mut self, turn: &Turn, source: SourceId) {
        let Policy { night, zone, .. } = self.policy;
        let by_night = self.policy.escalation.gap_by_night;
        let state = self.source(source);
        let due = state.newest.filter(|_| state.grave).map(|newest| (newest + by_night).max(turn.now));
        if let Some(due) = due.filter(|due| night.stretch(zone, *due).inside) {
            self.state.timers.set(Timer::GapCall(source), due);
        }
    }
}
