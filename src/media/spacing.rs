//! How far apart frames are, and the nominal rate that follows.

use crate::timecode::{Rate, Ratio};

/// Longest time between two frames of one recording that is believed, in seconds and in frames:
/// phones that cannot keep up, or adjust to the light, leave out a second or so (judged).
const LONGEST_GAP_S: i128 = 3;
const LONGEST_GAP_FRAMES: i128 = 10;

/// The same in ticks, of which a frame lasts `step`.
pub(super) fn longest_gap_ticks(step: Ratio, tick_seconds: Ratio) -> i64 {
    let seconds = Ratio::from_integer(LONGEST_GAP_S) / tick_seconds;
    let frames = Ratio::from_integer(LONGEST_GAP_FRAMES) * step;
    i64::try_from(seconds.max(frames).floor()).unwrap_or(i64::MAX)
}

/// Shortest and longest distance between neighbouring frames so far, in ticks.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Spacing {
    range: Option<(i64, i64)>,
}

impl Spacing {
    /// From presentation stamps in ticks, in any order.
    pub(super) fn of_stamps(stamps: &mut [i64]) -> Self {
        stamps.sort_unstable();
        let mut spacing = Self::default();
        for pair in stamps.windows(2) {
            spacing.observe(pair[1].saturating_sub(pair[0]));
        }
        spacing
    }

    /// Takes in a distance; one that is not above zero is no distance.
    pub(super) fn observe(&mut self, gap_ticks: i64) {
        if gap_ticks > 0 {
            let (low, high) = self.range.unwrap_or((gap_ticks, gap_ticks));
            self.range = Some((low.min(gap_ticks), high.max(gap_ticks)));
        }
    }

    pub(super) fn merge(&mut self, other: Self) {
        if let Some((low, high)) = other.range {
            self.observe(low);
            self.observe(high);
        }
    }

    /// Shortest and longest distance in ticks.
    pub(super) fn range(self) -> Option<(i64, i64)> {
        self.range
    }

    /// True if the distances differ by more than rounding makes them differ.
    /// Evenly spaced times rounded to ticks lie one tick more or less apart; a
    /// fiftieth of a frame on top forgives stamps that were rounded twice.
    pub(super) fn is_uneven(self) -> bool {
        self.range
            .is_some_and(|(low, high)| high - low > (low / 50).max(1))
    }
}

/// What is known about a stream's rate.
#[derive(Clone, Copy, Debug)]
pub(super) struct RateClaims<'a> {
    /// Frames over length, as the container or FFmpeg has it.
    pub average: Option<Ratio>,
    /// FFmpeg's guess at the slowest rate on whose grid all stamps lie. Counts
    /// fields in some interlaced streams.
    pub grid: Option<Ratio>,
    /// Sampled stamps in ticks, sorted.
    pub stamps: &'a [i64],
    pub tick_seconds: Ratio,
    pub is_uneven: bool,
}

/// Claims above this are nonsense, in frames per second: high-speed cameras write less.
const MOST_PLAUSIBLE: Ratio = Ratio::new(1000, 1);

/// The rate that the camera meant.
pub(super) fn nominal_rate(claims: RateClaims) -> Option<Rate> {
    let within = |ratio: &Ratio| ratio.is_positive() && *ratio <= MOST_PLAUSIBLE;
    let average = claims.average.filter(within);
    let grid = claims.grid.filter(within);
    let gap = |ticks: i64| Ratio::from_integer(ticks) * claims.tick_seconds;
    if claims.is_uneven {
        // The usual distance, not the mean one, is a phone's nominal rate.
        let usual = median_gap(claims.stamps)
            .filter(|ticks| *ticks > 0)
            .map(|ticks| gap(ticks).recip())
            .filter(within);
        let not_below_average = |grid: &Rate| average.is_none_or(|a| grid.ratio() >= a);
        return average
            .and_then(trade)
            .or_else(|| grid.and_then(trade).filter(not_below_average))
            .or_else(|| usual.and_then(|usual| nearest_trade(usual, Ratio::new(1, 50))))
            .or_else(|| average.or(usual).and_then(plain));
    }
    let mean = match claims.stamps {
        [first, .., last] if last > first => {
            let count = i64::try_from(claims.stamps.len() - 1).ok()?;
            let span_ticks = last.saturating_sub(*first);
            Some((Ratio::from_integer(count) / gap(span_ticks), span_ticks))
        }
        _ => None,
    };
    average
        .and_then(trade)
        .or_else(|| grid.and_then(trade).filter(|_| average.is_none()))
        .or_else(|| {
            // One tick of rounding over the sampled span.
            let (mean, span_ticks) = mean?;
            nearest_trade(
                mean,
                Ratio::new(1, i128::from(span_ticks)).min(Ratio::new(1, 1000)),
            )
        })
        .or_else(|| average.or(grid).or(mean.map(|m| m.0)).and_then(plain))
}

fn median_gap(stamps: &[i64]) -> Option<i64> {
    let gap = |pair: &[i64]| pair[1].saturating_sub(pair[0]);
    let mut gaps: Vec<i64> = stamps.windows(2).map(gap).collect();
    gaps.sort_unstable();
    gaps.get(gaps.len() / 2).copied()
}

/// The trade rate that `ratio` means: within a ten-thousandth, which tells
/// 23.976 from 24 (a thousandth apart) and forgives writers that keep whole
/// microseconds per frame, as in 1000000/33333.
fn trade(ratio: Ratio) -> Option<Rate> {
    nearest_trade(ratio, Ratio::new(1, 10_000))
}

fn nearest_trade(ratio: Ratio, tolerance: Ratio) -> Option<Rate> {
    let off = |rate: &Rate| (rate.ratio() - ratio).abs();
    Rate::TRADE
        .into_iter()
        .min_by_key(off)
        .filter(|rate| off(rate) <= rate.ratio() * tolerance)
}

/// A rate of no trade table; whole numbers within a ten-thousandth are meant as such.
fn plain(ratio: Ratio) -> Option<Rate> {
    let whole = Ratio::from_integer(ratio.round());
    if whole.is_positive() && (whole - ratio).abs() * Ratio::from_integer(10_000) <= whole {
        return Rate::from_ratio(whole);
    }
    Rate::from_ratio(ratio)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn claims(average: (i128, i128), stamps: &[i64], tick: (i128, i128)) -> RateClaims<'_> {
        let spacing = Spacing::of_stamps(&mut stamps.to_vec());
        RateClaims {
            average: Some(Ratio::new(average.0, average.1)),
            grid: None,
            stamps,
            tick_seconds: Ratio::new(tick.0, tick.1),
            is_uneven: spacing.is_uneven(),
        }
    }

    #[test]
    fn rounding_to_ticks_is_even_and_dropped_frames_are_not() {
        // 29.97 in milliseconds: 33 or 34 apart.
        let mut rounded: Vec<i64> = (0..200).map(|n| (n * 1001 + 15) / 30).collect();
        assert_eq!(Spacing::of_stamps(&mut rounded).range(), Some((33, 34)));
        assert!(!Spacing::of_stamps(&mut rounded).is_uneven());
        rounded.remove(77);
        assert!(Spacing::of_stamps(&mut rounded).is_uneven());
        // A 90 kHz stamp of 29.97 and one rounded by way of milliseconds.
        assert!(!Spacing::of_stamps(&mut [0, 3003, 6006]).is_uneven());
        assert!(!Spacing::of_stamps(&mut [0, 3003, 6000, 9009]).is_uneven());
        assert!(!Spacing::default().is_uneven());
    }

    #[test]
    fn merging_keeps_both_ends() {
        let mut spacing = Spacing::of_stamps(&mut [0, 20, 40]);
        spacing.merge(Spacing::of_stamps(&mut [0, 17, 57]));
        assert_eq!(spacing.range(), Some((17, 40)));
        spacing.merge(Spacing::default());
        spacing.observe(0);
        assert_eq!(spacing.range(), Some((17, 40)));
    }

    #[test]
    fn odd_fractions_mean_trade_rates() {
        for (average, rate) in [
            ((1_000_000, 33_333), Rate::F30),
            ((1_000_000, 33_367), Rate::F29_97),
            ((1_000_000, 41_708), Rate::F23_976),
            ((2997, 100), Rate::F29_97),
            ((119_880, 1000), Rate::F119_88),
            ((24, 1), Rate::F24),
        ] {
            let nominal = nominal_rate(claims(average, &[0, 1, 2], (1, 1)));
            assert_eq!(nominal, Some(rate), "{average:?}");
        }
        let slow = nominal_rate(claims((150_003, 10_000), &[], (1, 1)));
        assert_eq!(slow, Rate::new(15, 1));
        let odd = nominal_rate(claims((25, 2), &[], (1, 1)));
        assert_eq!(odd, Rate::new(25, 2));
    }

    #[test]
    fn stamps_decide_where_the_container_is_vague() {
        // Average 29.9 over a short clip, stamps 1001/30000 apart in 90 kHz.
        let stamps: Vec<i64> = (0..48).map(|n| n * 3003).collect();
        let nominal = nominal_rate(claims((299, 10), &stamps, (1, 90_000)));
        assert_eq!(nominal, Some(Rate::F29_97));
    }

    #[test]
    fn a_phone_that_drops_frames_keeps_its_nominal_rate() {
        let stamps = [0, 23, 40, 60, 83, 100, 120, 163, 180, 200];
        let uneven = claims((109, 4), &stamps, (1, 600));
        assert!(uneven.is_uneven);
        assert_eq!(nominal_rate(uneven), Some(Rate::F30));
        let grid = RateClaims {
            grid: Some(Ratio::new(30, 1)),
            stamps: &[],
            ..uneven
        };
        assert_eq!(nominal_rate(grid), Some(Rate::F30));
    }
}
