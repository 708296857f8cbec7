//! What the wearer asks to be reminded of, and when a wall clock shows its time. Asks no clock what time it is.

use super::glucose::Glucose;
use super::local::{Local, Meaning};
use super::time::{Span, Timestamp};
use chrono::{DateTime, NaiveDateTime, Weekday};
use serde::{Deserialize, Serialize};

/// Most reminders at a time.
pub const REMINDERS_MAX: usize = 50;

/// Longest text, in characters.
pub const TEXT_CHARS_MAX: usize = 200;

/// A reminder that comes again comes no more often than this.
const EVERY_MIN: Span = Span::minutes(15);

const DAY_SECONDS: i64 = 86_400;

/// 1970-01-01, from which days are counted, was a Thursday: this many days after a Monday.
const FIRST_DAY_AFTER_MONDAY: i64 = 3;

const WEEKDAYS: [Weekday; 7] =
    [Weekday::Mon, Weekday::Tue, Weekday::Wed, Weekday::Thu, Weekday::Fri, Weekday::Sat, Weekday::Sun];

/// A new reminder, as it was asked for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Asked {
    /// The wearer's own words.
    pub text: String,
    /// When it is due; of one that comes again, for the first time.
    pub when: When,
    /// How it comes again, if it does.
    pub every: Option<Every>,
    /// What it rings for only, if not always.
    pub only: Option<Only>,
    /// When it was asked for.
    pub said: Timestamp,
}

/// When a reminder is due.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum When {
    /// At one instant, whatever the clocks show then.
    At(Timestamp),
    /// When the wearer's clock shows it.
    Wall(Wall),
}

impl When {
    /// The instant, by a clock; it was said at `said`.
    #[must_use]
    pub fn due(self, clock: impl Local, said: Timestamp) -> Timestamp {
        match self {
            Self::At(at) => at,
            Self::Wall(wall) => wall.after(clock, said),
        }
    }
}

/// What a clock on the wall shows, wherever it hangs, to the second: RFC 5545 section 3.3.5 calls it a
/// floating time, and names reminders at the same hour in whatever zone as its use.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Wall(i64);

impl Wall {
    /// From a date and a time of day.
    #[must_use]
    pub const fn of(shown: NaiveDateTime) -> Self {
        Self(shown.and_utc().timestamp())
    }

    /// The instant at which a clock shows it: of two the first after `after`, of none when it would have been.
    #[must_use]
    pub fn after(self, clock: impl Local, after: Timestamp) -> Timestamp {
        match clock.meaning(DateTime::from_timestamp(self.0, 0).unwrap_or_default().naive_utc()) {
            Meaning::Once(at) | Meaning::Skipped(at) => at,
            Meaning::Twice(earlier, later) => {
                if earlier > after {
                    earlier
                } else {
                    later
                }
            }
        }
    }
}

/// How a reminder comes again. Steps are steps of the hands of a clock: a day is to the same hour, whether it
/// has 23 hours, 24 or 25.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Every {
    /// After a span.
    Span(Span),
    /// On some days of the week, at the same time of day.
    Weekdays(Weekdays),
}

impl Every {
    /// Every so often; not more often than is of use.
    #[must_use]
    pub fn span(span: Span) -> Option<Self> {
        (span >= EVERY_MIN).then_some(Self::Span(span))
    }

    /// The first time at or after a time.
    #[must_use]
    pub fn first(self, from: Wall) -> Wall {
        match self {
            Self::Span(_) => from,
            Self::Weekdays(days) => days.first(from),
        }
    }

    /// The next time after the last one, and after what the clock shows now: what was missed in between is left.
    #[must_use]
    pub fn next(self, last: Wall, now: Wall) -> Wall {
        let step = match self {
            Self::Span(span) => (span.as_millis() / 1_000).max(1),
            Self::Weekdays(_) => DAY_SECONDS,
        };
        let steps = (now.0 - last.0).max(0) / step + 1;
        self.first(Wall(last.0 + steps * step))
    }
}

impl std::fmt::Display for Every {
    /// `every day`, `every 2 days`, `every 12 h`, `every Mon, Thu`.
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Span(span) => {
                let seconds = span.as_millis() / 1_000;
                match (seconds / DAY_SECONDS, seconds % DAY_SECONDS) {
                    (1, 0) => out.write_str("every day"),
                    (days, 0) => write!(out, "every {days} days"),
                    (_, _) => write!(out, "every {span}"),
                }
            }
            Self::Weekdays(days) => write!(out, "every {days}"),
        }
    }
}

/// Some days of the week, Monday in the lowest bit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Weekdays(u8);

impl Weekdays {
    /// Reads `thursday` or `mon,thu`.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let mut days = 0;
        for name in text.split([',', ' ']).filter(|name| !name.is_empty()) {
            let day: Weekday = name.parse().ok()?;
            days |= 1 << day.num_days_from_monday();
        }
        (days != 0).then_some(Self(days))
    }

    /// Every day.
    pub const ALL: Self = Self(0x7f);

    /// Reads `mon-fri` or `mon-thu,sat` as well; a range may go over Sunday.
    #[must_use]
    pub fn parse_ranges(text: &str) -> Option<Self> {
        let mut days = 0;
        for part in text.split(',') {
            let (first, last) = part.split_once('-').unwrap_or((part, part));
            let (first, last): (Weekday, Weekday) = (first.trim().parse().ok()?, last.trim().parse().ok()?);
            let length = (7 + last.num_days_from_monday() - first.num_days_from_monday()) % 7;
            days |= (0..=length).fold(0, |days, step| days | 1 << ((first.num_days_from_monday() + step) % 7));
        }
        Some(Self(days))
    }

    /// Is that day one of them?
    #[must_use]
    pub fn holds_day(self, day: Weekday) -> bool {
        self.holds(i64::from(day.num_days_from_monday()))
    }

    fn holds(self, days_after_monday: i64) -> bool {
        self.0 >> days_after_monday.rem_euclid(7) & 1 == 1
    }

    fn first(self, from: Wall) -> Wall {
        let day = from.0.div_euclid(DAY_SECONDS) + FIRST_DAY_AFTER_MONDAY;
        let wait = (0..7).find(|wait| self.holds(day + wait)).unwrap_or(0);
        Wall(from.0 + wait * DAY_SECONDS)
    }
}

impl std::fmt::Display for Weekdays {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let days: Vec<String> =
            (0..7).zip(WEEKDAYS).filter(|(place, _)| self.holds(*place)).map(|(_, day)| day.to_string()).collect();
        out.write_str(&days.join(", "))
    }
}

/// A reminder rings only when the value is beyond this.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Only {
    /// Above it.
    Above(Glucose),
    /// Below it.
    Below(Glucose),
}

impl Only {
    /// Is a value beyond it?
    #[must_use]
    pub const fn holds(self, value: Glucose) -> bool {
        match self {
            Self::Above(limit) => value.hundredths() > limit.hundredths(),
            Self::Below(limit) => value.hundredths() < limit.hundredths(),
        }
    }

    /// `above` or `below`.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Above(_) => "above",
            Self::Below(_) => "below",
        }
    }

    /// The limit.
    #[must_use]
    pub const fn limit(self) -> Glucose {
        match self {
            Self::Above(limit) | Self::Below(limit) => limit,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::local::Zone;

    fn wall(text: &str) -> Wall {
        Wall::of(NaiveDateTime::parse_from_str(text, "%Y-%m-%d %H:%M").unwrap())
    }

    fn at(text: &str) -> Timestamp {
        Timestamp::from_millis(DateTime::parse_from_rfc3339(text).unwrap().timestamp_millis())
    }

    fn series(every: Every, from: &str, count: usize) -> Vec<Wall> {
        let first = every.first(wall(from));
        std::iter::successors(Some(first), |last| Some(every.next(*last, *last))).take(count).collect()
    }

    /// Held against the recurrence rules of RFC 5545 as python-dateutil 2.9.0 reads them:
    ///
    ///     python3 -c 'from datetime import datetime; from dateutil.rrule import *
    ///     print(*rrule(WEEKLY, byweekday=(MO, TH), dtstart=datetime(2026, 12, 9, 9), count=4))
    ///     print(*rrule(HOURLY, interval=12, dtstart=datetime(2026, 12, 9, 14, 30), count=4))'
    #[test]
    fn what_comes_again_comes_as_the_rules_of_calendars_say() {
        let days = Every::Weekdays(Weekdays::parse("mon,thu").unwrap());
        let shown = ["2026-12-10 09:00", "2026-12-14 09:00", "2026-12-17 09:00", "2026-12-21 09:00"].map(wall);
        assert_eq!(series(days, "2026-12-09 09:00", 4), shown);
        let half_days = Every::span(Span::hours(12)).unwrap();
        let shown = ["2026-12-09 14:30", "2026-12-10 02:30", "2026-12-10 14:30", "2026-12-11 02:30"].map(wall);
        assert_eq!(series(half_days, "2026-12-09 14:30", 4), shown);
    }

    #[test]
    fn what_was_missed_is_left() {
        let daily = Every::span(Span::hours(24)).unwrap();
        let next = |every: Every, now: &str| every.next(wall("2026-12-09 14:30"), wall(now));
        assert_eq!(next(daily, "2026-12-12 14:29"), wall("2026-12-12 14:30"));
        assert_eq!(next(daily, "2026-12-12 14:30"), wall("2026-12-13 14:30"));
        // A clock that went back does not bring the same time again.
        assert_eq!(next(daily, "2026-12-09 08:00"), wall("2026-12-10 14:30"));
        let days = Every::Weekdays(Weekdays::parse("Wednesday").unwrap());
        assert_eq!(next(days, "2026-12-16 14:30"), wall("2026-12-23 14:30"));
    }

    /// 02:30 of both clock changes in Madrid as Python's zoneinfo reads it, fold 0 and, after it has passed,
    /// fold 1; the command stands in local.rs.
    #[test]
    fn a_skipped_time_falls_when_it_would_have_been_and_a_repeated_one_is_the_next() {
        let madrid = Zone::named("Europe/Madrid").unwrap();
        let after = |text: &str, now: &str| wall(text).after(madrid, at(now));
        assert_eq!(after("2026-03-29 02:30", "2026-03-28T12:00:00Z"), at("2026-03-29T01:30:00Z"));
        assert_eq!(after("2026-10-25 02:30", "2026-10-24T12:00:00Z"), at("2026-10-25T00:30:00Z"));
        assert_eq!(after("2026-10-25 02:30", "2026-10-25T00:40:00Z"), at("2026-10-25T01:30:00Z"));
    }

    #[test]
    fn days_and_spans_are_read_strictly_and_shown() {
        for (text, shown) in [("thu,mon", "Mon, Thu"), ("Sunday", "Sun"), ("tue wed", "Tue, Wed")] {
            assert_eq!(Weekdays::parse(text).unwrap().to_string(), shown);
        }
        for text in ["", "mo", "mon-fri", "day", ","] {
            assert_eq!(Weekdays::parse(text), None, "{text}");
        }
        assert_eq!(Every::span(Span::minutes(14)), None);
        for (hours, shown) in [(24, "every day"), (48, "every 2 days"), (12, "every 12 h"), (36, "every 36 h")] {
            assert_eq!(Every::span(Span::hours(hours)).unwrap().to_string(), shown);
        }
    }

    #[test]
    fn a_value_at_the_limit_is_not_beyond_it() {
        let limit = Glucose::mg_dl(180);
        let holds = |only: Only| [179, 180, 181].map(|value| only.holds(Glucose::mg_dl(value)));
        assert_eq!(holds(Only::Above(limit)), [false, false, true]);
        assert_eq!(holds(Only::Below(limit)), [true, false, false]);
    }
}
