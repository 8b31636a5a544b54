//! `biot completions`: a completion script for a shell.

use super::{Failure, Outcome, Session};
use clap::Args;
use clap_complete::Shell;

/// Arguments of `biot completions`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    biot completions bash > ~/.local/share/bash-completion/completions/biot\n  \
    biot completions fish > ~/.config/fish/completions/biot.fish")]
pub struct CompletionsArguments {
    /// The shell
    pub shell: Shell,
}

/// Prints the script.
pub fn run(arguments: &CompletionsArguments, session: &mut Session) -> Result<Outcome, Failure> {
    let mut script = Vec::new();
    clap_complete::generate(arguments.shell, &mut super::command(), "biot", &mut script);
    session.raw(&script)?;
    Ok(Outcome::Answered)
}
