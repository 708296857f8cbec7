//! What the wearer is answered when they say something: what was understood, or what is still asked.

use super::Voice;
use crate::domain::time::Timestamp;
use crate::engine::effect::{Decision, Side};
use crate::engine::policy::Policy;
use crate::engine::reason::Reason;

/// An answer: accepted, or a question back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answer {
    /// Was it taken in?
    pub accepted: bool,
    /// The words.
    pub words: String,
}

/// The answer in a decision, if it is one.
#[must_use]
pub fn answer(decision: &Decision, policy: &Policy, now: Timestamp) -> Answer {
    let voice = Voice::new(policy, now);
    let yes = |words: String| Answer { accepted: true, words };
    let no = |words: String| Answer { accepted: false, words };
    match &decision.reason {
        Reason::LooksPlanned { side, treated, looks, night_rule } => {
            let (with, what) = match side {
                Side::High => ("insulin", "high"),
                Side::Low => ("food", "low"),
            };
            let of = treated.alert_since.map_or_else(
                || format!("{what}, treated {}", voice.clock(treated.at)),
                |since| format!("{what} of {}", voice.clock(since)),
            );
            let looks: Vec<String> = looks.iter().map(|look| voice.clock(*look)).collect();
            let looks = match (looks.is_empty(), side) {
                (true, _) => "looking now".to_owned(),
                (false, Side::Low) => {
                    format!("looks at {}, and every {} until it is back", looks.join(", "), policy.recheck.low_look)
                }
                (false, Side::High) => format!("looks at {}", looks.join(", ")),
            };
            let night = if *night_rule {
                format!(
                    "\nBy night a look rings only above {} and not falling, or when falling fast.",
                    voice.limit(policy.levels.very_high.limit)
                )
            } else {
                String::new()
            };
            yes(format!("{with}, {of}; {looks}{night}"))
        }
        Reason::WhichOne { open } if open.is_empty() => {
            no("No alert is open. Say what was treated: `recheck treated high` or `recheck treated low`.".to_owned())
        }
        Reason::WhichOne { open } => {
            let lines: Vec<String> = open
                .iter()
                .map(|open| {
                    format!(
                        "  recheck treated {:<4} {} since {}",
                        open.id.to_string(),
                        open.condition.name(),
                        voice.clock(open.since)
                    )
                })
                .collect();
            no(format!("Several alerts are open. Which one was treated?\n{}", lines.join("\n")))
        }
        Reason::NoSuchAlert { id } => no(format!("No open alert has the number {id}. `recheck status` lists them.")),
        Reason::MarkedSeen { ids } if ids.is_empty() => yes("No alert is open.".to_owned()),
        Reason::MarkedSeen { ids } => {
            let ids: Vec<String> = ids.iter().map(ToString::to_string).collect();
            yes(format!("Seen: {}. The re-checks go on.", ids.join(", ")))
        }
        _ => yes("Noted.".to_owned()),
    }
}
