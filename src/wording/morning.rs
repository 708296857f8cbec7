//! What is said when the night is over: the value now, and then what the night held, the gravest first.

use super::LINES_MAX;
use super::body::lines;
use super::digest::facts;
use super::text::{Parts, Said, fitting};
use crate::engine::effect::Condition;
use crate::engine::morning::Stretch;
use crate::engine::reason::Reason;

impl Said<'_> {
    /// `142, level, 07:00. Last night: low 02:10-02:40, and 2 more`
    pub(super) fn morning(&self) -> Parts {
        let Reason::Morning { stretches, rings, held, more } = &self.decision.reason else {
            return ("The night is over".to_owned(), Vec::new());
        };
        let mut sorted: Vec<(u8, String)> =
            stretches.iter().map(|stretch| (gravity(stretch.condition), self.stretch(stretch))).collect();
        sorted.extend(held.iter().map(|held| self.waited(held)));
        sorted.sort_by_key(|(gravity, _)| *gravity);
        let all: Vec<String> = sorted.into_iter().map(|(_, line)| line).collect();
        let more = usize::try_from(*more).unwrap_or(usize::MAX);
        let rang = match rings {
            0 => "It did not ring.".to_owned(),
            1 => "It rang once.".to_owned(),
            _ => format!("It rang {rings} times."),
        };
        (self.title_of_several("Last night", &all, more), vec![lines(&facts(&all), LINES_MAX, more, &rang)])
    }

    /// The value now, and the first of several things; what there is no room for is counted.
    pub(super) fn title_of_several(&self, when: &str, all: &[String], more: usize) -> String {
        let first = all.first().map_or("something waited", String::as_str);
        let others = match all.len().saturating_add(more) {
            0 | 1 => String::new(),
            all => format!(", and {} more", all - 1),
        };
        let said = |now: &str| {
            [format!("{now}{when}: {first}{others}"), format!("{now}{when}: {first}"), format!("{now}{first}")]
        };
        let Some(glucose) = self.decision.glucose else {
            return fitting(&said(""));
        };
        let at = self.read_at();
        let full = format!("Now {}, {at}. ", self.value_and_direction());
        let bare = format!("Now {}, {at}. ", glucose.shown(self.voice.unit, None));
        let [whole, without, least] = said(&full);
        let [bare_whole, bare_without, bare_least] = said(&bare);
        fitting(&[whole, bare_whole, without, bare_without, least, bare_least])
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
