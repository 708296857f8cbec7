//! Some time of one wearer's life, as the store or a replay holds it, and what can be asked of one ring in it:
//! was it answered, did it clear at once, did it need anybody? The definitions stand in docs/burden.md.

use super::answers::{Action, Sides};
use crate::domain::glucose::Glucose;
use crate::domain::local::Hours;
use crate::domain::reading::{Reading, SourceId};
use crate::domain::time::{Span, Timestamp};
use crate::domain::travel::WallClock;
use crate::engine::effect::{Condition, Decision, Id, Side, What};
use crate::engine::policy::Levels;
use crate::engine::reason::Reason;

/// A reading later than this is not the next one.
const NEXT_WITHIN_MIN: i64 = 20;

/// What has no value and ends within this has cleared at the next reading: fleeting, our own.
const FLEETING_MIN: i64 = 10;

/// By night, what was back so soon, and stayed back so long, needed nobody: our own.
const BACK_WITHIN_MIN: i64 = 15;
const STAYED_BACK_MIN: i64 = 45;

/// Some time of one wearer's life.
#[derive(Debug, Clone, Copy)]
pub struct Story<'a> {
    /// First instant that counts.
    pub from: Timestamp,
    /// First instant that does not count any more.
    pub until: Timestamp,
    /// Decisions, oldest first. Those before `from` only say what was open then.
    pub decisions: &'a [(Timestamp, Decision)],
    /// What the wearer did, oldest first.
    pub actions: &'a [Action],
    /// Readings in the order of their measurement.
    pub readings: &'a [Reading],
    /// The wearer's clock.
    pub clock: &'a WallClock,
    /// When they sleep.
    pub night: Hours,
    /// Their limits.
    pub levels: &'a Levels,
}

/// Does it ring, and is there a way left to ring by?
pub(super) fn rings(decision: &Decision) -> bool {
    decision.rings && decision.to.is_wearer() && !matches!(decision.reason, Reason::ChannelsFail { working: 0, .. })
}

/// Does it only tell, so that there is nothing to answer?
pub(super) const fn only_tells(decision: &Decision) -> bool {
    matches!(decision.what, What::Ended)
        || matches!((decision.condition, decision.what), (Condition::Mode, What::Told))
        || decision.condition.row().only_tells
}

/// The limit that a level went beyond.
pub(super) const fn limit_in(reason: &Reason) -> Option<Glucose> {
    match reason {
        Reason::BeyondLimit { limit, .. }
        | Reason::NewEpisode { limit, .. }
        | Reason::StillBeyond { limit, .. }
        | Reason::NoLongerWorse { limit, .. } => Some(*limit),
        _ => None,
    }
}

impl Story<'_> {
    /// The first action within a span after a ring that answers it.
    pub(super) fn answer(&self, sides: &Sides, at: Timestamp, decision: &Decision, within: Span) -> Option<Span> {
        let first = self.actions.partition_point(|action| action.at < at);
        let mut after = self.actions[first..].iter().take_while(|action| action.at - at <= within);
        after.find(|action| sides.answers(action.act, decision)).map(|action| action.at - at)
    }

    fn readings_from(&self, from: Timestamp) -> &[Reading] {
        &self.readings[self.readings.partition_point(|reading| reading.measured < from)..]
    }

    /// Is the reading after the one it was raised on back inside the limit?
    pub(super) fn cleared_at_next(&self, place: usize, at: Timestamp, decision: &Decision) -> bool {
        let Some((limit, side)) = limit_in(&decision.reason).zip(decision.condition.side()) else {
            let soon = at + Span::minutes(FLEETING_MIN);
            return self.ends_by(place, decision.id, soon);
        };
        let on = decision.reading_at.unwrap_or(at);
        let about = self.readings_from(on);
        let source: Option<SourceId> = about
            .iter()
            .take_while(|reading| reading.measured == on)
            .find(|reading| Some(reading.glucose.hundredths()) == decision.glucose.map(Glucose::hundredths))
            .map(|reading| reading.source);
        about
            .iter()
            .find(|reading| reading.measured > on && source.is_none_or(|source| reading.source == source))
            .is_some_and(|next| {
                next.measured - on <= Span::minutes(NEXT_WITHIN_MIN) && !side.is_beyond(next.glucose, limit)
            })
    }

    fn ends_by(&self, place: usize, id: Id, soon: Timestamp) -> bool {
        let mut after = self.decisions[place..].iter().take_while(|(at, _)| *at <= soon);
        after.any(|(_, later)| later.what == What::Ended && later.id == id)
    }

    /// Did a ring by night need nobody?
    pub(super) fn needless(&self, place: usize, at: Timestamp, decision: &Decision) -> bool {
        if only_tells(decision) {
            return true;
        }
        let soon = at + Span::minutes(BACK_WITHIN_MIN);
        let first = self.actions.partition_point(|action| action.at < at);
        if self.actions.get(first).is_some_and(|action| action.at <= soon) {
            return false;
        }
        match decision.condition.side() {
            Some(side) => {
                // Back from a caution is back above the limit that it rang for.
                let caution = limit_in(&decision.reason).filter(|_| decision.condition == Condition::Caution);
                let limit = caution.unwrap_or(match side {
                    Side::Low => self.levels.low.limit,
                    Side::High => self.levels.high.limit,
                });
                self.came_back_by_itself((side, limit), decision.reading_at.unwrap_or(at), at, soon)
            }
            None => decision.id != Id(0) && self.ends_by(place, decision.id, soon),
        }
    }

    /// Back within range soon, not only within a worse limit, and no reading out of range for a while.
    fn came_back_by_itself(
        &self,
        (side, limit): (Side, Glucose),
        on: Timestamp,
        at: Timestamp,
        soon: Timestamp,
    ) -> bool {
        let end = at + Span::minutes(STAYED_BACK_MIN);
        let mut after =
            self.readings_from(on).iter().filter(|reading| reading.measured > on && reading.measured <= end);
        after
            .by_ref()
            .find(|reading| !side.is_beyond(reading.glucose, limit))
            .is_some_and(|back| back.measured <= soon && after.all(|reading| !side.is_beyond(reading.glucose, limit)))
    }
}
