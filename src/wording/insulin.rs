//! What is said of insulin that was noted: how long ago, and what of its effect is still to come, as a share and an
//! estimate; and of what a correction did so far.

use super::Voice;
use super::since;
use super::text::{Parts, Said, fitting, sentences};
use crate::domain::glucose::{Glucose, Unit};
use crate::domain::insulin::words;
use crate::domain::time::{Span, Timestamp};
use crate::engine::effect::Condition;
use crate::engine::outcome::Found;
use crate::engine::policy::{Policy, Therapy};
use crate::engine::reason::{Reason, Treatment};

impl Said<'_> {
    /// Of a high: how long ago insulin was noted, and what of it is still to come. Where none is noted nothing is said of it,
    /// since that would suggest some.
    pub(super) fn insulin(&self) -> String {
        const UNSEEN: &str = "what your pump gives by itself is not seen";
        let adjusts = self.policy.therapy == Therapy::SelfAdjusting;
        let level = matches!(self.decision.condition, Condition::High | Condition::VeryHigh);
        if matches!(self.decision.reason, Reason::HighStays(_)) {
            // It says of insulin what matters to what it asks.
            return String::new();
        }
        let Some(at) = self.decision.insulin else {
            return if adjusts && level { format!("Mind that {UNSEEN}.") } else { String::new() };
        };
        let after = since(at, self.voice.now);
        // A rise that nothing was noted for has its own words; a dose that still works belongs to them.
        if self.decision.condition == Condition::UnnotedRise && after > self.policy.insulin.works_for() {
            return String::new();
        }
        if adjusts {
            format!("Insulin {after} ago; {UNSEEN}.")
        } else if after > self.policy.insulin.works_for() {
            format!("Insulin {after} ago.")
        } else {
            let to_come = words(self.policy.insulin.still_to_come(self.voice.now - at));
            format!("Insulin {after} ago: {to_come} still to act (estimate).")
        }
    }

    /// `High 210, rising, 13:40. Insulin 50 min ago`, where insulin still works, and there is room.
    pub(super) fn high_title(&self, name: &str, value: &str) -> String {
        let plain = if self.adjusts() {
            [format!("{name} {value}. See what the pump gave"), format!("{name} {value}. See the pump")]
        } else {
            [format!("{name} {value}. Check, and note what you did"), format!("{name} {value}. Check and note")]
        };
        let works = |at: &Timestamp| self.voice.now - *at <= self.policy.insulin.works_for();
        match self.decision.insulin.filter(works) {
            Some(at) => {
                let after = since(at, self.voice.now);
                let [_, short] = plain;
                fitting(&[format!("{name} {value}. Insulin {after} ago"), short])
            }
            None => fitting(&plain),
        }
    }

    /// What a treated high did so far, with this person's own past beside it.
    pub(super) fn found(&self, treated: &Treatment, found: &Found) -> String {
        let usual = found.usual.map(|usual| {
            let (after, n) = (since(treated.at, self.voice.now), usual.n);
            format!(
                "After your last {n} corrections it had changed by {} after {after}.",
                changed(usual.drop, self.voice)
            )
        });
        let ahead = found.ahead.map(|ahead| {
            format!("Headed for about {} by {}.", self.voice.value(ahead.value), self.voice.clock(ahead.by))
        });
        let meal = found.meal.map(|meal| format!("Slow, a meal was noted {}.", self.voice.clock(meal)));
        meal.or(usual).or(ahead).unwrap_or_default()
    }

    /// Falling so fast that a low may follow.
    pub(super) fn falling_too_fast(&self, treated: &Treatment, found: &Found, next: Timestamp) -> Parts {
        let (value, at) = (self.value_and_direction(), self.read_at());
        let known = format!("{value}, {at}; {}", self.since_treated(treated));
        let ahead = found.ahead.map_or_else(String::new, |ahead| {
            format!("Headed for about {} by {}.", self.voice.value(ahead.value), self.voice.clock(ahead.by))
        });
        let next = self.voice.clock(next);
        (
            fitting(&[format!("{known}. A low may follow"), known]),
            vec![format!("A low may follow: follow your plan for one, next check {next}."), ahead],
        )
    }

    /// In the small hours after an evening's treated high.
    pub(super) fn evening_look(&self, treated: &Treatment) -> Parts {
        let (value, at) = (self.value_and_direction(), self.read_at());
        let treated_at = self.voice.clock(treated.at);
        (
            fitting(&[format!("{value}, {at}. Check: high treated {treated_at}"), format!("{value}, {at}. Check")]),
            vec![
                "Follow your plan for the night.".to_owned(),
                format!("A high was treated at {treated_at}, and insulin taken late goes on working."),
            ],
        )
    }

    /// Two doses that work at the same time.
    pub(super) fn stacking(&self) -> Parts {
        let title = match &self.decision.reason {
            Reason::Stacked { earlier, later } => {
                format!("Two doses overlap: {} and {}", self.voice.clock(*earlier), self.voice.clock(*later))
            }
            _ => "Two doses overlap".to_owned(),
        };
        (title, vec!["They add up: check again before anything else, and follow your plan.".to_owned()])
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
    said.extend(found.meal.map(|meal| format!("a meal was noted at {}", voice.clock(meal))));
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
