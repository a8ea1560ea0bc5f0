//! Files of earlier runs that say what no longer holds.

use super::*;
use rollmark::card::{STATE_FOLDER, of_single_clips};
use rollmark::delivery::{Delivery, Product, Withdrawn};
use rollmark::note::Note;
use rollmark::outcome::ClipOutcome;
use rollmark::progress::Wish;
use rollmark::save::Ledger;
use rollmark::sidecar::{Admit, json as object};

/// A later run with these clips, by their names on the card: what it takes back, and that it writes
/// XMP sidecars and copies if it `is_asked`.
fn later_run(shelf: &Shelf, clips: &[(&str, ClipOutcome)], is_asked: bool) -> Vec<Withdrawn> {
    let named = clips.iter().map(|(name, outcome)| {
        let name = (*name).to_owned();
        (name.clone(), name, outcome.clone())
    });
    let card = of_single_clips(named.collect(), clips[0].1.tool.clone());
    let names = clips.iter().map(|(name, _)| PathBuf::from(name));
    let below_out: Vec<PathBuf> = names.collect();
    let sources: Vec<PathBuf> = below_out
        .iter()
        .map(|name| shelf.path("card").join(name))
        .collect();
    let products = match is_asked {
        true => [Product::Xmp, Product::Copy].into(),
        false => [].into(),
    };
    let out = shelf.path("out");
    let delivery = Delivery {
        card: &card,
        sources: &sources,
        below_out: &below_out,
        out: &out,
        products: &products,
        admit: Admit::default(),
    };
    let mut ledger = Ledger::open(&out, STATE_FOLDER).unwrap();
    let (withdrawn, faults) = delivery.withdraw(&ledger);
    assert!(faults.is_empty(), "{faults:?}");
    let done = delivery.write(&mut ledger, &mut |_, _| Wish::GoOn);
    assert!(done.faults.is_empty(), "{:?}", done.faults);
    withdrawn
}

/// A card with one clip, and what was read of it.
fn one_clip(shelf: &Shelf) -> ClipOutcome {
    clip(shelf, "A001.mov", "10:00:00:00", H264);
    run(shelf, &["--write", "xmp,copy"], 0);
    let bytes = fs::read(shelf.path("out/A001.mov.rollmark.json")).unwrap();
    object::from_bytes(&bytes).unwrap()
}

#[test]
fn a_clip_that_lost_its_label_keeps_no_sidecar_and_its_copy_is_told() {
    let shelf = Shelf::new();
    let mut outcome = one_clip(&shelf);
    outcome.start.as_mut().unwrap().in_clip_base = None;
    let note = Note::new("base_open", "nothing tells how the clock counts");
    outcome.notes.push(note);
    for is_asked in [false, true] {
        let withdrawn = later_run(&shelf, &[("A001.mov", outcome.clone())], is_asked);
        let of = |name: &str| {
            let is_it = |one: &&Withdrawn| one.file == Path::new(name);
            withdrawn.iter().find(is_it).unwrap()
        };
        let why =
            "of an earlier run, with 10:00:00:00 at 25; the clip has no label of its own any more";
        let kept = format!("is {why}: delete it");
        assert_eq!(of("A001.mov").sentence, kept);
        assert_eq!(of("A001.xmp").is_removed, is_asked);
        let told = match is_asked {
            true => format!("was {why}: it was removed"),
            false => kept,
        };
        assert_eq!(of("A001.xmp").sentence, told);
    }
    assert!(shelf.path("out/A001.mov").exists() && !shelf.path("out/A001.xmp").exists());
}

/// Readers would take the first one's for the second one's, too.
#[test]
fn a_sidecar_whose_name_two_clips_would_share_by_now_gives_way_to_their_whole_names() {
    let shelf = Shelf::new();
    let outcome = one_clip(&shelf);
    clip(&shelf, "A001.mkv", "11:00:00:00", H264);
    let clips = [("A001.mov", outcome.clone()), ("A001.mkv", outcome)];
    let withdrawn = later_run(&shelf, &clips, true);
    let told: Vec<_> = withdrawn
        .iter()
        .map(|one| (one.file.to_str().unwrap(), &*one.sentence))
        .collect();
    assert_eq!(
        told,
        [(
            "A001.xmp",
            "was of an earlier run, with 10:00:00:00 at 25; the clip's sidecar has another name \
             now: it was removed"
        )]
    );
    for (name, is_there) in [
        ("A001.xmp", false),
        ("A001.mov.xmp", true),
        ("A001.mkv.xmp", true),
    ] {
        assert_eq!(shelf.path("out").join(name).exists(), is_there, "{name}");
    }
}

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
