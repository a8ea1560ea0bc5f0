//! Clips and FFmpeg: the only folder that touches it.
//!
//! - [`open()`], [`Clip`]: a clip as [`crate::frame::Footage`]; frame 0 is the first
//!   frame presented, times are exact, pictures are luma as a person sees it
//! - `open`: opening a file and saying why it cannot be opened
//! - `source`: packets to decoded frames, jumps
//! - `claims`: what the container claims, into [`crate::facts::ClipFacts`]
//! - `stamps`, `spacing`: frame times and their repair; even or variable, nominal rate
//! - `luma`, `orient`: any pixel format to 8-bit luma; turning and mirroring
//! - [`copy_with_timecode`]: a clip copied as it is, with a timecode track
//! - [`Recorder`]: pictures to a movie file, for rehearsals; `record/options` says what
//!   can be asked for, `record/sound` is its tone
//! - `boxes`, `edits`, `mxf`: what FFmpeg keeps silent about in MP4 and QuickTime, and in MXF

mod boxes;
mod claims;
mod clip;
mod copy;
mod edits;
mod luma;
mod mxf;
mod open;
mod orient;
mod record;
mod source;
mod spacing;
mod stamps;

pub use clip::Clip;
pub use copy::{
    CopiedStream, CopyReport, CopyTimecode, CopyWay, StreamDigest, copied_name, copy_with_timecode,
};
pub use record::{Picture, Quality, RecordCodec, RecordOptions, Recorder, Stamps};

use crate::error::Result;
use crate::facts::HeaderFacts;
use std::path::Path;

/// Opens a clip of any container and codec that FFmpeg knows, and decodes frame 0.
///
/// # Errors
/// Says which file, what is wrong and what to do: [`CannotOpen`], [`IsFolder`],
/// [`Empty`], [`NotVideo`], [`NoIndex`] (an MP4 or QuickTime file that was cut
/// off before its index was written), [`NoPicture`], [`NoDecoder`], [`Undecodable`].
///
/// [`CannotOpen`]: crate::error::ErrorKind::CannotOpen
/// [`IsFolder`]: crate::error::ErrorKind::IsFolder
/// [`Empty`]: crate::error::ErrorKind::Empty
/// [`NotVideo`]: crate::error::ErrorKind::NotVideo
/// [`NoIndex`]: crate::error::ErrorKind::NoIndex
/// [`NoPicture`]: crate::error::ErrorKind::NoPicture
/// [`NoDecoder`]: crate::error::ErrorKind::NoDecoder
/// [`Undecodable`]: crate::error::ErrorKind::Undecodable
pub fn open(path: &Path) -> Result<Clip> {
    open_beside(path, 0)
}

/// As [`open()`], for a clip that shares the cores with as many others as are read at the same
/// time, `beside` it.
///
/// # Errors
/// As [`open()`].
pub fn open_beside(path: &Path, beside: usize) -> Result<Clip> {
    Clip::open(path, beside).map_err(|e| e.in_file(path))
}

/// What the container claims, for a look at many files: pictures are decoded only where it does
/// not say what they are.
///
/// # Errors
/// As [`open()`].
pub fn header(path: &Path) -> Result<HeaderFacts> {
    clip::header(path).map_err(|e| e.in_file(path))
}

/// The version of the FFmpeg libraries in use, as they name it, e.g. `5.1.6-0+deb12u1`.
pub fn ffmpeg_version() -> String {
    // SAFETY: FFmpeg returns a pointer to a static, zero-terminated string.
    let version = unsafe { std::ffi::CStr::from_ptr(ffmpeg_next::ffi::av_version_info()) };
    version.to_string_lossy().into_owned()
}
