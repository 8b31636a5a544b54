//! x
mod clean;
mod token;
