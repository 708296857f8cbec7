//! All tests in one binary: it links once.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stderr,
    clippy::float_cmp,
    reason = "a test that meets the unexpected must stop"
)]

mod alarm;
mod any_way;
mod asked;
mod bedtime;
mod behaviour;
mod burden;
mod checker;
mod clocks;
mod compare;
mod corpus;
mod daemon;
mod diary;
mod diary_care;
mod exhaust;
mod forecast;
mod forecast_data;
mod hidden_lows;
mod hours;
mod insulin;
mod intake;
mod kept;
mod layers;
mod ledger;
mod life;
mod links;
mod lives;
mod meter;
mod mistakes;
mod modes;
mod morning;
mod nadir;
mod open_data;
mod people;
mod properties;
mod real;
mod rebound;
mod reminder;
mod replay;
mod responses;
mod rise;
mod sensor;
mod set_back;
mod states;
mod storm;
mod suggest;
mod swings;
mod texts;
mod tidy;
mod together;
mod treated_data;
mod wearer;
