//! `rollmark manual` and `rollmark completions`: what a package installs beside the
//! program, made from the arguments themselves so that it cannot lag behind them.

use super::Status;
use super::args::{Args, CompletionsArgs, ManualArgs};
use clap::CommandFactory;
use rollmark::error::{Error, ErrorKind, Result};
use rollmark::save;

/// Writes one manual page per command into a folder.
///
/// # Errors
/// [`ErrorKind::CannotWrite`] if the folder does not take them.
pub fn manual(args: &ManualArgs) -> Result<Status> {
    save::prepare_folder(&args.folder)?;
    clap_mangen::generate_to(Args::command(), &args.folder).map_err(|e| {
        Error::new(ErrorKind::CannotWrite, "cannot write the manual pages")
            .in_file(&args.folder)
            .next("choose another folder, or look at its rights and at the free space")
            .because(e)
    })?;
    Ok(Status::Fine)
}

/// Prints the completions of one shell.
///
/// # Errors
/// [`ErrorKind::CannotWrite`] if standard output does not take them.
pub fn completions(args: &CompletionsArgs) -> Result<Status> {
    let mut script = Vec::new();
    let mut command = Args::command();
    let name = command.get_name().to_owned();
    clap_complete::generate(args.shell, &mut command, name, &mut script);
    super::print(&script).map(|_| Status::Fine)
}
