//! `rollmark card` on real files: everything on a card, each with its own result, and the
//! folder that is left. Clocks are burned in by FFmpeg's `drawtext`.

mod common;
#[path = "card/copies.rs"]
mod copies;
#[path = "card/whose.rs"]
mod whose;
#[path = "card/withdrawn.rs"]
mod withdrawn;

use assert_cmd::Command;
use common::{BurnedIn, H264, Shelf};
use serde_json::Value;
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use std::fs;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::Stdio;

fn card(shelf: &Shelf, more: &[&str]) -> Command {
    let mut command = Command::cargo_bin("rollmark").unwrap();
    command
        .arg("card")
        .arg(shelf.path("card"))
        .arg("--out")
        .arg(shelf.path("out"))
        .args(more);
    command
}

/// The last line of what `rollmark card` says, for a run that must succeed so far.
#[track_caller]
fn run(shelf: &Shelf, more: &[&str], status: i32) -> String {
    let output = card(shelf, more).output().unwrap();
    let said = format!(
        "{}\n{}",
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr)
    );
    assert_eq!(output.status.code(), Some(status), "{said}");
    said
}

fn json(file: PathBuf) -> Value {
    let text = fs::read_to_string(&file).unwrap_or_else(|e| panic!("{}: {e}", file.display()));
    serde_json::from_str(&text).unwrap()
}

fn sidecar(shelf: &Shelf, name: &str) -> Value {
    json(shelf.path(&format!("out/{name}.rollmark.json")))
}

fn start(clip: &Value) -> &str {
    clip["start"]["label"].as_str().unwrap_or("no start")
}

/// A small clip of a clock at 25, in the card's folder.
fn clip(shelf: &Shelf, name: &str, label: &'static str, coding: &str) {
    let clock = BurnedIn::new(label, "25")
        .strip("480x120", 60, (10, 30))
        .seconds("2");
    fs::create_dir_all(shelf.path("card").join(name).parent().unwrap()).unwrap();
    shelf.clip(&format!("card/{name}"), &clock, coding);
}

/// Every file below a folder, with a hash of its bytes.
fn hashes(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut found = BTreeMap::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(hashes(&path));
        } else {
            let hash = Sha256::digest(fs::read(&path).unwrap()).to_vec();
            found.insert(path, hash);
        }
    }
    found
}

#[test]
fn a_bad_file_never_stops_the_rest_and_nothing_on_the_card_changes() {
    let shelf = Shelf::new();
    clip(&shelf, "A001.mov", "10:00:00:00", H264);
    clip(&shelf, "A002.mp4", "11:00:00:00", H264);
    fs::create_dir(shelf.path("card/day two")).unwrap();
    fs::rename(
        shelf.path("card/A002.mp4"),
        shelf.path("card/day two/A002.mp4"),
    )
    .unwrap();
    clip(&shelf, "whole.mp4", "12:00:00:00", H264);
    clip(
        &shelf,
        "fast.mp4",
        "13:00:00:00",
        &format!("{H264} -movflags +faststart"),
    );
    let cut = |from: &str, to: &str| {
        let bytes = fs::read(shelf.path("card").join(from)).unwrap();
        fs::write(shelf.path("card").join(to), &bytes[..bytes.len() * 7 / 10]).unwrap();
        fs::remove_file(shelf.path("card").join(from)).unwrap();
    };
    // The index of the first lies behind the pictures and is lost, that of the second is kept.
    cut("whole.mp4", "no-index.mp4");
    cut("fast.mp4", "cut-off.mp4");
    fs::write(shelf.path("card/empty.mov"), b"").unwrap();
    fs::write(shelf.path("card/text.MOV"), "not a movie\n").unwrap();
    fs::write(shelf.path("card/notes.txt"), "rain at noon\n").unwrap();
    fs::create_dir(shelf.path("card/folder.MP4")).unwrap();
    let before = hashes(&shelf.path("card"));

    let said = run(&shelf, &[], 1);

    assert_eq!(hashes(&shelf.path("card")), before, "the card was changed");
    assert_eq!(start(&sidecar(&shelf, "A001.mov")), "10:00:00:00");
    assert_eq!(start(&sidecar(&shelf, "day two/A002.mp4")), "11:00:00:00");
    assert_eq!(start(&sidecar(&shelf, "cut-off.mp4")), "13:00:00:00");
    for (name, code) in [
        ("no-index.mp4", "no_index"),
        ("empty.mov", "empty_file"),
        ("text.MOV", "not_video"),
    ] {
        let object = sidecar(&shelf, name);
        assert_eq!(object["verdict"], "failed", "{name}");
        assert_eq!(object["reasons"][0]["code"], code, "{name}");
    }
    let whole = json(shelf.path("out/card.json"));
    let names: Vec<_> = whole["clips"]
        .as_array()
        .unwrap()
        .iter()
        .map(|c| &c["name"])
        .collect();
    assert_eq!(names.len(), 6, "{names:?}");
    let skipped = whole["skipped"].as_array().unwrap();
    assert!(
        skipped.iter().any(|s| s["name"] == "notes.txt"),
        "{skipped:?}"
    );
    // One object, the same clip objects as the sidecars.
    for clip in whole["clips"].as_array().unwrap() {
        let mut clip = clip.as_object().unwrap().clone();
        let file = clip.remove("sidecar").unwrap();
        let name = clip.remove("name").unwrap();
        clip.remove("camera").unwrap();
        let kept = json(shelf.path("out").join(file.as_str().unwrap()));
        assert_eq!(Value::Object(clip), kept, "{name}");
    }
    let page = fs::read_to_string(shelf.path("out/report.html")).unwrap();
    assert!(page.contains("A002.mp4") && page.contains("11:00:00:00"));
    assert!(said.contains("6 clips: 3 sure, 3 failed."), "{said}");
    assert!(said.contains("report.html"), "{said}");
}

#[test]
fn chapters_are_ordered_their_gaps_measured_and_starts_carried_on() {
    let shelf = Shelf::new();
    let coding =
        format!("{H264} -timecode 10:00:00:00 -metadata creation_time=2026-05-28T12:40:43Z");
    clip(&shelf, "QX010042.MP4", "10:00:00:00", &coding);
    clip(&shelf, "QX010043.MP4", "11:00:00:00", &coding);
    clip(&shelf, "QX020042.MP4", "10:00:02:00", &coding);
    clip(&shelf, "QX030042.MP4", "10:00:04:03", &coding);
    // The fourth chapter shows no clock.
    shelf.ffmpeg(&format!(
        "-f lavfi -i mandelbrot=s=480x120:r=25 -t 1 {H264} card/QX040042.MP4"
    ));
    run(&shelf, &[], 1);
    let whole = json(shelf.path("out/card.json"));
    let clips = whole["clips"].as_array().unwrap();
    let told: Vec<_> = clips
        .iter()
        .map(|clip| {
            (
                clip["name"].as_str().unwrap(),
                start(clip),
                clip["chapter"]["gap_frames"].as_i64(),
            )
        })
        .collect();
    // 50 frames each: 10:00:02:00 follows at once, 10:00:04:03 three frames late, and what
    // begins at 10:00:04:03 ends at 10:00:06:03.
    assert_eq!(
        told,
        [
            ("QX010042.MP4", "10:00:00:00", None),
            ("QX020042.MP4", "10:00:02:00", Some(0)),
            ("QX030042.MP4", "10:00:04:03", Some(3)),
            ("QX040042.MP4", "10:00:06:03", None),
            ("QX010043.MP4", "11:00:00:00", None),
        ]
    );
    let inherited = &clips[3];
    assert_eq!(inherited["verdict"], "unsure");
    assert_eq!(inherited["reasons"][0]["code"], "assumed_gapless");
    assert!(
        inherited["start"]["inherited_from"]
            .as_str()
            .unwrap()
            .ends_with("QX030042.MP4"),
        "{inherited:#}"
    );
}

#[test]
fn a_second_run_reads_nothing_again_and_leaves_the_same_bytes() {
    let shelf = Shelf::new();
    clip(&shelf, "A001.mov", "10:00:00:00", H264);
    clip(&shelf, "A002.mov", "10:05:00:00", H264);
    run(&shelf, &["--jobs", "2"], 0);
    let first = hashes(&shelf.path("out"));
    let said = run(&shelf, &["--jobs", "1"], 0);
    assert!(said.contains("All from an earlier run"), "{said}");
    assert_eq!(hashes(&shelf.path("out")), first);
    // A clip that was replaced is read again, and only that.
    clip(&shelf, "A002.mov", "10:07:00:00", H264);
    let said = run(&shelf, &[], 0);
    assert!(said.contains("1 of them from an earlier run"), "{said}");
    assert_eq!(start(&sidecar(&shelf, "A002.mov")), "10:07:00:00");
    // Another setting that matters reads all again.
    let said = run(&shelf, &["--lag", "40"], 0);
    assert!(!said.contains("earlier run"), "{said}");
}

#[test]
fn what_the_next_tool_reads_is_written_once_and_never_over_other_files() {
    let shelf = Shelf::new();
    clip(
        &shelf,
        "A001.mov",
        "10:00:00:00",
        &format!("{H264} -timecode 01:00:00:00"),
    );
    clip(&shelf, "B/B001.avi", "10:00:10:00", "-c:v mjpeg -q:v 3");
    let list = "xmp,otio,edl,csv,copy,preview";
    run(&shelf, &["--write", list], 0);
    let first = hashes(&shelf.path("out"));
    for name in [
        "A001.xmp",
        "B/B001.xmp",
        "timeline.otio",
        "timeline.edl",
        "clips.csv",
        "A001.mov",
        "A001.mov.preview.mp4",
        "B/B001.avi.preview.mp4",
        "report.html",
        "card.json",
    ] {
        assert!(
            first.contains_key(&shelf.path("out").join(name)),
            "{name} is missing"
        );
    }
    let timecode = shelf.probe("out/A001.mov", "stream_tags=timecode");
    assert_eq!(
        timecode,
        ["10:00:00:00"],
        "the copy carries the filmed clock"
    );
    let copied = shelf.probe("out/B/B001.avi.mov", "stream_tags=timecode");
    assert_eq!(copied, ["10:00:10:00"]);
    // The same again: nothing is touched.
    run(&shelf, &["--write", list], 0);
    assert_eq!(hashes(&shelf.path("out")), first);
    // A list that somebody worked on is kept, and the run says so.
    fs::write(shelf.path("out/timeline.edl"), "TITLE: MY CUT\n").unwrap();
    let said = run(&shelf, &["--write", list], 2);
    assert!(said.contains("timeline.edl: not replaced"), "{said}");
    let kept = fs::read_to_string(shelf.path("out/timeline.edl")).unwrap();
    assert_eq!(kept, "TITLE: MY CUT\n");
}

#[test]
fn corrections_flow_through_every_output_and_can_be_taken_back() {
    let shelf = Shelf::new();
    clip(&shelf, "A001.mov", "10:00:00:00", H264);
    let file = shelf.path("corrections.toml");
    fs::write(
        &file,
        "[[clip]]\nname = \"A001.mov\"\nstart = \"09:59:59:00\"\nremark = \"the display was a second fast\"\n",
    )
    .unwrap();
    let file = file.to_str().unwrap().to_owned();
    let more = ["--corrections", &file, "--write", "csv,copy"];
    run(&shelf, &more, 0);
    let object = sidecar(&shelf, "A001.mov");
    assert_eq!(start(&object), "09:59:59:00");
    assert_eq!(object["by_hand"]["what"], "set");
    assert_eq!(object["by_hand"]["read_start"]["label"], "10:00:00:00");
    let copied = shelf.probe("out/A001.mov", "stream_tags=timecode");
    assert_eq!(copied, ["09:59:59:00"]);
    let rows = fs::read_to_string(shelf.path("out/clips.csv")).unwrap();
    assert!(rows.contains("09:59:59:00"), "{rows}");
    run(&shelf, &["--write", "csv,copy"], 0);
    assert_eq!(start(&sidecar(&shelf, "A001.mov")), "10:00:00:00");
    // A slip of the pen is told.
    fs::write(&file, "[[clip]]\nname = \"a001.mov\"\nreject = true\n").unwrap();
    let said = run(&shelf, &["--corrections", &file], 2);
    assert!(
        said.contains("a001.mov") && said.contains("did you mean `A001.mov`?"),
        "{said}"
    );
}

#[test]
fn events_come_as_json_lines_for_programs() {
    let shelf = Shelf::new();
    clip(&shelf, "A001.mov", "10:00:00:00", H264);
    let output = card(&shelf, &["--json"]).output().unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    let events: Vec<Value> = text
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    let kinds: Vec<_> = events
        .iter()
        .map(|e| e["event"].as_str().unwrap())
        .collect();
    assert_eq!(kinds, ["scanned", "planned", "began", "finished", "done"]);
    assert_eq!(events[3]["clip"], "A001.mov");
    assert_eq!(events[3]["start"], "10:00:00:00");
    assert_eq!(events[4]["complete"], true);
}

#[test]
fn a_folder_that_is_missing_or_empty_is_told_plainly() {
    let shelf = Shelf::new();
    let said = run(&shelf, &[], 2);
    assert!(said.contains("card"), "{said}");
    fs::create_dir(shelf.path("card")).unwrap();
    let said = run(&shelf, &[], 1);
    assert!(said.contains("0 clips. It took"), "{said}");
    assert!(
        said.contains("No clip was found: there are no files"),
        "{said}"
    );
}

#[test]
fn a_clip_that_cannot_be_copied_needs_a_look_and_stops_nothing() {
    let shelf = Shelf::new();
    let coding = format!("{H264} -movflags +faststart");
    clip(&shelf, "A001.mp4", "10:00:00:00", &coding);
    clip(&shelf, "A002.mp4", "10:05:00:00", &coding);
    let cut = shelf.path("card/A001.mp4");
    common::movie::cut(&cut, &cut, 90);
    let said = run(&shelf, &["--write", "copy"], 1);
    assert!(said.contains("A001.mp4: is cut off"), "{said}");
    assert!(!shelf.path("out/A001.mp4").exists());
    // Who opens the results later is told, too.
    let notes = json(shelf.path("out/card.json"))["notes"].to_string();
    let page = fs::read_to_string(shelf.path("out/report.html")).unwrap();
    for told in [notes, page] {
        assert!(told.contains("A001.mp4: is cut off"), "{told}");
    }
    let copied = shelf.probe("out/A002.mp4", "stream_tags=timecode");
    assert_eq!(copied, ["10:05:00:00"]);
}

/// By an NTSC clock that may count drop-frame or not, the label of a clip of 25 is one of two.
#[test]
fn a_clip_whose_own_label_is_open_is_in_no_file_and_told_once() {
    let shelf = Shelf::new();
    clip(&shelf, "A001.mov", "10:00:00:00", H264);
    let file = shelf.path("corrections.toml");
    let said = "[[clip]]\nname = \"A001.mov\"\nstart = \"10:00:00:12\"\nrate = 29.97\n";
    fs::write(&file, said).unwrap();
    let file = file.to_str().unwrap().to_owned();
    let more = ["--corrections", &file, "--write", "xmp,otio,edl,csv,copy"];
    let said = run(&shelf, &more, 1);
    let told =
        "A001.mov: has no XMP sidecar, no copy, no place in a timeline: nothing tells whether";
    assert_eq!(said.matches(told).count(), 1, "{said}");
    assert_eq!(said.matches("nothing tells whether").count(), 1, "{said}");
    assert_eq!(start(&sidecar(&shelf, "A001.mov")), "10:00:00:12");
    for name in ["A001.mov", "A001.xmp"] {
        assert!(!shelf.path("out").join(name).exists(), "{name}");
    }
}

/// Its start is sure, and a third of what was filmed is not there.
#[test]
fn a_clip_that_ends_early_is_told_on_the_screen() {
    let shelf = Shelf::new();
    let coding = format!("{H264} -movflags +faststart");
    clip(&shelf, "A001.mp4", "10:00:00:00", &coding);
    clip(&shelf, "A002.mp4", "10:05:00:00", &coding);
    let cut = shelf.path("card/A001.mp4");
    common::movie::cut(&cut, &cut, 70);
    let said = run(&shelf, &[], 0);
    assert!(said.contains("2 clips: 2 sure."), "{said}");
    assert!(said.contains("The file ends early"), "{said}");
    assert!(
        said.contains("A001.mp4 ends early; copy it from the card again."),
        "{said}"
    );
    let whole = json(shelf.path("out/card.json"));
    assert_eq!(whole["notes"][0]["code"], "clips_cut_short", "{whole:#}");
    // In plain view beside the clip, and among its remarks.
    let page = fs::read_to_string(shelf.path("out/report.html")).unwrap();
    assert_eq!(page.matches("The file ends early").count(), 2);
    let read = Command::cargo_bin("rollmark")
        .unwrap()
        .arg("read")
        .arg(&cut)
        .output()
        .unwrap();
    let table = String::from_utf8(read.stdout).unwrap();
    assert!(table.contains("The file ends early"), "{table}");
}

/// A run whose events are read while it goes on, and which can be interrupted.
struct Watched {
    child: std::process::Child,
    events: std::io::Lines<BufReader<std::process::ChildStdout>>,
    complaints: std::io::Lines<BufReader<std::process::ChildStderr>>,
}

impl Watched {
    fn begin(shelf: &Shelf) -> Self {
        let mut child = std::process::Command::new(assert_cmd::cargo::cargo_bin!("rollmark"))
            .arg("card")
            .arg(shelf.path("card"))
            .arg("--out")
            .arg(shelf.path("out"))
            .args(["--json", "--jobs", "1"])
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let events = BufReader::new(child.stdout.take().unwrap()).lines();
        let complaints = BufReader::new(child.stderr.take().unwrap()).lines();
        Self {
            child,
            events,
            complaints,
        }
    }

    fn event(&mut self) -> Option<String> {
        let line = self.events.next()?.unwrap();
        let event: Value = serde_json::from_str(&line).unwrap();
        let words = |key: &str| event[key].as_str().unwrap_or_default().to_owned();
        Some(format!("{} {}", words("event"), words("clip")))
    }

    fn wait_for(&mut self, wanted: &str) {
        while self.event().expect("the run goes on") != wanted {}
    }

    /// As Ctrl-C does.
    fn interrupt(&mut self) {
        let pid = self.child.id().to_string();
        let status = std::process::Command::new("kill")
            .args(["-INT", &pid])
            .status();
        assert!(status.unwrap().success());
    }

    /// What is told until the end, and how the run ended.
    fn rest(mut self) -> (Vec<String>, Option<i32>) {
        let told = std::iter::from_fn(|| self.event()).collect();
        (told, self.child.wait().unwrap().code())
    }
}

#[test]
fn the_first_ctrl_c_finishes_the_clip_at_hand_and_the_second_stops_at_once() {
    let shelf = Shelf::new();
    clip(&shelf, "A.mov", "10:00:00:00", H264);
    // No clock, and all of it is looked through.
    shelf.ffmpeg(&format!(
        "-f lavfi -i mandelbrot=s=640x360:r=25 -t 20 {H264} -g 25 card/B.mov"
    ));
    clip(&shelf, "C.mov", "10:05:00:00", H264);

    let mut run = Watched::begin(&shelf);
    run.wait_for("began B.mov");
    run.interrupt();
    let said = run.complaints.next().unwrap().unwrap();
    assert!(said.contains("Ctrl-C again stops at once"), "{said}");
    run.interrupt();
    assert_eq!(run.rest(), (vec!["done ".to_owned()], Some(2)));
    let left = |name: &str| shelf.path("out").join(name).exists();
    assert!(left("A.mov.rollmark.json") && !left("B.mov.rollmark.json"));

    let mut run = Watched::begin(&shelf);
    run.wait_for("began B.mov");
    run.interrupt();
    let told = ["finished B.mov", "done "].map(str::to_owned).to_vec();
    assert_eq!(run.rest(), (told, Some(2)));
    assert!(left("B.mov.rollmark.json") && !left("C.mov.rollmark.json"));
    let whole = json(shelf.path("out/card.json"));
    assert_eq!(whole["notes"][0]["code"], "stopped", "{whole:#}");

    let (told, status) = Watched::begin(&shelf).rest();
    let begun: Vec<_> = told.iter().filter(|e| e.starts_with("began")).collect();
    assert_eq!(begun, ["began C.mov"]);
    assert_eq!(status, Some(0));
    let leftovers = hashes(&shelf.path("out"));
    let is_leftover = |file: &&PathBuf| file.extension().is_some_and(|e| e == "part");
    assert_eq!(leftovers.keys().find(is_leftover), None);
}

/// A camera whose clock stands in another zone, and whose header is written when the take ends.
#[test]
fn the_machines_zone_plays_no_part_and_a_likely_zone_of_the_camera_is_told() {
    let shelf = Shelf::new();
    let made = |time: &str| format!("{H264} -metadata creation_time=2021-05-28T{time}Z");
    clip(
        &shelf,
        "VID_20210528_154038.mp4",
        "15:40:38:00",
        &made("12:40:43"),
    );
    shelf.ffmpeg(&format!(
        "-f lavfi -i mandelbrot=s=480x120:r=25 -t 2 {} card/VID_20210528_155038.mp4",
        made("12:50:43")
    ));
    let told = ["UTC", "Asia/Kathmandu", "America/St_Johns"].map(|zone| {
        let _ = fs::remove_dir_all(shelf.path("out"));
        let status = card(&shelf, &[]).env("TZ", zone).output().unwrap().status;
        assert_eq!(status.code(), Some(0), "{zone}");
        fs::read(shelf.path("out/card.json")).unwrap()
    });
    assert!(told[0] == told[1] && told[1] == told[2]);
    let whole: Value = serde_json::from_slice(&told[0]).unwrap();
    let [slated, unslated] = [&whole["clips"][0], &whole["clips"][1]];
    assert_eq!(start(slated), "15:40:38:00");
    assert_eq!(unslated["verdict"], "none");
    assert_eq!(unslated["start"], Value::Null);
    // Ten minutes later by the same clock: 15:50:38, whichever end of the take it tells.
    let bounds = &unslated["estimate"]["seconds_bounds"];
    let [low, high] = [0, 1].map(|at| bounds[at].as_f64().unwrap());
    let truth = f64::from((15 * 60 + 50) * 60 + 38);
    assert!(
        low <= truth && truth <= high && high - low < 10.0,
        "{bounds}"
    );
    assert!(
        whole["cameras"].to_string().contains("zone_offset_likely"),
        "{whole:#}"
    );
}
