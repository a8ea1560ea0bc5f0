//! What this program wrote into an output folder, so that a later run replaces its own
//! files and nobody else's: not even its own once a person has changed them.

mod line;

pub use line::Told;

use super::holder::{Holder, Source};
use super::{
    cannot_write, folder_of, long_file, of_another_clip, refused, sync_folder, unwritable, write,
};
use crate::digest::{self, hex};
use crate::error::{Error, ErrorKind, Result};
use crate::note::Note;
use crate::path_text::{path_of, text_of};
use line::{Line, Made};
use sha2::{Digest, Sha256};
use std::cell::Cell;
use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

/// The list of files, below the output folder's records.
const FILE: &str = "written";

/// The files of one output folder.
pub struct Ledger {
    out: PathBuf,
    list: PathBuf,
    /// Hashes that a file of ours may have; the last is that of the last writing.
    lines: BTreeMap<String, Vec<Line>>,
    told: BTreeMap<String, Told>,
    sources: BTreeMap<String, Source>,
}

impl Ledger {
    /// Reads the list below `out`, in the folder `records` that this program keeps there.
    /// No list is an empty list; lines that cannot be read are passed over: then the file they
    /// speak of counts as somebody else's.
    ///
    /// # Errors
    /// [`ErrorKind::CannotWrite`] if the list is there and cannot be read.
    pub fn open(out: &Path, records: &str) -> Result<Self> {
        let list = out.join(records).join(FILE);
        let mut lines: BTreeMap<String, Vec<Line>> = BTreeMap::new();
        let (mut all_told, mut sources) = (BTreeMap::new(), BTreeMap::new());
        for line in Line::read_all(&list).map_err(|e| unreadable(&list, e))? {
            if let Some(told) = line.told {
                all_told.insert(line.file, told);
            } else if let Some(source) = line.source {
                sources.insert(line.file, source);
            } else {
                lines.entry(line.file.clone()).or_default().push(line);
            }
        }
        Ok(Self {
            out: out.to_path_buf(),
            list,
            lines,
            told: all_told,
            sources,
        })
    }

    /// Writes a file below the output folder; replaces one that it wrote before.
    ///
    /// # Errors
    /// [`ErrorKind::WouldReplace`] if the file was made or changed by somebody else;
    /// [`ErrorKind::CannotWrite`] if writing fails.
    pub fn write(&mut self, below_out: &Path, bytes: &[u8]) -> Result<()> {
        let file = self.out.join(below_out);
        let key = text_of(below_out);
        let line = Line {
            file: key.clone(),
            sha256: Some(digest::sha256(bytes)),
            ..Line::default()
        };
        let lines = self.lines.get(&key).cloned().unwrap_or_default();
        let may_replace = |old: &[u8]| check(&lines, &digest::sha256(old));
        // The list comes first: a run killed between the two leaves a line too many, which
        // does no harm, and never a file of ours that counts as somebody else's.
        write(&file, bytes, may_replace, || self.note(line))
    }

    /// As [`Ledger::write`], for a file that `fill` writes piece by piece.
    ///
    /// # Errors
    /// As [`Ledger::write`].
    pub fn write_long(
        &mut self,
        below_out: &Path,
        fill: impl FnOnce(&mut dyn Write) -> io::Result<()>,
    ) -> Result<()> {
        let file = self.out.join(below_out);
        let key = text_of(below_out);
        let fail = |e: io::Error| cannot_write(&file, e);
        let old_hash = Cell::new(None);
        let look = |old: &mut File| {
            old_hash.set(Some(hash_from(old).map_err(fail)?));
            Ok(())
        };
        long_file(&file, look, |temporary| {
            let mut both = Hashed {
                hasher: Sha256::new(),
                to: BufWriter::new(temporary.as_file_mut()),
            };
            fill(&mut both).and_then(|()| both.flush()).map_err(fail)?;
            let hash = hex(&both.hasher.finalize());
            let old_hash = old_hash.take();
            let is_as_before = old_hash.as_ref() == Some(&hash);
            if let Some(old_hash) = old_hash.filter(|_| !is_as_before) {
                let lines = self.lines.get(&key).map_or(&[][..], Vec::as_slice);
                check(lines, &old_hash).map_err(|why| refused(why).in_file(&file))?;
            }
            self.note(Line {
                file: key,
                sha256: Some(hash),
                ..Line::default()
            })?;
            // Nothing to do, and no time stamp to touch.
            Ok((!is_as_before).then_some(()))
        })
        .map(|_| ())
    }

    /// True if an earlier run wrote `below_out`, whatever became of it since.
    pub fn lists(&self, below_out: &Path) -> bool {
        self.lines.contains_key(&text_of(below_out))
    }

    /// What was noted of `below_out` if it was made from just that by an earlier run, and is as
    /// it was.
    pub fn made(&self, below_out: &Path, made_from: &str) -> Option<&[Note]> {
        let last = self.lines.get(&text_of(below_out))?.last()?;
        let made = last.made.as_ref()?;
        let now = Made::of(&self.out.join(below_out), made_from).ok()?;
        let is_same = now.from == made.from && now.stamp == made.stamp;
        is_same.then_some(&made.notes)
    }

    /// Lets `make` write a long file to a temporary name, then gives it its own below the
    /// output folder. `None`, and nothing left behind, if `make` was told to stop.
    ///
    /// # Errors
    /// As [`Ledger::write`], and those of `make`.
    pub fn make<T>(
        &mut self,
        below_out: &Path,
        made_from: &str,
        make: impl FnOnce(&Path) -> Result<Option<T>>,
    ) -> Result<Option<T>> {
        let file = self.out.join(below_out);
        let key = text_of(below_out);
        let lines = self.lines.get(&key).cloned().unwrap_or_default();
        let may_replace = |old: &mut File| {
            let hash = hash_from(old).map_err(|e| cannot_write(&file, e))?;
            check(&lines, &hash)
        };
        let mut held = None;
        long_file(&file, may_replace, |temporary| {
            let Some(made) = make(temporary.path())? else {
                return Ok(None);
            };
            let line = || -> io::Result<Line> {
                // Whoever made it may have put another file in its place, which is no leftover
                // either.
                let made = held.insert(File::open(temporary.path())?);
                let _ = made.try_lock();
                made.sync_all()?;
                Ok(Line {
                    file: key,
                    sha256: Some(hash_from(&mut File::open(temporary.path())?)?),
                    made: Some(Made::of(temporary.path(), made_from)?),
                    ..Line::default()
                })
            };
            self.note(line().map_err(|e| cannot_write(&file, e))?)?;
            Ok(Some(made))
        })
    }

    /// Notes a file that another writer, with its own check, has put in its place.
    ///
    /// # Errors
    /// [`ErrorKind::CannotWrite`] if the file cannot be read or the list not be written.
    pub fn note_made(&mut self, below_out: &Path, made_from: &str, notes: &[Note]) -> Result<()> {
        let file = self.out.join(below_out);
        let mut made = Made::of(&file, made_from).map_err(|e| cannot_write(&file, e))?;
        made.notes = notes.to_vec();
        self.note(Line {
            file: text_of(below_out),
            made: Some(made),
            ..Line::default()
        })
    }

    /// Notes what a file that is in its place hands on.
    ///
    /// # Errors
    /// [`ErrorKind::CannotWrite`] if the list cannot be written.
    pub fn note_told(&mut self, below_out: &Path, told: &Told) -> Result<()> {
        let key = text_of(below_out);
        if self.told.get(&key) == Some(told) {
            return Ok(());
        }
        self.append(&Line {
            file: key.clone(),
            told: Some(told.clone()),
            ..Line::default()
        })?;
        self.told.insert(key, told.clone());
        Ok(())
    }

    /// Whose start `below_out` holds, asked for a clip.
    pub fn holder(&self, below_out: &Path, clip: &Path) -> Holder {
        let there = fs::symlink_metadata(self.out.join(below_out));
        let noted = self
            .sources
            .get(&text_of(below_out))
            .filter(|_| there.is_ok());
        match (noted, Source::of(clip)) {
            (Some(noted), Ok(now)) if noted.is(&now) => Holder::ThisClip,
            (Some(noted), Ok(_)) => Holder::Another(noted.path.clone()),
            _ => Holder::Unknown,
        }
    }

    /// Refuses to go on where `below_out` holds the start of another clip.
    ///
    /// # Errors
    /// [`ErrorKind::WouldReplace`] then.
    pub fn must_not_be_anothers(&self, below_out: &Path, clip: &Path) -> Result<()> {
        match self.holder(below_out, clip) {
            Holder::Another(path) => {
                Err(refused(of_another_clip(&path)).in_file(self.out.join(below_out)))
            }
            Holder::Unknown | Holder::ThisClip => Ok(()),
        }
    }

    /// Notes that a file which is in its place speaks of a clip.
    ///
    /// # Errors
    /// [`ErrorKind::CannotWrite`] if the list cannot be written.
    pub fn note_source(&mut self, below_out: &Path, clip: &Path) -> Result<()> {
        let key = text_of(below_out);
        // A clip that went away meanwhile is no one's.
        let Ok(source) = Source::of(clip) else {
            return Ok(());
        };
        if self.sources.get(&key) == Some(&source) {
            return Ok(());
        }
        self.append(&Line {
            file: key.clone(),
            source: Some(source.clone()),
            ..Line::default()
        })?;
        self.sources.insert(key, source);
        Ok(())
    }

    /// The files that this and earlier runs put in their places, by their names below the
    /// output folder, with what they hand on.
    pub fn all_told(&self) -> impl Iterator<Item = (PathBuf, &Told)> {
        self.told.iter().map(|(key, told)| (path_of(key), told))
    }

    /// What the file `below_out` hands on.
    pub fn told(&self, below_out: &Path) -> Option<&Told> {
        self.told.get(&text_of(below_out))
    }

    /// Removes a file that is byte for byte as this program wrote it. False if it is not, or
    /// of a kind that takes long to read, or not there.
    ///
    /// # Errors
    /// [`ErrorKind::CannotWrite`] if it cannot be removed.
    pub fn remove(&self, below_out: &Path) -> Result<bool> {
        let file = self.out.join(below_out);
        let lines = self.lines.get(&text_of(below_out));
        let is_plain = fs::symlink_metadata(&file).is_ok_and(|facts| facts.is_file());
        let (Some(lines), true) = (lines, is_plain) else {
            return Ok(false);
        };
        if lines.iter().all(|line| line.sha256.is_none()) {
            return Ok(false);
        }
        let removed = File::open(&file)
            .and_then(|mut file| hash_from(&mut file))
            .and_then(|hash| {
                let is_ours = check(lines, &hash).is_ok();
                if is_ours {
                    fs::remove_file(&file)?;
                    sync_folder(folder_of(&file))?;
                }
                Ok(is_ours)
            });
        removed.map_err(|e| unwritable("cannot remove this file", &file, e))
    }

    fn note(&mut self, line: Line) -> Result<()> {
        let lines = self.lines.get(&line.file);
        if lines.and_then(|lines| lines.last()) == Some(&line) {
            return Ok(());
        }
        self.append(&line)?;
        self.lines.entry(line.file.clone()).or_default().push(line);
        Ok(())
    }

    fn append(&self, line: &Line) -> Result<()> {
        line.append_to(&self.list)
            .map_err(|e| cannot_write(&self.list, e))
    }
}

fn unreadable(list: &Path, cause: io::Error) -> Error {
    Error::new(
        ErrorKind::CannotWrite,
        "cannot read the list of what earlier runs wrote here",
    )
    .in_file(list)
    .next(
        "ask for the right to read it, or choose another folder; if it is moved away, what they wrote counts as \
         somebody else's",
    )
    .because(cause)
}

fn check(lines: &[Line], hash: &str) -> Result<()> {
    if lines
        .iter()
        .any(|line| line.sha256.as_deref() == Some(hash))
    {
        return Ok(());
    }
    Err(Error::new(
        ErrorKind::WouldReplace,
        "this file is not as Rollmark wrote it, if it did",
    ))
}

fn hash_from(file: &mut File) -> io::Result<String> {
    let mut hashed = Hashed {
        hasher: Sha256::new(),
        to: io::sink(),
    };
    io::copy(file, &mut hashed)?;
    Ok(hex(&hashed.hasher.finalize()))
}

/// Hashes what it passes on.
struct Hashed<W> {
    hasher: Sha256,
    to: W,
}

impl<W: Write> Write for Hashed<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let taken = self.to.write(bytes)?;
        self.hasher.update(&bytes[..taken]);
        Ok(taken)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.to.flush()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    pub(super) const NOTES: &str = ".rollmark";

    pub(super) fn ledger(out: &Path) -> Ledger {
        Ledger::open(out, NOTES).unwrap()
    }

    #[test]
    fn a_file_of_ours_is_replaced_by_a_later_run() {
        let out = tempfile::tempdir().unwrap();
        let name = Path::new("a/clips.csv");
        ledger(out.path()).write(name, b"one").unwrap();
        ledger(out.path()).write(name, b"two").unwrap();
        ledger(out.path()).write(name, b"two").unwrap();
        assert_eq!(fs::read(out.path().join(name)).unwrap(), b"two");
    }

    /// Whoever has room and rights to write looks for the fault elsewhere.
    #[test]
    fn a_list_that_cannot_be_read_is_said_to_be_no_plain_file_and_not_to_lack_room() {
        let out = tempfile::tempdir().unwrap();
        let list = out.path().join(NOTES).join(FILE);
        fs::create_dir_all(&list).unwrap();
        let error = Ledger::open(out.path(), NOTES).err().expect("a folder");
        assert_eq!(error.kind(), ErrorKind::CannotWrite);
        let said = error.to_string();
        for words in ["cannot read the list", "it is no plain file"] {
            assert!(said.contains(words), "{said}");
        }
        assert!(!said.contains("free space"), "{said}");
        assert!(said.contains(&*list.to_string_lossy()), "{said}");
    }

    #[test]
    fn a_file_that_a_person_changed_is_kept() {
        let out = tempfile::tempdir().unwrap();
        let name = Path::new("clips.csv");
        ledger(out.path()).write(name, b"one").unwrap();
        fs::write(out.path().join(name), b"one, and my remarks").unwrap();
        let error = ledger(out.path()).write(name, b"two").unwrap_err();
        assert_eq!(error.kind(), ErrorKind::WouldReplace);
        let kept = fs::read(out.path().join(name)).unwrap();
        assert_eq!(kept, b"one, and my remarks");
    }

    #[test]
    fn a_file_of_another_program_is_kept() {
        let out = tempfile::tempdir().unwrap();
        fs::write(out.path().join("clips.csv"), b"theirs").unwrap();
        let error = ledger(out.path())
            .write(Path::new("clips.csv"), b"ours")
            .unwrap_err();
        assert_eq!(error.kind(), ErrorKind::WouldReplace);
        // Nor is it listed, or a card that holds it would be taken for ours.
        assert!(!ledger(out.path()).lists(Path::new("clips.csv")));
    }

    #[test]
    fn a_run_killed_between_list_and_file_can_be_repeated() {
        let out = tempfile::tempdir().unwrap();
        let name = Path::new("clips.csv");
        ledger(out.path()).write(name, b"one").unwrap();
        // The list names the next content already; the file is still the old one.
        let line = Line {
            file: text_of(name),
            sha256: Some(digest::sha256(b"two")),
            ..Line::default()
        };
        ledger(out.path()).note(line).unwrap();
        ledger(out.path()).write(name, b"two").unwrap();
        assert_eq!(fs::read(out.path().join(name)).unwrap(), b"two");
        // ... or half a line was written.
        let list = out.path().join(NOTES).join(FILE);
        let mut text = fs::read(&list).unwrap();
        text.extend_from_slice(b"{\"file\": \"cli");
        fs::write(&list, text).unwrap();
        ledger(out.path()).write(name, b"two").unwrap();
    }

    #[test]
    fn a_file_written_in_pieces_is_as_safe_as_one_written_at_once() {
        let out = tempfile::tempdir().unwrap();
        let name = Path::new("report.html");
        let file = out.path().join(name);
        let put = |text: &str| {
            ledger(out.path()).write_long(name, |to| {
                text.split_inclusive(' ')
                    .try_for_each(|piece| to.write_all(piece.as_bytes()))
            })
        };
        put("one and two").unwrap();
        let changed = || fs::metadata(&file).unwrap().modified().unwrap();
        let before = changed();
        put("one and two").unwrap();
        assert_eq!(changed(), before, "the same again touches nothing");
        put("three").unwrap();
        // The list is the same as that of a file written at once.
        ledger(out.path()).write(name, b"four").unwrap();
        fs::write(&file, b"four, and my remarks").unwrap();
        let error = put("five").unwrap_err();
        assert_eq!(error.kind(), ErrorKind::WouldReplace);
        assert_eq!(fs::read(&file).unwrap(), b"four, and my remarks");
        // What fails half-way leaves neither half a file nor a temporary one.
        let failed = ledger(out.path()).write_long(Path::new("new.html"), |to| {
            to.write_all(b"half")?;
            Err(io::Error::other("the disk is full"))
        });
        assert_eq!(failed.unwrap_err().kind(), ErrorKind::CannotWrite);
        let left: Vec<_> = fs::read_dir(out.path())
            .unwrap()
            .map(|entry| entry.unwrap().file_name())
            .collect();
        assert_eq!(left.len(), 2, "{left:?}");
        // A file of the same bytes is ours to take over, whoever forgot that it is ours.
        fs::remove_dir_all(out.path().join(NOTES)).unwrap();
        put("four, and my remarks").unwrap();
        put("six").unwrap();
    }

    #[test]
    fn a_long_file_is_made_once_per_source() {
        let out = tempfile::tempdir().unwrap();
        let name = Path::new("A001.preview.mp4");
        let mut ledger = ledger(out.path());
        let make = |ledger: &mut Ledger, from: &str, text: &str| {
            ledger.make(name, from, |file| {
                fs::write(file, text).unwrap();
                Ok(Some(()))
            })
        };
        assert!(ledger.made(name, "take 1").is_none());
        make(&mut ledger, "take 1", "pictures").unwrap().unwrap();
        assert!(ledger.made(name, "take 1").is_some() && ledger.made(name, "take 2").is_none());
        make(&mut ledger, "take 2", "others").unwrap().unwrap();
        assert!(ledger.made(name, "take 2").is_some());
        fs::write(out.path().join(name), b"cut by hand").unwrap();
        assert!(ledger.made(name, "take 2").is_none());
        let error = make(&mut ledger, "take 3", "again").unwrap_err();
        assert_eq!(error.kind(), ErrorKind::WouldReplace);
    }
}
