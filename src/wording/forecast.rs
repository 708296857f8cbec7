//! What is said of what is likely to come: with the time it is likely by, and that it need not come.

use super::Voice;
use super::text::{Parts, Said, fitting};
use crate::engine::effect::Condition;
use crate::engine::forecast::Chance;
use crate::engine::foresee::tally::Came;
use crate::engine::reason::{Likely, Reason};
use crate::engine::trend::Direction;

impl Said<'_> {
    /// `Likely below 70 by 03:25: now 84, falling. Follow your plan`; less likely than not: `May go below 54 by 03:25`.
    pub(super) fn forecast(&self) -> Parts {
        let Reason::Likely(Likely { limit, by, chance, noted, .. }) = self.decision.reason.first() else {
            return (format!("{}, {}", self.value_and_direction(), self.read_at()), Vec::new());
        };
        let is_high = self.decision.condition == Condition::ForecastHigh;
        let (side, action) =
            if is_high { ("above", "Check, and note what you did") } else { ("below", "Follow your plan") };
        let value = self.value_headed(is_high);
        let (limit, by) = (self.voice.limit(*limit), self.voice.clock(*by));
        let likely = if *chance < Chance::percent(50) { "May go" } else { "Likely" };
        let likely = format!("{likely} {side} {limit} by {by}");
        let title = if self.decision.doubt.is_some() {
            fitting(&[format!("{likely}? {value}. Check with a meter"), format!("{likely}? Check with a meter")])
        } else {
            fitting(&[
                format!("{likely}: now {value}. {action}"),
                format!("{likely}: now {value}. Check"),
                format!("{likely}. {action}"),
            ])
        };
        let forecast = noted.map_or_else(
            || "A forecast, not a measurement: it may not come, or come sooner.".to_owned(),
            |noted| {
                let noted = self.voice.clock(noted);
                format!("A forecast, not a measurement; less sure, since food or insulin was noted {noted}.")
            },
        );
        let act =
            if is_high { "Check, and note what you did." } else { "Follow your plan; if you treat it, press Treated." };
        (title, vec![act.to_owned(), forecast])
    }

    /// The value and its direction, where that does not speak against what is likely: a rate lags behind a turn.
    fn value_headed(&self, is_high: bool) -> String {
        let against = |direction: Direction| if is_high { direction.falls() } else { direction.rises() };
        match (self.decision.glucose, self.direction()) {
            (Some(glucose), Some(direction)) if against(direction) => glucose.shown(self.voice.unit, self.limit()),
            _ => self.value_and_direction(),
        }
    }
}

/// The reasons of forecasts.
pub(super) fn sentence(reason: &Reason, voice: Voice) -> String {
    let clock = |at| voice.clock(at);
    match reason {
        Reason::Likely(likely) => {
            let Likely { limit, by, chance, sounds_from, moved, noted, came } = likely;
            let moved = if *moved { ", moved there by your own rings that came to nothing" } else { "" };
            let noted = noted.map_or_else(String::new, |noted| {
                format!("; less sure, food or insulin was noted at {}", clock(noted))
            });
            format!(
                "of a hundred such moments {} have a reading beyond {} by {}; it rings from {}{moved}{noted}{}",
                chance.in_a_hundred(),
                voice.limit(*limit),
                clock(*by),
                sounds_from.in_a_hundred(),
                came_true(*came)
            )
        }
        Reason::CameTrue { limit, since } => {
            format!("foreseen at {}, and a reading is beyond {}", clock(*since), voice.limit(*limit))
        }
        Reason::DidNotCome { limit, since } => {
            format!("foreseen at {}, and no reading beyond {} has come", clock(*since), voice.limit(*limit))
        }
        Reason::RangLately { rang } => format!("it rang at {}, and rings at most once in an hour", clock(*rang)),
        Reason::LookComes { next } => format!("the low is treated, and looked at again at {}", clock(*next)),
        other => other.word().replace('_', " "),
    }
}

fn came_true(Came { came, of }: Came) -> String {
    if of == 0 { String::new() } else { format!("; of your last {of} like it {came} came true") }
}
