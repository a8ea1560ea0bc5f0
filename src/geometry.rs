//! Points and quads in the presented picture, in pixels, y pointing down.

/// A place in the picture. Units: pixels of the presented frame; the centre of
/// the top left pixel is (0.5, 0.5).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    pub x: f32,
    pub y: f32,
}

impl Point {
    pub const fn new(x: f32, y: f32) -> Self {
        Self { x, y }
    }

    /// Distance to `other` in pixels.
    pub fn distance(self, other: Self) -> f32 {
        (self.x - other.x).hypot(self.y - other.y)
    }

    /// The point `share` of the way from `self` (0.0) to `other` (1.0).
    pub fn towards(self, other: Self, share: f32) -> Self {
        Self::new(
            self.x + (other.x - self.x) * share,
            self.y + (other.y - self.y) * share,
        )
    }

    /// Of two directions: the cosine of the angle between them, if both are unit vectors. Of a step
    /// and a unit vector: how far the step goes that way, px.
    pub fn dot(self, other: Self) -> f32 {
        self.x * other.x + self.y * other.y
    }

    /// The direction as a unit vector.
    pub fn unit(self) -> Self {
        let n = self.x.hypot(self.y).max(1e-6);
        Self::new(self.x / n, self.y / n)
    }
}

/// The outline of a line of digits, corners in reading order: top left, top
/// right, bottom right, bottom left *of the text*, wherever those lie in the
/// picture. A display filmed upside down has its `top_left` at the lower right.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Quad {
    pub top_left: Point,
    pub top_right: Point,
    pub bottom_right: Point,
    pub bottom_left: Point,
}

impl Quad {
    /// Corners in reading order.
    pub const fn corners(&self) -> [Point; 4] {
        [
            self.top_left,
            self.top_right,
            self.bottom_right,
            self.bottom_left,
        ]
    }

    /// Builds a quad from corners in reading order.
    pub const fn from_corners(c: [Point; 4]) -> Self {
        Self {
            top_left: c[0],
            top_right: c[1],
            bottom_right: c[2],
            bottom_left: c[3],
        }
    }

    /// How far `point` lies from its middle: along the reading direction, and towards the base
    /// line's side, px.
    pub fn along_and_aside(&self, point: Point) -> (f32, f32) {
        let (ahead, from) = (self.direction(), self.centre());
        let step = Point::new(point.x - from.x, point.y - from.y);
        let facing = if self.is_mirrored() { -1.0 } else { 1.0 };
        (
            step.dot(ahead),
            facing * (step.y * ahead.x - step.x * ahead.y),
        )
    }

    /// True if `other`, turned alike and as large, comes next for a reader: behind this one in its
    /// line, however far, or right below it.
    pub fn is_read_before(&self, other: &Self) -> bool {
        let (along, aside) = self.along_and_aside(other.centre());
        let height = self.height_px();
        // Not on it: unlit segments that read as 8 stand in the clock's own places.
        let ends_apart = 0.5 * (self.length_px() + other.length_px());
        let is_in_line = along > 0.8 * ends_apart && aside.abs() < 0.4 * height;
        let is_below =
            along.abs() < 0.5 * self.length_px() && (0.4 * height..3.0 * height).contains(&aside);
        (is_in_line || is_below)
            && self.direction().dot(other.direction()) > 0.95
            && (0.75..1.33).contains(&(other.height_px() / height))
    }

    /// True if the text runs as a mirror shows it: its way down lies to the left of its way
    /// ahead.
    pub fn is_mirrored(&self) -> bool {
        let ahead = (
            self.top_right.x - self.top_left.x,
            self.top_right.y - self.top_left.y,
        );
        let down = (
            self.bottom_left.x - self.top_left.x,
            self.bottom_left.y - self.top_left.y,
        );
        ahead.0 * down.1 - ahead.1 * down.0 < 0.0
    }

    /// Reading direction of the middle line, as a unit vector.
    pub fn direction(&self) -> Point {
        let (a, b) = self.ends();
        Point::new(b.x - a.x, b.y - a.y).unit()
    }

    /// The two ends of its middle line, in reading order.
    pub fn ends(&self) -> (Point, Point) {
        (
            self.top_left.towards(self.bottom_left, 0.5),
            self.top_right.towards(self.bottom_right, 0.5),
        )
    }

    /// True if the text of the two runs one way along one line, and the middle of this one
    /// lies on the other.
    pub fn lies_on(&self, other: &Self) -> bool {
        let (own, line) = (self.direction(), other.direction());
        own.dot(line) > 0.8
            && self.is_mirrored() == other.is_mirrored()
            && self.has_its_middle_on(other)
    }

    /// True if the middle of this one lies on the other, whichever way it is read.
    pub fn has_its_middle_on(&self, other: &Self) -> bool {
        let (along, aside) = other.along_and_aside(self.centre());
        along.abs() < 0.5 * other.length_px() && aside.abs() < 0.6 * other.height_px()
    }

    /// Mean of the corners.
    pub fn centre(&self) -> Point {
        let c = self.corners();
        Point::new(
            c.iter().map(|p| p.x).sum::<f32>() / 4.0,
            c.iter().map(|p| p.y).sum::<f32>() / 4.0,
        )
    }

    /// Height of the text in pixels: mean of the left and the right edge.
    pub fn height_px(&self) -> f32 {
        (self.top_left.distance(self.bottom_left) + self.top_right.distance(self.bottom_right))
            / 2.0
    }

    /// As tall at both ends as it is in the mean.
    pub fn level(&self) -> Self {
        let ((left, right), height) = (self.ends(), self.height_px());
        let end = |middle: Point, top: Point, bottom: Point| {
            let share = height / (2.0 * top.distance(bottom).max(1e-6));
            let up = Point::new((top.x - bottom.x) * share, (top.y - bottom.y) * share);
            let at = |lift: f32| Point::new(middle.x + up.x * lift, middle.y + up.y * lift);
            (at(1.0), at(-1.0))
        };
        let (top_left, bottom_left) = end(left, self.top_left, self.bottom_left);
        let (top_right, bottom_right) = end(right, self.top_right, self.bottom_right);
        Self {
            top_left,
            top_right,
            bottom_right,
            bottom_left,
        }
    }

    /// Length of the text in pixels: mean of the top and the bottom edge.
    pub fn length_px(&self) -> f32 {
        (self.top_left.distance(self.top_right) + self.bottom_left.distance(self.bottom_right))
            / 2.0
    }

    /// The same quad with every corner moved by `f`.
    pub fn map(&self, f: impl Fn(Point) -> Point) -> Self {
        Self::from_corners(self.corners().map(f))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quad_lies_on_a_line_that_runs_its_way_through_its_middle() {
        let level = |x: f32, y: f32, length: f32| {
            Quad::from_corners([
                Point::new(x, y),
                Point::new(x + length, y),
                Point::new(x + length, y + 20.0),
                Point::new(x, y + 20.0),
            ])
        };
        let line = level(100.0, 100.0, 200.0);
        assert!(level(160.0, 102.0, 140.0).lies_on(&line));
        assert!(!level(100.0, 125.0, 200.0).lies_on(&line), "the row below");
        assert!(!level(300.0, 100.0, 60.0).lies_on(&line), "behind it");
        let [a, b, c, d] = line.corners();
        assert!(
            !Quad::from_corners([c, d, a, b]).lies_on(&line),
            "upside down"
        );
        let mirrored = Quad::from_corners([b, a, d, c]);
        assert!(mirrored.is_mirrored() && !line.is_mirrored());
        assert!(!mirrored.lies_on(&line));
    }

    #[test]
    fn a_level_quad_keeps_its_ends_and_its_height_and_tapers_no_more() {
        let [a, b, c, d] = [(10.0, 20.0), (210.0, 40.0), (208.0, 64.0), (6.0, 60.0)];
        let tapered = Quad::from_corners([a, b, c, d].map(|(x, y)| Point::new(x, y)));
        let level = tapered.level();
        let heights = |quad: &Quad| {
            [
                quad.top_left.distance(quad.bottom_left),
                quad.top_right.distance(quad.bottom_right),
            ]
        };
        let [left, right] = heights(&tapered);
        assert!(left > 1.5 * right);
        for height in heights(&level) {
            approx::assert_relative_eq!(height, (left + right) / 2.0, epsilon = 1e-3);
        }
        for (was, is) in [
            (tapered.ends().0, level.ends().0),
            (tapered.ends().1, level.ends().1),
        ] {
            assert!(was.distance(is) < 1e-3);
        }
    }
}
