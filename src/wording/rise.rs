//! What is asked about a rise that no insulin was noted for. It asks what was, and suggests no dose.

use super::Voice;
use super::text::{Parts, Said, fitting};
use crate::engine::effect::Decision;
use crate::engine::reason::Reason;

impl Said<'_> {
    /// `Up 85 since 12:10: 195, rising, 13:50. Meal without a dose?`
    pub(super) fn unnoted_rise(&self) -> Parts {
        let (Reason::UnnotedRise { from, since, none_since, food, .. }, Some(glucose)) =
            (&self.decision.reason, self.decision.glucose)
        else {
            return ("A rise, and nothing was noted".to_owned(), Vec::new());
        };
        let (up, since) = (self.voice.change(*from, glucose), self.voice.clock(*since));
        let up = up.trim_start_matches('+');
        let (value, at) = (glucose.shown(self.voice.unit, None), self.read_at());
        if self.adjusts() {
            let title = fitting(&[
                format!("Up {up} since {since}: {}, {at}. See what the pump gave", self.value_and_direction()),
                format!("Up {up} since {since}: {value}, {at}. See what the pump gave"),
                format!("Up {up}: {value}, {at}. See what the pump gave"),
            ]);
            return (title, vec![super::pump::SEE.to_owned()]);
        }
        // A dose that still works is said after what to do, and matters more.
        let known = format!("Neither insulin nor food was noted since {}.", self.voice.clock(*none_since));
        let ask =
            "If a dose was taken, note it; if that is not sure, follow your plan: a dose taken twice leads to a low.";
        if let Some(food) = food {
            let food = self.voice.clock(*food);
            let title = fitting(&[
                format!("Up {up}: {}, {at}. Meal {food}: dose noted?", self.value_and_direction()),
                format!("Up {up}: {value}, {at}. Meal {food}: dose noted?"),
            ]);
            return (title, vec![ask.to_owned(), self.insulin()]);
        }
        let title = fitting(&[
            format!("Up {up} since {since}: {}, {at}. Meal without a dose?", self.value_and_direction()),
            format!("Up {up} since {since}: {value}, {at}. Meal without a dose?"),
            format!("Up {up} since {since}: {value}. Meal without a dose?"),
        ]);
        (title, vec![ask.to_owned(), self.insulin(), known])
    }
}

impl Said<'_> {
    /// `maybe a meal without a dose`: no more than what is asked.
    pub(super) fn rise_in_short(&self, one: &Decision) -> String {
        match &one.reason {
            _ if self.adjusts() => "a rise: see what the pump gave".to_owned(),
            Reason::UnnotedRise { food: Some(food), .. } => {
                format!("meal {}: note its dose if taken", self.voice.clock(*food))
            }
            _ => "maybe a meal without a dose".to_owned(),
        }
    }
}

/// Why, for `why`.
pub(super) fn sentence(reason: &Reason, voice: Voice) -> String {
    let Reason::UnnotedRise { from, since, none_since, by_night, food } = reason else {
        return reason.word().replace('_', " ");
    };
    let night = if *by_night { "; by night nobody is asked" } else { "" };
    let what = match food {
        Some(food) => format!("food was noted at {}, and no insulin", voice.clock(*food)),
        None => "neither insulin nor food was noted".to_owned(),
    };
    format!(
        "risen from {} at {}, and {what} since {}{night}",
        voice.value(*from),
        voice.clock(*since),
        voice.clock(*none_since)
    )
}
