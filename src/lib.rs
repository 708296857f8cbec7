//! recheck watches glucose sensor readings, alerts, and looks again after a treatment.

pub mod channels;
pub mod cli;
pub mod config;
pub mod daemon;
pub mod domain;
pub mod engine;
pub mod formats;
pub mod intake;
pub mod outbox;
pub mod replay;
pub mod responses;
pub mod store;
pub mod wearer;
pub mod wording;
