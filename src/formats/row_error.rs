//! Why a row was refused, and where. The file's name is added by whoever read it.

use serde::{Deserialize, Serialize};

/// Longest piece of a refused cell that is repeated back, in characters.
const FOUND_CHARS_MAX: usize = 60;

/// One refused row (or header), by its place in the text.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct RowError {
    /// Line in the file, from 1.
    pub line: u64,
    /// Column in the row, from 1; 0 when the row as a whole is meant.
    pub column: usize,
    /// The column's name in the header; empty when the row as a whole is meant.
    pub name: String,
    /// What should have stood there.
    pub expected: String,
    /// What stood there.
    pub found: String,
}

impl RowError {
    /// A refusal; `found` is shortened and made printable.
    #[must_use]
    pub fn new(line: u64, column: usize, name: &str, expected: &str, found: &[u8]) -> Self {
        let text = String::from_utf8_lossy(found);
        let mut shown: String =
            text.chars().take(FOUND_CHARS_MAX).map(|c| if c.is_control() { '\u{fffd}' } else { c }).collect();
        if text.chars().nth(FOUND_CHARS_MAX).is_some() {
            shown.push_str("...");
        }
        Self { line, column, name: name.to_owned(), expected: expected.to_owned(), found: shown }
    }
}

impl std::fmt::Display for RowError {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(out, "line {}", self.line)?;
        if self.column > 0 {
            write!(out, ", column {} ({})", self.column, self.name)?;
        }
        write!(out, ": expected {}, found \"{}\"", self.expected, self.found)
    }
}
