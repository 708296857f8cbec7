//! Reads lines of a table from standard input as they come.

use super::folder::after_lines;
use super::{Incoming, LINE_BYTES_MAX, Piece};
use crate::domain::reading::SourceId;
use crate::domain::time::Timestamp;
use crate::formats::encoding::Encoding;
use crate::formats::wanted::{Dialect, NotFound, Wanted};
use std::io::{BufRead, Read};
use tokio::sync::mpsc;

/// Lines read from any input; standard input in the program, a piece of text in tests.
#[derive(Debug)]
pub struct Lines {
    source: SourceId,
    format: Wanted,
    dialect: Option<Dialect>,
    waiting: Vec<u8>,
    line: u64,
    last: Option<Timestamp>,
}

impl Lines {
    /// Lines of a source in a format.
    #[must_use]
    pub const fn new(source: SourceId, format: Wanted) -> Self {
        Self { source, format, dialect: None, waiting: Vec::new(), line: 1, last: None }
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
        let Some(dialect) = &self.dialect else { return self.first_lines(line) };
        let rows = dialect.rows(line, number, self.last);
        self.last = rows.last().or(self.last);
        Some(Piece::new(self.source, "standard input", &rows))
    }

    /// Lines are kept until it is clear how they are written; then all of them are read.
    fn first_lines(&mut self, line: &[u8]) -> Option<Piece> {
        self.waiting.extend_from_slice(line);
        match self.format.sniff(&self.waiting, Encoding::Utf8, None) {
            Ok(dialect) => {
                let text = after_lines(&self.waiting, dialect.head_lines);
                let rows = dialect.rows(text, dialect.head_lines + 1, None);
                self.last = rows.last();
                self.dialect = Some(dialect);
                Some(Piece::new(self.source, "standard input", &rows))
            }
            Err(NotFound::NoRowYet) if self.waiting.len() < LINE_BYTES_MAX => None,
            Err(NotFound::NoRowYet) => {
                Some(Piece::question(self.source, "standard input", 1, "no row has come", "set how it is written"))
            }
            Err(NotFound::Question { line, what, hint }) => {
                let of_diary = self.format.is_diary(&self.waiting);
                Some(Piece::question(self.source, "standard input", line, &what, &hint).about(of_diary))
            }
        }
    }
}
