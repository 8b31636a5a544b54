//! Packs the starter tables into the binary, compressed.

use std::io::Write;
use std::path::Path;

/// The tables of `data/starter`.
const TABLES: [&str; 6] = [
    "compounds.csv",
    "starter_entries.csv",
    "multi_source_values.csv",
    "spec_ranges.csv",
    "structures.csv",
    "marks.csv",
];

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let out = std::env::var("OUT_DIR")?;
    for table in TABLES {
        let path = Path::new("data/starter").join(table);
        println!("cargo::rerun-if-changed={}", path.display());
        let text = std::fs::read(&path).map_err(|error| format!("{}: {error}", path.display()))?;
        let file = std::fs::File::create(Path::new(&out).join(format!("{table}.gz")))?;
        let mut packed = flate2::write::GzEncoder::new(file, flate2::Compression::best());
        packed.write_all(&text)?;
        packed.finish()?;
    }
    Ok(())
}
