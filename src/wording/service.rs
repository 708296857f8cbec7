//! What is said of levels that are switched off: which, since when, and the wearer's own reason.

use super::body::lines;
use super::text::{Parts, Said, capital, fitting};
use super::{LINES_MAX, Voice};
use crate::engine::reason::Reason;
use crate::engine::service::OffBecause;

impl Said<'_> {
    pub(super) fn switched_off(&self) -> Parts {
        let Reason::SwitchedOff { levels } = &self.decision.reason else {
            return ("A level is switched off".to_owned(), Vec::new());
        };
        let all: Vec<String> = levels.iter().map(|level| sentence(level, self.voice)).collect();
        let Some(first) = levels.first() else { return ("A level is switched off".to_owned(), Vec::new()) };
        let short = format!("{} is switched off since {}", name(first), day(first, self.voice));
        let others = if levels.len() > 1 { format!(", and {} more", levels.len() - 1) } else { String::new() };
        let title = fitting(&[format!("{short}{}{others}", because(first)), format!("{short}{others}"), short]);
        let change = "As it should be? Else change `rings` of that level in the settings.";
        (title, vec![lines(&all, LINES_MAX, 0, change)])
    }
}

/// `High is switched off since 2026-03-02 12:25: the words`
pub(super) fn sentence(level: &OffBecause, voice: Voice) -> String {
    format!("{} is switched off since {}{}.", name(level), voice.clock(level.off.since), because(level))
}

fn name(level: &OffBecause) -> String {
    capital(&level.off.condition.name().replace('_', " "))
}

fn because(level: &OffBecause) -> String {
    if level.because.is_empty() { String::new() } else { format!(": {}", level.because) }
}

fn day(level: &OffBecause, voice: Voice) -> String {
    voice.zone.rfc3339(level.off.since).chars().take(10).collect()
}
