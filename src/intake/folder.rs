//! Looks at a folder: new files, appended lines, files written aside and renamed, files rewritten whole.
//! Does not say when; that is `watch`.

use super::events::Events;
use super::listing::{BOUNDS, Beyond, list};
use super::place::Place;
use super::places::Places;
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
use std::path::Path;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, Sender, channel};
use std::time::{Duration, Instant};
use tokio::sync::mpsc;

/// A last line without an end of line is taken in when it has not changed for this long.
pub(super) const SETTLED: Duration = Duration::from_secs(3);

/// Bytes from which it is guessed how letters are written.
const HEAD_BYTES: usize = 4_096;

/// Bytes in which a first row is expected: more of them without one are said.
const NO_ROW_BYTES_MAX: usize = 1 << 17;

/// How often files that are gone are looked for among the places.
const FORGET_EVERY: Duration = Duration::from_secs(24 * 3_600);

/// Files forgotten in one message.
const FORGOTTEN_MAX: usize = 1_000;

/// What the folder's thread is told.
#[derive(Debug)]
pub enum Wake {
    /// Something may have changed anywhere.
    Changed,
    /// Events told of changes.
    Noticed,
    /// What was read could not be kept: go back to these places.
    Back(Places),
    /// The wearer travels: times without an offset are read by these from now on.
    Travels(Vec<Travel>),
    /// The program ends.
    Stop,
}

/// A watched folder.
#[derive(Debug)]
pub struct Folder {
    source: SourceId,
    pub(super) settings: SourceSettings,
    pub(super) travels: Vec<Travel>,
    pub(super) places: Places,
    pub(super) unsettled: BTreeMap<String, (Place, Instant)>,
    unreadable: BTreeSet<String>,
    beyond: Vec<Beyond>,
    first_sight: bool,
    lost: bool,
    /// How long the last look took, and how long reading what was new took in it.
    pub(super) took: Duration,
    reading: Duration,
    forgets_at: Option<Instant>,
    pub(super) queue: mpsc::Sender<Incoming>,
    pub(super) wake: Receiver<Wake>,
    waker: Sender<Wake>,
    pub(super) events: Events,
}

/// What a text turned out to hold.
enum Found {
    Piece(Piece),
    NoRowYet,
    Question(Piece),
}

/// Told when the queue's other end is gone: the program ends.
#[derive(Debug)]
pub(super) struct Ended;

impl Folder {
    /// A folder, and the sender that wakes it.
    #[must_use]
    pub fn new(
        source: SourceId,
        settings: SourceSettings,
        places: Places,
        first_sight: bool,
        queue: mpsc::Sender<Incoming>,
    ) -> (Self, Sender<Wake>) {
        let (waker, wake) = channel();
        let events = Events::new(settings.watch, settings.subfolders);
        let folder = Self {
            source,
            settings,
            travels: Vec::new(),
            places,
            unsettled: BTreeMap::new(),
            unreadable: BTreeSet::new(),
            beyond: Vec::new(),
            first_sight,
            lost: false,
            took: Duration::ZERO,
            reading: Duration::ZERO,
            forgets_at: None,
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

    /// Looks at every file once. False when the program ends.
    #[must_use]
    pub fn look_once(&mut self) -> bool {
        let began = Instant::now();
        self.reading = Duration::ZERO;
        let looked = self.look();
        self.took = began.elapsed().saturating_sub(self.reading);
        self.first_sight = false;
        looked.is_ok()
    }

    fn look(&mut self) -> Result<(), Ended> {
        self.events.ask(&self.settings.folder, &self.waker);
        let listing = match list(&self.settings, BOUNDS) {
            Ok(listing) => listing,
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
        for path in &listing.files {
            self.look_at(path)?;
        }
        // Said once, and again when it was over and came back.
        for beyond in &listing.beyond {
            if !self.beyond.contains(beyond) {
                let folder = self.settings.folder.display().to_string();
                self.send(Incoming::Piece(Piece::beyond(self.source, &folder, &beyond.what, beyond.hint)))?;
            }
        }
        let whole = listing.beyond.is_empty();
        self.beyond = listing.beyond;
        if whole && self.forgets_at.is_none_or(|at| Instant::now() >= at) {
            self.forgets_at = Some(Instant::now() + FORGET_EVERY);
            for paths in self.places.forget_gone(&listing.files).chunks(FORGOTTEN_MAX) {
                self.send(Incoming::Gone { source: self.source, paths: paths.to_vec() })?;
            }
        }
        Ok(())
    }

    pub(super) fn look_at(&mut self, path: &Path) -> Result<(), Ended> {
        let name = path.display().to_string();
        if let Err(error) = self.read(path, &name)? {
            if error.kind() == io::ErrorKind::NotFound {
                // Gone since it was listed is gone.
                self.unsettled.remove(&name);
            } else if self.unreadable.insert(name.clone()) {
                // What may not be read is said once.
                let hint = "let recheck read it";
                self.send(Incoming::Piece(Piece::question(self.source, &name, 0, &error.to_string(), hint)))?;
            }
        } else if !self.unreadable.is_empty() {
            self.unreadable.remove(&name);
        }
        Ok(())
    }

    /// Reads what is new in one file.
    fn read(&mut self, path: &Path, name: &str) -> Result<io::Result<()>, Ended> {
        let about = match fs::metadata(path) {
            Ok(about) => about,
            Err(error) => return Ok(Err(error)),
        };
        let mut looked = Place::start();
        looked.look(&about);
        if self.places.looks_the_same(name, &looked) && !self.unsettled.contains_key(name) {
            return Ok(Ok(()));
        }
        let began = Instant::now();
        let read = self.read_new(path, name, &looked, about.len());
        self.reading += began.elapsed();
        read
    }

    fn read_new(&mut self, path: &Path, name: &str, looked: &Place, size: u64) -> Result<io::Result<()>, Ended> {
        let mut file = match File::open(path) {
            Ok(file) => file,
            Err(error) => return Ok(Err(error)),
        };
        let mut place = self.places.of(name);
        match place.still_true(&mut file) {
            Ok(true) if size >= place.offset => {}
            Ok(_) => place = Place::start(),
            Err(error) => return Ok(Err(error)),
        }
        place.look_as(looked);
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
            if place.skips || whole == 0 && bytes.len() > LINE_BYTES_MAX {
                let before = place.clone();
                let piece = self.skip_line(&mut place, name, &bytes, encoding);
                if place.offset == before.offset {
                    return self.last_line(file, name, place, &[]).map(Ok);
                }
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
                    self.unsettled.remove(name);
                    if before.holds(file, &bytes).unwrap_or(false) {
                        self.places.set(name, place);
                        self.send(Incoming::Piece(piece))?;
                    }
                    return Ok(Ok(()));
                }
            }
        }
    }

    /// A line that is too long is refused once, and its rest is passed over: it is no row.
    fn skip_line(&self, place: &mut Place, name: &str, bytes: &[u8], encoding: Encoding) -> Piece {
        let piece = if place.skips {
            Piece::empty(self.source)
        } else {
            let expected = format!("a line of at most {LINE_BYTES_MAX} bytes");
            let of_diary = place.dialect.as_ref().is_some_and(|dialect| dialect.is_diary());
            Piece::refusal(self.source, name, &RowError::new(place.line, 0, "", &expected, bytes)).about(of_diary)
        };
        let end = encoding.first_line(bytes);
        place.skips = end.is_none();
        place.line += u64::from(end.is_some());
        // An even number keeps letters of two bytes whole.
        place.offset += end.unwrap_or(bytes.len() / 2 * 2) as u64;
        piece
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
            Some((known, since)) if known.looks_like(&place) && since.elapsed() >= SETTLED => {
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
            Some((known, _)) if known.looks_like(&place) => {}
            Some(_) | None => {
                self.unsettled.insert(name.to_owned(), (place.clone(), Instant::now()));
            }
        }
        self.places.set(name, place);
        Ok(())
    }

    /// Rows of whole lines. Of a file seen for the first time, how it is written is found out before.
    fn piece(&mut self, place: &mut Place, name: &str, text: &[u8], encoding: Encoding) -> Found {
        let mut text = text;
        let mut dialect = if let Some(dialect) = place.dialect.take() {
            dialect
        } else {
            // A diary and the readings beside it are written by different hands.
            let of_diary = self.settings.format.is_diary(text);
            match self.settings.format.sniff(text, encoding, self.places.known(of_diary)) {
                Ok(dialect) => {
                    text = after_lines(text, dialect.head_lines);
                    place.line += dialect.head_lines;
                    self.places.shared(Arc::new(dialect))
                }
                Err(NotFound::NoRowYet) if text.len() >= NO_ROW_BYTES_MAX => {
                    let what = format!("there is no row in the first {NO_ROW_BYTES_MAX} bytes");
                    let hint = "see what `recheck inspect` says of it, or leave it out with files = \"...\"";
                    return Found::Question(Piece::question(self.source, name, 1, &what, hint));
                }
                Err(NotFound::NoRowYet) => return Found::NoRowYet,
                Err(NotFound::Question { line, what, hint }) => {
                    let question = Piece::question(self.source, name, line, &what, &hint);
                    return Found::Question(question.about(of_diary));
                }
            }
        };
        let unit = self.settings.format.meter_unit;
        if dialect.is_diary() && dialect.unit != unit {
            // The wearer may have changed their unit since the file was first read.
            dialect = self.places.shared(Arc::new(Dialect { unit, ..Dialect::clone(&dialect) }));
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
        self.places.set(name, place.clone());
        let body = serde_json::to_string(place).unwrap_or_else(|error| unreachable!("a place is JSON: {error}"));
        piece.place = Some((name.to_owned(), body));
        self.send(Incoming::Piece(piece)).map(|()| true)
    }

    fn send(&self, incoming: Incoming) -> Result<(), Ended> {
        self.queue.blocking_send(incoming).map_err(|_| Ended)
    }
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
