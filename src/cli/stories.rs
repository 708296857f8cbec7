//! How a decision reads in a timeline: one line, its title cut to what fits.

use crate::domain::time::Timestamp;
use crate::engine::effect::{Decision, What};
use crate::engine::policy::Policy;
use crate::wording::answer::answer;
use crate::wording::text::text;
use crate::wording::{Voice, reason};

/// `14:10  ring   High 243, rising, 14:10. Check, and note what you did`
pub(super) fn story(at: Timestamp, decision: &Decision, policy: &Policy) -> String {
    let voice = Voice::new(policy, at);
    let (verb, words) = match decision.what {
        What::Answer => ("answer", answer(decision, policy, at).words),
        _ if decision.rings => ("RING", text(decision, policy, at).title),
        What::Look => ("look", reason::sentence(&decision.reason, voice)),
        What::Ended => {
            ("over", format!("{}, {}", decision.condition.name(), reason::sentence(&decision.reason, voice)))
        }
        What::Held | What::Withheld => {
            ("quiet", format!("{}: {}", decision.condition.name(), reason::sentence(&decision.reason, voice)))
        }
        What::Raised | What::Repeated | What::Prompt | What::Told | What::Escalated | What::Called => {
            ("quiet", decision.condition.name().to_owned())
        }
    };
    let words = words.replace('\n', "\n               ");
    format!("{}  {verb:<6} {words}", policy.zone.clock(at))
}
