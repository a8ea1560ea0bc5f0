//! What lies between two chapters, in frames: exact arithmetic on starts and lengths.

use crate::clip_base::{self, exact_speed};
use crate::outcome::ClipOutcome;
use crate::timecode::{ClockForm, HalfOpen, Ratio};

/// A start that a slate in the clip itself gave.
#[derive(Clone, Debug)]
pub(super) struct Slate {
    pub form: ClockForm,
    /// Counts since midnight.
    pub counts: HalfOpen,
    /// Real seconds per clip second.
    pub speed: Ratio,
    /// Seconds by which the counts lie after what was displayed.
    pub lag_s: Ratio,
}

impl Slate {
    pub fn of(outcome: &ClipOutcome) -> Option<Self> {
        let start = outcome.start.as_ref()?;
        if start.inherited_from.is_some() {
            return None;
        }
        Some(Self {
            form: clip_base::clock_form(outcome.clock.as_ref()?)?,
            counts: clip_base::phi_bounds(start)?,
            speed: exact_speed(outcome.clip.speed),
            lag_s: clip_base::lag_s(start),
        })
    }

    /// Real seconds since midnight.
    pub fn seconds(&self) -> HalfOpen {
        self.form.seconds_of(self.counts)
    }

    /// The bounds `clip_s` clip seconds later.
    pub fn after(&self, clip_s: Ratio) -> HalfOpen {
        self.counts.shift(self.form.count_at(clip_s * self.speed))
    }

    /// True if seconds since midnight mean the same on both clocks.
    fn counts_like(&self, other: &Self) -> bool {
        self.form == other.form || self.form.day_seconds() == other.form.day_seconds()
    }
}

/// What lies between two chapters.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Gap {
    /// Both show the clock. `is_certain` if no other whole number of frames fits.
    Measured { frames: i64, is_certain: bool },
    /// Both show the clock, but one of them too coarsely to count frames.
    Between { least: i64, most: i64 },
    /// At least one shows no clock, or another one.
    Unseen,
}

/// A gap is counted in frames if it is known to this many; two clocks locked to the
/// camera's rate leave an open interval of two.
const WIDEST_COUNTED: Ratio = Ratio::new(3, 1);

impl Gap {
    /// From the bounds of the start that a chapter should have, in counts of `before`, and
    /// those that it has.
    pub fn of(expected: HalfOpen, before: &Slate, after: &Slate, frame_s: Option<Ratio>) -> Self {
        let Some(frame_s) = frame_s.filter(|_| before.counts_like(after)) else {
            return Self::Unseen;
        };
        let expected_s = before.form.seconds_of(expected);
        let found_s = after.seconds();
        let apart = HalfOpen::new(found_s.low - expected_s.high, found_s.high - expected_s.low);
        let apart = apart.nearest_to(Ratio::ZERO, after.form.day_seconds());
        let scale = Ratio::ONE / (before.speed * frame_s);
        let frames = HalfOpen::new(apart.low * scale, apart.high * scale);
        let whole = |n: i128| i64::try_from(n).unwrap_or(i64::MAX);
        // Open at both ends: each bound is exclusive on one side.
        let (least, most) = (whole(frames.low.floor() + 1), whole(frames.high.ceil() - 1));
        if frames.width() > WIDEST_COUNTED {
            return Self::Between { least, most };
        }
        Self::Measured {
            frames: whole(frames.middle().round()),
            is_certain: least == most,
        }
    }

    pub fn is_none_for_certain(self) -> bool {
        matches!(
            self,
            Self::Measured {
                frames: 0,
                is_certain: true
            }
        )
    }
}
