//! Any bytes: the reader never panics, and its spans lie in the text in order. Seeds: the texts in `tests/data/*.jsonl`.
#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    let text = String::from_utf8_lossy(data);
    let mut before = 0;
    for found in biot::notation::read(&text) {
        assert!(text.get(found.start..found.end).is_some());
        assert!(found.start >= before);
        before = found.start;
    }
});
