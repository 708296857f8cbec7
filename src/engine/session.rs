//! The life of a sensor as far as it is noted: its silent warm-up, its first day of doubt, its end, which is
//! told the evening before.

use super::Engine;
use super::compare::Checks;
use super::effect::{Condition, Id, What};
use super::plan::Job;
use super::policy::{SourceKind, SourcePolicy};
use super::reason::Reason;
use super::source::SourceState;
use super::turn::Turn;
use crate::domain::diary::{Kind, Note};
use crate::domain::reading::SourceId;
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// Values of the first day are less sure; this long after the start. Common practice, no source that is
/// more than secondary.
const FIRST_DAY_HOURS: i64 = 24;

/// The end is told this long before the night of the day before it.
const EVENING_MIN: i64 = 120;

/// A sensor that was taken off may be silent this long: some take up to twelve hours to their first value.
const OFF_HOURS: i64 = 12;

/// The session of one sensor.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Session {
    started: Option<Timestamp>,
    stopped: Option<Timestamp>,
}

impl Session {
    /// When it was started, if that was noted.
    #[must_use]
    pub const fn started(&self) -> Option<Timestamp> {
        self.started
    }

    /// Did it begin or end after an instant?
    fn is_after(&self, at: Timestamp) -> bool {
        self.started.max(self.stopped) > Some(at)
    }

    /// Was it taken off?
    #[must_use]
    pub const fn is_stopped(&self) -> bool {
        self.stopped.is_some()
    }
}

impl Engine {
    /// A new sensor: silent while it warms up.
    pub(super) fn sensor_started(&mut self, turn: &mut Turn, at: Timestamp, of: Option<&str>) {
        let Some(sources) = self.sensors_named(turn, of) else { return };
        let mut told = None;
        for source in sources {
            // A line of a file may come after what was noted later.
            if self.source(source).session.is_after(at) {
                continue;
            }
            let sensor = self.sensor(source);
            let state = self.source(source);
            state.session = Session { started: Some(at), stopped: None };
            // What another sensor said is neither compared with this one nor a value to rise from.
            state.checks = Checks::default();
            state.floor.clear();
            let until = at + sensor.warm_up;
            let end = sensor.life.map(|life| at + life);
            // A silence after the warm-up is the new sensor's own.
            if until >= turn.now {
                self.end_silence(turn, source, Reason::WarmingUp { until });
                if self.kind(source) == SourceKind::Streaming {
                    self.state.plan.set(Job::Gap(source), until + self.policy.gap.after);
                }
            }
            if self.source(source).newest.is_none_or(|newest| newest < at) {
                self.scan_is_done(turn, source, None);
            }
            match end.map(|end| self.evening_before(end)).filter(|evening| *evening > turn.now) {
                Some(evening) => self.state.plan.set(Job::SensorEnd(source), evening),
                None => self.state.plan.stop(Job::SensorEnd(source)),
            }
            told = Some(Reason::SensorStarted { at, until, end, asks: !sensor.warm_up_is_set });
        }
        let reason = told.unwrap_or(Reason::Noted);
        turn.tell(What::Answer, Condition::Sensor, Id(0), None, reason, false);
    }

    /// The sensor is off: its silence is no alert, for a bounded time.
    pub(super) fn sensor_stopped(&mut self, turn: &mut Turn, at: Timestamp, of: Option<&str>) {
        let Some(sources) = self.sensors_named(turn, of) else { return };
        let until = at + Span::hours(OFF_HOURS);
        let mut reason = Reason::Noted;
        for source in sources {
            let state = self.source(source);
            // What gave readings since, or was started again, is on.
            if state.session.is_after(at) || state.newest.is_some_and(|newest| newest > at) {
                continue;
            }
            state.session.stopped = Some(at);
            self.state.plan.stop(Job::SensorEnd(source));
            if until > turn.now {
                self.end_silence(turn, source, Reason::SensorOff { until });
                if self.kind(source) == SourceKind::Streaming {
                    self.state.plan.set(Job::Gap(source), until);
                }
            }
            self.plan_scan(turn.now, source);
            reason = Reason::SensorOff { until };
        }
        turn.tell(What::Answer, Condition::Sensor, Id(0), None, reason, false);
    }

    /// A sensor's start or stop that was none: its silence is one from now on.
    pub(super) fn forget_session(&mut self, now: Timestamp, was: &Note) {
        for source in self.numbers() {
            let session = &mut self.source(source).session;
            match was.kind {
                Kind::SensorStart(_) if session.started == Some(was.at) => session.started = None,
                Kind::SensorStop(_) if session.stopped == Some(was.at) => session.stopped = None,
                _ => continue,
            }
            self.state.plan.stop(Job::SensorEnd(source));
            let silent = now + self.policy.gap.after;
            if self.state.plan.due(Job::Gap(source)).is_some_and(|due| due > silent) {
                self.state.plan.set(Job::Gap(source), silent);
            }
        }
    }

    /// The evening before the sensor's end.
    pub(super) fn tell_sensor_end(&mut self, turn: &mut Turn, source: SourceId) {
        if turn.night.inside {
            // Put off by sleep or a clock that was set: nobody wakes for it.
            self.state.plan.set(Job::SensorEnd(source), turn.night.until);
            return;
        }
        let life = self.sensor(source).life;
        let end = self.source(source).session.started().zip(life).map(|(started, life)| started + life);
        if let Some(end) = end {
            turn.judged = None;
            turn.tell(What::Told, Condition::Sensor, Id(0), None, Reason::SensorEnds { end }, true);
        }
    }

    /// Does a sensor end then, as far as is known now?
    pub(super) fn sensor_ends_at(&self, end: Timestamp) -> bool {
        let ends =
            |(source, sensor): (&SourceState, &SourcePolicy)| Some(source.session.started? + sensor.sensor.life?);
        self.state.sources.iter().zip(&self.policy.sources).filter_map(ends).any(|known| known == end)
    }

    /// A reading measured after the sensor was taken off: a sensor is on again.
    pub(super) fn sensor_gave(&mut self, source: SourceId, measured: Timestamp) {
        let session = &mut self.source(source).session;
        if session.stopped.is_some_and(|stopped| stopped < measured) {
            session.stopped = None;
        }
    }

    pub(super) fn in_first_day(&self, source: SourceId, now: Timestamp) -> bool {
        let started = self.state.sources.get(usize::from(source.0)).and_then(|source| source.session.started());
        started.is_some_and(|started| started <= now && now - started < Span::hours(FIRST_DAY_HOURS))
    }

    /// Silence of a source is not counted before its sensor can give something.
    pub(super) fn not_before_warm(&mut self, now: Timestamp, source: SourceId, due: Timestamp) -> Timestamp {
        let sensor = self.sensor(source);
        // A start ahead of the clock was noted before the clock was set back: it must not put off the alert.
        let started = self.source(source).session.started().filter(|started| *started <= now);
        let warm = started.map(|started| started + sensor.warm_up);
        warm.map_or(due, |warm| due.max(warm + self.policy.gap.after))
    }

    fn end_silence(&mut self, turn: &mut Turn, source: SourceId, reason: Reason) {
        if let Some(lost) = self.state.register.end_lost(source) {
            turn.judged = None;
            turn.tell(What::Ended, lost.condition, lost.id, None, reason, false);
        }
    }

    /// Two hours before the night of the day before: late enough to be the evening, and nobody sleeps yet.
    fn evening_before(&self, end: Timestamp) -> Timestamp {
        let (night, zone) = (self.policy.night, self.policy.zone);
        let day_before = zone.midnight(end) - Span::hours(1);
        let around = night.stretch(zone, day_before);
        let begins = if around.inside { around.from } else { around.until };
        (begins - Span::minutes(EVENING_MIN)).min(end - Span::minutes(EVENING_MIN))
    }

    /// What the sources that are watched are called.
    pub(super) fn names_watched(&self) -> Vec<String> {
        let watched = self.policy.sources.iter().filter(|source| source.kind != SourceKind::History);
        watched.map(|source| source.name.clone()).collect()
    }

    /// The sources a note is about; a name that is none is answered.
    fn sensors_named(&self, turn: &mut Turn, of: Option<&str>) -> Option<Vec<SourceId>> {
        let is_meant =
            |source: &SourcePolicy| source.kind != SourceKind::History && of.is_none_or(|name| source.name == name);
        let in_settings = |source: &SourceId| self.policy.sources.get(usize::from(source.0));
        let found: Vec<SourceId> = self.numbers().filter(|source| in_settings(source).is_some_and(is_meant)).collect();
        if found.is_empty() {
            let reason = Reason::NoSuchSource { names: self.names_watched() };
            turn.tell(What::Answer, Condition::Sensor, Id(0), None, reason, false);
            return None;
        }
        Some(found)
    }
}
