//! `rollmark rehearse`: a practice card, and what to do with it.

use super::args::RehearseArgs;
use super::bars::FilmBar;
use super::{Status, plain};
use rollmark::error::{Error, ErrorKind, Result};
use rollmark::rehearse::scenario::{ANSWERS_FILE, Size, begin, finish, plan};
use std::borrow::Cow;
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
         Now read them:  rollmark card {} --out RESULTS\n",
        answers.len(),
        as_typed(&folder),
    );
    super::print(said.as_bytes()).map(|_| Status::Fine)
}

/// A name as a shell takes it for one word.
fn as_typed(name: &str) -> Cow<'_, str> {
    let is_plain = |c: char| c.is_ascii_alphanumeric() || "_-./,:@%+=".contains(c);
    match !name.is_empty() && name.chars().all(is_plain) {
        true => Cow::Borrowed(name),
        false => Cow::Owned(format!("'{}'", name.replace('\'', r"'\''"))),
    }
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

#[cfg(test)]
mod tests {
    use super::as_typed;

    /// By the rules of POSIX shells (IEEE 1003.1, 2.2): nothing is special between single quotes.
    #[test]
    fn a_name_is_one_word_for_the_shell() {
        for (name, typed) in [
            ("/media/card_2", "/media/card_2"),
            ("my card", "'my card'"),
            ("take $5", "'take $5'"),
            ("Hugo's", r"'Hugo'\''s'"),
            ("", "''"),
        ] {
            assert_eq!(as_typed(name), typed);
        }
    }
}
