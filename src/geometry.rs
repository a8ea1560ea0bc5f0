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
