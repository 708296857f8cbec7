//! What is said of modes: cautions, looks, ends, the wait before driving on, and what the wearer is answered. Never
//! that somebody may drive, and never an amount.

use super::Voice;
use super::answer::Answer;
use super::text::{Parts, Said, fitting};
use crate::domain::glucose::Glucose;
use crate::domain::ketone_table::KetoneTest;
use crate::domain::mode::Mode;
use crate::domain::time::Timestamp;
use crate::engine::effect::{Condition, Decision, Doubt, What};
use crate::engine::mode::reason::{Asks, Why};
use crate::engine::policy::Policy;
use crate::engine::reason::{Reason, Treatment};

const SICK: &str = "Measure with a meter; do not trust the sensor alone.";

const DRIVING: &str = "Do not use this to decide whether you may drive: check yourself first; local rules apply.";

/// Is a low said as one to check, because only a doubted sensor says it? One that nobody answered since it was very
/// low is none of those.
#[must_use]
pub fn asks_for_meter(decision: &Decision) -> bool {
    decision.condition == Condition::Low
        && decision.doubt == Some(Doubt::Doubted)
        && decision.what != What::Escalated
        && decision.to.is_wearer()
}

/// What a mode is called where it begins a sentence.
#[must_use]
pub const fn title(mode: Mode) -> &'static str {
    match mode {
        Mode::Driving => "Driving",
        Mode::Exercise => "Exercise",
        Mode::Alcohol => "Alcohol",
        Mode::Sick => "Sick day",
        Mode::Doubted => "Doubted sensor",
        Mode::Aftercare => "Aftercare",
    }
}

impl Said<'_> {
    /// The limit the value is beyond: no text may round the value onto it.
    pub(super) fn limit(&self) -> Option<Glucose> {
        let of_level = self.policy.levels.of(self.decision.condition).map(|level| level.limit);
        of_level.or(match &self.decision.reason {
            Reason::BeyondLimit { limit, .. }
            | Reason::NewEpisode { limit, .. }
            | Reason::NoLongerWorse { limit, .. }
            | Reason::StillBeyond { limit, .. }
            | Reason::Mode { said: Why::StillBelow { limit, .. } | Why::Hold { limit, .. } } => Some(*limit),
            _ => None,
        })
    }

    pub(super) fn is_only_doubted(&self) -> bool {
        asks_for_meter(self.decision) && !self.is_very_low()
    }

    /// `Low? 62, 02:10. Check with a meter`
    pub(super) fn doubtful_low(&self, at: &str) -> Parts {
        let value = self.decision.glucose.map_or_else(String::new, |value| value.shown(self.voice.unit, self.limit()));
        let act = "This low may not be one: check with a meter first.";
        let since = self.below_since().map_or_else(String::new, |since| format!("; low since {since}"));
        (format!("Low? {value}, {at}{since}. Check with a meter"), vec![act.to_owned()])
    }

    /// `Caution: 78, falling, 14:10. Follow your plan`, `Do not drive yet: 84, falling, 14:10; below 90`
    pub(super) fn caution(&self) -> Parts {
        let (value, at, mode) = (self.value_and_direction(), self.read_at(), self.decision.mode);
        let again = match (self.decision.what, &self.decision.reason) {
            (What::Repeated, Reason::NewEpisode { .. }) => "Caution again",
            (What::Repeated, _) => "Still caution",
            _ => "Caution",
        };
        let limit = self.limit().map(|limit| self.voice.limit(limit));
        let title = match (mode, &limit) {
            (Some(Mode::Driving), Some(limit)) => format!("Do not drive yet: {value}, {at}; below {limit}"),
            (Some(Mode::Driving), None) => format!("Do not drive yet: {value}, {at}"),
            _ if self.decision.doubt.is_some_and(|doubt| doubt != Doubt::Dip) => {
                format!("Caution? {value}, {at}. Check with a meter")
            }
            _ => format!("{again}: {value}, {at}. Follow your plan"),
        };
        let why = match mode {
            Some(Mode::Driving) => "while you drive",
            Some(Mode::Exercise) => "during exercise and in the hours after it",
            Some(Mode::Alcohol) => "for a day after alcohol",
            Some(Mode::Aftercare) => "for a day after a low with help",
            Some(Mode::Sick | Mode::Doubted) | None => "by your profile",
        };
        let below = limit.map_or_else(String::new, |limit| format!("Below {limit} counts {why}."));
        (title, vec!["Follow your plan; press Treated, and it is checked again.".to_owned(), below])
    }

    /// `Still below 90: 84, rising, 14:25; +6 in 15 min`
    pub(super) fn still_below(&self, treated: &Treatment, limit: Glucose) -> Parts {
        let limit = self.voice.limit(limit);
        let known = format!("Below {limit}: {}, {}", self.value_and_direction(), self.read_at());
        (
            fitting(&[format!("{known}; {}", self.since_treated(treated)), known]),
            vec![
                "Not low, and not back: follow your plan.".to_owned(),
                "This was the one check of it; a low rings as ever.".to_owned(),
            ],
        )
    }

    /// How the end of a low's looks begins: on the road back is not far enough.
    pub(super) fn back_word(&self) -> &'static str {
        let limit = crate::engine::mode::caution::DRIVING.hundredths();
        let below = self.decision.glucose.is_some_and(|glucose| glucose.hundredths() < limit);
        if below && self.decision.mode == Some(Mode::Driving) { "Do not drive yet" } else { "Back" }
    }

    /// What is to be known while somebody drives.
    pub(super) fn driving(&self) -> String {
        if self.decision.mode != Some(Mode::Driving) {
            return String::new();
        }
        let limit = self.voice.limit(crate::engine::mode::caution::DRIVING);
        match self.decision.what {
            What::Called => {
                let name = self.policy.name.as_deref().unwrap_or("the wearer");
                format!("Driving mode is on: {name} may be at the wheel.")
            }
            _ if !self.decision.to.is_wearer() => String::new(),
            _ => format!("Stop when you can; do not drive before 45 min back at {limit}: you are told."),
        }
    }

    pub(super) fn mode(&self) -> Parts {
        let Reason::Mode { said } = &self.decision.reason else {
            return ("Modes: see `recheck mode`".to_owned(), Vec::new());
        };
        let clock = |at: Timestamp| self.voice.clock(at);
        match said {
            Why::Look { asks, waits, next } => self.mode_look(*asks, *waits, *next),
            Why::Over { mode, at, limit } => (
                format!("{}: this mode ended {}", title(*mode), clock(*at)),
                vec![
                    still_counts(*limit, self.voice),
                    format!("Not over for you: `recheck mode {}` begins it again.", mode.name()),
                ],
            ),
            Why::Hold { until: Some(until), .. } => (
                format!("Do not drive yet: {}, {}. Wait until {}", self.value_alone(), self.read_at(), clock(*until)),
                vec!["You are told then what is true.".to_owned(), DRIVING.to_owned()],
            ),
            Why::Hold { limit, until: None } if self.decision.glucose.is_some() => {
                let limit = self.voice.limit(*limit);
                (
                    format!("Do not drive yet: {}, {}; below {limit}", self.value_and_direction(), self.read_at()),
                    vec![format!("The wait begins when it is back at {limit}."), DRIVING.to_owned()],
                )
            }
            Why::Hold { .. } => (
                "Do not drive yet: no fresh value. Use a meter".to_owned(),
                vec!["No fresh value has reached me: use a meter.".to_owned(), DRIVING.to_owned()],
            ),
            Why::HoldOver { limit, back } => {
                let limit = self.voice.limit(*limit);
                (
                    format!("45 min since {limit}: check yourself first; local rules apply"),
                    vec![format!("{limit} or above since {}.", clock(*back)), DRIVING.to_owned()],
                )
            }
            _ => (format!("Modes, {}", clock(self.voice.now)), Vec::new()),
        }
    }

    /// `Look before you drive on: 112, steady, 12:00`, `Sick day: 182, steady, 14:00. Use a meter`
    fn mode_look(&self, asks: Asks, waits: bool, next: Option<Timestamp>) -> Parts {
        let value = match self.decision.glucose {
            Some(_) => format!("{}, {}", self.value_and_direction(), self.read_at()),
            None => "no fresh value".to_owned(),
        };
        let measures_none = self.policy.ketone_test == KetoneTest::None;
        let title = match asks {
            Asks { ketones: true, .. } if measures_none => format!("Sick day: {value}. How do you feel?"),
            Asks { ketones: true, .. } => format!("Check ketones: sick day; {value}"),
            Asks { driving: true, .. } if waits => format!("Do not drive yet: {value}"),
            Asks { driving: true, .. } => format!("Check before you drive on: {value}"),
            Asks { .. } => format!("Sick day: {value}. Use a meter"),
        };
        let next = next.map_or_else(String::new, |next| format!("Next check {}.", self.voice.clock(next)));
        let scale = super::ketones::short_scale(self.policy.ketone_test);
        let parts = match asks {
            Asks { ketones: true, .. } if measures_none => vec![SICK, &scale],
            Asks { ketones: true, .. } => vec!["Measure ketones whatever the glucose, and note them.", &scale],
            Asks { driving: true, .. } => vec![DRIVING],
            Asks { .. } => vec![SICK],
        };
        (title, parts.into_iter().map(str::to_owned).chain([next]).collect())
    }

    pub(super) fn value_alone(&self) -> String {
        self.decision.glucose.map_or_else(|| "no value".to_owned(), |value| value.shown(self.voice.unit, self.limit()))
    }
}

/// What the wearer is answered.
#[must_use]
pub(super) fn answer(said: &Why, decision: &Decision, policy: &Policy, now: Timestamp) -> Answer {
    let voice = Voice::new(policy, now);
    let clock = |at: Timestamp| voice.clock(at);
    let words = match said {
        Why::Set { mode, until, after, limit, capped, waits, hold } => {
            let capped = capped.map_or_else(String::new, |most| format!(" {most} is the longest for it."));
            let below = limit.map_or_else(String::new, |limit| voice.limit(limit));
            let what = match (mode, after) {
                (Mode::Driving, _) => {
                    let drive =
                        "Do not use this to decide whether you may drive. Check yourself first; local rules apply.";
                    format!("Below {below} rings and calls nobody; a check is asked for every two hours. {drive}")
                }
                (Mode::Exercise, Some(after)) => {
                    format!(
                        "Below {below} rings and calls nobody; then the hours after it count until {}.",
                        clock(*after)
                    )
                }
                (Mode::Exercise | Mode::Alcohol | Mode::Aftercare, _) => {
                    format!("Below {below} rings and calls nobody.")
                }
                (Mode::Sick, _) => format!(
                    "A look is asked for every two hours, by day, and ketones every four, by night too. {SICK} Follow your sick-day plan."
                ),
                (Mode::Doubted, _) => {
                    "A low asks for a meter check and calls nobody; very low rings and calls as ever.".to_owned()
                }
            };
            let value = limit.map_or_else(String::new, |limit| of_value(decision, limit, voice));
            let wait = match hold {
                _ if !waits => String::new(),
                Some(until) => format!("\nDo not drive before {}; you are told then.", clock(*until)),
                None => format!("\nDo not drive yet: the wait begins when it is back at {below}. You are told."),
            };
            format!("{} until {}.{capped} {what}{value}{wait}", title(*mode), clock(*until))
        }
        Why::Off { asked: Some(mode), modes, .. } if modes.is_empty() => format!("{} was not on.", mode.name()),
        Why::Off { modes, .. } if modes.is_empty() => "No mode was on.".to_owned(),
        Why::Off { after: Some(after), .. } => format!(
            "Exercise is over. The hours after it count until {}; `recheck mode off exercise` again ends them.",
            clock(*after)
        ),
        Why::Off { modes, limit, .. } => format!("Ended: {}. {}", names(modes), still_counts(*limit, voice)),
        Why::Over { mode, at, .. } => {
            let words = format!("{} was over {}, before it was taken in. Nothing begins.", title(*mode), clock(*at));
            return Answer { first: false, accepted: false, words };
        }
        Why::LookPlanned { treated, look } => {
            let of = treated.alert_since.map_or_else(String::new, |since| format!(" of {}", clock(since)));
            format!("Caution{of}, treated {}: one look at {}.", clock(treated.at), clock(*look))
        }
        _ => "Noted.".to_owned(),
    };
    Answer { first: false, accepted: true, words }
}

/// What the newest value is, beside the limit that counts from now on: nothing rings before the next one.
fn of_value(decision: &Decision, limit: Glucose, voice: Voice) -> String {
    match (decision.glucose, decision.reading_at) {
        (Some(value), Some(at)) if value.hundredths() < limit.hundredths() => {
            let shown = value.shown(voice.unit, Some(limit));
            format!("\nBelow it already: {shown} at {}. Follow your plan.", voice.clock(at))
        }
        (Some(_), Some(_)) => String::new(),
        (_, _) => "\nNo fresh value has reached me: check with a meter.".to_owned(),
    }
}

fn still_counts(limit: Option<Glucose>, voice: Voice) -> String {
    limit.map_or_else(
        || "What rings is as in the settings.".to_owned(),
        |limit| format!("Below {} still counts.", voice.limit(limit)),
    )
}

fn names(modes: &[Mode]) -> String {
    let names: Vec<&str> = modes.iter().map(|mode| mode.name()).collect();
    names.join(", ")
}

/// Why, in one sentence.
pub(super) fn sentence(said: &Why, voice: Voice) -> String {
    let clock = |at: Timestamp| voice.clock(at);
    match said {
        Why::Set { mode, until, .. } => format!("{} until {}", mode.name(), clock(*until)),
        Why::Off { modes, .. } => format!("{} modes ended by you", modes.len()),
        Why::Over { mode, at, .. } => format!("{} ended {}", mode.name(), clock(*at)),
        Why::After { until } => format!("exercise is over, the hours after it count until {}", clock(*until)),
        Why::NothingAsks => "no mode and no profile asks for caution any more".to_owned(),
        Why::LookPlanned { treated, look } => {
            format!("caution treated {}, one look at {}", clock(treated.at), clock(*look))
        }
        Why::StillBelow { treated, limit } => {
            format!("treated {}, and still below {}", clock(treated.at), voice.limit(*limit))
        }
        Why::Look { asks, .. } => {
            let all = [(asks.driving, "driving on"), (asks.sick, "a sick day"), (asks.ketones, "ketones")];
            let all: Vec<&str> = all.into_iter().filter(|(asked, _)| *asked).map(|(_, name)| name).collect();
            format!("a look for {}", all.join(", "))
        }
        Why::JustMeasured { at, .. } => format!("measured or asked about {}, so nothing is asked", clock(*at)),
        Why::Hold { limit, until: Some(until) } => {
            format!("back at {}, and too early to drive until {}", voice.limit(*limit), clock(*until))
        }
        Why::Hold { limit, until: None } => format!("too early to drive: not back at {}", voice.limit(*limit)),
        Why::HoldOver { limit, back } => format!("back at {} since {}", voice.limit(*limit), clock(*back)),
    }
}
