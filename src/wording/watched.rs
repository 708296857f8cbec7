//! What is said of a pump's new set, of rapid insulin that was taken for long-acting, and of what was kept while nobody
//! watched. Names no amount.

use super::answer::Answer;
use super::text::{Parts, Said, fitting};
use super::{LINES_MAX, Voice};
use crate::domain::time::Timestamp;
use crate::engine::policy::Policy;
use crate::engine::reason::Reason;

/// What the wearer is answered.
pub(super) fn answer(reason: &Reason, policy: &Policy, voice: Voice) -> Option<Answer> {
    match reason {
        Reason::SetNoted { at, look } => {
            let words = format!("New set {}: checked at {}.", voice.clock(*at), voice.clock(*look));
            Some(Answer { first: false, accepted: true, words })
        }
        Reason::RapidForLong { at, until, told } => {
            Some(Answer { first: true, accepted: true, words: rapid_for_long(*at, *until, *told, policy, voice) })
        }
        _ => None,
    }
}

/// The message where nobody reads an answer.
pub(super) fn told(reason: &Reason, policy: &Policy, voice: Voice) -> Option<Parts> {
    match reason {
        Reason::RapidForLong { at, until, told } => Some((
            format!("Rapid for long-acting, {}. Call your care team now", voice.clock(*at)),
            vec![rapid_for_long(*at, *until, *told, policy, voice)],
        )),
        Reason::KeptAnswered { lines } => Some(kept(lines)),
        _ => None,
    }
}

fn rapid_for_long(at: Timestamp, until: Timestamp, told: Option<u8>, policy: &Policy, voice: Voice) -> String {
    let person = told.and_then(|person| policy.people.get(usize::from(person)));
    let told = person.map_or_else(String::new, |person| format!(" {} is told.", person.shown()));
    format!(
        "Rapid insulin instead of long-acting, {}: call your care team now, also about the background insulin. Glucose \
         is checked every half hour until {}.{told}",
        voice.clock(at),
        voice.clock(until)
    )
}

fn kept(lines: &[String]) -> Parts {
    let title = match lines.len() {
        1 => "Taken in now: what you said while recheck was off".to_owned(),
        count => format!("Taken in now: {count} things said while recheck was off"),
    };
    let shown: Vec<&str> = lines.iter().take(LINES_MAX).map(String::as_str).collect();
    let more = lines.len() - shown.len();
    let more = if more > 0 { format!("\nAnd {more} more, in the status.") } else { String::new() };
    (title, vec![format!("{}{more}", shown.join("\n"))])
}

impl Said<'_> {
    /// A new set that does not seem to work.
    pub(super) fn new_set(&self, at: Timestamp) -> Parts {
        let (value, read) = (self.value_and_direction(), self.read_at());
        let set = self.voice.clock(at);
        (
            fitting(&[
                format!("{value}, {read}, new set {set}. Check set and ketones"),
                format!("{value}, {read}. Check set and ketones"),
            ]),
            vec![
                "Check the set and ketones, and follow your pump plan.".to_owned(),
                format!("The set of {set} may not be working."),
            ],
        )
    }

    /// A look at rapid insulin that was taken for long-acting.
    pub(super) fn mistaken_look(&self, at: Timestamp, next: Option<Timestamp>) -> Parts {
        let (value, read) = (self.value_and_direction(), self.read_at());
        let next = next.map_or_else(String::new, |next| format!("Next check {}.", self.voice.clock(next)));
        (
            format!("{value}, {read}. Finger-prick, call your team"),
            vec![format!("Rapid insulin of {} still acts, and it may go low.", self.voice.clock(at)), next],
        )
    }

    /// Somebody else is told of it.
    pub(super) fn rapid_for_long_to_others(&self, at: Timestamp, until: Timestamp) -> (String, String) {
        let (name, at, until) = (self.wearer(), self.voice.clock(at), self.voice.clock(until));
        (
            format!("{name} took the wrong insulin, {at}"),
            format!("Rapid instead of long-acting: it can bring a low until {until}. Have they called the care team?"),
        )
    }

    /// The same person is told of its end.
    pub(super) fn mistaken_over(&self, at: Timestamp, taken_back: bool) -> (String, String) {
        let (name, at) = (self.wearer(), self.voice.clock(at));
        if taken_back {
            return (format!("Taken back: the wrong insulin of {name}, {at}"), "The line was corrected.".to_owned());
        }
        let body = format!("It has done nearly all of its work. {}", self.full_value());
        (format!("Over: the wrong insulin of {name}, {at}"), body)
    }
}

/// Why, for `why`.
pub(super) fn sentence(reason: &Reason, voice: Voice) -> String {
    let clock = |at| voice.clock(at);
    match reason {
        Reason::SetNoted { at, look } => format!("a new set of {}, looked at at {}", clock(*at), clock(*look)),
        Reason::NewSet { at, works } => {
            let found = if *works { "nothing speaks against it" } else { "very high and not falling" };
            format!("a new set of {}: {found}", clock(*at))
        }
        Reason::RapidForLong { at, until, .. } => {
            format!("rapid insulin of {} was taken for long-acting, watched until {}", clock(*at), clock(*until))
        }
        Reason::MistakenLook { at, .. } => {
            format!("a look at the rapid insulin of {} that was taken for long-acting", clock(*at))
        }
        Reason::MistakenOver { at, .. } => format!("the wrong insulin of {} is watched no more", clock(*at)),
        Reason::KeptAnswered { lines } => format!("{} lines were kept while nobody watched, and answered", lines.len()),
        other => other.word().replace('_', " "),
    }
}
