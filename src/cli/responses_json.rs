//! `recheck responses --json`: one object, as docs/responses.md describes.

use super::responses::Shown;
use crate::domain::diary::Amount;
use crate::domain::glucose::Measured;
use crate::domain::reading::Reading;
use crate::domain::spread::Spread;
use crate::domain::time::{Span, Timestamp};
use crate::responses::background::Drift;
use crate::responses::correction::Correction;
use crate::responses::course::Course;
use crate::responses::low::{Depth, Low};
use crate::responses::meal::{Dose, Meal};
use crate::responses::part::Part;
use serde_json::{Value, json};

pub(super) fn object(shown: &Shown) -> Value {
    let responses = &shown.responses;
    let no_row = &responses.no_row;
    json!({
        "from": stamp(shown, shown.from),
        "until": stamp(shown, shown.until),
        "zone": shown.clock.zone_at(shown.until).name(),
        "hours": hours(shown.until - shown.from),
        "hours_with_readings": hours(shown.covered),
        "too_little_data": shown.is_little(),
        "insulin_noted": shown.noted[0],
        "food_noted": shown.noted[1],
        "very_low_limit_mg_dl": shown.limits.very_low.as_mg_dl(),
        "low_limit_mg_dl": shown.limits.low.as_mg_dl(),
        "high_limit_mg_dl": shown.limits.high.as_mg_dl(),
        "corrections": {
            "by_part": by_part(|part| corrections(shown, part)),
            "rows": responses.corrections.iter().map(|row| correction(shown, row)).collect::<Vec<_>>(),
        },
        "meals": {
            "by_part": by_part(|part| meals(shown, part)),
            "rows": responses.meals.iter().map(|row| meal(shown, row)).collect::<Vec<_>>(),
        },
        "lows": {
            "by_part": by_part(|part| lows(shown, part)),
            "rows": responses.lows.iter().map(|row| low(shown, row)).collect::<Vec<_>>(),
        },
        "background": {
            "by_part": by_part(|part| hundredths(&responses.of_background(part))),
            "stretches": responses.background.drifts.iter().map(|row| drift(shown, row)).collect::<Vec<_>>(),
            "unnoted": responses.background.unnoted,
        },
        "no_row": {
            "insulin_for_other": no_row.insulin_for_other,
            "insulin_without_reading": no_row.insulin_without_reading,
            "food_without_reading": no_row.food_without_reading,
            "treated_unclear": no_row.treated_unclear,
            "left_out": no_row.left_out,
        },
    })
}

/// All, and each part of the day.
fn by_part(of: impl Fn(Option<Part>) -> Value) -> Value {
    let parts = std::iter::once(None).chain(Part::ALL.map(Some));
    parts.map(|part| (part.map_or("all", Part::name).to_owned(), of(part))).collect()
}

fn corrections(shown: &Shown, part: Option<Part>) -> Value {
    let of = shown.responses.of_corrections(part);
    json!({
        "rows": of.rows,
        "mixed": of.mixed,
        "earlier": of.earlier,
        "second": of.second,
        "change_mg_dl": of.changes.map(|spread| hundredths(&spread)),
        "lowest_mg_dl": hundredths(&of.lowest),
        "in_range_min": whole(&of.in_range),
        "not_in_range": of.not_in_range,
    })
}

fn meals(shown: &Shown, part: Option<Part>) -> Value {
    let of = shown.responses.of_meals(part);
    json!({
        "rows": of.rows,
        "mixed": of.mixed,
        "without_insulin": of.without_insulin,
        "second": of.second,
        "change_mg_dl": of.changes.map(|spread| hundredths(&spread)),
        "rise_mg_dl": hundredths(&of.rise),
        "to_peak_min": whole(&of.to_peak),
        "lowest_mg_dl": hundredths(&of.lowest),
        "in_range_min": whole(&of.in_range),
        "not_in_range": of.not_in_range,
    })
}

fn lows(shown: &Shown, part: Option<Part>) -> Value {
    let of = shown.responses.of_lows(part);
    json!({
        "rows": of.rows,
        "mixed": of.mixed,
        "second": of.second,
        "change_mg_dl": of.changes.map(|spread| hundredths(&spread)),
        "lowest_mg_dl": hundredths(&of.lowest),
        "in_range_min": whole(&of.in_range),
        "from_lowest_min": whole(&of.from_lowest),
        "not_in_range": of.not_in_range,
        "high_after": of.high_after,
        "not_high_after": of.not_high_after,
        "low_again": of.low_again,
        "not_low_again": of.not_low_again,
    })
}

fn hundredths(spread: &Spread) -> Value {
    numbers(spread, |hundredths| i32::try_from(hundredths).map_or(Value::Null, |n| json!(f64::from(n) / 100.0)))
}

fn whole(spread: &Spread) -> Value {
    numbers(spread, |whole| json!(whole))
}

fn numbers(spread: &Spread, number: impl Fn(i64) -> Value) -> Value {
    let number = |value: Option<i64>| value.map_or(Value::Null, &number);
    json!({
        "n": spread.n,
        "median": number(spread.median),
        "lower_quartile": number(spread.quartiles.map(|(lower, _)| lower)),
        "upper_quartile": number(spread.quartiles.map(|(_, upper)| upper)),
    })
}

/// What every row has, and what it has besides.
fn course(shown: &Shown, course: &Course, more: Value) -> Value {
    let mut row = json!({
        "at": stamp(shown, course.at),
        "part": course.part.name(),
        "amounts": amounts(&course.amounts),
        "said_treated": course.said,
        "before": reading(shown, Some(course.before)),
        "at_1_2_3_h": course.hours.map(|hour| reading(shown, hour)),
        "lowest_in_4_h": reading(shown, course.lowest),
        "gap_min": minutes(course.gap),
        "mixed_after_min": minutes(course.mixed.map(|between| between.at - course.at)),
        "mixed_with": course.mixed.map(|between| between.of.word()),
    });
    if let (Value::Object(row), Value::Object(more)) = (&mut row, more) {
        row.extend(more);
    }
    row
}

fn correction(shown: &Shown, row: &Correction) -> Value {
    let more = json!({
        "earlier_min": minutes(row.earlier),
        "second_min": minutes(row.second),
        "in_range_min": minutes(row.in_range),
        "in_range_counts": row.in_range_counts,
    });
    course(shown, &row.course, more)
}

fn meal(shown: &Shown, row: &Meal) -> Value {
    let dose = |dose: &Dose| json!({ "after_min": dose.after.as_minutes(), "amounts": amounts(&dose.amounts) });
    let more = json!({
        "insulin": row.doses.iter().map(dose).collect::<Vec<_>>(),
        "second_min": minutes(row.second),
        "peak_in_3_h": reading(shown, row.peak),
        "peak_counts": row.peak_counts,
        "was_high": row.was_high,
        "in_range_min": minutes(row.in_range),
        "in_range_counts": row.in_range_counts,
    });
    course(shown, &row.course, more)
}

fn low(shown: &Shown, row: &Low) -> Value {
    let depth = match row.depth {
        Depth::NotBelow => "not_below",
        Depth::Low => "low",
        Depth::VeryLow => "very_low",
    };
    let more = json!({
        "lowest": reading(shown, row.lowest),
        "depth": depth,
        "further_treatments": row.further,
        "second_min": minutes(row.second),
        "in_range_min": minutes(row.in_range),
        "from_lowest_min": minutes(row.from_lowest),
        "in_range_counts": row.in_range_counts,
        "high_after_min": minutes(row.high_after),
        "high_after_counts": row.high_after_counts,
        "low_again_min": minutes(row.low_again),
        "low_again_counts": row.low_again_counts,
    });
    course(shown, &row.course, more)
}

fn drift(shown: &Shown, row: &Drift) -> Value {
    json!({
        "from": stamp(shown, row.from.measured),
        "until": stamp(shown, row.until.measured),
        "part": row.part.name(),
        "readings": row.readings,
        "first_mg_dl": row.from.glucose.as_mg_dl(),
        "last_mg_dl": row.until.glucose.as_mg_dl(),
        "mg_dl_per_hour": i32::try_from(row.per_hour).map_or(Value::Null, |n| json!(f64::from(n) / 100.0)),
    })
}

/// As they were noted.
fn amounts(amounts: &[Amount]) -> Vec<f64> {
    amounts.iter().map(|amount| f64::from(amount.0) / 100.0).collect()
}

fn reading(shown: &Shown, reading: Option<Reading>) -> Value {
    reading.map_or(Value::Null, |reading| {
        let beyond = match reading.glucose.measured() {
            Measured::Number => Value::Null,
            Measured::BelowRange => json!("below"),
            Measured::AboveRange => json!("above"),
        };
        json!({ "at": stamp(shown, reading.measured), "mg_dl": reading.glucose.as_mg_dl(), "beyond_range": beyond })
    })
}

fn minutes(span: Option<Span>) -> Option<i64> {
    span.map(Span::as_minutes)
}

fn hours(span: Span) -> f64 {
    f64::from(i32::try_from(span.as_minutes()).unwrap_or(i32::MAX)) / 60.0
}

/// By the clock the wearer had then.
fn stamp(shown: &Shown, at: Timestamp) -> String {
    shown.clock.zone_at(at).rfc3339(at)
}
