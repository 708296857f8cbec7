//! How well forecasts did on past days: detected, false a day, lead, precision.
//!
//! Readings are cleaned and split as for levels ([`super::score`]), and an episode is the same. A forecast is *raised*
//! whether it rings or not; those within 30 minutes of one another are one. An episode is *detected* when one was raised
//! 5 to 60 minutes before its first reading beyond the limit, and the *lead* is counted from the first such; episodes
//! with less than 20 minutes of readings before them do not count. A forecast is *false* when no reading beyond the
//! limit follows within 45 minutes; when a gap cuts these it is neither true nor false. Clocks jitter: five minutes are
//! at least four, fifteen at least fourteen.

use super::score::Kept;
use crate::domain::glucose::{Glucose, Measured, Unit};
use crate::domain::time::{Span, Timestamp};
use crate::engine::effect::{Condition, Decision, What};
use crate::engine::policy::Levels;

const ONE_WITHIN_MIN: i64 = 30;
const LEAD_MIN: i64 = 4;
const LEAD_MAX: i64 = 60;
const EARLY_MIN: i64 = 14;
const TRUE_WITHIN_MIN: i64 = 45;

/// What the forecasts of one condition did.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ForecastScore {
    /// Which forecast.
    pub condition: Condition,
    /// Episodes that could be foreseen.
    pub episodes: u64,
    /// Those that were.
    pub detected: u64,
    /// Those that were 15 minutes before or earlier.
    pub detected_early: u64,
    /// Forecasts raised.
    pub raised: u64,
    /// Those that a reading beyond the limit followed.
    pub came_true: u64,
    /// Those that none followed.
    pub were_false: u64,
    /// Those that rang.
    pub rang: u64,
    /// Rings that came to nothing.
    pub rang_false: u64,
    /// The lead of each detected episode.
    leads: Vec<Span>,
}

impl ForecastScore {
    /// Nothing seen yet of that forecast.
    #[must_use]
    pub const fn new(condition: Condition) -> Self {
        Self {
            condition,
            episodes: 0,
            detected: 0,
            detected_early: 0,
            raised: 0,
            came_true: 0,
            were_false: 0,
            rang: 0,
            rang_false: 0,
            leads: Vec::new(),
        }
    }

    /// Of every hundred detected episodes that many had no longer a lead; none were detected when nothing.
    #[must_use]
    pub fn lead(&self, of_hundred: usize) -> Option<Span> {
        let mut leads = self.leads.clone();
        leads.sort_unstable();
        leads.get((leads.len() * of_hundred / 100).min(leads.len().saturating_sub(1))).copied()
    }

    /// Adds what was decided on one person's readings; `begins` are the episodes that could be foreseen.
    pub(super) fn add_kept(
        &mut self,
        kept: &Kept,
        begins: &[Timestamp],
        decisions: &[(Timestamp, Decision)],
        levels: &Levels,
    ) {
        let Some((level, side)) = self.condition.foreseen().zip(self.condition.side()) else { return };
        let Some(limit) = levels.of(level).map(|level| level.limit) else { return };
        let beyond = |value: i32| side.is_beyond(Glucose::from_hundredths(value, Unit::MgDl, Measured::Number), limit);
        let alerts = self.alerts(decisions);
        for alert in &alerts {
            let came = kept.after(alert.at, Span::minutes(TRUE_WITHIN_MIN)).any(|(_, value)| beyond(*value));
            let cut = !came && kept.followed_until(alert.at) < alert.at + Span::minutes(TRUE_WITHIN_MIN);
            self.raised += 1;
            self.rang += u64::from(alert.rang);
            self.came_true += u64::from(came);
            self.were_false += u64::from(!came && !cut);
            self.rang_false += u64::from(alert.rang && !came && !cut);
        }
        for from in begins.iter().copied() {
            self.episodes += 1;
            let first = alerts.partition_point(|alert| from - alert.at > Span::minutes(LEAD_MAX));
            let Some(alert) = alerts.get(first).filter(|alert| from - alert.at >= Span::minutes(LEAD_MIN)) else {
                continue;
            };
            self.detected += 1;
            self.detected_early += u64::from(from - alert.at >= Span::minutes(EARLY_MIN));
            self.leads.push(from - alert.at);
        }
    }

    fn alerts(&self, decisions: &[(Timestamp, Decision)]) -> Vec<Alert> {
        let mut alerts: Vec<Alert> = Vec::new();
        for (at, decision) in decisions.iter().filter(|(_, decision)| decision.condition == self.condition) {
            let at = decision.reading_at.unwrap_or(*at);
            match (decision.what, alerts.last_mut()) {
                (What::Repeated, Some(last)) => last.rang = last.rang || decision.rings,
                (What::Raised, Some(last)) if at - last.at < Span::minutes(ONE_WITHIN_MIN) => {
                    last.rang = last.rang || decision.rings;
                }
                (What::Raised, _) => alerts.push(Alert { at, rang: decision.rings }),
                _ => {}
            }
        }
        alerts
    }
}

struct Alert {
    at: Timestamp,
    rang: bool,
}
