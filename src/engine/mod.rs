//! THE DECISION: `(state, event, now) -> decisions`. Pure: no clock, no files, no randomness.
//!
//! Five functions carry it: [`Engine::new`], [`Engine::restore`], [`Engine::handle`],
//! [`Engine::next_deadline`] and [`Engine::snapshot`]. `now` never comes from anywhere but the caller,
//! and a [`Event::Tick`] that is early or extra does nothing.
//!
//! The way of one reading: [`Engine::handle`] sorts what is about now from what is past, puts both into
//! the [`window`], judges the newest on both sides ([`side`], [`level`]), completes looks that were
//! waiting for it ([`recheck_high`], [`recheck_low`]) and winds the timer of the next silence ([`source`]).
#![deny(clippy::disallowed_methods, clippy::disallowed_types)]

pub mod alarm;
mod arrival;
pub mod bedtime;
pub mod effect;
pub mod escalation;
pub mod event;
pub mod level;
mod meter;
pub mod mode;
pub mod morning;
mod past;
pub mod people;
pub mod policy;
mod priority;
pub mod quiet;
pub mod reach;
pub mod reason;
mod rebound;
pub mod recheck_high;
pub mod recheck_low;
pub mod reminder;
mod said;
mod scan;
pub mod session;
pub mod side;
pub mod source;
pub mod steps;
pub mod timers;
pub mod trend;
mod turn;
pub mod two_signals;
mod unwatched;
mod values;
pub mod waiting;
pub mod window;
mod words;

use crate::domain::glucose::Glucose;
use crate::domain::local::{Hours, Stretch};
use crate::domain::reading::Reading;
use crate::domain::time::{Span, Timestamp};
use alarm::Returned;
use bedtime::BeforeSleep;
use effect::{Condition, Decision, Id, Side};
use escalation::Chain;
use event::Event;
use level::Seen;
use mode::Modes;
use morning::Overnight;
use policy::Policy;
use quiet::Quiet;
use reach::ChannelTrouble;
use rebound::LastLow;
use recheck_high::HighCare;
use recheck_low::LowCare;
use reminder::Reminder;
use said::diary_refused;
use serde::{Deserialize, Serialize};
use side::SideState;
use source::SourceState;
use timers::{Timer, Timers};
use turn::Turn;
use two_signals::{Trust, TwoSignals};
use waiting::Waiting;
use window::Window;

/// Version of the snapshot's form. Another version is rebuilt from stored events.
pub const SNAPSHOT_VERSION: u32 = 1;

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
    /// Day or night around the last turn, so that a calendar is asked twice a day and not at every reading.
    around: Option<Stretch>,
}

/// All that the engine remembers. Saved whole at every turn.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct State {
    last_id: u64,
    window: Window,
    /// The low side's levels.
    pub low: SideState,
    /// The high side's levels.
    pub high: SideState,
    /// The re-check of a low, if one is under way.
    pub low_care: Option<LowCare>,
    /// The re-check of a high, if one is under way.
    pub high_care: Option<HighCare>,
    meter: Option<(Timestamp, Glucose)>,
    /// Late readings, until they are told of.
    past: Vec<Reading>,
    /// Sources by their number.
    pub sources: Vec<SourceState>,
    /// The alert about ways to reach the wearer, if one is open.
    pub channels: Option<ChannelTrouble>,
    /// Two signals that alternate, if there are.
    #[serde(default)]
    pub two_signals: Option<TwoSignals>,
    /// What the night held so far.
    #[serde(default)]
    overnight: Overnight,
    /// Alerts that are over and that nobody answered.
    #[serde(default)]
    pub returned: Vec<Returned>,
    /// Conditions that do not ring for a while.
    #[serde(default)]
    pub quiet: Vec<Quiet>,
    /// What rang last.
    #[serde(default)]
    last_rung: Option<Condition>,
    /// The calls for a low that nobody answers.
    #[serde(default)]
    pub chain: Option<Chain>,
    /// Other alerts that rang and are not over.
    #[serde(default)]
    pub waiting: Vec<Waiting>,
    /// When two signals last alternated.
    #[serde(default)]
    two_signals_last: Option<Timestamp>,
    /// What the wearer chose to count; all when nothing.
    #[serde(default)]
    pub trust: Option<Trust>,
    /// The wearer's own reminders, in the order they were asked for.
    #[serde(default)]
    pub reminders: Vec<Reminder>,
    /// The last low, for the high that may follow it.
    #[serde(default)]
    last_low: Option<LastLow>,
    /// What the line before sleep tells.
    #[serde(default)]
    before_sleep: BeforeSleep,
    /// Modes in force, and what follows from them.
    #[serde(default)]
    pub modes: Modes,
    /// What falls due, and when.
    pub timers: Timers,
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
        Self { policy, state, around: None }
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
        self.state.timers.next()
    }

    /// After a fault in a turn: what was due then is not tried again.
    pub fn give_up_due(&mut self, now: Timestamp) {
        while let Some((timer, _)) = self.state.timers.expired(now) {
            if let Timer::Reminder(id) = timer {
                self.past_reminder(id, now);
            }
        }
    }

    /// One turn: what happened, and when. Timers that are due fire after it, in due order.
    pub fn handle(&mut self, event: &Event, now: Timestamp) -> Vec<Decision> {
        let night = self.night_around(now);
        let (doubt, after_low, mode) = (self.doubt(now), self.after_low(now), self.mode_that_counts(now));
        let mut turn = Turn { now, night, judged: None, doubt, after_low, mode, written: false, out: Vec::new() };
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
            Event::Seen { which, until, by } => self.seen(&mut turn, *which, *until, by.as_deref()),
            Event::Quiet { span, condition } => self.quiet(&mut turn, *span, *condition),
            Event::QuietOff => self.quiet_off(&mut turn),
            Event::Trust(which) => self.trust(&mut turn, *which),
            Event::Mode { wish, at } => self.wish(&mut turn, *wish, *at),
            Event::Written { said, whence } => self.written(&mut turn, said, whence),
            Event::DiaryRefused { words, more } => diary_refused(&mut turn, words, *more),
            Event::Unwatched { from, to, cause } => self.unwatched(&mut turn, *from, *to, *cause),
            Event::ClockStepped { by } => self.clock_stepped(turn.now, *by),
            Event::Channels { working, failing } => self.channels(&mut turn, *working, failing),
            Event::PolicyChanged(policy) => self.policy_changed(&mut turn, policy),
            Event::Remind(asked) => self.remind(&mut turn, asked),
            Event::CancelReminders { which } => self.cancel_reminders(&mut turn, *which),
        }
        self.expire(&mut turn);
        self.plan_bedtime(now);
        self.tell_first_line(&mut turn);
        self.keep_quiet(&mut turn);
        self.keep_waiting(&mut turn);
        self.forget_returned(now);
        self.remember_night(&turn);
        turn.out
    }

    fn readings(&mut self, turn: &mut Turn, rows: &[Reading], first_sight: bool) {
        let Some(source) = rows.first().map(|reading| reading.source) else {
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
            self.source_gave(turn, reading, !past);
            self.notice_low(reading);
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
        }
        if let Some(last) = rows.last().filter(|last| known.is_none_or(|known| last.measured > known)) {
            self.sensor_gave(source, last.measured);
            self.values_of_scan(turn, source, last.measured);
        }
        if let Some(newest) = newest {
            self.judge(turn, &newest);
        }
    }

    /// The newest current reading, judged as now.
    fn judge(&mut self, turn: &mut Turn, reading: &Reading) {
        if self.is_echo(reading) {
            self.record_echo(turn, reading);
            turn.judged = self.latest_of(reading.source);
            self.watch_for_gap(turn, reading);
            return;
        }
        self.source(reading.source).judged = Some(reading.measured);
        self.notice_two_signals(turn);
        turn.doubt = self.doubt(turn.now);
        let cadence = self.source(reading.source).cadence();
        for side in [Side::Low, Side::High] {
            turn.judged = self.of_two_signals(side, turn.now).or_else(|| self.latest_of(reading.source));
            let value = turn.judged.map_or(reading.glucose, |judged| judged.glucose);
            let first = turn.out.len();
            let low_since = self.side(Side::Low).root().map(|root| root.since);
            self.judge_side(turn, &Seen { side, value, measured: reading.measured, cadence });
            match side {
                Side::Low => {
                    self.follow_chain(turn, first);
                    self.follow_low(turn, low_since, reading.measured);
                }
                Side::High => self.follow_high(turn),
            }
        }
        self.close_high_if_over(turn);
        self.complete_high_look(turn);
        self.complete_low_look(turn);
        turn.judged = self.latest_of(reading.source);
        self.watch_for_gap(turn, reading);
    }

    fn expire(&mut self, turn: &mut Turn) {
        for _ in 0..=self.state.timers.count() + TIMERS_PER_TURN_MAX {
            let Some((timer, _)) = self.state.timers.expired(turn.now) else {
                return;
            };
            match timer {
                Timer::LowLook => self.look_at_low(turn),
                Timer::HighLook => self.look_at_high(turn),
                Timer::Past => self.tell_past(turn),
                Timer::Gap(source) => self.gap(turn, source),
                Timer::Scan(source) => self.call_for_scan(turn, source),
                Timer::SensorEnd(source) => self.tell_sensor_end(turn, source),
                Timer::Chain => self.escalate(turn),
                Timer::Quiet => self.quiet_is_over(turn),
                Timer::Morning => self.tell_morning(turn),
                Timer::Bedtime => self.tell_bedtime(turn),
                Timer::GapCall(source) => self.call_for_gap(turn, source),
                Timer::Waiting => self.ring_waiting(turn),
                Timer::Reminder(id) => self.reminder_comes(turn, id),
                Timer::Mode(due) => self.mode_is_due(turn, due),
            }
        }
        unreachable!("a turn works off its timers");
    }

    fn clock_stepped(&mut self, now: Timestamp, by: Span) {
        self.state.timers.shift(by);
        self.shift_calls(by);
        for quiet in &mut self.state.quiet {
            quiet.shift(by);
        }
        self.state.modes.shift(by);
        self.keep_reminders_by(by, now);
        self.keep_bedtime_by(by, now);
        for source in self.numbers() {
            self.source(source).scan.shift(by);
            self.plan_scan(now, source);
        }
    }

    fn policy_changed(&mut self, turn: &mut Turn, policy: &Policy) {
        let moved = self.policy.zone != policy.zone;
        self.move_bedtime(turn.now, policy);
        self.policy = policy.clone();
        self.around = None;
        if moved {
            self.move_reminders(turn.now);
        }
        turn.night = self.night_around(turn.now);
        self.drop_levels_switched_off(turn);
        self.end_caution_unasked(turn);
        self.drop_sources_gone(turn);
        self.watch_all_sources(turn.now);
        self.close_high_if_over(turn);
        self.plan_chain(turn);
        self.plan_waiting(turn);
    }

    fn take_id(&mut self) -> Id {
        self.state.last_id += 1;
        Id(self.state.last_id)
    }

    fn night_around(&mut self, now: Timestamp) -> Stretch {
        match self.around {
            Some(around) if around.from <= now && now < around.until => around,
            _ => {
                let hours: Hours = self.policy.night;
                let around = hours.stretch(self.policy.zone, now);
                self.around = Some(around);
                around
            }
        }
    }
}
