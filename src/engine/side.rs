//! The two levels of one side of the range: the worse speaks for the milder. By night a level that
//! rings by day only is held. Knows nothing of re-checks.

use super::effect::{Audience, Condition, Decision, Id, Side, What};
use super::level::{Active, Level, Seen, Step, Told};
use super::policy::{LevelPolicy, Rings};
use super::priority;
use super::reason::Reason;
use super::turn::Turn;
use super::{Engine, State};
use serde::{Deserialize, Serialize};

/// Where the two levels of a side stand.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct SideState {
    /// Very low, or very high.
    pub worse: Level,
    /// Low, or high.
    pub milder: Level,
}

impl SideState {
    /// The active alerts of the side, the worse first.
    pub fn active(&self) -> impl Iterator<Item = &Active> {
        self.worse.active().into_iter().chain(self.milder.active())
    }

    /// The alert that began the side's excursion: the one all others are part of.
    #[must_use]
    pub fn root(&self) -> Option<&Active> {
        match (self.worse.active(), self.milder.active()) {
            (Some(worse), Some(milder)) if (milder.since, milder.id) < (worse.since, worse.id) => Some(milder),
            (worse, milder) => worse.or(milder),
        }
    }
}

impl State {
    /// Where the level of that condition stands; a condition that is no level has none.
    #[must_use]
    pub const fn level(&self, condition: Condition) -> Option<&Level> {
        match condition {
            Condition::VeryLow => Some(&self.low.worse),
            Condition::Low => Some(&self.low.milder),
            Condition::High => Some(&self.high.milder),
            Condition::VeryHigh => Some(&self.high.worse),
            Condition::Caution => Some(&self.modes.caution),
            _ => None,
        }
    }

    /// The same, to be changed.
    pub(super) const fn level_mut(&mut self, condition: Condition) -> Option<&mut Level> {
        match condition {
            Condition::VeryLow => Some(&mut self.low.worse),
            Condition::Low => Some(&mut self.low.milder),
            Condition::High => Some(&mut self.high.milder),
            Condition::VeryHigh => Some(&mut self.high.worse),
            Condition::Caution => Some(&mut self.modes.caution),
            _ => None,
        }
    }

    /// The active alert of a side's level, to be changed.
    pub(super) const fn active_mut(&mut self, condition: Condition) -> Option<&mut Active> {
        match condition {
            Condition::VeryLow => self.low.worse.active_mut(),
            Condition::Low => self.low.milder.active_mut(),
            Condition::High => self.high.milder.active_mut(),
            Condition::VeryHigh => self.high.worse.active_mut(),
            _ => None,
        }
    }

    /// The active alert of that condition.
    #[must_use]
    pub fn active(&self, condition: Condition) -> Option<&Active> {
        self.level(condition).and_then(Level::active)
    }

    const fn side_mut(&mut self, side: Side) -> &mut SideState {
        match side {
            Side::Low => &mut self.low,
            Side::High => &mut self.high,
        }
    }

    const fn side(&self, side: Side) -> &SideState {
        match side {
            Side::Low => &self.low,
            Side::High => &self.high,
        }
    }

    /// Judges one level by the newest reading.
    pub(super) fn judge_level(
        &mut self,
        turn: &mut Turn,
        seen: &Seen,
        condition: Condition,
        policy: &LevelPolicy,
        parent: Option<Id>,
        hidden_by: Option<(Condition, Id)>,
    ) {
        if policy.rings == Rings::Never {
            return;
        }
        let Some(level) = self.level_mut(condition) else {
            return;
        };
        let step = level.step(policy, seen);
        if step != Step::None {
            self.tell_step(turn, seen, condition, policy, step, parent, hidden_by);
        }
    }

    /// Tells what a reading did to a level. Few do anything to it.
    #[cold]
    #[expect(clippy::too_many_arguments, reason = "one step, all it depends on; a struct would only rename them")]
    fn tell_step(
        &mut self,
        turn: &mut Turn,
        seen: &Seen,
        condition: Condition,
        policy: &LevelPolicy,
        step: Step,
        parent: Option<Id>,
        hidden_by: Option<(Condition, Id)>,
    ) {
        let Some(level) = self.level_mut(condition) else {
            return;
        };
        let limit = policy.limit;
        match step {
            Step::None => {}
            Step::Raise { since } => {
                let id = self.take_id();
                let (told, part_of) = match hidden_by {
                    Some((worse, by)) => {
                        turn.tell(What::Withheld, condition, id, Some(by), Reason::WorseActive { worse }, false);
                        (Told::Hidden, Some(by))
                    }
                    None => (
                        Engine::raise(turn, condition, policy, id, parent, Reason::BeyondLimit { limit, since }),
                        parent,
                    ),
                };
                let raised = Active::raised(id, part_of, since, told, seen.measured);
                if let Some(level) = self.level_mut(condition) {
                    *level = Level::Active(Active { told_at: Some(turn.now), ..raised });
                }
            }
            Step::Anew { since } => {
                Engine::again(turn, condition, policy, level, hidden_by, Reason::NewEpisode { limit, since });
            }
            Step::Still { silent_since } => {
                Engine::again(turn, condition, policy, level, hidden_by, Reason::StillBeyond { limit, silent_since });
            }
            Step::End { since } => {
                let ended = std::mem::take(level);
                if let Some(active) = ended.active().filter(|active| active.told != Told::Hidden) {
                    turn.tell(What::Ended, condition, active.id, active.part_of, Reason::BackWithin { since }, false);
                    self.remember_returned(condition, active, seen.measured);
                }
            }
        }
    }
}

/// The conditions of a side, the worse first.
const fn conditions(side: Side) -> (Condition, Condition) {
    match side {
        Side::Low => (Condition::VeryLow, Condition::Low),
        Side::High => (Condition::VeryHigh, Condition::High),
    }
}

impl Engine {
    /// Nothing of that side was beyond its limit, and the newest reading is not: so it is with most.
    fn is_calm(&self, seen: &Seen) -> bool {
        let (side, levels) = (self.side(seen.side), &self.policy.levels);
        let (worse, milder) = match seen.side {
            Side::Low => (&levels.very_low, &levels.low),
            Side::High => (&levels.very_high, &levels.high),
        };
        let beyond = seen.side.is_beyond(seen.value, milder.limit) || seen.side.is_beyond(seen.value, worse.limit);
        !beyond && matches!(side, SideState { worse: Level::Clear, milder: Level::Clear })
    }

    /// Judges the newest reading on one side.
    pub(super) fn judge_side(&mut self, turn: &mut Turn, seen: &Seen) {
        if self.is_calm(seen) {
            if seen.side == Side::Low {
                self.judge_caution(turn, seen, false);
                self.follow_hold(turn, seen);
            }
            return;
        }
        let Self { policy, state, .. } = self;
        let (worse, milder) = conditions(seen.side);
        let high;
        let (worse_policy, milder_policy) = match seen.side {
            Side::Low => (&policy.levels.very_low, &policy.levels.low),
            Side::High => {
                high = policy.high_in(turn);
                (&policy.levels.very_high, &high)
            }
        };
        let side = state.side(seen.side);
        let had_worse = side.worse.active().is_some();
        let had_any = side.active().next().is_some();
        let foreseen = state.foreseen.thread_that_came(seen.side);
        let parent = foreseen.or(side.milder.active().map(|active| active.id));
        state.judge_level(turn, seen, worse, worse_policy, parent, None);
        let side = state.side(seen.side);
        let worse_now = side.worse.active().map(|active| active.id);
        // A worse level that only waits to end has nothing to say about a new episode of the milder.
        let speaks = side.worse.active().is_some_and(Active::is_beyond) || side.milder.active().is_none();
        let hides = worse_now.filter(|_| speaks).map(|id| (worse, id));
        state.judge_level(turn, seen, milder, milder_policy, foreseen, hides);

        let level = &mut state.side_mut(seen.side).milder;
        if had_worse && worse_now.is_none() {
            Self::unhide(turn, milder, milder_policy, level);
        }
        if seen.side == Side::Low {
            Self::ring_held_low(turn, seen, milder, milder_policy, level);
            self.judge_caution(turn, seen, had_any);
            self.follow_hold(turn, seen);
        }
    }

    /// Raises an alert, held by night or in quiet hours as its level asks for.
    fn raise(
        turn: &mut Turn,
        condition: Condition,
        policy: &LevelPolicy,
        id: Id,
        part_of: Option<Id>,
        reason: Reason,
    ) -> Told {
        let held = turn.holds(policy.rings, priority::of(condition, &reason, turn.judged, turn.very_high));
        turn.tell(What::Raised, condition, id, part_of, reason, held.is_none());
        let Some(waits) = held else { return Told::Rang };
        turn.tell(What::Held, condition, id, part_of, waits, false);
        Told::Held
    }

    fn again(
        turn: &mut Turn,
        condition: Condition,
        policy: &LevelPolicy,
        level: &mut Level,
        hidden_by: Option<(Condition, Id)>,
        reason: Reason,
    ) {
        let Some(active) = level.active_mut() else {
            return;
        };
        let held = turn.holds(policy.rings, priority::of(condition, &reason, turn.judged, turn.very_high));
        let (what, reason, rings) = match (hidden_by, held) {
            (Some((worse, _)), _) => (What::Withheld, Reason::WorseActive { worse }, false),
            (None, Some(waits)) => (What::Held, waits, false),
            (None, None) if active.told == Told::Hidden => (What::Raised, reason, true),
            (None, None) => (What::Repeated, reason, true),
        };
        turn.tell(what, condition, active.id, active.part_of, reason, rings);
        if rings {
            (active.seen, active.told, active.told_at) = (false, Told::Rang, Some(turn.now));
        }
    }

    /// The worse level has ended. The milder one, if it never rang, rings now if the value is still
    /// beyond its limit; if not, it goes on unsaid until it ends.
    pub(super) fn unhide(turn: &mut Turn, condition: Condition, policy: &LevelPolicy, level: &mut Level) {
        let Some(active) = level.active_mut() else {
            return;
        };
        if active.told == Told::Hidden && active.is_beyond() {
            let reason = Reason::NoLongerWorse { limit: policy.limit, since: active.since };
            active.rang = active.last;
            active.told_at = Some(turn.now);
            active.told = Self::raise(turn, condition, policy, active.id, active.part_of, reason);
        }
    }

    /// The night is over, and a low that was held through it is still one: no look asks about it later, as
    /// about a high.
    fn ring_held_low(turn: &mut Turn, seen: &Seen, condition: Condition, policy: &LevelPolicy, level: &mut Level) {
        let Some(active) = level.active_mut().filter(|active| active.told == Told::Held && active.is_beyond()) else {
            return;
        };
        if !turn.night.inside {
            let reason = Reason::BeyondLimit { limit: policy.limit, since: active.since };
            (active.told, active.rang, active.told_at) = (Told::Rang, seen.measured, Some(turn.now));
            turn.tell(What::Repeated, condition, active.id, active.part_of, reason, true);
        }
    }

    /// Ends what the settings no longer hold.
    pub(super) fn drop_levels_switched_off(&mut self, turn: &mut Turn) {
        for side in [Side::Low, Side::High] {
            let (worse, milder) = conditions(side);
            for condition in [worse, milder] {
                let off = self.policy.levels.of(condition).is_none_or(|policy| policy.rings == Rings::Never);
                if off {
                    self.state.returned.retain(|returned| returned.condition != condition);
                }
                let state = self.side_mut(side);
                let level = if condition == worse { &mut state.worse } else { &mut state.milder };
                if off && let Some(active) = std::mem::take(level).active() {
                    turn.tell(What::Ended, condition, active.id, active.part_of, Reason::ConditionGone, false);
                }
            }
        }
    }

    pub(super) const fn side_mut(&mut self, side: Side) -> &mut SideState {
        self.state.side_mut(side)
    }

    pub(super) const fn side(&self, side: Side) -> &SideState {
        self.state.side(side)
    }
}

impl Turn {
    /// Adds a decision about what the turn is looking at.
    pub(super) fn tell(
        &mut self,
        what: What,
        condition: Condition,
        id: Id,
        part_of: Option<Id>,
        reason: Reason,
        rings: bool,
    ) {
        self.tell_to(Audience::Wearer, what, condition, id, part_of, reason, rings);
    }

    /// The same, for somebody.
    #[expect(clippy::too_many_arguments, reason = "one decision, all it says; a struct would only rename them")]
    pub(super) fn tell_to(
        &mut self,
        to: Audience,
        what: What,
        condition: Condition,
        id: Id,
        part_of: Option<Id>,
        reason: Reason,
        rings: bool,
    ) {
        let judged = self.judged;
        self.out.push(Decision {
            what,
            id,
            part_of,
            condition,
            priority: priority::of(condition, &reason, judged, self.very_high),
            rings,
            glucose: judged.map(|judged| judged.glucose),
            reading_at: judged.map(|judged| judged.at),
            rate: judged.and_then(|judged| judged.rate),
            doubt: self.doubt.filter(|_| {
                // A reminder that says a value says its doubt as well, and so does the line before sleep.
                let may_say = matches!(condition, Condition::Reminder | Condition::Bedtime | Condition::UnnotedRise);
                condition.is_about_glucose() || may_say && judged.is_some()
            }),
            after_low: self
                .after_low
                .filter(|low| low.goes_with(what, condition, &reason, self.now))
                .map(|low| low.since),
            insulin: self
                .insulin
                .filter(|_| condition.side() == Some(Side::High) || condition == Condition::UnnotedRise),
            mode: self.mode.filter(|_| condition.side() == Some(Side::Low)),
            to,
            reason,
        });
    }
}
