//! How the digits of a line lie in its strip: along which line, how tall, and how far apart.

use super::{Character, Columns, Kind, Small, middle_of};
use crate::vision::rectify::{DIGIT_PX, Lie, MIDDLE_PX};
use std::f32::consts::LN_2;

/// Fewest columns with a digit by which it is told: three digits' worth.
const FEWEST_TELLING: usize = 6;
/// Columns of each size, at least, in a line with digits of two: two digits' worth.
const FEWEST_OF_A_SIZE: usize = 4;
/// Step from one size to the other, in halvings, at least: a third larger.
const LEAST_STEP: f32 = 0.4;
/// Share of what a steady growth leaves unexplained of the heights that a step may leave. One in
/// place of the other leaves three quarters or so of all.
const STEP_EXPLAINS: f32 = 0.5;
/// What digits reach beyond the outermost columns that tell of them, of their height.
const BESIDE: f32 = 0.3;
/// Middles this far from the line of the others, in digit heights, are another row's.
const ASTRAY: f32 = 0.15;
/// Sureness of a character that is certainly there.
const PLAINLY_THERE: f32 = 0.9;

impl Columns {
    /// How the digits lie in the strip, whichever way they face. `None` where too few stand.
    pub fn lie(&self) -> Option<Lie> {
        let mut telling = self.telling();
        let lie = self.line_through(&telling)?;
        if let Some([large, _]) = self.in_two_sizes(&telling, &lie) {
            return Some(large.1);
        }
        telling.retain(|&c| {
            let off_px = self.middle_px(c) - lie.middle_at(middle_of(c));
            off_px.abs() < ASTRAY * DIGIT_PX
        });
        self.line_through(&telling)
    }

    /// The smaller digits of a line in two sizes; `None` of any other line.
    pub fn small_digits(&self) -> Option<Small> {
        let telling = self.telling();
        let lie = self.line_through(&telling)?;
        let [large, (columns, lie)] = self.in_two_sizes(&telling, &lie)?;
        let beside_px = BESIDE * lie.height_px;
        let (first, last) = (middle_of(columns[0]), middle_of(*columns.last()?));
        Some(Small {
            between: first - beside_px..last + beside_px,
            lie,
            scale: lie.height_px / large.1.height_px,
        })
    }

    /// How much further apart two neighbouring digits stand than two others, in all pairs but the last,
    /// of a clock in four: 1.0 where all are evenly spaced. `None` of anything else.
    pub fn unevenness(&self) -> Option<f32> {
        let found = self.characters();
        let is_pair = |two: &&[Character]| {
            (two.iter()).all(|c| c.kind == Kind::Digit && c.sureness > PLAINLY_THERE)
        };
        let steps: Vec<f32> = (found.windows(2))
            .filter(is_pair)
            .map(|two| two[1].x - two[0].x)
            .collect();
        let &[first, second, third, _] = steps.as_slice() else {
            return None;
        };
        let (least, most) = (first.min(second).min(third), first.max(second).max(third));
        Some(most / least.max(1.0))
    }

    /// The line through the middles of the digits in some columns, and their usual height.
    fn line_through(&self, columns: &[usize]) -> Option<Lie> {
        if columns.len() < FEWEST_TELLING {
            return None;
        }
        let mean = |f: &dyn Fn(usize) -> f32| {
            columns.iter().map(|&c| f(c)).sum::<f32>() / columns.len() as f32
        };
        let (x_px, middle_px) = (mean(&middle_of), mean(&|c| self.middle_px(c)));
        let spread = mean(&|c| (middle_of(c) - x_px).powi(2));
        let slope_of =
            |f: &dyn Fn(usize) -> f32| mean(&|c| (middle_of(c) - x_px) * f(c)) / spread.max(1.0);
        Some(Lie {
            x_px,
            middle_px,
            slope: slope_of(&|c| self.middle_px(c)),
            height_px: mean(&|c| self.lies[c][1]).exp2() * DIGIT_PX,
            growth: slope_of(&|c| self.lies[c][1]) * LN_2,
            is_in_two_sizes: false,
        })
    }

    /// In which columns the digits of either size stand, the large ones first, and how they lie, if
    /// there are two sizes, as of large hours before small seconds: a step in their heights, which a
    /// line seen from the side does not have, and no growth besides. `None` if the steady growth of
    /// `growing` explains the heights about as well, unless that is known.
    fn in_two_sizes<'a>(
        &self,
        columns: &'a [usize],
        growing: &Lie,
    ) -> Option<[(&'a [usize], Lie); 2]> {
        let height = |&c: &usize| self.lies[c][1];
        let mean = |some: &[usize], f: &dyn Fn(&usize) -> f32| {
            some.iter().map(f).sum::<f32>() / some.len().max(1) as f32
        };
        let about = |some: &[usize]| {
            let middle = mean(some, &height);
            some.iter()
                .map(|c| (height(c) - middle).powi(2))
                .sum::<f32>()
        };
        let left_over = |at: usize| about(&columns[..at]) + about(&columns[at..]);
        let middle = mean(columns, &height);
        let by_growth: f32 = columns
            .iter()
            .map(|c| {
                let expected = middle + growing.growth / LN_2 * (middle_of(*c) - growing.x_px);
                (height(c) - expected).powi(2)
            })
            .sum();
        let some = FEWEST_OF_A_SIZE..=columns.len().saturating_sub(FEWEST_OF_A_SIZE);
        let at = some.min_by(|&a, &b| left_over(a).total_cmp(&left_over(b)))?;
        let sizes = [&columns[..at], &columns[at..]];
        let [first, second] = sizes.map(|size| mean(size, &height));
        let is_step =
            (first - second).abs() >= LEAST_STEP && left_over(at) <= STEP_EXPLAINS * by_growth;
        if !(self.is_in_two_sizes || is_step) {
            return None;
        }
        // All stand on one base line, so that each size has a middle of its own.
        let (mut along, mut spread) = (0.0, 0.0);
        let mut lies = sizes.map(|size| {
            let x_px = mean(size, &|&c| middle_of(c));
            let middle_px = mean(size, &|&c| self.middle_px(c));
            for &c in size {
                along += (middle_of(c) - x_px) * (self.middle_px(c) - middle_px);
                spread += (middle_of(c) - x_px).powi(2);
            }
            let lie = Lie {
                x_px,
                middle_px,
                slope: 0.0,
                height_px: mean(size, &height).exp2() * DIGIT_PX,
                growth: 0.0,
                is_in_two_sizes: true,
            };
            (size, lie)
        });
        for (_, lie) in &mut lies {
            lie.slope = along / spread.max(1.0);
        }
        if second > first {
            lies.reverse();
        }
        Some(lies)
    }

    /// Row of the strip on which the middle of a column's digit lies.
    fn middle_px(&self, column: usize) -> f32 {
        MIDDLE_PX + self.lies[column][0] * DIGIT_PX
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::perfect;
    use super::super::{COLUMN_PX, NOTHING};
    use super::*;

    #[test]
    fn digits_that_stand_further_and_further_apart_are_uneven_whatever_the_last_two_do() {
        let width = 160;
        let spaced = |pitches: &[f32]| {
            let mut all = perfect("", 0.0, 1.0, width);
            let mut x = 20.0;
            for &pitch in pitches {
                let pair = perfect("24:", x, pitch, width);
                for c in (0..width).filter(|&c| pair.kinds[c][NOTHING] < 1.0) {
                    (all.kinds[c], all.digits[c]) = (pair.kinds[c], pair.digits[c]);
                }
                x += 2.5 * pitch;
            }
            all.unevenness()
        };
        for (pitches, expected) in [
            (&[14.0, 14.0, 14.0, 9.0][..], 1.0),
            (&[12.0, 15.0, 19.0, 15.0], 19.0 / 12.0),
        ] {
            let uneven = spaced(pitches).unwrap();
            assert!((uneven - expected).abs() < 0.2, "{pitches:?} {uneven}");
        }
        assert_eq!(spaced(&[14.0; 3]), None);
    }

    /// Large hours and minutes before small seconds on one base line are no line seen from the side,
    /// whichever way it is turned; one that tapers is, and one of a single size is level.
    #[test]
    fn digits_of_two_sizes_are_no_taper() {
        let of = |lies: &dyn Fn(f32) -> [f32; 2]| {
            let mut columns = perfect("14:24 22:05", 20.0, 14.0, 128);
            let width_px = columns.len() as f32 * COLUMN_PX;
            for (column, lie) in columns.lies.iter_mut().enumerate() {
                *lie = lies(middle_of(column) / width_px);
            }
            columns
        };
        let lie_of = |lies: &dyn Fn(f32) -> [f32; 2]| of(lies).lie().expect("eight digits stand");
        for turn in [-0.1, 0.0, 0.1] {
            for (size, is_first) in [(0.5, true), (1.0, true), (0.7, false)] {
                let columns = of(&|at| {
                    let is_large = (at < 0.32) == is_first;
                    let height = if is_large { size / 2.0 } else { -size / 2.0 };
                    [turn * at - f32::exp2(height) / 2.0, height]
                });
                let stepped = columns.lie().expect("eight digits stand");
                assert_eq!(stepped.growth, 0.0, "{size} {is_first}");
                let expected = turn * DIGIT_PX / 256.0;
                assert!(
                    (stepped.slope - expected).abs() < 1e-3,
                    "{turn}: {stepped:?}"
                );
                // The line is cut for its large digits, and the small ones stand on their base line.
                let small = columns.small_digits().expect("there are two sizes");
                let base_at = |lie: &Lie, x: f32| lie.middle_at(x) + lie.height_at(x) / 2.0;
                let large_px = f32::exp2(size / 2.0) * DIGIT_PX;
                approx::assert_relative_eq!(stepped.height_px, large_px, epsilon = 0.1);
                approx::assert_relative_eq!(small.scale, f32::exp2(-size), epsilon = 0.01);
                let bases = [&stepped, &small.lie].map(|lie| base_at(lie, 90.0));
                approx::assert_relative_eq!(bases[0], bases[1], epsilon = 0.2);
                assert_eq!(small.between.contains(&120.0), is_first);
                assert_eq!(small.between.contains(&40.0), !is_first);
            }
            let tapering = lie_of(&|at| [turn * at, 0.3 - at]);
            let expected = -LN_2 / 256.0;
            assert!((tapering.growth - expected).abs() < 1e-4, "{tapering:?}");
            assert_eq!(of(&|at| [turn * at, 0.3 - at]).small_digits(), None);
            let level = lie_of(&|at| [turn * at, 0.0]);
            assert!(level.growth.abs() < 1e-6, "{level:?}");
        }
    }

    #[test]
    fn the_lie_is_a_line_through_the_middles_and_leaves_out_another_row() {
        let mut columns = perfect("10:20:30:12", 20.0, 12.0, 128);
        for (c, lie) in columns.lies.iter_mut().enumerate() {
            // Rising by one px in 20, a quarter too high, and one place of another row.
            let x = (c as f32 + 0.5) * COLUMN_PX;
            *lie = [-(x - 77.0) / 20.0 / DIGIT_PX, 0.25f32.log2()];
            if (26.0..38.0).contains(&x) {
                lie[0] += 0.5;
            }
        }
        let lie = columns.lie().unwrap();
        approx::assert_relative_eq!(lie.middle_at(77.0), MIDDLE_PX, epsilon = 0.5);
        approx::assert_relative_eq!(lie.middle_at(117.0), MIDDLE_PX - 2.0, epsilon = 0.5);
        approx::assert_relative_eq!(lie.height_px, DIGIT_PX / 4.0, epsilon = 0.1);
        assert!(perfect("1", 20.0, 6.0, 64).lie().is_none());
    }

    #[test]
    fn a_line_seen_from_the_side_tapers() {
        let mut columns = perfect("10:20:30:12", 20.0, 12.0, 128);
        for (c, lie) in columns.lies.iter_mut().enumerate() {
            // A tenth taller every 40 px.
            *lie = [0.0, 1.1f32.powf((middle_of(c) - 77.0) / 40.0).log2()];
        }
        let lie = columns.lie().unwrap();
        for (x, times) in [(37.0, 1.0 / 1.1), (77.0, 1.0), (117.0, 1.1)] {
            approx::assert_relative_eq!(lie.height_at(x), times * DIGIT_PX, epsilon = 0.2);
        }
        assert!(lie.height_at(-10_000.0) > 0.0, "no line folds over");
    }
}
