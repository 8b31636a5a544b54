//! What an import came to, or would come to: for a person, and as JSON.

use super::audit::{self, FindingJson};
use super::{Column, Page, Table};
use crate::audit::{Code, Severity};
use crate::exchange::rows::About;
use crate::tasks::audit::Flagged;
use crate::tasks::import::{FileReport, Foreseen, ImportReport, MOST_FORESEEN, RefusedRow};
use serde::Serialize;

/// Rows of the lists a person is shown.
const MOST_SHOWN: usize = 20;

/// Writes the summary.
pub fn summary(report: &ImportReport, page: &mut Page) {
    let n = report.added.entries;
    page.heading(&if report.is_trial {
        format!(
            "Dry run: {} would be added as drafts; nothing was changed",
            counted(n, "entry", "entries")
        )
    } else {
        format!("{} added as drafts", counted(n, "entry", "entries"))
    });
    page.field("already there", &report.present.to_string());
    page.field("refused", &report.rejected.to_string());
    if n > 0 {
        page.field("new compounds", &report.added.compounds.to_string());
        page.field("new sources", &report.added.sources.to_string());
    }
    if report.doubted > 0 {
        page.field("with doubts", &counted(report.doubted, "entry", "entries"));
    }
    if !report.unknown_solvents.is_empty() {
        page.field(
            "unknown solvents",
            &format!("{} (kept as they are printed)", report.unknown_solvents.join("; ")),
        );
    }
    for file in &report.files {
        file_summary(file, page);
    }
    if !report.joined.is_empty() {
        joined(report, page);
    }
    if !report.refusals.is_empty() {
        refusals(report, page);
    }
    if !report.foreseen.is_empty() {
        foreseen(report, page);
    }
    if report.not_foreseen > 0 {
        page.note(&format!(
            "Only the first {MOST_FORESEEN} entries of a dry run are audited; biot audit looks at all after the import."
        ));
    }
    if let Some(label) = &report.label {
        page.gap();
        page.note(&format!("Recorded in the history as \"{label}\"."));
    }
}

fn file_summary(file: &FileReport, page: &mut Page) {
    page.heading(&file.file.display().to_string());
    page.field("read as", &read_as(&file.about));
    let mapped: Vec<String> = file
        .assignment
        .headings
        .iter()
        .zip(&file.assignment.columns)
        .filter_map(|(heading, assigned)| {
            let assigned = assigned.as_ref()?;
            let field = assigned.field.word();
            Some(match &assigned.heading.unit {
                Some(unit) => format!("{heading} → {field} in {unit}"),
                None if heading == field => field.to_owned(),
                None => format!("{heading} → {field}"),
            })
        })
        .collect();
    page.field("columns", &mapped.join("; "));
    if !file.assignment.unmapped.is_empty() {
        page.field(
            "not imported",
            &format!(
                "{} (map a column with --map COLUMN=FIELD)",
                file.assignment.unmapped.join("; ")
            ),
        );
    }
    if !file.assignment.left_out.is_empty() {
        page.field("left out", &file.assignment.left_out.join("; "));
    }
    page.field(
        "rows",
        &format!(
            "{} read, {} new, {} already there, {} refused",
            file.rows, file.added, file.present, file.rejected
        ),
    );
    if let Some(rejects) = &file.rejects {
        page.field(
            "rejects",
            &format!("{} (mend it and import it again)", rejects.display()),
        );
    }
}

fn read_as(about: &About) -> String {
    let mut parts = vec![about.format.as_str().to_owned()];
    if let Some(encoding) = about.encoding {
        let guessed = if about.encoding_guessed {
            ", guessed from the bytes"
        } else {
            ""
        };
        parts.push(format!("{encoding}{guessed}"));
    }
    if let Some(delimiter) = about.delimiter {
        parts.push(match delimiter {
            '\t' => "separated by tabs".to_owned(),
            ' ' => "separated by spaces".to_owned(),
            other => format!("separated by {other}"),
        });
    }
    if let Some(sheet) = &about.sheet {
        parts.push(format!("sheet \"{sheet}\""));
    }
    if let Some(line) = about.heading_line {
        parts.push(format!("headings in line {line}"));
    }
    parts.join("; ")
}

fn joined(report: &ImportReport, page: &mut Page) {
    page.heading("Joined to");
    let mut table = Table::new(&[
        Column::Number("compound"),
        Column::Text("name"),
        Column::Text("in the file"),
        Column::Number("rows"),
    ]);
    for joined in report.joined.iter().take(MOST_SHOWN) {
        let number = match (joined.is_new, joined.compound) {
            (true, None) => "new".to_owned(),
            (true, Some(id)) => format!("new {id}"),
            (false, id) => id.map(|id| id.to_string()).unwrap_or_default(),
        };
        let given = if joined.given == joined.name {
            String::new()
        } else {
            joined.given.clone()
        };
        table.row([number, joined.name.clone(), given, joined.rows.to_string()]);
    }
    page.table(&table);
    let beyond = report.joined_beyond + report.joined.len().saturating_sub(MOST_SHOWN) as u64;
    if beyond > 0 {
        page.note(&format!("and {} more", counted(beyond, "compound", "compounds")));
    }
}

fn refusals(report: &ImportReport, page: &mut Page) {
    page.heading("Refused");
    for refused in report.refusals.iter().take(MOST_SHOWN) {
        let column = refused
            .refusal
            .column
            .as_ref()
            .map(|column| format!(", column {column}"));
        let candidates = match candidates(refused) {
            names if names.is_empty() => String::new(),
            names => format!(": {}", names.join(", ")),
        };
        page.point(&format!(
            "{} line {}{}: {}{candidates}",
            refused.file.display(),
            refused.line,
            column.unwrap_or_default(),
            refused.refusal.reason,
        ));
    }
    let beyond = report
        .rejected
        .saturating_sub(report.refusals.len().min(MOST_SHOWN) as u64);
    if beyond > 0 {
        page.note(&format!("and {} more", counted(beyond, "row", "rows")));
    }
}

fn foreseen(report: &ImportReport, page: &mut Page) {
    page.heading("Findings, as they would be");
    for finding in report.foreseen.iter().take(MOST_FINDINGS) {
        let entries = finding.entries.iter().map(|entry| format!("#{entry}"));
        let about: Vec<String> = finding.rows.iter().cloned().chain(entries).collect();
        page.point(&format!(
            "{} ({}): {}",
            finding.compound_name,
            about.join(", "),
            finding.reason
        ));
    }
    let hidden = report.foreseen.len().saturating_sub(MOST_FINDINGS) as u64;
    if hidden > 0 {
        page.note(&format!("and {} more", counted(hidden, "finding", "findings")));
    }
}

fn candidates(refused: &RefusedRow) -> Vec<String> {
    refused
        .candidates
        .iter()
        .take(5)
        .map(|candidate| format!("{} (#{})", candidate.compound.name, candidate.compound.id))
        .collect()
}

fn counted(n: u64, one: &str, many: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { many })
}

/// The answer of `biot import --json`.
#[derive(Debug, Serialize)]
pub struct ImportJson<'a> {
    /// True when nothing was kept.
    dry_run: bool,
    /// The label in the history; null when nothing was added.
    batch: Option<&'a str>,
    /// Entries added, or that would be.
    added: u64,
    /// Compounds added.
    new_compounds: u64,
    /// Sources added.
    new_sources: u64,
    /// Rows already in the library.
    present: u64,
    /// Rows refused.
    rejected: u64,
    /// Entries added with a doubt.
    with_doubts: u64,
    /// Solvents kept as printed.
    unknown_solvents: &'a [String],
    /// The files.
    files: Vec<FileJson<'a>>,
    /// Compounds joined to; the first ones.
    joined: Vec<JoinedJson<'a>>,
    /// Compounds beyond those listed.
    joined_beyond: u64,
    /// Rows refused; the first ones.
    refused: Vec<RefusedJson<'a>>,
    /// What the audit finds of the entries that came in.
    findings: Vec<FindingJson>,
    /// What it would find of the first entries of a dry run, the gravest first.
    foreseen: Vec<ForeseenJson<'a>>,
    /// Entries of a dry run beyond those that were audited.
    not_foreseen: u64,
}

/// A finding about rows that are not in the library yet.
#[derive(Debug, Serialize)]
struct ForeseenJson<'a> {
    code: Code,
    severity: Severity,
    reason: &'a str,
    /// Number of the compound; null for a new one.
    compound: Option<i64>,
    compound_name: &'a str,
    /// The rows it is about.
    rows: &'a [String],
    /// Entries of the library it is about too.
    entries: Vec<i64>,
}

/// Most findings of an import that are written out.
const MOST_FINDINGS: usize = 20;

/// Writes what the audit finds of the entries that came in, the gravest first.
pub fn findings(findings: &[Flagged], page: &mut Page) {
    if findings.is_empty() {
        return;
    }
    page.heading("Findings");
    for finding in findings.iter().take(MOST_FINDINGS) {
        audit::one(&FindingJson::from(finding), page);
    }
    let hidden = findings.len().saturating_sub(MOST_FINDINGS);
    if hidden > 0 {
        page.note(&format!("{hidden} more are not listed; biot audit lists all."));
    }
}

/// A file.
#[derive(Debug, Serialize)]
struct FileJson<'a> {
    file: String,
    sha256: &'a str,
    format: &'static str,
    encoding: Option<&'static str>,
    encoding_guessed: bool,
    delimiter: Option<char>,
    sheet: Option<&'a str>,
    heading_line: Option<u64>,
    /// The field of each column that is used.
    columns: Vec<ColumnJson<'a>>,
    /// Columns whose meaning is not known.
    unmapped: &'a [String],
    /// Columns left out on purpose.
    left_out: &'a [String],
    rows: u64,
    added: u64,
    present: u64,
    rejected: u64,
    /// The file of refused rows.
    rejects: Option<String>,
}

#[derive(Debug, Serialize)]
struct ColumnJson<'a> {
    column: &'a str,
    field: &'static str,
    unit: Option<&'a str>,
}

#[derive(Debug, Serialize)]
struct JoinedJson<'a> {
    given: &'a str,
    compound: Option<i64>,
    name: &'a str,
    new: bool,
    rows: u64,
}

#[derive(Debug, Serialize)]
struct RefusedJson<'a> {
    file: String,
    line: u64,
    column: Option<&'a str>,
    field: Option<&'static str>,
    reason: &'a str,
    candidates: Vec<CandidateJson<'a>>,
}

#[derive(Debug, Serialize)]
struct CandidateJson<'a> {
    compound: i64,
    name: &'a str,
}

impl<'a> ImportJson<'a> {
    /// What an import did, with what the audit finds of the entries that came in.
    pub fn new(report: &'a ImportReport, findings: &[Flagged]) -> Self {
        Self {
            findings: findings.iter().map(FindingJson::from).collect(),
            foreseen: report.foreseen.iter().map(ForeseenJson::from).collect(),
            not_foreseen: report.not_foreseen,
            dry_run: report.is_trial,
            batch: report.label.as_deref(),
            added: report.added.entries,
            new_compounds: report.added.compounds,
            new_sources: report.added.sources,
            present: report.present,
            rejected: report.rejected,
            with_doubts: report.doubted,
            unknown_solvents: &report.unknown_solvents,
            files: report.files.iter().map(FileJson::from).collect(),
            joined: report
                .joined
                .iter()
                .map(|joined| JoinedJson {
                    given: &joined.given,
                    compound: joined.compound.map(|id| id.0),
                    name: &joined.name,
                    new: joined.is_new,
                    rows: joined.rows,
                })
                .collect(),
            joined_beyond: report.joined_beyond,
            refused: report.refusals.iter().map(RefusedJson::from).collect(),
        }
    }
}

impl<'a> From<&'a FileReport> for FileJson<'a> {
    fn from(file: &'a FileReport) -> Self {
        Self {
            file: file.file.display().to_string(),
            sha256: &file.digest,
            format: file.about.format.as_str(),
            encoding: file.about.encoding,
            encoding_guessed: file.about.encoding_guessed,
            delimiter: file.about.delimiter,
            sheet: file.about.sheet.as_deref(),
            heading_line: file.about.heading_line,
            columns: file
                .assignment
                .headings
                .iter()
                .zip(&file.assignment.columns)
                .filter_map(|(column, assigned)| {
                    let assigned = assigned.as_ref()?;
                    Some(ColumnJson {
                        column,
                        field: assigned.field.word(),
                        unit: assigned.heading.unit.as_deref(),
                    })
                })
                .collect(),
            unmapped: &file.assignment.unmapped,
            left_out: &file.assignment.left_out,
            rows: file.rows,
            added: file.added,
            present: file.present,
            rejected: file.rejected,
            rejects: file.rejects.as_ref().map(|path| path.display().to_string()),
        }
    }
}

impl<'a> From<&'a Foreseen> for ForeseenJson<'a> {
    fn from(finding: &'a Foreseen) -> Self {
        Self {
            code: finding.code,
            severity: finding.severity,
            reason: &finding.reason,
            compound: finding.compound.map(|id| id.0),
            compound_name: &finding.compound_name,
            rows: &finding.rows,
            entries: finding.entries.iter().map(|entry| entry.0).collect(),
        }
    }
}

impl<'a> From<&'a RefusedRow> for RefusedJson<'a> {
    fn from(refused: &'a RefusedRow) -> Self {
        Self {
            file: refused.file.display().to_string(),
            line: refused.line,
            column: refused.refusal.column.as_deref(),
            field: refused.refusal.field.map(crate::exchange::field::Field::word),
            reason: &refused.refusal.reason,
            candidates: refused
                .candidates
                .iter()
                .map(|candidate| CandidateJson {
                    compound: candidate.compound.id.0,
                    name: &candidate.compound.name,
                })
                .collect(),
        }
    }
}
