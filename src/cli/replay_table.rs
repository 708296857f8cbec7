//! What `recheck replay` shows at its end: a table for people, or the same figures as one object. With two choices
//! of settings both are shown, and what differs.

use super::burden::LITTLE_DAYS;
use super::print::{folded, line};
use super::replay::Tried;
use crate::domain::local::Zone;
use crate::domain::time::Timestamp;
use crate::engine::effect::Condition;
use crate::replay::summary::{Summary, rounded};
use serde::Serialize;
use serde_json::{Map, Value, json};

/// A column: the key of the figure, its decimals and its width.
type Column = (&'static str, usize, usize);

/// Columns of the table.
const COLUMNS: [Column; 8] = [
    ("episodes", 0, 6),
    ("raised_per_day", 2, 8),
    ("rings_per_day", 2, 7),
    ("raised_per_night", 2, 9),
    ("heard_per_night", 2, 7),
    ("re_raised_percent", 1, 11),
    ("missed_percent", 1, 8),
    ("delay_min_mean", 1, 7),
];

const HEADS: [&str; 2] = [
    "                              a day         a night  re-raised  missed  delay",
    "condition      episodes  raised  rings   raised  heard          %       %    min",
];

/// The same of the table of forecasts.
const FORECAST_COLUMNS: [Column; 9] = [
    ("episodes", 0, 6),
    ("detected_percent", 1, 7),
    ("detected_15_min_percent", 1, 8),
    ("lead_min_p25", 0, 6),
    ("lead_min_p50", 0, 5),
    ("precision_percent", 1, 8),
    ("raised_per_day", 2, 8),
    ("false_per_day", 3, 7),
    ("rings_per_day", 2, 6),
];

const FORECAST_HEADS: [&str; 2] = [
    "                      foreseen  15 min   lead, min    came                a day",
    "forecast       episodes      %  before   p25  p50  true %  raised  false rings",
];

/// Figures below the table: where they stand, their words and their decimals.
const FIGURES: [(&str, &str, usize); 9] = [
    ("/answers_given", "answers that were given", 0),
    ("/answers_without_alert", "answers that find no alert", 0),
    ("/recheck_prompts_per_day", "re-check prompts a day", 2),
    ("/wakes_per_week", "wakes a week", 1),
    ("/needless_wakes_per_week", "needless wakes a week", 1),
    ("/interruptions_by_day_median", "interruptions by day, median", 0),
    ("/interruptions_by_day_p95", "interruptions by day, p95", 0),
    ("/interruptions_by_night_median", "interruptions by night, median", 0),
    ("/interruptions_by_night_p95", "interruptions by night, p95", 0),
];

/// Names, and the column of episodes beside them.
const NAME_WIDTH: usize = 17;

const WORDS_WIDTH: usize = 34;
const FIGURE_WIDTH: usize = 12;

/// What an object says of what was replayed: no difference is taken of it.
const OF_INPUT: [&str; 6] = ["replayed", "settings", "files", "from", "until", "night"];

/// Differences are of figures that are rounded already; this takes away what binary fractions leave.
const DIFFERENCE_DECIMALS: i32 = 6;

/// What was replayed.
#[derive(Debug)]
pub(super) enum Through {
    /// Files, each of one person.
    Files {
        /// How many were named.
        files: usize,
    },
    /// Files of one person, with the answers in them.
    Together {
        /// How many were named.
        files: usize,
        /// Answers, and those without an alert, with each of the settings that are tried.
        answers: Vec<(u64, u64)>,
    },
    /// The wearer's own history.
    Life {
        /// First instant that counts.
        from: Timestamp,
        /// First instant that counts no more.
        until: Timestamp,
        /// The zone in force then.
        zone: Zone,
        /// What is not counted, in words.
        left_out: Option<String>,
        /// Answers, and those without an alert, with each of the settings that are tried.
        answers: Vec<(u64, u64)>,
    },
}

/// The object of one choice of settings.
#[derive(Debug, Serialize)]
struct Object {
    replayed: &'static str,
    settings: String,
    files: Option<usize>,
    from: Option<String>,
    until: Option<String>,
    night: String,
    answers_given: Option<u64>,
    answers_without_alert: Option<u64>,
    #[serde(flatten)]
    summary: Summary,
}

/// What is shown.
#[derive(Debug)]
pub(super) struct Shown {
    intro: Vec<String>,
    first: Value,
    /// The other settings, and what they change.
    other: Option<(Value, Value)>,
}

impl Shown {
    /// One summary for each of the settings that are tried.
    pub(super) fn new(through: &Through, tried: &[Tried], mut summaries: Vec<Summary>) -> Self {
        if let [first, other] = &mut summaries[..] {
            first.name_those_of(other);
            other.name_those_of(first);
        }
        let readings = summaries.first().map_or(0, |summary| summary.readings);
        let days = summaries.first().map_or(0.0, |summary| summary.days_covered);
        let mut intro = through.intro(readings, days);
        if let [first, other] = tried {
            intro.extend([format!("first: {}", first.name), format!("other: {}", other.name)]);
        }
        let objects = summaries.into_iter().zip(tried).enumerate().map(|(which, (summary, tried))| {
            let object = through.object(which, tried, summary);
            serde_json::to_value(object).unwrap_or_else(|error| unreachable!("numbers and texts are JSON: {error}"))
        });
        let mut objects = objects.collect::<Vec<Value>>().into_iter();
        let first = objects.next().unwrap_or_default();
        let other = objects.next().map(|other| {
            let difference = difference(&first, &other);
            (other, difference)
        });
        Self { intro, first, other }
    }

    /// Prints it, as an object or for people.
    pub(super) fn print(&self, as_object: bool) {
        match (as_object, &self.other) {
            (true, None) => line(&self.first.to_string()),
            (true, Some((other, difference))) => {
                line(&json!({ "first": self.first, "other": other, "difference": difference }).to_string());
            }
            (false, _) => {
                self.intro.iter().for_each(|text| folded(text));
                self.lines().iter().for_each(|text| line(text));
            }
        }
    }

    fn lines(&self) -> Vec<String> {
        let mut lines = vec![String::new()];
        lines.extend(HEADS.map(str::to_owned));
        lines.extend(self.rows("conditions", &COLUMNS));
        let foreseen = self.rows("forecasts", &FORECAST_COLUMNS);
        if !foreseen.is_empty() {
            lines.push(String::new());
            lines.extend(FORECAST_HEADS.map(str::to_owned));
            lines.extend(foreseen);
        }
        lines.push(String::new());
        if self.other.is_some() {
            lines.push(listed("", &["first", "other", "difference"]));
        }
        for (place, words, decimals) in FIGURES {
            let of =
                |value: &Value, is_signed| shown(value.pointer(place).unwrap_or(&Value::Null), decimals, is_signed);
            // Files have no answers.
            if place.starts_with("/answers") && self.first.pointer(place).is_none_or(Value::is_null) {
                continue;
            }
            let mut cells = vec![of(&self.first, false)];
            if let Some((other, difference)) = &self.other {
                cells.extend([of(other, false), of(difference, true)]);
            }
            lines.push(listed(words, &cells.iter().map(String::as_str).collect::<Vec<_>>()));
        }
        lines.push(String::new());
        if self.other.is_some() {
            lines.push("A condition without an other and a difference is the same with both. Episodes".to_owned());
            lines.push("are those beyond the limits of each: another limit has others.".to_owned());
        }
        lines.push("Raised: became active. Rings: raised, or again while active. Heard: all that".to_owned());
        lines.push("rings by night. Each for a day covered; docs/replay.md defines each word.".to_owned());
        lines
    }
}

impl Shown {
    /// A row for each condition of which there is something; with other settings, what differs.
    fn rows(&self, of: &str, columns: &[Column]) -> Vec<String> {
        let mut rows = Vec::new();
        for name in
            Condition::ALL.map(Condition::name).into_iter().filter(|name| self.is_worth_a_row(of, name, columns))
        {
            rows.push(row(columns, name, &self.first[of][name], false));
            if let Some((other, difference)) = &self.other
                && differs(columns, &difference[of][name], &self.first[of][name], &other[of][name])
            {
                rows.push(row(columns, "  other", &other[of][name], false));
                rows.push(row(columns, "  difference", &difference[of][name], true));
            }
        }
        rows
    }

    /// The four levels are; another condition is where a figure of it is not nothing, a forecast where one was raised.
    fn is_worth_a_row(&self, of: &str, name: &str, columns: &[Column]) -> bool {
        let is_something = |all: &Value| {
            let figures = &all[of][name];
            let is_some = |key: &str| figures[key].as_f64().is_some_and(|figure| figure > 0.0);
            match of {
                "forecasts" => is_some("raised_per_day"),
                _ => !figures["episodes"].is_null() || columns.iter().any(|(key, ..)| is_some(key)),
            }
        };
        is_something(&self.first) || self.other.as_ref().is_some_and(|(other, _)| is_something(other))
    }
}

impl Through {
    /// What the figures stand on.
    fn intro(&self, readings: u64, days: f64) -> Vec<String> {
        let mut lines = match self {
            Self::Files { files: 1 } => {
                vec![format!("{readings} readings, {days:.1} days covered, in 1 file; if nobody answers")]
            }
            Self::Files { files } => vec![
                format!("{readings} readings, {days:.1} days covered, in {files} files; if nobody answers"),
                "Each file is taken for one person.".to_owned(),
            ],
            Self::Together { files, .. } => vec![
                format!("{readings} readings, {days:.1} days covered, in {files} {}", plural(*files)),
                "Taken for one person, with the answers that were given.".to_owned(),
            ],
            Self::Life { from, until, zone, left_out, .. } => {
                let stamp = |at: &Timestamp| zone.wall(*at).format("%Y-%m-%d %H:%M").to_string();
                let mut lines = vec![
                    format!("{readings} readings, {days:.1} days covered, of your own history"),
                    format!("{} to {}, {}; with the answers that were given", stamp(from), stamp(until), zone.name()),
                ];
                lines.extend(left_out.clone());
                lines
            }
        };
        #[expect(clippy::cast_precision_loss, reason = "a few days")]
        if days < LITTLE_DAYS as f64 {
            lines.push(format!("too little data: fewer than {LITTLE_DAYS} days covered"));
        }
        lines
    }

    fn object(&self, which: usize, tried: &Tried, summary: Summary) -> Object {
        let (replayed, files, period, answers) = match self {
            Self::Files { files } => ("files", Some(*files), None, None),
            Self::Together { files, answers } => ("together", Some(*files), None, answers.get(which).copied()),
            Self::Life { from, until, zone, answers, .. } => {
                let period = (zone.rfc3339(*from), zone.rfc3339(*until));
                ("own_history", None, Some(period), answers.get(which).copied())
            }
        };
        let (from, until) = period.unzip();
        let (answers_given, answers_without_alert) = answers.unzip();
        let (settings, night) = (tried.name.clone(), tried.settings.policy.night.to_string());
        Object { replayed, settings, files, from, until, night, answers_given, answers_without_alert, summary }
    }
}

const fn plural(files: usize) -> &'static str {
    if files == 1 { "file" } else { "files" }
}

/// Of all numbers that both have, how much more the other is.
fn difference(first: &Value, other: &Value) -> Value {
    match (first, other) {
        (Value::Object(first), Value::Object(other)) => {
            let of = |(key, value): (&String, &Value)| {
                let is_figure = !OF_INPUT.contains(&key.as_str());
                is_figure.then(|| (key.clone(), difference(value, other.get(key).unwrap_or(&Value::Null))))
            };
            Value::Object(first.iter().filter_map(of).collect::<Map<_, _>>())
        }
        (Value::Number(first), Value::Number(other)) => {
            if let (Some(first), Some(other)) = (first.as_i64(), other.as_i64()) {
                return json!(other - first);
            }
            let apart = first.as_f64().zip(other.as_f64()).map(|(first, other)| other - first);
            json!(apart.map(|apart| rounded(apart, DIFFERENCE_DECIMALS)))
        }
        _ => Value::Null,
    }
}

/// Is there something to show of another, beside the first?
fn differs(columns: &[Column], difference: &Value, first: &Value, other: &Value) -> bool {
    columns.iter().any(|(key, ..)| {
        let is_apart = difference[key].as_f64().is_some_and(|apart| apart.abs() > 0.0);
        is_apart || first[key].is_null() != other[key].is_null()
    })
}

fn row(columns: &[Column], name: &str, figures: &Value, is_signed: bool) -> String {
    columns.iter().fold(format!("{name:<NAME_WIDTH$}"), |row, (key, decimals, width)| {
        format!("{row}{:>width$}", shown(&figures[key], *decimals, is_signed))
    })
}

fn listed(words: &str, cells: &[&str]) -> String {
    cells.iter().fold(format!("{words:<WORDS_WIDTH$}"), |row, cell| format!("{row}{cell:>FIGURE_WIDTH$}"))
}

/// A number as the tables show it; a difference has its sign, and one of nothing is a plain 0.
fn shown(value: &Value, decimals: usize, is_signed: bool) -> String {
    match value.as_f64() {
        None => "-".to_owned(),
        Some(0.0) if is_signed => "0".to_owned(),
        Some(number) if is_signed => format!("{number:+.decimals$}"),
        Some(number) => format!("{number:.decimals$}"),
    }
}
