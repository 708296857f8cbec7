//! Caution: a third level on the low side, above low, there only while a mode or a profile asks for it. It rings
//! by day and by night and calls nobody; a value that is really low is said as low. A treated one is looked at once.

use super::reason::Why;
use crate::domain::glucose::Glucose;
use crate::domain::mode::Mode;
use crate::domain::time::{Span, Timestamp};
use crate::engine::Engine;
use crate::engine::alert::Alert;
use crate::engine::check::Check;
use crate::engine::effect::{Condition, Id, Side, What};
use crate::engine::level::Seen;
use crate::engine::mode::profile::Profile;
use crate::engine::plan::Job;
use crate::engine::policy::{LevelPolicy, Rings};
use crate::engine::reason::{Began, Reason, Treatment};
use crate::engine::recheck_low::LowCheck;
use crate::engine::turn::Turn;

/// Above 5.0 mmol/L to start, and every two hours: UK driving guidance (DVLA INF294, seen as a copy).
pub const DRIVING: Glucose = Glucose::mg_dl(90);

/// At or above 90 to start exercise: consensus on glucose sensors and exercise (Moser 2020, PMC7702152).
const EXERCISE: Glucose = Glucose::mg_dl(90);

/// With a low alert at 73 or above, half the time was spent below 70 and no more low alerts rang (PMID 31993548), and
/// with impaired awareness the gain was larger (Diabetes 2020;69(S1):913-P); both seen as abstracts. 80 leaves a
/// sensor that lags behind a falling value some room; that round number, and its use after exercise and alcohol, are
/// ours.
const CAUTIOUS: Glucose = Glucose::mg_dl(80);

/// How far back past the limit a value must come, and for how long; no ring sooner than that after the last. Ours,
/// between those of low and the deadband of ten that is common practice.
const DEADBAND: Glucose = Glucose::mg_dl(10);
const OFF_DELAY_MIN: i64 = 30;
const AGAIN_QUIET_MIN: i64 = 30;

/// A cautious limit, and what asks for it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Cautious {
    /// Below this.
    pub limit: Glucose,
    /// The mode; none when it is a profile.
    pub mode: Option<Mode>,
}

/// The cautious limit of a mode while it lasts, and in the hours after it.
pub(super) const fn limit(mode: Mode, lasts: bool, is_after: bool) -> Option<Glucose> {
    match mode {
        Mode::Driving if lasts => Some(DRIVING),
        Mode::Exercise if lasts => Some(EXERCISE),
        Mode::Alcohol | Mode::Aftercare if lasts => Some(CAUTIOUS),
        Mode::Exercise if is_after => Some(CAUTIOUS),
        Mode::Driving | Mode::Exercise | Mode::Alcohol | Mode::Sick | Mode::Doubted | Mode::Aftercare => None,
    }
}

const fn level(limit: Glucose) -> LevelPolicy {
    LevelPolicy {
        limit,
        deadband: DEADBAND,
        on_delay: Span::ZERO,
        off_delay: Span::minutes(OFF_DELAY_MIN),
        again_after: Span::ZERO,
        again_beyond: Glucose::mg_dl(0),
        again_quiet: Span::minutes(AGAIN_QUIET_MIN),
        rings: Rings::Always,
    }
}

impl Engine {
    /// The strictest cautious limit that anything asks for; none when low itself is as strict.
    #[must_use]
    #[inline]
    pub fn cautious(&self, now: Timestamp) -> Option<Cautious> {
        if self.policy.profiles.is_empty() && self.state.modes.running.is_empty() {
            return None;
        }
        self.strictest(now)
    }

    fn strictest(&self, now: Timestamp) -> Option<Cautious> {
        let standing = self.policy.profiles.contains(&Profile::ImpairedAwareness);
        let standing = standing.then_some(Cautious { limit: CAUTIOUS, mode: None });
        let asked = self
            .state
            .modes
            .running
            .iter()
            .filter_map(|running| running.limit(now).map(|limit| Cautious { limit, mode: Some(running.mode) }));
        let low = self.policy.levels.low.limit.hundredths();
        let adds = |cautious: &Cautious| cautious.limit.hundredths() > low;
        let strictness = |cautious: &Cautious| (cautious.limit.hundredths(), cautious.mode == Some(Mode::Driving));
        standing.into_iter().chain(asked).filter(adds).max_by_key(strictness)
    }

    /// Judges the newest reading by the cautious limit; the low side is judged already.
    pub(in crate::engine) fn judge_caution(&mut self, turn: &mut Turn, seen: &Seen, had_low: bool) {
        let Some(Cautious { limit, .. }) = self.cautious(turn.now) else { return };
        let policy = level(limit);
        // A low that is held for the morning, or only waits to end, speaks for nothing.
        let speaks = |low: &&Alert| low.is_beyond() && !low.is_held();
        let speaking = self.state.register.of_side(Side::Low).find(speaks).map(|low| (low.condition, low.id));
        self.state.judge_level(turn, seen, Condition::Caution, &policy, None, speaking);
        let low_is_over = had_low && self.root(Side::Low).is_none();
        if let Some(caution) = self.state.register.of_mut(Condition::Caution) {
            // Its messages are its own: when it ends, those of a low stay.
            caution.part_of = None;
        }
        if low_is_over {
            self.state.unhide(turn, Condition::Caution, &policy);
        }
    }

    /// Nothing asks for caution any more: its alert ends, and what it left unanswered is forgotten.
    pub(in crate::engine) fn end_caution_unasked(&mut self, turn: &mut Turn) {
        if self.cautious(turn.now).is_some() {
            return;
        }
        let register = &mut self.state.register;
        register.returned.retain(|returned| returned.condition != Condition::Caution);
        register.set_pending(Condition::Caution, None);
        if let Some(active) = register.end_of(Condition::Caution).filter(|caution| !caution.is_spoken_for()) {
            let reason = Reason::Mode { said: Why::NothingAsks };
            turn.judged = self.latest(turn.now);
            turn.tell(What::Ended, Condition::Caution, active.id, None, reason, false);
        }
    }

    /// The wearer treated a value that is no low but a caution: it is looked at once. Anything graver that is open
    /// is treated as such, by the other looks.
    pub(in crate::engine) fn treat_caution(&mut self, turn: &mut Turn, at: Timestamp) -> bool {
        let Some(Cautious { limit, .. }) = self.cautious(turn.now) else { return false };
        if self.root(Side::Low).is_some() || self.state.plan.low().is_some_and(|check| !check.is_cautious()) {
            return false;
        }
        let caution = self.state.register.of_mut(Condition::Caution).filter(|caution| !caution.is_spoken_for());
        let Some(caution) = caution else { return false };
        caution.acknowledge();
        let (alert, since) = (caution.id, caution.since);
        let treated = self.treatment(at, Some(since), Began::Treated);
        let id = match self.state.plan.low() {
            Some(check) => check.id,
            None => self.take_id(),
        };
        let look = (at + self.policy.recheck.low_look).max(turn.now);
        let care = LowCheck {
            id,
            part_of: Some(alert),
            since,
            treated: Some(treated),
            unseen: 0,
            cautious: Some(limit),
            by_meter: false,
            lowest: None,
            spared: false,
        };
        self.state.register.story.treated(at);
        self.state.plan.look_at(Check::Low(care));
        self.state.plan.set(Job::LowCheck, look);
        let reason = Reason::Mode { said: Why::LookPlanned { treated, look } };
        turn.tell(What::Answer, Condition::RecheckLow, id, Some(alert), reason, false);
        true
    }

    /// The look at a treated caution: between low and its limit it is said once that it is not back. False when that
    /// is for the looks of a low, or when it is back.
    pub(in crate::engine) fn look_at_caution(&mut self, turn: &mut Turn, care: &LowCheck, treated: Treatment) -> bool {
        let Some((limit, judged)) = care.cautious.zip(turn.judged) else { return false };
        let low = self.policy.levels.low.limit.hundredths();
        if !(low..limit.hundredths()).contains(&judged.glucose.hundredths()) {
            return false;
        }
        if let Some(until) = self.silent_until(Condition::RecheckLow, turn.now) {
            // The one look is made when it may be told.
            self.state.plan.set(Job::LowCheck, until);
            let reason = Reason::Quiet { until };
            turn.tell(What::Withheld, Condition::RecheckLow, care.id, care.part_of, reason, false);
            return true;
        }
        self.state.plan.take_low();
        let reason = Reason::Mode { said: Why::StillBelow { treated, limit } };
        turn.tell(What::Look, Condition::RecheckLow, care.id, care.part_of, reason.clone(), false);
        turn.tell(What::Prompt, Condition::RecheckLow, care.id, care.part_of, reason, true);
        true
    }

    /// Does anything ask for caution, at whatever time?
    pub(in crate::engine) fn asks_for_caution(&self) -> bool {
        let modes = self.state.modes.running.iter().any(|running| limit(running.mode, true, true).is_some());
        modes || self.policy.profiles.contains(&Profile::ImpairedAwareness)
    }

    /// The caution that is open, if no low is.
    pub(in crate::engine) fn open_caution(&self) -> Option<(Id, Timestamp)> {
        let alone = self.root(Side::Low).is_none();
        let told = self.state.register.of(Condition::Caution).filter(|caution| alone && !caution.is_spoken_for());
        told.map(|caution| (caution.id, caution.since))
    }
}
