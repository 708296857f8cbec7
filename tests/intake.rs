//! One folder looked at by hand: what reading costs, what is said, and what the bounds do. What was read is
//! kept here as the store keeps it: of two values at one time the first.

use recheck::config::SourceSettings;
use recheck::config::ends::Watch;
use recheck::domain::local::Zone;
use recheck::domain::reading::SourceId;
use recheck::formats::wanted::Wanted;
use recheck::intake::folder::Folder;
use recheck::intake::places::Places;
use recheck::intake::{Incoming, LINE_BYTES_MAX, PIECE_BYTES_MAX};
use std::collections::BTreeMap;
use std::fs::{self, File, FileTimes};
use std::io::Write as _;
use std::path::{Path, PathBuf};
use tempfile::TempDir;
use tokio::sync::mpsc;

/// Pieces that may wait in a test, which looks and takes in by turns.
const QUEUE_MAX: usize = 4_096;

/// A folder, what came from it, and what would be stored of it.
pub(crate) struct Looked {
    folder: TempDir,
    settings: SourceSettings,
    intake: Folder,
    queue: mpsc::Receiver<Incoming>,
    /// What the store would hold: time in milliseconds, value in hundredths of a mg/dL.
    pub(crate) stored: BTreeMap<i64, i32>,
    /// Places as the store would hold them.
    pub(crate) places: BTreeMap<String, String>,
    /// Refusals in words.
    pub(crate) words: Vec<String>,
    /// Rows handed on, known or not.
    pub(crate) handed_on: usize,
}

impl Looked {
    pub(crate) fn new() -> Self {
        Self::with(|_| {})
    }

    /// With other settings than the usual ones.
    pub(crate) fn with(change: impl FnOnce(&mut SourceSettings)) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let mut settings = SourceSettings {
            name: "sensor".to_owned(),
            folder: folder.path().to_owned(),
            files: "*.csv".to_owned(),
            subfolders: false,
            watch: Watch::Poll,
            format: Wanted::anything(Zone::UTC),
        };
        change(&mut settings);
        let (intake, queue) = open(&settings, Places::default());
        let (stored, places, words) = (BTreeMap::new(), BTreeMap::new(), Vec::new());
        Self { folder, settings, intake, queue, stored, places, words, handed_on: 0 }
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub(crate) fn append(&self, name: &str, bytes: &[u8]) {
        File::options().create(true).append(true).open(self.path(name)).unwrap().write_all(bytes).unwrap();
    }

    /// Written aside and renamed over what is there.
    pub(crate) fn replace(&self, name: &str, bytes: &[u8]) {
        fs::write(self.path(&format!("{name}.tmp")), bytes).unwrap();
        fs::rename(self.path(&format!("{name}.tmp")), self.path(name)).unwrap();
    }

    /// Looks once and takes in what came.
    pub(crate) fn look(&mut self) {
        assert!(self.intake.look_once());
        while let Ok(incoming) = self.queue.try_recv() {
            match incoming {
                Incoming::Piece(piece) => {
                    self.handed_on += piece.rows.len();
                    for row in &piece.rows {
                        self.stored.entry(row.measured.millis()).or_insert(row.glucose.hundredths());
                    }
                    self.words.extend(piece.refusals);
                    self.places.extend(piece.place);
                }
                Incoming::Gone { paths, .. } => self.places.retain(|path, _| !paths.contains(path)),
                other => panic!("{other:?}"),
            }
        }
    }

    /// The program ended and begins again with what was stored.
    pub(crate) fn restart(&mut self) {
        let mut places = Places::default();
        for (path, body) in &self.places {
            places.read(path, body);
        }
        (self.intake, self.queue) = open(&self.settings, places);
    }
}

fn open(settings: &SourceSettings, places: Places) -> (Folder, mpsc::Receiver<Incoming>) {
    let (sender, queue) = mpsc::channel(QUEUE_MAX);
    let (intake, _) = Folder::new(SourceId(0), settings.clone(), places, false, sender);
    (intake, queue)
}

/// Every operating system lets the time of change be set back; the time of a change of the file's record,
/// which POSIX calls `st_ctim`, it does not.
#[test]
fn a_rewrite_with_the_same_size_time_and_inode_is_seen() {
    let mut looked = Looked::new();
    let path = looked.path("day.csv");
    fs::write(&path, "time,glucose\n2026-03-02 14:10,120\n").unwrap();
    looked.look();
    let before = fs::metadata(&path).unwrap();
    looked.look();
    assert_eq!(looked.handed_on, 1, "what did not change is not read again");
    // Written over in place: the same size, and the time set back.
    let mut file = File::options().write(true).open(&path).unwrap();
    file.write_all(b"time,glucose\n2026-03-02 14:15,119\n").unwrap();
    file.set_times(FileTimes::new().set_modified(before.modified().unwrap())).unwrap();
    drop(file);
    let after = fs::metadata(&path).unwrap();
    let inode = std::os::unix::fs::MetadataExt::ino;
    assert_eq!((after.len(), after.modified().unwrap(), inode(&after)), {
        (before.len(), before.modified().unwrap(), inode(&before))
    });
    looked.look();
    assert_eq!(looked.stored.values().copied().collect::<Vec<i32>>(), [12_000, 11_900]);
}

#[test]
fn a_line_without_an_end_is_refused_once_and_nothing_of_it_is_a_row() {
    for start in ["", "time,glucose\n2026-03-02 14:05,119\n"] {
        let mut looked = Looked::new();
        let mut text = start.as_bytes().to_vec();
        text.resize(text.len() + 3 * PIECE_BYTES_MAX + 100, b'x');
        looked.append("day.csv", &text);
        looked.look();
        assert_eq!(looked.words.len(), 1, "{:?}", looked.words);
        let line = start.lines().count() + 1;
        let wanted = format!("line {line}: expected a line of at most {LINE_BYTES_MAX} bytes");
        assert!(looked.words[0].contains(&wanted), "{}", looked.words[0]);
        // It goes on growing, over a restart, and ends as a row would.
        looked.append("day.csv", &[b'x'; 1_001]);
        looked.look();
        looked.restart();
        looked.append("day.csv", b"\"\",2026-03-02 13:00,99");
        looked.look();
        looked.append("day.csv", b"\n");
        looked.look();
        let header = if start.is_empty() { "time,glucose\n" } else { "" };
        looked.append("day.csv", format!("{header}2026-03-02 14:10,120\n2026-03-02 14:15,121\n").as_bytes());
        looked.look();
        let values: Vec<i32> = looked.stored.values().copied().collect();
        let wanted: &[i32] = if start.is_empty() { &[12_000, 12_100] } else { &[11_900, 12_000, 12_100] };
        assert_eq!(values, wanted, "{start:?}: {:?}", looked.words);
        assert_eq!(looked.words.len(), 1, "{:?}", looked.words);
    }
}

#[test]
fn a_long_file_without_a_row_is_asked_about() {
    let mut looked = Looked::new();
    looked.append("day.csv", format!("time,glucose{}", "\n".repeat(1_000)).as_bytes());
    looked.look();
    assert_eq!(looked.words, Vec::<String>::new());
    looked.append("day.csv", "\n".repeat(200_000).as_bytes());
    looked.look();
    assert_eq!(looked.words.len(), 1, "{:?}", looked.words);
}

#[test]
fn a_file_gone_for_long_leaves_no_place_and_is_read_again_when_it_comes_back() {
    let mut looked = Looked::new();
    let text = b"time,glucose\n2026-03-02 14:10,120\n";
    let days_ago = |days: u64| {
        FileTimes::new().set_modified(std::time::SystemTime::now() - std::time::Duration::from_secs(days * 24 * 3_600))
    };
    for (name, days) in [("old.csv", 40), ("lately.csv", 20), ("today.csv", 0)] {
        looked.append(name, text);
        File::options().write(true).open(looked.path(name)).unwrap().set_times(days_ago(days)).unwrap();
    }
    looked.look();
    assert_eq!(looked.places.len(), 3);
    for name in ["old.csv", "lately.csv"] {
        fs::remove_file(looked.path(name)).unwrap();
    }
    looked.restart();
    looked.look();
    let names: Vec<&str> = looked.places.keys().filter_map(|path| Path::new(path).file_name()?.to_str()).collect();
    assert_eq!(names, ["lately.csv", "today.csv"]);
    let before = (looked.stored.clone(), looked.handed_on);
    looked.append("old.csv", text);
    looked.look();
    assert_eq!((looked.stored.clone(), looked.handed_on), (before.0, before.1 + 1));
}

#[test]
fn folders_that_lie_too_deep_are_said_once_until_they_are_gone() {
    let mut looked = Looked::with(|settings| settings.subfolders = true);
    let deep = looked.path("1/2/3/4/5/6/7/8/9");
    fs::create_dir_all(&deep).unwrap();
    fs::write(deep.join("day.csv"), "time,glucose\n2026-03-02 14:10,120\n").unwrap();
    for _ in 0..3 {
        looked.look();
    }
    assert_eq!(looked.words.len(), 1, "{:?}", looked.words);
    assert!(looked.words[0].contains("folders more than 8 deep: what is in them is not read; set folder"));
    assert!(looked.stored.is_empty());
    fs::rename(looked.path("1/2/3/4/5/6/7/8/9"), looked.path("9")).unwrap();
    looked.look();
    assert_eq!((looked.stored.len(), looked.words.len()), (1, 1));
    fs::rename(looked.path("9"), looked.path("1/2/3/4/5/6/7/8/9")).unwrap();
    looked.look();
    assert_eq!(looked.words.len(), 2);
}
