//! The one printer: lines of data, lines of words, and errors that say what to do.

use crate::config::problem::Problems;
use crate::daemon::StartError;
use crate::store;
use std::io::{IsTerminal as _, Write as _};
use std::process::ExitCode;

/// Something failed.
pub(super) const FAILED: u8 = 1;

/// The exit code when what was typed is no command.
const MISTYPED: u8 = 2;

/// The answer is a question back, or "no".
pub(super) const ASKED_BACK: u8 = 3;

/// A failure to tell the person at the keyboard.
#[derive(Debug)]
pub(super) struct Failure {
    what: String,
    hint: Option<String>,
}

impl Failure {
    pub(super) fn new(what: impl Into<String>) -> Self {
        Self { what: what.into(), hint: None }
    }

    pub(super) fn hint(self, hint: impl Into<String>) -> Self {
        Self { hint: Some(hint.into()), ..self }
    }
}

impl From<Problems> for Failure {
    fn from(problems: Problems) -> Self {
        let said = problems.to_string();
        Self::new(said.strip_prefix("error: ").unwrap_or(&said))
    }
}

impl From<store::Error> for Failure {
    fn from(error: store::Error) -> Self {
        let hint = match &error {
            store::Error::TooNew { .. } => "install the newer recheck again, or name another folder with --state",
            store::Error::Sqlite { .. } => "check that the disk has space, and that the folder is yours to write",
            store::Error::Form { .. } => "keep a copy of the file; `recheck run` with another --state starts afresh",
        };
        Self::new(error.to_string()).hint(hint)
    }
}

impl From<StartError> for Failure {
    fn from(error: StartError) -> Self {
        match error {
            StartError::Store(error) => error.into(),
            StartError::AlreadyRuns(_) => {
                Self::new(error.to_string()).hint("`recheck status` shows what it does; stop it first to start another")
            }
            StartError::Folder(..) => Self::new(error.to_string()).hint("name another folder with --state"),
            StartError::Channel(..) => {
                Self::new(error.to_string()).hint("correct the channel in the settings; `recheck check` checks them")
            }
        }
    }
}

/// Prints a failure, and ends with its code.
pub(super) fn fail(failure: &Failure) -> ExitCode {
    words(&format!("error: {}", failure.what));
    if let Some(hint) = &failure.hint {
        words(&format!("\nhint: {hint}"));
    }
    ExitCode::from(FAILED)
}

/// What was typed is none of the commands, or lacks something: what is wrong, and what to do. Help that was asked for
/// is no failure.
pub(super) fn mistyped(error: &clap::Error) -> ExitCode {
    // Without standard error there is nobody to tell.
    let _ = error.print();
    if !error.use_stderr() {
        return ExitCode::SUCCESS;
    }
    let command = std::env::args().nth(1).filter(|word| word.chars().all(|c| c.is_ascii_lowercase()));
    let of = command.map_or_else(String::new, |command| format!(" {command}"));
    words(&format!("hint: `recheck{of} --help` shows how it is written"));
    ExitCode::from(MISTYPED)
}

/// Columns of a terminal that everybody has.
const COLUMNS: usize = 80;

/// Data for people: on a terminal no line of it is longer than the terminal is wide.
pub(super) fn folded(text: &str) {
    if std::io::stdout().is_terminal() {
        text.lines().flat_map(|text| fold(text, COLUMNS)).for_each(|text| line(&text));
    } else {
        line(text);
    }
}

/// A line broken between words; what goes on is set in by two more columns. A longer word stays whole.
fn fold(text: &str, columns: usize) -> Vec<String> {
    let indent = text.len() - text.trim_start().len();
    let mut lines = Vec::new();
    let mut row = " ".repeat(indent);
    let mut is_empty = true;
    for word in text.trim_start().split(' ') {
        if !is_empty && row.chars().count() + 1 + word.chars().count() > columns {
            lines.push(std::mem::replace(&mut row, " ".repeat(indent + 2)));
            is_empty = true;
        }
        if !is_empty {
            row.push(' ');
        }
        row.push_str(word);
        is_empty = false;
    }
    lines.push(row);
    lines
}

/// A line of data.
#[expect(clippy::exit, reason = "a closed pipe is the reader's way to say enough")]
pub(super) fn line(text: &str) {
    if writeln!(std::io::stdout().lock(), "{text}").is_err() {
        std::process::exit(0);
    }
}

/// A line of words.
pub(super) fn words(text: &str) {
    let mut out = std::io::stderr().lock();
    let columns = if out.is_terminal() { COLUMNS } else { usize::MAX };
    for text in text.lines().flat_map(|text| fold(text, columns)) {
        // Without standard error there is nobody to tell.
        let _ = writeln!(out, "{text}");
    }
}

/// A line on the terminal of standard error that the next one takes the place of; an empty one takes it away. No
/// line at all where that is no terminal.
pub(super) fn passing(text: &str) {
    let mut out = std::io::stderr().lock();
    if out.is_terminal() {
        // What only passes by may fail.
        let _ = write!(out, "\r\x1b[K{text}");
        let _ = out.flush();
    }
}

#[cfg(test)]
mod tests {
    use super::fold;

    #[test]
    fn lines_are_folded_between_words_and_set_in() {
        assert_eq!(fold("  one two  three", 80), ["  one two  three"]);
        assert_eq!(fold("  one two three", 9), ["  one two", "    three"]);
        assert_eq!(fold("one/two/three/four five", 9), ["one/two/three/four", "  five"]);
        assert_eq!(fold("", 9), [""]);
    }
}
