//! JSON Lines: one object a line, with the keys that `biot read --json` prints, and `compound` and `source` as objects or
//! texts.
//!
//! Nested keys are joined by a point (`source.doi`). A number has the fewest digits
//! that make it; a text in its place keeps all that was printed.

use super::rows::{About, Event, Format, MOST_RECORD, ReadError, Row};
use super::table_in::text_fault;
use serde_json::Value;
use std::collections::HashMap;
use std::fs::File;
use std::io::{BufRead, BufReader, Read};
use std::path::Path;

/// Most keys in all.
const MOST_KEYS: usize = 500;

/// Reads the lines.
pub(super) fn read<E: From<ReadError>>(
    path: &Path,
    visit: &mut dyn FnMut(Event<'_>) -> Result<(), E>,
) -> Result<(), E> {
    let file = File::open(path).map_err(|error| ReadError::io(path, error))?;
    let mut input = BufReader::new(file);
    visit(Event::Begin(&About {
        encoding: Some("UTF-8"),
        ..About::of(Format::JsonLines)
    }))?;
    let mut keys = Keys::default();
    let mut bytes = Vec::new();
    let mut n_read = 0;
    let mut line = 0;
    loop {
        bytes.clear();
        let n = (&mut input)
            .take(MOST_RECORD + 1)
            .read_until(b'\n', &mut bytes)
            .map_err(|error| ReadError::io(path, error))? as u64;
        if n == 0 {
            return Ok(());
        }
        if n > MOST_RECORD {
            return Err(ReadError::TooLarge {
                path: path.to_owned(),
                what: "one line",
                limit_mib: MOST_RECORD >> 20,
            }
            .into());
        }
        n_read += n;
        line += 1;
        let text = String::from_utf8_lossy(&bytes);
        let text = text.trim_start_matches('\u{FEFF}').trim();
        if text.is_empty() {
            continue;
        }
        let n_known = keys.names.len();
        let (cells, fault) = match (text_fault(text, "UTF-8"), serde_json::from_str::<Value>(text)) {
            (Some(fault), _) => (Vec::new(), Some(fault)),
            (None, Ok(Value::Object(object))) => {
                let mut cells = Vec::new();
                let fault = keys.flatten("", &object, &mut cells).err();
                (cells, fault)
            }
            (None, Ok(_)) => (Vec::new(), Some("the line is no JSON object".to_owned())),
            (None, Err(error)) => (Vec::new(), Some(format!("the line is no JSON: {error}"))),
        };
        if keys.names.len() > n_known {
            visit(Event::Columns(&keys.names))?;
        }
        let mut row = Row {
            line,
            fault,
            raw: Some(text.to_owned()),
            bytes: n_read,
            ..Row::default()
        };
        row.cells = vec![String::new(); keys.names.len()];
        for (at, text) in cells {
            row.cells[at] = text;
        }
        visit(Event::Row(row))?;
    }
}

/// The keys seen so far, in the order of their first appearance.
#[derive(Default)]
struct Keys {
    names: Vec<String>,
    by_name: HashMap<String, usize>,
}

impl Keys {
    fn flatten(
        &mut self,
        prefix: &str,
        object: &serde_json::Map<String, Value>,
        cells: &mut Vec<(usize, String)>,
    ) -> Result<(), String> {
        for (key, value) in object {
            let name = match (prefix, key.as_str(), value) {
                ("", "compound", Value::String(_)) => "compound.name".to_owned(),
                ("", "source", Value::String(_)) => "source.citation".to_owned(),
                _ => format!("{prefix}{key}"),
            };
            let text = match value {
                Value::Null => continue,
                Value::Object(inner) if prefix.is_empty() && (key == "compound" || key == "source") => {
                    self.flatten(&format!("{key}."), inner, cells)?;
                    continue;
                }
                Value::String(text) => text.clone(),
                // JSON does not tell 25 from 25.0 once a program has written it.
                Value::Number(number) if number.is_f64() => number.as_f64().unwrap_or_default().to_string(),
                Value::Array(items) if items.iter().all(Value::is_string) => items
                    .iter()
                    .filter_map(Value::as_str)
                    .map(|text| text.replace('\\', "\\\\").replace('|', "\\|"))
                    .collect::<Vec<_>>()
                    .join(" | "),
                other => other.to_string(),
            };
            let at = self.index(name)?;
            cells.push((at, text));
        }
        Ok(())
    }

    fn index(&mut self, name: String) -> Result<usize, String> {
        if let Some(&at) = self.by_name.get(&name) {
            return Ok(at);
        }
        if self.names.len() >= MOST_KEYS {
            return Err(format!("the file has more than {MOST_KEYS} different keys"));
        }
        let at = self.names.len();
        self.by_name.insert(name.clone(), at);
        self.names.push(name);
        Ok(at)
    }
}
