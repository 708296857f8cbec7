//! How likely a reading beyond a limit is within a horizon, by value, speed and slope. Knows no alerts, and does not say
//! from which chance on anything rings.
//!
//! The chance is logistic in six features. The weights of a low and of a very low were fitted on the two open sets named in
//! docs/alerts-measured.md by an independent program, and checked on other people; docs/forecast/fit.py fits those of
//! [`HIGH`], and others that are no better for a low. What it reaches is in docs/forecast-measured.md. Detected and false
//! are as defined there.

use super::chance::Chance;
use crate::domain::glucose::Glucose;
use crate::domain::time::Span;
use crate::engine::effect::Side;

/// Distances to a limit count up to this, in tens of a mg/dL.
const DISTANCE_MAX: f64 = 13.0;

/// How the chance to pass a limit depends on what is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Model {
    /// One, distance, root of distance, approach, retreat, slope: as [`Model::logit`] puts them together.
    weights: [f64; 6],
    /// An approach counts up to this, in mg/dL per minute.
    fastest: f64,
    /// What is shown has another intercept than what ranks: that with which as many come as are said to. So much higher.
    calibrated: f64,
    /// The chance is that of a reading beyond the limit within this.
    pub horizon: Span,
    /// No chance is said to be higher: from there on observed shares grow no more.
    pub most: Chance,
}

/// Below 70 mg/dL, or another low limit near it.
///
/// Of 2,497 lows on the tune traces as many are detected as with weights fitted anew on nine tenths of the people and
/// used on the tenth: at 0.15, 0.25, 0.5 and 1 false a day .269, .387, .611, .809, against .269, .388, .611, .808.
/// With the approach clipped at -4 (weights 0.5146, -0.1413, -3.1582, -1.2646, -0.9755, -0.3845) it was .248, .388,
/// .610, .801. Other people, held out, were not what these were chosen on either.
pub const LOW: Model = Model {
    weights: [0.2125, -0.0929, -3.2582, -2.2436, -0.3917, -0.3460],
    fastest: 1.2,
    calibrated: 0.0,
    horizon: Span::minutes(20),
    most: Chance::percent(75),
};

/// Below 54 mg/dL.
///
/// Of 519 very lows at 0.05, 0.1, 0.25, 0.5 and 1 false a day .104, .250, .568, .773, .915 are detected; with weights
/// fitted anew on nine tenths of the people and used on the tenth .094, .270, .572, .776, .913: no more than chance
/// makes of 519. Those of before, within 20 minutes, found .089, .177, .505, .759, .917.
pub const VERY_LOW: Model = Model {
    weights: [0.3272, 0.1898, -4.5713, -0.8573, -0.7388, -0.4479],
    fastest: FASTEST,
    calibrated: 0.604 - 0.3272,
    horizon: Span::minutes(15),
    most: Chance::percent(60),
};

/// Above 180 mg/dL, or another high limit near it.
pub const HIGH: Model = Model {
    weights: [0.5183, -0.2696, -2.2446, -1.3033, -0.8890, -0.3266],
    fastest: FASTEST,
    calibrated: 0.0,
    horizon: Span::minutes(20),
    most: Chance::percent(90),
};

/// The same where readings are a quarter of an hour apart: one more reading is all that comes within the horizon, and
/// a fast fall is as often treated, or not what it looks like.
pub const LOW_SPARSE: Model = Model { most: Chance::percent(55), ..LOW };

/// Below 54 mg/dL with such readings: the same weights, shown as less, and never likely enough to ring.
/// Where it would be said to be .2 to .3, .3 to .4 and more, .28, .26 and .15 came.
pub const VERY_LOW_SPARSE: Model = Model { calibrated: 0.147 - 0.3272, most: Chance::percent(25), ..VERY_LOW };

/// Above 180 mg/dL with such readings.
pub const HIGH_SPARSE: Model = Model { most: Chance::percent(62), ..HIGH };

/// How likely something is: as forecasts are ranked and ring by, and as it is shown.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Likelihood {
    /// What settings are held against.
    pub ranks: Chance,
    /// What is said.
    pub shown: Chance,
    calibrated: f64,
}

impl Likelihood {
    /// A chance of the settings as it is said beside this one.
    #[must_use]
    pub fn beside(&self, set: Chance) -> Chance {
        let share = set.share();
        if self.calibrated == 0.0 || share <= 0.0 || share >= 1.0 {
            return set;
        }
        Chance::of(chance((share / (1.0 - share)).ln() + self.calibrated))
    }
}

/// What is known of a value and how it moves; speeds in mg/dL per minute.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Motion {
    /// The last reading.
    pub value: Glucose,
    /// Its speed now, from the filter.
    pub speed: f64,
    /// The least-squares slope of the last half hour.
    pub slope: f64,
}

/// An approach counts up to this, in mg/dL per minute, where a model does not say less.
const FASTEST: f64 = 4.0;

/// A slope counts down to this, in mg/dL per minute towards the limit, and up to that.
const SLOPE_MIN: f64 = -3.0;
const SLOPE_MAX: f64 = 1.5;

impl Model {
    /// The logarithm of the odds. Both sides are the same seen in a mirror.
    #[must_use]
    pub fn logit(&self, side: Side, limit: Glucose, motion: &Motion) -> f64 {
        let [.., trend] = self.weights;
        self.without_slope(side, limit, motion) + trend * (mirror(side) * motion.slope).clamp(SLOPE_MIN, SLOPE_MAX)
    }

    /// The most it can be, whatever the slope is.
    #[must_use]
    pub fn logit_at_most(&self, side: Side, limit: Glucose, motion: &Motion) -> f64 {
        let [.., trend] = self.weights;
        self.without_slope(side, limit, motion) + (trend * SLOPE_MIN).max(trend * SLOPE_MAX)
    }

    /// What a logit means, which after food and insulin counts for `sure` of itself.
    #[must_use]
    pub fn likelihood(&self, logit: f64, sure: f64) -> Likelihood {
        let of = |logit: f64| Chance::of(chance(logit * sure)).min(self.most);
        Likelihood { ranks: of(logit), shown: of(logit + self.calibrated), calibrated: self.calibrated }
    }

    fn without_slope(&self, side: Side, limit: Glucose, motion: &Motion) -> f64 {
        // In tens of a mg/dL; a product, since divisions are most of what this costs.
        let apart = f64::from(motion.value.hundredths() - limit.hundredths());
        let distance = (mirror(side) * apart * 0.001).clamp(0.0, DISTANCE_MAX);
        let speed = mirror(side) * motion.speed;
        let [one, far, root, approach, retreat, _] = self.weights;
        one + far * distance
            + root * (distance + 0.1).sqrt()
            + approach * speed.clamp(-self.fastest, 0.0)
            + retreat * speed.clamp(0.0, 1.5)
    }
}

const fn mirror(side: Side) -> f64 {
    match side {
        Side::Low => 1.0,
        Side::High => -1.0,
    }
}

/// The chance that belongs to a logit.
#[must_use]
pub fn chance(logit: f64) -> f64 {
    1.0 / (1.0 + (-logit).exp())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(one: f64, other: f64) -> bool {
        (one - other).abs() < 5e-6
    }

    /// What is set and what is shown lie on one line: what rings is shown as what it rings from, or more.
    #[test]
    fn what_is_shown_is_shown_beside_what_is_set() {
        for model in [LOW, VERY_LOW, VERY_LOW_SPARSE] {
            for tenths in -30..=-10 {
                let found = model.likelihood(f64::from(tenths) / 10.0, 1.0);
                assert!(found.beside(found.ranks).share() - found.shown.share() < 2e-4, "{found:?}");
                assert_eq!(found.beside(found.ranks) == found.ranks, model.calibrated == 0.0);
            }
        }
        assert!(VERY_LOW.likelihood(-1.0, 1.0).shown > VERY_LOW_SPARSE.likelihood(-1.0, 1.0).shown);
    }

    #[test]
    fn nearer_and_falling_is_likelier_and_both_sides_are_mirrors() {
        let motion = |value, speed, slope| Motion { value: Glucose::mg_dl(value), speed, slope };
        let low = |motion: Motion| chance(LOW.logit(Side::Low, Glucose::mg_dl(70), &motion));
        assert!(low(motion(75, -1.0, -1.0)) > low(motion(90, -1.0, -1.0)));
        assert!(low(motion(90, -2.0, -1.0)) > low(motion(90, -1.0, -1.0)));
        assert!(low(motion(150, 0.0, 0.0)) < 0.001);
        for (model, slope) in [LOW, VERY_LOW, VERY_LOW_SPARSE, HIGH]
            .iter()
            .flat_map(|model| [-9.0, -1.0, 2.0].map(|slope| (model, slope)))
        {
            let motion = motion(90, -1.0, slope);
            let most = model.logit_at_most(Side::Low, Glucose::mg_dl(70), &motion);
            assert!(model.logit(Side::Low, Glucose::mg_dl(70), &motion) <= most);
        }
        let mirror = HIGH.logit(Side::High, Glucose::mg_dl(180), &motion(165, 1.2, 0.7));
        let same = HIGH.logit(Side::Low, Glucose::mg_dl(180), &motion(195, -1.2, -0.7));
        assert!(close(mirror, same));
        assert!(close(chance((0.17_f64 / 0.83).ln()), 0.17));
    }
}
