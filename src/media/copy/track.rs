//! The timecode track of a QuickTime or MP4 file: one sample, the count at frame
//! 0, and how the count is labelled (QuickTime file format, 'Timecode media').

use super::CopyTimecode;
use super::tree::{Nodes, boxed, full, u32_at, u64_at};
use crate::timecode::{ClockForm, Rate, Ratio};

/// Flags of the sample description: labels are dropped; the count starts again
/// at 24 hours; the sample is a plain counter, not a label.
const DROP_FRAME: u32 = 1;
const WRAPS_AT_24_HOURS: u32 = 2;
const COUNTER: u32 = 8;

/// Track header flags: enabled, and part of the movie.
const ENABLED_IN_MOVIE: u32 = 3;

/// The matrix that leaves everything as it is, in the fixed-point forms of the
/// track header.
const UNITY: [u32; 9] = [0x1_0000, 0, 0, 0, 0x1_0000, 0, 0, 0, 0x4000_0000];

/// `und`, no language, as three letters of five bits (14496-12, 8.4.2).
const NO_LANGUAGE: u16 = 0x55C4;

/// A whole rate gets so many ticks per frame, in the manner of 24000/1001: few
/// ticks a second would make the track's length coarse.
const TICKS_PER_FRAME: u32 = 1000;

/// What a new track is made of. Movie ticks are those of the movie header.
pub(super) struct NewTrack<'a> {
    pub timecode: &'a CopyTimecode,
    /// The reel that an older timecode track names: a `name` box.
    pub reel: Option<&'a [u8]>,
    pub id: u32,
    pub movie_timescale: u32,
    /// When frame 0 is presented, in movie ticks.
    pub frame_0: u64,
    /// How long the pictures are presented from then on, in movie ticks.
    pub shown: u64,
    /// Creation and change in seconds since 1904, as in the picture track.
    pub times: (u64, u64),
    /// Where in the file the sample lies.
    pub sample_at: u64,
    /// QuickTime rather than MP4: the boxes around a media differ a little.
    pub is_quicktime: bool,
}

impl NewTrack<'_> {
    /// The whole `trak` box's contents.
    pub(super) fn body(&self) -> Vec<u8> {
        let mut body = self.header();
        body.extend(boxed(b"edts", &[&self.edits()]));
        body.extend(boxed(b"mdia", &[&self.media()]));
        body
    }

    fn header(&self) -> Vec<u8> {
        let length = self.frame_0 + self.shown;
        let is_long = [length, self.times.0, self.times.1]
            .iter()
            .any(|v| u32::try_from(*v).is_err());
        let mut body = Vec::new();
        push(&mut body, is_long, self.times.0);
        push(&mut body, is_long, self.times.1);
        body.extend(self.id.to_be_bytes());
        body.extend([0; 4]);
        push(&mut body, is_long, length);
        // Reserved, layer, group, volume, reserved.
        body.extend([0; 16]);
        for number in UNITY {
            body.extend(number.to_be_bytes());
        }
        // No width and no height: nothing to draw.
        body.extend([0; 8]);
        full(b"tkhd", u8::from(is_long), ENABLED_IN_MOVIE, &body)
    }

    /// The count begins when frame 0 is presented: nothing before, one stretch after.
    fn edits(&self) -> Vec<u8> {
        let is_long = u32::try_from(self.frame_0.max(self.shown)).is_err();
        let mut entries: Vec<(u64, i64)> = vec![(self.shown, 0)];
        if self.frame_0 > 0 {
            entries.insert(0, (self.frame_0, -1));
        }
        let mut body = (entries.len() as u32).to_be_bytes().to_vec();
        for (length, from) in entries {
            push(&mut body, is_long, length);
            if is_long {
                body.extend(from.to_be_bytes());
            } else {
                body.extend((from as i32).to_be_bytes());
            }
            body.extend(0x1_0000u32.to_be_bytes());
        }
        full(b"elst", u8::from(is_long), 0, &body)
    }

    fn media(&self) -> Vec<u8> {
        let (timescale, frame_ticks) = ticks(self.timecode.form().rate());
        let length = self.media_ticks(timescale, frame_ticks);
        let is_long = [length, self.times.0, self.times.1]
            .iter()
            .any(|v| u32::try_from(*v).is_err());
        let mut header = Vec::new();
        push(&mut header, is_long, self.times.0);
        push(&mut header, is_long, self.times.1);
        header.extend(timescale.to_be_bytes());
        push(&mut header, is_long, length);
        header.extend(NO_LANGUAGE.to_be_bytes());
        header.extend([0; 2]);
        let mut media = full(b"mdhd", u8::from(is_long), 0, &header);
        media.extend(self.handler(b"mhlr", b"tmcd", "Timecode"));
        let mut inner = if self.is_quicktime {
            let mut info = boxed(b"gmhd", &[&generic_header()]);
            info.extend(self.handler(b"dhlr", b"url ", "Data"));
            info
        } else {
            full(b"nmhd", 0, 0, &[])
        };
        // Flag 1: the data is in this file.
        let here = full(b"url ", 0, 1, &[]);
        let references = full(b"dref", 0, 0, &[&1u32.to_be_bytes()[..], &here].concat());
        inner.extend(boxed(b"dinf", &[&references]));
        inner.extend(boxed(b"stbl", &[&self.samples(length)]));
        media.extend(boxed(b"minf", &[&inner]));
        media
    }

    /// Length of the one sample in ticks of this track: whole frames where the
    /// pictures' length is one up to a movie tick of rounding.
    fn media_ticks(&self, timescale: u32, frame_ticks: u32) -> u64 {
        let movie = Ratio::from_integer(self.movie_timescale);
        let shown_s = Ratio::from_integer(self.shown) / movie;
        let frame_s = Ratio::new(frame_ticks.into(), timescale.into());
        let frames = (shown_s / frame_s).round().max(1);
        let whole_s = Ratio::from_integer(frames) * frame_s;
        let ticks = if (whole_s - shown_s).abs() <= movie.recip() {
            frames * i128::from(frame_ticks)
        } else {
            (shown_s * Ratio::from_integer(timescale)).round()
        };
        u64::try_from(ticks.max(1)).unwrap_or(u64::MAX)
    }

    /// The component type is QuickTime's; MP4 has zeros in its place, and ends
    /// the name with a zero instead of beginning it with its length.
    fn handler(&self, component: &[u8; 4], kind: &[u8; 4], name: &str) -> Vec<u8> {
        let mut body = Vec::new();
        body.extend(if self.is_quicktime {
            component
        } else {
            &[0; 4]
        });
        body.extend(kind);
        body.extend([0; 12]);
        if self.is_quicktime {
            body.push(name.len() as u8);
        }
        body.extend(name.as_bytes());
        if !self.is_quicktime {
            body.push(0);
        }
        full(b"hdlr", 0, 0, &body)
    }

    fn samples(&self, length: u64) -> Vec<u8> {
        let one = 1u32.to_be_bytes();
        let (timescale, frame_ticks) = ticks(self.timecode.form().rate());
        let mut flags = WRAPS_AT_24_HOURS;
        if self.timecode.form().drop_frame() {
            flags |= DROP_FRAME;
        }
        let mut entry = vec![0; 6];
        entry.extend(1u16.to_be_bytes());
        entry.extend([0; 4]);
        entry.extend(flags.to_be_bytes());
        entry.extend(timescale.to_be_bytes());
        entry.extend(frame_ticks.to_be_bytes());
        entry.push(self.timecode.base());
        entry.push(0);
        entry.extend(self.reel.unwrap_or_default());
        let mut table = full(
            b"stsd",
            0,
            0,
            &[&one[..], &boxed(b"tmcd", &[&entry])].concat(),
        );
        // The lengths of samples have 32 bits; the header and the edit list hold
        // what does not fit.
        let sample_ticks = u32::try_from(length).unwrap_or(u32::MAX).to_be_bytes();
        table.extend(full(b"stts", 0, 0, &[one, one, sample_ticks].concat()));
        table.extend(full(b"stsc", 0, 0, &[one, one, one, one].concat()));
        table.extend(full(b"stsz", 0, 0, &[4u32.to_be_bytes(), one].concat()));
        table.extend(match u32::try_from(self.sample_at) {
            Ok(at) => full(b"stco", 0, 0, &[one, at.to_be_bytes()].concat()),
            Err(_) => {
                let at = self.sample_at.to_be_bytes();
                full(b"co64", 0, 0, &[&one[..], &at].concat())
            }
        });
        table
    }
}

/// QuickTime's header of media that are neither picture nor sound: graphics mode
/// 'copy' with its neutral grey, and how a player would write the label out.
fn generic_header() -> Vec<u8> {
    let mut mode = 0x40u16.to_be_bytes().to_vec();
    mode.extend([0x80, 0, 0x80, 0, 0x80, 0]);
    mode.extend([0; 4]);
    let mut look = Vec::new();
    // Font, face, size in points, reserved.
    for number in [0u16, 0, 12, 0] {
        look.extend(number.to_be_bytes());
    }
    // Black on white, and a font without name.
    look.extend([0; 6]);
    look.extend([0xFF; 6]);
    look.push(0);
    let mut header = full(b"gmin", 0, 0, &mode);
    header.extend(boxed(b"tmcd", &[&full(b"tcmi", 0, 0, &look)]));
    header
}

fn push(bytes: &mut Vec<u8>, is_long: bool, value: u64) {
    if is_long {
        bytes.extend(value.to_be_bytes());
    } else {
        bytes.extend((value as u32).to_be_bytes());
    }
}

/// Ticks per second and per frame: 30000 and 1001, 25000 and 1000.
fn ticks(rate: Rate) -> (u32, u32) {
    let ratio = rate.ratio();
    let [num, den] =
        [ratio.num(), ratio.den()].map(|v| u32::try_from(v).expect("a rate has 32 bits"));
    if den == 1 {
        (num * TICKS_PER_FRAME, TICKS_PER_FRAME)
    } else {
        (num, den)
    }
}

/// A timecode track that a file has.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct FoundTrack {
    pub id: u32,
    flags: u32,
    pub timescale: u32,
    pub frame_ticks: u32,
    pub base: u8,
    /// Where in the file its first sample lies.
    pub sample_at: Option<u64>,
    /// The reel that it names: a `name` box.
    pub reel: Option<Vec<u8>>,
}

impl FoundTrack {
    /// From the contents of a `trak` box; `None` for other tracks. Known by its
    /// handler or its sample description, never by its place.
    pub(super) fn of(track: &Nodes) -> Option<Self> {
        let handler = track.deep(&[b"mdia", b"hdlr"])?;
        let descriptions = track
            .deep(&[b"mdia", b"minf", b"stbl", b"stsd"])
            .unwrap_or_default();
        let kind = descriptions.get(12..16).unwrap_or_default();
        if handler.get(8..12) != Some(b"tmcd") && kind != b"tmcd" {
            return None;
        }
        // Version, number of entries, size, type; then the entry's own fields.
        let entry = descriptions.get(16..).unwrap_or_default();
        let offsets = |kind| track.deep(&[b"mdia", b"minf", b"stbl", kind]);
        let short = offsets(b"stco")
            .and_then(|body| u32_at(&body, 8))
            .map(u64::from);
        let long = offsets(b"co64").and_then(|body| u64_at(&body, 8));
        Some(Self {
            id: track_id(track.body(b"tkhd")?)?,
            flags: u32_at(entry, 12).unwrap_or(0),
            timescale: u32_at(entry, 16).unwrap_or(0),
            frame_ticks: u32_at(entry, 20).unwrap_or(0),
            base: entry.get(24).copied().unwrap_or(0),
            sample_at: short.or(long),
            reel: reel(entry),
        })
    }

    /// Labels per second. Some cameras round the field for it down, so that the
    /// rate is asked first.
    pub(super) fn labels_per_second(&self) -> u32 {
        let rate = Rate::new(self.timescale, self.frame_ticks).map(Rate::base);
        rate.unwrap_or(self.base.into())
    }

    pub(super) fn is_drop_frame(&self) -> bool {
        // Some cameras set the bit at 24 or 25, where it means nothing.
        self.flags & DROP_FRAME != 0 && matches!(self.labels_per_second(), 30 | 60 | 120)
    }

    /// The label of a sample, by the track's own base and mark; `None` for plain
    /// counters.
    pub(super) fn label(&self, sample: u32) -> Option<String> {
        if self.flags & COUNTER != 0 {
            return None;
        }
        let base = self.labels_per_second();
        let rate = if self.is_drop_frame() {
            Rate::new(base * 1000, 1001)?
        } else {
            Rate::new(base, 1)?
        };
        let form = ClockForm::frames(rate, self.is_drop_frame()).ok()?;
        Some(form.text(sample.into()))
    }
}

/// The `name` box in a sample description. Writers do not agree on how many bytes
/// are reserved before it.
fn reel(entry: &[u8]) -> Option<Vec<u8>> {
    let kind_at = entry.windows(4).position(|part| part == b"name")?;
    let at = kind_at.checked_sub(4)?;
    let size = usize::try_from(u32_at(entry, at)?).ok()?;
    entry.get(at..at.checked_add(size)?).map(<[u8]>::to_vec)
}

/// From the contents of a track header.
pub(super) fn track_id(header: &[u8]) -> Option<u32> {
    u32_at(header, if is_long(header) { 20 } else { 12 })
}

/// True if a header of tracks, media or movies has 64-bit times.
pub(super) fn is_long(header: &[u8]) -> bool {
    header.first() == Some(&1)
}
