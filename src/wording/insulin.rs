//! What is said of insulin that was noted: how long ago, and what of its effect is still to come, as a share and an
//! estimate; of what a correction did so far; and of one that does nothing.

use super::Voice;
use super::since;
use super::text::{Said, fitting, sentences};
use crate::domain::glucose::{Glucose, Unit};
use crate::domain::insulin::words;
use crate::domain::time::{Span, Timestamp};
use crate::engine::effect::Condition;
use crate::engine::outcome::{Found, Outcome};
use crate::engine::policy::{Policy, Therapy};
use crate::engine::reason::{Reason, Treatment};

/// Levels of blood ketones and what they mean: international consensus on ketoacidosis risk, Danne 2019, table 1.
const KETONES: &str = "Measure blood ketones. Below 0.6 mmol/L: not raised. 0.6 to 1.5: they build up, measure again in one to two hours. 1.6 to 3.0: ketoacidosis threatens, call your care team now. Above 3.0, or vomiting, stomach pain, fast breathing or drowsiness whatever they are: ketoacidosis is likely, get emergency help now.";

/// What of a dose is still to come: `about half of its effect is still to come`.
fn to_come(dose: Timestamp, policy: &Policy, now: Timestamp) -> String {
    format!("{} of its effect is still to come", words(policy.insulin.still_to_come(now - dose)))
}

impl Said<'_> {
    /// Of a high: how long ago insulin was noted, and what of it is still to come. Where none is noted nothing is said of it,
    /// since that would suggest some.
    pub(super) fn insulin(&self) -> String {
        const UNSEEN: &str = "what your pump gives by itself is not seen";
        let adjusts = self.policy.therapy == Therapy::SelfAdjusting;
        let level = matches!(self.decision.condition, Condition::High | Condition::VeryHigh);
        let Some(at) = self.decision.insulin else {
            return if adjusts && level { format!(" Mind that {UNSEEN}.") } else { String::new() };
        };
        let after = since(at, self.voice.now);
        // A rise that nothing was noted for has its own words; a dose that still works belongs to them.
        if self.decision.condition == Condition::UnnotedRise && after > self.policy.insulin.works_for() {
            return String::new();
        }
        if adjusts {
            format!(" Insulin was last noted {after} ago; {UNSEEN}.")
        } else if after > self.policy.insulin.works_for() {
            format!(" Insulin was last noted {after} ago.")
        } else {
            let to_come = to_come(at, self.policy, self.voice.now);
            format!(" Insulin was last noted {after} ago: {to_come}, by an estimate.")
        }
    }

    /// `High: 210, rising, 13:40. Insulin 50 min ago`, where insulin still works, and there is room.
    pub(super) fn high_title(&self, name: &str, value: &str) -> String {
        let plain = format!("{name}: {value}. Look and note");
        let works = |at: &Timestamp| self.voice.now - *at <= self.policy.insulin.works_for();
        match self.decision.insulin.filter(works) {
            Some(at) => {
                let after = since(at, self.voice.now);
                fitting(&[format!("{name}: {value}. Insulin {after} ago"), plain])
            }
            None => plain,
        }
    }

    /// What a treated high did so far, with this person's own past beside it.
    pub(super) fn found(&self, treated: &Treatment, found: &Found) -> String {
        let outcome = match found.outcome {
            Outcome::ComingDown => "Coming down.",
            Outcome::NoResponse => "No response so far.",
            Outcome::Slow | Outcome::Down | Outcome::FallingTooFast | Outcome::Unseen => "",
        };
        let usual = found.usual.map_or_else(String::new, |usual| {
            let after = since(treated.at, self.voice.now);
            let n = usual.n;
            format!(
                "After your last {n} corrections it had changed by {} after {after}.",
                changed(usual.drop, self.voice)
            )
        });
        let ahead = found.ahead.map_or_else(String::new, |ahead| {
            format!("Headed for about {} by {}.", self.voice.value(ahead.value), self.voice.clock(ahead.by))
        });
        let said = sentences(&[outcome, &usual, &ahead]);
        if said.is_empty() { said } else { format!("{said} ") }
    }

    /// A correction that does nothing: ketones, and what gives the insulin.
    pub(super) fn no_response(&self, treated: &Treatment, found: &Found, next: Timestamp) -> (String, String) {
        let after = since(treated.at, self.voice.now);
        let (what, look) = match self.policy.therapy {
            Therapy::Pump | Therapy::SelfAdjusting => (
                "site",
                "Look at the infusion site, the tubing and the reservoir: a site that does not let insulin in looks like this. Follow your plan for one.",
            ),
            Therapy::Injections => (
                "pen",
                "Look at the pen: does a drop come, is the insulin in date, was it warm or frozen? Follow your plan for insulin that does nothing.",
            ),
        };
        let (value, at) = (self.value_and_direction(), self.read_at());
        let plain = self.decision.glucose.map_or_else(String::new, |glucose| self.voice.value(glucose));
        let title = fitting(&[
            format!("Check ketones and {what}: {value}, {at}; treated {after} ago"),
            format!("Check ketones and {what}: {value}, {at}"),
            format!("Check ketones and {what}: {plain}, {at}"),
        ]);
        let next = format!("Next look {}.", self.voice.clock(next));
        let treated_then = self.treated_then(treated);
        let found = self.found(treated, found);
        (title, sentences(&[&self.full_value(), &treated_then, &found, KETONES, look, &next]))
    }

    /// Falling so fast that a low may follow.
    pub(super) fn falling_too_fast(&self, treated: &Treatment, found: &Found, next: Timestamp) -> (String, String) {
        let (value, at) = (self.value_and_direction(), self.read_at());
        let change = self.changed_since(treated);
        let after = since(treated.at, self.voice.now);
        let ahead = found.ahead.map_or_else(String::new, |ahead| {
            format!("Headed for about {} by {}.", self.voice.value(ahead.value), self.voice.clock(ahead.by))
        });
        let next = format!("Next look {}.", self.voice.clock(next));
        let what = "A low may follow: keep looking, and follow your plan for one.";
        (
            format!("Look again: {value}, {at}; {change}{after}"),
            sentences(&[&self.full_value(), &self.treated_then(treated), &ahead, what, &next]),
        )
    }

    /// In the small hours after an evening's treated high.
    pub(super) fn evening_look(&self, treated: &Treatment) -> (String, String) {
        let (value, at) = (self.value_and_direction(), self.read_at());
        let treated_at = self.voice.clock(treated.at);
        (
            fitting(&[format!("Look: {value}, {at}. High treated {treated_at}"), format!("Look: {value}, {at}")]),
            sentences(&[
                &self.full_value(),
                &format!("A high was treated at {treated_at}, and insulin taken late goes on working."),
                "Follow your plan for the night; differs from how you feel? Check with a meter.",
            ]),
        )
    }

    /// Two doses that work at the same time.
    pub(super) fn stacking(&self) -> (String, String) {
        let title = match &self.decision.reason {
            Reason::Stacked { earlier, later } => {
                format!("Two doses overlap: {} and {}", self.voice.clock(*earlier), self.voice.clock(*later))
            }
            _ => "Two doses overlap".to_owned(),
        };
        (title, stacked(&self.decision.reason, self.policy, self.voice))
    }
}

/// The calm line about two doses.
pub(super) fn stacked(reason: &Reason, policy: &Policy, voice: Voice) -> String {
    let Reason::Stacked { earlier, later } = reason else { return String::new() };
    let apart = *later - *earlier;
    let one = |dose: Timestamp| format!("{} ({} ago)", voice.clock(dose), since(dose, voice.now));
    let both = format!("Two doses overlap, {apart} apart: {} and {}.", one(*earlier), one(*later));
    let shares = if policy.therapy == Therapy::SelfAdjusting {
        "What your pump gives by itself is not seen, so what is still to come is not shown.".to_owned()
    } else {
        let of = |dose: Timestamp| words(policy.insulin.still_to_come(voice.now - dose));
        format!(
            "Still to come of their effect, by an estimate: {} of the first, {} of the second.",
            of(*earlier),
            of(*later)
        )
    };
    sentences(&[&both, &shares, "They add up. Look again before anything else, and follow your plan."])
}

/// `+45` or `-0.7`: by how much glucose changes where it drops so far.
fn changed(drop: i32, voice: Voice) -> String {
    let value = |hundredths: i32| Glucose::from_received(hundredths.max(0), Unit::MgDl);
    voice.change(value(drop), value(-drop))
}

/// What a look found, for `why`.
pub(super) fn found(found: &Found, voice: Voice) -> String {
    let mut said = vec![found.outcome.name().replace('_', " ")];
    said.extend(found.drop.map(|drop| format!("{} since", changed(drop, voice))));
    said.extend(
        found.usual.map(|usual| {
            format!("{} after {} own corrections at that age (median)", changed(usual.drop, voice), usual.n)
        }),
    );
    said.extend(
        found.ahead.map(|ahead| format!("headed for about {} by {}", voice.value(ahead.value), voice.clock(ahead.by))),
    );
    said.extend(found.low.map(|low| format!("a low is {} in 100 likely within 20 min", low.in_a_hundred())));
    format!("; found: {}", said.join(", "))
}

/// Why, for `why`.
pub(super) fn sentence(reason: &Reason, voice: Voice) -> String {
    match reason {
        Reason::FallingTooFast { treated, next, found: what } => format!(
            "falling so fast that a low may follow; treated at {}, next look {}{}",
            voice.clock(treated.at),
            voice.clock(*next),
            found(what, voice)
        ),
        Reason::EveningLook { treated } => {
            format!("a high was treated at {}, and insulin taken late goes on working", voice.clock(treated.at))
        }
        Reason::Stacked { earlier, later } => {
            let apart: Span = *later - *earlier;
            format!("a correction at {} upon the dose of {}, {apart} apart", voice.clock(*later), voice.clock(*earlier))
        }
        other => other.word().replace('_', " "),
    }
}
