//! What a file holds, packet by packet: payloads hashed, stamps kept.

use super::{Heard, cannot_read};
use crate::digest::hex;
use crate::error::{Error, ErrorKind, Result};
use crate::media::{claims, open, source};
use crate::progress::Wish;
use crate::timecode::Ratio;
use ffmpeg_next::{self as ffmpeg, Packet, codec, ffi, format::context::Input, media};
use sha2::{Digest, Sha256};
use std::io;
use std::path::Path;

/// Reading goes on behind so many errors in a row before the file counts as
/// unreadable: FFmpeg reports some errors more than once.
pub(super) const MOST_FAILURES: u32 = 16;

/// The listener is asked after so many bytes.
const TELL_BYTES: u64 = 8 << 20;

/// In which form payloads are hashed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Form {
    /// Byte for byte as the container holds them.
    Stored,
    /// Without what containers put around the units of H.264, HEVC and AAC:
    /// start codes, lengths, ADTS headers.
    Units,
}

/// How the units of a stream are told apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Framing {
    None,
    /// `00 00 01` before each unit (ISO/IEC 14496-10, annex B).
    StartCodes,
    /// A big-endian length of so many bytes before each unit (14496-15).
    Lengths(usize),
    /// A header before each packet (13818-7, 6.2).
    Adts,
}

impl Framing {
    fn of(parameters: &codec::Parameters) -> Self {
        let extra = extra_data(parameters);
        let is_configuration = extra.first() == Some(&1);
        let length_at = match parameters.id() {
            codec::Id::H264 => 4,
            codec::Id::HEVC => 21,
            codec::Id::AAC if extra.is_empty() => return Self::Adts,
            _ => return Self::None,
        };
        match extra.get(length_at).filter(|_| is_configuration) {
            Some(byte) => Self::Lengths(usize::from(byte & 3) + 1),
            None => Self::StartCodes,
        }
    }

    /// Hands the payload on, unit by unit.
    fn units<'a>(self, payload: &'a [u8], mut take: impl FnMut(&'a [u8])) {
        match self {
            Self::None => take(payload),
            Self::StartCodes => {
                for unit in split_at_start_codes(payload) {
                    take(unit);
                }
            }
            Self::Lengths(size) => {
                let mut rest = payload;
                while let Some((length, behind)) = rest.split_at_checked(size) {
                    let length = length
                        .iter()
                        .fold(0, |sum, byte| sum << 8 | usize::from(*byte));
                    let (unit, behind) = behind.split_at(length.min(behind.len()));
                    take(without_zeros(unit));
                    rest = behind;
                }
            }
            Self::Adts => {
                // Bit 15 says that no checksum follows the seven bytes.
                let is_adts = payload.len() > 7 && payload[0] == 0xFF && payload[1] & 0xF6 == 0xF0;
                let header_len = match (is_adts, payload.get(1)) {
                    (false, _) | (_, None) => 0,
                    (true, Some(byte)) if byte & 1 == 1 => 7,
                    (true, Some(_)) => 9,
                };
                take(payload.get(header_len..).unwrap_or_default());
            }
        }
    }
}

/// Units between start codes.
fn split_at_start_codes(payload: &[u8]) -> Vec<&[u8]> {
    let mut starts = Vec::new();
    let mut at = 0;
    while let Some(window) = payload.get(at..at + 3) {
        if window == [0, 0, 1] {
            starts.push(at + 3);
            at += 3;
        } else {
            at += 1;
        }
    }
    let ends = starts
        .iter()
        .skip(1)
        .map(|start| start - 3)
        .chain([payload.len()]);
    let units = starts.iter().zip(ends);
    units
        .map(|(start, end)| without_zeros(&payload[*start..end]))
        .filter(|unit| !unit.is_empty())
        .collect()
}

/// No unit ends with a zero (14496-10, 7.4.1): those are filling.
fn without_zeros(unit: &[u8]) -> &[u8] {
    let len = unit
        .iter()
        .rposition(|byte| *byte != 0)
        .map_or(0, |last| last + 1);
    &unit[..len]
}

fn extra_data(parameters: &codec::Parameters) -> &[u8] {
    // SAFETY: the parameters belong to an open demuxer; FFmpeg keeps pointer and
    // size together.
    unsafe {
        let raw = &*parameters.as_ptr();
        match usize::try_from(raw.extradata_size) {
            Ok(len) if !raw.extradata.is_null() && len > 0 => {
                std::slice::from_raw_parts(raw.extradata, len)
            }
            _ => &[],
        }
    }
}

/// One stream of a file.
#[derive(Clone, Debug)]
pub(super) struct Stream {
    /// Number in the file's own terms: the track's in QuickTime and MP4.
    pub id: i32,
    pub medium: media::Type,
    pub codec: String,
    /// FFmpeg's four letters of the sample description, for streams without codec.
    pub tag: String,
    pub packets: u64,
    pub bytes: u64,
    /// SHA-256 over all payloads, hexadecimal.
    pub sha256: String,
    /// SHA-256 over all stamps, lengths, flags and sizes.
    pub stamps_sha256: String,
    /// Presentation stamps in file order; for pictures and sound.
    pub stamps: Vec<Option<i64>>,
    pub first_dts: Option<i64>,
    /// End of the packet presented last.
    pub end: Option<i64>,
    /// Where decoding stamps are missing or stand still.
    pub lacks_decoding_stamps: bool,
    /// Packets that an edit list hides.
    pub hidden: u64,
    /// Packets before the first that decoders can begin with; all, if there is none.
    pub before_key: u64,
    pub tick_seconds: Ratio,
}

impl Stream {
    pub(super) fn is_timecode(&self) -> bool {
        self.tag == "tmcd"
    }

    /// The stamp of frame 0: as decoding told, or, where decoders made stamps up,
    /// the earliest.
    ///
    /// # Errors
    /// [`ErrorKind::BadRequest`] if pictures lack stamps, or share one.
    pub(super) fn frame_0(&self, told: i64) -> Result<i64> {
        let bare = || {
            Error::new(
                ErrorKind::BadRequest,
                "its pictures have no times of presentation",
            )
            .next("convert it to MOV first, and look whether its frames are in order")
        };
        let stamps: Option<Vec<i64>> = self.stamps.iter().copied().collect();
        let mut stamps = stamps.ok_or_else(bare)?;
        stamps.sort_unstable();
        if stamps.windows(2).any(|pair| pair[0] == pair[1]) {
            return Err(Error::new(
                ErrorKind::BadRequest,
                "two of its pictures have the same time of presentation, as where recordings \
                 were joined",
            )
            .next(
                "copy it from the card again; if it is so there, too, convert it to MOV first, \
                 and look whether its frames are in order",
            ));
        }
        match stamps.binary_search(&told) {
            Ok(_) => Ok(told),
            Err(_) => stamps.first().copied().ok_or_else(bare),
        }
    }

    /// Pictures at the head of the file that lean on what is not there, where `zero` is the
    /// stamp of frame 0.
    pub(super) fn headless(&self, zero: i64) -> u64 {
        let head = usize::try_from(self.before_key).unwrap_or(usize::MAX);
        let is_lost = |stamps: &[Option<i64>]| stamps.iter().flatten().all(|t| *t < zero);
        match self.stamps.get(..head) {
            Some(stamps) if self.before_key < self.packets && is_lost(stamps) => self.before_key,
            _ => 0,
        }
    }

    /// For people: `pictures (h264)`, `data (mebx)`.
    pub(super) fn name(&self) -> String {
        let what = match self.medium {
            media::Type::Video => "pictures",
            media::Type::Audio => "sound",
            media::Type::Subtitle => "subtitles",
            media::Type::Attachment => "attachment",
            _ => "data",
        };
        let codec = if self.codec == "none" && !self.tag.is_empty() {
            &self.tag
        } else {
            &self.codec
        };
        format!("{what} ({codec})")
    }
}

#[cfg(test)]
impl Stream {
    /// Pictures that stand for others in tests, with these stamps.
    pub(super) fn pictures(stamps: &[i64], ticks_per_second: i128) -> Self {
        Self {
            id: 1,
            medium: media::Type::Video,
            codec: "h264".into(),
            tag: "avc1".into(),
            packets: stamps.len() as u64,
            bytes: 9,
            sha256: "a".into(),
            stamps_sha256: "b".into(),
            stamps: stamps.iter().copied().map(Some).collect(),
            first_dts: None,
            end: None,
            lacks_decoding_stamps: false,
            hidden: 0,
            before_key: 0,
            tick_seconds: Ratio::new(1, ticks_per_second),
        }
    }
}

/// All streams of a file.
#[derive(Clone, Debug)]
pub(super) struct Survey {
    pub streams: Vec<Stream>,
    /// Packets that FFmpeg knows to be incomplete.
    pub incomplete: u64,
}

impl Survey {
    /// When the last packet of pictures or sound ends, in FFmpeg's seconds.
    pub(super) fn end_s(&self) -> Ratio {
        let ends = self
            .streams
            .iter()
            .filter_map(|stream| Some(Ratio::from_integer(stream.end?) * stream.tick_seconds));
        ends.max().unwrap_or(Ratio::ZERO)
    }
}

/// A demuxer that gives all streams.
pub(super) fn demuxer(path: &Path) -> Result<Input> {
    open::prepare();
    open::open_demuxer(path).map_err(|e| unreadable(e).in_file(path))
}

struct Running {
    stream: Stream,
    payloads: Sha256,
    stamps: Sha256,
    framing: Framing,
    last_dts: Option<i64>,
}

/// Reads the whole file. `None` if the listener wants to stop.
///
/// # Errors
/// [`ErrorKind::Undecodable`] if it cannot be read to its end; [`ErrorKind::CannotOpen`] if
/// that is the drive's fault.
pub(super) fn survey(path: &Path, form: Form, heard: &mut Heard) -> Result<Option<Survey>> {
    let mut demuxer = demuxer(path)?;
    let mut running: Vec<Running> = demuxer.streams().map(|s| begin(&s, form)).collect();
    let (mut incomplete, mut failures, mut untold) = (0, 0, 0);
    loop {
        // One for each: FFmpeg does not free what the packet held before.
        let mut packet = Packet::empty();
        match packet.read(&mut demuxer) {
            Ok(()) => {}
            Err(ffmpeg::Error::Eof) => break,
            Err(e) => {
                failures += 1;
                if failures > MOST_FAILURES {
                    return Err(unreadable(e).in_file(path));
                }
                continue;
            }
        }
        failures = 0;
        incomplete += u64::from(packet.is_corrupt());
        untold += packet.size() as u64;
        if untold >= TELL_BYTES && heard.advance(std::mem::take(&mut untold)) == Wish::Stop {
            return Ok(None);
        }
        // Transport streams may announce streams late.
        while running.len() <= packet.stream() {
            let index = running.len();
            running.push(begin(
                &demuxer.stream(index).expect("a packet has a stream"),
                form,
            ));
        }
        running[packet.stream()].take(&packet);
    }
    heard.advance(untold);
    Ok(Some(Survey {
        streams: running.into_iter().map(Running::finish).collect(),
        incomplete,
    }))
}

fn begin(stream: &ffmpeg::Stream, form: Form) -> Running {
    let parameters = stream.parameters();
    // SAFETY: the parameters belong to the open demuxer.
    let tag = unsafe { (*parameters.as_ptr()).codec_tag }.to_le_bytes();
    let letters = tag.map(char::from);
    let is_text = letters.iter().all(|c| c.is_ascii_graphic() || *c == ' ');
    Running {
        stream: Stream {
            id: stream.id(),
            medium: parameters.medium(),
            codec: parameters.id().name().to_owned(),
            tag: letters.iter().filter(|_| is_text).collect(),
            packets: 0,
            bytes: 0,
            sha256: String::new(),
            stamps_sha256: String::new(),
            stamps: Vec::new(),
            first_dts: None,
            end: None,
            lacks_decoding_stamps: false,
            hidden: 0,
            before_key: 0,
            tick_seconds: claims::tick_seconds(stream),
        },
        payloads: Sha256::new(),
        stamps: Sha256::new(),
        framing: match form {
            Form::Stored => Framing::None,
            Form::Units => Framing::of(&parameters),
        },
        last_dts: None,
    }
}

impl Running {
    fn take(&mut self, packet: &Packet) {
        let stream = &mut self.stream;
        let payload = packet.data().unwrap_or_default();
        if stream.before_key == stream.packets && !packet.is_key() {
            stream.before_key += 1;
        }
        stream.packets += 1;
        stream.hidden += u64::from(source::is_hidden(packet));
        self.framing.units(payload, |unit| {
            stream.bytes += unit.len() as u64;
            if matches!(self.framing, Framing::StartCodes | Framing::Lengths(_)) {
                // Else the same bytes could be units of other lengths.
                self.payloads.update((unit.len() as u64).to_be_bytes());
            }
            self.payloads.update(unit);
        });
        for stamp in [packet.pts(), packet.dts(), Some(packet.duration())] {
            self.stamps
                .update(stamp.unwrap_or(ffi::AV_NOPTS_VALUE).to_be_bytes());
        }
        self.stamps.update(packet.flags().bits().to_be_bytes());
        self.stamps.update((payload.len() as u64).to_be_bytes());
        if matches!(stream.medium, media::Type::Video | media::Type::Audio) {
            stream.stamps.push(packet.pts());
            let end = packet
                .pts()
                .map(|pts| pts.saturating_add(packet.duration()));
            stream.end = stream.end.max(end);
        }
        stream.first_dts = stream.first_dts.or(packet.dts());
        let is_later = match (self.last_dts, packet.dts()) {
            (_, None) => false,
            (None, Some(_)) => true,
            (Some(last), Some(dts)) => dts > last,
        };
        stream.lacks_decoding_stamps |= !is_later;
        self.last_dts = packet.dts().or(self.last_dts);
    }

    fn finish(self) -> Stream {
        Stream {
            sha256: hex(&self.payloads.finalize()),
            stamps_sha256: hex(&self.stamps.finalize()),
            ..self.stream
        }
    }
}

/// A drive that fails is another matter than a file that is damaged.
pub(super) fn unreadable(cause: ffmpeg::Error) -> Error {
    if let ffmpeg::Error::Other { errno } = cause
        && errno != ffmpeg::error::EINVAL
    {
        return cannot_read(io::Error::from_raw_os_error(errno));
    }
    Error::new(ErrorKind::Undecodable, "cannot be read to its end")
        .next("copy it from the card again")
        .because(cause)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn units(framing: Framing, payload: &[u8]) -> Vec<Vec<u8>> {
        let mut found = Vec::new();
        framing.units(payload, |unit| found.push(unit.to_vec()));
        found
    }

    #[test]
    fn a_drive_that_fails_is_told_from_a_clip_that_is_damaged() {
        // EIO and ENODEV of errno(3) on Linux: the drive was pulled out.
        for errno in [5, 19] {
            let error = unreadable(ffmpeg::Error::Other { errno });
            assert_eq!(error.kind(), ErrorKind::CannotOpen);
            assert!(error.advice().unwrap().contains("drive"), "{error}");
        }
        let error = unreadable(ffmpeg::Error::InvalidData);
        assert_eq!(error.kind(), ErrorKind::Undecodable);
    }

    #[test]
    fn pictures_that_share_a_time_are_not_called_pictures_without_times() {
        let shared = Stream::pictures(&[0, 1, 2, 1], 25);
        let error = shared.frame_0(0).unwrap_err();
        assert!(error.what().contains("the same time"), "{error}");
        let mut bare = Stream::pictures(&[0, 1], 25);
        bare.stamps[1] = None;
        let error = bare.frame_0(0).unwrap_err();
        assert!(error.what().contains("no times"), "{error}");
        let stream = Stream::pictures(&[2, 1, 3], 25);
        assert_eq!(stream.frame_0(2).unwrap(), 2);
        assert_eq!(stream.frame_0(7).unwrap(), 1, "made up by the decoder");
    }

    #[test]
    fn start_codes_and_lengths_hold_the_same_units() {
        let codes = [0, 0, 0, 1, 9, 0x10, 0, 0, 1, 0x65, 1, 2, 3, 0, 0, 0];
        let lengths = [0, 0, 0, 2, 9, 0x10, 0, 0, 0, 4, 0x65, 1, 2, 3];
        let expected = vec![vec![9, 0x10], vec![0x65, 1, 2, 3]];
        assert_eq!(units(Framing::StartCodes, &codes), expected);
        assert_eq!(units(Framing::Lengths(4), &lengths), expected);
        assert_eq!(
            units(Framing::Lengths(2), &[0, 1, 7, 0, 9, 1]),
            [vec![7], vec![1]]
        );
    }

    #[test]
    fn adts_headers_are_left_out_with_and_without_checksum() {
        let bare = [0xFF, 0xF1, 0, 0, 0, 0, 0, 42, 43];
        let checked = [0xFF, 0xF0, 0, 0, 0, 0, 0, 1, 2, 42];
        assert_eq!(units(Framing::Adts, &bare), [[42, 43]]);
        assert_eq!(units(Framing::Adts, &checked), [[42]]);
        assert_eq!(units(Framing::Adts, &[1, 2]), [[1, 2]]);
    }
}
