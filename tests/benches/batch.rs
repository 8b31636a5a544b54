//! Batches of measured values: rows per second and core, beside a bare SQL join that computes only the ratio.
//!
//! `cargo bench --bench batch [-- ROWS [ENTRIES]]` makes a table of ROWS measured values (2000 without it, a smoke test;
//! 100000 is the figure to quote) on the starter library and on an invented one of ENTRIES entries (20000), each value near
//! a published one at its conditions, checks it as `biot check --batch` does, and prints the rate for one thread and for
//! all. The baseline reads the same table into a bare SQLite table and joins it with the published values by compound and
//! solvent: the mean of them and the quotient, nothing else.

#[allow(dead_code, reason = "another bench asks by the short names")]
mod synthetic;

use biot::exchange::rows::ReadOptions;
use biot::library::{Access, Change, EntryKind, Library};
use biot::report::batch::{AnswerFormat, TableAnswers};
use biot::statement::Sign;
use biot::tasks::batch::{BatchReport, BatchRequest, check_batch};
use biot::tasks::care;
use biot::tasks::check::CheckSettings;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;
use rusqlite::Connection;
use std::error::Error;
use std::io::Write;
use std::path::Path;
use std::time::{Duration, Instant};
use synthetic::Synthetic;

type Outcome<T = ()> = Result<T, Box<dyn Error>>;

/// Where the randomness of the tables and of the invented library starts.
const SEED: u64 = 1815;

fn main() -> Outcome {
    let numbers: Vec<u64> = std::env::args().filter_map(|word| word.parse().ok()).collect();
    let n_rows = numbers.first().copied().unwrap_or(2000);
    let n_entries = numbers.get(1).copied().unwrap_or(20_000);
    let n_cores = std::thread::available_parallelism()?.get();
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR"))?;
    let mut out = std::io::stdout().lock();
    writeln!(
        out,
        "cores {n_cores}, seed {SEED}, rows {n_rows}, invented entries {n_entries}"
    )?;
    let starter = folder.path().join("starter.biot");
    care::open_or_create(&starter, Access::Read, &mut |_| {})?;
    let invented = folder.path().join("invented.biot");
    let mut library = Library::create(&invented, &Change::now("bench", "batch"))?;
    Synthetic { n_entries, seed: SEED }.load_into(&mut library)?;
    drop(library);
    for (name, file) in [("starter", &starter), ("invented", &invented)] {
        let table = folder.path().join(format!("{name}.csv"));
        let published = published(file)?;
        write_table(&table, &published, n_rows)?;
        let (baseline, n_joined) = join(&table, &published)?;
        writeln!(
            out,
            "{name}: bare SQL join {} ({n_joined} quotients), {:.0} rows/s",
            seconds(baseline),
            n_rows as f64 / baseline.as_secs_f64()
        )?;
        for n_threads in [1, n_cores] {
            let (time, report) = checked(file, &table, n_threads)?;
            let rate = n_rows as f64 / time.as_secs_f64();
            writeln!(
                out,
                "{name}: {n_threads} thread{} {}, {rate:.0} rows/s, {:.0} rows/s and core, {} poolings, {} refused, {:.1} \
                 times the join; verdicts {:?}",
                if n_threads == 1 { " " } else { "s" },
                seconds(time),
                rate / n_threads as f64,
                report.poolings,
                report.n_refused(),
                time.as_secs_f64() / baseline.as_secs_f64(),
                report.verdicts
            )?;
        }
    }
    Ok(())
}

/// A published value with its conditions, as a row of a table would give them.
struct Published {
    compound: String,
    value: f64,
    solvent: String,
    concentration: Option<f64>,
    temperature: Option<f64>,
}

fn published(file: &Path) -> Outcome<Vec<Published>> {
    let library = Library::open(file, Access::Read)?;
    let mut all = Vec::new();
    let mut names = std::collections::HashMap::new();
    library.for_each_compound(|compound| {
        names.insert(compound.id, compound.inchikey.unwrap_or(format!("#{}", compound.id.0)));
        Ok(())
    })?;
    library.for_each_entry(|entry| {
        let statement = &entry.statement;
        if let (Some(value), Some(name), EntryKind::Value, Sign::Stated) = (
            statement.central_value(),
            names.get(&entry.compound),
            entry.kind,
            statement.sign,
        ) {
            all.push(Published {
                compound: name.clone(),
                value,
                solvent: statement.solvent.as_ref().map(ToString::to_string).unwrap_or_default(),
                concentration: statement.concentration.map(|c| c.low.value()),
                temperature: statement
                    .temperature
                    .as_ref()
                    .and_then(biot::statement::StatedTemperature::celsius)
                    .map(|(celsius, _)| celsius),
            });
        }
        Ok(())
    })?;
    Ok(all)
}

/// A table of measurements: each near a published value, at its conditions, of a sample of any purity.
fn write_table(path: &Path, published: &[Published], n_rows: u64) -> Outcome {
    let mut rng = Pcg64::seed_from_u64(SEED);
    let mut writer = csv::Writer::from_path(path)?;
    writer.write_record(["id", "compound", "value", "solvent", "conc", "temp", "line"])?;
    let number = |value: Option<f64>| value.map(|v| v.to_string()).unwrap_or_default();
    for i in 0..n_rows {
        let near = &published[rng.random_range(0..published.len())];
        let value = near.value * rng.random_range(0.4..1.05);
        writer.write_record([
            format!("s{i}"),
            near.compound.clone(),
            format!("{value:.1}"),
            near.solvent.clone(),
            number(near.concentration.filter(|c| *c > 0.0)),
            number(near.temperature),
            "D".to_owned(),
        ])?;
    }
    Ok(writer.flush()?)
}

fn checked(library: &Path, table: &Path, n_threads: usize) -> Outcome<(Duration, BatchReport)> {
    let request = BatchRequest {
        file: table.to_owned(),
        options: ReadOptions::default(),
        threads: n_threads,
        ..BatchRequest::default()
    };
    let start = Instant::now();
    let library = Library::open(library, Access::Read)?;
    let mut out = std::io::BufWriter::new(std::fs::File::create(table.with_extension("checked.csv"))?);
    let mut answers = TableAnswers::new(&mut out, AnswerFormat::Csv);
    let report = check_batch(&library, &request, &CheckSettings::default(), &mut answers, &mut |_| {})?;
    answers.finish()?;
    out.flush()?;
    Ok((start.elapsed(), report))
}

/// The bare join: both tables in SQLite, the mean of the published values and the quotient for every row.
fn join(table: &Path, published: &[Published]) -> Outcome<(Duration, i64)> {
    let mut connection = Connection::open_in_memory()?;
    connection.execute_batch(
        "CREATE TABLE published (compound TEXT, solvent TEXT, value REAL);
         CREATE INDEX by_compound ON published (compound, solvent, value);
         CREATE TABLE measured (id TEXT, compound TEXT, solvent TEXT, value REAL);",
    )?;
    let tx = connection.transaction()?;
    {
        let mut insert = tx.prepare("INSERT INTO published VALUES (?, ?, ?)")?;
        for row in published {
            insert.execute((&row.compound, &row.solvent, row.value))?;
        }
    }
    tx.commit()?;
    // As with the check, the library is there; reading the table counts.
    let start = Instant::now();
    let tx = connection.transaction()?;
    {
        let mut insert = tx.prepare("INSERT INTO measured VALUES (?, ?, ?, ?)")?;
        for record in csv::Reader::from_path(table)?.records() {
            let record = record?;
            insert.execute((&record[0], &record[1], &record[3], record[2].parse::<f64>()?))?;
        }
    }
    tx.commit()?;
    let n = connection.query_row(
        "SELECT count(ratio) FROM (SELECT m.value / (SELECT avg(p.value) FROM published p WHERE p.compound = m.compound \
         AND p.solvent = m.solvent) AS ratio FROM measured m)",
        [],
        |row| row.get(0),
    )?;
    Ok((start.elapsed(), n))
}

fn seconds(time: Duration) -> String {
    format!("{:.2} s", time.as_secs_f64())
}
