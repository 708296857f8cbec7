//! Where glucose is likely to be soon. A filter follows the speed of change, which fades: a straight line is a worse
//! forecast than no change at all. From value, speed and the slope of the last half hour comes the chance that a
//! reading beyond a limit follows within a horizon. Knows nothing of alerts.

mod chance;
mod filter;
mod model;

use crate::domain::time::Span;
pub use chance::Chance;
pub use filter::{Filter, SPARSE_CADENCE, carried};
pub use model::{HIGH, HIGH_SPARSE, LOW, LOW_SPARSE, Likelihood, Model, Motion, VERY_LOW, VERY_LOW_SPARSE, chance};

/// Where a value is headed is its value after this.
pub const HORIZON: Span = Span::minutes(20);

/// The slope is taken over this stretch.
pub const SLOPE_OVER: Span = Span::minutes(30);
