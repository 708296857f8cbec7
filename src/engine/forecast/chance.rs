//! A chance, as settings and words have it. Says nothing of what it is the chance of.

use serde::{Deserialize, Serialize};

/// A chance, in ten-thousandths, so that settings can be compared.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Chance(u16);

impl Chance {
    /// A percentage, from 0 to 100.
    #[must_use]
    pub const fn percent(percent: u8) -> Self {
        Self(100 * if percent < 100 { percent as u16 } else { 100 })
    }

    /// From 0 to 1; what lies beyond is cut.
    #[must_use]
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "clamped to the range of a chance first"
    )]
    pub fn of(share: f64) -> Self {
        Self((share.clamp(0.0, 1.0) * 10_000.0).round() as u16)
    }

    /// In a hundred, rounded.
    #[must_use]
    pub const fn in_a_hundred(self) -> u16 {
        (self.0 + 50) / 100
    }

    /// From 0 to 1.
    #[must_use]
    pub fn share(self) -> f64 {
        f64::from(self.0) / 10_000.0
    }
}
