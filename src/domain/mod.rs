//! What the words mean: time, glucose, readings, the diary. Uses nothing else of the program.
#![deny(clippy::disallowed_methods, clippy::disallowed_types)]

pub mod a1c;
pub mod change;
pub mod diary;
pub mod drops;
pub mod glucose;
pub mod insulin;
pub mod ketone_table;
pub mod ketones;
pub mod local;
pub mod mode;
pub mod reading;
pub mod reminder;
pub mod schedule;
pub mod spread;
pub mod symptoms;
pub mod time;
pub mod travel;
pub mod usual;
pub mod written;
