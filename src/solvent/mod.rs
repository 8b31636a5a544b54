//! Stub until the branch lands.
use std::fmt;
/// Stub.
#[derive(Clone, Debug, PartialEq)]
pub struct Solvent(String);
impl Solvent {
    /// Stub.
    pub fn parse(text: &str) -> Result<Self, String> {
        Ok(Self(text.to_owned()))
    }
    /// Stub.
    pub fn parse_lenient(text: &str) -> Result<Self, String> {
        Ok(Self(text.to_owned()))
    }
}
impl fmt::Display for Solvent {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}
