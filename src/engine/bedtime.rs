//! The line before sleep: once an evening, at the time the wearer set, what is known and what is not. It is no
//! alert and takes the place of none, and nothing holds it.

use super::Engine;
use super::effect::{Condition, Id, What};
use super::event::Cause;
use super::plan::Job;
use super::policy::Policy;
use super::reason::{Open, Reason};
use super::scan::end_of_night;
use super::turn::Turn;
use crate::domain::diary::{Kind, Note};
use crate::domain::local::Stretch;
use crate::domain::mode::Mode;
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// Later than this it is no line before sleep any more. Ours.
pub(super) const LATE_MAX_MIN: i64 = 60;

/// Not twice in one evening, however the clock is set and wherever it hangs. Ours.
const NOT_AGAIN_HOURS: i64 = 4;

/// A dose is named for this long: twice as long as rapid insulin is commonly said to act. Ours.
pub const DOSE_NAMED_HOURS: i64 = 8;

/// A shorter sleep of the computer is not named. Ours.
const SLEPT_NAMED_MIN: i64 = 10;

/// What is remembered for the line before sleep.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct BeforeSleep {
    /// When it falls due next, by the clock on the wall.
    next: Option<Timestamp>,
    told: Option<Timestamp>,
    /// When insulin was noted last.
    pub(super) insulin: Option<Timestamp>,
    /// When a high was last marked as treated.
    pub(super) high_treated: Option<Timestamp>,
    /// When exercise was noted last.
    pub(super) exercise: Option<Timestamp>,
    /// The longest sleep of the computer in the last night that it slept in.
    slept: Option<(Timestamp, Timestamp)>,
}

/// What is known before the wearer sleeps, beside the value.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Evening {
    /// When the last reading was measured; none when there never was one.
    pub last: Option<Timestamp>,
    /// The open alerts of levels, the worse first.
    pub open: Vec<Open>,
    /// The last dose, if it is not long ago.
    pub dose: Option<Dose>,
    /// What was noted today that goes on acting by night.
    pub marks: Vec<Mark>,
    /// The memory of a scanned sensor.
    pub memory: Option<Memory>,
    /// When the computer slept in the last night.
    pub slept: Option<(Timestamp, Timestamp)>,
}

/// The last dose that the wearer told of. Never how much.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Dose {
    /// Insulin was noted.
    Insulin(Timestamp),
    /// A high was marked as treated, and no insulin was noted since.
    HighTreated(Timestamp),
}

/// Something noted today that goes on acting by night. Whatever else does so is added here and in
/// `marks_since`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Mark {
    /// Exercise: lows follow 8 to 12 hours later (seen in abstracts only: PMC7702152, Charlton 2015).
    Exercise(Timestamp),
    /// Alcohol: lows follow next morning (Turner 2001, seen as an abstract).
    Alcohol(Timestamp),
}

/// The memory of a scanned sensor before the night.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Memory {
    /// When it is full.
    pub full: Timestamp,
    /// A scan is asked for now.
    pub scan_now: bool,
}

impl Engine {
    /// Whatever the turn did, the next line is planned: the timer runs whenever there is a bedtime.
    pub(super) fn plan_bedtime(&mut self, now: Timestamp) {
        let none_ever = self.policy.bedtime.is_none() && self.state.before_sleep.next.is_none();
        if none_ever || self.state.plan.due(Job::Bedtime).is_some() {
            return;
        }
        let next = self.next_bedtime(now).filter(|next| *next > now);
        self.state.before_sleep.next = next;
        if let Some(next) = next {
            self.state.plan.set(Job::Bedtime, next);
        }
    }

    /// The first bedtime at or after an instant that is not of an evening that was told already.
    pub(super) fn next_bedtime(&self, from: Timestamp) -> Option<Timestamp> {
        let told = self.state.before_sleep.told;
        let is_new = |at: Timestamp| told.is_none_or(|told| at - told >= Span::hours(NOT_AGAIN_HOURS));
        self.policy.zone.shows(self.policy.bedtime?, from).find(|at| *at >= from && is_new(*at))
    }

    /// Other settings, or another zone: what is still to come is planned by them.
    pub(super) fn move_bedtime(&mut self, now: Timestamp, policy: &Policy) {
        let same = self.policy.zone == policy.zone && self.policy.bedtime == policy.bedtime;
        if !same && self.state.before_sleep.next.is_none_or(|next| next > now) {
            self.state.plan.stop(Job::Bedtime);
        }
    }

    /// The computer's clock was set, and all timers were moved with it: bedtime keeps its hour, what is
    /// remembered keeps its age.
    pub(super) fn keep_bedtime_by(&mut self, by: Span, now: Timestamp) {
        let memory = &mut self.state.before_sleep;
        let ages = [&mut memory.told, &mut memory.insulin, &mut memory.high_treated, &mut memory.exercise];
        for at in ages.into_iter().flatten() {
            *at = *at + by;
        }
        match memory.next {
            Some(next) if next > now => self.state.plan.stop(Job::Bedtime),
            // The clock was set past it.
            Some(next) if next > now - by => self.state.plan.set(Job::Bedtime, now),
            // It was due before, and waits for readings to catch up.
            Some(_) | None => {}
        }
    }

    /// Bedtime has come.
    pub(super) fn tell_bedtime(&mut self, turn: &mut Turn) {
        let Some(due) = self.state.before_sleep.next.take().filter(|_| self.policy.bedtime.is_some()) else { return };
        let night = |at: Timestamp| self.policy.night.stretch(self.policy.zone, at);
        if turn.now - due > Span::minutes(LATE_MAX_MIN) || turn.now >= end_of_night(night, due) {
            // Calls for a scan that were left to it come by themselves again.
            for source in self.numbers() {
                self.plan_scan(turn.now, source);
            }
            return;
        }
        self.state.before_sleep.told = Some(turn.now);
        turn.judged = self.lowest_latest(turn.now);
        let (woke, night_began) = self.last_night(turn.now);
        let evening = Evening {
            last: self.state.window.newest().map(|last| last.measured),
            open: self.open_alerts(|alert| !alert.is_spoken_for()),
            dose: self.last_dose(turn.now),
            marks: self.marks_since(woke),
            memory: self.memory_before_sleep(turn),
            slept: self.state.before_sleep.slept.filter(|(from, to)| *from < woke && *to > night_began),
        };
        turn.tell(What::Told, Condition::Bedtime, Id(0), None, Reason::Bedtime { evening }, true);
    }

    /// A note that the line before sleep names, also one that came too late for anything else.
    pub(super) fn remember_note(&mut self, note: &Note) {
        // What is in question answers no question.
        let answers = !self.is_in_question(note);
        if answers {
            self.remember_what_moves(note);
        }
        match note.kind {
            Kind::Insulin(amount) => self.remember_dose(note.at, amount),
            Kind::Carbohydrate(_) => self.remember_food(note.at),
            _ => {}
        }
        let memory = &mut self.state.before_sleep;
        let last = match note.kind {
            Kind::Insulin(_) if answers => &mut memory.insulin,
            Kind::Exercise => &mut memory.exercise,
            _ => return,
        };
        *last = (*last).max(Some(note.at));
    }

    /// A high was marked as treated.
    pub(super) fn remember_high_treated(&mut self, at: Timestamp) {
        let last = &mut self.state.before_sleep.high_treated;
        *last = (*last).max(Some(at));
        self.remember_given(at);
    }

    /// The computer slept: in a night that is remembered, because it may do so again.
    pub(super) fn remember_sleep(&mut self, from: Timestamp, to: Timestamp, cause: Cause) {
        let night = |at: Timestamp| self.policy.night.stretch(self.policy.zone, at);
        let around = night(from);
        let by_night = around.inside || around.until < to;
        if cause != Cause::Slept || to - from < Span::minutes(SLEPT_NAMED_MIN) || !by_night {
            return;
        }
        let same_night = |(other, _): &(Timestamp, Timestamp)| end_of_night(night, *other) == end_of_night(night, from);
        let before = self.state.before_sleep.slept.filter(same_night);
        if before.is_none_or(|(began, ended)| ended - began < to - from) {
            self.state.before_sleep.slept = Some((from, to));
        }
    }

    /// When the last night ended, and when it began: the one before that which it may be now.
    fn last_night(&self, now: Timestamp) -> (Timestamp, Timestamp) {
        let stretch = |at: Timestamp| self.policy.night.stretch(self.policy.zone, at);
        let before = |one: Stretch| stretch(one.from - Span::millis(1));
        let around = stretch(now);
        let day = if around.inside { before(around) } else { around };
        (day.from, before(day).from)
    }

    fn last_dose(&self, now: Timestamp) -> Option<Dose> {
        let BeforeSleep { insulin, high_treated, .. } = self.state.before_sleep;
        let is_recent = |at: &Timestamp| now - *at <= Span::hours(DOSE_NAMED_HOURS);
        let (insulin, high_treated) = (insulin.filter(is_recent), high_treated.filter(is_recent));
        // Insulin that was noted while high is both.
        match high_treated.filter(|at| insulin.is_none_or(|insulin| insulin < *at)) {
            Some(at) => Some(Dose::HighTreated(at)),
            None => insulin.map(Dose::Insulin),
        }
    }

    fn marks_since(&self, woke: Timestamp) -> Vec<Mark> {
        let asked = |mode: Mode| self.running(mode).map(|running| running.since);
        let exercise = self.state.before_sleep.exercise.max(asked(Mode::Exercise)).filter(|at| *at >= woke);
        // Alcohol counts for as long as its mode does, yesterday's as well.
        exercise.map(Mark::Exercise).into_iter().chain(asked(Mode::Alcohol).map(Mark::Alcohol)).collect()
    }
}
