//! Integration tests.

mod solvent;
