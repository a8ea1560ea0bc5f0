//! What the container claims, put into [`ClipFacts`].

use super::luma;
use super::orient::Orientation;
use super::source::{self, Source};
use super::spacing::{self, RateClaims, Spacing};
use crate::facts::{ClipFacts, HeaderFacts};
use crate::note::{HEAD_LOST, Note};
use crate::timecode::{Rate, Ratio};
use ffmpeg_next::{self as ffmpeg, codec::packet, ffi, format, frame, media};
use std::path::Path;

/// Tags that hold a camera's serial number.
const SERIAL: [&str; 2] = ["serial_number", "com.apple.quicktime.serialnumber"];

/// A tagged length of a year is none, s.
const LONGEST_S: u64 = 366 * 24 * 3600;

/// Stamps of the first packets, without decoding them.
#[derive(Clone, Debug, Default)]
pub(super) struct HeadSample {
    /// FFmpeg's stamps in presentation order, without gaps for pictures that
    /// were not read yet.
    pub stamps: Vec<i64>,
    /// FFmpeg's stamps of what is presented, in file order.
    as_filed: Vec<i64>,
    /// True if most packets carry no presentation stamp, or key frames do not: AVI gives those
    /// to pictures alone that are decoded in the order in which they are presented.
    pub lacks_stamps: bool,
    /// True if pictures are decoded in another order than presented.
    pub is_reordered: bool,
}

impl HeadSample {
    /// From packets in file order.
    pub(super) fn of<'a>(packets: impl IntoIterator<Item = &'a ffmpeg::Packet>) -> Self {
        let (mut stamps, mut count, mut with_stamp, mut last_dts) = (Vec::new(), 0, 0, None);
        let mut has_bare_key = false;
        let mut delays = Vec::new();
        for packet in packets {
            count += 1;
            with_stamp += usize::from(packet.pts().is_some());
            delays.extend(
                packet
                    .pts()
                    .zip(packet.dts())
                    .map(|(pts, dts)| pts.saturating_sub(dts)),
            );
            last_dts = packet.dts().or(last_dts);
            has_bare_key |= packet.is_key() && packet.pts().is_none();
            stamps.extend(packet.pts().filter(|_| !source::is_hidden(packet)));
        }
        let lacks_stamps = (2 * with_stamp < count || has_bare_key) && count > 1;
        let as_filed = stamps.clone();
        // Nothing is presented before it is decoded: whatever belongs before
        // the last decoding stamp has been read.
        stamps.retain(|pts| last_dts.is_none_or(|dts| *pts <= dts));
        stamps.sort_unstable();
        Self {
            stamps,
            as_filed,
            lacks_stamps,
            is_reordered: delays.windows(2).any(|pair| pair[0] != pair[1]),
        }
    }

    /// Says so if the file has pictures before the first that decoded, at `zero`: a program
    /// that keeps their place counts from there, one that drops them from frame 0. Pictures
    /// that follow a key frame in the file and precede it on the screen are left out
    /// everywhere.
    fn head_doubt(&self, zero: i64) -> Option<Note> {
        let before = self.as_filed.iter().take_while(|stamp| **stamp != zero);
        let lost = before.filter(|stamp| **stamp < zero).count();
        (lost > 0).then(|| {
            Note::new(
                HEAD_LOST,
                format!(
                    "the first {lost} pictures of the file do not decode, so that programs \
                     differ in where it begins; copy it from the card again, or compare one \
                     frame by eye"
                ),
            )
        })
    }
}

/// The sample table of a QuickTime or MP4 file, as far as FFmpeg keeps it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct SampleTable {
    /// Presented frames: samples that no edit list hides.
    pub presented: u64,
    /// Those that lie in the file as it is.
    pub presented_whole: u64,
    /// Bytes that the file must have for all samples.
    pub needed_len: u64,
    /// Distances of the decoding stamps: those of the frames, if pictures are
    /// not reordered.
    pub spacing: Spacing,
    /// Decoding span of the samples that lie in the file, in ticks: length of
    /// the clip that is left of a truncated file.
    pub whole_ticks: i64,
}

/// True for QuickTime and MP4 files.
pub(super) fn is_movie(demuxer: &format::context::Input) -> bool {
    let format = demuxer.format();
    format.name().split(',').any(|name| name == "mov")
}

impl SampleTable {
    /// `None` for other containers, and for fragmented files whose table is
    /// spread over the file.
    pub(super) fn of(source: &Source, file_len: u64) -> Option<Self> {
        if !is_movie(source.demuxer()) {
            return None;
        }
        let stream = source.stream();
        let claimed = u64::try_from(stream.frames()).ok().filter(|n| *n > 0)?;
        let mut table = Self {
            presented: 0,
            presented_whole: 0,
            needed_len: 0,
            spacing: Spacing::default(),
            whole_ticks: 0,
        };
        let mut previous = None;
        let mut first_whole = None;
        // SAFETY: FFmpeg is not called between taking an entry and reading it.
        unsafe {
            let stream = stream.as_ptr().cast_mut();
            let count = ffi::avformat_index_get_entries_count(stream);
            if u64::try_from(count).is_ok_and(|count| 2 * count < claimed) {
                return None;
            }
            for n in 0..count {
                let Some(entry) = ffi::avformat_index_get_entry(stream, n).as_ref() else {
                    continue;
                };
                let end = u64::try_from(entry.pos).unwrap_or(0)
                    + u64::try_from(entry.size()).unwrap_or(0);
                table.needed_len = table.needed_len.max(end);
                if entry.flags() & ffi::AVINDEX_DISCARD_FRAME != 0 {
                    continue;
                }
                table.presented += 1;
                if let Some(previous) = previous.replace(entry.timestamp) {
                    table
                        .spacing
                        .observe(entry.timestamp.saturating_sub(previous));
                }
                if end <= file_len {
                    table.presented_whole += 1;
                    let first = *first_whole.get_or_insert(entry.timestamp);
                    let whole_ticks = entry.timestamp.saturating_sub(first);
                    table.whole_ticks = table.whole_ticks.max(whole_ticks);
                }
            }
        }
        Some(table)
    }
}

/// What is known before the clip is read.
pub(super) struct Claims<'a> {
    pub source: &'a Source,
    pub path: &'a Path,
    pub first: &'a frame::Video,
    /// FFmpeg's stamp of frame 0.
    pub zero: i64,
    pub sample: &'a HeadSample,
    pub table: Option<&'a SampleTable>,
}

impl Claims<'_> {
    /// Facts without what only reading shows.
    pub(super) fn facts(&self, orientation: Orientation) -> ClipFacts {
        let stream = self.source.stream();
        let (width_px, height_px) =
            orientation.presented_size(self.first.width(), self.first.height());
        let spacing = self.spacing();
        let (carried_timecode, timecode_note) = self.carried_timecode();
        ClipFacts {
            path: self.path.to_path_buf(),
            container: self.source.demuxer().format().name().to_owned(),
            codec: stream.parameters().id().name().to_owned(),
            width_px,
            height_px,
            bit_depth: luma::bit_depth(self.first),
            rate: self.rate(),
            tick_seconds: tick_seconds(&stream),
            duration_s: duration_s(self.source, self.zero),
            frames: self.table.map(|table| table.presented),
            is_variable_rate: spacing.is_uneven(),
            rotation_degrees: orientation.clockwise_degrees(),
            is_mirrored: orientation.is_mirrored(),
            is_interlaced: false,
            has_audio: self
                .source
                .demuxer()
                .streams()
                .any(|stream| stream.parameters().medium() == media::Type::Audio),
            carried_timecode,
            camera: self.camera(),
            camera_serial: self.first_tag(&SERIAL),
            creation_time: tag(self.source, "creation_time"),
            doubts: self.sample.head_doubt(self.zero).into_iter().collect(),
            notes: timecode_note.into_iter().collect(),
        }
    }

    /// Distances of the frames, as far as they are known without decoding.
    pub(super) fn spacing(&self) -> Spacing {
        let mut spacing = Spacing::of_stamps(&mut self.presented_stamps());
        if let Some(table) = self.table.filter(|_| !self.sample.is_reordered) {
            spacing.merge(table.spacing);
        }
        spacing
    }

    fn presented_stamps(&self) -> Vec<i64> {
        if self.first.is_interlaced() {
            // Packets may hold single fields, half a frame apart.
            return Vec::new();
        }
        let presented = self
            .sample
            .stamps
            .iter()
            .filter(|stamp| **stamp >= self.zero);
        presented.copied().collect()
    }

    fn rate(&self) -> Option<Rate> {
        let stream = self.source.stream();
        let stamps = self.presented_stamps();
        let spacing = self.spacing();
        spacing::nominal_rate(RateClaims {
            average: ratio(stream.avg_frame_rate()),
            grid: ratio(stream.rate()),
            stamps: &stamps,
            tick_seconds: tick_seconds(&stream),
            is_uneven: spacing.is_uneven(),
        })
    }

    /// True if [`ClipFacts::duration_s`] is the picture's own, not the length
    /// of the longest stream.
    pub(super) fn has_own_duration(&self) -> bool {
        let (stream, demuxer) = (self.source.stream(), self.source.demuxer());
        // ASF tells one length, which FFmpeg gives to each stream.
        let tells_each = demuxer.format().name() != "asf";
        (tells_each && stream.duration() > 0)
            || stream.metadata().get("DURATION").is_some()
            || demuxer.nb_streams() == 1
    }

    /// The first of these tags that is there, if it says something.
    fn first_tag(&self, names: &[&str]) -> Option<String> {
        let text = names.iter().find_map(|name| tag(self.source, name));
        text.filter(|text| !text.trim().is_empty())
    }

    /// Maker, model and serial number, each once: the general tags of EXIF and QuickTime
    /// metadata, and those of the MXF identification set (SMPTE ST 377-1).
    fn camera(&self) -> Option<String> {
        const NAMES: [&[&str]; 3] = [
            &["com.apple.quicktime.make", "make", "company_name"],
            &["com.apple.quicktime.model", "model", "product_name"],
            &SERIAL,
        ];
        let mut parts: Vec<String> = Vec::new();
        for names in NAMES {
            parts.extend(self.first_tag(names));
        }
        parts.dedup();
        (!parts.is_empty()).then(|| parts.join(" "))
    }

    fn carried_timecode(&self) -> (Option<String>, Option<Note>) {
        let tracks: Vec<_> = self
            .source
            .demuxer()
            .streams()
            .filter(|stream| is_timecode_track(stream))
            .collect();
        let of_track = tracks
            .iter()
            .find_map(|stream| stream.metadata().get("timecode").map(str::to_owned));
        let carried = of_track.or_else(|| tag(self.source, "timecode"));
        let note = (carried.is_none() && !tracks.is_empty()).then(|| {
            Note::new(
                "timecode_track_unreadable",
                "the file carries a timecode track that FFmpeg does not read, often because it is \
                 marked drop-frame at a rate that has none; it was left aside",
            )
        });
        (carried, note)
    }
}

/// Length from frame 0, at FFmpeg's stamp `zero`, to the end of the last frame, by the picture
/// stream itself, else by the whole file.
fn duration_s(source: &Source, zero: i64) -> Option<Ratio> {
    let stream = source.stream();
    let demuxer = source.demuxer();
    let tick = tick_seconds(&stream);
    let zero_s = Ratio::from_integer(zero) * tick;
    let mut own = Some(stream.duration())
        .filter(|ticks| *ticks > 0)
        .map(|ticks| Ratio::from_integer(ticks) * tick - lead_s(source, zero));
    if demuxer.format().name() == "avi" && stream.frames() > 0 {
        // FFmpeg shortens the length of a cut file, not the number of frames.
        let counted =
            ratio(stream.avg_frame_rate()).map(|rate| Ratio::from_integer(stream.frames()) / rate);
        own = own.max(counted);
    }
    // Matroska counts lengths from time 0, not from the first frame.
    let is_matroska = demuxer.format().name().starts_with("matroska");
    let tagged = || {
        let end = stream.metadata().get("DURATION").and_then(clock_time)?;
        Some(end - zero_s)
    };
    let whole = || {
        // SAFETY: the demuxer is open.
        let (start, duration, method) = unsafe {
            let raw = &*demuxer.as_ptr();
            (raw.start_time, raw.duration, raw.duration_estimation_method)
        };
        let is_guess = method == ffi::AVDurationEstimationMethod::AVFMT_DURATION_FROM_BITRATE;
        if duration <= 0 || is_guess {
            return None;
        }
        let in_s = |t: i64| Ratio::new(t.into(), ffi::AV_TIME_BASE.into());
        let start_s = if is_matroska || start == ffi::AV_NOPTS_VALUE {
            Ratio::ZERO
        } else {
            in_s(start)
        };
        Some(start_s + in_s(duration) - zero_s)
    };
    own.or_else(|| tagged().filter(|_| is_matroska))
        .or_else(whole)
        .filter(|s| s.is_positive())
}

/// How long before frame 0 the picture stream begins, where its length is counted from there:
/// a transport stream that was cut begins with pictures that lean on what is not there.
fn lead_s(source: &Source, zero: i64) -> Ratio {
    let stream = source.stream();
    // SAFETY: the demuxer is open.
    let method = unsafe { (*source.demuxer().as_ptr()).duration_estimation_method };
    let is_by_stamps = method == ffi::AVDurationEstimationMethod::AVFMT_DURATION_FROM_PTS;
    let start = Some(stream.start_time()).filter(|start| *start != ffi::AV_NOPTS_VALUE);
    let lead = start.map_or(0, |start| zero.saturating_sub(start).max(0));
    if is_by_stamps {
        Ratio::from_integer(lead) * tick_seconds(&stream)
    } else {
        Ratio::ZERO
    }
}

/// A tag of the picture stream, else of the file.
fn tag(source: &Source, key: &str) -> Option<String> {
    let stream = source.stream();
    let of_stream = stream.metadata().get(key).map(str::to_owned);
    of_stream.or_else(|| source.demuxer().metadata().get(key).map(str::to_owned))
}

/// What the container says of the opened stream; `None` if FFmpeg could not tell the layout of
/// its pictures, which takes a picture's header at least: then only decoding shows whether it is
/// a clip.
pub(super) fn header(source: &mut Source) -> Option<HeaderFacts> {
    let (width_px, height_px) = source.known_size()?;
    let stream = source.stream();
    let zero = Some(stream.start_time()).filter(|&start| start != ffi::AV_NOPTS_VALUE);
    Some(HeaderFacts {
        container: source.demuxer().format().name().to_owned(),
        width_px,
        height_px,
        duration_s: duration_s(source, zero.unwrap_or(0)),
        creation_time: tag(source, "creation_time"),
    })
}

/// `tmcd` is the sample description of timecode (QuickTime file format).
fn is_timecode_track(stream: &ffmpeg::Stream) -> bool {
    // SAFETY: the parameters belong to the open demuxer.
    let tag = unsafe { (*stream.parameters().as_ptr()).codec_tag };
    tag == u32::from_le_bytes(*b"tmcd")
}

/// Seconds per tick of a stream's stamps.
pub(super) fn tick_seconds(stream: &ffmpeg::Stream) -> Ratio {
    ratio(stream.time_base()).unwrap_or(Ratio::new(1, ffi::AV_TIME_BASE.into()))
}

fn ratio(value: ffmpeg::Rational) -> Option<Ratio> {
    Ratio::checked_new(value.numerator().into(), value.denominator().into())
        .filter(|ratio| ratio.is_positive())
}

/// `00:00:03.003000000`, as Matroska writers put lengths into tags.
fn clock_time(text: &str) -> Option<Ratio> {
    let mut parts = text.trim().rsplit(':');
    let seconds: Ratio = parts.next()?.parse().ok()?;
    let mut whole = 0;
    for (part, unit_s) in parts.zip([60, 3600]) {
        whole += part.parse::<u32>().ok().map(u64::from)? * unit_s;
    }
    // As exact as Matroska writes it, and no longer than a clip may be: further arithmetic has room.
    let nanoseconds = Ratio::from_integer(1_000_000_000);
    let all = seconds.checked_add(Ratio::from_integer(whole))?;
    let exact = Ratio::from_integer(all.checked_mul(nanoseconds)?.round()) / nanoseconds;
    (exact.abs() < Ratio::from_integer(LONGEST_S)).then_some(exact)
}

/// How the container wants the picture shown; of the frame's own if the
/// container does not say.
pub(super) fn orientation(source: &Source, first: &frame::Video) -> Orientation {
    let stream = source.stream();
    let of_stream = stream
        .side_data()
        .find(|data| data.kind() == packet::side_data::Type::DisplayMatrix)
        .and_then(|data| matrix(data.data()));
    let of_frame = || {
        let data = first.side_data(frame::side_data::Type::DisplayMatrix)?;
        matrix(data.data())
    };
    of_stream
        .or_else(of_frame)
        .map_or_else(Orientation::default, |m| Orientation::from_matrix(&m))
}

/// FFmpeg keeps the nine numbers in the machine's byte order.
fn matrix(bytes: &[u8]) -> Option<[i32; 9]> {
    let mut numbers = bytes
        .chunks_exact(4)
        .map(|b| i32::from_ne_bytes([b[0], b[1], b[2], b[3]]));
    let matrix: Vec<i32> = numbers.by_ref().take(9).collect();
    matrix.try_into().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tagged_lengths_are_exact() {
        let length = clock_time("00:01:03.003000000");
        assert_eq!(length, Some(Ratio::new(63_003, 1000)));
        assert_eq!(clock_time("10:00:00.5"), Some(Ratio::new(72_001, 2)));
        assert_eq!(clock_time("soon"), None);
        // Numbers that no clip has leave room to count with them, or are none.
        for digits in 1..=40 {
            let nines = "9".repeat(digits);
            for text in [
                format!("99:59:{nines}.{}", "9".repeat(40 - digits)),
                format!("99:59:{nines}"),
                format!("-{nines}"),
                format!("00:00:40.{nines}"),
            ] {
                if let Some(length) = clock_time(&text) {
                    let tick = Ratio::new(1, 90_000);
                    let _ = (length - Ratio::from_integer(i64::MIN) * tick) / tick;
                }
            }
        }
        assert_eq!(clock_time(&"9".repeat(38)), None);
    }

    #[test]
    fn a_sample_ends_where_reordered_pictures_may_be_missing() {
        // Presentation 0 3 1 2 6 in decoding order: 4 and 5 were not read yet.
        let packets: Vec<ffmpeg::Packet> = [0, 3, 1, 2, 6]
            .into_iter()
            .zip(-1..)
            .map(|(pts, dts)| {
                let mut packet = ffmpeg::Packet::empty();
                packet.set_pts(Some(pts));
                packet.set_dts(Some(dts));
                packet
            })
            .collect();
        let sample = HeadSample::of(&packets);
        assert_eq!(sample.stamps, [0, 1, 2, 3]);
        assert!(sample.is_reordered);
        assert!(!sample.lacks_stamps);
        let bare = vec![ffmpeg::Packet::empty(), ffmpeg::Packet::empty()];
        assert!(HeadSample::of(&bare).lacks_stamps);
    }
}
