//! The running program: the loop, its clock, its deliveries, and what keeps it alive. Makes no decision
//! about glucose.

pub mod alive;
pub mod clock;
pub mod control;
mod deliver;
pub mod run;
mod taken_in;

pub use run::{Daemon, Heard, Plan, StartError, Stopped};
