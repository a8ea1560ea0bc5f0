//! What lies behind the last digits of a display: even ground, or something that may be more of them.

use super::display::Display;
use super::eye::Eye;
use super::pyramid::Pyramid;
use super::rectify::{Room, Strip};
use super::row::Beside;

/// Where a mark and the first digit behind it would stand. Frames were out of sight in 13 clips:
/// small and far away, dim, under a finger or a sticker, beyond the picture's edge. In ten their mark
/// was in plain view at 0.1 to 0.7 heights, in the others the picture ended.
const BEHIND: Beside = Beside {
    along: (0.1, 1.0),
    across: (-0.05, 1.05),
};
/// No surroundings.
const BARE: Room = Room {
    margin: 0.0,
    step_px: 4,
};
/// Half of the strip px over which contrast is taken: a colon's dots are twice as wide.
const HALF_A_DOT_PX: f32 = 2.0;
/// Even ground has this share of the digits' own contrast at most: of 20 clips whose clocks show
/// seconds alone 0.01 to 0.13 up to where the display ends, of such marks 0.5 and more.
const EVEN: f32 = 0.2;

impl Eye {
    /// True if even ground lies behind the last digits of a display of one row, as far as a mark and one
    /// more digit would reach. False also where the display or the picture ends before that.
    pub fn is_ground_even(&self, frame: &Pyramid, display: &Display) -> bool {
        let [row] = &display.rows[..] else {
            return false;
        };
        let strips = [row.quad, row.beside(&BEHIND)].map(|quad| Strip::cut(frame, &quad, BARE));
        let [Some(digits), Some(ground)] = strips else {
            return false;
        };
        let mut ink = contrasts(&digits);
        ink.sort_by(f32::total_cmp);
        // Three in four: between digits, too, ground is even.
        let ink = ink[ink.len() * 3 / 4];
        let is_in_view = columns(&ground).all(|x| !ground.is_cut_off(x, HALF_A_DOT_PX));
        is_in_view && contrasts(&ground).into_iter().all(|c| c < EVEN * ink)
    }
}

/// Columns of a strip in steps of half a dot, strip px.
fn columns(strip: &Strip) -> impl Iterator<Item = f32> {
    let steps = strip.luma.width() / HALF_A_DOT_PX as u32;
    (1..steps).map(|step| step as f32 * HALF_A_DOT_PX)
}

fn contrasts(strip: &Strip) -> Vec<f32> {
    columns(strip)
        .map(|x| strip.contrast(x, HALF_A_DOT_PX))
        .collect()
}
