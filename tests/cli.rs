//! The program as its user meets it: files that hold no video, words that make
//! no sense, folders that take no files. No clip here needs the reader.

#[path = "cli/cards.rs"]
mod cards;

use assert_cmd::Command;
use predicates::prelude::*;
use predicates::str::{contains, is_empty, starts_with};
use rollmark::outcome::Verdict;
use rollmark::sidecar::json;
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use tempfile::TempDir;

/// A folder to work in, gone at the end of the test.
struct Place {
    folder: TempDir,
}

impl Place {
    fn new() -> Self {
        Self {
            folder: TempDir::new().unwrap(),
        }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// A file that is no video, in folders that are made.
    fn file(&self, name: &str, bytes: &[u8]) -> PathBuf {
        let path = self.path(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(&path, bytes).unwrap();
        path
    }

    fn folder(&self, name: &str) -> PathBuf {
        let path = self.path(name);
        fs::create_dir_all(&path).unwrap();
        path
    }

    /// The program, run in this folder.
    fn rollmark(&self) -> Command {
        let mut command = Command::new(assert_cmd::cargo::cargo_bin!("rollmark"));
        command.current_dir(self.folder.path());
        command
    }

    /// ... on the folder `card`, into `out`.
    fn card(&self) -> Command {
        let mut command = self.rollmark();
        command.args(["card", "card", "--out", "out"]);
        command
    }

    /// Everything below `name`, folders left out.
    fn files_in(&self, name: &str) -> Vec<String> {
        fn walk(folder: &Path, top: &Path, found: &mut Vec<String>) {
            for entry in fs::read_dir(folder).unwrap() {
                let path = entry.unwrap().path();
                if path.is_dir() {
                    walk(&path, top, found);
                } else {
                    found.push(path.strip_prefix(top).unwrap().display().to_string());
                }
            }
        }
        let mut found = Vec::new();
        walk(&self.path(name), &self.path(name), &mut found);
        found.sort();
        found
    }
}

fn objects(stdout: &[u8]) -> Vec<Value> {
    String::from_utf8(stdout.to_vec())
        .unwrap()
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect()
}

const TEXT: &[u8] = b"Scene 12, take 3: the good one.\n";

#[test]
fn without_words_it_explains_itself_and_says_that_it_did_nothing() {
    Place::new()
        .rollmark()
        .assert()
        .code(2)
        .stdout(is_empty())
        .stderr(contains("Usage: rollmark").and(contains("rehearse")));
}

#[test]
fn help_comes_on_standard_output() {
    for words in [
        &["--help"][..],
        &["read", "--help"],
        &["rehearse", "--help"],
    ] {
        Place::new()
            .rollmark()
            .args(words)
            .assert()
            .code(0)
            .stdout(contains("Usage:"))
            .stderr(is_empty());
    }
}

#[test]
fn the_version_names_the_model_and_ffmpeg_too() {
    let line = predicate::str::is_match(concat!(
        r"^rollmark ",
        env!("CARGO_PKG_VERSION"),
        r" \(model [0-9a-f]{12}, FFmpeg \S+\)\n$"
    ));
    Place::new()
        .rollmark()
        .arg("--version")
        .assert()
        .code(0)
        .stdout(line.unwrap())
        .stderr(is_empty());
}

#[test]
fn read_without_a_clip_is_a_wrong_use() {
    Place::new()
        .rollmark()
        .arg("read")
        .assert()
        .code(2)
        .stdout(is_empty())
        .stderr(contains("CLIP"));
}

#[test]
fn values_that_make_no_sense_are_refused_before_any_clip_is_opened() {
    let place = Place::new();
    for (words, complaint) in [
        (&["--clock-rate", "29.5"][..], "29.5"),
        (&["--clock-rate", "fast"], "fast"),
        (
            &["--clock-rate", "2997"],
            "no clock counts 2997 frames a second",
        ),
        (
            &["--clock-rate", "1/2"],
            "no clock counts 0.5 frames a second",
        ),
        (&["--drop-frame", "perhaps"], "perhaps"),
        (
            &["--clock-rate", "25", "--drop-frame", "yes"],
            "has no drop-frame",
        ),
        (&["--lag", "soon"], "soon"),
        (&["--lag", "99999"], "is not believed"),
        (&["--speed", "0"], "is not believed"),
        (&["--look", "middle"], "middle"),
    ] {
        place
            .rollmark()
            .args(["read", "missing.mov"])
            .args(words)
            .assert()
            .code(2)
            .stdout(is_empty())
            .stderr(contains(complaint).and(contains("missing.mov").not()));
    }
}

#[test]
fn each_sort_of_bad_clip_fails_with_its_own_code_and_an_advice() {
    let place = Place::new();
    place.file("empty.mov", b"");
    place.file("text.mov", TEXT);
    place.folder("folder.mov");
    for (clip, code) in [
        ("missing.mov", "cannot_open"),
        ("empty.mov", "empty_file"),
        ("folder.mov", "is_folder"),
        ("text.mov", "not_video"),
    ] {
        let run = place
            .rollmark()
            .args(["read", "--json", clip])
            .assert()
            .code(1);
        let object: Value = serde_json::from_slice(&run.get_output().stdout).unwrap();
        assert_eq!(object["verdict"], "failed", "{clip}");
        assert_eq!(object["reasons"][0]["code"], code, "{clip}");
        assert_eq!(object["clip"]["path"], clip);
        assert_eq!(object["start"], Value::Null, "{clip}");
        let sentence = object["reasons"][0]["sentence"].as_str().unwrap();
        assert!(sentence.contains("; "), "{clip}: no advice in `{sentence}`");
    }
}

#[test]
fn one_bad_clip_does_not_keep_the_others_from_their_turn() {
    let place = Place::new();
    place.file("a.mov", b"");
    place.folder("b.mov");
    place.file("d.mov", TEXT);
    let run = place
        .rollmark()
        .args(["read", "--json", "a.mov", "b.mov", "c.mov", "d.mov"])
        .assert()
        .code(1);
    let objects = objects(&run.get_output().stdout);
    let codes: Vec<_> = objects
        .iter()
        .map(|object| {
            let code = object["reasons"][0]["code"].as_str().unwrap();
            (object["clip"]["path"].as_str().unwrap(), code)
        })
        .collect();
    assert_eq!(
        codes,
        [
            ("a.mov", "empty_file"),
            ("b.mov", "is_folder"),
            ("c.mov", "cannot_open"),
            ("d.mov", "not_video"),
        ],
        "one line each, in the order given"
    );
}

#[test]
fn json_of_one_clip_is_one_indented_object_that_reads_back() {
    let place = Place::new();
    place.file("a.mov", b"");
    let run = place.rollmark().args(["read", "--json", "a.mov"]).assert();
    let stdout = &run.get_output().stdout;
    assert!(stdout.starts_with(b"{\n  \"format\": 1,\n"));
    let outcome = json::from_bytes(stdout).unwrap();
    assert_eq!(outcome.verdict, Verdict::Failed);
}

#[test]
fn the_table_shows_every_clip_its_reason_and_what_to_do() {
    let place = Place::new();
    place.file("a.mov", b"");
    place.folder("b.mov");
    place
        .rollmark()
        .args(["read", "a.mov", "b.mov"])
        .assert()
        .code(1)
        .stdout(
            starts_with("clip")
                .and(contains("\na.mov  failed\n     "))
                .and(contains("\nb.mov  failed\n     "))
                .and(contains("\n2 clips: 2 failed.\n")),
        )
        .stderr(is_empty());
}

#[test]
fn off_a_terminal_there_is_neither_colour_nor_a_progress_bar() {
    let place = Place::new();
    place.file("a.mov", b"");
    place
        .rollmark()
        .args(["read", "a.mov"])
        .assert()
        .stdout(contains('\u{1b}').not())
        .stderr(is_empty());
}

#[test]
fn sidecars_are_written_for_failed_clips_too() {
    let place = Place::new();
    place.file("a.mov", b"");
    place
        .rollmark()
        .args(["read", "--out", "results/today", "a.mov", "b.mov"])
        .assert()
        .code(1)
        .stdout(contains("Sidecars: results/today\n"));
    assert_eq!(
        place.files_in("results/today"),
        [
            ".rollmark/written",
            "a.mov.rollmark.json",
            "b.mov.rollmark.json"
        ]
    );
    let bytes = fs::read(place.path("results/today/a.mov.rollmark.json")).unwrap();
    assert_eq!(json::from_bytes(&bytes).unwrap().clip.path, "a.mov");
}

#[test]
fn what_is_written_is_what_is_printed() {
    let place = Place::new();
    place.file("a.mov", b"");
    let run = place
        .rollmark()
        .args(["read", "--json", "--out", "results", "a.mov"])
        .assert();
    let written = fs::read(place.path("results/a.mov.rollmark.json")).unwrap();
    assert_eq!(run.get_output().stdout, written);
}

#[test]
fn reading_again_replaces_the_sidecar() {
    let place = Place::new();
    place.file("a.mov", b"");
    let read = || {
        place
            .rollmark()
            .args(["read", "--out", "results", "a.mov"])
            .assert()
            .code(1);
        let bytes = fs::read(place.path("results/a.mov.rollmark.json")).unwrap();
        json::from_bytes(&bytes).unwrap().reasons[0].code.clone()
    };
    assert_eq!(read(), "empty_file");
    place.file("a.mov", TEXT);
    assert_eq!(read(), "not_video");
}

#[test]
fn clips_of_the_same_name_get_a_sidecar_each() {
    let place = Place::new();
    place.file("one/a.mov", b"");
    place.file("two/a.mov", TEXT);
    place
        .rollmark()
        .args(["read", "--out", "results", "one/a.mov", "two/a.mov"])
        .assert()
        .code(1)
        .stdout(contains("one/a.mov").and(contains("two/a.mov")));
    assert_eq!(
        place.files_in("results"),
        [
            ".rollmark/written",
            "one/a.mov.rollmark.json",
            "two/a.mov.rollmark.json"
        ]
    );
}

#[test]
fn a_later_run_does_not_replace_the_sidecar_of_another_clip() {
    let place = Place::new();
    place.file("one/a.mov", b"");
    place.file("two/a.mov", TEXT);
    let read = |clip: &str| {
        place
            .rollmark()
            .args(["read", "--out", "results", clip])
            .assert()
    };
    read("one/a.mov").code(1);
    let before = fs::read(place.path("results/a.mov.rollmark.json")).unwrap();
    read("two/a.mov")
        .code(2)
        .stdout(contains("a.mov  failed"))
        .stderr(
            contains("another clip, /")
                .and(contains("/one/a.mov; "))
                .and(contains("choose another folder")),
        );
    let after = fs::read(place.path("results/a.mov.rollmark.json")).unwrap();
    assert_eq!(before, after);
}

/// Each card has a clip of this name, and one goes to its folder to name it.
#[test]
fn nor_one_that_was_named_alike_in_another_folder() {
    let place = Place::new();
    place.file("one/a.mov", b"");
    place.file("two/a.mov", TEXT);
    let read = |folder: &str| {
        let mut run = place.rollmark();
        run.current_dir(place.path(folder));
        run.args(["read", "a.mov", "--out", "../results"]).assert()
    };
    read("one").code(1);
    let sidecar = place.path("results/a.mov.rollmark.json");
    let before = fs::read(&sidecar).unwrap();
    read("two").code(2).stderr(contains("/one/a.mov; "));
    assert_eq!(fs::read(&sidecar).unwrap(), before);
    read("one").code(1);
}

#[test]
fn a_file_of_other_origin_is_kept_and_the_clips_after_it_are_saved() {
    let place = Place::new();
    place.file("a.mov", b"");
    place.file("b.mov", b"");
    let foreign = place.file("results/a.mov.rollmark.json", TEXT);
    place
        .rollmark()
        .args(["read", "--out", "results", "a.mov", "b.mov"])
        .assert()
        .code(2)
        .stdout(contains("2 clips: 2 failed."))
        .stderr(starts_with("rollmark: ").and(contains("not replaced")));
    assert_eq!(fs::read(foreign).unwrap(), TEXT);
    assert_eq!(
        place.files_in("results"),
        [
            ".rollmark/written",
            "a.mov.rollmark.json",
            "b.mov.rollmark.json"
        ]
    );
}

#[test]
fn a_folder_that_takes_no_files_is_found_out_before_reading() {
    let place = Place::new();
    place.file("a.mov", b"");
    let taken = place.file("taken", TEXT);
    for option in ["--out", "--pictures"] {
        place
            .rollmark()
            .args(["read", option, "taken", "a.mov"])
            .assert()
            .code(2)
            .stdout(is_empty())
            .stderr(contains("taken").and(contains("choose another folder")));
    }
    assert_eq!(fs::read(taken).unwrap(), TEXT);
}

#[test]
fn clips_are_never_changed_even_where_results_go_into_their_folder() {
    let place = Place::new();
    place.file("card/a.mov", TEXT);
    place
        .rollmark()
        .args(["read", "--out", "card", "--pictures", "card", "card/a.mov"])
        .assert()
        .code(1);
    assert_eq!(fs::read(place.path("card/a.mov")).unwrap(), TEXT);
    assert_eq!(
        place.files_in("card"),
        [".rollmark/written", "a.mov", "a.mov.rollmark.json"]
    );
}

#[cfg(unix)]
#[test]
fn names_that_are_not_unicode_are_read_and_saved_under_their_own_name() {
    use std::ffi::OsString;
    use std::os::unix::ffi::OsStringExt;
    let place = Place::new();
    let name = OsString::from_vec(b"a\xff.mov".to_vec());
    fs::write(place.folder.path().join(&name), b"").unwrap();
    let run = place
        .rollmark()
        .args(["read", "--json", "--out", "results"])
        .arg(&name)
        .assert()
        .code(1);
    let object: Value = serde_json::from_slice(&run.get_output().stdout).unwrap();
    assert_eq!(object["reasons"][0]["code"], "empty_file");
    assert_eq!(object["clip"]["path"], "a\u{fffd}.mov");
    let mut sidecar = name;
    sidecar.push(".rollmark.json");
    assert!(place.path("results").join(sidecar).is_file());
}

#[cfg(unix)]
#[test]
fn a_name_cannot_send_commands_to_the_terminal() {
    let place = Place::new();
    let run = place
        .rollmark()
        .args(["read", "a\u{1b}[2J\n.mov"])
        .assert()
        .code(1);
    let text = String::from_utf8(run.get_output().stdout.clone()).unwrap();
    assert!(!text.contains('\u{1b}'), "{text:?}");
    assert!(text.contains("a\u{fffd}[2J\u{fffd}.mov"), "{text:?}");
}

#[test]
fn a_reader_who_leaves_early_causes_no_complaint() {
    let place = Place::new();
    let mut run = std::process::Command::new(assert_cmd::cargo::cargo_bin!("rollmark"))
        .current_dir(place.folder.path())
        .args(["read", "--json", "a.mov", "b.mov"])
        .stdout(std::process::Stdio::piped())
        .stderr(std::process::Stdio::piped())
        .spawn()
        .unwrap();
    drop(run.stdout.take());
    let output = run.wait_with_output().unwrap();
    assert_eq!(String::from_utf8_lossy(&output.stderr), "");
    assert_eq!(output.status.code(), Some(1));
}

#[test]
fn a_reader_who_leaves_early_does_not_cost_the_sidecars() {
    let place = Place::new();
    let mut run = std::process::Command::new(assert_cmd::cargo::cargo_bin!("rollmark"))
        .current_dir(place.folder.path())
        .args(["read", "--json", "--out", "results", "a.mov", "b.mov"])
        .stdout(std::process::Stdio::piped())
        .spawn()
        .unwrap();
    drop(run.stdout.take());
    run.wait().unwrap();
    assert_eq!(
        place.files_in("results"),
        ["a.mov.rollmark.json", "b.mov.rollmark.json"]
    );
}

#[test]
fn rehearse_leaves_a_folder_alone_that_holds_something() {
    let place = Place::new();
    place.file("card/holiday.mov", TEXT);
    place
        .rollmark()
        .args(["rehearse", "card"])
        .assert()
        .code(2)
        .stdout(is_empty())
        .stderr(contains("card").and(contains("empty")));
    assert_eq!(place.files_in("card"), ["holiday.mov"]);
}

#[test]
fn writing_for_the_next_tool_needs_a_folder() {
    Place::new()
        .rollmark()
        .args(["read", "--write", "csv", "a.mov"])
        .assert()
        .code(2)
        .stderr(contains(
            "--write has no folder to write into; add --out DIR",
        ));
}

#[test]
fn a_product_that_does_not_exist_is_refused_with_those_that_do() {
    Place::new()
        .rollmark()
        .args(["card", "a", "--out", "b", "--write", "csv,pdf"])
        .assert()
        .code(2)
        .stderr(contains("pdf").and(contains("xmp, otio, edl, csv, copy, preview")));
}

#[test]
fn corrections_that_make_no_sense_are_refused_by_line_before_anything_is_read() {
    let place = Place::new();
    place.file(
        "corrections.toml",
        b"[[clip]]\nname = \"a.mov\"\nstart = 10\n",
    );
    place
        .rollmark()
        .args(["read", "a.mov", "--corrections", "corrections.toml"])
        .assert()
        .code(2)
        .stdout("")
        .stderr(contains("corrections.toml").and(contains("line 3")));
}

#[test]
fn there_is_a_manual_page_for_every_command() {
    let place = Place::new();
    place.rollmark().args(["manual", "man1"]).assert().success();
    for page in [
        "rollmark.1",
        "rollmark-read.1",
        "rollmark-card.1",
        "rollmark-rehearse.1",
    ] {
        let text = fs::read_to_string(place.path("man1").join(page)).unwrap();
        assert!(text.contains(".TH"), "{page} is no manual page:\n{text}");
    }
}

#[test]
fn manual_pages_need_no_folder_for_temporary_files() {
    let place = Place::new();
    let manual = |folder: &str| {
        let mut command = place.rollmark();
        command.args(["manual", folder]);
        command
    };
    manual("man1").assert().success();
    let nowhere = place.path("nowhere");
    manual("man2").env("TMPDIR", nowhere).assert().success();
    assert_eq!(place.files_in("man1"), place.files_in("man2"));
}

#[cfg(unix)]
#[test]
fn manual_pages_take_the_place_of_older_ones_alone() {
    let place = Place::new();
    let manual = || place.rollmark().args(["manual", "man1"]).assert();
    manual().success();
    manual().success();
    let page = place.path("man1/rollmark-read.1");
    std::fs::write(&page, "Notes on reading clips").unwrap();
    manual().code(2).stderr(predicate::str::contains(
        "is no manual page of this command",
    ));
    assert_eq!(
        std::fs::read_to_string(&page).unwrap(),
        "Notes on reading clips"
    );
    std::fs::remove_file(&page).unwrap();
    let precious = place.path("precious.txt");
    std::fs::write(&precious, "precious").unwrap();
    std::os::unix::fs::symlink(&precious, &page).unwrap();
    manual().code(2);
    assert_eq!(std::fs::read_to_string(&precious).unwrap(), "precious");
}

#[test]
fn shells_learn_the_commands() {
    for shell in ["bash", "zsh", "fish"] {
        Place::new()
            .rollmark()
            .args(["completions", shell])
            .assert()
            .success()
            .stdout(contains("rehearse").and(contains("corrections")));
    }
}

/// `/dev/full` takes nothing, as a full disk.
#[test]
fn sidecars_of_all_clips_are_written_though_standard_output_takes_nothing() {
    let place = Place::new();
    place.file("A001.mov", b"");
    place.file("A002.mov", b"");
    let full = fs::File::options().write(true).open("/dev/full").unwrap();
    let output = std::process::Command::new(assert_cmd::cargo::cargo_bin!("rollmark"))
        .current_dir(place.path(""))
        .args(["read", "A001.mov", "A002.mov", "--json", "--out", "out"])
        .stdout(full)
        .output()
        .unwrap();
    let said = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(2), "{said}");
    assert!(said.contains("cannot write to standard output"), "{said}");
    for clip in ["A001.mov", "A002.mov"] {
        assert!(place.path(&format!("out/{clip}.rollmark.json")).is_file());
    }
}

/// `/dev/full` takes nothing, as a full disk.
#[test]
fn complaints_are_told_though_standard_output_takes_nothing() {
    let place = Place::new();
    place.file("card/A001.mov", b"");
    place.file(
        "said.toml",
        b"[[clip]]\nname = \"A002.mov\"\nreject = true\n",
    );
    for words in [
        &["read", "card/A001.mov"][..],
        &["read", "card/A001.mov", "--json"],
        &["card", "card"],
        &["card", "card", "--json"],
    ] {
        let full = fs::File::options().write(true).open("/dev/full").unwrap();
        let output = std::process::Command::new(assert_cmd::cargo::cargo_bin!("rollmark"))
            .current_dir(place.path(""))
            .args(words)
            .args(["--out", "out", "--corrections", "said.toml"])
            .stdout(full)
            .output()
            .unwrap();
        let said = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{words:?}: {said}");
        for told in [
            "no clip is named `A002.mov`",
            "cannot write to standard output",
        ] {
            assert!(said.contains(told), "{words:?}: {said}");
        }
    }
}

/// `/dev/full` takes nothing, as a full disk.
#[test]
fn results_that_standard_output_does_not_take_are_no_success() {
    let place = Place::new();
    place.file("card/A001.mov", b"");
    for words in [
        &["card", "card", "--out", "out", "--json"][..],
        &["read", "card/A001.mov", "--json"],
        &["completions", "bash"],
        &["--version"],
        &["--help"],
    ] {
        let full = fs::File::options().write(true).open("/dev/full").unwrap();
        let output = std::process::Command::new(assert_cmd::cargo::cargo_bin!("rollmark"))
            .current_dir(place.path(""))
            .args(words)
            .stdout(full)
            .output()
            .unwrap();
        let said = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{words:?}: {said}");
        assert!(
            said.contains("cannot write to standard output"),
            "{words:?}: {said}"
        );
    }
    assert!(place.path("out/card.json").is_file());
}
