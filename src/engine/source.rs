//! What is known of each source: its cadence, its silence, its rows that cannot be read.

use super::arrival::Arrivals;
use super::compare::Checks;
use super::effect::{Condition, Id, Side, What};
use super::forecast::{Filter, SPARSE_CADENCE};
use super::plan::Job;
use super::policy::{SensorPolicy, SourceKind};
use super::reason::Reason;
use super::rise::Floor;
use super::scan::Scan;
use super::session::Session;
use super::turn::Turn;
use super::two_signals::Trust;
use super::{AHEAD_MIN, Engine};
use crate::domain::glucose::{Glucose, MG_DL_MIN_HUNDREDTHS, MG_DL_PER_MMOL_L, MMOL_L_MAX_HUNDREDTHS, Measured, Unit};
use crate::domain::reading::{Reading, SourceId};
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};
use std::borrow::Cow;

/// Cadence of a source before enough readings tell.
const CADENCE_ASSUMED_MIN: i64 = 5;

/// Intervals the cadence is the median of.
const INTERVALS_MAX: usize = 9;

/// Intervals longer than this are gaps, not cadence.
const INTERVAL_MAX_MIN: i64 = 30;

/// The highest number of mg/dL a sensor can mean, in hundredths: 600 (33.3 mmol/L, the top of what meters show).
/// Common practice, no source.
const MG_DL_MAX_HUNDREDTHS: i32 = 60_000;

/// A number of mmol/L from which mg/dL is likelier (20 mmol/L, as the 360 mg/dL it would be read as).
const MG_DL_LIKELY_HUNDREDTHS: i32 = 36_000;

/// For so long a value tells the unit of the next: any value may follow a longer silence, and a very low must
/// not be taken for another unit's high.
const UNIT_TOLD_FOR_MIN: i64 = 60;

/// This many absurd values, or unreadable rows, in a row make a failed source.
const BAD_IN_A_ROW: u64 = 3;

/// A source that gave a reading within this, or two cadences, works.
const GIVES_MIN: i64 = 10;

/// A value below this, or a falling one, makes a silence after it grave.
const GRAVE_BELOW_HUNDREDTHS: i32 = 8_000;

/// What is known of a source.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct SourceState {
    /// Measured last of all that came in.
    pub(super) newest: Option<Timestamp>,
    intervals: Vec<Span>,
    cadence: Option<Span>,
    pub(super) grave: bool,
    absurd: u64,
    refused: u64,
    bad_since: Option<Timestamp>,
    bad_words: Option<String>,
    ahead: bool,
    /// The last value that could be glucose, and when it was measured.
    #[serde(default)]
    good: Option<Glucose>,
    #[serde(default)]
    good_at: Option<Timestamp>,
    /// Measured last of what was judged as now.
    #[serde(default)]
    pub(super) judged: Option<Timestamp>,
    /// When it last wrote a value twice.
    #[serde(default)]
    pub(super) echo: Option<Timestamp>,
    /// How its readings arrive.
    #[serde(default)]
    pub(super) arrivals: Arrivals,
    /// Its lowest values of two hours, for a rise from them.
    #[serde(default)]
    pub(super) floor: Floor,
    /// How fast its values change.
    #[serde(default)]
    pub(super) filter: Option<Filter>,
    /// Its sensor's session.
    #[serde(default)]
    pub(super) session: Session,
    /// Checks with a meter beside it, in this session.
    #[serde(default)]
    pub(super) checks: Checks,
    /// The calls for a scan.
    #[serde(default)]
    pub(super) scan: Scan,
}

impl SourceState {
    /// The usual time between two readings.
    #[must_use]
    pub fn cadence(&self) -> Span {
        self.cadence.unwrap_or(Span::minutes(CADENCE_ASSUMED_MIN))
    }

    /// Are its readings too far apart to see much of how a value moves?
    pub(super) fn is_sparse(&self) -> bool {
        self.cadence() > SPARSE_CADENCE
    }

    /// Do its readings habitually come too late to alert?
    #[must_use]
    pub const fn history_only(&self) -> bool {
        self.arrivals.history_only()
    }

    /// When it last wrote a value a second time, some minutes after the first.
    #[must_use]
    pub const fn wrote_twice(&self) -> Option<Timestamp> {
        self.echo
    }

    /// The checks with a meter in that session.
    #[must_use]
    pub const fn checks(&self) -> &Checks {
        &self.checks
    }

    /// The session of its sensor.
    #[must_use]
    pub const fn session(&self) -> Session {
        self.session
    }

    /// Its readings were measured by a clock that was set.
    pub(super) fn move_times(&mut self, by: Span) {
        for at in [&mut self.newest, &mut self.good_at, &mut self.judged].into_iter().flatten() {
            *at = *at + by;
        }
    }

    /// Learns the cadence from one more reading.
    fn learn(&mut self, measured: Timestamp) {
        if let Some(before) = self.newest {
            let interval = measured - before;
            if interval > Span::ZERO && interval <= Span::minutes(INTERVAL_MAX_MIN) {
                let oldest = (self.intervals.len() == INTERVALS_MAX).then(|| self.intervals.remove(0));
                self.intervals.push(interval);
                // The median of the same intervals is the same.
                if oldest != Some(interval) {
                    self.cadence = median(&self.intervals);
                }
            }
        }
        self.newest = self.newest.max(Some(measured));
    }

    /// The filter takes in one more reading.
    fn follow(&mut self, reading: &Reading) {
        let (at, value, cadence) = (reading.measured, reading.glucose, self.cadence());
        match &mut self.filter {
            Some(filter) => filter.follow(at, value, cadence),
            None => self.filter = Some(Filter::begin(at, value)),
        }
    }

    /// A number that is glucose only in the unit the source does not claim: the last value tells, since
    /// glucose cannot become its eighteenth, or its eighteenfold, between two readings.
    fn in_other_unit(&self, reading: &Reading) -> bool {
        let glucose = reading.glucose;
        let value = glucose.hundredths();
        let other = match glucose.received() {
            Unit::MgDl if value <= MMOL_L_MAX_HUNDREDTHS => value * MG_DL_PER_MMOL_L,
            Unit::MmolL if value >= MG_DL_LIKELY_HUNDREDTHS => value / MG_DL_PER_MMOL_L,
            Unit::MgDl | Unit::MmolL => return false,
        };
        let tells = |at: Timestamp| reading.measured - at <= Span::minutes(UNIT_TOLD_FOR_MIN);
        let good = self.good.filter(|_| self.good_at.is_some_and(tells));
        if let Some(good) = good.map(Glucose::hundredths) {
            return (other - good).abs() < (value - good).abs();
        }
        // Nothing to compare with: meters and sensors show whole mg/dL, unless this one has shown others.
        let whole = self.good.is_none_or(|good| good.hundredths() % 100 == 0);
        glucose.received() == Unit::MgDl && value % 100 != 0 && whole
    }
}

fn median(intervals: &[Span]) -> Option<Span> {
    let mut sorted = [Span::ZERO; INTERVALS_MAX];
    let sorted = sorted.get_mut(..intervals.len())?;
    sorted.copy_from_slice(intervals);
    sorted.sort_unstable();
    sorted.get(sorted.len() / 2).copied()
}

impl Engine {
    /// A number that cannot be glucose in the unit it claims.
    pub(super) fn absurd(&mut self, reading: &Reading) -> bool {
        let glucose = reading.glucose;
        glucose.measured() == Measured::Number
            && (!(MG_DL_MIN_HUNDREDTHS..=MG_DL_MAX_HUNDREDTHS).contains(&glucose.hundredths())
                || self.source(reading.source).in_other_unit(reading))
    }

    #[inline]
    pub(super) fn source(&mut self, source: SourceId) -> &mut SourceState {
        let place = usize::from(source.0);
        if self.state.sources.len() <= place {
            self.make_room_for(source);
        }
        &mut self.state.sources[place]
    }

    /// Once in a life.
    #[cold]
    fn make_room_for(&mut self, source: SourceId) {
        self.state.sources.resize_with(usize::from(source.0) + 1, SourceState::default);
    }

    /// The numbers of all sources: those in the settings, and those that were in them once.
    pub(super) fn numbers(&self) -> impl Iterator<Item = SourceId> + use<> {
        let count = self.policy.sources.len().max(self.state.sources.len());
        (0..count).filter_map(|place| u16::try_from(place).ok().map(SourceId))
    }

    /// What the settings say of the sensor behind a source.
    pub(super) fn sensor(&self, source: SourceId) -> SensorPolicy {
        self.policy.sources.get(usize::from(source.0)).map(|source| source.sensor).unwrap_or_default()
    }

    fn streams(&self, source: SourceId) -> bool {
        self.kind(source) == SourceKind::Streaming
    }

    /// A good reading came in; `current` when it is about now.
    pub(super) fn source_gave(&mut self, turn: &mut Turn, reading: &Reading, current: bool) {
        let follows_rises = self.follows_rises();
        let state = self.source(reading.source);
        state.learn(reading.measured);
        if reading.glucose.measured() == Measured::Number && state.good_at.is_none_or(|at| at <= reading.measured) {
            (state.good, state.good_at) = (Some(reading.glucose), Some(reading.measured));
        }
        state.follow(reading);
        if follows_rises {
            state.floor.see(reading.measured, reading.glucose.hundredths());
        }
        state.absurd = 0;
        state.refused = 0;
        state.bad_since = None;
        state.bad_words = None;
        if current && let Some(lost) = self.state.register.end_lost(reading.source) {
            self.state.plan.stop(Job::GapCall(reading.source));
            turn.tell(What::Ended, lost.condition, lost.id, None, Reason::Arriving, false);
        }
    }

    /// Rows from a clock that runs ahead. Beside rows of the right time they are left out; alone, the newest
    /// of them is what the sensor says now, so it is judged as now. That the clock is wrong is said once.
    pub(super) fn without_clock_ahead<'a>(
        &mut self,
        turn: &mut Turn,
        source: SourceId,
        rows: &'a [Reading],
    ) -> Cow<'a, [Reading]> {
        let latest = turn.now + Span::minutes(AHEAD_MIN);
        let right = rows.partition_point(|reading| reading.measured <= latest);
        let (in_time, ahead) = rows.split_at(right);
        let Some(newest) = ahead.last() else {
            self.source(source).ahead = false;
            return Cow::Borrowed(rows);
        };
        let by = newest.measured - turn.now;
        if !std::mem::replace(&mut self.source(source).ahead, true) {
            turn.tell(What::Told, Condition::SourceFailed, Id(0), None, Reason::ClockAhead { by }, true);
        }
        if in_time.iter().any(|reading| turn.now - reading.measured <= Span::minutes(AHEAD_MIN).times(3, 1)) {
            return Cow::Borrowed(in_time);
        }
        let mut rows = in_time.to_vec();
        rows.push(Reading { measured: turn.now, ..*newest });
        Cow::Owned(rows)
    }

    /// Silence is counted from the newest current reading.
    pub(super) fn watch_for_gap(&mut self, turn: &Turn, reading: &Reading) {
        if !self.streams(reading.source) {
            return;
        }
        let low_limit = self.policy.levels.low.limit.hundredths().max(GRAVE_BELOW_HUNDREDTHS);
        // One that was high is far from a low, however it falls.
        let high = Side::High.is_beyond(reading.glucose, self.policy.levels.high.limit);
        let falling = turn.judged.and_then(|judged| judged.rate).is_some_and(|rate| rate.direction().falls()) && !high;
        let aside = self.state.trust.and_then(Trust::source).is_some_and(|source| source != reading.source);
        let grave = !aside && (reading.glucose.hundredths() < low_limit || falling);
        let gap = self.policy.gap;
        let state = self.source(reading.source);
        state.grave = grave;
        let cadence = state.cadence();
        let after = if grave {
            gap.after_low.max(cadence.times(gap.cadences_low_tenths, 10))
        } else {
            gap.after.max(cadence.times(gap.cadences_tenths, 10))
        };
        // A sensor clock ahead of ours must not put off the alert.
        let due = self.not_before_warm(turn.now, reading.source, reading.measured.min(turn.now) + after);
        self.state.plan.set(Job::Gap(reading.source), due);
    }

    /// Watching begins: a source that never says anything is silent from now on.
    pub(super) fn watch_all_sources(&mut self, now: Timestamp) {
        let after = self.policy.gap.after;
        for source in self.numbers() {
            if self.streams(source)
                && self.state.plan.due(Job::Gap(source)).is_none()
                && self.state.register.lost(source).is_none()
            {
                self.state.plan.set(Job::Gap(source), now + after);
            }
            self.watch_memory(now, source);
        }
    }

    /// The silence has lasted too long.
    pub(super) fn gap(&mut self, turn: &mut Turn, source: SourceId) {
        if let Some(lost) = self.state.register.lost(source).copied() {
            self.speak_after_first(turn, source, lost);
            return;
        }
        let state = self.source(source).clone();
        if !self.streams(source) {
            return;
        }
        if let Some(later) = self.loss_waits(turn, state.newest) {
            self.state.plan.set(Job::Gap(source), later);
            return;
        }
        let by_night = self.policy.escalation.gap_by_night;
        if let Some(newest) = state.newest.filter(|_| turn.quiet.inside && !state.grave && state.bad_since.is_none()) {
            // By night, and in quiet hours, an ordinary value that falls silent rings later.
            let due = (newest + by_night).min(turn.quiet.until);
            if turn.now < due {
                self.state.plan.set(Job::Gap(source), due);
                return;
            }
        }
        // Silent because its file cannot be understood: the cause is told, not the silence.
        if let (Some(since), Some(words)) = (state.bad_since, state.bad_words) {
            self.lose(turn, source, Condition::SourceFailed, since, Reason::Unreadable { since, words });
        } else {
            let reason = Reason::NothingReached { since: state.newest, grave: state.grave };
            self.lose(turn, source, Condition::Gap, state.newest.unwrap_or(turn.now), reason);
        }
    }

    /// Rows could not be read, and no good one came after them.
    pub(super) fn refused(&mut self, turn: &mut Turn, source: SourceId, rows: u64, words: &str, whole_file: bool) {
        let now = turn.now;
        if whole_file && self.gives(source, now) {
            // Another file beside a source that works: known, and told if the source falls silent.
            let state = self.source(source);
            state.bad_since.get_or_insert(now);
            state.bad_words = Some(words.to_owned());
            return;
        }
        let state = self.source(source);
        state.refused = state.refused.saturating_add(rows);
        let since = *state.bad_since.get_or_insert(now);
        if state.refused >= BAD_IN_A_ROW {
            self.fail(turn, source, since, Reason::Unreadable { since, words: words.to_owned() });
        }
    }

    /// A source as a whole cannot be read.
    pub(super) fn source_lost(&mut self, turn: &mut Turn, source: SourceId, words: &str) {
        let since = turn.now;
        self.fail(turn, source, since, Reason::Unreadable { since, words: words.to_owned() });
    }

    /// An absurd value came in; it is kept out of every judgement.
    pub(super) fn absurd_value(&mut self, turn: &mut Turn, reading: &Reading) {
        let now = turn.now;
        let state = self.source(reading.source);
        state.absurd += 1;
        let since = *state.bad_since.get_or_insert(now);
        let values = state.absurd;
        if values >= BAD_IN_A_ROW {
            let values = u32::try_from(values).unwrap_or(u32::MAX);
            self.fail(turn, reading.source, since, Reason::Absurd { since, values });
        }
    }

    /// Has a reading about now come in lately?
    fn gives(&mut self, source: SourceId, now: Timestamp) -> bool {
        let state = self.source(source);
        let fresh = Span::minutes(GIVES_MIN).max(state.cadence().times(2, 1));
        state.newest.is_some_and(|newest| now - newest <= fresh)
    }

    /// Ends what is open about sources that the settings no longer hold, or that no longer stream.
    pub(super) fn drop_sources_gone(&mut self, turn: &mut Turn) {
        for source in self.numbers() {
            if self.streams(source) {
                continue;
            }
            self.state.plan.stop(Job::Gap(source));
            if let Some(lost) = self.state.register.end_lost(source) {
                turn.tell(What::Ended, lost.condition, lost.id, None, Reason::ConditionGone, false);
            }
            if self.kind(source) == SourceKind::History && self.state.trust == Some(Trust::Source(source)) {
                self.trust_all(turn);
            }
        }
    }
}
