//! What is asked about a note: was it meant? Says what is known of the moment, and never what an amount should be.

use super::answer::Answer;
use super::text::Parts;
use super::{Voice, text};
use crate::domain::diary::Kind;
use crate::domain::glucose::Glucose;
use crate::domain::time::Timestamp;
use crate::domain::written::{Entry, Written};
use crate::engine::asked::Odd;
use crate::engine::effect::Side;
use crate::engine::reason::Reason;

/// A note that is asked about.
struct Asked<'a> {
    kind: &'a Kind,
    at: Timestamp,
    odd: Option<Odd>,
    low: Option<Glucose>,
    voice: Voice,
}

/// How a question is answered at a keyboard.
const HOW: &str = "If it was, say `recheck diary meant`. If not, `recheck diary` shows its line, to amend or delete.";

/// The answer that is a question.
pub(super) fn answer(reason: &Reason, voice: Voice) -> Option<Answer> {
    match reason {
        Reason::Meant { kind, at, odd, low } => {
            let asked = Asked { kind, at: *at, odd: *odd, low: *low, voice };
            let words = format!("{} {}", asked.question(), asked.until_answered());
            Some(Answer { first: true, accepted: true, words })
        }
        Reason::LongActingWhileLow { at, glucose } => {
            let words = format!(
                "You were low, {} at {}: treat the low first. Do not skip background insulin.",
                voice.value(*glucose),
                voice.clock(*at)
            );
            Some(Answer { first: true, accepted: true, words })
        }
        Reason::TreatedBefore { side, at, since } => {
            Some(Answer { first: true, accepted: false, words: treated_before(*side, *at, *since, voice) })
        }
        Reason::NothingInQuestion => {
            Some(Answer { first: false, accepted: false, words: "No dose is in question.".to_owned() })
        }
        _ => None,
    }
}

/// The message that asks about a line of a file.
pub(super) fn told(reason: &Reason, voice: Voice) -> Option<Parts> {
    match reason {
        Reason::Meant { kind, at, odd, low } => {
            let asked = Asked { kind, at: *at, odd: *odd, low: *low, voice };
            let title = text::fitting(&[
                format!("{}, {}: was this meant?", text::capital(&asked.what()), voice.clock(*at)),
                format!("{}: was this meant?", text::capital(&asked.what())),
                format!("A note of {}: was this meant?", voice.clock(*at)),
            ]);
            Some((
                title,
                vec![asked.question(), "Write `meant` in the diary if it was, or correct the line.".to_owned()],
            ))
        }
        Reason::TreatedBefore { side, at, since } => Some((
            format!("Treated {}, before it began? Say when", voice.clock(*at)),
            vec![treated_before(*side, *at, *since, voice)],
        )),
        _ => None,
    }
}

/// The sentence for the log and for `why`.
pub(super) fn sentence(reason: &Reason, voice: Voice) -> String {
    match reason {
        Reason::Meant { at, odd, low, .. } => {
            let odd = odd.map(|odd| match odd {
                Odd::FarAboveUsual { .. } => "far more than usual",
                Odd::IsGlucose(_) => "the same number as glucose then",
                Odd::KetonesBeyondMeters => "more than meters show",
            });
            let low = low.map(|glucose| format!("glucose was {}", voice.value(glucose)));
            let why: Vec<String> = odd.map(str::to_owned).into_iter().chain(low).collect();
            format!("asked whether the note of {} was meant: {}", voice.clock(*at), why.join(", "))
        }
        Reason::LongActingWhileLow { at, glucose } => {
            format!("long-acting insulin noted for {}, at {}", voice.clock(*at), voice.value(*glucose))
        }
        Reason::TreatedBefore { at, since, .. } => {
            format!("treated at {}, long before it began at {}: asked about", voice.clock(*at), voice.clock(*since))
        }
        other => other.word().replace('_', " "),
    }
}

fn treated_before(side: Side, at: Timestamp, since: Timestamp, voice: Voice) -> String {
    let what = if side == Side::Low { "low" } else { "high" };
    format!(
        "This {what} began {}, and you treated at {}: was that meant for it? No check follows. If you have treated \
         since, say `recheck treated {what}` with its time.",
        voice.clock(since),
        voice.clock(at)
    )
}

impl Asked<'_> {
    /// `insulin 400 U`.
    fn what(&self) -> String {
        let what = Entry::Noted { kind: self.kind.clone(), words: String::new() };
        Written { at: self.at, what }.to_string()
    }

    fn question(&self) -> String {
        let (what, at) = (self.what(), self.voice.clock(self.at));
        let low = self.low.map(|glucose| format!("You were at {} at {at}.", self.voice.value(glucose)));
        let odd = self.odd.map(|odd| match odd {
            Odd::FarAboveUsual { largest: Some(_) } => {
                format!("{} is far more than you have noted in 30 days.", text::capital(&what))
            }
            Odd::FarAboveUsual { largest: None } => {
                format!("{} is asked about: nothing is known yet of your doses.", text::capital(&what))
            }
            Odd::IsGlucose(glucose) => format!("{} was your glucose at {at}.", self.voice.value(glucose)),
            Odd::KetonesBeyondMeters => format!("{} is more than meters show.", text::capital(&what)),
        });
        let is = if self.odd.is_some() || !matches!(self.kind, Kind::Insulin(_)) { "this" } else { "insulin" };
        let facts = [low, odd].into_iter().flatten().collect::<Vec<_>>().join(" ");
        format!("{facts} Was {is} meant?")
    }

    /// What holds until the question is answered, and how it is.
    fn until_answered(&self) -> String {
        match self.odd {
            Some(Odd::KetonesBeyondMeters) => {
                "Until you correct it, it counts. `recheck diary` shows its line, to amend or delete.".to_owned()
            }
            Some(_) => format!("Until then it counts as insulin that acts, and silences nothing. {HOW}"),
            None => "If not, `recheck diary` shows its line, to amend or delete.".to_owned(),
        }
    }
}
