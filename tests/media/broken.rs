//! Files that are not what they should be: a clear reason, or what is left of them.

use super::clips::{self, Workshop, notes, open, read_all, rest};
use rollmark::error::ErrorKind;
use rollmark::frame::{Aim, Footage};
use rollmark::media;
use rollmark::timecode::Ratio;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::mpsc;
use std::thread;
use std::time::Duration;

const X264: &str = "-c:v libx264 -bf 2 -g 12 -pix_fmt yuv420p";

/// A pipe is not opened: that would wait for somebody to write into it.
#[test]
fn a_pipe_is_refused_at_once() {
    let shop = Workshop::new();
    let pipe = shop.path("PIPE.MOV");
    let made = Command::new("mkfifo").arg(&pipe).status().unwrap();
    assert!(made.success());
    let (said, hears) = mpsc::channel();
    thread::spawn(move || said.send(media::open(&pipe).err().map(|error| error.kind())));
    let kind = hears.recv_timeout(Duration::from_secs(60));
    assert_eq!(kind.expect("an answer"), Some(ErrorKind::NotVideo));
}

/// Of one picture without times no length is known, and the end is looked for in vain.
#[test]
fn the_tail_of_a_single_picture_is_its_head() {
    let shop = Workshop::new();
    let bare = shop.make("one.h264", "testsrc2=s=160x90:r=25:d=0.04", X264);
    let (said, hears) = mpsc::channel();
    thread::spawn(move || {
        let mut clip = media::open(&bare).unwrap();
        let landing = clip.seek(Aim::Tail { seconds: 5 }).unwrap();
        said.send((landing.asked_s, landing.got.is_some()))
    });
    let landing = hears.recv_timeout(Duration::from_secs(60));
    assert_eq!(landing.expect("an answer"), (Ratio::ZERO, true));
}

/// The first `percent` of a file.
fn cut(file: &Path, percent: usize) -> PathBuf {
    let bytes = fs::read(file).unwrap();
    let short = file.with_file_name(format!("{percent}_{}", file.file_name().unwrap().display()));
    fs::write(&short, &bytes[..bytes.len() * percent / 100]).unwrap();
    short
}

#[test]
fn what_is_no_clip_is_refused_with_reason_and_advice() {
    let shop = Workshop::new();
    let good = shop.make("good.mov", "testsrc2=s=160x90:r=25:d=2", X264);
    let folder = shop.path("X.MP4");
    fs::create_dir(&folder).unwrap();
    let empty = shop.path("EMPTY.MOV");
    fs::write(&empty, b"").unwrap();
    let text = shop.path("NOTES.MOV");
    fs::write(&text, "Scene 4, take 2: the one with the dog.\n".repeat(40)).unwrap();
    let few_bytes = shop.path("FEW.txt");
    fs::write(&few_bytes, "hello\n").unwrap();
    // FFmpeg would draw it.
    let long_text = shop.path("LONG.txt");
    fs::write(
        &long_text,
        "Scene 4, take 2: the one with the dog.\n".repeat(4000),
    )
    .unwrap();
    let noise = shop.path("NOISE.MP4");
    let bytes: Vec<u8> = (0..200_000u32)
        .map(|n| (n.wrapping_mul(2_654_435_761) >> 13) as u8)
        .collect();
    fs::write(&noise, bytes).unwrap();
    let sound = shop.make("SOUND.MP4", "sine=d=1", "-c:a aac");
    let covered = shop.path("COVERED.MP4");
    let cover = shop.path("cover.png");
    shop.ffmpeg(&format!(
        "-f lavfi -i color=red:s=64x64:d=1 -frames:v 1 {}",
        cover.display()
    ));
    shop.ffmpeg(&format!(
        "-i {} -i {} -map 0 -map 1 -c copy -disposition:v:0 attached_pic {}",
        sound.display(),
        cover.display(),
        covered.display()
    ));
    for (file, kind) in [
        (shop.path("missing.mov"), ErrorKind::CannotOpen),
        (folder, ErrorKind::IsFolder),
        (empty, ErrorKind::Empty),
        (text, ErrorKind::NotVideo),
        (few_bytes, ErrorKind::NotVideo),
        (long_text, ErrorKind::NotVideo),
        (noise, ErrorKind::NotVideo),
        (cut(&good, 70), ErrorKind::NoIndex),
        (sound, ErrorKind::NoPicture),
        (covered, ErrorKind::NoPicture),
    ] {
        let Err(e) = media::open(&file) else {
            panic!("{} was opened", file.display());
        };
        assert_eq!(e.kind(), kind, "{e}");
        assert_eq!(e.file(), Some(file.as_path()));
        assert!(e.advice().is_some_and(|advice| !advice.is_empty()), "{e}");
        assert!(!e.what().is_empty() && !e.what().ends_with('.'), "{e}");
    }
}

/// Index first, then cut off: what lies in the file is given, and the note has
/// the figures.
#[test]
fn a_truncated_movie_gives_what_it_has() {
    let shop = Workshop::new();
    let whole = shop.make(
        "web.mp4",
        "testsrc2=s=160x90:r=25:d=2",
        &format!("{X264} -movflags +faststart"),
    );
    let all = read_all(&whole);
    let short = cut(&whole, 70);
    let clip = open(&short);
    assert_eq!(notes(&clip), "truncated");
    let left = clip.facts().frames.expect("counted from the index");
    let sentence = &clip.facts().notes[0].sentence;
    assert!(
        sentence.contains(&format!("{left} of 50 frames")),
        "{sentence}"
    );
    assert!(sentence.contains("2.00 s"), "{sentence}");
    let frames = read_all(&short);
    // Cut in the middle of a group of reordered pictures: a few of the last may
    // lack what they refer to.
    assert!(frames.len() <= left as usize && frames.len() + 3 >= left as usize);
    for (frame, original) in frames.iter().zip(&all).take(frames.len() - 3) {
        assert_eq!(frame.stamp, original.stamp);
        assert!(frame.grey == original.grey);
    }
    // The tail is that of what is left.
    let mut clip = open(&short);
    let landing = clip.seek(Aim::Tail { seconds: 1 }).unwrap();
    let left_s = Ratio::new(i128::from(left), 25);
    assert_eq!(landing.asked_s, left_s - Ratio::ONE);
    assert!(rest(&mut clip).len() >= 20);
}

/// Fragments, Matroska and transport streams need no index: whatever came
/// before the cut is there.
#[test]
fn recordings_without_a_closing_index_read_to_the_cut() {
    let shop = Workshop::new();
    let fragments = format!("{X264} -movflags frag_keyframe+empty_moov");
    for (name, encode, is_noted) in [
        ("fragments.mp4", fragments.as_str(), true),
        ("film.mkv", X264, true),
        ("stream.ts", X264, false),
        ("film.avi", "-c:v mjpeg -q:v 3", true),
    ] {
        let whole = shop.make(name, "testsrc2=s=160x90:r=25:d=4", encode);
        let all = read_all(&whole);
        for percent in [50, 80] {
            let short = cut(&whole, percent);
            let mut clip = open(&short);
            let frames = rest(&mut clip);
            assert!(
                frames.len() < 100 && frames.len() >= percent / 2,
                "{name} {percent} %: {}",
                frames.len()
            );
            for (frame, original) in frames.iter().zip(&all).take(frames.len() - 3) {
                assert_eq!(frame.stamp.ticks, original.stamp.ticks, "{name}");
                assert!(frame.grey == original.grey, "{name}");
            }
            assert_eq!(
                notes(&clip).contains("truncated"),
                is_noted,
                "{name}: {}",
                notes(&clip)
            );
            // Jumps stay possible, and end within what is left.
            let last = frames.last().expect("frames").stamp.ticks;
            let landing = clip.seek(Aim::At(Ratio::from_integer(100))).unwrap();
            assert_eq!(
                landing.got.map(|s| s.ticks),
                Some(last),
                "{name} {percent} %"
            );
            let landing = clip.seek(Aim::Tail { seconds: 1 }).unwrap();
            assert!(
                landing.got.is_some_and(|s| s.ticks < last),
                "{name} {percent} %"
            );
        }
    }
}

/// Bytes of some pictures destroyed: the rest comes, on time, with a note.
#[test]
fn damage_in_the_middle_is_skipped_and_counted() {
    let shop = Workshop::new();
    for (name, encode) in [
        ("jpeg.mov", "-c:v mjpeg -q:v 3"),
        ("film.mp4", X264),
        ("stream.ts", X264),
        (
            "ten_bit.mp4",
            "-c:v libx265 -x265-params log-level=none:keyint=12 -pix_fmt yuv420p10le",
        ),
    ] {
        let file = shop.make(name, "testsrc2=s=320x180:r=25:d=3", encode);
        let all = read_all(&file);
        let mut bytes = fs::read(&file).unwrap();
        // Ten packets in the middle.
        for (at, len) in clips::ffprobe_packets(&file).into_iter().skip(30).take(10) {
            bytes[at..at + len].fill(0xFF);
        }
        fs::write(&file, bytes).unwrap();
        let mut clip = open(&file);
        let frames = rest(&mut clip);
        assert!(
            frames.len() >= 55 && frames.len() <= 75,
            "{name}: {}",
            frames.len()
        );
        assert!(
            notes(&clip).contains("damaged_frames"),
            "{name}: {}",
            notes(&clip)
        );
        let stamps: Vec<i64> = frames.iter().map(|f| f.stamp.ticks).collect();
        assert!(stamps.is_sorted_by(|a, b| a < b), "{name}");
        let known: Vec<i64> = all.iter().map(|f| f.stamp.ticks).collect();
        assert!(stamps.iter().all(|t| known.contains(t)), "{name}");
        // The last second is whole again.
        let last = all.len() - 20;
        for (got, want) in frames[frames.len() - 20..].iter().zip(&all[last..]) {
            assert_eq!(got.stamp.ticks, want.stamp.ticks, "{name}");
            assert!(got.grey == want.grey, "{name}: {:?}", got.stamp);
        }
    }
}

/// The key frame at the head is damaged: the file begins with pictures that nobody can
/// decode, and other programs may keep their place.
#[test]
fn a_clip_whose_first_pictures_are_lost_is_never_sure_of_its_start() {
    let shop = Workshop::new();
    for (name, encode) in [
        ("film.mp4", X264),
        ("film.mxf", "-c:v mpeg2video -g 12 -q:v 3"),
        ("stream.ts", X264),
    ] {
        let file = shop.make(name, "testsrc2=s=320x180:r=25:d=2", encode);
        let whole = read_all(&file);
        assert!(open(&file).facts().doubts.is_empty(), "{name}");
        let mut bytes = fs::read(&file).unwrap();
        let (at, len) = clips::ffprobe_packets(&file)[0];
        // Transport streams are left their packet headers, 4 bytes of every 188.
        for byte in (at..at + len).filter(|byte| name != "stream.ts" || byte % 188 > 31) {
            bytes[byte] = 0;
        }
        fs::write(&file, bytes).unwrap();
        let clip = open(&file);
        let codes: Vec<&str> = clip
            .facts()
            .doubts
            .iter()
            .map(|d| d.code.as_str())
            .collect();
        assert_eq!(codes, ["head_lost"], "{name}");
        // Frame 0 is one that decodes.
        assert!(read_all(&file).len() < whole.len(), "{name}");
    }
}

/// A file that gives its frames no times counts them: those that are lost move all behind them.
#[test]
fn where_frames_are_counted_damage_makes_the_times_doubtful() {
    let shop = Workshop::new();
    for (name, encode, is_counted) in [
        ("part2.avi", "-c:v mpeg4 -g 12 -q:v 3", true),
        ("bare.m2v", "-c:v mpeg2video -g 12 -q:v 3", true),
        ("film.mxf", "-c:v mpeg2video -g 12 -q:v 3", false),
        ("film.mkv", "-c:v mpeg2video -g 12 -q:v 3", false),
        ("film.mp4", X264, false),
    ] {
        let file = shop.make(name, "testsrc2=s=320x180:r=25:d=3", encode);
        let mut clip = open(&file);
        rest(&mut clip);
        assert!(clip.facts().doubts.is_empty(), "{name}, whole");
        let mut bytes = fs::read(&file).unwrap();
        for (at, len) in clips::ffprobe_packets(&file).into_iter().skip(30).take(10) {
            bytes[at..at + len].fill(0xFF);
        }
        fs::write(&file, bytes).unwrap();
        let mut clip = open(&file);
        rest(&mut clip);
        let codes: Vec<&str> = (clip.facts().doubts.iter())
            .map(|doubt| doubt.code.as_str())
            .collect();
        let expected: &[&str] = if is_counted { &["times_wrong"] } else { &[] };
        assert_eq!(codes, expected, "{name}: {}", notes(&clip));
    }
}

/// Nothing but garbage where the pictures should be.
#[test]
fn a_clip_without_one_good_picture_is_undecodable() {
    let shop = Workshop::new();
    let file = shop.make(
        "ruined.mov",
        "testsrc2=s=160x90:r=25:d=2",
        "-c:v mjpeg -q:v 3",
    );
    let mut bytes = fs::read(&file).unwrap();
    for (at, len) in clips::ffprobe_packets(&file) {
        bytes[at..at + len].fill(0);
    }
    fs::write(&file, bytes).unwrap();
    let Err(e) = media::open(&file) else {
        panic!("zeros were decoded");
    };
    assert_eq!(e.kind(), ErrorKind::Undecodable, "{e}");
    let Err(e) = media::header(&file) else {
        panic!("a header was taken for a picture");
    };
    assert_eq!(e.kind(), ErrorKind::Undecodable, "{e}");
}
