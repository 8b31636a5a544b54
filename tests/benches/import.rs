//! Throughput of an import beside a bare load of the same rows into SQLite with a full-text table.
//!
//! `cargo bench --bench import [-- ROWS [SEED]]` makes a CSV file of invented values (a twentieth as many compounds as rows,
//! a fiftieth as many sources), imports it into an empty library, imports it again (all rows are there already), and loads
//! the same rows with prepared statements into one table and one FTS5 table. Rows per second and the ratio are printed.

use biot::library::{Change, Library};
use biot::tasks::import::{ImportRequest, RejectsTo, import};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;
use std::io::{self, BufWriter, Write};
use std::path::Path;
use std::time::{Duration, Instant};

const SOLVENTS: [&str; 8] = [
    "CHCl3",
    "EtOH",
    "MeOH",
    "H2O",
    "acetone",
    "CH2Cl2",
    "benzene",
    "HCl 1 N aq",
];

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let numbers: Vec<u64> = std::env::args().skip(1).filter_map(|word| word.parse().ok()).collect();
    let n_rows = numbers.first().copied().unwrap_or(5_000).max(1);
    let seed = numbers.get(1).copied().unwrap_or(7);
    let folder = tempfile::tempdir()?;
    let table = folder.path().join("values.csv");
    write_table(&table, n_rows, seed)?;
    let size = std::fs::metadata(&table)?.len();

    let change = Change::now("bench", "throughput of an import");
    let mut library = Library::create(&folder.path().join("library.biot"), &change)?;
    let request = ImportRequest {
        files: vec![table.clone()],
        may_add_compounds: true,
        rejects: RejectsTo::Nowhere,
        ..ImportRequest::default()
    };
    let (first, took_first) = timed(|| import(&mut library, &request, &change, &mut |_, _| {}))?;
    let (second, took_second) = timed(|| import(&mut library, &request, &change, &mut |_, _| {}))?;
    assert_eq!(
        first.added.entries + first.present,
        n_rows,
        "{:?}",
        first.refusals.first()
    );
    assert_eq!((second.added.entries, second.present), (0, n_rows));
    let ((), took_bare) = timed(|| bare_load(&table, &folder.path().join("bare.sqlite")))?;

    let rate = |took: Duration| n_rows as f64 / took.as_secs_f64();
    let mut out = io::stdout();
    writeln!(
        out,
        "{n_rows} rows, {size} bytes, seed {seed}, {} compounds, {} sources",
        first.added.compounds, first.added.sources
    )?;
    writeln!(
        out,
        "import         {:>9.3} s  {:>9.0} rows/s",
        took_first.as_secs_f64(),
        rate(took_first)
    )?;
    writeln!(
        out,
        "import again   {:>9.3} s  {:>9.0} rows/s",
        took_second.as_secs_f64(),
        rate(took_second)
    )?;
    writeln!(
        out,
        "bare SQLite    {:>9.3} s  {:>9.0} rows/s",
        took_bare.as_secs_f64(),
        rate(took_bare)
    )?;
    writeln!(
        out,
        "import / bare  {:>9.2}",
        took_first.as_secs_f64() / took_bare.as_secs_f64()
    )?;
    Ok(())
}

fn timed<T, E>(run: impl FnOnce() -> Result<T, E>) -> Result<(T, Duration), E> {
    let start = Instant::now();
    run().map(|result| (result, start.elapsed()))
}

fn write_table(path: &Path, n_rows: u64, seed: u64) -> io::Result<()> {
    let mut random = Pcg64::seed_from_u64(seed);
    let n_compounds = (n_rows / 20).max(1);
    let n_sources = (n_rows / 50).max(1);
    let mut out = BufWriter::new(std::fs::File::create(path)?);
    writeln!(out, "name,[α],T/°C,λ/nm,solvent,c,ee,citation,doi,year,page")?;
    for row in 0..n_rows {
        let compound = random.random_range(0..n_compounds);
        let source = random.random_range(0..n_sources);
        let value: f64 = random.random_range(-200.0..200.0);
        let concentration: f64 = random.random_range(0.1..3.0);
        writeln!(
            out,
            "(R)-{}-invented-{}-oic acid {compound},{value:.1},{},{},{},{concentration:.2},{},\"Writer, A., J. Invented Chem. {} ({}) {}\",10.1000/inv.{source},{},p. {row}",
            compound % 17 + 2,
            compound % 13,
            random.random_range(18..28),
            ["589", "589", "589", "546", "436"][random.random_range(0..5)],
            SOLVENTS[random.random_range(0..SOLVENTS.len())],
            random.random_range(80..100),
            source % 90 + 1,
            1950 + source % 70,
            source * 7 + 1,
            1950 + source % 70,
        )?;
    }
    out.flush()
}

/// The rows as they stand, in one transaction: no units, no identities, no history.
fn bare_load(table: &Path, path: &Path) -> Result<(), Box<dyn std::error::Error>> {
    let mut connection = rusqlite::Connection::open(path)?;
    connection.execute_batch(
        "PRAGMA journal_mode = WAL; PRAGMA synchronous = NORMAL;
         CREATE TABLE entry (name TEXT, value REAL, temperature REAL, wavelength REAL, solvent TEXT, concentration REAL,
                             ee REAL, citation TEXT, doi TEXT, year INTEGER, page TEXT);
         CREATE VIRTUAL TABLE entry_text USING fts5 (name, solvent, citation, page);",
    )?;
    let transaction = connection.transaction()?;
    {
        let mut entry = transaction.prepare("INSERT INTO entry VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)")?;
        let mut text = transaction.prepare("INSERT INTO entry_text VALUES (?, ?, ?, ?)")?;
        let mut reader = csv::Reader::from_path(table)?;
        let mut record = csv::StringRecord::new();
        while reader.read_record(&mut record)? {
            entry.execute(rusqlite::params_from_iter(record.iter()))?;
            text.execute([&record[0], &record[4], &record[7], &record[10]])?;
        }
    }
    transaction.commit()?;
    Ok(())
}
