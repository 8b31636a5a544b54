//! What the templates are filled with, and how an answer becomes a response.

use super::app::App;
use super::fields::{CheckFields, StatementFields};
use super::guard::Visitor;
use crate::report::failure::{Candidate, Failure, Fault};
use crate::report::options::in_page_words;
use crate::report::result::{CauseRow, ReferenceRow};
use crate::tasks::accounts::Act;
use askama::Template;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};

/// What every page shows.
#[derive(Clone, Debug, Default)]
pub(super) struct Frame {
    /// The title.
    pub(super) title: String,
    /// The address of the part that is open, such as `/check`.
    pub(super) open: &'static str,
    /// The token of the browser's forms; empty when it may not write.
    pub(super) token: String,
    /// Why nothing may be written; empty when something may.
    pub(super) cannot_write: &'static str,
    /// The name of the account that is signed in; empty where there are no accounts.
    pub(super) signed_in: String,
}

impl Frame {
    pub(super) fn new(app: &App, visitor: &Visitor, title: impl Into<String>, open: &'static str) -> Self {
        Self {
            title: title.into(),
            open,
            token: visitor.form_token.clone().unwrap_or_default(),
            cannot_write: match &visitor.form_token {
                Some(_) => "",
                None if app.is_read_only() => "This server was started read-only: nothing can be stored.",
                None if visitor.account.is_some() => NOT_YOUR_ROLE,
                None => {
                    "This browser may read but not store. To store, open the second address that biot serve printed when \
                     it started."
                }
            },
            signed_in: visitor
                .account
                .as_ref()
                .map(|holder| holder.name.clone())
                .unwrap_or_default(),
        }
    }

    /// The same frame, without the token where a visitor may not do what the page's form does.
    pub(super) fn only(mut self, visitor: &Visitor, act: Act) -> Self {
        if !self.token.is_empty() && !visitor.may(act) {
            self.token.clear();
            self.cannot_write = NOT_YOUR_ROLE;
        }
        self
    }
}

const NOT_YOUR_ROLE: &str =
    "Your account may look at this but not store it. Whoever keeps the library can change its role.";

/// A link with its words.
#[derive(Clone, Debug, Default)]
pub(super) struct Link {
    pub(super) to: String,
    pub(super) words: String,
}

/// A table under a plot, or on its own.
#[derive(Clone, Debug, Default)]
pub(super) struct Grid {
    pub(super) caption: String,
    pub(super) heads: Vec<&'static str>,
    pub(super) rows: Vec<Vec<String>>,
}

/// A plot with the table of its numbers.
#[derive(Clone, Debug, Default)]
pub(super) struct Plot {
    pub(super) title: String,
    pub(super) svg: String,
    pub(super) grid: Grid,
}

/// What is wrong with a measurement.
#[derive(Clone, Debug, Default)]
pub(super) struct FlagRow {
    pub(super) severity: String,
    pub(super) code: String,
    pub(super) sentence: String,
}

impl From<&crate::measurement::Flag> for FlagRow {
    fn from(flag: &crate::measurement::Flag) -> Self {
        Self {
            severity: flag.severity.as_str().to_owned(),
            code: flag.code.clone(),
            sentence: flag.sentence.clone(),
        }
    }
}

/// A compound found.
#[derive(Clone, Debug, Default)]
pub(super) struct HitRow {
    pub(super) id: i64,
    pub(super) name: String,
    pub(super) matched: String,
    pub(super) formula: String,
    pub(super) values: usize,
    pub(super) signs: String,
    pub(super) range: String,
}

/// Search.
#[derive(Template, Default)]
#[template(path = "search.html", config = "src/web/askama.toml")]
pub(super) struct SearchPage {
    pub(super) frame: Frame,
    pub(super) text: String,
    pub(super) asked: bool,
    pub(super) notice: String,
    pub(super) hits: Vec<HitRow>,
    pub(super) holds: String,
}

/// An entry in a table.
#[derive(Clone, Debug, Default)]
pub(super) struct EntryRow {
    pub(super) id: i64,
    pub(super) value: String,
    pub(super) conditions: String,
    pub(super) standing: String,
    pub(super) source: usize,
}

/// A source.
#[derive(Clone, Debug, Default)]
pub(super) struct SourceRow {
    pub(super) number: usize,
    pub(super) citation: String,
    pub(super) doi: String,
    pub(super) entries: String,
}

/// A compound.
#[derive(Template, Default)]
#[template(path = "compound.html", config = "src/web/askama.toml")]
pub(super) struct CompoundPage {
    pub(super) frame: Frame,
    pub(super) id: i64,
    pub(super) name: String,
    pub(super) keys: Vec<(&'static str, String)>,
    pub(super) relatives: Vec<(&'static str, Vec<Link>)>,
    pub(super) plots: Vec<Plot>,
    /// The conditions that fewer than two values tell apart, in words.
    pub(super) not_drawn: String,
    pub(super) has_mirror_values: bool,
    pub(super) values: Vec<EntryRow>,
    pub(super) specifications: Vec<EntryRow>,
    pub(super) sources: Vec<SourceRow>,
}

/// The form of a check, with what was wrong in it.
#[derive(Template, Default)]
#[template(path = "check.html", config = "src/web/askama.toml")]
pub(super) struct CheckPage {
    pub(super) frame: Frame,
    pub(super) fields: CheckFields,
    pub(super) problem: Option<Problem>,
}

/// The result of a check.
#[derive(Template, Default)]
#[template(path = "result.html", config = "src/web/askama.toml")]
pub(super) struct ResultPage {
    pub(super) frame: Frame,
    /// Number of the kept measurement that is checked; 0 for a value that was typed.
    pub(super) measurement: i64,
    pub(super) compound: i64,
    pub(super) name: String,
    pub(super) code: String,
    pub(super) tone: &'static str,
    pub(super) sentence: String,
    pub(super) facts: Vec<(&'static str, String)>,
    pub(super) plot: Plot,
    pub(super) has_mirror: bool,
    pub(super) aspects: Vec<&'static str>,
    pub(super) references: Vec<ReferenceRow>,
    pub(super) causes: Vec<CauseRow>,
    pub(super) meanings: Vec<(String, String)>,
    pub(super) cautions: Vec<String>,
    pub(super) sources: Vec<SourceRow>,
    pub(super) reports: Vec<Link>,
    pub(super) journal: String,
    pub(super) fields: CheckFields,
    pub(super) budget: Grid,
}

/// A stretch of a text: a statement's number where one was found.
#[derive(Clone, Debug, Default)]
pub(super) struct Stretch {
    pub(super) text: String,
    pub(super) statement: Option<usize>,
}

/// A statement found in a text, to be looked at and stored.
#[derive(Clone, Debug, Default)]
pub(super) struct FoundRow {
    pub(super) number: usize,
    pub(super) printed: String,
    pub(super) sentence: String,
    pub(super) doubts: Vec<String>,
    pub(super) fields: StatementFields,
}

/// Reading a text.
#[derive(Template, Default)]
#[template(path = "read.html", config = "src/web/askama.toml")]
pub(super) struct ReadPage {
    pub(super) frame: Frame,
    pub(super) text: String,
    pub(super) stretches: Vec<Stretch>,
    pub(super) found: Vec<FoundRow>,
    pub(super) asked: bool,
    pub(super) who: String,
}

/// What was stored.
#[derive(Template, Default)]
#[template(path = "done.html", config = "src/web/askama.toml")]
pub(super) struct DonePage {
    pub(super) frame: Frame,
    pub(super) sentences: Vec<String>,
    pub(super) differences: Grid,
    pub(super) links: Vec<Link>,
}

/// An entry, to be looked at and mended.
#[derive(Template, Default)]
#[template(path = "entry.html", config = "src/web/askama.toml")]
pub(super) struct EntryPage {
    pub(super) frame: Frame,
    pub(super) id: i64,
    pub(super) revision: i64,
    pub(super) compound: Link,
    pub(super) source: String,
    pub(super) printed: String,
    pub(super) sentence: String,
    pub(super) standing: String,
    pub(super) doubts: Vec<String>,
    pub(super) fields: StatementFields,
    pub(super) who: String,
    pub(super) conflict: Grid,
    pub(super) history: Grid,
}

/// A draft that waits.
#[derive(Clone, Debug, Default)]
pub(super) struct WaitingRow {
    pub(super) entry: i64,
    pub(super) since: String,
    pub(super) by: String,
    pub(super) compound: String,
    pub(super) source: String,
    pub(super) place: String,
    pub(super) findings: String,
}

/// The drafts that wait.
#[derive(Template, Default)]
#[template(path = "review.html", config = "src/web/askama.toml")]
pub(super) struct ReviewPage {
    pub(super) frame: Frame,
    pub(super) drafts: u64,
    pub(super) waiting: Vec<WaitingRow>,
}

/// The form of a second keying. It is not given what was keyed first.
#[derive(Template, Default)]
#[template(path = "key.html", config = "src/web/askama.toml")]
pub(super) struct KeyPage {
    pub(super) frame: Frame,
    pub(super) entry: i64,
    pub(super) place: Vec<(&'static str, String)>,
    pub(super) text: String,
    pub(super) by: String,
    pub(super) problem: Option<Problem>,
}

/// A finding of the audit.
#[derive(Clone, Debug, Default)]
pub(super) struct FindingRow {
    pub(super) severity: &'static str,
    pub(super) code: &'static str,
    pub(super) compound: i64,
    pub(super) name: String,
    pub(super) entries: Vec<i64>,
    pub(super) reason: String,
}

/// What the audit found.
#[derive(Template, Default)]
#[template(path = "audit.html", config = "src/web/askama.toml")]
pub(super) struct AuditPage {
    pub(super) frame: Frame,
    pub(super) scope: String,
    pub(super) summary: Grid,
    pub(super) findings: Vec<FindingRow>,
    pub(super) hidden: usize,
}

/// Signing in.
#[derive(Template, Default)]
#[template(path = "sign_in.html", config = "src/web/askama.toml")]
pub(super) struct SignInPage {
    pub(super) frame: Frame,
    pub(super) name: String,
    pub(super) next: String,
    pub(super) problem: Option<Problem>,
}

/// One's own account.
#[derive(Template, Default)]
#[template(path = "account.html", config = "src/web/askama.toml")]
pub(super) struct AccountPage {
    pub(super) frame: Frame,
    pub(super) token: String,
    pub(super) role: &'static str,
    pub(super) duties: String,
    pub(super) tokens: Vec<String>,
    pub(super) least: usize,
    pub(super) problem: Option<Problem>,
}

/// An account of somebody.
#[derive(Clone, Debug, Default)]
pub(super) struct AccountRow {
    pub(super) name: String,
    pub(super) role: &'static str,
    pub(super) tokens: u32,
    pub(super) locked: String,
}

/// The accounts of others.
#[derive(Template, Default)]
#[template(path = "accounts.html", config = "src/web/askama.toml")]
pub(super) struct AccountsPage {
    pub(super) frame: Frame,
    pub(super) token: String,
    pub(super) roles: Vec<&'static str>,
    pub(super) accounts: Vec<AccountRow>,
}

/// Why there is no answer.
#[derive(Clone, Debug, Default)]
pub(super) struct Problem {
    pub(super) message: String,
    pub(super) hint: String,
    pub(super) candidates: Vec<CandidateRow>,
}

/// A compound that may have been meant.
#[derive(Clone, Debug, Default)]
pub(super) struct CandidateRow {
    pub(super) name: String,
    pub(super) descriptors: String,
    pub(super) signs: String,
    pub(super) values: usize,
    /// The same question about this compound; its page when there is none.
    pub(super) to: String,
}

#[derive(Template)]
#[template(path = "problem.html", config = "src/web/askama.toml")]
struct ProblemPage {
    frame: Frame,
    problem: Problem,
}

impl Problem {
    /// A failure, with an address for each candidate.
    pub(super) fn new(failure: &Failure, to: impl Fn(&Candidate) -> String) -> Self {
        Self {
            message: sentence(&in_page_words(&failure.message)),
            hint: (failure.hint.as_deref())
                .map(|hint| sentence(&in_page_words(hint)))
                .unwrap_or_default(),
            candidates: failure
                .candidates
                .iter()
                .map(|candidate| CandidateRow {
                    name: candidate.name.clone(),
                    descriptors: candidate.descriptors.join(", ").replace("(-)", "(\u{2212})"),
                    signs: signs(candidate.signs),
                    values: candidate.values,
                    to: to(candidate),
                })
                .collect(),
        }
    }
}

/// A sentence for people: with a capital letter and a full stop.
fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let first: String = letters.next().map(|c| c.to_uppercase().collect()).unwrap_or_default();
    format!("{first}{}.", letters.as_str().trim_end_matches('.'))
}

/// Signs as people read them.
pub(super) fn signs(signs: Option<&'static str>) -> String {
    match signs {
        Some("+-") => "+ and \u{2212}".to_owned(),
        Some("-") => "\u{2212}".to_owned(),
        Some(sign) => sign.to_owned(),
        None => String::new(),
    }
}

/// The status that fits a failure.
pub(super) fn status(failure: &Failure) -> StatusCode {
    match (failure.fault, failure.code) {
        (_, "unknown-compound" | "unknown-entry" | "unknown-record" | "not-found") => StatusCode::NOT_FOUND,
        (_, "revision-changed") => StatusCode::CONFLICT,
        (_, "form-token" | "not-started" | "library-read-only" | "role" | "sign-in") => StatusCode::FORBIDDEN,
        (_, "not-signed-in") => StatusCode::UNAUTHORIZED,
        (_, "rate") => StatusCode::TOO_MANY_REQUESTS,
        (_, "too-large") => StatusCode::PAYLOAD_TOO_LARGE,
        (_, "library-busy" | "busy") => StatusCode::SERVICE_UNAVAILABLE,
        (Fault::Compound, _) => StatusCode::UNPROCESSABLE_ENTITY,
        (Fault::Usage | Fault::ClosedPipe, _) => StatusCode::BAD_REQUEST,
        (Fault::Library, _) => StatusCode::INTERNAL_SERVER_ERROR,
    }
}

/// A failure as a response: the error object for programs, a page for people.
pub(super) fn problem(status: StatusCode, failure: &Failure, wants_json: bool) -> Response {
    if wants_json {
        return json(status, &failure.to_json());
    }
    let page = ProblemPage {
        frame: Frame {
            title: "No answer".to_owned(),
            ..Frame::default()
        },
        problem: Problem::new(failure, |candidate| format!("/compounds/{}", candidate.compound)),
    };
    html(status, &page)
}

/// A filled template as a response.
pub(super) fn html(status: StatusCode, page: &impl Template) -> Response {
    match page.render() {
        Ok(text) => (status, [(header::CONTENT_TYPE, "text/html; charset=utf-8")], text).into_response(),
        Err(_) => StatusCode::INTERNAL_SERVER_ERROR.into_response(),
    }
}

/// An object as a JSON response.
pub(super) fn json(status: StatusCode, object: &impl serde::Serialize) -> Response {
    match serde_json::to_vec_pretty(object) {
        Ok(mut bytes) => {
            bytes.push(b'\n');
            (status, [(header::CONTENT_TYPE, "application/json")], bytes).into_response()
        }
        Err(_) => StatusCode::INTERNAL_SERVER_ERROR.into_response(),
    }
}

/// A failure on its way to a page.
pub(super) struct PageFailure(pub(super) Failure);

impl<E: Into<Failure>> From<E> for PageFailure {
    fn from(error: E) -> Self {
        Self(error.into())
    }
}

impl IntoResponse for PageFailure {
    fn into_response(self) -> Response {
        problem(status(&self.0), &self.0, false)
    }
}
