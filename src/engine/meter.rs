//! A check with a meter beside what the sensor says. The meter is believed: where it is within range, the milder
//! alert of the sensor is quiet for a while (see [`super::denial`]); where it is low the looks of a low begin, and where
//! no sensor sees that, no sensor alone ends them; below very low it is one.

use super::Engine;
use super::alert::Alert;
use super::alert::moment::MOMENT;
use super::alert::people::Answer;
use super::check::Check;
use super::effect::{Condition, Side, What};
use super::level::Seen;
use super::plan::Job;
use super::reason::{Began, Reason, Treatment};
use super::recheck_low::LowCheck;
use super::signal::Signal;
use super::turn::{Judged, Turn};
use crate::domain::glucose::Glucose;
use crate::domain::time::{Span, Timestamp};

/// A meter and a sensor speak of the same time within this, and a check quiets no longer than this. Ours.
pub(super) const SAME_TIME_MIN: i64 = 15;

impl Engine {
    /// A check with a meter. Looks that waited for a value have one.
    pub(super) fn measured(&mut self, turn: &mut Turn, at: Timestamp, glucose: Glucose) {
        if self.state.meter.is_none_or(|(before, _)| before <= at) {
            self.state.meter = Some((at, glucose));
        }
        self.follow_nadir(glucose, at);
        turn.judged = self.latest(turn.now);
        let levels = self.policy.levels;
        let is_of_now = turn.now - at < Span::minutes(SAME_TIME_MIN);
        let low = Side::Low.is_beyond(glucose, levels.low.limit);
        let high = Side::High.is_beyond(glucose, levels.high.limit);
        let held = if is_of_now { self.follow_denial(turn, at, glucose) } else { None };
        if is_of_now && Side::Low.is_beyond(glucose, levels.very_low.limit) {
            self.very_low_by_meter(turn, at, glucose);
        }
        // Whoever measures is awake and at it.
        self.answer_chain(turn, Answer { at, by: None });
        self.complete_high_look(turn);
        if self.state.plan.low().is_some_and(|check| check.treated.is_some() && check.unseen > 0) {
            self.look_at_low(turn);
        }
        let answered = match (low, high) {
            _ if !is_of_now => false,
            (true, _) => {
                self.low_by_meter(turn, at, glucose);
                true
            }
            (false, false) => {
                [Side::Low, Side::High].into_iter().any(|side| self.disagrees(turn, side, at, glucose, held))
            }
            (false, true) => false,
        };
        let settled = is_of_now && self.settle_two_signals(turn, at, glucose);
        if !answered && !settled {
            turn.only_noted();
        }
        self.compare(turn, at, glucose);
        self.plan_chain(turn);
    }

    /// What a finger-prick says of the low that a sensor sees: that it is none, or that it is one. Says until when a very
    /// low is held, if it is.
    fn follow_denial(&mut self, turn: &Turn, at: Timestamp, meter: Glucose) -> Option<Timestamp> {
        let limit = self.policy.levels.low.limit;
        if Side::Low.is_beyond(meter, limit) {
            self.believe_low();
            return None;
        }
        let lower = self.of_two_signals(Side::Low, turn.now).map(|judged| judged.glucose);
        let sensor = lower.or(self.sensor_at(Side::Low, at).map(|(sensor, _)| sensor))?;
        if Side::Low.is_beyond(sensor, limit) { self.deny_low(turn, at, meter, sensor) } else { None }
    }

    /// A meter below the very low limit is a very low, whatever a sensor says.
    fn very_low_by_meter(&mut self, turn: &mut Turn, at: Timestamp, meter: Glucose) {
        let (first, low_since) = (turn.out.len(), self.root(Side::Low).map(|root| root.since));
        turn.judged = Some(Judged { glucose: meter, at, rate: None, of: Signal::Meter });
        // What makes a sensor less sure says nothing of a meter.
        let doubts = (turn.doubt.take(), std::mem::take(&mut turn.flat_low));
        self.judge_side(turn, &Seen { side: Side::Low, value: meter, measured: at, cadence: Span::ZERO });
        self.follow_chain(turn, first);
        self.follow_low(turn, low_since, at);
        (turn.doubt, turn.flat_low) = doubts;
    }

    /// The meter is within range, and a sensor is not: its alert is quiet for as long as the check is about now.
    /// What is worse than low or high is quieted by no single check.
    fn disagrees(
        &mut self,
        turn: &mut Turn,
        side: Side,
        at: Timestamp,
        meter: Glucose,
        held: Option<Timestamp>,
    ) -> bool {
        let (_, milder) = side.levels();
        let speaks = |alert: &&Alert| alert.is_beyond() && !alert.is_spoken_for();
        let Some(alert) = self.state.register.of_side(side).find(speaks).copied() else { return false };
        let condition = alert.condition;
        let Some((sensor, sensor_at)) = self.sensor_at(side, at) else { return false };
        let limit = self.policy.levels.of(milder).map_or(0, |level| level.limit.hundredths());
        let is_out = match side {
            Side::Low => sensor.hundredths() < limit,
            Side::High => sensor.hundredths() > limit,
        };
        if !is_out {
            return false;
        }
        let span = at + Span::minutes(SAME_TIME_MIN) - turn.now;
        let most = condition.mute_longest().filter(|_| condition == milder);
        // It makes no silence shorter that the wearer wanted longer.
        let running = self.silent_until(condition, turn.now).map_or(Span::ZERO, |until| until - turn.now);
        let until = most.map(|most| self.begin_quiet(turn.now, condition, span.max(running), most));
        let until = until.or(held.filter(|_| side == Side::Low));
        let reason = Reason::MeterDisagrees { condition, meter, sensor, sensor_at, until };
        turn.tell(What::Answer, condition, alert.id, alert.part_of, reason, false);
        true
    }

    /// Has a check just now found it not low?
    pub(super) fn meter_denies_low(&self, now: Timestamp) -> bool {
        let low = self.policy.levels.low.limit.hundredths();
        self.state.meter.is_some_and(|(_, glucose)| self.measured_just_now(now) && glucose.hundredths() >= low)
    }

    /// Has a check just now found it low?
    pub(super) fn low_by_meter_now(&self, now: Timestamp) -> Option<Judged> {
        let low = self.policy.levels.low.limit;
        let (at, glucose) = self.state.meter.filter(|_| self.measured_just_now(now))?;
        Side::Low.is_beyond(glucose, low).then_some(Judged { glucose, at, rate: None, of: Signal::Meter })
    }

    /// Was there a check just now?
    pub(super) fn measured_just_now(&self, now: Timestamp) -> bool {
        let just_now = |at: Timestamp| (Span::ZERO..Span::minutes(SAME_TIME_MIN)).contains(&(now - at));
        self.state.meter.is_some_and(|(at, _)| just_now(at))
    }

    /// The meter is low: it is looked at again, whatever a sensor says.
    fn low_by_meter(&mut self, turn: &mut Turn, at: Timestamp, meter: Glucose) {
        let sensor = self.sensor_at(Side::Low, at);
        // A sensor that says the same can tell when it is back.
        let very_low = self.policy.levels.very_low.limit;
        let is_milder =
            |sensor: Glucose| Side::Low.is_beyond(meter, very_low) && !Side::Low.is_beyond(sensor, very_low);
        let sees = self.lowest_of_sensors(turn.now).map(|judged| judged.glucose);
        let sees = sees.is_some_and(|sees| Side::Low.is_beyond(sees, self.policy.levels.low.limit) && !is_milder(sees));
        let latest = (at + self.policy.recheck.low_look).max(turn.now);
        let due = self.state.plan.due(Job::LowCheck).map_or(latest, |due| due.min(latest));
        let care = if let Some(care) = self.state.plan.take_low() {
            // A treated caution that the meter calls a low is looked at as one.
            LowCheck { by_meter: care.by_meter || !sees, cautious: None, ..care }
        } else {
            let of = Some(Signal::Meter);
            let treated = Treatment { at, value: Some(meter), of, alert_since: None, told: Began::Meter };
            let (id, lowest) = (self.take_id(), self.nadir_of_low(at));
            let (treated, part_of, since) = (Some(treated), None, at);
            // A sensor that jumps does not take back what was very low by a finger.
            let by_meter = !sees || Side::Low.is_beyond(meter, very_low);
            LowCheck { id, part_of, since, treated, unseen: 0, cautious: None, by_meter, lowest, spared: false }
        };
        self.state.plan.set(Job::LowCheck, due);
        let next = self.state.plan.due(Job::LowCheck).unwrap_or(turn.now);
        let reason = Reason::LowByMeter { meter, sensor: sensor.map(|(sensor, _)| sensor), next };
        turn.tell(What::Answer, Condition::RecheckLow, care.id, care.part_of, reason, false);
        self.state.plan.look_at(Check::Low(care));
    }

    /// The meter saw a low, and nobody has measured since: a sensor that is within range does not end its looks
    /// before so many were in vain.
    pub(super) fn waits_for_meter(&self, turn: &Turn, care: &LowCheck) -> Option<(Timestamp, Glucose)> {
        let judged = turn.judged?;
        let low = self.policy.levels.low.limit.hundredths();
        let meter = self.state.meter.filter(|(_, meter)| meter.hundredths() < low);
        meter.filter(|(at, _)| {
            let nothing_newer = judged.at == *at && turn.now - *at >= Span::minutes(SAME_TIME_MIN);
            let no_sensor_sees = nothing_newer || judged.glucose.hundredths() >= low;
            // Once it is treated, a sensor that saw it too tells when it is back.
            // One that had risen by then, or jumped, cannot.
            let is_seen = |(of, seen, _): (Signal, Timestamp, Glucose)| {
                let Signal::Sensor(source) = of else { return false };
                let mut until = self.state.window.newest_first(source).skip_while(|reading| reading.measured > *at);
                let saw_it = until.next().is_none_or(|reading| reading.measured <= seen);
                saw_it && seen + Span::minutes(SAME_TIME_MIN) >= *at
            };
            let sensor_tells = turn.now + MOMENT >= *at + Span::minutes(SAME_TIME_MIN)
                && care.treated.is_some_and(|treated| treated.told == Began::Treated)
                && self.state.register.low_seen.is_some_and(is_seen);
            care.is_the_meters() && no_sensor_sees && !sensor_tells
        })
    }

    /// What the sensors say of the time of a check: of several the one that is further out.
    fn sensor_at(&self, side: Side, at: Timestamp) -> Option<(Glucose, Timestamp)> {
        let away = |measured: Timestamp| (measured - at).max(at - measured);
        let nearest = self.numbers().filter_map(|source| {
            let all = self.state.window.newest_first(source);
            let near = all.filter(|reading| away(reading.measured) <= Span::minutes(SAME_TIME_MIN));
            near.min_by_key(|reading| away(reading.measured)).map(|reading| (reading.glucose, reading.measured))
        });
        match side {
            Side::Low => nearest.min_by_key(|(glucose, _)| glucose.hundredths()),
            Side::High => nearest.max_by_key(|(glucose, _)| glucose.hundredths()),
        }
    }
}
