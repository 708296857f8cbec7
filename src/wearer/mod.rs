//! A pretend wearer, for the demo. Nothing in it is measured on a person.
#![deny(clippy::disallowed_methods, clippy::disallowed_types)]

pub mod script;
