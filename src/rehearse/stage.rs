//! The display as the camera meets it: its plate, drawn counts, and the light
//! that leaves it during an exposure.

use super::canvas::{Area, CLEAR, Canvas, Light, dimmed, mix};
use super::display::{Clock, Display, Drive, Edge};
use super::film::LENS_BLUR_PX;
use super::flicker::Flicker;
use super::glass::{Glass, Pane};
use super::grid::PixelGrid;
use super::motion::{Hand, Hold, Projection};
use super::scene::Scene;
use super::screens::{Body, Plate};
use super::shoot::{Shoot, Staged};
use crate::error::Result;
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
/// Steps of a hunting focus, standard deviation in picture pixels, and how many are kept.
const FOCUS_STEP_PX: f32 = 0.25;
const KEPT_FOCI: usize = 6;

/// The display in front of the camera.
pub(super) struct Stage {
    pub(super) clock: Clock,
    pub(super) display: Display,
    pub(super) hold: Hold,
    pub(super) plate: Plate,
    /// The plate's base and its unlit digits, at some states of focus.
    bases: Vec<(Focus, Arc<Base>)>,
    /// Plate pixels per picture pixel.
    scale: f32,
    /// Blur of the display where it does not hunt, plate pixels.
    blur_px: f32,
    /// What the glass scatters: share and standard deviation in plate pixels.
    haze: (f32, f32),
    pub(super) pane: Option<Pane>,
    grid: Option<PixelGrid>,
    turns: Option<Turns>,
    /// Shines by the scene's light only.
    is_reflective: bool,
    /// From the plate to the picture, when nothing moves.
    pub(super) place: Projection,
    pub(super) pivot: (f64, f64),
    pub(super) holder: Hand,
    /// Length of the way out, pixels.
    pub(super) way_px: f64,
    counts: Vec<(i64, Focus, Arc<Digits>)>,
}

/// A state of focus, in steps of [`FOCUS_STEP_PX`]; `None` where it does not hunt.
type Focus = Option<u32>;

/// A plate without lit digits, out of focus.
pub(super) struct Base {
    canvas: Canvas,
    blur_px: f32,
    /// The digits' part of it with unlit segments; only where digits take turns.
    unlit: Option<Digits>,
}

/// Digits that are lit one after the other.
struct Turns {
    flicker: Flicker,
    digits: u32,
    /// Number of the digit at each plate pixel of the text area, row by row.
    map: Vec<u8>,
    area: Area,
    width_px: usize,
}

impl Turns {
    fn new(plate: &Plate, drive: &Drive) -> Option<Self> {
        let (flicker, digits) = drive.turns()?;
        let area = plate.text_area;
        let (w, h) = (
            area.width().ceil() as usize + 1,
            area.height().ceil() as usize + 1,
        );
        let map = (0..w * h)
            .map(|i| {
                let (x, y) = ((i % w) as f32, (i / w) as f32);
                plate.digit_at(area.left + x, area.top + y).min(255) as u8
            })
            .collect();
        Some(Self {
            flicker,
            digits,
            map,
            area,
            width_px: w,
        })
    }

    /// Light of the digit at a place between two times, of its mean.
    fn mean(&self, u: f32, v: f32, from_s: f64, to_s: f64) -> f32 {
        let x = (u - self.area.left).clamp(0.0, (self.width_px - 1) as f32) as usize;
        let y = (v - self.area.top).max(0.0) as usize;
        let at = (y * self.width_px + x).min(self.map.len() - 1);
        let turn = u32::from(self.map[at]) % self.digits;
        let late = f64::from(turn) / f64::from(self.digits);
        self.flicker.mean(from_s, to_s, late) as f32
    }
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

/// What the glass shows during a frame.
pub(super) struct Shown {
    base: Arc<Base>,
    steps: Vec<Step>,
}

/// When a row is exposed, and what the glass shows meanwhile.
pub(super) struct Window<'a> {
    pub(super) shown: &'a Shown,
    /// Middle of the frame's exposure, seconds after frame 0's.
    pub(super) frame_s: f64,
    /// Mean light on the scene during the row's exposure.
    pub(super) ambient: f32,
    /// Middle of the row's exposure, seconds after the frame's middle.
    pub(super) middle_s: f32,
    pub(super) exposure_s: f32,
    /// The last line of the screen is written so much later than the first.
    pub(super) scan_s: f32,
}

impl Stage {
    /// # Errors
    /// A photo to be mirrored that cannot be read.
    pub(super) fn new(staged: &Staged, shoot: &Shoot, rng: &mut ChaCha8Rng) -> Result<Self> {
        let camera = &shoot.camera;
        let (w, h) = (f64::from(camera.width_px), f64::from(camera.height_px));
        let pose = &staged.pose;
        let mut look = staged.display.look.clone();
        // Cases do not shine: at night they are dark.
        let case_light = shoot.ambient.level.min(1.0);
        look.case = look
            .case
            .map(|code| (f32::from(code) * case_light.powf(1.0 / 2.2)) as u8);
        let plate = look.plate(
            staged.clock.form,
            (pose.digit_px * PLATE_DENSITY).clamp(8.0, 600.0) as f32,
            PLATE_LIMIT_PX,
        );
        let scale = plate.digit_px / pose.digit_px.max(1.0) as f32;
        let blur_px = camera.display_blur_px.hypot(LENS_BLUR_PX) * scale;
        let size = f64::from((plate.base.width_px() as f32).hypot(plate.base.height_px() as f32));
        let holder = Hand::draw(rng, &staged.holder, w);
        let glass = &staged.glass;
        let pane = if *glass == Glass::NONE {
            None
        } else {
            let mirrored = if glass.mirror > 0.0 || glass.lamp > 0.0 {
                // Twice as far away as the display, on which the lens is focused.
                let out_of_focus_px = 0.003 * w as f32;
                let world = Scene::any(rng);
                Some(world.render(rng, w as usize, h as usize, out_of_focus_px, None)?)
            } else {
                None
            };
            let middle = ((pose.x * w) as f32, (pose.y * h) as f32);
            Some(Pane::new(
                *glass,
                &plate,
                mirrored,
                middle,
                1.0 / scale,
                blur_px,
                rng,
            ))
        };
        let pixels = look.pixels_per_digit;
        Ok(Self {
            bases: Vec::new(),
            scale,
            blur_px,
            haze: (glass.haze, glass.haze_reach * plate.digit_px),
            pane,
            grid: (pixels > 0.0).then(|| PixelGrid::new(plate.digit_px, pixels, blur_px)),
            turns: Turns::new(&plate, &staged.display.drive),
            is_reflective: look.body == Body::Lcd,
            place: pose.projection(plate.middle, plate.digit_px, w, h),
            pivot: (pose.x * w, pose.y * h),
            holder,
            way_px: w.max(h) + size / f64::from(scale),
            plate,
            clock: staged.clock,
            display: staged.display.clone(),
            hold: staged.hold,
            counts: Vec::new(),
        })
    }

    /// What the glass shows from before a frame's first row to after its last; `None` when
    /// the display is out.
    pub(super) fn shown(&mut self, shoot: &Shoot, index: u64) -> Option<Shown> {
        let camera = &shoot.camera;
        let middle_s = camera.middle_s(index);
        [
            middle_s,
            middle_s + camera.readout_s,
            middle_s - camera.readout_s,
        ]
        .iter()
        .find(|time_s| self.hold.way_out(time_s.to_f64()).is_some())?;
        let focus = (camera.hunt.swing_px > 0.0)
            .then(|| (camera.focus_px(index) / FOCUS_STEP_PX).round() as u32);
        let base = self.base(focus);
        let half = (camera.exposure_s + camera.readout_s) / Ratio::from_integer(2);
        let from_s = middle_s - half - self.display.scan_delay_s(Ratio::ONE);
        let first = self.display.lit_count(&self.clock, from_s, Ratio::ZERO);
        let mut steps = vec![Step {
            from_s: f32::NEG_INFINITY,
            digits: self.digits(first, focus),
        }];
        for change in self.display.changes(&self.clock, from_s, middle_s + half) {
            steps.push(Step {
                from_s: (change.at_s - middle_s).to_f64() as f32,
                digits: self.digits(change.count, focus),
            });
        }
        Some(Shown { base, steps })
    }

    /// Blur at a state of focus, plate pixels.
    fn blur_at(&self, focus: Focus) -> f32 {
        focus.map_or(self.blur_px, |step| {
            LENS_BLUR_PX.hypot(step as f32 * FOCUS_STEP_PX) * self.scale
        })
    }

    fn base(&mut self, focus: Focus) -> Arc<Base> {
        if let Some((_, base)) = self.bases.iter().find(|(f, _)| *f == focus) {
            return Arc::clone(base);
        }
        let blur_px = self.blur_at(focus);
        let base = Arc::new(Base {
            canvas: self.out_of_focus(&self.plate.base, blur_px),
            blur_px,
            unlit: self.turns.is_some().then(|| self.draw(None, blur_px)),
        });
        if self.bases.len() >= KEPT_FOCI {
            self.bases.remove(0);
        }
        self.bases.push((focus, Arc::clone(&base)));
        base
    }

    fn digits(&mut self, count: i64, focus: Focus) -> Arc<Digits> {
        let is_it = |(c, f, _): &&(i64, Focus, Arc<Digits>)| *c == count && *f == focus;
        if let Some((.., digits)) = self.counts.iter().find(is_it) {
            return Arc::clone(digits);
        }
        let digits = Arc::new(self.draw(Some(count), self.blur_at(focus)));
        if self.counts.len() >= KEPT_COUNTS {
            self.counts.remove(0);
        }
        self.counts.push((count, focus, Arc::clone(&digits)));
        digits
    }

    fn draw(&self, count: Option<i64>, blur_px: f32) -> Digits {
        // Blur takes light from outside the area: draw more, then cut.
        let reach = (3.0 * blur_px).ceil();
        let wide = self.plate.text_area.grown(2.0 * reach + 2.0);
        let (left, top) = (wide.left.floor() as i32, wide.top.floor() as i32);
        let mut canvas = self.plate.base.crop(
            left,
            top,
            wide.width().ceil() as usize + 1,
            wide.height().ceil() as usize + 1,
        );
        self.plate.draw_count(count, &mut canvas, left, top);
        Digits {
            canvas: self.out_of_focus(&canvas, blur_px),
            left: left as f32,
            top: top as f32,
        }
    }

    /// Blurred, and a part of it scattered by the glass.
    fn out_of_focus(&self, sharp: &Canvas, blur_px: f32) -> Canvas {
        let canvas = sharp.blurred(blur_px);
        let (share, reach_px) = self.haze;
        if share <= 0.0 {
            return canvas;
        }
        let hazy = canvas.blurred(reach_px);
        Canvas::from_fn(canvas.width_px(), canvas.height_px(), |x, y| {
            let (sharp, around) = (canvas.at(x, y), hazy.at(x, y));
            // The outline of the body stays sharp.
            let [r, g, b] = [0, 1, 2].map(|c| around[c] * sharp[3] / around[3].max(1e-3));
            mix(sharp, [r, g, b, sharp[3]], share)
        })
    }

    /// What the display and the hand on it may cover, plate pixels.
    pub(super) fn extent(&self) -> Area {
        let base = &self.plate.base;
        let plate = Area::new(0.0, 0.0, base.width_px() as f32, base.height_px() as f32);
        let hand = self.pane.as_ref().and_then(Pane::hand_area);
        hand.map_or(plate, |hand| plate.joined(&hand))
    }

    /// Where a place on the panel appears on the plate.
    pub(super) fn appears(&self, u: f32, v: f32) -> (f32, f32) {
        self.pane.as_ref().map_or((u, v), |pane| pane.appears(u, v))
    }

    /// How far a place on the plate is along the scan: 0 first line, 1 last.
    pub(super) fn along(&self, u: f32, v: f32) -> f32 {
        let screen = &self.plate.screen;
        let down = (v - screen.top) / screen.height();
        let across = (u - screen.left) / screen.width();
        let along = match self.display.drive {
            Drive::Direct | Drive::Multiplexed { .. } => 0.0,
            Drive::Panel { from, .. } => match from {
                Edge::Top => down,
                Edge::Bottom => 1.0 - down,
                Edge::Left => across,
                Edge::Right => 1.0 - across,
            },
        };
        along.clamp(0.0, 1.0)
    }

    /// The light that comes from a place on the plate during an exposure, averaged. `at` is
    /// that place in a picture that no hand moves.
    #[inline]
    pub(super) fn light(&self, u: f32, v: f32, at: (f32, f32), window: &Window<'_>) -> Light {
        let Some(pane) = &self.pane else {
            return self.emitted(u, v, window);
        };
        let (seen_u, seen_v) = pane.seen_through(u, v);
        pane.over(
            self.emitted(seen_u, seen_v, window),
            (u, v),
            at,
            window.ambient,
        )
    }

    /// The light that leaves a place on the panel or the body.
    #[inline]
    fn emitted(&self, u: f32, v: f32, window: &Window<'_>) -> Light {
        let mut light = self.averaged(u, v, window);
        let screen = &self.plate.screen;
        if let Some(grid) = &self.grid
            && u > screen.left
            && u < screen.right
            && v > screen.top
            && v < screen.bottom
        {
            light = grid.through(light, u, v);
        }
        if self.is_reflective {
            light = dimmed(light, window.ambient);
        }
        light
    }

    #[inline]
    fn averaged(&self, u: f32, v: f32, window: &Window<'_>) -> Light {
        let Shown { base, steps } = window.shown;
        let reach = 3.0 * base.blur_px + 1.0;
        let area: Area = self.plate.text_area;
        let is_text = u > area.left - reach
            && u < area.right + reach
            && v > area.top - reach
            && v < area.bottom + reach;
        if !is_text {
            return base.canvas.sample(u, v);
        }
        let middle_s = window.middle_s - self.along(u, v) * window.scan_s;
        let (low, high) = (
            middle_s - window.exposure_s / 2.0,
            middle_s + window.exposure_s / 2.0,
        );
        let mut sum = CLEAR;
        for (i, step) in steps.iter().enumerate() {
            let from = step.from_s.max(low);
            let to = steps.get(i + 1).map_or(high, |next| next.from_s.min(high));
            if to <= from {
                continue;
            }
            let share = (to - from) / (high - low);
            let digits = &step.digits;
            let mut part = digits.sample(u, v);
            if let (Some(turns), Some(unlit)) = (&self.turns, &base.unlit) {
                let time_s = |s: f32| window.frame_s + f64::from(s);
                let lit = turns.mean(u, v, time_s(from), time_s(to));
                part = mix(unlit.sample(u, v), part, lit);
            }
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

impl Digits {
    #[inline]
    fn sample(&self, u: f32, v: f32) -> Light {
        self.canvas.sample(u - self.left, v - self.top)
    }
}
