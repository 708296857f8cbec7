//! What others are told when the wearer does not answer: who, what, since when, what to do. No blame, no
//! amounts, and no more than they need.

use super::text::{Said, TITLE_CHARS_MAX};
use crate::domain::time::Timestamp;
use crate::engine::reason::Reason;

/// What everybody who is called is to know.
const WHAT_TO_DO: &str = "Call first. If nobody answers, go there. Somebody who cannot swallow, does not wake or has a fit gets no food or drink: call the emergency number.";

impl Said<'_> {
    pub(super) fn to_others(&self) -> (String, String) {
        let name = self.policy.name.as_deref().unwrap_or("the wearer");
        let at = self.read_at();
        let value = self.decision.glucose.map_or_else(|| "not known".to_owned(), |glucose| self.voice.value(glucose));
        let how = if self.is_very_low() { "very low" } else { "low" };
        let low_since = |since| match self.decision.glucose {
            Some(_) => format!("Call {name}: {how} {value}, {at}"),
            None => format!("Call {name}: low since {}", self.voice.clock(since)),
        };
        match &self.decision.reason {
            Reason::Unanswered { since, told, .. } => (
                low_since(*since),
                format!(
                    "Glucose is low since {}, and nobody has answered. {} {}{WHAT_TO_DO}",
                    self.voice.clock(*since),
                    self.full_value(),
                    self.who_knows(told)
                ),
            ),
            Reason::NotRecovering { since, answered, told } => (
                low_since(*since),
                format!(
                    "Glucose is low since {}. It was answered {}, and the value stays. {} {}{WHAT_TO_DO}",
                    self.voice.clock(*since),
                    self.voice.clock(*answered),
                    self.full_value(),
                    self.who_knows(told)
                ),
            ),
            Reason::NothingReached { since: Some(since), .. } => (
                self.silence_in_short(name, *since, &value),
                format!(
                    "Nothing has come from the sensor since {}, and nobody has answered. {}What came after is not known. {WHAT_TO_DO}",
                    self.voice.clock(*since),
                    self.last_value()
                ),
            ),
            Reason::Answered { at } => (
                format!("Answered {}: {name}", self.voice.clock(*at)),
                "An answer does not say how it goes on. If the value stays low you are called again.".to_owned(),
            ),
            Reason::LowOver { since } => {
                (format!("The low of {} is over: {value}, {at}", self.voice.clock(*since)), self.full_value())
            }
            _ => (format!("{name}: {value}, {at}"), self.full_value()),
        }
    }

    /// The last value where there is room for it: a cut title would lose its end.
    fn silence_in_short(&self, name: &str, since: Timestamp, value: &str) -> String {
        let title = format!("Call {name}: nothing since {}", self.voice.clock(since));
        let with_value = format!("{title}, last {value}");
        if with_value.chars().count() > TITLE_CHARS_MAX { title } else { with_value }
    }

    /// `Told before you: Sam, 02:10. `
    fn who_knows(&self, told: &[(u8, Timestamp)]) -> String {
        let named = |(person, at): &(u8, Timestamp)| {
            let person = self.policy.people.get(usize::from(*person))?;
            Some(format!("{}, {}", person.name, self.voice.clock(*at)))
        };
        let all: Vec<String> = told.iter().filter_map(named).collect();
        if all.is_empty() { String::new() } else { format!("Told before you: {}. ", all.join("; ")) }
    }
}
