//! Pictures to a movie file, as a camera would leave it: for rehearsals.

mod options;
mod sound;

pub use options::{Picture, Quality, RecordCodec, RecordOptions, Stamps};

use super::boxes;
use super::open;
use super::orient::Orientation;
use crate::error::{Error, ErrorKind, Result};
use crate::save;
use crate::timecode::Rate;
use ffmpeg_next::{
    self as ffmpeg, Dictionary, Packet, Rational, codec, color, encoder, ffi, format::Pixel,
    format::context::Output, frame, software::scaling,
};
use options::{Container, bad, check, would_replace};
use sound::Sound;
use std::ffi::CString;
use std::io::{Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

/// Writes one movie file. The file appears under its name when
/// [`Recorder::finish`] succeeds; a recorder dropped before leaves nothing.
pub struct Recorder {
    path: PathBuf,
    options: RecordOptions,
    orientation: Orientation,
    output: Output,
    encoder: encoder::video::Encoder,
    encoder_time_base: Rational,
    scaler: Option<scaling::Context>,
    sound: Option<Sound>,
    written: i64,
    last_ticks: Option<i64>,
    /// Last, so that FFmpeg closes the file before it goes.
    temporary: tempfile::NamedTempFile,
}

impl Recorder {
    /// Opens the encoders and writes the header into a temporary file beside `path`.
    ///
    /// # Errors
    /// [`ErrorKind::BadRequest`] if options contradict each other, the container
    /// or the codec; [`ErrorKind::WouldReplace`] if `path` exists;
    /// [`ErrorKind::CannotWrite`] if the folder takes no file.
    pub fn create(path: &Path, options: RecordOptions) -> Result<Self> {
        Self::create_unnamed(path, options).map_err(|e| e.in_file(path))
    }

    fn create_unnamed(path: &Path, options: RecordOptions) -> Result<Self> {
        open::prepare();
        let (container, orientation) = check(path, &options)?;
        let folder = path.parent().filter(|p| !p.as_os_str().is_empty());
        let temporary =
            save::temporary_in(folder.unwrap_or(Path::new("."))).map_err(cannot_write)?;
        let mut output = open_output(temporary.path(), container.muxer)?;
        // SAFETY: the muxer is open, and its description constant.
        let wants_headers =
            unsafe { (*(*output.as_ptr()).oformat).flags & ffi::AVFMT_GLOBALHEADER != 0 };
        let encoder = open_encoder(&options, wants_headers)?;
        let encoder_time_base = time_base(&options);
        let refused = |e| refused(&options, container, e);
        {
            let mut stream = output.add_stream_with(&encoder.0).map_err(refused)?;
            stream.set_time_base(encoder_time_base);
            stream.set_avg_frame_rate(rational(options.rate));
            stream.set_rate(rational(options.rate));
        }
        let sound = match options.audio {
            true => {
                Some(Sound::add_to(&mut output, container.sound, wants_headers).map_err(refused)?)
            }
            false => None,
        };
        let mut tags = Dictionary::new();
        if let Some(timecode) = &options.timecode {
            tags.set("timecode", timecode);
        }
        if let Some(created) = &options.created {
            tags.set("creation_time", created);
        }
        output.set_metadata(tags);
        let mut settings = Dictionary::new();
        if let (Stamps::Explicit { ticks_per_second }, true) =
            (options.stamps, container.has_matrix)
        {
            settings.set("video_track_timescale", &ticks_per_second.to_string());
        }
        output.write_header_with(settings).map_err(refused)?;
        Ok(Self {
            path: path.to_path_buf(),
            options,
            orientation,
            temporary,
            output,
            encoder,
            encoder_time_base,
            scaler: None,
            sound,
            written: 0,
            last_ticks: None,
        })
    }

    /// Writes the next picture `1 / rate` after the one before.
    ///
    /// # Errors
    /// [`ErrorKind::BadRequest`] if its size is not that of the options, or the
    /// options want explicit stamps; [`ErrorKind::CannotWrite`] if writing fails.
    pub fn write<'a>(&mut self, picture: impl Into<Picture<'a>>) -> Result<()> {
        if self.options.stamps != Stamps::Constant {
            return Err(
                bad("explicit stamps were chosen, but a picture has none").in_file(&self.path)
            );
        }
        self.encode(picture.into(), self.written)
            .map_err(|e| e.in_file(&self.path))
    }

    /// Writes the next picture, to be presented `ticks` after the beginning.
    ///
    /// # Errors
    /// As [`Recorder::write`]; [`ErrorKind::BadRequest`] also if the options want
    /// constant stamps, or the ticks do not increase.
    pub fn write_at<'a>(&mut self, picture: impl Into<Picture<'a>>, ticks: i64) -> Result<()> {
        if self.options.stamps == Stamps::Constant {
            return Err(
                bad("constant stamps were chosen, but a picture has its own").in_file(&self.path),
            );
        }
        if ticks < 0 || self.last_ticks.is_some_and(|last| ticks <= last) {
            return Err(bad("stamps must increase from 0").in_file(&self.path));
        }
        self.encode(picture.into(), ticks)
            .map_err(|e| e.in_file(&self.path))
    }

    /// Writes what is left, syncs, and gives the file its name.
    ///
    /// # Errors
    /// [`ErrorKind::CannotWrite`] if that fails, [`ErrorKind::WouldReplace`] if
    /// another program made the file meanwhile.
    pub fn finish(mut self) -> Result<()> {
        let path = std::mem::take(&mut self.path);
        self.finish_unnamed(&path).map_err(|e| e.in_file(&path))
    }

    fn finish_unnamed(mut self, path: &Path) -> Result<()> {
        self.encoder.send_eof().map_err(cannot_write)?;
        self.pass_packets()?;
        if let Some(sound) = &mut self.sound {
            sound.finish(&mut self.output).map_err(cannot_write)?;
        }
        self.output.write_trailer().map_err(cannot_write)?;
        // Closes the file; what FFmpeg still held is written now.
        drop(self.output);
        if self.orientation != Orientation::default() {
            let (width_px, height_px) = (self.options.width_px, self.options.height_px);
            let matrix = self.orientation.to_matrix(width_px, height_px);
            write_matrix(&mut self.temporary, &matrix).map_err(cannot_write)?;
        }
        self.temporary.as_file().sync_all().map_err(cannot_write)?;
        self.temporary
            .persist_noclobber(path)
            .map_err(|e| match e.error.kind() {
                std::io::ErrorKind::AlreadyExists => would_replace(),
                _ => cannot_write(e.error),
            })?;
        Ok(())
    }

    fn encode(&mut self, picture: Picture, pts: i64) -> Result<()> {
        let mut frame = self.convert(picture)?;
        frame.set_pts(Some(pts));
        self.encoder.send_frame(&frame).map_err(cannot_write)?;
        self.written += 1;
        self.last_ticks = Some(pts);
        self.pass_packets()?;
        if let Some(sound) = &mut self.sound {
            let (num, den) = (
                self.encoder_time_base.numerator(),
                self.encoder_time_base.denominator(),
            );
            // To the end of the picture: MXF leaves pictures without sound out.
            let until_s = (i128::from(pts) + 1) * i128::from(num);
            sound
                .write_until(&mut self.output, (until_s, i128::from(den)))
                .map_err(cannot_write)?;
        }
        Ok(())
    }

    fn pass_packets(&mut self) -> Result<()> {
        let time_base = self
            .output
            .stream(0)
            .expect("the picture stream was added first")
            .time_base();
        let mut packet = Packet::empty();
        while self.encoder.receive_packet(&mut packet).is_ok() {
            packet.set_stream(0);
            if packet.duration() == 0 && self.options.stamps == Stamps::Constant {
                packet.set_duration(1);
            }
            packet.rescale_ts(self.encoder_time_base, time_base);
            packet
                .write_interleaved(&mut self.output)
                .map_err(cannot_write)?;
        }
        Ok(())
    }

    /// RGB or luma to what the encoder takes: BT.709 in limited range, or what
    /// JPEG wants.
    fn convert(&mut self, picture: Picture) -> Result<frame::Video> {
        let (format, (width, height), bytes, channels) = match picture {
            Picture::Rgb(image) => (Pixel::RGB24, image.dimensions(), image.as_raw(), 3),
            Picture::Luma(image) => (Pixel::GRAY8, image.dimensions(), image.as_raw(), 1),
        };
        if (width, height) != (self.options.width_px, self.options.height_px) {
            return Err(bad(format!(
                "a picture has {width}x{height} pixels where {}x{} were announced",
                self.options.width_px, self.options.height_px
            )));
        }
        let mut source = frame::Video::new(format, width, height);
        let stride = source.stride(0);
        let row_len = width as usize * channels;
        for (to, from) in source
            .data_mut(0)
            .chunks_mut(stride)
            .zip(bytes.chunks(row_len))
        {
            to[..row_len].copy_from_slice(from);
        }
        let scaler = match &mut self.scaler {
            Some(scaler) if scaler.input().format == format => scaler,
            stale => stale.insert(open_scaler(format, &self.options).map_err(cannot_write)?),
        };
        let mut converted = frame::Video::empty();
        scaler.run(&source, &mut converted).map_err(cannot_write)?;
        set_colours(&mut converted, self.options.codec);
        Ok(converted)
    }
}

fn cannot_write(cause: impl Into<Box<dyn std::error::Error + Send + Sync>>) -> Error {
    Error::new(ErrorKind::CannotWrite, "the movie cannot be written")
        .next("choose another folder, or look at its rights and at the free space")
        .because(cause)
}

fn refused(options: &RecordOptions, container: Container, cause: ffmpeg::Error) -> Error {
    bad(format!(
        "{:?} at {} frames per second does not go into {}",
        options.codec,
        options.rate.decimal(),
        container.muxer
    ))
    .next("choose another codec, rate or file name extension")
    .because(cause)
}

pub(super) fn open_output(path: &Path, muxer: &str) -> Result<Output> {
    let mut url = b"file:".to_vec();
    url.extend(path.as_os_str().as_encoded_bytes());
    let url = CString::new(url).map_err(cannot_write)?;
    let muxer = CString::new(muxer).expect("no zero bytes");
    // SAFETY: pointers are valid for the calls; `Output` owns the context and
    // closes its file.
    unsafe {
        let mut context = std::ptr::null_mut();
        let result = ffi::avformat_alloc_output_context2(
            &mut context,
            std::ptr::null(),
            muxer.as_ptr(),
            url.as_ptr(),
        );
        if result < 0 {
            return Err(cannot_write(ffmpeg::Error::from(result)));
        }
        let result = ffi::avio_open(&mut (*context).pb, url.as_ptr(), ffi::AVIO_FLAG_WRITE);
        if result < 0 {
            ffi::avformat_free_context(context);
            return Err(cannot_write(ffmpeg::Error::from(result)));
        }
        Ok(Output::wrap(context))
    }
}

fn rational(rate: Rate) -> Rational {
    let ratio = rate.ratio();
    let whole = |v: i128| i32::try_from(v).unwrap_or(i32::MAX);
    Rational::new(whole(ratio.num()), whole(ratio.den()))
}

fn time_base(options: &RecordOptions) -> Rational {
    match options.stamps {
        Stamps::Constant => rational(options.rate).invert(),
        Stamps::Explicit { ticks_per_second } => {
            Rational::new(1, i32::try_from(ticks_per_second).unwrap_or(i32::MAX))
        }
    }
}

fn open_encoder(options: &RecordOptions, wants_headers: bool) -> Result<encoder::video::Encoder> {
    let name = options.codec.encoder_name();
    let codec = encoder::find_by_name(name).ok_or_else(|| {
        bad(format!("this FFmpeg has no encoder {name}")).next("choose another codec")
    })?;
    let opened = codec::Context::new_with_codec(codec)
        .encoder()
        .video()
        .and_then(|mut video| {
            video.set_width(options.width_px);
            video.set_height(options.height_px);
            video.set_format(options.codec.pixel());
            video.set_time_base(time_base(options));
            video.set_frame_rate(Some(rational(options.rate)));
            if !options.codec.is_intra_only() {
                video.set_gop(options.key_interval);
                video.set_max_b_frames(options.b_frames.into());
            }
            let colours = Colours::of(options.codec);
            video.set_colorspace(colours.space);
            video.set_color_range(colours.range);
            video.set_color_primaries(color::Primaries::BT709);
            video.set_color_transfer_characteristic(color::TransferCharacteristic::BT709);
            let mut flags = codec::Flags::empty();
            flags.set(codec::Flags::GLOBAL_HEADER, wants_headers);
            let mut settings = Dictionary::new();
            match options.codec {
                RecordCodec::H264 => settings.set("preset", "veryfast"),
                RecordCodec::Hevc10 => {
                    settings.set("preset", "ultrafast");
                    settings.set("x265-params", "log-level=none");
                }
                _ => {}
            }
            match options.quality {
                Quality::BitRate(bits) => video.set_bit_rate(bits as usize),
                Quality::Constant(factor) => match options.codec {
                    RecordCodec::H264 | RecordCodec::Hevc10 => {
                        settings.set("crf", &factor.to_string());
                    }
                    RecordCodec::ProRes => {}
                    RecordCodec::Mjpeg | RecordCodec::Mpeg2 => {
                        // Quantiser scale 2 to 31 over the same range.
                        let scale = 2 + i32::from(factor) * 29 / 51;
                        flags |= codec::Flags::QSCALE;
                        video.set_global_quality(scale * ffi::FF_QP2LAMBDA);
                    }
                },
            }
            video.set_flags(flags);
            // SAFETY: the context is not open yet; 0 lets the encoder choose.
            unsafe { (*video.as_mut_ptr()).thread_count = 0 };
            video.open_as_with(codec, settings)
        });
    opened.map_err(|e| {
        bad(format!(
            "the encoder {name} refuses {}x{} pixels at {} frames per second",
            options.width_px,
            options.height_px,
            options.rate.decimal()
        ))
        .next("choose another codec, size or rate")
        .because(e)
    })
}

struct Colours {
    space: color::Space,
    range: color::Range,
    /// swscale's name of the matrix.
    coefficients: i32,
}

impl Colours {
    /// JPEG files use BT.601 in full range (ITU-T T.871, 7); the rest is HD.
    fn of(codec: RecordCodec) -> Self {
        if codec == RecordCodec::Mjpeg {
            Self {
                space: color::Space::BT470BG,
                range: color::Range::JPEG,
                coefficients: ffi::SWS_CS_ITU601,
            }
        } else {
            Self {
                space: color::Space::BT709,
                range: color::Range::MPEG,
                coefficients: ffi::SWS_CS_ITU709,
            }
        }
    }
}

fn set_colours(frame: &mut frame::Video, codec: RecordCodec) {
    let colours = Colours::of(codec);
    frame.set_color_space(colours.space);
    frame.set_color_range(colours.range);
    frame.set_color_primaries(color::Primaries::BT709);
    frame.set_color_transfer_characteristic(color::TransferCharacteristic::BT709);
}

fn open_scaler(
    input: Pixel,
    options: &RecordOptions,
) -> std::result::Result<scaling::Context, ffmpeg::Error> {
    let (width, height) = (options.width_px, options.height_px);
    let mut scaler = scaling::Context::get(
        input,
        width,
        height,
        options.codec.pixel(),
        width,
        height,
        scaling::Flags::BILINEAR | scaling::Flags::ACCURATE_RND | scaling::Flags::FULL_CHR_H_INP,
    )?;
    let colours = Colours::of(options.codec);
    let is_full = i32::from(colours.range == color::Range::JPEG);
    // SAFETY: the context is open; the table is a constant of the library.
    let result = unsafe {
        let table = ffi::sws_getCoefficients(colours.coefficients);
        ffi::sws_setColorspaceDetails(
            scaler.as_mut_ptr(),
            table,
            1,
            table,
            is_full,
            0,
            1 << 16,
            1 << 16,
        )
    };
    if result < 0 {
        return Err(ffmpeg::Error::from(ffi::AVERROR(ffi::EINVAL)));
    }
    Ok(scaler)
}

/// Puts the matrix into the header of the picture track. FFmpeg has changed the
/// way of asking for one with nearly every release; the file format has not.
fn write_matrix(file: &mut tempfile::NamedTempFile, matrix: &[i32; 9]) -> std::io::Result<()> {
    let missing = || std::io::Error::other("the new file has no picture track header");
    let (offset, moov) = boxes::read_moov(file.as_file_mut())?.ok_or_else(missing)?;
    let place = boxes::picture_matrix(&moov).ok_or_else(missing)?;
    let bytes: Vec<u8> = matrix.iter().flat_map(|n| n.to_be_bytes()).collect();
    file.seek(SeekFrom::Start(offset + place.start as u64))?;
    file.write_all(&bytes)
}
