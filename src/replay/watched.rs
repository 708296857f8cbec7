//! What of a period was watched, and the wearer's days and nights in it: a night in which nothing could have
//! rung is no quiet night. The definitions stand in docs/burden.md.

use crate::domain::local::Hours;
use crate::domain::mode::Mode;
use crate::domain::reading::Reading;
use crate::domain::time::{Span, Timestamp};
use crate::domain::travel::WallClock;
use crate::engine::effect::Decision;
use crate::engine::mode::reason::Why;
use crate::engine::reason::Reason;

/// Between two readings further apart than this nothing was watched; as for a gap of sparse sensors in
/// docs/alerts-measured.md.
const APART_MAX_MIN: i64 = 35;

/// A day or a night of the wearer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Part {
    /// A night?
    pub night: bool,
    /// First instant of it.
    pub from: Timestamp,
    /// First instant after it.
    pub until: Timestamp,
    /// Neither end of the period cuts it.
    pub whole: bool,
}

/// Stretches of time in which readings came and somebody watched, in order and apart from each other.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Watched(Vec<(Timestamp, Timestamp)>);

impl Watched {
    /// What the readings cover, without what decisions say that nobody watched, and while the sensor was doubted. Readings are in the order of
    /// their measurement.
    #[must_use]
    pub fn new(readings: &[Reading], decisions: &[(Timestamp, Decision)]) -> Self {
        let mut covered: Vec<(Timestamp, Timestamp)> = Vec::new();
        for at in readings.iter().map(|reading| reading.measured) {
            match covered.last_mut() {
                Some((_, until)) if at - *until <= Span::minutes(APART_MAX_MIN) => *until = at,
                Some(_) | None => covered.push((at, at)),
            }
        }
        let unwatched = decisions.iter().filter_map(|(_, decision)| match decision.reason {
            Reason::Unwatched { from, to, .. } => Some((from, to)),
            _ => None,
        });
        let without: Vec<(Timestamp, Timestamp)> = unwatched.chain(doubted(decisions)).collect();
        covered.retain(|(begin, end)| begin < end);
        Self(covered).without(&without)
    }

    /// The same without some stretches.
    #[must_use]
    pub fn without(self, stretches: &[(Timestamp, Timestamp)]) -> Self {
        Self(stretches.iter().fold(self.0, |covered, (from, to)| {
            covered
                .into_iter()
                .flat_map(|(begin, end)| [(begin, end.min(*from)), (begin.max(*to), end)])
                .filter(|(begin, end)| begin < end)
                .collect()
        }))
    }

    /// How much of a stretch was watched.
    #[must_use]
    pub fn within(&self, from: Timestamp, until: Timestamp) -> Span {
        let first = self.0.partition_point(|(_, end)| *end <= from);
        self.0[first..]
            .iter()
            .take_while(|(begin, _)| *begin < until)
            .map(|(begin, end)| (*end).min(until) - (*begin).max(from))
            .fold(Span::ZERO, |sum, span| sum + span)
    }
}

/// Is an instant in one of some stretches?
#[must_use]
pub fn is_in(stretches: &[(Timestamp, Timestamp)], at: Timestamp) -> bool {
    stretches.iter().any(|(from, to)| *from <= at && at < *to)
}

/// Stretches in which the wearer doubted the sensor, as decisions tell of that mode. One that began before the first
/// decision is open from then on; one that has not ended lasts as long as it was asked for.
#[must_use]
pub fn doubted(decisions: &[(Timestamp, Decision)]) -> Vec<(Timestamp, Timestamp)> {
    let mut stretches: Vec<(Timestamp, Timestamp)> = Vec::new();
    let begin = decisions.first().map(|(at, _)| *at);
    for (at, decision) in decisions {
        let Reason::Mode { said } = &decision.reason else { continue };
        let ended = match said {
            Why::Set { mode: Mode::Doubted, until, .. } => {
                match stretches.last_mut().filter(|(_, end)| *at <= *end) {
                    Some((_, end)) => *end = *until,
                    None => stretches.push((*at, *until)),
                }
                continue;
            }
            Why::Off { modes, .. } if modes.contains(&Mode::Doubted) => *at,
            Why::Over { mode: Mode::Doubted, at, .. } => *at,
            _ => continue,
        };
        match stretches.last_mut() {
            Some((_, end)) => *end = (*end).min(ended),
            None => stretches.extend(begin.map(|begin| (begin, ended))),
        }
    }
    stretches
}

/// The wearer's days and nights in a period, in order and without a break. Where the clock changes zone
/// within one, it goes on by the new clock.
#[must_use]
pub fn parts(clock: &WallClock, night: Hours, from: Timestamp, until: Timestamp) -> Vec<Part> {
    let mut parts: Vec<Part> = Vec::new();
    let mut at = from;
    while at < until {
        let stretch = night.stretch(clock.zone_at(at), at);
        let end = clock.next_change(at).map_or(stretch.until, |change| change.min(stretch.until));
        let whole = end <= until;
        let end = end.min(until);
        if let Some(last) = parts.last_mut().filter(|last| last.night == stretch.inside) {
            last.until = end;
            last.whole = last.whole && whole;
        } else {
            let whole = whole && (!parts.is_empty() || stretch.from >= from);
            parts.push(Part { night: stretch.inside, from: at, until: end, whole });
        }
        at = end;
    }
    parts
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::glucose::Glucose;
    use crate::domain::local::Zone;
    use crate::domain::reading::SourceId;
    use crate::domain::travel::Travel;
    use crate::engine::effect::{Audience, Condition, Id, Priority, What};

    fn at(minutes: i64) -> Timestamp {
        Timestamp::from_seconds(minutes * 60)
    }

    fn readings(minutes: &[i64]) -> Vec<Reading> {
        let reading = |minute: &i64| Reading { source: SourceId(0), measured: at(*minute), glucose: Glucose::mg_dl(1) };
        minutes.iter().map(reading).collect()
    }

    #[test]
    fn readings_more_than_35_minutes_apart_leave_a_hole() {
        let watched = Watched::new(&readings(&[0, 35, 70, 106, 110, 200]), &[]);
        assert_eq!(watched.0, [(at(0), at(70)), (at(106), at(110))]);
        assert_eq!(watched.within(at(60), at(108)), Span::minutes(12));
        assert_eq!(watched.within(at(70), at(106)), Span::ZERO);
    }

    #[test]
    fn a_doubted_sensor_is_not_watched() {
        let decision = |said: Why| Decision {
            what: What::Answer,
            id: Id(0),
            part_of: None,
            condition: Condition::Mode,
            priority: Priority::Information,
            rings: false,
            glucose: None,
            reading_at: None,
            rate: None,
            doubt: None,
            after_low: None,
            insulin: None,
            mode: None,
            to: Audience::Wearer,
            reason: Reason::Mode { said },
            also: Vec::new(),
        };
        let set = |until: i64| {
            let (mode, until) = (Mode::Doubted, at(until));
            decision(Why::Set { mode, until, after: None, limit: None, capped: None, waits: false, hold: None })
        };
        let off = decision(Why::Off { asked: None, modes: vec![Mode::Doubted], after: None, limit: None });
        let over = |end: i64| decision(Why::Over { mode: Mode::Doubted, at: at(end), limit: None });
        let told = [(at(0), decision(Why::NothingAsks)), (at(20), over(20))];
        assert_eq!(doubted(&told), [(at(0), at(20))], "it began before");
        let told =
            [(at(10), set(130)), (at(30), off.clone()), (at(50), set(60)), (at(55), set(80)), (at(80), over(80))];
        assert_eq!(doubted(&told), [(at(10), at(30)), (at(50), at(80))]);
        let watched = Watched::new(&readings(&[0, 30, 60, 90, 120]), &told);
        assert_eq!(watched.within(at(0), at(120)), Span::minutes(120 - 20 - 30));
    }

    /// The edges are those of the tz database: home until noon, then a clock seven hours ahead.
    #[test]
    fn a_journey_cuts_a_day_short() {
        let (home, there) = (Zone::UTC, Zone::named("Asia/Bangkok").unwrap());
        let mut clock = WallClock::at_home(home);
        clock.add(Travel { zone: there, from: at(12 * 60), until: at(5 * 1_440) });
        let hours = Hours::parse("23:00-07:00").unwrap();
        let found = parts(&clock, hours, at(0), at(2 * 1_440));
        let shown: Vec<(bool, i64, i64, bool)> = found
            .iter()
            .map(|part| (part.night, part.from.seconds() / 3_600, part.until.seconds() / 3_600, part.whole))
            .collect();
        assert_eq!(
            shown,
            [
                (true, 0, 7, false),
                (false, 7, 16, true),
                (true, 16, 24, true),
                (false, 24, 40, true),
                (true, 40, 48, true)
            ]
        );
    }
}
