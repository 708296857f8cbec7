//! Where readings come from: a watched folder, or standard input. Decides nothing about them, and gives
//! no row away: what is read waits in a bounded queue until it is taken in.

pub mod events;
pub mod folder;
pub mod listing;
pub mod place;
pub mod places;
pub mod stdin;
mod watch;

use crate::domain::reading::{Reading, SourceId, Undecided};
use crate::domain::written::Written;
use crate::formats::row_error::RowError;
use crate::formats::rows::{Row, Rows};

/// Pieces that may wait to be taken in; the reader waits when there are more.
pub const QUEUE_MAX: usize = 16;

/// Most bytes read in one piece.
pub const PIECE_BYTES_MAX: usize = 1 << 20;

/// Longest line; a longer one is refused and skipped.
pub const LINE_BYTES_MAX: usize = 1 << 16;

/// A file that cannot be understood counts as so many refused rows: enough to be an alert at once.
const QUESTION_COUNTS: u64 = 3;

/// One piece of what came in.
#[derive(Debug, Clone, PartialEq)]
pub struct Piece {
    /// From which source.
    pub source: SourceId,
    /// Accepted rows.
    pub rows: Vec<Reading>,
    /// Rows of a repeated hour whose order does not say which time round they are.
    pub undecided: Vec<Undecided>,
    /// Refusals in words, each with file, line and column.
    pub refusals: Vec<String>,
    /// All refusals, also those without words.
    pub refused: u64,
    /// Refusals after the last accepted row.
    pub refused_at_end: u64,
    /// Rows without a glucose value.
    pub blank: u64,
    /// Rows in the hours of a clock change or a journey.
    pub clock_change: u64,
    /// Where reading goes on: path and place.
    pub place: Option<(String, String)>,
    /// The refusal is about the whole file: it is not understood.
    pub whole_file: bool,
    /// This piece belongs to the past of a source that was never seen before.
    pub first_sight: bool,
    /// It is of a diary: its refusals are told to the wearer, and say nothing about the source.
    pub of_diary: bool,
    /// Its lines, each with its file and line.
    pub diary: Vec<(String, Written)>,
}

/// What intake says.
#[derive(Debug, Clone, PartialEq)]
pub enum Incoming {
    /// A piece of text was read.
    Piece(Piece),
    /// A source as a whole cannot be read.
    Lost {
        /// Which.
        source: SourceId,
        /// Why.
        words: String,
    },
    /// Files have been gone for so long that their places need not be kept.
    Gone {
        /// Of which source.
        source: SourceId,
        /// Their paths.
        paths: Vec<String>,
    },
    /// The first look at every folder is done.
    LookedOnce,
    /// Standard input has ended.
    InputEnded,
}

impl Piece {
    /// A piece from what a table held; `file` is put before each refusal.
    fn new(source: SourceId, file: &str, rows: &Rows) -> Self {
        Self {
            source,
            refusals: rows.refused.iter().map(|refusal| named(file, refusal)).collect(),
            refused: rows.refused_count,
            refused_at_end: rows.refused_at_end,
            blank: rows.blank,
            clock_change: rows.clock_change,
            rows: readings(source, &rows.rows),
            undecided: rows.undecided.clone(),
            place: None,
            whole_file: false,
            first_sight: false,
            of_diary: rows.of_diary,
            diary: rows.diary.iter().map(|row| (format!("{file}: line {}", row.line), row.written.clone())).collect(),
        }
    }

    /// The same piece, of a diary or not.
    #[must_use]
    fn about(self, of_diary: bool) -> Self {
        Self { of_diary, ..self }
    }

    /// A piece without anything: only the place moves.
    fn empty(source: SourceId) -> Self {
        Self::new(source, "", &Rows::default())
    }

    /// A piece that is a question: nothing of the file can be read until it is answered.
    fn question(source: SourceId, file: &str, line: u64, what: &str, hint: &str) -> Self {
        Self::asked(source, format!("{file}: line {line}: {what}; {hint}"))
    }

    /// A piece that says that a folder holds more than is looked at.
    fn beyond(source: SourceId, folder: &str, what: &str, hint: &str) -> Self {
        Self::asked(source, format!("{folder}: {what}; {hint}"))
    }

    fn asked(source: SourceId, words: String) -> Self {
        let mut piece = Self::empty(source);
        piece.refusals.push(words);
        piece.refused = 1;
        piece.refused_at_end = QUESTION_COUNTS;
        piece.whole_file = true;
        piece
    }

    /// A piece that is one refusal.
    fn refusal(source: SourceId, file: &str, refusal: &RowError) -> Self {
        let rows = Rows { refused: vec![refusal.clone()], refused_count: 1, refused_at_end: 1, ..Rows::default() };
        Self::new(source, file, &rows)
    }
}

/// A refusal with its file.
#[must_use]
pub fn named(file: &str, refusal: &RowError) -> String {
    format!("{file}: {refusal}")
}

fn readings(source: SourceId, rows: &[Row]) -> Vec<Reading> {
    rows.iter().map(|row| Reading { source, measured: row.measured, glucose: row.glucose }).collect()
}
