//! Lines of digits in a frame.
//!
//! The levels of the pyramid overlap in the heights of digits that they can show; where two
//! of them saw the same line (`lines.rs`), the one that saw it at the better size stays.

use super::cells::{Cells, cut};
use super::lines::{Line, lines_of};
use super::net::Net;
use super::pyramid::Pyramid;
use crate::error::Result;
use crate::geometry::{Point, Quad};

/// How small the digits may be, against time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sharpness {
    /// The picture at half the size of that of `Coarse`, and all smaller ones.
    Broad,
    /// Also the picture with its longer side at most 1200 px, where the next smaller one hints at
    /// digits.
    Coarse,
    /// The picture of 1200 px whole, and the one with four times its pixels where that hints at
    /// digits: for those that `Coarse` has missed because they are small.
    Fine,
}

impl Sharpness {
    /// The finest level looked at in a picture whose longer side is `long_side_px`.
    fn level(self, long_side_px: u32) -> usize {
        let mut coarse = 0;
        while long_side_px >> coarse > COARSE_LONG_SIDE_PX {
            coarse += 1;
        }
        match self {
            Self::Broad => coarse + 1,
            Self::Coarse => coarse,
            Self::Fine => coarse.saturating_sub(1),
        }
    }

    /// True unless `Coarse` looks at the picture in full size already.
    pub fn is_finer_than_coarse(self, width_px: u32, height_px: u32) -> bool {
        let long_side_px = width_px.max(height_px);
        self.level(long_side_px) < Self::Coarse.level(long_side_px)
    }
}

/// Digits of 12 px in 1080p are 6 px at this size, which the finder was trained for.
const COARSE_LONG_SIDE_PX: u32 = 1200;
/// Cosine of the angle up to which two good views of one line differ (9 degrees).
const SAME_AXIS: f32 = 0.988;
/// A line that goes this many times into a far surer one is a piece of it.
const PIECES: f32 = 3.0;
/// A line surer than another by this factor is far surer.
const FAR_SURER: f32 = 1.5;
/// Digits that would be higher than this at a level, px, are left to the next smaller one if
/// that shows them.
const PLAIN_HEIGHT_PX: f32 = 19.0;
/// Side of the square looked at near a known line, px of the level; a multiple of 32. At digit
/// heights of 9.5 to 19 px a line of eleven characters fits with room to move.
const NEAR_SIDE_PX: u32 = 256;
/// Heights, in px of a level, at which the finder is at its best; training covers 5 to 30.
const BEST_HEIGHTS_PX: std::ops::RangeInclusive<f32> = 7.0..=24.0;

/// All lines of digits in the frame: sure ones, seen well at their size, and long ones first.
pub(super) fn find_lines(
    net: &dyn Net,
    pyramid: &Pyramid,
    sharpness: Sharpness,
) -> Result<Vec<Line>> {
    let smallest = pyramid.depth() - 1;
    let finest = finest_level(pyramid, sharpness);
    let (first_whole, last) = match sharpness {
        Sharpness::Broad => (finest, smallest),
        Sharpness::Coarse => ((finest + 1).min(smallest), smallest),
        Sharpness::Fine => (finest + 1, finest + 1),
    };
    let whole_of = |level| pyramid.cells(level, |image| Cells::of(net, image));
    let whole = whole_of(first_whole)?;
    let mut found = in_frame(whole, pyramid.level(first_whole).1);
    if finest < first_whole {
        // Digits that this level shows large enough need no look at the next.
        let (image, factor) = pyramid.level(finest);
        let scale = factor.recip();
        let known: Vec<Quad> = (found.iter())
            .map(|(_, line)| line.quad.map(|p| Point::new(p.x * scale, p.y * scale)))
            .filter(|quad| quad.height_px() > PLAIN_HEIGHT_PX)
            .collect();
        found.extend(in_frame(
            &Cells::hinted_at(net, image, whole, &known)?,
            factor,
        ));
    }
    for level in first_whole + 1..=last {
        found.extend(in_frame(whole_of(level)?, pyramid.level(level).1));
    }
    Ok(keep_best_of_overlapping(found))
}

/// The finest level that a look of this sharpness goes over.
fn finest_level(pyramid: &Pyramid, sharpness: Sharpness) -> usize {
    let long_side_px = pyramid.full().width().max(pyramid.full().height());
    sharpness.level(long_side_px).min(pyramid.depth() - 1)
}

/// How wide a pixel of that level is, px of the frame.
pub(super) fn finest_px(pyramid: &Pyramid, sharpness: Sharpness) -> f32 {
    (1u32 << finest_level(pyramid, sharpness)) as f32
}

/// The lines of a level, in pixels of the frame, which is `factor` times as large; with how
/// well that level shows them.
fn in_frame(cells: &Cells, factor: f32) -> Vec<(f32, Line)> {
    lines_of(cells)
        .into_iter()
        .map(|line| {
            let at_level_px = line.quad.height_px();
            let fitness = if BEST_HEIGHTS_PX.contains(&at_level_px) {
                1.0
            } else {
                0.6
            };
            let quad = line.quad.map(|p| Point::new(p.x * factor, p.y * factor));
            (line.sureness * fitness, Line { quad, ..line })
        })
        .collect()
}

/// Lines near `around`, looked for only there, at the level that fits its height.
pub(super) fn find_lines_near(
    net: &dyn Net,
    pyramid: &Pyramid,
    around: &Quad,
) -> Result<Vec<Line>> {
    let level = pyramid.level_for(around.height_px(), 9.5);
    let (image, factor) = pyramid.level(level);
    let centre = around.centre();
    let half = NEAR_SIDE_PX as f32 / 2.0;
    let left = (centre.x / factor - half).round() as i64;
    let top = (centre.y / factor - half).round() as i64;
    let found = lines_of(&Cells::of(net, &cut(image, left, top, NEAR_SIDE_PX))?)
        .into_iter()
        .map(|line| {
            let quad = line
                .quad
                .map(|p| Point::new((p.x + left as f32) * factor, (p.y + top as f32) * factor));
            (line.sureness, Line { quad, ..line })
        })
        .collect();
    Ok(keep_best_of_overlapping(found))
}

fn keep_best_of_overlapping(mut found: Vec<(f32, Line)>) -> Vec<Line> {
    // Among views of one line the longer one lost no digits: length counts.
    let worth = |f: &(f32, Line)| {
        f.0 * (f.1.quad.length_px() / f.1.quad.height_px())
            .min(12.0)
            .sqrt()
    };
    found.sort_by(|a, b| {
        worth(b)
            .total_cmp(&worth(a))
            .then(a.1.quad.top_left.x.total_cmp(&b.1.quad.top_left.x))
            .then(a.1.quad.top_left.y.total_cmp(&b.1.quad.top_left.y))
    });
    let mut kept: Vec<Line> = Vec::new();
    for (_, line) in found {
        let is_seen = |k: &Line| is_same_line(&k.quad, &line.quad) || is_piece_of(&line, k);
        if !kept.iter().any(is_seen) {
            kept.push(line);
        }
    }
    kept
}

/// True if the two lie along one axis, either way round, and the centre of the smaller one
/// lies in the larger one. Rows of a block that are seen well at one level may be seen
/// askew at the next: which it is, only reading them tells.
fn is_same_line(a: &Quad, b: &Quad) -> bool {
    a.direction().dot(b.direction()).abs() > SAME_AXIS && is_same_place(a, b)
}

/// True if `line` is a short piece of a far surer one, whichever way it seems to run: an
/// overlooked row of a block is as long as its neighbours.
fn is_piece_of(line: &Line, whole: &Line) -> bool {
    line.quad.length_px() * PIECES < whole.quad.length_px()
        && line.sureness * FAR_SURER < whole.sureness
        && is_same_place(&whole.quad, &line.quad)
}

/// True if the centre of the smaller quad lies in the larger one.
pub(super) fn is_same_place(a: &Quad, b: &Quad) -> bool {
    let (large, small) = if a.length_px() >= b.length_px() {
        (a, b)
    } else {
        (b, a)
    };
    let (ahead, (start, end)) = (large.direction(), large.ends());
    let p = small.centre();
    let from = Point::new(p.x - start.x, p.y - start.y);
    let t = from.dot(ahead);
    let aside = (from.x * -ahead.y + from.y * ahead.x).abs();
    let length = start.distance(end);
    let reach = 0.6 * large.height_px().max(0.5 * small.height_px());
    (0.0..=length).contains(&t) && aside < reach
}

#[cfg(test)]
mod tests {
    use super::super::cells::BLOCK_PX;
    use super::super::lines::tests::level_quad;
    use super::*;
    use image::GrayImage;
    use ndarray::Array4;

    #[test]
    fn a_short_piece_seen_askew_in_a_far_surer_line_is_no_line() {
        let line = |length: f32, sureness: f32, turn: f32| {
            let (c, s) = (turn.cos(), turn.sin());
            let corner = |x: f32, y: f32| Point::new(200.0 + x * c - y * s, 100.0 + x * s + y * c);
            let (x, y) = (length / 2.0, 20.0);
            let quad =
                Quad::from_corners([corner(-x, -y), corner(x, -y), corner(x, y), corner(-x, y)]);
            (sureness, Line { quad, sureness })
        };
        let whole = line(390.0, 0.95, 0.0);
        for (other, lines) in [
            (line(60.0, 0.5, 0.4), 1),
            (line(60.0, 0.9, 0.4), 2),
            (line(200.0, 0.5, 0.4), 2),
        ] {
            let kept = keep_best_of_overlapping(vec![other.clone(), whole.clone()]);
            assert_eq!(kept.len(), lines, "{other:?}");
        }
    }

    /// Sees nothing, and keeps the widths of the pictures that it was shown, px.
    struct Widths(std::sync::Mutex<Vec<usize>>);

    impl Net for Widths {
        fn run(&self, input: Array4<f32>) -> Result<Array4<f32>> {
            let (_, _, rows, columns) = input.dim();
            self.0.lock().unwrap().push(columns * BLOCK_PX);
            Ok(Array4::from_elem((1, 28, rows / 2, columns / 2), -9.0))
        }
    }

    #[test]
    fn where_nothing_hints_at_digits_the_finest_level_is_not_looked_at() {
        let picture = || Pyramid::new(GrayImage::new(1920, 1080));
        let widths = |pyramid: &Pyramid, sharpness| {
            let net = Widths(std::sync::Mutex::default());
            assert!(find_lines(&net, pyramid, sharpness).unwrap().is_empty());
            net.0.into_inner().unwrap()
        };
        assert_eq!(widths(&picture(), Sharpness::Broad), [480, 256, 128]);
        assert_eq!(widths(&picture(), Sharpness::Coarse), [480, 256, 128]);
        assert_eq!(widths(&picture(), Sharpness::Fine), [960]);
        // No level is looked at twice.
        let twice = picture();
        let both = [Sharpness::Broad, Sharpness::Coarse].map(|how| widths(&twice, how));
        assert_eq!(both, [vec![480, 256, 128], vec![]]);
        assert!(Sharpness::Fine.is_finer_than_coarse(1080, 1920));
        assert!(!Sharpness::Fine.is_finer_than_coarse(1200, 800));
    }

    #[test]
    fn of_two_views_of_one_line_the_longer_stays() {
        let kept = keep_best_of_overlapping(vec![
            (
                0.9,
                Line {
                    quad: level_quad(60.0, 50.0, 40.0, 20.0),
                    sureness: 0.9,
                },
            ),
            (
                0.9,
                Line {
                    quad: level_quad(20.0, 50.0, 150.0, 21.0),
                    sureness: 0.9,
                },
            ),
            (
                0.8,
                Line {
                    quad: level_quad(20.0, 150.0, 50.0, 20.0),
                    sureness: 0.8,
                },
            ),
        ]);
        assert_eq!(kept.len(), 2);
        approx::assert_relative_eq!(kept[0].quad.length_px(), 150.0);
    }
}
