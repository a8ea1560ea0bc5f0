//! A copy plays wherever its source did, or there is none: decoded by `ffmpeg`, not packets
//! alone.

use super::boxes::Movie;
use super::clips::{self, Workshop};
use super::{second, ten_hours};
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
