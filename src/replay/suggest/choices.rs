//! The choices of settings that are tried: every value of a few settings of each side, by itself and put together.

use crate::domain::glucose::{Glucose, Unit};
use crate::domain::time::Span;
use crate::engine::forecast::Chance;
use crate::engine::policy::{LevelPolicy, Policy, Rings};

/// Steps of a high limit, in hundredths of a mg/dL: 10 mg/dL, or 0.5 mmol/L.
const STEP_MG_DL: i32 = 1_000;
const STEP_MMOL_L: i32 = 900;

/// A choice of settings, and how it differs from those in use: lines as in the settings file, without the values' quotes
/// where they are numbers.
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
    pub fn and(&self, other: &Self, of: Side) -> Self {
        let mut policy = self.policy.clone();
        of.take(&mut policy, &other.policy);
        Self { lines: [&self.lines[..], &other.lines].concat(), policy }
    }
}

/// What is searched by itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// The alerts of lows.
    Low,
    /// Those of highs.
    High,
    /// Those of very highs.
    VeryHigh,
    /// Forecasts of lows.
    Forecast,
}

impl Side {
    const fn take(self, policy: &mut Policy, from: &Policy) {
        match self {
            Self::Low => policy.levels.low = from.levels.low,
            Self::High => policy.levels.high = from.levels.high,
            Self::VeryHigh => policy.levels.very_high = from.levels.very_high,
            Self::Forecast => policy.forecasts.low = from.forecasts.low,
        }
    }

    /// All choices of this side, those in use first. A level that is off stays off.
    #[must_use]
    pub fn choices(self, now: &Policy) -> Vec<Choice> {
        let axes: Vec<Vec<Change>> = match self {
            Self::Low => vec![
                glucose_axis(now.unit, "level.low.deadband", &[10, 15, 20, 25, 30], |policy| &mut policy.levels.low),
                span_axis(
                    "level.low.off_delay",
                    &[15, 30, 45, 60],
                    |level| &mut level.off_delay,
                    |policy| &mut policy.levels.low,
                ),
                span_axis(
                    "level.low.again_quiet",
                    &[30, 45, 60],
                    |level| &mut level.again_quiet,
                    |policy| &mut policy.levels.low,
                ),
            ],
            Self::High if now.levels.high.rings != Rings::Never => vec![
                limit_axis(now),
                span_axis(
                    "level.high.on_delay",
                    &[0, 15, 30, 45, 60],
                    |level| &mut level.on_delay,
                    |policy| &mut policy.levels.high,
                ),
                span_axis(
                    "level.high.off_delay",
                    &[30, 60],
                    |level| &mut level.off_delay,
                    |policy| &mut policy.levels.high,
                ),
                span_axis(
                    "level.high.again_quiet",
                    &[60, 90, 120],
                    |level| &mut level.again_quiet,
                    |policy| &mut policy.levels.high,
                ),
            ],
            Self::VeryHigh if now.levels.very_high.rings != Rings::Never => vec![
                span_axis(
                    "level.very_high.on_delay",
                    &[0, 10, 20, 30],
                    |level| &mut level.on_delay,
                    |policy| &mut policy.levels.very_high,
                ),
                span_axis(
                    "level.very_high.again_quiet",
                    &[60, 90, 120],
                    |level| &mut level.again_quiet,
                    |policy| &mut policy.levels.very_high,
                ),
            ],
            Self::High | Self::VeryHigh => Vec::new(),
            Self::Forecast => vec![sound_axis(), rings_axis()],
        };
        let mut all = vec![Choice::now(now)];
        for axis in axes {
            let varied = all.iter().flat_map(|choice| axis.iter().map(|change| choice.with(change)));
            let mut seen: Vec<Choice> = all.clone();
            for choice in varied {
                if !seen.iter().any(|known| known.policy == choice.policy) {
                    seen.push(choice);
                }
            }
            all = seen;
        }
        all.retain(|choice| is_sound(&choice.policy));
        all
    }
}

/// Limits in order, and deadbands that leave room: what the settings would refuse is not tried.
fn is_sound(policy: &Policy) -> bool {
    let levels = &policy.levels;
    let (low, high) = (levels.low, levels.high);
    high.limit.hundredths() < levels.very_high.limit.hundredths()
        && low.limit.hundredths() + low.deadband.hundredths() < high.limit.hundredths() - high.deadband.hundredths()
}

fn glucose_axis(unit: Unit, key: &str, values: &[i32], of: fn(&mut Policy) -> &mut LevelPolicy) -> Vec<Change> {
    let change = |value: &i32| {
        let value = Glucose::mg_dl(*value);
        let apply: Box<dyn Fn(&mut Policy)> = Box::new(move |policy| of(policy).deadband = value);
        Change { line: format!("{key} = {}", value.shown(unit, None)), apply }
    };
    values.iter().map(change).collect()
}

fn limit_axis(now: &Policy) -> Vec<Change> {
    let (unit, limit) = (now.unit, now.levels.high.limit);
    let step = match unit {
        Unit::MgDl => STEP_MG_DL,
        Unit::MmolL => STEP_MMOL_L,
    };
    let change = |steps: i32| {
        let value = Glucose::from_hundredths(limit.hundredths() + steps * step, limit.received(), limit.measured());
        let apply: Box<dyn Fn(&mut Policy)> = Box::new(move |policy| policy.levels.high.limit = value);
        Change { line: format!("level.high.limit = {}", value.shown(unit, None)), apply }
    };
    (1..=4).map(change).collect()
}

fn span_axis(
    key: &str,
    minutes: &[i64],
    span: fn(&mut LevelPolicy) -> &mut Span,
    of: fn(&mut Policy) -> &mut LevelPolicy,
) -> Vec<Change> {
    let change = |minutes: &i64| {
        let value = Span::minutes(*minutes);
        let apply: Box<dyn Fn(&mut Policy)> = Box::new(move |policy| *span(of(policy)) = value);
        Change { line: format!("{key} = \"{minutes}m\""), apply }
    };
    minutes.iter().map(change).collect()
}

fn sound_axis() -> Vec<Change> {
    let change = |percent: u8| {
        let apply: Box<dyn Fn(&mut Policy)> = Box::new(move |policy| {
            let low = &mut policy.forecasts.low;
            low.sound = Chance::percent(percent);
            low.raise = low.raise.min(low.sound);
        });
        Change { line: format!("forecast.low.sound = 0.{percent}"), apply }
    };
    [30, 40, 50, 60, 70].map(change).into()
}

fn rings_axis() -> Vec<Change> {
    let change = |(name, rings): (&str, Rings)| {
        let apply: Box<dyn Fn(&mut Policy)> = Box::new(move |policy| policy.forecasts.low.rings = rings);
        Change { line: format!("forecast.low.rings = \"{name}\""), apply }
    };
    [("always", Rings::Always), ("by_day", Rings::ByDay), ("never", Rings::Never)].map(change).into()
}

/// What the best of each side make together: the low side's best with each of the high and of the very high side.
#[must_use]
pub fn together(low: &[Choice], high: &[Choice], very_high: &[Choice]) -> Vec<Choice> {
    let mut all = Vec::new();
    for one in low {
        for other in high {
            let both = one.and(other, Side::High);
            all.extend(very_high.iter().map(|third| both.and(third, Side::VeryHigh)));
        }
    }
    all
}
