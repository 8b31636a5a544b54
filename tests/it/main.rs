//! Integration tests.

#![allow(
    clippy::unwrap_used,
    missing_docs,
    reason = "a failed unwrap fails the test it stands in, and tests document themselves by name"
)]

mod architecture;
mod check;
mod cli;
mod compound;
mod library;
mod names;
mod share;
mod starter;
mod solvent;
