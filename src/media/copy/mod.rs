//! Copies of clips with a timecode track: pictures, sound and all else as they
//! were, one timecode track that replaces an older one.
//!
//! - [`copy_with_timecode`]: the way of one copy, from checks to the finished name;
//!   `start` is what it is given, `report` what it tells
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
use crate::frame::{Footage, Light};
use crate::note::{Note, TRUNCATED};
use crate::progress::{Event, Listener, Wish};
use crate::save;
use crate::timecode::Ratio;
use compare::{Law, compare, differs};
use graft::{Layout, Plan};
use moov::Amends;
use rewrap::{Family, Order};
use std::fs::File;
use std::io::{self, Seek, SeekFrom};
use std::path::{Path, PathBuf};
use survey::{Form, Survey};
use tempfile::NamedTempFile;

/// Bytes copied between two questions to the listener.
const COPY_BYTES: u64 = 32 << 20;

/// Room that a copy may need beyond its source's size: a second index, new
/// headers. One part in so many, and a megabyte.
const EXTRA_PART: u64 = 50;
const EXTRA_BYTES: u64 = 1 << 20;

/// A file may claim to be longer than its last packet by this much, as writers
/// round and guess.
const LENGTH_SLACK_S: (i128, i128) = (1, 2);

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

struct Job<'a> {
    source: &'a Path,
    start: &'a CopyTimecode,
    route: Route,
    source_bytes: u64,
    origin: &'a str,
}

impl Job<'_> {
    fn fill(
        &self,
        mut clip: Clip,
        temporary: &mut NamedTempFile,
        heard: &mut Heard,
    ) -> Result<Option<CopyReport>> {
        let form = match self.route {
            Route::Rewrap(_) => Form::Units,
            _ => Form::Stored,
        };
        let Some(before) = survey::survey(self.source, form, heard)? else {
            return Ok(None);
        };
        let mut report = CopyReport {
            way: CopyWay::AsItIs,
            streams: Vec::new(),
            replaced: Vec::new(),
            not_carried: Vec::new(),
            notes: Vec::new(),
        };
        let picture = clip.picture_stream();
        let pictures = &before.streams[picture];
        let zero = match self.route {
            Route::Rewrap(_) => pictures.frame_0(clip.zero_ticks()).ok_or_else(|| {
                Error::new(
                    ErrorKind::BadRequest,
                    "its pictures have no times of presentation",
                )
                .next("convert it to MOV first, and look whether its frames are in order")
            })?,
            _ => clip.zero_ticks(),
        };
        let zero_s = Ratio::from_integer(zero) * pictures.tick_seconds;
        self.refuse_damage(&clip, &before, zero_s, &mut report)?;
        let headless = pictures.headless(zero);
        if headless > 0 && matches!(self.route, Route::Rewrap(_)) {
            // Readers of the new container pass over them, so that nobody could compare them.
            return Err(Error::new(
                ErrorKind::Undecodable,
                format!("its head is missing: the first {headless} pictures cannot be shown"),
            )
            .next(
                "copy it from the card again; if it begins so there, too, convert it to MOV first",
            ));
        }
        let has_field_pairs = rewrap::has_field_pairs(pictures, clip.facts().rate);
        let from = match self.route {
            Route::Graft => {
                if !copy_bytes(self.source, temporary, self.source_bytes, heard)? {
                    return Ok(None);
                }
                let track = before.streams[picture].id;
                self.graft(temporary, track, zero_s, None, &mut report)?;
                None
            }
            Route::Mxf => {
                if !copy_bytes(self.source, temporary, self.source_bytes, heard)? {
                    return Ok(None);
                }
                self.set_in_mxf(temporary, &mut report)?;
                None
            }
            Route::Rewrap(family) => {
                report.way = CopyWay::Rewrapped;
                let order = Order {
                    source: self.source,
                    survey: &before,
                    family,
                    frame_0: (picture, zero),
                    has_field_pairs,
                };
                let Some(rewrapped) = rewrap::rewrap(&order, temporary.path(), heard)? else {
                    return Ok(None);
                };
                report.not_carried.extend(rewrapped.not_carried);
                let amends = Amends {
                    matrix: rewrap::matrix(self.source, picture)?,
                    ..rewrapped.shown
                };
                // The muxer counts tracks from 1.
                let track = rewrapped.from.iter().position(|at| *at == picture);
                let track = track.map_or(0, |at| at as i32 + 1);
                self.graft(temporary, track, Ratio::ZERO, Some(&amends), &mut report)?;
                Some(rewrapped.from)
            }
        };
        let Some(after) = survey::survey(temporary.path(), form, heard)? else {
            return Ok(None);
        };
        let mut copy = Clip::open(temporary.path(), 0).map_err(differs)?;
        let law = match &from {
            None => Law::Identical,
            Some(from) => Law::Rewrapped {
                from,
                field_pairs: has_field_pairs.then_some(picture),
                frame_0_s: [zero_s, Ratio::ZERO],
            },
        };
        report.streams = compare(&before, &after, &law)?;
        if let Some(from) = &from {
            if let Some(at) = trial::first_broken(self.source, temporary.path(), from)? {
                let name = &report.streams[at].name;
                return Err(differs(format!("its {name} plays in another way")));
            }
            let lost = lost::lost(self.source, temporary.path(), from, &report.streams)?;
            report.not_carried.extend(lost);
        }
        compare_frame_0(&mut clip, &mut copy)?;
        self.read_back(temporary, &copy)?;
        Ok(Some(report))
    }

    /// A copy would look whole and hide that its source is not.
    fn refuse_damage(
        &self,
        clip: &Clip,
        survey: &Survey,
        zero_s: Ratio,
        report: &mut CopyReport,
    ) -> Result<()> {
        let is_noted = clip.facts().notes.iter().any(|note| note.code == TRUNCATED);
        // Transport streams mark packets for small losses, which a copy may have, too.
        let is_transport = clip.facts().container == "mpegts";
        let is_lossy = survey.incomplete > 0 && !is_transport;
        let ends_early = clip.facts().duration_s.is_some_and(|length_s| {
            let slack = Ratio::new(LENGTH_SLACK_S.0, LENGTH_SLACK_S.1);
            survey.end_s() - zero_s + slack < length_s
        });
        if is_noted || is_lossy || ends_early {
            return Err(Error::new(
                ErrorKind::Undecodable,
                "is cut off: its last packets are missing",
            )
            .next("copy it from the card again; a timecode track would hide the damage"));
        }
        if survey.incomplete > 0 {
            report.notes.push(Note::new(
                "damaged_packets",
                format!(
                    "{} packets are damaged in the source and in the copy",
                    survey.incomplete
                ),
            ));
        }
        Ok(())
    }

    fn graft(
        &self,
        temporary: &mut NamedTempFile,
        track: i32,
        frame_0_s: Ratio,
        amends: Option<&Amends>,
        report: &mut CopyReport,
    ) -> Result<()> {
        let plan = Plan {
            timecode: self.start,
            picture_track: u32::try_from(track).unwrap_or(0),
            frame_0_s,
            amends,
            copied_from: self.origin,
        };
        let grafted = graft::graft(temporary.as_file_mut(), &plan)?;
        report.replaced = grafted.replaced;
        if grafted.junk_len > 0 {
            report
                .not_carried
                .push(format!("{} bytes behind the last box", grafted.junk_len));
        }
        if grafted.has_xmp_timecode {
            report.notes.push(Note::new(
                "xmp_timecode_kept",
                "the clip's embedded XMP names a start timecode of its own, which was kept as it is",
            ));
        }
        Ok(())
    }

    fn set_in_mxf(&self, temporary: &mut NamedTempFile, report: &mut CopyReport) -> Result<()> {
        let patched = mxf::patch(temporary.as_file_mut(), self.start)?;
        report.replaced = patched.replaced;
        if patched.has_system_items {
            report.notes.push(Note::new(
                "system_items_kept",
                "the pictures of this MXF file are accompanied by system items, which may repeat \
                 the old timecode for each picture; they were kept as they are",
            ));
        }
        Ok(())
    }

    /// Two opinions on the finished copy: our own reading of its boxes, and FFmpeg's.
    fn read_back(&self, temporary: &mut NamedTempFile, copy: &Clip) -> Result<()> {
        let form = self.start.form();
        let carried = copy.facts().carried_timecode.as_deref();
        let count =
            carried.and_then(|text| form.parse(text).and_then(|label| form.count(&label)).ok());
        if count != Some(self.start.count()) {
            return Err(differs(format!(
                "its timecode reads {} where {} was written",
                carried.unwrap_or("as none"),
                self.start.label()
            )));
        }
        if self.route == Route::Mxf {
            return Ok(());
        }
        let found = graft::read_back(temporary.as_file_mut())
            .ok_or_else(|| differs("it has not exactly one timecode track"))?;
        let rate = Ratio::checked_new(found.timescale.into(), found.frame_ticks.into());
        let is_right = found.label == self.start.label()
            && found.base == self.start.base()
            && found.drop_frame == form.drop_frame()
            && rate == Some(form.rate().ratio());
        if is_right {
            Ok(())
        } else {
            Err(differs(format!("its timecode track says {}", found.label)))
        }
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

/// True if all was copied, false if the listener wants to stop. Where the file
/// system can share the bytes, none is written twice.
fn copy_bytes(
    source: &Path,
    temporary: &mut NamedTempFile,
    len: u64,
    heard: &mut Heard,
) -> Result<bool> {
    let mut from = File::open(source).map_err(cannot_read)?;
    let to = temporary.as_file_mut();
    to.seek(SeekFrom::Start(0)).map_err(cannot_write)?;
    let mut left = len;
    while left > 0 {
        let mut part = io::Read::take(&mut from, left.min(COPY_BYTES));
        let copied = io::copy(&mut part, to).map_err(cannot_write)?;
        if copied == 0 {
            return Err(cannot_read(io::Error::from(io::ErrorKind::UnexpectedEof)));
        }
        left -= copied;
        if heard.advance(copied) == Wish::Stop {
            return Ok(false);
        }
    }
    Ok(true)
}

/// The start label belongs to frame 0: it must be the same picture, turned the
/// same way.
fn compare_frame_0(source: &mut Clip, copy: &mut Clip) -> Result<()> {
    let picture = |clip: &mut Clip| {
        clip.advance()?;
        Ok(clip.picture(Light::Luma)?.grey)
    };
    let (old, new) = (
        picture(source)?,
        picture(copy).map_err(|e: Error| differs(e))?,
    );
    let facts = |clip: &Clip| {
        let facts = clip.facts();
        (
            facts.width_px,
            facts.height_px,
            facts.rotation_degrees,
            facts.is_mirrored,
        )
    };
    if facts(source) != facts(copy) {
        return Err(differs("its pictures are turned or sized in another way"));
    }
    if old != new {
        return Err(differs("its first picture is another"));
    }
    Ok(())
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
