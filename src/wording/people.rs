//! What others are told, and what the wearer is told of them: who, what, since when, what to do, who else knows. No
//! blame, no amounts, and no more than they need.

use super::text::{Parts, Said, Text, capital, fitting, sentences, shortened, text};
use super::{Voice, since};
use crate::domain::time::Timestamp;
use crate::engine::effect::{Audience, Condition, Decision, Doubt, Side, What};
use crate::engine::policy::{Line, PersonPolicy, Policy};
use crate::engine::reason::Reason;

/// Who is called in an emergency where the settings do not say.
const EMERGENCY: &str = "the emergency number";

/// An answer is not a recovery.
const ANSWERED: &str = "Answered, but not over yet";

/// The text where values are hidden; none where the condition says enough.
#[must_use]
pub fn discreet(decision: &Decision, policy: &Policy, now: Timestamp) -> Option<Text> {
    let said = Said { voice: Voice::new(policy, now), decision, policy };
    let (title, body) = match &decision.reason {
        _ if !decision.to.is_wearer() => said.discreet_to_others(),
        Reason::Answered { at, by: Some(by) } => (said.has_it(by, *at), "Look at `recheck status`.".to_owned()),
        _ => return None,
    };
    Some(Text { title: shortened(&title), body })
}

impl Said<'_> {
    /// The wearer is told that nobody has answered, or that somebody else has.
    pub(super) fn of_answers(&self) -> Parts {
        match &self.decision.reason {
            Reason::StillUnanswered { since, of, told, .. } => {
                // It says what it said first, and since when nobody has answered.
                let first = Decision { what: What::Raised, reason: (**of).clone(), ..self.decision.clone() };
                let Text { title, body } = text(&first, self.policy, self.voice.now);
                let act = body.split_inclusive(". ").next().unwrap_or_default().trim().to_owned();
                (title, vec![act, self.nobody(*since, told)])
            }
            Reason::Answered { at, by: Some(by) } => self.answered_for(by, *at),
            _ => (format!("Answered, {}", self.read_at()), Vec::new()),
        }
    }

    /// Of others each says who, what, since when and what to do.
    pub(super) fn to_others(&self) -> Parts {
        let (title, body) = self.said_to_others();
        (title, vec![body])
    }

    fn said_to_others(&self) -> (String, String) {
        match (self.decision.what, &self.decision.reason) {
            (What::Called, reason) => self.called(reason),
            (What::Raised | What::Repeated, reason) => self.first_line(reason),
            (_, Reason::Answered { at, by }) => {
                let goes_on = match self.decision.condition.side() {
                    Some(Side::Low) => "; if it stays low, others may be called again.",
                    _ => ".",
                };
                let title = match by {
                    Some(by) => format!("{}: {}", self.has_it(by, *at), self.wearer()),
                    None => format!("Answered {}: {}", self.voice.clock(*at), self.wearer()),
                };
                (title, format!("{ANSWERED}{goes_on}"))
            }
            (_, Reason::LowOver { since }) => (
                format!("The low of {} is over: {}, {}", self.voice.clock(*since), self.bare_value(), self.read_at()),
                self.full_value(),
            ),
            (_, Reason::MistakenOver { at, taken_back }) => self.mistaken_over(*at, *taken_back),
            (_, Reason::RapidForLong { at, until, .. }) => self.rapid_for_long_to_others(*at, *until),
            (_, Reason::NoLongerWatched { last, at }) => {
                let (title, _) = self.no_longer_watched(*last, *at);
                (title, "What the glucose is now is not known.".to_owned())
            }
            (_, Reason::Arriving) => {
                (format!("Readings of {} arrive again: {}", self.wearer(), self.bare_value()), self.full_value())
            }
            (_, Reason::Ketones { said }) => self.ketones_over(said, self.wearer()),
            (_, _) => (format!("Over: what you were called for, {}", self.wearer()), self.full_value()),
        }
    }

    /// Somebody is called, because nobody answers or because it stays.
    fn called(&self, reason: &Reason) -> (String, String) {
        match reason {
            Reason::HowIsIt { said, with, next, .. } => return self.asked_how_it_goes(*said, *with, *next),
            Reason::Unanswered { .. } | Reason::NotRecovering { .. } | Reason::StillCalled(_) => {
                return (self.call_for_a_low(), sentences(&[&self.facts_of_a_low(reason), &self.first_aid()]));
            }
            _ => {}
        }
        let (title, facts) = match reason {
            Reason::HighUnanswered { began, since, told } => {
                let (title, facts) = self.call_for_a_high(*began, *since);
                (title, format!("{facts}{}", self.also_told(told)))
            }
            Reason::StillUnanswered { since, of, told, .. } => {
                let (title, fact) = self.called_for(of);
                let unanswered = format!("; nobody has answered since {}", self.voice.clock(*since));
                (title, format!("{}{unanswered}{}", fact.trim_end_matches('.'), self.also_told(told)))
            }
            other => self.called_for(other),
        };
        let act = match reason {
            Reason::HighUnanswered { .. } => format!("{facts}."),
            _ => format!("{}; call, then go there.", facts.trim_end_matches('.')),
        };
        (title, sentences(&[&act, &self.first_aid()]))
    }

    fn call_for_a_high(&self, began: Timestamp, since: Timestamp) -> (String, String) {
        let (name, value, at) = (self.wearer(), self.bare_value(), self.read_at());
        let facts = format!(
            "High since {}, no reply since {}: call, go there, ask about ketones, set or pen; vomiting, fast breathing or drowsy: emergency help now",
            self.voice.clock(began),
            self.voice.clock(since)
        );
        (fitting(&[format!("Call {name}: high {value}, {at}. Ketones?"), format!("Call {name}: high {value}")]), facts)
    }

    /// A call about anything but a low.
    fn called_for(&self, reason: &Reason) -> (String, String) {
        let name = self.wearer();
        let clock = |at| self.voice.clock(at);
        match reason {
            Reason::NothingReached { since: Some(since), .. } => {
                let value = self.bare_value();
                (
                    fitting(&[
                        format!("Call {name}: nothing since {}, last {value}", clock(*since)),
                        format!("Call {name}: nothing since {}", clock(*since)),
                    ]),
                    sentences(&[
                        format!(
                            "Nothing has come from the sensor since {}, for {}.",
                            clock(*since),
                            self.lasts(*since)
                        ),
                        self.last_value(),
                        "What came after is not known.".to_owned(),
                    ]),
                )
            }
            Reason::Unreadable { since, .. } | Reason::Absurd { since, .. } => (
                format!("Call {name}: not watched since {}", clock(*since)),
                format!("Readings cannot be understood since {}: nothing is watched.", clock(*since)),
            ),
            Reason::TwoSignals { lower, higher, .. } => (
                format!("Call {name}: two signals, {} and {}", self.voice.value(*lower), self.voice.value(*higher)),
                "Readings go back and forth between two signals; one of them may hide a low.".to_owned(),
            ),
            Reason::ChannelsFail { .. } | Reason::ChannelFlaps { .. } => {
                (format!("Call {name}: alerts may not arrive there"), "A way to reach the wearer fails.".to_owned())
            }
            Reason::Ketones { said } => self.ketones_to_others(said, name),
            _ => (format!("Call {name}: an alert waits"), "An alert waits to be looked at.".to_owned()),
        }
    }

    /// What rang for the wearer a moment ago, to somebody who is told at the first ring.
    fn first_line(&self, reason: &Reason) -> (String, String) {
        let name = self.wearer();
        let facts = match reason {
            Reason::BeyondLimit { limit, since }
            | Reason::NewEpisode { limit, since }
            | Reason::NoLongerWorse { limit, since } => {
                format!("{} {} since {}.", capital(self.beyond()), self.voice.limit(*limit), self.voice.clock(*since))
            }
            Reason::StillBeyond { limit, silent_since } => format!(
                "Glucose is {} {}; nothing had come since {}.",
                self.beyond(),
                self.voice.limit(*limit),
                self.voice.clock(*silent_since)
            ),
            Reason::NothingReached { since: Some(since), .. } => {
                let nothing = format!("Nothing has come from the sensor since {}.", self.voice.clock(*since));
                sentences(&[nothing, self.last_value()])
            }
            Reason::NothingReached { since: None, .. } => "No reading has come since watching began.".to_owned(),
            Reason::Unreadable { since, .. } | Reason::Absurd { since, .. } => {
                format!("Readings cannot be understood since {}: nothing is watched.", self.voice.clock(*since))
            }
            _ => String::new(),
        };
        if self.decision.condition.side() == Some(Side::Low) {
            return (self.first_line_title(), self.first_line_of_a_low(facts.trim_end_matches('.')));
        }
        let what_to_do = match self.decision.condition {
            Condition::High | Condition::VeryHigh => format!(
                "Ask whether it was seen. What is done about it is for {name} and the plan. High for long, or feeling ill: ketones are to be checked, and the care team to be asked."
            ),
            _ => format!("What the glucose is now is not known. Ask how it is, and whether {name} can measure."),
        };
        let value = if self.decision.condition.is_about_glucose() { self.full_value() } else { String::new() };
        let told = format!("{} was told at the same moment{}.", capital(name), self.others_told());
        (self.first_line_title(), sentences(&[&facts, &value, &told, &what_to_do]))
    }

    /// Of a low: since when, who else knows, what to do; of a very low what helps somebody who does not wake.
    fn first_line_of_a_low(&self, facts: &str) -> String {
        let told = format!("{facts}; {} was told too{}", self.wearer(), self.others_told());
        if self.is_very_low() {
            return sentences(&[format!("{told}: call, then go there."), self.first_aid()]);
        }
        format!("{told}: ask how it is; if you hear nothing, call, then go there.")
    }

    fn first_line_title(&self) -> String {
        let name = capital(self.wearer());
        let again = if matches!(self.decision.reason, Reason::NewEpisode { .. }) { " again" } else { "" };
        let how = match self.decision.condition {
            Condition::VeryLow | Condition::Low => self.low(),
            Condition::VeryHigh => "very high",
            Condition::High => "high",
            Condition::Gap => return format!("{name}: nothing comes from the sensor. Ask"),
            _ => return format!("{name}: readings cannot be understood. Ask"),
        };
        let at = self.read_at();
        let action = if self.is_very_low() { "Call" } else { "Ask" };
        fitting(&[
            format!("{name} is {how}{again}: {}, {at}. {action}", self.value_and_direction()),
            format!("{name} is {how}{again}: {}, {at}", self.value_and_direction()),
            format!("{name} is {how}{again}: {}, {at}", self.bare_value()),
        ])
    }

    /// `, and so was Kim`: others who are told at the first ring, now.
    fn others_told(&self) -> String {
        let is_told = |person: &PersonPolicy| {
            person.line == Line::First
                && person.tells.holds(self.decision.condition)
                && person.may_be_reached(self.policy.zone, self.voice.now)
        };
        let others = (0..).zip(&self.policy.people).filter(|(place, person)| !self.is_to(*place) && is_told(person));
        let names: Vec<String> = others.map(|(_, person)| person.shown()).collect();
        if names.is_empty() { String::new() } else { format!(", and so was {}", names.join(" and ")) }
    }

    /// Somebody else has it.
    fn answered_for(&self, by: &str, at: Timestamp) -> Parts {
        let (has_it, value) = (self.has_it(by, at), format!("{}, {}", self.bare_value(), self.read_at()));
        if let Some(Doubt::TwoSignals { lower, higher }) = self.decision.doubt
            && self.decision.condition == Condition::TwoSignals
        {
            let (lower, higher) = (self.voice.value(lower), self.voice.value(higher));
            let title = format!("{has_it}. Two signals: {lower} and {higher}");
            return (title, vec!["Answered, but not over yet.".to_owned()]);
        }
        let told = match (self.decision.condition.side(), self.decision.glucose) {
            (_, None) => String::new(),
            (Some(Side::Low), Some(_)) if self.is_very_low() => format!(". Very low {value}: treat now"),
            (Some(Side::Low), Some(_)) if self.is_low() => format!(". Low {value}: treat by plan"),
            (_, Some(_)) => format!(". Now {value}"),
        };
        let (first, last) = match self.decision.condition.side() {
            Some(Side::Low) if self.is_low() || self.decision.glucose.is_none() => {
                ("Treat by your plan, then press Treated.", "Answered, but still low: others may be called again.")
            }
            _ => ("", "Answered, but not over yet."),
        };
        (fitting(&[format!("{has_it}{told}"), has_it]), vec![first.to_owned(), last.to_owned()])
    }

    /// `Nobody has answered for 25 min, since 12:00 (told: Sam, 12:15).`
    pub(super) fn nobody(&self, since: Timestamp, told: &[(u8, Timestamp)]) -> String {
        let called = self.listed(told);
        let called = if called.is_empty() { called } else { format!(" (told: {called})") };
        format!("Nobody has answered for {}, since {}{called}.", self.lasts(since), self.voice.clock(since))
    }

    /// Whom to call in an emergency.
    pub(super) fn emergency(&self) -> &str {
        self.policy.emergency.as_deref().unwrap_or(EMERGENCY)
    }

    /// The same where values are hidden.
    fn discreet_to_others(&self) -> (String, String) {
        let name = self.wearer();
        match (self.decision.what, &self.decision.reason) {
            (What::Called, _) => {
                (format!("Call {name} now"), format!("If nobody answers, go there. {}", self.first_aid()))
            }
            (_, Reason::Answered { .. }) => self.said_to_others(),
            (What::Raised | What::Repeated, _) => {
                (format!("An alert of {name}. Ask how it is"), format!("{} was told too.", capital(name)))
            }
            (_, _) => (format!("Over: what you were told of {name}"), String::new()),
        }
    }

    pub(super) fn wearer(&self) -> &str {
        self.policy.name.as_deref().unwrap_or("the wearer")
    }

    /// Is the value there is now low?
    fn is_low(&self) -> bool {
        let limit = self.policy.levels.low.limit.hundredths();
        self.decision.glucose.is_some_and(|glucose| glucose.hundredths() < limit)
    }

    pub(super) fn low(&self) -> &'static str {
        if self.is_very_low() { "very low" } else { "low" }
    }

    const fn beyond(&self) -> &'static str {
        if matches!(self.decision.condition, Condition::VeryLow | Condition::Low) { "below" } else { "above" }
    }

    pub(super) fn bare_value(&self) -> String {
        self.decision.glucose.map_or_else(|| "not known".to_owned(), |glucose| self.voice.value(glucose))
    }

    /// `Sam has it, 02:14`
    fn has_it(&self, by: &str, at: Timestamp) -> String {
        format!("{} has it, {}", self.named(by), self.voice.clock(at))
    }

    pub(super) fn named(&self, name: &str) -> String {
        let known = self.policy.people.iter().find(|person| person.name == name);
        known.map_or_else(|| capital(name), PersonPolicy::shown)
    }

    pub(super) fn lasts(&self, from: Timestamp) -> String {
        since(from, self.voice.now).to_string()
    }

    fn is_to(&self, person: u8) -> bool {
        self.decision.to == Audience::Person(person)
    }

    /// `; told before you: Sam, 02:10`, within a sentence.
    fn also_told(&self, told: &[(u8, Timestamp)]) -> String {
        let all = self.listed(told).replace("; ", " and ");
        if all.is_empty() { all } else { format!("; told before you: {all}") }
    }

    /// `Sam, 02:10; Kim, 02:25`, without whom this is for.
    pub(super) fn listed(&self, told: &[(u8, Timestamp)]) -> String {
        let named = |(person, at): &(u8, Timestamp)| {
            let person = self.policy.people.get(usize::from(*person)).filter(|_| !self.is_to(*person))?;
            Some(format!("{}, {}", person.shown(), self.voice.clock(*at)))
        };
        let all: Vec<String> = told.iter().filter_map(named).collect();
        all.join("; ")
    }
}
