//! The `biot` program: runs the command line on the arguments of the process and gives its exit code.

use std::process::ExitCode;

fn main() -> ExitCode {
    biot::cli::run(std::env::args_os())
}
