//! The same engine over past days, in pretend time, and how well its alerts did there. Reads no files.
#![deny(clippy::disallowed_methods, clippy::disallowed_types)]

pub mod run;
pub mod score;
