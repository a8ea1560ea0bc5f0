//! Jumps: after any of them the same frames come as when reading from the head.

use super::clips::{self, Workshop, open, read_all, rest};
use rollmark::frame::{Aim, Footage, Frame, Light, Stride};
use rollmark::timecode::Ratio;
use std::path::PathBuf;

const X264: &str = "-c:v libx264 -bf 2 -g 25 -pix_fmt yuv420p";

/// Those that carry no times of presentation.
const WITHOUT_TIMES: [&str; 3] = ["bare.h264", "reordered.avi", "part2.avi"];

/// Key frames alone, a little less than half a second apart at the closest, so that those of
/// 12 frames come through.
fn key_frames() -> Stride {
    Stride::KeyFrames {
        closest_s: Ratio::new(2, 5),
        widest_s: None,
        is_rough: false,
    }
}

/// Six seconds each, 25 frames per second.
fn kinds(shop: &Workshop) -> Vec<PathBuf> {
    let open_gop = format!("{X264} -x264-params open-gop=1");
    let mut files: Vec<PathBuf> = [
        ("closed.mp4", X264),
        ("open.mp4", &open_gop),
        ("open.ts", &open_gop),
        ("no_edit_list.mov", "-c:v libx264 -bf 3 -g 25 -pix_fmt yuv420p -use_editlist 0"),
        ("one_key_frame.mov", "-c:v libx264 -bf 2 -g 999 -pix_fmt yuv420p"),
        ("closed.mkv", X264),
        ("fragments.mp4", "-c:v libx264 -bf 2 -g 25 -pix_fmt yuv420p -movflags frag_keyframe+empty_moov"),
        ("open_hevc.mp4", "-c:v libx265 -x265-params log-level=none:open-gop=1:keyint=25:min-keyint=25 -pix_fmt yuv420p10le"),
        ("mpeg2.mts", "-c:v mpeg2video -b:v 3M -bf 2 -g 15 -flags +ildct+ilme"),
        ("mpeg2.mxf", "-c:v mpeg2video -b:v 3M -bf 2 -g 15"),
        ("mpeg2.mov", "-c:v mpeg2video -b:v 3M -bf 2 -g 15"),
        ("jpeg.avi", "-c:v mjpeg -q:v 4"),
        ("part2.avi", "-c:v mpeg4 -q:v 4 -bf 2 -g 25"),
        ("prores.mov", "-c:v prores_ks -pix_fmt yuv422p10le"),
        ("bare.h264", X264),
        ("reordered.avi", X264),
    ]
    .iter()
    .map(|(name, encode)| shop.make(name, "testsrc2=s=160x96:r=25:d=6", encode))
    .collect();
    let cut = shop.path("pre_roll.mp4");
    shop.ffmpeg(&format!(
        "-ss 0.6 -i {} -c copy {}",
        files[0].display(),
        cut.display()
    ));
    files.push(cut);
    files
}

fn assert_same(name: &str, got: &[Frame], want: &[Frame]) {
    assert_eq!(got.len(), want.len(), "{name}");
    for (got, want) in got.iter().zip(want) {
        assert_eq!(got.stamp.ticks, want.stamp.ticks, "{name}");
        assert!(
            got.grey == want.grey,
            "{name}: another picture at {:?}",
            got.stamp
        );
        if let Some(index) = got.stamp.index {
            assert_eq!(Some(index), want.stamp.index, "{name}");
        }
    }
}

/// Each of `some` is the frame of `all` that comes at its time.
fn assert_among(name: &str, some: &[Frame], all: &[Frame]) {
    for frame in some {
        let want = all.iter().find(|f| f.stamp.ticks == frame.stamp.ticks);
        let want = want.unwrap_or_else(|| panic!("{name}: {:?}", frame.stamp));
        assert!(frame.grey == want.grey, "{name}: {:?}", frame.stamp);
    }
}

#[test]
fn after_a_jump_the_frames_are_those_of_a_straight_reading() {
    let shop = Workshop::new();
    for file in kinds(&shop) {
        let name = file.file_name().unwrap().to_string_lossy().into_owned();
        let all = read_all(&file);
        let mut clip = open(&file);
        // On a frame, just before one, just behind one, near both ends, there and back.
        for (num, den) in [
            (1, 1),
            (4, 1),
            (99_999, 25_000),
            (100_001, 25_000),
            (1, 50),
            (53, 10),
            (7, 3),
            (100, 1),
            (0, 1),
        ] {
            let aim_s = Ratio::new(num, den);
            let landing = clip.seek(Aim::At(aim_s)).unwrap();
            assert_eq!(landing.asked_s, aim_s, "{name}");
            let last = all
                .iter()
                .rposition(|f| f.stamp.seconds() <= aim_s)
                .expect("frame 0");
            let got = landing.got.expect("a frame");
            assert_eq!(got.ticks, all[last].stamp.ticks, "{name}, {aim_s} s");
            let must_read_on =
                name == "one_key_frame.mov" || WITHOUT_TIMES.contains(&name.as_str());
            if aim_s == Ratio::from_integer(4) && !must_read_on {
                // Not counted up from the head.
                assert_eq!(got.index, None, "{name}");
            }
            let mut some = Vec::new();
            while some.len() < 30
                && let Some(stamp) = clip.advance().unwrap()
            {
                if some.is_empty() {
                    assert_eq!(stamp, got, "{name}");
                }
                some.push(clip.picture(Light::Luma).unwrap());
            }
            let until = (last + 30).min(all.len());
            assert_same(&name, &some, &all[last..until]);
        }
        let head = clip.seek(Aim::Head).unwrap().got.expect("frame 0");
        assert_eq!((head.ticks, head.index), (0, Some(0)), "{name}");
        let again = rest(&mut clip);
        assert!(again.iter().all(|f| f.stamp.index.is_some()), "{name}");
        assert_same(&name, &again, &all);
        assert_eq!(clip.facts().frames, Some(all.len() as u64), "{name}");
    }
}

#[test]
fn the_tail_is_as_long_as_asked() {
    let shop = Workshop::new();
    for file in kinds(&shop) {
        let name = file.file_name().unwrap().to_string_lossy().into_owned();
        let all = read_all(&file);
        let last = all.last().expect("frames").stamp;
        let end_s = last.seconds() + Ratio::new(1, 25);
        let mut clip = open(&file);
        let landing = clip.seek(Aim::Tail { seconds: 2 }).unwrap();
        // Lengths of transport streams are estimates; Matroska's are in milliseconds.
        let off = (landing.asked_s - (end_s - Ratio::from_integer(2))).abs();
        assert!(off <= Ratio::new(4, 25), "{name}: {}", landing.asked_s);
        let tail = rest(&mut clip);
        let start = all.len() - tail.len();
        assert_same(&name, &tail, &all[start..]);
        assert!((49..=55).contains(&tail.len()), "{name}: {}", tail.len());
        // Longer than the clip: all of it.
        assert_eq!(
            clip.seek(Aim::Tail { seconds: 60 })
                .unwrap()
                .got
                .map(|s| s.ticks),
            Some(0)
        );
    }
}

#[test]
fn key_frames_alone_are_the_key_frames() {
    let shop = Workshop::new();
    for file in kinds(&shop) {
        let name = file.file_name().unwrap().to_string_lossy().into_owned();
        let all = read_all(&file);
        let mut clip = open(&file);
        clip.set_stride(key_frames());
        let keys = rest(&mut clip);
        assert_among(&name, &keys, &all);
        let ticks: Vec<i64> = keys.iter().map(|f| f.stamp.ticks).collect();
        assert_eq!(ticks.first(), Some(&0), "{name}");
        if name.starts_with("jpeg") || name.starts_with("prores") {
            // Every frame is one: two or three a second are enough.
            assert!((12..=18).contains(&ticks.len()), "{name}: {ticks:?}");
        } else if !WITHOUT_TIMES.contains(&name.as_str()) {
            let mut want = clips::ffprobe_key_ticks(&file);
            // Frame 0 comes whatever it is.
            want.retain(|ticks| *ticks > 0);
            assert_eq!(ticks[1..], want, "{name}");
        }
    }
}

/// There and back between the two ways of reading, without losing the place.
#[test]
fn changing_the_way_of_reading_keeps_the_place() {
    let shop = Workshop::new();
    for file in kinds(&shop) {
        let name = file.file_name().unwrap().to_string_lossy().into_owned();
        let all = read_all(&file);
        let mut clip = open(&file);
        for _ in 0..7 {
            clip.advance().unwrap();
        }
        clip.set_stride(key_frames());
        let key = clip.advance().unwrap();
        if name == "one_key_frame.mov" {
            assert_eq!(key, None);
            continue;
        }
        let key = key.unwrap_or_else(|| panic!("{name}: a key frame behind frame 6"));
        assert!(key.ticks > all[6].stamp.ticks, "{name}");
        clip.set_stride(Stride::EveryFrame);
        let at = all
            .iter()
            .position(|f| f.stamp.ticks == key.ticks)
            .expect("a frame");
        assert_same(&name, &rest(&mut clip), &all[at + 1..]);

        // A landing that was announced is kept.
        let landing = clip
            .seek(Aim::At(Ratio::new(33, 10)))
            .unwrap()
            .got
            .expect("a frame");
        clip.set_stride(key_frames());
        assert_eq!(
            clip.advance().unwrap().map(|s| s.ticks),
            Some(landing.ticks),
            "{name}"
        );
        clip.set_stride(Stride::EveryFrame);
        let at = all
            .iter()
            .position(|f| f.stamp.ticks == landing.ticks)
            .expect("a frame");
        assert_same(&name, &rest(&mut clip), &all[at + 1..]);
    }
}

/// Frames ahead of one that was read are the same as a straight reading shows, as far ahead as was
/// asked for and not much further, to the end of the clip; a jump back finds what comes behind it.
#[test]
fn a_glance_ahead_shows_the_same_frames_and_leads_back() {
    let shop = Workshop::new();
    let (closest_s, widest_s) = (Ratio::new(1, 2), Ratio::new(6, 5));
    let glance = Stride::Ahead {
        closest_s,
        widest_s,
    };
    for file in kinds(&shop) {
        let name = file.file_name().unwrap().to_string_lossy().into_owned();
        let all = read_all(&file);
        let mut clip = open(&file);
        let mut next = 0;
        for read in [7, 33, all.len() - 20] {
            while next < read {
                clip.advance().unwrap();
                next += 1;
            }
            clip.set_stride(glance);
            let mut last_s = all[read - 1].stamp.seconds();
            for _ in 0..2 {
                let Some(stamp) = clip.advance().unwrap() else {
                    let end_s = all[all.len() - 1].stamp.seconds();
                    assert!(end_s - last_s < closest_s, "{name}, {read} frames read");
                    break;
                };
                let ahead = clip.picture(Light::Luma).unwrap();
                let want = all.iter().find(|f| f.stamp.ticks == stamp.ticks);
                let want = want.unwrap_or_else(|| panic!("{name}: {stamp:?}"));
                assert!(ahead.grey == want.grey, "{name}: {stamp:?}");
                let by_s = stamp.seconds() - std::mem::replace(&mut last_s, stamp.seconds());
                // To the tick, which is a whole frame in some containers.
                assert!(by_s + stamp.tick_seconds > closest_s, "{name}: {by_s}");
                assert!(by_s < widest_s + Ratio::new(4, 25), "{name}: {by_s}");
            }
            clip.set_stride(Stride::EveryFrame);
            clip.seek(Aim::At(all[read - 1].stamp.seconds())).unwrap();
            let again = clip.advance().unwrap().map(|s| s.ticks);
            assert_eq!(again, Some(all[read - 1].stamp.ticks), "{name}");
        }
        assert_same(&name, &rest(&mut clip), &all[next..]);
    }
}

/// Rough pictures come at the same times, differ only a little, and leave nothing behind for
/// those that are read afterwards.
#[test]
fn rough_key_frames_differ_a_little_and_leave_nothing_behind() {
    let shop = Workshop::new();
    let mut differing = 0;
    for file in kinds(&shop) {
        let name = file.file_name().unwrap().to_string_lossy().into_owned();
        let all = read_all(&file);
        let mut clip = open(&file);
        clip.set_stride(key_frames());
        let fine = rest(&mut clip);
        clip.set_stride(Stride::EveryFrame);
        let from = clip.seek(Aim::At(Ratio::new(1, 1))).unwrap().got;
        let first = from.map_or(0, |stamp| stamp.ticks);
        clip.set_stride(Stride::KeyFrames {
            closest_s: Ratio::new(2, 5),
            widest_s: None,
            is_rough: true,
        });
        for rough in rest(&mut clip) {
            let at = |f: &&Frame| f.stamp.ticks == rough.stamp.ticks;
            let same = fine.iter().chain(&all).find(at);
            let same = same.unwrap_or_else(|| panic!("{name}: {:?}", rough.stamp));
            let off = |(a, b): (&u8, &u8)| u64::from(a.abs_diff(*b));
            let off: u64 = rough.grey.iter().zip(same.grey.iter()).map(off).sum();
            assert!(off < 4 * same.grey.len() as u64, "{name}: {off}");
            differing += usize::from(off > 0);
        }
        clip.set_stride(Stride::EveryFrame);
        clip.seek(Aim::At(Ratio::new(1, 1))).unwrap();
        let at = all.iter().position(|f| f.stamp.ticks == first).unwrap();
        assert_same(&name, &rest(&mut clip), &all[at..]);
    }
    assert!(differing > 10, "the filter was left out");
}

/// Where key frames are rare, frames between them come as well, the same as a straight
/// reading shows, and none is further from the one before than was asked for.
#[test]
fn rare_key_frames_are_filled_up() {
    let shop = Workshop::new();
    for file in kinds(&shop) {
        let name = file.file_name().unwrap().to_string_lossy().into_owned();
        let all = read_all(&file);
        let (closest_s, widest_s) = (Ratio::new(3, 10), Ratio::new(3, 5));
        let mut clip = open(&file);
        clip.set_stride(Stride::KeyFrames {
            closest_s,
            widest_s: Some(widest_s),
            is_rough: false,
        });
        let some = rest(&mut clip);
        assert_among(&name, &some, &all);
        // Pictures are read in another order than shown: four of them more.
        let slack_s = Ratio::new(4, 25);
        let mut times: Vec<Ratio> = some.iter().map(|f| f.stamp.seconds()).collect();
        times.extend(all.last().map(|f| f.stamp.seconds()));
        assert_eq!(times[0], Ratio::ZERO, "{name}");
        for pair in times.windows(2) {
            let apart_s = pair[1] - pair[0];
            assert!(
                apart_s <= widest_s + slack_s,
                "{name}: {apart_s} at {}",
                pair[0]
            );
        }
        for pair in times[..times.len() - 1].windows(2) {
            // To the tick, which is a whole frame in some containers.
            let apart_s = pair[1] - pair[0] + some[0].stamp.tick_seconds;
            assert!(apart_s > closest_s, "{name}: at {}", pair[0]);
        }
    }
}

/// A frame that was read one by one counts, too: the next key frame lies as far from it as those lie
/// from each other.
#[test]
fn key_frames_keep_their_distance_from_the_frame_before_them() {
    let shop = Workshop::new();
    for file in kinds(&shop) {
        let name = file.file_name().unwrap().to_string_lossy().into_owned();
        let all = read_all(&file);
        let closest_s = Ratio::new(3, 10);
        for (widest_s, read) in [None, Some(Ratio::new(3, 5))]
            .into_iter()
            .flat_map(|widest_s| [1, 7, 33].map(|read| (widest_s, read)))
        {
            let mut clip = open(&file);
            for _ in 0..read {
                clip.advance().unwrap();
            }
            clip.set_stride(Stride::KeyFrames {
                closest_s,
                widest_s,
                is_rough: false,
            });
            let some = rest(&mut clip);
            assert_among(&name, &some, &all);
            if name == "one_key_frame.mov" && widest_s.is_none() {
                assert!(some.is_empty(), "{name}, {read} frames read");
                continue;
            }
            let apart_s = some[0].stamp.seconds() - all[read - 1].stamp.seconds();
            // To the tick, which is a whole frame in some containers.
            let apart_s = apart_s + some[0].stamp.tick_seconds;
            assert!(apart_s > closest_s, "{name}, {read} frames read: {apart_s}");
        }
    }
}

/// A jump that ends on a key frame gives it once: twice, it looked like a time that runs backwards.
#[test]
fn key_frames_behind_a_jump_come_once_and_no_time_is_repaired() {
    let shop = Workshop::new();
    for file in kinds(&shop) {
        let name = file.file_name().unwrap().to_string_lossy().into_owned();
        let all = read_all(&file);
        for widest_s in [None, Some(Ratio::new(3, 5))] {
            let mut clip = open(&file);
            clip.set_stride(Stride::KeyFrames {
                closest_s: Ratio::new(3, 10),
                widest_s,
                is_rough: false,
            });
            clip.seek(Aim::At(Ratio::from_integer(3))).unwrap();
            let some = rest(&mut clip);
            assert!(!some.is_empty() || name == "one_key_frame.mov", "{name}");
            assert_among(&name, &some, &all);
            let notes = &clip.facts().notes;
            let is_repaired = notes.iter().any(|note| note.code == "stamps_repaired");
            let has_none = WITHOUT_TIMES.contains(&name.as_str());
            assert_eq!(is_repaired, has_none, "{name}: {notes:?}");
        }
    }
}

/// Key frames half a second apart and so large that they are jumped to: none that is far enough from
/// the one before is passed over, though it is decoded before it is presented.
#[test]
fn large_key_frames_are_jumped_to_and_none_is_passed_over() {
    let shop = Workshop::new();
    let noise = "testsrc2=s=640x360:r=25:d=4,noise=alls=60:allf=t";
    let file = shop.make(
        "large.mp4",
        noise,
        "-c:v libx264 -preset veryfast -bf 2 -g 12 -qp 8 -sc_threshold 0 -pix_fmt yuv420p",
    );
    assert!(std::fs::metadata(&file).unwrap().len() > 8 << 20);
    let mut clip = open(&file);
    clip.set_stride(Stride::KeyFrames {
        closest_s: Ratio::new(9, 20),
        widest_s: None,
        is_rough: false,
    });
    let some: Vec<i64> = rest(&mut clip).iter().map(|f| f.stamp.ticks).collect();
    assert_eq!(some, clips::ffprobe_key_ticks(&file));
}
