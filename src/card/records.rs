//! What a run leaves for the next one, below the output folder: one file per clip that was
//! read, and one for all probes. A record counts only while file, settings, tool and model
//! are what they were.

use super::scan::STATE_FOLDER;
use super::sift::Probe;
use crate::digest;
use crate::error::{Error, ErrorKind, Result};
use crate::outcome::{ClipOutcome, Evidence, Tool};
use crate::path_text::text_of;
use crate::save::{self, FileStamp};
use serde::{Deserialize, Serialize, de::DeserializeOwned};
use std::collections::{BTreeMap, BTreeSet};
use std::fs::{self, File, TryLockError};
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};

/// Version of the records. They are this program's own: another number is no record.
const RECORD_FORMAT: u32 = 2;

/// Letters of a digest, SHA-256 in hexadecimal.
const DIGEST_LETTERS: usize = 64;

/// The records of one output folder, locked against a second run until dropped.
pub(super) struct Records {
    folder: PathBuf,
    settings: String,
    tool: Tool,
    /// Held for its lock, which ends with the process, however it ends.
    _lock: File,
}

/// The first line of a clip's record; the evidence is the second. Every line is
/// [`sealed`].
#[derive(Serialize, Deserialize)]
struct Head {
    format: u32,
    /// The whole path, as text; see [`text_of`].
    path: String,
    stamp: FileStamp,
    settings: String,
    tool: Tool,
    /// As it was measured: before corrections and before the clips were compared.
    outcome: ClipOutcome,
}

/// What stands on disk while a clip is read.
#[derive(Serialize, Deserialize)]
struct Attempt {
    stamp: FileStamp,
    settings: String,
    tool: Tool,
    /// How often the reading was begun, this time included.
    times: u32,
}

#[derive(Serialize, Deserialize)]
struct Probes {
    format: u32,
    tool: Tool,
    files: BTreeMap<String, (FileStamp, Probe)>,
}

impl Records {
    /// Makes sure that results can be written to `out`, keeps other runs away from it, and
    /// removes what a killed run left half-written.
    ///
    /// # Errors
    /// [`ErrorKind::CannotWrite`] if nothing can be written there, or if another run is at
    /// work there.
    pub fn open(out: &Path, settings: &str, tool: &Tool) -> Result<Self> {
        let folder = out.join(STATE_FOLDER);
        for folder in [out, &folder, &folder.join("clips"), &folder.join("begun")] {
            save::prepare_folder(folder)?;
        }
        let path = folder.join("lock");
        let lock = File::options()
            .create(true)
            .truncate(false)
            .write(true)
            .open(&path)
            .map_err(|e| {
                Error::new(ErrorKind::CannotWrite, "cannot write this file")
                    .in_file(&path)
                    .next("choose another output folder, or look at its rights")
                    .because(e)
            })?;
        // Some network drives have no locks; there, two runs at once are the user's risk.
        if let Err(TryLockError::WouldBlock) = lock.try_lock() {
            return Err(Error::new(
                ErrorKind::CannotWrite,
                "another run is writing into this folder",
            )
            .in_file(out)
            .next("wait until it is done, or choose another output folder"));
        }
        for folder in [out, &folder, &folder.join("clips"), &folder.join("begun")] {
            save::remove_leftovers(folder);
        }
        Ok(Self {
            folder,
            settings: settings.to_owned(),
            tool: tool.clone(),
            _lock: lock,
        })
    }

    /// The record of a clip that is still as it was when it was read.
    pub fn outcome(&self, whole_path: &Path, stamp: FileStamp) -> Option<ClipOutcome> {
        let head = self.head(whole_path)?;
        let is_valid =
            head.stamp == stamp && head.settings == self.settings && head.tool == self.tool;
        is_valid.then_some(head.outcome)
    }

    /// The path by which an earlier run knew the clip, whatever has changed since.
    pub fn earlier_path(&self, whole_path: &Path) -> Option<String> {
        Some(self.head(whole_path)?.outcome.clip.path)
    }

    fn head(&self, whole_path: &Path) -> Option<Head> {
        let head = head_of(&self.clip_file(whole_path))?;
        (head.path == text_of(whole_path)).then_some(head)
    }

    /// What was kept to check the clip by eye; nothing if there is no record.
    pub fn evidence(&self, whole_path: &Path) -> Evidence {
        let lines = File::open(self.clip_file(whole_path)).map(|f| BufReader::new(f).split(b'\n'));
        lines
            .ok()
            .and_then(|mut lines| lines.nth(1)?.ok())
            .and_then(|line| unsealed(&line))
            .unwrap_or_default()
    }

    /// Keeps what was measured.
    ///
    /// # Errors
    /// [`ErrorKind::CannotWrite`].
    pub fn keep(
        &self,
        whole_path: &Path,
        stamp: FileStamp,
        outcome: &ClipOutcome,
        evidence: &Evidence,
    ) -> Result<()> {
        let head = Head {
            format: RECORD_FORMAT,
            path: text_of(whole_path),
            stamp,
            settings: self.settings.clone(),
            tool: self.tool.clone(),
            outcome: outcome.clone(),
        };
        let lines = [sealed(&head), sealed(evidence)].concat();
        save::record(&lines, &self.clip_file(whole_path))
    }

    /// Removes the records of clips below `roots` that are none of `clips`: a card that is
    /// used again and again would fill the folder. A clip that comes back is read again.
    pub fn forget_others(&self, clips: &[&Path], roots: &[PathBuf]) {
        let kept: BTreeSet<String> = clips.iter().map(|clip| file_name(clip)).collect();
        let roots: Vec<String> = roots
            .iter()
            .map(|root| format!("{}/", text_of(root)))
            .collect();
        let entries = fs::read_dir(self.folder.join("clips"))
            .into_iter()
            .flatten();
        for file in entries.flatten().map(|entry| entry.path()) {
            let is_kept = file
                .file_name()
                .is_none_or(|name| kept.contains(&*name.to_string_lossy()));
            // Records of a card that is not looked at now may be asked for again.
            let is_below = |head: Head| roots.iter().any(|root| head.path.starts_with(root));
            if !is_kept && head_of(&file).is_some_and(is_below) {
                // What cannot be removed takes room and does no other harm.
                let _ = fs::remove_file(file);
            }
        }
    }

    /// Notes that the reading of a clip begins, and tells how often it did without an end:
    /// more than once if it ended the program, or somebody killed it.
    pub fn begin(&self, whole_path: &Path, stamp: FileStamp) -> u32 {
        let file = self.begun_file(whole_path);
        let before = fs::read(&file)
            .ok()
            .and_then(|bytes| unsealed::<Attempt>(bytes.trim_ascii_end()))
            .filter(|a| a.stamp == stamp && a.settings == self.settings && a.tool == self.tool)
            .map_or(0, |attempt| attempt.times);
        let attempt = Attempt {
            stamp,
            settings: self.settings.clone(),
            tool: self.tool.clone(),
            times: before.saturating_add(1),
        };
        // Only a help: the disk that takes no records will be told of when results are kept.
        let _ = fs::write(&file, sealed(&attempt));
        attempt.times
    }

    /// Notes that the reading of a clip ended, however.
    pub fn end(&self, whole_path: &Path) {
        let _ = fs::remove_file(self.begun_file(whole_path));
    }

    /// Probes of an earlier run of the same version; empty if there are none.
    pub fn probes(&self) -> BTreeMap<String, (FileStamp, Probe)> {
        fs::read(self.probes_file())
            .ok()
            .and_then(|bytes| unsealed::<Probes>(bytes.trim_ascii_end()))
            .filter(|kept| kept.format == RECORD_FORMAT && kept.tool == self.tool)
            .map(|kept| kept.files)
            .unwrap_or_default()
    }

    /// # Errors
    /// [`ErrorKind::CannotWrite`].
    pub fn keep_probes(&self, files: BTreeMap<String, (FileStamp, Probe)>) -> Result<()> {
        let probes = Probes {
            format: RECORD_FORMAT,
            tool: self.tool.clone(),
            files,
        };
        save::record(&sealed(&probes), &self.probes_file())
    }

    fn probes_file(&self) -> PathBuf {
        self.folder.join("probes.json")
    }

    fn clip_file(&self, whole_path: &Path) -> PathBuf {
        self.folder.join("clips").join(file_name(whole_path))
    }

    fn begun_file(&self, whole_path: &Path) -> PathBuf {
        self.folder.join("begun").join(file_name(whole_path))
    }
}

fn head_of(file: &Path) -> Option<Head> {
    let line = BufReader::new(File::open(file).ok()?)
        .split(b'\n')
        .next()?
        .ok()?;
    let head: Head = unsealed(&line)?;
    (head.format == RECORD_FORMAT).then_some(head)
}

/// One line: the digest of the JSON that follows it. A digit that rots on the disk would
/// still be JSON, and another start.
fn sealed(value: &impl Serialize) -> Vec<u8> {
    let json = serde_json::to_vec(value).expect("strings, numbers and lists always serialise");
    let digest = digest::sha256(&json);
    [digest.as_bytes(), b" ", &json, b"\n"].concat()
}

/// What a line holds, without its end; `None` if it is not as it was written.
fn unsealed<T: DeserializeOwned>(line: &[u8]) -> Option<T> {
    let (digest, rest) = line.split_at_checked(DIGEST_LETTERS)?;
    let json = rest.strip_prefix(b" ")?;
    let is_whole = digest::sha256(json).as_bytes() == digest;
    is_whole.then(|| serde_json::from_slice(json).ok())?
}

/// What the files of one clip are called.
fn file_name(whole_path: &Path) -> String {
    let digest = digest::sha256(whole_path.as_os_str().as_encoded_bytes());
    format!("{}.json", &digest[..32])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::outcome::Crop;
    use crate::sidecar::json::TOOL_NAME;

    const STAMP: FileStamp = FileStamp {
        size_byte: 7,
        changed_ns: 11,
    };

    fn tool(model: &str) -> Tool {
        Tool {
            name: TOOL_NAME.into(),
            version: "0.1.0".into(),
            model: model.into(),
        }
    }

    fn outcome() -> ClipOutcome {
        let error = Error::new(ErrorKind::NoIndex, "has no index");
        ClipOutcome::failed(Path::new("card/a.mov"), &error, tool("a"))
    }

    #[test]
    fn a_record_counts_while_file_settings_and_model_are_the_same() {
        let out = tempfile::tempdir().unwrap();
        let clip = Path::new("/card/a.mov");
        let records = Records::open(out.path(), "s", &tool("a")).unwrap();
        assert_eq!(records.outcome(clip, STAMP), None);
        records
            .keep(clip, STAMP, &outcome(), &Evidence::default())
            .unwrap();
        assert_eq!(records.outcome(clip, STAMP), Some(outcome()));
        assert_eq!(records.outcome(Path::new("/card/b.mov"), STAMP), None);
        for stamp in [
            FileStamp {
                size_byte: 8,
                ..STAMP
            },
            FileStamp {
                changed_ns: 12,
                ..STAMP
            },
        ] {
            assert_eq!(records.outcome(clip, stamp), None);
        }
        drop(records);
        for (settings, model) in [("other", "a"), ("s", "b")] {
            let records = Records::open(out.path(), settings, &tool(model)).unwrap();
            assert_eq!(records.outcome(clip, STAMP), None);
            assert_eq!(records.earlier_path(clip).as_deref(), Some("card/a.mov"));
        }
    }

    #[test]
    fn a_damaged_record_is_no_record() {
        let out = tempfile::tempdir().unwrap();
        let clip = Path::new("/card/a.mov");
        let records = Records::open(out.path(), "s", &tool("a")).unwrap();
        records
            .keep(clip, STAMP, &outcome(), &Evidence::default())
            .unwrap();
        let file = records.clip_file(clip);
        let whole = fs::read(&file).unwrap();
        fs::write(&file, &whole[..whole.len() / 2]).unwrap();
        assert_eq!(records.outcome(clip, STAMP), None);
        assert_eq!(records.evidence(clip), Evidence::default());
    }

    /// One bit is enough to make another digit of a digit.
    #[test]
    fn a_record_in_which_any_bit_has_changed_is_no_record() {
        let out = tempfile::tempdir().unwrap();
        let clip = Path::new("/card/a.mov");
        let records = Records::open(out.path(), "s", &tool("a")).unwrap();
        let evidence = Evidence {
            crops: vec![Crop {
                seconds: 1.5,
                digits: "10".into(),
                label: None,
                png: String::new(),
            }],
            points: Vec::new(),
        };
        records.keep(clip, STAMP, &outcome(), &evidence).unwrap();
        assert_eq!(records.evidence(clip), evidence);
        let file = records.clip_file(clip);
        let whole = fs::read(&file).unwrap();
        for at in 0..whole.len() {
            for bit in 0..8 {
                let mut changed = whole.clone();
                changed[at] ^= 1 << bit;
                fs::write(&file, changed).unwrap();
                let is_kept = records.outcome(clip, STAMP).is_some();
                let has_evidence = records.evidence(clip) == evidence;
                assert!(
                    !(is_kept && has_evidence) || at + 1 == whole.len(),
                    "byte {at}, bit {bit}"
                );
            }
        }
    }

    #[test]
    fn a_clip_at_which_the_program_ended_is_known_until_it_changes() {
        let out = tempfile::tempdir().unwrap();
        let clip = Path::new("/card/a.mov");
        let open = |settings| Records::open(out.path(), settings, &tool("a")).unwrap();
        for times in 1..4 {
            assert_eq!(open("s").begin(clip, STAMP), times);
        }
        assert_eq!(open("other").begin(clip, STAMP), 1);
        open("other").end(clip);
        assert_eq!(open("other").begin(clip, STAMP), 1);
    }

    #[test]
    fn two_runs_do_not_share_an_output_folder() {
        let out = tempfile::tempdir().unwrap();
        let first = Records::open(out.path(), "s", &tool("a")).unwrap();
        let error = Records::open(out.path(), "s", &tool("a")).err().unwrap();
        assert!(error.to_string().contains("another run"), "{error}");
        drop(first);
        Records::open(out.path(), "s", &tool("a")).unwrap();
    }
}
