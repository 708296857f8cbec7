//! Hours of the week by the wearer's clock: `mon-fri 09:00-12:00; sat,sun 23:00-09:00`. Asks no clock what time
//! it is.

use super::local::{Hours, Meaning, Stretch, Zone};
use super::reminder::Weekdays;
use super::time::{Span, Timestamp};
use chrono::Datelike;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// Every edge of a week is within so many days of any instant, hours over midnight and clock changes included.
const DAYS_AROUND: i64 = 9;

/// Hours on some days of the week; hours over midnight belong to the day they begin on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Part {
    days: Weekdays,
    hours: Hours,
}

/// Hours of a week, none or several.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Schedule {
    parts: Vec<Part>,
}

impl Schedule {
    /// Reads `23:00-07:00` (every day), `mon-fri 09:00-12:00`, or several, parted by `;`.
    ///
    /// ```
    /// use recheck::domain::schedule::Schedule;
    /// let school = Schedule::parse("mon-fri 08:00-16:00; sat 9:00-13:00").unwrap();
    /// assert_eq!(school.to_string(), "Mon, Tue, Wed, Thu, Fri 08:00-16:00; Sat 09:00-13:00");
    /// assert_eq!(Schedule::parse("someday 08:00-16:00"), None);
    /// ```
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let parts: Vec<Part> = text.split(';').map(|part| Part::parse(part.trim())).collect::<Option<_>>()?;
        Some(Self { parts })
    }

    /// The same hours every day.
    #[must_use]
    pub fn daily(hours: Hours) -> Self {
        Self { parts: vec![Part { days: Weekdays::ALL, hours }] }
    }

    /// Are there no hours in it?
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.parts.is_empty()
    }

    /// The hours of two together.
    #[must_use]
    pub fn with(&self, other: &Self) -> Self {
        Self { parts: self.parts.iter().chain(&other.parts).copied().collect() }
    }

    /// The stretch that holds an instant, by that zone's wall clock; one that is longer than a week is told as
    /// ending in a week.
    #[must_use]
    pub fn stretch(&self, zone: Zone, at: Timestamp) -> Stretch {
        let week = Span::hours(24 * 7);
        let mut inside = self.around(zone, at);
        inside.sort_unstable();
        // Hours that overlap or touch are one stretch.
        let mut merged: Vec<(Timestamp, Timestamp)> = Vec::with_capacity(inside.len());
        for (from, to) in inside {
            match merged.last_mut() {
                Some((_, end)) if from <= *end => *end = (*end).max(to),
                _ => merged.push((from, to)),
            }
        }
        let next = merged.partition_point(|(from, _)| *from <= at);
        let ended = match merged.get(next.wrapping_sub(1)) {
            Some((from, to)) if at < *to => return Stretch { inside: true, from: *from, until: *to },
            Some((_, to)) => *to,
            None => at - week,
        };
        let until = merged.get(next).map_or(at + week, |(from, _)| *from);
        Stretch { inside: false, from: ended, until }
    }

    fn around(&self, zone: Zone, at: Timestamp) -> Vec<(Timestamp, Timestamp)> {
        let today = zone.wall(at).date();
        // The first time a clock shows an edge counts; in a skipped hour, when it would have.
        let edge = |wall| match zone.meaning(wall) {
            Meaning::Once(edge) | Meaning::Twice(edge, _) | Meaning::Skipped(edge) => edge,
        };
        let mut found = Vec::new();
        for day in (-DAYS_AROUND..=DAYS_AROUND).map(|offset| today + chrono::Duration::days(offset)) {
            for Part { days, hours } in &self.parts {
                if !days.holds_day(day.weekday()) {
                    continue;
                }
                let ends = day + chrono::Duration::days(i64::from(hours.to < hours.from));
                found.push((edge(day.and_time(hours.from.on_clock())), edge(ends.and_time(hours.to.on_clock()))));
            }
        }
        found
    }
}

impl Part {
    fn parse(text: &str) -> Option<Self> {
        let (days, hours) = match text.rsplit_once(' ') {
            Some((days, hours)) => (Weekdays::parse_ranges(days)?, hours),
            None => (Weekdays::ALL, text),
        };
        Some(Self { days, hours: Hours::parse(hours)? })
    }
}

impl std::fmt::Display for Schedule {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        for (place, Part { days, hours }) in self.parts.iter().enumerate() {
            let between = if place == 0 { "" } else { "; " };
            if *days == Weekdays::ALL {
                write!(out, "{between}{hours}")?;
            } else {
                write!(out, "{between}{days} {hours}")?;
            }
        }
        Ok(())
    }
}

impl Serialize for Schedule {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Schedule {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        if text.is_empty() {
            return Ok(Self::default());
        }
        Self::parse(&text).ok_or_else(|| serde::de::Error::custom(format!("{text} are no hours of a week")))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::DateTime;

    fn at(text: &str) -> Timestamp {
        Timestamp::from_millis(DateTime::parse_from_rfc3339(text).unwrap().timestamp_millis())
    }

    #[test]
    fn days_of_the_week_count_by_the_day_on_which_hours_begin() {
        let weekend = Schedule::parse("sat,sun 23:00-09:00").unwrap();
        // 2026-03-02 is a Monday.
        let monday = weekend.stretch(Zone::UTC, at("2026-03-02T08:00:00Z"));
        assert_eq!(
            monday,
            Stretch { inside: true, from: at("2026-03-01T23:00:00Z"), until: at("2026-03-02T09:00:00Z") }
        );
        let tuesday = weekend.stretch(Zone::UTC, at("2026-03-03T08:00:00Z"));
        assert_eq!(
            tuesday,
            Stretch { inside: false, from: at("2026-03-02T09:00:00Z"), until: at("2026-03-07T23:00:00Z") }
        );
    }

    #[test]
    fn hours_that_overlap_or_touch_are_one_stretch() {
        let both = Schedule::parse("23:00-07:00").unwrap().with(&Schedule::parse("mon 06:00-10:00").unwrap());
        let monday = both.stretch(Zone::UTC, at("2026-03-02T05:00:00Z"));
        assert_eq!(
            (monday.inside, monday.from, monday.until),
            (true, at("2026-03-01T23:00:00Z"), at("2026-03-02T10:00:00Z"))
        );
        assert_eq!(both.stretch(Zone::UTC, at("2026-03-03T05:00:00Z")).until, at("2026-03-03T07:00:00Z"));
    }

    /// Both clock changes in Madrid and in a zone of half hours; instants as in local.rs.
    #[test]
    fn clock_changes_move_the_edges_with_the_wall_clock() {
        let madrid = Zone::named("Europe/Madrid").unwrap();
        let night = Schedule::parse("sat 23:00-07:00").unwrap();
        let spring = night.stretch(madrid, at("2026-03-29T00:30:00Z"));
        assert_eq!(spring.until - spring.from, Span::hours(7));
        let autumn = night.stretch(madrid, at("2026-10-25T00:30:00Z"));
        assert_eq!(autumn.until - autumn.from, Span::hours(9));
        let howe = Zone::named("Australia/Lord_Howe").unwrap();
        let late = night.stretch(howe, at("2026-04-04T15:30:00Z"));
        assert_eq!((late.inside, (late.until - late.from).as_minutes()), (true, 8 * 60 + 30));
    }

    /// The union of single days' hours, asked minute by minute.
    #[test]
    fn a_week_agrees_with_its_days_one_by_one() {
        let week = Schedule::parse("mon-fri 22:30-06:15; sat 01:00-02:00; sun 13:00-13:30").unwrap();
        let begin = at("2026-03-02T00:00:00Z");
        for minute in 0..7 * 1_440 {
            let (day, of_day) = (minute / 1_440, minute % 1_440);
            let evening = day < 5 && of_day >= 22 * 60 + 30;
            let morning = (1..=5).contains(&day) && of_day < 6 * 60 + 15;
            let saturday = day == 5 && (60..120).contains(&of_day);
            let sunday = day == 6 && (780..810).contains(&of_day);
            let now = begin + Span::minutes(minute);
            let stretch = week.stretch(Zone::UTC, now);
            assert_eq!(stretch.inside, evening || morning || saturday || sunday, "{day} {of_day}");
            assert!(stretch.from <= now && now < stretch.until);
        }
    }

    #[test]
    fn no_hours_are_never() {
        let never = Schedule::default().stretch(Zone::UTC, at("2026-03-02T08:00:00Z"));
        assert!(!never.inside && never.until > never.from);
    }

    #[test]
    fn schedules_are_read_strictly_and_go_through_text() {
        for bad in ["", ";", "mon", "mon-fri", "mon-fri 9-12", "fri-mon-tue 09:00-10:00", "09:00-09:00", "23:00-07:00;"]
        {
            assert_eq!(Schedule::parse(bad), None, "{bad}");
        }
        for good in ["23:00-07:00", "sat-mon 08:00-09:00; 12:00-13:00"] {
            let read = Schedule::parse(good).unwrap();
            let text = serde_json::to_string(&read).unwrap();
            assert_eq!(serde_json::from_str::<Schedule>(&text).unwrap(), read);
        }
        assert_eq!(Schedule::parse("sat-mon 08:00-09:00").unwrap().to_string(), "Mon, Sat, Sun 08:00-09:00");
    }
}
