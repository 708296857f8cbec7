//! What is said of a flood: how many alerts, which was the first, and which did not ring by themselves.

use super::body::lines;
use super::digest::facts;
use super::text::{Parts, Said, fitting};
use super::{LINES_MAX, since};
use crate::domain::time::Span;
use crate::engine::alert::hours::Held;
use crate::engine::reason::Reason;

impl Said<'_> {
    pub(super) fn flood(&self) -> Parts {
        match &self.decision.reason {
            Reason::FloodTold { count, first, held, more } => {
                let within = match since(first.at, self.voice.now) {
                    span if span < Span::minutes(1) => "at once".to_owned(),
                    span => format!("in {span}"),
                };
                let cause = self.cause(first);
                let title = fitting(&[
                    format!("{count} alerts {within}, first: {cause}"),
                    format!("{count} alerts, first: {cause}"),
                ]);
                (title, vec![self.those(held, *more, "Lows ring by themselves.")])
            }
            Reason::FloodOver { held, more } => {
                let first = held.first().map_or_else(|| "See `recheck status`".to_owned(), |held| self.waited(held).1);
                let others = held.len().saturating_sub(1).saturating_add(usize::try_from(*more).unwrap_or(usize::MAX));
                let others = if others > 0 { format!(", and {others} more") } else { String::new() };
                let title = fitting(&[format!("{first}{others}"), first]);
                (title, vec![self.those(held, *more, "These did not ring when they came.")])
            }
            _ => ("Several alerts. See `recheck status`".to_owned(), Vec::new()),
        }
    }

    /// A line for each that there is room for, and one that ends them.
    fn those(&self, held: &[Held], more: u32, end: &str) -> String {
        let all: Vec<String> = held.iter().map(|held| self.waited(held).1).collect();
        lines(&facts(&all), LINES_MAX, usize::try_from(more).unwrap_or(usize::MAX), end)
    }

    /// What a flood began with: `no readings since 02:10`, `very high, 02:10`.
    fn cause(&self, first: &Held) -> String {
        match &first.decision.reason {
            Reason::NothingReached { since: Some(since), .. } => {
                format!("no readings since {}", self.voice.clock(*since))
            }
            _ => format!("{}, {}", first.decision.condition.row().short, self.voice.clock(first.at)),
        }
    }
}
