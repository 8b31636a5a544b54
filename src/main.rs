//! The `biot` program.
use std::io::{BufRead, Write};

fn main() {
    let stdin = std::io::stdin().lock();
    let mut out = std::io::BufWriter::new(std::io::stdout().lock());
    for (n, line) in stdin.split(b'\n').enumerate() {
        let Ok(line) = line else { break };
        let line = String::from_utf8_lossy(&line);
        let statements: Vec<_> = biot::notation::read(&line)
            .iter()
            .map(biot::notation::ReadStatement::from)
            .collect();
        let object = serde_json::json!({"line": n + 1, "statements": statements});
        if writeln!(out, "{object}").is_err() {
            break;
        }
    }
}
