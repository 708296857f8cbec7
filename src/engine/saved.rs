//! Reads back a saved state, whatever version of the program saved it. It must never make up a state: one that cannot
//! be read is refused with words, and who asked decides what then.

use super::form1;
use super::state::{SNAPSHOT_VERSION, State};

/// Why a saved state cannot be read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Unread {
    /// A newer version of the program saved it.
    Newer {
        /// The version of its form.
        version: u32,
    },
    /// No version of the program ever saved such a one.
    Unknown {
        /// The version of its form.
        version: u32,
    },
    /// Its version is known, and it does not have that form.
    Broken {
        /// The version of its form.
        version: u32,
        /// What is wrong.
        what: String,
    },
}

impl std::fmt::Display for Unread {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Newer { version } => write!(
                out,
                "the saved state has form {version}, of a newer version of recheck; this one knows up to \
                 {SNAPSHOT_VERSION}"
            ),
            Self::Unknown { version } => {
                write!(out, "the saved state has form {version}, which no version of recheck writes")
            }
            Self::Broken { version, what } => write!(out, "the saved state of form {version} cannot be read: {what}"),
        }
    }
}

impl std::error::Error for Unread {}

impl State {
    /// A state as it was saved, by the version it was saved with. A later form is added here, and the earlier ones
    /// stay: each is read as what it was, and converted.
    ///
    /// # Errors
    /// When the version is not known, or the text does not have its form.
    pub fn read(version: u32, text: &str) -> Result<Self, Unread> {
        match version {
            1 => form1::read(text).map_err(|error| Unread::Broken { version, what: error.to_string() }),
            SNAPSHOT_VERSION => {
                serde_json::from_str(text).map_err(|error| Unread::Broken { version, what: error.to_string() })
            }
            newer if newer > SNAPSHOT_VERSION => Err(Unread::Newer { version }),
            version => Err(Unread::Unknown { version }),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_cannot_be_read_is_told_apart() {
        let empty = serde_json::to_string(&State::default()).unwrap();
        assert_eq!(State::read(SNAPSHOT_VERSION, &empty), Ok(State::default()));
        assert_eq!(State::read(SNAPSHOT_VERSION + 1, &empty), Err(Unread::Newer { version: SNAPSHOT_VERSION + 1 }));
        assert_eq!(State::read(0, &empty), Err(Unread::Unknown { version: 0 }));
        for version in [1, SNAPSHOT_VERSION] {
            for text in ["", "{}", "{\"last_id\":1", &empty.replacen("\"window\"", "\"windo\"", 1)] {
                let refused = State::read(version, text).unwrap_err();
                assert!(matches!(&refused, Unread::Broken { what, .. } if !what.is_empty()), "{text}: {refused}");
            }
        }
    }
}
