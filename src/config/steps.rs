//! What happens when nobody answers: steps by priority, by day and by night, and the spans of lows and silences.

use super::problem::Place;
use super::words::{Words, span};
use crate::domain::time::Span;
use crate::engine::policy::{EscalationPolicy, StepPolicy, StepsPolicy, Ways, Whom};

/// No value may mean "never" by accident.
const SPAN_MIN: Span = Span::minutes(1);
const SPAN_MAX: Span = Span::hours(2);

/// What is not urgent may go on at longer spans.
const EVERY_MAX: Span = Span::hours(12);

/// Most steps in a list.
const STEPS_MAX: usize = 10;

const HOW: &str = "a step is a span and how: \"5m all\", \"5m usual\", \"15m second\" or \"25m third\"; with \"once\" \
                   after it, it need not be answered";

pub(super) fn escalation(top: &mut Words<'_>, policy: &mut EscalationPolicy, start: Place) {
    let node = top.take("escalation");
    let mut words = Words::of("escalation", node, start, top.problems());
    let place = words.place;
    for (name, span) in [
        ("low_unanswered", &mut policy.low_unanswered),
        ("low_answered", &mut policy.low_answered),
        ("not_recovering", &mut policy.not_recovering),
        ("gap_by_night", &mut policy.gap_by_night),
    ] {
        words.span(name, span);
        in_bounds(&mut words, place, &format!("escalation.{name}"), *span, SPAN_MAX);
    }
    for (name, full, steps, every_max) in [
        ("high", "escalation.high", &mut policy.high, SPAN_MAX),
        ("medium", "escalation.medium", &mut policy.medium, EVERY_MAX),
        ("low", "escalation.low", &mut policy.low, EVERY_MAX),
        ("information", "escalation.information", &mut policy.information, EVERY_MAX),
    ] {
        let node = words.take(name);
        let mut of_priority = Words::of(full, node, place, words.problems());
        let place = of_priority.place;
        // A low that nobody answers must go on.
        one_priority(&mut of_priority, steps, name == "high");
        in_bounds(&mut of_priority, place, &format!("{full}.every"), steps.every, every_max);
        of_priority.end();
    }
    words.end();
}

fn in_bounds(words: &mut Words<'_>, place: Place, name: &str, span: Span, most: Span) {
    if span < SPAN_MIN || span > most {
        words.wrong(place, format!("{name} is out of range"), format!("it should be from {SPAN_MIN} to {most}"));
    }
}

fn one_priority(words: &mut Words<'_>, steps: &mut StepsPolicy, goes_on: bool) {
    for (key, list) in [("by_day", &mut steps.by_day), ("by_night", &mut steps.by_night)] {
        let Some((place_of_list, texts)) = words.placed_texts(key) else { continue };
        let readable = texts.iter().all(|(_, text)| step(text).is_some());
        list.clear();
        for (place, text) in texts {
            match step(&text) {
                None => words.wrong(place, format!("\"{text}\" is no step"), HOW),
                Some(step) => add(words, place, &text, step, list),
            }
        }
        if goes_on && readable && !list.iter().any(|step| step.confirmed) {
            words.wrong(
                place_of_list,
                format!("{key}: a low that nobody answers would fall silent"),
                "at least one step must be answered: one without \"once\"",
            );
        }
    }
    words.span("every", &mut steps.every);
}

fn add(words: &mut Words<'_>, place: Place, text: &str, step: StepPolicy, list: &mut Vec<StepPolicy>) {
    in_bounds(words, place, &format!("\"{text}\""), step.after, SPAN_MAX);
    if list.last().is_some_and(|before| before.after >= step.after) {
        words.wrong(place, format!("\"{text}\" is not in order"), "each step comes later than the one before it");
    }
    if step.to == Whom::Third && !list.iter().any(|before| before.to == Whom::Second) {
        words.wrong(
            place,
            format!("\"{text}\" calls the third person before the second"),
            "the second is the first of the people who may be called at that hour: write \"second\" first",
        );
    }
    if list.len() == STEPS_MAX {
        words.wrong(place, format!("there are more than {STEPS_MAX} steps"), "`every` says how often it goes on");
    }
    list.push(step);
}

/// Reads `5m all`, `15m second`, `25m third usual once`.
fn step(text: &str) -> Option<StepPolicy> {
    let (after, how) = text.trim().split_once(' ')?;
    let mut rest: Vec<&str> = how.split_whitespace().collect();
    let mut take = |word: &str| {
        let place = rest.iter().position(|known| *known == word);
        place.map(|place| rest.remove(place)).is_some()
    };
    let (second, third) = (take("second"), take("third"));
    let (usual, all) = (take("usual"), take("all"));
    let confirmed = !take("once");
    let to = match (second, third) {
        (false, false) => Whom::Wearer,
        (true, false) => Whom::Second,
        (false, true) => Whom::Third,
        (true, true) => return None,
    };
    let ways = match (usual, all) {
        (true, false) => Ways::Usual,
        (false, true) => Ways::All,
        (false, false) if to != Whom::Wearer => Ways::All,
        (_, _) => return None,
    };
    rest.is_empty().then_some(StepPolicy { after: span(after)?, to, ways, confirmed })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::meant::{Purpose, settings};
    use crate::domain::local::Zone;

    #[test]
    fn steps_are_read_strictly() {
        let read = |after, to, ways, confirmed| Some(StepPolicy { after: Span::minutes(after), to, ways, confirmed });
        assert_eq!(step("5m all"), read(5, Whom::Wearer, Ways::All, true));
        assert_eq!(step("5m usual once"), read(5, Whom::Wearer, Ways::Usual, false));
        assert_eq!(step("15m second"), read(15, Whom::Second, Ways::All, true));
        assert_eq!(step(" 25m  third usual once "), read(25, Whom::Third, Ways::Usual, false));
        for bad in ["", "5m", "all", "5 all", "5m loud", "5m all all", "5m second third", "5m usual all", "second 5m"] {
            assert_eq!(step(bad), None, "{bad}");
        }
    }

    fn problems(text: &str) -> Vec<String> {
        let read = settings(text, None, &[], Purpose::Replay, Zone::UTC);
        let all = read.err().map(|problems| problems.all).unwrap_or_default();
        all.into_iter()
            .map(|problem| match problem.place {
                Place::File { line, column } => {
                    assert!(!problem.hint.is_empty(), "{}", problem.what);
                    format!("{line}:{column} {}", problem.what)
                }
                Place::Set => unreachable!(),
            })
            .collect()
    }

    #[test]
    fn every_mistake_is_named_at_its_place() {
        let high = |list: &str| problems(&format!("[escalation.high]\nby_night = {list}\n"));
        assert_eq!(high("[\"5m all\", \"10m sekond\"]"), ["2:23 \"10m sekond\" is no step"]);
        assert_eq!(high("[\"10m second\", \"5m all\"]"), ["2:27 \"5m all\" is not in order"]);
        assert_eq!(high("[\"5m third\"]"), ["2:13 \"5m third\" calls the third person before the second"]);
        assert_eq!(high("[\"3h all\"]"), ["2:13 \"3h all\" is out of range"]);
        assert_eq!(high("[\"30s all\"]"), ["2:13 \"30s all\" is out of range"]);
        assert_eq!(problems("[escalation]\ngap_by_night = \"3h\"\n"), ["1:2 escalation.gap_by_night is out of range"]);
        assert_eq!(problems("[escalation.high]\nevery = \"3h\"\n"), ["1:13 escalation.high.every is out of range"]);
        assert_eq!(
            problems("[escalation.medium]\nevery = \"13h\"\n"),
            ["1:13 escalation.medium.every is out of range"]
        );
        assert_eq!(problems("[escalation.medium]\nby_night = []\nevery = \"12h\"\n"), Vec::<String>::new());
    }

    #[test]
    fn a_low_may_not_fall_silent() {
        for list in ["[]", "[\"5m all once\"]"] {
            let said = problems(&format!("[escalation.high]\nby_day = {list}\n"));
            assert!(said.iter().any(|line| line.contains("would fall silent")), "{list}: {said:?}");
        }
        assert_eq!(problems("[escalation.high]\nby_day = [\"5m all\", \"9m second once\"]\n"), Vec::<String>::new());
    }
}
