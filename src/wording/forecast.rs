//! What is said of what is likely to come: with the time it is likely by, and that it need not come.

use super::Voice;
use super::text::{Parts, Said, fitting};
use crate::domain::time::Timestamp;
use crate::engine::effect::Condition;
use crate::engine::forecast::Chance;
use crate::engine::foresee::tally::Came;
use crate::engine::foresee::watched::Watched;
use crate::engine::reason::{Likely, Reason};
use crate::engine::trend::Direction;

impl Said<'_> {
    /// `Likely below 70 by 03:25: now 84, falling. Follow your plan`; less likely than not: `May go below 54 by 03:25`.
    pub(super) fn forecast(&self) -> Parts {
        if let Reason::SlipsBack { back, falls } = self.decision.reason.first() {
            return self.slips_back(*back, *falls);
        }
        let Reason::Likely(Likely { limit, by, chance, noted, watched, .. }) = self.decision.reason.first() else {
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
        let forecast = match (noted, watched) {
            (_, Some(Watched::AfterLow)) => "A forecast, not a measurement: the last low is only just over.".to_owned(),
            (_, Some(Watched::Landing)) => "A forecast, not a measurement: a high is still coming down.".to_owned(),
            (Some(noted), None) => {
                let noted = self.voice.clock(*noted);
                format!("A forecast, not a measurement; less sure, since food or insulin was noted {noted}.")
            }
            (None, None) => "A forecast, not a measurement: it may not come, or come sooner.".to_owned(),
        };
        let act =
            if is_high { "Check, and note what you did." } else { "Follow your plan; if you treat it, press Treated." };
        (title, vec![act.to_owned(), forecast])
    }

    /// `Falling again: 82, falling, 12:40. Follow your plan`.
    fn slips_back(&self, back: Timestamp, falls: bool) -> Parts {
        let (value, at) = (self.value_headed(false), self.read_at());
        let word = if falls { "Falling again" } else { "Only just back" };
        let title = fitting(&[format!("{word}: {value}, {at}. Follow your plan"), format!("{word}: {value}, {at}")]);
        let act = "Follow your plan; if you treat it, press Treated.";
        (title, vec![act.to_owned(), format!("The low was over at {}, and may come again.", self.voice.clock(back))])
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
            let Likely { limit, by, chance, sounds_from, moved, noted, came, watched } = likely;
            let moved = if *moved { ", moved there by your own rings that came to nothing" } else { "" };
            let why = match watched {
                Some(Watched::AfterLow) => ", since a low is only just over",
                Some(Watched::Landing) => ", since a high is coming down",
                None => "",
            };
            let noted = noted.map_or_else(String::new, |noted| {
                format!("; less sure, food or insulin was noted at {}", clock(noted))
            });
            format!(
                "{} in 100 such moments have a reading beyond {} by {}; it rings from {}{moved}{why}{noted}{}",
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
        Reason::FoodNoted { at, until } => {
            format!("food was noted at {}, and a low that may come is quiet until {}", clock(*at), clock(*until))
        }
        Reason::StaysBack { back } => format!("back since {}, and it has stayed so", clock(*back)),
        Reason::SlipsBack { back, falls: true } => format!("back since {}, and falling again", clock(*back)),
        Reason::SlipsBack { back, falls: false } => {
            format!("back since {}, only just above the limit and not rising", clock(*back))
        }
        Reason::LookComes { next } => format!("it was treated, and is checked again at {}", clock(*next)),
        other => other.word().replace('_', " "),
    }
}

fn came_true(Came { came, of }: Came) -> String {
    if of == 0 { String::new() } else { format!("; of your last {of} like it {came} came true") }
}
