//! What the settings say of forecasts.

use super::meant::rings;
use super::problem::Place;
use super::words::Words;
use crate::engine::policy::{ForecastPolicy, ForecastsPolicy};
use std::ops::RangeInclusive;

/// Rings a day that come to nothing, as many as may be asked for, in hundredths.
const FALSE_A_DAY: RangeInclusive<f64> = 0.05..=5.0;

pub(super) fn forecasts(top: &mut Words<'_>, forecasts: &mut ForecastsPolicy, start: Place) {
    let node = top.take("forecast");
    let mut all = Words::of("forecast", node, start, top.problems());
    for (key, name, forecast) in [
        ("low", "forecast.low", &mut forecasts.low),
        ("very_low", "forecast.very_low", &mut forecasts.very_low),
        ("high", "forecast.high", &mut forecasts.high),
    ] {
        let node = all.take(key);
        let mut words = Words::of(name, node, start, all.problems());
        one(&mut words, name, forecast);
        words.end();
    }
    all.end();
}

fn one(words: &mut Words<'_>, name: &str, forecast: &mut ForecastPolicy) {
    let raise = words.share("raise", &mut forecast.raise);
    let sound = words.share("sound", &mut forecast.sound);
    if let Some(parsed) = words.parsed("rings", "\"always\", \"by_day\" or \"never\"", rings) {
        forecast.rings = parsed;
    }
    forecast.false_a_day = words.hundredths("false_a_day", FALSE_A_DAY);
    if let Some(place) = raise.or(sound).filter(|_| forecast.sound < forecast.raise) {
        let what = format!("{name}.sound is below {name}.raise");
        words.wrong(place, what, "what is not raised cannot ring: make sound as high as raise, or higher");
    }
}
