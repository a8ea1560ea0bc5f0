//! Whose start a file in the output folder holds.

use super::FileStamp;
use crate::path_text::text_of;
use serde::{Deserialize, Serialize};
use std::fs;
use std::io;
use std::path::Path;

/// Whose start a file in the output folder holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Holder {
    /// There is no such file, or no run noted it.
    Unknown,
    ThisClip,
    /// That of the clip which lay there.
    Another(String),
}

/// A clip as it lay on disk when a file that speaks of it was written.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Source {
    /// The whole path, with the root before its [`text_of`].
    pub path: String,
    stamp: FileStamp,
}

impl Source {
    pub fn of(clip: &Path) -> io::Result<Self> {
        let whole = fs::canonicalize(clip)?;
        Ok(Self {
            path: format!("/{}", text_of(&whole)),
            stamp: FileStamp::of(&fs::metadata(&whole)?),
        })
    }

    /// True if it lies where it lay, or is a file of one name, size and time elsewhere: a card in
    /// another slot, or its copy on a disk.
    pub fn is(&self, other: &Self) -> bool {
        let name = |source: &Self| source.path.rsplit('/').next().map(str::to_owned);
        self.path == other.path || self.stamp == other.stamp && name(self) == name(other)
    }
}
