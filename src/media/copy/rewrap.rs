//! Streams moved into a new QuickTime or MP4 file, packet by packet, through
//! libavformat: for containers that hold no timecode track, and for indexes that
//! are spread over the file. The timecode track comes later.

use super::moov::{Amends, is_timecode_key};
use super::survey::{self, Survey};
use super::trial::{self, Samples};
use super::{Heard, cannot_write};
use crate::error::{Error, ErrorKind, Result};
use crate::media::record;
use crate::progress::Wish;
use crate::timecode::{Rate, Ratio};
use ffmpeg_next::{
    self as ffmpeg, Dictionary, DictionaryRef, Packet, Rescale, codec,
    codec::packet::side_data,
    encoder, ffi,
    format::context::{Input, Output},
    format::stream::Disposition,
    media,
};
use std::ffi::CString;
use std::path::Path;

/// Tags that tell how the old container stored things, or which program wrote
/// it: untrue of a new one.
const STALE_TAGS: [&str; 6] = [
    "encoder",
    "vendor_id",
    "major_brand",
    "minor_version",
    "compatible_brands",
    "duration",
];
/// Beginnings of Matroska's statistics tags (Matroska tag specification).
const STALE_PREFIXES: [&str; 4] = ["_statistics", "bps", "number_of_", "duration-"];

/// Packets are taken for fields if half of them are in pairs at least: so many packets a pair at most.
const PACKETS_A_PAIR: usize = 4;

/// Kinds of container that a rewrapped file can be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Family {
    QuickTime,
    Mp4,
}

impl Family {
    pub(super) const fn muxer(self) -> &'static str {
        match self {
            Self::QuickTime => "mov",
            Self::Mp4 => "mp4",
        }
    }

    const fn title(self) -> &'static str {
        match self {
            Self::QuickTime => "MOV",
            Self::Mp4 => "MP4",
        }
    }
}

/// Which container carries all pictures and all sound of a file: MOV before MP4,
/// as it takes more of what cameras record. `demuxer` stands at its beginning.
///
/// # Errors
/// [`ErrorKind::BadRequest`] with the codec that none carries.
pub(super) fn choose(demuxer: &mut Input) -> Result<Family> {
    let samples = Samples::of(demuxer);
    let Some(by_quicktime) = first_refused(demuxer, &samples, Family::QuickTime)? else {
        return Ok(Family::QuickTime);
    };
    match first_refused(demuxer, &samples, Family::Mp4)? {
        None => Ok(Family::Mp4),
        Some(stream) if stream.index() == by_quicktime.index() => {
            Err(refusal(&stream, "MOV or MP4"))
        }
        Some(_) => Err(refusal(&by_quicktime, Family::QuickTime.title())),
    }
}

/// # Errors
/// As [`choose`], for a container that is settled already.
pub(super) fn check(demuxer: &mut Input, family: Family) -> Result<()> {
    let samples = Samples::of(demuxer);
    match first_refused(demuxer, &samples, family)? {
        Some(stream) => Err(refusal(&stream, family.title())),
        None => Ok(()),
    }
}

fn first_refused<'a>(
    demuxer: &'a Input,
    samples: &Samples,
    family: Family,
) -> Result<Option<ffmpeg::Stream<'a>>> {
    for stream in demuxer.streams().filter(must_carry) {
        if !trial::is_carried(&stream, samples.of_stream(stream.index()), family)? {
            return Ok(Some(stream));
        }
    }
    Ok(None)
}

fn refusal(stream: &ffmpeg::Stream, container: &str) -> Error {
    let (what, instead) = match stream.parameters().medium() {
        media::Type::Video => ("pictures", "convert the clip to ProRes or H.264 first"),
        _ => ("sound", "convert the clip's sound to PCM or AAC first"),
    };
    let name = format!("{what} ({})", stream.parameters().id().name());
    if is_untold(stream) {
        return comes_late(&name);
    }
    Error::new(
        ErrorKind::BadRequest,
        format!("its {name} cannot go into {container} without being converted"),
    )
    .next(format!("{instead}, or use another output than the copy"))
}

/// True of pictures and sound of which FFmpeg knows no more than the codec.
fn is_untold(stream: &ffmpeg::Stream) -> bool {
    let parameters = stream.parameters();
    // SAFETY: the parameters belong to the open demuxer.
    let (width, sample_rate) = unsafe {
        let raw = &*parameters.as_ptr();
        (raw.width, raw.sample_rate)
    };
    match parameters.medium() {
        media::Type::Video => width == 0,
        media::Type::Audio => sample_rate == 0,
        _ => false,
    }
}

/// A new container is told of its streams before the first packet.
fn comes_late(name: &str) -> Error {
    Error::new(
        ErrorKind::BadRequest,
        format!(
            "its {name} begins so late in the file that a new container cannot be told of it in \
             time"
        ),
    )
    .next("convert the clip to MOV first, or use another output than the copy")
}

/// Pictures and sound; a cover is neither.
pub(super) fn must_carry(stream: &ffmpeg::Stream) -> bool {
    let is_cover = stream.disposition().contains(Disposition::ATTACHED_PIC);
    matches!(
        stream.parameters().medium(),
        media::Type::Video | media::Type::Audio
    ) && !is_cover
}

/// What became of the streams.
pub(super) struct Rewrapped {
    /// For each stream of the copy the source's.
    pub from: Vec<usize>,
    pub not_carried: Vec<String>,
    /// What the picture track must say about its times.
    pub shown: Amends,
}

/// What is moved, and how.
pub(super) struct Order<'a> {
    pub source: &'a Path,
    pub survey: &'a Survey,
    pub family: Family,
    /// The picture stream and FFmpeg's stamp of frame 0, which becomes time 0.
    pub frame_0: (usize, i64),
    /// For each of its packets whether a sample begins with it. See [`sample_starts`].
    pub starts: &'a [bool],
}

/// Writes the file at `target`, which exists and is ours. `None` if the
/// listener wants to stop.
///
/// # Errors
/// [`ErrorKind::BadRequest`] if the muxer refuses, [`ErrorKind::CannotWrite`]
/// if writing fails.
pub(super) fn rewrap(order: &Order, target: &Path, heard: &mut Heard) -> Result<Option<Rewrapped>> {
    let mut input = survey::demuxer(order.source)?;
    let mut output = record::open_output(target, order.family.muxer())?;
    // SAFETY: the muxer is open, and its header not written yet.
    unsafe { (*output.as_mut_ptr()).flags |= ffi::AVFMT_FLAG_BITEXACT };
    let mut rewrapped = Rewrapped {
        from: Vec::new(),
        not_carried: Vec::new(),
        shown: shown(order),
    };
    for stream in input.streams() {
        let described = &order.survey.streams[stream.index()];
        // A stream without packets has nothing to carry, and timecode is replaced.
        let is_attached = described.medium == media::Type::Attachment;
        if described.is_timecode() || described.packets == 0 && !is_attached {
            continue;
        }
        if must_carry(&stream) || is_allowed_beside(&stream, order.family)? {
            add(&mut output, &stream, order.family)
                .map_err(|e| refusal(&stream, order.family.title()).because(e))?;
            rewrapped.from.push(stream.index());
        } else {
            let file = stream.metadata().get("filename").map(str::to_owned);
            let name = file
                .filter(|_| is_attached)
                .map_or_else(|| described.name(), |file| format!("attachment {file}"));
            rewrapped.not_carried.push(name);
        }
    }
    // Those that are announced behind the head, as by transport streams, are not there yet.
    let known = input.nb_streams() as usize;
    let late = order.survey.streams.iter().skip(known);
    for stream in late.filter(|stream| stream.packets > 0 && !stream.is_timecode()) {
        if matches!(stream.medium, media::Type::Video | media::Type::Audio) {
            return Err(comes_late(&stream.name()));
        }
        rewrapped.not_carried.push(stream.name());
    }
    let chapters = input.nb_chapters();
    if chapters > 0 {
        rewrapped
            .not_carried
            .push(format!("{chapters} chapter marks"));
    }
    output.set_metadata(kept(&input.metadata()));
    let mut settings = Dictionary::new();
    settings.set("movflags", "use_metadata_tags");
    settings.set("write_tmcd", "0");
    settings.set(
        "movie_timescale",
        &movie_timescale(rewrapped.shown.shown_s).to_string(),
    );
    output
        .write_header_with(settings)
        .map_err(|e| unwritten(e, order.family))?;
    let is_done = pass(order, &mut input, &mut output, &rewrapped.from, heard)?;
    if !is_done {
        return Ok(None);
    }
    output
        .write_trailer()
        .map_err(|e| unwritten(e, order.family))?;
    Ok(Some(rewrapped))
}

/// A drive that fails is another matter than a muxer that does not take what it is given.
fn unwritten(cause: ffmpeg::Error, family: Family) -> Error {
    match cause {
        ffmpeg::Error::Other { errno } if errno != ffmpeg::error::EINVAL => cannot_write(cause),
        _ => Error::new(
            ErrorKind::BadRequest,
            format!("its streams do not go into {} as they are", family.title()),
        )
        .next("convert the clip to MOV first, or use another output than the copy")
        .because(cause),
    }
}

/// Ticks in which edit lists are counted: those of transport streams, which hold
/// Matroska's milliseconds, too; coarser ones where those need more than 32 bits.
fn movie_timescale(shown_s: Ratio) -> u32 {
    const FINE: u32 = 90_000;
    let limit_s = Ratio::new(i128::from(u32::MAX), i128::from(FINE));
    if shown_s < limit_s { FINE } else { 1000 }
}

/// Muxers take the first picture stored for the first one presented. It is not
/// where a recording begins in the middle of a group of pictures.
fn shown(order: &Order) -> Amends {
    let (picture, zero) = order.frame_0;
    let stream = &order.survey.streams[picture];
    let first_dts = match decoding_stamps(stream) {
        Some(made) => made.first().copied(),
        None => stream.first_dts,
    };
    let seconds = |ticks: i64| Ratio::from_integer(ticks) * stream.tick_seconds;
    Amends {
        matrix: None,
        edit_from_s: seconds(zero.saturating_sub(first_dts.unwrap_or(zero))),
        shown_s: seconds(stream.end.unwrap_or(zero).saturating_sub(zero)),
    }
}

/// Subtitles and data that the muxer knows; everything else it would refuse.
fn is_allowed_beside(stream: &ffmpeg::Stream, family: Family) -> Result<bool> {
    let medium = stream.parameters().medium();
    let is_known = stream.parameters().id() != codec::Id::None
        && matches!(medium, media::Type::Subtitle | media::Type::Data);
    Ok(is_known && trial::is_carried(stream, &[], family)?)
}

pub(super) fn add(
    output: &mut Output,
    stream: &ffmpeg::Stream,
    family: Family,
) -> Result<(), ffmpeg::Error> {
    let mut added = output.add_stream(encoder::find(codec::Id::None))?;
    added.set_parameters(stream.parameters());
    added.set_time_base(stream.time_base());
    added.set_rate(stream.rate());
    added.set_avg_frame_rate(stream.avg_frame_rate());
    added.set_metadata(kept(&stream.metadata()));
    // SAFETY: both streams belong to open contexts.
    unsafe {
        let raw = &mut *added.as_mut_ptr();
        let from = &*stream.as_ptr();
        raw.disposition = from.disposition;
        raw.sample_aspect_ratio = from.sample_aspect_ratio;
        let parameters = &mut *raw.codecpar;
        parameters.codec_tag = sample_description(stream, family, parameters.codec_tag);
    }
    Ok(())
}

/// The four letters of the sample description: the source's own if it is of the
/// family, else the muxer's choice.
fn sample_description(stream: &ffmpeg::Stream, family: Family, tag: u32) -> u32 {
    let name = CString::new(family.muxer()).expect("no zero bytes");
    // SAFETY: muxers are constants of the library, their tag tables as well.
    let known = unsafe {
        let muxer = ffi::av_guess_format(name.as_ptr(), std::ptr::null(), std::ptr::null());
        ffi::av_codec_get_id((*muxer).codec_tag, tag)
    };
    let id = stream.parameters().id();
    if codec::Id::from(known) == id {
        return tag;
    }
    if id == codec::Id::HEVC && !is_transport_stream(stream) {
        // Parameter sets lie in the description, which is what `hvc1` says (14496-15).
        return u32::from_le_bytes(*b"hvc1");
    }
    0
}

/// Transport streams have their parameter sets among the pictures.
fn is_transport_stream(stream: &ffmpeg::Stream) -> bool {
    // SAFETY: the parameters belong to the open demuxer.
    unsafe {
        let raw = &*stream.parameters().as_ptr();
        raw.extradata.is_null() || *raw.extradata != 1
    }
}

/// Tags that stay true.
fn kept(tags: &DictionaryRef) -> Dictionary<'static> {
    let mut kept = Dictionary::new();
    for (key, value) in tags.iter().filter(|(key, _)| !is_stale(key)) {
        kept.set(key, value);
    }
    kept
}

pub(super) fn is_stale(key: &str) -> bool {
    let key = key.to_ascii_lowercase();
    is_timecode_key(&key)
        || STALE_TAGS.contains(&&*key)
        || STALE_PREFIXES.iter().any(|prefix| key.starts_with(prefix))
}

/// What a picture stream's matrix says, as a track header holds it.
///
/// # Errors
/// Those of opening the source.
pub(super) fn matrix(source: &Path, picture: usize) -> Result<Option<[u8; 36]>> {
    let demuxer = survey::demuxer(source)?;
    let stream = demuxer.stream(picture).expect("chosen from this file");
    let side_data = stream
        .side_data()
        .find(|data| data.kind() == side_data::Type::DisplayMatrix);
    // FFmpeg keeps the nine numbers in the machine's byte order.
    let numbers = side_data
        .map(|data| data.data().to_vec())
        .unwrap_or_default();
    let mut matrix = [0; 36];
    for (to, from) in matrix.chunks_exact_mut(4).zip(numbers.chunks_exact(4)) {
        to.copy_from_slice(&i32::from_ne_bytes([from[0], from[1], from[2], from[3]]).to_be_bytes());
    }
    Ok((numbers.len() >= matrix.len()).then_some(matrix))
}

/// True if all packets were moved, false if the listener wants to stop.
fn pass(
    order: &Order,
    input: &mut Input,
    output: &mut Output,
    from: &[usize],
    heard: &mut Heard,
) -> Result<bool> {
    let (picture, zero) = order.frame_0;
    let picture_base = input
        .stream(picture)
        .expect("chosen from this file")
        .time_base();
    let mut made: Vec<Option<std::vec::IntoIter<i64>>> = from
        .iter()
        .map(|at| decoding_stamps(&order.survey.streams[*at]).map(IntoIterator::into_iter))
        .collect();
    let mut last_pts: Vec<Option<i64>> = vec![None; from.len()];
    let mut starts = order.starts.iter().copied().peekable();
    let mut first_field: Option<Packet> = None;
    let mut failures = 0;
    loop {
        let mut packet = Packet::empty();
        match packet.read(input) {
            Ok(()) => {}
            Err(ffmpeg::Error::Eof) => return Ok(true),
            // The survey has read the file: what fails now is missed by the comparison, unless
            // nothing comes any more.
            Err(e) => {
                failures += 1;
                if failures > survey::MOST_FAILURES {
                    return Err(survey::unreadable(e).in_file(order.source));
                }
                continue;
            }
        }
        failures = 0;
        if heard.advance(packet.size() as u64) == Wish::Stop {
            return Ok(false);
        }
        let Some(to) = from.iter().position(|at| *at == packet.stream()) else {
            continue;
        };
        if let Some(stamps) = &mut made[to] {
            packet.set_dts(stamps.next());
        }
        if packet.stream() == picture {
            let begins = starts.next() != Some(false);
            match first_field.take().filter(|_| !begins) {
                Some(first) => packet = joined(&first, &packet),
                None if starts.peek() == Some(&false) => {
                    first_field = Some(packet);
                    continue;
                }
                None => {}
            }
        }
        let stream = input
            .stream(packet.stream())
            .expect("a packet has a stream");
        let base = stream.time_base();
        let before = std::mem::replace(&mut last_pts[to], packet.pts());
        let is_sound = stream.parameters().medium() == media::Type::Audio;
        if let Some((now, before)) = packet.pts().zip(before)
            && packet.duration() == 0
            && is_sound
        {
            // Else the muxer's edit list leaves out the last packet, as Matroska's ALAC has it.
            packet.set_duration(now.saturating_sub(before).max(0));
        }
        let shift = zero.rescale(picture_base, base);
        packet.set_pts(packet.pts().map(|t| t.saturating_sub(shift)));
        packet.set_dts(packet.dts().map(|t| t.saturating_sub(shift)));
        packet.rescale_ts(base, output.stream(to).expect("added above").time_base());
        packet.set_stream(to);
        packet.set_position(-1);
        packet
            .write_interleaved(output)
            .map_err(|e| unwritten(e, order.family))?;
    }
}

/// Both fields of a frame as one packet with the times of the first.
fn joined(first: &Packet, second: &Packet) -> Packet {
    let payloads = [first, second].map(|field| field.data().unwrap_or_default());
    let mut packet = Packet::copy(&payloads.concat());
    packet.set_pts(first.pts());
    packet.set_dts(first.dts());
    packet.set_duration(first.duration().saturating_add(second.duration()));
    packet.set_flags(first.flags());
    packet.set_stream(first.stream());
    packet
}

/// For each packet of interlaced pictures whether a sample begins with it, at the rate of
/// frames: QuickTime and MP4 keep both fields of a frame in one sample, or players take them
/// for frames. A field whose other one is missing is a sample alone, and so is a packet that
/// holds a frame.
pub(super) fn sample_starts(pictures: &survey::Stream, rate: Option<Rate>) -> Vec<bool> {
    let mut starts = vec![true; pictures.stamps.len()];
    let field_s = rate.map(|rate| (rate.ratio() * Ratio::from_integer(2)).recip());
    let field = field_s.map(|field_s| field_s / pictures.tick_seconds);
    // Coarser ticks do not tell fields from frames.
    let Some(field) = field.filter(|field| *field >= Ratio::from_integer(2)) else {
        return starts;
    };
    for (at, pair) in pictures.stamps.windows(2).enumerate() {
        if let [Some(first), Some(second)] = pair
            && starts[at]
        {
            let apart = Ratio::from_integer(i128::from(*second) - i128::from(*first));
            // At 59.94 fields a second they lie a tick and a half off whole ones, rounded.
            starts[at + 1] = (apart - field).abs() >= Ratio::ONE;
        }
    }
    // Frames of uneven length may come as close now and then.
    let seconds = starts.iter().filter(|begins| !**begins).count();
    if PACKETS_A_PAIR * seconds < starts.len() {
        starts.fill(true);
    }
    starts
}

/// Decoding stamps for pictures whose container has none, such as Matroska:
/// the presentation stamps in order, so far ahead that none is presented before
/// it is decoded.
fn decoding_stamps(stream: &survey::Stream) -> Option<Vec<i64>> {
    if stream.medium != media::Type::Video || !stream.lacks_decoding_stamps {
        return None;
    }
    let stamps: Vec<i64> = stream.stamps.iter().copied().collect::<Option<_>>()?;
    ahead_of(&stamps)
}

fn ahead_of(stamps: &[i64]) -> Option<Vec<i64>> {
    let mut sorted = stamps.to_vec();
    sorted.sort_unstable();
    let step = sorted
        .windows(2)
        .map(|pair| pair[1].saturating_sub(pair[0]))
        .filter(|step| *step > 0)
        .min()?;
    let first = *sorted.first()?;
    // How many pictures later than its place in presentation order each is stored.
    let delay = (0..stamps.len()).find(|delay| {
        stamps
            .iter()
            .enumerate()
            .all(|(at, stamp)| match at.checked_sub(*delay) {
                Some(before) => sorted[before] <= *stamp,
                None => true,
            })
    })?;
    Some(
        (0..stamps.len())
            .map(|at| match at.checked_sub(delay) {
                Some(before) => sorted[before],
                None => first
                    .saturating_sub(step.saturating_mul(i64::try_from(delay - at).unwrap_or(0))),
            })
            .collect(),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decoding_goes_ahead_of_presentation_by_as_little_as_possible() {
        assert_eq!(ahead_of(&[0, 40, 80]), Some(vec![0, 40, 80]));
        // I P B B P B B, 40 ms apart.
        let stamps = [0, 120, 40, 80, 240, 160, 200];
        let decoding = ahead_of(&stamps).unwrap();
        assert_eq!(decoding, [-40, 0, 40, 80, 120, 160, 200]);
        assert!(decoding.iter().zip(&stamps).all(|(dts, pts)| dts <= pts));
    }

    #[test]
    fn two_fields_of_a_frame_make_a_sample_and_a_lone_one_another() {
        let starts = |stamps: &[i64], rate| {
            let starts = sample_starts(&survey::Stream::pictures(stamps, 90_000), rate);
            starts.iter().map(|s| u8::from(*s)).collect::<Vec<_>>()
        };
        // I, then a B-frame presented before it, by fields of 1/50 s.
        let fields = [7200, 9000, 0, 1800, 3600, 5400];
        assert_eq!(starts(&fields, Some(Rate::F25)), [1, 0, 1, 0, 1, 0]);
        assert_eq!(starts(&fields, Some(Rate::F50)), [1; 6]);
        assert_eq!(starts(&fields, None), [1; 6]);
        assert_eq!(starts(&[7200, 0, 3600], Some(Rate::F25)), [1; 3]);
        // The file ends within a frame; one packet holds a frame.
        assert_eq!(starts(&fields[..5], Some(Rate::F25)), [1, 0, 1, 0, 1]);
        let mixed = [7200, 9000, 0, 3600, 5400];
        assert_eq!(starts(&mixed, Some(Rate::F25)), [1, 0, 1, 1, 0]);
        // Interlaced frames, one of which came early.
        let early = [0, 3600, 7200, 9000, 14_400, 18_000];
        assert_eq!(starts(&early, Some(Rate::F25)), [1; 6]);
        // 90000 / 59.94 is 1501.5: rounded up, and down.
        let rounded = [6006, 7508, 0, 1501, 3003, 4505];
        assert_eq!(starts(&rounded, Some(Rate::F29_97)), [1, 0, 1, 0, 1, 0]);
        // Ticks of a frame, as AVI has them.
        let coarse = survey::Stream::pictures(&[0, 1, 2], 25);
        assert_eq!(sample_starts(&coarse, Some(Rate::F25)), [true; 3]);
    }

    #[test]
    fn joined_fields_have_the_times_of_the_first() {
        let field = |bytes: &[u8], pts| {
            let mut packet = Packet::copy(bytes);
            packet.set_pts(Some(pts));
            packet.set_dts(Some(pts - 1));
            packet.set_duration(1800);
            packet
        };
        let frame = joined(&field(&[0, 0, 1, 9], 40), &field(&[0, 0, 1, 8], 1840));
        assert_eq!(frame.data(), Some(&[0, 0, 1, 9, 0, 0, 1, 8][..]));
        assert_eq!(
            (frame.pts(), frame.dts(), frame.duration()),
            (Some(40), Some(39), 3600)
        );
    }

    #[test]
    fn tags_of_the_old_container_are_stale() {
        for key in [
            "ENCODER",
            "BPS-eng",
            "NUMBER_OF_FRAMES",
            "timecode",
            "DURATION",
        ] {
            assert!(is_stale(key), "{key}");
        }
        for key in ["creation_time", "title", "language", "com.maker.lens"] {
            assert!(!is_stale(key), "{key}");
        }
    }
}
