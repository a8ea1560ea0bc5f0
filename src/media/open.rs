//! Opening a file, and saying why it cannot be opened.

use super::boxes::{self, TopLevel};
use crate::error::{Error, ErrorKind, Result};
use ffmpeg_next::{
    self as ffmpeg, Discard, codec, ffi, format::context::Input, format::stream::Disposition, media,
};
use std::ffi::CString;
use std::fs::{self, File};
use std::num::NonZero;
use std::path::Path;
use std::sync::Once;
use std::thread;

/// Frames of this many pixels and more (UHD) are decoded by fewer threads:
/// every thread holds frames, 12 to 25 megabytes each.
const LARGE_PX: u64 = 3840 * 2160;
const MOST_THREADS: usize = 16;
const MOST_THREADS_LARGE: usize = 4;
/// Decoder's threads for each core, where several clips are read at once but fewer than there are
/// cores: a clip's frames are looked at while others decode. Every thread decodes a frame ahead,
/// which is in vain where reading stops, and holds frames: 24 clips of 1080p, 16 at once with 16
/// threads each, took 2.4 GB and a third more processor time than with two threads each.
const THREADS_PER_CORE: usize = 2;

/// FFmpeg's demuxers that draw any text of some length as a picture of a terminal.
const DRAWS_TEXT: [&str; 5] = ["tty", "bin", "xbin", "adf", "idf"];

/// An opened file and its chosen picture stream.
pub(super) struct Opening {
    pub demuxer: Input,
    pub stream: usize,
    pub decoder: ffmpeg::decoder::Video,
    /// The container says all that is asked of a stream, so that no picture of it was looked at.
    pub is_as_claimed: bool,
}

/// Prepares FFmpeg, and makes it silent: what matters of what it says is in our
/// errors and notes.
pub(super) fn prepare() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        // Error texts. Fails in no release; without them messages are poorer.
        let _ = ffmpeg::init();
        ffmpeg::log::set_level(ffmpeg::log::Level::Quiet);
    });
}

/// Opens the file and the decoder of its best picture stream; so many others are read
/// `beside` it.
pub(super) fn open(path: &Path, beside: usize) -> Result<Opening> {
    prepare();
    check_file(path)?;
    let mut demuxer = open_container(path).map_err(|e| why_not(path, e))?;
    let is_as_claimed = claims_enough(&demuxer);
    if !is_as_claimed {
        look_into(&mut demuxer).map_err(|e| why_not(path, e))?;
    }
    if DRAWS_TEXT.contains(&demuxer.format().name()) {
        return Err(Error::new(ErrorKind::NotVideo, "is text, not video")
            .next("check what the file is; its name alone does not make it a clip"));
    }
    let (stream, codec) = choose_stream(&demuxer)?;
    for mut other in demuxer.streams_mut() {
        if other.index() != stream {
            // SAFETY: the stream belongs to the open demuxer.
            unsafe { (*other.as_mut_ptr()).discard = Discard::All.into() };
        }
    }
    let decoder = open_decoder(&demuxer, stream, codec, beside)?;
    Ok(Opening {
        demuxer,
        stream,
        decoder,
        is_as_claimed,
    })
}

/// The reasons that have nothing to do with video.
fn check_file(path: &Path) -> Result<()> {
    let cannot_open = |e: std::io::Error| {
        let next = match e.kind() {
            std::io::ErrorKind::NotFound => "check the name and that the drive is connected",
            std::io::ErrorKind::PermissionDenied => "ask for the right to read it",
            _ => "check that the drive is connected, or copy the file elsewhere and try again",
        };
        Error::new(ErrorKind::CannotOpen, "cannot be opened")
            .next(next)
            .because(e)
    };
    let about = fs::metadata(path).map_err(cannot_open)?;
    if about.is_dir() {
        return Err(Error::new(ErrorKind::IsFolder, "is a folder, not a clip")
            .next("name the clips in it, or read all of it with `rollmark card`"));
    }
    if !about.is_file() {
        // Opening a pipe would wait for somebody to write into it.
        return Err(
            Error::new(ErrorKind::NotVideo, "is a device or a pipe, not a clip")
                .next("save what it gives as a file, and name that"),
        );
    }
    File::open(path).map_err(cannot_open)?;
    if about.len() == 0 {
        return Err(Error::new(ErrorKind::Empty, "has no bytes")
            .next("copy it from the card again; if it is empty there too, nothing was recorded"));
    }
    Ok(())
}

/// Opens a container and learns all of its streams.
pub(super) fn open_demuxer(path: &Path) -> std::result::Result<Input, ffmpeg::Error> {
    let mut demuxer = open_container(path)?;
    look_into(&mut demuxer)?;
    Ok(demuxer)
}

/// Opens a container as it presents itself.
fn open_container(path: &Path) -> std::result::Result<Input, ffmpeg::Error> {
    let unusable = ffmpeg::Error::Other {
        errno: ffmpeg::error::EINVAL,
    };
    // The prefix keeps names such as `concat:a.mov` plain names; bytes keep
    // names that are not UTF-8.
    let mut url = b"file:".to_vec();
    url.extend(path.as_os_str().as_encoded_bytes());
    let url = CString::new(url).map_err(|_| unusable)?;
    // A playlist that calls itself a movie may not reach out of this machine.
    let mut options = ffmpeg::Dictionary::new();
    options.set("protocol_whitelist", "file");
    // SAFETY: pointers are valid for the calls; FFmpeg frees a context that it
    // fails to open, and `Input` owns it afterwards.
    unsafe {
        let mut options = options.disown();
        let mut context = std::ptr::null_mut();
        let result =
            ffi::avformat_open_input(&mut context, url.as_ptr(), std::ptr::null(), &mut options);
        drop(ffmpeg::Dictionary::own(options));
        if result < 0 {
            return Err(ffmpeg::Error::from(result));
        }
        Ok(Input::wrap(context))
    }
}

/// Has FFmpeg look at the first packets for what the container does not say; it decodes a
/// picture or more for that, which a whole card's clips feel.
fn look_into(demuxer: &mut Input) -> std::result::Result<(), ffmpeg::Error> {
    // SAFETY: the demuxer is open.
    let result =
        unsafe { ffi::avformat_find_stream_info(demuxer.as_mut_ptr(), std::ptr::null_mut()) };
    if result < 0 {
        return Err(ffmpeg::Error::from(result));
    }
    Ok(())
}

/// True for a QuickTime or MP4 file with one picture stream, whose table of samples and
/// decoder's parameters are whole and tell what is asked of a stream before its first picture
/// is decoded, the depth of reordering among it (ISO/IEC 14496-12, 8.6; 14496-15, 5 and 8).
fn claims_enough(demuxer: &Input) -> bool {
    let mut streams =
        (demuxer.streams()).filter(|stream| stream.parameters().medium() == media::Type::Video);
    let (Some(stream), None) = (streams.next(), streams.next()) else {
        return false;
    };
    let parameters = stream.parameters();
    // SAFETY: the demuxer is open, its streams are not changed here.
    let (has_extra, samples) = unsafe {
        let raw = &*parameters.as_ptr();
        let samples = ffi::avformat_index_get_entries_count(stream.as_ptr().cast_mut());
        (raw.extradata_size > 0, i64::from(samples))
    };
    let (width_px, height_px) = size(&stream);
    demuxer.format().name().split(',').any(|name| name == "mov")
        && matches!(parameters.id(), codec::Id::H264 | codec::Id::HEVC)
        && has_extra
        && samples > 0
        && samples >= stream.frames()
        && width_px > 0
        && height_px > 0
        && stream.duration() > 0
        && stream.avg_frame_rate().numerator() > 0
        && stream.rate().numerator() > 0
}

/// Width and height in pixels, as the head of a picture tells them, without decoding it. `None`
/// if the packet has none.
pub(super) fn size_in_header(
    stream: &ffmpeg::Stream,
    packet: &ffmpeg::Packet,
) -> Option<(u32, u32)> {
    let mut context = codec::Context::from_parameters(stream.parameters()).ok()?;
    let bytes = packet.data()?;
    let length = i32::try_from(bytes.len()).ok()?;
    // SAFETY: the parser is closed again; the context lives as long; the packet's bytes have the
    // padding that FFmpeg asks for, and what the parser gives out points into them.
    let (format, width, height) = unsafe {
        let parser = ffi::av_parser_init((*context.as_ptr()).codec_id as i32);
        if parser.is_null() {
            return None;
        }
        (*parser).flags |= ffi::PARSER_FLAG_COMPLETE_FRAMES;
        let (mut out, mut out_length) = (std::ptr::null_mut(), 0);
        ffi::av_parser_parse2(
            parser,
            context.as_mut_ptr(),
            &mut out,
            &mut out_length,
            bytes.as_ptr(),
            length,
            ffi::AV_NOPTS_VALUE,
            ffi::AV_NOPTS_VALUE,
            -1,
        );
        let told = ((*parser).format, (*parser).width, (*parser).height);
        ffi::av_parser_close(parser);
        told
    };
    let size = (u32::try_from(width).ok()?, u32::try_from(height).ok()?);
    (format >= 0 && size.0 > 0 && size.1 > 0).then_some(size)
}

/// Puts FFmpeg's refusal into words that help.
fn why_not(path: &Path, refusal: ffmpeg::Error) -> Error {
    match boxes::top_level(path) {
        Ok(TopLevel::WithoutIndex) => Error::new(
            ErrorKind::NoIndex,
            "has no index (no whole moov box): the recording or the copy was cut off",
        )
        .next(
            "copy it from the card again; if the card's file is cut off too, let the camera \
             repair it or use a recovery program with a good clip of the same camera",
        ),
        Ok(TopLevel::WithIndex) => {
            Error::new(ErrorKind::NotVideo, "is a movie file that cannot be read")
                .next("copy it from the card again")
        }
        _ => Error::new(ErrorKind::NotVideo, "is no video file that FFmpeg knows")
            .next("check what the file is; its name alone does not make it a clip"),
    }
    .because(refusal)
}

/// The largest of the streams that a player would show, and its decoder. Cover
/// pictures are no streams.
fn choose_stream(demuxer: &Input) -> Result<(usize, ffmpeg::Codec)> {
    let pictures = demuxer.streams().filter(|stream| {
        stream.parameters().medium() == media::Type::Video
            && !stream.disposition().contains(Disposition::ATTACHED_PIC)
    });
    let mut codec_without_decoder = None;
    let best = pictures
        .filter_map(|stream| {
            let id = stream.parameters().id();
            let Some(codec) = ffmpeg::decoder::find(id) else {
                codec_without_decoder = Some(id.name());
                return None;
            };
            let (width_px, height_px) = size(&stream);
            let is_default = stream.disposition().contains(Disposition::DEFAULT);
            let area_px = u64::from(width_px) * u64::from(height_px);
            // Of equals the first.
            let rank = (is_default, area_px, std::cmp::Reverse(stream.index()));
            Some((rank, stream.index(), codec))
        })
        .max_by_key(|(rank, ..)| *rank);
    match (best, codec_without_decoder) {
        (Some((_, stream, codec)), _) => Ok((stream, codec)),
        (None, Some(name)) => Err(Error::new(
            ErrorKind::NoDecoder,
            format!("this FFmpeg has no decoder for its pictures ({name})"),
        )
        .next("convert the clip with the camera maker's tool first")),
        (None, None) => Err(Error::new(ErrorKind::NoPicture, "has no picture stream")
            .next("leave sound and data files out; if it is a clip, copy it from the card again")),
    }
}

/// Width and height in pixels, as the container or FFmpeg has them; 0 if unknown.
pub(super) fn size(stream: &ffmpeg::Stream) -> (u32, u32) {
    let parameters = stream.parameters();
    // SAFETY: the parameters belong to the open demuxer.
    let (width, height) = unsafe {
        let raw = &*parameters.as_ptr();
        (raw.width, raw.height)
    };
    (
        u32::try_from(width).unwrap_or(0),
        u32::try_from(height).unwrap_or(0),
    )
}

fn open_decoder(
    demuxer: &Input,
    stream: usize,
    codec: ffmpeg::Codec,
    beside: usize,
) -> Result<ffmpeg::decoder::Video> {
    let stream = demuxer.stream(stream).expect("chosen from this demuxer");
    let (width_px, height_px) = size(&stream);
    let large = u64::from(width_px) * u64::from(height_px) >= LARGE_PX;
    let cores = thread::available_parallelism().map_or(1, NonZero::get);
    let threads = threads(cores, beside).min(if large {
        MOST_THREADS_LARGE
    } else {
        MOST_THREADS
    });
    let opened = codec::Context::from_parameters(stream.parameters()).and_then(|mut context| {
        // SAFETY: the context is not open yet, and ours alone.
        unsafe {
            let raw = &mut *context.as_mut_ptr();
            raw.thread_type = ffi::FF_THREAD_FRAME | ffi::FF_THREAD_SLICE;
            raw.thread_count = i32::try_from(threads).unwrap_or(1);
            // Lets FFmpeg guess missing stamps and durations.
            raw.pkt_timebase = stream.time_base().into();
        }
        context.decoder().open_as(codec)?.video()
    });
    opened.map_err(|e| {
        Error::new(
            ErrorKind::NoDecoder,
            format!(
                "the decoder for its pictures ({}) does not start",
                codec.name()
            ),
        )
        .next("convert the clip with the camera maker's tool first")
        .because(e)
    })
}

/// Threads of one decoder: one, where the clips that are read at once keep all cores busy.
fn threads(cores: usize, beside: usize) -> usize {
    if beside >= cores - 1 && beside > 0 {
        return 1;
    }
    let share = (THREADS_PER_CORE * cores).div_ceil(beside + 1);
    share.min(cores)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::media::{Quality, RecordCodec, RecordOptions, Recorder};
    use crate::timecode::Rate;
    use image::GrayImage;

    #[test]
    fn a_container_that_claims_enough_claims_what_a_look_at_its_pictures_tells() {
        let folder = tempfile::tempdir().unwrap();
        for (name, codec, claims) in [
            ("avc.mov", RecordCodec::H264, true),
            ("avc.mp4", RecordCodec::H264, true),
            ("hevc.mp4", RecordCodec::Hevc10, true),
            // Codecs whose parameters stand in their pictures alone; other containers.
            ("photo.mov", RecordCodec::Mjpeg, false),
            ("avc.mkv", RecordCodec::H264, false),
        ] {
            let file = folder.path().join(name);
            let mut options = RecordOptions::new(162, 98, Rate::F29_97, codec);
            options.quality = Quality::Constant(30);
            let mut recorder = Recorder::create(&file, options).unwrap();
            for shade in 0..40 {
                let picture = GrayImage::from_pixel(162, 98, image::Luma([shade * 6]));
                recorder.write(&picture).unwrap();
            }
            recorder.finish().unwrap();
            let mut demuxer = open_container(&file).unwrap();
            assert_eq!(claims_enough(&demuxer), claims, "{name}");
            if !claims {
                continue;
            }
            let told = |demuxer: &Input| {
                let stream = demuxer.stream(0).unwrap();
                // SAFETY: the parameters belong to the open demuxer.
                let delay = unsafe { (*stream.parameters().as_ptr()).video_delay };
                let rates = (stream.avg_frame_rate(), stream.rate());
                (
                    size(&stream),
                    delay,
                    rates,
                    stream.duration(),
                    stream.time_base(),
                )
            };
            let claimed = told(&demuxer);
            let mut packet = ffmpeg::Packet::empty();
            packet.read(&mut demuxer).unwrap();
            let seen = size_in_header(&demuxer.stream(0).unwrap(), &packet);
            let looked_into = open_demuxer(&file).unwrap();
            assert_eq!(claimed, told(&looked_into), "{name}");
            assert_eq!(seen, Some(claimed.0), "{name}");
            let zeroes = ffmpeg::Packet::copy(&[0; 500]);
            let seen = size_in_header(&demuxer.stream(0).unwrap(), &zeroes);
            assert_eq!(seen, None, "{name}: no picture");
        }
    }

    #[test]
    fn a_clip_alone_gets_all_cores_and_many_share_them() {
        for (cores, beside, wanted) in [
            (16, 0, 16),
            (16, 1, 16),
            (16, 3, 8),
            (16, 14, 3),
            (16, 15, 1),
            (16, 99, 1),
            (2, 1, 1),
            (2, 0, 2),
            (1, 0, 1),
            (1, usize::MAX, 1),
        ] {
            assert_eq!(
                threads(cores, beside),
                wanted,
                "{cores} cores, {beside} beside"
            );
        }
    }
}
