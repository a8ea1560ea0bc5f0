//! Recordings that were put end to end, and clips that were cut, without encoding anything anew.

use super::clips::{Workshop, notes, open, read_all, rest};
use rollmark::frame::{Aim, Footage, Frame, Light, Stride};
use rollmark::media::Clip;
use rollmark::timecode::Ratio;
use std::fs;
use std::ops::Range;
use std::path::{Path, PathBuf};

const X264: &str = "-c:v libx264 -bf 2 -g 25 -pix_fmt yuv420p";
const MPEG2: &str = "-c:v mpeg2video -b:v 3M -bf 2 -g 15";

fn doubts(clip: &Clip) -> Vec<&str> {
    let doubts = clip.facts().doubts.iter();
    doubts.map(|doubt| doubt.code.as_str()).collect()
}

/// Two recordings, byte behind byte, of 25 pictures a second.
fn joined(shop: &Workshop, ending: &str, seconds: [u32; 2], encode: &str) -> PathBuf {
    let mut bytes = Vec::new();
    for (part, seconds) in ["a", "b"].iter().zip(seconds) {
        let source = format!("testsrc2=s=160x90:r=25:d={seconds}");
        let part = shop.make(&format!("{part}.{ending}"), &source, encode);
        bytes.extend(fs::read(part).unwrap());
    }
    let file = shop.path(&format!("joined.{ending}"));
    fs::write(&file, bytes).unwrap();
    file
}

#[test]
fn where_stamps_start_again_frames_go_on_behind_those_before_and_the_times_are_doubted() {
    let shop = Workshop::new();
    for (ending, encode) in [
        ("mts", X264),
        ("mkv", X264),
        ("mpg", MPEG2),
        ("ts", "-c:v libx264 -bf 0 -g 10 -pix_fmt yuv420p"),
    ] {
        let file = joined(&shop, ending, [4, 6], encode);
        let all = read_all(&file);
        let ticks: Vec<i64> = all
            .iter()
            .map(|frame| (frame.stamp.seconds() * Ratio::from_integer(25)).round())
            .map(|n| i64::try_from(n).unwrap())
            .collect();
        assert_eq!(ticks, (0..250).collect::<Vec<_>>(), "{ending}");

        let mut clip = open(&file);
        assert_eq!(doubts(&clip), [""; 0], "{ending}");
        clip.set_stride(Stride::KeyFrames {
            closest_s: Ratio::new(2, 5),
            widest_s: None,
            is_rough: false,
        });
        clip.seek(Aim::Head).unwrap();
        let keys: Vec<f64> = rest(&mut clip)
            .iter()
            .map(|frame| frame.stamp.seconds_f64())
            .collect();
        assert!(
            keys.windows(2).all(|pair| pair[1] - pair[0] < 1.1),
            "{ending}: {keys:?}"
        );
        assert!(
            keys.last().is_some_and(|last| *last > 8.9),
            "{ending}: {keys:?}"
        );
        assert_eq!(doubts(&clip), ["times_wrong"], "{ending}");
        let sentence = &clip.facts().doubts[0].sentence;
        assert!(sentence.contains("start again 4.0 s"), "{sentence}");

        // No time is another's.
        clip.set_stride(Stride::EveryFrame);
        for n in [20, 90, 99, 100, 130, 240] {
            assert_leads_to(&mut clip, n, &all);
        }
    }
}

/// A jump to frame `n`, of 25 a second, leads to that one of `all`.
fn assert_leads_to(clip: &mut Clip, n: usize, all: &[Frame]) {
    let at = Ratio::new(i128::try_from(n).unwrap(), 25);
    clip.seek(Aim::At(at)).unwrap();
    let stamp = clip.advance().unwrap().expect("a frame");
    let path = &clip.facts().path;
    assert_eq!(stamp.ticks, all[n].stamp.ticks, "{path:?}, {n}");
    let got = clip.picture(Light::Luma).unwrap();
    assert!(got.grey == all[n].grey, "{:?}, {n}", clip.facts().path);
}

/// The second recording has all times of the first, too, and a search for one of them may end there.
#[test]
fn a_jump_back_does_not_lead_into_the_next_recording() {
    let shop = Workshop::new();
    for ending in ["mts", "mkv"] {
        let file = joined(&shop, ending, [3, 6], X264);
        let all = read_all(&file);
        let mut clip = open(&file);
        while clip.advance().unwrap().expect("a frame").ticks < all[62].stamp.ticks {}
        for n in [50, 40] {
            assert_leads_to(&mut clip, n, &all);
        }
    }
}

/// A few stamps may be damaged; no codec reorders over more than 16 pictures.
#[test]
fn a_few_stamps_that_fall_are_no_other_recording() {
    let shop = Workshop::new();
    let source = |pictures: u32| format!("testsrc2=s=160x90:r=25,trim=end_frame={pictures}");
    for (pictures, is_doubted) in [(10, false), (20, true)] {
        let on = format!("{X264} -output_ts_offset 2");
        let parts = [
            shop.make("before.ts", &source(50), X264),
            shop.make("fallen.ts", &source(pictures), X264),
            shop.make("behind.ts", &source(50), &on),
        ];
        let file = shop.path("all.ts");
        fs::write(&file, parts.map(|part| fs::read(part).unwrap()).concat()).unwrap();
        let mut clip = open(&file);
        rest(&mut clip);
        assert_eq!(doubts(&clip).len(), usize::from(is_doubted), "{pictures}");
    }
}

/// Nobody has seen what lies between the head and the place to which one jumped.
#[test]
fn what_was_jumped_over_is_read_up_to_the_frame_that_counts() {
    let shop = Workshop::new();
    let leap = |name: &str| {
        let file = shop.path(name);
        shop.ffmpeg(&format!(
            "-f lavfi -i testsrc2=s=160x90:r=25:d=9 \
             -vf settb=1/1000,setpts='(N*0.04+if(gte(N\\,100)\\,50\\,0))/TB' -vsync passthrough \
             -enc_time_base 1/1000 {X264} {}",
            file.display()
        ));
        file
    };
    let plain = |name: &str, encode: &str| shop.make(name, "testsrc2=s=160x90:r=25:d=9", encode);
    let fragments = format!("{X264} -movflags frag_keyframe+empty_moov");
    for (file, at_s, reads, is_doubted) in [
        (joined(&shop, "mts", [4, 12], X264), 9, true, true),
        (leap("leap.mts"), 57, true, true),
        (leap("leap.mkv"), 57, true, true),
        (plain("plain.mts", X264), 7, true, false),
        (plain("plain.mkv", X264), 7, true, false),
        (plain("fragments.mp4", &fragments), 7, true, false),
        (plain("plain.mp4", X264), 7, false, false),
        (plain("plain.avi", "-c:v mjpeg"), 7, false, false),
        (plain("plain.mxf", MPEG2), 7, false, false),
    ] {
        let name = file.file_name().unwrap().display();
        let at = Ratio::from_integer(at_s);
        let mut clip = open(&file);
        let landing = clip.seek(Aim::At(at)).unwrap();
        assert_eq!(landing.got.map(|stamp| stamp.seconds()), Some(at), "{name}");
        assert_eq!(doubts(&clip), [""; 0], "{name}");
        while clip.read_up_to(at).unwrap() {}
        let wanted: &[&str] = if is_doubted { &["times_wrong"] } else { &[] };
        assert_eq!(doubts(&clip), wanted, "{name}");
        if !reads {
            let next = clip.advance().unwrap().map(|stamp| stamp.seconds());
            assert_eq!(next, Some(at), "{name} keeps its place");
        }
        if is_doubted {
            continue;
        }
        // The end of the stretch that is known is no beginning of an unknown one.
        clip.seek(Aim::At(at)).unwrap();
        assert!(!clip.read_up_to(at).unwrap(), "{name}");
        assert_eq!(
            clip.advance().unwrap().map(|s| s.seconds()),
            Some(at),
            "{name}"
        );
    }
}

/// The table of times tells all of them, in the order in which pictures are decoded.
#[test]
fn a_leap_in_a_table_of_times_is_told_before_anything_is_read() {
    let shop = Workshop::new();
    for frames_between in [0, 2] {
        let file = shop.path("leap.mp4");
        shop.ffmpeg(&format!(
            "-f lavfi -i testsrc2=s=160x90:r=25:d=9 \
             -vf settb=1/1000,setpts='(N*0.04+if(gte(N\\,100)\\,50\\,0))/TB' -vsync passthrough \
             -enc_time_base 1/1000 -c:v libx264 -bf {frames_between} -g 25 -pix_fmt yuv420p {}",
            file.display()
        ));
        let mut clip = open(&file);
        clip.seek(Aim::At(Ratio::from_integer(57))).unwrap();
        assert_eq!(doubts(&clip), ["times_wrong"], "{frames_between}");
    }
}

fn be(bytes: &[u8]) -> usize {
    bytes
        .iter()
        .fold(0, |sum, byte| sum * 256 + usize::from(*byte))
}

fn boxed(kind: &[u8; 4], body: &[u8]) -> Vec<u8> {
    let size = u32::try_from(8 + body.len()).unwrap();
    [&size.to_be_bytes()[..], kind, body].concat()
}

/// The whole of the first box of a kind within the bodies of `range`.
fn find(bytes: &[u8], range: Range<usize>, kind: &[u8; 4]) -> Range<usize> {
    let mut at = range.start;
    while at + 8 <= range.end {
        let end = at + be(&bytes[at..at + 4]);
        if &bytes[at + 4..at + 8] == kind {
            return at..end;
        }
        at = end;
    }
    panic!("no box {}", String::from_utf8_lossy(kind));
}

/// Puts another box in the place of the one at the end of `path`, in a file that ends with `moov`.
fn replace(file: &Path, path: &[&[u8; 4]], new: &[u8]) {
    let mut bytes = fs::read(file).unwrap();
    let mut within = 0..bytes.len();
    let mut around = Vec::new();
    for kind in path {
        let found = find(&bytes, within, kind);
        within = found.start + 8..found.end;
        around.push(found);
    }
    let old = around.pop().unwrap();
    for outer in around {
        let size = u32::try_from(outer.len() - old.len() + new.len()).unwrap();
        bytes[outer.start..outer.start + 4].copy_from_slice(&size.to_be_bytes());
    }
    bytes.splice(old, new.iter().copied());
    fs::write(file, bytes).unwrap();
}

fn edit_list(entries: &[(u32, i32, u32)]) -> Vec<u8> {
    let mut body = vec![0; 4];
    body.extend(u32::try_from(entries.len()).unwrap().to_be_bytes());
    for (lasts, from, rate) in entries {
        body.extend(lasts.to_be_bytes());
        body.extend(from.to_be_bytes());
        body.extend(rate.to_be_bytes());
    }
    boxed(b"edts", &boxed(b"elst", &body))
}

/// ISO/IEC 14496-12, 8.6.6: lengths in milliseconds here, beginnings in ticks of 1/12800 s, speeds
/// of 16 bits for the whole and 16 for the fraction.
#[test]
fn an_edit_list_that_makes_clip_time_another_than_the_cameras_is_doubted() {
    const ONE: u32 = 1 << 16;
    let shop = Workshop::new();
    // Reordering has the file begin with an edit of its own.
    let source = "testsrc2=s=160x90:r=25:d=8";
    let whole = shop.make("whole.mp4", source, X264);
    let sound = format!("-f lavfi -i sine=d=8 {X264} -c:a aac");
    let behind_sound = shop.make("two.mp4", source, &format!("{sound} -map 1 -map 0"));
    let list: &[&[u8; 4]] = &[b"moov", b"trak", b"edts"];
    for (name, entries, said) in [
        ("plain.mp4", vec![(8000, 1024, ONE)], None),
        ("late.mp4", vec![(500, -1, ONE), (8000, 1024, ONE)], None),
        (
            "split.mp4",
            vec![(3000, 1024, ONE), (5000, 1024 + 38_400, ONE)],
            None,
        ),
        (
            "cut.mp4",
            vec![(3000, 1024, ONE), (3000, 1024 + 64_000, ONE)],
            Some("leaves out or repeats"),
        ),
        (
            "turned.mp4",
            vec![(3000, 1024 + 38_400, ONE), (3000, 1024, ONE)],
            Some("leaves out or repeats"),
        ),
        (
            "parted.mp4",
            vec![
                (3000, 1024, ONE),
                (500, -1, ONE),
                (5000, 1024 + 38_400, ONE),
            ],
            Some("puts a pause"),
        ),
        (
            "slow.mp4",
            vec![(16_000, 1024, ONE / 2)],
            Some("at another speed"),
        ),
        (
            "still.mp4",
            vec![(1000, 1024, 0), (8000, 1024, ONE)],
            Some("at another speed"),
        ),
    ] {
        let file = shop.path(name);
        fs::copy(&whole, &file).unwrap();
        replace(&file, list, &edit_list(&entries));
        let clip = open(&file);
        assert_eq!(doubts(&clip).len(), usize::from(said.is_some()), "{name}");
        if let Some(said) = said {
            assert_eq!(doubts(&clip), ["times_wrong"], "{name}");
            let sentence = &clip.facts().doubts[0].sentence;
            assert!(sentence.contains(said), "{name}: {sentence}");
        }
    }
    // The sound's list is none of the pictures'.
    replace(
        &behind_sound,
        list,
        &edit_list(&[(3000, 1024, ONE), (3000, 90_000, ONE)]),
    );
    assert_eq!(doubts(&open(&behind_sound)), [""; 0]);
}

/// Clips of one camera with other settings, joined as they are: the pictures of each need their own
/// description (ISO/IEC 14496-12, 8.5.2 and 8.7.4).
#[test]
fn pictures_with_a_second_description_are_read_wherever_reading_begins() {
    let shop = Workshop::new();
    let plain = "-bf 0 -g 25 -pix_fmt yuv420p";
    let source = "testsrc2=s=160x90:r=25:d=4";
    let first = shop.make(
        "first.mp4",
        source,
        &format!("-c:v libx264 -profile:v baseline {plain}"),
    );
    let second = shop.make(
        "second.mp4",
        source,
        &format!("-c:v libx264 -profile:v high {plain}"),
    );
    let list = shop.path("list.txt");
    fs::write(&list, "file first.mp4\nfile second.mp4\n").unwrap();
    let file = shop.path("both.mp4");
    shop.ffmpeg(&format!(
        "-f concat -auto_convert 0 -i {} -c copy {}",
        list.display(),
        file.display()
    ));
    let table: [&[u8; 4]; 5] = [b"moov", b"trak", b"mdia", b"minf", b"stbl"];
    let body = |file: &Path, kind: &[u8; 4]| {
        let bytes = fs::read(file).unwrap();
        let mut found = 0..bytes.len();
        for (depth, kind) in table.iter().copied().chain([kind]).enumerate() {
            let within = if depth == 0 {
                found
            } else {
                found.start + 8..found.end
            };
            found = find(&bytes, within, kind);
        }
        bytes[found.start + 8..found.end].to_vec()
    };
    let put = |kind: &[u8; 4], body: &[u8]| {
        let path: Vec<&[u8; 4]> = table.iter().copied().chain([kind]).collect();
        replace(&file, &path, &boxed(kind, body));
    };
    // A chunk for each picture; those of the second clip with the second description.
    let sizes = body(&file, b"stsz");
    let sizes: Vec<usize> = sizes[12..].chunks_exact(4).map(be).collect();
    let bytes = fs::read(&file).unwrap();
    let mut at = find(&bytes, 0..bytes.len(), b"mdat").start + 8;
    let mut chunks = [[0; 4], 200u32.to_be_bytes()].concat();
    for size in &sizes {
        chunks.extend(u32::try_from(at).unwrap().to_be_bytes());
        at += size;
    }
    assert_eq!(sizes.len(), 200);
    let to_chunk = [0, 2, 1, 1, 1, 101, 1, 2u32];
    put(b"stco", &chunks);
    put(b"stsc", &to_chunk.map(u32::to_be_bytes).concat());
    let descriptions = [
        [[0; 4], 2u32.to_be_bytes()].concat(),
        body(&first, b"stsd")[8..].to_vec(),
        body(&second, b"stsd")[8..].to_vec(),
    ];
    put(b"stsd", &descriptions.concat());

    let all = read_all(&file);
    let parts = [read_all(&first), read_all(&second)].concat();
    assert_eq!(all.len(), 200);
    for (n, (got, wanted)) in all.iter().zip(&parts).enumerate() {
        assert!(got.grey == wanted.grey, "{n}");
    }
    let mut clip = open(&file);
    for n in [180, 30, 130, 0, 120] {
        clip.seek(Aim::At(Ratio::new(n, 25))).unwrap();
        clip.advance().unwrap().expect("a frame");
        let got = clip.picture(Light::Luma).unwrap();
        assert!(got.grey == parts[usize::try_from(n).unwrap()].grey, "{n}");
    }
    // The frame at which the description changes is passed over.
    for closest_s in [Ratio::new(2, 5), Ratio::new(6, 5)] {
        let mut clip = open(&file);
        clip.set_stride(Stride::KeyFrames {
            closest_s,
            widest_s: None,
            is_rough: false,
        });
        clip.seek(Aim::Head).unwrap();
        let keys = rest(&mut clip);
        for key in &keys {
            let n = (key.stamp.seconds() * Ratio::from_integer(25)).round();
            assert!(key.grey == parts[usize::try_from(n).unwrap()].grey, "{n}");
        }
        assert!(keys.len() >= 4);
        assert_eq!(notes(&clip), "");
    }
}

/// Only the longest stream's end is told by such files.
#[test]
fn sound_that_runs_on_behind_the_pictures_is_no_file_that_ends_early() {
    let shop = Workshop::new();
    for name in ["long.flv", "long.mkv", "long.asf"] {
        let codecs = match name {
            "long.flv" => "-c:v flv1 -c:a pcm_s16le -ar 44100",
            _ => "-c:v mpeg4 -g 12 -c:a mp2",
        };
        let untold = "-map_metadata -1 -fflags +bitexact";
        let file = shop.make(
            name,
            "testsrc2=s=160x90:r=25:d=4",
            &format!("-f lavfi -i sine=d=9 {codecs} {untold}"),
        );
        let mut clip = open(&file);
        let claimed_s = clip.facts().duration_s.expect("a length");
        rest(&mut clip);
        assert!(
            !notes(&clip).contains("truncated"),
            "{name}: {}",
            notes(&clip)
        );
        let length_s = clip.facts().duration_s.expect("a length");
        let is_near =
            |s: Ratio, wanted: i64| (s - Ratio::from_integer(wanted)).abs() < Ratio::new(1, 4);
        assert!(is_near(length_s, 4), "{name}: {length_s}");
        if is_near(claimed_s, 9) {
            let bytes = fs::read(&file).unwrap();
            fs::write(&file, &bytes[..bytes.len() / 3]).unwrap();
            let mut clip = open(&file);
            rest(&mut clip);
            assert!(
                notes(&clip).contains("truncated"),
                "{name}: {}",
                notes(&clip)
            );
        } else {
            assert_eq!(name, "long.mkv");
        }
    }
}
