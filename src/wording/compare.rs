//! What is said of a sensor held against a meter: how far apart they are, how the sensor reads over all checks, and what
//! may be done about it.

use super::Voice;
use super::text::{capital, sentences};
use crate::domain::glucose::{Glucose, Unit};
use crate::domain::time::Timestamp;
use crate::engine::compare::{Apart, BANDS_IN_PERCENT_FROM, Bias, Compared};

/// Differences are in percent of the meter's value, or of this where that is less.
const PERCENT_OF: Glucose = Glucose::mg_dl(100);

/// The answer to a check beside a sensor.
pub(super) fn answer(compared: &Compared, voice: Voice) -> String {
    let Compared { name, meter, sensor, sensor_at, .. } = compared;
    let name = name.as_ref().map_or_else(|| "the sensor".to_owned(), |name| format!("{name}:"));
    let (meter, sensor) = (voice.value(*meter), voice.value(*sensor));
    let first =
        format!("Your meter says {meter}, {name} {sensor} at {}: {}.", voice.clock(*sensor_at), apart(compared, voice));
    let bias = compared.bias.as_ref().map_or_else(String::new, |bias| {
        format!(
            "{}. Percent are of your meter's value, or of {} where that is less.",
            capital(&over(bias)),
            voice.limit(PERCENT_OF)
        )
    });
    let offer = compared.offer.map_or_else(String::new, |from| offered(from, voice));
    sentences(&[&first, &bias, &offer])
}

/// `38 apart, beyond the band of 20`, and what makes it count less.
fn apart(compared: &Compared, voice: Voice) -> String {
    let Compared { meter, sensor, apart, fast, .. } = compared;
    let (low, high) = (meter.hundredths().min(sensor.hundredths()), meter.hundredths().max(sensor.hundredths()));
    let size = Glucose::from_received(high - low, Unit::MgDl).shown(voice.unit, None);
    let is_in_percent = sensor.hundredths() >= BANDS_IN_PERCENT_FROM;
    let band = if is_in_percent {
        format!("{} %", apart.band())
    } else {
        let band = Glucose::mg_dl(i32::from(apart.band()));
        format!("{} {}", voice.limit(band), voice.unit.name())
    };
    let beyond = if *apart == Apart::Within15 { "within" } else { "beyond" };
    let fast = fast.map_or_else(String::new, |rate| {
        format!("; it moves fast ({}) and sensors follow late, so this does not count", rate.shown(voice.unit))
    });
    format!("{size} apart, {beyond} the band of {band}{fast}")
}

/// `over 4 checks this sensor reads 21 % lower, give or take 9`
#[must_use]
pub fn over(bias: &Bias) -> String {
    let percent = |hundredths: u32| (hundredths + 50) / 100;
    let reads = match (percent(bias.mean.unsigned_abs()), bias.mean < 0) {
        (0, _) => "as your meter does".to_owned(),
        (mean, true) => format!("{mean} % lower"),
        (mean, false) => format!("{mean} % higher"),
    };
    format!("over {} checks this sensor reads {reads}, give or take {}", bias.checks, percent(bias.give_or_take))
}

fn offered(from: Timestamp, voice: Voice) -> String {
    format!(
        "That is more than published accuracy allows. If you doubt it: `recheck mode doubted`. To leave its readings since \
         {} out of reports: `recheck exclude FROM TO REASON`. No value is changed.",
        voice.clock(from)
    )
}

/// Why, for `why`.
pub(super) fn sentence(compared: &Compared, voice: Voice) -> String {
    let name = compared.name.as_deref().unwrap_or("the sensor");
    let (meter, sensor) = (voice.value(compared.meter), voice.value(compared.sensor));
    let bias = compared.bias.as_ref().map_or_else(String::new, |bias| format!("; {}", over(bias)));
    let offer = if compared.offer.is_some() { "; what may be done about it was offered" } else { "" };
    format!(
        "the meter said {meter}, {name} {sensor} at {}: {}{bias}{offer}",
        voice.clock(compared.sensor_at),
        apart(compared, voice)
    )
}
