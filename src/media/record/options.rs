//! What a recording is to be, and what cannot be.

use crate::error::{Error, ErrorKind, Result};
use crate::media::orient::Orientation;
use crate::timecode::{ClockForm, Rate};
use ffmpeg_next::format::Pixel;
use image::{GrayImage, RgbImage};
use std::path::Path;

/// How pictures are compressed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum RecordCodec {
    /// 8-bit 4:2:0, limited range.
    H264,
    /// 10-bit 4:2:0, limited range.
    Hevc10,
    /// 8-bit 4:2:0, full range, every frame by itself.
    Mjpeg,
    /// 10-bit 4:2:2, limited range, every frame by itself.
    ProRes,
    /// 8-bit 4:2:0, limited range.
    Mpeg2,
}

impl RecordCodec {
    /// FFmpeg's name of the encoder.
    pub(super) const fn encoder_name(self) -> &'static str {
        match self {
            Self::H264 => "libx264",
            Self::Hevc10 => "libx265",
            Self::Mjpeg => "mjpeg",
            Self::ProRes => "prores_ks",
            Self::Mpeg2 => "mpeg2video",
        }
    }

    pub(super) const fn pixel(self) -> Pixel {
        match self {
            Self::H264 | Self::Mpeg2 => Pixel::YUV420P,
            Self::Hevc10 => Pixel::YUV420P10LE,
            Self::Mjpeg => Pixel::YUVJ420P,
            Self::ProRes => Pixel::YUV422P10LE,
        }
    }

    pub(super) const fn is_intra_only(self) -> bool {
        matches!(self, Self::Mjpeg | Self::ProRes)
    }
}

/// How well pictures are kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Quality {
    /// 0 (as good as it gets) to 51 (ruined): the constant rate factor of H.264
    /// and HEVC, and about the same damage in the other codecs.
    Constant(u8),
    /// Bits per second on average; has no effect on ProRes.
    BitRate(u32),
}

/// When frames are presented.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Stamps {
    /// Every `1 / rate` seconds.
    Constant,
    /// When [`write_at`](super::Recorder::write_at) says, in ticks of this many a second.
    Explicit { ticks_per_second: u32 },
}

/// What a movie file is to be. Start from [`RecordOptions::new`].
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RecordOptions {
    /// Size of the pictures as they are handed over and stored, even numbers.
    pub width_px: u32,
    pub height_px: u32,
    /// Nominal rate; with [`Stamps::Constant`] the rate.
    pub rate: Rate,
    pub codec: RecordCodec,
    pub quality: Quality,
    /// Frames from one key frame to the next at most; codecs that have only key
    /// frames take no notice.
    pub key_interval: u32,
    /// Pictures between reference pictures that are stored in another order
    /// than presented, 0 to 16.
    pub b_frames: u8,
    /// Clockwise turn by which players must present the pictures: 0, 90, 180 or
    /// 270. MP4 and MOV only.
    pub rotation_degrees: u16,
    pub stamps: Stamps,
    /// Start label for a timecode track, drop-frame with a semicolon. MP4, MOV
    /// and MXF only.
    pub timecode: Option<String>,
    /// When the recording began, for the header: UTC as `2031-05-04T14:01:01Z`.
    pub created: Option<String>,
    /// Adds a soft tone.
    pub audio: bool,
}

impl RecordOptions {
    /// Good quality, a key frame a second, no reordering, no turn, no timecode,
    /// no sound.
    pub fn new(width_px: u32, height_px: u32, rate: Rate, codec: RecordCodec) -> Self {
        Self {
            width_px,
            height_px,
            rate,
            codec,
            quality: Quality::Constant(20),
            key_interval: rate.base(),
            b_frames: 0,
            rotation_degrees: 0,
            stamps: Stamps::Constant,
            timecode: None,
            created: None,
            audio: false,
        }
    }
}

/// A picture to record: full-range RGB or luma, 8 bit.
#[derive(Clone, Copy)]
pub enum Picture<'a> {
    Rgb(&'a RgbImage),
    Luma(&'a GrayImage),
}

impl<'a> From<&'a RgbImage> for Picture<'a> {
    fn from(image: &'a RgbImage) -> Self {
        Self::Rgb(image)
    }
}

impl<'a> From<&'a GrayImage> for Picture<'a> {
    fn from(image: &'a GrayImage) -> Self {
        Self::Luma(image)
    }
}

/// Containers, by the file name's extension.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Container {
    /// FFmpeg's short name of the muxer.
    pub muxer: &'static str,
    /// Made of ISO boxes: holds a matrix.
    pub has_matrix: bool,
    pub has_timecode: bool,
    /// FFmpeg's name of the sound encoder.
    pub sound: &'static str,
}

impl Container {
    fn of(path: &Path) -> Option<Self> {
        let extension = path.extension()?.to_str()?.to_ascii_lowercase();
        let (muxer, has_matrix, has_timecode, sound) = match extension.as_str() {
            "mp4" | "m4v" => ("mp4", true, true, "aac"),
            "mov" => ("mov", true, true, "pcm_s16le"),
            "mkv" => ("matroska", false, false, "pcm_s16le"),
            "mxf" => ("mxf", false, true, "pcm_s16le"),
            "avi" => ("avi", false, false, "pcm_s16le"),
            "mts" | "m2ts" | "ts" => ("mpegts", false, false, "aac"),
            _ => return None,
        };
        Some(Self {
            muxer,
            has_matrix,
            has_timecode,
            sound,
        })
    }
}

/// Refuses what cannot be, before anything is opened.
pub(super) fn check(path: &Path, options: &RecordOptions) -> Result<(Container, Orientation)> {
    let container = Container::of(path).ok_or_else(|| {
        bad("the extension tells no container").next("use mp4, mov, mkv, mxf, avi or mts")
    })?;
    if options.codec == RecordCodec::ProRes && container.muxer == "mxf" {
        return Err(bad("FFmpeg writes no ProRes into MXF").next("use mov"));
    }
    let is_even = |px: u32| px > 0 && px.is_multiple_of(2) && px <= 16_384;
    if !is_even(options.width_px) || !is_even(options.height_px) {
        return Err(bad("width and height must be even, 2 to 16384 pixels"));
    }
    if options.b_frames > 16 || options.key_interval == 0 {
        return Err(bad("at most 16 B-frames, and a key interval of at least 1"));
    }
    if matches!(options.quality, Quality::Constant(above) if above > 51) {
        return Err(bad("constant quality goes from 0 to 51"));
    }
    if matches!(
        options.stamps,
        Stamps::Explicit {
            ticks_per_second: 0
        }
    ) {
        return Err(bad("a second needs ticks"));
    }
    let orientation = Orientation::from_degrees(options.rotation_degrees)
        .ok_or_else(|| bad("the rotation must be 0, 90, 180 or 270 degrees"))?;
    if orientation != Orientation::default() && !container.has_matrix {
        return Err(bad("this container keeps no rotation").next("use mp4 or mov"));
    }
    if let Some(timecode) = &options.timecode {
        if !container.has_timecode {
            return Err(bad("this container keeps no timecode track").next("use mp4, mov or mxf"));
        }
        // FFmpeg itself takes illegal labels and writes others.
        ClockForm::frames(options.rate, timecode.contains(';'))
            .and_then(|form| form.parse(timecode))
            .map_err(|e| {
                bad(format!("{timecode} is no label at this rate")).because(e.to_string())
            })?;
    }
    if path.exists() {
        return Err(would_replace());
    }
    Ok((container, orientation))
}

pub(super) fn bad(what: impl Into<String>) -> Error {
    Error::new(ErrorKind::BadRequest, what)
}

pub(super) fn would_replace() -> Error {
    Error::new(ErrorKind::WouldReplace, "exists already").next("choose another name or remove it")
}
