//! The label, its base and its mark, in every rate of the trade; older
//! timecode of every kind.

use super::boxes::{Movie, nth};
use super::clips::Workshop;
use super::{H264, SOURCE, copy, mxf, second, ten_hours, timecode};
use rollmark::error::ErrorKind;
use rollmark::media::{self, CopyTimecode};
use rollmark::progress::Deaf;
use rollmark::timecode::Rate;

/// Rate, FFmpeg's name of it, label, count. Counts by the rule of SMPTE ST 12-1
/// (drop-frame: two labels a minute and 30 of base, but every tenth minute),
/// worked out by hand: 05:23:14;36 is (19394 x 60 + 36) - 4 x (323 - 32);
/// 02:34:28;012 is (9268 x 120 + 12) - 8 x (154 - 15).
const LABELS: [(Rate, &str, &str, u32); 14] = [
    (Rate::F23_976, "24000/1001", "00:00:41:16", 1000),
    (Rate::F24, "24", "19:36:00:00", 1_693_440),
    (Rate::F25, "25", "23:59:59:24", 2_159_999),
    (Rate::F29_97, "30000/1001", "00:01:00;02", 1800),
    (Rate::F29_97, "30000/1001", "01:00:00:00", 108_000),
    (Rate::F30, "30", "00:00:00:00", 0),
    (Rate::F47_952, "48000/1001", "01:00:00:47", 172_847),
    (Rate::F50, "50", "10:00:00:49", 1_800_049),
    (Rate::F59_94, "60000/1001", "05:23:14;36", 1_162_512),
    (Rate::F59_94, "60000/1001", "05:23:14:36", 1_163_676),
    (Rate::F60, "60", "00:00:01:59", 119),
    (Rate::F100, "100", "01:00:00:99", 360_099),
    (Rate::F119_88, "120000/1001", "02:34:28;012", 1_111_060),
    (Rate::F120, "120", "00:00:01:119", 239),
];

#[test]
fn every_rate_keeps_its_base_its_mark_and_its_count() {
    let shop = Workshop::new();
    for (at, (rate, name, label, count)) in LABELS.into_iter().enumerate() {
        let kind = ["mov", "mp4"][at % 2];
        let encode = format!("-r {name} {H264}");
        let clip = shop.make(
            &format!("{at}.{kind}"),
            &format!("testsrc=s=64x64:r={name}:d=0.5"),
            &encode,
        );
        let start = timecode(rate, label);
        let (file, _) = copy(&shop, &clip, &start);

        let movie = Movie::read(&file);
        let found = movie.timecode();
        assert_eq!(found.count, count, "{label}");
        assert_eq!(found.is_drop_frame, label.contains(';'), "{label}");
        assert!(found.wraps_at_24_hours);
        assert_eq!(u32::from(found.base), rate.base(), "{label}");
        assert_eq!(
            Rate::new(found.timescale, found.frame_ticks),
            Some(rate),
            "{label}"
        );
        assert_eq!(movie.pictures().timecode_references(), [found.id]);
        assert!(movie.next_track_id() > found.id);
        let frames = second::pictures(&clip).len();
        assert_eq!(found.frames, frames as u64, "{label}");

        let said = second::values(&file, "stream_tags=timecode");
        assert_eq!(
            said,
            [label, label],
            "pictures and timecode track, says ffprobe"
        );
    }
}

#[test]
fn adding_timecode_keeps_the_duration() {
    let shop = Workshop::new();
    let clip = shop.make(
        "a.mov",
        "testsrc=s=64x64:r=24000/1001",
        &format!("-frames:v 100 {H264}"),
    );
    let (file, _) = copy(&shop, &clip, &timecode(Rate::F23_976, "00:00:41:16"));
    assert_eq!(Movie::read(&file).timecode().count, 1000);
    // 100 x 1001 / 24000
    assert_eq!(
        second::values(&file, "stream=duration"),
        ["4.170833", "4.170833"]
    );
    let of_file = |file| second::values(file, "format=duration,start_time");
    assert_eq!(of_file(&file), of_file(&clip));
}

#[test]
fn labels_that_do_not_exist_are_refused() {
    for (rate, label, reason) in [
        (Rate::F29_97, "00:01:00;00", "does not exist"),
        (Rate::F25, "00:00:00;00", "no drop-frame at 25"),
        (Rate::F24, "00:00:00:24", "above the largest"),
        (Rate::F24, "24:00:00:00", "above the largest"),
    ] {
        let refusal = CopyTimecode::from_label(rate, label.contains(';'), label).unwrap_err();
        assert!(refusal.to_string().contains(reason), "{refusal}");
    }
    assert!(CopyTimecode::new(Rate::F25, false, -1).is_err());
    assert!(CopyTimecode::new(Rate::F25, false, 2_160_000).is_err());
    assert!(CopyTimecode::new(Rate::F29_97, true, 2_589_407).is_ok());
    assert!(CopyTimecode::new(Rate::F29_97, true, 2_589_408).is_err());
    let refusal = CopyTimecode::new(Rate::new(300, 1).unwrap(), false, 0).unwrap_err();
    assert!(refusal.to_string().contains("255"), "{refusal}");
}

/// A copy of a trimmed clip that still names the start of the whole one.
#[test]
fn an_older_track_is_replaced_and_not_added_to() {
    let shop = Workshop::new();
    for kind in ["mov", "mp4"] {
        let whole = shop.make(
            &format!("whole.{kind}"),
            "testsrc=s=64x64:r=25:d=10 -f lavfi -i sine=d=10",
            &format!("{H264} -bf 0 -g 25 -timecode 01:00:00:00"),
        );
        let trimmed = shop.path(&format!("trimmed.{kind}"));
        shop.ffmpeg(&format!(
            "-ss 5 -i {} -c copy -write_tmcd 1 {}",
            whole.display(),
            trimmed.display()
        ));
        let old = Movie::read(&trimmed);
        assert_eq!(
            old.timecode().count,
            90_000,
            "the fault that is to be mended"
        );

        let (file, report) = copy(&shop, &trimmed, &timecode(Rate::F25, "01:00:05:00"));
        let new = Movie::read(&file);
        assert_eq!(new.timecode().count, 90_125);
        assert_eq!(new.timecode().id, old.timecode().id);
        assert_eq!(new.tracks().len(), old.tracks().len());
        assert_eq!(report.replaced, ["timecode track 01:00:00:00, base 25"]);
        let said = second::values(&file, "stream_tags=timecode");
        assert!(said.iter().all(|label| label == "01:00:05:00"), "{said:?}");
        assert_eq!(second::packets(&file), second::packets(&trimmed));
    }
}

#[test]
fn the_reel_that_an_older_track_names_is_kept() {
    let shop = Workshop::new();
    let encode = format!("{H264} -timecode 01:00:00:00 -metadata:s:v:0 reel_name=A001C003");
    let clip = shop.make("a.mov", "testsrc=s=64x64:r=25:d=1", &encode);
    let reel = |file| second::values(file, "stream_tags=reel_name");
    assert_eq!(reel(&clip), ["A001C003"]);
    let (file, _) = copy(&shop, &clip, &ten_hours());
    assert_eq!(reel(&file), ["A001C003"]);
    assert_eq!(Movie::read(&file).timecode().count, 900_000);
}

/// XMP in a box of MP4 (XMP specification, part 3) is kept, and a note says that it
/// names another start.
#[test]
fn embedded_xmp_with_a_start_is_kept_and_told() {
    let shop = Workshop::new();
    let clip = shop.make("a.mp4", "testsrc=s=64x64:r=25:d=1", H264);
    let uuid = b"\xBE\x7A\xCF\xCB\x97\xA9\x42\xE8\x9C\x71\x99\x94\x91\xE3\xAF\xAC";
    let bytes = std::fs::read(&clip).unwrap();
    for (text, notes) in [("<xmpDM:scene/>", 0), ("<xmpDM:startTimecode/>", 1)] {
        let mut changed = bytes.clone();
        changed.extend((24 + text.len() as u32).to_be_bytes());
        changed.extend(b"uuid");
        changed.extend(uuid);
        changed.extend(text.as_bytes());
        let clip = shop.path(&format!("{notes}.mp4"));
        std::fs::write(&clip, &changed).unwrap();
        let (file, report) = copy(&shop, &clip, &ten_hours());
        assert_eq!(report.notes.len(), notes, "{:?}", report.notes);
        let copied = std::fs::read(&file).unwrap();
        assert!(
            copied
                .windows(text.len())
                .any(|part| part == text.as_bytes())
        );
    }
}

#[test]
fn tags_that_name_another_start_go_and_others_stay() {
    let shop = Workshop::new();
    let tags = "-metadata timecode=03:03:03:03 -metadata com.maker.lens=35mm -metadata title=Bridge \
                -movflags use_metadata_tags -write_tmcd 0";
    for kind in ["mov", "mp4"] {
        let clip = shop.make(&format!("a.{kind}"), SOURCE, &format!("{H264} {tags}"));
        assert_eq!(
            second::values(&clip, "format_tags=timecode"),
            ["03:03:03:03"]
        );
        let (file, report) = copy(&shop, &clip, &ten_hours());
        assert_eq!(report.replaced, ["tag timecode"]);
        assert!(second::values(&file, "format_tags=timecode").is_empty());
        let others = "format_tags=com.maker.lens,title";
        assert_eq!(second::values(&file, others), second::values(&clip, others));
        assert_eq!(second::values(&file, others).len(), 2);
    }
}

/// A track that counts in base 30 beside pictures of 59.94, as some cameras
/// write it: 581256 in base 30 is 05:23:14;18.
#[test]
fn the_old_label_is_told_by_the_old_tracks_own_base() {
    let shop = Workshop::new();
    let encode = format!("{H264} -timecode 05:23:14;36");
    let clip = shop.make("a.mov", "testsrc=s=64x64:r=60000/1001:d=0.3", &encode);
    let mut bytes = std::fs::read(&clip).unwrap();
    // The third `tmcd` is the sample description, behind reference and handler.
    let count_at = bytes
        .windows(4)
        .position(|part| part == 1_162_512u32.to_be_bytes())
        .unwrap();
    bytes[count_at..count_at + 4].copy_from_slice(&581_256u32.to_be_bytes());
    let entry = bytes
        .windows(13)
        .position(|part| part == [0, 0, 0xEA, 0x60, 0, 0, 3, 0xE9, 60, 0, 0, 0, 0])
        .unwrap();
    bytes[entry + 4..entry + 8].copy_from_slice(&2002u32.to_be_bytes());
    bytes[entry + 8] = 30;
    std::fs::write(&clip, bytes).unwrap();
    let said = second::values(&clip, "stream_tags=timecode");
    assert_eq!(said.first().map(String::as_str), Some("05:23:14;18"));

    let (file, report) = copy(&shop, &clip, &timecode(Rate::F59_94, "05:23:14;36"));
    assert_eq!(report.replaced, ["timecode track 05:23:14;18, base 30"]);
    let found = Movie::read(&file).timecode();
    assert_eq!(
        (found.count, found.base, found.frame_ticks),
        (1_162_512, 60, 1001)
    );
}

/// Drop-frame does not exist at 24, so FFmpeg reads no label from such a track.
/// What is written is the label of the first picture shown, in every package: where tracks begin
/// at different pictures or count at another rate, no one start is right for all.
#[test]
fn mxf_whose_timecode_does_not_count_its_pictures_is_refused_with_the_reason() {
    let shop = Workshop::new();
    let make = |name: &str| {
        shop.make(
            name,
            "testsrc=s=320x240:r=50:d=1",
            "-c:v mpeg2video -b:v 4M -g 12 -timecode 01:00:00:00 -metadata reel_name=A001",
        )
    };
    let start = timecode(Rate::F50, "10:00:00:00");
    let (pairs, part, tape, early) = (make("p.mxf"), make("s.mxf"), make("t.mxf"), make("e.mxf"));
    copy(&shop, &pairs, &start);
    let mut number = 0;
    mxf::edit(&pairs, |_, set, tag, value| match (set, tag) {
        // A track's number comes before its rate; the first is that of timecode.
        (mxf::TRACK, 0x4801) => number = value[3],
        (mxf::TRACK, mxf::EDIT_RATE) if number == 1 => value[..4].copy_from_slice(&[0, 0, 0, 25]),
        (mxf::TIMECODE, mxf::BASE) => value.copy_from_slice(&[0, 25]),
        _ => {}
    });
    mxf::begin_at(&part, 12, 50);
    mxf::edit(&tape, |package, set, tag, value| {
        if (package, set, tag) == (mxf::STORED_PACKAGE, mxf::CLIP, mxf::POSITION) {
            value.copy_from_slice(&180_000i64.to_be_bytes());
        }
    });
    mxf::set_origin(&early, 12);
    for (clip, reason) in [
        (
            pairs,
            "counts 25 frames a second, where its pictures are 50",
        ),
        (part, "begin at different pictures"),
        (tape, "begin at different pictures"),
        (early, "begin before their own zero"),
    ] {
        let target = shop.path("refused.mxf");
        let refusal = media::copy_with_timecode(&clip, &target, &start, &mut Deaf).unwrap_err();
        assert_eq!(refusal.kind(), ErrorKind::BadRequest);
        assert!(refusal.what().contains(reason), "{refusal}");
        assert!(!target.exists());
    }
}

#[test]
fn a_drop_frame_bit_at_24_is_neither_believed_nor_copied() {
    let shop = Workshop::new();
    let clip = shop.make(
        "a.mov",
        "testsrc=s=64x64:r=24:d=0.5",
        &format!("{H264} -timecode 19:36:00:00"),
    );
    let mut bytes = std::fs::read(&clip).unwrap();
    // Reference, handler, header of the media, sample description.
    let entry = (0..8)
        .map(|n| nth(&bytes, b"tmcd", n))
        .find(|at| bytes[at - 8..at - 4] == [0, 0, 0, 0x24])
        .unwrap();
    assert_eq!(bytes[entry + 24], 24);
    bytes[entry + 15] |= 1;
    std::fs::write(&clip, bytes).unwrap();
    assert!(second::values(&clip, "stream_tags=timecode").is_empty());

    let (file, report) = copy(&shop, &clip, &timecode(Rate::F24, "19:36:00:01"));
    assert_eq!(report.replaced, ["timecode track 19:36:00:00, base 24"]);
    let found = Movie::read(&file).timecode();
    assert_eq!((found.count, found.is_drop_frame), (1_693_441, false));
    assert_eq!(
        second::values(&file, "stream_tags=timecode"),
        ["19:36:00:01"; 2]
    );
}
