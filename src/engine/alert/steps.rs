//! What happens when nobody answers, as data: for each priority, by day and by night, steps one after another. Counts
//! them; whom a step reaches and what is said is for others.

use crate::domain::local::Stretch;
use crate::domain::time::{Span, Timestamp};
use crate::engine::effect::{Condition, Priority};
use crate::engine::reason::Reason;
use serde::{Deserialize, Serialize};

/// When an alert that nobody answers rings again, and when others are called.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct EscalationPolicy {
    /// A very low, from its ring, and a low from when it became as grave.
    pub high: StepsPolicy,
    /// A silence after a low or falling value, a source or a way that fails, two signals.
    pub medium: StepsPolicy,
    /// Any other silence.
    pub low: StepsPolicy,
    /// What is told once.
    pub information: StepsPolicy,
    /// An emergency of ketones, by day and by night: the second person is called when it rings.
    pub ketones: StepsPolicy,
    /// A low that is still low and unanswered becomes as grave as a very low.
    pub low_unanswered: Span,
    /// ... and one that was answered and stays.
    pub low_answered: Span,
    /// A very low that was answered, stays and does not rise: the second person is called.
    pub not_recovering: Span,
    /// By night a silence rings after this; after a low or falling value others are called.
    pub gap_by_night: Span,
}

/// The steps for alerts of one priority.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct StepsPolicy {
    /// By day, each later than the one before it.
    pub by_day: Vec<StepPolicy>,
    /// By night.
    pub by_night: Vec<StepPolicy>,
    /// After the last of them that must be confirmed it goes on so often.
    pub every: Span,
}

/// One step.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct StepPolicy {
    /// So long after the ring that nobody answered.
    pub after: Span,
    /// Who is reached. The wearer is rung whoever is called.
    pub to: Whom,
    /// By which of their ways.
    pub ways: Ways,
    /// Must somebody answer? If not, it is made once, and nothing follows from its going unanswered.
    pub confirmed: bool,
}

/// Who is reached by a step.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Whom {
    /// The wearer alone.
    Wearer,
    /// And the first of the people in the settings who may be called at this hour.
    Second,
    /// And the next of them.
    Third,
}

/// How insistent a step is.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Ways {
    /// By the ways of a first ring.
    Usual,
    /// And by those that are kept for later.
    #[default]
    All,
}

/// One step of a chain, the gravest last.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Step {
    /// A low nobody answered becomes high priority.
    Promote,
    /// It rings again, and by the ways kept for later.
    Repeat,
    /// And again, and again.
    Again,
    /// The second person is called.
    Second,
    /// The third.
    Third,
}

/// What falls due.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::engine) enum Due {
    /// A step.
    Step(StepPolicy),
    /// The last one once more.
    Again,
}

impl Due {
    /// The word for it.
    pub(in crate::engine) const fn step(self) -> Step {
        match self {
            Self::Again => Step::Again,
            Self::Step(step) => match step.to {
                Whom::Wearer => Step::Repeat,
                Whom::Second => Step::Second,
                Whom::Third => Step::Third,
            },
        }
    }

    /// By which ways.
    pub(in crate::engine) const fn ways(self) -> Ways {
        match self {
            Self::Again => Ways::All,
            Self::Step(step) => step.ways,
        }
    }
}

/// How far the steps have been made for one alert.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Made {
    /// Whom each step that was made reached.
    pub(in crate::engine) steps: Vec<Whom>,
    /// Who was called by them.
    pub(in crate::engine) people: Vec<u8>,
    /// When it last rang for want of an answer.
    pub(in crate::engine) last: Option<Timestamp>,
}

impl Made {
    /// The steps of a list that are still to be made. The second call to somebody is the second in any list: day and
    /// night may differ, and so may settings that change meanwhile.
    pub(in crate::engine) fn left<'a>(
        &self,
        steps: &'a [StepPolicy],
    ) -> impl Iterator<Item = &'a StepPolicy> + use<'a> {
        let mut made = self.steps.clone();
        steps.iter().filter(move |step| match made.iter().position(|whom| *whom == step.to) {
            Some(place) => {
                made.swap_remove(place);
                false
            }
            None => true,
        })
    }

    /// The steps still to be made for an alert that rang at `start`, with when they are due, and what goes on after
    /// the last that must be confirmed.
    pub(in crate::engine) fn ahead(
        &self,
        policy: &StepsPolicy,
        night: bool,
        start: Timestamp,
    ) -> Vec<(Timestamp, Due)> {
        let steps = policy.steps(night);
        let mut ahead: Vec<(Timestamp, Due)> =
            self.left(steps).map(|step| (start + step.after, Due::Step(*step))).collect();
        if let Some(last) = steps.iter().rfind(|step| step.confirmed) {
            let last = start + last.after;
            let again = self.last.map_or(last, |again| again.max(last)) + policy.every;
            ahead.push((again, Due::Again));
        }
        ahead
    }

    /// These were made.
    pub(in crate::engine) fn note(&mut self, due: &[Due], now: Timestamp) {
        self.steps.extend(due.iter().filter_map(|due| match due {
            Due::Step(step) => Some(step.to),
            Due::Again => None,
        }));
        self.last = Some(now);
    }

    /// Is whoever was called by such a step called once more when it goes on?
    pub(in crate::engine) fn goes_on_calling(&self, whom: Whom, steps: &[StepPolicy]) -> bool {
        self.steps.contains(&whom) && steps.iter().any(|step| step.to == whom && step.confirmed)
    }

    /// The people of the settings have other places.
    pub(in crate::engine) fn move_people(&mut self, to: &impl Fn(u8) -> Option<u8>) {
        self.people = self.people.iter().filter_map(|person| to(*person)).collect();
    }

    /// The clock was set: every span keeps its length.
    pub(in crate::engine) fn shift(&mut self, by: Span) {
        self.last = self.last.map(|last| last + by);
    }
}

impl StepsPolicy {
    /// Nothing happens.
    #[must_use]
    pub const fn none(every: Span) -> Self {
        Self { by_day: Vec::new(), by_night: Vec::new(), every }
    }

    /// Those of the day, or of the night.
    #[must_use]
    pub fn steps(&self, night: bool) -> &[StepPolicy] {
        if night { &self.by_night } else { &self.by_day }
    }

    /// Is there no step at all?
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.by_day.is_empty() && self.by_night.is_empty()
    }
}

impl EscalationPolicy {
    /// The steps for alerts of a priority.
    #[must_use]
    pub const fn of(&self, priority: Priority) -> &StepsPolicy {
        match priority {
            Priority::High => &self.high,
            Priority::Medium => &self.medium,
            Priority::Low => &self.low,
            Priority::Information => &self.information,
        }
    }

    /// The steps for calls about a condition.
    #[must_use]
    pub fn of_calls(&self, condition: Condition, priority: Priority) -> &StepsPolicy {
        if condition == Condition::Ketones { &self.ketones } else { self.of(priority) }
    }
}

impl Default for EscalationPolicy {
    /// With a second person watching, all night alarms of a camp trial were answered against 54 % (PMID
    /// 24168317, seen as an abstract); the first alarm of a night wakes more than later ones (PMID 15929675,
    /// the same), so a repeat comes by more ways. No trial of the spans themselves was found: they are ours.
    fn default() -> Self {
        let step = |after, to| StepPolicy { after: Span::minutes(after), to, ways: Ways::All, confirmed: true };
        // Rings every quarter of an hour; who is called besides, and when again, is ours.
        let ketones = || vec![step(0, Whom::Second), step(15, Whom::Wearer), step(30, Whom::Third)];
        let high = |second| vec![step(5, Whom::Wearer), step(second, Whom::Second), step(25, Whom::Third)];
        Self {
            high: StepsPolicy { by_day: high(15), by_night: high(10), every: Span::minutes(10) },
            medium: StepsPolicy { by_day: vec![step(30, Whom::Wearer)], ..StepsPolicy::none(Span::hours(4)) },
            low: StepsPolicy::none(Span::hours(4)),
            information: StepsPolicy::none(Span::hours(4)),
            ketones: StepsPolicy { by_day: ketones(), by_night: ketones(), every: Span::minutes(15) },
            low_unanswered: Span::minutes(15),
            low_answered: Span::minutes(30),
            not_recovering: Span::minutes(15),
            gap_by_night: Span::minutes(45),
        }
    }
}

impl Reason {
    /// By which ways of those it reaches: by all, where a step does not say otherwise.
    #[must_use]
    pub const fn ways(&self) -> Ways {
        match self {
            Self::Unanswered { ways, .. } | Self::StillUnanswered { ways, .. } => *ways,
            _ => Ways::All,
        }
    }

    /// What rang first, where this is about its going unanswered.
    #[must_use]
    pub fn first(&self) -> &Self {
        match self {
            Self::StillUnanswered { of, .. } => of,
            other => other,
        }
    }
}

/// When something is due next. By day and by night steps may differ: what is not due before the one becomes the other
/// is due by the other's, and at once where it is overdue by them.
pub(in crate::engine) fn next<T>(night: Stretch, ahead: impl Fn(bool) -> Vec<(Timestamp, T)>) -> Option<Timestamp> {
    let first = |inside| ahead(inside).into_iter().map(|(at, _)| at).min();
    match (first(night.inside), first(!night.inside)) {
        (Some(at), _) if at < night.until => Some(at),
        (_, Some(at)) => Some(at.max(night.until)),
        (Some(_), None) => Some(night.until),
        (None, None) => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn step(after: i64, to: Whom, confirmed: bool) -> StepPolicy {
        StepPolicy { after: Span::minutes(after), to, ways: Ways::All, confirmed }
    }

    fn minutes(ahead: &[(Timestamp, Due)]) -> Vec<i64> {
        ahead.iter().map(|(at, _)| at.seconds() / 60).collect()
    }

    #[test]
    fn what_goes_on_counts_from_the_last_step_that_must_be_confirmed() {
        let by_day = vec![step(5, Whom::Wearer, true), step(15, Whom::Second, true), step(25, Whom::Third, false)];
        let steps = StepsPolicy { by_day, ..StepsPolicy::none(Span::minutes(10)) };
        let start = Timestamp::from_seconds(0);
        let mut made = Made::default();
        assert_eq!(minutes(&made.ahead(&steps, false, start)), [5, 15, 25, 25]);
        made.note(&[Due::Step(steps.by_day[0]), Due::Step(steps.by_day[1])], start + Span::minutes(20));
        assert_eq!(minutes(&made.ahead(&steps, false, start)), [25, 30]);
        assert!(made.ahead(&steps, true, start).is_empty(), "there are none by night");
    }

    #[test]
    fn steps_that_need_no_answer_are_made_once_and_end() {
        let steps = StepsPolicy { by_night: vec![step(30, Whom::Wearer, false)], ..StepsPolicy::none(Span::hours(4)) };
        let start = Timestamp::from_seconds(0);
        let mut made = Made::default();
        made.note(&[Due::Step(steps.by_night[0])], start + Span::minutes(30));
        assert!(made.ahead(&steps, true, start).is_empty());
    }

    #[test]
    fn a_call_made_by_day_is_not_made_again_when_the_night_begins() {
        let EscalationPolicy { high, .. } = EscalationPolicy::default();
        let mut made = Made::default();
        let start = Timestamp::from_seconds(0);
        made.note(&[Due::Step(high.by_day[0]), Due::Step(high.by_day[1])], start + Span::minutes(15));
        assert_eq!(minutes(&made.ahead(&high, true, start)), [25, 35]);
    }
}
