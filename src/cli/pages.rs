//! `rollmark manual` and `rollmark completions`: what a package installs beside the
//! program, made from the arguments themselves so that it cannot lag behind them.

use super::Status;
use super::args::{Args, CompletionsArgs, ManualArgs};
use clap::{Command, CommandFactory};
use clap_mangen::Man;
use rollmark::error::Result;
use rollmark::save;

/// Writes one manual page per command into a folder.
///
/// # Errors
/// [`ErrorKind::CannotWrite`] if the folder does not take them, [`ErrorKind::WouldReplace`] if
/// something else lies there under such a name.
pub fn manual(args: &ManualArgs) -> Result<Status> {
    save::prepare_folder(&args.folder)?;
    let mut program = Args::command().disable_help_subcommand(true);
    // Gives the commands their full names, by which their pages go.
    program.build();
    let mut commands: Vec<&Command> = program.get_subcommands().collect();
    commands.push(&program);
    for command in commands.into_iter().filter(|c| !c.is_hide_set()) {
        let page = Man::new(command.clone());
        let mut text = Vec::new();
        page.render(&mut text).expect("memory takes every page");
        save::manual_page(&text, &args.folder.join(page.get_filename()))?;
    }
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
