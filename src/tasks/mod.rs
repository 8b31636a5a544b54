//! One function per thing a user does: the only layer that sees both the library and the engines.

pub mod care;
pub mod check;
pub mod curate;
pub mod resolve;
