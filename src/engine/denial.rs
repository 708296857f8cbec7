//! A finger-prick that denies a low. It holds the low's rings for a quarter of an hour, and then a second one is asked
//! for; a very low rings on. Two of them a quarter of an hour apart, both well above the sensor, hold a very low for an
//! hour, but not where lows are not felt, after alcohol, or while most of a dose is still to come. Corrects no value.

use super::Engine;
use super::alert::calls::LowCalls;
use super::effect::{Condition, Decision, Id, Side, What};
use super::mode::profile::Profile;
use super::plan::Job;
use super::reason::Reason;
use super::turn::{Judged, Turn};
use crate::domain::glucose::Glucose;
use crate::domain::mode::Mode;
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// One finger-prick holds the rings of a low for so long, and two that hold a very low are so far apart: ours.
pub(super) const HOLDS: Span = Span::minutes(15);

/// Two of them hold a very low for so long; the second comes within as long of the first. Ours.
const TWO_HOLD: Span = Span::hours(1);

/// Such a finger-prick says at least this ...
const DENIES_FROM: i32 = 8_000;

/// ... and is so far above the sensor: ours. Two meters within 15 of the truth each leave no low between them.
const ABOVE_SENSOR: i32 = 2_000;

/// A sensor that has fallen so far since is another matter, whatever was measured before: ours.
const FALLS_BY: i32 = 1_000;

/// Of a dose more than this is still to come: then a low may be on its way, whatever the meter says.
const MOST_OF_A_DOSE: f64 = 0.5;

/// Kept for so long.
const KEPT: Span = Span::hours(2);

/// One that is well above the sensor.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
struct Denial {
    at: Timestamp,
    meter: Glucose,
    sensor: Glucose,
}

/// The finger-pricks that deny a low, and that somebody is to be asked for another.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Denials {
    /// In order of time.
    well_above: Vec<Denial>,
    /// The last one, until another was asked for.
    asks: Option<(Timestamp, Glucose)>,
}

impl Denials {
    /// The clock was set: every span keeps its length.
    pub(super) fn shift(&mut self, by: Span) {
        self.well_above.iter_mut().for_each(|denial| denial.at = denial.at + by);
        self.asks = self.asks.map(|(at, meter)| (at + by, meter));
    }

    /// The second of two, if there are two.
    fn second(&self) -> Option<Denial> {
        let pairs = self.well_above.iter().rev();
        let is_second =
            |second: &&Denial| self.well_above.iter().any(|first| (HOLDS..=TWO_HOLD).contains(&(second.at - first.at)));
        pairs.clone().find(is_second).copied()
    }
}

impl Engine {
    /// Are lows less sure to be noticed than others'?
    pub(super) fn may_miss_lows(&self, now: Timestamp) -> bool {
        let missed = |profile: &Profile| matches!(profile, Profile::ImpairedAwareness | Profile::Child);
        self.is_on(Mode::Alcohol, now) || self.policy.profiles.iter().any(missed)
    }

    /// A finger-prick within range beside a sensor that is low. Says until when very low is held by it, if it is.
    pub(super) fn deny_low(
        &mut self,
        turn: &Turn,
        at: Timestamp,
        meter: Glucose,
        sensor: Glucose,
    ) -> Option<Timestamp> {
        let denials = &mut self.state.register.denials;
        denials.well_above.retain(|denial| at - denial.at <= KEPT && denial.at != at);
        denials.asks = Some((at, meter));
        if meter.hundredths() >= DENIES_FROM && meter.hundredths() - sensor.hundredths() >= ABOVE_SENSOR {
            let place = denials.well_above.partition_point(|known| known.at < at);
            denials.well_above.insert(place, Denial { at, meter, sensor });
        }
        let held = self.very_low_held(turn.now);
        self.state.plan.set(Job::SecondPrick, held.unwrap_or(at + HOLDS).max(turn.now));
        held
    }

    /// A finger-prick says that it is low, or one that denied it was none: nothing is held for it.
    pub(super) fn believe_low(&mut self) {
        self.state.register.denials = Denials::default();
        self.state.plan.stop(Job::SecondPrick);
    }

    /// A finger-prick of that time was none, or said something else: what an earlier one asks for is asked for.
    pub(super) fn forget_denial(&mut self, now: Timestamp, was: Timestamp) {
        let denials = &mut self.state.register.denials;
        denials.well_above.retain(|denial| denial.at != was);
        if denials.asks.is_none_or(|(at, _)| at != was) {
            return;
        }
        let held = denials.second().map(|second| (second, second.at + TWO_HOLD));
        let last = denials.well_above.last().map(|last| (*last, last.at + HOLDS));
        let earlier = held.or(last).filter(|(_, due)| *due > now);
        denials.asks = earlier.map(|(denial, _)| (denial.at, denial.meter));
        match earlier {
            Some((_, due)) => self.state.plan.set(Job::SecondPrick, due),
            None => self.state.plan.stop(Job::SecondPrick),
        }
    }

    /// Have two finger-pricks denied it?
    pub(super) fn denied_twice(&self) -> bool {
        self.state.register.denials.second().is_some()
    }

    /// Until when two finger-pricks hold a very low, if they do.
    pub(super) fn very_low_held(&self, now: Timestamp) -> Option<Timestamp> {
        let second = self.state.register.denials.second()?;
        let until = second.at + TWO_HOLD;
        if until <= now || self.may_miss_lows(now) || self.has_most_of_a_dose_to_come(now) {
            return None;
        }
        let sensor = self.lowest_of_sensors(now).map(|judged| judged.glucose.hundredths());
        let has_fallen = sensor.is_some_and(|sensor| second.sensor.hundredths() - sensor >= FALLS_BY);
        (!has_fallen).then_some(until)
    }

    /// The lowest fresh value of a sensor, or the last there was: one finger-prick ends no calls by itself.
    pub(super) fn last_of_sensors(&self, now: Timestamp) -> Option<Judged> {
        let last = || self.state.window.newest().and_then(|last| self.latest_of(last.source));
        self.lowest_of_sensors(now).or_else(last)
    }

    /// Does only a sensor say that it is low that is doubted, or that a meter has just denied? It may be wrong, and
    /// nobody is called for it, unless lows are not felt; very low is doubted away by two finger-pricks alone.
    pub(super) fn is_doubted(&self, low: &LowCalls, now: Timestamp) -> bool {
        if self.very_low_held(now).is_some() {
            return true;
        }
        let doubted = self.is_on(Mode::Doubted, now) && !self.may_miss_lows(now);
        low.very_low.is_none() && (doubted || self.meter_denies_low(now))
    }

    fn has_most_of_a_dose_to_come(&self, now: Timestamp) -> bool {
        let treated = self.state.before_sleep.high_treated;
        let mut taken = self.state.doses.taken().chain(treated).filter(|at| *at <= now);
        taken.any(|at| self.policy.insulin.still_to_come(now - at) > MOST_OF_A_DOSE)
    }

    /// Until when the rings of a low with that value are held, if a finger-prick holds them.
    pub(super) fn low_held(&self, now: Timestamp, sensor: Option<Glucose>) -> Option<Timestamp> {
        let very_low = self.policy.levels.very_low.limit;
        if sensor.is_some_and(|sensor| Side::Low.is_beyond(sensor, very_low)) {
            return self.very_low_held(now);
        }
        let (at, _) = self.state.meter.filter(|_| self.meter_denies_low(now))?;
        let was_low = self.state.register.denials.asks.is_some_and(|(asks, _)| asks == at);
        was_low.then_some(at + HOLDS)
    }

    /// After a turn's decisions: what a finger-prick holds does not ring.
    pub(super) fn hold_denied_low(&self, turn: &mut Turn) {
        if self.state.register.denials.asks.is_none() && self.state.register.denials.well_above.is_empty() {
            return;
        }
        let mut held = Vec::new();
        let mut out = std::mem::take(&mut turn.out);
        for decision in out.iter_mut().filter(|decision| is_of_low(decision)) {
            let Some(until) = self.low_held(turn.now, decision.glucose) else { continue };
            decision.rings = false;
            held.push(Decision { what: What::Withheld, reason: Reason::Quiet { until }, ..decision.clone() });
        }
        turn.out = out;
        turn.out.extend(held);
    }

    /// It is time for another finger-prick, if the sensor is still low and nobody has measured since.
    pub(super) fn ask_for_second_prick(&mut self, turn: &mut Turn) {
        let denials = &mut self.state.register.denials;
        let Some((measured, meter)) = denials.asks.take() else { return };
        // What two of them would hold but for insulin, or alcohol, they hold as soon as that has passed.
        if let Some(until) = denials.second().map(|second| second.at + TWO_HOLD).filter(|until| *until > turn.now) {
            denials.asks = Some((measured, meter));
            self.state.plan.set(Job::SecondPrick, until);
        }
        self.plan_chain(turn);
        let low = self.policy.levels.low.limit;
        let sensor = self.lowest_of_sensors(turn.now).filter(|judged| Side::Low.is_beyond(judged.glucose, low));
        let Some(judged) = sensor else { return };
        turn.judged = Some(judged);
        // It is a check of the low, and a mute of the low's own alert does not hold it.
        let (_, id, part_of) = self.speaking(Id(0));
        turn.tell(What::Prompt, Condition::RecheckLow, id, part_of, Reason::PrickAgain { measured, meter }, true);
    }
}

fn is_of_low(decision: &Decision) -> bool {
    let of_low =
        matches!(decision.condition, Condition::VeryLow | Condition::Low | Condition::Caution | Condition::RecheckLow);
    let asks = matches!(decision.reason, Reason::PrickAgain { .. } | Reason::Answered { .. });
    decision.rings && decision.to.is_wearer() && of_low && !asks
}
