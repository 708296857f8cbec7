//! Which files of a source count: finds them, within bounds, and says when there are more. Reads none of them.

use crate::config::SourceSettings;
use std::fs::{self, DirEntry};
use std::io;
use std::path::{Path, PathBuf};

/// Bounds of one look.
#[derive(Debug, Clone, Copy)]
pub(super) struct Bounds {
    /// Most files looked at in one source.
    pub(super) files: usize,
    /// Most folders looked into in one source.
    pub(super) folders: usize,
    /// Deepest folder looked into below the one in the settings.
    pub(super) depth: u32,
}

/// Far more than a lifetime of daily exports, and still looked at within a second.
pub(super) const BOUNDS: Bounds = Bounds { files: 100_000, folders: 10_000, depth: 8 };

/// Most names told that cannot be read; what holds for so many holds for all.
const UNREAD_TOLD_MAX: usize = 20;

/// A bound that a source goes beyond, or something in it that cannot be read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Beyond {
    /// What is not read.
    pub(super) what: String,
    /// What to do about it.
    pub(super) hint: &'static str,
}

/// What a look at the names found.
#[derive(Debug)]
pub(super) struct Listing {
    /// Files that count, in the order of their names.
    pub(super) files: Vec<PathBuf>,
    /// What was left out.
    pub(super) beyond: Vec<Beyond>,
}

/// What a path below the source's folder is.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Named {
    /// A file that counts.
    File(PathBuf),
    /// A folder: what is in it is found by looking at all.
    Folder,
    /// Nothing that counts.
    Nothing,
}

/// The files that count. Links to folders are not followed. Of too many files the last by name are kept:
/// names that hold a date put the newest there.
pub(super) fn list(settings: &SourceSettings, bounds: Bounds) -> io::Result<Listing> {
    list_by(settings, bounds, |folder| fs::read_dir(folder)?.collect())
}

/// The same, by any way to read a folder.
fn list_by(
    settings: &SourceSettings,
    bounds: Bounds,
    read: impl Fn(&Path) -> io::Result<Vec<DirEntry>>,
) -> io::Result<Listing> {
    let mut files = Vec::new();
    let mut unread = Vec::new();
    let (mut too_many, mut too_many_folders, mut too_deep) = (false, false, false);
    let mut folders = vec![(settings.folder.clone(), 0)];
    let mut seen = 1;
    while let Some((folder, depth)) = folders.pop() {
        let entries = match read(&folder) {
            // Gone since it was listed is gone.
            Err(error) if depth > 0 && error.kind() == io::ErrorKind::NotFound => continue,
            // What lies beside it is read all the same.
            Err(error) if depth > 0 => {
                let what = format!("the folder {} cannot be read: {error}", below(settings, &folder));
                unread.push(Beyond { what, hint: LET_READ });
                continue;
            }
            entries => entries?,
        };
        for entry in entries {
            let (name, path) = (entry.file_name(), entry.path());
            let Ok(kind) = entry.file_type() else { continue };
            let Some(name) = name.to_str() else {
                let shown = name.to_string_lossy();
                let counts = if kind.is_dir() { settings.subfolders } else { matches(&settings.files, &shown) };
                if counts && is_finished(&shown) {
                    let what = format!("the name {} is not UTF-8: it is not read", below(settings, &path));
                    unread.push(Beyond { what, hint: RENAME });
                }
                continue;
            };
            if !is_finished(name) {
                continue;
            }
            if kind.is_dir() {
                match settings.subfolders {
                    true if depth >= bounds.depth => too_deep = true,
                    true if seen >= bounds.folders => too_many_folders = true,
                    true => {
                        seen += 1;
                        folders.push((path, depth + 1));
                    }
                    false => {}
                }
            } else if matches(&settings.files, name) && (kind.is_file() || path.is_file()) {
                files.push(path);
                if files.len() > bounds.files.saturating_mul(2) {
                    too_many = true;
                    keep_last(&mut files, bounds.files);
                }
            }
        }
    }
    too_many |= files.len() > bounds.files;
    keep_last(&mut files, bounds.files);
    let beyond = [
        (too_many, format!("more than {} files: only the last by name are read", bounds.files), MOVE_OLD),
        (too_many_folders, format!("more than {} folders: the others are not read", bounds.folders), MOVE_OLD),
        (too_deep, format!("folders more than {} deep: what is in them is not read", bounds.depth), WATCH_DEEPER),
    ];
    let beyond = beyond.into_iter().filter(|(is, _, _)| *is).map(|(_, what, hint)| Beyond { what, hint });
    // Told in one order, whatever the file system's is: the same ones are the same next time.
    unread.sort_unstable_by(|one, other| one.what.cmp(&other.what));
    unread.truncate(UNREAD_TOLD_MAX);
    Ok(Listing { files, beyond: beyond.chain(unread).collect() })
}

/// A path as it is below the source's folder; letters that are not UTF-8 are replaced.
fn below(settings: &SourceSettings, path: &Path) -> String {
    path.strip_prefix(&settings.folder).unwrap_or(path).display().to_string()
}

const MOVE_OLD: &str = "move old exports elsewhere, or name the wanted ones with files = \"...\"";
const LET_READ: &str = "let recheck read it";
const RENAME: &str = "give it a name in UTF-8";
const WATCH_DEEPER: &str = "set folder to one further down, or add a source for it";

fn keep_last(files: &mut Vec<PathBuf>, most: usize) {
    files.sort_unstable();
    files.drain(..files.len().saturating_sub(most));
}

/// What a path is, given below the source's folder.
pub(super) fn named(settings: &SourceSettings, below: &Path, bounds: Bounds) -> Named {
    let path = settings.folder.join(below);
    let Ok(about) = fs::metadata(&path) else { return Named::Nothing };
    let parts: Option<Vec<&str>> = below.iter().map(|part| part.to_str().filter(|name| is_finished(name))).collect();
    let Some((name, above)) = parts.as_ref().and_then(|parts| parts.split_last()) else { return Named::Nothing };
    let deep = u32::try_from(above.len()).unwrap_or(u32::MAX);
    if deep > if settings.subfolders { bounds.depth } else { 0 } {
        Named::Nothing
    } else if about.is_dir() {
        Named::Folder
    } else if about.is_file() && matches(&settings.files, name) {
        Named::File(path)
    } else {
        Named::Nothing
    }
}

/// Files being written aside carry such names until they are renamed.
fn is_finished(name: &str) -> bool {
    !name.starts_with('.')
        && !name.ends_with('~')
        && ![".tmp", ".part", ".partial", ".swp"].iter().any(|end| name.ends_with(end))
}

/// Is this a file that the source reads, wherever it is named from?
#[must_use]
pub fn belongs(settings: &SourceSettings, path: &Path) -> bool {
    let (Ok(path), Ok(folder)) = (path.canonicalize(), settings.folder.canonicalize()) else { return false };
    let there = if settings.subfolders { path.starts_with(&folder) } else { path.parent() == Some(&folder) };
    there && path.file_name().and_then(|name| name.to_str()).is_some_and(|name| matches(&settings.files, name))
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
    use crate::config::ends::Watch;
    use crate::domain::local::Zone;
    use crate::formats::wanted::Wanted;

    fn source(folder: &Path, subfolders: bool) -> SourceSettings {
        let (name, files) = ("sensor".to_owned(), "*.csv".to_owned());
        let format = Wanted::anything(Zone::UTC);
        SourceSettings { name, folder: folder.to_owned(), files, subfolders, watch: Watch::Poll, format }
    }

    fn names(listing: &Listing) -> Vec<String> {
        listing.files.iter().map(|path| path.file_name().unwrap().to_str().unwrap().to_owned()).collect()
    }

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

    #[test]
    fn of_too_many_files_the_last_are_kept_and_it_is_said() {
        let folder = tempfile::tempdir().unwrap();
        for day in 0..50 {
            fs::write(folder.path().join(format!("day-{day:02}.csv")), "").unwrap();
        }
        let settings = source(folder.path(), false);
        for most in [3, 24, 49] {
            let listing = list(&settings, Bounds { files: most, ..BOUNDS }).unwrap();
            let wanted: Vec<String> = (50 - most..50).map(|day| format!("day-{day:02}.csv")).collect();
            assert_eq!(names(&listing), wanted);
            assert_eq!(listing.beyond.len(), 1);
            assert_eq!(listing.beyond[0].what, format!("more than {most} files: only the last by name are read"));
        }
        let listing = list(&settings, Bounds { files: 50, ..BOUNDS }).unwrap();
        assert_eq!((listing.files.len(), listing.beyond.len()), (50, 0));
    }

    #[test]
    fn folders_too_deep_or_too_many_are_said() {
        let folder = tempfile::tempdir().unwrap();
        fs::create_dir_all(folder.path().join("a/b/c")).unwrap();
        fs::create_dir(folder.path().join("z")).unwrap();
        for below in ["a/1.csv", "a/b/2.csv", "a/b/c/3.csv", "z/4.csv"] {
            fs::write(folder.path().join(below), "").unwrap();
        }
        let settings = source(folder.path(), true);
        let whole = list(&settings, Bounds { files: 9, folders: 5, depth: 3 }).unwrap();
        assert_eq!((names(&whole).len(), whole.beyond.len()), (4, 0));
        let deep = list(&settings, Bounds { files: 9, folders: 5, depth: 2 }).unwrap();
        assert_eq!(names(&deep), ["1.csv", "2.csv", "4.csv"]);
        assert_eq!(deep.beyond[0].what, "folders more than 2 deep: what is in them is not read");
        let many = list(&settings, Bounds { files: 9, folders: 2, depth: 3 }).unwrap();
        assert_eq!(many.beyond[0].what, "more than 2 folders: the others are not read");
        // Without subfolders nothing below is missed, because nothing below is wanted.
        let flat = list(&source(folder.path(), false), Bounds { files: 9, folders: 1, depth: 0 }).unwrap();
        assert_eq!((flat.files.len(), flat.beyond.len()), (0, 0));
    }

    #[test]
    fn a_folder_that_cannot_be_read_is_said_and_the_rest_is_listed() {
        let folder = tempfile::tempdir().unwrap();
        fs::create_dir_all(folder.path().join("2026/locked")).unwrap();
        for below in ["1.csv", "2026/2.csv", "2026/locked/3.csv"] {
            fs::write(folder.path().join(below), "").unwrap();
        }
        let settings = source(folder.path(), true);
        let denied = || io::Error::from(io::ErrorKind::PermissionDenied);
        let read = |name: &'static str| {
            move |folder: &Path| {
                if folder.ends_with(name) { Err(denied()) } else { fs::read_dir(folder)?.collect() }
            }
        };
        let listing = list_by(&settings, BOUNDS, read("locked")).unwrap();
        assert_eq!(names(&listing), ["1.csv", "2.csv"]);
        let what = format!("the folder 2026/locked cannot be read: {}", denied());
        assert_eq!(listing.beyond, [Beyond { what, hint: LET_READ }]);
        // The source's own folder is the source.
        let own: &'static str = folder.path().file_name().unwrap().to_str().unwrap().to_owned().leak();
        assert!(list_by(&settings, BOUNDS, read(own)).is_err());
    }

    #[test]
    fn a_name_that_is_not_utf8_is_said_if_it_would_count() {
        use std::os::unix::ffi::OsStrExt;
        let folder = tempfile::tempdir().unwrap();
        let named = |name: &[u8]| folder.path().join(std::ffi::OsStr::from_bytes(name));
        for name in [&b"1.csv"[..], b"caf\xe9.csv", b"caf\xe9.txt", b"caf\xe9.csv.tmp"] {
            fs::write(named(name), "").unwrap();
        }
        fs::create_dir(named(b"d\xeda")).unwrap();
        let said = |subfolders| {
            let listing = list(&source(folder.path(), subfolders), BOUNDS).unwrap();
            assert_eq!(names(&listing), ["1.csv"]);
            listing.beyond.into_iter().map(|beyond| beyond.what).collect::<Vec<String>>()
        };
        let file = "the name caf\u{fffd}.csv is not UTF-8: it is not read";
        assert_eq!(said(false), [file]);
        assert_eq!(said(true), [file, "the name d\u{fffd}a is not UTF-8: it is not read"]);
    }

    #[test]
    fn a_path_is_named_as_listing_finds_it() {
        let folder = tempfile::tempdir().unwrap();
        fs::create_dir_all(folder.path().join("a/.hidden")).unwrap();
        for below in ["1.csv", "a/2.csv", "a/.hidden/3.csv", "4.csv.tmp", "5.txt"] {
            fs::write(folder.path().join(below), "").unwrap();
        }
        for subfolders in [true, false] {
            let settings = source(folder.path(), subfolders);
            let listed = list(&settings, BOUNDS).unwrap().files;
            for below in ["1.csv", "a/2.csv", "a/.hidden/3.csv", "4.csv.tmp", "5.txt", "gone.csv"] {
                let path = folder.path().join(below);
                let wanted = if listed.contains(&path) { Named::File(path) } else { Named::Nothing };
                assert_eq!(named(&settings, Path::new(below), BOUNDS), wanted, "{below}");
            }
            assert_eq!(named(&settings, Path::new("a"), BOUNDS), Named::Folder);
        }
    }
}
