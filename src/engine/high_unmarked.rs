//! A high that nobody marked as treated, or that outlived its checks, is asked about at growing spans, and one that was
//! held when its quiet hours are over. A very high one is asked about by [`super::question`] instead.

use super::Engine;
use super::alert::Alert;
use super::check::Check;
use super::effect::{Condition, Id, Side, What};
use super::high_check::lets_ring;
use super::plan::Job;
use super::reason::Reason;
use super::recheck_high::{HighCheck, Stage};
use super::turn::{Judged, Turn};
use crate::domain::time::{Span, Timestamp};

/// A high and its checks are one story: it is not rung about twice within this. Measured on the open traces: of 1,258
/// questions 227 came within 45 minutes of a ring that it was high again, and of 510 such rings 80 within 45 minutes of a
/// question. As long as for readings of the same low.
pub(super) const ONE_STORY: Span = Span::minutes(45);

impl Engine {
    /// It is due to be asked about.
    pub(super) fn ask_about_high(&mut self, turn: &mut Turn, care: &HighCheck, marked: bool, asked: usize) {
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
        if self.question_due(turn).is_some() {
            // It speaks at the end of the turn, and plans what comes after it.
            self.ask_later(turn.now, care.id, care.part_of, care.since, marked, asked);
            return;
        }
        let register = &self.state.register;
        let held = register.of_side(Side::High).find(|alert| alert.is_held()).map(|alert| alert.told_at);
        // High now may be a later stretch than the one that raised the alert.
        let rows = register.of_side(Side::High).filter_map(|alert| alert.level()?.row);
        let rows = rows.map(|row| row.since).min();
        let since = self.state.high.since().or(rows).unwrap_or(care.since);
        // What was held when it began has rung as very high since.
        let rang = register.of(Condition::VeryHigh).is_some_and(Alert::has_rung);
        if (held.is_none() || rang)
            && self.very_high_now(turn).is_some()
            && let Some(next) = self.next_question(turn.now)
        {
            self.state.plan.set(Job::HighCheck, next);
            turn.tell(What::Look, Condition::RecheckHigh, care.id, care.part_of, Reason::LookComes { next }, false);
            return;
        }
        if !lets_ring(turn) {
            // Looked at again within the night: it may have become very high by then.
            self.ask_later(turn.now, care.id, care.part_of, care.since, marked, asked);
            self.look_by(turn.held_until());
            turn.tell(What::Look, Condition::RecheckHigh, care.id, care.part_of, turn.waits(), false);
            return;
        }
        // What rang about it just now has told of it.
        let told = register.high_rang.map(|rang| rang + self.one_story()).filter(|next| *next > turn.now);
        if let Some(next) = told.filter(|_| held.is_none() && !marked) {
            self.state.plan.set(Job::HighCheck, next);
            turn.tell(What::Look, Condition::RecheckHigh, care.id, care.part_of, Reason::LookComes { next }, false);
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

    /// Whoever wants to be asked sooner is.
    fn one_story(&self) -> Span {
        self.policy.recheck.still_high.iter().copied().fold(ONE_STORY, Span::min)
    }

    /// A high that waits for the end of quiet hours is asked about then, if not before.
    pub(super) fn ask_when_over(&mut self, turn: &Turn, condition: Condition) {
        if condition.side() == Some(Side::High) && self.state.plan.high().is_some() {
            self.look_by(turn.held_until());
        }
    }

    /// Looks at that time at the latest.
    pub(super) fn look_by(&mut self, latest: Timestamp) {
        let due = self.state.plan.due(Job::HighCheck).map_or(latest, |due| due.min(latest));
        self.state.plan.set(Job::HighCheck, due);
    }

    /// What was held, or was left to its checks, has been told by one of them.
    pub(super) fn mark_held_as_rung(&mut self, now: Timestamp) {
        self.mark_as_rung(now, |alert| alert.is_held() || alert.is_followed());
    }

    /// What was left to its checks has been told by one of them.
    pub(super) fn mark_followed_as_rung(&mut self, now: Timestamp) {
        self.mark_as_rung(now, Alert::is_followed);
    }

    fn mark_as_rung(&mut self, now: Timestamp, silent: impl Fn(&Alert) -> bool) {
        let (worse, milder) = Side::High.levels();
        for condition in [worse, milder] {
            let Some(alert) = self.state.register.of_mut(condition).filter(|alert| silent(alert)) else { continue };
            alert.told_as(None);
            alert.told_at = Some(now);
            if let Some(facts) = alert.level_mut() {
                facts.rang = now;
            }
        }
    }

    /// Asks about it after the next of the growing spans. Says when.
    pub(super) fn ask_later(
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
}
