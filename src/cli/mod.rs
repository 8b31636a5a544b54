//! The command line: one file per command, with the arguments and their help on top and one function below.
//!
//! Streams and exit codes are a contract. Results go to standard output; with `--json` it holds JSON only, errors
//! included. Notices, warnings and progress go to standard error. Nothing asks a question without a terminal. Exit
//! codes: 0 an answer was given, whatever it says; 2 bad usage or input; 3 the compound is unknown or ambiguous; 4 the
//! library cannot be opened or written; 5 done, with rejected rows or findings. Start reading at [`run`].

mod account;
mod add;
pub mod args;
mod audit;
mod backup;
mod batch;
mod calibrate;
mod change;
mod check;
mod choose;
mod completions;
mod composition;
mod confirm;
mod control;
mod dispersion;
mod edit;
mod effects;
mod export;
mod identify;
mod import;
mod history;
mod info;
mod limits;
mod log;
mod measured;
mod measurements;
mod merge;
mod plan;
mod question;
mod read;
mod reduce;
mod reading;
mod register;
mod report;
mod restore;
mod review;
mod search;
mod selfcheck;
mod serve;
mod session;
mod show;
mod statement;
mod sugar;
mod take;
mod timecourse;
mod undo;
mod withdraw;

pub use crate::report::failure::{Candidate, Failure, Fault};
pub use session::{Color, Manner, Session};

use crate::report::failure;
use clap::error::ErrorKind;
use clap::{Args, CommandFactory, FromArgMatches, Parser, Subcommand};
use std::ffi::OsString;
use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

/// A local library of published optical rotations, and a checker of measured ones.
#[derive(Debug, Parser)]
#[command(
    name = "biot",
    version,
    subcommand_required = true,
    disable_help_subcommand = true,
    disable_help_flag = true,
    max_term_width = 110,
    after_help = "Exit codes: 0 answered · 2 bad usage or input · 3 compound unknown or ambiguous · 4 library cannot be \
                  opened or written · 5 done, with rejected rows or findings"
)]
pub struct Arguments {
    /// What every command understands.
    #[command(flatten)]
    pub global: Global,
    /// The command.
    #[command(subcommand)]
    pub command: Command,
}

/// Options of every command.
#[derive(Clone, Debug, Args)]
#[command(next_help_heading = "Options of every command")]
pub struct Global {
    /// Library file; the default is $BIOT_LIBRARY, or a file in the user's data folder (biot info shows it)
    #[arg(long, global = true, value_name = "FILE")]
    pub library: Option<PathBuf>,
    /// Print the result as JSON, and errors too
    #[arg(long, global = true)]
    pub json: bool,
    /// No notices and no progress
    #[arg(short, long, global = true)]
    pub quiet: bool,
    /// When to use colour and bold
    #[arg(long, global = true, value_name = "WHEN", default_value = "auto")]
    pub color: Color,
    /// Print help
    #[arg(short, long, global = true, action = clap::ArgAction::HelpShort)]
    pub help: Option<bool>,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Check a measured rotation against published values
    Check(Box<check::CheckArguments>),
    /// Hold a measurement or a series of batches against the limits of a monograph
    Limits(Box<limits::LimitsArguments>),
    /// Tell the composition of a two-component mixture from its rotation
    Composition(composition::CompositionArguments),
    /// Calibrate rotation against enantiomeric excess, and read an excess off the curve
    Calibrate(calibrate::CalibrateArguments),
    /// Fit rotation against wavelength, and convert between lines
    Dispersion(dispersion::DispersionArguments),
    /// Follow the change of an angle with time
    Timecourse(timecourse::TimecourseArguments),
    /// Turn readings into a specific rotation with its uncertainty, and say what is wrong with them
    Reduce(Box<reduce::ReduceArguments>),
    /// Find compounds whose published values fit a measured rotation
    Identify(Box<identify::IdentifyArguments>),
    /// Write a check, a measurement or a dispersion table as a report: HTML, Markdown, LaTeX
    Report(Box<report::ReportArguments>),
    /// List the measurements kept here, or show one with its readings
    Measurements(measurements::MeasurementsArguments),
    /// Plan a measurement: conditions, cell and sample that make it comparable
    Plan(Box<plan::PlanArguments>),
    /// Find compounds by name, number, formula or DOI
    Search(search::SearchArguments),
    /// Show everything the library knows of a compound
    Show(show::ShowArguments),
    /// Read the rotations printed in a text
    Read(read::ReadArguments),
    /// Add a printed value or a specification
    Add(Box<add::AddArguments>),
    /// Import values from tables, spreadsheets, JSON Lines, CIF or printed text
    Import(Box<import::ImportArguments>),
    /// Mend an entry
    Edit(Box<edit::EditArguments>),
    /// Confirm a draft after a second look
    Confirm(confirm::ConfirmArguments),
    /// Take an entry out of use, with a reason
    Withdraw(withdraw::WithdrawArguments),
    /// List drafts, or key one a second time without seeing the first keying
    Review(Box<review::ReviewArguments>),
    /// Make two compounds of the library one
    Merge(merge::MergeArguments),
    /// Write entries to a file: CSV, XLSX, CIF, JSON Lines, or a bundle for another library
    Export(export::ExportArguments),
    /// Take in a bundle from another library
    Take(take::TakeArguments),
    /// Find what in the library is probably wrong
    Audit(audit::AuditArguments),
    /// Hold the model against the library itself: predict each value from other sources
    Selfcheck(selfcheck::SelfCheckArguments),
    /// Re-estimate from the library how much each condition moves a rotation
    Effects(effects::EffectsArguments),
    /// Register instruments, cells, presets and control standards, and lend them
    Register(Box<register::RegisterArguments>),
    /// Check an instrument against a control standard, and see its chart
    Control(control::ControlArguments),
    /// Show who used which instrument, and when
    Log(log::LogArguments),
    /// Put an angle on the international sugar scale
    Sugar(sugar::SugarArguments),
    /// Show who changed what, when and why
    History(history::HistoryArguments),
    /// Take back the last import
    Undo(undo::UndoArguments),
    /// Make a verified copy of the library
    Backup(backup::BackupArguments),
    /// Put a backup in the place of the library
    Restore(restore::RestoreArguments),
    /// Accounts for a library that is served to others
    Account(account::AccountArguments),
    /// Serve pages for a browser, and a JSON interface, on this machine
    Serve(serve::ServeArguments),
    /// Show versions, the place of the library, and what it holds
    Info(info::InfoArguments),
    /// Print a completion script for a shell
    Completions(completions::CompletionsArguments),
}

/// How a command ended that gave its answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// The answer was given.
    Answered,
    /// The job was done, with rejected rows or findings.
    WithFindings,
}

/// Runs the program on the arguments of a process (the first is the program's name) and gives the exit code.
pub fn run(arguments: impl IntoIterator<Item = OsString>) -> ExitCode {
    let typed: Vec<OsString> = arguments.into_iter().collect();
    let parsed = command()
        .try_get_matches_from(&typed)
        .and_then(|matches| Arguments::from_arg_matches(&matches));
    let code = match parsed {
        Ok(arguments) => {
            let global = &arguments.global;
            let mut session = Session::new(Manner {
                library: global.library.clone(),
                json: global.json,
                quiet: global.quiet,
                color: global.color,
            });
            match dispatch(&arguments, &mut session) {
                Ok(Outcome::Answered) => failure::ANSWERED,
                Ok(Outcome::WithFindings) => failure::WITH_FINDINGS,
                Err(failure) => {
                    session.report(&failure);
                    failure.fault.exit_code()
                }
            }
        }
        Err(error) => usage_error(&error, &typed),
    };
    ExitCode::from(code)
}

/// The definition of the command line, from which help, errors and completions come.
pub fn command() -> clap::Command {
    Arguments::command()
}

fn dispatch(arguments: &Arguments, session: &mut Session) -> Result<Outcome, Failure> {
    match &arguments.command {
        Command::Check(arguments) => check::run(arguments, session),
        Command::Limits(arguments) => limits::run(arguments, session),
        Command::Composition(arguments) => composition::run(arguments, session),
        Command::Calibrate(arguments) => calibrate::run(arguments, session),
        Command::Dispersion(arguments) => dispersion::run(arguments, session),
        Command::Timecourse(arguments) => timecourse::run(arguments, session),
        Command::Reduce(arguments) => reduce::run(arguments, session),
        Command::Identify(arguments) => identify::run(arguments, session),
        Command::Report(arguments) => report::run(arguments, session),
        Command::Measurements(arguments) => measurements::run(arguments, session),
        Command::Plan(arguments) => plan::run(arguments, session),
        Command::Search(arguments) => search::run(arguments, session),
        Command::Show(arguments) => show::run(arguments, session),
        Command::Read(arguments) => read::run(arguments, session),
        Command::Add(arguments) => add::run(arguments, session),
        Command::Import(arguments) => import::run(arguments, session),
        Command::Edit(arguments) => edit::run(arguments, session),
        Command::Confirm(arguments) => confirm::run(arguments, session),
        Command::Withdraw(arguments) => withdraw::run(arguments, session),
        Command::Review(arguments) => review::run(arguments, session),
        Command::Merge(arguments) => merge::run(arguments, session),
        Command::Export(arguments) => export::run(arguments, session),
        Command::Take(arguments) => take::run(arguments, session),
        Command::Audit(arguments) => audit::run(arguments, session),
        Command::Selfcheck(arguments) => selfcheck::run(arguments, session),
        Command::Effects(arguments) => effects::run(arguments, session),
        Command::Register(arguments) => register::run(arguments, session),
        Command::Control(arguments) => control::run(arguments, session),
        Command::Log(arguments) => log::run(arguments, session),
        Command::Sugar(arguments) => sugar::run(arguments, session),
        Command::History(arguments) => history::run(arguments, session),
        Command::Undo(arguments) => undo::run(arguments, session),
        Command::Backup(arguments) => backup::run(arguments, session),
        Command::Restore(arguments) => restore::run(arguments, session),
        Command::Account(arguments) => account::run(arguments, session),
        Command::Serve(arguments) => serve::run(arguments, session),
        Command::Info(arguments) => info::run(arguments, session),
        Command::Completions(arguments) => completions::run(arguments, session),
    }
}

/// Shows help, the version, or what is wrong with the arguments. With `--json` among them an error is a JSON object.
fn usage_error(error: &clap::Error, typed: &[OsString]) -> u8 {
    let is_answer = matches!(error.kind(), ErrorKind::DisplayHelp | ErrorKind::DisplayVersion);
    let wants_json = typed
        .iter()
        .take_while(|word| *word != "--")
        .any(|word| word == "--json");
    if wants_json && !is_answer {
        let text = error.render().to_string();
        let message = text.split("\n\nUsage:").next().unwrap_or(&text);
        let message = message
            .trim_start_matches("error: ")
            .split("\n\nFor more")
            .next()
            .unwrap_or(message);
        let message = message.split_whitespace().collect::<Vec<_>>().join(" ");
        let mut session = Session::new(Manner {
            json: true,
            ..Manner::default()
        });
        let failure = Failure::usage("usage", message).hint("biot --help, or biot COMMAND --help, shows the usage");
        session.report(&failure);
        return failure.fault.exit_code();
    }
    // A closed pipe behind a help text is no error.
    if error.kind() == ErrorKind::MissingSubcommand {
        let _ = writeln!(anstream::stderr(), "{}", command().render_help().ansi());
    } else {
        let _ = error.print();
    }
    if is_answer {
        failure::ANSWERED
    } else {
        Fault::Usage.exit_code()
    }
}
