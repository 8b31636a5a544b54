//! `biot info`: which program, which library, and what it holds.

use super::{Failure, Outcome, Session};
use crate::library::Access;
use crate::report::{self, json::InfoJson};
use crate::tasks::care;
use clap::Args;

/// Arguments of `biot info`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    biot info                           versions, place of the library, counts\n  \
    biot info --json --library group.biot\n  \
    biot info --check                   also checks every page, reference and line of the history")]
pub struct InfoArguments {
    /// Check every page, reference and line of the history; reads the whole file
    #[arg(long)]
    pub check: bool,
}
