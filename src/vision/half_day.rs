//! AM and PM around the digits of a clock of twelve hours. Which of the two is not told: that one is
//! written there leaves open which half of the day it is.

use super::cells::{BLOCK_PX, blocks_of};
use super::display::Display;
use super::eye::Eye;
use super::pyramid::Pyramid;
use super::rectify::surroundings;
use crate::error::Result;
use ndarray::s;

/// Sides of the network's input are multiples of this, px: four of its blocks.
const SIDE_STEP: u32 = 4 * BLOCK_PX as u32;
/// Columns of the network's output at either side that are not heard, of 8 px each; together a digit
/// height: what the sides leave of a longer word may be AM or PM.
const RIM: usize = 5;

impl Eye {
    /// How surely AM or PM is written around the hours of a display: the logit of the surest place.
    /// `look` counts the looks at it: how letters lie across the network's blocks changes what it
    /// says, so each look shifts them, and four make a round. `None` where the display cannot be cut
    /// level.
    ///
    /// # Errors
    /// Those of the network.
    pub fn half_day_logit(
        &self,
        frame: &Pyramid,
        display: &Display,
        look: usize,
    ) -> Result<Option<f32>> {
        let shift_px = [look % 2, look / 2 % 2].map(|half| (half * BLOCK_PX) as f32);
        let Some(around) = surroundings(frame, &display.rows[0].quad, SIDE_STEP, shift_px) else {
            return Ok(None);
        };
        let size = (around.width() as usize, around.height() as usize);
        let planes = (self.half_day).run(blocks_of(around.as_raw(), size.0, size))?;
        let inner = RIM..planes.dim().3.saturating_sub(RIM);
        let within = planes.slice(s![.., .., .., inner]);
        Ok(Some(within.iter().copied().fold(f32::MIN, f32::max)))
    }
}
