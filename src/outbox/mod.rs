//! What is owed to the wearer: which messages a decision makes, and when one is tried again. Sends
//! nothing and stores nothing.
#![deny(clippy::disallowed_methods, clippy::disallowed_types)]

pub mod health;
pub mod message;
pub mod outcome;
pub mod plan;
pub mod reached;
pub mod retry;
