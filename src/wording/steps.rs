//! What happens when nobody answers, in plain words: so that whoever wears the sensor can read what they have set up.

use crate::engine::policy::{Policy, StepPolicy, StepsPolicy, Ways, Whom};

/// The whole of it, line by line.
#[must_use]
pub fn escalation(policy: &Policy) -> Vec<String> {
    let escalation = &policy.escalation;
    let mut lines = vec![format!(
        "When nobody answers a very low, or a low for {} (from then on it counts as one):",
        escalation.low_unanswered
    )];
    lines.extend(steps(&escalation.high));
    lines.push(format!(
        "An answer is not a recovery: a very low that does not rise within {}, and a low that stays for {}, call others all the same.",
        escalation.not_recovering, escalation.low_answered
    ));
    for (what, of) in [
        ("a silence after a low or falling value, a source or a way that fails, or two signals", &escalation.medium),
        ("another silence", &escalation.low),
        ("what is told once", &escalation.information),
    ] {
        if !of.is_empty() {
            lines.push(format!("When nobody answers {what}:"));
            lines.extend(steps(of));
        }
    }
    if policy.people.is_empty() {
        lines.push("Nobody is called: the settings name nobody beside you.".to_owned());
        return lines;
    }
    lines.push(format!(
        "By night a silence after a low or falling value calls the second person {} after the last value.",
        escalation.gap_by_night
    ));
    let people: Vec<String> = policy
        .people
        .iter()
        .map(|person| match &person.hours {
            Some(hours) => format!("{} ({hours})", person.name),
            None => format!("{} (at any hour)", person.name),
        })
        .collect();
    lines.push(format!(
        "The second person is the first of these who may be called at that hour, the third is the next: {}.",
        people.join(", ")
    ));
    lines
}

/// By day and by night.
fn steps(of: &StepsPolicy) -> [String; 2] {
    [("by day", false), ("by night", true)].map(|(when, night)| {
        let steps = of.steps(night);
        // Of two at the same time the call says what the ring would.
        let is_said = |(place, step): &(usize, &StepPolicy)| {
            step.to != Whom::Wearer || steps.get(place + 1).is_none_or(|next| next.after != step.after)
        };
        let mut told: Vec<String> = steps.iter().enumerate().filter(is_said).map(|(_, one)| step(one)).collect();
        if steps.iter().any(|step| step.confirmed) {
            told.push(format!("then it goes on every {}", of.every));
        }
        let told = match (told.is_empty(), of.steps(!night).is_empty()) {
            (false, _) => told.join("; "),
            (true, false) => "it does not ring again; what falls due then waits".to_owned(),
            (true, true) => "it does not ring again".to_owned(),
        };
        format!("  {when}: {told}")
    })
}

fn step(step: &StepPolicy) -> String {
    let by = match step.ways {
        Ways::All => "by all ways",
        Ways::Usual => "by the usual ways",
    };
    let called = match step.to {
        Whom::Wearer => "",
        Whom::Second => ", and the second person is called",
        Whom::Third => ", and the third person is called",
    };
    let once = if step.confirmed { "" } else { ", once" };
    format!("after {} it rings again {by}{called}{once}", step.after)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::local::Zone;
    use crate::engine::policy::{Line, PersonPolicy, Tells};

    #[test]
    fn the_defaults_read_as_they_are() {
        let mut policy = Policy::new(Zone::UTC);
        let person = |name: &str| PersonPolicy {
            name: name.to_owned(),
            hours: None,
            line: Line::Escalation,
            tells: Tells::default(),
        };
        assert_eq!(escalation(&policy).last().unwrap(), "Nobody is called: the settings name nobody beside you.");
        policy.people = vec![person("sam"), person("kim")];
        let mut sooner = policy.clone();
        sooner.escalation.high.by_night[1].after = sooner.escalation.high.by_night[0].after;
        let at_once = &escalation(&sooner)[2];
        assert!(at_once.starts_with("  by night: after 5 min it rings again by all ways, and the second"), "{at_once}");
        let lines = escalation(&policy);
        assert_eq!(
            lines[2],
            "  by night: after 5 min it rings again by all ways; \
             after 10 min it rings again by all ways, and the second person is called; \
             after 25 min it rings again by all ways, and the third person is called; then it goes on every 10 min"
        );
        assert_eq!(lines[5], "  by day: after 30 min it rings again by all ways; then it goes on every 4 h");
        assert_eq!(lines[6], "  by night: it does not ring again; what falls due then waits");
        assert!(lines.last().unwrap().ends_with("sam (at any hour), kim (at any hour)."), "{lines:?}");
    }
}
