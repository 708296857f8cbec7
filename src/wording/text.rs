//! What a decision that rings says: a title short enough for a wrist, and a body.
//!
//! A title holds at most 60 characters: worst fact first, the clock time of the reading, one action.
//! For very low the action comes first (a person in trouble acts, and does not read).

use super::Voice;
use crate::domain::time::Timestamp;
use crate::engine::effect::{Condition, Decision, What};
use crate::engine::event::Cause;
use crate::engine::policy::Policy;
use crate::engine::reason::Reason;
use crate::engine::trend::Direction;
use std::borrow::Cow;

/// Longest title, in characters: what a wrist shows at a glance.
pub const TITLE_CHARS_MAX: usize = 60;

const UNSURE: &str = "Differs from how you feel? Check with a meter.";

/// What a message says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Text {
    /// For the wrist.
    pub title: String,
    /// For the screen.
    pub body: String,
}

/// The text of a decision.
#[must_use]
pub fn text(decision: &Decision, policy: &Policy, now: Timestamp) -> Text {
    let voice = Voice::new(policy, now);
    let said = Said { voice, decision, policy };
    let (title, body) = match decision.condition {
        _ if !decision.to.is_wearer() => said.to_others(),
        _ if matches!(decision.reason, Reason::StillUnanswered { .. } | Reason::Answered { .. }) => said.of_answers(),
        Condition::VeryLow | Condition::Low | Condition::High | Condition::VeryHigh => said.level(),
        Condition::Caution => said.caution(),
        Condition::ForecastVeryLow | Condition::ForecastLow | Condition::ForecastHigh => said.forecast(),
        Condition::Mode => said.mode(),
        Condition::UnnotedRise => said.unnoted_rise(),
        Condition::Gap | Condition::SourceFailed => said.source(),
        Condition::TwoSignals | Condition::Scan | Condition::Sensor => said.sensor(),
        Condition::ChannelFailed => said.channels(),
        Condition::RecheckHigh => said.recheck_high(),
        Condition::RecheckLow => said.recheck_low(),
        Condition::Stacking => said.stacking(),
        Condition::WhileAway | Condition::NotWatching | Condition::Diary => said.told(),
        Condition::Morning => said.morning(),
        Condition::Bedtime => said.bedtime(),
        Condition::Digest => said.digest(),
        Condition::Flood => said.flood(),
        Condition::OutOfService => said.switched_off(),
        Condition::Reminder => said.reminder(),
    };
    Text {
        title: shortened(&title),
        body: format!("{body}{}{}{}{}", said.insulin(), said.after_low(), said.doubt(), said.driving()),
    }
}

/// Cut at a word where that leaves most of the title.
#[must_use]
pub fn shortened(title: &str) -> String {
    shortened_to(title, TITLE_CHARS_MAX)
}

/// The same for another length.
pub(super) fn shortened_to(title: &str, most: usize) -> String {
    if title.chars().count() <= most {
        return title.to_owned();
    }
    let cut: String = title.chars().take(most.saturating_sub(3)).collect();
    let kept = cut.rsplit_once(' ').map_or(cut.as_str(), |(kept, _)| kept);
    format!("{}...", kept.trim_end_matches([',', '.', ':', ';']))
}

/// The fullest that a title has room for: a cut one would lose its end.
pub(super) fn fitting(titles: &[String]) -> String {
    let fits = titles.iter().find(|title| title.chars().count() <= TITLE_CHARS_MAX);
    fits.or(titles.last()).cloned().unwrap_or_default()
}

/// Those that say something, one after another.
pub(super) fn sentences(all: &[&str]) -> String {
    let said: Vec<&str> = all.iter().map(|one| one.trim()).filter(|one| !one.is_empty()).collect();
    said.join(" ")
}

/// `The wearer`, where a sentence begins with it.
pub(super) fn capital(name: &str) -> String {
    let mut letters = name.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// One decision, said to one wearer.
pub(super) struct Said<'a> {
    pub(super) voice: Voice,
    pub(super) decision: &'a Decision,
    pub(super) policy: &'a Policy,
}

impl Said<'_> {
    /// `64, falling` or `64`.
    pub(super) fn value_and_direction(&self) -> String {
        let Some(glucose) = self.decision.glucose else {
            return "no value".to_owned();
        };
        let limit = self.limit();
        let value = glucose.shown(self.voice.unit, limit);
        match self.direction() {
            Some(direction) => format!("{value}, {}", direction.words()),
            None => value,
        }
    }

    pub(super) fn direction(&self) -> Option<Direction> {
        self.decision.rate.map(crate::engine::trend::Rate::direction)
    }

    pub(super) fn read_at(&self) -> String {
        self.decision.reading_at.map_or_else(String::new, |at| self.voice.clock(at))
    }

    /// `64 mg/dL at 02:10, falling, -1.2 mg/dL/min.`
    pub(super) fn full_value(&self) -> String {
        let Some(glucose) = self.decision.glucose else {
            return String::new();
        };
        let rate = match self.decision.rate {
            Some(rate) => format!(", {}, {}", rate.direction().words(), rate.shown(self.voice.unit)),
            None => String::new(),
        };
        let limit = self.limit();
        format!("{} {} at {}{rate}.", glucose.shown(self.voice.unit, limit), self.voice.unit.name(), self.read_at())
    }

    fn level(&self) -> (String, String) {
        let (value, at) = (self.value_and_direction(), self.read_at());
        let (title, what_to_do): (String, Cow<'static, str>) = match self.decision.condition {
            // One that has risen above its limit since is said as what it is now.
            Condition::VeryLow if self.is_very_low() => (
                format!("Treat now: {}{value}, {at}", self.anew("again ", "still ").unwrap_or_default()),
                format!(
                    "Treat by your plan now, then `recheck treated`. If you cannot swallow or feel faint, call {}.",
                    self.emergency()
                )
                .into(),
            ),
            Condition::Low if self.is_only_doubted() => {
                let (title, what_to_do) = self.doubtful_low(&at);
                (title, what_to_do.into())
            }
            Condition::VeryLow | Condition::Low => (
                format!("{}: {value}, {at}. Treat by your plan", self.anew("Low again", "Still low").unwrap_or("Low")),
                "Treat by your plan, then `recheck treated`: it looks again.".into(),
            ),
            Condition::VeryHigh | Condition::High if self.decision.doubt.is_some() => {
                (self.doubtful_high(&value, &at), "Check with a meter before you do anything about it.".into())
            }
            Condition::VeryHigh | Condition::High if self.decision.after_low.is_some() => {
                let (title, what_to_do) = self.rebound(&value, &at);
                (title, what_to_do.into())
            }
            Condition::VeryHigh => (
                self.high_title(
                    self.anew("Very high again", "Still very high").unwrap_or("Very high"),
                    &format!("{value}, {at}"),
                ),
                "Follow your plan and note what you do. Very high for two hours, or feeling ill: check ketones.".into(),
            ),
            _ => (
                self.high_title(self.anew("High again", "Still high").unwrap_or("High"), &format!("{value}, {at}")),
                "If you treat it, say `recheck treated`: it looks again.".into(),
            ),
        };
        let value = self.full_value();
        let (facts, then) = match &self.decision.reason {
            Reason::BeyondLimit { limit, .. }
            | Reason::NewEpisode { limit, .. }
            | Reason::NoLongerWorse { limit, .. } => {
                let is_low = matches!(self.decision.condition, Condition::VeryLow | Condition::Low);
                let side = if is_low { "Below" } else { "Above" };
                (format!("{value} {side} {}.", self.voice.limit(*limit)), UNSURE)
            }
            Reason::StillBeyond { silent_since, .. } => {
                let silent = self.voice.clock(*silent_since);
                (format!("Nothing reached me between {silent} and {at}. {value}"), UNSURE)
            }
            Reason::LowLasts { answered: Some(at), by, .. } => {
                let who =
                    by.as_deref().map_or_else(|| "Answered".to_owned(), |name| format!("{} answered", capital(name)));
                (sentences(&[&value, &format!("{who} {}, and still low.", self.voice.clock(*at))]), "")
            }
            Reason::Unanswered { since, told, .. } => {
                (sentences(&[&value, &self.nobody(*since, told)]), "Then say `recheck seen`, or press the button.")
            }
            _ => (value, UNSURE),
        };
        // Whoever is very low acts, and does not read: no number stands before what to do.
        let acts = self.decision.condition == Condition::VeryLow && self.is_very_low();
        let body = if acts { [&*what_to_do, then, &facts] } else { [&*facts, &*what_to_do, then] };
        (title, sentences(&body))
    }

    /// What a ring is after the first: a new episode, or the same.
    fn anew(&self, again: &'static str, still: &'static str) -> Option<&'static str> {
        match (self.decision.what, &self.decision.reason) {
            (What::Repeated, Reason::NewEpisode { .. }) => Some(again),
            (What::Repeated | What::Escalated, _) => Some(still),
            _ => None,
        }
    }

    pub(super) fn is_very_low(&self) -> bool {
        let limit = self.policy.levels.very_low.limit.hundredths();
        self.decision.glucose.is_some_and(|glucose| glucose.hundredths() < limit)
    }

    fn channels(&self) -> (String, String) {
        match &self.decision.reason {
            Reason::ChannelsFail { working: 0, words } => (
                "Nothing can reach you. See `recheck status`".to_owned(),
                format!("No way to reach you works: {}. Alerts are only in the log until one does.", listed(words)),
            ),
            Reason::ChannelsFail { words, .. } => (
                "A way to reach you fails. See `recheck status`".to_owned(),
                format!("{}. Alerts go out by the others.", listed(words)),
            ),
            _ => ("All ways to reach you work again".to_owned(), String::new()),
        }
    }

    fn told(&self) -> (String, String) {
        match &self.decision.reason {
            Reason::Past { spans, more } => self.past(spans, *more),
            Reason::Unwatched { from, to, cause } => {
                let why = match cause {
                    Cause::Stopped => "recheck was stopped",
                    Cause::Killed => "recheck ended without being stopped",
                    Cause::Slept => "the computer slept",
                };
                let (from, to) = (self.voice.clock(*from), self.voice.clock(*to));
                (
                    fitting(&[
                        format!("Not watching {from}-{to}. Look at your glucose"),
                        format!("Not watching {from}-{to}"),
                    ]),
                    format!(
                        "Nobody was watching from {from} to {to}: {why}. What happened meanwhile shows when readings arrive."
                    ),
                )
            }
            Reason::DiaryLineRefused { words, more } => {
                let (title, more) = match more {
                    0 => ("A diary line was not understood".to_owned(), String::new()),
                    more => (
                        format!("{} diary lines were not understood", more.saturating_add(1)),
                        format!("; and {more} more"),
                    ),
                };
                let hint = "Nothing follows from it. Correct the line in the file, or say it with `recheck note` or `recheck treated`.";
                (title, format!("{words}{more}. {hint}"))
            }
            Reason::DiaryLineAsks { whence, at, open } => {
                let at = self.voice.clock(*at);
                let open: Vec<String> = open
                    .iter()
                    .map(|open| {
                        format!("{} since {}", open.condition.name().replace('_', " "), self.voice.clock(open.since))
                    })
                    .collect();
                let could = if open.is_empty() {
                    "no alert is open".to_owned()
                } else {
                    format!("open are {}", open.join(" and "))
                };
                (
                    format!("Treated {at}: high or low? Say which"),
                    format!(
                        "{whence}: treated, and {could}. Nothing follows from it. Say `recheck treated high` or `recheck treated low`, with --at and its time, or write which in the diary."
                    ),
                )
            }
            _ => ("Noted".to_owned(), String::new()),
        }
    }
}

fn listed(words: &[String]) -> String {
    if words.is_empty() { "none is set up".to_owned() } else { words.join("; ") }
}
