//! What a container claims about a clip, and what decoding showed.

use crate::note::Note;
use crate::timecode::{Rate, Ratio};
use std::path::PathBuf;

/// What a container claims before any picture is decoded: enough to tell clips from other files.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HeaderFacts {
    /// FFmpeg's short name of the container.
    pub container: String,
    /// Size in pixels, before the picture is turned.
    pub width_px: u32,
    pub height_px: u32,
    /// Length in seconds, if known: to a frame or so.
    pub duration_s: Option<Ratio>,
    /// The camera's own clock, as the container writes it.
    pub creation_time: Option<String>,
}

impl From<&ClipFacts> for HeaderFacts {
    fn from(facts: &ClipFacts) -> Self {
        Self {
            container: facts.container.clone(),
            width_px: facts.width_px,
            height_px: facts.height_px,
            duration_s: facts.duration_s,
            creation_time: facts.creation_time.clone(),
        }
    }
}

/// Facts about one clip. Claims of the container unless said otherwise.
#[derive(Clone, Debug)]
pub struct ClipFacts {
    pub path: PathBuf,
    /// FFmpeg's short name of the container, e.g. `mov,mp4,m4a,3gp,3g2,mj2`.
    pub container: String,
    /// FFmpeg's short name of the picture codec, e.g. `h264`.
    pub codec: String,
    /// Presented size in pixels (after rotation).
    pub width_px: u32,
    pub height_px: u32,
    /// Bits per luma sample.
    pub bit_depth: u8,
    /// Nominal frame rate, if the container has one.
    pub rate: Option<Rate>,
    /// Seconds per tick of the stamps.
    pub tick_seconds: Ratio,
    /// Length in seconds from frame 0, if known.
    pub duration_s: Option<Ratio>,
    /// Number of presented frames, if known without decoding everything.
    pub frames: Option<u64>,
    /// True if the stamps are unevenly spaced.
    pub is_variable_rate: bool,
    /// Clockwise turn in degrees that was applied to present the picture: 0, 90, 180, 270.
    pub rotation_degrees: u16,
    /// True if the matrix also mirrored the picture.
    pub is_mirrored: bool,
    pub is_interlaced: bool,
    pub has_audio: bool,
    /// Start timecode that the container already carries, as FFmpeg prints it.
    pub carried_timecode: Option<String>,
    /// What the container names as its camera: maker, model, serial number.
    pub camera: Option<String>,
    /// The serial number alone, which tells one camera from another of its kind.
    pub camera_serial: Option<String>,
    /// The camera's own clock, as the container writes it.
    pub creation_time: Option<String>,
    /// Why no start may be used unseen, whatever the clock says: frame 0 or the times of the
    /// frames cannot be trusted.
    pub doubts: Vec<Note>,
    /// Yes, but: truncated, stamps repaired, carried timecode unreadable, ...
    pub notes: Vec<Note>,
}

#[cfg(test)]
impl ClipFacts {
    /// Those of a plain clip that stands for others in tests: one tick a frame, no length.
    pub fn plain(path: impl Into<PathBuf>, rate: Rate) -> Self {
        Self {
            path: path.into(),
            container: "mov,mp4,m4a,3gp,3g2,mj2".into(),
            codec: "h264".into(),
            width_px: 1920,
            height_px: 1080,
            bit_depth: 8,
            rate: Some(rate),
            tick_seconds: rate.ratio().recip(),
            duration_s: None,
            frames: None,
            is_variable_rate: false,
            rotation_degrees: 0,
            is_mirrored: false,
            is_interlaced: false,
            has_audio: false,
            carried_timecode: None,
            camera: None,
            camera_serial: None,
            creation_time: None,
            doubts: Vec::new(),
            notes: Vec::new(),
        }
    }
}
