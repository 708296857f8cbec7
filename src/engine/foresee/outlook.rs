//! What one reading means for one forecast: how the value moves, how likely that makes a reading beyond the limit, and
//! what is so far from the limit that it need not be worked out.

use super::policy::{ForecastPolicy, LESS_SURE_TIMES, model};
use super::watched::Watched;
use crate::domain::glucose::{Glucose, MG_DL_MIN_HUNDREDTHS, Measured, Unit};
use crate::domain::reading::Reading;
use crate::domain::time::Timestamp;
use crate::engine::effect::{Condition, Side};
use crate::engine::forecast::{Chance, HORIZON, Likelihood, Model, Motion, SLOPE_OVER, carried};
use crate::engine::outcome::Ahead;
use crate::engine::policy::{Policy, Rings};
use crate::engine::{Engine, trend};

/// The logarithm of the odds of less than one in a hundred, which no setting asks for.
pub(super) const UNLIKELY: f64 = -4.7;

/// Few settings ask for less than this; the logarithm of its odds, and a little less, since after food and insulin a
/// chance moves towards even.
pub(in crate::engine) const SELDOM: Chance = Chance::percent(10);
pub(super) const SELDOM_LOGIT: f64 = -2.8;

/// Speeds count up to this, in mg/dL per minute.
pub(super) const SPEED_MAX: f64 = 4.0;

/// A forecast of a low rings only so far above the limit, or further, in hundredths of a mg/dL: nearer the low says it as
/// soon. On the tune traces, from 0.40 on with this, 0.314 rings a day, 0.134 of them for nothing, and 13.3 % of lows
/// rung 10 minutes or more before; from 0.53 on without it, 0.429, 0.140 and 15.7 %.
const TOO_NEAR: i32 = 400;

/// How a value moves.
#[derive(Debug, Clone, Copy)]
pub(super) struct Moves {
    /// From the filter, in mg/dL per minute.
    pub(super) speed: f64,
    /// Readings are far apart.
    pub(super) sparse: bool,
}

/// What one reading means for one forecast.
#[derive(Debug, Clone, Copy)]
pub(super) struct Outlook {
    pub(super) condition: Condition,
    pub(super) side: Side,
    pub(super) limit: Glucose,
    pub(super) policy: ForecastPolicy,
    pub(super) measured: Timestamp,
    pub(super) value: Glucose,
    /// What it is watched for, and since when.
    pub(super) watched: Option<(Watched, Timestamp)>,
}

impl Outlook {
    /// None where the forecast is off.
    pub(super) fn of(policy: &Policy, condition: Condition, side: Side, reading: &Reading) -> Option<Self> {
        let limit = policy.levels.of(condition.foreseen()?)?.limit;
        let policy = *policy.forecasts.of(condition).filter(|policy| policy.rings != Rings::Never)?;
        Some(Self { condition, side, limit, policy, measured: reading.measured, value: reading.glucose, watched: None })
    }

    /// So near the limit that the level itself says it as soon; what is watched for is said all the same.
    pub(super) fn is_too_near(&self) -> bool {
        let apart = self.value.hundredths() - self.limit.hundredths();
        self.condition == Condition::ForecastLow && self.watched.is_none() && apart < TOO_NEAR
    }

    /// Too far from the limit to be raised, at that speed.
    pub(super) fn is_far(&self, value: Glucose, speed: f64) -> bool {
        let approach = match self.side {
            Side::Low => -speed,
            Side::High => speed,
        };
        self.policy.raise >= SELDOM && is_far(self.side, value, self.limit, approach)
    }
}

/// So far from a limit that nothing is likely enough to be raised, however it moved in the last half hour; if settings
/// ask for no less than is [`SELDOM`]. Spares most readings the rest.
pub(super) fn is_far(side: Side, value: Glucose, limit: Glucose, approach: f64) -> bool {
    let (apart, still, per_speed, fastest) = match side {
        // A faster approach than this makes a low no likelier.
        Side::Low => (value.hundredths() - limit.hundredths(), 1_500.0, 2_000.0, 1.2),
        Side::High => (limit.hundredths() - value.hundredths(), 2_600.0, 1_800.0, SPEED_MAX),
    };
    f64::from(apart) >= still + per_speed * approach.clamp(0.0, fastest)
}

impl Engine {
    /// How the value of a reading moves, where enough is known; nothing is while two signals alternate.
    pub(super) fn moves(&self, reading: &Reading) -> Option<Moves> {
        let source = self.state.sources.get(usize::from(reading.source.0))?;
        let filter = source.filter.as_ref().filter(|filter| filter.knows(reading.measured))?;
        let known = Moves { speed: filter.speed(), sparse: source.is_sparse() };
        self.state.register.two_signals().is_none().then_some(known)
    }

    /// The chance that a reading beyond the limit follows. One whose odds are less than these is not worked out.
    pub(super) fn chance_of(
        &self,
        outlook: &Outlook,
        reading: &Reading,
        moves: Moves,
        least: f64,
    ) -> Option<Likelihood> {
        let (side, limit, model) = (outlook.side, outlook.limit, model(outlook.condition, moves.sparse));
        let motion = Motion { value: reading.glucose, speed: moves.speed, slope: 0.0 };
        let is_likely = model.logit_at_most(side, limit, &motion) >= least;
        is_likely.then(|| self.worked_out(outlook, reading, model, motion))
    }

    #[cold]
    fn worked_out(&self, outlook: &Outlook, reading: &Reading, model: &Model, mut motion: Motion) -> Likelihood {
        motion.slope = trend::slope(self.state.window.newest_first(reading.source), SLOPE_OVER);
        let sure = if self.noted_lately(reading.measured).is_some() { LESS_SURE_TIMES } else { 1.0 };
        model.likelihood(model.logit(outlook.side, outlook.limit, &motion), sure)
    }

    /// The chance of what a forecast is about as it is shown, by the newest reading; none where it is not known, or less than one in a
    /// hundred.
    #[must_use]
    pub fn chance(&self, condition: Condition) -> Option<Chance> {
        let reading = self.state.window.newest()?;
        let (side, limit) = (condition.side()?, self.policy.levels.of(condition.foreseen()?)?.limit);
        let policy = *self.policy.forecasts.of(condition)?;
        let outlook = Outlook {
            condition,
            side,
            limit,
            policy,
            measured: reading.measured,
            value: reading.glucose,
            watched: None,
        };
        self.chance_of(&outlook, reading, self.moves(reading)?, UNLIKELY).map(|found| found.shown)
    }

    /// Where the newest reading is headed: its value at the horizon, by its speed, which fades. Nothing where it has none.
    pub(in crate::engine) fn ahead(&self, now: Timestamp) -> Option<Ahead> {
        let reading = self.state.window.newest().filter(|reading| reading.glucose.measured() == Measured::Number)?;
        let moves = self.moves(reading)?;
        let value = f64::from(reading.glucose.hundredths()) + 100.0 * carried(moves.speed, HORIZON);
        Some(Ahead { value: Glucose::from_received(whole(value), Unit::MgDl), by: now.max(reading.measured) + HORIZON })
    }
}

/// Whole mg/dL are as fine as a value that is foreseen is said.
#[expect(clippy::cast_possible_truncation, reason = "what is beyond the range of an i32 is cut to it")]
fn whole(hundredths: f64) -> i32 {
    ((hundredths / 100.0).round() as i32).saturating_mul(100).max(MG_DL_MIN_HUNDREDTHS)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::forecast::{HIGH, HIGH_SPARSE, LOW, LOW_SPARSE, VERY_LOW, VERY_LOW_SPARSE};

    /// What is passed over as too far is never likely enough, at any speed and slope.
    #[test]
    fn what_is_too_far_is_not_likely_enough() {
        for (side, models) in
            [(Side::Low, [LOW, LOW_SPARSE, VERY_LOW, VERY_LOW_SPARSE].as_slice()), (Side::High, &[HIGH, HIGH_SPARSE])]
        {
            let (limit, away) = match side {
                Side::Low => (Glucose::mg_dl(70), 1),
                Side::High => (Glucose::mg_dl(180), -1),
            };
            let mut far = 0;
            for (apart, tenths) in (0..=110).flat_map(|apart| (-60..=60).map(move |tenths| (apart, tenths))) {
                let (value, speed) =
                    (Glucose::mg_dl(limit.hundredths() / 100 + away * apart), f64::from(tenths) / 10.0);
                let approach = -speed * f64::from(away);
                if is_far(side, value, limit, approach) {
                    far += 1;
                    for model in models {
                        let most = model.logit_at_most(side, limit, &Motion { value, speed, slope: 0.0 });
                        assert!(most < SELDOM_LOGIT, "{side:?} {apart} {speed}: {most}");
                    }
                }
            }
            assert!(far > 5_000, "{side:?}: {far} of 13,431 are spared the rest");
        }
        assert!(1.0 / (1.0 + (-SELDOM_LOGIT * LESS_SURE_TIMES).exp()) < SELDOM.share());
    }
}
