//! What the wearer wants, already checked: limits, delays, looks, the night. Every default stands here
//! once; the settings file repeats them only as comments, which a test holds against this file.

pub use super::alert::people::{Line, PersonPolicy, Tells};
pub use super::alert::steps::{EscalationPolicy, StepPolicy, StepsPolicy, Ways, Whom};
use super::effect::Condition;
pub use super::foresee::policy::{ForecastPolicy, ForecastsPolicy};
use super::mode::profile::Profile;
pub use super::rise::RisePolicy;
use crate::domain::glucose::{Glucose, Unit};
use crate::domain::insulin::Insulin;
use crate::domain::ketone_table::KetoneTest;
use crate::domain::local::{Hours, TimeOfDay, Zone};
use crate::domain::schedule::Schedule;
use crate::domain::time::Span;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// How insulin is taken; it decides which looks may ask.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Therapy {
    /// By pen or syringe.
    Injections,
    /// By a pump.
    Pump,
    /// By a pump that doses by itself, besides what is noted.
    SelfAdjusting,
}

/// How a source gets its readings.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SourceKind {
    /// Readings arrive by themselves; their silence is a gap.
    Streaming,
    /// Readings arrive when the wearer scans the sensor; their silence is not a gap, but a memory that fills.
    Scanned,
    /// Readings arrive long after they were measured: kept as history, and nothing is asked of them.
    History,
}

/// One source of readings.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SourcePolicy {
    /// Its name in the settings.
    pub name: String,
    /// Streaming, scanned, or history.
    pub kind: SourceKind,
    /// What its sensor does by itself.
    #[serde(default)]
    pub sensor: SensorPolicy,
}

/// What is known of the sensor behind a source.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct SensorPolicy {
    /// How far back a scanned sensor remembers.
    pub memory: Span,
    /// Ask for a scan before sleep, however full the memory is.
    pub scan_at_bedtime: bool,
    /// Ask for a scan at the end of the night, however full the memory is.
    pub scan_at_waking: bool,
    /// A new sensor gives nothing for this long.
    pub warm_up: Span,
    /// The settings say how long that is; else it is asked when a sensor is put on.
    #[serde(default)]
    pub warm_up_is_set: bool,
    /// A sensor works for this long; none when its end is not to be told.
    pub life: Option<Span>,
}

impl SourcePolicy {
    /// A source with a sensor as most are.
    #[must_use]
    pub fn new(name: &str, kind: SourceKind) -> Self {
        Self { name: name.to_owned(), kind, sensor: SensorPolicy::default() }
    }
}

impl Default for SensorPolicy {
    /// A scan at least every eight hours: ADA Standards of Care, recommendation 7.18 (2024). How long a new sensor gives
    /// nothing differs from one to the other, and is asked; until it is set a first value is looked for after three
    /// hours. Ours.
    fn default() -> Self {
        Self {
            memory: Span::hours(8),
            scan_at_bedtime: false,
            scan_at_waking: false,
            warm_up: Span::hours(3),
            warm_up_is_set: false,
            life: None,
        }
    }
}

/// When a level rings.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Rings {
    /// Day and night, and in quiet hours whatever its priority.
    Always,
    /// By day; by night it waits for the morning, and in other quiet hours for their end if it is of low priority.
    ByDay,
    /// Never: the level is off.
    Never,
}

/// One level: a limit, and the three cures for nuisance alerts named by OPC UA part 9 annex B.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct LevelPolicy {
    /// The limit; a value on it is not beyond it.
    pub limit: Glucose,
    /// How far back past the limit a value must come before the alert may end.
    pub deadband: Glucose,
    /// How long values must stay beyond the limit before the alert becomes active.
    pub on_delay: Span,
    /// How long values must stay back before the alert ends.
    pub off_delay: Span,
    /// Under a lasting alert, how long a new episode must have gone on before it rings again.
    pub again_after: Span,
    /// ... or how far beyond the limit it must be to ring again at once.
    pub again_beyond: Glucose,
    /// Under a lasting alert, no ring sooner than this after the last one.
    pub again_quiet: Span,
    /// When it rings.
    pub rings: Rings,
}

/// The four levels.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Levels {
    /// Below this at once and always.
    pub very_low: LevelPolicy,
    /// Below this.
    pub low: LevelPolicy,
    /// Above this.
    pub high: LevelPolicy,
    /// Above this.
    pub very_high: LevelPolicy,
}

/// When silence of a streaming source is a gap: the longer of a span and a number of cadences.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct GapPolicy {
    /// Span after an ordinary reading.
    pub after: Span,
    /// Cadences after an ordinary reading, in tenths.
    pub cadences_tenths: i64,
    /// Span after a low or falling reading.
    pub after_low: Span,
    /// Cadences after a low or falling reading, in tenths.
    pub cadences_low_tenths: i64,
}

/// When treated highs and lows are looked at again.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct RecheckPolicy {
    /// Looks after a treated high, counted from the treatment.
    pub high_looks: Vec<Span>,
    /// The next look while a high is coming down.
    pub coming_down: Span,
    /// Looks after a treated low, one after another.
    pub low_look: Span,
    /// When a high that nobody marked is asked about, and then again, and again at the last span for good.
    pub still_high: Vec<Span>,
    /// A high that begins within two hours after a low waits so long before it rings.
    #[serde(default = "rebound_delay")]
    pub rebound_delay: Span,
    /// A high that was treated in the evening is looked at between two and three at night.
    #[serde(default = "yes")]
    pub evening_look: bool,
    /// Ketones below 0.6 answer for a high that stays for so long in a night, where nothing speaks against it.
    #[serde(default = "ketone_night")]
    pub ketone_night: Span,
}

/// Ours: most of a night, for whoever takes a long-acting insulin that goes on.
const fn ketone_night() -> Span {
    Span::hours(6)
}

const fn yes() -> bool {
    true
}

/// Ours: long enough for a short rise after sugar to pass; no trial of such a delay was found.
const fn rebound_delay() -> Span {
    Span::minutes(45)
}

/// Most people beside the wearer.
pub const PEOPLE_MAX: usize = 6;

/// Everything the engine is told to do.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Policy {
    /// The wearer's zone: the night, and the times in texts.
    pub zone: Zone,
    /// The unit texts are written in.
    pub unit: Unit,
    /// How insulin is taken.
    pub therapy: Therapy,
    /// The settings say so. If they do not, what holds for a pump counts wherever it is the more careful.
    #[serde(default)]
    pub therapy_is_known: bool,
    /// How ketones are measured.
    #[serde(default)]
    pub ketone_test: KetoneTest,
    /// The insulin that is taken for meals and for highs.
    #[serde(default)]
    pub insulin: Insulin,
    /// When the wearer sleeps.
    pub night: Hours,
    /// When they are told what is known before they sleep; never when none.
    #[serde(default)]
    pub bedtime: Option<TimeOfDay>,
    /// The levels.
    pub levels: Levels,
    /// Seeing it come.
    #[serde(default)]
    pub forecasts: ForecastsPolicy,
    /// A rise that nothing was noted for.
    #[serde(default)]
    pub unnoted_rise: RisePolicy,
    /// Silence.
    pub gap: GapPolicy,
    /// Looking again.
    pub recheck: RecheckPolicy,
    /// Sources by their number.
    pub sources: Vec<SourcePolicy>,
    /// What happens when nobody answers.
    #[serde(default)]
    pub escalation: EscalationPolicy,
    /// What the wearer is called in texts for others; none: "the wearer".
    #[serde(default)]
    pub name: Option<String>,
    /// Others, in the order in which they are called.
    #[serde(default)]
    pub people: Vec<PersonPolicy>,
    /// What is always so of the wearer.
    #[serde(default)]
    pub profiles: Vec<Profile>,
    /// Whom to call in an emergency; none: "the emergency number".
    #[serde(default)]
    pub emergency: Option<String>,
    /// Hours beside the night in which what can wait does not ring.
    #[serde(default)]
    pub quiet_hours: Schedule,
    /// Why a level is switched off, in the wearer's words.
    #[serde(default)]
    pub because: BTreeMap<Condition, String>,
    /// Limited silences that are shorter than the longest there may be.
    #[serde(default)]
    pub quiet_longest: BTreeMap<Condition, Span>,
}

impl Levels {
    /// The level of that condition; a condition that is no level has none, nor has caution, whose limit follows
    /// from modes and profiles.
    #[must_use]
    pub const fn of(&self, condition: Condition) -> Option<&LevelPolicy> {
        match condition {
            Condition::VeryLow => Some(&self.very_low),
            Condition::Low => Some(&self.low),
            Condition::High => Some(&self.high),
            Condition::VeryHigh => Some(&self.very_high),
            _ => None,
        }
    }
}

impl Default for Levels {
    /// Limits: level 2 and level 1 of the consensus on time in range (Battelino 2019, Diabetes Care
    /// 42:1593). Deadbands and delays: measured on open traces, see docs/alerts-measured.md.
    fn default() -> Self {
        let level =
            |limit: i32, deadband: i32, rings: Rings, on: i64, off: i64, again: [i64; 2], beyond: i32| LevelPolicy {
                limit: Glucose::mg_dl(limit),
                deadband: Glucose::mg_dl(deadband),
                on_delay: Span::minutes(on),
                off_delay: Span::minutes(off),
                again_after: Span::minutes(again[0]),
                again_beyond: Glucose::mg_dl(beyond),
                again_quiet: Span::minutes(again[1]),
                rings,
            };
        Self {
            very_low: level(54, 16, Rings::Always, 0, 30, [0, 30], 0),
            low: level(70, 20, Rings::Always, 0, 45, [0, 30], 0),
            high: level(180, 20, Rings::ByDay, 15, 30, [15, 90], 100),
            very_high: level(250, 20, Rings::Always, 10, 30, [15, 60], 100),
        }
    }
}

impl Default for GapPolicy {
    /// Measured on open traces: at 5-minute cadence 25 minutes raise 0.21 a day, see docs/alerts-measured.md.
    fn default() -> Self {
        Self { after: Span::minutes(25), cadences_tenths: 25, after_low: Span::minutes(15), cadences_low_tenths: 17 }
    }
}

impl Default for RecheckPolicy {
    /// Looks at one, two and three hours and every 15 minutes after a low: from published patient
    /// guidance (pump: check at 1 h, injections: check again in 2 h; low: recheck after 15 min, ADA);
    /// no trial of re-check prompts after a corrected high was found.
    fn default() -> Self {
        Self {
            high_looks: [60, 120, 180].map(Span::minutes).to_vec(),
            coming_down: Span::minutes(30),
            low_look: Span::minutes(15),
            still_high: [120, 120, 180, 240].map(Span::minutes).to_vec(),
            rebound_delay: rebound_delay(),
            evening_look: yes(),
            ketone_night: ketone_night(),
        }
    }
}

impl Policy {
    /// The defaults, in a zone, with no source.
    ///
    /// ```
    /// use recheck::{domain::local::Zone, engine::policy::Policy};
    /// assert_eq!(Policy::new(Zone::UTC).night.to_string(), "23:00-07:00");
    /// ```
    #[must_use]
    pub fn new(zone: Zone) -> Self {
        let from_to = Hours::parse("23:00-07:00");
        Self {
            zone,
            unit: Unit::MgDl,
            therapy: Therapy::Injections,
            therapy_is_known: false,
            ketone_test: KetoneTest::default(),
            insulin: Insulin::default(),
            night: from_to.unwrap_or_else(|| unreachable!("the default night is well written")),
            bedtime: None,
            levels: Levels::default(),
            forecasts: ForecastsPolicy::default(),
            unnoted_rise: RisePolicy::default(),
            gap: GapPolicy::default(),
            recheck: RecheckPolicy::default(),
            sources: Vec::new(),
            escalation: EscalationPolicy::default(),
            name: None,
            people: Vec::new(),
            profiles: Vec::new(),
            emergency: None,
            quiet_hours: Schedule::default(),
            because: BTreeMap::new(),
            quiet_longest: BTreeMap::new(),
        }
    }
}
