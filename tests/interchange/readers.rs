//! Other people's readers, run as programs.

use crate::root;
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// The Python that has the reference libraries: `scripts/setup` makes it; the variable
/// `ROLLMARK_CHECKS_PYTHON` names another.
fn python() -> PathBuf {
    let made = root().join("target/checks-venv/bin/python");
    let python = std::env::var_os("ROLLMARK_CHECKS_PYTHON").map_or(made, PathBuf::from);
    assert!(
        python.exists(),
        "{} is missing; scripts/setup makes it",
        python.display()
    );
    python
}

/// A file with these bytes, for as long as the folder lives.
fn file(folder: &Path, name: &str, bytes: &[u8]) -> PathBuf {
    let file = folder.join(name);
    fs::write(&file, bytes).unwrap();
    file
}

fn json_of(command: &mut Command) -> Value {
    let output = command
        .output()
        .unwrap_or_else(|e| panic!("{command:?}: {e}; scripts/setup installs what the tests need"));
    assert!(
        output.status.success(),
        "{command:?}:\n{}",
        String::from_utf8_lossy(&output.stderr)
    );
    serde_json::from_slice(&output.stdout).unwrap()
}

/// `kind` as in `check.py`.
pub fn check(kind: &str, bytes: &[u8], more: &[&str]) -> Value {
    let folder = tempfile::tempdir().unwrap();
    let name = match kind {
        "otio" => "timeline.otio",
        _ => "file",
    };
    let mut command = Command::new(python());
    command
        .arg(root().join("tests/interchange/check.py"))
        .arg(kind)
        .arg(file(folder.path(), name, bytes))
        .args(more);
    json_of(&mut command)
}

/// The tags that exiftool finds in a packet, structures kept.
pub fn exiftool(bytes: &[u8]) -> Value {
    let folder = tempfile::tempdir().unwrap();
    let mut command = Command::new("exiftool");
    command
        .args(["-j", "-struct", "-n", "-XMP:all", "-warning", "-error"])
        .arg(file(folder.path(), "packet.xmp", bytes));
    json_of(&mut command)[0].take()
}
