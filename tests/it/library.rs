//! The store: what goes in comes out, and nothing of the past is lost.
