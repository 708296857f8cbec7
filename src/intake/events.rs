//! What wakes a folder's thread: change events where the file system gives them, and looking often where
//! it does not. Reads no file.

use super::folder::Wake;
use crate::config::ends::Watch;
use notify::{RecommendedWatcher, RecursiveMode, Watcher};
use std::fs;
use std::path::Path;
use std::sync::mpsc::Sender;
use std::time::Duration;

/// A look without any event: events can be missed.
const LOOK: Duration = Duration::from_secs(60);

/// A look where there are no events.
const POLL: Duration = Duration::from_secs(5);

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
}

impl Events {
    pub(super) const fn new(watch: Watch, subfolders: bool) -> Self {
        Self { watch, subfolders, watcher: None, polls: false }
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
        self.polls = match self.watch {
            Watch::Poll => true,
            Watch::Events => false,
            Watch::Auto => gives_no_events(folder),
        };
        let inode = std::os::unix::fs::MetadataExt::ino(&about);
        if self.polls || self.watcher.as_ref().is_some_and(|(_, known)| *known == inode) {
            return;
        }
        let waker = waker.clone();
        let watcher = notify::recommended_watcher(move |event: notify::Result<notify::Event>| {
            let matters = event.map_or(true, |event| !event.kind.is_access());
            if matters {
                // The thread that is woken ends only when the program does.
                let _ = waker.send(Wake::Changed);
            }
        });
        let mode = if self.subfolders { RecursiveMode::Recursive } else { RecursiveMode::NonRecursive };
        let watching = watcher.and_then(|mut watcher| watcher.watch(folder, mode).map(|()| watcher));
        match watching {
            Ok(watcher) => self.watcher = Some((watcher, inode)),
            Err(error) => {
                self.watcher = None;
                self.polls = true;
                tracing::warn!(folder = %folder.display(), %error, "no change events; looking every few seconds");
            }
        }
    }
}

fn gives_no_events(folder: &Path) -> bool {
    rustix::fs::statfs(folder).is_ok_and(|about| WITHOUT_EVENTS.contains(&about.f_type))
}
