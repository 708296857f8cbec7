//! What is said when quiet hours by day are over: what waited and still stands, the gravest first.

use super::LINES_MAX;
use super::morning::gravity;
use super::text::{Said, fitting, text};
use crate::engine::alert::hours::Held;
use crate::engine::effect::{Condition, Priority};
use crate::engine::reason::Reason;

impl Said<'_> {
    pub(super) fn digest(&self) -> (String, String) {
        let Reason::Digest { held, more } = &self.decision.reason else {
            return ("Quiet hours are over".to_owned(), self.full_value());
        };
        let mut waited: Vec<(u8, String)> = held.iter().map(|held| self.waited(held)).collect();
        waited.sort_by_key(|(gravity, _)| *gravity);
        let mut lines: Vec<String> = waited.into_iter().map(|(_, line)| line).collect();
        let all = lines.len().saturating_add(usize::try_from(*more).unwrap_or(usize::MAX));
        let first = lines.first().map_or("see `recheck why`", String::as_str);
        let others = if all > 1 { format!(", and {} more", all - 1) } else { String::new() };
        let title = fitting(&[
            format!("While it was quiet: {first}{others}"),
            format!("Meanwhile: {first}{others}"),
            format!("Meanwhile: {first}"),
            first.to_owned(),
        ]);
        if all > LINES_MAX {
            lines.truncate(LINES_MAX - 1);
            lines.push(format!("And {} more: see `recheck why`.", all - lines.len()));
        }
        (title, lines.join("\n"))
    }

    /// What a ring that waited would have said, and how grave that is.
    pub(super) fn waited(&self, held: &Held) -> (u8, String) {
        let decision = &held.decision;
        let title = text(decision, self.policy, held.at).title;
        let line = title.strip_prefix("While away: ").unwrap_or(&title).to_owned();
        let gravest = match &decision.reason {
            Reason::Past { spans, .. } => spans.iter().map(|span| gravity(span.condition)).min(),
            _ => None,
        };
        let of_the_rest = match (decision.condition, decision.priority) {
            (Condition::NotWatching, _) => gravity(Condition::NotWatching),
            // Behind all that a night can hold.
            (_, Priority::High | Priority::Medium | Priority::Low) => 6,
            (_, Priority::Information) => 7,
        };
        (gravest.unwrap_or(of_the_rest), line)
    }
}
