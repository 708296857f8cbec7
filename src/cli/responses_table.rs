//! The tables of `recheck responses`: first the medians by part of the day, then each row.

use super::responses::Shown;
use crate::domain::diary::Amount;
use crate::domain::glucose::{Glucose, MG_DL_PER_MMOL_L, Measured, Unit};
use crate::domain::reading::Reading;
use crate::domain::spread::{MEDIAN_N_MIN, QUARTILES_N_MIN, Spread};
use crate::domain::time::{Span, Timestamp};
use crate::responses::correction::Correction;
use crate::responses::course::{Course, HOURS};
use crate::responses::low::Low;
use crate::responses::meal::Meal;
use crate::responses::part::Part;

/// What stands in a cell that has nothing to tell.
const NOTHING: &str = "-";

pub(super) fn lines(shown: &Shown) -> Vec<String> {
    let mut lines = head(shown);
    for section in [corrections(shown), meals(shown), lows(shown), background(shown), without_row(shown)] {
        lines.push(String::new());
        lines.extend(section);
    }
    lines
}

fn head(shown: &Shown) -> Vec<String> {
    let [insulin, food] = shown.noted;
    let zone = shown.clock.zone_at(shown.until);
    let mut lines = vec![
        format!("{} to {}, {}", stamp(shown, shown.from), stamp(shown, shown.until), zone.name()),
        format!(
            "{} days, readings for {} of them; noted: insulin {insulin}, food {food}",
            days(shown.until - shown.from),
            days(shown.covered)
        ),
    ];
    if shown.is_little() {
        lines.push("too little data for more than a hint: readings for fewer than 14 days".to_owned());
    }
    lines.push(format!("Glucose in {}. A change is against the value before: -20 is 20 lower.", shown.unit.name()));
    lines.push(format!(
        "Cells are: the median, the quartiles where n is {QUARTILES_N_MIN} or more, and n. Of fewer than"
    ));
    lines.push(format!("{MEDIAN_N_MIN} there is too little data. Insulin is taken for rapid insulin."));
    lines
}

fn corrections(shown: &Shown) -> Vec<String> {
    let (responses, unit) = (&shown.responses, shown.unit);
    let limit = shown.limits.high;
    let title = format!("CORRECTIONS: insulin noted above {}, no meal noted within an hour", limit.shown(unit, None));
    if responses.corrections.is_empty() {
        return vec![title, "none noted".to_owned()];
    }
    let mut lines = vec![title, changes_head()];
    let parts = shown_parts(|part| responses.of_corrections(part).rows);
    lines.extend(parts.iter().map(|part| changes(unit, *part, &responses.of_corrections(*part).changes)));
    lines.push(outcome_head("lowest in 4 h"));
    lines.extend(parts.iter().map(|part| {
        let of = responses.of_corrections(*part);
        outcome(*part, value_spread(unit, &of.lowest), &of.in_range, [of.rows, of.mixed, of.second, of.not_in_range])
    }));
    let all = responses.of_corrections(None);
    lines.push(format!("{} of {} came within 3 hours of earlier insulin or food.", all.earlier, all.rows));
    lines.push(String::new());
    lines.push(row("noted", &["before", "1 h", "2 h", "3 h", "lowest", "range", "second"], "amount"));
    lines.extend(responses.corrections.iter().map(|correction| correction_row(shown, correction)));
    lines
}

fn correction_row(shown: &Shown, correction: &Correction) -> String {
    let course = &correction.course;
    let limit = shown.limits.high;
    let range = minutes_marked(course, correction.in_range);
    let second = correction.second.map_or(NOTHING.to_owned(), minutes);
    course_row(shown, course, limit, &[lowest(shown, course), range, second], &amount(course, "U"))
}

fn meals(shown: &Shown) -> Vec<String> {
    let (responses, unit) = (&shown.responses, shown.unit);
    let title = "MEALS: food noted that treated no low".to_owned();
    if responses.meals.is_empty() {
        return vec![title, "none noted".to_owned()];
    }
    let mut lines = vec![title, changes_head()];
    let parts = shown_parts(|part| responses.of_meals(part).rows);
    lines.extend(parts.iter().map(|part| changes(unit, *part, &responses.of_meals(*part).changes)));
    lines.push(cells("", &["rise to peak, 3 h", "min to peak", "lowest in 4 h"].map(str::to_owned)));
    lines.extend(parts.iter().map(|part| {
        let of = responses.of_meals(*part);
        let rise = change_spread(unit, &of.rise);
        cells(&name(*part), &[rise, minutes_spread(&of.to_peak), value_spread(unit, &of.lowest)])
    }));
    lines.push(outcome_head("no insulin noted"));
    lines.extend(parts.iter().map(|part| {
        let of = responses.of_meals(*part);
        let counts = [of.rows, of.mixed, of.second, of.not_in_range];
        outcome(*part, of.without_insulin.to_string(), &of.in_range, counts)
    }));
    lines.push(String::new());
    lines.push(row("noted", &["before", "1 h", "2 h", "3 h", "peak", "range", "dose"], "amount"));
    lines.extend(responses.meals.iter().map(|meal| meal_row(shown, meal)));
    lines.push("dose: minutes from the meal to its first insulin, less than 0: before it".to_owned());
    lines
}

fn meal_row(shown: &Shown, meal: &Meal) -> String {
    let course = &meal.course;
    let range = if meal.was_high { minutes_marked(course, meal.in_range) } else { "in".to_owned() };
    let peak = meal.peak.map_or(NOTHING.to_owned(), |peak| marked(shown, course, peak, shown.limits.high));
    let dose = meal.doses.first().map_or("none".to_owned(), |dose| minutes(dose.after));
    course_row(shown, course, shown.limits.high, &[peak, range, dose], &amount(course, "g"))
}

fn lows(shown: &Shown) -> Vec<String> {
    let (responses, unit) = (&shown.responses, shown.unit);
    let limit = shown.limits.low;
    let title = format!("LOWS TREATED: food noted below {}, or a low said treated", limit.shown(unit, None));
    if responses.lows.is_empty() {
        return vec![title, "none noted".to_owned()];
    }
    let mut lines = vec![title, changes_head()];
    let parts = shown_parts(|part| responses.of_lows(part).rows);
    lines.extend(parts.iter().map(|part| changes(unit, *part, &responses.of_lows(*part).changes)));
    lines.push(outcome_head("lowest of the low"));
    lines.extend(parts.iter().map(|part| {
        let of = responses.of_lows(*part);
        outcome(*part, value_spread(unit, &of.lowest), &of.in_range, [of.rows, of.mixed, of.second, of.not_in_range])
    }));
    lines.extend(super::responses_talk::depths(shown));
    lines.push(String::new());
    lines.push(row("treated", &["before", "1 h", "2 h", "3 h", "lowest", "range", "second"], "amount"));
    lines.extend(responses.lows.iter().map(|low| low_row(shown, low)));
    lines.push("h: above the high limit within 2 hours after; l: low again within 2 hours".to_owned());
    lines
}

fn low_row(shown: &Shown, low: &Low) -> String {
    let course = &low.course;
    let limit = shown.limits.low;
    let lowest = low.lowest.map_or("none".to_owned(), |reading| value(reading.glucose, shown.unit, limit));
    let range = if low.lowest.is_some() { minutes_marked(course, low.in_range) } else { "in".to_owned() };
    let second = low.second.map_or(NOTHING.to_owned(), minutes);
    let after = [(low.high_after, "h"), (low.low_again, "l")];
    let after: String = after.iter().filter(|(span, _)| span.is_some()).map(|(_, mark)| *mark).collect();
    let rest = format!("{} {after}", amount(course, "g"));
    course_row(shown, course, limit, &[lowest, range, second], rest.trim_end())
}

fn background(shown: &Shown) -> Vec<String> {
    let (responses, unit) = (&shown.responses, shown.unit);
    let mut lines = vec![
        "BACKGROUND: no food and no insulin noted in the four hours before".to_owned(),
        "As good as the notes are: what was not noted looks like background.".to_owned(),
    ];
    let parts = shown_parts(|part| responses.of_background(part).n);
    if parts.is_empty() {
        lines.push("no such stretch of an hour with readings".to_owned());
    } else {
        lines.push(cells("", &["change an hour".to_owned()]));
    }
    lines.extend(parts.iter().map(|part| {
        let spread = responses.of_background(*part);
        cells(&name(*part), &[spread_of(&spread, |per_hour| signed(per_hour, unit))])
    }));
    if responses.background.unnoted > 0 {
        lines.push(format!(
            "left out: {} times of more than 16 hours without food or insulin noted",
            responses.background.unnoted
        ));
    }
    lines
}

fn without_row(shown: &Shown) -> Vec<String> {
    let no_row = &shown.responses.no_row;
    let mut lines = vec!["NOT IN THE TABLES".to_owned()];
    lines.extend(
        [
            (no_row.insulin_for_other, "insulin noted neither above the high limit nor within an hour of a meal"),
            (no_row.insulin_without_reading, "insulin noted with no reading in the 20 minutes before"),
            (no_row.food_without_reading, "food noted with no reading in the 20 minutes before"),
            (no_row.treated_unclear, "said treated while neither high nor low, and not said what"),
            (no_row.left_out, "noted in a stretch that is left out"),
        ]
        .iter()
        .filter(|(n, _)| *n > 0)
        .map(|(n, what)| format!("{n:>5}  {what}")),
    );
    if lines.len() == 1 {
        lines.push("nothing that was noted".to_owned());
    }
    lines.push("*  something else was noted before it: not in the medians".to_owned());
    lines.push("?  readings lack for more than 35 minutes: not in medians of lowest and range".to_owned());
    lines.push("range: minutes until back in range; in: it never left; -: no reading, or not so".to_owned());
    lines
}

/// All, and the parts of the day that have a row.
fn shown_parts(rows: impl Fn(Option<Part>) -> usize) -> Vec<Option<Part>> {
    let parts = std::iter::once(None).chain(Part::ALL.map(Some));
    parts.filter(|part| rows(*part) > 0).collect()
}

fn name(part: Option<Part>) -> String {
    part.map_or("all".to_owned(), |part| format!("{} {}", part.name(), part.hours()))
}

/// A name of at most 15 letters, and columns of 21.
fn cells(name: &str, cells: &[String]) -> String {
    let row = cells.iter().fold(format!("{name:<16}"), |row, cell| format!("{row}{cell:>21}"));
    row.trim_end().to_owned()
}

fn changes_head() -> String {
    cells("change at", &["1 h", "2 h", "3 h"].map(str::to_owned))
}

fn changes(unit: Unit, part: Option<Part>, changes: &[Spread; 3]) -> String {
    cells(&name(part), &changes.map(|spread| change_spread(unit, &spread)))
}

fn outcome_head(first: &str) -> String {
    let first = cells("", &[first.to_owned(), "min to range".to_owned()]);
    format!("{first:<58}{:>5}{:>6}{:>5}{:>5}", "rows", "mixed", "2nd", "not")
}

/// Rows, of these mixed, of these with a second, and how many were not back in range.
fn outcome(part: Option<Part>, first: String, in_range: &Spread, counts: [usize; 4]) -> String {
    let [rows, mixed, second, not] = counts;
    format!("{}{rows:>5}{mixed:>6}{second:>5}{not:>5}", cells(&name(part), &[first, minutes_spread(in_range)]))
}

fn spread_of(spread: &Spread, shown: impl Fn(i64) -> String) -> String {
    match (spread.median, spread.quartiles) {
        (Some(median), Some((lower, upper))) => {
            format!("{} {}..{} n{}", shown(median), shown(lower), shown(upper), spread.n)
        }
        (Some(median), None) => format!("{} n{}", shown(median), spread.n),
        (None, _) if spread.n == 0 => "n0".to_owned(),
        (None, _) => format!("too little data n{}", spread.n),
    }
}

fn change_spread(unit: Unit, spread: &Spread) -> String {
    spread_of(spread, |change| signed(change, unit))
}

fn value_spread(unit: Unit, spread: &Spread) -> String {
    spread_of(spread, |hundredths| {
        let hundredths = i32::try_from(hundredths).unwrap_or(i32::MAX);
        Glucose::from_hundredths(hundredths, unit, Measured::Number).shown(unit, None)
    })
}

fn minutes_spread(spread: &Spread) -> String {
    spread_of(spread, |minutes| minutes.to_string())
}

/// A difference of hundredths of a mg/dL in a unit: `-21`, `+3.4`; halves away from zero.
pub(super) fn signed(hundredths: i64, unit: Unit) -> String {
    let (size, sign) = (hundredths.abs(), if hundredths < 0 { "-" } else { "+" });
    match unit {
        Unit::MgDl => format!("{sign}{}", (size + 50) / 100),
        Unit::MmolL => {
            let tenth = i64::from(MG_DL_PER_MMOL_L) * 10;
            let tenths = (size + tenth / 2) / tenth;
            format!("{sign}{}.{}", tenths / 10, tenths % 10)
        }
    }
}

fn value(glucose: Glucose, unit: Unit, limit: Glucose) -> String {
    match glucose.measured() {
        Measured::Number => glucose.shown(unit, Some(limit)),
        Measured::BelowRange => "below".to_owned(),
        Measured::AboveRange => "above".to_owned(),
    }
}

/// A value, and whether something else was noted before it.
fn marked(shown: &Shown, course: &Course, reading: Reading, limit: Glucose) -> String {
    let mark = if course.is_alone_until(reading.measured) { "" } else { "*" };
    format!("{}{mark}", value(reading.glucose, shown.unit, limit))
}

fn lowest(shown: &Shown, course: &Course) -> String {
    let mark = if course.gap.is_some() { "?" } else { "" };
    course.lowest.map_or(NOTHING.to_owned(), |reading| {
        let limit = shown.limits.low;
        format!("{}{mark}", marked(shown, course, reading, limit))
    })
}

fn minutes(span: Span) -> String {
    span.as_minutes().to_string()
}

fn minutes_marked(course: &Course, span: Option<Span>) -> String {
    span.map_or(NOTHING.to_owned(), |span| {
        let mark = if course.is_alone_until(course.at + span) { "" } else { "*" };
        format!("{}{mark}", minutes(span))
    })
}

/// The amounts as they were noted, of which nothing is worked out.
fn amount(course: &Course, unit: &str) -> String {
    amounts(&course.amounts).map_or(NOTHING.to_owned(), |amounts| format!("{amounts} {unit}"))
}

pub(super) fn amounts(amounts: &[Amount]) -> Option<String> {
    let all: Vec<String> = amounts.iter().map(ToString::to_string).collect();
    (!all.is_empty()).then(|| all.join("+"))
}

fn course_row(shown: &Shown, course: &Course, limit: Glucose, more: &[String], rest: &str) -> String {
    let hours = (0..HOURS.len()).map(|hour| {
        course.hours[hour].map_or(NOTHING.to_owned(), |reading| {
            let mark = if course.is_alone_for(HOURS[hour]) { "" } else { "*" };
            format!("{}{mark}", value(reading.glucose, shown.unit, limit))
        })
    });
    let before = std::iter::once(value(course.before.glucose, shown.unit, limit));
    let all: Vec<String> = before.chain(hours).chain(more.iter().cloned()).collect();
    row(&stamp(shown, course.at), &all.iter().map(String::as_str).collect::<Vec<_>>(), rest)
}

/// A time of 16 letters, columns of seven, and what else is to be said.
fn row(name: &str, cells: &[&str], rest: &str) -> String {
    let row = cells.iter().fold(format!("{name:<16}"), |row, cell| format!("{row}{cell:>7}"));
    format!("{row}  {rest}").trim_end().to_owned()
}

/// By the clock the wearer had then.
fn stamp(shown: &Shown, at: Timestamp) -> String {
    shown.clock.zone_at(at).wall(at).format("%Y-%m-%d %H:%M").to_string()
}

/// Days with one decimal, rounded down.
fn days(span: Span) -> String {
    let tenths = span.as_millis() / 8_640_000;
    format!("{}.{}", tenths / 10, tenths % 10)
}
