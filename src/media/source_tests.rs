//! What a jump would hide: the state in which reading leaves the decoder.

use super::Source;
use crate::media::{Quality, RecordCodec, RecordOptions, Recorder};
use crate::timecode::Rate;
use ffmpeg_next::ffi;
use image::GrayImage;

#[test]
fn a_clip_that_ends_between_key_frames_is_looked_at_to_its_end_and_leaves_the_decoder_as_it_was() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("one_key_frame.mov");
    let mut options = RecordOptions::new(64, 64, Rate::F25, RecordCodec::H264);
    options.key_interval = 999;
    options.quality = Quality::Constant(30);
    let mut recorder = Recorder::create(&file, options).unwrap();
    for shade in 0..20 {
        let picture = GrayImage::from_pixel(64, 64, image::Luma([shade * 10]));
        recorder.write(&picture).unwrap();
    }
    recorder.finish().unwrap();
    let mut source = Source::open(&file, 1).unwrap();
    let skipped = |source: &Source| {
        // SAFETY: a plain field of a context that lives.
        unsafe { (*source.decoder.as_ptr()).skip_frame }
    };
    let ticks_per_frame = 512;
    let (closest, widest) = (2 * ticks_per_frame, Some(3 * ticks_per_frame));
    let mut given = Vec::new();
    while let Some(frame) = source.next_key(None, closest, widest) {
        given.extend(frame.pts().map(|ticks| ticks / ticks_per_frame));
        assert!(skipped(&source) == ffi::AVDiscard::AVDISCARD_DEFAULT);
    }
    assert!(given.len() > 3, "frames between key frames came: {given:?}");
    let last = given[given.len() - 1];
    assert!(
        last + closest / ticks_per_frame >= 20,
        "looked at to the end: {given:?}"
    );
    assert!(skipped(&source) == ffi::AVDiscard::AVDISCARD_DEFAULT);
}

/// A bare stream has no stamps to jump by, so that it is opened anew.
#[test]
fn what_was_asked_of_the_decoder_outlives_opening_the_file_anew() {
    let folder = tempfile::tempdir().unwrap();
    let movie = folder.path().join("clip.mov");
    let mut recorder = Recorder::create(
        &movie,
        RecordOptions::new(64, 64, Rate::F25, RecordCodec::H264),
    )
    .unwrap();
    for shade in 0..20 {
        let picture = GrayImage::from_pixel(64, 64, image::Luma([shade * 10]));
        recorder.write(&picture).unwrap();
    }
    recorder.finish().unwrap();
    let bare = folder.path().join("clip.h264");
    let made = std::process::Command::new("ffmpeg")
        .args(["-v", "error", "-i"])
        .arg(&movie)
        .args(["-c", "copy", "-bsf:v", "h264_mp4toannexb"])
        .arg(&bare)
        .status()
        .unwrap();
    assert!(made.success());
    let mut source = Source::open(&bare, 1).unwrap();
    source.next_frame().expect("a picture");
    source.accept_incomplete();
    source.set_rough(true);
    // SAFETY: only compared; the context lives as long as the decoder.
    let before = unsafe { source.decoder.as_ptr() };
    source.rewind().unwrap();
    // SAFETY: plain fields of a context that lives.
    let (now, flags, filter) = unsafe {
        let context = source.decoder.as_ptr();
        (context, (*context).flags, (*context).skip_loop_filter)
    };
    assert!(before != now, "the file was opened anew");
    assert!(flags & ffi::AV_CODEC_FLAG_OUTPUT_CORRUPT as i32 != 0);
    assert!(filter == ffi::AVDiscard::AVDISCARD_ALL);
    source.next_frame().expect("the first picture again");
}
