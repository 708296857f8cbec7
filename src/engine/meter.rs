//! A check with a meter beside what the sensor says. The meter is believed: where it is within range, the milder
//! alert of the sensor is quiet for a while; where it is low and no sensor is, the looks of a low begin, and no
//! sensor alone ends them.

use super::Engine;
use super::alert::Alert;
use super::alert::people::Answer;
use super::check::Check;
use super::effect::{Condition, Side, What};
use super::plan::Job;
use super::reason::{Began, Reason, Treatment};
use super::recheck_low::{LowCheck, UNSEEN_IN_A_ROW};
use super::turn::Turn;
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
        // Whoever measures is awake and at it.
        self.answer_chain(turn, Answer { at, by: None });
        self.complete_high_look(turn);
        if self.state.plan.low().is_some_and(|check| check.treated.is_some() && check.unseen > 0) {
            self.look_at_low(turn);
        }
        let is_of_now = turn.now - at < Span::minutes(SAME_TIME_MIN);
        let low = glucose.hundredths() < self.policy.levels.low.limit.hundredths();
        let high = glucose.hundredths() > self.policy.levels.high.limit.hundredths();
        let answered = match (low, high) {
            _ if !is_of_now => false,
            (true, _) => self.low_by_meter(turn, at, glucose),
            (false, false) => [Side::Low, Side::High].into_iter().any(|side| self.disagrees(turn, side, at, glucose)),
            (false, true) => false,
        };
        if !answered {
            turn.only_noted();
        }
        self.compare(turn, at, glucose);
    }

    /// The meter is within range, and a sensor is not: its alert is quiet for as long as the check is about now.
    /// What is worse than low or high is quieted by no check.
    fn disagrees(&mut self, turn: &mut Turn, side: Side, at: Timestamp, meter: Glucose) -> bool {
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
        let reason = Reason::MeterDisagrees { condition, meter, sensor, sensor_at, until };
        turn.tell(What::Answer, condition, alert.id, alert.part_of, reason, false);
        true
    }

    /// Has a check just now found it not low?
    pub(super) fn meter_denies_low(&self, now: Timestamp) -> bool {
        let low = self.policy.levels.low.limit.hundredths();
        self.state.meter.is_some_and(|(_, glucose)| self.measured_just_now(now) && glucose.hundredths() >= low)
    }

    /// Was there a check just now?
    pub(super) fn measured_just_now(&self, now: Timestamp) -> bool {
        let just_now = |at: Timestamp| (Span::ZERO..Span::minutes(SAME_TIME_MIN)).contains(&(now - at));
        self.state.meter.is_some_and(|(at, _)| just_now(at))
    }

    /// The meter is low, and no alert of a sensor says so: it is looked at again. True when that was answered.
    fn low_by_meter(&mut self, turn: &mut Turn, at: Timestamp, meter: Glucose) -> bool {
        if self.state.register.of_side(Side::Low).any(Alert::is_beyond) {
            return false;
        }
        let sensor = self.sensor_at(Side::Low, at);
        let care = if let Some(care) = self.state.plan.take_low() {
            // A treated caution that the meter calls a low is looked at as one.
            LowCheck { by_meter: true, cautious: None, ..care }
        } else {
            let treated = Treatment { at, value: Some(meter), alert_since: None, told: Began::Meter };
            let due = (at + self.policy.recheck.low_look).max(turn.now);
            self.state.plan.set(Job::LowCheck, due);
            let id = self.take_id();
            LowCheck {
                id,
                part_of: None,
                since: at,
                treated: Some(treated),
                unseen: 0,
                cautious: None,
                by_meter: true,
                lowest: self.nadir_of_low(at),
                spared: false,
            }
        };
        let next = self.state.plan.due(Job::LowCheck).unwrap_or(turn.now);
        let reason = Reason::LowByMeter { meter, sensor: sensor.map(|(sensor, _)| sensor), next };
        turn.tell(What::Answer, Condition::RecheckLow, care.id, care.part_of, reason, false);
        self.state.plan.look_at(Check::Low(care));
        true
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
            care.by_meter && care.unseen < UNSEEN_IN_A_ROW && no_sensor_sees
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
