//! Writing to disk so that a crash, a full disk or a second program never
//! leaves half a file: a temporary file in the same folder, synced, renamed.
//! What another program or another clip put there is never replaced.

mod holder;
mod ledger;
mod picture;
mod stamp;

pub use holder::Holder;
pub use ledger::{Ledger, Told};
pub use picture::picture;
pub use stamp::FileStamp;

use crate::error::{Error, ErrorKind, Result};
use crate::outcome::{CardOutcome, ClipOutcome};
use crate::sidecar::{card_json, json};
use serde::Serialize;
use std::fs::{self, File, TryLockError};
use std::io::{self, Read, Write};
use std::path::Path;

/// A file longer than this is not one that this program writes in one piece, in bytes. Sidecars and
/// pictures of stages are a thousand times shorter; the longest are lists of a card's clips, at some
/// five kilobytes a clip.
const LONGEST_OF_OURS: u64 = 64 << 20;

/// How the names of temporary files begin and end.
const TEMPORARY: (&str, &str) = (".rollmark-", ".part");

/// Makes sure that files can be written into `folder`, and makes it if missing.
///
/// # Errors
/// [`ErrorKind::CannotWrite`] if it cannot be made or does not take a file.
pub fn prepare_folder(folder: &Path) -> Result<()> {
    fs::create_dir_all(folder)
        .and_then(|()| temporary_in(folder).map(drop))
        .map_err(|e| unwritable("cannot write into this folder", folder, e))
}

/// Writes the sidecar of one clip to `file`, whose folders are made if missing.
/// Replaces an older sidecar of the same clip: as `holder` knows, or by the clip's path, or by the
/// one under which an earlier run knew it.
///
/// # Errors
/// [`ErrorKind::WouldReplace`] if `file` holds anything but a sidecar of the
/// same clip, or keys that are not ours; [`ErrorKind::CannotWrite`] if writing fails.
pub fn sidecar(
    outcome: &ClipOutcome,
    file: &Path,
    holder: &Holder,
    earlier_path: Option<&str>,
) -> Result<()> {
    let may_replace = |bytes: &[u8]| {
        let old = json::from_bytes(bytes)?;
        nothing_more(bytes, &old)?;
        let old = old.clip.path;
        match holder {
            Holder::ThisClip => Ok(()),
            Holder::Another(path) => Err(of_another_clip(path)),
            Holder::Unknown
                if earlier_path == Some(&*old)
                    || is_same_file(old.as_ref(), outcome.clip.path.as_ref()) =>
            {
                Ok(())
            }
            Holder::Unknown => Err(of_another_clip(&old)),
        }
    };
    write(file, &json::to_bytes(outcome), may_replace, || Ok(()))
}

/// Refuses what somebody added to `bytes`, from which `read` was read: it would be lost.
fn nothing_more(bytes: &[u8], read: &impl Serialize) -> Result<()> {
    match json::unknown_key(bytes, read) {
        None => Ok(()),
        Some(key) => Err(Error::new(
            ErrorKind::WouldReplace,
            format!("this file holds `{key}`, which this version of Rollmark did not write"),
        )),
    }
}

fn of_another_clip(path: &str) -> Error {
    Error::new(
        ErrorKind::WouldReplace,
        format!("this file holds the start of another clip, {path}"),
    )
}

/// Writes the card object to `file`, whose folders are made if missing. Replaces an older one.
///
/// # Errors
/// [`ErrorKind::WouldReplace`] if `file` holds anything but a card object of this
/// program, or keys that are not ours; [`ErrorKind::CannotWrite`] if writing fails.
pub fn card(card: &CardOutcome, file: &Path) -> Result<()> {
    let may_replace = |old: &[u8]| {
        let card = card_json::from_bytes(old)?;
        nothing_more(old, &card)
    };
    write(file, &card_json::to_bytes(card), may_replace, || Ok(()))
}

/// Writes a file of this program's own records, whose folders are made if missing. The
/// caller names a place where nobody else's files lie: any plain file is replaced.
///
/// # Errors
/// [`ErrorKind::WouldReplace`] if `file` is no plain file; [`ErrorKind::CannotWrite`] if
/// writing fails.
pub fn record(bytes: &[u8], file: &Path) -> Result<()> {
    write(file, bytes, |_| Ok(()), || Ok(()))
}

/// Writes a manual page to `file`. Replaces an older one of the same command.
///
/// # Errors
/// [`ErrorKind::WouldReplace`] if `file` holds anything else; [`ErrorKind::CannotWrite`] if writing
/// fails.
pub fn manual_page(page: &[u8], file: &Path) -> Result<()> {
    // `.TH rollmark-read 1 "rollmark-read 0.1.0"`: the command and the section.
    let title = |page: &[u8]| -> Option<Vec<u8>> {
        let mut lines = page.split(|&byte| byte == b'\n');
        let line = lines.find(|line| line.starts_with(b".TH "))?;
        let words = line.split(|&byte| byte == b' ').take(3);
        Some(words.collect::<Vec<_>>().concat())
    };
    let own = title(page);
    let may_replace = |old: &[u8]| match title(old) == own {
        true => Ok(()),
        false => Err(Error::new(
            ErrorKind::WouldReplace,
            "this file is no manual page of this command",
        )),
    };
    write(file, page, may_replace, || Ok(()))
}

/// Removes from `folder` what a run that was killed left half-written. What another run is
/// writing is kept: its temporary files are locked, as far as the drive has locks.
pub fn remove_leftovers(folder: &Path) {
    // What cannot be listed or removed does no harm: it is never read.
    let Ok(entries) = fs::read_dir(folder) else {
        return;
    };
    for entry in entries.flatten() {
        let name = entry.file_name();
        let is_leftover = name
            .to_str()
            .and_then(|name| name.strip_prefix(TEMPORARY.0)?.strip_suffix(TEMPORARY.1))
            .is_some_and(|middle| middle.chars().all(|c| c.is_ascii_alphanumeric()));
        if is_leftover && entry.file_type().is_ok_and(|kind| kind.is_file()) {
            let file = entry.path();
            let is_free = File::open(&file)
                .is_ok_and(|file| !matches!(file.try_lock(), Err(TryLockError::WouldBlock)));
            if is_free {
                let _ = fs::remove_file(file);
            }
        }
    }
}

/// Makes a file too long for memory: `fill` writes it under a temporary name in
/// the folder of `file`, whose folders are made if missing; then it is synced and
/// gets its name. Nothing is left of it if `fill` fails, or gives `None` because
/// it was told to stop.
///
/// # Errors
/// [`ErrorKind::WouldReplace`] if `file` exists and `may_replace` refuses it;
/// [`ErrorKind::CannotWrite`] if writing fails; those of `fill`.
pub fn long_file<T>(
    file: &Path,
    may_replace: impl Fn(&mut File) -> Result<()>,
    fill: impl FnOnce(&mut tempfile::NamedTempFile) -> Result<Option<T>>,
) -> Result<Option<T>> {
    let fail = |e: io::Error| cannot_write(file, e);
    let folder = folder_of(file);
    fs::create_dir_all(folder).map_err(fail)?;
    // Not following links: a link is somebody's own arrangement.
    let standing = || match fs::symlink_metadata(file) {
        Err(e) if e.kind() == io::ErrorKind::NotFound => Ok(None),
        Err(e) => Err(fail(e)),
        Ok(facts) if facts.is_file() => Ok(Some(FileStamp::of(&facts))),
        Ok(_) => Err(refused(no_plain_file()).in_file(file)),
    };
    let before = standing()?;
    if before.is_some() {
        let mut old = File::open(file).map_err(fail)?;
        may_replace(&mut old).map_err(|why| refused(why).in_file(file))?;
    }
    let mut temporary = temporary_in(folder).map_err(fail)?;
    // The temporary name says nothing to anybody.
    let filled = fill(&mut temporary).map_err(|error| match error.kind() {
        ErrorKind::CannotWrite => error.of_file(file),
        _ => error,
    });
    let Some(result) = filled? else {
        return Ok(None);
    };
    // Filling takes long.
    let now = standing()?;
    if now.is_some() && now != before {
        return Err(refused(changed_meanwhile()).in_file(file));
    }
    name(temporary, file, now.is_some()).map_err(fail)?;
    Ok(Some(result))
}

/// Puts `bytes` into `file`, unless `may_replace` refuses what it holds now. `note` comes before the
/// first byte, and only where nothing was refused.
fn write(
    file: &Path,
    bytes: &[u8],
    may_replace: impl Fn(&[u8]) -> Result<()>,
    note: impl FnOnce() -> Result<()>,
) -> Result<()> {
    let fail = |e: io::Error| cannot_write(file, e);
    let folder = folder_of(file);
    fs::create_dir_all(folder).map_err(fail)?;
    let exists = match content(file).map_err(fail)? {
        Content::Nothing => false,
        // Nothing to do, and no time stamp to touch.
        Content::File(old) if old == bytes => return note(),
        Content::File(old) => {
            may_replace(&old).map_err(|why| refused(why).in_file(file))?;
            true
        }
        Content::TooLong => return Err(refused(too_long()).in_file(file)),
        Content::Other => return Err(refused(no_plain_file()).in_file(file)),
    };
    note()?;
    let mut temporary = temporary_in(folder).map_err(fail)?;
    temporary.write_all(bytes).map_err(fail)?;
    name(temporary, file, exists).map_err(fail)
}

/// Syncs a finished file and gives it its name.
fn name(temporary: tempfile::NamedTempFile, file: &Path, exists: bool) -> io::Result<()> {
    temporary.as_file().sync_all()?;
    let renamed = if exists {
        temporary.persist(file)
    } else {
        // Another program may have made the file meanwhile: then this fails.
        temporary.persist_noclobber(file)
    };
    renamed.map_err(|e| e.error)?;
    sync_folder(folder_of(file))
}

fn folder_of(file: &Path) -> &Path {
    match file.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}

fn no_plain_file() -> Error {
    Error::new(ErrorKind::WouldReplace, "this is not a plain file")
}

fn changed_meanwhile() -> Error {
    Error::new(
        ErrorKind::WouldReplace,
        "somebody changed this file while another was made to take its place",
    )
}

fn too_long() -> Error {
    Error::new(
        ErrorKind::WouldReplace,
        "this file is longer than any that Rollmark writes",
    )
}

/// What stands at a path.
enum Content {
    Nothing,
    File(Vec<u8>),
    TooLong,
    /// A folder, a link, a device.
    Other,
}

fn content(file: &Path) -> io::Result<Content> {
    // Not following links: a link is somebody's own arrangement.
    match fs::symlink_metadata(file) {
        Err(e) if e.kind() == io::ErrorKind::NotFound => Ok(Content::Nothing),
        Err(e) => Err(e),
        Ok(facts) if facts.is_file() && facts.len() > LONGEST_OF_OURS => Ok(Content::TooLong),
        Ok(facts) if facts.is_file() => {
            let mut bytes = Vec::new();
            File::open(file)?
                .take(LONGEST_OF_OURS)
                .read_to_end(&mut bytes)?;
            Ok(Content::File(bytes))
        }
        Ok(_) => Ok(Content::Other),
    }
}

/// A file that [`remove_leftovers`] takes away once the run that made it is no more.
pub(crate) fn temporary_in(folder: &Path) -> io::Result<tempfile::NamedTempFile> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(TEMPORARY.0).suffix(TEMPORARY.1);
    // Temporary files are private; results get the rights that any new file gets.
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
    let mut temporary = builder.tempfile_in(folder)?;
    // Another run that looks for leftovers may come between making and locking.
    while is_taken(&temporary) {
        temporary = builder.tempfile_in(folder)?;
    }
    Ok(temporary)
}

/// True if somebody else holds the new file's lock or has removed it. Some network drives have
/// no locks; there, two runs at once are the user's risk.
fn is_taken(temporary: &tempfile::NamedTempFile) -> bool {
    let lock = temporary.as_file().try_lock();
    matches!(lock, Err(TryLockError::WouldBlock)) || !temporary.path().exists()
}

/// A rename is on disk only when its folder is; other systems do that themselves.
#[cfg(unix)]
fn sync_folder(folder: &Path) -> io::Result<()> {
    match File::open(folder)?.sync_all() {
        // Some network file systems cannot sync a folder; the file itself is safe.
        Err(e) if e.kind() == io::ErrorKind::InvalidInput => Ok(()),
        other => other,
    }
}

#[cfg(not(unix))]
fn sync_folder(_: &Path) -> io::Result<()> {
    Ok(())
}

/// True if two paths, as they were typed, lead to the same file.
pub(crate) fn is_same_file(old: &Path, new: &Path) -> bool {
    old == new
        || match (fs::canonicalize(old), fs::canonicalize(new)) {
            (Ok(old), Ok(new)) => old == new,
            _ => false,
        }
}

fn cannot_write(file: &Path, cause: io::Error) -> Error {
    unwritable("cannot write this file", file, cause)
}

fn unwritable(what: &str, place: &Path, cause: io::Error) -> Error {
    let cause = as_the_system_says(cause);
    let next = match cause.kind() {
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => {
            "make room there, or choose another folder"
        }
        io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => {
            "choose another folder, or ask for the right to write there"
        }
        io::ErrorKind::AlreadyExists | io::ErrorKind::NotADirectory => {
            "a file stands where a folder should be; choose another folder"
        }
        _ => "choose another folder, or look at its rights and at the free space",
    };
    Error::new(ErrorKind::CannotWrite, what)
        .in_file(place)
        .next(next)
        .because(cause)
}

/// Temporary files add their names to what the system says of them: names that are never
/// the same twice, of files that are gone. Their sort is what they leave of it.
fn as_the_system_says(cause: io::Error) -> io::Error {
    match (cause.raw_os_error(), cause.kind()) {
        (None, kind) if kind != io::ErrorKind::Other => kind.into(),
        _ => cause,
    }
}

/// Whatever the reason, the user can do one of two things.
fn refused(why: Error) -> Error {
    Error::new(
        ErrorKind::WouldReplace,
        format!("not replaced: {}", why.what()),
    )
    .next("move it away, or choose another folder")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::outcome::Tool;
    use std::path::PathBuf;

    fn outcome_of(clip: &Path) -> ClipOutcome {
        ClipOutcome::failed(
            clip,
            &Error::new(ErrorKind::Empty, "the file is empty"),
            Tool {
                name: json::TOOL_NAME.into(),
                version: "0.1.0".into(),
                model: "00".repeat(32),
            },
        )
    }

    fn names_in(folder: &Path) -> Vec<PathBuf> {
        let mut names: Vec<_> = fs::read_dir(folder)
            .unwrap()
            .map(|entry| entry.unwrap().path())
            .collect();
        names.sort();
        names
    }

    /// Writes a sidecar into a folder of which no run noted anything.
    fn first_sidecar(outcome: &ClipOutcome, file: &Path) -> Result<()> {
        sidecar(outcome, file, &Holder::Unknown, None)
    }

    #[test]
    fn a_sidecar_is_written_into_new_folders_and_nothing_else_is_left_there() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("a/b/A001.mov.rollmark.json");
        let outcome = outcome_of(Path::new("A001.mov"));
        first_sidecar(&outcome, &file).unwrap();
        assert_eq!(
            json::from_bytes(&fs::read(&file).unwrap()).unwrap(),
            outcome
        );
        assert_eq!(names_in(file.parent().unwrap()), [&*file]);
    }

    #[test]
    fn what_could_not_be_written_is_told_as_the_system_says_it_with_what_helps() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("results");
        fs::write(&file, b"x").unwrap();
        let said = prepare_folder(&file).unwrap_err().to_string();
        assert!(
            said.contains("a file stands where a folder should be"),
            "{said}"
        );
        let e = temporary_in(&folder.path().join("none")).unwrap_err();
        assert!(
            e.to_string().contains(TEMPORARY.0),
            "or there is nothing to take away"
        );
        let error = cannot_write(&file, e);
        let said = error.to_string();
        assert!(
            said.contains("entity not found") && !said.contains(TEMPORARY.0),
            "{said}"
        );
        let advice = |code| {
            let error = cannot_write(&file, io::Error::from_raw_os_error(code));
            error.advice().unwrap().to_owned()
        };
        // ENOSPC, EACCES, EROFS and EIO of errno(3) on Linux.
        assert!(advice(28).starts_with("make room"));
        assert!(advice(13).contains("ask for the right"));
        assert_eq!(advice(30), advice(13));
        assert!(advice(5).contains("look at its rights"));
    }

    #[test]
    fn an_older_sidecar_of_the_same_clip_is_replaced() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("A001.mov.rollmark.json");
        let mut outcome = outcome_of(Path::new("A001.mov"));
        first_sidecar(&outcome, &file).unwrap();
        outcome.tool.version = "0.2.0".into();
        first_sidecar(&outcome, &file).unwrap();
        assert_eq!(
            json::from_bytes(&fs::read(&file).unwrap()).unwrap(),
            outcome
        );
        assert_eq!(names_in(folder.path()), [file]);
    }

    #[test]
    fn a_clip_reached_by_another_path_is_the_same_clip() {
        let folder = tempfile::tempdir().unwrap();
        let clip = folder.path().join("A001.mov");
        fs::write(&clip, b"x").unwrap();
        let detour = folder.path().join("./A001.mov");
        let file = folder.path().join("A001.mov.rollmark.json");
        first_sidecar(&outcome_of(&clip), &file).unwrap();
        first_sidecar(&outcome_of(&detour), &file).unwrap();
    }

    #[test]
    fn the_sidecar_of_another_clip_is_kept() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("A001.mov.rollmark.json");
        first_sidecar(&outcome_of(Path::new("card1/A001.mov")), &file).unwrap();
        let before = fs::read(&file).unwrap();
        let error = first_sidecar(&outcome_of(Path::new("card2/A001.mov")), &file).unwrap_err();
        assert_eq!(error.kind(), ErrorKind::WouldReplace);
        assert_eq!(
            error.what(),
            "not replaced: this file holds the start of another clip, card1/A001.mov"
        );
        assert_eq!(fs::read(&file).unwrap(), before);
    }

    #[test]
    fn what_others_wrote_is_kept() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("A001.mov.rollmark.json");
        for old in [
            &b""[..],
            b"my notes",
            br#"{"format": 9, "tool": {"name": "rollmark"}}"#,
        ] {
            fs::write(&file, old).unwrap();
            let error = first_sidecar(&outcome_of(Path::new("A001.mov")), &file).unwrap_err();
            assert_eq!(error.kind(), ErrorKind::WouldReplace);
            assert_eq!(error.file(), Some(&*file));
            assert_eq!(
                error.advice(),
                Some("move it away, or choose another folder")
            );
            assert_eq!(fs::read(&file).unwrap(), old);
        }
        assert_eq!(names_in(folder.path()), [file]);
    }

    #[test]
    fn what_somebody_added_to_a_sidecar_is_kept() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("A001.mov.rollmark.json");
        let mut outcome = outcome_of(Path::new("A001.mov"));
        let written = String::from_utf8(json::to_bytes(&outcome)).unwrap();
        let edited = written.replacen('{', r#"{"remark": "take 3 is the good one","#, 1);
        fs::write(&file, &edited).unwrap();
        outcome.tool.version = "0.2.0".into();
        let error = first_sidecar(&outcome, &file).unwrap_err();
        assert_eq!(error.kind(), ErrorKind::WouldReplace);
        assert!(error.what().contains("holds `remark`"), "{error}");
        assert_eq!(fs::read_to_string(&file).unwrap(), edited);
    }

    #[test]
    fn a_sidecar_is_replaced_under_the_path_of_an_earlier_run() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("A001.mov.rollmark.json");
        first_sidecar(&outcome_of(Path::new("old/A001.mov")), &file).unwrap();
        let moved = outcome_of(Path::new("new/A001.mov"));
        assert!(sidecar(&moved, &file, &Holder::Unknown, Some("older/A001.mov")).is_err());
        sidecar(&moved, &file, &Holder::Unknown, Some("old/A001.mov")).unwrap();
        assert_eq!(json::from_bytes(&fs::read(&file).unwrap()).unwrap(), moved);
    }

    #[test]
    fn what_a_killed_run_left_is_removed_and_nothing_else() {
        let folder = tempfile::tempdir().unwrap();
        let kept = [".rollmark-a b.part", ".rollmark-x.json", "A001.part"];
        for name in kept.iter().chain(&[".rollmark-aB3xYz.part"]) {
            fs::write(folder.path().join(name), b"x").unwrap();
        }
        // What a run, this one or another, is at work on is no leftover.
        let at_work = temporary_in(folder.path()).unwrap();
        remove_leftovers(folder.path());
        assert!(at_work.path().exists());
        drop(at_work);
        let mut expected = kept.map(|name| folder.path().join(name));
        expected.sort();
        assert_eq!(names_in(folder.path()), expected);
        remove_leftovers(&folder.path().join("missing"));
    }

    #[test]
    fn a_folder_in_the_way_is_kept() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("A001.mov.rollmark.json");
        fs::create_dir(&file).unwrap();
        let error = first_sidecar(&outcome_of(Path::new("A001.mov")), &file).unwrap_err();
        assert_eq!(error.kind(), ErrorKind::WouldReplace);
    }

    #[cfg(unix)]
    #[test]
    fn a_link_to_a_clip_is_not_followed() {
        let folder = tempfile::tempdir().unwrap();
        let clip = folder.path().join("A001.mov");
        fs::write(&clip, b"pictures").unwrap();
        let file = folder.path().join("A001.mov.rollmark.json");
        std::os::unix::fs::symlink(&clip, &file).unwrap();
        let error = first_sidecar(&outcome_of(&clip), &file).unwrap_err();
        assert_eq!(error.kind(), ErrorKind::WouldReplace);
        assert_eq!(fs::read(&clip).unwrap(), b"pictures");
    }

    #[test]
    fn a_long_file_that_cannot_be_filled_is_told_by_its_own_name() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("a.mov.preview.mp4");
        let fill = |temporary: &mut tempfile::NamedTempFile| {
            let full = Error::new(ErrorKind::CannotWrite, "the movie cannot be written");
            Err(full.in_file(temporary.path()))
        };
        let error = long_file::<()>(&file, |_| Ok(()), fill).unwrap_err();
        assert_eq!(error.file(), Some(&*file));
        assert!(names_in(folder.path()).is_empty());
    }

    #[test]
    fn what_somebody_saves_while_a_long_file_is_made_stays() {
        for old in [None, Some("ours")] {
            let folder = tempfile::tempdir().unwrap();
            let file = folder.path().join("a.mov");
            if let Some(old) = old {
                fs::write(&file, old).unwrap();
            }
            let fill = |_: &mut tempfile::NamedTempFile| {
                fs::write(&file, "theirs, of today").unwrap();
                Ok(Some(()))
            };
            let error = long_file(&file, |_| Ok(()), fill).unwrap_err();
            assert_eq!(error.kind(), ErrorKind::WouldReplace, "{error}");
            assert_eq!(fs::read(&file).unwrap(), b"theirs, of today");
            assert_eq!(names_in(folder.path()), [file]);
        }
    }

    #[test]
    fn a_file_in_place_of_the_folder_is_named_in_the_error() {
        let folder = tempfile::tempdir().unwrap();
        let not_a_folder = folder.path().join("A001.mov");
        fs::write(&not_a_folder, b"pictures").unwrap();
        let error = prepare_folder(&not_a_folder).unwrap_err();
        assert_eq!(error.kind(), ErrorKind::CannotWrite);
        assert_eq!(error.file(), Some(&*not_a_folder));
        assert_eq!(fs::read(&not_a_folder).unwrap(), b"pictures");
    }
}
