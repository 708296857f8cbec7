//! Looks that a mode asks for on a schedule: before driving on, and on a sick day a meter check and ketones. What
//! falls due together is one prompt, and what was measured shortly before is not asked for.

use super::reason::{Asks, Why};
use super::{Due, Running};
use crate::domain::mode::Mode;
use crate::domain::time::{Span, Timestamp};
use crate::engine::Engine;
use crate::engine::effect::{Condition, Id, What};
use crate::engine::plan::Job;
use crate::engine::reason::Reason;
use crate::engine::turn::Turn;

/// A check every two hours on the road (DVLA INF294, seen as a copy).
const DRIVING_HOURS: i64 = 2;

/// Glucose every two hours and ketones every four, and not by the sensor alone: a children's hospital's sick-day
/// guideline (rch.org.au). There the four hours are for highs; whatever the glucose is ours, since ketones also rise
/// at in-range values when little is eaten.
const SICK_HOURS: i64 = 2;
const KETONES_HOURS: i64 = 4;

/// Measured within this before a look is as good as it: ours.
const JUST_MEASURED_MIN: i64 = 60;

/// Looks this close are one: ours.
const TOGETHER_MIN: i64 = 1;

/// A question for ketones waits so long for the next look at a value, so that both are one. Ours.
const JOINED_MIN: i64 = 30;

/// How often a mode asks for a look, and for ketones.
pub(super) const fn first_looks(mode: Mode) -> [Option<Span>; 2] {
    match mode {
        Mode::Driving => [Some(Span::hours(DRIVING_HOURS)), None],
        Mode::Sick => [Some(Span::hours(SICK_HOURS)), Some(Span::hours(KETONES_HOURS))],
        Mode::Exercise | Mode::Alcohol | Mode::Doubted | Mode::Aftercare => [None, None],
    }
}

impl Running {
    /// Is a look due, and is one for ketones? Moves each that is to its next time ahead: what a sleep of the
    /// computer let pass is asked for once.
    fn take_due(&mut self, soon: Timestamp) -> [bool; 2] {
        let mut due = [false; 2];
        let spans = first_looks(self.mode);
        for ((next, span), due) in [&mut self.look, &mut self.ketones].into_iter().zip(spans).zip(&mut due) {
            let (Some(next), Some(span)) = (next, span) else { continue };
            while *next <= soon {
                *due = true;
                *next = *next + span;
            }
        }
        due
    }

    /// A question that is due shortly before one of its looks comes with that: one message.
    fn with_its_look(&self, due: Option<Timestamp>) -> Option<Timestamp> {
        let (Some(due), Some(mut next), [Some(span), _]) = (due, self.look, first_looks(self.mode)) else { return due };
        while next < due {
            next = next + span;
        }
        Some(if next - due <= Span::minutes(JOINED_MIN) { next } else { due })
    }

    /// Its next look of either kind, if it comes before its end.
    fn next_look(&self) -> Option<Timestamp> {
        self.look.into_iter().chain(self.ketones).filter(|at| *at < self.until).min()
    }
}

impl Engine {
    /// Sets the timer for the next of all looks.
    pub(super) fn plan_looks(&mut self) {
        let next = self.next_mode_look();
        self.set_or_stop(Due::Look, next);
    }

    /// The next look that any mode asks for.
    #[must_use]
    pub fn next_mode_look(&self) -> Option<Timestamp> {
        self.state.modes.running.iter().filter_map(Running::next_look).min()
    }

    /// When ketones were measured last, or asked about, where that answers the question of a sick day; while what was found
    /// is asked about again by its own row, when that will be.
    fn ketones_held(&self, now: Timestamp) -> Option<Timestamp> {
        let own = self.state.register.of(Condition::Ketones).and_then(|_| self.state.plan.due(Job::Ketones));
        let last = own.max(self.state.modes.ketones).max(self.state.ketones.asked)?;
        (last + Span::hours(KETONES_HOURS) > now + Span::minutes(TOGETHER_MIN)).then_some(last)
    }

    /// One look or more is due.
    pub(super) fn look_for_modes(&mut self, turn: &mut Turn) {
        let now = turn.now;
        let lately = |at: &Timestamp| now - *at <= Span::minutes(JUST_MEASURED_MIN);
        let measured = self.state.meter.map(|(at, _)| at).filter(lately);
        let ketones = self.ketones_held(now);
        let mut asks = Asks::default();
        let mut of: Option<Id> = None;
        let mut answered: Option<(Id, Timestamp)> = None;
        let held = ketones.map(|at| at + Span::hours(KETONES_HOURS));
        for running in &mut self.state.modes.running {
            let due = running.take_due(now + Span::minutes(TOGETHER_MIN));
            // One that ended while nobody watched asks for nothing any more, and its end is told soon.
            if running.until <= now {
                continue;
            }
            for (is_ketones, done) in [(false, measured), (true, ketones)] {
                match done {
                    _ if !due[usize::from(is_ketones)] => {}
                    Some(at) => {
                        // Four hours after what was measured, or asked about, and not at the next round time.
                        running.ketones = if is_ketones { running.with_its_look(held) } else { running.ketones };
                        answered = answered.or(Some((running.id, at)));
                    }
                    None => {
                        of = of.or(Some(running.id));
                        asks.driving |= running.mode == Mode::Driving;
                        asks.sick |= running.mode == Mode::Sick && !is_ketones;
                        asks.ketones |= is_ketones;
                    }
                }
            }
        }
        self.plan_looks();
        let next = self.next_mode_look();
        if asks.ketones {
            self.state.ketones.asked = Some(now);
        }
        turn.judged = self.latest(now);
        let look = |said| Reason::Mode { said };
        if let Some(id) = of {
            let waits = asks.driving && self.state.plan.driving().is_some();
            let reason = look(Why::Look { asks, waits, next });
            // Nobody wakes for the look at a value; a driver is awake, and ketones do not wait.
            let rings = !turn.night.inside || asks.driving || asks.ketones;
            if rings {
                turn.tell(What::Prompt, Condition::Mode, id, None, reason, true);
            } else {
                let night = Reason::Night { until: turn.night.until };
                turn.tell(What::Look, Condition::Mode, id, None, reason, false);
                turn.tell(What::Withheld, Condition::Mode, id, None, night, false);
            }
        } else if let Some((id, at)) = answered {
            turn.tell(What::Look, Condition::Mode, id, None, look(Why::JustMeasured { at, next }), false);
        }
    }
}
