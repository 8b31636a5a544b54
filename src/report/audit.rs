//! Findings of an audit: a summary by kind, then each with its reason; the same as JSON.

use super::Page;
use super::table::{Column, Table};
use crate::audit::{Code, Severity};
use crate::tasks::audit::{Flagged, Scope};
use serde::Serialize;

/// The answer of `biot audit`.
#[derive(Clone, Debug, Serialize)]
pub struct AuditJson {
    /// What was gone over.
    pub scope: ScopeJson,
    /// How many findings there are of each kind, gravest first.
    pub summary: Vec<CountJson>,
    /// Findings that nobody has accepted, after the filters.
    pub open: usize,
    /// Findings that somebody has accepted, after the filters.
    pub accepted: usize,
    /// The findings, gravest first; accepted ones only where they are asked for.
    pub findings: Vec<FindingJson>,
}

/// What an audit went over.
#[derive(Clone, Debug, Serialize)]
pub struct ScopeJson {
    /// Compounds with entries.
    pub compounds: u64,
    /// Entries, without withdrawn ones.
    pub entries: u64,
    /// Entries among them that are kept out of pooling.
    pub kept_out: u64,
}

/// How many findings there are of one kind and severity.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CountJson {
    /// Kind.
    pub code: Code,
    /// What it means.
    pub meaning: &'static str,
    /// Severity.
    pub severity: Severity,
    /// Findings that nobody has accepted.
    pub open: usize,
    /// Findings that somebody has accepted.
    pub accepted: usize,
}

/// A finding.
#[derive(Clone, Debug, Serialize)]
pub struct FindingJson {
    /// Stable id; it changes when an entry does.
    pub finding: String,
    /// Kind.
    pub code: Code,
    /// Severity.
    pub severity: Severity,
    /// Why, in a sentence.
    pub reason: String,
    /// Number of the compound.
    pub compound: i64,
    /// Its name.
    pub compound_name: String,
    /// Numbers of the entries it is about.
    pub entries: Vec<i64>,
    /// Their stable ids.
    pub entry_uids: Vec<String>,
    /// Numbers of the entries it rests on.
    pub against: Vec<i64>,
    /// Who accepted it, when and why; null when it is open.
    pub accepted: Option<AcceptedJson>,
}

/// The acceptance of a finding.
#[derive(Clone, Debug, Serialize)]
pub struct AcceptedJson {
    /// Who.
    pub who: String,
    /// When, RFC 3339 in UTC.
    pub at: String,
    /// Why.
    pub why: String,
}

impl From<&Flagged> for FindingJson {
    fn from(flagged: &Flagged) -> Self {
        Self {
            finding: flagged.id.clone(),
            code: flagged.code,
            severity: flagged.severity,
            reason: flagged.reason.clone(),
            compound: flagged.compound.0,
            compound_name: flagged.compound_name.clone(),
            entries: flagged.entries.iter().map(|entry| entry.0).collect(),
            entry_uids: flagged.entry_uids.clone(),
            against: flagged.against.iter().map(|entry| entry.0).collect(),
            accepted: flagged.accepted.as_ref().map(|accepted| AcceptedJson {
                who: accepted.who.clone(),
                at: accepted.at.clone(),
                why: accepted.why.clone(),
            }),
        }
    }
}

impl AuditJson {
    /// Makes the answer; accepted findings are counted, and listed when `list_accepted`.
    pub fn new(scope: Scope, mut found: Vec<Flagged>, list_accepted: bool) -> Self {
        found.sort_by(|a, b| {
            (b.severity.cmp(&a.severity))
                .then(a.code.cmp(&b.code))
                .then(a.compound.cmp(&b.compound))
                .then(a.entries.cmp(&b.entries))
        });
        let n_accepted = found.iter().filter(|flagged| flagged.accepted.is_some()).count();
        let summary = summary(&found);
        Self {
            scope: ScopeJson {
                compounds: scope.compounds,
                entries: scope.entries,
                kept_out: scope.kept_out,
            },
            summary,
            open: found.len() - n_accepted,
            accepted: n_accepted,
            findings: found
                .iter()
                .filter(|flagged| list_accepted || flagged.accepted.is_none())
                .map(FindingJson::from)
                .collect(),
        }
    }
}

/// How many findings there are of each kind and severity, gravest first.
pub fn summary(found: &[Flagged]) -> Vec<CountJson> {
    let mut counts: Vec<CountJson> = Vec::new();
    for flagged in found {
        let known = counts
            .iter_mut()
            .find(|count| count.code == flagged.code && count.severity == flagged.severity);
        let accepted = usize::from(flagged.accepted.is_some());
        match known {
            Some(count) => {
                count.open += 1 - accepted;
                count.accepted += accepted;
            }
            None => counts.push(CountJson {
                code: flagged.code,
                meaning: flagged.code.meaning(),
                severity: flagged.severity,
                open: 1 - accepted,
                accepted,
            }),
        }
    }
    counts.sort_by(|a, b| b.severity.cmp(&a.severity).then(a.code.cmp(&b.code)));
    counts
}

/// Writes the summary, and at most `most` findings.
pub fn show(audit: &AuditJson, most: usize, page: &mut Page) {
    page.paragraph(&format!(
        "Audited: {} of {}. Kept out of pooling, so that their values are not judged again: {}.",
        count(audit.scope.entries, "entry", "entries"),
        count(audit.scope.compounds, "compound", "compounds"),
        audit.scope.kept_out
    ));
    if audit.open + audit.accepted == 0 {
        page.paragraph("Nothing suspicious was found.");
        return;
    }
    page.gap();
    let mut table = Table::new(&[
        Column::Word("severity"),
        Column::Word("finding"),
        Column::Number("open"),
        Column::Number("accepted"),
        Column::Text("meaning"),
    ]);
    for count in &audit.summary {
        table.row([
            count.severity.as_str().to_owned(),
            count.code.as_str().to_owned(),
            count.open.to_string(),
            if count.accepted > 0 {
                count.accepted.to_string()
            } else {
                String::new()
            },
            count.meaning.to_owned(),
        ]);
    }
    page.table(&table);
    let mut last = None;
    for finding in audit.findings.iter().take(most) {
        if last != Some((finding.code, finding.severity)) {
            page.heading(&format!("{} ({})", finding.code.as_str(), finding.severity.as_str()));
            last = Some((finding.code, finding.severity));
        }
        one(finding, page);
    }
    let hidden = audit.findings.len().saturating_sub(most);
    if hidden > 0 {
        page.gap();
        page.note(&format!(
            "{hidden} more findings are not listed; --limit 0 lists all, --severity and --code choose, and so does naming \
             a compound."
        ));
    }
}

fn count(n: u64, one: &str, many: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { many })
}

/// Writes one finding.
pub fn one(finding: &FindingJson, page: &mut Page) {
    let entries: Vec<String> = finding.entries.iter().map(|entry| format!("#{entry}")).collect();
    page.point(&format!(
        "{} {} ({}): {}",
        finding.finding,
        finding.compound_name,
        entries.join(", "),
        finding.reason
    ));
    if let Some(accepted) = &finding.accepted {
        page.note(&format!(
            "    accepted by {} on {}: {}",
            accepted.who,
            accepted.at.get(..10).unwrap_or(&accepted.at),
            accepted.why
        ));
    }
}
