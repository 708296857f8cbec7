//! The settings file: as written, then as meant, with all its problems at once. Starts nothing.

pub mod ends;
pub mod files;
pub mod meant;
mod people;
pub mod problem;
mod quiet;
pub mod tree;
pub mod words;

pub use ends::{ChannelSettings, Reach, Receipt, SourceSettings, Webhook};
pub use meant::Settings;
