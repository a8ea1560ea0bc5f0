//! Real files through the media layer. The clips are made by the `ffmpeg`
//! program, and `ffprobe` and `ffmpeg` are the second opinion about which frames
//! are presented, when, and what they look like.

#[path = "media/broken.rs"]
mod broken;
#[path = "media/clips.rs"]
mod clips;
#[path = "media/joined.rs"]
mod joined;
#[path = "media/jumps.rs"]
mod jumps;
#[allow(dead_code, reason = "the tests of copies use the rest")]
#[path = "common/mxf.rs"]
mod mxf;
#[path = "media/pictures.rs"]
mod pictures;
#[path = "media/recorder.rs"]
mod recorder;

use clips::{Workshop, ffprobe, notes, open, read_all};
use rollmark::facts::{ClipFacts, HeaderFacts};
use rollmark::frame::{Aim, Footage, Light};
use rollmark::media;
use rollmark::timecode::{Rate, Ratio};
use std::path::Path;

/// Containers and codecs as cameras, phones and recorders write them.
const KINDS: [(&str, &str); 17] = [
    ("reordered.mp4", "-c:v libx264 -bf 2 -g 12 -pix_fmt yuv420p"),
    (
        "no_edit_list.mp4",
        "-c:v libx264 -bf 2 -g 12 -pix_fmt yuv420p -use_editlist 0",
    ),
    ("plain.mov", "-c:v libx264 -bf 0 -g 12 -pix_fmt yuv420p"),
    (
        "open_gop.mp4",
        "-c:v libx264 -bf 2 -g 12 -x264-params open-gop=1 -pix_fmt yuv420p",
    ),
    (
        "open_gop.ts",
        "-c:v libx264 -bf 2 -g 12 -x264-params open-gop=1 -pix_fmt yuv420p",
    ),
    (
        "fragments.mp4",
        "-c:v libx264 -bf 2 -g 12 -pix_fmt yuv420p -movflags frag_keyframe+empty_moov",
    ),
    (
        "late_start.mov",
        "-c:v libx264 -bf 2 -g 12 -pix_fmt yuv420p -output_ts_offset 5.2",
    ),
    (
        "late_start.ts",
        "-c:v libx264 -bf 2 -g 12 -pix_fmt yuv420p -output_ts_offset 5000",
    ),
    (
        "milliseconds.mkv",
        "-c:v libx264 -bf 2 -g 12 -pix_fmt yuv420p",
    ),
    ("motion_jpeg.avi", "-c:v mjpeg -q:v 3"),
    (
        "fields.mts",
        "-c:v mpeg2video -b:v 4M -bf 2 -g 12 -flags +ildct+ilme -top 1",
    ),
    (
        "fields.mxf",
        "-c:v mpeg2video -b:v 4M -bf 2 -g 12 -flags +ildct+ilme -top 1",
    ),
    ("mezzanine.mov", "-c:v prores_ks -pix_fmt yuv422p10le"),
    (
        "mezzanine.mxf",
        "-c:v dnxhd -profile:v dnxhr_sq -pix_fmt yuv422p",
    ),
    (
        "ten_bit.mp4",
        "-c:v libx265 -x265-params log-level=none -g 12 -pix_fmt yuv420p10le",
    ),
    (
        "royalty_free.mp4",
        "-c:v libsvtav1 -preset 12 -g 12 -pix_fmt yuv420p",
    ),
    ("phone.3gp", "-c:v h263 -s 176x144"),
];

/// What the container says without a picture decoded is what opening the clip says; the length
/// to a frame, since frame 0 is not known.
fn assert_is_the_header_of(facts: &ClipFacts, file: &Path) {
    let header = media::header(file).expect("it opens");
    let opened = HeaderFacts::from(facts);
    let off_s = header.duration_s.expect("a length") - opened.duration_s.expect("a length");
    assert!(off_s.abs() <= Ratio::new(1, 25), "{file:?}: {off_s}");
    let duration_s = opened.duration_s;
    assert_eq!(
        HeaderFacts {
            duration_s,
            ..header
        },
        opened,
        "{file:?}"
    );
}

/// Stamps, counts, time base and luma of every kind of file, against FFmpeg.
#[test]
fn frames_come_as_ffmpeg_presents_them() {
    let shop = Workshop::new();
    for (name, encode) in KINDS {
        if encode.contains("libsvtav1") && !clips::has_encoder("libsvtav1") {
            continue;
        }
        let size = if encode.contains("dnxhd") {
            "256x128"
        } else {
            "160x90"
        };
        let file = shop.make(name, &format!("testsrc2=s={size}:r=25:d=2"), encode);
        let frames = read_all(&file);
        let ticks: Vec<i64> = frames.iter().map(|f| f.stamp.ticks).collect();
        assert_eq!(ticks, clips::ffprobe_ticks(&file), "{name}");
        assert_eq!(ticks.len(), 50, "{name}");
        assert!(ticks.is_sorted_by(|a, b| a < b), "{name}");
        let indices: Vec<u64> = frames.iter().filter_map(|f| f.stamp.index).collect();
        assert_eq!(indices, (0..50).collect::<Vec<u64>>(), "{name}");
        let clip = open(&file);
        assert_is_the_header_of(clip.facts(), &file);
        let tick = frames[0].stamp.tick_seconds;
        assert_eq!(tick, clips::ffprobe_time_base(&file), "{name}");
        assert_eq!(clip.facts().rate, Some(Rate::F25), "{name}");
        if let Some(count) = clip.facts().frames {
            assert_eq!(count, 50, "{name}");
        }
        let duration_s = clip
            .facts()
            .duration_s
            .expect("a whole file tells its length");
        let off = (duration_s - Ratio::from_integer(2)).abs();
        assert!(off <= Ratio::new(1, 25), "{name}: {duration_s}");
        assert!(
            !clip.facts().is_variable_rate,
            "{name}: {:?}",
            clip.facts().notes
        );
        assert_eq!(
            notes(&clip),
            if name.starts_with("fields") {
                "interlaced"
            } else {
                ""
            }
        );
        clips::assert_same_luma(name, &frames, &clips::ffmpeg_grey(&file, ""));
    }
}

/// A copy that starts between key frames: the frames before the cut are decoded
/// but not presented.
#[test]
fn hidden_pre_roll_is_never_given_out() {
    let shop = Workshop::new();
    let whole = shop.make(
        "whole.mp4",
        "testsrc2=s=160x90:r=25:d=2",
        "-c:v libx264 -bf 2 -g 12 -pix_fmt yuv420p",
    );
    let cut = shop.path("cut.mp4");
    shop.ffmpeg(&format!(
        "-ss 0.6 -i {} -c copy {}",
        whole.display(),
        cut.display()
    ));
    let (all, kept) = (read_all(&whole), read_all(&cut));
    assert_eq!(kept.len(), 35);
    // 0.6 s at 25 frames per second is frame 15; the pictures are the same bits.
    for (frame, original) in kept.iter().zip(&all[15..]) {
        assert_eq!(frame.grey, original.grey);
    }
    let clip = open(&cut);
    assert_eq!(clip.facts().frames, Some(35));
    assert_eq!(clip.facts().duration_s, Some(Ratio::new(7, 5)));
}

fn doubts(clip: &media::Clip) -> Vec<&str> {
    let doubts = clip.facts().doubts.iter();
    doubts.map(|doubt| doubt.code.as_str()).collect()
}

/// MXF may store pictures that lie before the first one shown: to begin within a group of
/// pictures, or to show a part of a recording.
#[test]
fn what_an_mxf_file_leaves_out_at_its_head_is_never_given_out() {
    let shop = Workshop::new();
    let source = "testsrc2=s=160x90:r=25:d=4";
    let whole = shop.make("film.mxf", source, "-c:v mpeg2video -bf 2 -g 12 -q:v 3");
    let all = read_all(&whole);
    for position in [3u8, 12, 70] {
        mxf::begin_at(&whole, position.into(), 100);
        let position_text = position.to_string();
        assert_eq!(ffprobe(&whole, "", "stream=start_pts"), [position_text]);
        let kept = read_all(&whole);
        let left = &all[position.into()..];
        assert_eq!(kept.len(), left.len(), "from {position}");
        for (frame, original) in kept.iter().zip(left) {
            assert!(frame.grey == original.grey, "{:?}", frame.stamp);
            assert_eq!(
                frame.stamp.seconds() + Ratio::new(position.into(), 25),
                original.stamp.seconds()
            );
        }
        let mut clip = open(&whole);
        let length_s = Ratio::new(100 - i128::from(position), 25);
        assert_eq!(clip.facts().duration_s, Some(length_s));
        assert_eq!(doubts(&clip), Vec::<&str>::new());
        // After a look at another place, the head is the same.
        for aim in [Aim::At(Ratio::ONE), Aim::Head] {
            clip.seek(aim).unwrap();
            clip.advance().unwrap();
        }
        assert!(clip.picture(Light::Luma).unwrap().grey == left[0].grey);
    }
}

#[test]
fn an_mxf_file_whose_first_picture_programs_do_not_agree_on_is_doubted() {
    let shop = Workshop::new();
    let source = "testsrc2=s=160x90:r=25:d=2";
    let encode = "-c:v mpeg2video -bf 2 -g 12 -q:v 3";
    let early = shop.make("early.mxf", source, encode);
    let beyond = shop.make("beyond.mxf", source, encode);
    let all = read_all(&early);
    mxf::set_origin(&early, 12);
    mxf::begin_at(&beyond, 1000, 50);
    for file in [early, beyond] {
        assert_eq!(doubts(&open(&file)), ["head_lost"]);
        let kept = read_all(&file);
        assert_eq!(kept.len(), all.len());
        assert!(kept[0].grey == all[0].grey);
    }
}

/// A phone that drops every eleventh frame and jitters: gaps of 17 to 43 ticks
/// of 1/600 s. Index / 30 would be eleven frames off at the end.
#[test]
fn variable_rate_keeps_every_time_and_says_so() {
    let shop = Workshop::new();
    let file = shop.path("phone.mp4");
    shop.ffmpeg(&format!(
        "-f lavfi -i testsrc2=s=160x90:r=30:d=4 -vf \
         select='not(eq(mod(n\\,11)\\,5))',settb=1/600,setpts='PTS+if(eq(mod(N\\,3)\\,1)\\,3\\,0)' \
         -vsync passthrough -enc_time_base 1/600 -c:v libx264 -bf 0 -pix_fmt yuv420p \
         -video_track_timescale 600 {}",
        file.display()
    ));
    let mut clip = open(&file);
    let facts = clip.facts();
    assert!(facts.is_variable_rate);
    assert_eq!(facts.rate, Some(Rate::F30));
    assert_eq!(facts.frames, Some(109));
    let note = facts.notes.iter().find(|n| n.code == "variable_rate");
    let sentence = &note.expect("a note").sentence;
    // 17 and 43 ticks of 1/600 s.
    assert!(
        sentence.contains("28.3") && sentence.contains("71.7"),
        "{sentence}"
    );
    let mut last = None;
    while let Some(stamp) = clip.advance().unwrap() {
        last = Some(stamp);
    }
    let last = last.expect("frames");
    assert_eq!(last.seconds(), Ratio::new(2380, 600));
    assert_eq!(last.index, Some(108));
}

/// Reordering makes the gap visible in presentation stamps only, and only where
/// it is: beyond the sampled head.
#[test]
fn a_late_change_of_spacing_is_found_while_decoding() {
    let shop = Workshop::new();
    let file = shop.path("late.mkv");
    shop.ffmpeg(&format!(
        "-f lavfi -i testsrc2=s=160x90:r=25:d=6 -vf select='not(eq(n\\,120))' -vsync passthrough \
         -c:v libx264 -bf 2 -g 25 -pix_fmt yuv420p {}",
        file.display()
    ));
    let mut clip = open(&file);
    assert!(!clip.facts().is_variable_rate);
    while clip.advance().unwrap().is_some() {}
    assert!(clip.facts().is_variable_rate);
    assert_eq!(notes(&clip), "variable_rate");
}

/// Pieces that were joined keep their own times; a phone leaves out a second; time lapse leaves
/// out as much between any two frames.
#[test]
fn a_leap_in_the_times_is_doubted_where_no_recording_makes_one() {
    for (name, leap_s, step_s, is_doubted) in [
        ("joined.ts", 49, "0.04", true),
        ("joined.mp4", 49, "0.04", true),
        ("joined.mkv", 4, "0.04", true),
        ("phone.mp4", 2, "0.04", false),
        ("phone.ts", 2, "0.04", false),
        ("lapse.mp4", 0, "5", false),
    ] {
        let shop = Workshop::new();
        let file = shop.path(name);
        shop.ffmpeg(&format!(
            "-f lavfi -i testsrc2=s=160x90:r=25:d=3 \
             -vf settb=1/1000,setpts='(N*{step_s}+if(gte(N\\,40)\\,{leap_s}\\,0))/TB' -vsync passthrough \
             -enc_time_base 1/1000 -c:v libx264 -bf 2 -g 10 -pix_fmt yuv420p {}",
            file.display()
        ));
        let mut clip = open(&file);
        while clip.advance().unwrap().is_some() {}
        let doubts: Vec<&str> = clip.facts().doubts.iter().map(|d| &*d.code).collect();
        let wanted: &[&str] = if is_doubted { &["times_wrong"] } else { &[] };
        assert_eq!(doubts, wanted, "{name}");
    }
}

#[test]
fn rates_are_snapped_to_what_the_camera_meant() {
    let shop = Workshop::new();
    for (name, rate, encode, meant) in [
        ("ntsc.mkv", "30000/1001", "-c:v libx264 -bf 2", Rate::F29_97),
        (
            "film.mkv",
            "24000/1001",
            "-c:v libx264 -bf 2",
            Rate::F23_976,
        ),
        ("micro.avi", "1000000/33333", "-c:v mjpeg", Rate::F30),
        ("fast.mov", "120000/1001", "-c:v libx264", Rate::F119_88),
        ("double.ts", "60000/1001", "-c:v libx264", Rate::F59_94),
    ] {
        let file = shop.make(
            name,
            &format!("testsrc2=s=160x90:r={rate}:d=2"),
            &format!("{encode} -pix_fmt yuvj420p -r {rate}"),
        );
        let clip = open(&file);
        assert_eq!(clip.facts().rate, Some(meant), "{name}");
        assert!(!clip.facts().is_variable_rate, "{name}");
    }
}

#[test]
fn tags_are_passed_on_as_written() {
    let shop = Workshop::new();
    let file = shop.make(
        "tagged.mov",
        "testsrc2=s=160x90:r=30000/1001:d=0.5",
        "-c:v libx264 -pix_fmt yuv420p -timecode 00:00:59;28 \
         -metadata creation_time=2021-05-28T12:40:43Z",
    );
    let clip = open(&file);
    let facts = clip.facts();
    assert_eq!(facts.carried_timecode.as_deref(), Some("00:00:59;28"));
    assert_eq!(
        facts.creation_time.as_deref(),
        Some("2021-05-28T12:40:43.000000Z")
    );
    assert!(!facts.has_audio);
    assert_eq!(facts.codec, "h264");
    assert_eq!(facts.path, file);
    assert_eq!(notes(&clip), "");

    let loud = shop.path("loud.mov");
    shop.ffmpeg(&format!(
        "-f lavfi -i testsrc2=s=160x90:r=25:d=0.5 -f lavfi -i sine=d=0.5 -c:v libx264 {}",
        loud.display()
    ));
    assert!(open(&loud).facts().has_audio);
}

/// FFmpeg prints no timecode for a track that claims drop-frame at 24; missing
/// is not zero.
#[test]
fn an_unreadable_timecode_track_is_noted() {
    let shop = Workshop::new();
    let file = shop.make(
        "phone24.mov",
        "testsrc2=s=160x90:r=24:d=0.5",
        "-c:v libx264 -pix_fmt yuv420p -timecode 19:36:00:00",
    );
    assert_eq!(
        open(&file).facts().carried_timecode.as_deref(),
        Some("19:36:00:00")
    );
    let mut bytes = std::fs::read(&file).unwrap();
    // Sample description `tmcd` (QuickTime file format): its flags lie 16 bytes
    // behind the type; bit 0 is drop-frame. The media header has another `tmcd`.
    let descriptions: Vec<usize> = (0..bytes.len() - 20)
        .filter(|at| &bytes[*at..at + 4] == b"tmcd" && bytes[at + 16..at + 19] == [0, 0, 0])
        .filter(|at| bytes[at + 20..at + 24] == 12_288u32.to_be_bytes())
        .collect();
    let [at] = descriptions[..] else {
        panic!("one description: {descriptions:?}");
    };
    bytes[at + 19] |= 1;
    std::fs::write(&file, bytes).unwrap();
    let clip = open(&file);
    assert_eq!(clip.facts().carried_timecode, None);
    assert_eq!(notes(&clip), "timecode_track_unreadable");
}

#[test]
fn files_without_presentation_times_get_them_from_the_rate() {
    let shop = Workshop::new();
    for name in ["bare.h264", "reordered.avi"] {
        let file = shop.make(
            name,
            "testsrc2=s=160x90:r=25:d=2",
            "-c:v libx264 -bf 2 -g 12 -pix_fmt yuv420p",
        );
        let frames = read_all(&file);
        assert_eq!(frames.len(), 50, "{name}");
        for (n, frame) in frames.iter().enumerate() {
            assert_eq!(frame.stamp.seconds(), Ratio::new(n as i128, 25), "{name}");
        }
        assert_eq!(notes(&open(&file)), "stamps_repaired", "{name}");
        clips::assert_same_luma(name, &frames, &clips::ffmpeg_grey(&file, ""));
    }
}
