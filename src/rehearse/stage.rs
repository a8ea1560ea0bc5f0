//! The display as the camera meets it: its plate, drawn counts, and the light
//! that leaves it during an exposure.

use super::canvas::{Area, CLEAR, Canvas, Light};
use super::display::{Clock, Display, Drive, Edge};
use super::film::LENS_BLUR_PX;
use super::motion::{Hand, Hold, Projection};
use super::screens::Plate;
use super::shoot::{Shoot, Staged};
use crate::timecode::Ratio;
use rand_chacha::ChaCha8Rng;
use std::sync::Arc;

/// Plates are drawn this much larger than they appear, so that sampling does
/// not blur what the lens did not.
const PLATE_DENSITY: f64 = 1.2;
/// Largest plate in pixels (16 bytes each, three copies).
const PLATE_LIMIT_PX: usize = 3_000_000;
/// Drawn counts that are kept, since the next frame may show them too.
const KEPT_COUNTS: usize = 12;

/// The display in front of the camera.
pub(super) struct Stage {
    pub(super) clock: Clock,
    pub(super) display: Display,
    pub(super) hold: Hold,
    pub(super) plate: Plate,
    /// The plate's base, out of focus.
    base: Canvas,
    blur_px: f32,
    /// From the plate to the picture, when nothing moves.
    pub(super) place: Projection,
    pub(super) pivot: (f64, f64),
    pub(super) holder: Hand,
    /// Length of the way out, pixels.
    pub(super) way_px: f64,
    counts: Vec<(i64, Arc<Digits>)>,
}

/// A count, drawn and out of focus: a part of the plate.
pub(super) struct Digits {
    canvas: Canvas,
    left: f32,
    top: f32,
}

/// What the glass shows during a frame: `count` digits from `from_s` on,
/// seconds after the frame's middle, in the first line of the screen.
pub(super) struct Step {
    from_s: f32,
    digits: Arc<Digits>,
}

/// When a row is exposed, and what the glass shows meanwhile.
pub(super) struct Window<'a> {
    pub(super) steps: &'a [Step],
    /// Middle of the row's exposure, seconds after the frame's middle.
    pub(super) middle_s: f32,
    pub(super) exposure_s: f32,
    /// The last line of the screen is written so much later than the first.
    pub(super) scan_s: f32,
}

impl Stage {
    pub(super) fn new(staged: &Staged, shoot: &Shoot, rng: &mut ChaCha8Rng) -> Self {
        let camera = &shoot.camera;
        let (w, h) = (f64::from(camera.width_px), f64::from(camera.height_px));
        let pose = &staged.pose;
        let form = staged.clock.form;
        let plate = staged.display.look.plate(
            form,
            (pose.digit_px * PLATE_DENSITY).clamp(8.0, 600.0) as f32,
            PLATE_LIMIT_PX,
        );
        let per_picture_px = plate.digit_px / pose.digit_px.max(1.0) as f32;
        let blur_px = camera.display_blur_px.hypot(LENS_BLUR_PX) * per_picture_px;
        let size = f64::from((plate.base.width_px() as f32).hypot(plate.base.height_px() as f32));
        Self {
            base: plate.base.blurred(blur_px),
            blur_px,
            place: pose.projection(plate.middle, plate.digit_px, w, h),
            pivot: (pose.x * w, pose.y * h),
            holder: Hand::draw(rng, &staged.holder, w),
            way_px: w.max(h) + size / f64::from(per_picture_px),
            plate,
            clock: staged.clock,
            display: staged.display.clone(),
            hold: staged.hold,
            counts: Vec::new(),
        }
    }

    /// What the glass shows from before a frame's first row to after its last.
    pub(super) fn steps(&mut self, shoot: &Shoot, index: u64) -> Vec<Step> {
        let camera = &shoot.camera;
        let middle_s = camera.middle_s(index);
        if self.hold.way_out(middle_s.to_f64()).is_none()
            && self
                .hold
                .way_out((middle_s + camera.readout_s).to_f64())
                .is_none()
            && self
                .hold
                .way_out((middle_s - camera.readout_s).to_f64())
                .is_none()
        {
            return Vec::new();
        }
        let half = (camera.exposure_s + camera.readout_s) / Ratio::from_integer(2);
        let from_s = middle_s - half - self.display.scan_delay_s(Ratio::ONE);
        let first = self.display.lit_count(&self.clock, from_s, Ratio::ZERO);
        let mut steps = vec![Step {
            from_s: f32::NEG_INFINITY,
            digits: self.digits(first),
        }];
        for change in self.display.changes(&self.clock, from_s, middle_s + half) {
            steps.push(Step {
                from_s: (change.at_s - middle_s).to_f64() as f32,
                digits: self.digits(change.count),
            });
        }
        steps
    }

    fn digits(&mut self, count: i64) -> Arc<Digits> {
        if let Some((_, digits)) = self.counts.iter().find(|(c, _)| *c == count) {
            return Arc::clone(digits);
        }
        // Blur takes light from outside the area: draw more, then cut.
        let reach = (3.0 * self.blur_px).ceil();
        let wide = self.plate.text_area.grown(2.0 * reach + 2.0);
        let (left, top) = (wide.left.floor() as i32, wide.top.floor() as i32);
        let mut canvas = self.plate.base.crop(
            left,
            top,
            wide.width().ceil() as usize + 1,
            wide.height().ceil() as usize + 1,
        );
        self.plate.draw_count(count, &mut canvas, left, top);
        let digits = Arc::new(Digits {
            canvas: canvas.blurred(self.blur_px),
            left: left as f32,
            top: top as f32,
        });
        if self.counts.len() >= KEPT_COUNTS {
            self.counts.remove(0);
        }
        self.counts.push((count, Arc::clone(&digits)));
        digits
    }

    /// How far a place on the plate is along the scan: 0 first line, 1 last.
    pub(super) fn along(&self, u: f32, v: f32) -> f32 {
        let screen = &self.plate.screen;
        let down = (v - screen.top) / screen.height();
        let across = (u - screen.left) / screen.width();
        let along = match self.display.drive {
            Drive::Direct => 0.0,
            Drive::Panel { from, .. } => match from {
                Edge::Top => down,
                Edge::Bottom => 1.0 - down,
                Edge::Left => across,
                Edge::Right => 1.0 - across,
            },
        };
        along.clamp(0.0, 1.0)
    }

    /// The light that leaves a place on the plate during an exposure, averaged.
    #[inline]
    pub(super) fn light(&self, u: f32, v: f32, window: &Window<'_>) -> Light {
        let reach = 3.0 * self.blur_px + 1.0;
        let area: Area = self.plate.text_area;
        let is_text = u > area.left - reach
            && u < area.right + reach
            && v > area.top - reach
            && v < area.bottom + reach;
        if !is_text || window.steps.is_empty() {
            return self.base.sample(u, v);
        }
        let middle_s = window.middle_s - self.along(u, v) * window.scan_s;
        let (low, high) = (
            middle_s - window.exposure_s / 2.0,
            middle_s + window.exposure_s / 2.0,
        );
        let mut sum = CLEAR;
        for (i, step) in window.steps.iter().enumerate() {
            let from = step.from_s.max(low);
            let to = window
                .steps
                .get(i + 1)
                .map_or(high, |next| next.from_s.min(high));
            if to <= from {
                continue;
            }
            let share = (to - from) / (high - low);
            let digits = &step.digits;
            let part = digits.canvas.sample(u - digits.left, v - digits.top);
            if share >= 1.0 {
                return part;
            }
            for c in 0..4 {
                sum[c] += part[c] * share;
            }
        }
        sum
    }
}
