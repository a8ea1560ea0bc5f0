//! One copy, filled and compared with its source before it gets its name.

use super::compare::{Law, compare, differs};
use super::graft::{self, Plan};
use super::moov::Amends;
use super::rewrap::{self, Order};
use super::survey::{self, Form, Survey};
use super::{
    CopyReport, CopyTimecode, CopyWay, Heard, Route, cannot_read, cannot_write, lost, mxf, trial,
};
use crate::error::{Error, ErrorKind, Result};
use crate::frame::{Footage, Light};
use crate::media::Clip;
use crate::note::{Note, TRUNCATED};
use crate::progress::Wish;
use crate::timecode::Ratio;
use std::fs::File;
use std::io::{self, Seek, SeekFrom};
use std::path::Path;
use tempfile::NamedTempFile;

/// Bytes copied between two questions to the listener.
const COPY_BYTES: u64 = 32 << 20;

/// A file may claim to be longer than its last packet by this much, as writers
/// round and guess.
const LENGTH_SLACK_S: Ratio = Ratio::new(1, 2);

/// One copy to be made.
pub(super) struct Job<'a> {
    pub source: &'a Path,
    pub start: &'a CopyTimecode,
    pub route: Route,
    pub source_bytes: u64,
    pub origin: &'a str,
}

/// What is known of a source before anything is written.
struct Material {
    survey: Survey,
    /// The stream of the pictures.
    picture: usize,
    /// When frame 0 is shown, in that stream's ticks and in seconds.
    frame_0: i64,
    frame_0_s: Ratio,
    /// For each packet of the pictures whether a sample of a moved stream begins with it.
    starts: Vec<bool>,
}

/// Streams of the source that a copy holds.
enum Taken {
    All,
    /// These, in the order of the copy's own.
    Some(Vec<usize>),
}

impl Job<'_> {
    /// Fills `temporary` and reads it back; `None` if the listener wants to stop.
    pub(super) fn fill(
        &self,
        mut clip: Clip,
        temporary: &mut NamedTempFile,
        heard: &mut Heard,
    ) -> Result<Option<CopyReport>> {
        let form = match self.route {
            Route::Rewrap(_) => Form::Units,
            _ => Form::Stored,
        };
        let Some(survey) = survey::survey(self.source, form, heard)? else {
            return Ok(None);
        };
        let mut report = CopyReport {
            way: CopyWay::AsItIs,
            streams: Vec::new(),
            replaced: Vec::new(),
            not_carried: Vec::new(),
            notes: Vec::new(),
        };
        let material = self.material(&clip, survey)?;
        self.refuse_damage(&clip, &material, &mut report)?;
        let Some(taken) = self.write(&material, temporary, heard, &mut report)? else {
            return Ok(None);
        };
        let Some(after) = survey::survey(temporary.path(), form, heard)? else {
            return Ok(None);
        };
        let mut copy = Clip::open(temporary.path(), 0).map_err(differs)?;
        self.compare(&material, &taken, &after, temporary.path(), &mut report)?;
        compare_frame_0(&mut clip, &mut copy)?;
        self.read_back(temporary, &copy)?;
        Ok(Some(report))
    }

    fn material(&self, clip: &Clip, survey: Survey) -> Result<Material> {
        let picture = clip.picture_stream();
        let pictures = &survey.streams[picture];
        let frame_0 = match self.route {
            Route::Rewrap(_) => pictures.frame_0(clip.zero_ticks())?,
            _ => clip.zero_ticks(),
        };
        let facts = clip.facts();
        Ok(Material {
            picture,
            frame_0,
            frame_0_s: Ratio::from_integer(frame_0) * pictures.tick_seconds,
            starts: rewrap::sample_starts(pictures, facts.rate.filter(|_| facts.is_interlaced)),
            survey,
        })
    }

    /// Writes the copy with its timecode track; `None` if the listener wants to stop.
    fn write(
        &self,
        material: &Material,
        temporary: &mut NamedTempFile,
        heard: &mut Heard,
        report: &mut CopyReport,
    ) -> Result<Option<Taken>> {
        let Route::Rewrap(family) = self.route else {
            if !copy_bytes(self.source, temporary, self.source_bytes, heard)? {
                return Ok(None);
            }
            if self.route == Route::Mxf {
                self.set_in_mxf(temporary, report)?;
            } else {
                let track = material.survey.streams[material.picture].id;
                self.graft(temporary, track, material.frame_0_s, None, report)?;
            }
            return Ok(Some(Taken::All));
        };
        report.way = CopyWay::Rewrapped;
        let order = Order {
            source: self.source,
            survey: &material.survey,
            family,
            frame_0: (material.picture, material.frame_0),
            starts: &material.starts,
        };
        let Some(rewrapped) = rewrap::rewrap(&order, temporary.path(), heard)? else {
            return Ok(None);
        };
        report.not_carried.extend(rewrapped.not_carried);
        let amends = Amends {
            matrix: rewrap::matrix(self.source, material.picture)?,
            ..rewrapped.shown
        };
        // The muxer counts tracks from 1.
        let mut from = rewrapped.from.iter();
        let track = from.position(|at| *at == material.picture);
        let track = track.map_or(0, |at| at as i32 + 1);
        self.graft(temporary, track, Ratio::ZERO, Some(&amends), report)?;
        Ok(Some(Taken::Some(rewrapped.from)))
    }

    /// Every stream of the finished copy against the source's.
    fn compare(
        &self,
        material: &Material,
        taken: &Taken,
        copied: &Survey,
        copy: &Path,
        report: &mut CopyReport,
    ) -> Result<()> {
        let law = match taken {
            Taken::All => Law::Identical,
            Taken::Some(from) => Law::Rewrapped {
                from,
                starts: (material.picture, &material.starts),
                frame_0_s: [material.frame_0_s, Ratio::ZERO],
            },
        };
        report.streams = compare(&material.survey, copied, &law)?;
        if let Taken::Some(from) = taken {
            if let Some(at) = trial::first_broken(self.source, copy, from)? {
                let name = &report.streams[at].name;
                return Err(differs(format!("its {name} plays in another way")));
            }
            let lost = lost::lost(self.source, copy, from, &report.streams)?;
            report.not_carried.extend(lost);
        }
        Ok(())
    }

    /// A copy would look whole and hide that its source is not.
    fn refuse_damage(
        &self,
        clip: &Clip,
        material: &Material,
        report: &mut CopyReport,
    ) -> Result<()> {
        let survey = &material.survey;
        let is_noted = clip.facts().notes.iter().any(|note| note.code == TRUNCATED);
        // Transport streams mark packets for small losses, which a copy may have, too.
        let is_transport = clip.facts().container == "mpegts";
        let is_lossy = survey.incomplete > 0 && !is_transport;
        let ends_early = clip.facts().duration_s.is_some_and(|length_s| {
            survey.end_s() - material.frame_0_s + LENGTH_SLACK_S < length_s
        });
        if is_noted || is_lossy || ends_early {
            return Err(Error::new(
                ErrorKind::Undecodable,
                "is cut off: its last packets are missing",
            )
            .next("copy it from the card again; a timecode track would hide the damage"));
        }
        let headless = survey.streams[material.picture].headless(material.frame_0);
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
            return match mxf::says(temporary.as_file_mut(), self.start)? {
                true => Ok(()),
                false => Err(differs("its timecode tracks say another thing")),
            };
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
