//! The first form of the saved state, in which each kind of alert was kept in a place of its own, read as what it was and
//! brought into the register and the plan. It is never written again, and nothing else may know it.

use super::alert::calls::{Answered, Calls, For, LowCalls};
use super::alert::condition::Condition;
use super::alert::register::Register;
use super::alert::steps::Made;
use super::alert::{Alert, Because, Detail, Standing};
use super::check::Check;
use super::effect::{Id, Priority};
use super::evening::EveningCheck;
use super::level::{LevelFacts, Pending, Row};
use super::mode::hold::DrivingWait;
use super::plan::{Job, Plan};
use super::reason::Reason;
use super::recheck_high::HighCheck;
use super::recheck_low::LowCheck;
use super::state::State;
use crate::domain::glucose::Glucose;
use crate::domain::reading::SourceId;
use crate::domain::time::Timestamp;
use serde::Deserialize;

/// What stands elsewhere now.
#[derive(Deserialize)]
struct Old {
    low: Side,
    high: Side,
    low_care: Option<LowCheck>,
    high_care: Option<HighCheck>,
    sources: Vec<Source>,
    channels: Option<Channels>,
    #[serde(default)]
    two_signals: Option<TwoSignals>,
    #[serde(default)]
    returned: Vec<Returned>,
    #[serde(default)]
    chain: Option<Chain>,
    #[serde(default)]
    waiting: Vec<Waiting>,
    #[serde(default)]
    modes: Modes,
    #[serde(default)]
    evening_look: Option<EveningCheck>,
    #[serde(default)]
    foreseen: Foreseen,
    timers: Vec<(Job, Timestamp)>,
}

#[derive(Deserialize)]
struct Side {
    worse: Level,
    milder: Level,
}

#[derive(Default, Deserialize)]
#[serde(rename_all = "snake_case")]
enum Level {
    #[default]
    Clear,
    Waiting {
        since: Timestamp,
        last: Timestamp,
    },
    Active(Active),
}

#[derive(Deserialize)]
struct Active {
    id: Id,
    part_of: Option<Id>,
    since: Timestamp,
    told: Told,
    seen: bool,
    last: Timestamp,
    rang: Timestamp,
    #[serde(default)]
    told_at: Option<Timestamp>,
    row: Option<Row>,
    last_beyond: Timestamp,
    past_deadband: Option<Timestamp>,
}

#[derive(Clone, Copy, Deserialize)]
#[serde(rename_all = "snake_case")]
enum Told {
    Rang,
    Held,
    Hidden,
}

#[derive(Deserialize)]
struct Source {
    lost: Option<Lost>,
}

#[derive(Deserialize)]
struct Lost {
    id: Id,
    condition: Condition,
    since: Timestamp,
    seen: bool,
    #[serde(default)]
    told_at: Option<Timestamp>,
    #[serde(default)]
    part_of: Option<Id>,
}

#[derive(Deserialize)]
struct Channels {
    id: Id,
    none_works: bool,
    #[serde(default)]
    seen: bool,
}

#[derive(Deserialize)]
struct TwoSignals {
    id: Id,
    since: Timestamp,
    last: Timestamp,
    lower: Glucose,
    higher: Glucose,
    seen: bool,
    #[serde(default)]
    told_at: Option<Timestamp>,
}

#[derive(Deserialize)]
struct Returned {
    id: Id,
    condition: Condition,
    since: Timestamp,
    until: Timestamp,
}

#[derive(Deserialize)]
struct Chain {
    id: Id,
    since: Timestamp,
    began: Timestamp,
    very_low: Option<Timestamp>,
    back: Option<Timestamp>,
    #[serde(default)]
    rests: Option<Timestamp>,
    answered: Option<Timestamp>,
    #[serde(default)]
    by: Option<String>,
    called: Vec<(u8, Timestamp)>,
    #[serde(default)]
    informed: Vec<(u8, Timestamp)>,
    #[serde(default)]
    promoted: bool,
    #[serde(default)]
    made: Made,
}

#[derive(Deserialize)]
struct Waiting {
    id: Id,
    condition: Condition,
    priority: Priority,
    since: Timestamp,
    reason: Reason,
    answered: Option<Timestamp>,
    by: Option<String>,
    called: Vec<(u8, Timestamp)>,
    made: Made,
}

#[derive(Default, Deserialize)]
struct Modes {
    caution: Level,
    hold: Option<DrivingWait>,
}

#[derive(Default, Deserialize)]
struct Foreseen {
    very_low: Foresight,
    low: Foresight,
    high: Foresight,
}

#[derive(Default, Deserialize)]
struct Foresight {
    open: Option<Forecast>,
    rang: Option<Timestamp>,
}

#[derive(Deserialize)]
struct Forecast {
    id: Id,
    part_of: Option<Id>,
    since: Timestamp,
    by: Timestamp,
    rang: bool,
    seen: bool,
    withheld: bool,
}

/// Reads it twice: once for what stands where it stood, once for what has moved.
pub(super) fn read(text: &str) -> Result<State, serde_json::Error> {
    let old: Old = serde_json::from_str(text)?;
    let mut form: serde_json::Value = serde_json::from_str(text)?;
    if let Some(form) = form.as_object_mut() {
        form.insert("register".to_owned(), serde_json::to_value(Register::default())?);
        form.insert("plan".to_owned(), serde_json::to_value(Plan::default())?);
    }
    let mut state: State = serde_json::from_value(form)?;
    state.plan = Plan::of_jobs(old.timers);
    let checks = [
        old.low_care.map(Check::Low),
        old.high_care.map(Check::High),
        old.evening_look.map(Check::Evening),
        old.modes.hold.map(Check::Driving),
    ];
    for check in checks.into_iter().flatten() {
        state.plan.look_at(check);
    }
    let levels = [
        (Condition::VeryLow, old.low.worse),
        (Condition::Low, old.low.milder),
        (Condition::VeryHigh, old.high.worse),
        (Condition::High, old.high.milder),
        (Condition::Caution, old.modes.caution),
    ];
    for (condition, level) in levels {
        level.take_over(&mut state, condition);
    }
    let forecasts = [
        (Condition::ForecastVeryLow, old.foreseen.very_low),
        (Condition::ForecastLow, old.foreseen.low),
        (Condition::ForecastHigh, old.foreseen.high),
    ];
    for (condition, foresight) in forecasts {
        if let Some(alert) = foresight.alert(condition) {
            state.register.raise(alert);
        }
    }
    for (lost, number) in old.sources.into_iter().map(|source| source.lost).zip(0..) {
        if let Some(lost) = lost {
            state.register.raise(lost.alert(SourceId(number)));
        }
    }
    if let Some(two) = old.two_signals {
        state.register.raise(two.alert());
    }
    if let Some(channels) = old.channels {
        let rang = old.waiting.iter().find(|waiting| waiting.id == channels.id).map(|waiting| waiting.since);
        state.register.raise(channels.alert(rang));
    }
    state.register.returned = old.returned.into_iter().map(Returned::alert).collect();
    state.register.calls = old.chain.map(Chain::calls).into_iter().collect();
    state.register.calls.extend(old.waiting.into_iter().map(Waiting::calls));
    Ok(state)
}

impl Told {
    const fn silent(self) -> Option<Because> {
        match self {
            Self::Rang => None,
            Self::Held => Some(Because::Held),
            Self::Hidden => Some(Because::SpokenFor),
        }
    }
}

impl Level {
    fn take_over(self, state: &mut State, condition: Condition) {
        match self {
            Self::Clear => {}
            Self::Waiting { since, last } => {
                state.register.set_pending(condition, Some(Pending { condition, since, last }));
            }
            Self::Active(active) => state.register.raise(active.alert(condition)),
        }
    }
}

impl Active {
    const fn alert(self, condition: Condition) -> Alert {
        let Self { last, rang, row, last_beyond, past_deadband, .. } = self;
        Alert {
            id: self.id,
            part_of: self.part_of,
            condition,
            since: self.since,
            standing: Standing::new(self.told.silent(), self.seen),
            told_at: self.told_at,
            detail: Detail::Level(LevelFacts { last, rang, row, last_beyond, past_deadband }),
        }
    }
}

impl Foresight {
    fn alert(self, condition: Condition) -> Option<Alert> {
        let Forecast { id, part_of, since, by, rang, seen, withheld } = self.open?;
        let silent = if rang { None } else { Some(Because::Unsure) };
        Some(Alert {
            id,
            part_of,
            condition,
            since,
            standing: Standing::new(silent, seen),
            told_at: self.rang.filter(|_| rang),
            detail: Detail::Forecast { by, silence_told: withheld },
        })
    }
}

impl Lost {
    fn alert(self, source: SourceId) -> Alert {
        Alert {
            id: self.id,
            part_of: self.part_of,
            condition: self.condition,
            since: self.since,
            standing: Standing::new(self.part_of.map(|_| Because::SpokenFor), self.seen),
            told_at: self.told_at,
            detail: Detail::Lost { source },
        }
    }
}

impl TwoSignals {
    const fn alert(self) -> Alert {
        Alert {
            id: self.id,
            part_of: None,
            condition: Condition::TwoSignals,
            since: self.since,
            standing: Standing::new(None, self.seen),
            told_at: self.told_at,
            detail: Detail::TwoSignals { last: self.last, lower: self.lower, higher: self.higher },
        }
    }
}

impl Channels {
    /// It was not kept since when they fail: as far as is known since they were told of.
    fn alert(self, rang: Option<Timestamp>) -> Alert {
        Alert {
            id: self.id,
            part_of: None,
            condition: Condition::ChannelFailed,
            since: rang.unwrap_or(Timestamp::from_seconds(0)),
            standing: Standing::new(None, self.seen),
            told_at: rang,
            detail: Detail::Channels { none_works: self.none_works },
        }
    }
}

impl Returned {
    const fn alert(self) -> Alert {
        Alert {
            id: self.id,
            part_of: None,
            condition: self.condition,
            since: self.since,
            standing: Standing::ReturnedUnacknowledged { until: self.until },
            told_at: None,
            detail: Detail::Level(LevelFacts::raised(self.since, self.until)),
        }
    }
}

fn answered(at: Option<Timestamp>, by: Option<String>) -> Option<Answered> {
    at.map(|at| Answered { at, by })
}

impl Chain {
    fn calls(self) -> Calls {
        let Self { began, very_low, back, rests, promoted, .. } = self;
        Calls {
            id: self.id,
            condition: Condition::Low,
            since: self.since,
            answer: answered(self.answered, self.by),
            anew: None,
            called: self.called,
            informed: self.informed,
            made: self.made,
            reason: For::Low(LowCalls { very_low, back, rests, promoted, ..LowCalls::new(began) }),
        }
    }
}

impl Waiting {
    fn calls(self) -> Calls {
        Calls {
            id: self.id,
            condition: self.condition,
            since: self.since,
            answer: answered(self.answered, self.by),
            anew: None,
            called: self.called,
            informed: Vec::new(),
            made: self.made,
            reason: For::Other { priority: self.priority, reason: self.reason },
        }
    }
}
