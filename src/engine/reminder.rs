//! The wearer's own reminders: kept, moved with the wall clock, and rung once, by night as by day. The words
//! are the wearer's; nothing is added to them.

use super::Engine;
use super::effect::{Condition, Id, Side, What};
use super::plan::Job;
use super::reason::Reason;
use super::turn::{Judged, Turn};
use crate::domain::reminder::{Asked, Every, Only, REMINDERS_MAX, Wall, When};
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// One that rings this much later than it was due says when that was.
const LATE_MIN: i64 = 1;

/// A reminder that is to come.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Reminder {
    /// Its number.
    pub id: Id,
    /// The wearer's own words.
    pub text: String,
    /// When it is due by the clock in force.
    pub due: Timestamp,
    /// What that clock shows then; none for one that is due after a span.
    pub wall: Option<Wall>,
    /// How it comes again, if it does.
    pub every: Option<Every>,
    /// What it rings for only, if not always.
    pub only: Option<Only>,
}

/// A reminder whose time has come.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Come {
    /// The wearer's own words.
    pub text: String,
    /// When it was due.
    pub due: Timestamp,
    /// It is late: that time passed while nobody watched.
    pub late: bool,
    /// What it rings for only, if not always.
    pub only: Option<Only>,
}

impl Engine {
    /// The wearer asks to be reminded.
    pub(super) fn remind(&mut self, turn: &mut Turn, asked: &Asked) {
        if self.state.reminders.len() >= REMINDERS_MAX {
            let reason = Reason::TooManyReminders { most: REMINDERS_MAX };
            turn.tell(What::Answer, Condition::Reminder, Id(0), None, reason, false);
            return;
        }
        let wall = match asked.when {
            When::At(at) => asked.every.map(|_| Wall::of(self.policy.zone.wall(at))),
            When::Wall(wall) => Some(wall),
        };
        let reminder = Reminder {
            id: self.take_id(),
            text: asked.text.clone(),
            due: asked.when.due(self.policy.zone, asked.said),
            wall,
            every: asked.every,
            only: asked.only,
        };
        self.state.plan.set(Job::Reminder(reminder.id), reminder.due);
        self.state.reminders.push(reminder.clone());
        turn.tell(What::Answer, Condition::Reminder, reminder.id, None, Reason::ReminderSet { reminder }, false);
    }

    /// The wearer wants one reminder no more, or none of them.
    pub(super) fn cancel_reminders(&mut self, turn: &mut Turn, which: Option<Id>) {
        let meant = |id: Id| which.is_none_or(|which| which == id);
        let ids: Vec<Id> = self.state.reminders.iter().map(|reminder| reminder.id).filter(|id| meant(*id)).collect();
        self.state.reminders.retain(|reminder| !meant(reminder.id));
        for id in &ids {
            self.state.plan.stop(Job::Reminder(*id));
            let reason = Reason::RemindersCancelled { ids: vec![*id] };
            turn.tell(What::Ended, Condition::Reminder, *id, None, reason, false);
        }
        let reason = match which {
            Some(id) if ids.is_empty() => Reason::NoSuchReminder { id },
            _ => Reason::RemindersCancelled { ids },
        };
        turn.tell(What::Answer, Condition::Reminder, Id(0), None, reason, false);
    }

    /// Its time has come. One that comes again goes on to the next time that is still ahead.
    pub(super) fn reminder_comes(&mut self, turn: &mut Turn, id: Id) {
        let Some(Reminder { text, due, only, .. }) = self.past_reminder(id, turn.now) else { return };
        let late = turn.now - due >= Span::minutes(LATE_MIN);
        let reminder = Come { text, due, late, only };
        turn.judged = only.and_then(|only| self.value_for(only, turn.now));
        let (what, reason) = match (only, turn.judged) {
            (Some(_), None) => (What::Prompt, Reason::ReminderUnseen { reminder }),
            (Some(only), Some(judged)) if !only.holds(judged.glucose) => {
                (What::Withheld, Reason::ReminderNotMet { reminder })
            }
            (_, _) => (What::Prompt, Reason::ReminderDue { reminder }),
        };
        turn.tell(what, Condition::Reminder, id, None, reason, what == What::Prompt);
    }

    /// Takes a reminder out, and keeps its next time if it comes again.
    pub(super) fn past_reminder(&mut self, id: Id, now: Timestamp) -> Option<Reminder> {
        let place = self.state.reminders.iter().position(|reminder| reminder.id == id)?;
        let past = self.state.reminders.remove(place);
        if let (Some(every), Some(last)) = (past.every, past.wall) {
            let zone = self.policy.zone;
            let wall = every.next(last, Wall::of(zone.wall(now)));
            let next = Reminder { due: wall.after(zone, now), wall: Some(wall), ..past.clone() };
            self.state.plan.set(Job::Reminder(id), next.due);
            self.state.reminders.insert(place, next);
        }
        Some(past)
    }

    /// The wearer is in another zone: a reminder falls when the clock there shows its time. Where that clock
    /// has skipped it, it falls when it would have been.
    pub(super) fn move_reminders(&mut self, now: Timestamp) {
        let zone = self.policy.zone;
        for reminder in &mut self.state.reminders {
            let there = reminder.wall.map(|wall| wall.after(zone, now));
            if let Some(due) = there.filter(|due| *due > now) {
                reminder.due = due;
                self.state.plan.set(Job::Reminder(reminder.id), due);
            }
        }
    }

    /// The computer's clock was set, and all timers were moved with it: a reminder after a span keeps its
    /// length, one by the wall clock keeps its hour.
    pub(super) fn keep_reminders_by(&mut self, by: Span, now: Timestamp) {
        for reminder in &mut self.state.reminders {
            let was_due = reminder.due <= now - by;
            if reminder.wall.is_none() {
                reminder.due = reminder.due + by;
            } else if !was_due {
                self.state.plan.set(Job::Reminder(reminder.id), reminder.due);
            }
        }
    }

    /// The newest value, if it is fresh; of two signals the one that is further out.
    fn value_for(&self, only: Only, now: Timestamp) -> Option<Judged> {
        let side = match only {
            Only::Above(_) => Side::High,
            Only::Below(_) => Side::Low,
        };
        self.of_two_signals(side, now).or_else(|| self.latest(now))
    }
}
