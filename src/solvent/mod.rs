//! Stub until the branch lands.
/// Stub.
#[derive(Clone, Debug, PartialEq)]
pub struct Solvent;
