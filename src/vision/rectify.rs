//! A quad in a frame -> an upright strip in which digits always stand at the same height.

use super::pyramid::Pyramid;
use crate::geometry::{Point, Quad};
use crate::glyph::Glyph;
use crate::wide::widely;
use image::GrayImage;
use std::ops::Range;

/// Height of a strip in px, and the rows between which its digits stand: what the reader
/// was trained on (scripts/train/strips.py, STRIP_*).
pub(super) const STRIP_HEIGHT_PX: u32 = 32;
const TOP_PX: f32 = 6.0;
const BOTTOM_PX: f32 = 26.0;
pub(super) const DIGIT_PX: f32 = BOTTOM_PX - TOP_PX;
/// Row of a strip's middle.
pub(super) const MIDDLE_PX: f32 = (TOP_PX + BOTTOM_PX) / 2.0;
/// Digits that lie further than this from where a strip is cut for, or are taller or smaller
/// by more than this share, read better once the strip is cut anew: the reader's own guesses
/// are good to a fifth of a pixel and a fortieth (medians, models/README.md).
const BADLY_PLACED_PX: f32 = 1.5;
const BADLY_SIZED: f32 = 1.09;
/// Steps across and down a place at which it is tried for lying in the picture, and how many either
/// way may lie outside. Of a 0 whose left half is missing what is left reads like a 1, and places are
/// lined up on what is left. Of 76 clips whose first digit is cut none is sure and ten hours off with
/// one step, 6 with two, 10 with three; 12, 21 and 25 are sure and right. Without their lower halves
/// a 2 and a 3 are the same.
const CUT_STEPS: usize = 7;
const MOST_CUT: usize = 1;
/// Rows in which the upper dot of a semicolon stands, and its lower one with the tail; how far they reach
/// to either side; and the least contrast of the upper one, of that of the lower. Of 60 fonts that no
/// network is trained on, sharp or blurred by up to an eighth of the height, no semicolon has less than
/// 0.34. Of sharp commas 52 have, of those blurred by a sixteenth 48, by an eighth 7: the others, most of
/// them close to a digit, stay semicolons.
const UPPER_DOT_PX: Range<u32> = 8..20;
const LOWER_DOT_PX: Range<u32> = 22..31;
const HALF_A_MARK_PX: f32 = 3.0;
const UPPER_DOT_SHARE: f32 = 0.3;
/// Digit heights that a glyph takes in.
const GLYPH_HEIGHTS: f32 = 1.4;
/// A line longer than this is cut at its end; 50 digit heights, or with its surroundings 27.
const MOST_WIDTH_PX: u32 = 1024;
/// What lies around a line is cut with digits of this height, px: a fifth more than those among which
/// the network was trained that looks for AM and PM there (scripts/train/halves.py, DIGITS_PX), since
/// small letters gain by it (models/README.md has the figures).
const AROUND_DIGIT_PX: f32 = 38.0;
/// Digit heights cut beside a line, above it and below.
const AROUND_BESIDE: f32 = 5.5;
const AROUND_ABOVE: f32 = 2.5;
const AROUND_BELOW: f32 = 3.5;

/// What a strip takes in beside the line that it is cut along.
#[derive(Clone, Copy, Debug)]
pub(super) struct Room {
    /// Digit heights before and after the line.
    pub margin: f32,
    /// Widths are whole multiples of this, px: what is missing is added behind the line.
    pub step_px: u32,
}

/// A rectified line, with the way back to the frame.
pub(super) struct Strip {
    pub luma: GrayImage,
    to_frame: ToFrame,
    /// Of the frame, px.
    frame_size: (f32, f32),
}

/// Takes strip px to frame px. The map from the unit square to a quad in closed form, as in
/// P. Heckbert, "Fundamentals of Texture Mapping and Image Warping", 1989, section 2.2.3, in
/// f64: solving eight equations in f32 bent strips of nearly rectangular quads.
struct ToFrame {
    /// Rows of the 3 x 3 matrix from the unit square to the quad.
    matrix: [[f64; 3]; 3],
    left: f64,
    length: f64,
    /// Rows of its upper edge and of its height.
    top: f64,
    height: f64,
}

impl ToFrame {
    /// Of a picture in which the quad lies `length` px wide and `height` px high, its upper left
    /// corner at `left` and `top`; `None` if the quad has no area or is folded.
    fn new(quad: &Quad, (left, length): (f32, f32), (top, height): (f32, f32)) -> Option<Self> {
        let [a, b, c, d] = quad.corners().map(|p| (f64::from(p.x), f64::from(p.y)));
        let (sx, sy) = (a.0 - b.0 + c.0 - d.0, a.1 - b.1 + c.1 - d.1);
        let (dx1, dy1) = (b.0 - c.0, b.1 - c.1);
        let (dx2, dy2) = (d.0 - c.0, d.1 - c.1);
        let area = dx1 * dy2 - dx2 * dy1;
        if area.abs() < 1e-6 {
            return None;
        }
        let g = (sx * dy2 - dx2 * sy) / area;
        let h = (dx1 * sy - sx * dy1) / area;
        // Behind the horizon for a corner of the unit square: a folded quad.
        if 1.0 + g <= 0.0 || 1.0 + h <= 0.0 || 1.0 + g + h <= 0.0 {
            return None;
        }
        Some(Self {
            matrix: [
                [b.0 - a.0 + g * b.0, d.0 - a.0 + h * d.0, a.0],
                [b.1 - a.1 + g * b.1, d.1 - a.1 + h * d.1, a.1],
                [g, h, 1.0],
            ],
            left: f64::from(left),
            length: f64::from(length),
            top: f64::from(top),
            height: f64::from(height),
        })
    }

    #[inline(always)]
    fn map(&self, x: f32, y: f32) -> Point {
        let u = (f64::from(x) - self.left) / self.length;
        let v = (f64::from(y) - self.top) / self.height;
        let [px, py, w] = self.matrix.map(|r| r[0] * u + r[1] * v + r[2]);
        // Surroundings beyond the horizon do not exist; any place outside will do.
        if w <= 1e-6 {
            return Point::new(-1e6, -1e6);
        }
        Point::new((px / w) as f32, (py / w) as f32)
    }
}

/// The picture between four pixels, whose centres are at whole numbers here; black outside.
#[inline(always)]
fn between_pixels(picture: &GrayImage, x: f32, y: f32) -> u8 {
    let (left, top) = (x.floor(), y.floor());
    let shares = (x - left, y - top);
    let (left, top) = (left as i32, top as i32);
    let (width, height) = (picture.width() as i32, picture.height() as i32);
    let at = |x: i32, y: i32| {
        if (0..width).contains(&x) && (0..height).contains(&y) {
            picture.as_raw()[y as usize * width as usize + x as usize]
        } else {
            0
        }
    };
    let (right, bottom) = (left.saturating_add(1), top.saturating_add(1));
    let upper = [at(left, top), at(right, top)];
    let lower = [at(left, bottom), at(right, bottom)];
    mixed([upper, lower], shares, |value| value as u8)
}

/// The same where all four pixels are known to lie in the picture.
///
/// # Safety
/// `x` and `y` are numbers of an `i32`'s range.
#[inline(always)]
unsafe fn between_pixels_inside(picture: &GrayImage, x: f32, y: f32) -> u8 {
    let width = picture.width() as usize;
    // SAFETY: the caller's.
    let (left, top) = unsafe { (x.to_int_unchecked::<i32>(), y.to_int_unchecked::<i32>()) };
    let pixels = &picture.as_raw()[top as usize * width + left as usize..];
    let (upper, lower) = ([pixels[0], pixels[1]], [pixels[width], pixels[width + 1]]);
    let shares = (x - left as f32, y - top as f32);
    // SAFETY: a mean of bytes is in the range, and a number if x and y are.
    let whole = |value: f32| unsafe { value.to_int_unchecked::<i32>() as u8 };
    mixed([upper, lower], shares, whole)
}

/// Two pixels above two others, by how far right and down the place between them lies, 0..1, each
/// step made a `whole` number, as when the reader was trained.
#[inline(always)]
fn mixed(
    [upper, lower]: [[u8; 2]; 2],
    (to_right, down): (f32, f32),
    whole: impl Fn(f32) -> u8,
) -> u8 {
    let mix =
        |[a, b]: [u8; 2], share: f32| whole((1.0 - share) * f32::from(a) + share * f32::from(b));
    mix([mix(upper, to_right), mix(lower, to_right)], down)
}

/// A picture of `size` px of what lies where `to_frame` says, of a pyramid's level and by how much
/// that is smaller than the frame.
fn warped((source, factor): (&GrayImage, f32), to_frame: &ToFrame, size: (u32, u32)) -> GrayImage {
    let (width, height) = size;
    // A tenth of a pixel for what rounding may move the places between the ends.
    let inner = |size: u32| 0.1..size as f32 - 1.1;
    let (inner_x, inner_y) = (inner(source.width()), inner(source.height()));
    let mut luma = GrayImage::new(width, height);
    let mut places = vec![(0.0, 0.0); width as usize];
    for (y, row) in luma.chunks_exact_mut(width as usize).enumerate() {
        widely(|| {
            for (x, place) in places.iter_mut().enumerate() {
                let p = to_frame.map(x as f32 + 0.5, y as f32 + 0.5);
                *place = (p.x / factor - 0.5, p.y / factor - 0.5);
            }
            // A straight line lies in the picture if its ends do.
            let lies_inside = [places[0], places[places.len() - 1]]
                .iter()
                .all(|(x, y)| inner_x.contains(x) && inner_y.contains(y));
            if lies_inside {
                for (out, &(x, y)) in row.iter_mut().zip(&places) {
                    // SAFETY: they lie between those of the ends, in the picture.
                    *out = unsafe { between_pixels_inside(source, x, y) };
                }
            } else {
                for (out, &(x, y)) in row.iter_mut().zip(&places) {
                    *out = between_pixels(source, x, y);
                }
            }
        });
    }
    luma
}

/// A line of digits and what lies around it, level, its sides multiples of `step_px`, moved by
/// `shift_px` to the right and down; `None` if the quad is folded or has no area.
pub(super) fn surroundings(
    pyramid: &Pyramid,
    quad: &Quad,
    step_px: u32,
    shift_px: [f32; 2],
) -> Option<GrayImage> {
    let height_px = quad.height_px();
    if !(1.0..1e5).contains(&height_px) {
        return None;
    }
    let px = |heights: f32| heights * AROUND_DIGIT_PX;
    let length = px(quad.length_px() / height_px);
    let whole = |size: f32| (size as u32).next_multiple_of(step_px);
    let width = whole(length + 2.0 * px(AROUND_BESIDE)).min(MOST_WIDTH_PX);
    let height = whole(px(AROUND_ABOVE + 1.0 + AROUND_BELOW));
    let along = (px(AROUND_BESIDE) + shift_px[0], length);
    let down = (px(AROUND_ABOVE) + shift_px[1], AROUND_DIGIT_PX);
    let to_frame = ToFrame::new(quad, along, down)?;
    let level = pyramid.level(pyramid.level_for(height_px, AROUND_DIGIT_PX));
    Some(warped(level, &to_frame, (width, height)))
}

impl Strip {
    /// Rectifies `quad` with some of its surroundings. `None` if the quad is folded or has no
    /// area.
    pub fn cut(pyramid: &Pyramid, quad: &Quad, room: Room) -> Option<Self> {
        let height_px = quad.height_px();
        if !(1.0..1e5).contains(&height_px) {
            return None;
        }
        let length = quad.length_px() / height_px * DIGIT_PX;
        let start = room.margin * DIGIT_PX;
        let width = ((length + 2.0 * start) as u32)
            .next_multiple_of(room.step_px)
            .min(MOST_WIDTH_PX);
        if width == 0 {
            return None;
        }
        let to_frame = ToFrame::new(quad, (start, length), (TOP_PX, DIGIT_PX))?;
        // Halved pictures stand in for a low-pass filter: at most 2:1 is left to the warp.
        let level = pyramid.level(pyramid.level_for(height_px, DIGIT_PX));
        let luma = warped(level, &to_frame, (width, STRIP_HEIGHT_PX));
        let (width_px, height_px) = pyramid.full().dimensions();
        Some(Self {
            luma,
            to_frame,
            frame_size: (width_px as f32, height_px as f32),
        })
    }

    /// Columns between which the line lies that the strip was cut along.
    pub fn ends(&self) -> (f32, f32) {
        let line = &self.to_frame;
        (line.left as f32, (line.left + line.length) as f32)
    }

    /// The quad to cut the line along that was found to lie otherwise than the strip was cut
    /// for; `None` if it lies well enough.
    pub fn better_quad(&self, lie: &Lie) -> Option<Quad> {
        let (left, right) = self.ends();
        let is_off = [left, right].iter().any(|&x| {
            (lie.middle_at(x) - MIDDLE_PX).abs() > BADLY_PLACED_PX
                || !(1.0 / BADLY_SIZED..BADLY_SIZED).contains(&(lie.height_at(x) / DIGIT_PX))
        });
        is_off.then(|| self.quad_between(left, right, lie))
    }

    /// The line this strip was cut along.
    pub fn quad(&self) -> Quad {
        let (left, right) = self.ends();
        self.quad_between(left, right, &Lie::STRAIGHT)
    }

    /// The line this strip was cut along, as a mirror shows it.
    pub fn quad_in_mirror(&self) -> Quad {
        let [a, b, c, d] = self.quad().corners();
        Quad::from_corners([b, a, d, c])
    }

    /// The frame's point under a point of the strip (strip px, centres at halves).
    pub fn to_frame(&self, x: f32, y: f32) -> Point {
        self.to_frame.map(x, y)
    }

    /// Brightest minus darkest luma among the digit rows within `half` px of column `x`,
    /// leaving out the outermost twentieth at both ends; 0 outside the strip.
    pub fn contrast(&self, x: f32, half: f32) -> f32 {
        self.contrast_among(TOP_PX as u32..BOTTOM_PX as u32, x, half)
    }

    /// True if what stands at column `x` and looks like a semicolon has an upper dot: a comma has none.
    pub fn has_upper_dot(&self, x: f32) -> bool {
        let [upper, lower] =
            [UPPER_DOT_PX, LOWER_DOT_PX].map(|rows| self.contrast_among(rows, x, HALF_A_MARK_PX));
        upper > UPPER_DOT_SHARE * lower
    }

    fn contrast_among(&self, rows: Range<u32>, x: f32, half: f32) -> f32 {
        let first = (x - half).max(0.0) as u32;
        let last = ((x + half).max(0.0) as u32).min(self.luma.width());
        let mut values: Vec<u8> = (first..last)
            .flat_map(|x| rows.clone().map(move |y| (x, y)))
            .map(|(x, y)| self.luma.get_pixel(x, y)[0])
            .collect();
        if values.is_empty() {
            return 0.0;
        }
        values.sort_unstable();
        let cut = values.len() / 20;
        f32::from(values[values.len() - 1 - cut]) - f32::from(values[cut])
    }

    /// What stands within `half` px of column `x`, a fifth of a digit's height above and below the
    /// digit rows with it.
    pub fn glyph(&self, x: f32, half: f32) -> Glyph {
        let (width, height) = self.luma.dimensions();
        let last = |size: u32| size as f32 - 1.0;
        Glyph::from_fn(|across, down| {
            let x = (x + (2.0 * across - 1.0) * half - 0.5).clamp(0.0, last(width));
            let y = MIDDLE_PX + (down - 0.5) * GLYPH_HEIGHTS * DIGIT_PX - 0.5;
            between_pixels(&self.luma, x, y.clamp(0.0, last(height)))
        })
    }

    /// True if the edge of the picture cuts off more than the rim of what lies among the digit rows
    /// within `half` px of column `x`.
    pub fn is_cut_off(&self, x: f32, half: f32) -> bool {
        let (width, height) = self.frame_size;
        let outside = |at: &dyn Fn(f32) -> Point| {
            let steps = (0..CUT_STEPS).map(|i| i as f32 / (CUT_STEPS - 1) as f32);
            let is_outside =
                |p: &Point| !((0.0..width).contains(&p.x) && (0.0..height).contains(&p.y));
            steps.map(at).filter(is_outside).count()
        };
        let across = |t: f32| self.to_frame(x + (2.0 * t - 1.0) * half, MIDDLE_PX);
        let down = |t: f32| self.to_frame(x, TOP_PX + t * DIGIT_PX);
        outside(&across).max(outside(&down)) > MOST_CUT
    }

    /// Outline in the frame of the digits between two columns of the strip.
    pub fn quad_between(&self, left: f32, right: f32, lie: &Lie) -> Quad {
        let edge =
            |x: f32, side: f32| self.to_frame(x, lie.middle_at(x) + side * lie.height_at(x) / 2.0);
        Quad {
            top_left: edge(left, -1.0),
            top_right: edge(right, -1.0),
            bottom_right: edge(right, 1.0),
            bottom_left: edge(left, 1.0),
        }
    }
}

/// How a line of digits lies in a strip, px of the strip.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Lie {
    /// A column, and the row of the line's middle there.
    pub x_px: f32,
    pub middle_px: f32,
    /// Rows further down per column.
    pub slope: f32,
    /// Height at that column, and the share of it by which a digit one column on is taller: a
    /// line that is seen from the side tapers.
    pub height_px: f32,
    pub growth: f32,
    /// True if its digits are of two sizes, which is no growth.
    pub is_in_two_sizes: bool,
}

impl Lie {
    /// As strips are cut for.
    pub const STRAIGHT: Self = Self {
        x_px: 0.0,
        middle_px: MIDDLE_PX,
        slope: 0.0,
        height_px: DIGIT_PX,
        growth: 0.0,
        is_in_two_sizes: false,
    };

    /// Row of the line's middle at a column.
    pub fn middle_at(&self, x_px: f32) -> f32 {
        self.middle_px + self.slope * (x_px - self.x_px)
    }

    /// Height of the digits at a column; beyond the ends of a line no more than twice or half
    /// of what it is in the line's middle.
    pub fn height_at(&self, x_px: f32) -> f32 {
        self.height_px * (1.0 + self.growth * (x_px - self.x_px)).clamp(0.5, 2.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::Luma;
    use imageproc::geometric_transformations::{Border, Interpolation, warp_into_with};

    const ROOM: Room = Room {
        margin: 1.0,
        step_px: 64,
    };

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
        let strip = Strip::cut(&Pyramid::new(luma), &quad, ROOM).unwrap();
        for x in 24..116 {
            for (y, bright) in [(3, false), (8, true), (16, true), (23, true), (29, false)] {
                assert_eq!(strip.luma.get_pixel(x, y)[0] > 100, bright, "at {x}, {y}");
            }
        }
        assert!(strip.luma.get_pixel(14, 16)[0] < 60 && strip.luma.get_pixel(126, 16)[0] < 60);
        let back = strip.quad_between(20.0, 120.0, &Lie::STRAIGHT);
        for (a, b) in back.corners().iter().zip(quad.corners()) {
            assert!(a.distance(b) < 0.5, "{a:?} {b:?}");
        }
    }

    #[test]
    fn a_glyph_holds_what_stands_at_its_column_however_the_line_lies() {
        use crate::glyph::Shape;
        // An L of two bright bars, 40 px high, in a line along 30 degrees.
        let (sin, cos) = 30f32.to_radians().sin_cos();
        let is_bright = |t: f32, s: f32| {
            let is_upright = (-12.0..-6.0).contains(&t) && s.abs() < 20.0;
            let is_foot = t.abs() < 12.0 && (14.0..20.0).contains(&s);
            is_upright || is_foot
        };
        let luma = GrayImage::from_fn(400, 300, |x, y| {
            let (dx, dy) = (x as f32 - 199.5, y as f32 - 149.5);
            let (t, s) = (dx * cos + dy * sin, dy * cos - dx * sin);
            Luma([if is_bright(t, s) { 200 } else { 10 }])
        });
        let corner =
            |t: f32, s: f32| Point::new(200.0 + t * cos - s * sin, 150.0 + t * sin + s * cos);
        let corners = [(-60.0, -20.0), (60.0, -20.0), (60.0, 20.0), (-60.0, 20.0)];
        let quad = Quad::from_corners(corners.map(|(t, s)| corner(t, s)));
        let strip = Strip::cut(&Pyramid::new(luma), &quad, ROOM).unwrap();
        let shape = |glyph: Glyph| {
            let mut shape = Shape::default();
            shape.add(&glyph);
            shape
        };
        // The line is 60 strip px long, and begins 20 px into the strip.
        let found = shape(strip.glyph(50.0, 10.0));
        let drawn = |mirrored: f32| {
            let at = move |x: f32, y: f32| is_bright(mirrored * (x - 0.5) * 40.0, (y - 0.5) * 56.0);
            shape(Glyph::from_fn(|x, y| if at(x, y) { 200 } else { 10 }))
        };
        let between = found.between(&drawn(1.0), &drawn(-1.0));
        assert!(
            between.likeness > 0.9 && between.nearness > 0.8,
            "{between:?}"
        );
    }

    #[test]
    fn a_strip_is_cut_as_another_implementation_cuts_it() {
        let luma = GrayImage::from_fn(90, 70, |x, y| Luma([((x * x + 3 * y) % 251) as u8]));
        // Tilted, tapering, and beyond the picture on two sides.
        let corners = [(40.0, 5.0), (95.0, 22.0), (88.0, 45.0), (35.0, 21.0)];
        let quad = Quad::from_corners(corners.map(|(x, y)| Point::new(x, y)));
        let strip = Strip::cut(&Pyramid::new(luma.clone()), &quad, ROOM).unwrap();
        let mut other = GrayImage::new(strip.luma.width(), STRIP_HEIGHT_PX);
        warp_into_with(
            &luma,
            |x, y| {
                let p = strip.to_frame(x + 0.5, y + 0.5);
                (p.x - 0.5, p.y - 0.5)
            },
            Interpolation::Bilinear,
            Border::Constant(Luma([0])),
            &mut other,
        );
        assert_eq!(strip.luma, other);
        assert!(other.contains(&0) && other.iter().any(|&v| v > 200));
    }

    #[test]
    fn what_lies_around_a_line_is_cut_level_with_digits_of_one_height() {
        // Turned by 90 degrees: a line of 20 px upwards, and a spot two digit heights below it.
        let luma = GrayImage::from_fn(400, 400, |x, y| {
            let is_line = (180..200).contains(&x) && (150..270).contains(&y);
            let is_spot = (217..229).contains(&x) && (204..216).contains(&y);
            Luma([if is_line || is_spot { 220 } else { 20 }])
        });
        let corners = [
            (180.0, 270.0),
            (180.0, 150.0),
            (200.0, 150.0),
            (200.0, 270.0),
        ];
        let quad = Quad::from_corners(corners.map(|(x, y)| Point::new(x, y)));
        let around = surroundings(&Pyramid::new(luma), &quad, 8, [0.0; 2]).unwrap();
        // Six digit heights long, 5.5 before and behind; 2.5 above and 3.5 below.
        assert_eq!(around.dimensions(), (648, 272));
        let at = |along: f32, down: f32| {
            let px = |heights: f32| (heights * AROUND_DIGIT_PX) as u32;
            around.get_pixel(px(AROUND_BESIDE + along), px(AROUND_ABOVE + down))[0]
        };
        assert!(at(0.2, 0.5) > 150 && at(5.8, 0.5) > 150, "the line");
        assert!(at(3.0, 2.15) > 150, "the spot");
        for (along, down) in [
            (-0.2, 0.5),
            (6.2, 0.5),
            (3.0, -0.2),
            (3.0, 1.2),
            (2.0, 2.15),
        ] {
            assert!(at(along, down) < 60, "{along} {down}");
        }
    }

    #[test]
    fn a_comma_has_no_upper_dot() {
        // Digits 40 px tall on rows 30 to 70; boxes as left, top, right and bottom.
        let upper = (97, 42, 103, 48);
        let lower = (97, 60, 103, 66);
        let (tail, foot) = ((97, 66, 100, 74), (97, 64, 103, 70));
        let half_way_up = (97, 50, 103, 56);
        for (name, boxes, has_one) in [
            ("semicolon", &[upper, lower, tail][..], true),
            ("its upper dot low", &[half_way_up, lower, tail], true),
            ("comma", &[foot, (97, 70, 100, 78)], false),
        ] {
            let luma = GrayImage::from_fn(200, 100, |x, y| {
                let is_ink = boxes.iter().any(|&(left, top, right, bottom)| {
                    (left..right).contains(&x) && (top..bottom).contains(&y)
                });
                Luma([if is_ink { 210 } else { 30 }])
            });
            let corners = [(20.0, 30.0), (180.0, 30.0), (180.0, 70.0), (20.0, 70.0)];
            let quad = Quad::from_corners(corners.map(|(x, y)| Point::new(x, y)));
            let strip = Strip::cut(&Pyramid::new(luma), &quad, ROOM).unwrap();
            // A margin of a digit's height, then half of the 80 strip px of the line.
            assert_eq!(strip.has_upper_dot(DIGIT_PX + 40.0), has_one, "{name}");
        }
    }

    #[test]
    fn a_nearly_rectangular_quad_gives_an_even_strip() {
        // Numbers at which a solver in single precision doubled the scale along the strip.
        let quad = Quad::from_corners([
            Point::new(47.115_23, 119.957_73),
            Point::new(463.080_66, 119.611_02),
            Point::new(464.905_8, 166.312_77),
            Point::new(48.838_993, 164.064_91),
        ]);
        let strip = Strip::cut(&Pyramid::new(GrayImage::new(640, 360)), &quad, ROOM).unwrap();
        let step = |x: f32| {
            strip
                .to_frame(x + 1.0, 16.0)
                .distance(strip.to_frame(x, 16.0))
        };
        let ratio = step(190.0) / step(20.0);
        assert!(
            (0.85..1.18).contains(&ratio),
            "the scale changes by {ratio} along the strip"
        );
    }
}
