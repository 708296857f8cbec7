//! What is said when something treated is looked at again, and when a high that nobody marked is asked about.

use super::text::{Parts, Said, fitting};
use super::{Voice, since};
use crate::domain::glucose::{Glucose, Measured};
use crate::domain::time::Timestamp;
use crate::engine::effect::{Condition, Side};
use crate::engine::mode::reason::Why;
use crate::engine::outcome::{Found, Outcome};
use crate::engine::reason::{Began, Reason, Treatment};
use crate::engine::trend::Direction;

/// A change that goes against the direction by less than this is none, in hundredths of a mg/dL: the noise of a sensor.
const NO_CHANGE: i32 = 300;

impl Said<'_> {
    pub(super) fn recheck_high(&self) -> Parts {
        let (value, at) = (self.value_and_direction(), self.read_at());
        match &self.decision.reason {
            Reason::HighStays(question) => self.high_stays(question),
            Reason::FallingTooFast { treated, next, found } => self.falling_too_fast(treated, found, *next),
            Reason::EveningLook { treated } => self.evening_look(treated),
            Reason::NewSet { at, .. } => self.new_set(*at),
            Reason::MistakenLook { at, next } => self.mistaken_look(*at, *next),
            Reason::Landing { acts, next } => self.landing(*acts, *next),
            Reason::NotComingDown { treated, next, found, .. }
            | Reason::ComingDown { treated, next, found }
            | Reason::TooEarly { treated, next, found } => {
                let next = self.voice.clock(*next);
                let known = format!("Still high {value}, {at}");
                (
                    fitting(&[format!("{known}; {}. Check", self.since_treated(treated)), format!("{known}. Check")]),
                    vec![
                        if self.adjusts() {
                            super::pump::SEE.to_owned()
                        } else {
                            format!("Insulin works for hours: a check is not a reason to add; next check {next}.")
                        },
                        self.found(treated, found),
                    ],
                )
            }
            Reason::NoFreshReading { treated, last, next } => self.no_fresh(treated, *last, *next),
            Reason::StillHigh { since, marked, next } => {
                let ask = if self.adjusts() {
                    super::pump::SEE
                } else if *marked {
                    "Still high after its checks: follow your plan, and call your care team if it stays."
                } else {
                    "If you treated it, press Treated."
                };
                (
                    format!("High since {}: {value}, {at}. Check again", self.voice.clock(*since)),
                    vec![ask.to_owned(), format!("Asked again {}.", self.voice.clock(*next))],
                )
            }
            Reason::NightOver { since, next } => self.kept_high("the morning", *since, *next),
            Reason::QuietHoursOver { since, next } => self.kept_high("the end of quiet hours", *since, *next),
            Reason::Back { treated, found } => self.back(treated, found.as_ref()),
            _ => (format!("{value}, {at}"), Vec::new()),
        }
    }

    fn kept_high(&self, until: &str, since: Timestamp, next: Timestamp) -> Parts {
        let (since, next) = (self.voice.clock(since), self.voice.clock(next));
        (
            format!("High since {since}: {}, {}. Check now", self.value_and_direction(), self.read_at()),
            vec![
                if self.adjusts() { super::pump::SEE } else { "If you treat it, press Treated." }.to_owned(),
                format!("High since {since}, kept for {until}; asked again {next}."),
            ],
        )
    }

    pub(super) fn recheck_low(&self) -> Parts {
        let (value, at) = (self.value_and_direction(), self.read_at());
        match &self.decision.reason {
            Reason::StillLow { treated, lowest, treatments, next } => {
                self.still_low(treated, *lowest, *treatments, *next)
            }
            Reason::LowNobodyMarked { since, next } => (
                format!("Still low {value}, {at}. Treat by plan"),
                vec![
                    "Treat by your plan, then press Treated; check with a meter.".to_owned(),
                    format!("Low since {}; asked again {}.", self.voice.clock(*since), self.voice.clock(*next)),
                ],
            ),
            Reason::NoFreshReading { treated, last, next } => self.no_fresh(treated, *last, *next),
            Reason::MeterAgain { measured, meter, next } => self.measure_again(*measured, *meter, *next),
            Reason::Back { treated, found } => self.back(treated, found.as_ref()),
            Reason::NoLongerWatched { last, at } => self.no_longer_watched(*last, *at),
            Reason::Mode { said: Why::StillBelow { treated, limit } } => self.still_below(treated, *limit),
            _ => (format!("{value}, {at}"), Vec::new()),
        }
    }

    fn no_fresh(&self, treated: &Treatment, last: Option<Timestamp>, next: Timestamp) -> Parts {
        let after = since(treated.at, self.voice.now);
        let known = last.map_or_else(
            || "No reading has reached me".to_owned(),
            |last| format!("Nothing reached me since {}", self.voice.clock(last)),
        );
        let it = if treated.told == Began::Treated { "after treating" } else { "on" };
        let title = format!("No fresh reading, {after} {it}");
        (
            // A cut title would end in the middle of what to do.
            fitting(&[format!("{title}. Measure or scan"), format!("{title}. Measure")]),
            vec![
                "Scan the sensor or measure with a meter.".to_owned(),
                format!("{known}; next check {}.", self.voice.clock(next)),
            ],
        )
    }

    fn back(&self, treated: &Treatment, found: Option<&Found>) -> Parts {
        let falls = found.is_some_and(|found| found.outcome == Outcome::FallingTooFast);
        let then = match self.decision.condition {
            _ if falls => "A low may follow: keep checking, and follow your plan for one.",
            Condition::RecheckHigh => "Over: you will hear if it changes.",
            _ => "No more checks for this one.",
        };
        let word = self.treated_ahead(treated).unwrap_or_else(|| self.back_word().to_owned());
        let known = format!("{word}: {}, {}", self.value_and_direction(), self.read_at());
        (
            fitting(&[format!("{known}; {}", self.since_treated(treated)), known]),
            vec![then.to_owned(), self.treated_then(treated)],
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

    /// `+12 in 15 min`, or `treated 15 min ago` where the value then is not known, or the change since speaks against
    /// the direction there is now: two facts that seem to contradict each other help nobody.
    pub(super) fn since_treated(&self, treated: &Treatment) -> String {
        let after = since(treated.at, self.voice.now);
        match (treated.value, self.decision.glucose) {
            (Some(then), Some(now)) if numbers(then, now) && !self.against(then, now) => {
                format!("{} in {after}", self.voice.change(then, now))
            }
            _ if treated.told == Began::Treated => format!("treated {after} ago"),
            _ => format!("{after} on"),
        }
    }

    /// Has it changed one way since then, and goes the other way now?
    fn against(&self, then: Glucose, now: Glucose) -> bool {
        let change = now.hundredths() - then.hundredths();
        let (rises, falls) =
            self.direction().map_or((false, false), |direction| (Direction::rises(direction), direction.falls()));
        change <= -NO_CHANGE && rises || change >= NO_CHANGE && falls
    }

    /// `Treated 08:10 at 52.`
    pub(super) fn treated_then(&self, treated: &Treatment) -> String {
        let value = treated.value.map_or_else(String::new, |value| format!(" at {}", self.voice.value(value)));
        format!("{} {}{value}.", treated.told.words(), self.voice.clock(treated.at))
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
        Reason::HighStays(question) => super::question::sentence(question, voice),
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
        Reason::StillLow { treated, lowest, treatments, next } => {
            super::still_low::sentence(treated, *lowest, *treatments, *next, voice)
        }
        Reason::NoFreshReading { treated, next, .. } => {
            format!("no fresh reading to look at; treated at {}, next look {}", clock(treated.at), clock(*next))
        }
        Reason::MeterAgain { .. }
        | Reason::MeterDisagrees { .. }
        | Reason::PrickAgain { .. }
        | Reason::SecondDecides { .. }
        | Reason::LowByMeter { .. } => super::meter::sentence(reason, voice),
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
