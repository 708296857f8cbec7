//! Text becomes readings. Reads no file: bytes come in, rows and refusals come out.
#![deny(clippy::disallowed_methods, clippy::disallowed_types)]

pub mod row_error;
pub mod stamp;
pub mod table;
