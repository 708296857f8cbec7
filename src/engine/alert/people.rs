//! Others beside the wearer: who may be called at this hour, who is told of alerts at their first ring, and who says
//! that they have it. What they are told in words is for others.

use super::condition::Topic;
use super::steps::{Due, Made, StepsPolicy, Ways, Whom};
use crate::domain::local::Zone;
use crate::domain::schedule::Schedule;
use crate::domain::time::{Span, Timestamp};
use crate::engine::Engine;
use crate::engine::effect::{Audience, Condition, Decision, Id, Side, What};
use crate::engine::mode::profile::Profile;
use crate::engine::policy::{PEOPLE_MAX, Policy};
use crate::engine::reason::Reason;
use crate::engine::turn::Turn;
use serde::{Deserialize, Serialize};

/// Nobody is called twice within this: two steps, or a step and a silence, may fall on the same person.
const NOT_AGAIN_MIN: i64 = 5;

/// The places of all people there can be.
const EVERYBODY: [u8; PEOPLE_MAX] = [0, 1, 2, 3, 4, 5];

/// Somebody beside the wearer.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PersonPolicy {
    /// Their name in the settings.
    pub name: String,
    /// Hours of the week in which they may be reached; always when none.
    pub hours: Option<Schedule>,
    /// When they are told.
    #[serde(default)]
    pub line: Line,
    /// What they are told of at its first ring, where they are told then.
    #[serde(default)]
    pub tells: Tells,
}

/// When somebody is told.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Line {
    /// Of an alert when it rings, and when they are called.
    First,
    /// Only when they are called.
    #[default]
    Escalation,
}

/// What somebody is told of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Tells {
    /// Low and very low.
    pub lows: bool,
    /// High and very high.
    pub highs: bool,
    /// Silences, and sources that cannot be read.
    pub gaps: bool,
}

impl Default for Tells {
    fn default() -> Self {
        Self { lows: true, highs: false, gaps: false }
    }
}

impl Tells {
    /// Does it hold alerts of that condition?
    #[must_use]
    pub const fn holds(self, condition: Condition) -> bool {
        match condition.row().topic {
            Some(Topic::Lows) => self.lows,
            Some(Topic::Highs) => self.highs,
            Some(Topic::Gaps) => self.gaps,
            None => false,
        }
    }
}

impl PersonPolicy {
    /// May they be reached now?
    #[must_use]
    pub fn may_be_reached(&self, zone: Zone, now: Timestamp) -> bool {
        self.hours.as_ref().is_none_or(|hours| hours.stretch(zone, now).inside)
    }

    /// The name as it stands in texts: `[person.sam]` is Sam.
    #[must_use]
    pub fn shown(&self) -> String {
        let mut letters = self.name.chars();
        letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
    }
}

/// What is told to others: of which condition, by its number and that of the alert it is part of.
pub(in crate::engine) type About = (Condition, Id, Option<Id>);

/// When somebody answered, and who, if it was not the wearer.
#[derive(Debug, Clone, Copy)]
pub(in crate::engine) struct Answer<'a> {
    pub(in crate::engine) at: Timestamp,
    pub(in crate::engine) by: Option<&'a String>,
}

impl Answer<'_> {
    pub(in crate::engine) fn reason(self) -> Reason {
        Reason::Answered { at: self.at, by: self.by.cloned() }
    }
}

impl Engine {
    /// Whom a step reaches beside the wearer: the second person is the first who may be called at this hour, the
    /// third is the next who has not been called yet, or else simply the next.
    pub(in crate::engine) fn person(&self, whom: Whom, called: &[u8], now: Timestamp) -> Option<u8> {
        let reachable: Vec<u8> = self.reachable(now).collect();
        match whom {
            Whom::Wearer => None,
            Whom::Second => reachable.first().copied(),
            Whom::Third => {
                let uncalled = reachable.iter().find(|person| !called.contains(person));
                let next = || reachable.get(1).or_else(|| reachable.iter().find(|person| **person > 0));
                uncalled.or_else(next).copied()
            }
        }
    }

    pub(super) fn reachable(&self, now: Timestamp) -> impl Iterator<Item = u8> {
        let zone = self.policy.zone;
        let people = (0..).zip(self.policy.people.iter().take(PEOPLE_MAX));
        people.filter(move |(_, person)| person.may_be_reached(zone, now)).map(|(place, _)| place)
    }

    /// Who is called by the steps that are due, and by which ways; one who may not be called at this hour is passed
    /// over for the next. They are noted as called.
    pub(in crate::engine) fn calls(
        &self,
        turn: &Turn,
        due: &[Due],
        policy: &StepsPolicy,
        made: &mut Made,
        called: &mut Vec<(u8, Timestamp)>,
    ) -> Vec<(u8, Ways)> {
        let mut calls = Vec::new();
        for whom in [Whom::Second, Whom::Third] {
            let step = due.iter().find(|due| matches!(due, Due::Step(step) if step.to == whom));
            let goes_on = due.contains(&Due::Again) && made.goes_on_calling(whom, policy.steps(turn.night.inside));
            let person = match step {
                Some(step) => self.person(whom, &made.people, turn.now).map(|person| (person, step.ways())),
                None if goes_on => self.person(whom, &EVERYBODY, turn.now).map(|person| (person, Ways::All)),
                None => None,
            };
            let Some((person, ways)) = person else { continue };
            if !made.people.contains(&person) {
                made.people.push(person);
            }
            if is_called(called, person, turn.now) {
                calls.push((person, ways));
            }
        }
        calls
    }

    /// Others who know of an alert are told that it was answered, but for who answered it.
    pub(in crate::engine) fn tell_answered(
        &self,
        turn: &mut Turn,
        about: About,
        told: &[(u8, Timestamp)],
        answer: Answer<'_>,
    ) {
        for (person, _) in told.iter().filter(|(person, _)| !self.is_named(*person, answer.by)) {
            turn.tell_on(*person, about, answer.reason());
        }
    }

    /// The wearer is told when it was not they who answered.
    pub(in crate::engine) fn tell_wearer_answered(
        &self,
        turn: &mut Turn,
        (condition, id, part_of): About,
        answer: Answer<'_>,
    ) {
        if answer.by.is_some() {
            let judged = turn.judged.take();
            turn.judged =
                if condition.side() == Some(Side::Low) { self.last_known(turn.now) } else { self.latest(turn.now) };
            turn.tell(What::Told, condition, id, part_of, answer.reason(), true);
            turn.judged = judged;
        }
    }

    /// After the timers of a turn: what rang for the wearer for the first time, or anew, is told to those who are told
    /// then, and of a child's low to the carer before the child. That the wearer wants it quiet is about their own ways.
    pub(in crate::engine) fn tell_first_line(&mut self, turn: &mut Turn) {
        if turn.out.is_empty() {
            return;
        }
        let zone = self.policy.zone;
        let (mut told, mut before) = (Vec::new(), Vec::new());
        let looks_after = self.carer(turn.now);
        for (place, person) in (0..).zip(self.policy.people.iter().take(PEOPLE_MAX)) {
            let cares =
                |decision: &Decision| looks_after == Some(place) && decision.condition.row().topic == Some(Topic::Lows);
            let is_told = |decision: &Decision| person.line == Line::First && person.tells.holds(decision.condition);
            let hears = |decision: &&Decision| is_new_ring(decision) && (is_told(decision) || cares(decision));
            if turn.out.iter().any(|one| hears(&one)) && person.may_be_reached(zone, turn.now) {
                let to = Audience::Person(place);
                let hears = turn.out.iter().filter(hears).map(|decision| Decision { to, ..decision.clone() });
                let (first, others): (Vec<_>, Vec<_>) = hears.partition(cares);
                before.extend(first);
                told.extend(others);
            }
        }
        for decision in before.iter().chain(&told) {
            if let (Some(Side::Low), Audience::Person(person), Some(calls)) =
                (decision.condition.side(), decision.to, self.state.register.calls_of_low_mut())
            {
                calls.informed.retain(|(known, _)| *known != person);
                calls.informed.push((person, turn.now));
            }
        }
        turn.out.splice(0..0, before);
        turn.out.extend(told);
    }

    /// Who looks after a child: the first who may be reached at this hour.
    fn carer(&self, now: Timestamp) -> Option<u8> {
        self.policy.profiles.contains(&Profile::Child).then(|| self.reachable(now).next()).flatten()
    }

    /// When the first of those may be reached who may not be now.
    pub(in crate::engine) fn next_reachable(&self, now: Timestamp) -> Option<Timestamp> {
        let hours = self.policy.people.iter().filter_map(|person| person.hours.as_ref());
        let ahead = hours.map(|hours| hours.stretch(self.policy.zone, now)).filter(|stretch| !stretch.inside);
        ahead.map(|stretch| stretch.until).min()
    }

    /// The settings change: who was called stays who they are, by their name.
    pub(in crate::engine) fn move_people(&mut self, policy: &Policy) {
        let names = |policy: &Policy| policy.people.iter().map(|person| person.name.clone()).collect::<Vec<String>>();
        let (before, after) = (names(&self.policy), names(policy));
        let to = |person: u8| {
            let name = before.get(usize::from(person))?;
            u8::try_from(after.iter().position(|known| known == name)?).ok()
        };
        if before != after {
            self.state.register.move_people(&to);
            self.state.high.calls.move_people(&to);
        }
    }

    /// The person of that name, as the settings write it.
    pub(in crate::engine) fn person_named(&self, name: &str) -> Option<String> {
        let name = name.trim().to_lowercase();
        let known = self.policy.people.iter().map(|person| &person.name);
        known.into_iter().find(|known| known.to_lowercase() == name).cloned()
    }

    /// Is it the person of that name?
    pub(in crate::engine) fn is_named(&self, person: u8, name: Option<&String>) -> bool {
        name.is_some() && self.policy.people.get(usize::from(person)).map(|person| &person.name) == name
    }
}

/// The same people at other places; who is no longer in the settings is left out.
pub(in crate::engine) fn moved(people: &mut Vec<(u8, Timestamp)>, to: &impl Fn(u8) -> Option<u8>) {
    *people = people.iter().filter_map(|(person, at)| Some((to(*person)?, *at))).collect();
}

/// Is somebody called now, and were they not a moment ago? Then it is noted.
pub(in crate::engine) fn is_called(called: &mut Vec<(u8, Timestamp)>, person: u8, now: Timestamp) -> bool {
    match called.iter_mut().find(|(known, _)| *known == person) {
        Some((_, at)) if now - *at < Span::minutes(NOT_AGAIN_MIN) => return false,
        Some((_, at)) => *at = now,
        None => called.push((person, now)),
    }
    true
}

/// Was somebody told of that in this turn?
pub(in crate::engine) fn was_told(turn: &Turn, person: u8, (condition, id, _): About) -> bool {
    let to = Audience::Person(person);
    turn.out.iter().any(|decision| decision.to == to && decision.condition == condition && decision.id == id)
}

/// Was somebody told a moment ago at the first ring of it?
pub(in crate::engine) fn was_informed(informed: &[(u8, Timestamp)], person: u8, now: Timestamp) -> bool {
    informed.iter().any(|(known, at)| *known == person && now - *at < Span::minutes(NOT_AGAIN_MIN))
}

/// Did it ring for the wearer for the first time, or anew? One that was only put off has been told already.
fn is_new_ring(decision: &Decision) -> bool {
    decision.rings
        && decision.to.is_wearer()
        && matches!(decision.what, What::Raised | What::Repeated)
        && !matches!(decision.reason, Reason::QuietOver { .. })
}

impl Turn {
    /// Somebody is called.
    pub(in crate::engine) fn call(&mut self, person: u8, about: About, reason: Reason) {
        self.tell_person(What::Called, person, about, reason);
    }

    /// Somebody who was told before is told what came of it.
    pub(in crate::engine) fn tell_on(&mut self, person: u8, about: About, reason: Reason) {
        self.tell_person(What::Told, person, about, reason);
    }

    fn tell_person(&mut self, what: What, person: u8, (condition, id, part_of): About, reason: Reason) {
        self.tell_to(Audience::Person(person), what, condition, id, part_of, reason, true);
    }
}
