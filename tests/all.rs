//! All tests in one binary: it links once.

mod behaviour;
