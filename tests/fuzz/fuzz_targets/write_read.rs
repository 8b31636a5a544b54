//! What was read from any bytes can be written, and reading that gives the same value again.
#![no_main]

use biot::notation::{Style, read, write};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    let text = String::from_utf8_lossy(data);
    for found in read(&text) {
        for style in Style::ALL {
            let Ok(written) = write(&found.statement, style) else { continue };
            let Some(again) = read(&written).into_iter().next() else { continue };
            if let (Some(a), Some(b)) = (found.statement.value, again.statement.value) {
                assert!(a.same_value(b), "{written}");
            }
        }
    }
});
