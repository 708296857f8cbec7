//! What is said when something treated is looked at again, and when a high that nobody marked is asked about.

use super::text::{Said, TITLE_CHARS_MAX};
use super::{Voice, since};
use crate::domain::glucose::{Glucose, Measured};
use crate::domain::time::Timestamp;
use crate::engine::effect::{Condition, Side};
use crate::engine::mode::reason::Why;
use crate::engine::outcome::{Found, Outcome};
use crate::engine::reason::{Began, Reason, Treatment};

impl Said<'_> {
    pub(super) fn recheck_high(&self) -> (String, String) {
        let (value, at) = (self.value_and_direction(), self.read_at());
        match &self.decision.reason {
            Reason::NotComingDown { treated, next, found, ketones: true, .. } => {
                self.no_response(treated, found, *next)
            }
            Reason::FallingTooFast { treated, next, found } => self.falling_too_fast(treated, found, *next),
            Reason::EveningLook { treated } => self.evening_look(treated),
            Reason::NotComingDown { treated, next, found, .. }
            | Reason::ComingDown { treated, next, found }
            | Reason::TooEarly { treated, next, found } => {
                let after = since(treated.at, self.voice.now);
                (
                    format!("Look again: {value}, {at}; {}{after}", self.changed_since(treated)),
                    format!(
                        "{} {}{}Insulin goes on working for hours: a look is not a reason to add. Follow your plan. Next look {}.",
                        self.full_value(),
                        self.treated_then(treated),
                        self.found(treated, found),
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
            Reason::Back { treated, found } => self.back(treated, found.as_ref()),
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

    pub(super) fn recheck_low(&self) -> (String, String) {
        let (value, at) = (self.value_and_direction(), self.read_at());
        match &self.decision.reason {
            Reason::StillLow { treated, lowest, next } => self.still_low(treated, *lowest, *next),
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
            Reason::MeterAgain { measured, meter, next } => self.measure_again(*measured, *meter, *next),
            Reason::Back { treated, found } => self.back(treated, found.as_ref()),
            Reason::Mode { said: Why::StillBelow { treated, limit } } => self.still_below(treated, *limit),
            _ => (format!("{value}, {at}"), self.full_value()),
        }
    }

    fn no_fresh(&self, treated: &Treatment, last: Option<Timestamp>, next: Timestamp) -> (String, String) {
        let after = since(treated.at, self.voice.now);
        let known = last.map_or_else(
            || "No reading has reached me.".to_owned(),
            |last| format!("Nothing reached me since {}.", self.voice.clock(last)),
        );
        let it = if treated.told == Began::Treated { "after treating" } else { "on" };
        let mut title = format!("No fresh reading, {after} {it}. Measure or scan");
        if title.chars().count() > TITLE_CHARS_MAX {
            // A cut title would end in the middle of what to do.
            title = format!("No fresh reading, {after} {it}. Measure");
        }
        (
            title,
            format!(
                "{} {}. {known} Scan the sensor or measure with a meter. Next look {}.",
                treated.told.words(),
                self.voice.clock(treated.at),
                self.voice.clock(next)
            ),
        )
    }

    fn back(&self, treated: &Treatment, found: Option<&Found>) -> (String, String) {
        let falls = found.is_some_and(|found| found.outcome == Outcome::FallingTooFast);
        let then = match self.decision.condition {
            _ if falls => "A low may follow: keep looking, and follow your plan for one.",
            Condition::RecheckHigh => "Its hourly looks are over.",
            _ => "No more looks for this one.",
        };
        let after = since(treated.at, self.voice.now);
        (
            format!(
                "{}: {}, {}; {}{after}",
                self.treated_ahead(treated).unwrap_or_else(|| self.back_word().to_owned()),
                self.value_and_direction(),
                self.read_at(),
                self.changed_since(treated)
            ),
            format!("{} {}{then}", self.full_value(), self.treated_then(treated)),
        )
    }

    /// Of a low that was treated before it came: `Still above 70`, where it has not.
    fn treated_ahead(&self, treated: &Treatment) -> Option<String> {
        let limit = self.policy.levels.low.limit;
        let ahead = self.decision.condition == Condition::RecheckLow
            && treated.told == Began::Treated
            && treated.alert_since.is_none()
            && treated.value.is_some_and(|value| !Side::Low.is_beyond(value, limit));
        ahead.then(|| format!("Still above {}", self.voice.limit(limit)))
    }

    /// `+12 in `, or `after ` when the value then is not known.
    pub(super) fn changed_since(&self, treated: &Treatment) -> String {
        match (treated.value, self.decision.glucose) {
            (Some(then), Some(now)) if numbers(then, now) => format!("{} in ", self.voice.change(then, now)),
            _ => "after ".to_owned(),
        }
    }

    pub(super) fn treated_then(&self, treated: &Treatment) -> String {
        let change = |now: Glucose, then: Glucose| {
            format!(" at {}: {} since", self.voice.value(then), self.voice.change(then, now))
        };
        let since = match (self.decision.glucose, treated.value) {
            (Some(now), Some(then)) if numbers(then, now) => change(now, then),
            _ => String::new(),
        };
        format!("{} {}{since}. ", treated.told.words(), self.voice.clock(treated.at))
    }
}

/// Beyond its range a sensor gives no number to take a difference from.
fn numbers(then: Glucose, now: Glucose) -> bool {
    then.measured() == Measured::Number && now.measured() == Measured::Number
}

/// Why, for `why`.
pub(super) fn sentence(reason: &Reason, voice: Voice) -> String {
    let clock = |at| voice.clock(at);
    match reason {
        Reason::ComingDown { next, found, .. } => {
            format!("coming down, looks again at {}{}", clock(*next), super::insulin::found(found, voice))
        }
        Reason::TooEarly { next, found, .. } => {
            let found = super::insulin::found(found, voice);
            format!("too early to ask with injected insulin, looks again at {}{found}", clock(*next))
        }
        Reason::NotComingDown { treated, asked_for, next, found, .. } => {
            let why = if *asked_for { "you asked to be asked now" } else { "not coming down" };
            let found = super::insulin::found(found, voice);
            format!("{why}; treated at {}, next look {}{found}", clock(treated.at), clock(*next))
        }
        Reason::FallingTooFast { .. } | Reason::EveningLook { .. } | Reason::Stacked { .. } => {
            super::insulin::sentence(reason, voice)
        }
        Reason::NothingToAsk { next } => {
            format!("falling, within range or not to be seen, looks again at {}", clock(*next))
        }
        Reason::AfterLow { low, next } => {
            format!("may be a rebound after the low of {}, not asked about before {}", clock(*low), clock(*next))
        }
        Reason::LowNobodyMarked { since, next } => {
            format!(
                "low since {}, nobody marked it as treated, and it is not rising; asked again at {}",
                clock(*since),
                clock(*next)
            )
        }
        Reason::StillLow { treated, lowest, next } => super::still_low::sentence(treated, *lowest, *next, voice),
        Reason::NoFreshReading { treated, next, .. } => {
            format!("no fresh reading to look at; treated at {}, next look {}", clock(treated.at), clock(*next))
        }
        Reason::MeterAgain { .. } | Reason::MeterDisagrees { .. } | Reason::LowByMeter { .. } => {
            super::meter::sentence(reason, voice)
        }
        Reason::Back { treated, found } => {
            let found = found.as_ref().map_or_else(String::new, |found| super::insulin::found(found, voice));
            format!("back within range; treated at {}{found}", clock(treated.at))
        }
        Reason::StillHigh { since, marked, next } => {
            let marked = if *marked { "its looks are over" } else { "nobody marked it as treated" };
            format!("high since {}, {marked}; asked again at {}", clock(*since), clock(*next))
        }
        Reason::NightOver { since, next } => {
            format!("high since {}, kept for the morning; asked again at {}", clock(*since), clock(*next))
        }
        Reason::QuietHoursOver { since, next } => {
            format!("high since {}, kept for the end of quiet hours; asked again at {}", clock(*since), clock(*next))
        }
        other => other.word().replace('_', " "),
    }
}
