//! Making clips, and FFmpeg's own programs as second opinion.

use image::GrayImage;
use rollmark::frame::{Footage, Frame, Light};
use rollmark::media::{self, Clip};
use rollmark::timecode::Ratio;
use std::path::{Path, PathBuf};
use std::process::Command;

/// A folder for the clips of one test.
pub struct Workshop(tempfile::TempDir);

impl Workshop {
    pub fn new() -> Self {
        Self(tempfile::tempdir().expect("a temporary folder"))
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    /// Encodes an FFmpeg test source.
    pub fn make(&self, name: &str, source: &str, encode: &str) -> PathBuf {
        let file = self.path(name);
        self.ffmpeg(&format!("-f lavfi -i {source} {encode} {}", file.display()));
        file
    }

    /// Runs `ffmpeg` with blank-separated arguments; single quotes are dropped,
    /// as there is no shell.
    pub fn ffmpeg(&self, arguments: &str) {
        run("ffmpeg", &format!("-v error -nostdin -y {arguments}"));
    }
}

fn run(program: &str, arguments: &str) -> Vec<u8> {
    let arguments = arguments.replace('\'', "");
    let output = Command::new(program)
        .args(arguments.split_ascii_whitespace())
        .output()
        .unwrap_or_else(|e| panic!("{program} must be installed for these tests: {e}"));
    assert!(
        output.status.success(),
        "{program} {arguments}\n{}",
        String::from_utf8_lossy(&output.stderr)
    );
    output.stdout
}

pub fn has_encoder(name: &str) -> bool {
    let listed = run("ffmpeg", "-v error -encoders");
    String::from_utf8_lossy(&listed)
        .split_ascii_whitespace()
        .any(|word| word == name)
}

pub fn open(file: &Path) -> Clip {
    media::open(file).unwrap_or_else(|e| panic!("{e}"))
}

/// Every frame from the head.
pub fn read_all(file: &Path) -> Vec<Frame> {
    rest(&mut open(file))
}

/// Every frame from here on.
pub fn rest(clip: &mut Clip) -> Vec<Frame> {
    let mut frames = Vec::new();
    while let Some(stamp) = clip.advance().expect("reading goes on") {
        let frame = clip.picture(Light::Luma).expect("a picture");
        assert_eq!(frame.stamp, stamp);
        frames.push(frame);
    }
    frames
}

/// Codes of the notes so far.
pub fn notes(clip: &Clip) -> String {
    let codes: Vec<&str> = clip.facts().notes.iter().map(|n| n.code.as_str()).collect();
    codes.join(" ")
}

/// What `ffprobe` says about the first picture stream, one value a line.
pub fn ffprobe(file: &Path, options: &str, entries: &str) -> Vec<String> {
    let text = run(
        "ffprobe",
        &format!(
            "-v error -select_streams v:0 {options} -show_entries {entries} \
             -of default=nokey=1:noprint_wrappers=1 {}",
            file.display()
        ),
    );
    let text = String::from_utf8(text).expect("ffprobe writes text");
    text.lines().map(str::to_owned).collect()
}

/// Ticks after frame 0 as `ffprobe` presents the frames.
pub fn ffprobe_ticks(file: &Path) -> Vec<i64> {
    relative(&ffprobe(file, "", "frame=best_effort_timestamp"), None)
}

/// Ticks of the key frames after frame 0, but those that the edit list hides.
pub fn ffprobe_key_ticks(file: &Path) -> Vec<i64> {
    let zero = ffprobe(file, "", "frame=best_effort_timestamp")[0].clone();
    let packets = ffprobe(file, "", "packet=pts,flags");
    let keys: Vec<String> = packets
        .chunks_exact(2)
        .filter(|packet| packet[1].contains('K') && !packet[1].contains('D'))
        .map(|packet| packet[0].clone())
        .collect();
    relative(&keys, Some(&zero))
}

/// Places and lengths of the packets in the file, in bytes.
pub fn ffprobe_packets(file: &Path) -> Vec<(usize, usize)> {
    let numbers = ffprobe(file, "", "packet=size,pos");
    let parse = |text: &String| text.parse().unwrap_or_else(|_| panic!("a number: {text}"));
    numbers
        .chunks_exact(2)
        .map(|packet| (parse(&packet[1]), parse(&packet[0])))
        .collect()
}

fn relative(stamps: &[String], zero: Option<&String>) -> Vec<i64> {
    let parse = |text: &String| {
        text.parse::<i64>()
            .unwrap_or_else(|_| panic!("a stamp: {text}"))
    };
    let zero = parse(zero.unwrap_or(&stamps[0]));
    stamps.iter().map(|stamp| parse(stamp) - zero).collect()
}

pub fn ffprobe_time_base(file: &Path) -> Ratio {
    ffprobe(file, "", "stream=time_base")[0]
        .parse()
        .expect("a ratio")
}

/// Every frame as FFmpeg's grey, after `filters`; not turned by FFmpeg.
pub fn ffmpeg_grey(file: &Path, filters: &str) -> Vec<Vec<u8>> {
    let size = ffprobe(file, "", "stream=width,height");
    let pixels: usize = size
        .iter()
        .take(2)
        .map(|n| n.parse::<usize>().expect("a size"))
        .product();
    let filters = match filters {
        "" => String::new(),
        filters => format!("-vf {filters}"),
    };
    let bytes = run(
        "ffmpeg",
        &format!(
            "-v error -nostdin -noautorotate -i {} -map 0:v:0 {filters} -vsync passthrough \
             -sws_flags accurate_rnd+bitexact -pix_fmt gray -f rawvideo -",
            file.display()
        ),
    );
    bytes.chunks(pixels).map(<[u8]>::to_vec).collect()
}

/// Every frame within one code value of FFmpeg's.
pub fn assert_same_luma(name: &str, frames: &[Frame], grey: &[Vec<u8>]) {
    assert_eq!(frames.len(), grey.len(), "{name}");
    for (n, (frame, grey)) in frames.iter().zip(grey).enumerate() {
        let luma = frame.grey.as_raw();
        assert_eq!(luma.len(), grey.len(), "{name}, frame {n}");
        let worst = luma.iter().zip(grey).map(|(a, b)| a.abs_diff(*b)).max();
        assert!(worst <= Some(1), "{name}, frame {n}: off by {worst:?}");
        let spread = |v: &[u8]| v.iter().max().zip(v.iter().min()).map(|(a, b)| a - b);
        assert!(
            spread(luma) > Some(100),
            "{name}, frame {n} shows a picture"
        );
    }
}

/// Mean distance of two pictures in code values.
pub fn mean_distance(a: &GrayImage, b: &GrayImage) -> f64 {
    assert_eq!(a.dimensions(), b.dimensions());
    let pairs = a.as_raw().iter().zip(b.as_raw());
    let sum: u64 = pairs.map(|(a, b)| u64::from(a.abs_diff(*b))).sum();
    sum as f64 / a.as_raw().len() as f64
}
