//! Integration tests.

mod compound;
mod library;
mod names;
mod starter;
mod solvent;
