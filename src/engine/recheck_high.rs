//! Looking again after a high: the founding job. A treated high is looked at on a schedule and asked
//! about only when it is not coming down; one that nobody marked, or that outlives its looks, is asked
//! about at growing spans. It never falls silent for good, and never names an amount.

use super::Engine;
use super::alert::Alert;
use super::check::Check;
use super::effect::{Condition, Id, Side, What};
use super::plan::Job;
use super::reason::{Began, Reason, Treatment};
use super::turn::Turn;
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
        let treated = self.treatment(at, root.map(|(_, since)| since), Began::Treated);
        self.landing_is_treated(treated);
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
            Stage::Looking { treated, asked_for, .. } => self.look_at_treated_high(turn, &care, treated, asked_for),
        }
    }

    /// A reading came in: a look that was waiting for one is completed.
    pub(super) fn complete_high_look(&mut self, turn: &mut Turn) {
        if let Some(HighCheck { stage: Stage::Looking { unseen: true, .. }, .. }) = self.state.plan.high() {
            self.look_at_high(turn);
        }
    }

    /// Were ketones asked about in this high?
    pub(super) fn ketones_asked(&self) -> bool {
        self.state.plan.high().is_some_and(|check| check.ketones)
    }

    pub(super) fn set_look(&mut self, now: Timestamp, due: Timestamp, asked_for: Option<Timestamp>) {
        let due = asked_for.map_or(due, |asked| asked.min(due)).max(now);
        self.state.plan.set(Job::HighCheck, due);
    }

    /// Back within range: said once, and not by night; by its landing, if it comes down further. If an alert is still in
    /// its deadband, it stays watched.
    pub(super) fn close_high(&mut self, turn: &mut Turn) {
        let Some(care) = self.state.plan.take_high() else {
            return;
        };
        self.state.plan.stop(Job::HighCheck);
        let marked = matches!(care.stage, Stage::Looking { .. } | Stage::Asking { marked: true, .. });
        if self.state.plan.landing().is_none()
            && let Some(judged) = self.latest(turn.now)
        {
            self.land(turn.now, &care, judged);
        }
        let lands = self.state.plan.landing().is_some();
        if let Stage::Looking { treated, .. } = care.stage
            && !lands
        {
            let treated = self.by_one_signal(treated, turn.judged);
            let low = self.policy.levels.low.limit.hundredths();
            // What has become a low is told as a low.
            let is_low = turn.judged.is_some_and(|judged| judged.glucose.hundredths() < low);
            let rings = !is_low && !turn.night.inside;
            let reason = Reason::Back { treated, found: Some(self.found(turn, &treated, false)) };
            turn.tell(What::Ended, Condition::RecheckHigh, care.id, care.part_of, reason, rings);
        }
        if let Some((alert, since)) = self.root(Side::High).map(|root| (root.id, root.since)) {
            let id = self.take_id();
            self.ask_later(turn.now, id, Some(alert), since, marked, 0);
        }
    }

    pub(super) fn forget_high(&mut self) {
        self.state.plan.take_high();
        self.state.plan.stop(Job::HighCheck);
    }
}
