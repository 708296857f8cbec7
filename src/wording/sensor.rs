//! What is said of sensors and sources, rather than of values: silence, rows that cannot be read, clocks, two
//! signals, scans, a sensor's end, and the doubt that goes with a value.

use super::text::{Parts, Said, fitting};
use crate::domain::time::Timestamp;
use crate::engine::effect::{Condition, Doubt, Side};
use crate::engine::reason::{Call, Reason};

impl Said<'_> {
    pub(super) fn source(&self) -> Parts {
        let own_display = "Use your sensor's own display meanwhile.".to_owned();
        let (title, act, fact) = match &self.decision.reason {
            Reason::NothingReached { since: Some(since), grave: true } if self.decision.glucose.is_some() => (
                fitting(&[
                    format!("Nothing since {}, last {}. Measure", self.voice.clock(*since), self.value_and_direction()),
                    format!("Nothing since {}. Measure", self.voice.clock(*since)),
                ]),
                "Measure with a meter, then check sensor, phone and export.".to_owned(),
                format!("What came after {} is not known.", self.voice.clock(*since)),
            ),
            Reason::NothingReached { since: Some(since), .. } => (
                format!("Nothing reached me since {}. Check the sensor", self.voice.clock(*since)),
                "Check sensor, phone and export.".to_owned(),
                match self.last_value() {
                    unknown if unknown.is_empty() => {
                        format!("What came after {} is not known.", self.voice.clock(*since))
                    }
                    value => value,
                },
            ),
            Reason::NothingReached { since: None, .. } => (
                "Nothing has reached me yet. Check the export".to_owned(),
                "Check the folder in the settings, and the export.".to_owned(),
                "No reading has come since I started, so nothing is watched.".to_owned(),
            ),
            Reason::Unreadable { since, words } => (
                format!("Cannot read your file since {}; not watching", self.voice.clock(*since)),
                format!("{words}."),
                own_display,
            ),
            Reason::Absurd { since, values } => (
                format!("Values since {} cannot be glucose; not watching", self.voice.clock(*since)),
                format!("Is the unit right? {values} values in a row cannot be glucose: see `recheck sources`."),
                own_display,
            ),
            Reason::ClockAhead { by } => (
                format!("The sensor's clock is {by} ahead. Set it right"),
                "Check the time and the zone of sensor, phone and export.".to_owned(),
                "Readings are judged as they come, but their times in the history are wrong.".to_owned(),
            ),
            Reason::ClockBehind { by } => (
                format!("Readings come {by} late, one by one. Set the clock"),
                "Check the time and the zone of sensor, phone and export; travelling, see `recheck zone`.".to_owned(),
                "I cannot alert on readings that come late.".to_owned(),
            ),
            Reason::HistoryOnly { late } => (
                format!("This source comes {late} late: it cannot alert"),
                own_display,
                "It is kept as history; a reading that is about now changes this back.".to_owned(),
            ),
            Reason::QuietOver { since } if self.decision.condition == Condition::Gap => (
                format!("Still nothing since {}. Check the sensor", self.voice.clock(*since)),
                "Check sensor, phone and export.".to_owned(),
                self.last_value(),
            ),
            Reason::QuietOver { since } => (
                format!("Still cannot read your file, since {}", self.voice.clock(*since)),
                "I am not watching until rows can be read again: see `recheck sources`.".to_owned(),
                own_display,
            ),
            _ => ("Readings arrive again".to_owned(), self.now_known(), String::new()),
        };
        (title, vec![act, fact])
    }

    /// A sentence about the last value; nothing where it is no longer known.
    pub(super) fn last_value(&self) -> String {
        match self.value_and_unit() {
            Some(value) => format!("The last value was {value} at {}.", self.read_at()),
            None => String::new(),
        }
    }

    /// `142 mg/dL`, without a direction: what is said of what was.
    fn value_and_unit(&self) -> Option<String> {
        let glucose = self.decision.glucose?;
        Some(format!("{} {}", glucose.shown(self.voice.unit, self.limit()), self.voice.unit.name()))
    }

    /// `Now 142 mg/dL, steady, 12:05.`
    fn now_known(&self) -> String {
        let direction = self.direction().map_or_else(String::new, |direction| format!(", {}", direction.words()));
        self.value_and_unit().map_or_else(String::new, |value| format!("Now {value}{direction}, {}.", self.read_at()))
    }

    pub(super) fn sensor(&self) -> Parts {
        let (now, value) = (self.voice.now, |glucose| self.voice.value(glucose));
        let (title, act, fact) = match &self.decision.reason {
            Reason::TwoSignals { lower, higher, .. } => {
                let (lower, higher) = (value(*lower), value(*higher));
                (
                    format!("Two signals: {lower} and {higher}. Check with a meter"),
                    format!("Check with a meter, then say `recheck trust {lower}` or `recheck trust {higher}`."),
                    "Until then the lower one counts for lows.".to_owned(),
                )
            }
            Reason::QuietOver { since } => (
                format!("Two signals since {}. Check with a meter", self.voice.clock(*since)),
                "Check with a meter, then say which is right: `recheck trust` and its value.".to_owned(),
                "Until then the lower one counts for lows.".to_owned(),
            ),
            Reason::ScanDue { call, last, full } => return self.scan(*call, *last, *full),
            // Told late, after a night or a sleep of the computer.
            Reason::SensorEnds { end } if *end <= now => (
                format!("The sensor ended {}. Change it", self.voice.clock(*end)),
                "When you have changed it, say `recheck note sensor start`.".to_owned(),
                "It ended by its life in the settings.".to_owned(),
            ),
            Reason::SensorEnds { end } => (
                format!("The sensor ends {}. Have the next one ready", self.voice.clock(*end)),
                "When you change it, say `recheck note sensor start`.".to_owned(),
                "It ends by its life in the settings.".to_owned(),
            ),
            _ => (format!("Sensor, {}", self.voice.clock(now)), String::new(), String::new()),
        };
        (title, vec![act, fact])
    }

    fn scan(&self, call: Call, last: Timestamp, full: Timestamp) -> Parts {
        let (scanned, filled) = (self.voice.clock(last), self.voice.clock(full));
        let title = match call {
            Call::Soon if self.in_a_night(full) => format!("Scan before you sleep: memory full {filled}"),
            Call::Soon => format!("Scan the sensor: its memory is full {filled}"),
            Call::Last => format!("Scan now: the memory is full {filled}"),
            Call::Full => format!("Scan now: memory full since {filled}"),
            Call::Bedtime => format!("Bedtime: scan the sensor. Last scan {scanned}"),
            Call::Waking => format!("Scan the sensor. Last scan {scanned}"),
            Call::Export => format!("Export the scan of {scanned}: it has not come"),
        };
        let facts = match call {
            Call::Full => {
                [format!("Last scan {scanned}."), "The oldest values are being lost until you scan.".to_owned()]
            }
            Call::Export => [
                "You noted a scan, and no value of it has reached me.".to_owned(),
                "Nothing is judged until it does.".to_owned(),
            ],
            _ => [
                format!("Last scan {scanned}."),
                format!("The memory is full {filled}; then its oldest values are lost."),
            ],
        };
        (title, facts.into())
    }

    /// `High? 248 or 70, 02:10. Check with a meter`
    pub(super) fn doubtful_high(&self, value: &str, at: &str) -> String {
        match self.decision.doubt {
            Some(Doubt::TwoSignals { lower, higher }) => {
                let (lower, higher) = (self.voice.value(lower), self.voice.value(higher));
                format!("High? {higher} or {lower}, {at}. Check with a meter")
            }
            Some(Doubt::Doubted | Doubt::Dip | Doubt::Flat | Doubt::Jump) => {
                format!("High? {value}, {at}. Check with a meter")
            }
            Some(Doubt::FirstDay | Doubt::Old) | None => format!("High? {value}, {at}. New sensor: check"),
        }
    }

    /// What is to be known of a value that is less sure.
    pub(super) fn doubt(&self) -> String {
        let Some(doubt) = self.decision.doubt else { return String::new() };
        let is_low = self.decision.condition.side() == Some(Side::Low);
        match doubt {
            _ if !self.decision.to.is_wearer() => Self::doubt_for_others(doubt),
            // It is what the text is about.
            Doubt::Old => String::new(),
            Doubt::Dip if self.in_a_night(self.voice.now) => {
                "If you are lying on the sensor, turn over; do a finger-prick now.".to_owned()
            }
            Doubt::TwoSignals { lower, higher } => {
                let (lower, higher) = (self.voice.value(lower), self.voice.value(higher));
                format!("Two signals alternate, {lower} and {higher}: check with a meter.")
            }
            Doubt::Doubted if is_low => "If you cannot, and feel low, treat by your plan.".to_owned(),
            Doubt::Doubted => "You doubt the sensor.".to_owned(),
            Doubt::FirstDay => "A sensor is less sure in its first day: check with a meter.".to_owned(),
            Doubt::Dip => "If you lie on the sensor, turn over; check with a meter now.".to_owned(),
            // What to do says it.
            Doubt::Flat if matches!(self.decision.condition, Condition::VeryLow | Condition::Low) => String::new(),
            Doubt::Flat if is_low => "The same value for 45 min: do a finger-prick.".to_owned(),
            Doubt::Flat => "The sensor says the same number for an hour.".to_owned(),
            Doubt::Jump if is_low => {
                "A jump like that may be the sensor: treat it as real until your meter says no.".to_owned()
            }
            Doubt::Jump => "A jump like that may be the sensor.".to_owned(),
        }
    }

    fn doubt_for_others(doubt: Doubt) -> String {
        match doubt {
            Doubt::TwoSignals { .. } | Doubt::FirstDay | Doubt::Doubted => {
                "The value is less sure: somebody should do a finger-prick.".to_owned()
            }
            // Whoever is called has to go, not to weigh what the shape of a line is worth.
            Doubt::Dip | Doubt::Flat | Doubt::Jump | Doubt::Old => String::new(),
        }
    }

    fn in_a_night(&self, at: Timestamp) -> bool {
        self.policy.night.stretch(self.voice.zone, at).inside
    }
}
