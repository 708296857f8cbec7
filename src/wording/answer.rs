//! What the wearer is answered when they say something: what was understood, or what is still asked.

use super::Voice;
use crate::domain::time::Timestamp;
use crate::engine::effect::{Decision, Side};
use crate::engine::policy::Policy;
use crate::engine::reason::Reason;
use crate::engine::two_signals::Trust;

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
        Reason::Trusts { trust: None } => yes("All readings count.".to_owned()),
        Reason::Trusts { trust: Some(Trust::Source(source)) } => {
            let name = policy.sources.get(usize::from(source.0)).map_or("", |source| source.name.as_str());
            yes(format!(
                "Only {name} counts. The others are kept as history. If it falls silent, or with `recheck trust all`, all count again."
            ))
        }
        Reason::Trusts { trust: Some(Trust::Signal { ours, other, .. }) } => yes(format!(
            "The signal at {} counts, the one at {} does not. When one of them ends, or with `recheck trust all`, all count again.",
            voice.value(*ours),
            voice.value(*other)
        )),
        Reason::NothingToChoose => no("The readings do not alternate between two signals now.".to_owned()),
        Reason::SensorStarted { at, until, end } => {
            let end = end.map_or_else(String::new, |end| {
                format!(" It ends {}; you are told the evening before.", voice.clock(end))
            });
            yes(format!(
                "Sensor started {}. Its silence is no alert until {}. Values of its first day carry a doubt: check with a meter.{end}",
                voice.clock(*at),
                voice.clock(*until)
            ))
        }
        Reason::SensorOff { until } => yes(format!(
            "Sensor off. Nothing is watched until a reading comes; after {} its silence is an alert again.",
            voice.clock(*until)
        )),
        Reason::NoSuchSource { names } => no(format!("There is no such source. There are: {}.", names.join(", "))),
        Reason::MarkedSeen { ids } if ids.is_empty() => yes("No alert is open.".to_owned()),
        Reason::MarkedSeen { ids } => {
            let ids: Vec<String> = ids.iter().map(ToString::to_string).collect();
            yes(format!("Seen: {}. The re-checks go on.", ids.join(", ")))
        }
        Reason::ReminderSet { reminder } => {
            yes(format!("Reminder {}, {}", reminder.id, super::reminder::reminder(reminder, voice)))
        }
        Reason::RemindersCancelled { ids } if ids.is_empty() => yes("There are no reminders.".to_owned()),
        Reason::RemindersCancelled { ids } => {
            let ids: Vec<String> = ids.iter().map(ToString::to_string).collect();
            yes(format!("Cancelled: {}.", ids.join(", ")))
        }
        Reason::NoSuchReminder { id } => no(format!("No reminder has the number {id}. `recheck remind` lists them.")),
        Reason::TooManyReminders { most } => {
            no(format!("There are {most} reminders, and that is the most. `recheck remind cancel` ends one."))
        }
        _ => yes("Noted.".to_owned()),
    }
}
