//! The same engine over past days, in pretend time, and how well its alerts did there; what alerts
//! asked of the wearer, there or in life. Reads no files.
#![deny(clippy::disallowed_methods, clippy::disallowed_types)]

pub mod answers;
pub mod burden;
pub mod foreseen;
pub mod recorded;
pub mod run;
pub mod score;
mod stood;
pub mod story;
pub mod suggest;
pub mod summary;
pub mod together;
pub mod watched;
