//! Seven-segment digits of our own: the shapes are computed from a handful of
//! proportions, so that a display need not look like any one product.

use super::canvas::Mask;

/// How segments end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SegmentEnds {
    /// Pointed at 45 degrees, as in most LED parts.
    Chamfered,
    Round,
    Square,
}

/// Proportions of a seven-segment digit; lengths in shares of the digit height.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SegmentShape {
    /// Width of the digit, 0.4..=0.7.
    pub width: f32,
    /// Thickness of a segment, 0.05..=0.2.
    pub thickness: f32,
    /// Clearance between neighbouring segments, 0.0..=0.04.
    pub gap: f32,
    /// Lean to the right: sideways shift per height, 0.0..=0.25.
    pub slant: f32,
    /// Space between digits, 0.1..=0.4.
    pub spacing: f32,
    pub ends: SegmentEnds,
    /// 6 with its top bar.
    pub tail_6: bool,
    /// 7 with the upper left bar.
    pub tail_7: bool,
    /// 9 with its bottom bar.
    pub tail_9: bool,
}

/// Segments as bits: a (top) is bit 0, then clockwise b, c, d, e, f; g (middle) is bit 6.
const DIGITS: [u8; 10] = [
    0b011_1111, 0b000_0110, 0b101_1011, 0b100_1111, 0b110_0110, 0b110_1101, 0b111_1101, 0b000_0111,
    0b111_1111, 0b110_1111,
];
const A: u8 = 1;
const D: u8 = 1 << 3;
const F: u8 = 1 << 5;

impl SegmentShape {
    /// Upright, of middling proportions, 6 and 9 with their tails.
    pub const PLAIN: Self = Self {
        width: 0.56,
        thickness: 0.12,
        gap: 0.01,
        slant: 0.0,
        spacing: 0.2,
        ends: SegmentEnds::Chamfered,
        tail_6: true,
        tail_7: false,
        tail_9: true,
    };

    /// The segments of a digit, as bits.
    ///
    /// # Panics
    /// If `digit` is above 9.
    pub fn segments(&self, digit: u8) -> u8 {
        let lit = DIGITS[usize::from(digit)];
        match digit {
            6 if !self.tail_6 => lit & !A,
            7 if self.tail_7 => lit | F,
            9 if !self.tail_9 => lit & !D,
            _ => lit,
        }
    }

    /// Pen advance of a digit, in shares of the height.
    pub fn digit_advance(&self) -> f32 {
        self.width + self.spacing
    }

    /// Pen advance of a mark between groups, in shares of the height.
    pub fn mark_advance(&self) -> f32 {
        self.thickness * 1.2 + self.spacing
    }

    /// A digit `height_px` high, standing on the baseline, its own width right
    /// of the pen (half of the spacing is on each side).
    pub fn digit(&self, digit: u8, height_px: f32) -> Mask {
        self.draw(height_px, self.width, |x, y| {
            self.distance(self.segments(digit), x, y)
        })
    }

    /// All seven segments: what an unlit digit faintly shows.
    pub fn blank(&self, height_px: f32) -> Mask {
        self.draw(height_px, self.width, |x, y| self.distance(0x7f, x, y))
    }

    /// `:`, `;` (its lower dot has a tail), `.`; an empty mask for others.
    pub fn mark(&self, mark: char, height_px: f32) -> Mask {
        let size = self.thickness * 0.6;
        let dot = |cx: f32, cy: f32, x: f32, y: f32| {
            let (dx, dy) = ((x - cx).abs(), (y - cy).abs());
            match self.ends {
                SegmentEnds::Round => dx.hypot(dy) - size,
                SegmentEnds::Chamfered | SegmentEnds::Square => dx.max(dy) - size,
            }
        };
        let upper = move |x, y| dot(size, 0.3, x, y);
        let lower = move |x, y| dot(size, 0.7, x, y);
        let tail = move |x: f32, y: f32| {
            let along = (y - 0.7).clamp(0.0, 3.0 * size);
            let cx = size - along * 0.4;
            (x - cx).abs().max((y - 0.7 - along).abs()) - size * 0.5
        };
        self.draw(height_px, 2.0 * size, |x, y| match mark {
            ':' => upper(x, y).min(lower(x, y)),
            ';' => upper(x, y).min(lower(x, y)).min(tail(x, y)),
            '.' => dot(size, 1.0 - size, x, y),
            _ => 1.0,
        })
    }

    /// Signed distance to the nearest of `segments`, shares of the height,
    /// negative inside; before slanting.
    fn distance(&self, segments: u8, x: f32, y: f32) -> f32 {
        let half = self.thickness / 2.0;
        let (left, right) = (half, self.width - half);
        let (top, middle, bottom) = (half, 0.5, 1.0 - half);
        let bars = [
            (left, top, right, top),
            (right, top, right, middle),
            (right, middle, right, bottom),
            (left, bottom, right, bottom),
            (left, middle, left, bottom),
            (left, top, left, middle),
            (left, middle, right, middle),
        ];
        let mut nearest = f32::MAX;
        for (bit, (x0, y0, x1, y1)) in bars.into_iter().enumerate() {
            if segments & (1 << bit) == 0 {
                continue;
            }
            let (cx, cy) = ((x0 + x1) / 2.0, (y0 + y1) / 2.0);
            let long = (x1 - x0).max(y1 - y0) / 2.0;
            let (along, aside) = if x1 > x0 {
                ((x - cx).abs(), (y - cy).abs())
            } else {
                ((y - cy).abs(), (x - cx).abs())
            };
            let distance = match self.ends {
                SegmentEnds::Chamfered => {
                    let tip = long - self.gap;
                    (aside - half).max((along + aside - tip) * std::f32::consts::FRAC_1_SQRT_2)
                }
                SegmentEnds::Round => {
                    let tip = (long - half - self.gap).max(0.0);
                    (along - tip).max(0.0).hypot(aside) - half
                }
                SegmentEnds::Square => {
                    let tip = long - half - self.gap;
                    (aside - half).max(along - tip)
                }
            };
            nearest = nearest.min(distance);
        }
        nearest
    }

    /// Turns a signed distance (shares of the height) into cover, slanted.
    fn draw(&self, height_px: f32, width: f32, distance: impl Fn(f32, f32) -> f32) -> Mask {
        let lean = self.slant * height_px;
        let width_px = (width * height_px + lean).ceil() as usize + 2;
        // Two rows more for antialiasing, a quarter of the height for the tail of a semicolon.
        let height_rows = (height_px * 1.25).ceil() as usize + 2;
        let mut cover = Vec::with_capacity(width_px * height_rows);
        for row in 0..height_rows {
            let y = (row as f32 - 1.0 + 0.5) / height_px;
            for column in 0..width_px {
                let x = (column as f32 - 1.0 + 0.5) / height_px - self.slant * (1.0 - y);
                cover.push((0.5 - distance(x, y) * height_px).clamp(0.0, 1.0));
            }
        }
        Mask {
            width_px,
            height_px: height_rows,
            left_px: (self.spacing / 2.0 * height_px).round() as i32 - 1,
            top_px: -(height_px.round() as i32) - 1,
            cover,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tails_change_one_segment() {
        let with = SegmentShape::PLAIN;
        let without = SegmentShape {
            tail_6: false,
            tail_7: true,
            tail_9: false,
            ..with
        };
        for digit in 0..=9 {
            let differing = (with.segments(digit) ^ without.segments(digit)).count_ones();
            assert_eq!(differing, u32::from(matches!(digit, 6 | 7 | 9)), "{digit}");
        }
    }

    #[test]
    fn all_digits_differ_in_every_shape() {
        for bits in 0..8u8 {
            let shape = SegmentShape {
                tail_6: bits & 1 != 0,
                tail_7: bits & 2 != 0,
                tail_9: bits & 4 != 0,
                ..SegmentShape::PLAIN
            };
            for a in 0..10 {
                for b in 0..a {
                    assert_ne!(shape.segments(a), shape.segments(b), "{a} {b}");
                }
            }
        }
    }

    #[test]
    fn ink_grows_with_the_number_of_segments() {
        let ink = |digit| {
            SegmentShape::PLAIN
                .digit(digit, 60.0)
                .cover
                .iter()
                .sum::<f32>()
        };
        assert!(ink(1) < ink(7) && ink(7) < ink(4) && ink(4) < ink(0) && ink(0) < ink(8));
    }

    /// A slanted digit leans by its slant: the upper bar of an 8 stands so much further
    /// right than the lower one.
    #[test]
    fn slanted_digits_lean_by_their_slant() {
        let shape = SegmentShape {
            slant: 0.2,
            ..SegmentShape::PLAIN
        };
        let mask = shape.digit(8, 100.0);
        let middle = |rows: std::ops::Range<usize>| {
            let (mut sum, mut moment) = (0.0, 0.0);
            for row in rows {
                for column in 0..mask.width_px {
                    let cover = mask.cover[row * mask.width_px + column];
                    sum += cover;
                    moment += cover * column as f32;
                }
            }
            moment / sum
        };
        // Rows 6 and 94 are the middles of the bars: 88 % of the height apart.
        let lean = middle(4..9) - middle(92..97);
        assert!((lean - 0.2 * 88.0).abs() < 0.7, "{lean}");
    }
}
