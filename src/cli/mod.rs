//! The command line, a part of the binary: the library never sees it.
//!
//! - `args`: what was typed, and the help
//! - `settings`: what was meant, checked
//! - `read`, `card`, `rehearse`: one file per command
//! - `handing`: what `read` and `card` do with clips once they are read
//! - `pages`: manual pages and completions, made from `args`
//! - `memory`: what is free, kept between frames and given back between clips
//! - `names`: what the files of one clip are called in an output folder
//! - `table`: outcomes for people
//! - `bars`: progress, on standard error, on a terminal
//!
//! Results go to standard output, messages to standard error.

mod args;
mod bars;
mod card;
mod handing;
mod memory;
mod names;
mod pages;
mod read;
mod rehearse;
mod settings;
mod table;

use args::{Args, Command};
use clap::{CommandFactory, Parser};
use rollmark::error::{Error, ErrorKind, Result};
use rollmark::note::is_obeyed;
use std::ffi::OsString;
use std::io::{self, Write};
use std::process::ExitCode;

/// How a run ended. The numbers are part of the command line's contract.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Status {
    /// Everything was done, and no clip needs a look.
    Fine = 0,
    /// A clip is unsure or failed, there was none, a correction of one is of no use, one lacks a file
    /// or a place that was asked for, or files of an earlier run do not hold any more.
    NeedsALook = 1,
    /// Something asked for could not be done: bad arguments, no place to write.
    CouldNotRun = 2,
}

/// Runs the program with `args`, the program's name first.
pub fn run(args: impl IntoIterator<Item = OsString>) -> ExitCode {
    let args = match Args::try_parse_from(args) {
        Ok(args) => args,
        Err(usage) => {
            // Help goes to standard output, complaints to standard error.
            let printed = usage.print().and_then(|()| io::stdout().flush());
            if usage.use_stderr() {
                return exit_code(Status::CouldNotRun);
            }
            return ended(is_read(printed).map(|_| Status::Fine));
        }
    };
    rollmark::fault::keep_off_the_screen();
    memory::keep();
    let done = match args.command {
        _ if args.version => print_version(),
        Some(Command::Read(args)) => {
            settings::ReadSettings::resolve(args).and_then(|settings| read::run(&settings))
        }
        Some(Command::Card(args)) => {
            settings::CardSettings::resolve(args).and_then(|settings| card::run(&settings))
        }
        Some(Command::Rehearse(args)) => rehearse::run(&args),
        Some(Command::Manual(args)) => pages::manual(&args),
        Some(Command::Completions(args)) => pages::completions(&args),
        None => {
            let _ = write!(io::stderr(), "{}", Args::command().render_help());
            Ok(Status::CouldNotRun)
        }
    };
    ended(done)
}

fn ended(done: Result<Status>) -> ExitCode {
    exit_code(done.unwrap_or_else(|error| {
        remark(&complaint(&error));
        Status::CouldNotRun
    }))
}

/// Writes results to standard output. `false` if the reader has gone, as `head` does when it
/// has enough.
///
/// # Errors
/// [`ErrorKind::CannotWrite`] for any other reason.
fn print(bytes: &[u8]) -> Result<bool> {
    let mut stdout = io::stdout().lock();
    is_read(stdout.write_all(bytes).and_then(|()| stdout.flush()))
}

/// As [`print`], of what was written there.
fn is_read(written: io::Result<()>) -> Result<bool> {
    match written {
        Err(e) if e.kind() == io::ErrorKind::BrokenPipe => Ok(false),
        Ok(()) => Ok(true),
        Err(e) => Err(
            Error::new(ErrorKind::CannotWrite, "cannot write to standard output")
                .next("look where it leads to, for example for a full disk")
                .because(e),
        ),
    }
}

fn exit_code(status: Status) -> ExitCode {
    ExitCode::from(status as u8)
}

/// What went wrong, as a line for standard error.
fn complaint(error: &Error) -> String {
    format!("rollmark: {}", plain(&error.to_string()))
}

/// A line on standard error; if that is closed, nobody listens.
fn remark(line: &str) {
    let _ = writeln!(io::stderr(), "{line}");
}

/// Version, model and FFmpeg: what a report of a fault must name.
fn print_version() -> Result<Status> {
    /// Enough of the hash to tell models apart.
    const HASH_DIGITS: usize = 12;
    let tool = rollmark::clip::tool();
    let model = tool.model.get(..HASH_DIGITS).unwrap_or(&tool.model);
    let line = format!(
        "{} {} (model {model}, FFmpeg {})\n",
        tool.name,
        tool.version,
        rollmark::media::ffmpeg_version()
    );
    print(line.as_bytes()).map(|_| Status::Fine)
}

/// `text` without what a terminal obeys: the name of a file may hold any of it.
fn plain(text: &str) -> String {
    text.chars()
        .map(|c| if is_obeyed(c) { '\u{fffd}' } else { c })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// clap's own check: clashing names, missing values, wrong defaults.
    #[test]
    fn the_arguments_are_well_formed() {
        Args::command().debug_assert();
    }

    #[test]
    fn the_readme_explains_every_option() {
        let readme = include_str!("../../README.md");
        for command in Args::command().get_subcommands() {
            for option in command.get_arguments().filter_map(|arg| arg.get_long()) {
                assert!(
                    option == "help" || readme.contains(&format!("--{option}")),
                    "README.md does not explain `rollmark {} --{option}`",
                    command.get_name()
                );
            }
        }
    }

    #[test]
    fn a_terminal_never_gets_control_characters_from_a_file_name() {
        assert_eq!(plain("A\u{1b}[31m\n1.mov"), "A\u{fffd}[31m\u{fffd}1.mov");
    }
}
