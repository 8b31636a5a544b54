//! The shape of the source tree: which module may import which, and that no test file is forgotten.

use std::fs;
use std::path::{Path, PathBuf};

/// The modules in the order of `src/lib.rs`, lowest first. A module imports only from those before it.
const ORDER: [&str; 17] = [
    "quantity",
    "solvent",
    "compound",
    "statement",
    "notation",
    "measurement",
    "dispersion",
    "instrument",
    "compare",
    "audit",
    "plan",
    "library",
    "exchange",
    "tasks",
    "report",
    "web",
    "cli",
];

/// Edges that the order alone would allow and that are forbidden, each with its reason.
const FORBIDDEN: [(&str, &str, &str); 7] = [
    ("solvent", "compound", "a solvent is not looked up as a compound"),
    ("compound", "solvent", "a compound does not know what dissolves it"),
    ("measurement", "notation", "readings are numbers, not printed text"),
    (
        "compare",
        "notation",
        "the comparison sees statements, not printed text",
    ),
    (
        "compare",
        "measurement",
        "the comparison sees a value and its uncertainty, not how it was read",
    ),
    ("audit", "notation", "the audit sees statements, not printed text"),
    ("exchange", "measurement", "files hold statements"),
];

/// Words that only the named module may write, with the reason.
const ONLY_IN: [(&str, &[&str], &str); 8] = [
    ("rusqlite", &["library"], "only the library knows SQL"),
    ("tantivy", &["library"], "only the library knows the search index"),
    ("clap", &["cli"], "only the command line knows its arguments"),
    ("axum", &["web"], "only the pages know HTTP"),
    ("askama", &["web"], "only the pages know templates"),
    ("tokio", &["web"], "only the server waits for many at once"),
    ("comfy_table", &["report"], "only the report draws tables"),
    (
        "std::env",
        &["cli", "main.rs", "build.rs"],
        "only the command line reads the environment",
    ),
];

/// Modules without store, clock, printing or environment.
const PURE: [&str; 11] = [
    "quantity",
    "solvent",
    "compound",
    "statement",
    "notation",
    "measurement",
    "dispersion",
    "instrument",
    "compare",
    "audit",
    "plan",
];

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// All Rust files below a folder, each with the module it belongs to (the first folder, or the file's own name).
fn sources() -> Vec<(String, PathBuf, String)> {
    let mut found = Vec::new();
    let src = root().join("src");
    let mut folders = vec![src.clone()];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(&folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|extension| extension == "rs") {
                let inside = path.strip_prefix(&src).unwrap();
                let module = inside.iter().next().unwrap().to_string_lossy().into_owned();
                let text = fs::read_to_string(&path).unwrap();
                found.push((module, path, text));
            }
        }
    }
    found
}

/// The lines of code of a file: comments are dropped, and everything from the file's own test module on.
fn code(text: &str) -> impl Iterator<Item = (usize, &str)> {
    text.lines()
        .enumerate()
        .map(|(at, line)| (at + 1, line.trim()))
        .take_while(|(_, line)| *line != "#[cfg(test)]")
        .filter(|(_, line)| !line.starts_with("//"))
}

/// Every module named after `crate::` in a line, also within `crate::{a::B, c::D}`.
fn imports(line: &str) -> Vec<String> {
    let mut names = Vec::new();
    for (at, found) in line.match_indices("crate::") {
        let rest = &line[at + found.len()..];
        if let Some(group) = rest.strip_prefix('{') {
            let mut depth = 0;
            let mut start = true;
            let mut name = String::new();
            for c in group.chars() {
                match c {
                    '{' => depth += 1,
                    '}' if depth == 0 => break,
                    '}' => depth -= 1,
                    ',' if depth == 0 => {
                        names.push(std::mem::take(&mut name));
                        start = true;
                    }
                    c if start && (c.is_alphanumeric() || c == '_') => name.push(c),
                    ' ' if name.is_empty() => {}
                    _ => start = false,
                }
            }
            names.push(name);
        } else {
            names.push(rest.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect());
        }
    }
    names.retain(|name| !name.is_empty());
    names
}

fn rank(module: &str) -> Option<usize> {
    ORDER.iter().position(|known| *known == module)
}

#[test]
fn the_order_is_that_of_the_crate() {
    let text = fs::read_to_string(root().join("src/lib.rs")).unwrap();
    let declared: Vec<&str> = text
        .lines()
        .filter_map(|line| line.strip_prefix("pub mod ")?.strip_suffix(';'))
        .collect();
    assert_eq!(declared, ORDER, "src/lib.rs and the order tested here differ");
}

#[test]
fn imports_point_downwards() {
    let mut faults = Vec::new();
    let mut n_edges = 0;
    for (module, path, text) in sources() {
        let Some(own) = rank(&module) else { continue };
        for (line_number, line) in code(&text) {
            for target in imports(line) {
                let Some(other) = rank(&target) else { continue };
                n_edges += usize::from(other != own);
                let forbidden = FORBIDDEN
                    .iter()
                    .find(|(from, to, _)| *from == module && *to == target)
                    .map(|(_, _, reason)| *reason);
                if other > own || forbidden.is_some() {
                    let reason = forbidden.unwrap_or("it stands above in the order of src/lib.rs");
                    faults.push(format!(
                        "{}:{line_number}: {module} imports {target}: {reason}",
                        path.display()
                    ));
                }
            }
        }
    }
    assert!(faults.is_empty(), "forbidden imports:\n{}", faults.join("\n"));
    assert!(
        n_edges > 5,
        "the scan found only {n_edges} imports, so it tests nothing"
    );
}

#[test]
fn outside_systems_stay_in_their_modules() {
    let mut faults = Vec::new();
    for (module, path, text) in sources() {
        for (line_number, line) in code(&text) {
            for (word, owners, reason) in ONLY_IN {
                let named = line.contains(&format!("{word}::")) || line.contains(&format!("use {word}"));
                if named && !owners.contains(&module.as_str()) {
                    faults.push(format!(
                        "{}:{line_number}: {word} in {module}: {reason}",
                        path.display()
                    ));
                }
            }
            if PURE.contains(&module.as_str()) {
                for word in [
                    "SystemTime",
                    "OffsetDateTime::now",
                    "std::fs",
                    "stdout()",
                    "stderr()",
                    "thread_rng",
                ] {
                    if line.contains(word) {
                        faults.push(format!(
                            "{}:{line_number}: {word} in {module}, which is pure",
                            path.display()
                        ));
                    }
                }
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn every_module_says_what_it_is_for() {
    let missing: Vec<String> = sources()
        .into_iter()
        .filter(|(_, _, text)| !text.starts_with("//!"))
        .map(|(_, path, _)| path.display().to_string())
        .collect();
    assert!(missing.is_empty(), "no //! at the top of: {}", missing.join(", "));
}

#[test]
fn no_test_file_is_forgotten() {
    let folder = root().join("tests/it");
    let main = fs::read_to_string(folder.join("main.rs")).unwrap();
    for entry in fs::read_dir(&folder).unwrap() {
        let path: PathBuf = entry.unwrap().path();
        let name = path.file_stem().unwrap().to_string_lossy().into_owned();
        let is_module = path.is_dir() || path.extension() == Some(Path::new("rs").as_os_str());
        if name != "main" && is_module {
            assert!(
                main.lines().any(|line| line.trim() == format!("mod {name};")),
                "tests/it/{name}.rs is not a module of tests/it/main.rs, so it never runs"
            );
        }
    }
}

#[test]
fn the_scan_sees_grouped_imports() {
    assert_eq!(
        imports("use crate::{quantity::{Angle, Length}, report};"),
        ["quantity", "report"]
    );
    assert_eq!(imports("let x = crate::cli::run(crate::tasks::A);"), ["cli", "tasks"]);
    assert!(imports("use std::fmt;").is_empty());
}
