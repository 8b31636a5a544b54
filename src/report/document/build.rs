//! Checks as documents, and what all documents share.

use super::{Block, Document, Grid, SetLine, SourceLine};
use crate::library::{KeptCheck, LibraryError};
use crate::notation::{self, Style};
use crate::quantity::Printed;
use crate::report::check::light;
use crate::report::number;
use crate::report::options::in_page_words;
use crate::report::result as rows;
use crate::report::svg;
use crate::solvent::Solvent;
use crate::tasks::check::{CheckResult, ReferenceShown};
use crate::tasks::measured::Measured;
use crate::tasks::report::{CheckReport, Input, Provenance};

/// What stands at the end of every report.
pub(super) const CARE: &str = "The answer is about the rotation alone: it cannot prove what is in the flask. Follow the safety data \
                    sheet, local rules and the official texts in force.";
/// The label of the line for the experimental part of a paper.
pub(super) const IN_PRINT: &str = "For the experimental part";

/// The report of a check. `given` is what was measured, for the journal line.
pub fn of_check(report: &CheckReport, given: Option<&Measured>, typed: Option<Printed>, made_on: &str) -> Document {
    let result = &report.result;
    let journal = given.map(|given| {
        let line = |style| rows::journal(given, typed, result, style);
        Block::Line {
            label: IN_PRINT.to_owned(),
            text: line(Style::Plain),
            // A solvent by a name of its own is free text, which the writer of statements leaves as it is.
            set: (!matches!(given.solvent, Some(Solvent::Other(_)))).then(|| SetLine {
                html: line(Style::Html),
                markdown: line(Style::Markdown),
                latex: line(Style::Latex),
            }),
        }
    });
    let facts = facts(report);
    let mut blocks = check_blocks(report, facts, journal);
    blocks.push(heading("Uncertainty of the measurement"));
    blocks.push(budget(rows::budget_rows(result)));
    blocks.push(Block::Paragraph { text: CARE.to_owned() });
    Document {
        title: result.compound.name.clone(),
        kind: "Check of a measured optical rotation".to_owned(),
        made_on: made_on.to_owned(),
        blocks,
        provenance: provenance(&report.provenance),
    }
}

pub(super) fn heading(text: &str) -> Block {
    Block::Heading { text: text.to_owned() }
}

pub(super) fn provenance(provenance: &Provenance) -> Vec<(String, String)> {
    let mut lines = vec![("Program".to_owned(), format!("biot {}", provenance.version))];
    if provenance.library_changes > 0 {
        lines.push((
            "Library".to_owned(),
            format!(
                "after change {}, state {}",
                provenance.library_changes, provenance.library_state
            ),
        ));
    }
    let inputs: Vec<String> = provenance.inputs.iter().map(input).collect();
    lines.push(("Inputs".to_owned(), inputs.join("; ")));
    lines.push((
        "Digest".to_owned(),
        format!("{} (SHA-256 over all of the above and the answer)", provenance.digest),
    ));
    lines
}

fn input(input: &Input) -> String {
    if input.value.is_empty() {
        input.name.clone()
    } else {
        format!("{} {}", input.name, input.value)
    }
}

fn owned(pairs: Vec<(&'static str, String)>) -> Vec<(String, String)> {
    pairs.into_iter().map(|(name, text)| (name.to_owned(), text)).collect()
}

/// A kept check as it was written then, with a remark where the library has changed since.
///
/// # Errors
/// `Stored` when what is kept cannot be read.
pub fn of_kept(kept: &KeptCheck, changes_since: u64) -> Result<Document, LibraryError> {
    let mut document: Document =
        serde_json::from_value(kept.content["document"].clone()).map_err(|error| LibraryError::Stored {
            what: "report",
            value: error.to_string(),
        })?;
    document.provenance.insert(
        0,
        (
            "Kept".to_owned(),
            format!("\"{}\", {} by {}", kept.name, kept.at, kept.who),
        ),
    );
    if !kept.is_intact {
        document.remark(
            "This record was changed outside the program after it was kept, so it is not the answer that was given then. Do \
             not rely on it: take it from a backup made before, or check again under a new name. biot history --verify looks \
             for other such records."
                .to_owned(),
        );
    }
    if changes_since > 0 {
        document.remark(format!(
            "This is the check as it was answered when it was kept. The library has changed since ({changes_since} \
             change{}): asked today, the answer may differ.",
            if changes_since == 1 { "" } else { "s" }
        ));
    }
    Ok(document)
}

/// What was said of sample and operator.
pub(super) fn labels(provenance: &Provenance) -> impl Iterator<Item = (String, String)> {
    [("sample", "Sample"), ("operator", "Measured by"), ("note", "Note")]
        .into_iter()
        .filter_map(|(name, label)| {
            let input = provenance.inputs.iter().find(|input| input.name == name)?;
            Some((label.to_owned(), input.value.clone()))
        })
}

/// What stands below the verdict.
pub(super) fn facts(report: &CheckReport) -> Vec<(String, String)> {
    let result = &report.result;
    let mut facts: Vec<(String, String)> = labels(&report.provenance).collect();
    facts.extend(
        owned(rows::facts(result))
            .into_iter()
            .map(|(name, text)| match name.as_str() {
                "Conditions" => (name, lowered_solvent(&text)),
                _ => (name, text),
            }),
    );
    facts.extend((result.compound.inchikey.as_ref()).map(|key| ("InChIKey".to_owned(), key.clone())));
    facts
}

/// Conditions with the digits of the solvent's formula lowered, as in the tables; the solvent stands first.
pub(super) fn lowered_solvent(conditions: &str) -> String {
    match conditions.split_once(", ") {
        Some((solvent, others)) => format!("{}, {others}", notation::lowered_digits(solvent)),
        None => notation::lowered_digits(conditions),
    }
}

/// Where the uncertainty comes from.
pub(super) fn budget(rows: Vec<Vec<String>>) -> Block {
    let [input, uncertainty, share] = rows::BUDGET_HEADS;
    let mut table = Grid::new(
        "Where the uncertainty comes from",
        &[input, uncertainty, &format!("#{share}")],
    );
    table.rows = rows;
    Block::Table {
        table,
        supporting: false,
    }
}

pub(super) fn check_blocks(report: &CheckReport, facts: Vec<(String, String)>, journal: Option<Block>) -> Vec<Block> {
    let result = &report.result;
    let mut blocks = vec![
        Block::Verdict {
            code: result.verdict.code.as_str().to_owned(),
            tone: rows::tone(result.verdict.code).to_owned(),
            sentence: result.verdict.sentence.clone(),
        },
        Block::Facts { rows: facts },
    ];
    let bars = rows::bars(result);
    let title = rows::bars_title(result);
    let mut numbers = Grid::new("The numbers of the drawing", &["row", "#value", "#95 % from", "#to"]);
    numbers.rows = bars.iter().map(rows::bar_row).collect();
    blocks.push(Block::Figure {
        svg: svg::number_line("number-line", &title, &rows::bars_axis(), &bars),
        title,
        table: numbers,
    });
    blocks.extend(journal);
    if !result.references.is_empty() {
        blocks.push(heading("Measured and published values"));
        blocks.push(Block::Table {
            table: literature(report),
            supporting: true,
        });
        blocks.push(Block::Sources {
            items: report
                .sources
                .iter()
                .map(|source| SourceLine {
                    citation: source.citation.clone(),
                    doi: source.doi.clone(),
                    entries: source
                        .entries
                        .iter()
                        .map(|entry| format!("#{entry}"))
                        .collect::<Vec<_>>()
                        .join(", "),
                })
                .collect(),
        });
        blocks.push(heading("Weights, and how the references differ"));
        blocks.push(Block::Table {
            table: differences(result),
            supporting: false,
        });
    }
    blocks.extend(explanations(result));
    blocks
}

/// Causes, meanings and cautions.
fn explanations(result: &CheckResult) -> Vec<Block> {
    let mut blocks = Vec::new();
    let causes = rows::causes(result);
    if !causes.is_empty() {
        blocks.push(heading("What may explain it"));
        let told = |(sentence, tell): &(String, String)| format!("{sentence} To tell: {tell}.");
        blocks.push(Block::Points {
            items: causes
                .iter()
                .map(|cause| match cause.members.as_slice() {
                    [one] => format!("{}: {}", cause.share, told(one)),
                    many => format!(
                        "{}: one of these, which this value alone cannot tell apart. {}",
                        cause.share,
                        many.iter().map(told).collect::<Vec<_>>().join(" Or: ")
                    ),
                })
                .collect(),
        });
    }
    let meanings: Vec<String> = (result.excess_check.iter().flat_map(|excess| &excess.meanings))
        .map(|meaning| format!("{} To tell: {}", meaning.sentence, meaning.how_to_tell))
        .collect();
    if !meanings.is_empty() {
        blocks.push(heading("What the difference between rotation and ee can mean"));
        blocks.push(Block::Points { items: meanings });
    }
    if !result.cautions.is_empty() {
        blocks.push(heading("Bear in mind"));
        blocks.push(Block::Points {
            items: result.cautions.iter().map(|said| in_page_words(said)).collect(),
        });
    }
    blocks
}

/// The comparison with the literature: this work first, then every reference, with the number of its source.
fn literature(report: &CheckReport) -> Grid {
    let result = &report.result;
    let name = &result.compound.name;
    let mut grid = Grid::new(
        &format!("Specific rotation of {name}, measured and published"),
        &[
            "",
            "#[α] / deg mL g⁻¹ dm⁻¹",
            "λ",
            "#T / °C",
            "#c / g per 100 mL",
            "solvent",
            "source",
        ],
    );
    let measured = &result.measured;
    let conditions = &measured.conditions;
    let row = |label: String, value: String, of: &crate::tasks::check::ConditionsShown, source: String| {
        let given = |value: Option<f64>| value.map_or_else(|| "–".to_owned(), number::short);
        let mut solvent = (of.solvent.as_deref()).map_or_else(|| "–".to_owned(), notation::lowered_digits);
        for more in [&of.form, &of.stage, &of.basis].into_iter().flatten() {
            solvent = format!("{solvent}, {more}");
        }
        vec![
            label,
            value,
            of.line.as_deref().map_or_else(|| "–".to_owned(), light),
            given(of.temperature_c),
            given(of.conc_g_per_100ml),
            solvent,
            source,
        ]
    };
    grid.rows.push(row(
        "this work".to_owned(),
        number::signed_with_uncertainty(measured.value, measured.standard_uncertainty),
        conditions,
        String::new(),
    ));
    for reference in &result.references {
        let source = (report.sources.iter()).position(|source| source.entries.contains(&reference.entry));
        grid.rows.push(row(
            format!("lit. #{}{}", reference.entry, if reference.used { "" } else { " †" }),
            published(reference),
            &reference.conditions,
            source.map_or_else(String::new, |at| format!("[{}]", at + 1)),
        ));
    }
    if result.references.iter().any(|reference| !reference.used) {
        grid.caption.push_str("; † not used");
    }
    grid
}

fn published(reference: &ReferenceShown) -> String {
    let value = reference.value.map_or_else(
        || reference.as_printed.clone(),
        |value| number::signed(value, if (value * 10.0).fract().abs() < 1e-9 { 1 } else { 2 }),
    );
    if reference.mirror_image {
        format!("{value} (mirror image)")
    } else {
        value
    }
}

fn differences(result: &CheckResult) -> Grid {
    let mut grid = Grid::new(
        "Each reference, its share in the pooled value, and what a difference in a condition may do to it (standard \
         deviation); = is the same, ? is not known",
        &["entry", "#weight"],
    );
    let references: Vec<rows::ReferenceRow> = result.references.iter().map(rows::reference_row).collect();
    // An aspect in which nothing differs has no column.
    let told: Vec<usize> = (0..rows::ASPECTS.len())
        .filter(|&at| {
            references
                .iter()
                .any(|row| !matches!(row.cells[at].words.as_str(), "" | "="))
        })
        .collect();
    for &at in &told {
        grid.columns.push(super::Head {
            text: rows::ASPECTS[at].1.to_owned(),
            number: false,
        });
    }
    grid.columns.push(super::Head {
        text: "note".to_owned(),
        number: false,
    });
    for row in references {
        let mut cells = vec![format!("#{}", row.entry), row.weight.clone()];
        cells.extend(told.iter().map(|&at| row.cells[at].words.clone()));
        cells.push(in_page_words(&row.note));
        grid.rows.push(cells);
    }
    grid.drop_empty_columns();
    grid
}
