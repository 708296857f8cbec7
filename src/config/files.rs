//! Where settings and state are kept, by the XDG base directory specification, and what `~` means.

use std::path::PathBuf;

/// The settings file: `$XDG_CONFIG_HOME/recheck/recheck.toml`.
#[must_use]
pub fn settings_file() -> PathBuf {
    base("XDG_CONFIG_HOME", ".config").join("recheck.toml")
}

/// The state folder: `$XDG_STATE_HOME/recheck`.
#[must_use]
pub fn state_folder() -> PathBuf {
    base("XDG_STATE_HOME", ".local/state")
}

/// A path with a leading `~/` replaced by the home folder.
#[must_use]
pub fn home(path: &str) -> PathBuf {
    match path.strip_prefix("~/") {
        Some(rest) => home_folder().join(rest),
        None => PathBuf::from(path),
    }
}

fn base(variable: &str, below_home: &str) -> PathBuf {
    // The specification says to ignore a relative path.
    let set = std::env::var_os(variable).map(PathBuf::from).filter(|path| path.is_absolute());
    set.unwrap_or_else(|| home_folder().join(below_home)).join("recheck")
}

fn home_folder() -> PathBuf {
    std::env::var_os("HOME").map_or_else(|| PathBuf::from("/"), PathBuf::from)
}

/// The computer's zone, by name; UTC where it has none we know.
#[must_use]
pub fn computer_zone() -> crate::domain::local::Zone {
    iana_time_zone::get_timezone()
        .ok()
        .and_then(|name| crate::domain::local::Zone::named(&name))
        .unwrap_or(crate::domain::local::Zone::UTC)
}
