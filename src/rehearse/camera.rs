//! The camera: shutter, hand, lens and sensor.

use super::canvas::{Canvas, Light, linear_to_srgb};
use super::motion::Steadiness;
use crate::timecode::{Rate, Ratio};
use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use std::f32::consts::{FRAC_1_SQRT_2, TAU};

/// A camera and how it is set.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Camera {
    /// Frames per second. Frame k's exposure has its middle exactly k frame
    /// times after frame 0's.
    pub rate: Rate,
    pub width_px: u32,
    pub height_px: u32,
    /// How long each row gathers light, seconds, > 0, at most one frame time.
    pub exposure_s: Ratio,
    /// Rolling shutter: the last row is exposed this much later than the first;
    /// the middle row is in time. 0 for a global shutter.
    pub readout_s: Ratio,
    pub hand: Steadiness,
    /// Code light per scene light: 1.0 shows a white card white.
    pub gain: f32,
    /// Standard deviation of noise at mid grey, 8-bit code values.
    pub noise: f32,
    /// Loss of light in the corners, 0.0..=0.8.
    pub vignette: f32,
    /// Defocus of the display, standard deviation in picture pixels.
    pub display_blur_px: f32,
    /// Defocus of what is behind, standard deviation in picture pixels.
    pub scene_blur_px: f32,
    /// How the focus on the display comes and goes.
    pub hunt: Hunt,
    /// Share of the light that lens and sensor scatter around, 0.0..=0.5.
    pub bloom: f32,
    /// Size of the noise's grain, standard deviation in picture pixels, 0.0..=4.0: noise
    /// that the camera has smoothed is coarse. 0 leaves each pixel its own.
    pub grain_px: f32,
    /// One colour filter per pixel, as most sensors have; else every pixel sees all colours.
    pub is_mosaic: bool,
}

/// A focus that hunts: through the sharp plane and out of it on both sides.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hunt {
    /// Most defocus on top of the camera's own, standard deviation in picture pixels.
    pub swing_px: f32,
    /// Full swings a second, to both sides.
    pub hz: f64,
    /// Where in its swing it is at time 0, turns.
    pub turn: f64,
}

impl Hunt {
    /// A focus that stays where it is.
    pub const LOCKED: Self = Self {
        swing_px: 0.0,
        hz: 1.0,
        turn: 0.0,
    };

    /// Defocus at a time, standard deviation in picture pixels.
    pub fn blur_px(&self, time_s: f64) -> f32 {
        let swing = (f64::from(TAU) * (self.hz * time_s + self.turn)).sin();
        self.swing_px * swing.abs() as f32
    }
}

impl Camera {
    /// A perfect camera on a tripod: for measuring.
    pub fn ideal(rate: Rate, width_px: u32, height_px: u32) -> Self {
        Self {
            rate,
            width_px,
            height_px,
            exposure_s: Ratio::new(1, 1000).min(rate.ratio().recip()),
            readout_s: Ratio::ZERO,
            hand: Steadiness::TRIPOD,
            gain: 1.0,
            noise: 0.0,
            vignette: 0.0,
            display_blur_px: 0.0,
            scene_blur_px: 0.0,
            hunt: Hunt::LOCKED,
            bloom: 0.0,
            grain_px: 0.0,
            is_mosaic: false,
        }
    }

    /// Middle of a frame's exposure, seconds after frame 0's.
    pub fn middle_s(&self, index: u64) -> Ratio {
        Ratio::from_integer(index) / self.rate.ratio()
    }

    /// Defocus of the display in a frame, standard deviation in picture pixels.
    pub fn focus_px(&self, index: u64) -> f32 {
        let hunting = self.hunt.blur_px(self.middle_s(index).to_f64());
        self.display_blur_px.hypot(hunting)
    }

    /// How much later than the frame's middle a row is exposed, seconds.
    pub fn row_delay_s(&self, row: u32) -> Ratio {
        let height = i128::from(self.height_px.max(1));
        Ratio::new(2 * i128::from(row) + 1 - height, 2 * height) * self.readout_s
    }
}

/// Entries of the transfer table, which ends at twice the white.
const TABLE: usize = 1 << 14;
/// Values in the noise tile; a power of two.
const TILE: usize = 1 << 16;
/// Side of the tile of coarse noise; a power of two.
const GRAIN_SIDE: usize = 1 << 8;

/// Turns light into 8-bit code values.
pub struct Sensor {
    /// Light to code 0.0..=255.0.
    code: Vec<f32>,
    /// Light to standard deviation of the noise, code values.
    spread: Vec<f32>,
    /// Noise of standard deviation 1, a little smooth, as after demosaicing.
    tile: Vec<f32>,
    /// Coarse noise of standard deviation 1 instead, a square whose edges meet.
    grain: Option<Canvas>,
    gain: f32,
    /// Loss at distance 1 from the middle.
    vignette: f32,
    seed: u64,
}

impl Sensor {
    pub fn new(camera: &Camera, rng: &mut ChaCha8Rng) -> Self {
        let light = |i: usize| i as f32 * 2.0 / TABLE as f32;
        // Straight up to 0.8, then a shoulder that reaches white at infinity.
        const KNEE: f32 = 0.8;
        let shoulder = |l: f32| {
            if l <= KNEE {
                l
            } else {
                1.0 - (1.0 - KNEE) * (-(l - KNEE) / (1.0 - KNEE)).exp()
            }
        };
        let code: Vec<f32> = (0..TABLE)
            .map(|i| 255.0 * linear_to_srgb(shoulder(light(i))))
            .collect();
        // Photon noise grows with the root of the light, the transfer curve
        // spreads the shadows; read noise keeps black from being clean.
        let photon = |l: f32| (l + 0.002).sqrt();
        let slope = |i: usize| {
            let (a, b) = (i.max(1) - 1, (i + 1).min(TABLE - 1));
            (code[b] - code[a]) / (light(b) - light(a))
        };
        let raw: Vec<f32> = (0..TABLE).map(|i| photon(light(i)) * slope(i)).collect();
        const MID_GREY: f32 = 0.18;
        let mid = raw[(MID_GREY * TABLE as f32 / 2.0) as usize];
        // Never above three times the mid grey's: cameras smooth their shadows.
        let spread = raw
            .iter()
            .map(|r| camera.noise * (r / mid).min(3.0))
            .collect();
        let white: Vec<f32> = (0..TILE).map(|_| normal(rng)).collect();
        // Neighbours of the same colour are three values apart.
        let smooth = [0.5f32, 0.7, 0.5];
        let norm = smooth.iter().map(|s| s * s).sum::<f32>().sqrt();
        let tile = (0..TILE)
            .map(|i| {
                let sum: f32 = smooth
                    .iter()
                    .enumerate()
                    .map(|(k, s)| s * white[(i + 3 * k) % TILE])
                    .sum();
                sum / norm
            })
            .collect();
        let seed = rng.random();
        Self {
            code,
            spread,
            tile,
            grain: (camera.grain_px > 0.0).then(|| grain(camera.grain_px, rng)),
            gain: camera.gain,
            vignette: camera.vignette,
            seed,
        }
    }

    /// Writes a row of RGB codes. `aside` is the row's distance from the
    /// middle, in half picture diagonals.
    pub fn expose(&self, frame: u64, row: usize, aside: f32, light: &[Light], out: &mut [u8]) {
        let start = scramble(self.seed ^ frame.wrapping_mul(0x9e37_79b9) ^ ((row as u64) << 40));
        let mut at = start as usize;
        // All rows of a frame lie on the same coarse grain.
        let shift = scramble(self.seed ^ frame.wrapping_mul(0x9e37_79b9)) as usize;
        let grain_y = (row + (shift >> 32)) % GRAIN_SIDE;
        let width = light.len() as f32;
        let half_diagonal = aside_unit(width);
        for (x, (light, rgb)) in light.iter().zip(out.chunks_exact_mut(3)).enumerate() {
            let dx = (x as f32 + 0.5 - width / 2.0) / half_diagonal;
            let gain = self.gain * (1.0 - self.vignette * (dx * dx + aside * aside).min(1.0));
            for (c, code) in rgb.iter_mut().enumerate() {
                let index = (light[c] * gain * (TABLE as f32 / 2.0)).min((TABLE - 1) as f32);
                let index = index as usize;
                let noise = self.spread[index]
                    * match &self.grain {
                        Some(grain) => grain.at((x + shift) % GRAIN_SIDE, grain_y)[c],
                        None => self.tile[at & (TILE - 1)],
                    };
                at = at.wrapping_add(1);
                // Saturating casts clip, as sensors do.
                *code = (self.code[index] + noise + 0.5) as u8;
            }
        }
    }
}

/// A draw from the standard normal distribution (Box and Muller 1958).
fn normal(rng: &mut ChaCha8Rng) -> f32 {
    let radius = (-2.0 * rng.random_range(f32::EPSILON..1.0).ln()).sqrt();
    radius * (TAU * rng.random_range(0.0..1.0f32)).cos()
}

/// Coarse noise of standard deviation 1: half of its power is common to the three colours,
/// as smoothing leaves it.
fn grain(size_px: f32, rng: &mut ChaCha8Rng) -> Canvas {
    let reach = (3.0 * size_px).ceil() as usize + 1;
    let white = Canvas::from_fn(GRAIN_SIDE, GRAIN_SIDE, |_, _| {
        let common = normal(rng);
        [0; 4].map(|_| (common + normal(rng)) * FRAC_1_SQRT_2)
    });
    // Repeated around, so that the blurred tile's edges meet.
    let side = GRAIN_SIDE + 2 * reach;
    let around = Canvas::from_fn(side, side, |x, y| {
        let wrap = |i: usize| (i + GRAIN_SIDE - reach) % GRAIN_SIDE;
        white.at(wrap(x), wrap(y))
    });
    let smooth = around
        .blurred(size_px)
        .crop(reach as i32, reach as i32, GRAIN_SIDE, GRAIN_SIDE);
    let mut power = 0.0;
    for y in 0..GRAIN_SIDE {
        for x in 0..GRAIN_SIDE {
            power += f64::from(smooth.at(x, y)[1].powi(2));
        }
    }
    let spread = (power / (GRAIN_SIDE * GRAIN_SIDE) as f64).sqrt() as f32;
    Canvas::from_fn(GRAIN_SIDE, GRAIN_SIDE, |x, y| {
        smooth.at(x, y).map(|v| v / spread)
    })
}

/// The unit in which [`Sensor::expose`] measures distances from the middle:
/// half a diagonal of a 16:9 picture.
pub fn aside_unit(width_px: f32) -> f32 {
    width_px / 2.0 * 1.15
}

/// Spreads the bits of a number (the finaliser of splitmix64, public domain).
fn scramble(mut z: u64) -> u64 {
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;

    fn sensor(camera: &Camera) -> Sensor {
        Sensor::new(camera, &mut ChaCha8Rng::seed_from_u64(1))
    }

    #[test]
    fn frames_are_exactly_one_frame_time_apart() {
        let camera = Camera::ideal(Rate::F29_97, 64, 36);
        assert_eq!(camera.middle_s(30_000), Ratio::from_integer(1001));
    }

    #[test]
    fn rows_are_read_from_the_top_around_the_middle() {
        let mut camera = Camera::ideal(Rate::F25, 64, 4);
        camera.readout_s = Ratio::new(1, 50);
        let delays: Vec<_> = (0..4).map(|y| camera.row_delay_s(y)).collect();
        assert_eq!(
            delays,
            [-3, -1, 1, 3].map(|eighths| Ratio::new(eighths, 8 * 50))
        );
    }

    #[test]
    fn a_clean_sensor_gives_srgb_codes() {
        let camera = Camera::ideal(Rate::F25, 8, 8);
        let mut out = [0u8; 9];
        let light = [
            [0.0, 0.0, 0.0, 1.0],
            [0.2140, 0.2140, 0.2140, 1.0],
            [9.0, 9.0, 9.0, 1.0],
        ];
        sensor(&camera).expose(0, 0, 0.0, &light, &mut out);
        // IEC 61966-2-1: linear 0.2140 is code 127.5.
        assert_eq!((out[0], out[8]), (0, 255));
        assert!((126..=128).contains(&out[3]), "{}", out[3]);
    }

    #[test]
    fn noise_has_the_asked_spread_at_mid_grey() {
        let camera = Camera {
            noise: 4.0,
            ..Camera::ideal(Rate::F25, 8, 8)
        };
        let light = vec![[0.18, 0.18, 0.18, 1.0]; 5000];
        let mut out = vec![0u8; 15000];
        sensor(&camera).expose(3, 5, 0.0, &light, &mut out);
        let mean = out.iter().map(|&c| f64::from(c)).sum::<f64>() / 15000.0;
        let square = out
            .iter()
            .map(|&c| (f64::from(c) - mean).powi(2))
            .sum::<f64>();
        let spread = (square / 15000.0).sqrt();
        assert!((3.6..4.4).contains(&spread), "{spread}");
    }

    #[test]
    fn coarse_noise_has_its_spread_and_its_grain() {
        let spread_and_likeness = |grain_px: f32, apart: usize| {
            let camera = Camera {
                noise: 6.0,
                grain_px,
                ..Camera::ideal(Rate::F25, 8, 8)
            };
            let sensor = sensor(&camera);
            let light = vec![[0.18, 0.18, 0.18, 1.0]; 256];
            let rows: Vec<Vec<f64>> = (0..256)
                .map(|y| {
                    let mut out = vec![0u8; 768];
                    sensor.expose(3, y, 0.0, &light, &mut out);
                    out.iter()
                        .skip(1)
                        .step_by(3)
                        .map(|&c| f64::from(c))
                        .collect()
                })
                .collect();
            let n = 65536.0;
            let mean = rows.iter().flatten().sum::<f64>() / n;
            let square = |apart: usize| {
                let likeness = |y: usize| {
                    let pairs = rows[y].iter().zip(&rows[(y + apart) % 256]);
                    pairs.map(|(a, b)| (a - mean) * (b - mean)).sum::<f64>()
                };
                (0..256).map(likeness).sum::<f64>() / n
            };
            (square(0).sqrt(), square(apart) / square(0))
        };
        // White noise blurred by a Gaussian of standard deviation s is alike at a distance d
        // by exp(-d^2 / (4 s^2)): at s = 1.5 and d = 2, 0.64.
        let (spread, likeness) = spread_and_likeness(1.5, 2);
        assert!((5.4..6.6).contains(&spread), "{spread}");
        assert!((0.57..0.71).contains(&likeness), "{likeness}");
        let (spread, likeness) = spread_and_likeness(0.0, 2);
        assert!((5.4..6.6).contains(&spread), "{spread}");
        assert!(likeness.abs() < 0.05, "{likeness}");
    }

    #[test]
    fn a_hunting_focus_passes_the_sharp_plane_twice_a_swing() {
        let mut camera = Camera::ideal(Rate::F25, 8, 8);
        camera.display_blur_px = 0.3;
        camera.hunt = Hunt {
            swing_px: 4.0,
            hz: 1.0,
            turn: 0.0,
        };
        // Sharp at 0, 12.5 and 25 frames; most blurred a quarter of a swing from there.
        let sharpest = camera.focus_px(0);
        assert!((sharpest - 0.3).abs() < 1e-3, "{sharpest}");
        assert!((camera.focus_px(25) - 0.3).abs() < 1e-3);
        let most = camera.focus_px(6).max(camera.focus_px(7));
        assert!((3.9..=4.02).contains(&most), "{most}");
    }
}
