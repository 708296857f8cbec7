//! One level: a limit with deadband, on-delay and off-delay. Driven by readings alone, so that a level
//! never changes without a value to show for it. Knows nothing of other levels, of day and night.

use super::alert::condition::Condition;
use super::alert::register::Register;
use super::effect::Side;
use super::policy::LevelPolicy;
use crate::domain::glucose::Glucose;
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// Values beyond the limit this long after the last that belonged to an episode are a new one: 15
/// minutes back end an episode (consensus on sensor metrics, Danne 2017, Diabetes Care 40:1631), and
/// readings five minutes apart leave 25 between the two.
pub(super) const NEW_EPISODE_AFTER_MIN: i64 = 24;

/// After a silence this long, or this many cadences, a value still beyond the limit is news.
const SILENCE_MIN: i64 = 20;
const SILENCE_SPARSE_MIN: i64 = 35;
const SPARSE_CADENCE_MIN: i64 = 10;

/// When the last reading is longer ago than this, the next is too far off to wait for.
const NEXT_TOO_FAR_MIN: i64 = 9;

/// A row of readings shorter than this is one dip.
const DIP_MIN: i64 = 4;

/// Readings come a little early or late: a delay counts as over when this little is missing.
const JITTER_MIN: i64 = 1;

/// Values beyond a limit whose on-delay still runs.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Pending {
    /// Which level.
    pub condition: Condition,
    /// First reading beyond.
    pub since: Timestamp,
    /// The last one.
    pub last: Timestamp,
}

/// What an open alert of a level remembers.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct LevelFacts {
    /// Last reading judged.
    pub last: Timestamp,
    /// When it last rang, or would have.
    pub rang: Timestamp,
    /// The unbroken row of readings beyond the limit that the last one belongs to.
    pub row: Option<Row>,
    /// Last reading beyond the limit that belonged to an episode.
    pub last_beyond: Timestamp,
    /// First reading past the deadband, in an unbroken row.
    pub past_deadband: Option<Timestamp>,
}

/// Readings beyond the limit, one after another.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Row {
    /// The first of them.
    pub since: Timestamp,
    /// They may begin a new episode, and it has not been rung for.
    pub anew: bool,
}

/// What a reading does to a level; `since` is the first reading that counts towards it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs, reason = "the line above says what the only field is")]
pub enum Step {
    /// Nothing to tell.
    None,
    /// The alert becomes active.
    Raise { since: Timestamp },
    /// The alert rings again for a new episode.
    Anew { since: Timestamp },
    /// The alert rings again after a silence.
    Still { silent_since: Timestamp },
    /// The alert ends, and is left to who tells it.
    End { since: Timestamp },
}

/// A value as one level of one side sees it.
#[derive(Debug, Clone, Copy)]
pub struct Seen {
    /// The side of the range.
    pub side: Side,
    /// The value.
    pub value: Glucose,
    /// When it was measured.
    pub measured: Timestamp,
    /// The source's cadence.
    pub cadence: Span,
}

impl Seen {
    /// Readings further apart than this have a silence between them.
    pub(super) fn long_silence(&self) -> Span {
        let sparse = self.cadence >= Span::minutes(SPARSE_CADENCE_MIN);
        Span::minutes(if sparse { SILENCE_SPARSE_MIN } else { SILENCE_MIN })
    }

    /// How far beyond the limit, in hundredths; negative or zero when not beyond.
    const fn beyond(&self, policy: &LevelPolicy) -> i32 {
        let (value, limit) = (self.value.hundredths(), policy.limit.hundredths());
        match self.side {
            Side::Low => limit - value,
            Side::High => value - limit,
        }
    }
}

impl Register {
    /// Judges one reading by one level. The caller raises: it knows the number to give.
    pub(super) fn step(&mut self, condition: Condition, policy: &LevelPolicy, seen: &Seen) -> Step {
        let beyond = seen.beyond(policy);
        match self.level_mut(condition) {
            // Of two sources the slower one is late: a level never goes back in time.
            Some(facts) if seen.measured < facts.last => return Step::None,
            Some(facts) => return facts.step(policy, seen, beyond),
            None => {}
        }
        if beyond <= 0 {
            self.set_pending(condition, None);
            return Step::None;
        }
        let since = match self.pending(condition) {
            // After a silence nothing is known of the time between: the delay begins anew.
            Some(Pending { since, last, .. }) if seen.measured - *last <= seen.long_silence() => *since,
            Some(_) | None => seen.measured,
        };
        if lasted(seen.measured - since, policy.on_delay) {
            return Step::Raise { since };
        }
        self.set_pending(condition, Some(Pending { condition, since, last: seen.measured }));
        Step::None
    }
}

impl LevelFacts {
    /// Those of an alert that becomes active with the reading of that time.
    #[must_use]
    pub const fn raised(since: Timestamp, at: Timestamp) -> Self {
        Self { last: at, rang: at, row: Some(Row { since, anew: false }), last_beyond: at, past_deadband: None }
    }

    /// The next value beyond the limit is a new episode, whenever it comes.
    pub fn expect_anew(&mut self) {
        let long_ago = Span::hours(24);
        self.last_beyond = self.last_beyond - long_ago;
        self.rang = self.rang - long_ago;
    }

    /// What was measured was measured by a clock that was set.
    pub(super) fn shift(&mut self, by: Span) {
        self.last = self.last + by;
        self.rang = self.rang + by;
        self.last_beyond = self.last_beyond + by;
        self.past_deadband = self.past_deadband.map(|past| past + by);
        self.row = self.row.map(|row| Row { since: row.since + by, ..row });
    }

    /// Is the last value beyond the limit?
    #[must_use]
    pub const fn is_beyond(&self) -> bool {
        self.row.is_some()
    }

    fn step(&mut self, policy: &LevelPolicy, seen: &Seen, beyond: i32) -> Step {
        let (at, silent_since) = (seen.measured, self.last);
        self.last = at;
        if beyond <= 0 {
            return self.inside(policy, at, beyond);
        }
        self.past_deadband = None;
        let may_ring = lasted(at - self.rang, policy.again_quiet);
        if at - silent_since > seen.long_silence() && may_ring {
            self.row = Some(Row { since: at, anew: false });
            return self.ring(at, Step::Still { silent_since });
        }
        let row =
            self.row.unwrap_or(Row { since: at, anew: at - self.last_beyond > Span::minutes(NEW_EPISODE_AFTER_MIN) });
        self.row = Some(row);
        let sure = at - silent_since > Span::minutes(NEXT_TOO_FAR_MIN)
            || lasted(at - row.since, policy.again_after)
            || beyond >= policy.again_beyond.hundredths();
        if row.anew && sure && may_ring {
            self.row = Some(Row { anew: false, ..row });
            return self.ring(at, Step::Anew { since: row.since });
        }
        // A lone reading beyond is a dip, also when it was sent twice: it must not push a new episode out
        // of reach.
        if !row.anew && at - row.since >= Span::minutes(DIP_MIN) {
            self.last_beyond = at;
        }
        Step::None
    }

    fn inside(&mut self, policy: &LevelPolicy, at: Timestamp, beyond: i32) -> Step {
        self.row = None;
        self.past_deadband = (-beyond >= policy.deadband.hundredths()).then(|| self.past_deadband.unwrap_or(at));
        match self.past_deadband {
            Some(past) if lasted(at - past, policy.off_delay) => Step::End { since: past },
            Some(_) | None => Step::None,
        }
    }

    const fn ring(&mut self, at: Timestamp, step: Step) -> Step {
        self.rang = at;
        self.last_beyond = at;
        step
    }
}

/// Has a delay passed, give or take the jitter of readings?
fn lasted(span: Span, delay: Span) -> bool {
    span + Span::minutes(JITTER_MIN) >= delay
}
