//! What is said of sensors and sources, rather than of values: silence, rows that cannot be read, clocks, two
//! signals, scans, a sensor's end, and the doubt that goes with a value.

use super::text::{Said, fitting};
use crate::domain::time::Timestamp;
use crate::engine::effect::{Condition, Doubt};
use crate::engine::reason::{Call, Reason};

impl Said<'_> {
    pub(super) fn source(&self) -> (String, String) {
        match &self.decision.reason {
            Reason::NothingReached { since: Some(since), grave: true } if self.decision.glucose.is_some() => (
                fitting(&[
                    format!("Nothing since {}, last {}. Measure", self.voice.clock(*since), self.value_and_direction()),
                    format!("Nothing since {}. Measure", self.voice.clock(*since)),
                ]),
                format!("Nothing reached me since {}, for {}. {}I do not know what came after. Measure with a meter, and check sensor, phone and export.", self.voice.clock(*since), self.lasts(*since), self.last_value()),
            ),
            Reason::NothingReached { since: Some(since), .. } => (
                format!("Nothing reached me since {}. Check the sensor", self.voice.clock(*since)),
                format!("Nothing reached me since {}. {}I do not know what came after. Check sensor, phone and export.", self.voice.clock(*since), self.last_value()),
            ),
            Reason::NothingReached { since: None, .. } => (
                "Nothing has reached me yet. Check the export".to_owned(),
                "I have been waiting since I started, and no reading has come. I am not watching. Check the folder in the settings, and the export.".to_owned(),
            ),
            Reason::Unreadable { since, words } => (
                format!("Cannot read your file since {}; not watching", self.voice.clock(*since)),
                format!("{words}. I am not watching until rows can be read again. Use your sensor's own display meanwhile."),
            ),
            Reason::Absurd { since, values } => (
                format!("Values since {} cannot be glucose; not watching", self.voice.clock(*since)),
                format!("{values} values in a row cannot be glucose in the unit of the settings. Is the unit right? `recheck sources` shows how its files are read. I am not watching. Use your sensor's own display meanwhile."),
            ),
            Reason::ClockAhead { by } => (
                format!("The sensor's clock is {by} ahead. Set it right"),
                format!("Readings carry times {by} ahead of this computer's clock. They are judged as they come; their times in the history are wrong. Check the time and the zone of sensor, phone and export."),
            ),
            Reason::ClockBehind { by } => (
                format!("Readings come {by} late, one by one. Set the clock"),
                format!("Single readings come as they are made, each with a time {by} ago. Either the clock or the zone of sensor, phone or export is behind, or the export is. I cannot alert on them as they are. Travelling? See `recheck zone`."),
            ),
            Reason::HistoryOnly { late } => (
                format!("This source comes {late} late: it cannot alert"),
                format!("Readings come {late} late or more, time after time. They are kept as history, and I ask for nothing: no alert of mine can come from them. Use your sensor's own display. A reading that is about now changes this back."),
            ),
            Reason::QuietOver { since } if self.decision.condition == Condition::Gap => (
                format!("Still nothing since {}. Check the sensor", self.voice.clock(*since)),
                format!("Nothing has reached me since {}. {}I do not know what came after. Check sensor, phone and export.", self.voice.clock(*since), self.last_value()),
            ),
            Reason::QuietOver { since } => (
                format!("Still cannot read your file, since {}", self.voice.clock(*since)),
                "I am not watching until rows can be read again: see `recheck sources`. Use your sensor's own display meanwhile.".to_owned(),
            ),
            _ => ("Readings arrive again".to_owned(), self.full_value()),
        }
    }

    /// A sentence about the last value, with a space after it; nothing where it is no longer known.
    pub(super) fn last_value(&self) -> String {
        match self.full_value() {
            value if value.is_empty() => value,
            value => format!("The last value was {value} "),
        }
    }

    pub(super) fn sensor(&self) -> (String, String) {
        let (now, value) = (self.voice.now, |glucose| self.voice.value(glucose));
        match &self.decision.reason {
            Reason::TwoSignals { lower, higher, since } => (
                format!("Two signals: {} and {}. Check with a meter", value(*lower), value(*higher)),
                format!(
                    "Since {} readings go back and forth between two signals: {} and {}. Both cannot be yours. Until you choose, the lower one rules for lows, and a high is said with doubt. Check with a meter, then say which is right: `recheck trust {}`, `recheck trust {}`, or the name of a source.",
                    self.voice.clock(*since),
                    value(*lower),
                    value(*higher),
                    value(*lower),
                    value(*higher)
                ),
            ),
            Reason::QuietOver { since } => (
                format!("Two signals since {}. Check with a meter", self.voice.clock(*since)),
                "Both cannot be yours. Check with a meter, then say which is right: `recheck trust` and its value."
                    .to_owned(),
            ),
            Reason::ScanDue { call, last, full } => self.scan(*call, *last, *full),
            // Told late, after a night or a sleep of the computer.
            Reason::SensorEnds { end } if *end <= now => (
                format!("The sensor ended {}. Change it", self.voice.clock(*end)),
                format!(
                    "By its life in the settings the sensor ended {}. When you have changed it, say `recheck note sensor start`.",
                    self.voice.clock(*end)
                ),
            ),
            Reason::SensorEnds { end } => (
                format!("The sensor ends {}. Have the next one ready", self.voice.clock(*end)),
                format!(
                    "By its life in the settings the sensor ends {}. When you change it, say `recheck note sensor start`.",
                    self.voice.clock(*end)
                ),
            ),
            _ => (format!("Sensor, {}", self.voice.clock(now)), String::new()),
        }
    }

    fn scan(&self, call: Call, last: Timestamp, full: Timestamp) -> (String, String) {
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
        let body = match call {
            Call::Full => format!("Last scan {scanned}. The oldest values are being lost until you scan."),
            Call::Export => {
                "You noted a scan, and no value of it has reached me. Nothing is judged until it does.".to_owned()
            }
            _ => format!("Last scan {scanned}. The memory is full {filled}; then its oldest values are lost."),
        };
        (title, body)
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
            Some(Doubt::FirstDay) | None => format!("High? {value}, {at}. New sensor: check"),
        }
    }

    /// What is added to a body when its value is less sure.
    pub(super) fn doubt(&self) -> String {
        let Some(doubt) = self.decision.doubt else { return String::new() };
        let why = match doubt {
            _ if !self.decision.to.is_wearer() => return Self::doubt_for_others(doubt),
            Doubt::TwoSignals { lower, higher } => {
                format!("Two signals alternate, {} and {}", self.voice.value(lower), self.voice.value(higher))
            }
            Doubt::Doubted => "You doubt the sensor".to_owned(),
            Doubt::FirstDay => "The sensor is in its first day, its values are less sure".to_owned(),
            Doubt::Dip => "It fell sharply from a steady value, as a sensor does that is lain on".to_owned(),
            Doubt::Flat => "The sensor says the same number for an hour".to_owned(),
            Doubt::Jump => "The value changed faster than glucose does".to_owned(),
        };
        format!(" {why}: check with a meter. If you cannot, and feel low, treat by your plan.")
    }

    fn doubt_for_others(doubt: Doubt) -> String {
        match doubt {
            Doubt::TwoSignals { .. } | Doubt::FirstDay | Doubt::Doubted => {
                " The value is less sure than others: somebody should measure with a meter.".to_owned()
            }
            // Whoever is called has to go, not to weigh what the shape of a line is worth.
            Doubt::Dip | Doubt::Flat | Doubt::Jump => String::new(),
        }
    }

    fn in_a_night(&self, at: Timestamp) -> bool {
        self.policy.night.stretch(self.voice.zone, at).inside
    }
}
