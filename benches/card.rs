//! A card of one-minute 1080p clips with head slates, read whole, against what FFmpeg needs
//! merely to decode the frames that were looked at, on all cores; then the same card again,
//! unchanged; then cards of more clips, for the cost per clip. Clips are a few films under
//! many names.
//!
//! `cargo bench --bench card -- [CLIPS]`

#[path = "../tests/common/mod.rs"]
mod common;
mod cores;

use common::Shelf;
use cores::on_all_cores;
use serde_json::Value;
use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Instant;

/// Films that differ in what is filmed and when; the clips are links to them.
const FILMS: usize = 4;

const FONT: &str = "/usr/share/fonts/truetype/dejavu/DejaVuSansMono.ttf";

fn film(shelf: &Shelf, number: usize) {
    let scene = ["mandelbrot=s=1920x1080:r=25", "testsrc2=s=1920x1080:r=25"][number % 2];
    shelf.ffmpeg(&format!(
        "-f lavfi -i {scene} -t 60 -vf drawtext=fontfile={FONT}:timecode='1{number}\\:00\\:00\\:00':\
         r=25:fontsize=96:fontcolor=white:box=1:boxcolor=black:boxborderw=24:x=500:y=480:\
         enable='lt(t,3)' -c:v libx264 -preset ultrafast -crf 24 -g 50 -pix_fmt yuv420p \
         film{number}.mp4"
    ));
}

/// Runs the program under GNU time: seconds, and resident memory at its height in MB.
fn rollmark(folder: &Path, out: &Path) -> (f64, u64) {
    let began = Instant::now();
    let output = Command::new("/usr/bin/env")
        .args([
            "bash",
            "-c",
            "\"$@\" & pid=$!; peak=0; while kill -0 $pid 2>/dev/null; do \
               r=$(awk '/VmHWM/{print $2}' /proc/$pid/status 2>/dev/null); \
               [ -n \"$r\" ] && peak=$r; sleep 0.05; done; wait $pid; echo peak $peak",
            "run",
        ])
        .arg(env!("CARGO_BIN_EXE_rollmark"))
        .arg("card")
        .arg(folder)
        .arg("--out")
        .arg(out)
        .stderr(Stdio::null())
        .output()
        .expect("bash starts");
    let took = began.elapsed().as_secs_f64();
    let text = String::from_utf8_lossy(&output.stdout);
    let peak = text.lines().find_map(|line| line.strip_prefix("peak "));
    let peak_kb: u64 = peak.and_then(|kb| kb.parse().ok()).unwrap_or(0);
    (took, peak_kb / 1000)
}

fn card_of(shelf: &Shelf, clips: usize) -> std::path::PathBuf {
    let folder = shelf.path(&format!("card{clips}"));
    fs::create_dir(&folder).expect("a new folder");
    for clip in 0..clips {
        let film = shelf.path(&format!("film{}.mp4", clip % FILMS));
        fs::hard_link(film, folder.join(format!("K{clip:05}.mp4"))).expect("links work here");
    }
    folder
}

fn main() {
    let mut args = std::env::args().skip(1).filter(|a| a != "--bench");
    let clips: usize = args.next().map_or(100, |n| n.parse().expect("a number"));
    let shelf = Shelf::new();
    for number in 0..FILMS {
        film(&shelf, number);
    }
    let folder = card_of(&shelf, clips);
    let out = shelf.path("out");
    let (whole_s, peak_mb) = rollmark(&folder, &out);
    let text = fs::read_to_string(out.join("card.json")).expect("the card was read");
    let card: Value = serde_json::from_str(&text).expect("it is JSON");
    let read: Vec<&Value> = card["clips"].as_array().expect("clips").iter().collect();
    let sure = read.iter().filter(|clip| clip["verdict"] == "sure").count();
    assert_eq!(sure, clips, "every clip has a slate that can be read");
    // All frames up to the last one read are decoded, whether looked at or not.
    let until = |clip: &Value| clip["windows"][0]["last_frame"].as_u64().expect("a window") + 1;
    let began = Instant::now();
    on_all_cores(clips, |index| {
        let status = Command::new("ffmpeg")
            .args(["-nostdin", "-v", "error", "-threads", "1", "-i"])
            .arg(folder.join(read[index]["name"].as_str().expect("a name")))
            .args([
                "-frames:v",
                &until(read[index]).to_string(),
                "-f",
                "null",
                "-",
            ])
            .status()
            .expect("ffmpeg starts");
        assert!(status.success());
    });
    let floor_s = began.elapsed().as_secs_f64();
    let (again_s, _) = rollmark(&folder, &out);
    println!("{clips} clips of one minute, {sure} sure: {whole_s:.1} s, {peak_mb} MB");
    println!(
        "decoding the frames looked at: {floor_s:.1} s; {:.2} times that",
        whole_s / floor_s
    );
    println!("the same card again: {again_s:.2} s");
    for many in [clips / 10, clips * 5] {
        let folder = card_of(&shelf, many);
        let (took_s, peak_mb) = rollmark(&folder, &shelf.path(&format!("out{many}")));
        println!(
            "{many} clips: {:.3} s a clip, {peak_mb} MB",
            took_s / many as f64
        );
    }
}
