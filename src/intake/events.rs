//! What wakes a folder's thread: change events where the file system gives them, and looking often where
//! it does not. Reads no file.

use super::folder::Wake;
use crate::config::ends::Watch;
use notify::{RecommendedWatcher, RecursiveMode, Watcher};
use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::mpsc::Sender;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

/// A look without any event: events can be missed.
const LOOK: Duration = Duration::from_secs(60);

/// A look where there are no events.
const POLL: Duration = Duration::from_secs(5);

/// Most paths remembered until they are looked at; beyond them all are.
const PATHS_MAX: usize = 1_000;

/// File systems whose changes are made elsewhere, so that no event tells of them: NFS, two forms of SMB,
/// CIFS, FUSE and 9P, by their numbers in statfs(2).
const WITHOUT_EVENTS: [i64; 6] = [0x6969, 0x517b, 0xfe53_4d42, 0xff53_4d42, 0x6573_5546, 0x0102_1997];

/// The events of one folder.
#[derive(Debug)]
pub(super) struct Events {
    watch: Watch,
    subfolders: bool,
    watcher: Option<(RecommendedWatcher, u64)>,
    polls: bool,
    noticed: Arc<Mutex<Noticed>>,
}

/// What events told of since it was last asked.
#[derive(Debug, Default, PartialEq, Eq)]
pub(super) struct Noticed {
    /// Something that no path tells.
    pub(super) all: bool,
    /// Paths below the watched folder.
    pub(super) paths: BTreeSet<PathBuf>,
}

impl Events {
    pub(super) fn new(watch: Watch, subfolders: bool) -> Self {
        Self { watch, subfolders, watcher: None, polls: false, noticed: Arc::default() }
    }

    /// What events told of since this was last asked.
    pub(super) fn take(&self) -> Noticed {
        std::mem::take(&mut self.noticed.lock().unwrap_or_else(PoisonError::into_inner))
    }

    /// How long to wait without an event until the next look.
    pub(super) const fn look_every(&self) -> Duration {
        if self.polls { POLL } else { LOOK }
    }

    /// Asks for events; again when the folder was replaced by another of its name.
    pub(super) fn ask(&mut self, folder: &Path, waker: &Sender<Wake>) {
        let Ok(about) = fs::metadata(folder) else {
            self.watcher = None;
            self.polls = true;
            return;
        };
        let polled = self.polls;
        self.polls = match self.watch {
            Watch::Poll => true,
            Watch::Events => false,
            Watch::Auto => gives_no_events(folder),
        };
        let inode = std::os::unix::fs::MetadataExt::ino(&about);
        if self.polls || self.watcher.as_ref().is_some_and(|(_, known)| *known == inode) {
            return;
        }
        let (waker, noticed) = (waker.clone(), Arc::clone(&self.noticed));
        // Events name paths as absolute ones.
        let root = std::path::absolute(folder).unwrap_or_else(|_| folder.to_owned());
        let watcher = notify::recommended_watcher(move |event: notify::Result<notify::Event>| {
            let first = noticed.lock().unwrap_or_else(PoisonError::into_inner).add(event, &root);
            if first {
                // The thread that is woken ends only when the program does.
                let _ = waker.send(Wake::Noticed);
            }
        });
        let mode = if self.subfolders { RecursiveMode::Recursive } else { RecursiveMode::NonRecursive };
        let watching = watcher.and_then(|mut watcher| watcher.watch(folder, mode).map(|()| watcher));
        match watching {
            Ok(watcher) => self.watcher = Some((watcher, inode)),
            Err(error) => {
                self.watcher = None;
                self.polls = true;
                // Asked for again at every look, and said once.
                if !polled {
                    tracing::warn!(folder = %folder.display(), %error, "no change events; looking every few seconds");
                }
            }
        }
    }
}

impl Noticed {
    /// Is this the first since it was asked?
    fn add(&mut self, event: notify::Result<notify::Event>, root: &Path) -> bool {
        let was_empty = *self == Self::default();
        match event {
            Ok(event) if event.need_rescan() => self.all = true,
            Ok(event) if event.kind.is_access() => {}
            Ok(event) => {
                for path in &event.paths {
                    match path.strip_prefix(root) {
                        Ok(below) if below != Path::new("") => drop(self.paths.insert(below.to_owned())),
                        Ok(_) | Err(_) => self.all = true,
                    }
                }
                self.all |= event.paths.is_empty();
            }
            Err(_) => self.all = true,
        }
        if self.paths.len() > PATHS_MAX {
            self.all = true;
        }
        if self.all {
            self.paths.clear();
        }
        was_empty && *self != Self::default()
    }
}

fn gives_no_events(folder: &Path) -> bool {
    rustix::fs::statfs(folder).is_ok_and(|about| WITHOUT_EVENTS.contains(&about.f_type))
}

#[cfg(test)]
mod tests {
    use super::*;
    use notify::event::{AccessKind, CreateKind, EventKind, Flag};

    fn event(kind: EventKind, path: &str) -> notify::Event {
        notify::Event::new(kind).add_path(path.into())
    }

    #[test]
    fn paths_are_kept_until_asked_for_and_what_names_none_means_all() {
        let (root, create) = (Path::new("/x/exports"), EventKind::Create(CreateKind::Any));
        let mut noticed = Noticed::default();
        assert!(!noticed.add(Ok(event(EventKind::Access(AccessKind::Any), "/x/exports/a.csv")), root));
        assert!(noticed.add(Ok(event(create, "/x/exports/a.csv")), root));
        assert!(!noticed.add(Ok(event(create, "/x/exports/2026/b.csv")), root));
        assert_eq!(noticed, Noticed { all: false, paths: ["a.csv".into(), "2026/b.csv".into()].into() });
        let rescan = notify::Event::new(EventKind::Other).set_flag(Flag::Rescan);
        for event in [
            Ok(rescan),
            Ok(event(create, "/x/exports")),
            Ok(event(create, "/y/a.csv")),
            Err(notify::Error::generic("")),
        ] {
            let mut noticed = Noticed::default();
            assert!(noticed.add(event, root));
            assert_eq!(noticed, Noticed { all: true, paths: BTreeSet::new() });
        }
        for file in 0..=PATHS_MAX {
            noticed.add(Ok(event(create, &format!("/x/exports/{file}.csv"))), root);
        }
        assert_eq!(noticed, Noticed { all: true, paths: BTreeSet::new() });
    }
}
