//! A copy plays wherever its source did, or there is none: decoded by `ffmpeg`, not packets
//! alone.

use super::boxes::Movie;
use super::clips::{self, Workshop};
use super::{H264, SOURCE, second, ten_hours};
use rollmark::error::{Error, ErrorKind};
use rollmark::frame::Footage;
use rollmark::media;
use rollmark::progress::Deaf;
use std::path::{Path, PathBuf};

/// The copy, or why there is none.
fn try_copy(shop: &Workshop, clip: &Path) -> Result<PathBuf, Error> {
    let name = media::copied_name(clip)?;
    let target = shop.path("copies").join(name);
    let made = media::copy_with_timecode(clip, &target, &ten_hours(), &mut Deaf);
    assert_eq!(made.is_ok(), target.exists(), "{}", clip.display());
    made.map(|report| report.map(|_| target).expect("nobody said stop"))
}

/// Which sound MOV and MP4 carry is the muxer's business; that it plays is ours.
#[test]
fn sound_decodes_to_the_same_samples_or_is_refused_by_name() {
    let shop = Workshop::new();
    let mut copies = 0;
    for (container, sounds) in [
        (
            "mkv",
            "wmav1 wmav2 pcm_s16le pcm_s24be pcm_f32le alac flac libmp3lame mp2 ac3 eac3 dca \
             truehd libvorbis libopus adpcm_ms adpcm_ima_wav tta",
        ),
        (
            "avi",
            "adpcm_ms adpcm_ima_wav wmav2 pcm_u8 pcm_alaw pcm_mulaw libmp3lame mp2 ac3",
        ),
        ("ts", "aac mp2 ac3 eac3 dca libopus"),
        ("wmv", "wmav1 wmav2"),
    ] {
        for sound in sounds.split_whitespace().filter(|s| clips::has_encoder(s)) {
            let pictures = match container {
                "avi" => "-c:v mjpeg -pix_fmt yuvj420p",
                "wmv" => "-c:v wmv2",
                _ => H264,
            };
            let name = format!("{sound}.{container}");
            let coding = format!("{pictures} -c:a {sound} -ac 2 -strict -2");
            let clip = shop.make(&name, SOURCE, &coding);
            match try_copy(&shop, &clip) {
                Ok(file) => {
                    copies += 1;
                    assert_eq!(second::sound(&file), second::sound(&clip), "{name}");
                }
                Err(refusal) => {
                    let codec = second::values(&clip, "stream=codec_name").remove(1);
                    assert_eq!(refusal.kind(), ErrorKind::BadRequest, "{name}: {refusal}");
                    let what = refusal.what();
                    assert!(
                        what.starts_with(&format!("its sound ({codec})")),
                        "{name}: {what}"
                    );
                    assert!(refusal.advice().unwrap().contains("convert"), "{refusal}");
                }
            }
        }
    }
    assert!(copies >= 15, "{copies}");
}

/// Theora's headers lie beside its packets, Ut Video's settings in the old file's header.
#[test]
fn pictures_decode_to_the_same_or_are_refused_by_name() {
    let shop = Workshop::new();
    let mut refused = 0;
    for (name, coding) in [
        (
            "utvideo.avi",
            "-c:v utvideo -pix_fmt yuv422p -c:a pcm_s16le",
        ),
        ("theora.ogv", "-c:v libtheora -b:v 1M -c:a libvorbis"),
        (
            "huffyuv.avi",
            "-c:v huffyuv -pix_fmt yuv422p -c:a pcm_s16le",
        ),
        ("ffv1.mkv", "-c:v ffv1 -c:a pcm_s16le"),
        ("wmv2.wmv", "-c:v wmv2 -c:a libmp3lame"),
        ("dvvideo.avi", "-s 720x576 -c:v dvvideo -c:a pcm_s16le"),
    ] {
        let clip = shop.make(name, SOURCE, coding);
        match try_copy(&shop, &clip) {
            Ok(file) => {
                second::assert_same(&second::pictures(&file), &second::pictures(&clip), &clip);
                assert_eq!(second::sound(&file), second::sound(&clip), "{name}");
            }
            Err(refusal) => {
                refused += 1;
                let (codec, _) = name.split_once('.').unwrap();
                assert_eq!(refusal.kind(), ErrorKind::BadRequest, "{refusal}");
                let what = format!("its pictures ({codec})");
                assert!(refusal.what().starts_with(&what), "{refusal}");
            }
        }
    }
    assert!(refused >= 1, "{refused}");
}

/// A tape camera's stream, or one cut at a key picture: B-pictures that lean on what is not
/// there come first in the file, and players begin with the I-picture behind them in time.
#[test]
fn leading_pictures_of_an_open_group_stay_hidden() {
    let shop = Workshop::new();
    let source = "testsrc2=s=320x180:r=25:d=3 -f lavfi -i sine=d=3:r=48000";
    let mpeg2 = "-c:v mpeg2video -b:v 3M -bf 2 -g 12";
    let h264 = "-c:v libx264 -pix_fmt yuv420p -x264-params \
                open-gop=1:scenecut=0:b-adapt=0:bframes=2:keyint=12:min-keyint=12";
    for (name, coding) in [
        ("hdv.ts", format!("{mpeg2} -c:a mp2")),
        ("hdv.mkv", format!("{mpeg2} -c:a mp2")),
        ("avchd.m2ts", format!("{h264} -c:a ac3")),
    ] {
        let whole = shop.make(&format!("whole_{name}.ts"), source, &coding);
        let clip = shop.path(name);
        shop.ffmpeg(&format!(
            "-ss 0.7 -i {} -map 0 -c copy {}",
            whole.display(),
            clip.display()
        ));
        let shown = second::pictures(&clip);
        let stored = second::values(&clip, "packet=stream_index");
        let stored = stored.iter().filter(|stream| *stream == "0").count();
        assert!(shown.len() < stored, "{name}: nothing is hidden in it");
        let file = try_copy(&shop, &clip).unwrap_or_else(|e| panic!("{e}"));
        second::assert_same(&second::pictures(&file), &shown, &clip);
        assert_eq!(second::sound(&file), second::sound(&clip), "{name}");
        let track = Movie::read(&file).timecode();
        assert_eq!((track.count, track.base), (900_000, 25), "{name}");
        assert_eq!(track.frames, shown.len() as u64, "{name}");
    }
}

/// What is left of a recording whose head was not copied: its end is whole.
#[test]
fn a_stream_without_its_head_is_not_taken_for_one_without_its_end() {
    let shop = Workshop::new();
    let source = "testsrc2=s=320x180:r=25:d=5 -f lavfi -i sine=d=5:r=48000";
    let coding = "-c:v libx264 -pix_fmt yuv420p -bf 0 -g 25 -x264-params scenecut=0 -c:a aac";
    let whole = shop.make("whole.ts", source, coding);
    let bytes = std::fs::read(&whole).unwrap();
    let clip = shop.path("headless.ts");
    // Packets of 188 bytes, from the middle of the first second on.
    std::fs::write(&clip, &bytes[188 * 100..]).unwrap();
    let mut opened = clips::open(&clip);
    assert_eq!(opened.facts().doubts[0].code, "head_lost");
    let read = clips::rest(&mut opened).len();
    assert!((75..=100).contains(&read), "{read}");
    assert_eq!(clips::notes(&opened), "", "its end is whole");
    let refusal = try_copy(&shop, &clip).unwrap_err();
    assert_eq!(refusal.kind(), ErrorKind::Undecodable);
    assert!(
        refusal
            .what()
            .starts_with("its head is missing: the first "),
        "{refusal}"
    );
    assert!(refusal.advice().unwrap().contains("card"), "{refusal}");
}
