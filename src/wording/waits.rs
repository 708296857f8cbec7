//! Why something waits, in one sentence: the reasons of what does not ring, and of what is told when it may again.

use super::Voice;
use crate::engine::alert::hours::Held;
use crate::engine::reason::Reason;

/// The same of what does not ring, and of what is told when it may again.
pub(super) fn of_what_waits(reason: &Reason, voice: Voice) -> String {
    let clock = |at| voice.clock(at);
    match reason {
        Reason::Night { until } => format!("it is night, this waits until {}", clock(*until)),
        Reason::QuietHours { until } => format!("quiet hours, this waits until {}", clock(*until)),
        Reason::Quiet { until } => format!("it is quiet until {}", clock(*until)),
        Reason::QuietUntil { condition, until, .. } => format!("{} quiet until {}", condition.name(), clock(*until)),
        Reason::QuietWhat { .. } => "what is to be quiet was not said".to_owned(),
        Reason::QuietOff { conditions } => format!("{} conditions ring again", conditions.len()),
        Reason::Morning { stretches, rings, held, more } => format!(
            "the night is over: {} alerts, {rings} rings, {} waited and still stand",
            stretches.len(),
            waited(held, *more)
        ),
        Reason::Digest { held, more } => {
            format!("quiet hours are over: {} waited and still stand", waited(held, *more))
        }
        Reason::SaidWith { condition, .. } => {
            format!("said with what was worse in the same moment: {}", condition.row().short)
        }
        Reason::WhileLow => "it is low: this waits for its end, and need not be said if it is over by then".to_owned(),
        Reason::RangJustNow { until } => {
            format!("it rang just now, or often lately; this waits until {}", clock(*until))
        }
        Reason::Flood { since } => {
            format!("several alerts came at once, from {} on: they are told as one", clock(*since))
        }
        Reason::FloodTold { count, held, more, .. } => {
            format!("{count} alerts came at once; {} did not ring by themselves", waited(held, *more))
        }
        Reason::FloodOver { held, more } => {
            format!("nothing new has come for ten minutes: {} did not ring, and still stand", waited(held, *more))
        }
        Reason::SwitchedOff { levels } => {
            let levels: Vec<String> = levels.iter().map(|level| super::service::sentence(level, voice)).collect();
            levels.join(" ")
        }
        Reason::QuietOver { since } => {
            format!("the silence is over, and this has stood since {}", clock(*since))
        }
        other => other.word().replace('_', " "),
    }
}

fn waited(held: &[Held], more: u32) -> u64 {
    u64::from(more).saturating_add(held.len() as u64)
}
