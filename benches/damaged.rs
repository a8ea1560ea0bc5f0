//! Reads clips that were damaged on purpose, each in a process of its own with a limit on
//! memory and time: no crash, no hang, and never `sure` of another start than the whole
//! clip's. Prints what came out, by container and kind of damage.
//!
//! `cargo bench --bench damaged -- [COUNT] [FIRST_SEED] [KEEP_DIR]`: clips that went wrong
//! are kept in KEEP_DIR.

#[path = "../tests/common/mod.rs"]
mod common;

use common::{BurnedIn, Shelf};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::Value;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::{fs, thread};

/// Address space of one run, bytes: several times what a whole clip needs.
const MOST_BYTES: u64 = 3 << 30;
/// Time of one run, seconds.
const MOST_S: u64 = 30;

const START: &str = "10:00:00:00";

/// Containers, and how FFmpeg is told to write them.
const SOURCES: [(&str, &str); 10] = [
    ("mov", "-c:v libx264 -pix_fmt yuv420p -timecode 01:00:00:00"),
    (
        "mp4",
        "-c:v libx264 -pix_fmt yuv420p -bf 2 -g 12 -movflags +faststart",
    ),
    (
        "frag.mp4",
        "-c:v libx264 -pix_fmt yuv420p -g 12 -movflags frag_keyframe+empty_moov",
    ),
    (
        "hevc.mp4",
        "-c:v libx265 -x265-params log-level=none -pix_fmt yuv420p10le",
    ),
    ("prores.mov", "-c:v prores_ks"),
    ("mkv", "-c:v libx264 -pix_fmt yuv420p"),
    (
        "webm",
        "-c:v libvpx-vp9 -b:v 1M -deadline realtime -cpu-used 8",
    ),
    ("avi", "-c:v mjpeg -q:v 4"),
    ("mts", "-c:v libx264 -pix_fmt yuv420p -f mpegts"),
    ("mxf", "-c:v mpeg2video -q:v 4"),
];

#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Damage {
    Flips,
    Cut,
    Splice,
    AbsurdNumber,
    Zeros,
    Repeat,
}

impl Damage {
    const ALL: [(Self, &str); 6] = [
        (Self::Flips, "bits flipped"),
        (Self::Cut, "cut off"),
        (Self::Splice, "pieces moved"),
        (Self::AbsurdNumber, "absurd numbers"),
        (Self::Zeros, "zeroed"),
        (Self::Repeat, "pieces repeated"),
    ];

    fn apply(self, bytes: &mut Vec<u8>, rng: &mut ChaCha8Rng) {
        let len = bytes.len();
        // Half of the damage hits the first or last four kilobytes, where containers keep
        // their tables.
        let place = |rng: &mut ChaCha8Rng| match rng.random_range(0..4) {
            0 => rng.random_range(0..len.min(4096)),
            1 => len - 1 - rng.random_range(0..len.min(4096)),
            _ => rng.random_range(0..len),
        };
        match self {
            Self::Flips => {
                for _ in 0..1 << rng.random_range(0..8) {
                    let at = place(rng);
                    bytes[at] ^= 1 << rng.random_range(0..8);
                }
            }
            Self::Cut => bytes.truncate(rng.random_range(0..len)),
            Self::Splice => {
                let (from, to) = (place(rng), place(rng));
                let size = rng.random_range(1..4096).min(len - from.max(to));
                let piece = bytes[from..from + size].to_vec();
                bytes[to..to + size].copy_from_slice(&piece);
            }
            Self::AbsurdNumber => {
                const NUMBERS: [u64; 8] = [
                    0,
                    1,
                    u64::MAX,
                    1 << 63,
                    0x7fff_ffff_ffff_ffff,
                    0xffff_ffff,
                    0x7fff_ffff,
                    0x8000_0000,
                ];
                for _ in 0..rng.random_range(1..8) {
                    let number = NUMBERS[rng.random_range(0..NUMBERS.len())].to_be_bytes();
                    let width = [2, 4, 8][rng.random_range(0..3)];
                    let at = place(rng);
                    let width = width.min(len - at);
                    bytes[at..at + width].copy_from_slice(&number[8 - width..]);
                }
            }
            Self::Zeros => {
                let at = place(rng);
                let size = rng.random_range(1..16_384).min(len - at);
                bytes[at..at + size].fill(0);
            }
            Self::Repeat => {
                let at = place(rng);
                let size = rng.random_range(1..4096).min(len - at);
                let piece = bytes[at..at + size].repeat(rng.random_range(1..8));
                bytes.splice(at..at, piece);
            }
        }
    }
}

/// What a run of the program came to.
enum End {
    Verdict(String, Option<String>),
    Wrong(String),
}

fn run(program: &Path, clip: &Path) -> End {
    // `timeout` and `prlimit` are in every Debian system (coreutils, util-linux).
    let output = Command::new("timeout")
        .args(["--signal=KILL", &MOST_S.to_string()])
        .args(["prlimit", &format!("--as={MOST_BYTES}"), "--core=0"])
        .arg(program)
        .args(["read", "--json"])
        .arg(clip)
        .output()
        .expect("timeout and prlimit start");
    let said = String::from_utf8_lossy(&output.stderr);
    match output.status.code() {
        Some(0 | 1) => {}
        Some(code) => return End::Wrong(format!("status {code}: {said}")),
        None => return End::Wrong(format!("killed, after {MOST_S} s or by itself: {said}")),
    }
    match serde_json::from_slice::<Value>(&output.stdout) {
        Ok(object) => End::Verdict(
            object["verdict"].as_str().unwrap_or_default().to_owned(),
            object["start"]["label"].as_str().map(str::to_owned),
        ),
        Err(error) => End::Wrong(format!("no JSON ({error}): {said}")),
    }
}

fn main() {
    let mut args = std::env::args().skip(1).filter(|a| a != "--bench");
    let count: usize = args.next().map_or(2000, |n| n.parse().expect("a number"));
    let first_seed: u64 = args.next().map_or(1, |n| n.parse().expect("a number"));
    let keep: Option<PathBuf> = args.next().map(PathBuf::from);
    let program = Path::new(env!("CARGO_BIN_EXE_rollmark"));
    let shelf = Shelf::new();
    let clock = BurnedIn::new(START, "25")
        .strip("480x120", 60, (10, 30))
        .seconds("2");
    let sources: Vec<Vec<u8>> = SOURCES
        .iter()
        .map(|(name, coding)| {
            let file = shelf.clip(&format!("whole.{name}"), &clock, coding);
            match run(program, &file) {
                End::Verdict(verdict, Some(label)) if verdict == "sure" && label == START => {}
                End::Verdict(verdict, label) => panic!("{name}, whole: {verdict} {label:?}"),
                End::Wrong(what) => panic!("{name}, whole: {what}"),
            }
            fs::read(file).expect("it was just written")
        })
        .collect();
    let next = AtomicUsize::new(0);
    let table: Mutex<BTreeMap<(usize, usize), BTreeMap<String, usize>>> = Mutex::default();
    let wrong: Mutex<Vec<String>> = Mutex::default();
    let workers = thread::available_parallelism().map_or(1, usize::from);
    thread::scope(|scope| {
        for _ in 0..workers {
            scope.spawn(|| {
                loop {
                    let index = next.fetch_add(1, Ordering::Relaxed);
                    if index >= count {
                        break;
                    }
                    let (source, damage) = (index % SOURCES.len(), index / SOURCES.len());
                    let (damage, kind) = Damage::ALL[damage % Damage::ALL.len()];
                    let seed = first_seed + index as u64;
                    let mut bytes = sources[source].clone();
                    let mut rng = ChaCha8Rng::seed_from_u64(seed);
                    damage.apply(&mut bytes, &mut rng);
                    let name = format!("damaged-{seed}.{}", SOURCES[source].0);
                    let file = shelf.path(&name);
                    fs::write(&file, &bytes).expect("room for a small clip");
                    let end = run(program, &file);
                    let (word, fault) = match end {
                        End::Verdict(verdict, label) => {
                            let is_wrong = verdict == "sure" && label.as_deref() != Some(START);
                            let fault = is_wrong.then(|| format!("sure of {label:?}"));
                            (verdict, fault)
                        }
                        End::Wrong(what) => ("WRONG".to_owned(), Some(what)),
                    };
                    if let Some(fault) = fault {
                        if let Some(keep) = &keep {
                            fs::create_dir_all(keep).expect("a folder to keep clips in");
                            fs::copy(&file, keep.join(&name)).expect("room to keep a clip");
                        }
                        let line = format!("{name}, {kind}: {fault}");
                        eprintln!("{line}");
                        wrong.lock().expect("nobody panics here").push(line);
                    }
                    fs::remove_file(&file).expect("it is ours");
                    let mut table = table.lock().expect("nobody panics here");
                    let row = table.entry((source, damage as usize)).or_default();
                    *row.entry(word).or_default() += 1;
                }
            });
        }
    });
    let table = table.into_inner().expect("all threads have ended");
    println!("{:<12} {:<16} verdicts", "container", "damage");
    for ((source, damage), row) in &table {
        let row: Vec<String> = row.iter().map(|(word, n)| format!("{n} {word}")).collect();
        println!(
            "{:<12} {:<16} {}",
            SOURCES[*source].0,
            Damage::ALL[*damage].1,
            row.join(", ")
        );
    }
    let wrong = wrong.into_inner().expect("all threads have ended");
    println!(
        "{count} damaged clips: {} crashed, hung, outgrew {} GiB or were sure of a wrong start",
        wrong.len(),
        MOST_BYTES >> 30
    );
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
