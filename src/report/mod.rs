//! Results as text for people and as JSON for programs.
//!
//! [`Page`] is the text of one answer, wrapped to a width and styled with escape codes that the output stream drops
//! where they are not wanted. [`number`] writes numbers, [`Table`] and [`plot`] draw, and [`json`] holds the documented
//! shapes of `--json`. Nothing here decides anything about a rotation.

mod json_statement;
mod page;
mod table;

pub mod accounts;
pub mod audit;
pub mod batch;
pub mod care;
pub mod check;
pub mod compound;
pub mod control;
pub mod composition;
pub mod dispersion;
pub mod document;
pub mod entry;
pub mod identify;
pub mod failure;
pub mod import;
pub mod json;
pub mod limits;
pub mod measurements;
pub mod merge;
pub mod number;
pub mod options;
pub mod plan;
pub mod plot;
pub mod read;
pub mod register;
pub mod reduce;
pub mod result;
pub mod review;
pub mod search;
pub mod selfcheck;
pub mod share;
pub mod timecourse;
pub mod svg;
pub mod use_log;

pub use page::{Page, truncate, wrap};
pub use table::{Column, Table};
