//! Watches a folder: new files, appended lines, files written aside and renamed, files rewritten whole.
//! Events only wake it; what is there is found by looking, and it looks once a minute anyway.

use super::events::Events;
use super::place::{Looked, Place};
use super::{Incoming, LINE_BYTES_MAX, PIECE_BYTES_MAX, Piece};
use crate::config::SourceSettings;
use crate::domain::reading::SourceId;
use crate::domain::travel::Travel;
use crate::formats::encoding::Encoding;
use crate::formats::row_error::RowError;
use crate::formats::wanted::{Dialect, NotFound};
use std::collections::{BTreeMap, BTreeSet};
use std::fs::{self, File};
use std::io::{self, Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::time::{Duration, Instant, UNIX_EPOCH};
use tokio::sync::mpsc;

/// A last line without an end of line is taken in when it has not changed for this long.
const SETTLED: Duration = Duration::from_secs(3);

/// Bytes from which it is guessed how letters are written.
const HEAD_BYTES: usize = 4_096;

/// Deepest folder looked at below the one in the settings.
const DEPTH_MAX: u32 = 8;

/// Most files looked at in one source.
const FILES_MAX: usize = 100_000;

/// What the folder's thread is told.
#[derive(Debug)]
pub enum Wake {
    /// Something changed.
    Changed,
    /// What was read could not be kept: go back to these places.
    Back(Vec<(String, String)>),
    /// The wearer travels: times without an offset are read by these from now on.
    Travels(Vec<Travel>),
    /// The program ends.
    Stop,
}

/// A watched folder.
#[derive(Debug)]
pub struct Folder {
    source: SourceId,
    settings: SourceSettings,
    travels: Vec<Travel>,
    places: BTreeMap<String, Place>,
    unsettled: BTreeMap<String, (Looked, Instant)>,
    unreadable: BTreeSet<String>,
    first_sight: bool,
    lost: bool,
    queue: mpsc::Sender<Incoming>,
    wake: Receiver<Wake>,
    waker: Sender<Wake>,
    events: Events,
}

/// What a text turned out to hold.
enum Found {
    Piece(Piece),
    NoRowYet,
    Question(Piece),
}

/// Told when the queue's other end is gone: the program ends.
#[derive(Debug)]
struct Ended;

impl Folder {
    /// A folder, and the sender that wakes it.
    #[must_use]
    pub fn new(
        source: SourceId,
        settings: SourceSettings,
        places: Vec<(String, String)>,
        first_sight: bool,
        queue: mpsc::Sender<Incoming>,
    ) -> (Self, Sender<Wake>) {
        let (waker, wake) = channel();
        let places = read_places(places);
        let events = Events::new(settings.watch, settings.subfolders);
        let folder = Self {
            source,
            settings,
            travels: Vec::new(),
            places,
            unsettled: BTreeMap::new(),
            unreadable: BTreeSet::new(),
            first_sight,
            lost: false,
            queue,
            wake,
            waker: waker.clone(),
            events,
        };
        (folder, waker)
    }

    /// With travels of the wearer.
    #[must_use]
    pub fn with_travels(self, travels: &[Travel]) -> Self {
        Self { travels: travels.to_vec(), ..self }
    }

    /// Watches until told to stop. Runs on a thread of its own.
    pub fn watch(mut self) {
        let mut first = true;
        loop {
            if self.look().is_err() || first && self.queue.blocking_send(Incoming::LookedOnce).is_err() {
                return;
            }
            first = false;
            self.first_sight = false;
            let wait = if self.unsettled.is_empty() { self.events.look_every() } else { SETTLED };
            match self.wake.recv_timeout(wait) {
                Ok(Wake::Stop) | Err(RecvTimeoutError::Disconnected) => return,
                Ok(Wake::Back(places)) => self.places = read_places(places),
                Ok(Wake::Travels(travels)) => self.travels = travels,
                Ok(Wake::Changed) | Err(RecvTimeoutError::Timeout) => {}
            }
            while let Ok(more) = self.wake.try_recv() {
                match more {
                    Wake::Stop => return,
                    Wake::Back(places) => self.places = read_places(places),
                    Wake::Travels(travels) => self.travels = travels,
                    Wake::Changed => {}
                }
            }
        }
    }

    /// Looks at every file once.
    fn look(&mut self) -> Result<(), Ended> {
        self.events.ask(&self.settings.folder, &self.waker);
        let files = match files(&self.settings) {
            Ok(files) => files,
            Err(error) => {
                let words = format!("{}: {error}", self.settings.folder.display());
                if !self.lost {
                    self.lost = true;
                    self.send(Incoming::Lost { source: self.source, words })?;
                }
                return Ok(());
            }
        };
        self.lost = false;
        for path in files {
            let name = path.display().to_string();
            if let Err(error) = self.read(&path, &name)? {
                // Gone since it was listed is gone; what may not be read is said once.
                if error.kind() != io::ErrorKind::NotFound && self.unreadable.insert(name.clone()) {
                    let hint = "let recheck read it";
                    self.send(Incoming::Piece(Piece::question(self.source, &name, 0, &error.to_string(), hint)))?;
                }
            } else {
                self.unreadable.remove(&name);
            }
        }
        Ok(())
    }

    /// Reads what is new in one file.
    fn read(&mut self, path: &Path, name: &str) -> Result<io::Result<()>, Ended> {
        let mut place = self.places.get(name).cloned().unwrap_or_else(Place::start);
        let opened = fs::metadata(path).and_then(|about| {
            let changed = about
                .modified()?
                .duration_since(UNIX_EPOCH)
                .map_or(0, |since| i128::try_from(since.as_nanos()).unwrap_or(0));
            Ok((about.len(), changed, std::os::unix::fs::MetadataExt::ino(&about)))
        });
        let looked = match opened {
            Ok(looked) => looked,
            Err(error) => return Ok(Err(error)),
        };
        if looked == place.looked && !self.unsettled.contains_key(name) {
            return Ok(Ok(()));
        }
        let mut file = match File::open(path) {
            Ok(file) => file,
            Err(error) => return Ok(Err(error)),
        };
        match place.still_true(&mut file) {
            Ok(true) if looked.0 >= place.offset => {}
            Ok(_) => place = Place::start(),
            Err(error) => return Ok(Err(error)),
        }
        place.looked = looked;
        self.read_on(&mut file, name, place)
    }

    fn read_on(&mut self, file: &mut File, name: &str, mut place: Place) -> Result<io::Result<()>, Ended> {
        loop {
            let mut bytes = Vec::new();
            let read = file
                .seek(SeekFrom::Start(place.offset))
                .and_then(|_| Read::by_ref(file).take(PIECE_BYTES_MAX as u64).read_to_end(&mut bytes));
            if let Err(error) = read {
                return Ok(Err(error));
            }
            let encoding = self.encoding(&place, &bytes);
            let whole = encoding.whole_lines(&bytes);
            if whole == 0 && bytes.len() > LINE_BYTES_MAX {
                let expected = format!("a line of at most {LINE_BYTES_MAX} bytes");
                let refusal = RowError::new(place.line, 0, "", &expected, &bytes);
                let before = place.clone();
                place.offset += bytes.len() as u64;
                let of_diary = place.dialect.as_ref().is_some_and(Dialect::is_diary);
                let piece = Piece::refusal(self.source, name, &refusal).about(of_diary);
                if !self.keep(file, name, &mut place, piece, (&before, &bytes))? {
                    return Ok(Ok(()));
                }
                continue;
            }
            let (lines, rest) = bytes.split_at(whole);
            let before = place.clone();
            match self.piece(&mut place, name, &encoding.text(lines), encoding) {
                Found::Piece(piece) if whole > 0 => {
                    place.offset += whole as u64;
                    if !self.keep(file, name, &mut place, piece, (&before, lines))? {
                        return Ok(Ok(()));
                    }
                    if bytes.len() < PIECE_BYTES_MAX {
                        return self.last_line(file, name, place, rest).map(Ok);
                    }
                }
                Found::Piece(_) => return self.last_line(file, name, place, rest).map(Ok),
                // Kept at its start: when it grows it is looked at again from there.
                Found::NoRowYet => return self.last_line(file, name, place, &bytes).map(Ok),
                Found::Question(piece) => {
                    // A file that changes while it is read may be torn: that is no question.
                    if before.holds(file, &bytes).unwrap_or(false) {
                        self.places.insert(name.to_owned(), place);
                        self.send(Incoming::Piece(piece))?;
                    }
                    return Ok(Ok(()));
                }
            }
        }
    }

    fn encoding(&self, place: &Place, bytes: &[u8]) -> Encoding {
        let known = place.dialect.as_ref().map(|dialect| dialect.encoding).or(self.settings.format.encoding);
        known.unwrap_or_else(|| Encoding::guess(bytes.get(..HEAD_BYTES).unwrap_or(bytes)))
    }

    /// A last line without an end: half written, or all there is. Taken in when it has settled, without
    /// moving the place, so that it is read again when it grows.
    fn last_line(&mut self, file: &mut File, name: &str, mut place: Place, rest: &[u8]) -> Result<(), Ended> {
        match self.unsettled.get(name) {
            _ if rest.is_empty() => {
                self.unsettled.remove(name);
            }
            Some((known, since)) if *known == place.looked && since.elapsed() >= SETTLED => {
                self.unsettled.remove(name);
                let before = place.clone();
                let mut ahead = place.clone();
                let encoding = self.encoding(&place, rest);
                match self.piece(&mut ahead, name, &encoding.text(rest), encoding) {
                    Found::Piece(piece) => {
                        if !self.keep(file, name, &mut place, piece, (&before, rest))? {
                            return Ok(());
                        }
                    }
                    Found::Question(piece) => self.send(Incoming::Piece(piece))?,
                    Found::NoRowYet => {}
                }
            }
            Some((known, _)) if *known == place.looked => {}
            Some(_) | None => {
                self.unsettled.insert(name.to_owned(), (place.looked, Instant::now()));
            }
        }
        self.places.insert(name.to_owned(), place);
        Ok(())
    }

    /// Rows of whole lines. Of a file seen for the first time, how it is written is found out before.
    fn piece(&self, place: &mut Place, name: &str, text: &[u8], encoding: Encoding) -> Found {
        let mut text = text;
        let mut dialect = if let Some(dialect) = place.dialect.take() {
            dialect
        } else {
            // A diary and the readings beside it are written by different hands.
            let of_diary = self.settings.format.is_diary(text);
            let mut dialects = self.places.values().filter_map(|place| place.dialect.as_ref());
            let known = dialects.find(|known| known.is_diary() == of_diary);
            match self.settings.format.sniff(text, encoding, known) {
                Ok(dialect) => {
                    text = after_lines(text, dialect.head_lines);
                    place.line += dialect.head_lines;
                    dialect
                }
                Err(NotFound::NoRowYet) => return Found::NoRowYet,
                Err(NotFound::Question { line, what, hint }) => {
                    let question = Piece::question(self.source, name, line, &what, &hint);
                    return Found::Question(question.about(of_diary));
                }
            }
        };
        if dialect.is_diary() {
            // The wearer may have changed their unit since the file was first read.
            dialect.unit = self.settings.format.meter_unit;
        }
        let clock = self.settings.format.clock(dialect.zone, &self.travels);
        let rows = dialect.rows_by(&clock, text, place.line, place.last);
        place.dialect = Some(dialect);
        place.line += lines(text);
        place.last = rows.last.or(place.last);
        Found::Piece(Piece { first_sight: self.first_sight, ..Piece::new(self.source, name, &rows) })
    }

    /// Hands on what was read, with the place after it. False, and nothing handed on, when the file was
    /// written over meanwhile: the bytes may be half of the old and half of the new. The change wakes us again.
    fn keep(
        &mut self,
        file: &mut File,
        name: &str,
        place: &mut Place,
        mut piece: Piece,
        read: (&Place, &[u8]),
    ) -> Result<bool, Ended> {
        let (before, bytes) = read;
        // Compared after it was remembered, so that both are of the same file.
        if !place.remember(file).and_then(|()| before.holds(file, bytes)).unwrap_or(false) {
            return Ok(false);
        }
        self.places.insert(name.to_owned(), place.clone());
        let body = serde_json::to_string(place).unwrap_or_else(|error| unreachable!("a place is JSON: {error}"));
        piece.place = Some((name.to_owned(), body));
        self.send(Incoming::Piece(piece)).map(|()| true)
    }

    fn send(&self, incoming: Incoming) -> Result<(), Ended> {
        self.queue.blocking_send(incoming).map_err(|_| Ended)
    }
}

/// The files that count, in the order of their names. Links to folders are not followed.
fn files(settings: &SourceSettings) -> io::Result<Vec<PathBuf>> {
    let mut found = Vec::new();
    let mut folders = vec![(settings.folder.clone(), 0)];
    while let Some((folder, depth)) = folders.pop() {
        for entry in fs::read_dir(&folder)? {
            let entry = entry?;
            let path = entry.path();
            let name = entry.file_name();
            let Some(name) = name.to_str().filter(|name| is_finished(name)) else { continue };
            if entry.file_type()?.is_dir() {
                if settings.subfolders && depth < DEPTH_MAX {
                    folders.push((path, depth + 1));
                }
            } else if found.len() < FILES_MAX && matches(&settings.files, name) && path.is_file() {
                found.push(path);
            }
        }
    }
    found.sort();
    Ok(found)
}

fn read_places(places: Vec<(String, String)>) -> BTreeMap<String, Place> {
    // A place of a form no longer known is read from the start: rows already known change nothing.
    places.into_iter().filter_map(|(path, body)| Some((path, serde_json::from_str(&body).ok()?))).collect()
}

/// The text after so many lines.
#[must_use]
pub fn after_lines(text: &[u8], count: u64) -> &[u8] {
    let skipped = usize::try_from(count).unwrap_or(usize::MAX);
    let mut ends = text.iter().enumerate().filter(|(_, byte)| **byte == b'\n').map(|(at, _)| at + 1);
    if skipped == 0 { text } else { ends.nth(skipped - 1).and_then(|at| text.get(at..)).unwrap_or_default() }
}

fn lines(text: &[u8]) -> u64 {
    let ends: u64 = text.iter().map(|byte| u64::from(*byte == b'\n')).sum();
    ends + u64::from(text.last().is_some_and(|last| *last != b'\n'))
}

/// Files being written aside carry such names until they are renamed.
fn is_finished(name: &str) -> bool {
    !name.starts_with('.')
        && !name.ends_with('~')
        && ![".tmp", ".part", ".partial", ".swp"].iter().any(|end| name.ends_with(end))
}

/// Does a name fit a pattern in which `*` stands for anything?
fn matches(pattern: &str, name: &str) -> bool {
    match pattern.split_once('*') {
        None => pattern == name,
        Some((start, rest)) => name
            .strip_prefix(start)
            .is_some_and(|left| (0..=left.len()).filter_map(|at| left.get(at..)).any(|left| matches(rest, left))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn patterns() {
        assert!(
            matches("*.csv", "a.csv")
                && matches("*", "x")
                && matches("day*.c*v", "day-1.csv")
                && matches("a.csv", "a.csv")
        );
        assert!(!matches("*.csv", "a.csv.gz") && !matches("a*b", "ac"));
        assert!(!is_finished("x.csv.tmp") && !is_finished(".x.csv") && is_finished("x.csv"));
    }
}
