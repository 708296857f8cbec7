//! The settings file: as written, then as meant, with all its problems at once. Starts nothing.

mod bounds;
pub mod ends;
pub mod files;
mod forecasts;
pub mod meant;
mod people;
pub mod problem;
mod quiet;
mod rise;
mod steps;
pub mod tree;
mod wearer;
pub mod words;

pub use ends::{ChannelSettings, Reach, Receipt, SourceSettings, Webhook};
pub use meant::Settings;
