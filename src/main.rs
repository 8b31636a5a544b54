//! The `biot` program.
fn main() {}
