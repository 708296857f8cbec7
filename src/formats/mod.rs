//! Text becomes readings. Reads no file: bytes come in, rows and refusals come out.
//!
//! [`wanted::Wanted`] is what the settings say, [`wanted::Dialect`] how one file turned out to be written;
//! [`wanted::Wanted::sniff`] leads from the one to the other, and [`rows`] reads by it.
#![deny(clippy::disallowed_methods, clippy::disallowed_types)]

pub mod diary;
pub mod encoding;
pub mod noted;
pub mod repeated;
pub mod row_error;
pub mod rows;
mod sniff;
mod sniff_diary;
mod sniff_json;
mod sniff_time;
pub mod stamp;
pub mod wanted;
