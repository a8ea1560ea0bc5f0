//! What the pictures look like: depth, range, format, turns.

use super::clips::{self, Workshop, open, read_all};
use rollmark::frame::Footage;
use std::path::Path;

/// Depth, range, subsampling and storage of every sort; the picture is wide
/// enough for row padding to show.
#[test]
fn every_pixel_format_becomes_the_same_grey_as_ffmpegs() {
    let shop = Workshop::new();
    let hevc = "-c:v libx265 -x265-params log-level=none";
    for (name, encode, depth) in [
        ("8bit.mp4", "-c:v libx264 -pix_fmt yuv420p".to_owned(), 8),
        (
            "full.mp4",
            "-vf scale=out_range=full -color_range pc -c:v libx264 -pix_fmt yuvj420p".to_owned(),
            8,
        ),
        ("nv12.nut", "-c:v rawvideo -pix_fmt nv12".to_owned(), 8),
        ("nv21.nut", "-c:v rawvideo -pix_fmt nv21".to_owned(), 8),
        ("yuyv.nut", "-c:v rawvideo -pix_fmt yuyv422".to_owned(), 8),
        ("uyvy.mov", "-c:v rawvideo -pix_fmt uyvy422".to_owned(), 8),
        ("411.nut", "-c:v rawvideo -pix_fmt yuv411p".to_owned(), 8),
        ("gray.mkv", "-c:v ffv1 -pix_fmt gray".to_owned(), 8),
        ("gray10.mkv", "-c:v ffv1 -pix_fmt gray10le".to_owned(), 10),
        ("gray16.mkv", "-c:v ffv1 -pix_fmt gray16le".to_owned(), 16),
        ("ya8.nut", "-c:v rawvideo -pix_fmt ya8".to_owned(), 8),
        (
            "big_endian.nut",
            "-c:v rawvideo -pix_fmt yuv422p10be".to_owned(),
            10,
        ),
        (
            "422_10.mp4",
            "-c:v libx264 -pix_fmt yuv422p10le".to_owned(),
            10,
        ),
        ("420_10.mp4", format!("{hevc} -pix_fmt yuv420p10le"), 10),
        ("420_12.mp4", format!("{hevc} -pix_fmt yuv420p12le"), 12),
        ("444_10.mp4", format!("{hevc} -pix_fmt yuv444p10le"), 10),
        ("16bit.mkv", "-c:v ffv1 -pix_fmt yuv444p16le".to_owned(), 16),
        (
            "hlg.mp4",
            format!(
                "{hevc} -pix_fmt yuv420p10le -color_trc arib-std-b67 -color_primaries bt2020 -colorspace bt2020nc"
            ),
            10,
        ),
        (
            "prores.mov",
            "-c:v prores_ks -pix_fmt yuv422p10le".to_owned(),
            10,
        ),
        // FFmpeg decodes this profile to 12 bit.
        (
            "prores4444.mov",
            "-vf format=yuva444p10le -c:v prores_ks -profile:v 4444".to_owned(),
            12,
        ),
        ("v210.mov", "-c:v v210 -pix_fmt yuv422p10le".to_owned(), 10),
        ("rgb.mov", "-c:v qtrle -pix_fmt rgb24".to_owned(), 8),
        ("bgr.avi", "-c:v rawvideo -pix_fmt bgr24".to_owned(), 8),
        ("gbrp10.mkv", "-c:v ffv1 -pix_fmt gbrp10le".to_owned(), 8),
        ("palette.gif", "-c:v gif".to_owned(), 8),
        (
            "jpeg.avi",
            "-c:v mjpeg -q:v 2 -pix_fmt yuvj422p".to_owned(),
            8,
        ),
    ] {
        let file = shop.make(name, "testsrc2=s=178x100:r=25:d=0.2", &encode);
        if let Some((_, pixels)) = encode.split_once("-pix_fmt ") {
            let pixels = pixels.split(' ').next().unwrap();
            assert_eq!(
                clips::ffprobe(&file, "", "stream=pix_fmt"),
                [pixels],
                "{name}"
            );
        }
        assert_eq!(open(&file).facts().bit_depth, depth, "{name}");
        clips::assert_same_luma(name, &read_all(&file), &clips::ffmpeg_grey(&file, ""));
    }
}

#[test]
fn odd_and_cropped_sizes_are_whole() {
    let shop = Workshop::new();
    for (size, encode) in [
        ("161x91", "-c:v libx264"),
        ("17x35", "-c:v libx264"),
        ("101x75", "-c:v mjpeg -q:v 2"),
        // Coded as 1088 rows and cropped.
        ("192x1080", "-c:v libx264 -pix_fmt yuv420p"),
    ] {
        // The test source itself only has even sizes.
        let crop = size.replace('x', ":");
        let encode = format!("-vf format=yuv444p,crop={crop} {encode}");
        let file = shop.make("odd.mov", "testsrc2=s=320x1200:r=25:d=0.2", &encode);
        let clip = open(&file);
        let facts = clip.facts();
        assert_eq!(format!("{}x{}", facts.width_px, facts.height_px), size);
        clips::assert_same_luma(size, &read_all(&file), &clips::ffmpeg_grey(&file, ""));
    }
}

/// Each matrix against the filter that does the same to the pixels. FFmpeg's
/// documentation of `transpose`: clock turns by 90 degrees clockwise, cclock
/// counter-clockwise, and the `_flip` forms flip vertically too.
#[test]
fn the_matrix_turns_and_mirrors_like_ffmpegs_filters() {
    const ONE: i32 = 65_536;
    let shop = Workshop::new();
    let file = shop.make(
        "turned.mov",
        "testsrc2=s=178x100:r=25:d=0.2",
        "-c:v libx264 -pix_fmt yuv420p",
    );
    for ([a, b, c, d], filter, degrees, is_mirrored) in [
        ([ONE, 0, 0, ONE], "null", 0, false),
        ([0, ONE, -ONE, 0], "transpose=clock", 90, false),
        ([-ONE, 0, 0, -ONE], "hflip,vflip", 180, false),
        ([0, -ONE, ONE, 0], "transpose=cclock", 270, false),
        ([-ONE, 0, 0, ONE], "hflip", 0, true),
        ([ONE, 0, 0, -ONE], "vflip", 180, true),
        ([0, ONE, ONE, 0], "transpose=cclock_flip", 270, true),
        ([0, -ONE, -ONE, 0], "transpose=clock_flip", 90, true),
    ] {
        patch_matrix(&file, [a, b, 0, c, d, 0, 0, 0, 1 << 30]);
        let clip = open(&file);
        let facts = clip.facts();
        assert_eq!(
            (facts.rotation_degrees, facts.is_mirrored),
            (degrees, is_mirrored),
            "{filter}"
        );
        let is_upright = degrees % 180 == 0;
        let size = if is_upright { (178, 100) } else { (100, 178) };
        assert_eq!((facts.width_px, facts.height_px), size, "{filter}");
        let frames = read_all(&file);
        assert_eq!(frames[0].grey.dimensions(), size, "{filter}");
        clips::assert_same_luma(filter, &frames, &clips::ffmpeg_grey(&file, filter));
    }
}

/// Overwrites the matrix of the only track: 40 bytes behind the start of a
/// version 0 `tkhd` box's contents (ISO/IEC 14496-12, 8.3.2).
fn patch_matrix(file: &Path, matrix: [i32; 9]) {
    let mut bytes = std::fs::read(file).unwrap();
    let at = bytes
        .windows(4)
        .position(|w| w == b"tkhd")
        .expect("a track header")
        + 4;
    assert_eq!(bytes[at], 0, "version 0");
    for (n, number) in matrix.into_iter().enumerate() {
        bytes[at + 40 + 4 * n..][..4].copy_from_slice(&number.to_be_bytes());
    }
    std::fs::write(file, bytes).unwrap();
}

/// Interlaced H.264 as AVCHD recorders write it: both fields stay in the frame.
#[test]
fn interlaced_frames_stay_whole_and_are_flagged() {
    let shop = Workshop::new();
    let file = shop.make(
        "fields.mts",
        "testsrc2=s=160x96:r=50:d=1",
        "-vf interlace -c:v libx264 -flags +ildct+ilme -x264-params tff=1 -bf 2 -g 12 -pix_fmt yuv420p",
    );
    let clip = open(&file);
    assert!(clip.facts().is_interlaced);
    assert_eq!(clips::notes(&clip), "interlaced");
    let frames = read_all(&file);
    assert_eq!(frames.len(), 25);
    assert!(frames.iter().all(|f| f.is_interlaced));
    clips::assert_same_luma("fields", &frames, &clips::ffmpeg_grey(&file, ""));
}

/// A cover picture beside a film is not the film.
#[test]
fn cover_pictures_are_passed_over() {
    let shop = Workshop::new();
    let film = shop.make(
        "film.mp4",
        "testsrc2=s=160x90:r=25:d=1",
        "-c:v libx264 -pix_fmt yuv420p",
    );
    let cover = shop.path("cover.png");
    shop.ffmpeg(&format!(
        "-f lavfi -i color=red:s=640x640:d=1 -frames:v 1 {}",
        cover.display()
    ));
    let both = shop.path("both.mp4");
    shop.ffmpeg(&format!(
        "-i {} -i {} -map 1 -map 0 -c copy -disposition:v:0 attached_pic {}",
        film.display(),
        cover.display(),
        both.display()
    ));
    let clip = open(&both);
    assert_eq!((clip.facts().width_px, clip.facts().height_px), (160, 90));
    assert_eq!(read_all(&both).len(), 25);
}
