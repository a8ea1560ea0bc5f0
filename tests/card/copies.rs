//! Copies of a whole card: what they are called, and what is told of them.

use crate::common::{H264, Shelf};
use crate::{clip, run};
use assert_cmd::Command;
use std::fs;

/// The start that a copy in the output folder carries.
fn start_of(shelf: &Shelf, copy: &str) -> Vec<String> {
    shelf.probe(&format!("out/{copy}"), "stream_tags=timecode")
}

/// Two recordings of one name that differ in their ending alone.
fn namesakes(shelf: &Shelf) {
    clip(shelf, "A001.mkv", "11:00:00:00", H264);
    clip(shelf, "A001.mov", "10:00:00:00", H264);
}

#[test]
fn a_copy_in_another_container_never_takes_the_name_of_another_clip() {
    let shelf = Shelf::new();
    namesakes(&shelf);
    clip(&shelf, "A001.ts", "12:00:00:00", H264);
    let said = run(&shelf, &["--write", "copy"], 0);
    assert!(!said.contains("not replaced"), "{said}");
    for (copy, label) in [
        ("A001.mov", "10:00:00:00"),
        ("A001.mkv.mov", "11:00:00:00"),
        ("A001.ts.mov", "12:00:00:00"),
    ] {
        assert_eq!(start_of(&shelf, copy), [label], "{copy}");
    }
    // Again, nothing is in the way.
    run(&shelf, &["--write", "copy"], 0);
}

/// One at a time, the first run cannot know of the second clip.
#[test]
fn nor_does_it_over_several_runs() {
    let shelf = Shelf::new();
    namesakes(&shelf);
    for name in ["A001.mkv", "A001.mov", "A001.mkv"] {
        let mut command = Command::cargo_bin("rollmark").unwrap();
        let command = command.arg("read").arg(shelf.path("card").join(name));
        let command = command.arg("--out").arg(shelf.path("out"));
        command.args(["--write", "copy"]).assert().success();
    }
    assert_eq!(start_of(&shelf, "A001.mov"), ["10:00:00:00"]);
    assert_eq!(start_of(&shelf, "A001.mkv.mov"), ["11:00:00:00"]);
}

/// Somebody may have called a clip as a copy would be called.
#[test]
fn a_clip_that_is_called_like_a_copy_keeps_its_name() {
    let shelf = Shelf::new();
    namesakes(&shelf);
    let other = shelf.path("card/A001.mkv.mov");
    fs::rename(shelf.path("card/A001.mov"), &other).unwrap();
    run(&shelf, &["--write", "copy"], 0);
    assert_eq!(start_of(&shelf, "A001.mkv.mov"), ["10:00:00:00"]);
    assert_eq!(start_of(&shelf, "A001.mkv.mov.mov"), ["11:00:00:00"]);

    // And if it was there in an earlier run alone.
    fs::remove_dir_all(shelf.path("out")).unwrap();
    let aside = shelf.path("A001.mkv");
    fs::rename(shelf.path("card/A001.mkv"), &aside).unwrap();
    run(&shelf, &[], 0);
    fs::rename(&aside, shelf.path("card/A001.mkv")).unwrap();
    fs::rename(&other, shelf.path("aside.mov")).unwrap();
    run(&shelf, &["--write", "copy"], 0);
    assert_eq!(start_of(&shelf, "A001.mkv.mov.mov"), ["11:00:00:00"]);
    run(&shelf, &["--write", "copy"], 0);
    assert!(!shelf.path("out/A001.mkv.mov").exists());
}

/// As versions left it that put the new ending in place of the old one.
#[test]
fn a_copy_of_an_earlier_version_is_named_once_there_is_another() {
    let shelf = Shelf::new();
    clip(&shelf, "A001.mkv", "11:00:00:00", H264);
    run(&shelf, &["--write", "copy"], 0);
    let old = shelf.path("out/A001.mov");
    fs::rename(shelf.path("out/A001.mkv.mov"), &old).unwrap();
    let list = shelf.path("out/.rollmark/written");
    let lines = fs::read_to_string(&list).unwrap();
    assert!(lines.contains("\"A001.mkv.mov\""), "{lines}");
    fs::write(&list, lines.replace("\"A001.mkv.mov\"", "\"A001.mov\"")).unwrap();

    let said = run(&shelf, &["--write", "copy"], 1);
    let told = "A001.mov is of an earlier run, with 11:00:00:00 at 25; the clip's copy has \
                another name now: delete it\n";
    assert!(said.contains(told), "{said}");
    assert_eq!(start_of(&shelf, "A001.mkv.mov"), ["11:00:00:00"]);
    // It stands in the way of the clip whose name it has, and whose it is is told.
    clip(&shelf, "A001.mov", "10:00:00:00", H264);
    let said = run(&shelf, &["--write", "copy"], 2);
    let kept = "this file holds the start of another clip";
    let line = said.lines().find(|line| line.contains(kept));
    assert!(line.is_some_and(|l| l.contains("A001.mkv")), "{said}");
    fs::remove_file(&old).unwrap();
    run(&shelf, &["--write", "copy"], 0);
    assert_eq!(start_of(&shelf, "A001.mov"), ["10:00:00:00"]);
}
