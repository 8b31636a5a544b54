//! Forms that may bring a file, and texts that are read as one.

use super::app::App;
use super::fields::form;
use crate::report::failure::Failure;
use axum::body::Body;
use axum::http::HeaderMap;
use serde::de::DeserializeOwned;
use std::io::Write;
use std::path::Path;
use tempfile::NamedTempFile;

/// A table that was sent, as a file or as a text.
pub(super) enum Table {
    /// A text, in a file of its own for as long as it is read.
    Text(NamedTempFile),
}

impl Table {
    /// A text as a table with delimiters.
    ///
    /// # Errors
    /// When it cannot be kept while it is read.
    pub(super) fn of_text(text: &str) -> Result<Self, Failure> {
        let failed = |error: &std::io::Error| Failure::library("file", format!("the text cannot be kept: {error}"));
        let mut kept = tempfile::Builder::new()
            .suffix(".csv")
            .tempfile()
            .map_err(|error| failed(&error))?;
        kept.write_all(text.as_bytes())
            .and_then(|()| kept.flush())
            .map_err(|error| failed(&error))?;
        Ok(Self::Text(kept))
    }

    /// Where it lies.
    pub(super) fn path(&self) -> &Path {
        match self {
            Self::Text(kept) => kept.path(),
        }
    }

    /// A failure that names the table as its sender knows it, not where it lies here.
    pub(super) fn in_words(&self, mut failure: Failure) -> Failure {
        let path = self.path().display().to_string();
        let renamed = |text: &str| text.replace(&path, self.name());
        failure.message = renamed(&failure.message);
        failure.place = failure.place.as_deref().map(renamed);
        failure.hint = failure.hint.as_deref().map(renamed);
        failure
    }

    fn name(&self) -> &'static str {
        match self {
            Self::Text(_) => "the text",
        }
    }
}

/// The fields of a form, and the file that came in the field `file` where one was chosen.
///
/// # Errors
/// When it is no form, or too large.
pub(super) async fn sent<T: DeserializeOwned>(
    _app: &App,
    _headers: &HeaderMap,
    body: Body,
) -> Result<(T, Option<Table>), Failure> {
    Ok((form(body).await?, None))
}
