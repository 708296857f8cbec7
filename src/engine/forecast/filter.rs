//! How fast a value changes: a filter that follows speed as it fades, and how far such a speed carries. Knows nothing of
//! limits and chances.
//!
//! It is the Kalman filter of an integrated Ornstein-Uhlenbeck process: speed v with dv = -v/τ dt + σ dW, value g with
//! dg = v dt, readings of g with noise. Where readings stay equally far apart its gains settle within an hour or three,
//! and are kept. τ, σ and the noise are from memory of such models, and hold as well as anything tried on open traces.

use crate::domain::glucose::Glucose;
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};
use std::sync::LazyLock;

/// Speed fades with this time constant, in minutes.
const TAU: f64 = 15.0;

/// Spread of the changes of speed, in mg/dL/min per square root of a minute.
const SIGMA: f64 = 0.4;

/// What the pushes add to the variance of speed in time, in (mg/dL/min)².
const SPREAD: f64 = SIGMA * SIGMA * TAU;

/// Variance of a reading, in (mg/dL)²: a standard deviation of 2 mg/dL.
const NOISE: f64 = 4.0;

/// Readings closer than this are one to the filter: their errors are the same.
const APART_SECONDS: i64 = 234;

/// After a silence longer than this the filter begins anew; the second at cadences above ten minutes.
const GAP_MIN: i64 = 20;
const GAP_SPARSE_MIN: i64 = 35;
/// Above this cadence readings are sparse.
pub const SPARSE_CADENCE: Span = Span::minutes(10);

/// Before it has followed readings for so long a filter knows too little of speed; jitter of readings allowed for.
const FOLLOWED_MIN: i64 = 14;

/// The speed of change as far as it is known, in mg/dL per minute.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Filter {
    /// The last reading it took in.
    at: Timestamp,
    /// Since when it has followed without a gap.
    since: Timestamp,
    level: f64,
    speed: f64,
    /// Covariance of level and speed.
    level_level: f64,
    level_speed: f64,
    speed_speed: f64,
    /// After readings so far apart one after another the covariance changes no more, nor do the gains.
    #[serde(default)]
    settled: Option<Settled>,
}

/// Gains that change no more while readings stay so far apart.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Settled {
    step: Span,
    gain: f64,
    gain_speed: f64,
}

/// A covariance that changes by less than this share of itself has settled: far below what a reading can tell.
const SETTLED_WITHIN: f64 = 1e-12;

impl Filter {
    /// Begins with a reading: nothing is known of its speed.
    #[must_use]
    pub fn begin(at: Timestamp, value: Glucose) -> Self {
        let level = mg_dl(value);
        Self { at, since: at, level, speed: 0.0, level_level: NOISE, level_speed: 0.0, speed_speed: 1.0, settled: None }
    }

    /// Takes in the next reading of the same source. One that is older, or hardly newer, changes nothing.
    pub fn follow(&mut self, at: Timestamp, value: Glucose, cadence: Span) {
        let step = at - self.at;
        if step < Span::seconds(APART_SECONDS) {
            return;
        }
        let sparse = cadence > SPARSE_CADENCE;
        if step > Span::minutes(if sparse { GAP_SPARSE_MIN } else { GAP_MIN }) {
            *self = Self::begin(at, value);
            return;
        }
        self.at = at;
        match self.settled {
            Some(Settled { step: same, gain, gain_speed }) if same == step => {
                let Passing { keep, reach, .. } = Passing::of(step);
                self.level += reach * self.speed;
                self.speed *= keep;
                self.correct_by(mg_dl(value), gain, gain_speed);
            }
            Some(_) | None => self.learn(step, mg_dl(value)),
        }
    }

    fn learn(&mut self, step: Span, value: f64) {
        let before = (self.level_level, self.level_speed, self.speed_speed);
        self.predict(step);
        let (gain, gain_speed) = self.correct(value);
        let same = |one: f64, other: f64| (one - other).abs() <= SETTLED_WITHIN * other;
        let settled =
            same(before.0, self.level_level) && same(before.1, self.level_speed) && same(before.2, self.speed_speed);
        self.settled = settled.then_some(Settled { step, gain, gain_speed });
    }

    fn predict(&mut self, step: Span) {
        let Passing { keep, reach, keep_keep, reach_reach, level_level, level_speed, speed_speed } = Passing::of(step);
        let before = (self.level_level, self.level_speed, self.speed_speed);
        self.level += reach * self.speed;
        self.speed *= keep;
        self.level_level = before.0 + 2.0 * reach * before.1 + reach_reach * before.2 + level_level;
        self.level_speed = keep * (before.1 + reach * before.2) + level_speed;
        self.speed_speed = keep_keep * before.2 + speed_speed;
    }

    /// Says by which gains.
    fn correct(&mut self, value: f64) -> (f64, f64) {
        let sure = 1.0 / (self.level_level + NOISE);
        let (gain, gain_speed) = (self.level_level * sure, self.level_speed * sure);
        self.correct_by(value, gain, gain_speed);
        self.speed_speed -= gain_speed * self.level_speed;
        self.level_level *= 1.0 - gain;
        self.level_speed *= 1.0 - gain;
        (gain, gain_speed)
    }

    fn correct_by(&mut self, value: f64, gain: f64, gain_speed: f64) {
        let miss = value - self.level;
        self.level += gain * miss;
        self.speed += gain_speed * miss;
    }

    /// The speed, in mg/dL per minute.
    #[must_use]
    pub const fn speed(&self) -> f64 {
        self.speed
    }

    /// Did it take in the reading of that time, and enough before it without a gap?
    #[must_use]
    pub fn knows(&self, at: Timestamp) -> bool {
        self.at == at && self.at - self.since >= Span::minutes(FOLLOWED_MIN)
    }
}

/// How far a speed carries in a span, in mg/dL, while it fades.
#[must_use]
pub fn carried(speed: f64, over: Span) -> f64 {
    speed * TAU * (1.0 - (-minutes(over) / TAU).exp())
}

/// What passing time does to what a filter knows.
#[derive(Debug, Clone, Copy)]
struct Passing {
    /// What is left of a speed, and how far a speed of one carries meanwhile; and their squares.
    keep: f64,
    reach: f64,
    keep_keep: f64,
    reach_reach: f64,
    /// What the pushes add to the covariance of level and speed.
    level_level: f64,
    level_speed: f64,
    speed_speed: f64,
}

/// Whole minutes for which it is kept ready: all steps within a gap.
static PASSING: LazyLock<[Passing; 36]> = LazyLock::new(|| std::array::from_fn(|step| Passing::over(minutes_of(step))));

impl Passing {
    fn over(minutes: f64) -> Self {
        let keep = (-minutes / TAU).exp();
        let reach = TAU * (1.0 - keep);
        Self {
            keep,
            reach,
            keep_keep: keep * keep,
            reach_reach: reach * reach,
            level_level: SPREAD * TAU * (minutes - 2.0 * reach + TAU / 2.0 * (1.0 - keep * keep)),
            level_speed: SPREAD * TAU / 2.0 * (1.0 - keep) * (1.0 - keep),
            speed_speed: SPREAD / 2.0 * (1.0 - keep * keep),
        }
    }

    /// Most readings are whole minutes apart.
    fn of(step: Span) -> Self {
        let (millis, minute) = (step.as_millis(), 60_000);
        let ready = usize::try_from(millis / minute).ok().and_then(|step| PASSING.get(step));
        match ready.filter(|_| millis % minute == 0) {
            Some(ready) => *ready,
            None => Self::over(minutes(step)),
        }
    }
}

#[expect(clippy::cast_precision_loss, reason = "a few minutes")]
fn minutes_of(step: usize) -> f64 {
    step as f64
}

fn mg_dl(value: Glucose) -> f64 {
    f64::from(value.hundredths()) * 0.01
}

#[expect(clippy::cast_precision_loss, reason = "steps within a gap are far below 2^53 milliseconds")]
fn minutes(span: Span) -> f64 {
    span.as_millis() as f64 * (1.0 / 60_000.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(minute: i64) -> Timestamp {
        Timestamp::from_seconds(minute * 60)
    }

    fn close(one: f64, other: f64) -> bool {
        (one - other).abs() < 5e-6
    }

    /// numpy 2.4.6, scipy 1.17.1: `python docs/forecast/filter.py`.
    #[test]
    fn the_filter_agrees_with_a_general_library() {
        let mut filter = Filter::begin(at(0), Glucose::mg_dl(120));
        for (minute, value, level, speed) in [
            (5, 113, 113.894_256, -1.004_494),
            (10, 108, 108.251_805, -0.923_493),
            (15, 99, 99.876_807, -1.331_434),
            (21, 96, 95.650_363, -0.573_164),
            (26, 90, 90.530_772, -0.814_931),
            (41, 84, 83.966_957, -0.226_943),
            (46, 79, 79.633_917, -0.688_162),
        ] {
            filter.follow(at(minute), Glucose::mg_dl(value), Span::minutes(5));
            assert!(close(filter.level, level) && close(filter.speed, speed), "{minute}: {filter:?}");
        }
    }

    /// The gains that it settles at, from the discrete algebraic Riccati equation: the same command.
    #[test]
    fn the_filter_settles_at_the_gains_of_the_riccati_equation() {
        let mut filter = Filter::begin(at(0), Glucose::mg_dl(120));
        for step in 1..200 {
            filter.follow(at(5 * step), Glucose::mg_dl(120), Span::minutes(5));
        }
        let mut ahead = filter;
        ahead.predict(Span::minutes(5));
        let gains = (ahead.level_level / (ahead.level_level + NOISE), ahead.level_speed / (ahead.level_level + NOISE));
        assert!(close(gains.0, 0.835_104) && close(gains.1, 0.125_928), "{gains:?}");
    }

    /// 15 (1 - e^(-20/15)) = 11.046 minutes at full speed.
    #[test]
    fn a_speed_carries_as_far_as_it_lasts() {
        assert!(close(carried(-1.0, Span::minutes(20)), -11.046_043) && close(carried(2.0, Span::ZERO), 0.0));
    }

    #[test]
    fn a_gap_begins_anew_and_doubles_change_nothing() {
        let followed = |mut filter: Filter, minute: i64, mg_dl: i32, cadence: i64| {
            filter.follow(at(minute), Glucose::mg_dl(mg_dl), Span::minutes(cadence));
            filter
        };
        let begun = Filter::begin(at(-5), Glucose::mg_dl(150));
        let falling =
            (0..6).fold(begun, |filter, step| followed(filter, 5 * step, 150 - 8 * i32::try_from(step).unwrap(), 5));
        assert!(falling.speed() < -1.0);
        for (minute, same) in [(24, true), (25, true), (28, true), (29, false)] {
            let next = followed(falling, minute, 100, 5);
            assert_eq!(next == falling, same, "{minute}");
        }
        assert!(falling.knows(at(25)) && !falling.knows(at(24)));
        assert!(!followed(falling, 46, 100, 5).knows(at(46)));
        assert!(followed(falling, 46, 100, 15).knows(at(46)));
    }
}
