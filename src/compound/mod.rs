//! Stub until the branch lands.

/// Stub.
pub fn fold(name: &str) -> String {
    name.to_lowercase()
}

/// Stub.
pub fn stem(name: &str) -> String {
    name.to_lowercase()
}
