//! Pictures with exact times, and the trait through which clips are looked at.

use crate::error::Result;
use crate::facts::ClipFacts;
use crate::timecode::Ratio;
use image::GrayImage;

/// When a frame is presented: PTS minus the PTS of frame 0, in whole ticks of
/// the stream's time base. Exact; never derived from a frame index.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stamp {
    /// Ticks after frame 0. Frame 0 is the first frame *presented*, so >= 0.
    pub ticks: i64,
    /// Seconds per tick, > 0.
    pub tick_seconds: Ratio,
    /// Presentation index, 0 for frame 0; `None` where a jump lost the count.
    pub index: Option<u64>,
}

impl Stamp {
    /// Seconds after frame 0, exact.
    pub fn seconds(&self) -> Ratio {
        Ratio::from_integer(self.ticks) * self.tick_seconds
    }

    /// Seconds after frame 0, rounded: for messages and drawings only.
    pub fn seconds_f64(&self) -> f64 {
        self.seconds().to_f64()
    }
}

/// What makes a pixel of a grey picture bright.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Light {
    /// Luma.
    Luma,
    /// How far its red, green and blue lie apart: what is grey is black, whatever its luma.
    Colour,
}

/// One presented frame.
#[derive(Clone, Debug)]
pub struct Frame {
    pub stamp: Stamp,
    /// Brightness as a person sees it: presented orientation (rotation and mirror
    /// applied), full range 0..=255, 8 bit whatever the codec's depth.
    pub grey: GrayImage,
    /// True if the frame holds two fields taken at different times.
    pub is_interlaced: bool,
}

/// Where to go in a clip.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Aim {
    /// Frame 0.
    Head,
    /// The last whole seconds before the end.
    Tail { seconds: u32 },
    /// A time after frame 0, in seconds.
    At(Ratio),
}

/// Where a seek was meant to land and where it landed: samplers rarely hit what
/// they aim at, and the caller must know.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Landing {
    /// Seconds after frame 0 that were asked for.
    pub asked_s: Ratio,
    /// Stamp of the frame that [`Footage::advance`] will give next, if any is left.
    pub got: Option<Stamp>,
}

/// Which frames of a clip are decoded and given out.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Stride {
    #[default]
    EveryFrame,
    /// Key frames, which decode alone, a fraction of the work.
    KeyFrames {
        /// Those nearer than this to the one before are left out, in seconds; the first, to the frame
        /// given last in whatever way.
        closest_s: Ratio,
        /// Where key frames lie further apart, frames between them come as well, at
        /// least `closest_s` apart and decoded from the key frame on; `None`: never.
        widest_s: Option<Ratio>,
        /// True if the edges of the codec's blocks may show: the filter that smooths them is
        /// left out, for pictures that are only looked at in a reduced size.
        is_rough: bool,
    },
    /// Few frames ahead of the one given last, for a glance from which one comes back with
    /// [`Footage::seek`].
    Ahead {
        /// So many seconds apart at least, the first from the frame given last.
        closest_s: Ratio,
        /// Key frames, where one comes within so many seconds; others are decoded on from where
        /// decoding stands, without those in between to which no other refers.
        widest_s: Ratio,
    },
}

/// A clip that can be looked at, forwards, with jumps. The media layer
/// implements it over FFmpeg; tests implement it over pictures they draw.
pub trait Footage {
    /// What the container claims, and what was found while decoding so far.
    fn facts(&self) -> &ClipFacts;

    /// Jumps to the last frame at or before the aim.
    fn seek(&mut self, aim: Aim) -> Result<Landing>;

    /// Which frames come from now on.
    fn set_stride(&mut self, stride: Stride);

    /// Moves to the next presented frame and gives its stamp; `None` at the end.
    /// Cheap: no picture is converted before [`Footage::picture`] asks for it.
    fn advance(&mut self) -> Result<Option<Stamp>>;

    /// Reads a piece of what lies between frame 0 and the frame at a time, in seconds, and was not
    /// read yet, without decoding it: only who reads it sees whether times leap there or start
    /// again, and [`Footage::facts`] then say so. True if more is left. If anything was read the
    /// place is lost, and a seek must follow. Footage that is drawn holds nothing unread.
    fn read_up_to(&mut self, _at: Ratio) -> Result<bool> {
        Ok(false)
    }

    /// The frame last given by [`Footage::advance`], as bright as `light` says.
    ///
    /// # Panics
    /// If `advance` has not given a frame since the last seek.
    fn picture(&mut self, light: Light) -> Result<Frame>;
}
