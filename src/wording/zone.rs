//! Where the wearer is, in words, with both clocks.

use crate::domain::local::Zone;
use crate::domain::time::Timestamp;
use crate::domain::travel::{Travel, WallClock};
use chrono::NaiveDateTime;

/// `Asia/Tokyo until Sun 2026-12-20 24:00 there, 16:00 at home`; with its beginning if that is still to come.
#[must_use]
pub fn travel(travel: &Travel, home: Zone, now: Timestamp) -> String {
    let both = |at: Timestamp, end: bool| {
        let (day, there) = shown(travel.zone.wall(at), end);
        let (home_day, at_home) = shown(home.wall(at), end);
        let home_day = if home_day == day { String::new() } else { format!("{home_day} ") };
        format!("{day} {there} there, {home_day}{at_home} at home")
    };
    let from = if travel.from > now { format!(" from {}", both(travel.from, false)) } else { String::new() };
    let joint = if from.is_empty() { "" } else { "," };
    format!("{}{from}{joint} until {}", travel.zone.name(), both(travel.until, true))
}

/// The answer to a word about where the wearer is. `dropped` are travels that no longer hold.
#[must_use]
pub fn answer(said: Option<&Travel>, dropped: &[Travel], clock: &WallClock, now: Timestamp) -> String {
    let home = clock.home();
    match said {
        Some(said) => travel(said, home, now),
        None if dropped.is_empty() => format!("At home, {}. No travel was under way or planned.", home.name()),
        None => {
            let dropped: Vec<String> = dropped.iter().map(|gone| travel(gone, home, now)).collect();
            format!("At home from now on, {}. No longer: {}", home.name(), dropped.join("; "))
        }
    }
}

/// The day and the time of day; midnight as an end is 24:00 of the day before.
fn shown(wall: NaiveDateTime, end: bool) -> (String, String) {
    let day = |wall: NaiveDateTime| wall.format("%a %Y-%m-%d").to_string();
    let time = wall.format("%H:%M").to_string();
    if end && time == "00:00" {
        (day(wall - chrono::Duration::minutes(1)), "24:00".to_owned())
    } else {
        (day(wall), time)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> Timestamp {
        Timestamp::from_millis(chrono::DateTime::parse_from_rfc3339(text).unwrap().timestamp_millis())
    }

    /// Offsets of domain/travel.rs: Madrid +01:00 in winter, Tokyo +09:00, New York -05:00.
    #[test]
    fn both_clocks_are_told() {
        let madrid = Zone::named("Europe/Madrid").unwrap();
        let until = |zone: &str, from: &str, until: &str| {
            let there = Travel { zone: Zone::named(zone).unwrap(), from: at(from), until: at(until) };
            travel(&there, madrid, at("2026-12-10T12:00:00Z"))
        };
        assert_eq!(
            until("Asia/Tokyo", "2026-12-10T12:00:00Z", "2026-12-20T15:00:00Z"),
            "Asia/Tokyo until Sun 2026-12-20 24:00 there, 16:00 at home"
        );
        assert_eq!(
            until("America/New_York", "2026-12-11T18:00:00Z", "2026-12-13T05:00:00Z"),
            "America/New_York from Fri 2026-12-11 13:00 there, 19:00 at home, \
             until Sat 2026-12-12 24:00 there, Sun 2026-12-13 06:00 at home"
        );
    }
}
