//! A high that begins soon after a low may be a rebound. It is told as such, `high` waits longer for it, and
//! nothing asks about it until that time is over. On the low side nothing changes.

use super::Engine;
use super::effect::{Condition, Side, What};
use super::level::NEW_EPISODE_AFTER_MIN;
use super::nadir::{LOW_HUNDREDTHS, Nadir};
use super::plan::Job;
use super::policy::{LevelPolicy, Policy};
use super::reason::Reason;
use super::recheck_high::HighCheck;
use super::turn::Turn;
use crate::domain::reading::Reading;
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// A rebound is a high that begins within two hours after a value below 70 mg/dL (Acciaroli 2022, PMC9294577,
/// seen as an abstract).
const AFTER_LOW_MIN: i64 = 120;

/// The last low there was, alerted or not.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct LastLow {
    /// Its first reading.
    since: Timestamp,
    /// Its last reading.
    last: Timestamp,
    /// When its alert ended, if it had one and that is over.
    over: Option<Timestamp>,
    /// Its lowest reading.
    #[serde(default)]
    lowest: Option<Nadir>,
}

/// The low that the high there is now, or that a reading begins, came soon after.
#[derive(Debug, Clone, Copy)]
pub(super) struct AfterLow {
    /// When the low began.
    pub(super) since: Timestamp,
    /// Until then nothing asks about the high.
    until: Timestamp,
}

impl AfterLow {
    /// Is that to be said with a decision? An alert is a rebound by when it began, however long it was waited for;
    /// whatever else is told later is none any more.
    pub(super) fn goes_with(&self, what: What, condition: Condition, reason: &Reason, now: Timestamp) -> bool {
        let in_time = match reason {
            Reason::BeyondLimit { since, .. } | Reason::NewEpisode { since, .. } => *since <= self.until,
            _ => now < self.until,
        };
        condition.side() == Some(Side::High) && in_time && !matches!(what, What::Ended | What::Answer)
    }
}

impl Policy {
    /// The high level as it holds in this turn.
    pub(super) fn high_in(&self, turn: &Turn) -> LevelPolicy {
        let mut high = self.levels.high;
        if turn.after_low.is_some() {
            let wait = self.recheck.rebound_delay;
            high.on_delay = high.on_delay.max(wait);
            high.again_after = high.again_after.max(wait);
        }
        high
    }
}

impl Engine {
    /// A reading came in, of now or late: it may be a low.
    pub(super) fn notice_low(&mut self, reading: &Reading) {
        let is_low = reading.glucose.hundredths() < LOW_HUNDREDTHS;
        if is_low || !self.state.past_lows.is_empty() {
            self.state.past_lows.see(reading.measured, reading.glucose, is_low);
        }
        if !is_low {
            return;
        }
        let at = reading.measured;
        let apart = Span::minutes(NEW_EPISODE_AFTER_MIN);
        let (value, is_of_it) = (reading.glucose, |low: &LastLow| low.since - at <= apart && at - low.last <= apart);
        let mut lowest = self.state.last_low.filter(is_of_it).and_then(|low| low.lowest);
        Nadir::lower(&mut lowest, value, at);
        match &mut self.state.last_low {
            Some(low) if at <= low.last => {
                low.lowest = if low.since - at <= apart { lowest } else { low.lowest };
                low.since = low.since.min(at);
            }
            Some(low) if at - low.last <= apart => (low.last, low.lowest) = (at, lowest),
            _ => self.state.last_low = Some(LastLow { since: at, last: at, over: None, lowest }),
        }
        self.follow_nadir(value, at);
    }

    /// Was there a low within that span?
    pub(super) fn low_within(&self, now: Timestamp, span: Span) -> bool {
        self.state.last_low.is_some_and(|low| low.last <= now && now - low.last < span)
    }

    /// Did the last low begin before that?
    pub(super) fn low_before(&self, at: Option<Timestamp>) -> bool {
        self.state.last_low.is_some_and(|low| at.is_none_or(|at| low.since < at))
    }

    /// The lowest value of the last low, if its last reading is of a time that counts.
    pub(super) fn nadir_of_last_low(&self, counts: impl Fn(Timestamp) -> bool) -> Option<Nadir> {
        self.state.last_low.filter(|low| counts(low.last))?.lowest
    }

    /// The low side has been judged; `before` is when its alert began, if one was open until then.
    pub(super) fn follow_low(&mut self, turn: &mut Turn, before: Option<Timestamp>, at: Timestamp) {
        if let Some(since) = before.filter(|_| self.root(Side::Low).is_none()) {
            let known = self.state.last_low.filter(|low| low.last >= since);
            // An alert of a higher limit may have ended without a value below 70.
            let low = known.unwrap_or(LastLow { since, last: since, over: None, lowest: None });
            self.state.last_low = Some(LastLow { over: Some(at), ..low });
        }
        turn.after_low = self.after_low(at);
    }

    /// The low before the high there is now, or before one that begins at `at`. Of two signals that alternate one
    /// is low and the other high, and nothing follows from that.
    pub(super) fn after_low(&self, at: Timestamp) -> Option<AfterLow> {
        let LastLow { since, last, over, .. } =
            self.state.last_low.filter(|_| self.state.register.two_signals().is_none())?;
        let began = self.high_began().unwrap_or(at);
        let until = over.unwrap_or(last) + Span::minutes(AFTER_LOW_MIN);
        (last <= began && began <= until).then_some(AfterLow { since, until })
    }

    /// When the last low began, and until when a rise after it may be its rebound; none when that is over.
    pub(super) fn rebound_until(&self, now: Timestamp) -> Option<(Timestamp, Timestamp)> {
        let LastLow { since, last, over, .. } = self.state.last_low?;
        let until = over.unwrap_or(last) + Span::minutes(AFTER_LOW_MIN);
        (now < until).then_some((since, until))
    }

    /// The first reading of the high there is now, waited for or told.
    fn high_began(&self) -> Option<Timestamp> {
        let (worse, milder) = Side::High.levels();
        let register = &self.state.register;
        if register.is_calm(Side::High) {
            return None;
        }
        let began = |condition| match register.of(condition) {
            Some(alert) => alert.level()?.row.map(|row| row.since),
            None => register.pending(condition).map(|pending| pending.since),
        };
        match (began(worse), began(milder)) {
            (Some(worse), Some(milder)) => Some(worse.min(milder)),
            (worse, milder) => worse.or(milder),
        }
    }

    /// A high is to be asked about, and came soon after a low: not yet. True when it is put off.
    pub(super) fn waits_for_rebound(&mut self, turn: &mut Turn, care: &HighCheck) -> bool {
        let Some(AfterLow { since, until }) = turn.after_low.filter(|low| turn.now < low.until) else { return false };
        self.state.plan.set(Job::HighCheck, until);
        let reason = Reason::AfterLow { low: since, next: until };
        turn.tell(What::Look, Condition::RecheckHigh, care.id, care.part_of, reason, false);
        true
    }
}
