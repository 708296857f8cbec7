//! Pretend wearers, for the demo and for experiments. Nothing in them is measured on a person.
#![deny(clippy::disallowed_methods, clippy::disallowed_types)]

pub mod alone;
pub mod body;
pub mod chance;
pub mod day;
pub mod habits;
pub mod life;
pub mod person;
pub mod script;
pub mod sensor;
