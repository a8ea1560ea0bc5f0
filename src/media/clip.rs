//! A clip as [`Footage`]: frame 0, frame times, jumps.

mod remarks;

use super::boxes;
use super::claims::{self, Claims, HeadSample, SampleTable};
use super::luma::LumaReader;
use super::mxf;
use super::orient::Orientation;
use super::source::Source;
use super::spacing::{self, Spacing};
use super::stamps::Stamper;
use crate::error::{Error, ErrorKind, Result};
use crate::facts::{ClipFacts, HeaderFacts};
use crate::frame::{Aim, Footage, Frame, Landing, Light, Stamp, Stride};
use crate::timecode::Ratio;
use ffmpeg_next::{ffi, frame};
use image::GrayImage;
use std::collections::VecDeque;
use std::path::Path;

/// The head's stamps are looked at over so many packets, about two seconds, or
/// so many bytes.
const SAMPLE_PACKETS: usize = 60;
const SAMPLE_BYTES: usize = 16 << 20;

/// What lies between frames that were looked at is read in pieces of so many bytes, which take a
/// slow drive a second.
const READ_UP_BYTES: usize = 64 << 20;

/// Frames per second where nothing tells; only spaces frames without stamps.
const FALLBACK_RATE: i128 = 25;

/// FFmpeg's name of the container.
const MXF: &str = "mxf";

/// FFmpeg's stamp of a picture. Its best guess follows decoding stamps once
/// presentation stamps seem wrong, which damage alone makes them; so it is asked
/// only where the file has no better ones.
fn raw_stamp(picture: &frame::Video, lacks_stamps: bool) -> Option<i64> {
    let guess = picture.timestamp();
    if lacks_stamps {
        guess
    } else {
        picture.pts().or(guess)
    }
}

/// The stamp of the first frame presented, of which FFmpeg tells in MXF alone and hides nothing
/// before it: what the package that is shown leaves out of the stored pictures at their head.
fn presented_from(source: &Source) -> Option<i64> {
    let is_mxf = source.demuxer().format().name() == MXF;
    let start = source.stream().start_time();
    (is_mxf && start != ffi::AV_NOPTS_VALUE && start > 0).then_some(start)
}

/// The first frame that decodes, and is presented.
fn first_presented(source: &mut Source, from: Option<i64>) -> Option<frame::Video> {
    loop {
        let picture = source.next_frame()?;
        if !is_before(raw_stamp(&picture, false), from) {
            return Some(picture);
        }
    }
}

fn is_before(stamp: Option<i64>, from: Option<i64>) -> bool {
    stamp.zip(from).is_some_and(|(stamp, from)| stamp < from)
}

/// A decoded frame with its time.
struct Shot {
    picture: frame::Video,
    ticks: i64,
    index: Option<u64>,
}

/// An opened clip. See [`Footage`].
///
/// At the stride of key frames, frames come in presentation order; their index is not
/// known, except for frame 0. A change of stride keeps the place: a frame that a seek has
/// announced is still given next, and what follows it is exact either way.
pub struct Clip {
    source: Source,
    facts: ClipFacts,
    orientation: Orientation,
    stamper: Stamper,
    luma: LumaReader,
    /// Frames that were decoded but not given out yet.
    pending: VecDeque<Shot>,
    current: Option<Shot>,
    /// Nothing was read since frame 0 was decoded, which is pending.
    is_fresh: bool,
    /// Index of the next frame, if known.
    count: Option<u64>,
    stride: Stride,
    /// The stride changed: go on after these ticks.
    resume_after: Option<i64>,
    /// Not every frame: ticks of the frame given last since a jump.
    given: Option<i64>,
    /// Frames at or before these ticks were given out already.
    floor: Option<i64>,
    /// Presentation stamps are missing: only reading from the head gives times.
    must_count: bool,
    spacing: Spacing,
    /// Ticks between two frames that are believed, at most.
    longest_gap: i64,
    /// Ticks of the frame before, if it is the neighbour in the file.
    neighbour: Option<i64>,
    damaged_before: usize,
    /// The claimed length is the picture's own.
    has_own_duration: bool,
    /// The end of the file was reached and compared with the claims.
    knows_end: bool,
    /// The times of all frames follow from what stands in one place of the file.
    has_all_times: bool,
}

/// What the container says, without decoding a picture where that is enough.
pub(super) fn header(path: &Path) -> Result<HeaderFacts> {
    // Nothing is decoded, as a rule: one thread will do, as beside so many others.
    let mut source = Source::open(path, usize::MAX)?;
    match claims::header(&mut source) {
        Some(header) => Ok(header),
        None => Clip::open(path, usize::MAX).map(|clip| HeaderFacts::from(&clip.facts)),
    }
}

impl Clip {
    pub(super) fn open(path: &Path, beside: usize) -> Result<Self> {
        let mut source = Source::open(path, beside)?;
        let from = presented_from(&source);
        let head = source.look_ahead(SAMPLE_PACKETS, SAMPLE_BYTES).iter();
        let sample = HeadSample::of(head.filter(|packet| !is_before(packet.pts(), from)));
        let file_len = std::fs::metadata(path).map_or(0, |about| about.len());
        let table = SampleTable::of(&source, file_len);
        let found = first_presented(&mut source, from);
        let is_beyond = found.is_none() && from.is_some();
        let first = match found {
            Some(first) => first,
            None => {
                source.accept_incomplete();
                source.rewind()?;
                first_presented(&mut source, None).ok_or_else(|| {
                    Error::new(ErrorKind::Undecodable, "not one of its pictures decodes").next(
                        "play it in another program; if that fails too, copy it from the card \
                         again",
                    )
                })?
            }
        };
        let zero = raw_stamp(&first, sample.lacks_stamps).unwrap_or(0);
        let orientation = claims::orientation(&source, &first);
        let claims = Claims {
            source: &source,
            path,
            first: &first,
            zero,
            sample: &sample,
            table: table.as_ref(),
        };
        let facts = claims.facts(orientation);
        let spacing = claims.spacing();
        let has_own_duration = claims.has_own_duration();
        let step = facts
            .rate
            .map_or(Ratio::new(1, FALLBACK_RATE), |rate| rate.ratio().recip())
            / facts.tick_seconds;
        let longest_gap = spacing::longest_gap_ticks(step, facts.tick_seconds);
        // AVI counts frames, MXF has one length for all.
        let has_all_times = table.is_some() || ["avi", MXF].contains(&facts.container.as_str());
        let mut stamper = Stamper::new();
        stamper.set_step(step);
        source.set_step(i64::try_from(step.round()).unwrap_or(0));
        let mut clip = Self {
            source,
            facts,
            orientation,
            stamper,
            luma: LumaReader::default(),
            pending: VecDeque::new(),
            current: None,
            is_fresh: false,
            count: Some(0),
            stride: Stride::default(),
            resume_after: None,
            given: None,
            floor: None,
            must_count: sample.lacks_stamps,
            spacing,
            longest_gap,
            neighbour: None,
            damaged_before: 0,
            has_own_duration,
            knows_end: table.is_some(),
            has_all_times,
        };
        clip.doubt_edits();
        if let Some(table) = table {
            let widest = table.spacing.range().map_or(0, |(_, widest)| widest);
            clip.source.trust_index(widest);
            clip.note_table(&table, file_len, step);
        }
        if boxes::is_cut_off(path, boxes::MOST_BOXES).unwrap_or(false) {
            clip.note_cut_off();
        }
        let is_mxf = clip.facts.container == MXF;
        if is_beyond || is_mxf && mxf::has_origin(path).unwrap_or(false) {
            clip.doubt_head();
        }
        if clip.must_count {
            clip.note_repaired_stamps();
        }
        clip.note_spacing();
        let frame_0 = clip.shot(first);
        clip.is_fresh = frame_0.is_some();
        clip.pending.extend(frame_0);
        Ok(clip)
    }

    /// The picture stream's number in the file.
    pub(super) fn picture_stream(&self) -> usize {
        self.source.stream().index()
    }

    /// FFmpeg's stamp of frame 0.
    pub(super) fn zero_ticks(&self) -> i64 {
        self.stamper.zero()
    }

    /// FFmpeg's stamp of the frame so many ticks behind frame 0.
    fn stamp_at(&self, ticks: i64) -> i64 {
        self.stamper.zero().saturating_add(ticks)
    }

    /// The next frame that the stride lets through, `closest` ticks behind the one before.
    fn pull(&mut self, closest: i64) -> Option<Shot> {
        loop {
            let after = self.floor.map(|floor| self.stamp_at(floor));
            let picture = if self.skips() {
                let widest = self.widest();
                self.source.next_key(after, closest, widest)
            } else {
                self.source.next_frame()
            };
            let Some(picture) = picture else {
                self.note_end();
                return None;
            };
            let is_key = picture.is_key();
            let Some(shot) = self.shot(picture) else {
                continue;
            };
            let is_wanted = match self.stride {
                Stride::KeyFrames { widest_s: None, .. } => is_key,
                _ => true,
            };
            if is_wanted && self.floor.is_none_or(|floor| shot.ticks > floor) {
                return Some(shot);
            }
        }
    }

    /// Gives a picture its time; `None` for pictures that are not presented.
    fn shot(&mut self, picture: frame::Video) -> Option<Shot> {
        let raw = raw_stamp(&picture, self.must_count);
        if self.source.tally().damaged > 0 && raw.is_some_and(|raw| self.stamper.is_late(raw)) {
            // Behind damage decoders give out pictures that they had kept.
            return None;
        }
        let repaired_before = self.stamper.repaired();
        let ticks = self.stamper.ticks(raw)?;
        if self.stamper.repaired() > repaired_before {
            self.note_repaired_stamps();
        }
        let index = match ticks {
            0 => Some(0),
            _ => self.count.filter(|_| !self.skips()),
        };
        self.count = index.map(|index| index + 1);
        let damaged = self.source.tally().damaged;
        if damaged > self.damaged_before {
            self.damaged_before = damaged;
            self.neighbour = None;
            self.note_damaged();
        }
        let before = self.neighbour.replace(ticks).filter(|_| !self.skips());
        if let Some(before) = before {
            self.spacing.observe(ticks.saturating_sub(before));
            self.note_spacing();
        }
        self.doubt_joints();
        if picture.is_interlaced() && !self.facts.is_interlaced {
            self.facts.is_interlaced = true;
            self.note_interlaced();
        }
        Some(Shot {
            picture,
            ticks,
            index,
        })
    }

    /// True if frames between those read are left out.
    fn skips(&self) -> bool {
        self.stride != Stride::EveryFrame && !self.must_count
    }

    fn ticks_of(&self, seconds: Ratio) -> i64 {
        i64::try_from((seconds / self.facts.tick_seconds).floor()).unwrap_or(i64::MAX)
    }

    /// Ticks by which frames lie apart at least.
    fn closest(&self) -> i64 {
        match self.stride {
            Stride::EveryFrame => 0,
            Stride::KeyFrames { closest_s, .. } | Stride::Ahead { closest_s, .. } => {
                self.ticks_of(closest_s)
            }
        }
    }

    /// Ticks within which a key frame must come, if others are to come in its place.
    fn widest(&self) -> Option<i64> {
        let widest_s = match self.stride {
            Stride::EveryFrame => None,
            Stride::KeyFrames { widest_s, .. } => widest_s,
            Stride::Ahead { widest_s, .. } => Some(widest_s),
        };
        widest_s.map(|widest_s| self.ticks_of(widest_s))
    }

    fn stamp(&self, shot: &Shot) -> Stamp {
        Stamp {
            ticks: shot.ticks,
            tick_seconds: self.facts.tick_seconds,
            index: shot.index,
        }
    }

    /// Reading starts anew somewhere else.
    fn lose_place(&mut self) {
        self.stamper.jumped();
        self.count = None;
        self.neighbour = None;
    }

    fn rewind(&mut self) -> Result<()> {
        self.lose_place();
        self.source
            .rewind()
            .map_err(|e| e.in_file(&self.facts.path))?;
        self.count = Some(0);
        Ok(())
    }

    /// Goes to a key frame at or before `ticks`, aiming `back` ticks early; to
    /// the head if there is no room or no way to jump. True if it arrived.
    fn approach(&mut self, ticks: i64, back: i64) -> Result<bool> {
        if self.must_count || back >= ticks {
            self.rewind()?;
            return Ok(true);
        }
        self.lose_place();
        let latest = self.stamp_at(ticks);
        Ok(self.source.jump(latest.saturating_sub(back), latest))
    }

    /// Reads to the last frame at or before `aim` and leaves it, and the one
    /// after it, in `pending`.
    fn locate(&mut self, aim: i64) -> Result<()> {
        if aim == 0 && std::mem::take(&mut self.is_fresh) {
            return Ok(());
        }
        self.lose_frames();
        for back in self.steps_back(aim) {
            if !self.approach(aim, back)? {
                continue;
            }
            let mut before = None;
            let after = loop {
                match self.pull(0) {
                    Some(shot) if shot.ticks <= aim => before = Some(shot),
                    other => break other,
                }
            };
            // Pictures behind a key frame may be presented before it, and
            // those at the end of a cut file may be missing: start earlier.
            if before.is_some() || back >= aim {
                self.pending.extend(before.into_iter().chain(after));
                break;
            }
        }
        Ok(())
    }

    /// Ticks to start early by, ever further, until `aim` ticks, the head.
    fn steps_back(&self, aim: i64) -> impl Iterator<Item = i64> + use<> {
        let second = i64::try_from(self.facts.tick_seconds.recip().ceil()).unwrap_or(i64::MAX);
        let steps = std::iter::successors(Some(second), |step| step.checked_mul(2));
        std::iter::once(0)
            .chain(steps)
            .take_while(move |step| *step < aim)
            .chain(std::iter::once(aim))
    }

    /// Goes on behind a frame already given out, after the stride changed.
    fn resume(&mut self, after: i64) -> Result<()> {
        self.floor = Some(after);
        for back in self.steps_back(after) {
            if self.approach(after, back)? {
                break;
            }
        }
        if let Some(given) = self.given {
            self.source.was_given(self.stamp_at(given));
        }
        Ok(())
    }

    /// Lets go of all frames that were read.
    fn lose_frames(&mut self) {
        self.is_fresh = false;
        self.pending.clear();
        self.current = None;
        self.resume_after = None;
        self.given = None;
        self.floor = None;
    }

    /// Length from frame 0; looks for the end if the container does not tell.
    fn end_s(&mut self) -> Result<Ratio> {
        if self.facts.duration_s.is_none() {
            self.rewind()?;
            if self.must_count {
                while self.pull(0).is_some() {}
            } else {
                self.source.skim(usize::MAX);
                self.lose_place();
                self.note_end();
            }
        }
        Ok(self.facts.duration_s.unwrap_or(Ratio::ZERO))
    }
}

impl Footage for Clip {
    fn facts(&self) -> &ClipFacts {
        &self.facts
    }

    fn seek(&mut self, aim: Aim) -> Result<Landing> {
        let mut asked_s = Ratio::ZERO;
        loop {
            let mut known_s = None;
            match aim {
                Aim::Head => {}
                Aim::At(seconds) => asked_s = seconds,
                Aim::Tail { seconds } => {
                    let end_s = self.end_s()?;
                    known_s = self.facts.duration_s;
                    asked_s = (end_s - Ratio::from_integer(seconds)).max(Ratio::ZERO);
                }
            }
            let ticks = (asked_s / self.facts.tick_seconds).floor().max(0);
            self.locate(i64::try_from(ticks).unwrap_or(i64::MAX))?;
            // The way there may have shown that the clip is shorter than claimed.
            if !matches!(aim, Aim::Tail { .. }) || self.facts.duration_s == known_s {
                break;
            }
        }
        Ok(Landing {
            asked_s,
            got: self.pending.front().map(|shot| self.stamp(shot)),
        })
    }

    fn set_stride(&mut self, stride: Stride) {
        if self.stride == stride {
            return;
        }
        let was = std::mem::replace(&mut self.stride, stride);
        let current = self.current.as_ref().map(|shot| shot.ticks);
        self.given = current.filter(|_| stride != Stride::EveryFrame);
        let decodes_on = was == Stride::EveryFrame
            && self.resume_after.is_none()
            && matches!(stride, Stride::Ahead { .. });
        if let Some(given) = self.given.filter(|_| decodes_on) {
            self.source.go_on_from(self.stamp_at(given));
        } else if !self.must_count {
            let is_rough = matches!(stride, Stride::KeyFrames { is_rough: true, .. });
            self.source.set_rough(is_rough);
            self.pending.truncate(1);
            let place = self.pending.front().or(self.current.as_ref());
            self.resume_after = place.map(|shot| shot.ticks).or(self.resume_after);
        }
    }

    fn advance(&mut self) -> Result<Option<Stamp>> {
        let closest = self.closest();
        self.is_fresh = false;
        let given = self.given;
        let is_near = |shot: &Shot| given.is_some_and(|given| shot.ticks - given < closest);
        loop {
            let shot = match self.pending.pop_front() {
                Some(shot) => Some(shot),
                None => {
                    if let Some(after) = self.resume_after.take() {
                        self.resume(after)?;
                    }
                    self.pull(closest)
                }
            };
            let Some(shot) = shot else {
                return Ok(None);
            };
            if !is_near(&shot) {
                let stamp = self.stamp(&shot);
                self.given = (self.stride != Stride::EveryFrame).then_some(shot.ticks);
                self.current = Some(shot);
                return Ok(Some(stamp));
            }
        }
    }

    fn read_up_to(&mut self, at: Ratio) -> Result<bool> {
        let stamp = self.stamp_at(self.ticks_of(at));
        if self.has_all_times || self.must_count || !self.source.is_apart(stamp) {
            return Ok(false);
        }
        self.lose_frames();
        if !self.source.is_from_head() {
            self.rewind()?;
        }
        self.lose_place();
        let goes_on = self.source.skim(READ_UP_BYTES);
        self.doubt_joints();
        Ok(goes_on && self.source.is_apart(stamp))
    }

    fn picture(&mut self, light: Light) -> Result<Frame> {
        let shot = self
            .current
            .as_ref()
            .expect("advance() has given a frame since the last seek");
        let stored = self
            .luma
            .read(&shot.picture, light)
            .map_err(|e| e.in_file(&self.facts.path))?;
        let (width_px, height_px) = (shot.picture.width(), shot.picture.height());
        let presented = self
            .orientation
            .present(stored, width_px as usize, height_px as usize);
        let (width_px, height_px) = self.orientation.presented_size(width_px, height_px);
        Ok(Frame {
            stamp: self.stamp(shot),
            grey: GrayImage::from_raw(width_px, height_px, presented)
                .expect("one byte for every pixel"),
            is_interlaced: shot.picture.is_interlaced(),
        })
    }
}
