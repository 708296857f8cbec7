//! One alert for one lost source, whatever the cause: its silence, a file that cannot be read, a folder that is gone.
//! Of several sources lost in the same minute the first speaks for the others, until its own readings come again.

use super::Engine;
use super::alert::priority;
use super::alert::{Alert, Because, Detail, Standing};
use super::effect::{Condition, Id, Priority, What};
use super::plan::Job;
use super::policy::Policy;
use super::reason::Reason;
use super::turn::Turn;
use crate::domain::reading::SourceId;
use crate::domain::time::{Span, Timestamp};

/// Sources that are lost within this have one cause: a disk that is gone, a phone without power. Our own.
const ONE_CAUSE_SECONDS: i64 = 60;

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
        self.state.plan.stop(Job::Gap(source));
        turn.judged = self.latest_of(source);
        let lost = Alert {
            id,
            part_of: None,
            condition,
            since,
            standing: Standing::Unacknowledged,
            told_at: None,
            detail: Detail::Lost { source },
        };
        self.tell_lost(turn, source, lost, What::Raised, reason);
    }

    pub(super) fn fail(&mut self, turn: &mut Turn, source: SourceId, since: Timestamp, reason: Reason) {
        match self.state.register.lost(source).copied() {
            // Silent already: the cause is news, the silence is not. It takes over the alert's number.
            Some(mut lost) if lost.condition == Condition::Gap => {
                lost.condition = Condition::SourceFailed;
                lost.take_back_answer();
                self.tell_lost(turn, source, lost, What::Repeated, reason);
            }
            Some(_) => {}
            None => self.lose(turn, source, Condition::SourceFailed, since, reason),
        }
    }

    /// Rings for a lost source, unless the alert of another speaks for it.
    fn tell_lost(&mut self, turn: &mut Turn, source: SourceId, mut lost: Alert, what: What, reason: Reason) {
        let Alert { id, condition, told_at: before, .. } = lost;
        let priority = priority::of(condition, &reason, turn.judged, turn.very_high);
        lost.part_of = self.speaks_for(turn, source, condition, priority);
        lost.told_as(lost.part_of.map(|_| Because::SpokenFor));
        if lost.part_of.is_none() {
            lost.told_at = Some(turn.now);
        }
        self.state.register.replace(lost);
        turn.tell(what, condition, id, lost.part_of, reason, lost.part_of.is_none());
        match lost.part_of {
            Some(first) => turn.tell(What::Withheld, condition, id, Some(first), Reason::OneCause { first }, false),
            None if before.is_none() => self.plan_gap_call(turn, source),
            // That the cause is known by now changes nothing about the call.
            None => {}
        }
    }

    /// The alert of another source that was lost a moment ago in the same way, and is no less grave.
    fn speaks_for(&self, turn: &Turn, source: SourceId, condition: Condition, priority: Priority) -> Option<Id> {
        let speaks = |lost: &&Alert| {
            lost.condition == condition
                && lost.source() != Some(source)
                && !lost.is_acknowledged()
                && !lost.is_spoken_for()
        };
        let found = self.state.register.open().filter(speaks).filter_map(|lost| {
            let ago = turn.now - lost.told_at?;
            let state = self.state.sources.get(usize::from(lost.source()?.0))?;
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
        if !self.state.register.is_anything_lost() {
            return;
        }
        let left_alone = |lost: &&Alert| lost.part_of.is_some_and(|first| !self.is_lost(first));
        let waits = self.state.register.open().filter(left_alone).filter_map(Alert::source);
        for source in waits.collect::<Vec<SourceId>>() {
            if self.state.plan.due(Job::Gap(source)).is_none() {
                self.state.plan.set(Job::Gap(source), now + self.policy.gap.after_low);
            }
        }
    }

    fn is_lost(&self, id: Id) -> bool {
        self.state.register.get(id).is_some_and(|alert| alert.source().is_some())
    }

    /// The first source came back, and this one did not.
    pub(super) fn speak_after_first(&mut self, turn: &mut Turn, source: SourceId, lost: Alert) {
        if lost.is_acknowledged() || lost.part_of.is_none_or(|first| self.is_lost(first)) {
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
            self.state.plan.set(Job::GapCall(source), due);
        }
    }
}
