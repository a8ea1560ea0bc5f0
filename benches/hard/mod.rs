//! Clips that are hard to read, and clips without a clock, by number: what the benches that film
//! them share.

use crate::judged::{CAMERAS, camera_of, clocks};
use rollmark::rehearse::{Shoot, Stress};

/// A clip under trouble.
pub struct Hard {
    pub stress: Stress,
    /// From the first to the second of [`STRENGTHS`].
    pub strength: f64,
    pub shoot: Shoot,
}

/// Clips of each trouble, and how strong it is in the first and the last.
const HARD_EACH: usize = 11;
const STRENGTHS: [f64; 2] = [0.3, 1.0];
pub const ALL_HARD: usize = HARD_EACH * Stress::ALL.len();

/// The clip of this number below [`ALL_HARD`]: every trouble in turn, from mild to the limit, over
/// all clocks and cameras. Neighbours differ in everything, so that a share has a bit of all.
pub fn hard(number: usize, seed: u64) -> Hard {
    let (step, trouble) = (number / Stress::ALL.len(), number % Stress::ALL.len());
    let forms = clocks();
    let form = forms[(number * 7 + 3 * step) % forms.len()];
    let camera = CAMERAS[(number * 3 + step) % CAMERAS.len()];
    let [mild, most] = STRENGTHS;
    let strength = mild + (most - mild) * step as f64 / (HARD_EACH - 1) as f64;
    let stress = Stress::ALL[trouble];
    Hard {
        stress,
        strength,
        shoot: Shoot::stressed(seed, form, camera, stress, strength),
    }
}

/// Clips without a running clock, and the one of this number below.
pub const ALL_WITHOUT_CLOCK: usize = 100;
pub fn without_clock(number: usize, seed: u64) -> Shoot {
    Shoot::without_clock(seed, camera_of(number))
}
