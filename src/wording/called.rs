//! What somebody reads who is called for a low, or asked how it goes: the value, what is known beside it, and what helps
//! somebody who does not wake. No blame and no amounts.

use super::text::{Said, capital, fitting, sentences};
use crate::domain::time::{Span, Timestamp};
use crate::engine::alert::calls::StillCalled;
use crate::engine::reason::Reason;

/// A value is about now for so long: sensors that send every five minutes have sent two more by then.
const FRESH_MIN: i64 = 15;

impl Said<'_> {
    /// `Call Ada: very low 48, 02:10`; of a value that is not fresh what it was, and that nothing has come since.
    pub(super) fn call_for_a_low(&self) -> String {
        let (name, value) = (self.wearer(), self.bare_value());
        if self.decision.glucose.is_none() {
            return format!("Call {name}: low, and no value is known");
        }
        if self.is_of_long_ago() {
            let was = format!("was {value} at {}", self.read_at());
            return fitting(&[format!("Call {name}: {was}, nothing since"), format!("Call {name}: {was}")]);
        }
        format!("Call {name}: {} {value}, {}", self.low(), self.read_at())
    }

    /// What is known beside the value: who answered, whether it was treated, who else was told. Nobody is said to have
    /// been silent who answered.
    pub(super) fn facts_of_a_low(&self, reason: &Reason) -> String {
        let clock = |at| self.voice.clock(at);
        let who = |by: &Option<String>| by.as_deref().map_or_else(|| capital(self.wearer()), |by| self.named(by));
        let nothing = self.decision.reading_at.filter(|_| self.is_of_long_ago());
        let nothing = nothing.map_or_else(String::new, |at| format!("nothing has come for {}, and ", self.lasts(at)));
        let (facts, told) = match reason {
            Reason::Unanswered { since, told, .. } => {
                let lasts = self.lasts(*since);
                let begin = if nothing.is_empty() { "low, and " } else { nothing.as_str() };
                (format!("{begin}nobody has answered for {lasts}, since {}", clock(*since)), told)
            }
            Reason::NotRecovering { since, answered, by, told } => {
                let (lasts, value) = (self.lasts(*since), self.value_and_direction());
                (format!("{} answered {}; still {value} after {lasts}", who(by), clock(*answered)), told)
            }
            Reason::StillCalled(StillCalled { since, answered, by, treated, meter, told }) => {
                let treated = treated.map_or_else(String::new, |at| format!(", treated {}", clock(at)));
                let meter = meter.map_or_else(String::new, |(at, value)| {
                    format!("; finger-prick {} at {}", self.voice.value(value), clock(at))
                });
                let lasts = self.lasts(*since);
                (format!("{nothing}{} answered {}{treated}{meter}; low for {lasts}", who(by), clock(*answered)), told)
            }
            _ => return String::new(),
        };
        let told = self.listed(told);
        let told = if told.is_empty() { told } else { format!(" (told: {told})") };
        format!("{}: call, then go there{told}.", capital(&facts))
    }

    /// Whoever has it is asked how it goes, before others are called.
    pub(super) fn asked_how_it_goes(&self, said: Timestamp, with: bool, next: Timestamp) -> (String, String) {
        let (name, at) = (self.wearer(), self.read_at());
        let value = if self.is_of_long_ago() {
            format!("{} at {at}, nothing since", self.bare_value())
        } else {
            format!("Still {}, {at}", self.value_and_direction())
        };
        let title = if with {
            fitting(&[
                format!("{value}. Not better? Call {}", self.emergency()),
                format!("{value}. Call {}", self.emergency()),
                value,
            ])
        } else {
            fitting(&[format!("{value}. How is {name}?"), value])
        };
        let since = self.voice.clock(said);
        let facts = if with {
            format!("You are with {name} since {since}: if it does not rise, call {}.", self.emergency())
        } else {
            format!(
                "You have it since {since}: say so again if you do, or others are called {}.",
                self.voice.clock(next)
            )
        };
        (title, sentences(&[&facts, &self.first_aid()]))
    }
    /// Is the value too old to be about now?
    fn is_of_long_ago(&self) -> bool {
        self.decision.reading_at.is_some_and(|at| self.voice.now - at > Span::minutes(FRESH_MIN))
    }

    /// What everybody who is called is to know: nothing by mouth, glucagon if there is any, the emergency number (ADA, seen
    /// as a summary); on their side: common practice, no source.
    pub(super) fn first_aid(&self) -> String {
        format!(
            "Does not wake, fits, cannot swallow: nothing by mouth, on their side, glucagon if there (the call-taker helps); call {}.",
            self.emergency()
        )
    }
}
