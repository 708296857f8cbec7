//! Pretend wearers, for the demo and for experiments. Nothing in them is measured on a person.
#![deny(clippy::disallowed_methods, clippy::disallowed_types)]

pub mod body;
pub mod chance;
pub mod script;
