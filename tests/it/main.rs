//! Integration tests.

mod solvent;
mod notation;
