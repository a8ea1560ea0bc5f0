//! Reads clips that were damaged on purpose and writes all that can be written of them, each in a
//! process of its own with a limit on memory and time: no crash, no fault that is caught, no hang,
//! no byte of the clip changed, and never `sure` of a start that the frames which are left do not
//! show. Prints what came out, by container and kind of damage.
//!
//! Damage may take frames from the head, or add some: then the start is another one. Which,
//! FFmpeg's own program tells: every frame that it still decodes bit for bit as in the whole
//! clip says what the clock showed at its time. A start within one frame of that is right,
//! as everywhere: where a frame was lost inside the slate, the frames before it and those
//! behind it show starts one apart.
//!
//! `cargo bench --bench damaged -- [COUNT] [FIRST_SEED] [KEEP_DIR]`: clips that went wrong
//! are kept in KEEP_DIR.

mod arguments;
#[path = "../tests/common/mod.rs"]
mod common;
mod cores;
#[path = "damaged/harm.rs"]
mod harm;

use arguments::Arguments;
use common::{BurnedIn, Shelf};
use cores::on_all_cores;
use harm::Damage;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rollmark::fault::FAULT;
use rollmark::timecode::{ClockForm, Rate};
use serde_json::Value;
use std::collections::{BTreeMap, HashMap};
use std::fs;
use std::path::Path;
use std::process::Command;
use std::sync::Mutex;

/// Address space of one run, bytes: several times what a whole clip needs. AddressSanitizer takes
/// terabytes of it for its own: where `scripts/test asan` sets its options, it limits memory.
const MOST_BYTES: u64 = 3 << 30;
const SANITIZER: &str = "ASAN_OPTIONS";
/// Processor time of one run, seconds: the machine may have other work to do.
const MOST_S: u64 = 30;
/// ... and time on the wall, for runs that wait instead of working.
const MOST_WAIT_S: u64 = 600;

const START: &str = "10:00:00:00";

/// What is written of each clip, but for previews, which take longer than all the rest.
const WRITE: &str = "copy,xmp,otio,edl,csv";

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

/// What a run of the program came to.
enum End {
    Verdict(String, Option<String>),
    Wrong(String),
}

fn run(program: &Path, clip: &Path) -> End {
    let most_bytes = match std::env::var_os(SANITIZER) {
        Some(_) => "unlimited".to_owned(),
        None => MOST_BYTES.to_string(),
    };
    let out = tempfile::tempdir().expect("a temporary folder");
    // `timeout` and `prlimit` are in every Debian system (coreutils, util-linux).
    let output = Command::new("timeout")
        .args(["--signal=KILL", &MOST_WAIT_S.to_string()])
        .args(["prlimit", &format!("--as={most_bytes}"), "--core=0"])
        .arg(format!("--cpu={MOST_S}"))
        .arg(program)
        .args(["read", "--json", "--with-unsure", "--write", WRITE, "--out"])
        .args([out.path(), clip])
        .output()
        .expect("timeout and prlimit start");
    let said = String::from_utf8_lossy(&output.stderr);
    match output.status.code() {
        // 2: something could not be written, a copy of what cannot be read to its end say.
        Some(0..=2) => {}
        Some(code) => return End::Wrong(format!("status {code}: {said}")),
        None => return End::Wrong(format!("killed, after {MOST_S} s or by itself: {said}")),
    }
    let object = match serde_json::from_slice::<Value>(&output.stdout) {
        Ok(object) => object,
        Err(error) => return End::Wrong(format!("no JSON ({error}): {said}")),
    };
    // The program catches its own faults, so that the other clips are read.
    let reasons = object["reasons"].as_array().into_iter().flatten();
    match reasons.into_iter().find(|reason| reason["code"] == FAULT) {
        Some(fault) => End::Wrong(fault["sentence"].to_string()),
        None => End::Verdict(
            object["verdict"].as_str().unwrap_or_default().to_owned(),
            object["start"]["label"].as_str().map(str::to_owned),
        ),
    }
}

/// Frames as FFmpeg's program decodes them: hash and seconds, in order.
fn frames(file: &Path) -> Vec<(String, f64)> {
    let output = Command::new("timeout")
        .args([
            &MOST_WAIT_S.to_string(),
            "ffmpeg",
            "-nostdin",
            "-v",
            "quiet",
            "-copyts",
            "-i",
        ])
        .arg(file)
        .args([
            "-map",
            "0:v:0",
            "-pix_fmt",
            "gray",
            "-fps_mode",
            "passthrough",
        ])
        .args([
            "-enc_time_base",
            "1:90000",
            "-f",
            "framehash",
            "-hash",
            "md5",
            "-",
        ])
        .output()
        .expect("ffmpeg, from Debian's package of that name");
    let text = String::from_utf8_lossy(&output.stdout);
    let line = |line: &str| {
        let parts: Vec<&str> = line.split(',').map(str::trim).collect();
        let ticks: f64 = parts.get(2)?.parse().ok()?;
        Some(((*parts.get(5)?).to_owned(), ticks / 90_000.0))
    };
    let lines = text.lines().filter(|line| !line.starts_with('#'));
    lines.filter_map(line).collect()
}

/// The start that most of the frames left show, as counts after the whole clip's.
fn shift_shown(whole: &HashMap<String, i64>, file: &Path) -> Option<i64> {
    let frames = frames(file);
    let zero_s = frames.first()?.1;
    let mut votes: BTreeMap<i64, usize> = BTreeMap::new();
    for (hash, at_s) in &frames {
        if let Some(index) = whole.get(hash) {
            let shown = index - ((at_s - zero_s) * 25.0).round() as i64;
            *votes.entry(shown).or_default() += 1;
        }
    }
    votes
        .into_iter()
        .max_by_key(|(_, n)| *n)
        .map(|(shift, _)| shift)
}

/// Counts from the whole clip's start to `label`.
fn shift_of(label: &str) -> Option<i64> {
    let form = ClockForm::frames(Rate::new(25, 1)?, false).ok()?;
    let count = |label: &str| form.count(&form.parse(label).ok()?).ok();
    Some(count(label)? - count(START)?)
}

fn main() {
    let mut arguments = Arguments::given("damaged [COUNT [FIRST_SEED [KEEP_DIR]]]");
    let count: usize = arguments.number(2000);
    let first_seed: u64 = arguments.number(1);
    let keep = arguments.folder();
    arguments.end();
    let program = Path::new(env!("CARGO_BIN_EXE_rollmark"));
    let shelf = Shelf::new();
    let clock = BurnedIn::new(START, "25")
        .strip("480x120", 60, (10, 30))
        .seconds("2");
    let sources: Vec<(Vec<u8>, HashMap<String, i64>)> = SOURCES
        .iter()
        .map(|(name, coding)| {
            let file = shelf.clip(&format!("whole.{name}"), &clock, coding);
            match run(program, &file) {
                End::Verdict(verdict, Some(label)) if verdict == "sure" && label == START => {}
                End::Verdict(verdict, label) => panic!("{name}, whole: {verdict} {label:?}"),
                End::Wrong(what) => panic!("{name}, whole: {what}"),
            }
            let hashes = frames(&file).into_iter().map(|(hash, _)| hash);
            let frames: HashMap<_, _> = hashes.zip(0..).collect();
            assert_eq!(frames.len(), 50, "{name}: every frame looks different");
            (fs::read(file).expect("it was just written"), frames)
        })
        .collect();
    let table: Mutex<BTreeMap<(usize, usize), BTreeMap<String, usize>>> = Mutex::default();
    let wrong: Mutex<Vec<String>> = Mutex::default();
    on_all_cores(count, |index| {
        let (source, damage) = (index % SOURCES.len(), index / SOURCES.len());
        let (damage, kind) = Damage::ALL[damage % Damage::ALL.len()];
        let seed = first_seed + index as u64;
        let (whole, frames) = &sources[source];
        let mut bytes = whole.clone();
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        damage.apply(SOURCES[source].0, &mut bytes, &mut rng);
        let name = format!("damaged-{seed}.{}", SOURCES[source].0);
        let file = shelf.path(&name);
        fs::write(&file, &bytes).expect("room for a small clip");
        let end = match run(program, &file) {
            _ if fs::read(&file).ok() != Some(bytes) => End::Wrong("the clip was changed".into()),
            end => end,
        };
        let (word, fault) = match end {
            End::Verdict(verdict, label) => {
                match label.filter(|_| verdict == "sure") {
                    None => (verdict, None),
                    Some(label) => {
                        let shown = shift_shown(frames, &file);
                        let is_near = match (shift_of(&label), shown) {
                            (Some(said), Some(shown)) => said.abs_diff(shown) <= 1,
                            // No picture is left as it was, to tell it by.
                            (Some(said), None) => said == 0,
                            (None, _) => false,
                        };
                        let fault = (!is_near)
                            .then(|| format!("sure of {label}, where {shown:?} is shown"));
                        let word = if label == START {
                            verdict
                        } else {
                            "sure of what is left".to_owned()
                        };
                        (word, fault)
                    }
                }
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
        "{count} damaged clips: {} crashed, hung, outgrew {} GiB, were changed or sure of a wrong start",
        wrong.len(),
        MOST_BYTES >> 30
    );
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
