//! `rollmark rehearse`: a practice card, and what to do with it.

use super::args::RehearseArgs;
use super::bars::FilmBar;
use super::{Status, plain};
use rollmark::error::{Error, ErrorKind, Result};
use rollmark::rehearse::scenario::{ANSWERS_FILE, Size, begin, finish, plan};
use std::path::Path;

/// Films the card and says what to run next.
///
/// # Errors
/// [`ErrorKind::WouldReplace`] if the folder holds anything; those of
/// [`rollmark::rehearse::scenario`] if it cannot be filled; [`ErrorKind::CannotWrite`] if
/// standard output does not take what is to be said.
pub fn run(args: &RehearseArgs) -> Result<Status> {
    refuse_if_used(&args.folder)?;
    let planned = plan(args.seed, Size::PRACTICE);
    begin(&args.folder, &planned)?;
    let bar = FilmBar::new(planned.len());
    for clip in &planned {
        bar.film(&clip.answer.file);
        clip.write(&args.folder)?;
    }
    drop(bar);
    let answers = finish(&args.folder, args.seed, &planned)?;
    let folder = plain(&args.folder.to_string_lossy());
    let said = format!(
        "{} clips are in {folder}, and what should come out in {folder}/{ANSWERS_FILE}\n\
         Now read them:  rollmark card {folder} --out RESULTS\n",
        answers.len(),
    );
    super::print(said.as_bytes()).map(|_| Status::Fine)
}

/// A card in a folder of its own can be thrown away without a second look.
fn refuse_if_used(folder: &Path) -> Result<()> {
    let is_used = folder
        .read_dir()
        .is_ok_and(|mut entries| entries.next().is_some());
    if !is_used {
        return Ok(());
    }
    Err(
        Error::new(ErrorKind::WouldReplace, "this folder is not empty")
            .in_file(folder)
            .next("name an empty or a new folder for the practice card"),
    )
}
