//! The store and the search index: the only place that knows SQL and tantivy.

mod types;

pub use types::{
    Chirality, Compound, CompoundId, Entry, EntryId, EntryKind, Hand, Identity, ReviewState, Source, SourceId,
    SourceKind,
};
