//! Takes settings out of a tree one by one. What is left over is unknown; every problem is kept.

use super::problem::{Place, Problem};
use super::tree::{Node, Value};
use crate::domain::glucose::{Glucose, MG_DL_PER_MMOL_L, Unit};
use crate::domain::time::Span;
use crate::engine::forecast::Chance;
use crate::formats::wanted::Column;
use std::collections::BTreeMap;
use std::ops::RangeInclusive;

/// Two names are close enough to suggest one for the other from this likeness on (Jaro-Winkler, 0 to 1).
pub const LIKENESS_MIN: f64 = 0.75;

/// Most cadences that may be waited for.
const CADENCES_MAX: f64 = 20.0;

/// Chances that may be asked for.
const SHARES: RangeInclusive<f64> = 0.01..=0.99;

/// The settings of one table, being taken out.
#[derive(Debug)]
pub struct Words<'a> {
    /// Dotted name of the table, for messages.
    name: String,
    /// Where the table stands.
    pub place: Place,
    left: BTreeMap<String, Node>,
    asked: Vec<&'static str>,
    problems: &'a mut Vec<Problem>,
}

impl<'a> Words<'a> {
    /// The settings of a node that should be a table.
    pub fn of(name: &str, node: Option<Node>, place: Place, problems: &'a mut Vec<Problem>) -> Self {
        let (place, left) = match node {
            Some(Node { place, value: Value::Table(left) }) => (place, left),
            Some(Node { place, value }) => {
                problems.push(Problem {
                    place,
                    what: format!("{name} should be a table, and is {}", value.kind()),
                    hint: format!("write [{name}] on a line of its own, and its settings below"),
                });
                (place, BTreeMap::new())
            }
            None => (place, BTreeMap::new()),
        };
        Self { name: name.to_owned(), place, left, asked: Vec::new(), problems }
    }

    /// A problem with one setting.
    pub fn wrong(&mut self, place: Place, what: impl Into<String>, hint: impl Into<String>) {
        self.problems.push(Problem { place, what: what.into(), hint: hint.into() });
    }

    /// Takes out a node by name.
    pub fn take(&mut self, key: &'static str) -> Option<Node> {
        self.asked.push(key);
        self.left.remove(key)
    }

    /// Takes out all that is left, by name: for tables of named things.
    pub fn take_all(&mut self) -> BTreeMap<String, Node> {
        std::mem::take(&mut self.left)
    }

    /// Where a setting stands, if it is there.
    #[must_use]
    pub fn place_of(&self, key: &str) -> Option<Place> {
        self.left.get(key).map(|node| node.place)
    }

    /// The list of problems, for a table inside this one.
    pub fn problems(&mut self) -> &mut Vec<Problem> {
        self.problems
    }

    /// Text.
    pub fn text(&mut self, key: &'static str) -> Option<(Place, String)> {
        let node = self.take(key)?;
        match node.value {
            Value::Text(text) => Some((node.place, text)),
            other => self.mistyped(key, node.place, &other, "text in quotes"),
        }
    }

    /// Text that a function understands.
    pub fn parsed<T>(&mut self, key: &'static str, expected: &str, parse: impl Fn(&str) -> Option<T>) -> Option<T> {
        let (place, text) = self.text(key)?;
        let parsed = parse(&text);
        if parsed.is_none() {
            self.wrong(place, format!("{} is \"{text}\"", self.full(key)), format!("it should be {expected}"));
        }
        parsed
    }

    /// A span such as `15m` or `1h30m`.
    pub fn span(&mut self, key: &'static str, into: &mut Span) {
        if let Some(span) = self.parsed(key, SPAN_EXPECTED, span) {
            *into = span;
        }
    }

    /// The same, within bounds: no value may mean "never" by accident.
    pub fn span_within(&mut self, key: &'static str, bounds: RangeInclusive<Span>, into: &mut Span) {
        let place = self.place_of(key);
        self.span(key, into);
        if let Some(place) = place.filter(|_| !bounds.contains(into)) {
            let hint = format!("it should be from {} to {}", bounds.start(), bounds.end());
            self.wrong(place, format!("{} is out of range", self.full(key)), hint);
        }
    }

    /// A list of spans, each longer than the last.
    pub fn spans(&mut self, key: &'static str, into: &mut Vec<Span>) {
        let Some(node) = self.take(key) else { return };
        let Value::List(all) = node.value else {
            self.mistyped::<()>(key, node.place, &node.value, "a list such as [\"60m\", \"120m\"]");
            return;
        };
        let mut read = Vec::new();
        for one in all {
            match one.value {
                Value::Text(text) if span(&text).is_some_and(|span| span > Span::ZERO) => {
                    read.extend(span(&text));
                }
                other => {
                    self.mistyped::<()>(key, one.place, &other, SPAN_EXPECTED);
                    return;
                }
            }
        }
        if read.is_empty() {
            self.wrong(
                node.place,
                format!("{} is empty", self.full(key)),
                "name at least one span; nothing here means \"never\" by accident",
            );
            return;
        }
        *into = read;
    }

    /// A glucose value in the wearer's unit.
    pub fn glucose(&mut self, key: &'static str, unit: Unit, into: &mut Glucose) -> Option<Place> {
        let node = self.take(key)?;
        let expected = format!("a number of {}", unit.name());
        let Value::Number(number) = &node.value else {
            self.mistyped::<()>(key, node.place, &node.value, &expected);
            return None;
        };
        match Glucose::parse(number, unit) {
            Ok(glucose) if glucose.hundredths() >= 0 => *into = glucose,
            Ok(_) | Err(_) => {
                self.wrong(node.place, format!("{} is {number}", self.full(key)), format!("it should be {expected}"));
            }
        }
        Some(node.place)
    }

    /// The same, within bounds in mg/dL. A number that only the other unit explains is told so.
    pub fn glucose_within(
        &mut self,
        key: &'static str,
        unit: Unit,
        bounds: RangeInclusive<i32>,
        into: &mut Glucose,
    ) -> Option<Place> {
        let written = match self.left.get(key).map(|node| &node.value) {
            Some(Value::Number(number)) => number.clone(),
            _ => String::new(),
        };
        let place = self.glucose(key, unit, into)?;
        let (least, most) = (Glucose::mg_dl(*bounds.start()), Glucose::mg_dl(*bounds.end()));
        let within = |hundredths: i32| (least.hundredths()..=most.hundredths()).contains(&hundredths);
        if !within(into.hundredths()) {
            let (other, meant) = match unit {
                Unit::MgDl => (Unit::MmolL, into.hundredths().saturating_mul(MG_DL_PER_MMOL_L)),
                Unit::MmolL => (Unit::MgDl, into.hundredths() / MG_DL_PER_MMOL_L),
            };
            let mixed = if within(meant) {
                format!("; a number of {0} needs unit = \"{0}\" in [wearer]", other.name())
            } else {
                String::new()
            };
            let (least, most) = (least.shown(unit, None), most.shown(unit, None));
            let what = format!("{} is {written} {}", self.full(key), unit.name());
            self.wrong(place, what, format!("it should be from {least} to {most} {}{mixed}", unit.name()));
        }
        Some(place)
    }

    /// Yes or no.
    pub fn yes_or_no(&mut self, key: &'static str) -> Option<bool> {
        let node = self.take(key)?;
        match node.value {
            Value::Bool(yes) => Some(yes),
            other => self.mistyped(key, node.place, &other, "true or false"),
        }
    }

    /// A whole number within bounds.
    pub fn number(&mut self, key: &'static str, bounds: RangeInclusive<usize>) -> Option<usize> {
        let node = self.take(key)?;
        let number = match &node.value {
            Value::Number(number) => number.parse().ok().filter(|number| bounds.contains(number)),
            Value::Text(_) | Value::Bool(_) | Value::List(_) | Value::Table(_) => None,
        };
        if number.is_none() {
            let hint = format!("it should be a whole number from {} to {}", bounds.start(), bounds.end());
            self.wrong(node.place, format!("{} is not such a number", self.full(key)), hint);
        }
        number
    }

    /// One column or several, by header or by place from 1.
    pub fn columns(&mut self, key: &'static str) -> Vec<Column> {
        let Some(node) = self.take(key) else { return Vec::new() };
        let all = match node.value {
            Value::List(all) => all,
            value => vec![Node { place: node.place, value }],
        };
        let mut columns = Vec::new();
        for one in all {
            match &one.value {
                Value::Text(name) if !name.trim().is_empty() => columns.push(Column::Named(name.clone())),
                Value::Number(place) if place.parse::<usize>().is_ok_and(|place| (1..=1_000).contains(&place)) => {
                    columns.extend(place.parse().ok().map(Column::Place));
                }
                other => {
                    self.mistyped::<()>(key, one.place, other, "a column: its header in quotes, or its place from 1");
                }
            }
        }
        columns
    }

    /// One text or several.
    pub fn texts(&mut self, key: &'static str) -> Vec<String> {
        let placed = self.placed_texts(key);
        placed.map_or_else(Vec::new, |(_, texts)| texts.into_iter().map(|(_, text)| text).collect())
    }

    /// One text or several, each with its place, and the place of the setting; none when it is not there.
    pub fn placed_texts(&mut self, key: &'static str) -> Option<(Place, Vec<(Place, String)>)> {
        let node = self.take(key)?;
        let all = match node.value {
            Value::List(all) => all,
            value => vec![Node { place: node.place, value }],
        };
        let mut texts = Vec::new();
        for one in all {
            match one.value {
                Value::Text(text) => texts.push((one.place, text)),
                other => {
                    self.mistyped::<()>(key, one.place, &other, "text in quotes, or a list of them");
                }
            }
        }
        Some((node.place, texts))
    }

    /// Cadences with one decimal, as tenths.
    pub fn tenths(&mut self, key: &'static str, into: &mut i64) {
        #[expect(clippy::cast_possible_truncation, reason = "checked to lie between 1 and 20")]
        if let Some((_, number)) = self.between(key, "number", &(1.0..=CADENCES_MAX), "write it as 2.5") {
            *into = (number * 10.0).round() as i64;
        }
    }

    /// A number within bounds, in hundredths.
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "the bounds lie within")]
    pub fn hundredths(&mut self, key: &'static str, bounds: &RangeInclusive<f64>) -> Option<u16> {
        let (_, number) = self.between(key, "number", bounds, "write it as 0.5")?;
        Some((number * 100.0).round() as u16)
    }

    /// A share from 0.01 to 0.99; says where it stands.
    pub fn share(&mut self, key: &'static str, into: &mut Chance) -> Option<Place> {
        let (place, number) = self.between(key, "chance", &SHARES, "write 30 in a hundred as 0.30")?;
        *into = Chance::of(number);
        Some(place)
    }

    /// A number within bounds, and where it stands.
    fn between(
        &mut self,
        key: &'static str,
        called: &str,
        bounds: &RangeInclusive<f64>,
        hint: &str,
    ) -> Option<(Place, f64)> {
        let node = self.take(key)?;
        let number = match &node.value {
            Value::Number(number) => number.parse::<f64>().ok().filter(|number| bounds.contains(number)),
            Value::Text(_) | Value::Bool(_) | Value::List(_) | Value::Table(_) => None,
        };
        if number.is_none() {
            let what = format!("{} is not a {called} from {} to {}", self.full(key), bounds.start(), bounds.end());
            self.wrong(node.place, what, hint);
        }
        number.map(|number| (node.place, number))
    }

    /// Done: whatever is left is unknown.
    pub fn end(self) {
        for (key, node) in self.left {
            let near = self
                .asked
                .iter()
                .map(|asked| (strsim::jaro_winkler(asked, &key), *asked))
                .filter(|(likeness, _)| *likeness >= LIKENESS_MIN)
                .max_by(|a, b| a.0.total_cmp(&b.0));
            let in_table = if self.name.is_empty() { String::new() } else { format!(" in [{}]", self.name) };
            self.problems.push(Problem {
                place: node.place,
                what: format!("there is no setting \"{key}\"{in_table}"),
                hint: near.map_or_else(
                    || format!("the settings here are: {}", self.asked.join(", ")),
                    |(_, near)| format!("did you mean \"{near}\"?"),
                ),
            });
        }
    }

    fn full(&self, key: &str) -> String {
        if self.name.is_empty() { key.to_owned() } else { format!("{}.{key}", self.name) }
    }

    fn mistyped<T>(&mut self, key: &str, place: Place, found: &Value, expected: &str) -> Option<T> {
        self.wrong(place, format!("{} is {}", self.full(key), found.kind()), format!("it should be {expected}"));
        None
    }
}

/// What a span looks like.
pub const SPAN_EXPECTED: &str = "a span such as \"15m\", \"2h\" or \"1h30m\"";

/// Reads `15m`, `90 min`, `2h`, `1h30m`, `45s`; at most 30 days.
///
/// ```
/// use recheck::{config::words::span, domain::time::Span};
/// assert_eq!(span("1h30m"), Some(Span::minutes(90)));
/// assert_eq!(span("15"), None);
/// ```
#[must_use]
pub fn span(text: &str) -> Option<Span> {
    let mut rest = text.trim();
    let mut seconds: i64 = 0;
    if rest.is_empty() {
        return None;
    }
    while !rest.is_empty() {
        let digits = rest.bytes().take_while(u8::is_ascii_digit).count();
        let number: i64 = rest.get(..digits)?.parse().ok()?;
        rest = rest.get(digits..)?.trim_start();
        let letters = rest.bytes().take_while(u8::is_ascii_alphabetic).count();
        let unit = match rest.get(..letters)? {
            "s" => 1,
            "m" | "min" => 60,
            "h" => 3_600,
            "d" => 86_400,
            _ => return None,
        };
        rest = rest.get(letters..)?.trim_start();
        seconds = seconds.checked_add(number.checked_mul(unit)?)?;
    }
    (seconds <= 30 * 86_400).then(|| Span::seconds(seconds))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spans_are_read_strictly() {
        for (text, seconds) in
            [("0m", 0), ("15m", 900), ("90 min", 5_400), ("1h 30m", 5_400), ("45s", 45), ("1d", 86_400)]
        {
            assert_eq!(span(text), Some(Span::seconds(seconds)), "{text}");
        }
        for text in ["", "m", "15", "1.5h", "-5m", "5x", "99999999999999999999m", "31d"] {
            assert_eq!(span(text), None, "{text}");
        }
    }
}
