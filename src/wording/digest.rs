//! What is said when quiet hours by day are over: what waited and still stands, the gravest first.

use super::LINES_MAX;
use super::body::lines;
use super::morning::gravity;
use super::text::{Parts, Said, text};
use crate::engine::alert::hours::Held;
use crate::engine::effect::{Condition, Priority};
use crate::engine::reason::Reason;

/// Of several titles the facts: what to do first stands in the one above them.
pub(super) fn facts(titles: &[String]) -> Vec<String> {
    titles.iter().map(|title| title.split(". ").next().unwrap_or_default().to_owned()).collect()
}

impl Said<'_> {
    pub(super) fn digest(&self) -> Parts {
        let Reason::Digest { held, more } = &self.decision.reason else {
            return ("Quiet hours are over".to_owned(), Vec::new());
        };
        let mut waited: Vec<(u8, String)> = held.iter().map(|held| self.waited(held)).collect();
        waited.sort_by_key(|(gravity, _)| *gravity);
        let all: Vec<String> = waited.into_iter().map(|(_, line)| line).collect();
        let more = usize::try_from(*more).unwrap_or(usize::MAX);
        (self.title_of_several("Meanwhile", &all, more), vec![lines(&facts(&all), LINES_MAX, more, "")])
    }

    /// What a ring that waited would have said, and how grave that is.
    pub(super) fn waited(&self, held: &Held) -> (u8, String) {
        let decision = &held.decision;
        let title = text(decision, self.policy, held.at).title;
        // One of these that had to wait led with the value of its own time.
        let several = matches!(decision.condition, Condition::Morning | Condition::Digest);
        let news = title.rsplit(". ").next().filter(|_| several).unwrap_or(&title);
        let line = news.strip_prefix("While away: ").unwrap_or(news).to_owned();
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
