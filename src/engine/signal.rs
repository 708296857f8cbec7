//! Which signal a value comes from. A change is worked out within one signal: two sensors can differ by more than either of
//! them changes.

use super::Engine;
use super::reason::{Began, Treatment};
use super::turn::Judged;
use crate::domain::glucose::Glucose;
use crate::domain::reading::SourceId;
use crate::domain::time::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// The value at a time is the last one within this before it.
const VALUE_NEAR: Span = Span::minutes(30);

/// Two readings of one source that lie within this may be of two signals that it mixes.
const MIXED_WITHIN: Span = Span::minutes(15);

/// Where a value comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Signal {
    /// A sensor.
    Sensor(SourceId),
    /// A finger-prick.
    Meter,
}

impl Engine {
    /// The value at a time the wearer names, if a reading or a finger-prick was close before it, and whose it is.
    pub(super) fn signal_at(&self, at: Timestamp) -> Option<(Glucose, Signal)> {
        let meter = self.state.meter.filter(|(measured, _)| is_near(*measured, at));
        let reading = self.state.window.newest_before(at).filter(|reading| is_near(reading.measured, at));
        match (reading, meter) {
            (Some(reading), Some((measured, glucose))) if measured > reading.measured => Some((glucose, Signal::Meter)),
            (Some(reading), _) => Some((reading.glucose, Signal::Sensor(reading.source))),
            (None, meter) => meter.map(|(_, glucose)| (glucose, Signal::Meter)),
        }
    }

    /// What a check looks back at: a treatment of that time, with the value there was.
    pub(super) fn treatment(&self, at: Timestamp, alert_since: Option<Timestamp>, told: Began) -> Treatment {
        let (value, of) = self.signal_at(at).unzip();
        Treatment { at, value, of, alert_since, told }
    }

    /// A treatment as the signal sees it that is looked at now: its own value then, or none.
    pub(super) fn by_one_signal(&self, treated: Treatment, judged: Option<Judged>) -> Treatment {
        let Some(judged) = judged else { return treated };
        if self.mixes_two(judged.of) {
            return Treatment { value: None, ..treated };
        }
        match (treated.of, judged.of) {
            (Some(of), now) if of != now => Treatment { value: self.value_of(now, treated.at), ..treated },
            // An older version did not keep whose value it was.
            (Some(_) | None, _) => treated,
        }
    }

    /// What one signal said at that time, as far as it is remembered.
    fn value_of(&self, signal: Signal, at: Timestamp) -> Option<Glucose> {
        match signal {
            Signal::Meter => None,
            Signal::Sensor(source) => {
                let mut known = self.state.window.newest_first(source);
                let found = known.find(|reading| reading.measured <= at)?;
                Some(found.glucose).filter(|_| is_near(found.measured, at))
            }
        }
    }

    /// Does one source mix two signals, so that it cannot be said which of them a value is of?
    fn mixes_two(&self, signal: Signal) -> bool {
        let Signal::Sensor(source) = signal else { return false };
        if self.state.register.two_signals().is_none() {
            return false;
        }
        let Some(newest) = self.state.window.newest() else { return false };
        let lately = self.state.window.all_newest_first();
        let mut lately = lately.take_while(|reading| newest.measured - reading.measured <= MIXED_WITHIN);
        lately.all(|reading| reading.source == source)
    }
}

fn is_near(measured: Timestamp, at: Timestamp) -> bool {
    measured <= at && at - measured <= VALUE_NEAR
}
