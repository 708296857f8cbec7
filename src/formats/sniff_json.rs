//! Finds out what the lines of JSON objects call the time and glucose.

use super::sniff::{is_glucose, question, says_glucose, unit_of};
use super::sniff_time::stamp_of;
use super::stamp::Stamp;
use super::wanted::{Column, Lines, NotFound, Wanted};
use crate::domain::glucose::Unit;
use serde_json::{Map, Value};

/// Objects looked at.
const OBJECTS_MAX: usize = 200;

/// Finds keys, way of writing and unit.
pub(super) fn sniff(wanted: &Wanted, text: &[u8]) -> Result<(Lines, u64, Stamp, Unit), NotFound> {
    let objects: Vec<Map<String, Value>> = text
        .split(|byte| *byte == b'\n')
        .filter(|line| !line.trim_ascii().is_empty())
        .take(OBJECTS_MAX)
        .filter_map(|line| serde_json::from_slice(line).ok())
        .collect();
    let Some(first) = objects.first() else {
        return Err(question(
            1,
            "the line begins like JSON and is no JSON object".to_owned(),
            "one object a line is read",
        ));
    };
    let texts = |key: &str| -> Vec<String> {
        objects
            .iter()
            .filter_map(|object| match object.get(key) {
                Some(Value::String(text)) => Some(text.clone()),
                Some(Value::Number(number)) => Some(number.to_string()),
                _ => None,
            })
            .collect()
    };
    let named = |columns: &[Column]| match columns {
        [Column::Named(name)] => Some(name.clone()),
        _ => None,
    };
    let keys: Vec<&String> = first.keys().collect();
    let listed = keys.iter().map(|key| key.as_str()).collect::<Vec<_>>().join(", ");
    let one = |found: Vec<&String>, what: &str, setting: &str| match found.as_slice() {
        [one] => Ok((*one).clone()),
        [] => Err(question(
            1,
            format!("no key holds {what}; the keys are \"{listed}\""),
            &format!("name it with {setting} = \"...\""),
        )),
        _ => Err(question(
            1,
            format!("several keys could hold {what}; the keys are \"{listed}\""),
            &format!("name the right one with {setting} = \"...\""),
        )),
    };
    let holds_time = |key: &&&String| {
        let texts = texts(key);
        let texts: Vec<&str> = texts.iter().map(String::as_str).collect();
        !texts.is_empty() && stamp_of(&texts, 1).is_ok()
    };
    let time = match named(&wanted.time) {
        Some(key) => key,
        None => one(keys.iter().filter(holds_time).copied().collect(), "a time", "time")?,
    };
    let holds_glucose = |key: &&&String| {
        let texts = texts(key);
        let texts: Vec<&str> = texts.iter().map(String::as_str).collect();
        **key != &time && is_glucose(&texts)
    };
    let glucose = if let Some(key) = named(&wanted.glucose) {
        key
    } else {
        let numbers: Vec<&String> = keys.iter().filter(holds_glucose).copied().collect();
        let said: Vec<&String> = numbers.iter().filter(|key| says_glucose(key)).copied().collect();
        one(if said.is_empty() { numbers } else { said }, "glucose", "glucose")?
    };
    let is_unit = |key: &&&String| {
        let texts = texts(key);
        !texts.is_empty() && texts.iter().all(|text| Unit::named(text).is_some())
    };
    let unit_key = named(wanted.unit_column.as_slice()).or_else(|| keys.iter().find(is_unit).map(|key| (*key).clone()));
    let stamp = if let Some(stamp) = &wanted.stamp {
        stamp.clone()
    } else {
        let texts = texts(&time);
        stamp_of(&texts.iter().map(String::as_str).collect::<Vec<_>>(), 1)?
    };
    let unit =
        if let Some(unit) = unit_key.as_ref().and_then(|key| texts(key).first().and_then(|text| Unit::named(text))) {
            unit
        } else {
            let texts = texts(&glucose);
            unit_of(wanted.unit, &texts.iter().map(String::as_str).collect::<Vec<_>>(), 1)?
        };
    Ok((Lines::Json { time, glucose, unit: unit_key }, 0, stamp, unit))
}
