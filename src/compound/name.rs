//! Stub until the branch lands.

/// Stub.
pub fn fold(name: &str) -> String {
    let mut folded = String::new();
    for c in name.to_lowercase().chars() {
        match c {
            '\u{2010}'..='\u{2015}' | '\u{2212}' => folded.push('-'),
            'α' => folded.push_str("alpha"),
            'β' => folded.push_str("beta"),
            'γ' => folded.push_str("gamma"),
            'δ' => folded.push_str("delta"),
            '′' | '’' => folded.push('\''),
            '±' => folded.push_str("+-"),
            c => folded.push(c),
        }
    }
    folded.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Stub.
pub fn tokens(name: &str) -> Vec<String> {
    let folded = fold(name);
    let mut tokens = vec![String::new()];
    let mut last = ' ';
    for c in folded.chars() {
        let same = c.is_alphabetic() && last.is_alphanumeric() || c.is_numeric() && last.is_numeric();
        if !same {
            tokens.push(String::new());
        }
        if c.is_alphanumeric() {
            tokens.last_mut().unwrap().push(c);
        }
        last = c;
    }
    tokens.retain(|t| !t.is_empty());
    tokens
}

/// Stub.
pub fn stem(name: &str) -> String {
    let mut tokens = tokens(name);
    tokens.retain(|t| {
        !t.starts_with(|c: char| c.is_numeric())
            && !matches!(
                t.as_str(),
                "r" | "s" | "e" | "z" | "d" | "l" | "dl" | "rac" | "m" | "p" | "as" | "ar"
            )
    });
    tokens.join(" ")
}

/// Stub.
pub fn descriptors(_name: &str) -> Vec<String> {
    Vec::new()
}
