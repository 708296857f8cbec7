//! Looking again after a high: the founding job. A treated high is looked at on a schedule and asked
//! about only when it is not coming down; one that nobody marked, or that outlives its looks, is asked
//! about at growing spans. It never falls silent for good, and never names an amount.

use super::Engine;
use super::alert::Alert;
use super::alert::priority;
use super::check::Check;
use super::effect::{Condition, Id, Priority, Side, What};
use super::outcome::{Outcome, is_too_early};
use super::plan::Job;
use super::policy::Therapy;
use super::reason::{Began, Reason, Treatment};
use super::trend::{Direction, Rate};
use super::turn::{Judged, Turn};
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// The re-check of one high.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HighCheck {
    /// Its number.
    pub id: Id,
    /// The alert it belongs to; none for a high that was treated before it rang.
    pub part_of: Option<Id>,
    /// When the high began, or the re-check did.
    pub since: Timestamp,
    /// Ketones were asked about.
    #[serde(default)]
    pub ketones: bool,
    /// How far it is.
    pub stage: Stage,
}

/// How far a re-check of a high is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Stage {
    /// Nobody said it was treated, or it outlived its looks (`marked`).
    Asking {
        /// Was it treated once?
        marked: bool,
        /// How often it was asked about.
        asked: usize,
    },
    /// Treated; looks are under way.
    Looking {
        /// What is looked back at.
        treated: Treatment,
        /// A look the wearer wants to be asked at, whatever the therapy.
        asked_for: Option<Timestamp>,
        /// A look fell due without a fresh reading; the next reading completes it.
        unseen: bool,
    },
}

/// In quiet hours a look rings only for harm: above the very high limit and not falling, or falling fast.
fn lets_ring(turn: &Turn) -> bool {
    !turn.quiet.inside || priority::of_look_at_high(turn.judged, turn.very_high) >= Priority::Medium
}

impl Engine {
    /// A high has begun to be alerted: if nobody marks it, ask later.
    pub(super) fn follow_high(&mut self, turn: &Turn) {
        let Some((alert, since)) = self.root(Side::High).map(|root| (root.id, root.since)) else { return };
        if let Some(check) = self.state.plan.high_mut() {
            // Treated before it rang: the alert that has rung since is the one it belongs to.
            check.part_of = check.part_of.or(Some(alert));
            return;
        }
        let id = self.take_id();
        self.ask_later(turn.now, id, Some(alert), since, false, 0);
        // What is held is asked about when the night, or quiet hours, are over, if not before.
        if !self.state.register.of_side(Side::High).any(Alert::has_rung) {
            self.look_by(turn.held_until());
        }
    }

    /// The side's alerts are over: so is the re-check, and a treated one says so.
    pub(super) fn close_high_if_over(&mut self, turn: &mut Turn) {
        if self.root(Side::High).is_some() {
            return;
        }
        let within =
            turn.judged.is_some_and(|judged| judged.glucose.hundredths() <= self.policy.levels.high.limit.hundredths());
        match self.state.plan.high() {
            // Treated under the alert's threshold of notice: its looks close it.
            Some(HighCheck { part_of: None, .. }) | None => {}
            Some(_) if within => self.close_high(turn),
            // The alert's condition was switched off while the value is high: nothing more to say.
            Some(_) => self.forget_high(),
        }
    }

    /// Starts, or re-plans, the looks of a treated high. Answers with what was understood.
    pub(super) fn treat_high(&mut self, turn: &mut Turn, at: Timestamp, asked: Option<Span>) {
        // What may not have been meant is looked at, and puts no question off.
        let asked_by = self.state.plan.due(Job::HighCheck).filter(|_| self.state.doses.is_in_question(at));
        if !self.state.doses.is_in_question(at) {
            self.remember_high_treated(at);
        }
        let root = self.root(Side::High).map(|root| (root.id, root.since));
        let ketones = self.ketones_asked();
        let treated =
            Treatment { at, value: self.value_at(at), alert_since: root.map(|(_, since)| since), told: Began::Treated };
        let (id, part_of, since) = match (self.state.plan.high(), root) {
            (Some(care), _) => (care.id, care.part_of, care.since),
            (None, Some((alert, since))) => (self.take_id(), Some(alert), since),
            (None, None) => (self.take_id(), None, at),
        };
        let looks: Vec<Timestamp> = self.policy.recheck.high_looks.iter().map(|span| at + *span).collect();
        let asked_for = asked.map(|span| at + span);
        let stage = Stage::Looking { treated, asked_for, unseen: false };
        self.state.plan.look_at(Check::High(HighCheck { id, part_of, since, ketones, stage }));
        self.plan_evening_look(turn.now, id, treated);
        // Looks whose hour has passed are caught up by one look now.
        let caught_up = looks.first().is_some_and(|first| *first <= turn.now);
        let due = if caught_up { turn.now } else { looks.first().copied().unwrap_or(turn.now) };
        self.set_look(turn.now, due, asked_for);
        if let Some(asked_by) = asked_by {
            self.look_by(asked_by);
        }
        let night_rule = looks.iter().any(|due| *due > turn.now && self.is_quiet(*due));
        let mut planned: Vec<Timestamp> = looks.into_iter().chain(asked_for).filter(|due| *due > turn.now).collect();
        planned.sort_unstable();
        planned.dedup();
        let reason = Reason::LooksPlanned { side: Side::High, treated, looks: planned, night_rule };
        turn.tell(What::Answer, Condition::RecheckHigh, id, part_of, reason, false);
    }

    /// The timer of the re-check is due.
    pub(super) fn look_at_high(&mut self, turn: &mut Turn) {
        let Some(care) = self.state.plan.high().cloned() else {
            return;
        };
        turn.judged = self.of_two_signals(Side::High, turn.now).or_else(|| self.latest(turn.now));
        match care.stage {
            Stage::Asking { marked, asked } => self.ask_about_high(turn, &care, marked, asked),
            Stage::Looking { treated, asked_for, .. } => self.look(turn, &care, treated, asked_for),
        }
    }

    /// A reading came in: a look that was waiting for one is completed.
    pub(super) fn complete_high_look(&mut self, turn: &mut Turn) {
        if let Some(HighCheck { stage: Stage::Looking { unseen: true, .. }, .. }) = self.state.plan.high() {
            self.look_at_high(turn);
        }
    }

    fn look(&mut self, turn: &mut Turn, care: &HighCheck, treated: Treatment, asked_for: Option<Timestamp>) {
        let wanted = asked_for.is_some_and(|due| due <= turn.now);
        let asked_for = asked_for.filter(|due| *due > turn.now);
        let recheck = &self.policy.recheck;
        let soon = turn.now + recheck.coming_down;
        let mut scheduled = recheck.high_looks.iter().map(|span| treated.at + *span);
        let next_scheduled = scheduled.find(|due| *due > turn.now);
        // A look that was put off keeps the rule of the scheduled look before it.
        let first_look = recheck.high_looks.get(1).is_none_or(|second| turn.now < treated.at + *second);
        let (high, very_high) = (self.policy.levels.high.limit, self.policy.levels.very_high.limit);
        let Some(judged) = turn.judged else {
            let reason = Reason::NoFreshReading {
                treated,
                last: self.state.window.newest().map(|last| last.measured),
                next: soon,
            };
            self.look_on(turn.now, care, treated, soon, asked_for, true);
            self.look_told(turn, care, reason, true, wanted);
            return;
        };
        let in_question = self.state.doses.is_in_question(treated.at);
        let early = first_look && self.policy.therapy == Therapy::Injections && !in_question;
        let found = self.found(turn, &treated, early);
        let next = next_scheduled.map_or(soon, |due| due.min(soon));
        match found.outcome {
            _ if !Side::High.is_beyond(judged.glucose, high) => {
                let reason = Reason::Back { treated, found: Some(found) };
                turn.tell(What::Look, Condition::RecheckHigh, care.id, care.part_of, reason, false);
                self.close_high(turn);
            }
            Outcome::FallingTooFast => {
                self.look_on(turn.now, care, treated, next, asked_for, false);
                self.look_told(turn, care, Reason::FallingTooFast { treated, next, found }, true, wanted);
            }
            Outcome::ComingDown if !wanted => {
                self.look_on(turn.now, care, treated, next, asked_for, false);
                self.look_told(turn, care, Reason::ComingDown { treated, next, found }, false, false);
            }
            Outcome::Slow | Outcome::NoResponse if !wanted && is_too_early(early, judged, very_high) => {
                let next = next_scheduled.unwrap_or(soon);
                self.look_on(turn.now, care, treated, next, asked_for, false);
                self.look_told(turn, care, Reason::TooEarly { treated, next, found }, false, false);
            }
            // Not coming down, or the wearer wants to be asked whatever it does.
            _ => {
                let next = match next_scheduled {
                    Some(next) => {
                        self.look_on(turn.now, care, treated, next, asked_for, false);
                        next
                    }
                    None => self.ask_later(turn.now, care.id, care.part_of, care.since, true, 0),
                };
                let ketones = self.asks_ketones(turn, &found, first_look);
                let reason = Reason::NotComingDown { treated, asked_for: wanted, next, found, ketones };
                self.look_told(turn, care, reason, true, wanted);
            }
        }
    }

    fn ask_about_high(&mut self, turn: &mut Turn, care: &HighCheck, marked: bool, asked: usize) {
        let limit = self.policy.levels.high.limit.hundredths();
        let falling = |judged: Judged| judged.rate.is_some_and(|rate| rate.direction().falls());
        let coming_down = self.policy.recheck.coming_down;
        let within = turn.judged.is_some_and(|judged| judged.glucose.hundredths() <= limit);
        if within && self.root(Side::High).is_none() {
            self.forget_high();
            return;
        }
        if within || turn.judged.is_none_or(falling) {
            let next = turn.now + coming_down;
            self.state.plan.set(Job::HighCheck, next);
            turn.tell(What::Look, Condition::RecheckHigh, care.id, care.part_of, Reason::NothingToAsk { next }, false);
            return;
        }
        if self.waits_for_rebound(turn, care) {
            return;
        }
        let register = &self.state.register;
        let held = register.of_side(Side::High).find(|alert| alert.is_held()).map(|alert| alert.told_at);
        // High now may be a later stretch than the one that raised the alert.
        let rows = register.of_side(Side::High).filter_map(|alert| alert.level()?.row);
        let since = rows.map(|row| row.since).min().unwrap_or(care.since);
        if !lets_ring(turn) {
            // Looked at again within the night: it may have become very high by then.
            self.ask_later(turn.now, care.id, care.part_of, care.since, marked, asked);
            self.look_by(turn.held_until());
            turn.tell(What::Look, Condition::RecheckHigh, care.id, care.part_of, turn.waits(), false);
            return;
        }
        let next = self.ask_later(turn.now, care.id, care.part_of, care.since, marked, asked + 1);
        let reason = match held {
            // Between two nights this is when the last one ended.
            Some(held) if !turn.night.inside && held < Some(turn.night.from) => Reason::NightOver { since, next },
            Some(_) if !turn.quiet.inside => Reason::QuietHoursOver { since, next },
            Some(_) | None => Reason::StillHigh { since, marked, next },
        };
        turn.tell(What::Prompt, Condition::RecheckHigh, care.id, care.part_of, reason, true);
        self.mark_held_as_rung(turn.now);
    }

    /// Records a look, and prompts if the rules let it; one the wearer asked for rings whenever it is.
    fn look_told(&mut self, turn: &mut Turn, care: &HighCheck, reason: Reason, prompts: bool, wanted: bool) {
        turn.tell(What::Look, Condition::RecheckHigh, care.id, care.part_of, reason.clone(), false);
        let falling_fast =
            turn.judged.and_then(|judged| judged.rate).is_some_and(|rate| rate.direction() == Direction::FallingFast);
        if turn.night.inside && falling_fast || prompts && (wanted || lets_ring(turn)) {
            turn.tell(What::Prompt, Condition::RecheckHigh, care.id, care.part_of, reason, true);
        } else if prompts {
            self.look_by(turn.held_until());
            turn.tell(What::Withheld, Condition::RecheckHigh, care.id, care.part_of, turn.waits(), false);
        }
    }

    /// A high that waits for the end of quiet hours is asked about then, if not before.
    pub(super) fn ask_when_over(&mut self, turn: &Turn, condition: Condition) {
        if condition.side() == Some(Side::High) && self.state.plan.high().is_some() {
            self.look_by(turn.held_until());
        }
    }

    /// Looks at that time at the latest.
    fn look_by(&mut self, latest: Timestamp) {
        let due = self.state.plan.due(Job::HighCheck).map_or(latest, |due| due.min(latest));
        self.state.plan.set(Job::HighCheck, due);
    }

    fn mark_held_as_rung(&mut self, now: Timestamp) {
        let (worse, milder) = Side::High.levels();
        for condition in [worse, milder] {
            let Some(alert) = self.state.register.of_mut(condition).filter(|alert| alert.is_held()) else { continue };
            alert.told_as(None);
            alert.told_at = Some(now);
            if let Some(facts) = alert.level_mut() {
                facts.rang = now;
            }
        }
    }

    /// Looks again at `next`, or sooner if the wearer asked for it.
    fn look_on(
        &mut self,
        now: Timestamp,
        care: &HighCheck,
        treated: Treatment,
        next: Timestamp,
        asked_for: Option<Timestamp>,
        unseen: bool,
    ) {
        let stage = Stage::Looking { treated, asked_for, unseen };
        self.state.plan.look_at(Check::High(HighCheck { stage, ..care.clone() }));
        self.set_look(now, next, asked_for);
    }

    /// Were ketones asked about in this high?
    fn ketones_asked(&self) -> bool {
        self.state.plan.high().is_some_and(|check| check.ketones)
    }

    fn set_look(&mut self, now: Timestamp, due: Timestamp, asked_for: Option<Timestamp>) {
        let due = asked_for.map_or(due, |asked| asked.min(due)).max(now);
        self.state.plan.set(Job::HighCheck, due);
    }

    /// Asks about it after the next of the growing spans. Says when.
    fn ask_later(
        &mut self,
        now: Timestamp,
        id: Id,
        part_of: Option<Id>,
        since: Timestamp,
        marked: bool,
        asked: usize,
    ) -> Timestamp {
        let spans = &self.policy.recheck.still_high;
        let span = spans.get(asked).or(spans.last()).copied().unwrap_or(Span::hours(2));
        let due = now + span;
        let ketones = self.ketones_asked();
        let stage = Stage::Asking { marked, asked };
        self.state.plan.look_at(Check::High(HighCheck { id, part_of, since, ketones, stage }));
        self.state.plan.set(Job::HighCheck, due);
        due
    }

    /// Back within range: said once, and not by night. If an alert is still in its deadband, it stays watched.
    fn close_high(&mut self, turn: &mut Turn) {
        let Some(care) = self.state.plan.take_high() else {
            return;
        };
        self.state.plan.stop(Job::HighCheck);
        let marked = matches!(care.stage, Stage::Looking { .. } | Stage::Asking { marked: true, .. });
        if let Stage::Looking { treated, .. } = care.stage {
            let low = self.policy.levels.low.limit.hundredths();
            let direction = turn.judged.and_then(|judged| judged.rate).map(Rate::direction);
            // By night only a fall that goes on is worth a ring; and what has become a low is told as a low.
            let is_low = turn.judged.is_some_and(|judged| judged.glucose.hundredths() < low);
            let rings = !is_low && (!turn.night.inside || direction == Some(Direction::FallingFast));
            let reason = Reason::Back { treated, found: Some(self.found(turn, &treated, false)) };
            turn.tell(What::Ended, Condition::RecheckHigh, care.id, care.part_of, reason, rings);
        }
        if let Some((alert, since)) = self.root(Side::High).map(|root| (root.id, root.since)) {
            let id = self.take_id();
            self.ask_later(turn.now, id, Some(alert), since, marked, 0);
        }
    }

    fn forget_high(&mut self) {
        self.state.plan.take_high();
        self.state.plan.stop(Job::HighCheck);
    }
}
