//! What is said where a meter and a sensor disagree: both values, and what follows.

use super::Voice;
use super::answer::rings_all_the_same;
use super::text::{Parts, Said, capital};
use crate::domain::glucose::Glucose;
use crate::domain::time::Timestamp;
use crate::engine::policy::Policy;
use crate::engine::reason::Reason;

impl Said<'_> {
    /// `Very low 50, 12:17. New finger-prick now`
    pub(super) fn prick_again(&self, measured: Timestamp, meter: Glucose) -> Parts {
        let low = if self.is_very_low() { "Very low" } else { "Low" };
        let (meter, measured) = (self.voice.value(meter), self.voice.clock(measured));
        let act = if self.is_very_low() {
            "Do a finger-prick; if you cannot, treat by your plan now."
        } else {
            "Do a finger-prick; if you cannot, treat by your plan."
        };
        (
            format!("{low} {}, {}. New finger-prick now", self.value_alone(), self.read_at()),
            vec![act.to_owned(), format!("Your meter said {meter} at {measured}, and the sensor is still low.")],
        )
    }

    /// A check of a low that only a meter saw.
    pub(super) fn measure_again(&self, measured: Timestamp, meter: Glucose, next: Timestamp) -> Parts {
        let next = self.voice.clock(next);
        let known = if self.decision.reading_at == Some(measured) {
            format!("No value has come since; next check {next}.")
        } else {
            let sensor = self.value_and_direction();
            format!("The sensor says {sensor}, {}, which takes nothing back; next check {next}.", self.read_at())
        };
        let (meter, measured) = (self.voice.value(meter), self.voice.clock(measured));
        (
            format!("Measure again: your meter said {meter} at {measured}"),
            vec!["Measure again, and follow your plan.".to_owned(), known],
        )
    }
}

/// The answer to a check that disagrees with a sensor; none to any other word.
pub(super) fn answer(reason: &Reason, policy: &Policy, voice: Voice) -> Option<String> {
    match reason {
        Reason::MeterDisagrees { condition, meter, sensor, sensor_at, until } => {
            let both = both(*meter, *sensor, *sensor_at, voice);
            let name = capital(&condition.name().replace('_', " "));
            Some(match until {
                Some(until) => format!(
                    "{both} {name} does not ring until {}. All the same ring: {}.",
                    voice.clock(*until),
                    rings_all_the_same(*condition)
                ),
                None => format!("{both} {name} is made quiet by no check. Measure again, and follow your plan."),
            })
        }
        Reason::SecondDecides { meter, lower, from } => Some(format!(
            "Your meter says {}, near the higher of two signals; the lower says {}, and rings on. Measure again from {}: if that is near the higher one too, it alone counts.",
            voice.value(*meter),
            voice.value(*lower),
            voice.clock(*from)
        )),
        Reason::LowByMeter { meter, sensor, next } => {
            let sensor = beside(*sensor, voice);
            Some(format!(
                "Your meter says {}{sensor}: the meter counts. Treat by your plan, then `recheck treated`. Looks at {}, and every {} until it is back.",
                voice.value(*meter),
                voice.clock(*next),
                policy.recheck.low_look
            ))
        }
        _ => None,
    }
}

/// Why, for `why`.
pub(super) fn sentence(reason: &Reason, voice: Voice) -> String {
    match reason {
        Reason::MeterAgain { measured, meter, next } => format!(
            "the meter said {} at {}, and nobody has measured since; next look {}",
            voice.value(*meter),
            voice.clock(*measured),
            voice.clock(*next)
        ),
        Reason::MeterDisagrees { condition, meter, sensor, sensor_at, until } => {
            let follows = match until {
                Some(until) => format!("quiet until {}", voice.clock(*until)),
                None => "made quiet by no check".to_owned(),
            };
            format!("{} {} is {follows}", both(*meter, *sensor, *sensor_at, voice), condition.name())
        }
        Reason::PrickAgain { measured, meter } => format!(
            "the meter said {} at {}, the sensor is still low, and nobody has measured since",
            voice.value(*meter),
            voice.clock(*measured)
        ),
        Reason::SecondDecides { meter, lower, from } => format!(
            "the meter says {}, the lower of two signals {}: a second finger-prick from {} on decides",
            voice.value(*meter),
            voice.value(*lower),
            voice.clock(*from)
        ),
        Reason::LowByMeter { meter, sensor, next } => {
            let sensor = beside(*sensor, voice);
            format!("the meter says {}{sensor}; looks at {}", voice.value(*meter), voice.clock(*next))
        }
        other => other.word().replace('_', " "),
    }
}

/// `, the sensor 95`
fn beside(sensor: Option<Glucose>, voice: Voice) -> String {
    sensor.map_or_else(String::new, |sensor| format!(", the sensor {}", voice.value(sensor)))
}

/// `Your meter says 104, the sensor 58 at 12:03.`
fn both(meter: Glucose, sensor: Glucose, sensor_at: Timestamp, voice: Voice) -> String {
    let (meter, sensor) = (voice.value(meter), voice.value(sensor));
    format!("Your meter says {meter}, the sensor {sensor} at {}.", voice.clock(sensor_at))
}
