//! What a jump would hide: the state in which reading leaves the decoder.

use super::Source;
use crate::media::{Quality, RecordCodec, RecordOptions, Recorder};
use crate::timecode::Rate;
use ffmpeg_next::ffi;
use image::GrayImage;

#[test]
fn a_clip_that_ends_between_key_frames_leaves_the_decoder_as_it_was() {
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
    let mut between = 0;
    while source.next_key(None, closest, widest).is_some() {
        between += 1;
        assert!(skipped(&source) == ffi::AVDiscard::AVDISCARD_DEFAULT);
    }
    assert!(between > 3, "frames between key frames came: {between}");
    assert!(skipped(&source) == ffi::AVDiscard::AVDISCARD_DEFAULT);
}
