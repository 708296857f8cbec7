//! Modes: times in which the wearer is watched in another way. They begin when asked for, end by themselves, and
//! may overlap: the strictest limit counts, looks that fall together are one, and none relaxes anything, but a
//! doubted sensor, whose low asks for a meter and calls nobody. docs/modes.md has the rules.

mod aftercare;
pub mod caution;
pub mod hold;
mod look;
pub mod profile;
pub mod reason;

use super::Engine;
use super::effect::{Condition, Id, What};
use super::plan::Job;
use super::reason::Reason;
use super::turn::Turn;
use crate::domain::glucose::Glucose;
use crate::domain::mode::{Mode, Wish};
use crate::domain::time::{Span, Timestamp};
use hold::DrivingWait;
use reason::Why;
use serde::{Deserialize, Serialize};

/// Lows came 8 to 12 hours after exercise in real life (Charlton 2015, seen as an excerpt).
const AFTER_EXERCISE_HOURS: i64 = 12;

/// More lows in the 24 hours after alcohol, 1.3 against 0.6 (Richardson 2005), and five of six people had to treat
/// one after ten the next morning (Turner 2001); both seen as excerpts.
const ALCOHOL_HOURS: i64 = 24;

/// After a low that somebody had to help with: ours.
const AFTERCARE_HOURS: i64 = 24;

/// How long a mode lasts when nothing is said: of alcohol as above, the others are ours.
#[must_use]
pub const fn usual(mode: Mode) -> Span {
    match mode {
        Mode::Driving | Mode::Doubted => Span::hours(4),
        Mode::Exercise => Span::minutes(90),
        Mode::Alcohol => Span::hours(ALCOHOL_HOURS),
        Mode::Sick => Span::hours(24),
        Mode::Aftercare => Span::hours(AFTERCARE_HOURS),
    }
}

/// The longest a mode lasts, however often it is asked for again: ours. One that is forgotten ends all the same.
#[must_use]
pub const fn longest(mode: Mode) -> Span {
    match mode {
        Mode::Driving | Mode::Exercise => Span::hours(12),
        Mode::Alcohol | Mode::Sick | Mode::Aftercare => Span::hours(72),
        Mode::Doubted => Span::hours(24),
    }
}

/// What is known of modes.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Modes {
    /// Those in force, one of each at most, in the order they began.
    pub running: Vec<Running>,
    /// For when ketones were last noted.
    pub(super) ketones: Option<Timestamp>,
}

/// A mode in force.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Running {
    /// Which.
    pub mode: Mode,
    /// The number of its looks.
    pub id: Id,
    /// Since when; of one that was asked for again while it lasted, since the first time.
    pub since: Timestamp,
    /// Until when.
    pub until: Timestamp,
    /// Of exercise: until when the hours after it count.
    pub after: Option<Timestamp>,
    /// The next look.
    pub look: Option<Timestamp>,
    /// The next question for ketones.
    pub ketones: Option<Timestamp>,
}

/// What of modes falls due. Of two at once an end comes first: nothing is asked for a mode that is over.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Due {
    /// A mode ends, or its hours after begin.
    End(Mode),
    /// The next of all looks.
    Look,
    /// Whether it is still too early to drive.
    Hold,
}

impl Running {
    /// Its next end that is still to come: its own, or that of the hours after it.
    fn end(&self, now: Timestamp) -> Timestamp {
        if self.until > now { self.until } else { self.after.unwrap_or(self.until) }
    }

    /// The cautious limit it asks for.
    fn limit(&self, now: Timestamp) -> Option<Glucose> {
        let lasts = self.until > now;
        let is_after = self.after.is_some_and(|after| after > now);
        caution::limit(self.mode, lasts, is_after)
    }
}

impl Modes {
    /// The clock was set: every span keeps its length.
    pub(super) fn shift(&mut self, by: Span) {
        for running in &mut self.running {
            (running.since, running.until) = (running.since + by, running.until + by);
            let others = [&mut running.after, &mut running.look, &mut running.ketones];
            others.into_iter().flatten().for_each(|at| *at = *at + by);
        }
        self.ketones = self.ketones.map(|at| at + by);
    }
}

impl Engine {
    /// Does that mode last? The hours after exercise are not exercise.
    #[must_use]
    pub fn is_on(&self, mode: Mode, now: Timestamp) -> bool {
        self.state.modes.running.iter().any(|running| running.mode == mode && running.until > now)
    }

    /// The mode that what is said of lows goes by.
    pub(super) fn mode_that_counts(&self, now: Timestamp) -> Option<Mode> {
        if self.is_on(Mode::Driving, now) {
            return Some(Mode::Driving);
        }
        self.cautious(now).and_then(|cautious| cautious.mode)
    }

    /// What the wearer wants of the modes, and when they said so.
    pub(super) fn wish(&mut self, turn: &mut Turn, wish: Wish, at: Timestamp) {
        match wish {
            Wish::Begin { mode, span } => self.begin_mode(turn, mode, span, at.min(turn.now)),
            Wish::End { mode } => self.end_modes(turn, mode),
        }
    }

    pub(super) fn begin_mode(&mut self, turn: &mut Turn, mode: Mode, span: Option<Span>, at: Timestamp) {
        let place = self.state.modes.running.iter().position(|running| running.mode == mode);
        let before = place.and_then(|place| self.state.modes.running.get(place)).copied();
        let lasts = before.filter(|before| before.until > turn.now);
        let since = lasts.map_or(at, |before| before.since);
        // It counts from when it was said, and one upon another ends no later than one alone could.
        let wanted = at + span.unwrap_or(usual(mode));
        let until = wanted.min(since + longest(mode));
        if until <= turn.now && lasts.is_none() {
            let limit = self.cautious(turn.now).map(|cautious| cautious.limit);
            self.answer_of_mode(turn, Why::Over { mode, at: until, limit });
            return;
        }
        let after = (mode == Mode::Exercise).then(|| {
            let after = until + Span::hours(AFTER_EXERCISE_HOURS);
            before.and_then(|before| before.after).map_or(after, |before| before.max(after))
        });
        let id = match before {
            Some(before) => before.id,
            None => self.take_id(),
        };
        let [look, ketones] = look::first_looks(mode).map(|span| span.map(|span| at + span));
        // Whoever is prone to them is asked for ketones with the first look.
        let ketones = if self.is_ketone_prone() { ketones.and(look) } else { ketones };
        let running = Running {
            mode,
            id,
            since,
            until,
            after,
            look: lasts.and_then(|before| before.look).or(look),
            ketones: lasts.and_then(|before| before.ketones).or(ketones),
        };
        match place {
            Some(place) => self.state.modes.running[place] = running,
            None => self.state.modes.running.push(running),
        }
        self.modes_changed(turn);
        turn.judged = self.lowest_latest(turn.now);
        if mode == Mode::Driving {
            self.hold_at_start(turn);
        }
        let hold = self.state.plan.driving().filter(|_| mode == Mode::Driving);
        let set = Why::Set {
            mode,
            until,
            after,
            limit: running.limit(turn.now),
            capped: (wanted > until).then_some(longest(mode)),
            waits: hold.is_some(),
            hold: hold.and_then(DrivingWait::until),
        };
        self.answer_of_mode(turn, set);
    }

    /// Exercise that ends early is followed by the hours after it, as if it had ended by itself; asked for again,
    /// or with all others, it ends altogether.
    fn end_modes(&mut self, turn: &mut Turn, which: Option<Mode>) {
        let now = turn.now;
        let mut after = None;
        if which == Some(Mode::Exercise)
            && let Some(running) = self.state.modes.running.iter_mut().find(|running| running.mode == Mode::Exercise)
            && running.until > now
        {
            running.until = now;
            running.after = Some(now + Span::hours(AFTER_EXERCISE_HOURS));
            after = running.after;
        }
        let meant = |mode: Mode| which.is_none_or(|which| which == mode);
        let ended = self.state.modes.running.iter().map(|running| running.mode).filter(|mode| meant(*mode)).collect();
        if after.is_none() {
            self.state.modes.running.retain(|running| !meant(running.mode));
        }
        self.modes_changed(turn);
        let limit = self.cautious(now).map(|cautious| cautious.limit);
        self.answer_of_mode(turn, Why::Off { asked: which, modes: ended, after, limit });
    }

    fn answer_of_mode(&self, turn: &mut Turn, said: Why) {
        let id = match &said {
            Why::Set { mode, .. } => self.running(*mode).map(|running| running.id),
            _ => None,
        };
        let id = id.unwrap_or(Id(0));
        turn.tell(What::Answer, Condition::Mode, id, None, Reason::Mode { said }, false);
    }

    /// A mode that is in force, or whose hours after are.
    #[must_use]
    pub fn running(&self, mode: Mode) -> Option<&Running> {
        self.state.modes.running.iter().find(|running| running.mode == mode)
    }

    /// Something of the modes is due.
    pub(super) fn mode_is_due(&mut self, turn: &mut Turn, due: Due) {
        match due {
            Due::End(mode) => self.mode_ends(turn, mode),
            Due::Look => self.look_for_modes(turn),
            Due::Hold => self.look_at_hold(turn),
        }
    }

    /// Told once; by night it ends without a word, and `status` shows what is in force.
    fn mode_ends(&mut self, turn: &mut Turn, mode: Mode) {
        let Some(running) = self.running(mode).copied() else { return };
        let end = running.end(turn.now);
        turn.judged = None;
        if end > turn.now {
            if running.until <= turn.now {
                let said = Why::After { until: end };
                turn.tell(What::Told, Condition::Mode, running.id, None, Reason::Mode { said }, false);
            }
            self.modes_changed(turn);
            return;
        }
        self.state.modes.running.retain(|running| running.mode != mode);
        self.modes_changed(turn);
        turn.judged = None;
        let limit = self.cautious(turn.now).map(|cautious| cautious.limit);
        let said = Why::Over { mode, at: end, limit };
        turn.tell(What::Ended, Condition::Mode, running.id, None, Reason::Mode { said }, !turn.night.inside);
    }

    /// What follows when modes begin, end, or pass into their hours after.
    fn modes_changed(&mut self, turn: &mut Turn) {
        let now = turn.now;
        for mode in Mode::ALL {
            let end = self.running(mode).map(|running| running.end(now));
            self.set_or_stop(Due::End(mode), end);
        }
        self.plan_looks();
        turn.doubt = self.doubt(now);
        turn.mode = self.mode_that_counts(now);
        self.end_caution_unasked(turn);
        // A low that a doubted sensor showed goes on where it rested, or rests.
        self.plan_chain(turn);
    }

    fn set_or_stop(&mut self, due: Due, at: Option<Timestamp>) {
        match at {
            Some(at) => self.state.plan.set(Job::Mode(due), at),
            None => self.state.plan.stop(Job::Mode(due)),
        }
    }
}
