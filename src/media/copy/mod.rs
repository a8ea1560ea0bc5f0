//! Copies of clips with a timecode track: pictures, sound and all else as they
//! were, one timecode track that replaces an older one.
//!
//! - [`copy_with_timecode`]: the way of one copy, from checks to the finished name;
//!   `start` is what it is given, `report` what it tells
//! - `job`: a copy filled and compared
//! - `graft`, `moov`, `track`, `tree`: a timecode track put into QuickTime and MP4
//!   without moving a byte of media: the file, its index, the track, boxes
//! - `mxf`: the timecode fields of an MXF file, set in their place
//! - `rewrap`: streams of other containers moved into a new QuickTime or MP4 file
//! - `trial`: whether a stream still plays in a new container; `lost`: which of its
//!   tags and tellings are not there
//! - `survey`, `compare`: what source and copy hold, and whether it is the same
//!
//! `docs/copies.md` says why copies are made so, and what was measured.

mod compare;
mod graft;
mod job;
mod lost;
mod moov;
mod mxf;
mod report;
mod rewrap;
mod start;
mod survey;
mod track;
mod tree;
mod trial;

pub use report::{CopiedStream, CopyReport, CopyWay, StreamDigest};
pub use start::CopyTimecode;

use super::Clip;
use crate::error::{Error, ErrorKind, Result};
use crate::frame::Footage;
use crate::progress::{Event, Listener, Wish};
use crate::save;
use graft::Layout;
use job::Job;
use rewrap::Family;
use std::fs::File;
use std::io;
use std::path::{Path, PathBuf};

/// Room that a copy may need beyond its source's size: a second index, new
/// headers. One part in so many, and a megabyte.
const EXTRA_PART: u64 = 50;
const EXTRA_BYTES: u64 = 1 << 20;

/// What kind of container a source is, and so how it is copied.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Route {
    /// QuickTime or MP4 with one index.
    Graft,
    Mxf,
    Rewrap(Family),
}

impl Route {
    fn of(source: &Path, container: &str) -> Result<Self> {
        if container == "mxf" {
            return Ok(Self::Mxf);
        }
        if container.split(',').any(|name| name == "mov") {
            let mut file = File::open(source).map_err(cannot_read)?;
            let layout = Layout::of(&mut file)?;
            if !layout.is_fragmented {
                return Ok(Self::Graft);
            }
            let family = if layout.is_quicktime {
                Family::QuickTime
            } else {
                Family::Mp4
            };
            rewrap::check(&mut survey::demuxer(source)?, family)?;
            return Ok(Self::Rewrap(family));
        }
        rewrap::choose(&mut survey::demuxer(source)?).map(Self::Rewrap)
    }

    /// The file name of a copy: containers keep their kind and name. A new container's
    /// ending goes behind the whole name: in place of the old one it would give the name
    /// of another clip, `A001.mov` to a copy of `A001.mkv`.
    fn name(self, source: &Path, container: &str) -> PathBuf {
        let name = PathBuf::from(source.file_name().unwrap_or_default());
        match self {
            Self::Rewrap(family) if !container.split(',').any(|name| name == "mov") => {
                let ending = family.muxer();
                let has_ending = (name.extension()).is_some_and(|e| e.eq_ignore_ascii_case(ending));
                if has_ending {
                    name
                } else {
                    with_ending(&name, ending)
                }
            }
            _ => name,
        }
    }
}

/// `name.ending`, whatever ending the name has.
fn with_ending(name: &Path, ending: &str) -> PathBuf {
    let mut whole = name.as_os_str().to_owned();
    whole.push(".");
    whole.push(ending);
    whole.into()
}

/// The file name that a copy of this clip gets: its own, or with `.mov` or `.mp4`
/// behind it if its container holds no timecode track.
///
/// # Errors
/// [`ErrorKind::BadRequest`] with the codec that none of these containers takes;
/// those of [`super::open()`].
pub fn copied_name(source: &Path) -> Result<PathBuf> {
    let named = || {
        let clip = Clip::open(source, 0)?;
        let container = &clip.facts().container;
        Ok(Route::of(source, container)?.name(source, container))
    };
    named().map_err(|e: Error| e.in_file(source))
}

/// Copies a clip and gives the copy a timecode track: `start` is the label of
/// frame 0. `target` must have the extension that [`copied_name`] tells; an older
/// copy of the same clip is replaced. The source is only read. `None`, and nothing
/// left behind, if the listener wants to stop.
///
/// # Errors
/// Those of [`super::open()`]; [`ErrorKind::BadRequest`] if codec or container
/// cannot be carried, or the extension is another; [`ErrorKind::Undecodable`] if
/// the source is cut off; [`ErrorKind::WouldReplace`] if `target` holds
/// anything but an older copy of the same clip; [`ErrorKind::CannotWrite`] if
/// there is not room enough, writing fails, or the copy read back is not equal.
pub fn copy_with_timecode(
    source: &Path,
    target: &Path,
    start: &CopyTimecode,
    listener: &mut dyn Listener,
) -> Result<Option<CopyReport>> {
    let clip = Clip::open(source, 0).map_err(|e| e.in_file(source))?;
    let route = Route::of(source, &clip.facts().container).map_err(|e| e.in_file(source))?;
    check_extension(&route.name(source, &clip.facts().container), target)?;
    let source_bytes = std::fs::metadata(source)
        .map_err(|e| cannot_read(e).in_file(source))?
        .len();
    if save::is_same_file(source, target) {
        let what = "not written: the copy would take the place of the clip itself";
        let refusal = would_replace(what.into()).next("choose another output folder");
        return Err(refusal.in_file(target));
    }
    let origin = origin(source, source_bytes);
    let may_replace = |old: &mut File| match graft::copied_from(old) {
        Some(old) if old == origin => Ok(()),
        Some(other) => Err(would_replace(copy_of(&other, source))),
        None => Err(would_replace(match route {
            Route::Mxf => "MXF has no place to say whose copy a file is".into(),
            Route::Graft | Route::Rewrap(_) => "this file is not a copy that Rollmark made".into(),
        })),
    };
    let job = Job {
        source,
        start,
        route,
        source_bytes,
        origin: &origin,
    };
    let mut heard = Heard {
        listener,
        done_bytes: 0,
        total_bytes: 3 * source_bytes,
    };
    save::long_file(target, may_replace, |temporary| {
        check_space(source, target, source_bytes)?;
        job.fill(clip, temporary, &mut heard)
    })
    .map_err(|e| match e.kind() {
        ErrorKind::CannotWrite => e.in_file(target),
        _ => e.in_file(source),
    })
}

/// Tells the listener how far things are.
struct Heard<'a> {
    listener: &'a mut dyn Listener,
    done_bytes: u64,
    total_bytes: u64,
}

impl Heard<'_> {
    fn advance(&mut self, bytes: u64) -> Wish {
        self.done_bytes += bytes;
        self.listener.hear(Event::Copying {
            done_bytes: self.done_bytes.min(self.total_bytes),
            total_bytes: self.total_bytes,
        })
    }
}

/// Who a copy is of, as its mark says: name and length, no folder, so that the
/// same clip gives the same bytes wherever it lies.
fn origin(source: &Path, source_bytes: u64) -> String {
    let name = source.file_name().unwrap_or_default().to_string_lossy();
    format!("{source_bytes} bytes {name}")
}

/// Says whose copy a file is, from its mark: not this source's.
fn copy_of(origin: &str, source: &Path) -> String {
    let own = source.file_name().unwrap_or_default().to_string_lossy();
    match origin.split_once(" bytes ") {
        Some((bytes, name)) if name == own => {
            format!("this file is a copy of another {name}, of {bytes} bytes")
        }
        Some((_, name)) => format!("this file is a copy of another clip, {name}"),
        None => "this file is a copy of another clip".to_owned(),
    }
}

fn check_extension(name: &Path, target: &Path) -> Result<()> {
    let (wanted, given) = (name.extension(), target.extension());
    let is_same = match (wanted, given) {
        (Some(wanted), Some(given)) => wanted.eq_ignore_ascii_case(given),
        (wanted, given) => wanted == given,
    };
    if is_same {
        return Ok(());
    }
    let wanted = wanted.unwrap_or_default().to_string_lossy();
    Err(Error::new(
        ErrorKind::BadRequest,
        format!("a copy of this clip is a file of the kind `{wanted}`"),
    )
    .in_file(target)
    .next(format!("give it the extension `{wanted}`")))
}

/// Before the first byte is written: a full disk should be found out now.
fn check_space(source: &Path, target: &Path, source_bytes: u64) -> Result<()> {
    let folder = target
        .parent()
        .filter(|folder| !folder.as_os_str().is_empty());
    let folder = folder.unwrap_or(Path::new("."));
    let needed = source_bytes + source_bytes / EXTRA_PART + EXTRA_BYTES;
    // Where the system cannot tell, writing will.
    match fs4::available_space(folder) {
        Ok(free) if free < needed => Err(no_room(folder, needed, free).in_file(source)),
        _ => Ok(()),
    }
}

fn no_room(folder: &Path, needed: u64, free: u64) -> Error {
    let megabytes = |bytes: u64| bytes.div_ceil(1_000_000);
    Error::new(
        ErrorKind::CannotWrite,
        format!(
            "its copy needs {} MB, and there are {} MB free in {}",
            megabytes(needed),
            megabytes(free),
            folder.display()
        ),
    )
    .next("make room, or choose another folder")
}

fn cannot_read(cause: io::Error) -> Error {
    Error::new(ErrorKind::CannotOpen, "cannot be read")
        .next("check that the drive is connected, or copy the file elsewhere and try again")
        .because(cause)
}

fn cannot_write(cause: impl Into<Box<dyn std::error::Error + Send + Sync>>) -> Error {
    Error::new(ErrorKind::CannotWrite, "the copy cannot be written")
        .next("choose another folder, or look at its rights and at the free space")
        .because(cause)
}

fn would_replace(what: String) -> Error {
    Error::new(ErrorKind::WouldReplace, what)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_full_drive_is_told_with_the_clip_and_the_folder() {
        let error = no_room(Path::new("out/day"), 566_000_000, 3_000_000);
        let error = error.in_file("card/A001.mov").to_string();
        for part in ["card/A001.mov", "566 MB", "3 MB free in out/day"] {
            assert!(error.contains(part), "{error}");
        }
    }
}
