//! QuickTime, MP4 and MXF: nothing but the timecode is another in the copy.

use super::boxes::{Movie, nth};
use super::clips::{Workshop, read_all};
use super::{H264, SOURCE, copy, is_equal, movie, second, ten_hours, timecode};
use rollmark::frame::Footage;
use rollmark::media::{self, CopyWay};
use rollmark::timecode::Rate;
use std::path::Path;

/// Everything but timecode is the same to FFmpeg, and frame 0 to us.
fn assert_kept(source: &Path, copy: &Path) {
    for tell in [second::packets, second::description, second::pictures] {
        second::assert_same(&tell(copy), &tell(source), source);
    }
    let (old, new) = (read_all(source), read_all(copy));
    assert_eq!(old[0].grey, new[0].grey);
    let times = |frames: &[rollmark::frame::Frame]| -> Vec<_> {
        frames.iter().map(|frame| frame.stamp.seconds()).collect()
    };
    assert_eq!(times(&old), times(&new));
}

const KINDS: [(&str, &str); 13] = [
    ("reordered.mp4", ""),
    ("no_edit_list.mp4", "-use_editlist 0"),
    ("index_first.mp4", "-movflags faststart"),
    ("index_first.mov", "-movflags faststart -c:a pcm_s16le"),
    ("late.mov", "-output_ts_offset 5.2"),
    ("fine.mov", "-video_track_timescale 90000"),
    (
        "ten_bit.mp4",
        "-c:v libx265 -x265-params log-level=none -pix_fmt yuv420p10le -tag:v hvc1",
    ),
    (
        "mezzanine.mov",
        "-c:v prores_ks -bf 0 -pix_fmt yuv422p10le -c:a pcm_s24le",
    ),
    (
        "motion_jpeg.mov",
        "-c:v mjpeg -bf 0 -pix_fmt yuvj420p -q:v 3",
    ),
    (
        "colours.mov",
        "-color_primaries bt2020 -color_trc arib-std-b67 -colorspace bt2020nc",
    ),
    (
        "colours.mp4",
        "-color_primaries bt709 -color_trc bt709 -colorspace bt709 -color_range pc",
    ),
    (
        "anamorphic.mov",
        "-vf setsar=4/3 -metadata creation_time=2021-05-28T12:40:43Z",
    ),
    ("phone.3gp", "-c:v h263 -bf 0 -s 176x144 -c:a aac"),
];

#[test]
fn all_that_is_in_a_movie_is_in_its_copy() {
    let shop = Workshop::new();
    for (name, encode) in KINDS {
        let clip = shop.make(name, SOURCE, &format!("{H264} {encode}"));
        let before = std::fs::read(&clip).unwrap();
        let (file, report) = copy(&shop, &clip, &ten_hours());
        assert_eq!(report.way, CopyWay::AsItIs);
        assert_eq!(report.not_carried, Vec::<String>::new());
        assert!(report.streams.iter().all(is_equal));
        assert_kept(&clip, &file);
        assert_eq!(Movie::read(&file).timecode().count, 900_000);
        assert_eq!(
            std::fs::read(&clip).unwrap(),
            before,
            "the source was touched"
        );
    }
}

#[test]
fn several_sounds_keep_language_order_and_disposition() {
    let shop = Workshop::new();
    let encode = "-map 0 -map 1 -map 1 -map 1 -metadata:s:a:0 language=eng -metadata:s:a:1 language=ger \
                  -metadata:s:a:2 language=fra -disposition:a:0 0 -disposition:a:1 default";
    for name in ["a.mov", "a.mp4"] {
        let clip = shop.make(name, SOURCE, &format!("{H264} {encode}"));
        let (file, report) = copy(&shop, &clip, &ten_hours());
        assert_kept(&clip, &file);
        assert_eq!(report.streams.len(), 4);
        let languages = second::values(&file, "stream_tags=language");
        assert!(languages.join(" ").contains("eng ger fra"), "{languages:?}");
    }
}

#[test]
fn turned_and_mirrored_pictures_stay_so() {
    const ONE: i32 = 1 << 16;
    let shop = Workshop::new();
    let mirrored = [-ONE, 0, 0, 0, ONE, 0, 160 * ONE, 0, 1 << 30];
    let turned = movie::turn_clockwise(90, 160, 90);
    for (name, matrix, facts) in [
        ("turned.mov", turned, (90, false)),
        ("mirrored.mp4", mirrored, (0, true)),
    ] {
        let clip = shop.make(name, SOURCE, H264);
        movie::set_matrix(&clip, matrix);
        let (file, _) = copy(&shop, &clip, &ten_hours());
        assert_kept(&clip, &file);
        let copied = media::open(&file).unwrap();
        let found = (copied.facts().rotation_degrees, copied.facts().is_mirrored);
        assert_eq!(found, facts);
    }
}

/// A phone's uneven stamps, in ticks of 1/600 s.
#[test]
fn uneven_stamps_are_exact() {
    let shop = Workshop::new();
    let uneven = "testsrc=s=64x64:r=30:d=4,select='not(eq(mod(n\\,11)\\,5))',settb=1/600,\
                  setpts='PTS+if(eq(mod(N\\,3)\\,1)\\,3\\,0)'";
    let encode = "-vsync passthrough -enc_time_base 1/600 -c:v libx264 -bf 0 -pix_fmt yuv420p \
                  -video_track_timescale 600";
    let clip = shop.make("phone.mp4", uneven, encode);
    assert!(media::open(&clip).unwrap().facts().is_variable_rate);
    let (file, _) = copy(&shop, &clip, &timecode(Rate::F30, "10:00:00:00"));
    assert_kept(&clip, &file);
    let found = Movie::read(&file).timecode();
    assert_eq!(
        (found.timescale, found.frame_ticks, found.base),
        (30_000, 1000, 30)
    );
}

/// A stream copy cut between key frames: an edit list hides what was stored
/// before the cut.
#[test]
fn the_first_picture_presented_is_the_same() {
    let shop = Workshop::new();
    let whole = shop.make("whole.mp4", SOURCE, H264);
    let cut = shop.path("cut.mp4");
    shop.ffmpeg(&format!(
        "-ss 0.6 -i {} -c copy {}",
        whole.display(),
        cut.display()
    ));
    let stored = second::values(&cut, "packet=stream_index")
        .iter()
        .filter(|s| *s == "0")
        .count();
    let shown = second::pictures(&cut).len();
    assert!(
        stored > shown,
        "the edit list hides nothing: {stored} stored, {shown} shown"
    );
    let (file, report) = copy(&shop, &cut, &ten_hours());
    assert_kept(&cut, &file);
    assert_eq!(report.streams[0].copy.packets, stored as u64);
    assert_eq!(
        Movie::read(&file).pictures().edits(),
        Movie::read(&cut).pictures().edits()
    );
}

/// Without an edit list, frame 0 is presented two frames after the movie's time
/// 0; the count must begin with the frame and not before.
#[test]
fn the_count_begins_with_frame_0() {
    let shop = Workshop::new();
    for (name, encode, late_ms) in [
        ("at_once.mov", "", 0),
        ("two_frames_late.mov", "-use_editlist 0", 80),
        ("later.mov", "-bf 0 -output_ts_offset 0.2", 200),
    ] {
        let clip = shop.make(
            name,
            "testsrc=s=64x64:r=25:d=2",
            &format!("{H264} {encode}"),
        );
        let movie = Movie::read(&clip);
        assert_eq!(movie.movie_timescale(), 1000);
        let (file, _) = copy(&shop, &clip, &ten_hours());
        let edits = Movie::read(&file).timecode().edits;
        let waits: Vec<_> = edits.iter().filter(|(_, from)| *from == -1).collect();
        if late_ms == 0 {
            assert!(waits.is_empty(), "{name}: {edits:?}");
        } else {
            assert_eq!(waits, [&(late_ms, -1)], "{name}");
        }
        assert_eq!(edits.last().unwrap().1, 0, "{name}");
        assert_kept(&clip, &file);
    }
}

/// The pictures begin 66.73 ms late, in a movie that counts milliseconds: counted from 67, the
/// label at the time of every picture would be that of the one before.
#[test]
fn the_count_never_begins_behind_frame_0() {
    let shop = Workshop::new();
    let clip = shop.make(
        "a.mp4",
        "testsrc=s=64x64:r=30000/1001:d=2",
        &format!("{H264} -use_editlist 0"),
    );
    let (file, _) = copy(&shop, &clip, &timecode(Rate::F29_97, "10:00:00:00"));
    let edits = Movie::read(&file).timecode().edits;
    assert_eq!(edits[0], (66, -1));
}

/// A data track that FFmpeg knows nothing of, and whose stream copy it refuses.
#[test]
fn unknown_tracks_are_kept() {
    let shop = Workshop::new();
    let clip = shop.make(
        "a.mov",
        SOURCE,
        &format!("{H264} -map 0 -map 1 -map 1 -c:a pcm_s16le"),
    );
    let mut bytes = std::fs::read(&clip).unwrap();
    let handler = nth(&bytes, b"soun", 1);
    bytes[handler - 4..handler].copy_from_slice(b"meta");
    let description = nth(&bytes, b"sowt", 1);
    bytes[description - 4..description].copy_from_slice(b"xyzw");
    std::fs::write(&clip, bytes).unwrap();
    let (file, report) = copy(&shop, &clip, &ten_hours());
    assert_kept(&clip, &file);
    assert_eq!(report.not_carried, Vec::<String>::new());
    let names: Vec<_> = report.streams.iter().map(|stream| &*stream.name).collect();
    assert_eq!(
        names,
        ["pictures (h264)", "sound (pcm_s16le)", "data (xyzw)"]
    );
    assert!(report.streams[2].copy.bytes > 0);
}

#[test]
fn the_index_moves_and_the_media_does_not() {
    let shop = Workshop::new();
    let last = shop.make("last.mov", SOURCE, H264);
    let first = shop.make("first.mov", SOURCE, &format!("{H264} -movflags faststart"));
    let (last_copy, _) = copy(&shop, &last, &ten_hours());
    let (first_copy, _) = copy(&shop, &first, &ten_hours());
    let top = |file: &Path| Movie::read(file).top_level().join(" ");
    assert_eq!(top(&last), "ftyp wide mdat moov");
    assert_eq!(top(&last_copy), "ftyp wide mdat mdat moov free");
    assert_eq!(top(&first), "ftyp moov wide mdat");
    assert_eq!(top(&first_copy), "ftyp free wide mdat mdat moov free");
    let (old, new) = (
        std::fs::read(&first).unwrap(),
        std::fs::read(&first_copy).unwrap(),
    );
    let differing = old.iter().zip(&new).filter(|(old, new)| old != new).count();
    assert!(
        differing <= 4,
        "{differing} bytes: more than the type of the old index"
    );
}

/// `mdat` may say 'to the end of the file' instead of a size.
#[test]
fn an_open_media_box_is_closed_before_something_follows_it() {
    let shop = Workshop::new();
    let clip = shop.make("a.mov", SOURCE, &format!("{H264} -movflags faststart"));
    let mut bytes = std::fs::read(&clip).unwrap();
    let media = nth(&bytes, b"mdat", 0);
    bytes[media - 8..media - 4].copy_from_slice(&[0; 4]);
    std::fs::write(&clip, bytes).unwrap();
    let (file, _) = copy(&shop, &clip, &ten_hours());
    assert_kept(&clip, &file);
    assert_eq!(
        Movie::read(&file).top_level().join(" "),
        "ftyp free wide mdat mdat moov free"
    );
}

#[test]
fn mxf_keeps_every_byte_but_its_start() {
    let shop = Workshop::new();
    for (name, rate, encode, label) in [
        (
            "a.mxf",
            "25",
            "-c:v mpeg2video -b:v 4M -bf 2 -g 12 -timecode 05:00:00:00",
            "10:00:00:00",
        ),
        (
            "b.mxf",
            "30000/1001",
            "-c:v dnxhd -profile:v dnxhr_sq -pix_fmt yuv422p",
            "00:01:00;02",
        ),
    ] {
        let source = format!("testsrc=s=320x240:r={rate}:d=1 -f lavfi -i sine=d=1:r=48000");
        let clip = shop.make(name, &source, &format!("{encode} -c:a pcm_s16le"));
        let rate = if rate == "25" {
            Rate::F25
        } else {
            Rate::F29_97
        };
        let (file, report) = copy(&shop, &clip, &timecode(rate, label));
        assert_eq!(second::packets(&file), second::packets(&clip));
        assert_eq!(second::pictures(&file), second::pictures(&clip));
        assert_eq!(second::values(&file, "format_tags=timecode"), [label]);
        assert_eq!(report.replaced.len(), 1, "{:?}", report.replaced);
        let (old, new) = (std::fs::read(&clip).unwrap(), std::fs::read(&file).unwrap());
        assert_eq!(old.len(), new.len());
        let differing = old.iter().zip(&new).filter(|(old, new)| old != new).count();
        // Start, base and flag, in a few components of each of three partitions.
        assert!(
            (1..=11 * 12).contains(&differing),
            "{differing} bytes differ"
        );
    }
}

#[test]
fn mxf_with_filling_behind_its_end_is_whole() {
    let shop = Workshop::new();
    let encode = "-c:v mpeg2video -b:v 4M -bf 2 -g 12";
    for behind in [&[0; 5][..], &[0; 100_000], b"words of the maker"] {
        let clip = shop.make("a.mxf", "testsrc=s=320x240:r=25:d=1", encode);
        let whole = [&std::fs::read(&clip).unwrap()[..], behind].concat();
        std::fs::write(&clip, whole).unwrap();
        let (file, _) = copy(&shop, &clip, &ten_hours());
        assert_eq!(
            second::values(&file, "format_tags=timecode"),
            ["10:00:00:00"]
        );
        assert!(std::fs::read(&file).unwrap().ends_with(behind));
        std::fs::remove_file(file).unwrap();
    }
}
