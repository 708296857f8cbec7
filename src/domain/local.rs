//! The wearer's clock on the wall: zones, hours of the day, the night. Asks no clock what time it is.

use super::time::{Span, Timestamp};
use chrono::{DateTime, LocalResult, NaiveDateTime, NaiveTime, TimeZone, Timelike, Utc};
use chrono_tz::Tz;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// A time zone by its name in the tz database, such as `Europe/Madrid`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Zone(Tz);

/// What a local time without an offset can mean.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Meaning {
    /// One instant.
    Once(Timestamp),
    /// The repeated hour of an autumn change, or of a journey west: the earlier and the later instant.
    Twice(Timestamp, Timestamp),
    /// The skipped hour of a spring change, read with the offset in force before it (the rule of
    /// RFC 5545 section 3.3.5); or hours that a journey east skips, read by the clock at home.
    Skipped(Timestamp),
}

impl Meaning {
    /// The first instant of them; of a time that is skipped, when it would have been.
    #[must_use]
    pub const fn first(self) -> Timestamp {
        match self {
            Self::Once(at) | Self::Twice(at, _) | Self::Skipped(at) => at,
        }
    }
}

/// What reads a wall clock time that carries no offset.
pub trait Local {
    /// What the wall clock time means.
    fn meaning(&self, wall: NaiveDateTime) -> Meaning;
}

impl Local for Zone {
    fn meaning(&self, wall: NaiveDateTime) -> Meaning {
        Self::meaning(*self, wall)
    }
}

impl<T: Local> Local for &T {
    fn meaning(&self, wall: NaiveDateTime) -> Meaning {
        T::meaning(self, wall)
    }
}

impl Zone {
    /// Coordinated universal time.
    pub const UTC: Self = Self(Tz::UTC);

    /// The zone of that name.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        name.parse().ok().map(Self)
    }

    /// All names there are.
    pub fn names() -> impl Iterator<Item = &'static str> {
        chrono_tz::TZ_VARIANTS.iter().map(|zone| zone.name())
    }

    /// Its name.
    #[must_use]
    pub fn name(self) -> &'static str {
        self.0.name()
    }

    /// What the wall clock shows at an instant.
    #[must_use]
    pub fn wall(self, at: Timestamp) -> NaiveDateTime {
        self.dated(at).naive_local()
    }

    /// What a wall clock time means here.
    #[must_use]
    pub fn meaning(self, wall: NaiveDateTime) -> Meaning {
        let stamp = |moment: DateTime<Tz>| Timestamp::from_millis(moment.timestamp_millis());
        match self.0.from_local_datetime(&wall) {
            LocalResult::Single(moment) => Meaning::Once(stamp(moment)),
            LocalResult::Ambiguous(earlier, later) => Meaning::Twice(stamp(earlier), stamp(later)),
            LocalResult::None => {
                // No change skips more than a day: the offset a day earlier is the one before it.
                let before = self.0.offset_from_utc_datetime(&(wall - chrono::Duration::days(1)));
                let seconds = i64::from(chrono::Offset::fix(&before).local_minus_utc());
                Meaning::Skipped(Timestamp::from_seconds(wall.and_utc().timestamp() - seconds))
            }
        }
    }

    /// `14:10`.
    #[must_use]
    pub fn clock(self, at: Timestamp) -> String {
        let wall = self.wall(at);
        format!("{:02}:{:02}", wall.hour(), wall.minute())
    }

    /// `14:10` on the day of `today`, `Mon 14:10` within the last or next six days, else `2026-03-02 14:10`.
    #[must_use]
    pub fn clock_seen_from(self, at: Timestamp, today: Timestamp) -> String {
        let (wall, now) = (self.wall(at), self.wall(today));
        match (wall.date() - now.date()).num_days() {
            0 => self.clock(at),
            -6..=6 => format!("{} {}", wall.format("%a"), self.clock(at)),
            _ => format!("{} {}", wall.format("%Y-%m-%d"), self.clock(at)),
        }
    }

    /// RFC 3339 with this zone's offset at that instant, to the second: `2026-03-02T14:10:00+01:00`.
    #[must_use]
    pub fn rfc3339(self, at: Timestamp) -> String {
        self.dated(at).format("%Y-%m-%dT%H:%M:%S%:z").to_string()
    }

    /// The beginning of the day that holds an instant; of a midnight that is skipped, when it would have been.
    #[must_use]
    pub fn midnight(self, at: Timestamp) -> Timestamp {
        self.meaning(self.wall(at).date().and_time(NaiveTime::MIN)).first()
    }

    /// The instants around one at which this clock shows a time of day, in order: the first where it comes twice,
    /// and where it is skipped, when it would have been.
    pub fn shows(self, time: TimeOfDay, around: Timestamp) -> impl Iterator<Item = Timestamp> {
        let today = self.wall(around).date();
        (-2..=2).map(move |offset| {
            let day = today + chrono::Duration::days(offset);
            self.meaning(day.and_time(time.on_clock())).first()
        })
    }

    fn dated(self, at: Timestamp) -> DateTime<Tz> {
        let utc: DateTime<Utc> = DateTime::from_timestamp_millis(at.millis()).unwrap_or_default();
        self.0.from_utc_datetime(&utc.naive_utc())
    }
}

impl Serialize for Zone {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.name())
    }
}

impl<'de> Deserialize<'de> for Zone {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let name = String::deserialize(deserializer)?;
        Self::named(&name).ok_or_else(|| serde::de::Error::custom(format!("no time zone is called {name}")))
    }
}

/// A time of day in minutes after midnight, 0 to 1439.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(transparent)]
pub struct TimeOfDay(u16);

impl TimeOfDay {
    /// Reads `23:00` or `7:05`.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let (hours, minutes) = text.trim().split_once(':')?;
        let plain = |part: &str| !part.is_empty() && part.len() <= 2 && part.bytes().all(|b| b.is_ascii_digit());
        if !plain(hours) || !plain(minutes) || minutes.len() != 2 {
            return None;
        }
        let (hours, minutes): (u16, u16) = (hours.parse().ok()?, minutes.parse().ok()?);
        (hours < 24 && minutes < 60).then_some(Self(hours * 60 + minutes))
    }

    /// As chrono has it.
    #[must_use]
    pub fn on_clock(self) -> NaiveTime {
        NaiveTime::from_num_seconds_from_midnight_opt(u32::from(self.0) * 60, 0).unwrap_or(NaiveTime::MIN)
    }
}

impl std::fmt::Display for TimeOfDay {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(out, "{:02}:{:02}", self.0 / 60, self.0 % 60)
    }
}

/// Hours of every day by the wall clock, from one time to another, over midnight if the first is later.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Hours {
    /// First minute inside.
    pub from: TimeOfDay,
    /// First minute outside again.
    pub to: TimeOfDay,
}

/// A stretch of time that is wholly inside or wholly outside some hours.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stretch {
    /// Inside the hours?
    pub inside: bool,
    /// First instant of it.
    pub from: Timestamp,
    /// First instant after it.
    pub until: Timestamp,
}

impl Hours {
    /// Reads `23:00-07:00`; the two ends must differ.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let (from, to) = text.split_once('-')?;
        let (from, to) = (TimeOfDay::parse(from)?, TimeOfDay::parse(to)?);
        (from != to).then_some(Self { from, to })
    }

    /// The stretch that holds an instant, by that zone's wall clock.
    #[must_use]
    pub fn stretch(self, zone: Zone, at: Timestamp) -> Stretch {
        let opens = zone.shows(self.from, at).map(|edge| (edge, true));
        let closes = zone.shows(self.to, at).map(|edge| (edge, false));
        let mut edges: Vec<(Timestamp, bool)> = opens.chain(closes).collect();
        edges.sort_unstable();
        let next = edges.partition_point(|(edge, _)| *edge <= at);
        let (from, inside) = edges.get(next.wrapping_sub(1)).copied().unwrap_or((at, false));
        let until = edges.get(next).map_or(at + Span::hours(1), |(edge, _)| *edge);
        Stretch { inside, from, until }
    }
}

impl std::fmt::Display for Hours {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(out, "{}-{}", self.from, self.to)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wall(text: &str) -> NaiveDateTime {
        NaiveDateTime::parse_from_str(text, "%Y-%m-%d %H:%M").unwrap()
    }

    fn at(text: &str) -> Timestamp {
        Timestamp::from_millis(DateTime::parse_from_rfc3339(text).unwrap().timestamp_millis())
    }

    /// Instants from the tz database, as Python's zoneinfo reads it; fold 0 of a skipped time is the one
    /// with the offset before the change:
    ///
    ///     python3 -c 'from datetime import *; from zoneinfo import ZoneInfo as Z
    ///     for z, w in [("Europe/Madrid", "2026-03-29 02:30"), ("Europe/Madrid", "2026-10-25 02:30"),
    ///       ("America/New_York", "2026-03-08 02:30"), ("America/New_York", "2026-11-01 01:30"),
    ///       ("Australia/Lord_Howe", "2026-10-04 02:15"), ("Australia/Lord_Howe", "2026-04-05 01:45")]:
    ///       print(z, w, *[datetime.fromisoformat(w).replace(tzinfo=Z(z), fold=f).astimezone(UTC) for f in (0, 1)])'
    #[test]
    fn both_clock_changes_in_three_zones() {
        let (madrid, york, howe) = ("Europe/Madrid", "America/New_York", "Australia/Lord_Howe");
        for (zone, skipped, means) in [
            (madrid, "2026-03-29 02:30", "2026-03-29T01:30:00Z"),
            (york, "2026-03-08 02:30", "2026-03-08T07:30:00Z"),
            (howe, "2026-10-04 02:15", "2026-10-03T15:45:00Z"),
        ] {
            assert_eq!(Zone::named(zone).unwrap().meaning(wall(skipped)), Meaning::Skipped(at(means)), "{zone}");
        }
        for (zone, repeated, earlier, later) in [
            (madrid, "2026-10-25 02:30", "2026-10-25T00:30:00Z", "2026-10-25T01:30:00Z"),
            (york, "2026-11-01 01:30", "2026-11-01T05:30:00Z", "2026-11-01T06:30:00Z"),
            (howe, "2026-04-05 01:45", "2026-04-04T14:45:00Z", "2026-04-04T15:15:00Z"),
        ] {
            let means = Meaning::Twice(at(earlier), at(later));
            assert_eq!(Zone::named(zone).unwrap().meaning(wall(repeated)), means, "{zone}");
        }
    }

    #[test]
    fn the_night_spans_midnight_and_the_clock_changes() {
        let madrid = Zone::named("Europe/Madrid").unwrap();
        let night = Hours::parse("23:00-07:00").unwrap();
        let spring = night.stretch(madrid, at("2026-03-29T00:30:00Z"));
        assert_eq!(
            spring,
            Stretch { inside: true, from: at("2026-03-28T22:00:00Z"), until: at("2026-03-29T05:00:00Z") }
        );
        let autumn = night.stretch(madrid, at("2026-10-25T00:30:00Z"));
        assert_eq!(autumn.until - autumn.from, Span::hours(9));
        let noon = night.stretch(madrid, at("2026-06-01T10:00:00Z"));
        assert!(!noon.inside);
        assert_eq!(madrid.clock(noon.until), "23:00");
        assert!(night.stretch(madrid, noon.until).inside);
    }

    #[test]
    fn times_of_day_are_read_strictly() {
        for bad in ["24:00", "7", "7:5", "a:00", "07:60", "", ":"] {
            assert_eq!(TimeOfDay::parse(bad), None, "{bad}");
        }
        assert_eq!(Hours::parse("07:00-07:00"), None);
    }

    #[test]
    fn stamps_carry_the_offset_in_force() {
        let madrid = Zone::named("Europe/Madrid").unwrap();
        assert_eq!(madrid.rfc3339(at("2026-01-05T12:00:00Z")), "2026-01-05T13:00:00+01:00");
        assert_eq!(madrid.rfc3339(at("2026-07-05T12:00:00Z")), "2026-07-05T14:00:00+02:00");
    }
}
