//! What the wearer wants of forecasts, already checked.

use crate::domain::time::Span;
use crate::engine::effect::Condition;
use crate::engine::forecast::{Chance, HIGH, HIGH_SPARSE, LOW, LOW_SPARSE, Model, VERY_LOW, VERY_LOW_SPARSE};
use crate::engine::policy::Rings;
use serde::{Deserialize, Serialize};

/// One forecast.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct ForecastPolicy {
    /// From this chance on it is raised: recorded, and shown by `status` and `why`.
    pub raise: Chance,
    /// From this chance on it rings.
    pub sound: Chance,
    /// When it rings; never is off.
    pub rings: Rings,
    /// So many rings a day, in hundredths, may come to nothing: the chance it rings from moves to keep to it. It does
    /// not move when none.
    pub false_a_day: Option<u16>,
}

/// The three forecasts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct ForecastsPolicy {
    /// Below the low limit.
    pub low: ForecastPolicy,
    /// Below the very low limit.
    pub very_low: ForecastPolicy,
    /// Above the high limit.
    pub high: ForecastPolicy,
    /// Soon after a low that is back another rings from this chance on.
    #[serde(default = "after_low")]
    pub after_low: Chance,
    /// While a high comes down under insulin that still acts a low rings from this chance on.
    #[serde(default = "landing")]
    pub landing: Chance,
}

/// On the tune traces, as the reference has it, .25 rings a day, of the lows that slip .65, precision .49. Here the reading
/// that shows a low to be back does not ring: .199 rings a day with those of the check, of the lows that slip .460, and
/// precision .452; of the rings by chance alone .609. The chance that gives 0.5 and 1 false a day was .276 and .148 with the
/// model of before and is .293 and .151 with this one: at 0.20, between them, it moved by about a hundredth, and stays.
const fn after_low() -> Chance {
    Chance::percent(20)
}

/// On the tune traces, as the reference has it, .17 rings a day, of the lows that follow .87, precision .50, about a
/// quarter of an hour before. Here .178 rings a day, of all lows within 90 minutes of a landing, slow ones too, .787 are
/// rung for and .742 by this, precision .628.
const fn landing() -> Chance {
    Chance::percent(15)
}

impl Default for ForecastsPolicy {
    /// Measured on open traces: see docs/forecast-measured.md.
    fn default() -> Self {
        let forecast = |raise: u8, sound: u8, rings: Rings| ForecastPolicy {
            raise: Chance::percent(raise),
            sound: Chance::percent(sound),
            rings,
            false_a_day: None,
        };
        Self {
            // 0.134 rings a day for nothing on the tune traces, as `TOO_NEAR` says; 0.141 with the model of before.
            low: forecast(30, 40, Rings::ByDay),
            // 0.0075 rings a day for nothing on the tune traces; 0.0098 with the model of before.
            very_low: forecast(15, 26, Rings::Always),
            high: forecast(40, 60, Rings::Never),
            after_low: after_low(),
            landing: landing(),
        }
    }
}

impl ForecastsPolicy {
    /// The forecast of that condition; a condition that is no forecast has none.
    #[must_use]
    pub const fn of(&self, condition: Condition) -> Option<&ForecastPolicy> {
        match condition {
            Condition::ForecastVeryLow => Some(&self.very_low),
            Condition::ForecastLow => Some(&self.low),
            Condition::ForecastHigh => Some(&self.high),
            _ => None,
        }
    }
}

/// How the chance of that forecast is worked out, from readings every five minutes or from sparser ones.
pub(super) const fn model(condition: Condition, sparse: bool) -> &'static Model {
    match (condition, sparse) {
        (Condition::ForecastVeryLow, false) => &VERY_LOW,
        (Condition::ForecastVeryLow, true) => &VERY_LOW_SPARSE,
        (Condition::ForecastHigh, false) => &HIGH,
        (Condition::ForecastHigh, true) => &HIGH_SPARSE,
        (_, false) => &LOW,
        (_, true) => &LOW_SPARSE,
    }
}

/// The chance of a forecast is that of a reading beyond its limit within this.
pub(super) const fn horizon(condition: Condition) -> Span {
    model(condition, false).horizon
}

/// A forecast stands this long: what has not come by then has not come, and may be foreseen anew.
pub const STANDS: Span = Span::minutes(30);

/// For so long after a reading beyond the limit nothing is foreseen: it is there already.
pub(super) const AFTER_BEYOND: Span = Span::minutes(15);

/// A forecast came true when a reading beyond the limit follows within this.
pub const TRUE_WITHIN: Span = Span::minutes(45);

/// A ring no sooner than this after the last of its condition: one for each coming low. Ours.
pub(super) const RINGS_APART: Span = Span::minutes(60);

/// A level that rang speaks for what it may become, for as long as a treated low is waited for. Ours.
pub(super) const AFTER_LEVEL: Span = Span::minutes(15);

/// Food and insulin make the next hours less sure; for so long, ours, about the first half of a rapid insulin's effect.
pub(super) const LESS_SURE: Span = Span::hours(2);

/// What the logarithm of the odds is multiplied by then: a chance moves towards even. Ours, and not measured: the open
/// traces hold no notes.
pub(super) const LESS_SURE_TIMES: f64 = 0.8;
