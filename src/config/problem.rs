//! What is wrong with the settings, where, and what to do about it.

use std::fmt;
use std::path::PathBuf;

/// Where a setting stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Place {
    /// Line and column in the file, from 1.
    File {
        /// Line.
        line: usize,
        /// Column.
        column: usize,
    },
    /// Given on the command line.
    Set,
}

/// One problem.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// Where.
    pub place: Place,
    /// What is wrong.
    pub what: String,
    /// What to do.
    pub hint: String,
}

/// All problems of one file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problems {
    /// The file; none when there is none and all comes from the command line.
    pub path: Option<PathBuf>,
    /// In the order of the file.
    pub all: Vec<Problem>,
}

impl fmt::Display for Problems {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (number, problem) in self.all.iter().enumerate() {
            if number > 0 {
                writeln!(out)?;
            }
            let file = self.path.as_ref().map_or_else(|| "settings".to_owned(), |path| path.display().to_string());
            match problem.place {
                Place::File { line, column } => {
                    write!(out, "error: {file}:{line}:{column}: {}", problem.what)?;
                }
                Place::Set => write!(out, "error: --set: {}", problem.what)?,
            }
            if !problem.hint.is_empty() {
                write!(out, "\nhint: {}", problem.hint)?;
            }
        }
        Ok(())
    }
}

impl std::error::Error for Problems {}
