//! What the end-to-end tests share: clips made on the spot, and the program run on them.
//!
//! - [`Shelf`]: a folder of clips that goes away with the test, and FFmpeg writing into it
//! - [`BurnedIn`]: a clock drawn into a picture by FFmpeg, as filter text
//! - [`segments`]: a seven-segment display drawn as rectangles
//! - [`movie`]: the few bytes of a QuickTime file that FFmpeg's command line cannot set
//! - [`program`]: runs `rollmark read --json` and looks into what it says
#![allow(dead_code, reason = "each test crate uses a part of this")]

pub mod movie;
pub mod program;
pub mod segments;

use std::path::{Path, PathBuf};
use std::process::Command;
use tempfile::TempDir;

/// DejaVu Sans Mono, from Debian's `fonts-dejavu-core`.
pub const FONT: &str = "/usr/share/fonts/truetype/dejavu/DejaVuSansMono.ttf";

/// A folder of clips, removed when dropped.
pub struct Shelf(TempDir);

impl Shelf {
    pub fn new() -> Self {
        Self(TempDir::new().expect("a temporary folder"))
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    /// Runs FFmpeg with `args`, words separated by white space, in this folder;
    /// filter texts and names with spaces do not occur.
    pub fn ffmpeg(&self, args: &str) {
        assert!(
            Path::new(FONT).exists(),
            "{FONT} is missing; install fonts-dejavu-core"
        );
        let output = Command::new("ffmpeg")
            .args(["-hide_banner", "-nostdin", "-loglevel", "error", "-y"])
            .args(args.split_whitespace())
            .current_dir(self.0.path())
            .output()
            .expect("ffmpeg, from Debian's package of that name");
        assert!(
            output.status.success(),
            "ffmpeg {args}\n{}",
            String::from_utf8_lossy(&output.stderr)
        );
    }

    /// Makes a clip of `clock`; `coding` holds output options.
    pub fn clip(&self, name: &str, clock: &BurnedIn, coding: &str) -> PathBuf {
        self.ffmpeg(&format!("{} {coding} {name}", clock.input()));
        self.path(name)
    }

    /// One value per frame or stream that ffprobe prints for the picture
    /// stream, `entries` in ffprobe's notation. Proves that the material is
    /// what a test takes it for.
    pub fn probe(&self, name: &str, entries: &str) -> Vec<String> {
        let output = Command::new("ffprobe")
            .args([
                "-hide_banner",
                "-loglevel",
                "error",
                "-select_streams",
                "v:0",
            ])
            .args(["-show_entries", entries, "-of", "default=nw=1:nk=1", name])
            .current_dir(self.0.path())
            .output()
            .expect("ffprobe, from Debian's package ffmpeg");
        let text = String::from_utf8_lossy(&output.stdout);
        text.split_whitespace().map(str::to_owned).collect()
    }
}

/// Plain H.264, as most cameras write it.
pub const H264: &str = "-c:v libx264 -preset veryfast -pix_fmt yuv420p";

/// A clock that FFmpeg's `drawtext` burns into the picture: one count per
/// frame, no refresh, frame 0 shows `label`.
#[derive(Clone)]
pub struct BurnedIn {
    /// First label, as FFmpeg's `timecode` option takes it.
    pub label: &'static str,
    /// The clock's rate, and the clip's unless `then` changes it.
    pub rate: &'static str,
    pub seconds: &'static str,
    pub size: &'static str,
    pub font_px: u32,
    pub at: (u32, u32),
    /// Colours, and what lies behind the digits.
    pub ink: &'static str,
    pub paper: Paper,
    /// Filters after the drawing, with a leading comma.
    pub then: &'static str,
}

/// What lies behind the digits.
#[derive(Clone, Copy)]
pub enum Paper {
    Plain(&'static str),
    /// A picture full of detail that moves, and a black box under the digits.
    Busy,
}

impl BurnedIn {
    /// White on black, well readable, long enough to be certain.
    pub fn new(label: &'static str, rate: &'static str) -> Self {
        Self {
            label,
            rate,
            seconds: "3",
            size: "640x360",
            font_px: 56,
            at: (60, 150),
            ink: "white",
            paper: Paper::Plain("black"),
            then: "",
        }
    }

    pub fn seconds(self, seconds: &'static str) -> Self {
        Self { seconds, ..self }
    }

    /// A small picture with the digits at its upper left, as in a burn-in strip.
    pub fn strip(self, size: &'static str, font_px: u32, at: (u32, u32)) -> Self {
        Self {
            size,
            font_px,
            at,
            ..self
        }
    }

    pub fn colours(self, ink: &'static str, paper: Paper) -> Self {
        Self { ink, paper, ..self }
    }

    pub fn then(self, filters: &'static str) -> Self {
        Self {
            then: filters,
            ..self
        }
    }

    /// FFmpeg's input and filter options.
    fn input(&self) -> String {
        let Self { rate, seconds, .. } = self;
        let (source, boxed) = match self.paper {
            Paper::Plain(colour) => ("color=", format!("c={colour}:d={seconds}")),
            Paper::Busy => ("mandelbrot=", "start_scale=0.4".to_owned()),
        };
        let under = match self.paper {
            Paper::Plain(_) => "",
            Paper::Busy => ":box=1:boxcolor=black:boxborderw=12",
        };
        // Without it FFmpeg 5.1 writes 120 for 119.88.
        let output_rate = match self.then {
            "" => format!("-r {rate}"),
            _ => String::new(),
        };
        // Colons and semicolons of the label must reach drawtext, not the filter parser.
        let label = self.label.replace(':', r"\:").replace(';', r"\;");
        format!(
            "-f lavfi -i {source}{boxed}:s={size}:r={rate} -t {seconds} -vf \
             drawtext=fontfile={FONT}:timecode='{label}':tc24hmax=1:r={rate}:fontsize={font_px}:\
             fontcolor={ink}:x={x}:y={y}{under}{then} {output_rate}",
            size = self.size,
            font_px = self.font_px,
            ink = self.ink,
            x = self.at.0,
            y = self.at.1,
            then = self.then,
        )
    }
}
