//! Where the display stands in the picture, and how hands move it and the camera.

use crate::geometry::Point;
use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use std::f64::consts::TAU;

/// A plane-to-plane projection, row by row, acting on columns (x, y, 1).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Projection(pub [[f64; 3]; 3]);

impl Projection {
    /// `self` after `first`.
    pub fn after(&self, first: &Self) -> Self {
        Self(std::array::from_fn(|r| {
            std::array::from_fn(|c| (0..3).map(|k| self.0[r][k] * first.0[k][c]).sum())
        }))
    }

    /// `None` for a plane seen from its edge.
    pub fn inverse(&self) -> Option<Self> {
        let m = &self.0;
        let minor = |r: usize, c: usize| {
            let (r1, r2) = ((r + 1) % 3, (r + 2) % 3);
            let (c1, c2) = ((c + 1) % 3, (c + 2) % 3);
            m[r1][c1] * m[r2][c2] - m[r1][c2] * m[r2][c1]
        };
        let det: f64 = (0..3).map(|c| m[0][c] * minor(0, c)).sum();
        if !det.is_finite() || det.abs() < 1e-12 {
            return None;
        }
        Some(Self(std::array::from_fn(|r| {
            std::array::from_fn(|c| minor(c, r) / det)
        })))
    }

    /// `None` for a point behind the camera.
    pub fn apply(&self, x: f64, y: f64) -> Option<Point> {
        let [a, b, w] = self.0.map(|row| row[0] * x + row[1] * y + row[2]);
        (w > 1e-9).then(|| Point::new((a / w) as f32, (b / w) as f32))
    }
}

/// How the display is held, before any hand moves.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pose {
    /// Where the middle of the digits stands, shares of the picture's width and height.
    pub x: f64,
    pub y: f64,
    /// Digit height in the picture, pixels, > 0.
    pub digit_px: f64,
    /// Clockwise turn in the picture, degrees: 0 upright, 180 upside down.
    pub roll_degrees: f64,
    /// Turned to the side, degrees, -80..=80.
    pub yaw_degrees: f64,
    /// Tipped back, degrees, -80..=80.
    pub pitch_degrees: f64,
    /// Seen in a mirror: left and right of the display change places.
    pub is_mirrored: bool,
}

impl Pose {
    /// In the middle of the picture, straight in front of the camera.
    pub const fn upright(digit_px: f64) -> Self {
        Self {
            x: 0.5,
            y: 0.5,
            digit_px,
            roll_degrees: 0.0,
            yaw_degrees: 0.0,
            pitch_degrees: 0.0,
            is_mirrored: false,
        }
    }

    /// Projection from the plate (pixels, `middle` and `plate_digit_px` as the
    /// plate has them) to a picture `width_px` x `height_px`. The lens sees
    /// about 49 degrees across: its focal length is 1.1 picture widths.
    pub fn projection(
        &self,
        middle: (f32, f32),
        plate_digit_px: f32,
        width_px: f64,
        height_px: f64,
    ) -> Projection {
        let focal = 1.1 * width_px.max(height_px);
        // In digit heights: the plate is this far from the lens.
        let distance = focal / self.digit_px.max(1.0);
        let (sr, cr) = self.roll_degrees.to_radians().sin_cos();
        let (sy, cy) = self.yaw_degrees.to_radians().sin_cos();
        let (sp, cp) = self.pitch_degrees.to_radians().sin_cos();
        // Yaw and pitch of the plate, then roll about the line of sight.
        let (ax, ay, az) = (cy, 0.0, -sy);
        let (bx, by, bz) = (sp * sy, cp, sp * cy);
        let (ux, uy, uz) = (cr * ax - sr * ay, sr * ax + cr * ay, az);
        let (vx, vy, vz) = (cr * bx - sr * by, sr * bx + cr * by, bz);
        let (ox, oy) = (self.x * width_px, self.y * height_px);
        let lens = Projection([
            [focal * ux + ox * uz, focal * vx + ox * vz, ox * distance],
            [focal * uy + oy * uz, focal * vy + oy * vz, oy * distance],
            [uz, vz, distance],
        ]);
        let scale = 1.0 / f64::from(plate_digit_px);
        let across = if self.is_mirrored { -scale } else { scale };
        lens.after(&Projection([
            [across, 0.0, -f64::from(middle.0) * across],
            [0.0, scale, -f64::from(middle.1) * scale],
            [0.0, 0.0, 1.0],
        ]))
    }
}

/// A smooth random wander around zero: a few sines.
#[derive(Clone, Debug, Default)]
pub struct Wander {
    /// Frequency in Hz, phase in turns, amplitude.
    sines: Vec<[f64; 3]>,
}

impl Wander {
    /// Wanders with standard deviation `rms` in a band of frequencies, Hz.
    pub fn draw(rng: &mut ChaCha8Rng, rms: f64, band_hz: std::ops::Range<f64>) -> Self {
        const SINES: usize = 4;
        // A sine of amplitude a has rms a / sqrt(2); powers add.
        let amplitude = rms * (2.0 / SINES as f64).sqrt();
        Self {
            sines: (0..SINES)
                .map(|_| {
                    [
                        rng.random_range(band_hz.clone()),
                        rng.random_range(0.0..1.0),
                        amplitude,
                    ]
                })
                .collect(),
        }
    }

    pub fn at(&self, time_s: f64) -> f64 {
        self.sines
            .iter()
            .map(|[hz, turn, amplitude]| amplitude * (TAU * (hz * time_s + turn)).sin())
            .sum()
    }
}

/// How steady a hand is. Zero stands on a tripod.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Steadiness {
    /// Slow sway below 1.5 Hz, standard deviation in shares of the picture width.
    pub sway: f64,
    /// Tremor between 5 and 10 Hz, standard deviation in shares of the picture width.
    pub tremor: f64,
    /// Turning about the line of sight, standard deviation in degrees.
    pub roll_degrees: f64,
    /// Moving to and fro, standard deviation in shares of the distance.
    pub zoom: f64,
}

impl Steadiness {
    pub const TRIPOD: Self = Self {
        sway: 0.0,
        tremor: 0.0,
        roll_degrees: 0.0,
        zoom: 0.0,
    };
}

/// A hand, drawn.
#[derive(Clone, Debug, Default)]
pub struct Hand {
    sway: [Wander; 2],
    tremor: [Wander; 2],
    roll: Wander,
    zoom: Wander,
}

impl Hand {
    pub fn draw(rng: &mut ChaCha8Rng, steadiness: &Steadiness, width_px: f64) -> Self {
        let mut both = |rms: f64, band: std::ops::Range<f64>| {
            [
                Wander::draw(rng, rms * width_px, band.clone()),
                Wander::draw(rng, rms * width_px, band),
            ]
        };
        let sway = both(steadiness.sway, 0.15..1.5);
        let tremor = both(steadiness.tremor, 5.0..10.0);
        Self {
            sway,
            tremor,
            roll: Wander::draw(rng, steadiness.roll_degrees.to_radians(), 0.2..1.2),
            zoom: Wander::draw(rng, steadiness.zoom, 0.1..0.8),
        }
    }

    /// Turn, zoom and shift about a pivot, as pictures move.
    pub fn at(&self, time_s: f64, pivot: (f64, f64)) -> Projection {
        let (sin, cos) = self.roll.at(time_s).sin_cos();
        let zoom = (1.0 + self.zoom.at(time_s)).max(0.2);
        let (c, s) = (cos * zoom, sin * zoom);
        let dx = self.sway[0].at(time_s) + self.tremor[0].at(time_s);
        let dy = self.sway[1].at(time_s) + self.tremor[1].at(time_s);
        Projection([
            [c, -s, pivot.0 + dx - c * pivot.0 + s * pivot.1],
            [s, c, pivot.1 + dy - s * pivot.0 - c * pivot.1],
            [0.0, 0.0, 1.0],
        ])
    }
}

/// When the display is in view, seconds after frame 0, and the way it comes and goes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hold {
    /// When it is in its place.
    pub from_s: f64,
    /// When it leaves it.
    pub to_s: f64,
    /// Time it takes to bring it in or take it out, > 0.
    pub slide_s: f64,
    /// Direction it leaves to and comes from, picture axes, degrees clockwise from right.
    pub way_degrees: f64,
}

impl Hold {
    /// For the whole clip.
    pub const ALWAYS: Self = Self {
        from_s: f64::NEG_INFINITY,
        to_s: f64::INFINITY,
        slide_s: 1.0,
        way_degrees: 90.0,
    };

    /// Shift out of place as a share of the way out, `None` when fully out:
    /// 0.0 in place, towards 1.0 at the far end.
    pub fn way_out(&self, time_s: f64) -> Option<f64> {
        let late = (self.from_s - time_s).max(time_s - self.to_s).max(0.0) / self.slide_s;
        // Starts and ends gently: 3x^2 - 2x^3.
        (late < 1.0).then_some(late * late * (3.0 - 2.0 * late))
    }

    /// Unit vector of the way out.
    pub fn way(&self) -> (f64, f64) {
        let (sin, cos) = self.way_degrees.to_radians().sin_cos();
        (cos, sin)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use rand::SeedableRng;

    #[test]
    fn a_flat_pose_puts_digits_at_their_height_and_place() {
        let pose = Pose {
            x: 0.25,
            ..Pose::upright(40.0)
        };
        let p = pose.projection((300.0, 100.0), 80.0, 1000.0, 600.0);
        let middle = p.apply(300.0, 100.0).unwrap();
        assert_relative_eq!(middle.x, 250.0, epsilon = 1e-3);
        assert_relative_eq!(middle.y, 300.0, epsilon = 1e-3);
        let above = p.apply(300.0, 20.0).unwrap();
        assert_relative_eq!(above.y, 260.0, epsilon = 1e-3);
        assert_relative_eq!(above.x, 250.0, epsilon = 1e-3);
    }

    #[test]
    fn roll_turns_clockwise() {
        let pose = Pose {
            roll_degrees: 90.0,
            ..Pose::upright(10.0)
        };
        // What is right of the middle comes to stand below it.
        let p = pose.projection((0.0, 0.0), 10.0, 100.0, 100.0);
        let right = p.apply(10.0, 0.0).unwrap();
        assert_relative_eq!(right.x, 50.0, epsilon = 1e-3);
        assert_relative_eq!(right.y, 60.0, epsilon = 1e-3);
    }

    #[test]
    fn a_mirror_swaps_left_and_right_only() {
        let pose = Pose {
            is_mirrored: true,
            roll_degrees: 20.0,
            ..Pose::upright(10.0)
        };
        let plain = Pose {
            is_mirrored: false,
            ..pose
        };
        let at = |pose: &Pose, x, y| {
            let p = pose.projection((0.0, 0.0), 10.0, 100.0, 100.0);
            p.apply(x, y).unwrap()
        };
        assert_eq!(at(&pose, 7.0, 3.0), at(&plain, -7.0, 3.0));
    }

    #[test]
    fn the_near_side_of_a_turned_plate_is_larger() {
        let pose = Pose {
            yaw_degrees: 40.0,
            ..Pose::upright(50.0)
        };
        let p = pose.projection((0.0, 0.0), 50.0, 1000.0, 1000.0);
        let side = |x: f64| {
            p.apply(x, -50.0)
                .unwrap()
                .distance(p.apply(x, 50.0).unwrap())
        };
        assert!(side(200.0) > side(0.0) && side(0.0) > side(-200.0));
    }

    #[test]
    fn inverse_undoes() {
        let pose = Pose {
            x: 0.3,
            y: 0.6,
            roll_degrees: 200.0,
            yaw_degrees: 25.0,
            pitch_degrees: -35.0,
            ..Pose::upright(33.0)
        };
        let p = pose.projection((120.0, 60.0), 48.0, 1280.0, 720.0);
        let there = p.apply(10.0, 90.0).unwrap();
        let back = p
            .inverse()
            .unwrap()
            .apply(f64::from(there.x), f64::from(there.y))
            .unwrap();
        assert_relative_eq!(back.x, 10.0, epsilon = 1e-2);
        assert_relative_eq!(back.y, 90.0, epsilon = 1e-2);
    }

    #[test]
    fn a_wander_has_its_spread() {
        let wander = Wander::draw(&mut ChaCha8Rng::seed_from_u64(3), 2.0, 1.0..4.0);
        let n = 20_000;
        let square: f64 = (0..n).map(|i| wander.at(f64::from(i) * 0.01).powi(2)).sum();
        assert_relative_eq!((square / f64::from(n)).sqrt(), 2.0, max_relative = 0.15);
    }

    #[test]
    fn holds_slide() {
        let hold = Hold {
            from_s: 1.0,
            to_s: 3.0,
            slide_s: 0.5,
            way_degrees: 90.0,
        };
        assert_eq!(hold.way_out(0.4), None);
        assert_eq!(hold.way_out(2.0), Some(0.0));
        assert_eq!(hold.way_out(3.6), None);
        assert!(hold.way_out(0.6).unwrap() > hold.way_out(0.9).unwrap());
        assert_relative_eq!(hold.way().1, 1.0);
        assert_eq!(Hold::ALWAYS.way_out(1e6), Some(0.0));
    }
}
