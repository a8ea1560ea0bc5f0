//! The `rollmark` program; see `src/cli` for what it does with its arguments.

mod cli;

use std::process::ExitCode;

fn main() -> ExitCode {
    cli::run(std::env::args_os())
}
