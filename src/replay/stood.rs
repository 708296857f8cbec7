//! Which alerts stood when: what an answer meant is found again where other settings gave other numbers.

use crate::domain::time::Timestamp;
use crate::engine::effect::{Condition, Decision, Id, What};
use std::collections::BTreeMap;

/// An alert, a re-check or a reminder, from the first word of it to its end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Alert {
    condition: Condition,
    since: Timestamp,
    ended: Option<Timestamp>,
}

/// All that there were, by their numbers. An engine that began anew gives numbers again.
#[derive(Debug, Clone, Default)]
pub(super) struct Stood(BTreeMap<Id, Vec<Alert>>);

impl Stood {
    /// Those of some decisions, in the order they were made.
    pub(super) fn of(decisions: &[(Timestamp, Decision)]) -> Self {
        let mut stood = Self::default();
        for (at, decision) in decisions {
            stood.take_in(*at, decision);
        }
        stood
    }

    /// Takes in a decision.
    pub(super) fn take_in(&mut self, at: Timestamp, decision: &Decision) {
        // What answers the wearer about an alert bears its number, and is no alert.
        if decision.id == Id(0) || decision.condition == Condition::Diary {
            return;
        }
        let of_it = self.0.entry(decision.id).or_default();
        let known = of_it.last_mut().filter(|alert| {
            let is_other = alert.ended.is_some() || alert.condition != decision.condition;
            !(decision.what == What::Raised && is_other)
        });
        let ended = (decision.what == What::Ended).then_some(at);
        match known {
            Some(alert) => alert.ended = ended.or(alert.ended),
            None => of_it.push(Alert { condition: decision.condition, since: at, ended }),
        }
    }

    /// What had a number at a time, or has had since.
    pub(super) fn get(&self, id: Id, at: Timestamp) -> Option<Alert> {
        let of_it = self.0.get(&id)?;
        of_it.iter().rev().find(|alert| alert.since <= at).or_else(|| of_it.first()).copied()
    }

    /// The alert that stands in the place of another: of the same condition, or else of the same side of the range,
    /// open at the same time, and of several the one raised nearest to it.
    pub(super) fn in_place_of(&self, id: Id, other: Alert, now: Timestamp) -> Option<Id> {
        // Where the clock was set back one may have begun after now.
        let overlaps = |alert: &Alert| {
            alert.since == other.since
                || alert.since <= other.ended.unwrap_or(now) && other.since <= alert.ended.unwrap_or(now)
        };
        // What is there and what is only likely do not stand for each other.
        let is_likely = |condition: Condition| condition.foreseen().is_some();
        let is_kin = |alert: &Alert| {
            alert.condition == other.condition
                || is_likely(alert.condition) == is_likely(other.condition)
                    && alert.condition.side().is_some_and(|side| other.condition.side() == Some(side))
        };
        let all = self.0.iter().flat_map(|(id, of_it)| of_it.iter().map(move |alert| (*id, alert)));
        let candidates = all.filter(|(_, alert)| overlaps(alert) && is_kin(alert));
        let nearest = candidates.min_by_key(|(candidate, alert)| {
            let apart = (alert.since - other.since).as_millis().abs();
            (alert.condition != other.condition, apart, *candidate != id)
        });
        nearest.map(|(id, _)| id)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stood(alerts: &[(u64, Condition, i64, Option<i64>)]) -> Stood {
        let at = |minute: i64| Timestamp::from_seconds(minute * 60);
        let alert = |(id, condition, since, ended): &(u64, Condition, i64, Option<i64>)| {
            (Id(*id), vec![Alert { condition: *condition, since: at(*since), ended: ended.map(at) }])
        };
        Stood(alerts.iter().map(alert).collect())
    }

    #[test]
    fn an_alert_is_found_by_what_it_is_about_and_when_it_stood() {
        let then = stood(&[(7, Condition::Low, 100, Some(140))]);
        let low = then.get(Id(7), Timestamp::from_seconds(200 * 60)).unwrap();
        let found = |now: &[(u64, Condition, i64, Option<i64>)]| {
            stood(now).in_place_of(Id(7), low, Timestamp::from_seconds(200 * 60)).map(|Id(id)| id)
        };
        assert_eq!(found(&[]), None);
        assert_eq!(found(&[(1, Condition::Low, 10, Some(99)), (2, Condition::Low, 141, None)]), None);
        assert_eq!(found(&[(1, Condition::Low, 10, Some(100)), (2, Condition::Low, 105, None)]), Some(2));
        assert_eq!(found(&[(3, Condition::High, 100, None)]), None);
        assert_eq!(found(&[(3, Condition::ForecastLow, 100, None)]), None);
        assert_eq!(found(&[(3, Condition::VeryLow, 120, None)]), Some(3));
        assert_eq!(found(&[(3, Condition::VeryLow, 100, None), (4, Condition::Low, 138, None)]), Some(4));
        assert_eq!(found(&[(6, Condition::Low, 100, None), (7, Condition::Low, 100, None)]), Some(7));
    }
}
