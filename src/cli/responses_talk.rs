//! What the tables of `recheck responses` say in sentences, to be read aloud at a visit: facts, and what to ask. Never
//! what to take, and never what to change.

use super::responses::Shown;
use super::responses_table::signed;
use crate::domain::spread::{MEDIAN_N_MIN, Spread};
use crate::responses::low::Depth;
use crate::responses::part::Part;

/// Of lows of each depth, how fast they were back.
pub(super) fn depths(shown: &Shown) -> Vec<String> {
    let limit = |glucose: crate::domain::glucose::Glucose| glucose.shown(shown.unit, None);
    let (very_low, low) = (limit(shown.limits.very_low), limit(shown.limits.low));
    [
        (Depth::Low, format!("lowest {very_low} to below {low}")),
        (Depth::VeryLow, format!("lowest below {very_low}")),
        (Depth::NotBelow, format!("no reading below {low}")),
    ]
    .into_iter()
    .filter_map(|(depth, words)| {
        let of = shown.responses.of_lows_as_deep(depth);
        let back = if depth == Depth::NotBelow {
            String::new()
        } else {
            format!("; minutes from it to range: {}", middle(&of.from_lowest))
        };
        (of.rows > 0).then(|| format!("{words}: {}{back}", of.rows))
    })
    .collect()
}

fn middle(spread: &Spread) -> String {
    let n = spread.n;
    spread.median.map_or_else(|| format!("too little data (n {n})"), |median| format!("{median} (n {n})"))
}

/// The facts, and what to ask.
pub(super) fn lines(shown: &Shown) -> Vec<String> {
    let mut lines = vec![String::new(), "FOR A TALK WITH YOUR CARE TEAM".to_owned()];
    lines.extend([corrections(shown), meals(shown), lows(shown), background(shown)].into_iter().flatten());
    lines.push(missing(shown).to_owned());
    lines.push(
        "These are facts about past days, as far as they were noted, and no advice. They do not say what caused what. Change nothing about insulin or food because of them alone: follow the plan you made with your care team.".to_owned(),
    );
    lines
}

fn corrections(shown: &Shown) -> Option<String> {
    let of = shown.responses.of_corrections(None);
    if of.rows == 0 {
        return None;
    }
    let facts = format!(
        "Corrections: {}. With a second one within 3 hours: {}. Back in range within 4 hours, before anything else was noted: {}; not back: {}; not known: {}.",
        of.rows,
        of.second,
        of.in_range.n,
        of.not_in_range,
        of.rows - of.in_range.n - of.not_in_range
    );
    let ask = if of.changes.iter().any(|spread| spread.n >= MEDIAN_N_MIN) {
        " Ask whether what followed at 1, 2 and 3 hours is what your plan expects, and when the plan says to look again."
    } else {
        " There is too little data for medians. Ask which notes would help to see more."
    };
    Some(facts + ask)
}

fn meals(shown: &Shown) -> Option<String> {
    let of = shown.responses.of_meals(None);
    if of.rows == 0 {
        return None;
    }
    let facts = format!(
        "Meals: {}. With no insulin noted within an hour: {}. With further insulin within 3 hours: {}.",
        of.rows, of.without_insulin, of.second
    );
    let ask = match of.rise.median {
        Some(rise) => format!(
            " The median change from before to the peak was {} {} (n {}). Ask whether that, and when insulin comes before or after food, is worth looking at together.",
            signed(rise, shown.unit),
            shown.unit.name(),
            of.rise.n
        ),
        None => format!(" There is too little data for the rise after meals (n {}).", of.rise.n),
    };
    Some(facts + &ask)
}

fn lows(shown: &Shown) -> Option<String> {
    let of = shown.responses.of_lows(None);
    if of.rows == 0 {
        return None;
    }
    let unknown = |yes: usize, no: usize| of.rows - yes - no;
    Some(format!(
        "Treated lows: {}. Treated again before glucose was back: {}. Above the high limit within 2 hours after: {}; not: {}; not known: {}. Low again within 2 hours: {}; not: {}; not known: {}. Ask whether how lows are treated fits these, and what to do when one does not come back.",
        of.rows,
        of.second,
        of.high_after,
        of.not_high_after,
        unknown(of.high_after, of.not_high_after),
        of.low_again,
        of.not_low_again,
        unknown(of.low_again, of.not_low_again)
    ))
}

fn background(shown: &Shown) -> Option<String> {
    let known = Part::ALL.map(|part| (part, shown.responses.of_background(Some(part))));
    let known: Vec<String> = known
        .iter()
        .filter_map(|(part, spread)| {
            let median = spread.median?;
            Some(format!("{} {} (n {})", part.name(), signed(median, shown.unit), spread.n))
        })
        .collect();
    if known.is_empty() {
        return None;
    }
    Some(format!(
        "With no food and no insulin noted for four hours, glucose changed by so many {} an hour, the median by part of the day: {}. Ask whether that is worth checking, and how your team does it.",
        shown.unit.name(),
        known.join(", ")
    ))
}

fn missing(shown: &Shown) -> &'static str {
    if shown.noted[0] == 0 {
        "No insulin was noted: what followed on a dose cannot be seen, and what looks like background may have had one."
    } else if shown.noted[1] == 0 {
        "No food was noted: a correction may have been for a meal, and what looks like background may have had one."
    } else {
        "What was not noted is not here: a meal or a dose without a note changes what seems to follow on another."
    }
}
