//! Nothing of the user's is damaged, and nothing half-made is left.

use super::boxes::Movie;
use super::clips::Workshop;
use super::{H264, SOURCE, copied, copy, movie, ten_hours, timecode};
use rollmark::error::ErrorKind;
use rollmark::frame::Footage;
use rollmark::media;
use rollmark::progress::{Deaf, Event, Listener, Wish};
use rollmark::timecode::Rate;
use std::path::Path;

fn refusal(source: &Path, target: &Path) -> rollmark::error::Error {
    media::copy_with_timecode(source, target, &ten_hours(), &mut Deaf).unwrap_err()
}

fn names(folder: &Path) -> Vec<String> {
    let entries = std::fs::read_dir(folder).unwrap();
    let mut names: Vec<_> = entries
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

#[test]
fn what_others_wrote_is_kept() {
    let shop = Workshop::new();
    let clip = shop.make("a.mov", SOURCE, H264);
    let other = shop.make("b.mov", "testsrc2=s=64x64:r=25:d=1", H264);
    let bytes = std::fs::read(&other).unwrap();
    let error = refusal(&clip, &other);
    assert_eq!(error.kind(), ErrorKind::WouldReplace);
    assert!(
        error.what().contains("not a copy that Rollmark made"),
        "{error}"
    );
    assert_eq!(std::fs::read(&other).unwrap(), bytes);
    // Nor is a clip replaced by its own copy.
    let bytes = std::fs::read(&clip).unwrap();
    let link = shop.path("link");
    std::os::unix::fs::symlink(clip.parent().unwrap(), &link).unwrap();
    for itself in [clip.clone(), link.join("a.mov")] {
        let error = refusal(&clip, &itself);
        assert_eq!(error.kind(), ErrorKind::WouldReplace);
        assert!(error.what().contains("the clip itself"), "{error}");
        assert_eq!(error.advice(), Some("choose another output folder"));
    }
    std::fs::remove_file(link).unwrap();
    assert_eq!(std::fs::read(&clip).unwrap(), bytes);
    assert_eq!(names(clip.parent().unwrap()), ["a.mov", "b.mov"]);
}

#[test]
fn an_older_copy_of_the_same_clip_is_replaced_and_of_another_kept() {
    let shop = Workshop::new();
    let clip = shop.make("a.mov", SOURCE, H264);
    let (file, _) = copy(&shop, &clip, &ten_hours());
    let (file_again, report) = copy(&shop, &clip, &timecode(Rate::F25, "11:00:00:00"));
    assert_eq!(file, file_again);
    assert_eq!(Movie::read(&file).timecode().count, 990_000);
    assert!(report.replaced.is_empty(), "the source has no timecode");
    let other = shop.make("b.mov", "testsrc2=s=64x64:r=25:d=1", H264);
    let error = refusal(&other, &file);
    assert_eq!(error.kind(), ErrorKind::WouldReplace);
    assert!(error.what().contains("a.mov"), "{error}");
    assert_eq!(Movie::read(&file).timecode().count, 990_000);
}

/// A copy of a copy is a copy of its own, with one track again.
#[test]
fn a_copy_can_be_copied() {
    let shop = Workshop::new();
    let clip = shop.make("a.mp4", SOURCE, H264);
    let first = shop.path("first.mp4");
    copied(&clip, &first, &ten_hours());
    let second = shop.path("second.mp4");
    let report = copied(&first, &second, &timecode(Rate::F25, "12:00:00:00"));
    assert_eq!(report.replaced, ["timecode track 10:00:00:00, base 25"]);
    assert_eq!(Movie::read(&second).timecode().count, 1_080_000);
}

#[test]
fn the_same_clip_gives_the_same_bytes() {
    let shop = Workshop::new();
    for (name, encode) in [
        ("a.mov", ""),
        ("b.mp4", "-timecode 01:00:00:00"),
        ("c.mkv", ""),
    ] {
        let clip = shop.make(name, SOURCE, &format!("{H264} {encode}"));
        let made: Vec<_> = ["one", "two"]
            .iter()
            .map(|folder| {
                let target = shop.path(folder).join(media::copied_name(&clip).unwrap());
                copied(&clip, &target, &ten_hours());
                // File times are whole seconds: a stamp of now would show.
                std::thread::sleep(std::time::Duration::from_millis(1100));
                std::fs::read(target).unwrap()
            })
            .collect();
        assert!(made[0] == made[1], "{name}");
    }
}

#[test]
fn a_clip_that_was_cut_off_is_not_made_to_look_whole() {
    let shop = Workshop::new();
    let first = shop.make("first.mp4", SOURCE, &format!("{H264} -movflags faststart"));
    let last = shop.make("last.mp4", SOURCE, H264);
    let folder = shop.path("copies");
    for (whole, kind) in [
        (&first, ErrorKind::Undecodable),
        (&last, ErrorKind::NoIndex),
    ] {
        let cut = shop.path("cut.mp4");
        movie::cut(whole, &cut, 70);
        let error = refusal(&cut, &folder.join("cut.mp4"));
        assert_eq!(error.kind(), kind, "{error}");
        assert!(error.what().contains("cut off"), "{error}");
        assert!(error.advice().unwrap().contains("card"), "{error}");
    }
    assert!(!folder.exists() || names(&folder).is_empty());
}

/// Some makers keep data of their own behind the last box. It is no box that is cut off.
#[test]
fn what_a_maker_wrote_behind_the_last_box_is_named_and_no_damage() {
    let shop = Workshop::new();
    for behind in [&b"GPMFwords of the maker"[..], &[0x80; 22]] {
        let clip = shop.make("a.mp4", SOURCE, H264);
        let whole = [&std::fs::read(&clip).unwrap()[..], behind].concat();
        std::fs::write(&clip, whole).unwrap();
        let notes = media::open(&clip).unwrap().facts().notes.clone();
        assert!(notes.iter().all(|n| n.code != "truncated"), "{notes:?}");
        let (_, report) = copy(&shop, &clip, &ten_hours());
        assert_eq!(report.not_carried, ["22 bytes behind the last box"]);
        std::fs::remove_dir_all(shop.path("copies")).unwrap();
    }
}

#[test]
fn a_listener_that_says_stop_leaves_nothing_behind() {
    let shop = Workshop::new();
    for name in ["a.mov", "a.mkv"] {
        let clip = shop.make(name, SOURCE, H264);
        let target = shop.path("copies").join(media::copied_name(&clip).unwrap());
        let copy = |listener: &mut dyn Listener| {
            media::copy_with_timecode(&clip, &target, &ten_hours(), listener).unwrap()
        };
        let mut heard = Vec::new();
        let mut note = |event: Event| {
            heard.push(event);
            Wish::GoOn
        };
        assert!(copy(&mut note).is_some());
        std::fs::remove_file(&target).unwrap();
        assert!(heard.len() > 1, "{name}: it could not be stopped");
        // The last one is told when all is done.
        for allowed in 0..heard.len() - 1 {
            let mut told = 0;
            let mut listener = |_: Event| {
                told += 1;
                if told > allowed {
                    Wish::Stop
                } else {
                    Wish::GoOn
                }
            };
            assert!(copy(&mut listener).is_none(), "{name} after {allowed}");
            let left = names(target.parent().unwrap());
            assert!(left.is_empty(), "{name} after {allowed}: {left:?}");
        }
        for event in heard {
            let Event::Copying {
                done_bytes,
                total_bytes,
            } = event
            else {
                panic!("{event:?}");
            };
            assert!(done_bytes <= total_bytes && total_bytes > 0);
        }
    }
}

#[test]
fn containers_keep_their_kind() {
    let shop = Workshop::new();
    let clip = shop.make("a.MOV", SOURCE, H264);
    assert_eq!(media::copied_name(&clip).unwrap(), Path::new("a.MOV"));
    let error = refusal(&clip, &shop.path("copy.mp4"));
    assert_eq!(error.kind(), ErrorKind::BadRequest);
    assert!(error.to_string().contains("MOV"), "{error}");
    let film = shop.make("b.mts", SOURCE, H264);
    assert_eq!(media::copied_name(&film).unwrap(), Path::new("b.mts.mov"));
    // A transport stream that calls itself a movie keeps its name.
    let misnamed = shop.path("c.MOV");
    std::fs::copy(&film, &misnamed).unwrap();
    assert_eq!(media::copied_name(&misnamed).unwrap(), Path::new("c.MOV"));
}

/// Memory that is no file's, of this process and the tests beside, bytes (proc_pid_status(5)).
#[cfg(target_os = "linux")]
fn held_bytes() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find_map(|l| l.strip_prefix("RssAnon:"));
    let kb = line.and_then(|l| l.split_whitespace().next());
    kb.unwrap().parse::<u64>().unwrap() << 10
}

#[cfg(target_os = "linux")]
#[test]
fn nothing_of_a_copied_clip_stays_in_memory() {
    let shop = Workshop::new();
    // Raw pictures: 80 MB, of which the clips of the tests beside are a hundredth.
    let source = "color=gray:s=640x360:r=25:d=7";
    let clip = shop.make("a.mov", source, "-c:v rawvideo -pix_fmt uyvy422");
    let size_bytes = clip.metadata().unwrap().len();
    assert!(size_bytes > 80_000_000);
    let before = held_bytes();
    copy(&shop, &clip, &ten_hours());
    let kept = held_bytes().saturating_sub(before);
    assert!(
        kept < size_bytes / 2,
        "{kept} of {size_bytes} bytes are kept"
    );
}
