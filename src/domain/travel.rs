//! Where the wearer is: home, and stretches of time in other zones. Reads wall times that carry no offset
//! by the clock the wearer had then.

use super::local::{Local, Meaning, Zone};
use super::time::{Span, Timestamp};
use chrono::NaiveDateTime;
use serde::{Deserialize, Serialize};

/// No zone of the tz database has ever been further from UTC than this.
const FURTHEST_HOURS: i64 = 16;

/// A stretch of time in another zone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Travel {
    /// The zone there.
    pub zone: Zone,
    /// First instant there.
    pub from: Timestamp,
    /// First instant after it.
    pub until: Timestamp,
}

/// The wearer's own clock: home, and the stretches spent elsewhere, in order and apart from each other.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WallClock {
    home: Zone,
    travels: Vec<Travel>,
}

impl Travel {
    /// Does it hold at an instant?
    #[must_use]
    pub fn holds(&self, at: Timestamp) -> bool {
        self.from <= at && at < self.until
    }
}

impl WallClock {
    /// The clock of somebody who stays at home.
    #[must_use]
    pub const fn at_home(home: Zone) -> Self {
        Self { home, travels: Vec::new() }
    }

    /// Home, with travels in the order they were said.
    #[must_use]
    pub fn new(home: Zone, travels: &[Travel]) -> Self {
        let mut clock = Self::at_home(home);
        for travel in travels {
            clock.add(*travel);
        }
        clock
    }

    /// The zone at home.
    #[must_use]
    pub const fn home(&self) -> Zone {
        self.home
    }

    /// The stretches spent elsewhere, in order.
    #[must_use]
    pub fn travels(&self) -> &[Travel] {
        &self.travels
    }

    /// The travel that holds at an instant.
    #[must_use]
    pub fn travel_at(&self, at: Timestamp) -> Option<&Travel> {
        self.travels.iter().find(|travel| travel.holds(at))
    }

    /// The zone in force at an instant.
    #[must_use]
    pub fn zone_at(&self, at: Timestamp) -> Zone {
        self.travel_at(at).map_or(self.home, |travel| travel.zone)
    }

    /// When the zone in force may change next.
    #[must_use]
    pub fn next_change(&self, after: Timestamp) -> Option<Timestamp> {
        self.travels.iter().flat_map(|travel| [travel.from, travel.until]).filter(|at| *at > after).min()
    }

    /// Adds a travel. What was said last counts: an older travel holds only before and after it.
    pub fn add(&mut self, travel: Travel) {
        let mut all: Vec<Travel> = Vec::with_capacity(self.travels.len() + 2);
        for old in &self.travels {
            all.push(Travel { until: old.until.min(travel.from), ..*old });
            all.push(Travel { from: old.from.max(travel.until), ..*old });
        }
        all.push(travel);
        all.retain(|travel| travel.from < travel.until);
        all.sort_by_key(|travel| travel.from);
        self.travels = all;
    }

    /// At home from an instant on. What was before it stays known; answers what no longer holds.
    pub fn end(&mut self, at: Timestamp) -> Vec<Travel> {
        let (ended, past): (Vec<Travel>, Vec<Travel>) = self.travels.iter().partition(|travel| travel.until > at);
        let begun = ended.iter().filter(|travel| travel.from < at).map(|travel| Travel { until: at, ..*travel });
        self.travels = past.into_iter().chain(begun).collect();
        ended
    }
}

impl Local for WallClock {
    /// Of home and each travel, the zone in which the instant falls into its own stretch. What two of them
    /// claim comes twice; what none claims is read by home.
    fn meaning(&self, wall: NaiveDateTime) -> Meaning {
        let around = Timestamp::from_millis(wall.and_utc().timestamp_millis());
        let (from, until) = (around - Span::hours(FURTHEST_HOURS), around + Span::hours(FURTHEST_HOURS));
        let near = || self.travels.iter().filter(|travel| travel.from < until && from < travel.until);
        let at_home = self.home.meaning(wall);
        if near().next().is_none() {
            return at_home;
        }
        let mut claimed: Option<(Timestamp, Timestamp)> = None;
        let mut claim = |at: Timestamp| {
            claimed = Some(claimed.map_or((at, at), |(first, last)| (first.min(at), last.max(at))));
        };
        let mut skipped = None;
        let home = std::iter::once((at_home, None));
        for (meaning, travel) in home.chain(near().map(|travel| (travel.zone.meaning(wall), Some(travel)))) {
            let is_own = |at: Timestamp| self.travel_at(at) == travel;
            match meaning {
                Meaning::Once(at) if is_own(at) => claim(at),
                Meaning::Twice(earlier, later) => {
                    [earlier, later].into_iter().filter(|at| is_own(*at)).for_each(&mut claim);
                }
                Meaning::Skipped(at) if is_own(at) => skipped = skipped.or(Some(at)),
                Meaning::Once(_) | Meaning::Skipped(_) => {}
            }
        }
        match (claimed, skipped, at_home) {
            (Some((first, last)), _, _) if first == last => Meaning::Once(first),
            (Some((first, last)), _, _) => Meaning::Twice(first, last),
            (None, Some(at), _) | (None, None, Meaning::Once(at) | Meaning::Twice(at, _) | Meaning::Skipped(at)) => {
                Meaning::Skipped(at)
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wall(text: &str) -> NaiveDateTime {
        NaiveDateTime::parse_from_str(text, "%Y-%m-%d %H:%M").unwrap()
    }

    fn at(text: &str) -> Timestamp {
        Timestamp::from_millis(chrono::DateTime::parse_from_rfc3339(text).unwrap().timestamp_millis())
    }

    fn travel(zone: &str, from: &str, until: &str) -> Travel {
        Travel { zone: Zone::named(zone).unwrap(), from: at(from), until: at(until) }
    }

    fn madrid(travels: &[Travel]) -> WallClock {
        WallClock::new(Zone::named("Europe/Madrid").unwrap(), travels)
    }

    /// Offsets from the tz database: Madrid +01:00 in winter, Tokyo +09:00, New York -05:00 in winter,
    /// Kolkata +05:30.
    ///
    ///     python3 -c 'from datetime import *; from zoneinfo import ZoneInfo as Z
    ///     for z in ["Europe/Madrid", "Asia/Tokyo", "America/New_York", "Asia/Kolkata"]:
    ///       print(z, datetime(2026, 12, 10, 12, tzinfo=Z(z)).utcoffset())'
    #[test]
    fn flying_east_skips_hours_and_flying_back_repeats_them() {
        let clock = madrid(&[travel("Asia/Tokyo", "2026-12-10T12:00:00Z", "2026-12-20T15:00:00Z")]);
        for (shown, means) in [
            ("2026-12-10 12:59", Meaning::Once(at("2026-12-10T11:59:00Z"))),
            // From 13:00 in Madrid the clock goes to 21:00 in Tokyo.
            ("2026-12-10 13:00", Meaning::Skipped(at("2026-12-10T12:00:00Z"))),
            ("2026-12-10 20:59", Meaning::Skipped(at("2026-12-10T19:59:00Z"))),
            ("2026-12-10 21:00", Meaning::Once(at("2026-12-10T12:00:00Z"))),
            ("2026-12-15 08:00", Meaning::Once(at("2026-12-14T23:00:00Z"))),
            // From 24:00 in Tokyo it goes back to 16:00 in Madrid.
            ("2026-12-20 15:59", Meaning::Once(at("2026-12-20T06:59:00Z"))),
            ("2026-12-20 16:00", Meaning::Twice(at("2026-12-20T07:00:00Z"), at("2026-12-20T15:00:00Z"))),
            ("2026-12-20 23:59", Meaning::Twice(at("2026-12-20T14:59:00Z"), at("2026-12-20T22:59:00Z"))),
            ("2026-12-21 00:00", Meaning::Once(at("2026-12-20T23:00:00Z"))),
        ] {
            assert_eq!(clock.meaning(wall(shown)), means, "{shown}");
        }
    }

    #[test]
    fn flying_six_hours_west_repeats_six_hours() {
        let clock = madrid(&[travel("America/New_York", "2026-12-10T18:00:00Z", "2026-12-12T05:00:00Z")]);
        for (shown, means) in [
            ("2026-12-10 12:59", Meaning::Once(at("2026-12-10T11:59:00Z"))),
            ("2026-12-10 13:00", Meaning::Twice(at("2026-12-10T12:00:00Z"), at("2026-12-10T18:00:00Z"))),
            ("2026-12-10 18:59", Meaning::Twice(at("2026-12-10T17:59:00Z"), at("2026-12-10T23:59:00Z"))),
            ("2026-12-10 19:00", Meaning::Once(at("2026-12-11T00:00:00Z"))),
            ("2026-12-12 03:00", Meaning::Skipped(at("2026-12-12T02:00:00Z"))),
            ("2026-12-12 06:00", Meaning::Once(at("2026-12-12T05:00:00Z"))),
        ] {
            assert_eq!(clock.meaning(wall(shown)), means, "{shown}");
        }
    }

    #[test]
    fn half_hours_and_a_clock_change_during_travel() {
        let kolkata = madrid(&[travel("Asia/Kolkata", "2026-12-10T12:00:00Z", "2026-12-20T18:30:00Z")]);
        assert_eq!(kolkata.meaning(wall("2026-12-10 17:30")), Meaning::Once(at("2026-12-10T12:00:00Z")));
        assert_eq!(kolkata.meaning(wall("2026-12-10 17:29")), Meaning::Skipped(at("2026-12-10T16:29:00Z")));
        // New York changes its clock on 2026-11-01 and Madrid did on 2026-10-25, both from the tz database.
        let york = madrid(&[travel("America/New_York", "2026-10-20T12:00:00Z", "2026-11-10T12:00:00Z")]);
        let twice = Meaning::Twice(at("2026-11-01T05:30:00Z"), at("2026-11-01T06:30:00Z"));
        assert_eq!(york.meaning(wall("2026-11-01 01:30")), twice);
        assert_eq!(york.meaning(wall("2026-10-25 02:30")), Meaning::Once(at("2026-10-25T06:30:00Z")));
        // And on 2026-03-08, three weeks before Madrid.
        let spring = madrid(&[travel("America/New_York", "2026-03-01T12:00:00Z", "2026-03-20T12:00:00Z")]);
        assert_eq!(spring.meaning(wall("2026-03-08 02:30")), Meaning::Skipped(at("2026-03-08T07:30:00Z")));
        assert_eq!(spring.meaning(wall("2026-03-29 02:30")), Meaning::Skipped(at("2026-03-29T01:30:00Z")));
    }

    /// Three instants: 02:30 twice in Madrid in the night of the autumn change, and again in New York.
    #[test]
    fn of_three_instants_the_first_and_the_last_count() {
        let clock = madrid(&[travel("America/New_York", "2026-10-25T03:00:00Z", "2026-10-30T12:00:00Z")]);
        let twice = Meaning::Twice(at("2026-10-25T00:30:00Z"), at("2026-10-25T06:30:00Z"));
        assert_eq!(clock.meaning(wall("2026-10-25 02:30")), twice);
    }

    /// Every instant of a year with three travels reads back from what the clock showed: it is the one
    /// meaning or one of two.
    #[test]
    fn what_the_clock_showed_reads_back() {
        let clock = madrid(&[
            travel("Asia/Tokyo", "2026-02-01T03:00:00Z", "2026-02-14T15:00:00Z"),
            travel("America/New_York", "2026-03-01T12:00:00Z", "2026-03-20T12:00:00Z"),
            travel("Australia/Lord_Howe", "2026-04-01T12:00:00Z", "2026-10-28T12:00:00Z"),
        ]);
        let (mut once, mut twice) = (0, 0);
        for quarter in 0..365 * 96 {
            let instant = at("2026-01-01T00:00:00Z") + Span::minutes(15 * quarter);
            match clock.meaning(clock.zone_at(instant).wall(instant)) {
                Meaning::Once(read) if read == instant => once += 1,
                Meaning::Twice(earlier, later) if earlier == instant || later == instant => twice += 1,
                other => panic!("{} is read as {other:?}", Zone::UTC.rfc3339(instant)),
            }
        }
        // Tokyo to Madrid 8 h, Madrid to New York 6 h, Lord Howe back 10 h, autumn there half an hour: each
        // of them is shown twice.
        assert_eq!((twice, once), (2 * (32 + 24 + 40 + 2), 365 * 96 - 2 * (32 + 24 + 40 + 2)));
    }

    #[test]
    fn what_was_said_last_counts() {
        let tokyo = travel("Asia/Tokyo", "2026-12-10T00:00:00Z", "2026-12-20T00:00:00Z");
        let seoul = travel("Asia/Seoul", "2026-12-12T00:00:00Z", "2026-12-14T00:00:00Z");
        let mut clock = madrid(&[tokyo, seoul]);
        let zone = |clock: &WallClock, text| clock.zone_at(at(text)).name();
        assert_eq!(zone(&clock, "2026-12-09T23:59:59Z"), "Europe/Madrid");
        assert_eq!(zone(&clock, "2026-12-11T00:00:00Z"), "Asia/Tokyo");
        assert_eq!(zone(&clock, "2026-12-13T00:00:00Z"), "Asia/Seoul");
        assert_eq!(zone(&clock, "2026-12-14T00:00:00Z"), "Asia/Tokyo");
        assert_eq!(clock.next_change(at("2026-12-13T00:00:00Z")), Some(at("2026-12-14T00:00:00Z")));
        assert_eq!(clock.end(at("2026-12-13T00:00:00Z")).len(), 2);
        assert_eq!(zone(&clock, "2026-12-13T00:00:00Z"), "Europe/Madrid");
        assert_eq!(zone(&clock, "2026-12-12T12:00:00Z"), "Asia/Seoul", "the past stays known");
        assert_eq!(clock.next_change(at("2026-12-13T00:00:00Z")), None);
    }
}
