//! Whole cards of files that are no clips: exit status, and what is in the way of results.

use super::*;

/// The card's own exit status, on cards of files that are no clips.
#[test]
fn the_status_of_a_card_is_that_of_its_worst_clip() {
    let place = Place::new();
    place.file("bad/a.mov", b"");
    place.file("texts/notes.txt", TEXT);
    for (folder, status) in [("bad", 1), ("texts", 1), ("missing", 2)] {
        place
            .rollmark()
            .args(["card", folder, "--out"])
            .arg(place.path(&format!("out {folder}")))
            .assert()
            .code(status);
    }
    assert!(!place.path("out missing").exists());
    // Run again, from its records, it is the same.
    place
        .rollmark()
        .args(["card", "bad", "--out", "out bad"])
        .assert()
        .code(1);
}

#[test]
fn a_card_whose_results_cannot_be_written_could_not_be_run() {
    let place = Place::new();
    place.file("card/a.mov", b"");
    place.file("card/b.mov", b"");
    // A sidecar of somebody else in the way of one clip: told, kept, and the rest is written.
    let theirs = place.file("out/a.mov.rollmark.json", b"mine");
    place
        .card()
        .assert()
        .code(2)
        .stderr(contains("a.mov.rollmark.json").and(contains("not replaced")));
    assert_eq!(fs::read(&theirs).unwrap(), b"mine");
    assert!(place.path("out/b.mov.rollmark.json").is_file());
    assert!(place.path("out/report.html").is_file());
}

#[test]
fn the_last_line_for_scripts_counts_each_file_that_is_not_written() {
    let place = Place::new();
    place.file("card/a.mov", b"");
    place.file("out/a.mov.rollmark.json", b"mine");
    place.file("out/clips.csv", b"mine");
    let run = place
        .card()
        .args(["--json", "--write", "csv"])
        .assert()
        .code(2);
    let lines = objects(&run.get_output().stdout);
    let done = lines.last().unwrap();
    assert_eq!(done["event"], "done");
    assert_eq!(done["not_written"], 2);
    let card: Value =
        serde_json::from_slice(&fs::read(place.path("out/card.json")).unwrap()).unwrap();
    let notes = card["notes"].as_array().unwrap();
    let refused = |note: &&Value| note["code"] == "not_written";
    assert_eq!(notes.iter().filter(refused).count(), 2);
}

#[test]
fn a_report_of_somebody_else_is_kept() {
    let place = Place::new();
    place.file("card/a.mov", b"");
    let theirs = place.file("out/report.html", b"<p>mine</p>");
    place
        .card()
        .assert()
        .code(2)
        .stderr(contains("report.html").and(contains("not replaced")));
    assert_eq!(fs::read(&theirs).unwrap(), b"<p>mine</p>");
}

#[test]
fn what_write_would_replace_is_kept_and_the_other_products_are_written() {
    let place = Place::new();
    place.file("card/a.mov", b"");
    let theirs = place.file("out/clips.csv", b"mine");
    let run = || place.card().args(["--write", "csv,edl"]).assert();
    run()
        .code(2)
        .stderr(contains("clips.csv").and(contains("not replaced")));
    assert_eq!(fs::read(&theirs).unwrap(), b"mine");
    assert!(place.path("out/timeline.edl").is_file());
    // Out of the way, it is written; the status is that of the clips again.
    fs::remove_file(&theirs).unwrap();
    run().code(1);
    assert_ne!(fs::read(&theirs).unwrap(), b"mine");
}

#[test]
fn corrections_that_name_no_clip_are_told_and_everything_else_is_done() {
    let place = Place::new();
    place.file("card/A001.mov", b"");
    place.file(
        "said.toml",
        b"[[clip]]\nname = \"A002.mov\"\nreject = true\n",
    );
    place
        .card()
        .args(["--corrections", "said.toml"])
        .assert()
        .code(2)
        .stderr(contains("said.toml").and(contains("no clip is named `A002.mov`")));
    for file in ["report.html", "card.json", "A001.mov.rollmark.json"] {
        assert!(place.path("out").join(file).is_file(), "{file}");
    }
}

/// What needs an eye stays on the screen: the table is long, the summary short.
#[test]
fn complaints_stand_between_the_table_and_the_summary() {
    let place = Place::new();
    place.file("card/A001.mov", b"");
    place.file("card/notes.txt", TEXT);
    place.file("out/clips.csv", b"mine");
    let program = assert_cmd::cargo::cargo_bin!("rollmark");
    let words = "\"$0\" card card --out out --write csv 2>&1";
    let output = Command::new("sh")
        .current_dir(place.path(""))
        .args(["-c", words])
        .arg(program)
        .output()
        .unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    let lines: Vec<_> = text.lines().collect();
    let at = |words: &str| lines.iter().position(|line| line.contains(words));
    let order = [
        at("A001.mov  failed"),
        at("not replaced"),
        at("1 clip: 1 failed"),
        at("report.html"),
    ];
    assert!(
        order.iter().all(Option::is_some) && order.is_sorted(),
        "{text}"
    );
}

#[test]
fn a_table_that_cannot_be_printed_is_told() {
    let place = Place::new();
    place.file("card/A001.mov", b"");
    let full = fs::File::options().write(true).open("/dev/full").unwrap();
    let output = std::process::Command::new(assert_cmd::cargo::cargo_bin!("rollmark"))
        .current_dir(place.path(""))
        .args(["card", "card", "--out", "out"])
        .stdout(full)
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(2));
    let said = String::from_utf8(output.stderr).unwrap();
    assert!(said.contains("cannot write to standard output"), "{said}");
    assert!(place.path("out/report.html").is_file());
}

#[test]
fn a_card_without_clips_says_what_was_passed_over() {
    let place = Place::new();
    place.file("card/notes.txt", TEXT);
    place.card().assert().code(1).stdout(
        contains("No clip was found: the only file was passed over").and(contains("verdict").not()),
    );
}

#[test]
fn clips_that_are_gone_are_told_below_the_table() {
    let place = Place::new();
    place.file("card/a.mov", b"");
    let gone = place.file("card/b.mov", b"");
    let run = || place.card().assert().code(1);
    run().stdout(contains("2 clips: 2 failed."));
    fs::remove_file(gone).unwrap();
    run().stdout(contains("1 clip: 1 failed.").and(contains("b.mov")));
    let page = fs::read_to_string(place.path("out/report.html")).unwrap();
    assert!(page.contains("No longer on the card"));
}

#[test]
fn events_name_clips_as_the_card_object_does() {
    let place = Place::new();
    place.file("card/A\u{1b}[31m1.mov", b"");
    let output = place.card().arg("--json").output().unwrap();
    let card = fs::read(place.path("out/card.json")).unwrap();
    let card: Value = serde_json::from_slice(&card).unwrap();
    let name = &card["clips"][0]["name"];
    assert_eq!(name, "A\u{1b}[31m1.mov");
    let named: Vec<Value> = objects(&output.stdout)
        .into_iter()
        .filter(|event| event.get("clip").is_some())
        .collect();
    assert_eq!(named.len(), 2, "{named:?}");
    assert!(
        named.iter().all(|event| event["clip"] == *name),
        "{named:?}"
    );
}

#[test]
fn what_a_killed_run_left_is_removed_where_clips_are_read_one_by_one_too() {
    let place = Place::new();
    place.file("A001.mov", b"");
    place.file("out/.rollmark-aB3xYz.part", b"half a copy");
    place.file("out/.rollmark-aB3xYz.txt", b"mine");
    place
        .rollmark()
        .args(["read", "A001.mov", "--out", "out"])
        .assert()
        .code(1);
    assert_eq!(
        place.files_in("out"),
        [
            ".rollmark-aB3xYz.txt",
            ".rollmark/written",
            "A001.mov.rollmark.json"
        ]
    );
}
