//! Why a level was raised, was not, or ended, in one sentence: for `why`. Says nothing to a wrist.

use super::Voice;
use crate::engine::reason::Reason;
use crate::engine::story::Covers;

/// The reasons of levels.
pub(super) fn sentence(reason: &Reason, voice: Voice) -> String {
    let clock = |at| voice.clock(at);
    match reason {
        Reason::BeyondLimit { limit, since } => {
            format!("beyond {} since {}", voice.limit(*limit), clock(*since))
        }
        Reason::NewEpisode { limit, since } => {
            format!(
                "beyond {} again since {}, a new episode under an alert that had not ended",
                voice.limit(*limit),
                clock(*since)
            )
        }
        Reason::StillBeyond { limit, silent_since } => {
            format!("still beyond {} after nothing reached me since {}", voice.limit(*limit), clock(*silent_since))
        }
        Reason::NoLongerWorse { limit, since } => {
            format!(
                "the worse level ended, and the value is still beyond {}, since {}",
                voice.limit(*limit),
                clock(*since)
            )
        }
        Reason::Covered { by, until } => {
            let by = match by {
                Covers::Forecast => "the forecast that rang covers it",
                Covers::SameLow => "it is the low of just before, and that rang",
            };
            format!("{by}; still low at {}, it rings", clock(*until))
        }
        Reason::WorseActive { worse } => format!("{} is active and speaks for it", worse.name()),
        Reason::BackWithin { since } => format!("back past the deadband since {}", clock(*since)),
        Reason::ConditionGone => "the settings no longer hold this level".to_owned(),
        other => other.word().replace('_', " "),
    }
}
