//! Why somebody was called, asked or told of an answer, in one sentence: for `why`, the log and the timeline.

use super::Voice;
use super::reason::sentence;
use crate::engine::alert::calls::StillCalled;
use crate::engine::alert::steps::Step;
use crate::engine::reason::Reason;

/// The same of what nobody answers, or somebody has.
pub(super) fn of_calls(reason: &Reason, voice: Voice) -> String {
    let clock = |at| voice.clock(at);
    let done = |step: &Step| match step {
        Step::Promote => "as grave as a very low now",
        Step::Repeat => "rings again",
        Step::Again => "goes on ringing",
        Step::Second => "the second person is called",
        Step::Third => "the third person is called",
    };
    let by = |by: &Option<String>| by.as_ref().map_or_else(String::new, |name| format!(" by {name}"));
    match reason {
        Reason::Unanswered { since, step, .. } => {
            format!("nobody has answered since {}: {}", clock(*since), done(step))
        }
        Reason::StillUnanswered { since, of, step, .. } => {
            format!("nobody has answered since {}: {}; {}", clock(*since), done(step), sentence(of, voice))
        }
        Reason::NotRecovering { since, answered, by: who, .. } => format!(
            "low since {}, answered {}{}, and it stays: others are called",
            clock(*since),
            clock(*answered),
            by(who)
        ),
        Reason::StillCalled(StillCalled { since, answered, by: who, treated, .. }) => {
            let treated = treated.map_or_else(String::new, |at| format!(", treated {}", clock(at)));
            format!(
                "low since {}, answered {}{}{treated}, and how it goes is not known: others are called",
                clock(*since),
                clock(*answered),
                by(who)
            )
        }
        Reason::HowIsIt { since, said, by: who, with, next } => {
            let what = if *with { "is with the wearer" } else { "has it" };
            let (since, said, next) = (clock(*since), clock(*said), clock(*next));
            format!("low since {since}, {who} {what} since {said}, and is asked; others are called from {next}")
        }
        Reason::ChildSeen => "a child has seen it: a carer is to answer".to_owned(),
        Reason::LowLasts { since, answered, by: who } => {
            let answer = answered.map_or_else(String::new, |at| format!(", answered {}{}", clock(at), by(who)));
            format!("low since {}{answer}, and it lasts", clock(*since))
        }
        Reason::HighUnanswered { began, since, .. } => {
            format!("high since {}, unanswered since {}: others are called", clock(*began), clock(*since))
        }
        Reason::Answered { at, by: who } => format!("answered {}{}", clock(*at), by(who)),
        Reason::NoLongerWatched { last, at } => {
            format!("the signal that was low gives nothing any more: last {} at {}", voice.value(*last), clock(*at))
        }
        Reason::LowOver { since } => format!("the low of {} is over", clock(*since)),
        Reason::NoSuchPerson { names } => format!("no such person; there are: {}", names.join(", ")),
        other => other.word().replace('_', " "),
    }
}
