//! What is said of a flood: how many alerts, which was the first, and which did not ring by themselves.

use super::text::{Said, fitting};
use super::{LINES_MAX, since};
use crate::domain::time::Span;
use crate::engine::alert::hours::Held;
use crate::engine::reason::Reason;

impl Said<'_> {
    pub(super) fn flood(&self) -> (String, String) {
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
                (title, self.those(held, *more, "See `recheck status`. Lows ring by themselves."))
            }
            Reason::FloodOver { held, more } => {
                let first = held.first().map_or_else(|| "See `recheck status`".to_owned(), |held| self.waited(held).1);
                let others = held.len().saturating_sub(1).saturating_add(usize::try_from(*more).unwrap_or(usize::MAX));
                let others = if others > 0 { format!(", and {others} more") } else { String::new() };
                let title = fitting(&[format!("{first}{others}"), first]);
                (title, self.those(held, *more, "These did not ring when they came, and still stand."))
            }
            _ => ("Several alerts. See `recheck status`".to_owned(), String::new()),
        }
    }

    /// A line for each that there is room for, and one that ends them.
    fn those(&self, held: &[Held], more: u32, end: &str) -> String {
        let mut lines: Vec<String> = held.iter().take(LINES_MAX - 1).map(|held| self.waited(held).1).collect();
        let left = (held.len() - lines.len()).saturating_add(usize::try_from(more).unwrap_or(usize::MAX));
        lines.push(if left > 0 { format!("And {left} more. {end}") } else { end.to_owned() });
        lines.join("\n")
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
