//! Whose start a file in the output folder holds, where clips share a name.

use super::{H264, Shelf, clip, hashes, json, start};
use rollmark::card::{STATE_FOLDER, of_single_clips};
use rollmark::delivery::{Delivery, Product};
use rollmark::progress::Wish;
use rollmark::save::Ledger;
use rollmark::sidecar::{Admit, json as object};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;
use std::time::{Duration, SystemTime};

/// Runs the program in a folder of the shelf.
fn run_in(shelf: &Shelf, folder: &str, words: &[&str]) -> Output {
    assert_cmd::Command::cargo_bin("rollmark")
        .unwrap()
        .current_dir(shelf.path(folder))
        .args(words)
        .output()
        .unwrap()
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// Two cards, each with a clip of one name and another start.
fn two_cards(shelf: &Shelf) {
    for (card, label) in [("one", "10:00:00:00"), ("two", "17:30:00:00")] {
        clip(shelf, "DCIM/A001.mov", label, H264);
        fs::rename(shelf.path("card"), shelf.path(card)).unwrap();
    }
}

/// The files of the clip, besides lists of all clips.
fn files_of_the_clip(shelf: &Shelf) -> Vec<(PathBuf, Vec<u8>)> {
    let all = hashes(&shelf.path("out"));
    let of_the_clip = |file: &Path| {
        file.file_name()
            .unwrap()
            .to_string_lossy()
            .starts_with("A001")
    };
    all.into_iter()
        .filter(|(file, _)| of_the_clip(file))
        .collect()
}

#[test]
fn a_clip_of_another_card_replaces_no_file_of_one_with_its_name() {
    for (where_from, path) in [(["one", "two"], "."), (["", ""], "")] {
        let shelf = Shelf::new();
        two_cards(&shelf);
        let read = |card: usize| {
            let (folder, path) = match where_from[card] {
                "" => ("", ["one", "two"][card]),
                folder => (folder, path),
            };
            let out = shelf.path("out");
            let out = out.to_str().unwrap();
            let words = ["card", path, "--out", out, "--write", "xmp,preview,copy"];
            run_in(&shelf, folder, &words)
        };
        let first = read(0);
        assert_eq!(first.status.code(), Some(0), "{}", said(&first));
        let before = files_of_the_clip(&shelf);
        assert_eq!(before.len(), 4, "{before:?}");
        let second = read(1);
        assert_eq!(second.status.code(), Some(2), "{}", said(&second));
        assert_eq!(files_of_the_clip(&shelf), before);
        for kind in ["A001.xmp", "A001.mov.rollmark.json", "A001.mov.preview.mp4"] {
            let line = said(&second);
            let line = line.lines().find(|line| line.contains(kind)).unwrap();
            assert!(line.contains("holds the start of another clip"), "{line}");
            assert!(line.contains("one/DCIM/A001.mov"), "{line}");
        }
    }
}

/// Recorders that write files of one size give each card the same names.
#[test]
fn a_copy_of_another_clip_of_one_name_and_size_is_kept() {
    let shelf = Shelf::new();
    two_cards(&shelf);
    let file = |card: &str| shelf.path(card).join("DCIM/A001.mov");
    let length = |card: &str| fs::metadata(file(card)).unwrap().len();
    let longest = length("one").max(length("two")) + 16;
    for (card, second) in [("one", 0), ("two", 60)] {
        let mut bytes = fs::read(file(card)).unwrap();
        // A free box behind the others.
        let room = longest as usize - bytes.len();
        bytes.extend((room as u32).to_be_bytes());
        bytes.extend(b"free");
        bytes.resize(longest as usize, 0);
        fs::write(file(card), bytes).unwrap();
        let recorded = SystemTime::UNIX_EPOCH + Duration::from_secs(1_800_000_000 + second);
        let clip = fs::File::options().write(true).open(file(card)).unwrap();
        clip.set_modified(recorded).unwrap();
    }
    let copy = |card: &str| {
        run_in(
            &shelf,
            "",
            &["card", card, "--out", "out", "--write", "copy"],
        )
    };
    assert_eq!(copy("one").status.code(), Some(0));
    let before = files_of_the_clip(&shelf);
    assert_eq!(before.len(), 2, "{before:?}");
    let second = copy("two");
    assert_eq!(second.status.code(), Some(2), "{}", said(&second));
    assert_eq!(files_of_the_clip(&shelf), before);
    let line = "holds the start of another clip";
    let kept = |l: &str| l.contains("A001.mov: ") && l.contains(line);
    assert!(said(&second).lines().any(kept), "{}", said(&second));
}

#[test]
fn clips_of_one_name_read_one_by_one_replace_nothing_either() {
    let shelf = Shelf::new();
    two_cards(&shelf);
    let read = |card: &str| {
        let words = [
            "read",
            "DCIM/A001.mov",
            "--out",
            "../out",
            "--write",
            "xmp,preview",
        ];
        run_in(&shelf, card, &words)
    };
    assert_eq!(read("one").status.code(), Some(0));
    let before = files_of_the_clip(&shelf);
    assert_eq!(before.len(), 3, "{before:?}");
    assert_eq!(read("two").status.code(), Some(2));
    assert_eq!(files_of_the_clip(&shelf), before);
    // The same clip again, and once its files are gone the other one.
    assert_eq!(read("one").status.code(), Some(0));
    before
        .iter()
        .for_each(|(file, _)| fs::remove_file(file).unwrap());
    assert_eq!(read("two").status.code(), Some(0));
    let now = json(shelf.path("out/A001.mov.rollmark.json"));
    assert_eq!(start(&now), "17:30:00:00");
}

/// It would not be asked whose they are if it had a start to write.
#[test]
fn a_clip_without_a_start_takes_back_no_file_of_another_with_its_name() {
    let shelf = Shelf::new();
    two_cards(&shelf);
    let all = ["--out", "../out", "--write", "xmp,preview,copy"];
    for (words, name) in [
        (vec!["read", "DCIM/A001.mov"], "A001.mov"),
        (vec!["card", "."], "DCIM/A001.mov"),
    ] {
        let first = run_in(&shelf, "one", &[&words[..], &all].concat());
        assert_eq!(first.status.code(), Some(0), "{}", said(&first));
        let before = files_of_the_clip(&shelf);
        assert_eq!(before.len(), 4, "{before:?}");
        let file = shelf.path("corrections.toml");
        fs::write(
            &file,
            format!("[[clip]]\nname = \"{name}\"\nreject = true\n"),
        )
        .unwrap();
        let reject = ["--corrections", "../corrections.toml"];
        let second = run_in(&shelf, "two", &[&words[..], &all, &reject].concat());
        let second = said(&second);
        assert!(
            second.contains("holds the start of another clip"),
            "{second}"
        );
        let of_the_clip = |line: &&str| line.contains("A001") && line.contains("of an earlier run");
        assert_eq!(second.lines().find(of_the_clip), None);
        assert_eq!(files_of_the_clip(&shelf), before);
        fs::remove_dir_all(shelf.path("out")).unwrap();
    }
}

#[test]
fn a_card_in_another_place_is_the_same_card() {
    let shelf = Shelf::new();
    clip(&shelf, "A001.mov", "10:00:00:00", H264);
    for place in ["slot", "disk"] {
        fs::rename(shelf.path("card"), shelf.path(place)).unwrap();
        let words = ["card", place, "--out", "out", "--write", "xmp"];
        let output = run_in(&shelf, "", &words);
        assert_eq!(output.status.code(), Some(0), "{}", said(&output));
        let now = json(shelf.path("out/A001.mov.rollmark.json"));
        assert_eq!(now["clip"]["path"], format!("{place}/A001.mov"));
        fs::rename(shelf.path(place), shelf.path("card")).unwrap();
    }
}

#[test]
fn copies_and_previews_that_were_stopped_are_told_to_be_missing() {
    let shelf = Shelf::new();
    clip(&shelf, "A001.mov", "10:00:00:00", H264);
    let out = shelf.path("out");
    let words = ["card", "card", "--out", "out"];
    assert_eq!(run_in(&shelf, "", &words).status.code(), Some(0));
    let outcome = fs::read(out.join("A001.mov.rollmark.json")).unwrap();
    let outcome = object::from_bytes(&outcome).unwrap();
    let tool = outcome.tool.clone();
    let name = "A001.mov".to_owned();
    let card = of_single_clips(vec![(name.clone(), name, outcome)], tool);
    for product in [Product::Copy, Product::Preview] {
        let delivery = Delivery {
            card: &card,
            sources: &[shelf.path("card/A001.mov")],
            below_out: &[PathBuf::from("A001.mov")],
            out: &out,
            products: &[product].into(),
            admit: Admit::default(),
        };
        for (wish, is_stopped) in [(Wish::Stop, true), (Wish::GoOn, false)] {
            let mut ledger = Ledger::open(&out, STATE_FOLDER).unwrap();
            let done = delivery.write(&mut ledger, &mut |_, _| wish);
            assert_eq!(done.is_stopped, is_stopped, "{product:?}");
            assert_eq!(done.files.is_empty(), is_stopped, "{product:?}");
            assert!(done.faults.is_empty() && done.refusals.is_empty());
        }
    }
}

#[test]
fn a_fault_of_the_program_at_one_clip_stops_no_copy_or_preview_of_another() {
    let shelf = Shelf::new();
    clip(&shelf, "A001.mov", "10:00:00:00", H264);
    clip(&shelf, "A002.mov", "10:05:00:00", H264);
    let out = shelf.path("out");
    let words = ["card", "card", "--out", "out"];
    assert_eq!(run_in(&shelf, "", &words).status.code(), Some(0));
    let names = ["A001.mov", "A002.mov"].map(str::to_owned);
    let read = names.clone().map(|name| {
        let bytes = fs::read(out.join(format!("{name}.rollmark.json"))).unwrap();
        (name.clone(), name, object::from_bytes(&bytes).unwrap())
    });
    let tool = read[0].2.tool.clone();
    let card = of_single_clips(read.into(), tool);
    let sources = names.clone().map(|name| shelf.path("card").join(name));
    let delivery = Delivery {
        card: &card,
        sources: &sources,
        below_out: &names.map(PathBuf::from),
        out: &out,
        products: &[Product::Copy, Product::Preview].into(),
        admit: Admit::default(),
    };
    let mut ledger = Ledger::open(&out, STATE_FOLDER).unwrap();
    let done = delivery.write(&mut ledger, &mut |clip, _| {
        assert!(clip != 0, "a slip in the first clip");
        Wish::GoOn
    });
    assert!(!done.is_stopped && done.refusals.is_empty());
    assert_eq!(
        done.files,
        ["A002.mov", "A002.mov.preview.mp4"].map(PathBuf::from)
    );
    let told: Vec<String> = done.faults.iter().map(ToString::to_string).collect();
    assert_eq!(told.len(), 2, "{told:?}");
    for said in &told {
        assert!(
            said.contains("A001.mov") && said.contains("a slip"),
            "{said}"
        );
    }
    let left = hashes(&out).into_keys();
    let mut left = left.filter(|file| file.to_string_lossy().ends_with(".part"));
    assert_eq!(left.next(), None);
}

#[test]
fn what_a_copy_has_no_room_for_is_told_of_copies_that_are_there_too() {
    let shelf = Shelf::new();
    fs::write(shelf.path("notes.txt"), "scene 12").unwrap();
    let attached = format!("{H264} -attach notes.txt -metadata:s:t mimetype=text/plain");
    clip(&shelf, "A001.mkv", "10:00:00:00", &attached);
    let words = ["card", "card", "--out", "out", "--write", "copy"];
    for run in 1..=2 {
        let output = run_in(&shelf, "", &words);
        assert_eq!(output.status.code(), Some(0));
        let said = said(&output) + &String::from_utf8_lossy(&output.stdout);
        let told = "A001.mkv: the copy has no room for: attachment notes.txt";
        assert!(said.contains(told), "run {run}: {said}");
    }
}

/// As many bytes as a file system takes.
#[test]
fn the_files_of_a_clip_with_the_longest_name_are_all_written() {
    let shelf = Shelf::new();
    clip(&shelf, "A001.mkv", "10:00:00:00", H264);
    let longest = format!("{}.mkv", "a".repeat(251));
    fs::rename(
        shelf.path("card/A001.mkv"),
        shelf.path("card").join(&longest),
    )
    .unwrap();
    for words in [
        [
            "card",
            "card",
            "--out",
            "out",
            "--write",
            "xmp,copy,preview",
        ]
        .map(str::to_owned),
        [
            "read",
            &format!("card/{longest}"),
            "--out",
            "out",
            "--pictures",
            "pictures",
        ]
        .map(str::to_owned),
    ] {
        let words: Vec<&str> = words.iter().map(String::as_str).collect();
        for run in 1..=2 {
            let output = run_in(&shelf, "", &words);
            assert_eq!(
                output.status.code(),
                Some(0),
                "run {run}: {}",
                said(&output)
            );
        }
    }
    let files: Vec<String> = fs::read_dir(shelf.path("out"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    for ending in [".mkv.rollmark.json", ".xmp", ".mov", ".preview.mp4"] {
        let ending = ending.trim_start_matches(".mkv");
        let of_the_clip = |name: &&String| name.starts_with("aaa") && name.ends_with(ending);
        assert_eq!(
            files.iter().filter(of_the_clip).count(),
            1,
            "{ending}: {files:?}"
        );
    }
}

#[test]
fn lists_of_clips_read_in_another_run_are_replaced_with_a_word() {
    let shelf = Shelf::new();
    two_cards(&shelf);
    let read = |card: &str, out: &str| {
        let words = ["read", "DCIM/A001.mov", "--out", out, "--write", "csv,otio"];
        let output = run_in(&shelf, card, &words);
        (
            said(&output).matches("took the place of a list").count(),
            output.status.code(),
        )
    };
    assert_eq!(read("one", "../lists").0, 0);
    assert_eq!(read("one", "../lists"), (0, Some(0)), "the same again");
    fs::remove_file(shelf.path("lists/A001.mov.rollmark.json")).unwrap();
    assert_eq!(read("two", "../lists"), (2, Some(0)));
}
