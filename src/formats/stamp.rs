//! Reads the time in a cell. Guesses no format: ISO 8601 as written below, or the pattern in the settings.

use crate::domain::local::{Local, Meaning};
use crate::domain::time::Timestamp;
use chrono::{DateTime, FixedOffset, NaiveDate, NaiveDateTime};
use serde::{Deserialize, Serialize};

/// How times are written.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Stamp {
    /// `2026-03-02 14:10`, with `T` or a space, with or without seconds and their fraction, with or
    /// without an offset (`Z`, `+01:00`, `+0100`). An offset wins over the zone in the settings.
    Iso,
    /// A pattern of the usual `%Y-%m-%d %H:%M:%S` kind; `%z` in it makes the offset win.
    Pattern(String),
    /// Whole seconds since 1970-01-01T00:00:00Z.
    EpochSeconds,
    /// Milliseconds since then.
    EpochMillis,
}

/// A time as read from one cell.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Read {
    /// One instant.
    Once(Timestamp),
    /// A wall-clock time that comes twice, such as the hour that an autumn change repeats.
    Twice(Timestamp, Timestamp),
    /// A wall-clock time that never comes, such as the hour that a spring change skips.
    Skipped(Timestamp),
}

impl Stamp {
    /// By its name in the settings; anything that is no name is a pattern.
    #[must_use]
    pub fn named(text: &str) -> Self {
        match text {
            "iso" => Self::Iso,
            "epoch_s" => Self::EpochSeconds,
            "epoch_ms" => Self::EpochMillis,
            pattern => Self::Pattern(pattern.to_owned()),
        }
    }

    /// Its name in the settings.
    #[must_use]
    pub fn name(&self) -> &str {
        match self {
            Self::Iso => "iso",
            Self::EpochSeconds => "epoch_s",
            Self::EpochMillis => "epoch_ms",
            Self::Pattern(pattern) => pattern,
        }
    }

    /// What to say was expected.
    #[must_use]
    pub fn expected(&self) -> String {
        match self {
            Self::Iso => "a time such as 2026-03-02 14:10:00".to_owned(),
            Self::Pattern(pattern) => format!("a time written as {pattern}"),
            Self::EpochSeconds => "seconds since 1970, such as 1772460600".to_owned(),
            Self::EpochMillis => "milliseconds since 1970, such as 1772460600000".to_owned(),
        }
    }

    /// Reads one cell; `None` when it is not a time in this format. A time without an offset is read by
    /// `clock`: a zone, or the clock of a wearer who travels.
    #[must_use]
    pub fn read(&self, cell: &str, clock: impl Local) -> Option<Read> {
        let cell = cell.trim();
        match self {
            Self::Iso => {
                let (wall, offset) = iso(cell.as_bytes())?;
                Some(match offset {
                    Some(seconds) => Read::Once(Timestamp::from_millis(
                        wall.and_utc().timestamp_millis() - i64::from(seconds) * 1_000,
                    )),
                    None => by_clock(wall, &clock),
                })
            }
            Self::EpochSeconds => Some(Read::Once(Timestamp::from_seconds(epoch(cell, 10)?))),
            Self::EpochMillis => Some(Read::Once(Timestamp::from_millis(epoch(cell, 13)?))),
            Self::Pattern(pattern) if pattern.contains("%z") || pattern.contains("%:z") => {
                let moment: DateTime<FixedOffset> = DateTime::parse_from_str(cell, pattern).ok()?;
                Some(Read::Once(Timestamp::from_millis(moment.timestamp_millis())))
            }
            Self::Pattern(pattern) => Some(by_clock(NaiveDateTime::parse_from_str(cell, pattern).ok()?, &clock)),
        }
    }
}

/// So many digits: from 2001 on, seconds have ten and milliseconds thirteen.
fn epoch(cell: &str, digits: usize) -> Option<i64> {
    (cell.len() == digits && cell.bytes().all(|byte| byte.is_ascii_digit())).then(|| cell.parse().ok()).flatten()
}

fn by_clock(wall: NaiveDateTime, clock: &impl Local) -> Read {
    match clock.meaning(wall) {
        Meaning::Once(at) => Read::Once(at),
        Meaning::Twice(earlier, later) => Read::Twice(earlier, later),
        Meaning::Skipped(at) => Read::Skipped(at),
    }
}

/// Wall time and, where written, its offset in seconds.
fn iso(text: &[u8]) -> Option<(NaiveDateTime, Option<i32>)> {
    if text.len() < 16 || text[4] != b'-' || text[7] != b'-' || !matches!(text[10], b' ' | b'T') || text[13] != b':' {
        return None;
    }
    let date = NaiveDate::from_ymd_opt(
        i32::try_from(number(&text[0..4])?).ok()?,
        number(&text[5..7])?,
        number(&text[8..10])?,
    )?;
    let (hour, minute) = (number(&text[11..13])?, number(&text[14..16])?);
    let mut rest = &text[16..];
    let mut second = 0;
    let mut milli = 0;
    if let [b':', tens, ones, after @ ..] = rest {
        second = number(&[*tens, *ones])?;
        rest = after;
        if let [b'.' | b',', fraction @ ..] = rest {
            let digits = fraction.iter().take_while(|byte| byte.is_ascii_digit()).count();
            if digits == 0 || digits > 9 {
                return None;
            }
            for place in 0..3 {
                milli = milli * 10 + fraction[..digits].get(place).map_or(0, |byte| u32::from(byte - b'0'));
            }
            rest = &fraction[digits..];
        }
    }
    let wall = date.and_hms_milli_opt(hour, minute, second, milli)?;
    Some((wall, offset(rest).ok()?))
}

/// The offset in seconds, none when none is written; an error when what stands there is not one.
fn offset(text: &[u8]) -> Result<Option<i32>, NotAnOffset> {
    let (sign, digits): (i32, &[u8]) = match text {
        [] => return Ok(None),
        [b'Z' | b'z'] => return Ok(Some(0)),
        [b'+', digits @ ..] => (1, digits),
        [b'-', digits @ ..] => (-1, digits),
        _ => return Err(NotAnOffset),
    };
    let (hours, minutes) = match digits {
        [a, b] => (number(&[*a, *b]), Some(0)),
        [a, b, c, d] | [a, b, b':', c, d] => (number(&[*a, *b]), number(&[*c, *d])),
        _ => return Err(NotAnOffset),
    };
    match (hours, minutes) {
        (Some(hours @ 0..24), Some(minutes @ 0..60)) => {
            let seconds = i32::try_from(hours * 3_600 + minutes * 60).map_err(|_| NotAnOffset)?;
            Ok(Some(sign * seconds))
        }
        (_, _) => Err(NotAnOffset),
    }
}

struct NotAnOffset;

fn number(digits: &[u8]) -> Option<u32> {
    digits.iter().try_fold(0_u32, |value, byte| byte.is_ascii_digit().then(|| value * 10 + u32::from(byte - b'0')))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::local::Zone;

    /// Held against chrono's own RFC 3339 reader, a general-purpose library.
    #[test]
    fn iso_agrees_with_a_general_reader() {
        for text in ["2026-03-02T14:10:00Z", "2024-02-29T23:59:59+05:45", "1999-12-31T00:00:00.250-08:00"] {
            let theirs = DateTime::parse_from_rfc3339(text).unwrap().timestamp_millis();
            assert_eq!(Stamp::Iso.read(text, Zone::UTC), Some(Read::Once(Timestamp::from_millis(theirs))), "{text}");
        }
    }

    #[test]
    fn refuses_what_is_not_a_time() {
        for text in [
            "",
            "2026-02-30 10:00",
            "2026-3-2 10:00",
            "2026-03-02",
            "2026-03-02 24:00",
            "2026-03-02 10:00 x",
            "2026-03-02 10:00:00+25:00",
        ] {
            assert_eq!(Stamp::Iso.read(text, Zone::UTC), None, "{text}");
        }
    }

    #[test]
    fn patterns_from_the_settings() {
        let stamp = Stamp::Pattern("%d/%m/%Y %H:%M".to_owned());
        let iso = Stamp::Iso.read("2026-03-02 14:10", Zone::UTC);
        assert_eq!(stamp.read("02/03/2026 14:10", Zone::UTC), iso);
    }
}
