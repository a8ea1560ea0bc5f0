//! Pictures of the frames behind the last look: what the next look finds may have come into view in
//! them, and a clock that was set, or a clip that was cut, shows there.

use crate::frame::Stamp;
use crate::timecode::Ratio;
use crate::vision::Pyramid;
use std::collections::VecDeque;

/// Seconds from one kept picture to the next, at least: every frame of most clips.
const CLOSEST_S: Ratio = Ratio::new(1, 32);
/// Pictures kept at most, half a second of them, and their pixels together: five of 4K.
const MOST: usize = 16;
const MOST_PX: usize = 42_000_000;

#[derive(Default)]
pub(super) struct Earlier {
    kept: VecDeque<(Stamp, Pyramid)>,
}

impl Earlier {
    /// True if the frame is worth keeping beside those that are kept.
    pub fn wants(&self, stamp: Stamp) -> bool {
        self.kept
            .back()
            .is_none_or(|(last, _)| stamp.seconds() - last.seconds() >= CLOSEST_S)
    }

    /// Keeps a picture, and lets go of the oldest where it is one too many.
    pub fn keep(&mut self, stamp: Stamp, picture: Pyramid) {
        let (width, height) = picture.full().dimensions();
        let most = MOST_PX / (width as usize * height as usize).max(1);
        self.kept.push_back((stamp, picture));
        while self.kept.len() > most.min(MOST) {
            self.kept.pop_front();
        }
    }

    /// Lets go of all pictures: nothing that will be found is in them.
    pub fn forget(&mut self) {
        self.kept.clear();
    }

    /// The pictures, oldest first. None is kept any more.
    pub fn take(&mut self) -> VecDeque<(Stamp, Pyramid)> {
        std::mem::take(&mut self.kept)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::timecode::Ratio;
    use image::GrayImage;

    fn kept(frames: i64, per_second: i128, size: (u32, u32)) -> Vec<i64> {
        let mut earlier = Earlier::default();
        for ticks in 0..frames {
            let stamp = Stamp {
                ticks,
                tick_seconds: Ratio::new(1, per_second),
                index: None,
            };
            if earlier.wants(stamp) {
                earlier.keep(stamp, Pyramid::new(GrayImage::new(size.0, size.1)));
            }
        }
        earlier
            .take()
            .iter()
            .map(|(stamp, _)| stamp.ticks)
            .collect()
    }

    #[test]
    fn the_last_half_second_is_kept_of_fast_clips_less_densely_and_of_large_ones_in_part() {
        let small = (640, 360);
        assert_eq!(kept(10, 25, small), (0..10).collect::<Vec<_>>());
        assert_eq!(kept(40, 25, small), (24..40).collect::<Vec<_>>());
        assert_eq!(kept(12, 120, small), [0, 4, 8]);
        assert_eq!(kept(10, 25, (3840, 2160)), [5, 6, 7, 8, 9]);
    }
}
