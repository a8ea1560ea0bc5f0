//! Chapters, and files that are broken.

use super::TEN;
use crate::common::program::{read, read_all};
use crate::common::{BurnedIn, H264, Paper, Shelf, movie};
use std::path::{Path, PathBuf};

/// Four chapters whose files all claim the first one's start.
#[test]
fn chapters_start_where_their_own_clock_says() {
    let shelf = Shelf::new();
    let chapters = [
        ("GX010042.mp4", "10:00:00:00"),
        ("GX020042.mp4", "10:00:02:00"),
        // Three frames were lost here.
        ("GX030042.mp4", "10:00:04:03"),
        ("GX010043.mp4", "11:00:00:00"),
    ];
    let claims = "-timecode 10:00:00:00 -metadata creation_time=2021-05-28T12:40:43Z";
    let clips = chapters.map(|(name, label)| {
        let clock = BurnedIn::new(label, "25").seconds("2");
        shelf.clip(name, &clock, &format!("{H264} {claims}"))
    });
    let paths = clips.each_ref().map(PathBuf::as_path);
    for (said, (name, label)) in read_all(&paths).iter().zip(chapters) {
        said.must_be_sure_of(label);
        assert_eq!(shelf.probe(name, "frame=pts").len(), 50);
        assert_eq!(said.json["clip"]["rate"], "25/1", "{}", said.all());
    }
}

#[test]
fn a_broken_file_is_a_result_and_stops_nothing() {
    let shelf = Shelf::new();
    let clock = BurnedIn::new(TEN, "25");
    let last = shelf.clip("last.mp4", &clock, &format!("{H264} -bf 2 -g 12"));
    let no_index = shelf.path("no_index.mp4");
    movie::cut(&last, &no_index, 70);
    let empty = shelf.path("empty.mp4");
    std::fs::write(&empty, "").unwrap();
    let text = shelf.path("notes.MOV");
    std::fs::write(&text, "Scene 4, take 2: boom in shot.\n").unwrap();
    let folder = shelf.path("X.MP4");
    std::fs::create_dir(&folder).unwrap();
    let missing = shelf.path("gone.mp4");

    let paths: [&Path; 6] = [&no_index, &empty, &text, &folder, &missing, &last];
    let said = read_all(&paths);
    said[0].must_fail_with("no_index");
    said[1].must_fail_with("empty_file");
    said[2].must_fail_with("not_video");
    said[3].must_fail_with("is_folder");
    said[4].must_fail_with("cannot_open");
    said[5].must_start_at(TEN);
    assert_eq!(said[5].verdict(), "sure");
    // The clip that was read has no sound at all, which is nothing to mention.
    assert_eq!(said[5].json["clip"]["has_audio"], false);
    let remarks = said[5].json["notes"].to_string();
    assert!(
        !remarks.contains("sound") && !remarks.contains("audio"),
        "{remarks}"
    );
}

#[test]
fn truncated_files_are_read_from_the_frames_they_have_and_say_so() {
    let shelf = Shelf::new();
    // Noise beside the digits, so that the bytes spread over the frames.
    let clock = BurnedIn::new(TEN, "25").colours("white", Paper::Busy);
    let coding = format!("{H264} -g 12 -movflags +faststart");
    let whole = shelf.clip("whole.mp4", &clock, &coding);
    let cut = shelf.path("cut.mp4");
    movie::cut(&whole, &cut, 70);
    let left = shelf.probe("cut.mp4", "frame=pts").len();
    assert!((20..70).contains(&left), "{left} frames are left of 75");
    let said = read(&cut);
    said.must_be_sure_of(TEN);
    assert!(said.codes().contains(&"truncated"), "{}", said.all());
}

#[test]
fn fragmented_files_are_read_up_to_the_cut() {
    let shelf = Shelf::new();
    let clock = BurnedIn::new(TEN, "25").colours("white", Paper::Busy);
    let coding = format!("{H264} -g 12 -movflags frag_keyframe+empty_moov");
    let whole = shelf.clip("whole.mp4", &clock, &coding);
    let cut = shelf.path("cut.mp4");
    for percent in [90, 80, 60] {
        movie::cut(&whole, &cut, percent);
        let left = shelf.probe("cut.mp4", "frame=pts").len();
        assert!((24..75).contains(&left), "{left} frames are left of 75");
        read(&cut).must_start_at(TEN);
    }
}

/// Recordings put end to end, as the parts of a long AVCHD take may be: the clock is seen near the
/// end, to which one jumps, and once behind twice the length that the file tells.
#[test]
fn a_clock_behind_a_joint_is_found_and_never_sure() {
    let shelf = Shelf::new();
    let part = |name: &str, seconds: &'static str, shown: &'static str| {
        let clock = BurnedIn::new(TEN, "25").seconds(seconds).then(shown);
        std::fs::read(shelf.clip(name, &clock, &format!("{H264} -g 25"))).unwrap()
    };
    let hidden = ",drawbox=t=fill:c=gray";
    for (name, first, second, shown) in [
        (
            "tail.mts",
            "22",
            "50",
            ",drawbox=t=fill:c=gray:enable='not(between(t,42,45))'",
        ),
        (
            "tail.mkv",
            "22",
            "50",
            ",drawbox=t=fill:c=gray:enable='not(between(t,42,45))'",
        ),
        (
            "short.mts",
            "40",
            "11",
            ",drawbox=t=fill:c=gray:enable='not(between(t,4,7))'",
        ),
    ] {
        let ending = name.split('.').next_back().unwrap();
        let first = part(&format!("first.{ending}"), first, hidden);
        let second = part(&format!("second.{ending}"), second, shown);
        let both = shelf.path(name);
        std::fs::write(&both, [first, second].concat()).unwrap();
        let said = read(&both);
        assert_eq!(said.verdict(), "unsure", "{name}: {}", said.all());
        assert!(
            said.codes().contains(&"times_wrong"),
            "{name}: {}",
            said.all()
        );
        let alone = shelf.path(&format!("second.{ending}"));
        read(&alone).must_be_sure_of(TEN);
    }
}
