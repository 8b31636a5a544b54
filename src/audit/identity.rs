//! The stable id of a finding: the same as long as its entries say the same.

use super::Code;
use sha2::{Digest, Sha256};

/// An entry as far as the id of a finding goes.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct EntryMark {
    /// The entry's stable id.
    pub uid: String,
    /// A digest of what the entry says, without its review state.
    pub digest: String,
}

/// Digits of an id: 48 bits, so that among a million findings two share one with a probability below one per cent.
const N_DIGITS: usize = 12;

/// The id of a finding, from its kind and the entries it is about in any order. It does not depend on numbers that belong
/// to one file, on the siblings the finding rests on, or on the words of the reason; it changes when an entry changes, so
/// that an accepted finding comes back then.
pub fn finding_id(code: Code, entries: &[EntryMark]) -> String {
    let mut entries: Vec<&EntryMark> = entries.iter().collect();
    entries.sort();
    entries.dedup();
    let mut hasher = Sha256::new();
    let mut add = |text: &str| {
        hasher.update((text.len() as u64).to_le_bytes());
        hasher.update(text.as_bytes());
    };
    add(code.as_str());
    for entry in entries {
        add(&entry.uid);
        add(&entry.digest);
    }
    let mut id = String::with_capacity(N_DIGITS + 1);
    for byte in hasher.finalize() {
        if id.len() >= N_DIGITS {
            break;
        }
        id.push_str(&format!("{byte:02x}"));
    }
    id
}
