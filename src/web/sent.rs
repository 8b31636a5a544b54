//! Forms that may bring a table, as a file or as a text.

use super::app::App;
use super::fields::form;
use super::upload::{Upload, receive};
use crate::report::failure::Failure;
use axum::body::Body;
use axum::http::{HeaderMap, header};
use serde::de::DeserializeOwned;
use serde::de::value::{Error, MapDeserializer};
use std::io::Write;
use std::path::Path;
use tempfile::NamedTempFile;

/// The field of a form in which a table is sent.
const FILE: &str = "file";

/// A table that was sent.
pub(super) enum Table {
    /// As a text, in a file of its own for as long as it is read.
    Text(NamedTempFile),
    /// As a file.
    File(Upload),
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

    /// The table of a form: its file, or else its text where there is any.
    ///
    /// # Errors
    /// When the text cannot be kept while it is read.
    pub(super) fn of(file: Option<Self>, text: &str) -> Result<Option<Self>, Failure> {
        match file {
            None if !text.trim().is_empty() => Self::of_text(text).map(Some),
            file => Ok(file),
        }
    }

    /// Where it lies.
    pub(super) fn path(&self) -> &Path {
        match self {
            Self::Text(kept) => kept.path(),
            Self::File(upload) => upload.file(FILE).map_or(Path::new(""), |file| &file.path),
        }
    }

    /// What its sender calls it.
    pub(super) fn name(&self) -> &str {
        match self {
            Self::Text(_) => "Pasted rows",
            Self::File(upload) => upload.file(FILE).map_or("the file", |file| &file.name),
        }
    }

    /// A failure that names the table as its sender knows it, not where it lies here.
    pub(super) fn in_words(&self, mut failure: Failure) -> Failure {
        match self {
            Self::File(upload) => upload.in_words(failure),
            Self::Text(kept) => {
                let path = kept.path().display().to_string();
                for text in std::iter::once(&mut failure.message)
                    .chain(&mut failure.place)
                    .chain(&mut failure.hint)
                {
                    *text = text.replace(&path, "the text");
                }
                failure
            }
        }
    }
}

/// The fields of a form, and the table that came as its file where one was chosen.
///
/// # Errors
/// When it is no form, or too large.
pub(super) async fn sent<T: DeserializeOwned>(
    app: &App,
    headers: &HeaderMap,
    body: Body,
) -> Result<(T, Option<Table>), Failure> {
    let has_files = headers
        .get(header::CONTENT_TYPE)
        .and_then(|kind| kind.to_str().ok())
        .is_some_and(|kind| kind.starts_with("multipart/form-data"));
    if !has_files {
        return Ok((form(body).await?, None));
    }
    let upload = receive(app, headers, body).await?;
    let pairs = upload
        .fields()
        .iter()
        .map(|(name, text)| (name.as_str(), text.as_str()));
    let fields = T::deserialize(MapDeserializer::<_, Error>::new(pairs))
        .map_err(|error| Failure::usage("form", format!("the form cannot be read: {error}")))?;
    let has_table = upload.file(FILE).is_some();
    Ok((fields, has_table.then_some(Table::File(upload))))
}
