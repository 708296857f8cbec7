//! The values that looks, alerts and notes are about: the newest there is, the lowest of several sources, the
//! one at a time the wearer names. Judges nothing.

use super::effect::Side;
use super::source::SourceState;
use super::turn::Judged;
use super::{Engine, PAST_MIN, trend};
use crate::domain::glucose::Glucose;
use crate::domain::reading::SourceId;
use crate::domain::time::{Span, Timestamp};

/// The value at a treatment is the last one within this before it.
const VALUE_NEAR_MIN: i64 = 30;

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
        let newest = self.state.window.newest_first(source).next()?;
        let cadence = self.state.sources.get(usize::from(source.0)).map_or(Span::ZERO, SourceState::cadence);
        let rate = trend::rate(self.state.window.newest_first(source), cadence);
        Some(Judged { glucose: newest.glucose, at: newest.measured, rate })
    }

    /// The newest value that is still about now: a reading, or a newer meter check.
    pub(super) fn latest(&self, now: Timestamp) -> Option<Judged> {
        let reading = self.state.window.newest().and_then(|newest| {
            let cadence = self.state.sources.get(usize::from(newest.source.0)).map_or(Span::ZERO, SourceState::cadence);
            let fresh = now - newest.measured <= Span::minutes(PAST_MIN).max(cadence.times(2, 1));
            fresh.then(|| self.latest_of(newest.source)).flatten()
        });
        let meter = self.state.meter.filter(|(at, _)| now - *at <= Span::minutes(PAST_MIN));
        match (reading, meter) {
            (Some(reading), Some((at, glucose))) if at > reading.at => Some(Judged { glucose, at, rate: reading.rate }),
            (None, Some((at, glucose))) => Some(Judged { glucose, at, rate: None }),
            (reading, _) => reading,
        }
    }

    /// For lows: of several fresh sources the lowest value, so that none hides another's low.
    pub(super) fn lowest_latest(&self, now: Timestamp) -> Option<Judged> {
        let newest = self.latest(now);
        let latest = self.numbers().filter_map(|source| self.latest_of(source));
        let others = latest.filter(|judged| now - judged.at <= Span::minutes(PAST_MIN));
        let meter_is_newest = newest.is_some_and(|newest| self.state.meter.is_some_and(|(at, _)| at == newest.at));
        if meter_is_newest {
            return newest;
        }
        if let Some(lower) = self.of_two_signals(Side::Low, now) {
            return Some(lower);
        }
        others.chain(newest).min_by_key(|judged| judged.glucose.hundredths())
    }

    /// The value at a time the wearer names, if a reading or meter check was close before it.
    pub(super) fn value_at(&self, at: Timestamp) -> Option<Glucose> {
        let near = |measured: Timestamp| measured <= at && at - measured <= Span::minutes(VALUE_NEAR_MIN);
        let meter = self.state.meter.filter(|(measured, _)| near(*measured));
        let reading = self.state.window.newest_before(at).filter(|reading| near(reading.measured));
        match (reading, meter) {
            (Some(reading), Some((measured, glucose))) if measured > reading.measured => Some(glucose),
            (Some(reading), _) => Some(reading.glucose),
            (None, meter) => meter.map(|(_, glucose)| glucose),
        }
    }
}
