//! A quad in a frame -> an upright strip in which digits always stand at the same height.

use super::pyramid::Pyramid;
use crate::geometry::{Point, Quad};
use image::{GrayImage, Luma};
use imageproc::geometric_transformations::{Border, Interpolation, Projection, warp_into};

/// Height of a strip in px, and the rows between which its digits stand: what the reader
/// was trained on (scripts/train/scenes.py, STRIP_*).
pub(super) const STRIP_HEIGHT_PX: u32 = 32;
const TOP_PX: f32 = 6.0;
const BOTTOM_PX: f32 = 26.0;
pub(super) const DIGIT_PX: f32 = BOTTOM_PX - TOP_PX;
/// Strips come in widths of this step, so that few sizes of network are needed.
const WIDTH_STEP_PX: u32 = 64;
/// A line longer than this is cut at its end; 50 digit heights.
const MOST_WIDTH_PX: u32 = 1024;

/// A rectified line, with the way back to the frame.
pub(super) struct Strip {
    pub luma: GrayImage,
    to_frame: Projection,
}

impl Strip {
    /// Rectifies `quad` with `margin` digit heights of its surroundings before and after.
    /// `None` if the quad is folded or has no area.
    pub fn cut(pyramid: &Pyramid, quad: &Quad, margin: f32) -> Option<Self> {
        let height_px = quad.height_px();
        if !(1.0..1e5).contains(&height_px) {
            return None;
        }
        let length = quad.length_px() / height_px * DIGIT_PX;
        let start = margin * DIGIT_PX;
        let width = ((length + 2.0 * start) as u32)
            .next_multiple_of(WIDTH_STEP_PX)
            .min(MOST_WIDTH_PX);
        // Halved pictures stand in for a low-pass filter: at most 2:1 is left to the warp.
        let (source, factor) = pyramid.level(pyramid.level_for(height_px, DIGIT_PX));
        // The warp puts pixel centres at whole numbers, we put them at halves.
        let from = quad
            .corners()
            .map(|p| (p.x / factor - 0.5, p.y / factor - 0.5));
        let (left, right) = (start - 0.5, start + length - 0.5);
        let (top, bottom) = (TOP_PX - 0.5, BOTTOM_PX - 0.5);
        let to = [(left, top), (right, top), (right, bottom), (left, bottom)];
        let to_strip = Projection::from_control_points(from, to)?;
        let mut luma = GrayImage::new(width, STRIP_HEIGHT_PX);
        warp_into(
            source,
            to_strip,
            Interpolation::Bilinear,
            Border::Constant(Luma([0])),
            &mut luma,
        );
        let to_frame = to_strip
            .invert()
            .and_then(Projection::translate(0.5, 0.5))
            .and_then(Projection::scale(factor, factor));
        Some(Self { luma, to_frame })
    }

    /// The frame's point under a point of the strip (strip px, centres at halves).
    pub fn to_frame(&self, x: f32, y: f32) -> Point {
        let (x, y) = self.to_frame * (x - 0.5, y - 0.5);
        Point::new(x, y)
    }

    /// Outline in the frame of the digits between two columns of the strip.
    pub fn quad_between(&self, left: f32, right: f32) -> Quad {
        Quad {
            top_left: self.to_frame(left, TOP_PX),
            top_right: self.to_frame(right, TOP_PX),
            bottom_right: self.to_frame(right, BOTTOM_PX),
            bottom_left: self.to_frame(left, BOTTOM_PX),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_turned_bright_bar_lands_between_the_digit_rows() {
        // A bar along 30 degrees, 40 px high, 200 px long.
        let (sin, cos) = 30f32.to_radians().sin_cos();
        let centre = Point::new(200.0, 150.0);
        let luma = GrayImage::from_fn(400, 300, |x, y| {
            let (dx, dy) = (x as f32 + 0.5 - centre.x, y as f32 + 0.5 - centre.y);
            let (t, s) = (dx * cos + dy * sin, -dx * sin + dy * cos);
            Luma([if t.abs() < 100.0 && s.abs() < 20.0 {
                200
            } else {
                10
            }])
        });
        let corner =
            |t: f32, s: f32| Point::new(centre.x + t * cos - s * sin, centre.y + t * sin + s * cos);
        let quad = Quad::from_corners([
            corner(-100.0, -20.0),
            corner(100.0, -20.0),
            corner(100.0, 20.0),
            corner(-100.0, 20.0),
        ]);
        let strip = Strip::cut(&Pyramid::new(luma), &quad, 1.0).unwrap();
        for x in 24..116 {
            for (y, bright) in [(3, false), (8, true), (16, true), (23, true), (29, false)] {
                assert_eq!(strip.luma.get_pixel(x, y)[0] > 100, bright, "at {x}, {y}");
            }
        }
        assert!(strip.luma.get_pixel(14, 16)[0] < 60 && strip.luma.get_pixel(126, 16)[0] < 60);
        let back = strip.quad_between(20.0, 120.0);
        for (a, b) in back.corners().iter().zip(quad.corners()) {
            assert!(a.distance(b) < 0.5, "{a:?} {b:?}");
        }
    }
}
