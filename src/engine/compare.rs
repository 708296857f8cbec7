//! A sensor held against the meter: how far apart the two are, whether that is more than published accuracy allows, and
//! how the sensor of this session reads over all checks. It corrects no value and silences nothing: it is said, and what
//! the wearer may do about it is offered once.

use super::Engine;
use super::effect::{Condition, Id, What};
use super::policy::SourceKind;
use super::reason::Reason;
use super::trend::{self, Rate};
use super::turn::Turn;
use crate::domain::glucose::{Glucose, Measured};
use crate::domain::reading::SourceId;
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// A reading and a check are compared within this, or half a cadence. Ours.
const TOGETHER: Span = Span::minutes(5);

/// A sensor follows blood 4 to 10 minutes late (Boyne 2003, Diabetes 52:2790, seen as an abstract): where the value
/// moves faster than 2 mg/dL/min, in hundredths, most of a difference may be that. The band is the next to the innermost
/// of continuous glucose error-grid analysis (Kovatchev 2004, Diabetes Care 27:1922).
const FAST: u32 = 200;

/// Below this a difference is taken in mg/dL, from it on in percent: ISO 15197:2013 (PMC4525642, table 1). In percent of
/// the meter's value or of 100 mg/dL, whichever is more, both are one number.
const PERCENT_FROM: i32 = 10_000;

/// Below this, by the sensor, the bands of continuous sensors are in mg/dL.
pub const BANDS_IN_PERCENT_FROM: i32 = 7_000;

/// A bias beyond this is more than a band of 15 % allows the mean of checks to be.
const BIAS_ALLOWED: f64 = 15.0;

/// So many checks in a row beyond 20: by the published bands 13 in 100 single ones may be.
const BEYOND_IN_A_ROW: u32 = 2;

/// Checks of one sensor that count, the last ones. Ours.
const CHECKS_MAX: usize = 30;

/// The 97.5th percentile of Student's distribution by degrees of freedom from 1, in thousandths: scipy 1.17.1,
/// `[round(stats.t.ppf(0.975, df) * 1000) for df in range(1, 30)]`.
const STUDENT: [u32; CHECKS_MAX - 1] = [
    12_706, 4_303, 3_182, 2_776, 2_571, 2_447, 2_365, 2_306, 2_262, 2_228, 2_201, 2_179, 2_160, 2_145, 2_131, 2_120,
    2_110, 2_101, 2_093, 2_086, 2_080, 2_074, 2_069, 2_064, 2_060, 2_056, 2_052, 2_048, 2_045,
];

/// How far apart a sensor and a meter are, by the bands that 21 CFR 862.1355 sets for continuous sensors: of values below
/// 70 within 15 mg/dL 85 in 100, from 70 to 180 within 15 % 70, above 180 within 15 % 80; of all within 20 % 87; within
/// 40 mg/dL or 40 % 98 to 99. These numbers are from memory; that the rule exists was seen (87 FR 9237). Below 70 the
/// band of 20 is taken in mg/dL, as the other two.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Apart {
    /// No more than 15.
    Within15,
    /// More than 15, no more than 20.
    Beyond15,
    /// More than 20, no more than 40.
    Beyond20,
    /// More than 40.
    Beyond40,
}

impl Apart {
    /// Of a sensor's value and a meter's.
    #[must_use]
    pub fn of(sensor: Glucose, meter: Glucose) -> Self {
        let (sensor, meter) = (i64::from(sensor.hundredths()), i64::from(meter.hundredths()));
        let scale = if sensor < i64::from(BANDS_IN_PERCENT_FROM) { i64::from(PERCENT_FROM) } else { meter };
        let apart = (sensor - meter).abs() * 100;
        let beyond = |band: i64| apart > band * scale;
        match () {
            () if beyond(40) => Self::Beyond40,
            () if beyond(20) => Self::Beyond20,
            () if beyond(15) => Self::Beyond15,
            () => Self::Within15,
        }
    }

    /// The widest band that it is beyond, or the one that it is within.
    #[must_use]
    pub const fn band(self) -> u8 {
        match self {
            Self::Within15 | Self::Beyond15 => 15,
            Self::Beyond20 => 20,
            Self::Beyond40 => 40,
        }
    }
}

/// One check that counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
struct Check {
    at: Timestamp,
    meter: Glucose,
    sensor: Glucose,
}

impl Check {
    /// How much higher the sensor reads, in percent of the meter's value or of 100 mg/dL.
    fn difference(&self) -> f64 {
        let meter = self.meter.hundredths();
        f64::from(self.sensor.hundredths() - meter) * 100.0 / f64::from(meter.max(PERCENT_FROM))
    }

    fn apart(&self) -> Apart {
        Apart::of(self.sensor, self.meter)
    }
}

/// The checks of one session of a sensor.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Checks {
    /// In order of time.
    checks: Vec<Check>,
    /// What may be done about it was offered.
    offered: bool,
}

/// How a sensor reads over several checks, in hundredths of a percent of the meter's value or of 100 mg/dL.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Bias {
    /// How many checks.
    pub checks: u32,
    /// How much higher it reads, on the mean.
    pub mean: i32,
    /// The standard error of that.
    pub error: u32,
    /// Half of its 95 % interval, by Student's distribution.
    pub give_or_take: u32,
}

impl Checks {
    /// One more. One that is known already changes nothing.
    fn add(&mut self, check: Check) {
        let place = self.checks.partition_point(|known| known.at < check.at);
        if self.checks.get(place).is_some_and(|known| known.at == check.at) {
            return;
        }
        self.checks.insert(place, check);
        if self.checks.len() > CHECKS_MAX {
            self.checks.remove(0);
        }
    }

    /// The check of a time was none, or the meter said something else then.
    fn amend(&mut self, at: Timestamp, meter: Option<Glucose>) {
        let Some(place) = self.checks.iter().position(|check| check.at == at) else { return };
        match meter {
            Some(meter) => self.checks[place].meter = meter,
            None => drop(self.checks.remove(place)),
        }
        // What was offered for a slip of the pen is offered again when there is reason to.
        self.offered &= self.is_off();
    }

    /// How the sensor reads; nothing from a single check, which tells nothing of the next.
    #[must_use]
    pub fn bias(&self) -> Option<Bias> {
        let checks = u32::try_from(self.checks.len()).ok().filter(|checks| *checks >= 2)?;
        let student = f64::from(*STUDENT.get(self.checks.len() - 2)?) / 1_000.0;
        let n = f64::from(checks);
        let mean = self.checks.iter().map(Check::difference).sum::<f64>() / n;
        let squares: f64 = self.checks.iter().map(|check| (check.difference() - mean).powi(2)).sum();
        let error = (squares / (n - 1.0) / n).sqrt();
        let (error, give_or_take) = (hundredths(error).unsigned_abs(), hundredths(error * student).unsigned_abs());
        Some(Bias { checks, mean: hundredths(mean), error, give_or_take })
    }

    /// Is the sensor further off than published accuracy allows: two checks in a row beyond 20, or the whole interval of
    /// its bias beyond 15 %?
    #[must_use]
    pub fn is_off(&self) -> bool {
        let wide = self.checks.iter().rev().take_while(|check| check.apart() >= Apart::Beyond20).count();
        let is_biased =
            |bias: Bias| f64::from(bias.mean.unsigned_abs()) - f64::from(bias.give_or_take) > BIAS_ALLOWED * 100.0;
        wide >= BEYOND_IN_A_ROW as usize || self.bias().is_some_and(is_biased)
    }

    /// When the first check that counts was made.
    #[must_use]
    pub fn first(&self) -> Option<Timestamp> {
        self.checks.first().map(|check| check.at)
    }
}

/// A number in hundredths, within what an i32 holds.
#[expect(clippy::cast_possible_truncation, reason = "it is clamped to the range of an i32 first")]
fn hundredths(number: f64) -> i32 {
    (number * 100.0).round().clamp(-2_000_000.0, 2_000_000.0) as i32
}

/// What a check with a meter says of one sensor.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Compared {
    /// The sensor's name where there are several.
    pub name: Option<String>,
    /// What the meter said.
    pub meter: Glucose,
    /// What the sensor said.
    pub sensor: Glucose,
    /// When.
    pub sensor_at: Timestamp,
    /// How far they are apart.
    pub apart: Apart,
    /// The sensor was moving so fast that the check does not count.
    pub fast: Option<Rate>,
    /// How it reads over the checks that count.
    pub bias: Option<Bias>,
    /// It is further off than published accuracy allows: what may be done about it, and from when on its readings are
    /// those of these checks. Offered once.
    pub offer: Option<Timestamp>,
}

impl Engine {
    /// A check with a meter is held against each sensor that has a reading beside it.
    pub(super) fn compare(&mut self, turn: &mut Turn, at: Timestamp, meter: Glucose) {
        if meter.measured() != Measured::Number {
            return;
        }
        let watched = |source: &SourceId| self.kind(*source) != SourceKind::History;
        let sources: Vec<SourceId> = self.numbers().filter(watched).collect();
        for source in &sources {
            let name = self.policy.sources.get(usize::from(source.0)).map(|source| source.name.clone());
            let name = name.filter(|_| sources.len() > 1);
            if let Some(compared) = self.compare_with(turn, *source, at, meter, name) {
                turn.tell(What::Answer, Condition::Sensor, Id(0), None, Reason::Compared(compared), false);
            }
        }
    }

    /// A check was none, or said something else.
    pub(super) fn amend_compared(&mut self, at: Timestamp, meter: Option<Glucose>) {
        let meter = meter.filter(|meter| meter.measured() == Measured::Number);
        self.state.sources.iter_mut().for_each(|source| source.checks.amend(at, meter));
    }

    fn compare_with(
        &mut self,
        turn: &Turn,
        source: SourceId,
        at: Timestamp,
        meter: Glucose,
        name: Option<String>,
    ) -> Option<Compared> {
        let state = self.state.sources.get(usize::from(source.0))?;
        if state.session().started().is_some_and(|started| started > at) {
            return None;
        }
        let together = TOGETHER.max(state.cadence().times(1, 2));
        let away = |measured: Timestamp| (measured - at).max(at - measured);
        let readings = self.state.window.newest_first(source);
        let near = readings.clone().filter(|reading| away(reading.measured) <= together);
        let near = *near.min_by_key(|reading| away(reading.measured))?;
        if near.glucose.measured() != Measured::Number {
            return None;
        }
        let until_then = readings.skip_while(|reading| reading.measured > near.measured);
        let fast = trend::rate(until_then, state.cadence()).filter(|rate| rate.0.unsigned_abs() > FAST);
        let checks = &mut self.source(source).checks;
        if fast.is_none() {
            checks.add(Check { at, meter, sensor: near.glucose });
        }
        // Nobody reads the answer to a line of a diary file.
        let offers = checks.is_off() && !checks.offered && fast.is_none() && !turn.written;
        checks.offered |= offers;
        Some(Compared {
            name,
            meter,
            sensor: near.glucose,
            sensor_at: near.measured,
            apart: Apart::of(near.glucose, meter),
            fast,
            bias: checks.bias(),
            offer: checks.first().filter(|_| offers),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(minute: i64, meter: i32, sensor: i32) -> Check {
        let (meter, sensor) = (Glucose::mg_dl(meter), Glucose::mg_dl(sensor));
        Check { at: Timestamp::from_seconds(minute * 60), meter, sensor }
    }

    fn checks(pairs: &[(i32, i32)]) -> Checks {
        let mut checks = Checks::default();
        for (minute, (meter, sensor)) in (0..).zip(pairs) {
            checks.add(check(minute, *meter, *sensor));
        }
        checks
    }

    /// The bands of 21 CFR 862.1355 as they are remembered: mg/dL below 70 by the sensor, percent of the meter from there
    /// on. A value on the edge is within.
    #[test]
    fn the_bands_are_where_they_are_said_to_be() {
        let apart = |sensor, meter| Apart::of(Glucose::mg_dl(sensor), Glucose::mg_dl(meter));
        for (sensor, meter, wanted) in [
            (69, 84, Apart::Within15),
            (69, 85, Apart::Beyond15),
            (69, 89, Apart::Beyond15),
            (69, 90, Apart::Beyond20),
            (58, 96, Apart::Beyond20),
            (60, 100, Apart::Beyond20),
            (60, 101, Apart::Beyond40),
            (85, 100, Apart::Within15),
            (84, 100, Apart::Beyond15),
            (115, 100, Apart::Within15),
            (116, 100, Apart::Beyond15),
            (120, 100, Apart::Beyond15),
            (121, 100, Apart::Beyond20),
            (140, 100, Apart::Beyond20),
            (141, 100, Apart::Beyond40),
            (230, 200, Apart::Within15),
            (231, 200, Apart::Beyond15),
            // Percent of the meter, not of the sensor.
            (170, 200, Apart::Within15),
        ] {
            assert_eq!(apart(sensor, meter), wanted, "{sensor} beside {meter}");
        }
    }

    /// scipy 1.17.1, with d = (s - m) * 100 / max(m, 100) of each pair (m, s): `np.mean(d)`, `stats.sem(d)`, and half of
    /// `stats.t.interval(0.95, len(d) - 1, loc=np.mean(d), scale=stats.sem(d))`.
    #[test]
    fn mean_error_and_interval_agree_with_a_general_library() {
        let of = |pairs: &[(i32, i32)]| checks(pairs).bias().map(|bias| (bias.mean, bias.error, bias.give_or_take));
        // -24.2424, 5.0850, -40.4250 to -8.0598
        assert_eq!(of(&[(96, 58), (110, 95), (150, 118), (200, 152)]), Some((-2_424, 508, 1_618)));
        // 3.0, 2.5884, -4.1866 to 10.1866
        assert_eq!(of(&[(80, 88), (120, 120), (90, 93), (240, 228), (60, 69)]), Some((300, 259, 719)));
        assert_eq!(of(&[(100, 80)]), None);
        assert_eq!(of(&[(100, 80), (100, 80)]), Some((-2_000, 0, 0)));
    }

    #[test]
    fn a_sensor_is_off_by_two_wide_checks_in_a_row_or_by_its_bias() {
        assert!(!checks(&[(96, 58)]).is_off(), "one check tells nothing of the next");
        assert!(checks(&[(96, 58), (100, 130)]).is_off(), "two in a row");
        assert!(!checks(&[(96, 58), (100, 101), (100, 130)]).is_off(), "not in a row");
        // 17, 19, 18 and 17 percent: mean 17.75, give or take 1.52, all of it beyond 15.
        assert!(checks(&[(100, 117), (100, 119), (100, 118), (100, 117)]).is_off());
        assert!(!checks(&[(100, 117), (100, 119), (100, 112)]).is_off(), "the interval reaches into the band");
        assert!(!checks(&[(100, 100); 30]).is_off());
    }

    #[test]
    fn an_amended_check_counts_as_it_is_now_and_a_deleted_one_no_more() {
        let at = |minute: i64| Timestamp::from_seconds(minute * 60);
        let mut some = Checks { offered: true, ..checks(&[(96, 58), (100, 130)]) };
        some.amend(at(1), Some(Glucose::mg_dl(125)));
        assert_eq!(some.checks[1], check(1, 125, 130));
        assert!(!some.is_off() && !some.offered, "what was offered for it may be offered again");
        some.amend(at(0), None);
        some.amend(at(5), Some(Glucose::mg_dl(100)));
        assert_eq!(some.checks, [check(1, 125, 130)], "of a time without a check nothing is made up");
    }

    #[test]
    fn checks_are_kept_in_order_once_and_no_more_than_thirty() {
        let mut some = Checks::default();
        for minute in [3, 1, 2, 1, 3] {
            some.add(check(minute, 100, 100));
        }
        assert_eq!(some.checks.iter().map(|check| check.at.seconds() / 60).collect::<Vec<_>>(), [1, 2, 3]);
        let many = checks(&[(100, 110); 40]);
        assert_eq!((many.checks.len(), many.bias().map(|bias| bias.checks)), (30, Some(30)));
    }
}
