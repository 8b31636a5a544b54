//! Files to statements, statements to files.

pub mod starter;
