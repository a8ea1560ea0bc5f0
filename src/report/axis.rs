//! A line of numbers on which long empty stretches are cut short.

/// Maps numbers to places between 0 and 1. What lies between two blocks is a *cut*: it
/// takes a little room, whatever its length.
#[derive(Clone, Debug, PartialEq)]
pub struct Axis {
    blocks: Vec<Block>,
}

/// A stretch that is drawn to scale.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Block {
    /// The numbers at its ends.
    pub low: f64,
    pub high: f64,
    /// Their places, 0 to 1.
    pub from: f64,
    pub to: f64,
}

/// Room for all cuts together, and for one at most: enough to be seen, and most of the
/// width stays with what is there.
const CUTS_SHARE: f64 = 0.25;
const CUT_SHARE: f64 = 0.035;
/// The least room for a block, so that a clip far from all others can be seen and hit.
const BLOCK_SHARE: f64 = 0.012;

impl Axis {
    /// An axis for things that lie at `spans`, each `(low, high)`. A stretch without any that
    /// is longer than `cut_beyond` is cut. `None` if there are none.
    pub fn new(spans: impl IntoIterator<Item = (f64, f64)>, cut_beyond: f64) -> Option<Self> {
        let mut spans: Vec<_> = spans
            .into_iter()
            .filter(|(low, high)| low.is_finite() && high.is_finite() && low <= high)
            .collect();
        spans.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut stretches: Vec<(f64, f64)> = Vec::new();
        for (low, high) in spans {
            match stretches.last_mut() {
                Some(last) if low - last.1 <= cut_beyond => last.1 = last.1.max(high),
                _ => stretches.push((low, high)),
            }
        }
        if stretches.is_empty() {
            return None;
        }
        let cuts = (stretches.len() - 1) as f64;
        let cut = CUT_SHARE.min(CUTS_SHARE / cuts.max(1.0));
        let total: f64 = stretches.iter().map(|(low, high)| high - low).sum();
        let weight = |low: f64, high: f64| match total > 0.0 {
            true => (high - low).max(total * BLOCK_SHARE),
            false => 1.0,
        };
        let weights: f64 = stretches.iter().map(|&(low, high)| weight(low, high)).sum();
        let scale = (1.0 - cuts * cut) / weights;
        let mut from = 0.0;
        let blocks = stretches
            .into_iter()
            .map(|(low, high)| {
                let to = from + weight(low, high) * scale;
                let block = Block {
                    low,
                    high,
                    from,
                    to,
                };
                from = to + cut;
                block
            })
            .collect();
        Some(Self { blocks })
    }

    pub fn blocks(&self) -> &[Block] {
        &self.blocks
    }

    /// The stretches that were cut: their places, and how long each is.
    pub fn cuts(&self) -> impl Iterator<Item = (f64, f64, f64)> + '_ {
        self.blocks
            .windows(2)
            .map(|pair| (pair[0].to, pair[1].from, pair[1].low - pair[0].high))
    }

    /// The place of a number, 0 to 1; of one beyond the ends, the end.
    pub fn place(&self, value: f64) -> f64 {
        let mut last = self.blocks[0].from;
        for block in &self.blocks {
            if value < block.low {
                return last;
            }
            if value <= block.high {
                let length = block.high - block.low;
                let share = if length > 0.0 {
                    (value - block.low) / length
                } else {
                    0.0
                };
                return block.from + share * (block.to - block.from);
            }
            last = block.to;
        }
        last
    }
}

#[cfg(test)]
mod tests {
    use super::Axis;

    fn near(a: f64, b: f64) -> bool {
        (a - b).abs() < 1e-9
    }

    #[test]
    fn nothing_has_no_axis() {
        assert_eq!(Axis::new([], 60.0), None);
        assert_eq!(Axis::new([(f64::NAN, 1.0), (2.0, 1.0)], 60.0), None);
    }

    #[test]
    fn one_stretch_fills_the_width() {
        let axis = Axis::new([(30.0, 40.0), (10.0, 20.0)], 60.0).unwrap();
        assert_eq!(axis.blocks().len(), 1);
        assert_eq!(axis.cuts().count(), 0);
        assert!(near(axis.place(10.0), 0.0));
        assert!(near(axis.place(25.0), 0.5));
        assert!(near(axis.place(40.0), 1.0));
        assert!(near(axis.place(-5.0), 0.0));
        assert!(near(axis.place(99.0), 1.0));
    }

    #[test]
    fn a_gap_of_hours_takes_a_little_room_and_keeps_the_scale() {
        let axis = Axis::new([(0.0, 100.0), (36_000.0, 36_300.0)], 60.0).unwrap();
        let [first, second] = axis.blocks() else {
            panic!("two blocks")
        };
        let (from, to, length) = axis.cuts().next().unwrap();
        assert!(near(length, 35_900.0));
        assert!(near(to - from, super::CUT_SHARE));
        assert!(near(second.to, 1.0));
        // Three times as long, three times as wide.
        assert!(near(
            (second.to - second.from) / (first.to - first.from),
            3.0
        ));
    }

    #[test]
    fn places_never_run_backwards() {
        let axis = Axis::new(
            (0..40).map(|i| (f64::from(i * i) * 50.0, f64::from(i * i) * 50.0 + 7.0)),
            60.0,
        )
        .unwrap();
        let places: Vec<_> = (0..80_000).map(|v| axis.place(f64::from(v))).collect();
        assert!(places.is_sorted());
        assert!(places.iter().all(|p| (0.0..=1.0 + 1e-9).contains(p)));
        assert!(near(axis.blocks().last().unwrap().to, 1.0));
    }

    #[test]
    fn a_moment_is_a_block_too() {
        let axis = Axis::new([(5.0, 5.0)], 60.0).unwrap();
        assert!(near(axis.place(5.0), 0.0));
        assert!(near(axis.blocks()[0].to, 1.0));
    }
}
