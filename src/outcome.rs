//! The result for one clip, as every output tells it. The field names are a
//! contract: `docs/sidecar.schema.json` publishes them.

use crate::error::Error;
use crate::note::Note;
use serde::{Deserialize, Serialize};

/// Version of the clip object; see `docs/sidecar.md` for the versioning rule.
pub const CLIP_FORMAT_VERSION: u32 = 1;

/// What is known about a clip's start.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Verdict {
    /// The start label may be used unseen.
    Sure,
    /// A start, with a stated reason to look.
    Unsure,
    /// Looked; no running clock.
    None,
    /// Could not look; the reason says why.
    Failed,
}

/// The clip's start on the filmed clock.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Start {
    /// What a person would have read on frame 0: `floor(phi)` as text.
    pub label: String,
    /// Phi: the clock's count at the middle of frame 0's exposure, in counts
    /// since midnight, as displayed. The middle of `count_bounds`.
    pub count: f64,
    /// Phi lies in `[low, high)`, in counts since midnight.
    pub count_bounds: [f64; 2],
    /// Real seconds since midnight of the clock: count / rate.
    pub seconds: f64,
    pub seconds_bounds: [f64; 2],
}

/// The clock that was filmed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Clock {
    /// The shape of its labels: `HH:MM:SS:FF`, `HH:MM:SS;FF`, `HH:MM:SS:FFF`, `HH:MM:SS;FFF`,
    /// `HH:MM:SS`, `HH:MM:SS.d`, `HH:MM:SS.dd`, `HH:MM:SS.ddd`.
    pub form: String,
    /// Counts per second as an integer ratio, e.g. `30000/1001`.
    pub rate: String,
    /// How the rate is known: `measured`, `assumed` (the sentence in the notes says why), `given`.
    pub rate_known_by: String,
    /// `null` when neither the digits nor the user settle it, or the form has no frames.
    pub drop_frame: Option<bool>,
    /// `mark` (the semicolon), `skipped_label`, `label` (one that only
    /// non-drop-frame has), `rate` (the rate has no drop-frame), `given`, `unknown`.
    pub drop_frame_known_by: String,
    /// The display's refresh that explains late digits, in hertz; `null` if none is needed.
    pub refresh_hz: Option<f64>,
}

/// The clip.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ClipPart {
    pub path: String,
    /// Presented frames, `null` if not known without decoding everything.
    pub frames: Option<u64>,
    /// Nominal frame rate as an integer ratio, e.g. `25/1`.
    pub rate: Option<String>,
    pub duration_seconds: Option<f64>,
    pub variable_rate: bool,
    /// Clockwise degrees applied to show the picture upright.
    pub rotation: u16,
    /// Real seconds that pass in one clip second: 1, or 0.25 for 120 fps footage
    /// conformed to 30.
    pub speed: f64,
}

/// A stretch of the clip in which the clock was seen.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Window {
    /// Presentation indices, `null` where a jump lost the count.
    pub first_frame: Option<u64>,
    pub last_frame: Option<u64>,
    /// Clip seconds after frame 0.
    pub first_seconds: f64,
    pub last_seconds: f64,
    pub frames_read: usize,
    pub frames_agreeing: usize,
    /// Corners `[x, y]` of the digits in the first frame of the window, reading
    /// order, presented pixels.
    pub quad: [[f32; 2]; 4],
}

/// What made this.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Tool {
    pub name: String,
    pub version: String,
    /// SHA-256 over the model files, hexadecimal.
    pub model: String,
}

/// Everything about one clip.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ClipOutcome {
    /// [`CLIP_FORMAT_VERSION`] of the writer.
    pub format: u32,
    pub verdict: Verdict,
    /// Why the verdict is not `sure`, or what it rests on; code and sentence.
    pub reasons: Vec<Note>,
    /// Present with `sure` and, where one could be given, with `unsure`.
    pub start: Option<Start>,
    pub clock: Option<Clock>,
    /// Absent fields are `null` when the clip could not be opened.
    pub clip: ClipPart,
    pub windows: Vec<Window>,
    /// Remarks that do not touch the verdict.
    pub notes: Vec<Note>,
    pub tool: Tool,
}

impl ClipOutcome {
    /// The outcome of a clip that could not be looked at.
    pub fn failed(path: &std::path::Path, error: &Error, tool: Tool) -> Self {
        let mut sentence = error.what().to_owned();
        if let Some(advice) = error.advice() {
            sentence = format!("{sentence}; {advice}");
        }
        Self {
            format: CLIP_FORMAT_VERSION,
            verdict: Verdict::Failed,
            reasons: vec![Note::new(error.kind().code(), sentence)],
            start: None,
            clock: None,
            clip: ClipPart {
                path: path.to_string_lossy().into_owned(),
                frames: None,
                rate: None,
                duration_seconds: None,
                variable_rate: false,
                rotation: 0,
                speed: 1.0,
            },
            windows: Vec::new(),
            notes: Vec::new(),
            tool,
        }
    }
}
