//! How far a file has been read, and whether it is still the same file.

use crate::formats::repeated::After;
use crate::formats::wanted::Dialect;
use serde::{Deserialize, Serialize};
use std::fs::{File, Metadata};
use std::io::{self, Read, Seek, SeekFrom};
use std::os::unix::fs::MetadataExt;
use std::sync::Arc;

/// Bytes at the head, and before the place, that tell whether a file was rewritten.
const HEAD_BYTES: u64 = 4_096;
const TAIL_BYTES: u64 = 512;

/// What a file looks like without reading it: its size, its time of change in nanoseconds, its inode.
pub type Looked = (u64, i128, u64);

/// How far a file has been read.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Place {
    /// Bytes taken in, whole lines only.
    pub offset: u64,
    /// Number of the next line.
    pub line: u64,
    /// How it is written, once that was found out.
    pub dialect: Option<Arc<Dialect>>,
    /// The last row before the place.
    pub last: Option<After>,
    /// What the file looked like last: unchanged means nothing to do.
    pub looked: Looked,
    /// When anything about the file changed last, in nanoseconds: unlike the time in `looked` nobody can set
    /// it back.
    #[serde(default)]
    pub status_changed: i64,
    /// The bytes at the place are the rest of a line that was refused for its length.
    #[serde(default)]
    pub skips: bool,
    /// What the head and the bytes before the place were.
    prints: (u64, u64),
}

impl Place {
    /// The start of a file.
    #[must_use]
    pub fn start() -> Self {
        Self { line: 1, ..Self::default() }
    }

    /// Remembers what the file looks like.
    pub(super) fn look(&mut self, about: &Metadata) {
        let nanos = |seconds: i64, nanos: i64| i128::from(seconds) * 1_000_000_000 + i128::from(nanos);
        self.looked = (about.len(), nanos(about.mtime(), about.mtime_nsec()), about.ino());
        self.status_changed = i64::try_from(nanos(about.ctime(), about.ctime_nsec())).unwrap_or(0);
    }

    pub(super) const fn look_as(&mut self, other: &Self) {
        self.looked = other.looked;
        self.status_changed = other.status_changed;
    }

    /// Do both files look alike?
    pub(super) fn looks_like(&self, other: &Self) -> bool {
        self.looked == other.looked && self.status_changed == other.status_changed
    }

    /// Is what was taken in still what the file begins with?
    ///
    /// # Errors
    /// When the file cannot be read.
    pub fn still_true(&self, file: &mut File) -> io::Result<bool> {
        Ok(self.prints == prints(file, self.offset)?)
    }

    /// Does the file still hold what was taken in, and these bytes after it?
    ///
    /// # Errors
    /// When the file cannot be read.
    pub fn holds(&self, file: &mut File, bytes: &[u8]) -> io::Result<bool> {
        if self.offset > 0 && !self.still_true(file)? {
            return Ok(false);
        }
        file.seek(SeekFrom::Start(self.offset))?;
        let mut again = Vec::new();
        file.take(bytes.len() as u64).read_to_end(&mut again)?;
        Ok(again == bytes)
    }

    /// Remembers what the file holds up to this place.
    ///
    /// # Errors
    /// When the file cannot be read.
    pub fn remember(&mut self, file: &mut File) -> io::Result<()> {
        self.prints = prints(file, self.offset)?;
        Ok(())
    }
}

/// How the file of a stored place is written, if that was found out.
#[must_use]
pub fn dialect_of(stored: &str) -> Option<Dialect> {
    serde_json::from_str::<Place>(stored).ok()?.dialect.map(|dialect| (*dialect).clone())
}

fn prints(file: &mut File, offset: u64) -> io::Result<(u64, u64)> {
    let head = print(file, 0, offset.min(HEAD_BYTES))?;
    let tail_start = offset.saturating_sub(TAIL_BYTES);
    Ok((head, print(file, tail_start, offset - tail_start)?))
}

fn print(file: &mut File, from: u64, length: u64) -> io::Result<u64> {
    file.seek(SeekFrom::Start(from))?;
    let mut bytes = Vec::new();
    file.take(length).read_to_end(&mut bytes)?;
    // FNV-1a, 64 bit, as published; two exports that differ agree by chance once in 2^64.
    let fnv = |sum: u64, byte: &u8| (sum ^ u64::from(*byte)).wrapping_mul(0x0100_0000_01b3);
    Ok(bytes.iter().fold(0xcbf2_9ce4_8422_2325, fnv))
}
