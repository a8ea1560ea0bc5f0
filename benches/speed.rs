//! Time to a verdict against what FFmpeg needs merely to decode what has to be looked at, in
//! one run: wall and processor time, slate at head, middle and tail, and no slate in ten minutes.
//! Also start-up, and two clips at once.
//!
//! `cargo bench --bench speed -- [FORMAT...]`: `h264`, `hevc`, `mjpeg`, `fast`; all without.
//!
//! The simulator films a display, and scenes with and without other digits; FFmpeg lays noise
//! over them, so that decoders have work, and repeats the scenes until the clip is long. The
//! floor is every frame of the window that was read and the key frames of what was searched.

mod arguments;
#[path = "../tests/common/mod.rs"]
mod common;
mod timing;

use arguments::Arguments;
use common::Shelf;
use rollmark::media::{Quality, RecordCodec, RecordOptions};
use rollmark::rehearse::Shoot;
use rollmark::timecode::{ClockForm, Rate};
use serde_json::Value;
use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use timing::{timed, timed_each};

const SLATE_SEED: u64 = 31_001;
const SCENE_SEEDS: [u64; 3] = [31_002, 31_003, 31_005];
const SLATE_S: u64 = 4;
const SCENE_S: u64 = 4;
/// Clips without a slate, and with one.
const LONG_S: u64 = 600;
const SHORT_S: u64 = 120;
/// How often a slate at the head is read, which takes a fraction of a second.
const HEAD_TURNS: u32 = 8;
/// Head and tail that are searched first; see `src/clip.rs`.
const END_S: f64 = 20.0;

struct Format {
    name: &'static str,
    title: &'static str,
    ending: &'static str,
    /// Filters and coding; key frames a half or a whole second apart. Bit rates as cameras of the
    /// kind write them (common practice, no source): the noise survives, which decoding costs.
    coding: &'static str,
}

const FORMATS: [Format; 4] = [
    Format {
        name: "h264",
        title: "1080p25 H.264",
        ending: "mp4",
        coding: "-vf noise=alls=7:allf=t -r 25 -c:v libx264 -preset veryfast -b:v 24M -g 25 -pix_fmt yuv420p",
    },
    Format {
        name: "hevc",
        title: "4K25 HEVC 10 bit",
        ending: "mp4",
        coding: "-vf scale=3840:2160,noise=alls=5:allf=t -r 25 -c:v libx265 -preset ultrafast -b:v 60M -g 25 \
                 -x265-params log-level=none -pix_fmt yuv420p10le -tag:v hvc1",
    },
    Format {
        name: "mjpeg",
        title: "1080p25 MJPEG",
        ending: "avi",
        coding: "-vf noise=alls=7:allf=t -r 25 -c:v mjpeg -q:v 4 -pix_fmt yuvj420p",
    },
    Format {
        name: "fast",
        title: "2.7K 120 fps H.264",
        ending: "mp4",
        coding: "-vf scale=2704:1520,fps=120000/1001,noise=alls=7:allf=t -c:v libx264 -preset ultrafast \
                 -b:v 60M -g 60 -pix_fmt yuv420p",
    },
];

fn rollmark(clip: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_rollmark"));
    command.arg("read").arg("--json").arg(clip);
    command.stdout(Stdio::piped()).stderr(Stdio::null());
    command
}

fn read(clip: &Path) -> Value {
    let output = rollmark(clip).output().expect("the program starts");
    serde_json::from_slice(&output.stdout).expect("it prints JSON")
}

/// Films `seconds` of `shoot` in 1080p, hardly compressed.
fn film(shelf: &Shelf, name: &str, mut shoot: Shoot, seconds: u64) {
    shoot = shoot.resized(1920, 1080);
    shoot.quality = Quality::Constant(12);
    shoot.frames = seconds * u64::from(shoot.camera.rate.base());
    let options: RecordOptions = shoot.record_options(RecordCodec::H264);
    shoot
        .record(&shelf.path(name), options)
        .expect("it is filmed");
}

/// Joins pieces without coding them again.
fn join(shelf: &Shelf, pieces: &[String], name: &str) {
    let list: String = pieces.iter().map(|p| format!("file {p}\n")).collect();
    fs::write(shelf.path("pieces.txt"), list).expect("a new file");
    shelf.ffmpeg(&format!("-f concat -i pieces.txt -c copy {name}"));
}

/// Decodes the key frames of some stretches of seconds and every frame of others.
fn decode(clip: &Path, keys: &[(f64, f64)], every: &[(f64, f64)]) {
    let stretches = keys
        .iter()
        .map(|s| (s, true))
        .chain(every.iter().map(|s| (s, false)));
    for ((from, to), keys_only) in stretches {
        let mut command = Command::new("ffmpeg");
        command.args(["-nostdin", "-v", "error"]);
        if keys_only {
            command.args(["-skip_frame", "nokey"]);
        }
        if *from > 0.0 {
            command.args(["-ss", &from.to_string()]);
        }
        command
            .args(["-t", &(to - from).to_string(), "-i"])
            .arg(clip);
        let status = command.args(["-f", "null", "-"]).status();
        assert!(status.expect("ffmpeg starts").success());
    }
}

fn measure(shelf: &Shelf, format: &Format) {
    let piece = |name: &str| format!("{name}.{}", format.ending);
    for name in ["slate", "scene0", "scene1", "scene2"] {
        shelf.ffmpeg(&format!("-i {name}.mov {} {}", format.coding, piece(name)));
    }
    let scenes = |seconds: u64| (0..seconds / SCENE_S).map(|i| piece(&format!("scene{}", i % 3)));
    let slate = || std::iter::once(piece("slate"));
    let cases: [(&str, Vec<String>); 4] = [
        ("head", slate().chain(scenes(SHORT_S)).collect()),
        (
            "middle",
            scenes(SHORT_S / 2)
                .chain(slate())
                .chain(scenes(SHORT_S / 2))
                .collect(),
        ),
        ("tail", scenes(SHORT_S).chain(slate()).collect()),
        ("absent", scenes(LONG_S).collect()),
    ];
    for (place, pieces) in cases {
        let name = piece(place);
        join(shelf, &pieces, &name);
        let clip = shelf.path(&name);
        let turns = if place == "head" { HEAD_TURNS } else { 1 };
        let outcome = read(&clip);
        let took = timed_each(turns, || drop(read(&clip)));
        let length_s = outcome["clip"]["duration_seconds"]
            .as_f64()
            .expect("a length");
        let windows: Vec<(f64, f64)> = outcome["windows"]
            .as_array()
            .expect("windows")
            .iter()
            .map(|w| {
                let s = |field: &str| w[field].as_f64().expect("seconds");
                (s("first_seconds"), s("last_seconds"))
            })
            .collect();
        let found_s = windows.first().map_or(length_s, |w| w.0);
        let tail_s = length_s - END_S;
        let keys: Vec<(f64, f64)> = match place {
            "head" => Vec::new(),
            "middle" => vec![(0.0, found_s), (tail_s, length_s)],
            "tail" => vec![(0.0, END_S), (tail_s, found_s)],
            _ => vec![(0.0, length_s)],
        };
        let every = match place {
            // From frame 0 on, once, where it is the head that was read.
            "head" if !windows.is_empty() => {
                vec![(0.0, windows.iter().fold(0.0, |end: f64, w| end.max(w.1)))]
            }
            _ => windows,
        };
        let floor = timed_each(turns, || decode(&clip, &keys, &every));
        println!(
            "{:<19} {place:<7} {:<7} wall {:>6.2} s cpu {:>6.2} s; decoding alone {:>6.2} s, {:>6.2} s; times {:.2}, {:.2}",
            format.title,
            outcome["verdict"].as_str().unwrap_or("-"),
            took.wall_s,
            took.cpu_s,
            floor.wall_s,
            floor.cpu_s,
            took.wall_s / floor.wall_s,
            took.cpu_s / floor.cpu_s,
        );
        if (format.name, place) == ("h264", "head") {
            two_at_once(&clip, every[0].1);
        }
        fs::remove_file(&clip).expect("it was there");
    }
}

/// Several readings one after the other, and two at a time: free to use all cores, as a person
/// would, and each kept to a core of its own. Of the latter, FFmpeg's decoding tells what the
/// machine gives, since two of it share nothing but memory and caches.
fn two_at_once(clip: &Path, until_s: f64) {
    let decoding = || {
        let mut command = Command::new("ffmpeg");
        command.args(["-nostdin", "-v", "error", "-threads", "1", "-t"]);
        command.arg(until_s.to_string()).arg("-i").arg(clip);
        command.args(["-f", "null", "-"]);
        command
    };
    let on_core = |core: usize, job: Command| {
        let mut command = Command::new("taskset");
        command
            .args(["-c", &core.to_string()])
            .arg(job.get_program());
        command.args(job.get_args());
        command.stdout(Stdio::null()).stderr(Stdio::null());
        command
    };
    let compare = |what: &str, jobs: [&dyn Fn() -> Command; 2]| {
        let count = 6;
        let run = |mut job: Command| drop(job.output().expect("the program starts"));
        let ((), single) = timed(|| (0..count).for_each(|_| run(jobs[0]())));
        let ((), double) = timed(|| {
            for _ in 0..count / 2 {
                let pair = jobs.map(|job| job().spawn().expect("the program starts"));
                for one in pair {
                    one.wait_with_output().expect("it ends");
                }
            }
        });
        println!(
            "two at once, {what}: {:.2} times as fast as one after the other, with {:.2} times the processor time \
             (each alone keeps {:.2} cores busy)",
            single.wall_s / double.wall_s,
            double.cpu_s / single.cpu_s,
            single.cpu_s / single.wall_s,
        );
    };
    let reading = || rollmark(clip);
    compare("clips, head", [&reading, &reading]);
    let (first, second) = (|| on_core(0, rollmark(clip)), || on_core(1, rollmark(clip)));
    compare("clips, each on one core", [&first, &second]);
    let (first, second) = (|| on_core(0, decoding()), || on_core(1, decoding()));
    compare("decoding alone, each on one core", [&first, &second]);
}

fn main() {
    let formats = FORMATS.map(|format| format.name.to_owned());
    let wanted = Arguments::given("speed [FORMAT...]").names(&formats);
    let shelf = Shelf::new();
    fs::write(shelf.path("no_clip.txt"), "no clip").expect("a new file");
    let start = timed_each(10, || drop(read(&shelf.path("no_clip.txt"))));
    println!(
        "start-up with the networks: {:.3} s wall, {:.3} s cpu",
        start.wall_s, start.cpu_s
    );
    let form = ClockForm::frames(Rate::F25, false).expect("25 counts");
    film(
        &shelf,
        "slate.mov",
        Shoot::ordinary(SLATE_SEED, form, Rate::F25),
        SLATE_S,
    );
    for (number, seed) in SCENE_SEEDS.into_iter().enumerate() {
        let scene = Shoot::without_clock(seed, Rate::F25);
        film(&shelf, &format!("scene{number}.mov"), scene, SCENE_S);
    }
    for format in FORMATS {
        if wanted.is_empty() || wanted.iter().any(|w| w == format.name) {
            measure(&shelf, &format);
        }
    }
}
