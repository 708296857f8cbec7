//! The running program: the loop, its clock, its deliveries, and what keeps it alive. Makes no decision
//! about glucose.

pub mod alive;
mod answers;
mod care;
pub mod clock;
pub mod control;
mod deliver;
mod diary;
pub mod run;
pub mod start;
mod taken_in;
mod travel;

pub use run::{Daemon, Heard, Stopped};
pub use start::{Plan, StartError};
