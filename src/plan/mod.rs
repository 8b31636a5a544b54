//! What to measure, at which conditions, with how much sample. Pure.
