//! The choices of settings that are tried: every value of a few settings of each side, by itself and put together.

use crate::domain::glucose::{Glucose, Measured, Unit};
use crate::domain::time::Span;
use crate::engine::forecast::Chance;
use crate::engine::policy::{LevelPolicy, Policy, Rings};

/// A choice of settings, and how it differs from those in use: lines as in the settings file.
#[derive(Debug, Clone, PartialEq)]
pub struct Choice {
    /// `level.high.limit = 200`, each a line; nothing for the settings in use.
    pub lines: Vec<String>,
    /// The settings.
    pub policy: Policy,
}

/// A setting that is tried: its key, its value as it is written, and what it does.
struct Change {
    line: String,
    apply: Box<dyn Fn(&mut Policy)>,
}

impl Choice {
    /// The settings in use.
    #[must_use]
    pub fn now(policy: &Policy) -> Self {
        Self { lines: Vec::new(), policy: policy.clone() }
    }

    fn with(&self, change: &Change) -> Self {
        let mut policy = self.policy.clone();
        (change.apply)(&mut policy);
        if policy == self.policy {
            return self.clone();
        }
        Self { lines: [&self.lines[..], std::slice::from_ref(&change.line)].concat(), policy }
    }

    /// Both what this one changes, and what another does on the other side.
    #[must_use]
    pub fn and(&self, other: &Self, of: Search) -> Self {
        let mut policy = self.policy.clone();
        of.take(&mut policy, &other.policy);
        Self { lines: [&self.lines[..], &other.lines].concat(), policy }
    }
}

/// What is searched by itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Search {
    /// The alerts of lows.
    Low,
    /// Those of highs.
    High,
    /// Those of very highs.
    VeryHigh,
    /// Forecasts of lows.
    Forecast,
}

impl Search {
    const fn take(self, policy: &mut Policy, from: &Policy) {
        match self {
            Self::Low => policy.levels.low = from.levels.low,
            Self::High => policy.levels.high = from.levels.high,
            Self::VeryHigh => policy.levels.very_high = from.levels.very_high,
            Self::Forecast => policy.forecasts.low = from.forecasts.low,
        }
    }

    /// All choices, those in use first. A level that is off stays off.
    #[must_use]
    pub fn choices(self, now: &Policy) -> Vec<Choice> {
        let low = Of { name: "level.low", level: |policy| &mut policy.levels.low };
        let high = Of { name: "level.high", level: |policy| &mut policy.levels.high };
        let very_high = Of { name: "level.very_high", level: |policy| &mut policy.levels.very_high };
        let axes: Vec<Vec<Change>> = match self {
            Self::Low => vec![
                low.deadbands(now.unit),
                low.spans("off_delay", &[15, 30, 45, 60], |level| &mut level.off_delay),
                low.spans("again_quiet", &[30, 45, 60], |level| &mut level.again_quiet),
            ],
            Self::High if now.levels.high.rings != Rings::Never => vec![
                high.limits(now.unit, now.levels.high.limit),
                high.spans("on_delay", &[0, 15, 30, 45, 60], |level| &mut level.on_delay),
                high.spans("off_delay", &[30, 60], |level| &mut level.off_delay),
                high.spans("again_quiet", &[60, 90, 120], |level| &mut level.again_quiet),
            ],
            Self::VeryHigh if now.levels.very_high.rings != Rings::Never => vec![
                very_high.spans("on_delay", &[0, 10, 20, 30], |level| &mut level.on_delay),
                very_high.spans("again_quiet", &[60, 90, 120], |level| &mut level.again_quiet),
            ],
            Self::High | Self::VeryHigh => Vec::new(),
            Self::Forecast => vec![sounds(), rings()],
        };
        let mut all = vec![Choice::now(now)];
        for axis in axes {
            let varied: Vec<Choice> =
                all.iter().flat_map(|choice| axis.iter().map(|change| choice.with(change))).collect();
            for choice in varied {
                if !all.iter().any(|known| known.policy == choice.policy) {
                    all.push(choice);
                }
            }
        }
        all.retain(|choice| is_sound(&choice.policy));
        all
    }
}

/// What the settings would refuse is not tried: limits out of order, deadbands that meet, a chance to ring from that is
/// lower than the one to be raised from.
fn is_sound(policy: &Policy) -> bool {
    let (levels, forecast) = (&policy.levels, &policy.forecasts.low);
    let (low, high) = (levels.low, levels.high);
    high.limit.hundredths() < levels.very_high.limit.hundredths()
        && low.limit.hundredths() + low.deadband.hundredths() < high.limit.hundredths() - high.deadband.hundredths()
        && forecast.raise <= forecast.sound
}

/// Steps of limits and deadbands, in hundredths of a mg/dL: 10 mg/dL, or 0.5 mmol/L. What is written is what is tried.
const fn step(unit: Unit) -> i32 {
    match unit {
        Unit::MgDl => 1_000,
        Unit::MmolL => 900,
    }
}

/// One level, and how it is called in the settings.
#[derive(Clone, Copy)]
struct Of {
    name: &'static str,
    level: fn(&mut Policy) -> &mut LevelPolicy,
}

impl Of {
    /// From one step to three, by halves where the unit has them.
    fn deadbands(self, unit: Unit) -> Vec<Change> {
        let halves: &[i32] = match unit {
            Unit::MgDl => &[2, 3, 4, 5, 6],
            Unit::MmolL => &[2, 4, 6],
        };
        let change = |halves: &i32| {
            let value = Glucose::from_hundredths(halves * step(unit) / 2, unit, Measured::Number);
            self.change("deadband", &value.shown(unit, None), move |level| level.deadband = value)
        };
        halves.iter().map(change).collect()
    }

    /// Up to four steps above the limit in use.
    fn limits(self, unit: Unit, limit: Glucose) -> Vec<Change> {
        let change = |steps: i32| {
            let value = Glucose::from_hundredths(limit.hundredths() + steps * step(unit), unit, Measured::Number);
            self.change("limit", &value.shown(unit, None), move |level| level.limit = value)
        };
        (1..=4).map(change).collect()
    }

    fn spans(self, key: &str, minutes: &[i64], span: fn(&mut LevelPolicy) -> &mut Span) -> Vec<Change> {
        let change = |minutes: &i64| {
            let value = Span::minutes(*minutes);
            self.change(key, &format!("\"{minutes}m\""), move |level| *span(level) = value)
        };
        minutes.iter().map(change).collect()
    }

    fn change(self, key: &str, shown: &str, apply: impl Fn(&mut LevelPolicy) + 'static) -> Change {
        let line = format!("{}.{key} = {shown}", self.name);
        Change { line, apply: Box::new(move |policy| apply((self.level)(policy))) }
    }
}

fn sounds() -> Vec<Change> {
    let change = |percent: u8| Change {
        line: format!("forecast.low.sound = 0.{percent}"),
        apply: Box::new(move |policy| policy.forecasts.low.sound = Chance::percent(percent)),
    };
    [30, 40, 50, 60, 70].map(change).into()
}

fn rings() -> Vec<Change> {
    let change = |(name, rings): (&str, Rings)| Change {
        line: format!("forecast.low.rings = \"{name}\""),
        apply: Box::new(move |policy| policy.forecasts.low.rings = rings),
    };
    [("always", Rings::Always), ("by_day", Rings::ByDay), ("never", Rings::Never)].map(change).into()
}

/// What the best of each search make together: of lows with each of highs and of very highs.
#[must_use]
pub fn together(low: &[Choice], high: &[Choice], very_high: &[Choice]) -> Vec<Choice> {
    let mut all = Vec::new();
    for one in low {
        for other in high {
            let both = one.and(other, Search::High);
            all.extend(very_high.iter().map(|third| both.and(third, Search::VeryHigh)));
        }
    }
    all
}
