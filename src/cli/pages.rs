//! `rollmark manual` and `rollmark completions`: what a package installs beside the
//! program, made from the arguments themselves so that it cannot lag behind them.

use super::Status;
use super::args::{Args, CompletionsArgs, ManualArgs};
use clap::CommandFactory;
use rollmark::error::{Error, ErrorKind, Result};
use rollmark::save;
use std::collections::BTreeMap;
use std::ffi::OsString;
use std::{fs, io};

/// Writes one manual page per command into a folder.
///
/// # Errors
/// [`ErrorKind::CannotWrite`] if the folder does not take them, [`ErrorKind::WouldReplace`] if
/// something else lies there under such a name.
pub fn manual(args: &ManualArgs) -> Result<Status> {
    save::prepare_folder(&args.folder)?;
    for (name, page) in pages().map_err(|e| {
        Error::new(ErrorKind::CannotWrite, "cannot make the manual pages")
            .next("look at the free space for temporary files")
            .because(e)
    })? {
        save::manual_page(&page, &args.folder.join(name))?;
    }
    Ok(Status::Fine)
}

/// The pages and their names, in their order.
fn pages() -> io::Result<BTreeMap<OsString, Vec<u8>>> {
    let drafts = tempfile::tempdir()?;
    clap_mangen::generate_to(Args::command(), drafts.path())?;
    let page = |entry: fs::DirEntry| Ok((entry.file_name(), fs::read(entry.path())?));
    fs::read_dir(drafts.path())?
        .map(|entry| entry.and_then(page))
        .collect()
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
