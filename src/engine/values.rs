//! The values that looks, alerts and notes are about: the newest there is, the lowest of several sources, the
//! one at a time the wearer names. Judges nothing.

use super::effect::Side;
use super::signal::Signal;
use super::source::SourceState;
use super::turn::Judged;
use super::{Engine, PAST_MIN, trend};
use crate::domain::glucose::Glucose;
use crate::domain::reading::{Reading, SourceId};
use crate::domain::time::{Span, Timestamp};

/// The newest value of a source with its rate, which a turn asks for several times, until another reading comes. It
/// follows from the rest, and makes no two engines differ.
#[derive(Debug, Clone)]
pub(super) struct Latest(pub(super) Option<Judged>);

impl Latest {
    pub(super) const fn none() -> Self {
        Self(None)
    }

    /// Readings, or how far they are apart, are others.
    pub(super) const fn forget(&mut self) {
        self.0 = None;
    }
}

impl PartialEq for Latest {
    fn eq(&self, _: &Self) -> bool {
        true
    }
}

impl Engine {
    pub(super) fn newest_of(&self, source: SourceId) -> Option<Timestamp> {
        self.state.window.newest_first(source).next().map(|reading| reading.measured)
    }

    /// A reading of a source is past when it is older than this.
    pub(super) fn past_after(&mut self, source: SourceId) -> Span {
        Span::minutes(PAST_MIN).max(self.source(source).cadence().times(2, 1))
    }

    /// The newest reading of a source, with its rate; fresh or not.
    pub(super) fn latest_of(&self, source: SourceId) -> Option<Judged> {
        let known = self.latest.0.filter(|known| known.of == Signal::Sensor(source));
        if known.is_some() {
            return known;
        }
        let newest_first = self.state.window.newest_first(source);
        let newest = newest_first.clone().next()?;
        let cadence = self.state.sources.get(usize::from(source.0)).map_or(Span::ZERO, SourceState::cadence);
        let rate = trend::rate(newest_first, cadence);
        Some(Judged { glucose: newest.glucose, at: newest.measured, rate, of: Signal::Sensor(source) })
    }

    /// For so long a value is said as one of now: the longer of 15 minutes and 1.7 cadences.
    pub(super) fn fresh_for(&self) -> Span {
        let source = self.state.window.newest().map(|newest| usize::from(newest.source.0));
        let cadence = source.and_then(|source| self.state.sources.get(source)).map_or(Span::ZERO, SourceState::cadence);
        Span::minutes(PAST_MIN).max(cadence.times(17, 10))
    }

    /// The newest reading, if it is not past: it may be judged a little longer than it is said as now.
    pub(super) fn fresh_reading(&self, now: Timestamp) -> Option<&Reading> {
        self.state.window.newest().filter(|newest| {
            let cadence = self.state.sources.get(usize::from(newest.source.0)).map_or(Span::ZERO, SourceState::cadence);
            now - newest.measured <= Span::minutes(PAST_MIN).max(cadence.times(2, 1))
        })
    }

    /// The last meter check, if it is still about now.
    fn fresh_meter(&self, now: Timestamp) -> Option<(Timestamp, Glucose)> {
        self.state.meter.filter(|(at, _)| now - *at <= Span::minutes(PAST_MIN))
    }

    /// The newest value that is still about now: a reading, or a newer meter check.
    pub(super) fn latest(&self, now: Timestamp) -> Option<Judged> {
        let reading = self.fresh_reading(now).and_then(|newest| self.latest_of(newest.source));
        match (reading, self.fresh_meter(now)) {
            (Some(reading), Some((at, _))) if at <= reading.at => Some(reading),
            (_, Some((at, glucose))) => Some(Judged { glucose, at, rate: None, of: Signal::Meter }),
            (reading, None) => reading,
        }
    }

    /// The newest fresh reading, whatever a meter said since.
    pub(super) fn latest_of_sensors(&self, now: Timestamp) -> Option<Judged> {
        self.fresh_reading(now).and_then(|newest| self.latest_of(newest.source))
    }

    /// For lows: of several fresh sources the lowest value, so that none hides another's low.
    pub(super) fn lowest_latest(&self, now: Timestamp) -> Option<Judged> {
        let newest = self.fresh_reading(now);
        let newest_at = newest.map(|reading| reading.measured).max(self.fresh_meter(now).map(|(at, _)| at));
        if self.state.meter.is_some_and(|(at, _)| newest_at == Some(at)) {
            return self.latest(now);
        }
        self.lowest_of_sensors(now)
    }

    /// The same of sensors alone, whatever a meter said since.
    pub(super) fn lowest_of_sensors(&self, now: Timestamp) -> Option<Judged> {
        let newest = self.fresh_reading(now);
        if let Some(lower) = self.of_two_signals(Side::Low, now) {
            return Some(lower);
        }
        let last = self.numbers().filter_map(|source| self.state.window.newest_first(source).next());
        let others = last.filter(|reading| now - reading.measured <= Span::minutes(PAST_MIN));
        let lowest = others.chain(newest).min_by_key(|reading| reading.glucose.hundredths())?;
        self.latest_of(lowest.source)
    }

    /// The value at a time the wearer names, if a reading or a finger-prick was close before it.
    pub(super) fn value_at(&self, at: Timestamp) -> Option<Glucose> {
        self.signal_at(at).map(|(glucose, _)| glucose)
    }
}
