//! Review.
