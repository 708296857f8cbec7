//! A line of a diary file, as it was understood: when, and what. Decides nothing about it.

use super::change::treatment;
use super::diary::{Kind, Note};
use super::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// A line older than this when it arrives enters the diary only: its looks would come too late to help.
const DIARY_ONLY_AFTER: Span = Span::hours(4);

/// A sensor's start is no look: it counts for as long as a sensor may live, and so does its stop.
const SESSION_OVER_AFTER: Span = Span::hours(30 * 24);

/// Does something that happened so long ago enter the diary only?
#[must_use]
pub fn is_diary_only(kind: Option<&Kind>, at: Timestamp, now: Timestamp) -> bool {
    let of_session = matches!(kind, Some(Kind::SensorStart(_) | Kind::SensorStop(_)));
    now - at > if of_session { SESSION_OVER_AFTER } else { DIARY_ONLY_AFTER }
}

/// One line.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Written {
    /// When it happened, as written.
    pub at: Timestamp,
    /// What happened.
    pub what: Entry,
}

/// What a line says.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Entry {
    /// Something for the diary.
    Noted {
        /// What it is about.
        kind: Kind,
        /// The writer's own words; may be empty.
        words: String,
    },
    /// A high or a low was treated; which, if it was said.
    Treated(Option<Excursion>),
    /// What was asked about was meant.
    Meant,
    /// What rings was seen.
    Seen,
    /// The same, with words that may name who has seen it.
    SeenBy(String),
}

/// Which way glucose left the range.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Excursion {
    /// Upwards.
    High,
    /// Downwards.
    Low,
}

impl Excursion {
    /// The word it is written by.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::High => "high",
            Self::Low => "low",
        }
    }
}

/// A time without seconds means its whole minute.
const MINUTE_MILLIS: i64 = 60_000;

/// The last instant that a time which was written down can mean: that of its minute, where it has no seconds.
#[must_use]
pub fn end_of(at: Timestamp) -> Timestamp {
    if at.millis() % MINUTE_MILLIS == 0 { at + Span::millis(MINUTE_MILLIS - 1) } else { at }
}

impl Written {
    /// The last instant that its time can mean.
    #[must_use]
    pub fn end(&self) -> Timestamp {
        end_of(self.at)
    }

    /// The line, written in one way only: the same line read again has the same key, whichever file it
    /// stands in, and however its numbers and its time are written there. It has been released: a changed
    /// key would take every known line in once more.
    #[must_use]
    pub fn key(&self) -> String {
        let (kind, amount, unit, words) = match &self.what {
            Entry::Noted { kind, words } => {
                let (amount, unit) = amount_and_unit(kind);
                (kind.word(), amount, unit, words.as_str())
            }
            Entry::Treated(which) => ("treated", which.map_or_else(String::new, |which| which.word().into()), "", ""),
            // The words of a line that says seen were not part of its key when it was released.
            Entry::Seen | Entry::SeenBy(_) => ("seen", String::new(), "", ""),
            Entry::Meant => ("meant", String::new(), "", ""),
        };
        format!("{}\t{kind}\t{amount}\t{unit}\t{words}", self.at.millis())
    }

    /// Does it come so late that it enters the diary only?
    #[must_use]
    pub fn is_diary_only(&self, now: Timestamp) -> bool {
        let kind = if let Entry::Noted { kind, .. } = &self.what { Some(kind) } else { None };
        is_diary_only(kind, self.at, now)
    }

    /// What of it belongs in the diary. A line that is a little ahead of the clock is about `now`.
    #[must_use]
    pub fn note(&self, now: Timestamp) -> Option<Note> {
        let at = self.at.min(now);
        match &self.what {
            Entry::Noted { kind, words } => Some(Note { at, kind: kind.clone(), words: words.clone() }),
            Entry::Treated(which) => Some(treatment(at, *which)),
            Entry::Seen | Entry::SeenBy(_) | Entry::Meant => None,
        }
    }
}

impl std::fmt::Display for Written {
    /// What it says, without its time: `insulin 4 U before supper`.
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let parts = match &self.what {
            Entry::Noted { kind: kind @ Kind::A1c(a1c), words } => {
                [kind.word().to_owned(), a1c.to_string(), String::new(), words.clone()]
            }
            Entry::Noted { kind, words } => {
                let (amount, unit) = amount_and_unit(kind);
                [kind.word().to_owned(), amount, unit.to_owned(), words.clone()]
            }
            Entry::Treated(which) => {
                let which = which.map_or("", Excursion::word).to_owned();
                ["treated".to_owned(), which, String::new(), String::new()]
            }
            Entry::Meant => ["meant".to_owned(), String::new(), String::new(), String::new()],
            Entry::Seen => ["seen".to_owned(), String::new(), String::new(), String::new()],
            Entry::SeenBy(words) => ["seen".to_owned(), String::new(), String::new(), words.clone()],
        };
        let told: Vec<&str> = parts.iter().map(String::as_str).filter(|part| !part.is_empty()).collect();
        out.write_str(&told.join(" "))
    }
}

/// How much a note says, and in which unit; both may be empty.
#[must_use]
pub fn amount_and_unit(kind: &Kind) -> (String, &'static str) {
    match kind {
        Kind::Insulin(Some(amount)) | Kind::LongActing(Some(amount)) => (amount.to_string(), "U"),
        Kind::Carbohydrate(Some(amount)) => (amount.to_string(), "g"),
        Kind::Meter(glucose) => (glucose.shown(glucose.received(), None), glucose.received().name()),
        Kind::Ketones(amount) => (amount.to_string(), "mmol/L"),
        Kind::KetonesHigh => ("HI".to_owned(), "mmol/L"),
        Kind::UrineKetones(urine) => (urine.name().to_owned(), "in urine"),
        Kind::A1c(a1c) => (a1c.amount().to_string(), a1c.unit().name()),
        _ => (String::new(), ""),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::diary::Amount;
    use crate::domain::glucose::{Glucose, Unit};

    fn written(kind: Kind, words: &str) -> Written {
        Written { at: Timestamp::from_seconds(60), what: Entry::Noted { kind, words: words.to_owned() } }
    }

    #[test]
    fn keys_tell_apart_what_differs_and_nothing_else() {
        let four = || written(Kind::Insulin(Amount::parse("4,0")), "supper");
        assert_eq!(four().key(), "60000\tinsulin\t4\tU\tsupper");
        assert_eq!(four().key(), written(Kind::Insulin(Amount::parse("4")), "supper").key());
        let others = [
            Written { at: Timestamp::from_seconds(61), ..four() },
            written(Kind::Insulin(Amount::parse("4.5")), "supper"),
            written(Kind::Insulin(None), "supper"),
            written(Kind::Carbohydrate(Amount::parse("4")), "supper"),
            written(Kind::Insulin(Amount::parse("4")), "breakfast"),
            Written { what: Entry::Treated(None), ..four() },
            Written { what: Entry::Treated(Some(Excursion::High)), ..four() },
            Written { what: Entry::Seen, ..four() },
        ];
        let keys: std::collections::BTreeSet<String> = others.iter().chain([&four()]).map(Written::key).collect();
        assert_eq!(keys.len(), others.len() + 1, "{keys:?}");
    }

    #[test]
    fn a_line_reads_back_in_words() {
        let meter = Kind::Meter(Glucose::parse("5.4", Unit::MmolL).unwrap());
        assert_eq!(written(meter, "").to_string(), "meter 5.4 mmol/L");
        let at = Timestamp::from_seconds(60);
        let treated = Written { at, what: Entry::Treated(Some(Excursion::Low)) };
        assert_eq!(treated.to_string(), "treated low");
        assert_eq!(treated.note(at).unwrap().words, "treated low");
        assert_eq!(Written { what: Entry::Seen, ..treated }.note(at), None);
    }

    #[test]
    fn a_late_line_enters_the_diary_only_but_a_sensor_goes_on_living() {
        let only = |kind: Kind, late: Span| written(kind, "").is_diary_only(Timestamp::from_seconds(60) + late);
        assert!(!only(Kind::Insulin(None), Span::hours(4)));
        assert!(only(Kind::Insulin(None), Span::minutes(241)));
        for kind in [Kind::SensorStart(None), Kind::SensorStop(None)] {
            assert!(!only(kind.clone(), Span::hours(30 * 24)));
            assert!(only(kind, Span::minutes(30 * 24 * 60 + 1)));
        }
        let treated = Written { at: Timestamp::from_seconds(60), what: Entry::Treated(None) };
        assert!(treated.is_diary_only(Timestamp::from_seconds(60) + Span::minutes(241)));
    }

    #[test]
    fn a_line_ahead_of_the_clock_is_noted_as_now() {
        let now = Timestamp::from_seconds(30);
        assert_eq!(written(Kind::Scan, "").note(now).unwrap().at, now);
    }
}
