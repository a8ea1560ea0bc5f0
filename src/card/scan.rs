//! What lies on a card: paths and sizes, nothing opened. Links are not followed, so the
//! scan stays in its folder and ends.

use super::names;
use crate::error::{Error, ErrorKind, Result, in_words};
use crate::note::Note;
use crate::preview;
use crate::save::{FileStamp, Ledger};
use crate::sidecar::json;
use std::collections::BTreeSet;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// What lies in the output folder beside sidecars.
pub const REPORT_FILE: &str = "report.html";
pub const CARD_FILE: &str = "card.json";
/// The folder of records, below the output folder.
pub const STATE_FOLDER: &str = ".rollmark";

/// A file that may be a clip.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Found {
    /// Index of the folder it was found in.
    pub card: usize,
    /// As the folder was named, and the path below it.
    pub path: PathBuf,
    /// Below its folder.
    pub relative: PathBuf,
    pub stamp: FileStamp,
}

/// Everything in the folders, in natural order.
#[derive(Debug, Default)]
pub(super) struct Scan {
    /// Whole paths of the folders, each once, in the order given; links resolved.
    pub roots: Vec<PathBuf>,
    pub files: Vec<Found>,
    /// What was left out before opening it: folder index, path below it, reason.
    pub skipped: Vec<(usize, PathBuf, Note)>,
}

/// Lists all files below `folders`. `out` is the output folder: it is not entered, unless
/// it holds the cards, and results of this program in it are no clips: `is_made` tells, by the
/// path below `out`, what an earlier run delivered. Nor are results of earlier runs in other folders
/// below the named ones, and previews in those themselves.
///
/// # Errors
/// If a folder is missing, unreadable or no folder. Folders below it that cannot be read
/// are among the skipped.
pub(super) fn scan(
    folders: &[PathBuf],
    out: &Path,
    is_made: &dyn Fn(&Path) -> bool,
) -> Result<Scan> {
    let mut scan = Scan {
        roots: roots(folders)?,
        ..Scan::default()
    };
    let out = fs::canonicalize(out).unwrap_or_else(|_| out.to_path_buf());
    // One folder twice, or one within another: each file belongs to the first.
    let mut seen = BTreeSet::new();
    for (card, (folder, root)) in folders.iter().zip(scan.roots.clone()).enumerate() {
        let mut walk = Walk {
            card,
            folder,
            root: &root,
            out: &out,
            is_made,
            others: Vec::new(),
            seen: &mut seen,
            scan: &mut scan,
        };
        walk.folder(Path::new(""))
            .map_err(|e| cannot_list(folder, e))?;
    }
    let by_name =
        |a: (usize, &Path), b: (usize, &Path)| a.0.cmp(&b.0).then_with(|| names::natural(a.1, b.1));
    scan.files
        .sort_by(|a, b| by_name((a.card, &a.relative), (b.card, &b.relative)));
    scan.skipped
        .sort_by(|a, b| by_name((a.0, &a.1), (b.0, &b.1)));
    Ok(scan)
}

/// The whole paths of the folders, links resolved.
///
/// # Errors
/// If a folder is missing, unreadable or no folder.
pub(super) fn roots(folders: &[PathBuf]) -> Result<Vec<PathBuf>> {
    folders
        .iter()
        .map(|folder| {
            let root = fs::canonicalize(folder).map_err(|e| cannot_list(folder, e))?;
            if root.is_dir() {
                return Ok(root);
            }
            Err(
                Error::new(ErrorKind::BadRequest, "is a file; a card is a folder")
                    .in_file(folder)
                    .next("name the folder that holds the clips"),
            )
        })
        .collect()
}

fn cannot_list(folder: &Path, e: io::Error) -> Error {
    let next = match e.kind() {
        io::ErrorKind::PermissionDenied => "ask for the right to read it",
        _ => "check the name and that the card is connected",
    };
    Error::new(ErrorKind::CannotOpen, "this folder cannot be read")
        .in_file(folder)
        .next(next)
        .because(e)
}

struct Walk<'a> {
    card: usize,
    folder: &'a Path,
    root: &'a Path,
    out: &'a Path,
    is_made: &'a dyn Fn(&Path) -> bool,
    /// Output folders of other runs that the walk is in.
    others: Vec<Other>,
    seen: &'a mut BTreeSet<PathBuf>,
    scan: &'a mut Scan,
}

/// The output folder of another run.
struct Other {
    out: PathBuf,
    made: Ledger,
    /// Somebody names it as a card.
    is_named: bool,
}

impl Other {
    /// True for what that run made, but for copies in a folder that is named: they are meant.
    fn made(&self, whole: &Path) -> bool {
        let name = whole.file_name().unwrap_or_default().as_encoded_bytes();
        let may_be_meant = self.is_named && !name.ends_with(preview::SUFFIX.as_bytes());
        let is_listed = |below| self.made.lists(below);
        !may_be_meant && whole.strip_prefix(&self.out).is_ok_and(is_listed)
    }
}

impl Walk<'_> {
    fn folder(&mut self, relative: &Path) -> io::Result<()> {
        let whole = self.root.join(relative);
        if !self.seen.insert(whole.clone()) {
            return Ok(());
        }
        // Links are not followed, here as elsewhere.
        let records = fs::symlink_metadata(whole.join(STATE_FOLDER));
        let is_other = whole != self.out && records.is_ok_and(|facts| facts.is_dir());
        let ledger = is_other.then(|| Ledger::open(&whole, STATE_FOLDER).ok());
        let others = self.others.len();
        self.others.extend(ledger.flatten().map(|made| Other {
            out: whole,
            made,
            is_named: relative == "",
        }));
        let listed = self.list(relative);
        self.others.truncate(others);
        listed
    }

    fn list(&mut self, relative: &Path) -> io::Result<()> {
        for entry in fs::read_dir(self.folder.join(relative))? {
            let entry = entry?;
            let below = relative.join(entry.file_name());
            match self.entry(&below) {
                Ok(()) => {}
                Err(e) => self.skip(
                    &below,
                    ErrorKind::CannotOpen.code(),
                    format!(
                        "it cannot be read: {}; look at its rights, or copy it again",
                        in_words(&e)
                    ),
                ),
            }
        }
        Ok(())
    }

    fn entry(&mut self, relative: &Path) -> io::Result<()> {
        let path = self.folder.join(relative);
        let whole = self.root.join(relative);
        let facts = fs::symlink_metadata(&path)?;
        let name = relative.file_name().unwrap_or_default().as_encoded_bytes();
        if self.is_ours(&whole, name) {
            return Ok(());
        }
        if name.starts_with(b".") {
            self.skip(relative, "hidden", "hidden files and folders are left out");
        } else if facts.is_symlink() {
            self.skip(
                relative,
                "link",
                "links are not followed; name the folder it leads to, if it holds clips",
            );
        } else if facts.is_dir() {
            return self.folder(relative);
        } else if self.is_result(&whole) {
            self.skip(
                relative,
                "made_here",
                "an earlier run made this file; a clip of yours belongs elsewhere",
            );
        } else if !facts.is_file() {
            self.skip(relative, "not_a_file", "a device or a pipe is no clip");
        } else if self.seen.insert(whole) {
            self.scan.files.push(Found {
                card: self.card,
                path,
                relative: relative.to_path_buf(),
                stamp: FileStamp::of(&facts),
            });
        }
        Ok(())
    }

    /// True for what this run or an earlier one delivered.
    fn is_result(&self, whole: &Path) -> bool {
        whole.strip_prefix(self.out).is_ok_and(self.is_made)
            || self.others.iter().any(|other| other.made(whole))
    }

    /// True for what this program writes: listing it would make a second run differ.
    fn is_ours(&self, whole: &Path, name: &[u8]) -> bool {
        let in_out = whole.parent() == Some(self.out);
        name.ends_with(json::SUFFIX.as_bytes())
            || (name.starts_with(b".rollmark-") && name.ends_with(b".part"))
            || (in_out
                && [REPORT_FILE, CARD_FILE, STATE_FOLDER]
                    .iter()
                    .any(|ours| ours.as_bytes() == name))
    }

    fn skip(&mut self, relative: &Path, code: &str, sentence: impl Into<String>) {
        self.scan.skipped.push((
            self.card,
            relative.to_path_buf(),
            Note::new(code, sentence.into()),
        ));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn scan(folders: &[PathBuf], out: &Path) -> Result<Scan> {
        super::scan(folders, out, &|below_out| {
            below_out == Path::new("copy.mov")
        })
    }

    fn lay(root: &Path, files: &[&str]) {
        for file in files {
            let file = root.join(file);
            fs::create_dir_all(file.parent().unwrap()).unwrap();
            fs::write(file, b"x").unwrap();
        }
    }

    fn names(scan: &Scan) -> Vec<&str> {
        scan.files
            .iter()
            .map(|f| f.relative.to_str().unwrap())
            .collect()
    }

    fn skipped(scan: &Scan) -> Vec<(&str, &str)> {
        scan.skipped
            .iter()
            .map(|(_, path, note)| (path.to_str().unwrap(), &*note.code))
            .collect()
    }

    #[test]
    fn files_come_in_natural_order_whatever_order_they_were_made_in() {
        let card = tempfile::tempdir().unwrap();
        lay(
            card.path(),
            &["b/10.mov", "a.mov", "b/9.mov", "X.MP4/c.mov"],
        );
        let scan = scan(&[card.path().into()], &card.path().join("out")).unwrap();
        assert_eq!(
            names(&scan),
            ["X.MP4/c.mov", "a.mov", "b/9.mov", "b/10.mov"]
        );
    }

    #[test]
    fn hidden_things_are_left_out_and_our_own_files_unmentioned() {
        let card = tempfile::tempdir().unwrap();
        let out = card.path().join("out");
        lay(
            card.path(),
            &[
                "a.mov",
                "._a.mov",
                ".Trashes/b.mov",
                "out/card.json",
                "out/.rollmark/x",
                "out/c.mov",
                "out/copy.mov",
                "a.mov.rollmark.json",
                ".rollmark-1.part",
            ],
        );
        let scan = scan(&[card.path().into()], &out).unwrap();
        // Somebody's clip in the folder that results go to is a clip all the same.
        assert_eq!(names(&scan), ["a.mov", "out/c.mov"]);
        assert_eq!(
            skipped(&scan),
            [
                (".Trashes", "hidden"),
                ("._a.mov", "hidden"),
                ("out/copy.mov", "made_here")
            ]
        );
    }

    #[test]
    fn a_card_that_is_its_own_output_folder_is_scanned() {
        let card = tempfile::tempdir().unwrap();
        lay(
            card.path(),
            &[
                "a.mov",
                "card.json",
                "report.html",
                ".rollmark/x",
                "b/card.json",
                "b/copy.mov",
                "copy.mov",
            ],
        );
        let scan = scan(&[card.path().into()], card.path()).unwrap();
        assert_eq!(names(&scan), ["a.mov", "b/card.json", "b/copy.mov"]);
        assert_eq!(skipped(&scan), [("copy.mov", "made_here")]);
    }

    #[test]
    fn results_of_a_run_into_another_folder_of_the_card_are_no_clips() {
        let card = tempfile::tempdir().unwrap();
        let other = card.path().join("older");
        lay(card.path(), &["a.mov", "older/mine.mov"]);
        let mut ledger = Ledger::open(&other, STATE_FOLDER).unwrap();
        for copy in ["a.mov", "day/b.mov", "day/b.mov.preview.mp4"] {
            lay(&other, &[copy]);
            ledger.note_made(Path::new(copy), "a clip", &[]).unwrap();
        }
        let found = |folder: &Path| {
            let scan = scan(&[folder.into()], &card.path().join("out")).unwrap();
            let files = names(&scan).into_iter().map(str::to_owned);
            (files.collect::<Vec<_>>(), scan.skipped.len())
        };
        let both = ["a.mov", "older/mine.mov"].map(str::to_owned).to_vec();
        // Besides, the records are hidden.
        assert_eq!(found(card.path()), (both, 4));
        let named = ["a.mov", "day/b.mov", "mine.mov"]
            .map(str::to_owned)
            .to_vec();
        assert_eq!(found(&other).0, named);
    }

    /// A card may bring records that some other program, or nobody, can have written.
    #[cfg(unix)]
    #[test]
    fn records_on_a_card_are_opened_only_if_they_are_plain() {
        let elsewhere = tempfile::tempdir().unwrap();
        let mut ledger = Ledger::open(elsewhere.path(), STATE_FOLDER).unwrap();
        lay(elsewhere.path(), &["day/a.mov"]);
        let copy = Path::new("day/a.mov");
        ledger.note_made(copy, "a clip", &[]).unwrap();
        let records = elsewhere.path().join(STATE_FOLDER);
        let lay_records = |card: &Path, way: &str| {
            let own = card.join("older").join(STATE_FOLDER);
            match way {
                "folder" => std::os::unix::fs::symlink(&records, own).unwrap(),
                "list" => {
                    fs::create_dir(&own).unwrap();
                    std::os::unix::fs::symlink(records.join("written"), own.join("written"))
                        .unwrap();
                }
                _ => {
                    fs::create_dir(&own).unwrap();
                    let pipe = own.join("written");
                    let made = std::process::Command::new("mkfifo").arg(pipe).status();
                    assert!(made.unwrap().success());
                }
            }
        };
        for way in ["folder", "list", "pipe"] {
            let card = tempfile::tempdir().unwrap();
            lay(card.path(), &["older/day/a.mov"]);
            lay_records(card.path(), way);
            let scan = scan(&[card.path().into()], &card.path().join("out")).unwrap();
            assert_eq!(names(&scan), ["older/day/a.mov"], "{way}");
        }
    }

    #[cfg(unix)]
    #[test]
    fn links_are_listed_and_never_followed() {
        let card = tempfile::tempdir().unwrap();
        let elsewhere = tempfile::tempdir().unwrap();
        lay(card.path(), &["a.mov"]);
        lay(elsewhere.path(), &["secret.mov"]);
        let link = |to: &Path, name: &str| {
            std::os::unix::fs::symlink(to, card.path().join(name)).unwrap();
        };
        link(elsewhere.path(), "out_of_it");
        link(card.path(), "loop");
        link(&card.path().join("a.mov"), "again.mov");
        let scan = scan(&[card.path().into()], &card.path().join("out")).unwrap();
        assert_eq!(names(&scan), ["a.mov"]);
        assert_eq!(
            skipped(&scan),
            [
                ("again.mov", "link"),
                ("loop", "link"),
                ("out_of_it", "link")
            ]
        );
    }

    #[test]
    fn a_file_in_two_folders_of_the_call_is_found_once() {
        let card = tempfile::tempdir().unwrap();
        lay(card.path(), &["sub/a.mov", "b.mov"]);
        let out = card.path().join("out");
        let sub = card.path().join("sub");
        let all = [card.path().to_path_buf(), sub.clone(), card.path().into()];
        assert_eq!(names(&scan(&all, &out).unwrap()), ["b.mov", "sub/a.mov"]);
        let other_way = scan(&[sub, card.path().into()], &out).unwrap();
        assert_eq!(names(&other_way), ["a.mov", "b.mov"]);
        assert_eq!(other_way.files[1].card, 1);
    }

    #[test]
    fn a_folder_that_is_missing_or_a_file_is_an_error_that_names_it() {
        let card = tempfile::tempdir().unwrap();
        lay(card.path(), &["a.mov"]);
        for (name, kind) in [
            ("gone", ErrorKind::CannotOpen),
            ("a.mov", ErrorKind::BadRequest),
        ] {
            let folder = card.path().join(name);
            let error = scan(std::slice::from_ref(&folder), &card.path().join("out")).unwrap_err();
            assert_eq!((error.kind(), error.file()), (kind, Some(&*folder)));
        }
    }
}
