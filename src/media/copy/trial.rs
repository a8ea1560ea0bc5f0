//! Whether a stream still plays in a new container, tried with its first packets: muxers take
//! streams whose decoders then miss what the old container told them, such as the block size
//! of WMA.

use super::rewrap::{Family, add, must_carry};
use super::{cannot_write, survey};
use crate::error::Result;
use crate::media::record;
use ffmpeg_next::{
    self as ffmpeg, Frame, Packet, codec, ffi, format::context::Input, format::context::Output,
    frame, media,
};
use std::collections::BTreeMap;
use std::path::Path;

/// So many packets of a stream are tried: Vorbis gives nothing for its first one, and decoders
/// of sound that lack their bearings may give something for one.
const PACKETS: usize = 4;
/// No more of a stream once there are so many bytes, as of uncompressed pictures.
const ENOUGH_BYTES: usize = 1 << 20;
/// A stream that has not begun after so many bytes of the file is tried without packets.
const LONGEST_SEARCH_BYTES: usize = 64 << 20;

/// The first packets of a file's pictures and sound, by the stream's number.
pub(super) struct Samples(BTreeMap<usize, Vec<Packet>>);

impl Samples {
    /// Reads on in `demuxer`, which must stand at its beginning. What cannot be read gives no
    /// packets: reading all of the file will tell.
    pub(super) fn of(demuxer: &mut Input) -> Self {
        let wanted = demuxer.streams().filter(must_carry);
        let mut samples: BTreeMap<usize, Vec<Packet>> =
            wanted.map(|stream| (stream.index(), Vec::new())).collect();
        let mut searched = 0;
        while searched < LONGEST_SEARCH_BYTES && !samples.values().all(|s| is_enough(s)) {
            let mut packet = Packet::empty();
            if packet.read(demuxer).is_err() {
                break;
            }
            searched += packet.size();
            let is_sound = || {
                let stream = demuxer.stream(packet.stream());
                stream.is_some_and(|s| s.parameters().medium() == media::Type::Audio)
            };
            let wanted = samples.get_mut(&packet.stream());
            if let Some(sample) = wanted.filter(|s| !is_enough(s))
                // Pictures before the first key picture lean on what is not there.
                && (!sample.is_empty() || packet.is_key() || is_sound())
            {
                // Flags of the old container's edit list hold no longer.
                packet.set_flags(packet.flags());
                sample.push(packet);
            }
        }
        Self(samples)
    }

    pub(super) fn of_stream(&self, index: usize) -> &[Packet] {
        self.0.get(&index).map_or(&[], Vec::as_slice)
    }
}

fn is_enough(sample: &[Packet]) -> bool {
    sample.len() >= PACKETS || sample.iter().map(Packet::size).sum::<usize>() >= ENOUGH_BYTES
}

/// True if a container of the family takes the stream, and gives it back so that its first
/// packets decode to the same. Without packets the muxer's word has to do.
///
/// # Errors
/// [`crate::error::ErrorKind::CannotWrite`] if the system has no room for a small file.
pub(super) fn is_carried(
    stream: &ffmpeg::Stream,
    packets: &[Packet],
    family: Family,
) -> Result<bool> {
    let file = tempfile::NamedTempFile::new().map_err(|e| {
        cannot_write(e).next("make room in the system's folder for temporary files, for a trial")
    })?;
    let mut output = record::open_output(file.path(), family.muxer())?;
    if write(&mut output, stream, packets, family).is_err() {
        return Ok(false);
    }
    drop(output);
    if packets.is_empty() {
        return Ok(true);
    }
    let Ok(mut copy) = survey::demuxer(file.path()) else {
        return Ok(false);
    };
    let samples = Samples::of(&mut copy);
    let carried = copy.stream(0);
    Ok(carried.is_some_and(|carried| plays_as(stream, packets, &carried, samples.of_stream(0))))
}

/// A file of this stream alone.
fn write(
    output: &mut Output,
    stream: &ffmpeg::Stream,
    packets: &[Packet],
    family: Family,
) -> std::result::Result<(), ffmpeg::Error> {
    add(output, stream, family)?;
    output.write_header()?;
    let base = output.stream(0).expect("added above").time_base();
    let mut time = 0;
    for packet in packets {
        let mut packet = packet.clone();
        // Times are not what is tried, and may be missing.
        packet.set_pts(Some(time));
        packet.set_dts(Some(time));
        packet.set_duration(packet.duration().max(1));
        time += packet.duration();
        packet.rescale_ts(stream.time_base(), base);
        packet.set_stream(0);
        packet.set_position(-1);
        packet.write_interleaved(output)?;
    }
    output.write_trailer()
}

/// For each stream of a finished copy, of which `from` names the source's: the first that does
/// not play as it does in the source.
///
/// # Errors
/// Those of opening both.
pub(super) fn first_broken(source: &Path, copy: &Path, from: &[usize]) -> Result<Option<usize>> {
    let (mut old, mut new) = (survey::demuxer(source)?, survey::demuxer(copy)?);
    let (old_samples, new_samples) = (Samples::of(&mut old), Samples::of(&mut new));
    Ok(from.iter().enumerate().position(|(to, at)| {
        let (Some(before), Some(after)) = (old.stream(*at), new.stream(to)) else {
            return true;
        };
        let (packets, copied) = (old_samples.of_stream(*at), new_samples.of_stream(to));
        !packets.is_empty() && !plays_as(&before, packets, &after, copied)
    }))
}

/// True if the first packets decode to the same, if they do in the source. A stream that this
/// FFmpeg has no decoder for must at least be described to decoders in the same words.
fn plays_as(
    old: &ffmpeg::Stream,
    old_packets: &[Packet],
    new: &ffmpeg::Stream,
    new_packets: &[Packet],
) -> bool {
    if old.parameters().id() != new.parameters().id() {
        return false;
    }
    if ffmpeg::decoder::find(old.parameters().id()).is_none() {
        return description(old) == description(new);
    }
    match (decoded(old, old_packets), decoded(new, new_packets)) {
        (Some(old), Some(new)) => old.is_as(&new),
        (Some(_), None) => false,
        (None, _) => true,
    }
}

/// What decoders are told of a stream before its first packet.
fn description<'a>(stream: &'a ffmpeg::Stream) -> (&'a [u8], i32, i32) {
    // SAFETY: the parameters belong to a stream of an open demuxer, whose parameters live as
    // long as the stream.
    let raw = unsafe { &*(*stream.as_ptr()).codecpar };
    let extra = match usize::try_from(raw.extradata_size) {
        // SAFETY: FFmpeg keeps pointer and size together.
        Ok(len) if !raw.extradata.is_null() => unsafe {
            std::slice::from_raw_parts(raw.extradata, len)
        },
        _ => &[],
    };
    (extra, raw.sample_rate, raw.block_align)
}

/// What the first packets of a stream decode to.
struct Decoded {
    /// Format and size of a picture; format, rate and channels of sound.
    shape: [i32; 3],
    /// The first channel or all, as the format has it; empty for pictures, of which frame 0 is
    /// compared in the finished copy.
    samples: Vec<u8>,
}

impl Decoded {
    /// Uncompressed sound is cut into packets as each container likes, so that of one file's
    /// there may be more.
    fn is_as(&self, other: &Self) -> bool {
        let shared = self.samples.len().min(other.samples.len());
        self.shape == other.shape && self.samples[..shared] == other.samples[..shared]
    }
}

/// `None` if nothing comes out.
fn decoded(stream: &ffmpeg::Stream, packets: &[Packet]) -> Option<Decoded> {
    let mut context = codec::Context::from_parameters(stream.parameters()).ok()?;
    // SAFETY: the context is not open yet, and ours alone.
    unsafe {
        let raw = &mut *context.as_mut_ptr();
        // What a container says is left out at the ends is no matter of the codec.
        raw.flags2 |= ffi::AV_CODEC_FLAG2_SKIP_MANUAL;
        raw.pkt_timebase = stream.time_base().into();
        raw.thread_count = 1;
    }
    let codec = ffmpeg::decoder::find(stream.parameters().id())?;
    let mut decoder = context.decoder().open_as(codec).ok()?;
    let is_sound = stream.parameters().medium() == media::Type::Audio;
    let mut found: Option<Decoded> = None;
    let mut frame = frame::Audio::empty();
    for packet in packets.iter().map(Some).chain([None]) {
        // A packet that fails gives nothing, which is what is compared.
        let _ = match packet {
            Some(packet) => decoder.send_packet(packet),
            None => decoder.send_eof(),
        };
        while decoder.receive_frame(&mut frame).is_ok() {
            let part = if is_sound {
                heard(&frame)
            } else {
                seen(&frame)
            };
            match &mut found {
                None => found = Some(part),
                Some(found) => found.samples.extend(part.samples),
            }
        }
    }
    found
}

fn seen(frame: &Frame) -> Decoded {
    // SAFETY: plain fields of a frame that lives.
    let raw = unsafe { &*frame.as_ptr() };
    Decoded {
        shape: [raw.format, raw.width, raw.height],
        samples: Vec::new(),
    }
}

fn heard(frame: &frame::Audio) -> Decoded {
    // SAFETY: a plain field of a frame that lives.
    let format = unsafe { (*frame.as_ptr()).format };
    let channels = if frame.is_planar() {
        1
    } else {
        usize::from(frame.channels())
    };
    // Decoders may keep room behind the samples.
    let len = frame.format().bytes() * channels * frame.samples();
    Decoded {
        shape: [
            format,
            i32::try_from(frame.rate()).unwrap_or(0),
            frame.channels().into(),
        ],
        samples: frame.data(0).get(..len).unwrap_or_default().to_vec(),
    }
}
