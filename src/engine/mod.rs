//! THE DECISION: `(state, event, now) -> decisions`. Pure: no clock, no files, no randomness.
//!
//! Five functions carry it: [`Engine::new`], [`Engine::restore`], [`Engine::handle`],
//! [`Engine::next_deadline`] and [`Engine::snapshot`]. `now` never comes from anywhere but the caller,
//! and a [`Event::Tick`] that is early or extra does nothing.
//!
//! The way of one reading: [`Engine::handle`] sorts what is about now from what is past, puts both into
//! the [`window`], judges the newest on both sides ([`side`], [`level`]) and sees what it makes likely ([`foresee`]), completes looks that were
//! waiting for it ([`recheck_high`], [`recheck_low`]) and winds the timer of the next silence ([`source`]).
#![deny(clippy::disallowed_methods, clippy::disallowed_types)]

pub mod after_back;
pub mod alert;
mod amend;
mod arrival;
pub mod asked;
pub mod bedtime;
pub mod began;
pub mod check;
pub mod compare;
pub mod denial;
pub mod effect;
pub mod evening;
pub mod event;
pub mod forecast;
pub mod foresee;
mod form1;
pub mod guarantees;
pub mod high_calls;
mod high_check;
mod high_unmarked;
pub mod ketones;
pub mod landing;
pub mod level;
pub mod lost;
mod meter;
pub mod mistaken;
pub mod mode;
pub mod morning;
pub mod nadir;
pub mod new_set;
pub mod outcome;
mod over;
mod past;
mod past_lows;
pub mod plan;
pub mod policy;
pub mod question;
pub mod reach;
pub mod reason;
mod rebound;
pub mod recheck_high;
pub mod recheck_low;
pub mod reminder;
pub mod rise;
pub mod saved;
mod scan;
pub mod service;
pub mod session;
mod set_back;
mod settle;
mod shape;
pub mod side;
pub mod signal;
pub mod silence;
pub mod source;
mod state;
pub mod story;
pub mod stretch;
mod symptoms;
mod treatment;
pub mod trend;
mod turn;
pub mod two_signals;
mod unwatched;
mod values;
pub mod window;
mod words;
pub mod working;

use crate::domain::glucose::Glucose;
use crate::domain::local::Stretch;
use crate::domain::reading::Reading;
use crate::domain::time::{Span, Timestamp};
use alert::said::{diary_refused, kept_answered};
use effect::{Decision, Id, Side};
use event::Event;
use level::Seen;
use plan::Job;
use policy::Policy;
pub use state::{SNAPSHOT_VERSION, State};
use turn::Turn;
use two_signals::doubt_with;
use values::Latest;

/// A reading older than this, or than two cadences, is past: it says nothing about now.
pub const PAST_MIN: i64 = 15;

/// What was measured or written further ahead of now than this comes from a clock that is wrong; what is a little
/// ahead is about now.
pub const AHEAD_MIN: i64 = 5;

/// Most timers a turn works off beside those that run when it begins; one that sets more has a fault.
const TIMERS_PER_TURN_MAX: usize = 64;

/// The decision.
#[derive(Debug, Clone, PartialEq)]
pub struct Engine {
    policy: Policy,
    state: State,
    /// Night and quiet hours around the last turn, so that a calendar is asked now and then and not at every reading.
    around: Option<(Stretch, Stretch)>,
    /// The newest value of a source with its rate, until another reading comes: a turn asks for it several times.
    latest: Latest,
}

impl Engine {
    /// A new life.
    #[must_use]
    pub fn new(policy: Policy) -> Self {
        Self::restore(policy, State::default())
    }

    /// Goes on from a snapshot as if it had never stopped.
    #[must_use]
    pub const fn restore(policy: Policy, state: State) -> Self {
        Self { policy, state, around: None, latest: Latest::none() }
    }

    /// What to save.
    #[must_use]
    pub const fn snapshot(&self) -> &State {
        &self.state
    }

    /// What it was told to do.
    #[must_use]
    pub const fn policy(&self) -> &Policy {
        &self.policy
    }

    /// The newest reading there is, fresh or not: its value, when it was measured, and its rate.
    #[must_use]
    pub fn newest(&self) -> Option<(Glucose, Timestamp, Option<trend::Rate>)> {
        let newest = self.state.window.newest()?;
        self.latest_of(newest.source).map(|judged| (judged.glucose, judged.at, judged.rate))
    }

    /// When the next tick is wanted at the latest.
    #[must_use]
    pub fn next_deadline(&self) -> Option<Timestamp> {
        self.state.plan.next()
    }

    /// After a fault in a turn: what was due then is not tried again.
    pub fn give_up_due(&mut self, now: Timestamp) {
        while let Some((timer, _)) = self.state.plan.expired(now) {
            if let Job::Reminder(id) = timer {
                self.past_reminder(id, now);
            }
        }
    }

    /// One turn: what happened, and when. Timers that are due fire after it, in due order.
    pub fn handle(&mut self, event: &Event, now: Timestamp) -> Vec<Decision> {
        self.latest.forget();
        let mut turn = self.begin(now);
        self.state.moments.begins(event);
        if !matches!(event, Event::Readings { .. }) {
            self.look_around(&mut turn);
        }
        match event {
            Event::Tick => {}
            Event::Started => self.watch_all_sources(now),
            Event::Readings { rows, first_sight } => self.readings(&mut turn, rows, *first_sight),
            Event::Refused { source, rows, words, whole_file } => {
                self.refused(&mut turn, *source, *rows, words, *whole_file);
            }
            Event::Lost { source, words } => self.source_lost(&mut turn, *source, words),
            Event::Treated { which, at, look } => {
                turn.judged = self.latest(now);
                self.treated(&mut turn, *which, *at, *look);
            }
            Event::Noted(note) => {
                turn.judged = self.latest(now);
                self.noted(&mut turn, note);
            }
            Event::Meant { at } => {
                turn.judged = self.latest(now);
                self.meant(&mut turn, *at);
            }
            Event::Excluded { stretches } => self.leave_out(&mut turn, stretches),
            Event::Amended { was, is, others } => self.amended(&mut turn, was.as_ref(), is.as_ref(), others),
            Event::Seen { which, until, by } => self.seen(&mut turn, *which, *until, by.as_deref()),
            Event::With { which, by } => self.is_with_them(&mut turn, *which, by),
            Event::Quiet { span, condition } => self.quiet(&mut turn, *span, *condition),
            Event::QuietOff => self.quiet_off(&mut turn),
            Event::Trust(which) => self.trust(&mut turn, *which),
            Event::Mode { wish, at } => self.wish(&mut turn, *wish, *at),
            Event::Written { said, whence } => self.written(&mut turn, said, whence),
            Event::KeptAnswered { lines } => kept_answered(&mut turn, lines),
            Event::DiaryRefused { words, more } => diary_refused(&mut turn, words, *more),
            Event::Unwatched { from, to, cause } => self.unwatched(&mut turn, *from, *to, *cause),
            Event::ClockStepped { by } => self.clock_stepped(&turn, *by),
            Event::Channels { working, failing } => self.channels(&mut turn, *working, failing),
            Event::PolicyChanged(policy) => self.policy_changed(&mut turn, policy),
            Event::Remind(asked) => self.remind(&mut turn, asked),
            Event::CancelReminders { which } => self.cancel_reminders(&mut turn, *which),
        }
        self.wait_after_first(now);
        self.expire(&mut turn);
        self.count_looks_at_landing(&turn);
        self.ring_what_waited(&mut turn);
        self.bring_forward(&mut turn);
        self.plan_bedtime(now);
        self.tell_first_line(&mut turn);
        self.keep_back(&mut turn);
        self.keep_guarantees(&mut turn);
        self.ring_once(&mut turn);
        self.note_rings_without_signal(&turn);
        self.forget_returned(&turn);
        self.remember_night(&turn);
        self.note_switched_off(now);
        turn.out
    }

    fn readings(&mut self, turn: &mut Turn, rows: &[Reading], first_sight: bool) {
        let Some(source) = rows.first().map(|reading| reading.source) else {
            self.look_around(turn);
            return;
        };
        let mut sorted;
        let rows = if rows.is_sorted_by_key(|reading| reading.measured) {
            rows
        } else {
            sorted = rows.to_vec();
            sorted.sort_by_key(|reading| reading.measured);
            &sorted[..]
        };
        let known = self.newest_of(source);
        let mut newest: Option<Reading> = None;
        let mut late: Vec<Reading> = Vec::new();
        let rows = self.without_clock_ahead(turn, source, rows);
        turn.batch = self.is_batch(&rows);
        if !first_sight {
            self.record_lost(turn, source, known, &rows);
        }
        for reading in rows.iter() {
            if self.absurd(reading) {
                self.absurd_value(turn, reading);
                continue;
            }
            let past = turn.now - reading.measured > self.past_after(source);
            if self.set_aside(turn, reading) {
                self.aside_gave(turn, reading, !past);
                continue;
            }
            if !self.state.window.insert(*reading) {
                continue;
            }
            self.latest.forget();
            self.source_gave(turn, reading, !past);
            self.notice_low(reading);
            self.notice_high(reading, turn.now);
            self.follow_beginnings(reading);
            // One that is older than what was judged before is late, not new.
            if !past && known.is_none_or(|known| reading.measured > known) {
                late.extend(newest.replace(*reading));
            } else {
                late.push(*reading);
            }
        }
        if !first_sight {
            if let Some(newest) = rows.last() {
                self.learn_arrival(turn, source, newest.measured, rows.len() == 1);
            }
            self.gather_past(turn, &late);
            self.notice_late_highs(&late);
        }
        if let Some(last) = rows.last().filter(|last| known.is_none_or(|known| last.measured > known)) {
            self.sensor_gave(source, last.measured);
            self.values_of_scan(turn, source, last.measured);
        }
        match newest {
            Some(newest) => self.judge(turn, &newest),
            None => self.look_around(turn),
        }
    }

    /// The newest current reading, judged as now.
    fn judge(&mut self, turn: &mut Turn, reading: &Reading) {
        // What came may have changed the cadence by which a rate is taken.
        self.latest.forget();
        let latest = self.latest_of(reading.source);
        self.latest.0 = latest;
        if self.is_echo(reading) {
            self.look_around(turn);
            self.record_echo(turn, reading);
            turn.judged = latest;
            self.watch_for_gap(turn, reading);
            return;
        }
        self.source(reading.source).judged = Some(reading.measured);
        self.notice_two_signals(turn);
        let (doubt, cadence) = (self.doubt(turn.now), self.source(reading.source).cadence());
        let low_since = self.root(Side::Low).map(|root| root.since);
        turn.flat_low = self.low_does_not_move(turn.now);
        let counts = doubt.is_none() && !self.is_left_out(reading.measured);
        self.follow_forecasts(reading, counts);
        if counts {
            self.follow_corrections(reading);
        }
        for side in [Side::Low, Side::High] {
            turn.doubt = doubt_with(turn, doubt, self.doubt_of_shape(turn, side, reading));
            turn.judged = self.of_two_signals(side, turn.now).or(latest);
            self.remember_signal_of_low(turn, side);
            let value = turn.judged.map_or(reading.glucose, |judged| judged.glucose);
            let first = turn.out.len();
            self.see_what_came(turn, side, reading);
            self.judge_side(turn, &Seen { side, value, measured: reading.measured, cadence });
            if side == Side::Low {
                self.follow_back(turn, reading);
            }
            self.foresee(turn, side, reading);
            match side {
                Side::Low => {
                    self.follow_chain(turn, first);
                    self.follow_low(turn, low_since, reading.measured);
                }
                Side::High => self.follow_high(turn),
            }
        }
        turn.doubt = doubt;
        self.follow_landing(turn, reading);
        self.close_high_if_over(turn);
        self.complete_high_look(turn);
        self.complete_low_look(turn);
        turn.judged = latest;
        self.notice_rise(turn, reading);
        self.watch_for_gap(turn, reading);
    }

    fn expire(&mut self, turn: &mut Turn) {
        for _ in 0..=self.state.plan.count() + TIMERS_PER_TURN_MAX {
            let Some((timer, _)) = self.state.plan.expired(turn.now) else {
                return;
            };
            self.fire(turn, timer);
        }
        unreachable!("a turn works off its timers");
    }

    /// What a timer was set for. Few turns come here.
    #[cold]
    fn fire(&mut self, turn: &mut Turn, job: Job) {
        match job {
            Job::LowCheck => self.look_at_low(turn),
            Job::HighCheck => self.look_at_high(turn),
            Job::BackCheck => self.back_check_is_due(turn),
            Job::Landing => self.look_at_landing(turn),
            Job::EveningCheck => self.look_after_evening(turn),
            Job::SetCheck => self.look_at_set(turn),
            Job::MistakenCheck => self.look_at_mistaken(turn),
            Job::Past => self.tell_past(turn),
            Job::Gap(source) => self.gap(turn, source),
            Job::Scan(source) => self.call_for_scan(turn, source),
            Job::SensorEnd(source) => self.tell_sensor_end(turn, source),
            Job::LowCalls => self.escalate(turn),
            Job::Unmute => self.quiet_is_over(turn),
            Job::Digest => self.quiet_hours_are_over(turn),
            Job::Bedtime => self.tell_bedtime(turn),
            // Whether they must ring is found when the turn ends.
            Job::LowLasts | Job::HighLasts | Job::HighQuestion | Job::HighCalls | Job::Moment | Job::CallsLast => {}
            Job::GapCall(source) => self.call_for_gap(turn, source),
            Job::OtherCalls => self.ring_waiting(turn),
            Job::Flood => self.look_at_flood(turn),
            Job::SecondPrick => self.ask_for_second_prick(turn),
            Job::Off => self.remind_of_switched_off(turn),
            Job::Reminder(id) => self.reminder_comes(turn, id),
            Job::Mode(due) => self.mode_is_due(turn, due),
            Job::Flaps => self.tell_flaps(turn),
            Job::Ketones => self.ask_about_ketones(turn),
        }
    }

    fn policy_changed(&mut self, turn: &mut Turn, policy: &Policy) {
        let moved = self.policy.zone != policy.zone;
        self.move_bedtime(turn.now, policy);
        self.move_people(policy);
        self.policy = policy.clone();
        self.around = None;
        if moved {
            self.move_reminders(turn.now);
        }
        self.begin_anew(turn);
        self.drop_levels_switched_off(turn);
        self.drop_forecasts_switched_off(turn);
        self.end_caution_unasked(turn);
        self.drop_sources_gone(turn);
        self.move_evening_look(turn.now, Span::ZERO);
        self.watch_all_sources(turn.now);
        self.close_high_if_over(turn);
        self.plan_chain(turn);
        self.plan_waiting(turn);
        self.plan_digest(turn);
    }

    fn take_id(&mut self) -> Id {
        self.state.take_id()
    }
}
