//! Reads lines of a table from standard input as they come.

use super::{Incoming, LINE_BYTES_MAX, Piece};
use crate::domain::reading::SourceId;
use crate::domain::time::Timestamp;
use crate::formats::row_error::RowError;
use crate::formats::table::{Columns, Format};
use std::io::{BufRead, Read};
use tokio::sync::mpsc;

/// Lines read from any input; standard input in the program, a piece of text in tests.
#[derive(Debug)]
pub struct Lines {
    source: SourceId,
    format: Format,
    columns: Option<Columns>,
    line: u64,
    last: Option<Timestamp>,
}

impl Lines {
    /// Lines of a source in a format.
    #[must_use]
    pub const fn new(source: SourceId, format: Format) -> Self {
        Self { source, format, columns: None, line: 1, last: None }
    }

    /// Reads to the end, one piece a line, and says so. Runs on a thread of its own.
    pub fn read(mut self, input: impl BufRead, queue: &mpsc::Sender<Incoming>) {
        let mut input = input;
        let mut line = Vec::new();
        loop {
            line.clear();
            let read = Read::by_ref(&mut input).take(LINE_BYTES_MAX as u64).read_until(b'\n', &mut line);
            let piece = match read {
                Ok(0) | Err(_) => {
                    // The loop decides what the end of input means; without it there is nothing to tell.
                    let _ = queue.blocking_send(Incoming::InputEnded);
                    return;
                }
                Ok(_) => self.piece(&line),
            };
            if piece.is_some_and(|piece| queue.blocking_send(Incoming::Piece(piece)).is_err()) {
                return;
            }
        }
    }

    fn piece(&mut self, line: &[u8]) -> Option<Piece> {
        let number = self.line;
        self.line += 1;
        if line.trim_ascii().is_empty() {
            return None;
        }
        let Some(columns) = self.columns else {
            return match self.format.columns(line.trim_ascii_end(), number) {
                Ok(columns) => {
                    self.columns = Some(columns);
                    None
                }
                Err(refusal) => Some(self.refusal(&refusal)),
            };
        };
        let rows = self.format.rows(columns, line, number, self.last);
        self.last = rows.rows.last().map(|row| row.measured).or(self.last);
        Some(Piece::new(self.source, "standard input", &rows))
    }

    fn refusal(&self, refusal: &RowError) -> Piece {
        Piece::refusal(self.source, "standard input", refusal)
    }
}
