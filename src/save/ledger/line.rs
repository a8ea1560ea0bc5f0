//! One line of the list: its form today and in earlier versions, how lines are read and how one
//! is put behind the others.

use crate::note::Note;
use crate::path_text::{from_bytes, text_of};
use crate::save::holder::Source;
use crate::save::{FileStamp, folder_of, sync_folder};
use serde::{Deserialize, Serialize};
use std::fs::{self, File};
use std::io::{self, BufRead, BufReader, Read, Seek, SeekFrom, Write};
use std::path::Path;

/// Of a longer list the rest is passed over, in bytes: a file takes some five hundred a run.
const LONGEST_LIST_BYTE: u64 = 256 << 20;

/// One line of the list: a file as it was written.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Line {
    /// Below the output folder; see [`text_of`].
    pub file: String,
    /// `None` for files that carry a mark of their own and would take long to read.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sha256: Option<String>,
    /// For files that take long to make: from what, and how they lay on disk.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub made: Option<Made>,
    /// On a line of its own: what the file hands on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub told: Option<Told>,
    /// On a line of its own: the clip that it speaks of.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub source: Option<Source>,
}

/// What a file hands on, for later runs that find otherwise.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Told {
    /// The clip it speaks of; `None` if it speaks of all.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clip: Option<String>,
    /// The start that it says, or what stands for the starts of all clips.
    pub start: String,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Made {
    pub from: String,
    pub stamp: FileStamp,
    /// What was told of it, for runs that find it there.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub notes: Vec<Note>,
}

impl Made {
    pub fn of(file: &Path, from: &str) -> io::Result<Self> {
        Ok(Self {
            from: from.to_owned(),
            stamp: FileStamp::of(&fs::metadata(file)?),
            notes: Vec::new(),
        })
    }
}

impl Line {
    /// The lines of `list`, with names as they are written today. No list is an empty list; what
    /// cannot be read as a line, as a killed run may leave one, is passed over, and so is what lies
    /// behind the longest list that is read. A card may bring one of somebody else's: it is opened
    /// where it is a plain file only.
    pub fn read_all(list: &Path) -> io::Result<Vec<Self>> {
        match fs::symlink_metadata(list) {
            Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
            Ok(facts) if !facts.is_file() => {
                return Err(io::Error::new(
                    io::ErrorKind::InvalidInput,
                    "it is no plain file",
                ));
            }
            facts => facts?,
        };
        let file = File::open(list)?.take(LONGEST_LIST_BYTE);
        let mut lines = Vec::new();
        for text in BufReader::new(file).split(b'\n') {
            let Ok(mut line) = serde_json::from_slice::<Self>(&text?) else {
                continue;
            };
            line.file = name_of_line(&line.file);
            if let Some(source) = &mut line.source {
                source.path = format!("/{}", name_of_line(&source.path));
            }
            lines.push(line);
        }
        Ok(lines)
    }

    /// Puts it behind the last line of `list`, which is made if missing.
    pub fn append_to(&self, list: &Path) -> io::Result<()> {
        let mut text = serde_json::to_vec(self).expect("strings always serialise");
        text.push(b'\n');
        fs::create_dir_all(folder_of(list))?;
        let mut file = File::options()
            .create(true)
            .read(true)
            .append(true)
            .open(list)?;
        // Half a line, as a full disk leaves it, must not spoil the one that follows.
        let mut last = [b'\n'];
        if file.seek(SeekFrom::End(0))? > 0 {
            file.seek(SeekFrom::End(-1))?;
            file.read_exact(&mut last)?;
        }
        if last != [b'\n'] {
            text.insert(0, b'\n');
        }
        file.write_all(&text)?;
        file.sync_all()?;
        sync_folder(folder_of(list))
    }
}

/// The name of a file in a list of today or of an earlier version, which wrote what is not ASCII,
/// quotes and the backslash as `u8::escape_ascii` does. The two never mean different files by one
/// text: today a backslash stands before `xNN` only, and there for the same byte.
fn name_of_line(text: &str) -> String {
    let mut bytes = Vec::with_capacity(text.len());
    let mut rest = text.as_bytes();
    while let [first, behind @ ..] = rest {
        let (byte, length) = match (first, behind) {
            (b'\\', [b'x', high, low, ..]) => match hex_byte(*high, *low) {
                Some(byte) => (byte, 4),
                None => (b'\\', 1),
            },
            (b'\\', [b't', ..]) => (b'\t', 2),
            (b'\\', [b'r', ..]) => (b'\r', 2),
            (b'\\', [b'n', ..]) => (b'\n', 2),
            (b'\\', [quoted @ (b'\\' | b'\'' | b'"'), ..]) => (*quoted, 2),
            _ => (*first, 1),
        };
        bytes.push(byte);
        rest = &rest[length..];
    }
    text_of(&from_bytes(bytes))
}

fn hex_byte(high: u8, low: u8) -> Option<u8> {
    let digit = |byte: u8| char::from(byte).to_digit(16);
    u8::try_from(digit(high)? * 16 + digit(low)?).ok()
}

#[cfg(test)]
mod tests {
    use super::super::FILE;
    use super::super::tests::{NOTES, ledger};
    use super::*;
    use crate::digest;
    use std::path::PathBuf;

    /// A full disk takes half a line, and later has room again.
    #[test]
    fn half_a_line_spoils_neither_the_list_nor_the_line_behind_it() {
        let out = tempfile::tempdir().unwrap();
        let (one, two) = (Path::new("one.csv"), Path::new("two.csv"));
        ledger(out.path()).write(one, b"1").unwrap();
        let list = ledger(out.path()).list;
        let mut bytes = fs::read(&list).unwrap();
        bytes.extend(b"{\"file\":\"two.c\xff");
        fs::write(&list, bytes).unwrap();
        ledger(out.path()).write(two, b"2").unwrap();
        ledger(out.path()).write(one, b"1, again").unwrap();
        ledger(out.path()).write(two, b"2, again").unwrap();
        assert_eq!(fs::read(out.path().join(two)).unwrap(), b"2, again");
    }

    #[cfg(unix)]
    #[test]
    fn a_list_of_an_earlier_version_means_the_files_that_it_meant() {
        use std::os::unix::ffi::OsStrExt;
        let out = tempfile::tempdir().unwrap();
        let list = out.path().join(NOTES).join(FILE);
        fs::create_dir_all(folder_of(&list)).unwrap();
        let told = |start: &str| Told {
            clip: None,
            start: start.into(),
        };
        let names: [&[u8]; 6] = [
            "Müller's/1.xmp".as_bytes(),
            b"\"2\".xmp",
            b"back\\x41.xmp",
            b"tab\tbell\x07.xmp",
            b"not\xFFutf8\x85.xmp",
            b"plain.xmp",
        ];
        let text: String = names
            .iter()
            .map(|name| {
                let file = name.escape_ascii().to_string();
                let source = serde_json::json!({
                    "file": &file,
                    "source": {"path": format!("/{file}"), "stamp": FileStamp::of(
                        &fs::metadata(out.path()).unwrap())},
                });
                let told = serde_json::json!({"file": &file, "told": told(&file)});
                let line = serde_json::json!({"file": &file, "sha256": digest::sha256(b"old")});
                format!("{line}\n{told}\n{source}\n")
            })
            .collect();
        fs::write(&list, text).unwrap();
        for name in names {
            let file = PathBuf::from(std::ffi::OsStr::from_bytes(name));
            let mut ledger = ledger(out.path());
            let at_first = told(&name.escape_ascii().to_string());
            assert_eq!(ledger.told(&file), Some(&at_first));
            assert!(ledger.all_told().any(|(of, _)| of == file), "{file:?}");
            assert_eq!(
                ledger.sources[&text_of(&file)].path,
                format!("/{}", text_of(&file))
            );
            // It is ours: replaced, and what is noted of it now is what the next run finds.
            let there = out.path().join(&file);
            fs::create_dir_all(folder_of(&there)).unwrap();
            fs::write(&there, b"old").unwrap();
            ledger.write(&file, b"new").unwrap();
            ledger.note_told(&file, &told("later")).unwrap();
        }
        let ledger = ledger(out.path());
        assert_eq!(ledger.all_told().count(), names.len());
        for (file, now) in ledger.all_told() {
            assert_eq!(now.start, "later", "{file:?}");
            assert!(ledger.remove(&file).unwrap(), "{file:?}");
        }
    }
}
