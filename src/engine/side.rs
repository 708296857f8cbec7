//! The two levels of one side of the range: the worse speaks for the milder. By night a level that
//! rings by day only is held. Knows nothing of re-checks.

use super::alert::priority;
use super::alert::{Alert, Because, Detail, Standing};
use super::effect::{Audience, Condition, Decision, Doubt, Id, Side, What};
use super::high_unmarked::ONE_STORY;
use super::level::{LevelFacts, Seen, Step};
use super::plan::Job;
use super::policy::{LevelPolicy, Rings};
use super::reason::Reason;
use super::recheck_low::LowCheck;
use super::turn::Turn;
use super::{Engine, State};
use crate::domain::time::Timestamp;

impl State {
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
        let step = self.register.step(condition, policy, seen);
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
        let limit = policy.limit;
        match step {
            Step::None => {}
            Step::Raise { since } => {
                let since = self.began_in(turn, condition, since);
                let id = self.take_id();
                let (silent, part_of) = match (hidden_by, turn.check_speaks_for(condition)) {
                    (Some((worse, by)), _) => {
                        turn.tell(What::Withheld, condition, id, Some(by), Reason::WorseActive { worse }, false);
                        (Some(Because::SpokenFor), Some(by))
                    }
                    (None, Some(next)) => {
                        turn.tell(What::Withheld, condition, id, parent, Reason::LookComes { next }, false);
                        (Some(Because::Followed), parent)
                    }
                    (None, None) if condition == Condition::Low && turn.cover.is_some() => {
                        turn.tell(What::Raised, condition, id, parent, Reason::BeyondLimit { limit, since }, false);
                        turn.tell_covered((condition, id, parent));
                        self.register.story.covered = Some(seen.measured);
                        (Some(Because::Covered), parent)
                    }
                    (None, None) if condition == Condition::Low => {
                        self.register.story.covered = None;
                        let reason = Reason::BeyondLimit { limit, since };
                        (Engine::raise(turn, condition, policy, id, parent, reason), parent)
                    }
                    (None, None) => (
                        Engine::raise(turn, condition, policy, id, parent, Reason::BeyondLimit { limit, since }),
                        parent,
                    ),
                };
                self.register.raise(Alert {
                    id,
                    part_of,
                    condition,
                    since,
                    standing: Standing::new(silent, false),
                    told_at: Some(turn.now),
                    detail: Detail::Level(LevelFacts::raised(since, seen.measured)),
                });
            }
            Step::Anew { since } => {
                let since = self.began_in(turn, condition, since);
                self.again(turn, seen, condition, policy, hidden_by, Reason::NewEpisode { limit, since });
            }
            Step::Still { silent_since } => {
                // Of a silence that late readings have filled it is known since when it is beyond.
                let since = self.began_in(turn, condition, seen.measured);
                let is_known = since > silent_since && since < seen.measured;
                let reason = if is_known {
                    Reason::NewEpisode { limit, since }
                } else {
                    Reason::StillBeyond { limit, silent_since }
                };
                self.again(turn, seen, condition, policy, hidden_by, reason);
            }
            // What only a meter saw is not ended by a sensor that did not see it, before its checks were in vain.
            Step::End { .. } if seen.side == Side::Low && self.plan.low().is_some_and(LowCheck::is_the_meters) => {}
            Step::End { since } => {
                let ended = self.register.end_of(condition);
                if let Some(alert) = ended.filter(|alert| !alert.is_spoken_for()) {
                    turn.tell(What::Ended, condition, alert.id, alert.part_of, Reason::BackWithin { since }, false);
                    self.remember_returned(alert, seen.measured);
                }
            }
        }
    }

    /// Since when it is beyond, as readings that came at once show; one alone shows nothing of the time before it.
    fn began_in(&self, turn: &Turn, condition: Condition, since: Timestamp) -> Timestamp {
        if turn.batch { self.register.began.since(condition, since) } else { since }
    }

    /// A new episode under an alert that is open, or a value that is still beyond after a silence.
    fn again(
        &mut self,
        turn: &mut Turn,
        seen: &Seen,
        condition: Condition,
        policy: &LevelPolicy,
        hidden_by: Option<(Condition, Id)>,
        reason: Reason,
    ) {
        let rang = self.register.high_rang.filter(|rang| turn.now - *rang < ONE_STORY);
        let is_told = condition == Condition::High && rang.is_some() && matches!(reason, Reason::NewEpisode { .. });
        let asked = self.plan.due(Job::HighCheck).filter(|_| is_told);
        let Some(alert) = self.register.of_mut(condition) else { return };
        // After a silence a low that is still one is news.
        let may_be_covered = condition == Condition::Low && matches!(reason, Reason::NewEpisode { .. });
        let is_free = hidden_by.is_none() && !alert.is_spoken_for();
        if may_be_covered && is_free && turn.tell_covered((condition, alert.id, alert.part_of)) {
            self.register.story.covered.get_or_insert(seen.measured);
            return;
        }
        let held = turn.holds(policy.rings, priority::of(condition, &reason, turn.judged, turn.very_high));
        let (what, reason, rings) = match (hidden_by, turn.check_speaks_for(condition).or(asked), held) {
            (Some((worse, _)), ..) => (What::Withheld, Reason::WorseActive { worse }, false),
            (None, Some(next), _) => (What::Withheld, Reason::LookComes { next }, false),
            (None, None, Some(waits)) => (What::Held, waits, false),
            (None, None, None) if alert.is_spoken_for() || alert.is_followed() => (What::Raised, reason, true),
            (None, None, None) => (What::Repeated, reason, true),
        };
        turn.tell(what, condition, alert.id, alert.part_of, reason, rings);
        if rings {
            (alert.standing, alert.told_at) = (Standing::Unacknowledged, Some(turn.now));
            if condition == Condition::Low {
                self.register.story.covered = None;
            }
        }
    }

    /// The worse level has ended. The milder one, if it never rang, rings now if the value is still
    /// beyond its limit; if not, it goes on unsaid until it ends.
    pub(super) fn unhide(&mut self, turn: &mut Turn, condition: Condition, policy: &LevelPolicy) {
        let speaks = turn.check_speaks_for(condition).is_some();
        let Some(alert) = self.register.of_mut(condition) else { return };
        if alert.is_spoken_for() && alert.is_beyond() && speaks {
            return alert.told_as(Some(Because::Followed));
        }
        if alert.is_spoken_for() && alert.is_beyond() {
            let reason = Reason::NoLongerWorse { limit: policy.limit, since: alert.since };
            if let Some(facts) = alert.level_mut() {
                facts.rang = facts.last;
            }
            alert.told_at = Some(turn.now);
            alert.told_as(Engine::raise(turn, condition, policy, alert.id, alert.part_of, reason));
        }
    }

    /// What the checks of a treated high spoke for rings when they do no more: it has risen far, or they are over and
    /// have not said it.
    fn ring_what_was_followed(&mut self, turn: &mut Turn, worse: &LevelPolicy, milder: &LevelPolicy) {
        let (condition, policy) = match self.register.of(Condition::VeryHigh) {
            Some(_) => (Condition::VeryHigh, worse),
            None => (Condition::High, milder),
        };
        let speaks = turn.check_speaks_for(condition).is_some();
        let alert = self.register.of_mut(condition).filter(|alert| alert.is_followed() && alert.is_beyond());
        let Some(alert) = alert.filter(|_| !speaks) else { return };
        let reason = Reason::BeyondLimit { limit: policy.limit, since: alert.since };
        if let Some(facts) = alert.level_mut() {
            facts.rang = facts.last;
        }
        alert.told_at = Some(turn.now);
        alert.told_as(Engine::raise(turn, condition, policy, alert.id, alert.part_of, reason));
    }

    /// The night is over, and a low that was held through it is still one: no look asks about it later, as
    /// about a high.
    fn ring_held_low(&mut self, turn: &mut Turn, seen: &Seen, policy: &LevelPolicy) {
        let Some(alert) = self.register.of_mut(Condition::Low).filter(|alert| alert.is_held() && alert.is_beyond())
        else {
            return;
        };
        if !turn.night.inside {
            let reason = Reason::BeyondLimit { limit: policy.limit, since: alert.since };
            alert.told_as(None);
            alert.told_at = Some(turn.now);
            if let Some(facts) = alert.level_mut() {
                facts.rang = seen.measured;
            }
            turn.tell(What::Repeated, Condition::Low, alert.id, alert.part_of, reason, true);
        }
    }
}

impl Engine {
    /// Nothing of that side was beyond its limit, and the newest reading is not: so it is with most.
    fn is_calm(&self, seen: &Seen) -> bool {
        let levels = &self.policy.levels;
        let (worse, milder) = match seen.side {
            Side::Low => (&levels.very_low, &levels.low),
            Side::High => (&levels.very_high, &levels.high),
        };
        let beyond = seen.side.is_beyond(seen.value, milder.limit) || seen.side.is_beyond(seen.value, worse.limit);
        !beyond && self.state.register.is_calm(seen.side)
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
        if seen.side == Side::High {
            turn.check_speaks = self.check_speaks(turn.now, seen.value);
        }
        let is_low = seen.side == Side::Low && seen.side.is_beyond(seen.value, self.policy.levels.low.limit);
        turn.cover = if is_low { self.covered_by(turn, seen) } else { None };
        let Self { policy, state, .. } = self;
        let (worse, milder) = seen.side.levels();
        let high;
        let (worse_policy, milder_policy) = match seen.side {
            Side::Low => (&policy.levels.very_low, &policy.levels.low),
            Side::High => {
                high = policy.high_in(turn);
                (&policy.levels.very_high, &high)
            }
        };
        let had_worse = state.register.of(worse).is_some();
        let had_any = had_worse || state.register.of(milder).is_some();
        let foreseen = state.foreseen.thread_that_came(seen.side);
        let parent = foreseen.or(state.register.of(milder).map(|alert| alert.id));
        state.judge_level(turn, seen, worse, worse_policy, parent, None);
        let worse_now = state.register.of(worse);
        // A worse level that only waits to end has nothing to say about a new episode of the milder.
        let speaks = worse_now.is_some_and(Alert::is_beyond) || state.register.of(milder).is_none();
        let worse_now = worse_now.map(|alert| (worse, alert.id));
        state.judge_level(turn, seen, milder, milder_policy, foreseen, worse_now.filter(|_| speaks));
        if had_worse && worse_now.is_none() {
            state.unhide(turn, milder, milder_policy);
        }
        if seen.side == Side::Low {
            state.ring_held_low(turn, seen, milder_policy);
            self.follow_story(turn, seen);
            self.judge_caution(turn, seen, had_any);
            self.follow_hold(turn, seen);
        } else {
            state.ring_what_was_followed(turn, worse_policy, milder_policy);
        }
    }

    /// Raises an alert, held by night or in quiet hours as its level asks for.
    pub(super) fn raise(
        turn: &mut Turn,
        condition: Condition,
        policy: &LevelPolicy,
        id: Id,
        part_of: Option<Id>,
        reason: Reason,
    ) -> Option<Because> {
        let held = turn.holds(policy.rings, priority::of(condition, &reason, turn.judged, turn.very_high));
        turn.tell(What::Raised, condition, id, part_of, reason, held.is_none());
        let waits = held?;
        turn.tell(What::Held, condition, id, part_of, waits, false);
        Some(Because::Held)
    }

    /// Ends what the settings no longer hold.
    pub(super) fn drop_levels_switched_off(&mut self, turn: &mut Turn) {
        for condition in
            [Side::Low, Side::High].map(Side::levels).into_iter().flat_map(|(worse, milder)| [worse, milder])
        {
            if self.policy.levels.of(condition).is_some_and(|policy| policy.rings != Rings::Never) {
                continue;
            }
            let register = &mut self.state.register;
            register.returned.retain(|returned| returned.condition != condition);
            register.set_pending(condition, None);
            if let Some(alert) = register.end_of(condition) {
                turn.tell(What::Ended, condition, alert.id, alert.part_of, Reason::ConditionGone, false);
            }
        }
    }

    /// The alert that began a side's excursion.
    #[inline]
    pub(super) fn root(&self, side: Side) -> Option<&Alert> {
        self.state.register.root(side)
    }
}

impl Turn {
    /// Does a check of a treated high speak for that alert? Then when.
    pub(super) fn check_speaks_for(&self, condition: Condition) -> Option<Timestamp> {
        self.check_speaks.filter(|_| condition.side() == Some(Side::High))
    }

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
        // Of a value that is not of now nothing is said of how it moves, and neither of one whose signal is lost.
        let is_old = judged.is_some_and(|judged| self.now - judged.at > self.fresh_for);
        let is_lost = matches!(condition, Condition::Gap | Condition::SourceFailed);
        let flat = Some(Doubt::Flat).filter(|_| self.flat_low && condition.side() == Some(Side::Low));
        let doubt = if is_old { Some(Doubt::Old) } else { self.doubt.or(flat) };
        self.out.push(Decision {
            what,
            id,
            part_of,
            condition,
            priority: priority::of(condition, &reason, judged, self.very_high),
            rings,
            glucose: judged.map(|judged| judged.glucose),
            reading_at: judged.map(|judged| judged.at),
            rate: judged.and_then(|judged| judged.rate).filter(|_| !is_old && !is_lost),
            doubt: doubt.filter(|_| {
                // Whoever hears of two signals hears both values.
                if condition == Condition::TwoSignals {
                    return matches!(reason, Reason::Answered { .. });
                }
                // A reminder that says a value says its doubt as well, and so does the line before sleep.
                condition.row().says_doubt && (condition.is_about_glucose() || judged.is_some())
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
            also: Vec::new(),
        });
    }
}
