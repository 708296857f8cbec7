//! Quiet hours beside the night, and how long a limited silence may be.

use super::problem::Place;
use super::words::Words;
use crate::domain::schedule::Schedule;
use crate::domain::time::Span;
use crate::engine::effect::Condition;
use crate::engine::policy::Policy;
use std::collections::BTreeMap;

/// What quiet hours look like.
const HOURS_EXPECTED: &str = "hours of a week such as \"mon-fri 09:00-12:00; sun 13:00-15:00\"";

pub(super) fn quiet(top: &mut Words<'_>, policy: &mut Policy, start: Place) {
    let node = top.take("quiet");
    let mut words = Words::of("quiet", node, start, top.problems());
    if let Some(hours) = words.parsed("hours", HOURS_EXPECTED, Schedule::parse) {
        policy.quiet_hours = hours;
    }
    let node = words.take("longest");
    let mut spans = Words::of("quiet.longest", node, start, words.problems());
    policy.quiet_longest = longest_spans(&mut spans);
    spans.end();
    words.end();
}

/// Those that are shorter than the longest there may be; none may be longer, and none may be nothing.
fn longest_spans(words: &mut Words<'_>) -> BTreeMap<Condition, Span> {
    let mut shorter = BTreeMap::new();
    for condition in Condition::ALL {
        let Some(most) = condition.mute_longest() else { continue };
        let place = words.place_of(condition.name());
        let mut span = most;
        words.span(condition.name(), &mut span);
        if span > most || span < Span::minutes(1) {
            let place = place.unwrap_or(words.place);
            words.wrong(
                place,
                format!("quiet.longest.{} is out of range", condition.name()),
                format!("it should be from 1 min to {most}: a limited silence may be made shorter, never longer"),
            );
        } else if span < most {
            shorter.insert(condition, span);
        }
    }
    shorter
}

#[cfg(test)]
mod tests {
    use crate::config::meant::{Purpose, settings};
    use crate::domain::local::Zone;

    #[test]
    fn a_limited_silence_may_be_made_shorter_and_never_longer() {
        let read = |text: &str| settings(text, None, &[], Purpose::Replay, Zone::UTC);
        let shorter = read("[quiet.longest]\nhigh = \"45m\"\nlow = \"15m\"\n").unwrap().policy.quiet_longest;
        assert_eq!(shorter.len(), 1, "the longest there may be is no setting of its own");
        for wrong in ["very_low = \"11m\"", "high = \"3h\"", "high = \"0m\"", "reminder = \"5m\""] {
            let problems = read(&format!("[quiet.longest]\n{wrong}\n")).unwrap_err().all;
            assert_eq!(problems.len(), 1, "{wrong}: {problems:?}");
        }
    }
}
