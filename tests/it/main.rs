//! Integration tests.

mod compound;
mod library;
mod starter;
mod solvent;
