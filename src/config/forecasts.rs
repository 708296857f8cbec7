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
    let ForecastsPolicy { low, very_low, high, after_low, landing } = forecasts;
    for (key, name, forecast) in
        [("low", "forecast.low", low), ("very_low", "forecast.very_low", very_low), ("high", "forecast.high", high)]
    {
        let node = all.take(key);
        let mut words = Words::of(name, node, start, all.problems());
        one(&mut words, name, forecast);
        if key == "low" {
            words.share("after_low", after_low);
            words.share("landing", landing);
        }
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
    forecast.false_a_day = words.hundredths("false_a_day", &FALSE_A_DAY);
    if sound.is_none() {
        // Only raise was written: what it rings from is no lower.
        forecast.sound = forecast.sound.max(forecast.raise);
    }
    if let Some(place) = raise.or(sound).filter(|_| forecast.sound < forecast.raise) {
        let what = format!("{name}.sound is below {name}.raise");
        words.wrong(place, what, "what is not raised cannot ring: make sound as high as raise, or higher");
    }
}

#[cfg(test)]
mod tests {
    use crate::config::meant::{Purpose, settings};
    use crate::domain::local::Zone;
    use crate::engine::forecast::Chance;
    use crate::engine::policy::Rings;

    #[test]
    fn chances_are_shares_and_what_is_not_raised_cannot_ring() {
        let read = |text: &str| settings(text, None, &[], Purpose::Replay, Zone::UTC);
        let low =
            read("[forecast.low]\nraise = 0.17\nrings = \"always\"\nfalse_a_day = 0.5\n").unwrap().policy.forecasts.low;
        assert_eq!((low.raise, low.rings, low.false_a_day), (Chance::percent(17), Rings::Always, Some(50)));
        let low = read("[forecast.low]\nraise = 0.6\n").unwrap().policy.forecasts.low;
        assert_eq!(low.sound, Chance::percent(60), "it rings from no lower chance than it is raised from");
        for (wrong, what) in [
            ("raise = 0.6\nsound = 0.5", "forecast.low.sound is below forecast.low.raise"),
            ("sound = 0.2", "forecast.low.sound is below forecast.low.raise"),
            ("raise = 30", "forecast.low.raise is not a chance from 0.01 to 0.99"),
            ("sound = \"often\"", "forecast.low.sound is not a chance from 0.01 to 0.99"),
            ("false_a_day = 0", "forecast.low.false_a_day is not a number from 0.05 to 5"),
            ("rings = \"loudly\"", "forecast.low.rings is \"loudly\""),
            ("chance = 0.5", "there is no setting \"chance\" in [forecast.low]"),
        ] {
            let problems = read(&format!("[forecast.low]\n{wrong}\n")).unwrap_err().all;
            let said: Vec<&str> = problems.iter().map(|problem| problem.what.as_str()).collect();
            assert_eq!(said, [what], "{wrong}");
            assert!(problems.iter().all(|problem| !problem.hint.is_empty()), "{wrong}");
        }
    }
}
