//! What is said when the night is over: at most five lines, the gravest first.

use super::text::Said;
use crate::engine::effect::Condition;
use crate::engine::morning::Stretch;
use crate::engine::reason::Reason;

/// Most lines.
const LINES_MAX: usize = 5;

impl Said<'_> {
    pub(super) fn morning(&self) -> (String, String) {
        let Reason::Morning { stretches, rings } = &self.decision.reason else {
            return ("The night is over".to_owned(), self.full_value());
        };
        let mut sorted: Vec<&Stretch> = stretches.iter().collect();
        sorted.sort_by_key(|stretch| (gravity(stretch.condition), stretch.from));
        let lines: Vec<String> = sorted.iter().map(|stretch| self.stretch(stretch)).collect();
        let first = lines.first().cloned().unwrap_or_default();
        let more = if lines.len() > 1 { format!(", and {} more", lines.len() - 1) } else { String::new() };
        // The last line is kept for how often it rang, and for what is true now.
        let left = lines.len().saturating_sub(LINES_MAX - 1);
        let mut body: Vec<String> = lines.into_iter().take(LINES_MAX - 1).collect();
        let left = if left > 0 { format!("And {left} more. ") } else { String::new() };
        let rang = if *rings == 1 { "It rang once.".to_owned() } else { format!("It rang {rings} times.") };
        let now = if self.decision.glucose.is_some() { format!(" Now {}", self.full_value()) } else { String::new() };
        body.push(format!("{left}{rang}{now}"));
        (format!("Last night: {first}{more}"), body.join("\n"))
    }

    /// `low 02:10-02:40`, or `low since 05:10`.
    fn stretch(&self, stretch: &Stretch) -> String {
        let name = match stretch.condition {
            Condition::VeryLow => "very low",
            Condition::Low => "low",
            Condition::Caution => "caution",
            Condition::High => "high",
            Condition::VeryHigh => "very high",
            Condition::Gap => "no readings",
            _ => "not watching",
        };
        let clock = |at| self.voice.zone.clock(at);
        match stretch.to {
            Some(to) => format!("{name} {}-{}", clock(stretch.from), clock(to)),
            None => format!("{name} since {}", clock(stretch.from)),
        }
    }
}

const fn gravity(condition: Condition) -> u8 {
    match condition {
        Condition::VeryLow => 0,
        Condition::Low => 1,
        Condition::NotWatching => 2,
        Condition::Gap => 3,
        Condition::VeryHigh => 4,
        Condition::Caution => 5,
        _ => 6,
    }
}
