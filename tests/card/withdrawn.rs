//! Files of earlier runs that say what no longer holds.

use super::*;

/// Lines of the corrections file of one clip.
fn correct(shelf: &Shelf, name: &str, what: &str) -> String {
    let file = shelf.path("corrections.toml");
    fs::write(&file, format!("[[clip]]\nname = \"{name}\"\n{what}\n")).unwrap();
    file.to_str().unwrap().to_owned()
}

#[test]
fn what_was_handed_over_and_no_longer_holds_is_removed_or_told() {
    withdraws_in("");
}

#[test]
fn so_it_is_in_a_folder_of_any_name() {
    withdraws_in("Müller's/");
}

/// `folder` is empty, or ends with a slash.
fn withdraws_in(folder: &str) {
    let shelf = Shelf::new();
    let name = |file: &str| format!("{folder}{file}");
    clip(&shelf, &name("A001.mov"), "10:00:00:00", H264);
    clip(&shelf, &name("A002.mov"), "10:05:00:00", H264);
    let list = "xmp,otio,csv,copy,preview";
    run(&shelf, &["--write", list], 0);
    let file = correct(&shelf, &name("A001.mov"), "reject = true");
    let rejected = ["--corrections", &file];
    let is_there = |file: &str| shelf.path("out").join(name(file)).exists();

    // Of files that were not asked for this time, nothing is touched, and each is named.
    let said = run(&shelf, &rejected, 1);
    for file in ["A001.xmp", "A001.mov", "A001.mov.preview.mp4"] {
        let told = format!(
            "out/{} is of an earlier run, with 10:00:00:00 at 25; ",
            name(file)
        );
        assert!(said.contains(&told), "{file}: {said}");
        assert!(is_there(file), "{file}");
    }
    assert!(
        said.contains("timeline.otio is of an earlier run"),
        "{said}"
    );
    assert!(said.contains("clips.csv is of an earlier run"), "{said}");
    assert!(!said.contains(&format!("out/{}", name("A002"))), "{said}");
    let card = json(shelf.path("out/card.json"));
    let notes = card["notes"].as_array().unwrap();
    assert!(
        notes.iter().any(|note| note["code"] == "withdrawn"),
        "{card:#}"
    );
    let page = fs::read_to_string(shelf.path("out/report.html")).unwrap();
    assert!(page.contains("5 files of earlier runs say what no longer holds"));

    // Asked for, they go; footage stays, and is named until somebody deletes it.
    let asked = [&rejected[..], &["--write", list]].concat();
    let said = run(&shelf, &asked, 1);
    assert!(
        said.contains(&format!(
            "out/{} was of an earlier run, with 10:00:00:00",
            name("A001.xmp")
        )),
        "{said}"
    );
    assert!(said.contains("any more: it was removed"), "{said}");
    assert!(
        !is_there("A001.xmp") && !is_there("A001.mov.preview.mp4"),
        "{said}"
    );
    assert!(is_there("A001.mov") && is_there("A002.xmp") && is_there("A002.mov"));
    assert!(
        said.contains("A001.mov is of an earlier run, with 10:00:00:00 at 25; the clip has no start any more: delete it\n"),
        "{said}"
    );
    fs::remove_file(shelf.path("out").join(name("A001.mov"))).unwrap();
    let said = run(&shelf, &asked, 0);
    assert!(!said.contains("delete it"), "{said}");

    // Taken back, everything is made again.
    run(&shelf, &["--write", list], 0);
    assert!(is_there("A001.xmp") && is_there("A001.mov"));
}

#[test]
fn a_start_that_changed_is_told_of_files_that_still_say_the_old_one() {
    let shelf = Shelf::new();
    clip(&shelf, "A001.mov", "10:00:00:00", H264);
    run(&shelf, &["--write", "xmp,copy"], 0);
    let file = correct(&shelf, "A001.mov", "start = \"09:59:59:00\"");
    let said = run(&shelf, &["--corrections", &file, "--write", "xmp"], 1);
    assert!(
        said.contains(
            "A001.mov is of an earlier run, with 10:00:00:00 at 25; the clip's start is \
             09:59:59:00 at 25 now: delete it, or have it made anew with --write copy"
        ),
        "{said}"
    );
    run(&shelf, &["--corrections", &file, "--write", "copy"], 0);
    let copied = shelf.probe("out/A001.mov", "stream_tags=timecode");
    assert_eq!(copied, ["09:59:59:00"]);
    // A sidecar that somebody worked on since is theirs, and is named.
    fs::write(shelf.path("out/A001.xmp"), "<mine/>").unwrap();
    let file = correct(&shelf, "A001.mov", "reject = true");
    let said = run(&shelf, &["--corrections", &file, "--write", "xmp"], 1);
    assert!(said.contains("A001.xmp is of an earlier run"), "{said}");
    let kept = fs::read_to_string(shelf.path("out/A001.xmp")).unwrap();
    assert_eq!(kept, "<mine/>");
}

#[test]
fn clips_read_one_by_one_are_told_of_what_no_longer_holds_too() {
    let shelf = Shelf::new();
    clip(&shelf, "A001.mov", "10:00:00:00", H264);
    let (source, out) = (shelf.path("card/A001.mov"), shelf.path("out"));
    let read = |more: &[&str]| {
        let output = Command::cargo_bin("rollmark")
            .unwrap()
            .arg("read")
            .arg(&source)
            .arg("--out")
            .arg(&out)
            .args(more)
            .output()
            .unwrap();
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        (output.status.code(), said)
    };
    assert_eq!(read(&["--write", "xmp,copy,csv"]).0, Some(0));
    assert_eq!(read(&[]), (Some(0), String::new()), "all is as it was");
    let file = correct(&shelf, "A001.mov", "reject = true");
    let (status, said) = read(&["--corrections", &file]);
    assert_eq!(status, Some(1), "{said}");
    assert!(
        said.contains("A001.xmp is of an earlier run") && said.contains("A001.mov is of an"),
        "{said}"
    );
}

/// It is unsure now: making it anew takes more than asking for copies.
#[test]
fn a_copy_of_a_clip_that_is_unsure_of_another_start_says_how_it_is_let_in() {
    let shelf = Shelf::new();
    clip(&shelf, "A001.mov", "10:00:00:00", H264);
    run(&shelf, &["--write", "copy"], 0);
    let brief = BurnedIn::new("12:00:00:00", "25")
        .strip("480x120", 60, (10, 30))
        .seconds("0.12");
    shelf.clip("card/A001.mov", &brief, H264);
    let said = run(&shelf, &["--write", "copy"], 1);
    let told = "the clip's start is 12:00:00:00 at 25 unsure now: delete it, or let unsure clips in with --with-unsure";
    assert!(said.contains(told), "{said}");
}
