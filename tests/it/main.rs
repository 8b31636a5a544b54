//! Integration tests.

mod compound;
mod solvent;
