//! Presentation stamps after frame 0, strictly increasing, repaired where the
//! file has none.

use crate::timecode::Ratio;

/// Decoders hold back at most 16 frames (ITU-T H.264, A.3.1 and ITU-T H.265,
/// A.4.1 limit the picture buffer); twice that, for fields.
const LONGEST_REORDER: i32 = 32;

/// A recorder that starts again from 0 costs one repair, a lost packet a few. From the
/// third on, and where more than one frame in twenty needs one, the file's table of times
/// is damaged, and stamps that happen to rise are as wrong as those that do not.
const FEWEST_DUBIOUS: u64 = 3;
const DUBIOUS_SHARE: u64 = 20;

/// Turns the stamps that FFmpeg gives into ticks after frame 0.
#[derive(Clone, Debug)]
pub(super) struct Stamper {
    /// FFmpeg's stamp of frame 0; none before the first frame with a stamp.
    zero: Option<i64>,
    /// Ticks of the previous frame of this run.
    last: Option<i64>,
    /// Ticks that the file itself gives the previous frame that has any.
    last_own: Option<i64>,
    /// Added to stamps after they jumped back.
    shift: i64,
    /// Ticks of the last frame with a stamp of its own, and frames since.
    rebuilt: (i64, u32),
    /// Ticks per frame at the nominal rate, above zero.
    step: Ratio,
    /// Frames whose stamp was missing or ran backwards.
    repaired: u64,
    /// Frames that got ticks.
    given: u64,
}

impl Stamper {
    pub(super) fn new() -> Self {
        Self {
            zero: None,
            last: None,
            last_own: None,
            shift: 0,
            rebuilt: (0, 0),
            step: Ratio::ONE,
            repaired: 0,
            given: 0,
        }
    }

    /// Ticks per frame, for frames without stamps.
    pub(super) fn set_step(&mut self, step: Ratio) {
        if step.is_positive() {
            self.step = step;
        }
    }

    pub(super) const fn step(&self) -> Ratio {
        self.step
    }

    /// FFmpeg's stamp of frame 0.
    pub(super) fn zero(&self) -> i64 {
        self.zero.unwrap_or(0)
    }

    pub(super) fn repaired(&self) -> u64 {
        self.repaired
    }

    /// True if so many stamps were repaired that the others deserve no trust either.
    pub(super) fn is_dubious(&self) -> bool {
        self.repaired >= FEWEST_DUBIOUS && self.repaired * DUBIOUS_SHARE > self.given
    }

    /// A jump: the next frame has no neighbour.
    pub(super) fn jumped(&mut self) {
        self.last = None;
        self.last_own = None;
        self.shift = 0;
    }

    /// True for a stamp that lies before the previous frame's, but not further
    /// than a decoder that lost its order reaches back.
    pub(super) fn is_late(&self, raw: i64) -> bool {
        let reach = self.step * Ratio::from_integer(LONGEST_REORDER);
        self.last.is_some_and(|last| {
            let back = last.saturating_sub(raw.saturating_sub(self.zero()));
            back > 0 && Ratio::from_integer(back) <= reach
        })
    }

    /// Ticks after frame 0 of the next frame in presentation order; the first
    /// one ever asked about is frame 0. `None` for frames before frame 0, and for one whose
    /// place a repair before it has taken.
    pub(super) fn ticks(&mut self, raw: Option<i64>) -> Option<i64> {
        if let (None, Some(raw)) = (self.zero, raw) {
            // Frames without stamps may have gone before.
            let ticks = self.last.map_or(0, |_| self.rebuild().0);
            self.zero = Some(raw.saturating_sub(ticks));
        }
        let own = raw
            .zip(self.zero)
            .and_then(|(raw, zero)| raw.checked_sub(zero));
        let Some(last) = self.last else {
            let first = own.unwrap_or(0);
            if first < 0 {
                return None;
            }
            self.last_own = own;
            return Some(self.take(first));
        };
        let last_own = self.last_own;
        self.last_own = own.or(last_own);
        if let Some(own) = own {
            if own > last {
                // Ahead again without help: what ran back was no new beginning.
                self.shift = 0;
                return Some(self.take(own));
            }
            let moved = own.saturating_add(self.shift);
            if moved > last {
                return Some(self.take(moved));
            }
        }
        self.repaired += 1;
        let rises = |own| last_own.is_some_and(|before| own > before);
        if own.is_some_and(rises) && self.shift == 0 {
            return None;
        }
        self.given += 1;
        let (ticks, frames) = self.rebuild();
        let ticks = ticks.max(last.saturating_add(1));
        // The same stamp twice is one frame too many; stamps that run back begin anew.
        if let Some(own) = own.filter(|own| last_own != Some(*own)) {
            self.shift = ticks.saturating_sub(own);
        }
        self.last = Some(ticks);
        self.rebuilt.1 = frames;
        Some(ticks)
    }

    /// Ticks of the next frame by the rate alone, and frames since the last
    /// stamp that the file has.
    fn rebuild(&self) -> (i64, u32) {
        let (anchor, frames) = self.rebuilt;
        let frames = frames + 1;
        let advance = (self.step * Ratio::from_integer(frames)).round();
        let advance = i64::try_from(advance).unwrap_or(i64::MAX);
        (anchor.saturating_add(advance), frames)
    }

    fn take(&mut self, ticks: i64) -> i64 {
        self.given += 1;
        self.last = Some(ticks);
        self.rebuilt = (ticks, 0);
        ticks
    }
}

#[cfg(test)]
mod tests {
    use super::super::spacing::{RateClaims, Spacing, nominal_rate};
    use super::*;

    fn stamped(step: Ratio, raw: &[Option<i64>]) -> (Vec<Option<i64>>, u64) {
        let mut stamper = Stamper::new();
        stamper.set_step(step);
        let ticks = raw.iter().map(|raw| stamper.ticks(*raw)).collect();
        (ticks, stamper.repaired())
    }

    #[test]
    fn good_stamps_pass_relative_to_the_first() {
        let (ticks, repaired) = stamped(Ratio::ONE, &[Some(1024), Some(1536), Some(2048)]);
        assert_eq!(ticks, [Some(0), Some(512), Some(1024)]);
        assert_eq!(repaired, 0);
    }

    #[test]
    fn missing_stamps_follow_the_rate_without_drift() {
        // 1001/30000 s in ticks of 1/1000 s: 33.37 per frame.
        let step = Ratio::new(1001, 30);
        let (ticks, repaired) = stamped(step, &[None; 31]);
        assert_eq!(ticks[30], Some(1001));
        assert_eq!(ticks[1], Some(33));
        assert_eq!(repaired, 30);
        let (ticks, _) = stamped(Ratio::from_integer(40), &[Some(0), None, Some(80), None]);
        assert_eq!(ticks, [Some(0), Some(40), Some(80), Some(120)]);
        // The first stamp stands on the third frame.
        let (ticks, _) = stamped(Ratio::from_integer(40), &[None, None, Some(900), Some(945)]);
        assert_eq!(ticks, [0, 40, 80, 125].map(Some));
    }

    #[test]
    fn stamps_that_run_back_go_on_from_where_they_were() {
        let step = Ratio::from_integer(40);
        // A recorder that starts again from 0 half way.
        let raw = [0, 40, 80, 0, 40, 80].map(Some);
        let (ticks, repaired) = stamped(step, &raw);
        assert_eq!(ticks, [0, 40, 80, 120, 160, 200].map(Some));
        assert_eq!(repaired, 1);
        // One bad stamp: the next good one counts again.
        let (ticks, repaired) = stamped(step, &[0, 40, 40, 120, 160].map(Some));
        assert_eq!(ticks, [0, 40, 80, 120, 160].map(Some));
        assert_eq!(repaired, 1);
    }

    /// A frame that was recorded twice must not make all that follow late.
    #[test]
    fn a_stamp_that_comes_twice_moves_no_later_frame() {
        let step = Ratio::from_integer(40);
        let (ticks, _) = stamped(step, &[0, 0, 40, 80, 120].map(Some));
        assert_eq!(ticks, [Some(0), Some(40), None, Some(80), Some(120)]);
        let (ticks, _) = stamped(step, &[0, 40, 40, 40, 80, 120, 160].map(Some));
        assert_eq!(ticks.last(), Some(&Some(160)));
    }

    #[test]
    fn a_few_repairs_are_trusted_and_many_are_not() {
        let dubious = |raw: &[i64]| {
            let mut stamper = Stamper::new();
            stamper.set_step(Ratio::from_integer(40));
            for raw in raw {
                stamper.ticks(Some(*raw));
            }
            stamper.is_dubious()
        };
        let good: Vec<i64> = (0..50).map(|n| 40 * n).collect();
        assert!(!dubious(&good));
        let mut once = good.clone();
        once[20] = once[19];
        assert!(!dubious(&once));
        // Every fifth runs back.
        let torn: Vec<i64> = (0..50)
            .map(|n| 40 * (n - 3 * i64::from(n % 5 == 4)))
            .collect();
        assert!(dubious(&torn));
    }

    #[test]
    fn stamps_at_the_ends_of_their_range_stop_nothing() {
        const ENDS: [i64; 7] = [i64::MIN + 1, i64::MAX, 0, i64::MAX - 1, -1, i64::MIN + 2, 1];
        for (first, second, third) in triples(&ENDS) {
            let mut stamper = Stamper::new();
            for raw in [first, second, third, second, third] {
                stamper.ticks(Some(raw));
                stamper.is_late(raw);
            }
            let mut stamps = [first, second, third];
            let spacing = Spacing::of_stamps(&mut stamps);
            for is_uneven in [spacing.is_uneven(), true, false] {
                nominal_rate(RateClaims {
                    average: None,
                    grid: None,
                    stamps: &stamps,
                    tick_seconds: Ratio::new(1, 90_000),
                    is_uneven,
                });
            }
        }
    }

    /// All three out of `values`, in any order and with repeats.
    fn triples(values: &[i64]) -> impl Iterator<Item = (i64, i64, i64)> + '_ {
        let pairs = values
            .iter()
            .flat_map(|a| values.iter().map(move |b| (*a, *b)));
        pairs.flat_map(|(a, b)| values.iter().map(move |c| (a, b, *c)))
    }

    #[test]
    fn late_frames_are_told_from_a_new_beginning() {
        let mut stamper = Stamper::new();
        stamper.set_step(Ratio::from_integer(40));
        for raw in [1000, 1040, 9000] {
            stamper.ticks(Some(raw));
        }
        assert!(stamper.is_late(8960) && stamper.is_late(9000 - 32 * 40));
        assert!(!stamper.is_late(9000) && !stamper.is_late(9040) && !stamper.is_late(1000));
        stamper.jumped();
        assert!(!stamper.is_late(8960));
    }

    #[test]
    fn frames_before_frame_0_have_no_ticks_after_a_jump() {
        let mut stamper = Stamper::new();
        assert_eq!(stamper.ticks(Some(512)), Some(0));
        stamper.jumped();
        assert_eq!(stamper.ticks(Some(0)), None);
        assert_eq!(stamper.ticks(Some(256)), None);
        assert_eq!(stamper.ticks(Some(512)), Some(0));
        assert_eq!(stamper.zero(), 512);
    }
}
