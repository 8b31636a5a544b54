//! Integration tests.

#![allow(
    clippy::unwrap_used,
    clippy::print_stdout,
    missing_docs,
    reason = "a failed unwrap fails the test it stands in, tests document themselves by name, and print what they measured"
)]

mod accounts;
mod architecture;
mod audit;
mod batch;
mod batch_program;
mod check;
mod cli;
mod composition;
mod compound;
mod curves;
mod dispersion;
mod dispersion_web;
mod equipment_web;
mod estimators;
mod fits;
mod faults;
mod hostile_web;
mod identify;
mod import;
mod instruments;
mod kinetics;
mod least_squares;
mod library;
mod lines;
mod limits;
mod measurement;
mod names;
mod notation;
#[cfg(feature = "pdf")]
mod pdf;
mod posterior;
mod register;
mod reduce;
mod report;
mod report_web;
mod review;
mod selfcheck;
mod share;
mod shared_web;
mod solvent;
mod standards;
mod starter;
mod web;
mod worked_examples;
