//! Decoded frame to 8-bit, full-range brightness.

use crate::error::{Error, ErrorKind, Result};
use crate::frame::Light;
use crate::wide::widely;
use ffmpeg_next::{self as ffmpeg, color, ffi, format::Pixel, frame, software::scaling};

/// Turns frames of any pixel format into planes of brightness, `width * height` bytes
/// row by row, 0 black to 255 white.
#[derive(Default)]
pub(super) struct LumaReader {
    /// For formats without a luma plane of their own, and for colours; kept between frames.
    scaler: Option<scaling::Context>,
    /// Table of the last deep format: what it was made for, and its entries.
    deep_table: Option<(Levels, Vec<u8>)>,
}

/// Depth and range of luma samples.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Levels {
    /// Bits per sample, 8 to 16.
    depth: u32,
    /// True if black is 0 and white is the largest code; else black is 16 and
    /// white 235, times 2^(depth - 8) (ITU-R BT.709-6, 4.6).
    is_full_range: bool,
}

impl Levels {
    /// The 8-bit full-range value of a code, rounded to nearest, clamped.
    fn expand(self, code: u32) -> u8 {
        let (black, white) = if self.is_full_range {
            (0, (1 << self.depth) - 1)
        } else {
            (16 << (self.depth - 8), 235 << (self.depth - 8))
        };
        let range = white - black;
        let value = (code.saturating_sub(black) * 255 + range / 2) / range;
        u8::try_from(value).unwrap_or(u8::MAX)
    }

    fn table(self) -> Vec<u8> {
        (0..1u32 << self.depth)
            .map(|code| self.expand(code))
            .collect()
    }
}

/// [`Levels::expand`] for limited range in 8 bits, in operations that compilers do for many
/// samples at once: all pictures but those of 8 and 10 bits are rare.
#[inline(always)]
fn expand_8_bit(code: u8) -> u8 {
    const BLACK: u8 = 16;
    const WHITE: u8 = 235;
    const RANGE: u16 = (WHITE - BLACK) as u16;
    let above = u16::from(code.clamp(BLACK, WHITE) - BLACK);
    ((above * 255 + RANGE / 2) / RANGE) as u8
}

/// The same in 10 bits: a third of the time that a table takes.
#[inline(always)]
fn expand_10_bit(code: u16) -> u8 {
    const BLACK: u16 = 16 << 2;
    const WHITE: u16 = 235 << 2;
    const RANGE: u32 = (WHITE - BLACK) as u32;
    let above = u32::from(code.clamp(BLACK, WHITE) - BLACK);
    ((above * 255 + RANGE / 2) / RANGE) as u8
}

/// Where the luma samples lie in a frame's memory, from FFmpeg's description of
/// the pixel format.
#[derive(Clone, Copy, Debug)]
struct LumaPlane {
    plane: usize,
    /// Bytes from one sample to the next.
    step: usize,
    /// Bytes before the first sample of a row.
    offset: usize,
    /// Bits below the sample in its 16-bit word.
    shift: u32,
    depth: u32,
    is_big_endian: bool,
    /// No colour: FFmpeg treats such formats as full range.
    is_gray: bool,
}

impl LumaPlane {
    /// `None` if the format has no luma that can be read sample by sample: RGB,
    /// palettes, bit-packed formats, frames that live on a graphics card.
    fn of(format: i32) -> Option<Self> {
        // A later release of the library may know formats that this program does not.
        if !(0..ffi::AVPixelFormat::AV_PIX_FMT_NB as i32).contains(&format) {
            return None;
        }
        // SAFETY: the enumeration has every number below its last one; descriptors are constants of
        // the library.
        let description = unsafe {
            ffi::av_pix_fmt_desc_get(std::mem::transmute::<i32, ffi::AVPixelFormat>(format))
                .as_ref()?
        };
        let has_flag = |flag: i32| description.flags & flag as u64 != 0;
        let without_luma = [
            ffi::AV_PIX_FMT_FLAG_RGB,
            ffi::AV_PIX_FMT_FLAG_PAL,
            ffi::AV_PIX_FMT_FLAG_BITSTREAM,
            ffi::AV_PIX_FMT_FLAG_HWACCEL,
            ffi::AV_PIX_FMT_FLAG_FLOAT,
            ffi::AV_PIX_FMT_FLAG_BAYER,
        ];
        if without_luma.into_iter().any(has_flag) {
            return None;
        }
        // SAFETY: names are constant strings of the library.
        let name = unsafe { std::ffi::CStr::from_ptr(description.name) }.to_bytes();
        // XYZ has no luma in its first component, and no flag of its own in
        // older releases; UYYVYY411 has unevenly spaced samples.
        if name.starts_with(b"xyz") || name == b"uyyvyy411" {
            return None;
        }
        let luma = description.comp[0];
        let depth = u32::try_from(luma.depth)
            .ok()
            .filter(|d| (8..=16).contains(d))?;
        Some(Self {
            plane: usize::try_from(luma.plane).ok()?,
            step: usize::try_from(luma.step).ok()?,
            offset: usize::try_from(luma.offset).ok()?,
            shift: u32::try_from(luma.shift).ok()?,
            depth,
            is_big_endian: has_flag(ffi::AV_PIX_FMT_FLAG_BE),
            is_gray: description.nb_components <= 2,
        })
    }
}

/// Bits per luma sample of a pixel format; 8 for formats without luma.
pub(super) fn bit_depth(frame: &frame::Video) -> u8 {
    // SAFETY: the frame is valid while borrowed.
    let format = unsafe { (*frame.as_ptr()).format };
    LumaPlane::of(format).map_or(8, |plane| u8::try_from(plane.depth).unwrap_or(8))
}

impl LumaReader {
    /// How bright `frame` is, as it lies in the file, not turned.
    ///
    /// # Errors
    /// [`ErrorKind::Undecodable`] if the format must be converted and cannot be.
    pub(super) fn read(&mut self, frame: &frame::Video, light: Light) -> Result<Vec<u8>> {
        // SAFETY: the frame is valid while borrowed.
        let format = unsafe { (*frame.as_ptr()).format };
        // Colours are looked at in a quarter of the size: they need no exact rounding, for which
        // swscale leaves code that is five times as quick.
        let quick = scaling::Flags::BILINEAR;
        let exact = quick | scaling::Flags::ACCURATE_RND;
        match (LumaPlane::of(format), light) {
            (Some(plane), Light::Luma) => Ok(self.read_plane(frame, plane)),
            (_, Light::Luma) => self.convert(frame, Pixel::GRAY8, exact, |row, grey| {
                grey.extend_from_slice(row);
            }),
            (_, Light::Colour) => self.convert(frame, Pixel::RGB24, quick, |row, grey| {
                let pixels = row.as_chunks::<3>().0.iter();
                let apart = pixels.map(|[r, g, b]| r.max(g).max(b) - r.min(g).min(b));
                widely(|| grey.extend(apart));
            }),
        }
    }

    fn read_plane(&mut self, frame: &frame::Video, plane: LumaPlane) -> Vec<u8> {
        let (width, height) = (frame.width() as usize, frame.height() as usize);
        let levels = Levels {
            depth: plane.depth,
            is_full_range: is_full_range(frame, plane.is_gray),
        };
        let mut luma = Vec::with_capacity(width * height);
        let bytes_per_sample = if plane.depth > 8 { 2 } else { 1 };
        if width == 0 || height == 0 {
            return luma;
        }
        let row_len = (width - 1) * plane.step + bytes_per_sample;
        // SAFETY: the decoder owns `height` rows that are `linesize` apart, which
        // is negative in pictures stored from the bottom up; a row holds `width`
        // samples at the described places.
        let row = |y: usize| unsafe {
            let raw = &*frame.as_ptr();
            let start = raw.data[plane.plane]
                .offset(y as isize * raw.linesize[plane.plane] as isize)
                .add(plane.offset);
            std::slice::from_raw_parts(start, row_len)
        };
        if plane.depth == 8 && plane.shift == 0 {
            for y in 0..height {
                match (plane.step, levels.is_full_range) {
                    (1, true) => luma.extend_from_slice(row(y)),
                    (1, false) => widely(|| {
                        luma.extend(row(y).iter().map(|&code| expand_8_bit(code)));
                    }),
                    (step, true) => luma.extend(row(y).iter().step_by(step)),
                    (step, false) => {
                        luma.extend(row(y).iter().step_by(step).map(|&code| expand_8_bit(code)));
                    }
                }
            }
            return luma;
        }
        let is_plain = plane.step == 2 && plane.shift == 0 && !plane.is_big_endian;
        if is_plain && plane.depth == 10 && !levels.is_full_range {
            for y in 0..height {
                let words = row(y).as_chunks::<2>().0.iter();
                let codes = words.map(|&word| u16::from_le_bytes(word));
                widely(|| luma.extend(codes.map(expand_10_bit)));
            }
            return luma;
        }
        let table = match &mut self.deep_table {
            Some((made_for, table)) if *made_for == levels => table,
            stale => &mut stale.insert((levels, levels.table())).1,
        };
        let mask = (1u32 << plane.depth) - 1;
        let mut push = |bytes: &[u8]| {
            let word = [bytes[0], bytes[1]];
            let word = if plane.is_big_endian {
                u16::from_be_bytes(word)
            } else {
                u16::from_le_bytes(word)
            };
            table[((u32::from(word) >> plane.shift) & mask) as usize]
        };
        for y in 0..height {
            let row = row(y);
            if plane.step == 2 {
                luma.extend(row.chunks_exact(2).map(&mut push));
            } else {
                luma.extend((0..width).map(|x| push(&row[x * plane.step..])));
            }
        }
        luma
    }

    /// Lets swscale make pictures in the format `into`, of one plane and full range in FFmpeg, of
    /// which `take` makes grey, row by row.
    fn convert(
        &mut self,
        frame: &frame::Video,
        into: Pixel,
        flags: scaling::Flags,
        take: impl Fn(&[u8], &mut Vec<u8>),
    ) -> Result<Vec<u8>> {
        let failed = |e: ffmpeg::Error| {
            Error::new(
                ErrorKind::Undecodable,
                "the pixel format cannot be turned into grey",
            )
            .next("convert the clip to a common format such as H.264 first")
            .because(e)
        };
        let (format, width, height) = (frame.format(), frame.width(), frame.height());
        let fits = |s: &scaling::Context| {
            let input = s.input();
            input.format == format
                && input.width == width
                && input.height == height
                && s.output().format == into
        };
        let scaler = match &mut self.scaler {
            Some(scaler) if fits(scaler) => scaler,
            stale => stale.insert(
                scaling::Context::get(format, width, height, into, width, height, flags)
                    .map_err(failed)?,
            ),
        };
        let mut converted = frame::Video::empty();
        scaler.run(frame, &mut converted).map_err(failed)?;
        let (width, height) = (width as usize, height as usize);
        let row_len = width * if into == Pixel::GRAY8 { 1 } else { 3 };
        let mut grey = Vec::with_capacity(width * height);
        for row in converted.data(0).chunks(converted.stride(0)).take(height) {
            take(&row[..row_len], &mut grey);
        }
        Ok(grey)
    }
}

/// Limited range unless the stream says otherwise, as ITU-T H.264 (E.2.1) has
/// it; grey without colour is full range in FFmpeg unless marked.
fn is_full_range(frame: &frame::Video, is_gray: bool) -> bool {
    match frame.color_range() {
        color::Range::JPEG => true,
        color::Range::MPEG => false,
        color::Range::Unspecified => {
            is_gray
                || matches!(
                    frame.format(),
                    Pixel::YUVJ411P
                        | Pixel::YUVJ420P
                        | Pixel::YUVJ422P
                        | Pixel::YUVJ440P
                        | Pixel::YUVJ444P
                )
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn filled(format: Pixel, width: u32, height: u32, byte: impl Fn(usize) -> u8) -> frame::Video {
        let mut frame = frame::Video::new(format, width, height);
        for plane in 0..frame.planes() {
            for (i, b) in frame.data_mut(plane).iter_mut().enumerate() {
                *b = byte(i);
            }
        }
        frame
    }

    #[test]
    fn black_and_white_of_every_depth_meet() {
        for depth in 8..=16 {
            let limited = Levels {
                depth,
                is_full_range: false,
            };
            let full = Levels {
                depth,
                is_full_range: true,
            };
            let up = depth - 8;
            assert_eq!(limited.expand(16 << up), 0);
            assert_eq!(limited.expand(235 << up), 255);
            assert_eq!(limited.expand(0), 0);
            assert_eq!(limited.expand((1 << depth) - 1), 255);
            // Half way between black and white.
            assert!(limited.expand((16 + 235) << (up + 1) >> 2).abs_diff(128) <= 1);
            assert_eq!(full.expand(0), 0);
            assert_eq!(full.expand((1 << depth) - 1), 255);
            assert_eq!(full.table().len(), 1 << depth);
        }
    }

    #[test]
    fn the_common_cases_are_no_others_than_the_rule() {
        let of = |depth| Levels {
            depth,
            is_full_range: false,
        };
        for code in 0..=255 {
            assert_eq!(expand_8_bit(code), of(8).expand(code.into()), "{code}");
        }
        for code in 0..=1023 {
            assert_eq!(expand_10_bit(code), of(10).expand(code.into()), "{code}");
        }
    }

    #[test]
    fn plain_luma_is_copied_without_the_padding_of_rows() {
        let mut frame = filled(Pixel::YUV420P, 5, 3, |i| (i % 251) as u8);
        frame.set_color_range(color::Range::JPEG);
        let stride = frame.stride(0);
        assert!(stride > 5);
        let want: Vec<u8> = (0..3)
            .flat_map(|y| (0..5).map(move |x| ((y * stride + x) % 251) as u8))
            .collect();
        assert_eq!(
            LumaReader::default().read(&frame, Light::Luma).unwrap(),
            want
        );
        frame.set_color_range(color::Range::Unspecified);
        let limited = LumaReader::default().read(&frame, Light::Luma).unwrap();
        assert_eq!(limited[0], 0);
        assert_eq!(limited.len(), 15);
    }

    #[test]
    fn pictures_stored_from_the_bottom_up_come_out_upright() {
        let frame = filled(Pixel::GRAY8, 4, 6, |i| i as u8);
        let upright = LumaReader::default().read(&frame, Light::Luma).unwrap();
        let mut flipped = frame::Video::new(Pixel::GRAY8, 4, 6);
        flipped.data_mut(0).copy_from_slice(frame.data(0));
        // SAFETY: the last row becomes the first, and rows are walked backwards;
        // the buffer is owned by `buf`, so the pointer is free to move.
        unsafe {
            let raw = flipped.as_mut_ptr();
            let stride = (*raw).linesize[0];
            (*raw).data[0] = (*raw).data[0].offset(5 * stride as isize);
            (*raw).linesize[0] = -stride;
        }
        let got = LumaReader::default().read(&flipped, Light::Luma).unwrap();
        let want: Vec<u8> = upright.chunks(4).rev().flatten().copied().collect();
        assert_eq!(got, want);
    }

    #[test]
    fn samples_are_found_in_packed_and_high_bit_formats() {
        // 10-bit white (940 limited) in each layout: low bits, and high bits as in P010.
        for (format, word) in [(Pixel::YUV420P10LE, 940u16), (Pixel::P010LE, 940 << 6)] {
            let frame = filled(format, 6, 2, |i| word.to_le_bytes()[i % 2]);
            assert_eq!(
                LumaReader::default().read(&frame, Light::Luma).unwrap(),
                [255; 12]
            );
            assert_eq!(bit_depth(&frame), 10);
        }
        let frame = filled(Pixel::YUV420P10BE, 6, 2, |i| 940u16.to_be_bytes()[i % 2]);
        assert_eq!(
            LumaReader::default().read(&frame, Light::Luma).unwrap(),
            [255; 12]
        );
        // Y at even bytes in one, at odd bytes in the other.
        for (format, y_at) in [(Pixel::YUYV422, 0), (Pixel::UYVY422, 1)] {
            let frame = filled(format, 6, 2, |i| if i % 2 == y_at { 235 } else { 90 });
            assert_eq!(
                LumaReader::default().read(&frame, Light::Luma).unwrap(),
                [255; 12]
            );
        }
    }

    #[test]
    fn how_colourful_a_pixel_is_does_not_hang_on_its_luma() {
        let colour_of = |frame: &frame::Video| {
            let mut reader = LumaReader::default();
            // One reader serves both kinds by turns.
            reader.read(frame, Light::Luma).unwrap();
            let colour = reader.read(frame, Light::Colour).unwrap();
            assert_eq!(colour.len(), 21);
            colour[0]
        };
        for (rgb, apart) in [([255, 0, 0], 255), ([90, 90, 90], 0), ([30, 120, 200], 170)] {
            assert_eq!(
                colour_of(&filled(Pixel::RGB24, 7, 3, |i| rgb[i % 3])),
                apart
            );
        }
        let grey = filled(Pixel::YUV444P, 7, 3, |_| 128);
        assert!(colour_of(&grey) <= 2);
        // Red by ITU-R BT.601: Y 81, Cb 90, Cr 240.
        let mut red = filled(Pixel::YUV444P, 7, 3, |_| 81);
        red.data_mut(1).fill(90);
        red.data_mut(2).fill(240);
        assert!(colour_of(&red) >= 250);
    }

    #[test]
    fn colours_become_full_range_grey() {
        let white = filled(Pixel::RGB24, 7, 3, |_| 255);
        let grey = LumaReader::default().read(&white, Light::Luma).unwrap();
        assert_eq!(grey.len(), 21);
        assert!(grey.iter().all(|v| *v >= 254), "{grey:?}");
        let black = filled(Pixel::RGB24, 7, 3, |_| 0);
        let grey = LumaReader::default().read(&black, Light::Luma).unwrap();
        assert!(grey.iter().all(|v| *v <= 1), "{grey:?}");
    }
}
