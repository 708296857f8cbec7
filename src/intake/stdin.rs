//! Reads lines of a table from standard input as they come.

use super::folder::{Wake, after_lines};
use super::{Incoming, LINE_BYTES_MAX, Piece};
use crate::domain::reading::SourceId;
use crate::domain::travel::Travel;
use crate::formats::encoding::Encoding;
use crate::formats::repeated::After;
use crate::formats::wanted::{Dialect, NotFound, Wanted};
use std::io::{BufRead, Read};
use std::sync::mpsc::Receiver;
use tokio::sync::mpsc;

/// Lines read from any input; standard input in the program, a piece of text in tests.
#[derive(Debug)]
pub struct Lines {
    source: SourceId,
    format: Wanted,
    dialect: Option<Dialect>,
    waiting: Vec<u8>,
    line: u64,
    last: Option<After>,
    travels: Vec<Travel>,
    told: Option<Receiver<Wake>>,
}

impl Lines {
    /// Lines of a source in a format.
    #[must_use]
    pub const fn new(source: SourceId, format: Wanted) -> Self {
        Self {
            source,
            format,
            dialect: None,
            waiting: Vec::new(),
            line: 1,
            last: None,
            travels: Vec::new(),
            told: None,
        }
    }

    /// With travels of the wearer, and where more of them are told.
    #[must_use]
    pub fn with_travels(self, travels: &[Travel], told: Receiver<Wake>) -> Self {
        Self { travels: travels.to_vec(), told: Some(told), ..self }
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
        // Of all that a folder is told, only travels matter here.
        for wake in self.told.iter().flat_map(Receiver::try_iter) {
            if let Wake::Travels(travels) = wake {
                self.travels = travels;
            }
        }
        let Some(dialect) = &self.dialect else { return self.first_lines(line) };
        let clock = self.format.clock(dialect.zone, &self.travels);
        let rows = dialect.rows_by(&clock, line, number, self.last);
        self.last = rows.last.or(self.last);
        Some(Piece::new(self.source, "standard input", &rows))
    }

    /// Lines are kept until it is clear how they are written; then all of them are read.
    fn first_lines(&mut self, line: &[u8]) -> Option<Piece> {
        self.waiting.extend_from_slice(line);
        match self.format.sniff(&self.waiting, Encoding::Utf8, None) {
            Ok(dialect) => {
                let text = after_lines(&self.waiting, dialect.head_lines);
                let clock = self.format.clock(dialect.zone, &self.travels);
                let rows = dialect.rows_by(&clock, text, dialect.head_lines + 1, None);
                self.last = rows.last;
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
