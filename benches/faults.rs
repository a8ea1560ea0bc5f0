//! What befalls a run from outside: killed at any moment, a disk that is full, folders that
//! may not be written or read, a clock set back, a card pulled. After each, every file that
//! was written is whole, the clips are as they were, and the same command again leaves the
//! very bytes of a run that nothing befell.
//!
//! `cargo bench --bench faults -- [KILLS] [FIRST_SEED]`: so many runs are killed; the other
//! faults are tried once each, and only as root, who may mount a small disk and become
//! nobody.

mod arguments;
#[path = "../tests/common/mod.rs"]
mod common;

use arguments::Arguments;
use common::{BurnedIn, Shelf};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::Value;
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use std::fs;
use std::io::{BufRead, BufReader};
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::{Command, ExitStatus, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};

/// Clips on the card: a few films under many names.
const CLIPS: usize = 4;
/// Everything that is written, but for previews, which are as long to make as all the rest.
const WRITE: &str = "copy,xmp,otio,edl,csv";
/// A small disk holds the records of some clips, and not all that is written.
const SMALL_DISK: &str = "size=400k";
/// `nobody` of Debian.
const NOBODY: &str = "65534";

struct Desk {
    shelf: Shelf,
    card: PathBuf,
    /// Every file below the card as it was at first.
    sources: BTreeMap<String, Vec<u8>>,
    /// What a run leaves that nothing befell.
    undisturbed: BTreeMap<String, Vec<u8>>,
    took: Duration,
}

impl Desk {
    fn new() -> Self {
        let shelf = Shelf::new();
        let card = shelf.path("card");
        fs::create_dir_all(card.join("DCIM")).expect("a new folder");
        for (film, label) in ["10:00:00:00", "11:00:00:00", "12:00:00:00"]
            .into_iter()
            .enumerate()
        {
            let clock = BurnedIn::new(label, "25")
                .strip("480x120", 60, (10, 30))
                .seconds("2");
            shelf.clip(
                &format!("film{film}.mov"),
                &clock,
                "-c:v libx264 -pix_fmt yuv420p",
            );
        }
        for clip in 0..CLIPS {
            // Copies, not links: each is a file of its own, as on a card.
            fs::copy(
                shelf.path(&format!("film{}.mov", clip % 3)),
                card.join(format!("DCIM/K{clip:03}.mov")),
            )
            .expect("room for a small clip");
        }
        let mut desk = Self {
            sources: files(&card),
            shelf,
            card,
            undisturbed: BTreeMap::new(),
            took: Duration::ZERO,
        };
        // The first is slow for want of a warm cache.
        for _ in 0..2 {
            let out = desk.fresh_out();
            let began = Instant::now();
            let said = desk.run(&out);
            desk.took = began.elapsed();
            assert!(said.0.success(), "nothing befell this run: {}", said.1);
            desk.undisturbed = files(&out);
        }
        desk
    }

    fn command(&self, out: &Path) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_rollmark"));
        command
            .arg("card")
            .arg(&self.card)
            .arg("--out")
            .arg(out)
            .args(["--write", WRITE])
            .stdin(Stdio::null());
        command
    }

    fn run(&self, out: &Path) -> (ExitStatus, String) {
        end_of(&mut self.command(out))
    }

    /// A folder for one run, in the same place and of the same name as that of the run that
    /// nothing befell: some files name their neighbours.
    fn fresh_out(&self) -> PathBuf {
        let out = self.shelf.path("out");
        if out.exists() {
            fs::remove_dir_all(&out).expect("it is ours");
        }
        out
    }

    /// Checks what a fault left, and what the same command makes of it.
    fn must_recover(&self, what: &str, out: &Path) {
        let mut found = files(out);
        for (name, bytes) in &found {
            assert!(is_whole(name, bytes), "{what}: {name} is not whole");
        }
        assert!(files(&self.card) == self.sources, "{what}: a clip changed");
        let said = self.run(out);
        assert!(said.0.success(), "{what}, again: {}", said.1);
        found = files(out);
        let names = |files: &BTreeMap<String, Vec<u8>>| files.keys().cloned().collect::<Vec<_>>();
        assert_eq!(names(&found), names(&self.undisturbed), "{what}");
        for (name, bytes) in &self.undisturbed {
            assert!(
                same(name, &found[name], bytes),
                "{what}: {name} has other bytes than if nothing had happened"
            );
        }
        assert!(files(&self.card) == self.sources, "{what}: a clip changed");
    }

    /// Kills one run after `after`; tells whether it was still at work.
    fn kill(&self, after: Duration, out: &Path) -> bool {
        let mut child = self
            .command(out)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("the program starts");
        sleep(after);
        let was_at_work = child.try_wait().expect("it is ours").is_none();
        // SIGKILL: nothing of the program runs after it.
        let _ = child.kill();
        child.wait().expect("it is ours");
        was_at_work
    }
}

fn end_of(command: &mut Command) -> (ExitStatus, String) {
    let output = command.output().expect("the program starts");
    let said = [output.stdout, output.stderr].concat();
    (output.status, String::from_utf8_lossy(&said).into_owned())
}

/// Every file below a folder, with its bytes or, of movies, a hash of them.
fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    fn walk(folder: &Path, top: &Path, found: &mut BTreeMap<String, Vec<u8>>) {
        let Ok(entries) = fs::read_dir(folder) else {
            return;
        };
        for entry in entries {
            let path = entry.expect("it can be listed").path();
            if path.is_dir() {
                walk(&path, top, found);
                continue;
            }
            let bytes = fs::read(&path).expect("it can be read");
            let name = path.strip_prefix(top).expect("it lies below");
            let is_movie = path.extension().is_some_and(|e| e == "mov");
            let kept = match is_movie {
                true => Sha256::digest(&bytes).to_vec(),
                false => bytes,
            };
            found.insert(name.to_string_lossy().into_owned(), kept);
        }
    }
    let mut found = BTreeMap::new();
    walk(folder, folder, &mut found);
    found
}

/// What is not whole must bear another name than what is. Copies are compared by hash
/// afterwards: an incomplete one would not be made again.
fn is_whole(name: &str, bytes: &[u8]) -> bool {
    let is_json = |bytes: &[u8]| serde_json::from_slice::<Value>(bytes).is_ok();
    // Each line of a record begins with the digest of the rest.
    let is_sealed = |line: &[u8]| {
        let digest: String = line
            .get(65..)
            .map(|json| {
                Sha256::digest(json)
                    .iter()
                    .map(|b| format!("{b:02x}"))
                    .collect()
            })
            .unwrap_or_default();
        line.starts_with(digest.as_bytes()) && !digest.is_empty()
    };
    let lines = |bytes: &[u8]| {
        bytes.ends_with(b"\n")
            && bytes
                .split(|b| *b == b'\n')
                .all(|l| l.is_empty() || is_sealed(l))
    };
    let is_temporary = name
        .rsplit('/')
        .next()
        .is_some_and(|n| n.starts_with(".rollmark-"));
    match name.rsplit('.').next() {
        // What says that a clip is being read is written without ado, and may be lost.
        _ if is_temporary || name.contains("/begun/") => true,
        Some("json") if name.starts_with(".rollmark/") => lines(bytes),
        Some("json" | "otio") => is_json(bytes),
        Some("xmp") => bytes.trim_ascii_end().ends_with(b"?>") || bytes.ends_with(b">\n"),
        Some("html") => bytes.trim_ascii_end().ends_with(b"</html>"),
        Some("csv" | "edl") => bytes.ends_with(b"\n"),
        _ => true,
    }
}

/// The same bytes, but for times on disk, which no two runs share: the list of what was
/// written holds them, and is in the order of the writing. Of each file it may say several things,
/// of which the last of a kind counts.
fn same(name: &str, found: &[u8], wanted: &[u8]) -> bool {
    let entries = |bytes: &[u8]| -> BTreeMap<String, String> {
        let text = String::from_utf8_lossy(bytes);
        let values = text
            .lines()
            .filter_map(|line| serde_json::from_str::<Value>(line).ok());
        values
            .map(|mut value| {
                if let Some(made) = value.get_mut("made") {
                    made["stamp"]["changed_ns"] = Value::Null;
                }
                let kinds = ["made", "told", "source"].map(|kind| value[kind].is_null());
                (format!("{} {kinds:?}", value["file"]), value.to_string())
            })
            .collect()
    };
    found == wanted || (name.ends_with("/written") && entries(found) == entries(wanted))
}

fn main() {
    let mut arguments = Arguments::given("faults [KILLS [FIRST_SEED]]");
    let kills: usize = arguments.number(200);
    let first_seed: u64 = arguments.number(1);
    arguments.end();
    let desk = Desk::new();
    let whole_s = desk.took.as_secs_f64();
    println!("{CLIPS} clips, all that is written: {whole_s:.2} s undisturbed");
    kill_often(&desk, kills, first_seed);
    clock_set_back(&desk);
    card_pulled(&desk);
    if is_root() {
        disk_full(&desk);
        nobody_may(&desk);
    } else {
        println!(
            "not root: a full disk, a folder of others and one that cannot be read were not tried"
        );
    }
    assert!(files(&desk.card) == desk.sources, "a clip changed");
    println!("every clip is as it was");
}

fn is_root() -> bool {
    let told = Command::new("id")
        .arg("-u")
        .output()
        .expect("id, of coreutils");
    told.stdout == b"0\n"
}

fn kill_often(desk: &Desk, kills: usize, first_seed: u64) {
    let mut rng = ChaCha8Rng::seed_from_u64(first_seed);
    let (mut killed, mut reruns) = (0, 0);
    while killed < kills {
        let out = desk.fresh_out();
        // Some runs are killed twice before they may finish. What was done by itself when
        // the time came does not count.
        for _ in 0..rng.random_range(1..=2) {
            let share = rng.random_range(0.0..1.0);
            killed += usize::from(desk.kill(desk.took.mul_f64(share), &out));
        }
        reruns += 1;
        desk.must_recover(&format!("killed {killed} times"), &out);
    }
    println!("{killed} runs killed, {reruns} runs after them: the same bytes every time");
}

/// The computer's clock is set back in the middle: clips and results from the future.
fn clock_set_back(desk: &Desk) {
    let out = desk.fresh_out();
    let has_faketime = Command::new("faketime")
        .arg("--version")
        .output()
        .is_ok_and(|output| output.status.success());
    if !has_faketime {
        println!("faketime is not installed: a clock set back was not tried");
        return;
    }
    desk.kill(desk.took.mul_f64(0.5), &out);
    let (status, said) = end_of(
        Command::new("faketime")
            .args(["-f", "-400d", env!("CARGO_BIN_EXE_rollmark"), "card"])
            .arg(&desk.card)
            .arg("--out")
            .arg(&out)
            .args(["--write", WRITE]),
    );
    assert!(status.success(), "clock set back: {said}");
    desk.must_recover("clock set back", &out);
    println!("killed, the clock set 400 days back, and forward again: recovered");
}

/// The card goes away in the middle, and comes back.
fn card_pulled(desk: &Desk) {
    let out = desk.fresh_out();
    let mut child = desk
        .command(&out)
        .args(["--json", "--jobs", "1"])
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("the program starts");
    let events = BufReader::new(child.stdout.take().expect("it was asked for"));
    let mut events = events.lines().map_while(Result::ok);
    let second = events
        .by_ref()
        .filter(|line| line.contains(r#""event":"began""#))
        .nth(1);
    assert!(second.is_some(), "a second clip is begun");
    let away = desk.shelf.path("away");
    fs::rename(&desk.card, &away).expect("it is ours");
    events.for_each(drop);
    let status = child.wait().expect("it is ours");
    fs::rename(&away, &desk.card).expect("it is ours");
    assert!(!status.success(), "the card was gone, and nobody was told");
    desk.must_recover("card pulled", &out);
    println!("card pulled and put back: recovered");
}

/// A disk that takes some results and not all; then there is room.
fn disk_full(desk: &Desk) {
    let out = desk.fresh_out();
    fs::create_dir(&out).expect("a new folder");
    let mount = |words: &[&str]| {
        let status = Command::new(words[0]).args(&words[1..]).arg(&out).status();
        status.is_ok_and(|status| status.success())
    };
    if !mount(&["mount", "-t", "tmpfs", "-o", SMALL_DISK, "none"]) {
        println!("a small disk cannot be mounted here: a full one was not tried");
        return;
    }
    let (status, said) = desk.run(&out);
    // Whatever did not fit, a record or a copy.
    let was_told = said.contains("make room");
    let is_larger = mount(&["mount", "-o", "remount,size=200m"]);
    if is_larger && !status.success() && was_told {
        desk.must_recover("disk full", &out);
    }
    assert!(mount(&["umount"]), "the small disk stays mounted");
    assert!(!status.success() && was_told, "the disk was full: {said}");
    assert!(is_larger, "the small disk cannot be made larger");
    println!("disk full, then room: recovered");
}

/// Run as `nobody`: an output folder of others, and a clip that may not be read.
fn nobody_may(desk: &Desk) {
    let as_nobody = |out: &Path| {
        end_of(
            Command::new("setpriv")
                .args(["--reuid", NOBODY, "--regid", NOBODY, "--clear-groups"])
                .arg(env!("CARGO_BIN_EXE_rollmark"))
                .arg("card")
                .arg(&desk.card)
                .arg("--out")
                .arg(out)
                .args(["--write", WRITE]),
        )
    };
    let mode = |path: &Path, mode: u32| {
        fs::set_permissions(path, fs::Permissions::from_mode(mode)).expect("we are root");
    };
    mode(&desk.shelf.path(""), 0o755);
    let out = desk.fresh_out();
    fs::create_dir(&out).expect("a new folder");
    mode(&out, 0o555);
    let (status, said) = as_nobody(&out);
    assert_eq!(status.code(), Some(2), "a folder of others: {said}");
    assert!(said.contains("cannot write into this folder"), "{said}");
    assert!(files(&out).is_empty(), "something was written");
    mode(&out, 0o777);
    let shut = desk.card.join("DCIM/K002.mov");
    mode(&shut, 0o000);
    let (status, said) = as_nobody(&out);
    mode(&shut, 0o644);
    assert_eq!(
        status.code(),
        Some(1),
        "a clip that may not be read: {said}"
    );
    let sidecar = fs::read(out.join("DCIM/K002.mov.rollmark.json")).expect("a sidecar of failure");
    let sidecar: Value = serde_json::from_slice(&sidecar).expect("JSON");
    assert_eq!(sidecar["reasons"][0]["code"], "cannot_open", "{said}");
    desk.must_recover("a clip that could not be read", &out);
    println!("a folder of others, a clip that may not be read: told, and recovered");
}
