//! What a decision that rings says: a title short enough for a wrist, and a body.
//!
//! A title holds at most 60 characters: the worst fact that is true now, the value, the direction, the clock time, and
//! then one thing to do. A body is what to do and the one fact that matters most ([`super::body`]).

use super::Voice;
use super::body::{BODY_CHARS_MAX, body, call_body};
use crate::domain::mode::Mode;
use crate::domain::time::Timestamp;
use crate::engine::began::TOLD_FROM;
use crate::engine::effect::{Condition, Decision, Doubt, What};
use crate::engine::event::Cause;
use crate::engine::mode::profile::Profile;
use crate::engine::policy::Policy;
use crate::engine::reason::Reason;
use crate::engine::trend::Direction;

/// Longest title, in characters: what a wrist shows at a glance.
pub const TITLE_CHARS_MAX: usize = 60;

const UNSURE: &str = "If that does not match how you feel, do a finger-prick.";

/// A title, and the sentences of a body: what to do first, then what matters most.
pub(super) type Parts = (String, Vec<String>);

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
    let (title, parts) = match decision.condition {
        _ if !decision.to.is_wearer() => said.to_others(),
        _ if matches!(decision.reason, Reason::StillUnanswered { .. } | Reason::Answered { .. }) => said.of_answers(),
        _ if let Reason::PrickAgain { measured, meter } = decision.reason => said.prick_again(measured, meter),
        _ if said.is_old() => said.old_level(),
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
        Condition::Ketones => said.of_ketones(),
    };
    let parts = said.by_the_pumps_plan(said.in_order(parts));
    // Whoever is called has the time to read, and nothing else to look at.
    let body = if decision.to.is_wearer() { body(&parts) } else { call_body(&parts) };
    Text { title: shortened(&title), body }
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
pub(super) fn sentences(all: &[impl AsRef<str>]) -> String {
    let said: Vec<&str> = all.iter().map(|one| one.as_ref().trim()).filter(|one| !one.is_empty()).collect();
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

    /// What to do comes first; whoever drives, or has a sensor in doubt, is told that next.
    fn in_order(&self, mut parts: Vec<String>) -> Vec<String> {
        let rest = parts.split_off(parts.len().min(1));
        let room = BODY_CHARS_MAX.saturating_sub(parts.first().map_or(0, |act| act.chars().count() + 1));
        parts.extend([self.prick_too(), self.also(room), self.driving(), self.doubt()]);
        parts.extend(rest);
        parts.extend([self.after_low(), self.insulin()]);
        parts
    }

    fn level(&self) -> Parts {
        let (value, at) = (self.value_and_direction(), self.read_at());
        let is_high = matches!(self.decision.condition, Condition::VeryHigh | Condition::High);
        match self.decision.condition {
            // One that has risen above its limit since is said as what it is now.
            Condition::VeryLow if self.is_very_low() => {
                (self.low_title(&self.named_anew("Very low"), &["Treat now"]), self.treat_now())
            }
            Condition::Low if self.is_only_doubted() => self.doubtful_low(&at),
            Condition::VeryLow | Condition::Low => (
                self.low_title(&self.named_anew("Low"), &["Treat by your plan", "Treat by plan"]),
                self.treat_by_plan(),
            ),
            _ if is_high && self.decision.doubt.is_some() => (
                self.doubtful_high(&value, &at),
                vec!["Check with a meter before you do anything about it.".to_owned(), self.since_silence()],
            ),
            _ if is_high && self.decision.after_low.is_some() => self.rebound(&value, &at),
            Condition::VeryHigh => (
                self.high_title(&self.named_anew("Very high"), &format!("{value}, {at}")),
                vec![
                    if self.adjusts() {
                        "See on the pump what it has given; very high for two hours or feeling ill: check ketones."
                            .to_owned()
                    } else {
                        "Follow your plan, then press Treated; very high for two hours or feeling ill: check ketones."
                            .to_owned()
                    },
                    self.since_silence(),
                ],
            ),
            _ => (
                self.high_title(&self.named_anew("High"), &format!("{value}, {at}")),
                vec![
                    if self.adjusts() {
                        super::pump::SEE
                    } else {
                        "If you treat it, press Treated, and it is checked again."
                    }
                    .to_owned(),
                    self.since_silence(),
                ],
            ),
        }
    }

    /// `Low 62, falling, 12:05. Treat by your plan`; of one that began a while before, as late readings show, since when.
    fn low_title(&self, name: &str, acts: &[&str]) -> String {
        let (value, at) = (self.value_and_direction(), self.read_at());
        let mut titles = Vec::new();
        if let (Some(since), Reason::BeyondLimit { limit, .. } | Reason::NewEpisode { limit, .. }) =
            (self.below_since(), &self.decision.reason)
        {
            let limit = self.voice.limit(*limit);
            for act in acts {
                titles.push(format!("{name} {value}, {at}; below {limit} since {since}. {act}"));
                titles.push(format!("{name} {}, {at}; below {limit} since {since}. {act}", self.value_alone()));
                titles.push(format!("{name} {}, {at}; low since {since}. {act}", self.value_alone()));
            }
            titles.push(format!("{name} {}; low since {since}", self.value_alone()));
        } else {
            titles.extend(acts.iter().map(|act| format!("{name} {value}, {at}. {act}")));
        }
        fitting(&titles)
    }

    /// Since when one has been low that began a while before it is told.
    pub(super) fn below_since(&self) -> Option<String> {
        let (Reason::BeyondLimit { since, .. } | Reason::NewEpisode { since, .. }) = &self.decision.reason else {
            return None;
        };
        let begins = self.decision.what == What::Raised || matches!(self.decision.reason, Reason::NewEpisode { .. });
        let long_ago = self.decision.reading_at.is_some_and(|read| read - *since >= TOLD_FROM);
        (begins && long_ago).then(|| self.voice.clock(*since))
    }

    /// Whoever is very low acts, and does not read: no number stands before what to do.
    fn treat_now(&self) -> Vec<String> {
        let (known, emergency) = (self.what_happened(), self.emergency());
        let act = if self.decision.doubt == Some(Doubt::Flat) {
            "Treat by your plan now, and do a finger-prick: the same value for 45 min.".to_owned()
        } else if known.is_empty() {
            "Treat by your plan now, then press Treated; finger-prick when you can.".to_owned()
        } else {
            format!("Treat by your plan now; faint or cannot swallow: call {emergency}.")
        };
        vec![act, known, format!("If you feel faint or cannot swallow, call {emergency}.")]
    }

    fn treat_by_plan(&self) -> Vec<String> {
        // Whoever does not feel lows is not asked how they feel.
        let (act, unsure) = if self.feels_no_lows() {
            ("Treat by your plan, then press Treated; finger-prick when you can.", "")
        } else {
            ("Treat by your plan, then press Treated.", UNSURE)
        };
        let flat = "Do a finger-prick: the same value for 45 min; treat by your plan.";
        let act = if self.decision.doubt == Some(Doubt::Flat) { flat } else { act };
        vec![act.to_owned(), self.what_happened(), unsure.to_owned()]
    }

    /// What is to be known of a low beside its value: who answered, or that nobody did, or that nothing came.
    fn what_happened(&self) -> String {
        match &self.decision.reason {
            Reason::LowLasts { answered: Some(at), by, .. } => {
                let who = by.as_deref().map_or_else(|| "You".to_owned(), capital);
                let value = self.decision.glucose.map_or_else(String::new, |value| value.shown(self.voice.unit, None));
                let rises = self.direction().is_some_and(Direction::rises);
                let how = if rises { "" } else { ", not rising" };
                format!("{who} answered {}; still {value}{how}.", self.voice.clock(*at))
            }
            Reason::Unanswered { since, told, .. } => self.nobody(*since, told),
            _ => self.since_silence(),
        }
    }

    fn since_silence(&self) -> String {
        match &self.decision.reason {
            Reason::StillBeyond { silent_since, .. } => {
                format!("Nothing reached me between {} and {}.", self.voice.clock(*silent_since), self.read_at())
            }
            _ => String::new(),
        }
    }

    /// Are lows not felt, by the settings or because of a mode?
    fn feels_no_lows(&self) -> bool {
        self.policy.profiles.contains(&Profile::ImpairedAwareness) || self.decision.mode == Some(Mode::Alcohol)
    }

    /// `Low`, and after the first ring `Still low`, or `Low again:` for a new episode.
    fn named_anew(&self, name: &str) -> String {
        match (self.decision.what, &self.decision.reason) {
            (What::Repeated, Reason::NewEpisode { .. }) => format!("{name} again:"),
            (What::Repeated | What::Escalated, _) => format!("Still {}", name.to_lowercase()),
            _ => name.to_owned(),
        }
    }

    pub(super) fn is_very_low(&self) -> bool {
        let limit = self.policy.levels.very_low.limit.hundredths();
        self.decision.glucose.is_some_and(|glucose| glucose.hundredths() < limit)
    }

    fn channels(&self) -> Parts {
        match &self.decision.reason {
            Reason::ChannelsFail { working: 0, words } => (
                "Nothing can reach you. See `recheck status`".to_owned(),
                vec![
                    "No channel works: alerts are only in the log until one does.".to_owned(),
                    format!("{}.", listed(words)),
                ],
            ),
            Reason::ChannelsFail { words, .. } => (
                "A channel is failing. Alerts go out by the others".to_owned(),
                vec![format!("{}: see `recheck status`.", listed(words))],
            ),
            Reason::ChannelFlaps { times, since, .. } => {
                let since = since.map_or_else(String::new, |since| format!(" since {}", self.voice.clock(since)));
                (
                    format!("A channel failed {times} times{since}. Check it"),
                    vec!["Alerts go out by the others while it fails: see `recheck status`.".to_owned()],
                )
            }
            _ => ("All channels work again".to_owned(), Vec::new()),
        }
    }

    fn of_ketones(&self) -> Parts {
        match &self.decision.reason {
            Reason::Ketones { said } => self.ketones(said),
            _ => ("Ketones: see `recheck status`".to_owned(), Vec::new()),
        }
    }

    fn told(&self) -> Parts {
        match &self.decision.reason {
            Reason::Past { spans, more } => self.past(spans, *more),
            Reason::Unwatched { from, to, cause } => {
                let why = match cause {
                    Cause::Stopped => "recheck was stopped",
                    Cause::Killed => "recheck ended without being stopped",
                    Cause::Slept => "the computer slept",
                };
                let (from, to) = (self.voice.clock(*from), self.voice.clock(*to));
                let title = fitting(&[
                    format!("Not watching {from}-{to}. Look at your glucose"),
                    format!("Not watching {from}-{to}"),
                ]);
                let why = format!("Nobody was watching from {from} to {to}: {why}.");
                (title, vec![why, "What happened meanwhile shows when readings arrive.".to_owned()])
            }
            Reason::DiaryLineRefused { words, more } => {
                let (title, more) = match more {
                    0 => ("A diary line was not understood".to_owned(), String::new()),
                    more => (
                        format!("{} diary lines were not understood", more.saturating_add(1)),
                        format!("; and {more} more"),
                    ),
                };
                // What is wrong with it may be long, and is said in any case.
                (title, vec![format!("{words}{more}. Correct the line, or say it with `recheck note`.")])
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
                    vec![
                        format!("Write which in the diary, or say `recheck treated high --at {at}` or low."),
                        format!("{whence}: treated, and {could}."),
                    ],
                )
            }
            reason => {
                let asked = super::asked::told(reason, self.voice);
                let told = asked.or_else(|| super::watched::told(reason, self.policy, self.voice));
                told.unwrap_or_else(|| ("Noted".to_owned(), Vec::new()))
            }
        }
    }
}

fn listed(words: &[String]) -> String {
    if words.is_empty() { "None is set up".to_owned() } else { words.join("; ") }
}
