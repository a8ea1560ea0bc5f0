//! What a finished copy holds.

use super::survey;
use crate::note::Note;

/// How a copy was made.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CopyWay {
    /// The file's bytes as they are, with a new index or changed timecode fields.
    AsItIs,
    /// The streams in a new container.
    Rewrapped,
}

/// What a finished copy holds.
#[derive(Clone, Debug)]
pub struct CopyReport {
    pub way: CopyWay,
    /// Streams that were carried, in the file's order, without timecode.
    pub streams: Vec<CopiedStream>,
    /// Older timecode that the new one stands for.
    pub replaced: Vec<String>,
    /// What the source has and the copy has not, by name.
    pub not_carried: Vec<String>,
    pub notes: Vec<Note>,
}

/// A stream that is the same in source and copy: hashes are compared before
/// there is a report.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CopiedStream {
    /// `pictures (h264)`, `sound (aac)`, `data (mebx)`, ...
    pub name: String,
    pub source: StreamDigest,
    pub copy: StreamDigest,
}

/// Packets of one stream of one file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StreamDigest {
    /// Uncompressed sound is cut into packets as each container likes.
    pub packets: u64,
    pub bytes: u64,
    /// Over the packets' payloads in the file's order, hexadecimal. Where
    /// containers frame the same units differently, over the units.
    pub sha256: String,
}

impl CopiedStream {
    pub(super) fn of(source: &survey::Stream, copy: &survey::Stream) -> Self {
        let digest = |stream: &survey::Stream| StreamDigest {
            packets: stream.packets,
            bytes: stream.bytes,
            sha256: stream.sha256.clone(),
        };
        Self {
            name: copy.name(),
            source: digest(source),
            copy: digest(copy),
        }
    }
}
