//! What a decision that rings says: a title short enough for a wrist, and a body.
//!
//! A title holds at most 60 characters: worst fact first, the clock time of the reading, one action.
//! For very low the action comes first (a person in trouble acts, and does not read).

use super::{Voice, since};
use crate::domain::glucose::{Glucose, Measured};
use crate::domain::time::Timestamp;
use crate::engine::effect::{Condition, Decision, What};
use crate::engine::event::Cause;
use crate::engine::policy::Policy;
use crate::engine::reason::{Reason, Treatment};
use crate::engine::trend::Direction;

/// Longest title, in characters: what a wrist shows at a glance.
pub const TITLE_CHARS_MAX: usize = 60;

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
        Condition::VeryLow | Condition::Low | Condition::High | Condition::VeryHigh => said.level(),
        Condition::Gap | Condition::SourceFailed => said.source(),
        Condition::TwoSignals | Condition::Scan | Condition::Sensor => said.sensor(),
        Condition::ChannelFailed => said.channels(),
        Condition::RecheckHigh => said.recheck_high(),
        Condition::RecheckLow => said.recheck_low(),
        Condition::WhileAway | Condition::NotWatching | Condition::Diary => said.told(),
        Condition::Morning => said.morning(),
        Condition::Digest => said.digest(),
        Condition::Flood => said.flood(),
        Condition::OutOfService => said.switched_off(),
        Condition::Reminder => said.reminder(),
    };
    Text { title: shortened(&title), body: format!("{body}{}", said.doubt()) }
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
        let limit = self.policy.levels.of(self.decision.condition).map(|level| level.limit);
        let value = glucose.shown(self.voice.unit, limit);
        match self.direction() {
            Some(direction) => format!("{value}, {}", direction.words()),
            None => value,
        }
    }

    fn direction(&self) -> Option<Direction> {
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
        let limit = self.policy.levels.of(self.decision.condition).map(|level| level.limit);
        format!("{} {} at {}{rate}.", glucose.shown(self.voice.unit, limit), self.voice.unit.name(), self.read_at())
    }

    fn level(&self) -> (String, String) {
        let (value, at) = (self.value_and_direction(), self.read_at());
        let (title, what_to_do) = match self.decision.condition {
            // One that has risen above its limit since is said as what it is now.
            Condition::VeryLow if self.is_very_low() => (
                format!("Treat now: {}{value}, {at}", self.anew("again ", "still ").unwrap_or_default()),
                "Treat by your plan now, then `recheck treated`. If you cannot swallow or feel faint, call for help.",
            ),
            Condition::VeryLow | Condition::Low => (
                format!("{}: {value}, {at}. Treat by your plan", self.anew("Low again", "Still low").unwrap_or("Low")),
                "Treat by your plan, then `recheck treated`: it looks again.",
            ),
            Condition::VeryHigh | Condition::High if self.decision.doubt.is_some() => {
                (self.doubtful_high(&value, &at), "Check with a meter before you do anything about it.")
            }
            Condition::VeryHigh => (
                format!(
                    "{}: {value}, {at}. Look and note",
                    self.anew("Very high again", "Still very high").unwrap_or("Very high")
                ),
                "Follow your plan and note what you do. Very high for two hours, or feeling ill: check ketones.",
            ),
            _ => (
                format!("{}: {value}, {at}. Look and note", self.anew("High again", "Still high").unwrap_or("High")),
                "If you treat it, say `recheck treated`: it looks again.",
            ),
        };
        let limit = match &self.decision.reason {
            Reason::BeyondLimit { limit, .. }
            | Reason::NewEpisode { limit, .. }
            | Reason::NoLongerWorse { limit, .. } => Some(*limit),
            Reason::StillBeyond { silent_since, .. } => {
                let gap = format!("Nothing reached me between {} and {at}. ", self.voice.clock(*silent_since));
                return (
                    title,
                    format!("{gap}{} {what_to_do} Differs from how you feel? Check with a meter.", self.full_value()),
                );
            }
            _ => None,
        };
        if let Reason::Unanswered { since, .. } = &self.decision.reason {
            let nobody = format!("Nobody has answered since {}.", self.voice.clock(*since));
            return (
                title,
                format!("{} {nobody} {what_to_do} Then say `recheck seen`, or press the button.", self.full_value()),
            );
        }
        let beyond = limit.map_or_else(String::new, |limit| {
            let side =
                if matches!(self.decision.condition, Condition::VeryLow | Condition::Low) { "Below" } else { "Above" };
            format!(" {side} {}.", self.voice.limit(limit))
        });
        (title, format!("{}{beyond} {what_to_do} Differs from how you feel? Check with a meter.", self.full_value()))
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

    fn recheck_high(&self) -> (String, String) {
        let (value, at) = (self.value_and_direction(), self.read_at());
        match &self.decision.reason {
            Reason::NotComingDown { treated, next, .. }
            | Reason::ComingDown { treated, next }
            | Reason::TooEarly { treated, next } => {
                let after = since(treated.at, self.voice.now);
                (
                    format!("Look again: {value}, {at}; {}{after}", self.changed_since(treated)),
                    format!(
                        "{} {}Insulin goes on working for hours: a look is not a reason to add. Follow your plan. Next look {}.",
                        self.full_value(),
                        self.treated_then(treated),
                        self.voice.clock(*next)
                    ),
                )
            }
            Reason::NoFreshReading { treated, last, next } => self.no_fresh(treated, *last, *next),
            Reason::StillHigh { since, marked, next } => {
                let ask = if *marked {
                    "The looks after your treatment are over and it is still high. Follow your plan; call your care team if it stays."
                } else {
                    "Nothing was noted. If you treated it, say `recheck treated`. High for long, or feeling ill: check ketones."
                };
                (
                    format!("High since {}: {value}, {at}. Look again", self.voice.clock(*since)),
                    format!(
                        "{} High since {}. {ask} Asked again {}.",
                        self.full_value(),
                        self.voice.clock(*since),
                        self.voice.clock(*next)
                    ),
                )
            }
            Reason::NightOver { since, next } => self.kept_high("the morning", *since, *next),
            Reason::QuietHoursOver { since, next } => self.kept_high("the end of quiet hours", *since, *next),
            Reason::Back { treated } => self.back(treated),
            _ => (format!("{value}, {at}"), self.full_value()),
        }
    }

    fn kept_high(&self, until: &str, since: Timestamp, next: Timestamp) -> (String, String) {
        let (since, next) = (self.voice.clock(since), self.voice.clock(next));
        (
            format!("High since {since}: {}, {}. Look now", self.value_and_direction(), self.read_at()),
            format!("{} High since {since}, kept for {until}. Asked again {next}.", self.full_value()),
        )
    }

    fn recheck_low(&self) -> (String, String) {
        let (value, at) = (self.value_and_direction(), self.read_at());
        match &self.decision.reason {
            Reason::StillLow { treated, next } => {
                let after = since(treated.at, self.voice.now);
                let low = self.policy.levels.low.limit.hundredths();
                let is_back = self.decision.glucose.is_some_and(|glucose| glucose.hundredths() >= low);
                let (action, body) = match self.direction() {
                    _ if is_back => ("Look again", "Back, but falling: check with a meter, and follow your plan."),
                    Some(direction) if direction.rises() && self.is_very_low() => {
                        ("Check", "Rising, and still very low: check with a meter, and follow your plan.")
                    }
                    Some(direction) if direction.rises() => ("Wait", "Rising: wait for the next look."),
                    Some(direction) if direction.falls() => (
                        "Treat by plan",
                        "Falling after treating: treat again by your plan, check with a meter, and do not stay alone.",
                    ),
                    Some(_) | None => {
                        ("Treat by plan", "Not rising: treat again by your plan, and check with a meter.")
                    }
                };
                (
                    format!("{action}: {value}, {at}; {}{after}", self.changed_since(treated)),
                    format!(
                        "{} {}{body} Next look {}.",
                        self.full_value(),
                        self.treated_then(treated),
                        self.voice.clock(*next)
                    ),
                )
            }
            Reason::LowNobodyMarked { since, next } => (
                format!("Still low: {value}, {at}. Treat by plan"),
                format!(
                    "{} Low since {}, and nothing was noted. Treat by your plan, check with a meter, then `recheck treated`. Asked again {}.",
                    self.full_value(),
                    self.voice.clock(*since),
                    self.voice.clock(*next)
                ),
            ),
            Reason::NoFreshReading { treated, last, next } => self.no_fresh(treated, *last, *next),
            Reason::Back { treated } => self.back(treated),
            _ => (format!("{value}, {at}"), self.full_value()),
        }
    }

    fn no_fresh(&self, treated: &Treatment, last: Option<Timestamp>, next: Timestamp) -> (String, String) {
        let after = since(treated.at, self.voice.now);
        let known = last.map_or_else(
            || "No reading has reached me.".to_owned(),
            |last| format!("Nothing reached me since {}.", self.voice.clock(last)),
        );
        let mut title = format!("No fresh reading, {after} after treating. Measure or scan");
        if title.chars().count() > TITLE_CHARS_MAX {
            // A cut title would end in the middle of what to do.
            title = format!("No fresh reading, {after} after treating. Measure");
        }
        (
            title,
            format!(
                "Treated {}. {known} Scan the sensor or measure with a meter. Next look {}.",
                self.voice.clock(treated.at),
                self.voice.clock(next)
            ),
        )
    }

    fn back(&self, treated: &Treatment) -> (String, String) {
        let after = since(treated.at, self.voice.now);
        (
            format!("Back: {}, {}; {}{after}", self.value_and_direction(), self.read_at(), self.changed_since(treated)),
            format!("{} {}No more looks for this one.", self.full_value(), self.treated_then(treated)),
        )
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
                    format!("Not watching {from}-{to}. Look at your glucose"),
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

    /// `+12 in `, or `after ` when the value then is not known.
    fn changed_since(&self, treated: &Treatment) -> String {
        match (treated.value, self.decision.glucose) {
            (Some(then), Some(now)) if numbers(then, now) => format!("{} in ", self.voice.change(then, now)),
            _ => "after ".to_owned(),
        }
    }

    fn treated_then(&self, treated: &Treatment) -> String {
        let change = |now: Glucose, then: Glucose| {
            format!(" at {}: {} since", self.voice.value(then), self.voice.change(then, now))
        };
        let since = match (self.decision.glucose, treated.value) {
            (Some(now), Some(then)) if numbers(then, now) => change(now, then),
            _ => String::new(),
        };
        format!("Treated {}{since}. ", self.voice.clock(treated.at))
    }
}

/// Beyond its range a sensor gives no number to take a difference from.
fn numbers(then: Glucose, now: Glucose) -> bool {
    then.measured() == Measured::Number && now.measured() == Measured::Number
}

fn listed(words: &[String]) -> String {
    if words.is_empty() { "none is set up".to_owned() } else { words.join("; ") }
}
