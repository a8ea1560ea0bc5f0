//! What is recorded reads back, here and in FFmpeg's programs.

use super::clips::{self, Workshop, open, read_all};
use image::{GrayImage, Luma, Rgb, RgbImage};
use rollmark::error::ErrorKind;
use rollmark::frame::Footage;
use rollmark::media::{Quality, RecordCodec, RecordOptions, Recorder, Stamps};
use rollmark::timecode::{Rate, Ratio};
use std::path::Path;

/// Soft shades of grey and a bright block that moves to the right.
fn picture(n: u32) -> RgbImage {
    RgbImage::from_fn(192, 108, |x, y| {
        let is_block = x / 8 == n % 24 && (40..60).contains(&y);
        let shade = if is_block { 255 } else { (x / 2 + y) as u8 };
        Rgb([shade; 3])
    })
}

fn luma(rgb: &RgbImage) -> GrayImage {
    GrayImage::from_fn(rgb.width(), rgb.height(), |x, y| {
        Luma([rgb.get_pixel(x, y)[0]])
    })
}

fn options(codec: RecordCodec) -> RecordOptions {
    RecordOptions {
        quality: Quality::Constant(4),
        ..RecordOptions::new(192, 108, Rate::F25, codec)
    }
}

fn record(path: &Path, options: RecordOptions, count: u32) {
    let mut recorder = Recorder::create(path, options).unwrap_or_else(|e| panic!("{e}"));
    for n in 0..count {
        recorder.write(&picture(n)).unwrap();
    }
    recorder.finish().unwrap_or_else(|e| panic!("{e}"));
}

#[test]
fn every_codec_and_container_reads_back() {
    let shop = Workshop::new();
    for (name, codec, ffmpegs_name, pixels) in [
        ("a.mp4", RecordCodec::H264, "h264", "yuv420p"),
        ("a.mkv", RecordCodec::H264, "h264", "yuv420p"),
        ("a.mts", RecordCodec::H264, "h264", "yuv420p"),
        ("b.mp4", RecordCodec::Hevc10, "hevc", "yuv420p10le"),
        ("b.mov", RecordCodec::Hevc10, "hevc", "yuv420p10le"),
        ("c.avi", RecordCodec::Mjpeg, "mjpeg", "yuvj420p"),
        ("c.mov", RecordCodec::Mjpeg, "mjpeg", "yuvj420p"),
        ("d.mov", RecordCodec::ProRes, "prores", "yuv422p10le"),
        ("e.mxf", RecordCodec::Mpeg2, "mpeg2video", "yuv420p"),
        ("e.mts", RecordCodec::Mpeg2, "mpeg2video", "yuv420p"),
    ] {
        for is_loud in [false, true] {
            let file = shop.path(&format!("{is_loud}_{name}"));
            let options = RecordOptions {
                b_frames: 2,
                key_interval: 10,
                audio: is_loud,
                ..options(codec)
            };
            record(&file, options, 30);
            let read = read_all(&file);
            assert_eq!(read.len(), 30, "{name}");
            for (n, frame) in read.iter().enumerate() {
                let off_s = (frame.stamp.seconds() - Ratio::new(n as i128, 25)).abs();
                assert!(off_s <= Ratio::new(1, 1000), "{name}, frame {n}");
                let off = clips::mean_distance(&frame.grey, &luma(&picture(n as u32)));
                assert!(off < 2.5, "{name}, frame {n}: {off}");
            }
            let clip = open(&file);
            assert_eq!(clip.facts().has_audio, is_loud, "{name}");
            assert_eq!(clip.facts().rate, Some(Rate::F25), "{name}");
            let told = clips::ffprobe(&file, "", "stream=codec_name,pix_fmt");
            assert_eq!(told[..2], [ffmpegs_name, pixels], "{name}");
            let keys = clips::ffprobe_key_ticks(&file);
            let is_intra = ["mjpeg", "prores"].contains(&ffmpegs_name);
            // Every tenth, or the one before where reordering wants it.
            let expected = if is_intra { 30..=30 } else { 3..=4 };
            assert!(expected.contains(&keys.len()), "{name}: {keys:?}");
        }
    }
}

#[test]
fn luma_pictures_are_recorded_too() {
    let shop = Workshop::new();
    let file = shop.path("grey.mp4");
    let mut recorder = Recorder::create(&file, options(RecordCodec::H264)).unwrap();
    for n in 0..5 {
        recorder.write(&luma(&picture(n))).unwrap();
    }
    recorder.finish().unwrap();
    for (n, frame) in read_all(&file).iter().enumerate() {
        let off = clips::mean_distance(&frame.grey, &luma(&picture(n as u32)));
        assert!(off < 2.5, "frame {n}: {off}");
    }
}

#[test]
fn explicit_stamps_are_kept_to_the_tick() {
    let shop = Workshop::new();
    let ticks = [0, 20, 37, 60, 100, 117, 140];
    for b_frames in [0, 2] {
        let file = shop.path(&format!("phone{b_frames}.mp4"));
        let options = RecordOptions {
            stamps: Stamps::Explicit {
                ticks_per_second: 600,
            },
            rate: Rate::F30,
            b_frames,
            ..options(RecordCodec::H264)
        };
        let mut recorder = Recorder::create(&file, options).unwrap();
        for (n, ticks) in ticks.into_iter().enumerate() {
            recorder.write_at(&picture(n as u32), ticks).unwrap();
        }
        recorder.finish().unwrap();
        let read: Vec<Ratio> = read_all(&file).iter().map(|f| f.stamp.seconds()).collect();
        assert_eq!(read, ticks.map(|t| Ratio::new(t.into(), 600)));
        assert_eq!(clips::ffprobe_ticks(&file), ticks);
        assert!(open(&file).facts().is_variable_rate);
    }
}

#[test]
fn a_turn_is_written_for_players() {
    let shop = Workshop::new();
    for (degrees, ffprobes) in [(90, "-90"), (180, "-180"), (270, "90")] {
        for extension in ["mp4", "mov"] {
            let file = shop.path(&format!("{degrees}.{extension}"));
            let options = RecordOptions {
                rotation_degrees: degrees,
                ..options(RecordCodec::H264)
            };
            record(&file, options, 3);
            assert_eq!(open(&file).facts().rotation_degrees, degrees);
            let told = clips::ffprobe(&file, "", "stream_side_data=rotation");
            assert_eq!(told, [ffprobes], "{degrees}");
            let shown = &read_all(&file)[0].grey;
            let original = luma(&picture(0));
            let turned = match degrees {
                90 => image::imageops::rotate90(&original),
                180 => image::imageops::rotate180(&original),
                _ => image::imageops::rotate270(&original),
            };
            assert!(clips::mean_distance(shown, &turned) < 2.5);
        }
    }
}

#[test]
fn a_timecode_track_is_written() {
    let shop = Workshop::new();
    for name in ["t.mov", "t.mp4", "t.mxf"] {
        let file = shop.path(name);
        let codec = if name.ends_with("mxf") {
            RecordCodec::Mpeg2
        } else {
            RecordCodec::H264
        };
        let options = RecordOptions {
            rate: Rate::F29_97,
            timecode: Some("00:00:59;28".to_owned()),
            ..options(codec)
        };
        record(&file, options, 6);
        let clip = open(&file);
        assert_eq!(
            clip.facts().carried_timecode.as_deref(),
            Some("00:00:59;28"),
            "{name}"
        );
        assert_eq!(clip.facts().frames.unwrap_or(6), 6, "{name}");
    }
}

#[test]
fn what_cannot_be_is_refused_and_leaves_nothing() {
    let shop = Workshop::new();
    let base = options(RecordCodec::H264);
    let exists = shop.path("exists.mp4");
    std::fs::write(&exists, b"mine").unwrap();
    for (name, options, kind) in [
        ("a.txt", base.clone(), ErrorKind::BadRequest),
        ("exists.mp4", base.clone(), ErrorKind::WouldReplace),
        (
            "odd.mp4",
            RecordOptions {
                width_px: 191,
                ..base.clone()
            },
            ErrorKind::BadRequest,
        ),
        (
            "r.mp4",
            RecordOptions {
                rotation_degrees: 45,
                ..base.clone()
            },
            ErrorKind::BadRequest,
        ),
        (
            "r.mkv",
            RecordOptions {
                rotation_degrees: 90,
                ..base.clone()
            },
            ErrorKind::BadRequest,
        ),
        (
            "t.avi",
            RecordOptions {
                timecode: Some("01:00:00:00".into()),
                ..base.clone()
            },
            ErrorKind::BadRequest,
        ),
        // Drop-frame at 25, and a frame number that 25 has not.
        (
            "t.mov",
            RecordOptions {
                timecode: Some("01:00:00;00".into()),
                ..base.clone()
            },
            ErrorKind::BadRequest,
        ),
        (
            "t.mov",
            RecordOptions {
                timecode: Some("01:00:00:25".into()),
                ..base.clone()
            },
            ErrorKind::BadRequest,
        ),
        (
            "k.mov",
            RecordOptions {
                key_interval: 0,
                ..base.clone()
            },
            ErrorKind::BadRequest,
        ),
        (
            "m.mxf",
            RecordOptions {
                codec: RecordCodec::ProRes,
                ..base.clone()
            },
            ErrorKind::BadRequest,
        ),
        ("no/such/folder.mp4", base.clone(), ErrorKind::CannotWrite),
    ] {
        let file = shop.path(name);
        let Err(e) = Recorder::create(&file, options) else {
            panic!("{name} was accepted");
        };
        assert_eq!(e.kind(), kind, "{e}");
        assert_eq!(e.file(), Some(file.as_path()));
    }
    let mut recorder = Recorder::create(&shop.path("dropped.mp4"), base.clone()).unwrap();
    recorder.write(&picture(0)).unwrap();
    let wrong = RgbImage::new(10, 10);
    assert_eq!(
        recorder.write(&wrong).unwrap_err().kind(),
        ErrorKind::BadRequest
    );
    assert_eq!(
        recorder.write_at(&picture(1), 5).unwrap_err().kind(),
        ErrorKind::BadRequest
    );
    drop(recorder);
    let left: Vec<_> = std::fs::read_dir(exists.parent().unwrap())
        .unwrap()
        .map(|f| f.unwrap().file_name())
        .collect();
    assert_eq!(left, ["exists.mp4"]);
    assert_eq!(std::fs::read(&exists).unwrap(), b"mine");
}
