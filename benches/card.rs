//! A card of one-minute 1080p clips with head slates, read whole, against what FFmpeg needs
//! merely to decode the frames that were looked at, on all cores, in one run; then the same
//! card again, unchanged; then cards of fewer clips, for the cost per clip and for memory; then
//! how long a browser takes to open the report of a large card.
//!
//! `cargo bench --bench card -- [CLIPS]`; 0 for the report alone
//!
//! The simulator films a few slates and a scene, FFmpeg lays a sensor's noise over them, so
//! that decoders have work, and repeats the scene until the clip is a minute long. The clips
//! of a card are links to these films: each is a file of its own to the program, is opened and
//! decoded anew, and its pictures come from the disk's cache, for FFmpeg as for the program.
//!
//! The floor is one FFmpeg per core, with one thread, that goes through a list of its share
//! of the clips, each from frame 0 to the last frame that was read: no process is started and
//! no packet decoded beyond that.

mod arguments;
#[path = "../tests/common/mod.rs"]
mod common;
mod cores;
#[allow(dead_code, reason = "the page's tests use the rest")]
#[path = "../tests/report/desk.rs"]
mod desk;
#[allow(dead_code, reason = "the page's tests use the rest")]
#[path = "../tests/report/eyes.rs"]
mod eyes;
mod timing;

use arguments::Arguments;
use common::{Shelf, segments};
use cores::on_all_cores;
use desk::Desk;
use eyes::{Eyes, Screen};
use rollmark::media::{Quality, RecordCodec};
use rollmark::rehearse::Shoot;
use rollmark::timecode::{ClockForm, Rate};
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::thread::sleep;
use std::time::Duration;
use timing::{Took, timed};

/// Films that differ in what is filmed and when; slates that are read surely, since what is
/// measured here is speed, and a clip in doubt is searched to its end.
const SLATE_SEEDS: [u64; 3] = [32_001, 32_002, 32_003];
const SCENE_SEED: u64 = 32_011;
/// Seconds of a slate, a scene, a clip.
const SLATE_S: u64 = 4;
const SCENE_S: u64 = 2;
const CLIP_S: u64 = 60;
/// Clips of the card whose report is opened.
const REPORT_CLIPS: usize = 2000;

/// Films `seconds` of `shoot` in 720p25, which takes half as long as 1080p, and has FFmpeg
/// make 1080p of it as a camera would: the sensor's noise, which is most of what is decoded, is
/// of full size.
fn film(shelf: &Shelf, name: &str, mut shoot: Shoot, seconds: u64) {
    shoot.quality = Quality::Constant(12);
    shoot.frames = seconds * 25;
    let options = shoot.record_options(RecordCodec::H264);
    let filmed = shelf.path("filmed.mov");
    shoot.record(&filmed, options).expect("it is filmed");
    shelf.ffmpeg(&format!(
        "-i filmed.mov -vf scale=1920:1080,noise=alls=7:allf=t -r 25 -c:v libx264 -preset veryfast -b:v 24M -g 25 \
         -pix_fmt yuv420p {name}"
    ));
    fs::remove_file(filmed).expect("it is there");
}

fn films(shelf: &Shelf) -> Vec<PathBuf> {
    let form = ClockForm::frames(Rate::F25, false).expect("25 counts");
    let scene = Shoot::without_clock(SCENE_SEED, Rate::F25);
    film(shelf, "scene.mp4", scene, SCENE_S);
    let scenes = "file scene.mp4\n".repeat(((CLIP_S - SLATE_S) / SCENE_S) as usize);
    let clip = |seed: u64| {
        let slate = Shoot::ordinary(seed, form, Rate::F25);
        film(shelf, "slate.mp4", slate, SLATE_S);
        let pieces = format!("file slate.mp4\n{scenes}");
        fs::write(shelf.path("pieces.txt"), pieces).expect("a new file");
        let name = format!("film{seed}.mp4");
        shelf.ffmpeg(&format!("-f concat -i pieces.txt -c copy {name}"));
        shelf.path(&name)
    };
    SLATE_SEEDS.into_iter().map(clip).collect()
}

fn card_of(shelf: &Shelf, films: &[PathBuf], clips: usize) -> PathBuf {
    let folder = shelf.path(&format!("card{clips}"));
    fs::create_dir(&folder).expect("a new folder");
    for clip in 0..clips {
        let film = &films[clip % films.len()];
        fs::hard_link(film, folder.join(format!("K{clip:05}.mp4"))).expect("links work here");
    }
    folder
}

/// Reads a card: how long it took, and resident memory at its height in MB.
fn read(folder: &Path, out: &Path) -> (Took, u64) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_rollmark"));
    command.arg("card").arg(folder).arg("--out").arg(out);
    command.stdout(Stdio::null()).stderr(Stdio::null());
    let (peak_kb, took) = timed(|| {
        let mut child = command.spawn().expect("the program starts");
        let status = format!("/proc/{}/status", child.id());
        let mut peak_kb = 0;
        while child.try_wait().expect("it is ours").is_none() {
            let text = fs::read_to_string(&status).unwrap_or_default();
            let line = text.lines().find_map(|line| line.strip_prefix("VmHWM:"));
            let kb = line.and_then(|kb| kb.split_whitespace().next()?.parse().ok());
            peak_kb = kb.unwrap_or(peak_kb);
            sleep(Duration::from_millis(20));
        }
        peak_kb
    });
    (took, peak_kb / 1000)
}

/// Decodes each clip until the given second, with nothing else done.
fn decode(shelf: &Shelf, clips: &[(PathBuf, f64)]) {
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    on_all_cores(cores.min(clips.len()), |core| {
        let share = clips.iter().skip(core).step_by(cores);
        let list: String = share
            .map(|(clip, until_s)| format!("file {}\noutpoint {until_s}\n", clip.display()))
            .collect();
        let file = shelf.path(&format!("share{core}.txt"));
        fs::write(&file, list).expect("a new file");
        let status = Command::new("ffmpeg")
            // Joints of a list are no even sequence of stamps, which it would complain of.
            .args(["-nostdin", "-v", "fatal", "-threads", "1"])
            .args(["-f", "concat", "-safe", "0", "-i"])
            .arg(&file)
            .args(["-vsync", "passthrough", "-f", "null", "-"])
            .status()
            .expect("ffmpeg starts");
        assert!(status.success());
    });
}

/// Has a browser open the report of a card that never was.
fn open_report(clips: usize) {
    let desk = Desk::of(clips);
    let mut page = Vec::new();
    let evidence = |clip: usize| desk.evidence[clip].clone();
    rollmark::report::write(&desk.card, &evidence, &mut page).expect("memory takes everything");
    let page = String::from_utf8(page).expect("the page is UTF-8");
    for (what, html) in [
        ("an empty page", "<!DOCTYPE html><p>nothing"),
        ("the report", &page),
    ] {
        let eyes = Eyes::on(html, Screen::wide(1600));
        // Milliseconds after the browser was told to go there (Navigation Timing, Paint Timing).
        let opened = eyes.ask(
            "const ms = (kind) => performance.getEntriesByType(kind)[0];
             return [ms('paint').startTime, ms('navigation').loadEventEnd];",
        );
        println!(
            "{what}, {} kB: shown after {:.0} ms, complete after {:.0} ms",
            html.len() / 1000,
            opened[0].as_f64().unwrap_or(f64::NAN),
            opened[1].as_f64().unwrap_or(f64::NAN)
        );
        if what == "the report" {
            let filter = "const field = document.querySelector('input[name=find]'), began = performance.now();
                field.focus();
                field.value = 'only 5 frames';
                field.dispatchEvent(new Event('input', { bubbles: true }));
                document.body.getBoundingClientRect();
                return [performance.now() - began, document.querySelectorAll('article:not([hidden])').length];";
            for nth in ["the first time", "again"] {
                let filtered = eyes.ask(filter);
                println!(
                    "filtered {nth} in {:.0} ms, {} clips left",
                    filtered[0].as_f64().unwrap_or(f64::NAN),
                    filtered[1]
                );
            }
        }
    }
}

/// Reads cards: against decoding alone, again, and of fewer clips.
fn read_cards(clips: usize) {
    let shelf = Shelf::new();
    let (films, filming) = timed(|| films(&shelf));
    println!("{} films, made in {:.0} s", films.len(), filming.wall_s);
    let folder = card_of(&shelf, &films, clips);
    let out = shelf.path("out");
    let (whole, peak_mb) = read(&folder, &out);
    let text = fs::read_to_string(out.join("card.json")).expect("the card was read");
    let card: Value = serde_json::from_str(&text).expect("it is JSON");
    let read_clips: Vec<&Value> = card["clips"].as_array().expect("clips").iter().collect();
    let sure = read_clips.iter().filter(|c| c["verdict"] == "sure").count();
    assert_eq!(sure, clips, "other seeds are needed");
    println!(
        "{clips} clips of {CLIP_S} s, all sure: {:.1} s by the clock, {:.1} s of all cores, {peak_mb} MB",
        whole.wall_s, whole.cpu_s
    );
    let looked_at: Vec<(PathBuf, f64)> = read_clips
        .iter()
        .map(|clip| {
            let last_s = |w: &Value| w["last_seconds"].as_f64().expect("seconds");
            let windows = clip["windows"].as_array().expect("windows");
            let until_s = windows.iter().map(last_s).fold(f64::NAN, f64::max);
            assert!(
                until_s < CLIP_S as f64 / 2.0,
                "the slate is at the head: {clip}"
            );
            // The half frame makes sure of the last one.
            let name = clip["name"].as_str().expect("a name");
            (folder.join(name), until_s + 0.02)
        })
        .collect();
    let frames: f64 = looked_at.iter().map(|(_, until_s)| until_s * 25.0).sum();
    let ((), floor) = timed(|| decode(&shelf, &looked_at));
    println!(
        "decoding the {frames:.0} frames up to the last one read: {:.1} s by the clock, {:.1} s of all cores; times {:.2}, {:.2}",
        floor.wall_s,
        floor.cpu_s,
        whole.wall_s / floor.wall_s,
        whole.cpu_s / floor.cpu_s
    );
    let (again, peak_mb) = read(&folder, &out);
    println!(
        "the same card again: {:.2} s by the clock, {:.2} s of all cores, {peak_mb} MB",
        again.wall_s, again.cpu_s
    );
    for many in [clips.div_ceil(10), clips.div_ceil(2)] {
        let folder = card_of(&shelf, &films, many);
        let (took, peak_mb) = read(&folder, &shelf.path(&format!("out{many}")));
        println!(
            "{many} clips: {:.3} s of all cores a clip, {peak_mb} MB",
            took.cpu_s / many as f64
        );
    }
}

fn main() {
    let mut arguments = Arguments::given("card [CLIPS]");
    let clips: usize = arguments.number(100);
    arguments.end();
    if clips > 0 {
        read_cards(clips);
    }
    open_report(REPORT_CLIPS);
}
