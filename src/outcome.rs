//! The result for one clip, as every output tells it. The field names are a
//! contract: `docs/sidecar.schema.json` publishes them.

use crate::error::Error;
use crate::note::{HEAD_LOST, Note, TIMES_WRONG, TRUNCATED};
use crate::timecode::{ClockForm, HalfOpen, Ratio};
use serde::{Deserialize, Serialize};
use std::fmt;

/// Version of the clip object; see `docs/sidecar.md` for the versioning rule.
pub const CLIP_FORMAT_VERSION: u32 = 1;

/// A closed set of words, in JSON and elsewhere.
macro_rules! words {
    (
        $(#[$about:meta])*
        $name:ident { $($(#[$of_one:meta])* $variant:ident = $word:literal,)+ }
    ) => {
        $(#[$about])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
        pub enum $name {
            $($(#[$of_one])* #[serde(rename = $word)] $variant,)+
        }

        impl $name {
            /// The word, as JSON has it.
            pub const fn word(self) -> &'static str {
                match self {
                    $(Self::$variant => $word,)+
                }
            }
        }
    };
}

words! {
    /// What is known about a clip's start.
    Verdict {
        /// The start label may be used unseen.
        Sure = "sure",
        /// A start, with a stated reason to look.
        Unsure = "unsure",
        /// Looked; no running clock.
        None = "none",
        /// Could not look; the reason says why.
        Failed = "failed",
    }
}

words! {
    /// How the clock's rate is known.
    RateKnownBy {
        /// No other rate of the trade explains the readings.
        Measured = "measured",
        /// Others do; a note says why this one was taken.
        Assumed = "assumed",
        /// The user said so.
        Given = "given",
    }
}

words! {
    /// How it is known whether the clock skips labels.
    DropFrameKnownBy {
        /// The semicolon before the frames.
        Mark = "mark",
        /// The clock was seen to skip labels at a minute.
        SkippedLabel = "skipped_label",
        /// The clock showed labels that drop-frame skips.
        Label = "label",
        /// The clock's form or rate has no drop-frame.
        Rate = "rate",
        /// The user said so.
        Given = "given",
        /// Another clip of the same clock tells; a note names it.
        AnotherClip = "another_clip",
        Unknown = "unknown",
    }
}

words! {
    /// How it is known what is missing before a chapter.
    GapKnownBy {
        /// Both sides show the clock.
        Measured = "measured",
        /// Taken as gapless.
        Assumed = "assumed",
        /// Nothing comes before.
        First = "first",
        /// A chapter is missing or broken, or the clock is too coarse to count frames.
        Unknown = "unknown",
    }
}

words! {
    /// What came of what a person said.
    Corrected {
        /// The start or the clock is as it was said.
        Set = "set",
        /// What was read does not hold.
        Rejected = "rejected",
        /// What was said cannot be, and what was read is kept.
        Unusable = "unusable",
    }
}

/// The clip's start on the filmed clock.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Start {
    /// What a person would have read on frame 0, if no lag was told: `floor(phi)` as text.
    pub label: String,
    /// Phi: the clock's count at the middle of frame 0's exposure, in counts
    /// since midnight, as displayed or, where the user told a lag, so much later. The middle of
    /// `count_bounds`.
    pub count: f64,
    /// Phi lies in `[low, high)`, in counts since midnight.
    pub count_bounds: [f64; 2],
    /// Real seconds since midnight of the clock: count / rate.
    pub seconds: f64,
    pub seconds_bounds: [f64; 2],
    /// The same bounds as `count_bounds` without rounding, as integer ratios.
    pub exact_count_bounds: Option<[String; 2]>,
    /// The start in the clip's own timecode base, at the same real moment; `None` if the
    /// clip has no rate, or its notes say why there is none.
    pub in_clip_base: Option<ClipLabel>,
    /// The clip whose slate gave this start, if it was not this clip: an earlier or later
    /// chapter of one recording. Path as in its own [`ClipPart::path`].
    pub inherited_from: Option<String>,
    /// Seconds by which the user said that the display is late, as an integer ratio: the start lies as
    /// much after what was displayed. `None` where nobody said so.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub exact_lag_seconds: Option<String>,
}

impl Start {
    /// A start on a clock of `form`, phi within `counts` since midnight, which lies `lag_s` seconds after
    /// what was displayed; not yet in the clip's own base, and nobody else's.
    pub fn of(form: ClockForm, counts: HalfOpen, lag_s: Ratio) -> Self {
        let HalfOpen { low, high } = counts;
        let middle = counts.middle();
        let seconds = |count: Ratio| form.seconds(count).to_f64();
        Self {
            label: form.text(i64::try_from(middle.floor()).unwrap_or_default()),
            count: middle.to_f64(),
            count_bounds: [low.to_f64(), high.to_f64()],
            seconds: seconds(middle),
            seconds_bounds: [seconds(low), seconds(high)],
            exact_count_bounds: Some([low.to_string(), high.to_string()]),
            in_clip_base: None,
            inherited_from: None,
            exact_lag_seconds: (!lag_s.is_zero()).then(|| lag_s.to_string()),
        }
    }
}

/// A start in the clip's own timecode base.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ClipLabel {
    pub label: String,
    /// Frames since midnight in this base.
    pub count: i64,
    /// Timecode rate as an integer ratio: the clip's nominal rate.
    pub rate: String,
    pub drop_frame: bool,
}

/// Where a clip without a clock probably lies: never a start.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Estimate {
    /// Real seconds since midnight of the filmed clock, at frame 0.
    pub seconds: f64,
    /// The moment lies in `[low, high]` if the camera's clock behaved.
    pub seconds_bounds: [f64; 2],
    /// What it rests on, for people.
    pub sentence: String,
    /// Clips whose slates measured the camera's clock.
    pub rests_on: Vec<String>,
}

/// A clip's place in a recording that the camera split into files.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Chapter {
    /// What the camera calls the recording, e.g. `0042`.
    pub recording: String,
    /// Number of this chapter as the camera counts, and of the chapters that are there.
    pub number: u32,
    pub chapters: u32,
    /// Frames missing before this chapter; `None` for the first and where unknown.
    pub gap_frames: Option<i64>,
    pub gap_known_by: GapKnownBy,
}

/// What a person said about the clip, which outranks what was read.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ByHand {
    pub what: Corrected,
    /// True if the start itself was said: not only how the clock counts, by which what was read may
    /// still be doubted.
    #[serde(default)]
    pub says_start: bool,
    /// Why, in the person's words; may be empty.
    pub remark: String,
    /// What was read before, kept as evidence.
    pub read_verdict: Verdict,
    pub read_start: Option<Start>,
    pub read_clock: Option<Clock>,
    /// [`ClipPart::speed`] by the clock that was read, where that was rejected and nothing else tells
    /// it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub read_speed: Option<f64>,
}

impl ByHand {
    /// What was set, "start" or "clock", and why; `None` if nothing was.
    pub fn set(&self) -> Option<(&'static str, &str)> {
        let what = if self.says_start { "start" } else { "clock" };
        (self.what == Corrected::Set).then_some((what, &*self.remark))
    }
}

/// The clock that was filmed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Clock {
    /// The shape of its labels: `HH:MM:SS:FF`, `HH:MM:SS;FF`, `HH:MM:SS:FFF`, `HH:MM:SS;FFF`,
    /// `HH:MM:SS`, `HH:MM:SS.d`, `HH:MM:SS.dd`, `HH:MM:SS.ddd`.
    pub form: String,
    /// Counts per second as an integer ratio, e.g. `30000/1001`.
    pub rate: String,
    pub rate_known_by: RateKnownBy,
    /// `null` when neither the digits nor the user settle it, or the form has no frames.
    pub drop_frame: Option<bool>,
    pub drop_frame_known_by: DropFrameKnownBy,
    /// The display's refresh that explains late digits, in hertz; `null` if none is needed.
    pub refresh_hz: Option<f64>,
    /// By how much it gains on the clip's frame times, in parts per million, below zero where it
    /// loses: hard bounds. Only where it was seen at places far enough apart, head and tail say.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub drift_ppm_bounds: Option<[f64; 2]>,
}

impl Clock {
    /// By how much it gains on the clip's frame times, as a part of its pace: the middle of the bounds,
    /// zero where it was not measured.
    pub fn drift(&self) -> f64 {
        let middle_ppm = |[low, high]: [f64; 2]| (low + high) / 2.0;
        self.drift_ppm_bounds.map_or(0.0, middle_ppm) / 1e6
    }
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
    /// conformed to 30. Of a clip without a clock, what the user gave.
    pub speed: f64,
    /// Length without rounding, seconds as an integer ratio.
    pub exact_duration_seconds: Option<String>,
    /// Presented size in pixels.
    pub width_px: Option<u32>,
    pub height_px: Option<u32>,
    /// FFmpeg's short name of the picture codec.
    pub codec: Option<String>,
    pub has_audio: Option<bool>,
    /// What the container names as its camera: maker, model, serial number.
    pub camera: Option<String>,
    /// The serial number alone, which tells one camera from another of its kind.
    pub camera_serial: Option<String>,
    /// The camera's own clock, as the container writes it.
    pub creation_time: Option<String>,
    /// The start timecode that the container carries already.
    pub carried_timecode: Option<String>,
}

impl ClipPart {
    /// A clip of which nothing but its path is known.
    pub fn unknown(path: impl Into<String>) -> Self {
        Self {
            path: path.into(),
            frames: None,
            rate: None,
            duration_seconds: None,
            variable_rate: false,
            rotation: 0,
            speed: 1.0,
            exact_duration_seconds: None,
            width_px: None,
            height_px: None,
            codec: None,
            has_audio: None,
            camera: None,
            camera_serial: None,
            creation_time: None,
            carried_timecode: None,
        }
    }

    /// [`ClipPart::creation_time`] for people: FFmpeg adds microseconds that no camera wrote.
    pub fn camera_clock(&self) -> Option<String> {
        let text = self.creation_time.as_ref()?;
        Some(text.replacen(".000000", "", 1))
    }
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
    /// Corners `[x, y]` of the digits in the frame in the middle of those that were read, where the
    /// display is held more steadily than when it comes into view; reading order, presented pixels.
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
    /// Present with `sure` and `unsure`.
    pub start: Option<Start>,
    pub clock: Option<Clock>,
    /// Absent fields are `null` when the clip could not be opened.
    pub clip: ClipPart,
    pub windows: Vec<Window>,
    /// Only beside the verdict `none`.
    pub estimate: Option<Estimate>,
    pub chapter: Option<Chapter>,
    pub by_hand: Option<ByHand>,
    /// Remarks that do not touch the verdict.
    pub notes: Vec<Note>,
    pub tool: Tool,
}

/// What an eye needs to check a clip: the display as filmed beside what was read, and how
/// the readings lie on the fit. Kept beside the outcome, not in it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Evidence {
    /// A few moments of the slate, first and last among them.
    pub crops: Vec<Crop>,
    /// Readings of the clock, at most a few hundred, in presentation order.
    pub points: Vec<Point>,
}

/// The display in one frame.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Crop {
    /// Clip seconds after frame 0.
    pub seconds: f64,
    /// The likeliest digits in reading order, `?` where none is likely.
    pub digits: String,
    /// The label that the fit says was displayed; `None` if it says nothing of that frame.
    pub label: Option<String>,
    /// Grey PNG file of the display, upright, as base64 text (RFC 4648).
    pub png: String,
}

/// One reading against the fit.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Point {
    /// Clip seconds after frame 0.
    pub seconds: f64,
    /// The count that the likeliest digits make; `None` if they make no legal label.
    pub read_count: Option<i64>,
    /// The count that the fit says was displayed.
    pub displayed_count: i64,
}

/// Version of the card object; see `docs/card.md` for the versioning rule.
pub const CARD_FORMAT_VERSION: u32 = 1;

/// Everything about one or more cards.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CardOutcome {
    /// [`CARD_FORMAT_VERSION`] of the writer.
    pub format: u32,
    /// The folders, as they were named; `.` and what ends with `..` by its whole path.
    pub folders: Vec<String>,
    /// In the order of the scan: stable on every file system.
    pub clips: Vec<CardClip>,
    pub cameras: Vec<Camera>,
    /// Files that were not looked at, and why.
    pub skipped: Vec<Skipped>,
    /// Clips of earlier runs that are not among `clips`, and whose sidecars are still there.
    #[serde(default)]
    pub gone: Vec<Gone>,
    /// Remarks about the card as a whole.
    pub notes: Vec<Note>,
    pub tool: Tool,
}

/// One clip of a card.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CardClip {
    /// Path below its folder, with `/`, as text; bytes that are not UTF-8 stand as `\xNN`.
    pub name: String,
    /// Where its sidecar lies, relative to the output folder, written like `name`.
    pub sidecar: String,
    /// Index into [`CardOutcome::cameras`].
    pub camera: usize,
    #[serde(flatten)]
    pub outcome: ClipOutcome,
}

/// Clips that were shot by one camera, as far as one can tell.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Camera {
    /// What to call it: the container's name for it, or the folder of its clips.
    pub name: String,
    /// Filmed clock minus the camera's own clock, in seconds, as its slates measured it.
    pub clock_offset_seconds: Option<f64>,
    /// How fast the camera's clock gains on the filmed one, if two slates lie far enough apart.
    pub clock_drift_ppm: Option<f64>,
    pub notes: Vec<Note>,
}

/// A file that was not looked at.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Skipped {
    /// As [`CardClip::name`].
    pub name: String,
    pub reason: Note,
}

/// A clip that an earlier run read and this one did not meet.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Gone {
    /// As [`CardClip::name`], of that run.
    pub name: String,
    /// As [`CardClip::sidecar`].
    pub sidecar: String,
}

/// How far the start may be off, either way.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EitherWay {
    /// Half the width of the bounds.
    pub width: f64,
    /// `frames` of the clip, or `counts` of the clock where the clip's rate is not known.
    pub unit: &'static str,
}

/// The number without its unit, rounded up, so that no bound looks better than it is.
impl fmt::Display for EitherWay {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        /// Float noise of subtracting two seconds of a day, in frames.
        const NOISE: f64 = 1e-6;
        let decimals: usize = match self.width {
            w if w < 0.1 => 2,
            w if w < 10.0 => 1,
            _ => 0,
        };
        let scale = [1.0, 10.0, 100.0][decimals];
        let up = ((self.width - NOISE) * scale).ceil().max(1.0) / scale;
        write!(f, "{up:.decimals$}")
    }
}

/// Code of a clip that a run did not come to, since it ended early.
pub const NOT_READ: &str = "not_read";

impl ClipOutcome {
    /// True for a clip that a run did not come to, since it ended early.
    pub fn was_left_out(&self) -> bool {
        self.reasons.iter().any(|reason| reason.code == NOT_READ)
    }

    /// What is to be told of a file that ends early, whatever its start: footage is missing.
    pub fn cut_short(&self) -> Option<&Note> {
        self.notes.iter().find(|note| note.code == TRUNCATED)
    }

    /// What the file itself says against its frame 0 or the times of its frames.
    pub fn doubts_of_the_file(&self) -> impl Iterator<Item = &Note> {
        let codes = [HEAD_LOST, TIMES_WRONG];
        let reasons = self.reasons.iter();
        reasons.filter(move |reason| codes.contains(&reason.code.as_str()))
    }

    /// True if a person has to look at the clip, or at what was said of it.
    pub const fn needs_a_look(&self) -> bool {
        let is_misunderstood = match &self.by_hand {
            Some(said) => matches!(said.what, Corrected::Unusable),
            None => false,
        };
        matches!(self.verdict, Verdict::Unsure | Verdict::Failed) || is_misunderstood
    }

    /// True if nothing is told of the clip because a person rejected what was read.
    pub const fn was_rejected(&self) -> bool {
        let is_rejected = match &self.by_hand {
            Some(said) => matches!(said.what, Corrected::Rejected),
            None => false,
        };
        is_rejected && matches!(self.verdict, Verdict::None)
    }

    /// How far the start may be off; `None` without a start.
    pub fn either_way(&self) -> Option<EitherWay> {
        let [low, high] = self.start.as_ref()?.seconds_bounds;
        let (rate, unit) = match (&self.clip.rate, &self.clock) {
            (Some(rate), _) => (rate, "frames"),
            (None, clock) => (&clock.as_ref()?.rate, "counts"),
        };
        let rate = rate.parse::<Ratio>().ok()?.to_f64();
        // A frame of conformed footage lasted `speed / rate` real seconds.
        let width = (high - low) / 2.0 * rate / self.clip.speed;
        width.is_finite().then_some(EitherWay { width, unit })
    }

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
            clip: ClipPart::unknown(path.to_string_lossy()),
            windows: Vec::new(),
            estimate: None,
            chapter: None,
            by_hand: None,
            notes: Vec::new(),
            tool,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bounds_never_look_better_than_they_are() {
        let shown = |width| {
            EitherWay {
                width,
                unit: "frames",
            }
            .to_string()
        };
        assert_eq!(shown(0.0), "0.01");
        assert_eq!(shown(0.041), "0.05");
        assert_eq!(shown(0.12), "0.2");
        assert_eq!(shown(0.5), "0.5");
        assert_eq!(shown(1.01), "1.1");
        assert_eq!(shown(107_892.0), "107892");
        // Two seconds of a day, subtracted: not 0.51.
        assert_eq!(shown(0.5 + 1e-9), "0.5");
    }
}
