//! What is said when the night is over: at most five lines, the gravest first.

use super::LINES_MAX;
use super::text::{Said, fitting};
use crate::engine::effect::Condition;
use crate::engine::morning::Stretch;
use crate::engine::reason::Reason;

impl Said<'_> {
    pub(super) fn morning(&self) -> (String, String) {
        let Reason::Morning { stretches, rings, held, more } = &self.decision.reason else {
            return ("The night is over".to_owned(), self.full_value());
        };
        let mut sorted: Vec<(u8, String)> =
            stretches.iter().map(|stretch| (gravity(stretch.condition), self.stretch(stretch))).collect();
        sorted.extend(held.iter().map(|held| self.waited(held)));
        sorted.sort_by_key(|(gravity, _)| *gravity);
        let lines: Vec<String> = sorted.into_iter().map(|(_, line)| line).collect();
        let all = lines.len().saturating_add(usize::try_from(*more).unwrap_or(usize::MAX));
        let first = lines.first().map_or("something waited", String::as_str);
        let others = if all > 1 { format!(", and {} more", all - 1) } else { String::new() };
        let title =
            fitting(&[format!("Last night: {first}{others}"), format!("Last night: {first}"), first.to_owned()]);
        // The last line is kept for how often it rang, and for what is true now.
        let mut body: Vec<String> = lines.into_iter().take(LINES_MAX - 1).collect();
        let left = all - body.len();
        let left = if left > 0 { format!("And {left} more. ") } else { String::new() };
        let rang = match rings {
            0 => "It did not ring.".to_owned(),
            1 => "It rang once.".to_owned(),
            _ => format!("It rang {rings} times."),
        };
        let now = if self.decision.glucose.is_some() { format!(" Now {}", self.full_value()) } else { String::new() };
        body.push(format!("{left}{rang}{now}"));
        (title, body.join("\n"))
    }

    /// `low 02:10-02:40`, or `low since 05:10`.
    fn stretch(&self, stretch: &Stretch) -> String {
        let name = stretch.condition.row().overnight.unwrap_or(Condition::NotWatching.row().short);
        let clock = |at| self.voice.zone.clock(at);
        match stretch.to {
            Some(to) => format!("{name} {}-{}", clock(stretch.from), clock(to)),
            None => format!("{name} since {}", clock(stretch.from)),
        }
    }
}

/// The smaller, the graver.
pub(super) const fn gravity(condition: Condition) -> u8 {
    condition.row().gravity
}
