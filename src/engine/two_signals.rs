//! Two signals where there should be one: noticed by their alternating, said once, and left to the wearer to
//! choose from. Until then the lower value rules for lows, and what is said carries a doubt. One signal that
//! is written twice, minutes apart, is thinned without a word to the wrist.

use super::alert::{Alert, Detail, Standing};
use super::effect::{Condition, Doubt, Id, Side, What};
use super::event::Trusted;
use super::reason::Reason;
use super::signal::Signal;
use super::turn::{Judged, Turn};
use super::{Engine, shape};
use crate::domain::glucose::Glucose;
use crate::domain::mode::Mode;
use crate::domain::reading::{Reading, SourceId};
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// A step this far back and forth between neighbours is no glucose, in hundredths of a mg/dL: with four of
/// them in an hour, 39 people of open traces over 2,485 days show none but where two signals were merged.
const STEP_HUNDREDTHS: i32 = 2_000;

/// Three readings that go back and forth lie within this.
const TRIPLE_MIN: i64 = 20;

/// Sensors give at most one value a minute: rows that come faster are no signal's own rhythm, and what they do
/// among each other tells nothing of two.
const TRIPLE_SECONDS_MIN: i64 = 50;

/// So many steps back and forth within the hour are two signals.
const BACK_AND_FORTH: usize = 4;

/// Two signals are one again when none has gone back and forth for this long.
const QUIET_MIN: i64 = 60;

/// Two signals that were there within this are known to the wearer: recorded, not rung for again.
const KNOWN_HOURS: i64 = 24;

/// Shapes matter for values beyond a limit, and for those so near the low one that a low may be foreseen.
const NEAR_HUNDREDTHS: i32 = 3_000;

/// Readings of both signals that are about now.
const RECENT_MIN: i64 = 15;

/// A reading this soon after the one before it may be the same one, written twice. Five minutes are the
/// shortest cadence at which the open traces hold doubled signals.
const ECHO_BELOW_SECONDS: i64 = 234;

/// Pairs of readings that must be alike before the later of a pair is taken for an echo: so many of the last.
const ECHO_PAIRS: usize = 6;
const ECHO_PAIRS_ALIKE: usize = 5;

/// A signal that was single for this long is news when it doubles again.
const ECHO_TOLD_HOURS: i64 = 24;

/// Which readings the wearer wants to count.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Trust {
    /// Those of one source.
    Source(SourceId),
    /// Those of one of two signals.
    Signal {
        /// Its last value.
        ours: Glucose,
        /// The last value of the other.
        other: Glucose,
        /// When the other was last heard.
        other_at: Timestamp,
        /// The source of the chosen one, where the other comes from another.
        #[serde(default)]
        source: Option<SourceId>,
        /// A finger-prick chose, and not the wearer.
        #[serde(default)]
        by_meter: bool,
    },
}

impl Trust {
    /// The source that counts, where one alone does.
    #[must_use]
    pub const fn source(self) -> Option<SourceId> {
        match self {
            Self::Source(source) => Some(source),
            Self::Signal { source, .. } => source,
        }
    }
}

impl Engine {
    /// Is this reading one of those the wearer does not want to count?
    pub(super) fn set_aside(&mut self, turn: &mut Turn, reading: &Reading) -> bool {
        let very_low = self.policy.levels.very_low.limit;
        match &mut self.state.trust {
            None => false,
            Some(Trust::Source(source)) if reading.source == *source => false,
            &mut Some(Trust::Source(source)) => {
                let counts = !self.judged_lately(source, turn.now);
                if counts {
                    self.trust_all(turn);
                }
                !counts
            }
            Some(Trust::Signal { ours, other, other_at, source, by_meter }) => {
                let value = reading.glucose;
                let is_other = match source {
                    Some(source) => reading.source != *source,
                    None => distance(value, *other) < distance(value, *ours),
                };
                // One that a finger-prick set aside and that becomes very low since is no more the one it was far from.
                let falls = *by_meter
                    && is_other
                    && Side::Low.is_beyond(value, very_low)
                    && !Side::Low.is_beyond(*other, very_low);
                let (last, its) = if is_other { (other, &*ours) } else { (ours, &*other) };
                *last = value;
                // Signals that have met may part again either way round: which is the chosen one is not known.
                let met = distance(*last, *its) < STEP_HUNDREDTHS;
                if is_other {
                    *other_at = (*other_at).max(reading.measured);
                }
                if falls || met || turn.now - *other_at > Span::minutes(QUIET_MIN) {
                    self.trust_all(turn);
                    return false;
                }
                is_other
            }
        }
    }

    /// Does the source that the wearer chose still give what can be judged? Else what they set aside counts
    /// again, whatever took it away.
    fn judged_lately(&self, source: SourceId, now: Timestamp) -> bool {
        self.state.sources.get(usize::from(source.0)).is_some_and(|state| {
            let judged = state.judged.or(state.newest).is_some_and(|at| now - at <= Span::minutes(QUIET_MIN));
            judged && self.state.register.lost(source).is_none() && !state.session.is_stopped() && !state.history_only()
        })
    }

    /// A source that is set aside is still watched: its readings are known to come.
    pub(super) fn aside_gave(&mut self, turn: &mut Turn, reading: &Reading, current: bool) {
        if self.state.trust.is_some_and(|trust| trust.source().is_some()) {
            self.source_gave(turn, reading, current);
            if current {
                self.watch_for_gap(turn, reading);
            }
        }
    }

    /// A source is lost: if it is the chosen one, or may hold the chosen signal, what was set aside is better
    /// than nothing.
    pub(super) fn end_trust_in(&mut self, turn: &mut Turn, lost: SourceId) {
        if self.state.trust.and_then(Trust::source).is_none_or(|source| source == lost) {
            self.trust_all(turn);
        }
    }

    /// All readings count again; recorded, not rung.
    pub(super) fn trust_all(&mut self, turn: &mut Turn) {
        if self.state.trust.take().is_some() {
            turn.tell(What::Told, Condition::TwoSignals, Id(0), None, Reason::AllCount, false);
        }
    }

    /// Looks at the last readings for two signals; called with each reading that is judged.
    pub(super) fn notice_two_signals(&mut self, turn: &mut Turn) {
        let Some(&[first, before, last]) = self.state.window.newest_three() else { return };
        let (lower, higher) =
            if last.glucose.hundredths() < before.glucose.hundredths() { (last, before) } else { (before, last) };
        let (now, lower, higher) = (last.measured, lower.glucose, higher.glucose);
        if !back_and_forth(&first, &before, &last) {
            let is_over = |two: &Alert| last_of(two).is_some_and(|last| now - last > Span::minutes(QUIET_MIN));
            if let Some(two) = self.state.register.end_if(Condition::TwoSignals, is_over) {
                turn.tell(What::Ended, Condition::TwoSignals, two.id, None, Reason::OneSignal, false);
            }
            return;
        }
        if self.state.register.signals_alternate(now, (lower, higher)) {
            self.state.two_signals_last = Some(now);
            return;
        }
        let all: Vec<Reading> = self.state.window.all_newest_first().copied().collect();
        let steps: Vec<Timestamp> = all
            .windows(3)
            .filter(|triple| back_and_forth(&triple[2], &triple[1], &triple[0]))
            .map(|triple| triple[2].measured)
            .collect();
        let Some(since) = steps.last().copied().filter(|_| steps.len() >= BACK_AND_FORTH) else { return };
        let id = self.take_id();
        self.state.register.raise(Alert {
            id,
            part_of: None,
            condition: Condition::TwoSignals,
            since,
            standing: Standing::Unacknowledged,
            told_at: Some(turn.now),
            detail: Detail::TwoSignals { last: now, lower, higher },
        });
        let reason = Reason::TwoSignals { lower, higher, since };
        // Signals that meet for a while and part again are no news.
        let known = self.state.two_signals_last.replace(now);
        let rings = known.is_none_or(|known| now - known > Span::hours(KNOWN_HOURS));
        turn.judged = None;
        turn.tell(What::Raised, Condition::TwoSignals, id, None, reason, rings);
    }

    /// What two signals say about one side: the lower value for lows, the higher for highs, and no rate. Of each source
    /// its newest value; where one source holds both, the last two. None when there is one signal.
    pub(super) fn of_two_signals(&self, side: Side, now: Timestamp) -> Option<Judged> {
        self.state.register.two_signals()?;
        let is_recent =
            |reading: &&Reading| reading.measured <= now && now - reading.measured <= Span::minutes(RECENT_MIN);
        let recent = || self.state.window.all_newest_first().filter(is_recent);
        let newest = recent().next()?;
        let is_alone = recent().all(|reading| reading.source == newest.source);
        let each = if is_alone { 2 } else { 1 };
        let counts = |place: usize, reading: &Reading| {
            recent().take(place).filter(|newer| newer.source == reading.source).count() < each
        };
        let values =
            recent().enumerate().filter(|(place, reading)| counts(*place, reading)).map(|(_, reading)| reading);
        let chosen = match side {
            Side::Low => {
                values.min_by_key(|reading| (reading.glucose.hundredths(), std::cmp::Reverse(reading.measured)))
            }
            Side::High => values.max_by_key(|reading| (reading.glucose.hundredths(), reading.measured)),
        };
        chosen.map(|reading| Judged {
            glucose: reading.glucose,
            at: reading.measured,
            rate: None,
            of: Signal::Sensor(reading.source),
        })
    }

    /// Why what is said now is less sure.
    pub(super) fn doubt(&self, now: Timestamp) -> Option<Doubt> {
        if let Some((lower, higher)) = self.state.register.two_signals() {
            return Some(Doubt::TwoSignals { lower, higher });
        }
        if self.is_on(Mode::Doubted, now) {
            return Some(Doubt::Doubted);
        }
        let newest = self.state.window.newest()?;
        self.in_first_day(newest.source, now).then_some(Doubt::FirstDay)
    }

    /// The same from the shape that led to a reading; only near a limit is there anything to say.
    #[inline]
    pub(super) fn doubt_of_shape(&self, turn: &Turn, side: Side, reading: &Reading) -> Option<Doubt> {
        let levels = &self.policy.levels;
        let value = reading.glucose.hundredths();
        let is_near = match side {
            Side::Low => value < levels.low.limit.hundredths() + NEAR_HUNDREDTHS,
            Side::High => value > levels.high.limit.hundredths(),
        };
        if is_near { self.shape_of(turn, side, reading) } else { None }
    }

    fn shape_of(&self, turn: &Turn, side: Side, reading: &Reading) -> Option<Doubt> {
        let newest_first = self.state.window.newest_first(reading.source);
        // By night whoever falls sharply from a steady value may lie on the sensor.
        let lies = side == Side::Low && turn.night.inside && shape::falls_from_steady(newest_first.clone());
        if lies { Some(Doubt::Dip) } else { shape::doubt(side, newest_first) }
    }

    /// A low that has been the same for long, at any time.
    pub(super) fn low_does_not_move(&self, now: Timestamp) -> bool {
        let low = self.policy.levels.low.limit;
        let newest = self.fresh_reading(now).filter(|newest| Side::Low.is_beyond(newest.glucose, low));
        newest.is_some_and(|newest| shape::is_flat_low(&self.state.window.newest_first(newest.source)))
    }

    /// The wearer chose.
    pub(super) fn trust(&mut self, turn: &mut Turn, which: Trusted) {
        let answer =
            |turn: &mut Turn, reason| turn.tell(What::Answer, Condition::TwoSignals, Id(0), None, reason, false);
        let trust = match which {
            Trusted::All => None,
            Trusted::Source(source) => {
                let names = self.names_watched();
                let place = usize::from(source.0);
                if self.policy.sources.get(place).is_none_or(|source| !names.contains(&source.name)) {
                    answer(turn, Reason::NoSuchSource { names });
                    return;
                }
                Some(Trust::Source(source))
            }
            Trusted::Near(value) => {
                let two = self.state.register.of(Condition::TwoSignals).map(|alert| alert.detail);
                let Some(Detail::TwoSignals { last, lower, higher }) = two else {
                    answer(turn, Reason::NothingToChoose);
                    return;
                };
                let nearer = distance(value, lower) < distance(value, higher);
                let (ours, other) = if nearer { (lower, higher) } else { (higher, lower) };
                let source = self.source_of(ours, other);
                Some(Trust::Signal { ours, other, other_at: last, source, by_meter: false })
            }
        };
        self.state.trust = trust;
        if trust.is_some()
            && let Some(two) = self.state.register.end_of(Condition::TwoSignals)
        {
            turn.tell(What::Ended, Condition::TwoSignals, two.id, None, Reason::Chosen, false);
        }
        self.forget_set_aside();
        answer(turn, Reason::Trusts { trust });
    }

    /// Where the two signals are those of two sources: the source whose newest value is the chosen one.
    fn source_of(&self, ours: Glucose, other: Glucose) -> Option<SourceId> {
        let newest = self.state.window.all_newest_first().next()?;
        let before = self.state.window.all_newest_first().find(|reading| reading.source != newest.source)?;
        if newest.measured - before.measured > Span::minutes(RECENT_MIN) {
            return None;
        }
        let is_ours = |reading: &Reading| distance(reading.glucose, ours) < distance(reading.glucose, other);
        match (is_ours(newest), is_ours(before)) {
            (true, false) => Some(newest.source),
            (false, true) => Some(before.source),
            (_, _) => None,
        }
    }

    /// What does not count any more is no part of a trend.
    fn forget_set_aside(&mut self) {
        match self.state.trust {
            None => {}
            Some(Trust::Source(source)) => self.state.window.retain_newest_first(|reading| reading.source == source),
            Some(Trust::Signal { source: Some(source), .. }) => {
                self.state.window.retain_newest_first(|reading| reading.source == source);
            }
            Some(Trust::Signal { ours, other, source: None, .. }) => {
                let (mut ours, mut other) = (ours, other);
                self.state.window.retain_newest_first(|reading| {
                    let kept = distance(reading.glucose, ours) <= distance(reading.glucose, other);
                    *(if kept { &mut ours } else { &mut other }) = reading.glucose;
                    kept
                });
            }
        }
    }

    /// Is this the same reading as the one before it, written again some minutes later, as those before were?
    pub(super) fn is_echo(&self, reading: &Reading) -> bool {
        let mut newest = self.state.window.newest_first(reading.source);
        let (Some(last), Some(before)) = (newest.next(), newest.next()) else { return false };
        let shift = last.measured - before.measured;
        if shift >= Span::seconds(ECHO_BELOW_SECONDS) || last.glucose != before.glucose {
            return false;
        }
        let Some(cadence) = newest.next().map(|third| last.measured - third.measured) else { return false };
        if cadence < Span::seconds(ECHO_BELOW_SECONDS) {
            return false;
        }
        // Rows that came in one piece: nothing has been judged yet but what is judged now.
        let state = self.state.sources.get(usize::from(reading.source.0));
        if state.and_then(|state| state.judged) != Some(before.measured) {
            return false;
        }
        let rows: Vec<&Reading> = self.state.window.newest_first(reading.source).take(ECHO_PAIRS * 2).collect();
        let one_minute = Span::minutes(1);
        let near = |a: Span, b: Span| a <= b + one_minute && b <= a + one_minute;
        // Two rows of readings, each at the same cadence, a constant shift apart.
        let steady = rows.len() == ECHO_PAIRS * 2
            && rows.iter().zip(rows.iter().skip(2)).all(|(new, old)| near(new.measured - old.measured, cadence))
            && rows.chunks_exact(2).all(|pair| near(pair[0].measured - pair[1].measured, shift));
        let alike = rows.chunks_exact(2).filter(|pair| pair[0].glucose == pair[1].glucose).count();
        steady && alike >= ECHO_PAIRS_ALIKE
    }

    /// A signal that is written twice is recorded once, and not rung for.
    pub(super) fn record_echo(&mut self, turn: &mut Turn, reading: &Reading) {
        let mut newest = self.state.window.newest_first(reading.source);
        let pair = newest.next().zip(newest.next());
        let by = pair.map_or(Span::ZERO, |(last, before)| last.measured - before.measured);
        drop(newest);
        let told = self.source(reading.source).echo.replace(turn.now);
        if told.is_none_or(|told| turn.now - told > Span::hours(ECHO_TOLD_HOURS)) {
            turn.judged = None;
            turn.tell(What::Told, Condition::TwoSignals, Id(0), None, Reason::WrittenTwice { by }, false);
        }
    }
}

/// What is said of a value that is less sure for several reasons: whoever may lie on the sensor is to turn over, whatever
/// else makes it less sure.
pub(super) fn doubt_with(turn: &Turn, doubt: Option<Doubt>, shape: Option<Doubt>) -> Option<Doubt> {
    let lies = shape == Some(Doubt::Dip) && turn.night.inside;
    let single = !matches!(doubt, Some(Doubt::TwoSignals { .. }));
    if lies && single { shape } else { doubt.or(shape) }
}

/// When two signals last went back and forth.
const fn last_of(two: &Alert) -> Option<Timestamp> {
    match two.detail {
        Detail::TwoSignals { last, .. } => Some(last),
        Detail::Level(_)
        | Detail::Forecast { .. }
        | Detail::Lost { .. }
        | Detail::Channels { .. }
        | Detail::Ketones(_) => None,
    }
}

fn back_and_forth(first: &Reading, middle: &Reading, last: &Reading) -> bool {
    let (there, back) = (
        middle.glucose.hundredths() - first.glucose.hundredths(),
        last.glucose.hundredths() - middle.glucose.hundredths(),
    );
    let span = last.measured - first.measured;
    (Span::seconds(TRIPLE_SECONDS_MIN)..=Span::minutes(TRIPLE_MIN)).contains(&span)
        && there.signum() == -back.signum()
        && there.abs() >= STEP_HUNDREDTHS
        && back.abs() >= STEP_HUNDREDTHS
}

const fn distance(a: Glucose, b: Glucose) -> i32 {
    (a.hundredths() - b.hundredths()).abs()
}
