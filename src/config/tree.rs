//! TOML as a tree in which every value knows its place, so that a problem can name line and column.

use super::problem::{Place, Problem};
use std::collections::BTreeMap;
use toml::de::{DeTable, DeValue};

/// A value and where it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Node {
    /// Where.
    pub place: Place,
    /// What.
    pub value: Value,
}

/// A TOML value, as far as settings use them.
#[derive(Debug, Clone, PartialEq)]
pub enum Value {
    /// Text.
    Text(String),
    /// A number, as written.
    Number(String),
    /// Yes or no.
    Bool(bool),
    /// Several values.
    List(Vec<Node>),
    /// Named values.
    Table(BTreeMap<String, Node>),
}

impl Value {
    /// What it is called in an error.
    #[must_use]
    pub const fn kind(&self) -> &'static str {
        match self {
            Self::Text(_) => "text",
            Self::Number(_) => "a number",
            Self::Bool(_) => "true or false",
            Self::List(_) => "a list",
            Self::Table(_) => "a table",
        }
    }
}

/// A second `[source.sensor]` is no addition to the first.
const STANDS_ONCE: &str = "each [section], and each setting in it, stands once: put its lines together";

/// What is to be done about a line that is no TOML.
const FORM: &str = "a line is a [section], or a name = value with text in quotes; # begins a comment";

/// The text of a file.
///
/// # Errors
/// Where it is not UTF-8.
pub fn text(bytes: &[u8]) -> Result<&str, Problem> {
    // Some editors begin a file with the byte order mark.
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    std::str::from_utf8(bytes).map_err(|error| {
        let before = std::str::from_utf8(bytes.get(..error.valid_up_to()).unwrap_or_default()).unwrap_or_default();
        Problem {
            place: place(before, before.len()),
            what: "this is not UTF-8 text".to_owned(),
            hint: "save the file as UTF-8: your editor can".to_owned(),
        }
    })
}

/// Reads a whole file; problems of form are all reported, not only the first.
#[must_use]
pub fn read(text: &str) -> (Node, Vec<Problem>) {
    let (table, errors) = DeTable::parse_recoverable(text);
    let problems = errors
        .into_iter()
        .map(|error| Problem {
            place: error.span().map_or(Place::File { line: 1, column: 1 }, |span| place(text, span.start)),
            what: error.message().to_owned(),
            hint: if error.message().starts_with("duplicate key") { STANDS_ONCE.to_owned() } else { FORM.to_owned() },
        })
        .collect();
    let at = |offset: usize| place(text, offset);
    let start = table.span().start;
    (Node { place: place(text, start), value: Value::Table(branches(table.get_ref(), &at)) }, problems)
}

/// Lays one `KEY=VALUE` of the command line over a tree. A value that is no TOML is taken as text.
///
/// # Errors
/// When there is no `=`, or the key is not a dotted name.
pub fn set(tree: &mut Node, assignment: &str) -> Result<(), Problem> {
    let wrong = |what: String| Problem { place: Place::Set, what, hint: "write it as level.low.limit=72".to_owned() };
    let (key, value) = assignment.split_once('=').ok_or_else(|| wrong(format!("\"{assignment}\" has no =")))?;
    let (key, value) = (key.trim(), value.trim());
    let is_name = |part: &str| !part.is_empty() && part.chars().all(|c| c.is_alphanumeric() || c == '_' || c == '-');
    if !key.split('.').all(is_name) {
        return Err(wrong(format!("\"{key}\" is not the name of a setting")));
    }
    let as_toml = format!("value = {value}");
    let value = match DeTable::parse(&as_toml) {
        Ok(table) => table.get_ref().get("value").map(|value| meant(value.get_ref(), &|_| Place::Set)),
        Err(_) => None,
    }
    .unwrap_or_else(|| Value::Text(value.to_owned()));
    put(tree, &key.split('.').collect::<Vec<_>>(), value);
    Ok(())
}

fn put(here: &mut Node, path: &[&str], value: Value) {
    let Some((first, rest)) = path.split_first() else {
        *here = Node { place: Place::Set, value };
        return;
    };
    if !matches!(here.value, Value::Table(_)) {
        here.value = Value::Table(BTreeMap::new());
    }
    if let Value::Table(branches) = &mut here.value {
        let empty = Node { place: Place::Set, value: Value::Table(BTreeMap::new()) };
        put(branches.entry((*first).to_owned()).or_insert(empty), rest, value);
    }
}

fn branches(table: &DeTable<'_>, at: &impl Fn(usize) -> Place) -> BTreeMap<String, Node> {
    table
        .iter()
        .map(|(key, value)| {
            let node = Node { place: at(key.span().start), value: meant(value.get_ref(), at) };
            (key.get_ref().to_string(), node)
        })
        .collect()
}

fn meant(value: &DeValue<'_>, at: &impl Fn(usize) -> Place) -> Value {
    match value {
        DeValue::String(text) => Value::Text(text.to_string()),
        DeValue::Integer(number) => Value::Number(number.as_str().replace('_', "")),
        DeValue::Float(number) => Value::Number(number.as_str().replace('_', "")),
        DeValue::Boolean(yes) => Value::Bool(*yes),
        DeValue::Datetime(moment) => Value::Text(moment.to_string()),
        DeValue::Array(all) => Value::List(
            all.iter().map(|one| Node { place: at(one.span().start), value: meant(one.get_ref(), at) }).collect(),
        ),
        DeValue::Table(table) => Value::Table(branches(table, at)),
    }
}

fn place(text: &str, offset: usize) -> Place {
    let before = text.get(..offset).unwrap_or(text);
    let line = before.matches('\n').count() + 1;
    let column = before.rsplit('\n').next().map_or(0, |last| last.chars().count()) + 1;
    Place::File { line, column }
}
