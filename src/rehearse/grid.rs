//! The pixels of a panel, which beat with those of the sensor.

use super::canvas::Light;
use std::f32::consts::{PI, TAU};

/// The pixels of a panel: red, green and blue side by side, with dark gaps. Its mean is 1.
pub(super) struct PixelGrid {
    /// Plate pixels per panel pixel.
    pitch_px: f32,
    /// Light over one panel pixel across, each colour; and down.
    across: [[f32; PHASES]; 3],
    down: [f32; PHASES],
}

/// Places within a panel pixel that are told apart.
const PHASES: usize = 64;

impl PixelGrid {
    /// A grid with `pixels_per_digit` panel pixels per digit height, as a lens with a blur
    /// of `blur_px` plate pixels shows it.
    pub(super) fn new(digit_px: f32, pixels_per_digit: f32, blur_px: f32) -> Self {
        let pitch_px = digit_px / pixels_per_digit;
        // A stripe is lit over this share of a pixel: three stripes and black in between.
        const STRIPE: f32 = 0.28;
        const ROW: f32 = 0.85;
        // Fourier series of a stripe, each term weakened as a Gaussian blur does.
        let series = |lit: f32, middle: f32| {
            std::array::from_fn(|i| {
                let turn = (i as f32 + 0.5) / PHASES as f32 - middle;
                let waves: f32 = (1..=5u8)
                    .map(|n| {
                        let n = f32::from(n);
                        let strength = 2.0 * (PI * n * lit).sin() / (PI * n * lit);
                        let kept = (-2.0 * (PI * n * blur_px / pitch_px).powi(2)).exp();
                        strength * kept * (TAU * n * turn).cos()
                    })
                    .sum();
                (1.0 + waves).max(0.0)
            })
        };
        Self {
            pitch_px,
            across: [0.0, 1.0, 2.0].map(|c| series(STRIPE, (c + 0.5) / 3.0)),
            down: series(ROW, 0.5),
        }
    }

    pub(super) fn through(&self, light: Light, u: f32, v: f32) -> Light {
        let phase =
            |x: f32| ((x / self.pitch_px).rem_euclid(1.0) * PHASES as f32) as usize % PHASES;
        let (across, down) = (phase(u), self.down[phase(v)]);
        [
            light[0] * self.across[0][across] * down,
            light[1] * self.across[1][across] * down,
            light[2] * self.across[2][across] * down,
            light[3],
        ]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn mean_and_swing(grid: &PixelGrid, colour: usize) -> (f32, f32) {
        let (mut sum, mut low, mut high) = (0.0, f32::MAX, 0.0f32);
        for i in 0..64 * 64 {
            let (u, v) = ((i % 64) as f32 / 16.0, (i / 64) as f32 / 16.0);
            let light = grid.through([1.0; 4], u, v)[colour];
            sum += light / 4096.0;
            low = low.min(light);
            high = high.max(light);
        }
        (sum, high - low)
    }

    /// Pixels 4 plate pixels wide: in focus they are told apart, out of focus they are not,
    /// and neither changes the light.
    #[test]
    fn a_grid_keeps_the_mean_and_blur_takes_its_contrast() {
        for colour in 0..3 {
            let (mean, swing) = mean_and_swing(&PixelGrid::new(40.0, 10.0, 0.3), colour);
            assert_relative_eq!(mean, 1.0, epsilon = 0.03);
            assert!(swing > 2.0, "{swing}");
            let (mean, swing) = mean_and_swing(&PixelGrid::new(40.0, 10.0, 4.0), colour);
            assert_relative_eq!(mean, 1.0, epsilon = 1e-3);
            assert!(swing < 0.01, "{swing}");
        }
    }

    #[test]
    fn colours_stand_side_by_side() {
        let grid = PixelGrid::new(40.0, 10.0, 0.2);
        // A third of a pixel apart: at 1/6, 3/6 and 5/6 of 4 plate pixels.
        for (colour, place) in [(0, 4.0 / 6.0), (1, 2.0), (2, 20.0 / 6.0)] {
            let light = grid.through([1.0; 4], place, 2.0);
            for other in 0..3 {
                assert!(
                    other == colour || light[colour] > 3.0 * light[other],
                    "{colour}: {light:?}"
                );
            }
        }
    }
}
