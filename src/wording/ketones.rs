//! What is said of ketones: the row of what was noted, the question again, what others are told. One scale for the whole
//! program; it names no amount, and never says that all is well.

use super::Voice;
use super::answer::Answer;
use super::text::{Parts, Said, capital, fitting, sentences};
use crate::domain::ketone_table::{EMERGENCY_FROM, HIGH_ABOVE, KetoneRow, KetoneTest, RAISED_FROM};
use crate::domain::ketones::Ketones;
use crate::domain::time::Timestamp;
use crate::engine::ketones::reason::{Finding, KetoneWhy};
use crate::engine::mode::profile::Profile;
use crate::engine::policy::{Policy, Therapy};

/// A strip in urine tells of what the bladder gathered.
const URINE: &str = "A urine strip runs hours behind.";

/// What a question about ketones says of what they mean, in one sentence, whichever way they are measured.
#[must_use]
pub fn scale(test: KetoneTest) -> String {
    const FLAGS: &str = "vomiting, stomach pain, fast breathing or drowsy: emergency help now.";
    match test {
        KetoneTest::Blood => format!(
            "Ketones {RAISED_FROM} or more: your ketone plan; above {}: call your team; {} or more, or {FLAGS}",
            tenths(HIGH_ABOVE.0),
            tenths(EMERGENCY_FROM.0)
        ),
        KetoneTest::Urine => {
            format!("Ketones trace or small: your ketone plan; moderate: call your team; large, or {FLAGS}")
        }
        KetoneTest::None => format!("Drink, and call your team if it is not falling in 2 h; {FLAGS}"),
    }
}

/// The same where there is less room.
#[must_use]
pub(super) fn short_scale(test: KetoneTest) -> String {
    let (high, emergency) = (tenths(HIGH_ABOVE.0), tenths(EMERGENCY_FROM.0));
    match test {
        KetoneTest::Blood => {
            format!("Above {high} call your care team; {emergency}, vomiting or drowsy: emergency help now.")
        }
        KetoneTest::Urine => "Moderate: call your care team; large, vomiting or drowsy: emergency help now.".to_owned(),
        KetoneTest::None => "Drink, and watch how you feel; vomiting or drowsy: emergency help now.".to_owned(),
    }
}

/// What may not let insulin in, by the therapy: where a question about ketones looks besides.
#[must_use]
pub const fn pen_or_set(policy: &Policy) -> &'static str {
    match policy.therapy {
        Therapy::Pump | Therapy::SelfAdjusting => "set",
        Therapy::Injections => "pen",
    }
}

/// `3.0`, where a plain number would be `3`.
fn tenths(hundredths: i32) -> String {
    let (whole, tenths) = (hundredths / 100, hundredths % 100);
    if tenths % 10 == 0 { format!("{whole}.{}", tenths / 10) } else { format!("{whole}.{tenths:02}") }
}

/// `ketones 3.5`, `ketones HI`, `urine ketones large`
fn measured_words(measured: Ketones) -> String {
    match measured {
        Ketones::Blood(amount) => format!("ketones {}", tenths(amount.0)),
        Ketones::BloodHigh => "ketones HI".to_owned(),
        Ketones::Urine(urine) => format!("urine ketones {}", urine.name()),
    }
}

/// What was found, short: `ketones 3.5`, `vomiting, ketones unknown`, `vomiting while low`
fn found_words(found: &Finding) -> String {
    let measured = found.measured.map(|(_, measured)| measured_words(measured));
    match (found.symptoms, measured) {
        (None, Some(measured)) => measured,
        (Some((_, symptoms)), _) if found.low => {
            let flag = symptoms.red_flags().first().copied().unwrap_or("unwell");
            format!("{flag} while low")
        }
        (Some((_, symptoms)), measured) => {
            let flag = symptoms.red_flags().first().copied().unwrap_or("unwell");
            format!("{flag}, {}", measured.unwrap_or_else(|| "ketones unknown".to_owned()))
        }
        (None, None) => "ketones".to_owned(),
    }
}

impl Said<'_> {
    pub(super) fn ketones(&self, why: &KetoneWhy) -> Parts {
        let clock = |at: Timestamp| self.voice.clock(at);
        let part = pen_or_set(self.policy);
        match why {
            KetoneWhy::Row { found, next } => (self.ketone_title(found), self.row_parts(found, *next)),
            KetoneWhy::Again { found, next } => (
                self.title_again(found),
                vec![self.note_it(), self.emergency_from(), format!("Asked again {}.", clock(*next))],
            ),
            KetoneWhy::Wanted { since, .. } => (
                format!("Measure ketones: nothing noted since {}", clock(*since)),
                vec![format!("Ketones can rise at any glucose; check the {part} too."), self.emergency_from()],
            ),
            KetoneWhy::Over { now } => (self.ketone_title(now), self.row_parts(now, None)),
            KetoneWhy::NoLongerNoted { .. } | KetoneWhy::NotMeasured { .. } | KetoneWhy::LowFirst { .. } => {
                (capital(&sentence(why, self.voice)), Vec::new())
            }
        }
    }

    fn title_again(&self, found: &Finding) -> String {
        let (what, at) = (capital(&found_words(found)), self.voice.clock(found.at));
        match self.policy.ketone_test {
            KetoneTest::None => {
                fitting(&[format!("{what}, {at}: how are you now?"), format!("{what}: how are you now?")])
            }
            KetoneTest::Blood | KetoneTest::Urine => {
                let measure = if what.to_lowercase().contains("ketones") { "measure again" } else { "measure ketones" };
                fitting(&[format!("{what}, {at}: {measure}"), format!("{what}: {measure}")])
            }
        }
    }

    fn note_it(&self) -> String {
        let part = pen_or_set(self.policy);
        match self.policy.ketone_test {
            KetoneTest::None => format!("Drink, check the {part}, and call your care team if you are no better."),
            KetoneTest::Blood | KetoneTest::Urine => {
                format!("Note the value, you are told what it means; check the {part} too.")
            }
        }
    }

    /// The last part of the scale, where there is no room for more.
    fn emergency_from(&self) -> String {
        let value = match self.policy.ketone_test {
            KetoneTest::Blood => "3.0 or more, or vomiting",
            KetoneTest::Urine => "Large, or vomiting",
            KetoneTest::None => "Vomiting",
        };
        format!("{value}, stomach pain, fast breathing or drowsy: emergency help now.")
    }

    fn ketone_title(&self, found: &Finding) -> String {
        let (what, at) = (found_words(found), self.voice.clock(found.at));
        match found.row {
            KetoneRow::Emergency => {
                fitting(&[format!("Emergency help now: {what}, {at}"), format!("Emergency help now: {what}")])
            }
            KetoneRow::High | KetoneRow::Unwell => fitting(&[
                format!("{}, {at}. Call your care team now", capital(&what)),
                format!("Call your team: {what}, {at}"),
            ]),
            KetoneRow::Raised => format!("{}, raised, {at}. Your ketone plan", capital(&what)),
            KetoneRow::NotRaised => format!("{}, not raised, {at}", capital(&what)),
        }
    }

    /// What its row says to do; what matters most first.
    fn row_parts(&self, found: &Finding, next: Option<Timestamp>) -> Vec<String> {
        let part = pen_or_set(self.policy);
        let again = next.map_or_else(String::new, |next| format!("Asked again {}.", self.voice.clock(next)));
        let mut parts = match found.row {
            KetoneRow::NotRaised => {
                let next = next.map_or_else(String::new, |next| {
                    format!("Next measurement {} if still high or unwell.", self.voice.clock(next))
                });
                vec!["Not raised.".to_owned(), next]
            }
            KetoneRow::Raised => {
                let pump = match self.policy.therapy {
                    Therapy::Pump | Therapy::SelfAdjusting => "Raised. Pump: new set, insulin by pen.".to_owned(),
                    Therapy::Injections => format!("Raised: check the {part}."),
                };
                vec!["Follow your ketone plan, drink, and never stop background insulin.".to_owned(), pump, again]
            }
            KetoneRow::High => vec![
                "Call your care team now; no answer in 30 min: the out-of-hours line.".to_owned(),
                format!("Ketones are raised: check the {part}."),
                again,
            ],
            KetoneRow::Unwell => vec![
                "Call your care team now; measure again in 1 h.".to_owned(),
                format!("It is an emergency if fluids do not stay down: call {}.", self.emergency()),
                format!("Not raised; check the {part}."),
                again,
            ],
            KetoneRow::Emergency => self.emergency_parts(found),
        };
        if found.row > KetoneRow::NotRaised && self.policy.profiles.contains(&Profile::Pregnancy) {
            parts.push("In pregnancy a value counts a row worse.".to_owned());
        }
        parts.extend(found.measured.filter(|(_, measured)| measured.is_urine()).map(|_| URINE.to_owned()));
        parts
    }

    fn emergency_parts(&self, found: &Finding) -> Vec<String> {
        let (emergency, part) = (self.emergency(), pen_or_set(self.policy));
        let first = if found.low {
            format!("Call {emergency} now: sugar may not stay down; glucagon if it is there.")
        } else {
            format!("Call {emergency} now, and do not stay alone; insulin may not be getting in: {part}.")
        };
        let value = found.measured.map(|(_, measured)| measured.row(false));
        let value = match value {
            Some(KetoneRow::NotRaised) => "Ketones are not raised, which does not speak against it.",
            Some(KetoneRow::Raised | KetoneRow::Unwell | KetoneRow::High | KetoneRow::Emergency) => {
                "Ketones are raised."
            }
            None => "",
        };
        vec![first, "It rings until somebody presses Seen.".to_owned(), value.to_owned()]
    }

    /// To somebody who is called: the title, and the fact.
    pub(super) fn ketones_to_others(&self, why: &KetoneWhy, name: &str) -> (String, String) {
        match why {
            KetoneWhy::Row { found, .. } | KetoneWhy::Again { found, .. } => {
                let (what, at) = (found_words(found), self.voice.clock(found.at));
                (
                    fitting(&[
                        format!("Call {name}: emergency, {what}, {at}"),
                        format!("Call {name}: emergency, {what}"),
                    ]),
                    format!("{} noted at {at}: this needs emergency help now.", capital(&what)),
                )
            }
            _ => (format!("Call {name}: ketones"), String::new()),
        }
    }

    /// To somebody who was called, when it is none any more.
    pub(super) fn ketones_over(&self, why: &KetoneWhy, name: &str) -> (String, String) {
        match why {
            KetoneWhy::Over { now } => {
                let (what, at) = (capital(&found_words(now)), self.voice.clock(now.at));
                let row = match now.row {
                    KetoneRow::NotRaised => "not raised",
                    KetoneRow::Raised => "raised",
                    KetoneRow::Unwell | KetoneRow::High | KetoneRow::Emergency => "call the care team",
                };
                (
                    fitting(&[format!("{what}, {at}: {row} ({name})"), format!("{what}, {at}: {row}")]),
                    format!("{what} at {at}: {row}. Ask how it is."),
                )
            }
            _ => {
                (format!("Over: what you were called for, {name}"), format!("{}.", capital(&sentence(why, self.voice))))
            }
        }
    }
}

/// What the wearer is answered.
pub(super) fn answer(why: &KetoneWhy, said: &Said<'_>) -> Answer {
    let clock = |at: Timestamp| said.voice.clock(at);
    let words = match why {
        KetoneWhy::Row { found, next } => {
            let title = match found.row {
                KetoneRow::Emergency => format!("Emergency help now: {}, {}.", found_words(found), clock(found.at)),
                _ => format!("{}, {}.", capital(&found_words(found)), clock(found.at)),
            };
            sentences(&[vec![title], said.row_parts(found, *next)].concat())
        }
        KetoneWhy::LowFirst { .. } => {
            "Drowsy may be a low first: finger-prick now, and treat by your plan. If it is not low, measure ketones."
                .to_owned()
        }
        KetoneWhy::Wanted { next, .. } => {
            let next = next.map_or_else(String::new, |next| format!(" Asked again {}.", clock(next)));
            format!("Measure ketones too, whatever the glucose. {}{next}", scale(said.policy.ketone_test))
        }
        KetoneWhy::Again { .. }
        | KetoneWhy::Over { .. }
        | KetoneWhy::NoLongerNoted { .. }
        | KetoneWhy::NotMeasured { .. } => capital(&sentence(why, said.voice)),
    };
    Answer { first: why.is_emergency(), accepted: true, words }
}

/// Why, in one sentence.
pub(super) fn sentence(why: &KetoneWhy, voice: Voice) -> String {
    let clock = |at: Timestamp| voice.clock(at);
    let row = |found: &Finding| {
        let (what, at, row) = (found_words(found), clock(found.at), found.row.name().replace('_', " "));
        format!("{what}, {at}: {row}")
    };
    match why {
        KetoneWhy::Row { found, next: Some(next) } if found.row > KetoneRow::NotRaised => {
            format!("{}; asked again {}", row(found), clock(*next))
        }
        KetoneWhy::Row { found, .. } => row(found),
        KetoneWhy::Again { found, next } => {
            format!("{}; nothing noted since, asked again {}", row(found), clock(*next))
        }
        KetoneWhy::Over { now } => format!("now {}", row(now)),
        KetoneWhy::NoLongerNoted { at } => format!("what was noted for {} is noted no more", clock(*at)),
        KetoneWhy::NotMeasured { at } => {
            format!("noted {}, and nothing since: it is asked about no more by itself", clock(*at))
        }
        KetoneWhy::LowFirst { at } => format!("drowsy at {}, and glucose is low or not known: a low first", clock(*at)),
        KetoneWhy::Wanted { since, .. } => {
            format!("ketones are to be measured since {}, whatever the glucose", clock(*since))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::diary::Amount;

    #[test]
    fn the_scale_is_that_of_the_table() {
        let said = scale(KetoneTest::Blood);
        for part in ["0.6 or more", "above 1.5", "3.0 or more", "vomiting, stomach pain, fast breathing or drowsy"] {
            assert!(said.contains(part), "{part}: {said}");
        }
        assert!(KetoneTest::ALL.into_iter().all(|test| scale(test).chars().count() <= 165));
        for (value, word) in [(350, "ketones 3.5"), (300, "ketones 3.0"), (65, "ketones 0.65")] {
            assert_eq!(measured_words(Ketones::Blood(Amount(value))), word);
        }
    }
}
