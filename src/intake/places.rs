//! The places of all files of a source, kept small: files written alike share one dialect.

use super::place::Place;
use crate::formats::wanted::Dialect;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Dialects known at once. A source writes in one or two; what is beyond this many is not shared.
const DIALECTS_MAX: usize = 64;

/// A file that is gone is forgotten when files that are there are so much younger. Should it come back it is
/// read from its start, and rows that are known change nothing.
const GONE_KEPT_NANOS: i128 = 30 * 24 * 3_600 * 1_000_000_000;

/// Places by the paths of their files.
#[derive(Debug, Default)]
pub struct Places {
    by_path: BTreeMap<Box<str>, Place>,
    dialects: Vec<Arc<Dialect>>,
}

impl Places {
    /// Adds a stored place. One of a form no longer known is read from the start: rows already known change
    /// nothing.
    pub fn read(&mut self, path: &str, body: &str) {
        let Ok(mut place) = serde_json::from_str::<Place>(body) else { return };
        place.dialect = place.dialect.map(|dialect| self.shared(dialect));
        self.by_path.insert(path.into(), place);
    }

    /// The place of a file; its start when it is not known.
    pub(super) fn of(&self, path: &str) -> Place {
        self.by_path.get(path).cloned().unwrap_or_else(Place::start)
    }

    /// Does a file look as it did when it was looked at last?
    pub(super) fn looks_the_same(&self, path: &str, now: &Place) -> bool {
        self.by_path.get(path).is_some_and(|place| place.looks_like(now))
    }

    pub(super) fn set(&mut self, path: &str, place: Place) {
        if let Some(known) = self.by_path.get_mut(path) {
            *known = place;
        } else {
            self.by_path.insert(path.into(), place);
        }
    }

    /// How other files of the source are written, diaries apart from readings: what was found first, and still is so.
    pub(super) fn known(&self, of_diary: bool) -> Option<&Dialect> {
        let known = |dialect: &&Arc<Dialect>| Arc::strong_count(dialect) > 1 && dialect.is_diary() == of_diary;
        self.dialects.iter().find(known).map(AsRef::as_ref)
    }

    /// The same dialect, kept once.
    pub(super) fn shared(&mut self, dialect: Arc<Dialect>) -> Arc<Dialect> {
        if let Some(known) = self.dialects.iter().find(|known| **known == dialect) {
            return Arc::clone(known);
        }
        if self.dialects.len() >= DIALECTS_MAX {
            self.dialects.retain(|known| Arc::strong_count(known) > 1);
        }
        if self.dialects.len() < DIALECTS_MAX {
            self.dialects.push(Arc::clone(&dialect));
        }
        dialect
    }

    /// Forgets files that have been gone for long, and answers which. `there` are the files there are, in
    /// order. A folder that shows no file at all tells nothing: it may be a disk that is not mounted.
    pub(super) fn forget_gone(&mut self, there: &[PathBuf]) -> Vec<String> {
        let is_there = |path: &str| there.binary_search_by(|known| known.as_path().cmp(Path::new(path))).is_ok();
        let newest = self.by_path.iter().filter(|(path, _)| is_there(path)).map(|(_, place)| place.looked.1).max();
        let Some(newest) = newest else { return Vec::new() };
        let mut forgotten = Vec::new();
        self.by_path.retain(|path, place| {
            let kept = newest - place.looked.1 <= GONE_KEPT_NANOS || is_there(path);
            if !kept {
                forgotten.push(path.to_string());
            }
            kept
        });
        forgotten
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::local::Zone;
    use crate::formats::encoding::Encoding;
    use crate::formats::wanted::Wanted;

    fn place(header: &str, changed_days: i128) -> Place {
        let text = format!("{header}\n2026-03-02 14:10,120\n");
        let dialect = Wanted::anything(Zone::UTC).sniff(text.as_bytes(), Encoding::Utf8, None).unwrap();
        let mut place = Place::start();
        place.dialect = Some(Arc::new(dialect));
        place.looked = (50, changed_days * 24 * 3_600 * 1_000_000_000, 7);
        place
    }

    #[test]
    fn equal_dialects_are_kept_once_and_the_stored_form_is_what_it_was() {
        let mut places = Places::default();
        // As the version before wrote it: no field but these.
        let body = r#"{"offset":43,"line":3,"dialect":{"encoding":"utf8","head_lines":1,"lines":{"table":{"delimiter":44,
            "time":[{"place":0,"name":"time"}],"glucose":[{"place":1,"name":"glucose"}],"unit":null,"only":null}},
            "stamp":"iso","zone":"UTC","unit":"mg/dL"},"last":1772460600000,"looked":[43,1772460600000000000,7],"prints":[1,2]}"#;
        places.read("a.csv", body);
        places.read("b.csv", body);
        let (a, b) = (places.of("a.csv").dialect.unwrap(), places.of("b.csv").dialect.unwrap());
        assert!(Arc::ptr_eq(&a, &b));
        let other = places.shared(place("when,glucose", 0).dialect.unwrap());
        assert!(!Arc::ptr_eq(&a, &other));
        let mut written: serde_json::Value = serde_json::to_value(places.of("a.csv")).unwrap();
        let added = written.as_object_mut().unwrap();
        assert_eq!((added.remove("status_changed"), added.remove("skips")), (Some(0.into()), Some(false.into())));
        assert_eq!(written, serde_json::from_str::<serde_json::Value>(body).unwrap());
        places.read("broken.csv", "{}");
        assert_eq!(places.of("broken.csv"), Place::start());
    }

    #[test]
    fn dialects_are_bounded_and_the_first_in_use_is_the_one_known() {
        let mut places = Places::default();
        for file in 0..DIALECTS_MAX + 10 {
            let mut place = place(&format!("time{file},glucose"), 0);
            place.dialect = place.dialect.map(|dialect| places.shared(dialect));
            places.set("one.csv", place);
        }
        assert!(places.dialects.len() <= DIALECTS_MAX);
        assert_eq!(places.known(false), places.of("one.csv").dialect.as_deref());
        assert_eq!(places.known(false).unwrap().lines, place("time73,glucose", 0).dialect.unwrap().lines);
    }

    #[test]
    fn a_file_gone_for_long_is_forgotten_and_an_empty_folder_tells_nothing() {
        let mut places = Places::default();
        for (path, days) in [("f/gone-lately.csv", 75), ("f/gone-long.csv", 60), ("f/old.csv", 1), ("f/today.csv", 100)]
        {
            places.set(path, place("time,glucose", days));
        }
        assert_eq!(places.forget_gone(&[]), Vec::<String>::new());
        let there = [PathBuf::from("f/old.csv"), PathBuf::from("f/today.csv")];
        assert_eq!(places.forget_gone(&there), ["f/gone-long.csv"]);
        assert_eq!(places.of("f/gone-long.csv"), Place::start());
        assert_eq!(places.forget_gone(&there), Vec::<String>::new());
    }
}
