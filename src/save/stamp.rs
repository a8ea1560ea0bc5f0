//! What tells a file that was changed, without reading it.

use serde::{Deserialize, Serialize};
use std::fs::Metadata;
use std::time::{Duration, UNIX_EPOCH};

/// Size and time of a file, as the file system tells them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct FileStamp {
    pub size_byte: u64,
    /// Last change, nanoseconds since 1970; 0 if the file system tells none.
    pub changed_ns: i64,
}

impl FileStamp {
    pub fn of(facts: &Metadata) -> Self {
        let ns = |d: Duration| i64::try_from(d.as_nanos()).unwrap_or(i64::MAX);
        let changed_ns = match facts.modified() {
            Err(_) => 0,
            Ok(time) => time
                .duration_since(UNIX_EPOCH)
                .map_or_else(|before| -ns(before.duration()), ns),
        };
        Self {
            size_byte: facts.len(),
            changed_ns,
        }
    }
}
