//! Films a display: renders the frames of a shoot, and knows what is in each.

use super::camera::{Sensor, aside_unit};
use super::canvas::{CLEAR, Canvas, Light};
use super::display::whole;
use super::motion::{Hand, Projection};
use super::optics::{bloom, mosaic};
use super::seen::DigitSeen;
use super::shoot::Shoot;
use super::stage::{Shown, Stage, Window};
use crate::error::Result;
use crate::frame::Stamp;
use crate::geometry::{Point, Quad};
use crate::timecode::{Ratio, gcd};
use image::RgbImage;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

/// How much larger than the picture the scene is drawn, for the hand to move in.
const SCENE_MARGIN: f64 = 1.12;
/// Blur of any lens and sensor, standard deviation in picture pixels.
pub(super) const LENS_BLUR_PX: f32 = 0.45;
/// Samples per pixel of the display at rest, and at most when it moves.
const LEAST_TAPS: usize = 2;
const MOST_TAPS: usize = 25;
/// Samples of the scene behind at most when the camera moves.
const MOST_VIEWS: f64 = 16.0;

/// What is in a frame.
#[derive(Clone, Debug, PartialEq)]
pub struct FrameTruth {
    pub stamp: Stamp,
    /// What the clock counts at the middle of the frame's exposure.
    pub count: i64,
    /// What the glass shows in the middle of the digits when the picture's row
    /// there is half exposed; `None` without a display.
    pub shown: Option<i64>,
    /// Outline of each line of digits at that moment, presented pixels; empty
    /// while the display is out of the picture.
    pub quads: Vec<Quad>,
    /// All digits are inside the picture, and the display is in its place.
    pub is_fully_visible: bool,
}

/// A shoot made ready: gives its frames in order.
pub struct Film {
    shoot: Shoot,
    scene: Canvas,
    stage: Option<Stage>,
    sensor: Sensor,
    hand: Hand,
    next: u64,
}

/// One sample of the moving display in a row: plate from picture, and the share
/// of the pixel it stands for.
struct Tap {
    to_plate: Projection,
    jitter: (f64, f64),
    /// How far the camera's hand has shifted the picture, pixels.
    shift: (f32, f32),
}

impl Film {
    /// Loads the photo, draws the plate.
    ///
    /// # Errors
    /// A photo that cannot be read.
    pub fn new(shoot: Shoot) -> Result<Self> {
        let stream = |n: u64| {
            let mut rng = ChaCha8Rng::seed_from_u64(shoot.seed);
            rng.set_stream(n);
            rng
        };
        let camera = &shoot.camera;
        let (w, h) = (f64::from(camera.width_px), f64::from(camera.height_px));
        let words = shoot
            .staged
            .as_ref()
            .and_then(|s| s.display.look.words.as_ref());
        let scene = shoot.scene.render(
            &mut stream(1),
            (w * SCENE_MARGIN) as usize,
            (h * SCENE_MARGIN) as usize,
            camera.scene_blur_px.hypot(LENS_BLUR_PX),
            words,
        )?;
        let stage = shoot
            .staged
            .as_ref()
            .map(|staged| Stage::new(staged, &shoot, &mut stream(2)))
            .transpose()?;
        Ok(Self {
            scene,
            stage,
            sensor: Sensor::new(camera, &mut stream(3)),
            hand: Hand::draw(&mut stream(4), &camera.hand, w),
            next: 0,
            shoot,
        })
    }

    pub const fn shoot(&self) -> &Shoot {
        &self.shoot
    }

    fn stamp(&self, index: u64) -> Stamp {
        Stamp {
            // 2^63 frames last longer than clips do.
            ticks: i64::try_from(index).unwrap_or(i64::MAX),
            tick_seconds: self.shoot.camera.rate.ratio().recip(),
            index: Some(index),
        }
    }

    /// From the plate to the picture at a time, camera hand included; `None`
    /// when the display is out.
    fn to_picture(&self, stage: &Stage, time_s: f64) -> Option<Projection> {
        let out = stage.hold.way_out(time_s)?;
        let (wx, wy) = stage.hold.way();
        let shift = Projection([
            [1.0, 0.0, wx * out * stage.way_px],
            [0.0, 1.0, wy * out * stage.way_px],
            [0.0, 0.0, 1.0],
        ]);
        let held = stage.holder.at(time_s, stage.pivot).after(&stage.place);
        Some(self.view(time_s).after(&shift.after(&held)))
    }

    /// How the camera's hand moves the picture at a time.
    fn view(&self, time_s: f64) -> Projection {
        let camera = &self.shoot.camera;
        let middle = (
            f64::from(camera.width_px) / 2.0,
            f64::from(camera.height_px) / 2.0,
        );
        self.hand.at(time_s, middle)
    }

    /// How far the camera's hand shifts the middle of the picture, pixels.
    fn shift(&self, time_s: f64) -> (f32, f32) {
        let camera = &self.shoot.camera;
        let (x, y) = (
            f64::from(camera.width_px) / 2.0,
            f64::from(camera.height_px) / 2.0,
        );
        self.view(time_s)
            .apply(x, y)
            .map_or((0.0, 0.0), |p| (p.x - x as f32, p.y - y as f32))
    }

    /// What is in a frame.
    pub fn truth(&self, index: u64) -> FrameTruth {
        let camera = &self.shoot.camera;
        let middle_s = camera.middle_s(index);
        let mut truth = FrameTruth {
            stamp: self.stamp(index),
            count: 0,
            shown: None,
            quads: Vec::new(),
            is_fully_visible: false,
        };
        let Some(stage) = &self.stage else {
            return truth;
        };
        truth.count = whole(stage.clock.count_at(middle_s));
        let project = |x: f32, y: f32| self.appearing(stage, middle_s, (x, y));
        let (mx, my) = stage.plate.middle;
        let row = project(mx, my).map_or(camera.height_px / 2, |(_, row)| row);
        let along = Ratio::new((stage.along(mx, my) * 4096.0).round() as i128, 4096);
        let shown =
            stage
                .display
                .lit_count(&stage.clock, middle_s + camera.row_delay_s(row), along);
        truth.shown = Some(shown);
        truth.quads = stage
            .plate
            .digit_areas(shown)
            .iter()
            .filter_map(|a| {
                Some(Quad::from_corners([
                    project(a.left, a.top)?.0,
                    project(a.right, a.top)?.0,
                    project(a.right, a.bottom)?.0,
                    project(a.left, a.bottom)?.0,
                ]))
            })
            .collect();
        let (w, h) = (camera.width_px as f32, camera.height_px as f32);
        let is_inside = |p: &Point| p.x >= 0.0 && p.y >= 0.0 && p.x <= w && p.y <= h;
        let is_touching = |q: &Quad| {
            let c = q.corners();
            let all = |f: &dyn Fn(&Point) -> bool| c.iter().all(f);
            !(all(&|p| p.x < 0.0) || all(&|p| p.y < 0.0) || all(&|p| p.x > w) || all(&|p| p.y > h))
        };
        if !truth.quads.iter().any(is_touching) {
            truth.quads.clear();
        }
        truth.is_fully_visible = !truth.quads.is_empty()
            && truth
                .quads
                .iter()
                .all(|q| q.corners().iter().all(is_inside))
            && stage.hold.way_out(middle_s.to_f64()) == Some(0.0);
        truth
    }

    /// Where a place on the panel appears in the frame of this middle of exposure, and in which
    /// row of pixels; `None` when the display is out.
    fn appearing(
        &self,
        stage: &Stage,
        middle_s: Ratio,
        (x, y): (f32, f32),
    ) -> Option<(Point, u32)> {
        let camera = &self.shoot.camera;
        let (x, y) = stage.appears(x, y);
        let mut row = camera.height_px / 2;
        let mut point = None;
        // With a rolling shutter the row decides the time and the time the
        // row; a few rounds settle it, as displays move slowly.
        for _ in 0..3 {
            let time_s = (middle_s + camera.row_delay_s(row)).to_f64();
            let p = self
                .to_picture(stage, time_s)?
                .apply(f64::from(x), f64::from(y))?;
            row = (p.y as u32).min(camera.height_px.saturating_sub(1));
            point = Some(p);
        }
        point.map(|p| (p, row))
    }

    /// What a frame shows of each digit of the display, in reading order; empty when that is out
    /// or there is none.
    pub fn digits_seen(&self, index: u64) -> Vec<DigitSeen> {
        let Some(stage) = &self.stage else {
            return Vec::new();
        };
        let camera = &self.shoot.camera;
        let middle_s = camera.middle_s(index);
        stage.digits_seen(|u, v| {
            let (_, row) = self.appearing(stage, middle_s, (u, v))?;
            let row_s = middle_s + camera.row_delay_s(row);
            let half_s = camera.exposure_s / Ratio::from_integer(2);
            Some([row_s - half_s, row_s + half_s])
        })
    }

    /// Renders a frame. Any order; the same index gives the same picture.
    pub fn frame(&mut self, index: u64) -> RgbImage {
        let camera = self.shoot.camera;
        let (w, h) = (camera.width_px as usize, camera.height_px as usize);
        let shown = match &mut self.stage {
            Some(stage) => stage.shown(&self.shoot, index),
            None => None,
        };
        let bands = std::thread::available_parallelism()
            .map_or(1, usize::from)
            .min(8);
        let band_rows = h.div_ceil(bands).max(1);
        let film = &*self;
        let shown = shown.as_ref();
        let mut light = vec![CLEAR; w * h];
        std::thread::scope(|scope| {
            for (band, rows) in light.chunks_mut(band_rows * w).enumerate() {
                scope.spawn(move || {
                    for (i, row) in rows.chunks_exact_mut(w).enumerate() {
                        film.gather_row(index, band * band_rows + i, shown, row);
                    }
                });
            }
        });
        bloom(&mut light, w, camera.bloom);
        if camera.is_mosaic {
            mosaic(&mut light, w);
        }
        let mut picture = vec![0u8; w * h * 3];
        std::thread::scope(|scope| {
            let bands = picture.chunks_mut(band_rows * w * 3);
            for (band, (out, light)) in bands.zip(light.chunks(band_rows * w)).enumerate() {
                scope.spawn(move || {
                    let rows = out.chunks_exact_mut(w * 3).zip(light.chunks_exact(w));
                    for (i, (out, light)) in rows.enumerate() {
                        let y = band * band_rows + i;
                        let aside = (y as f32 + 0.5 - h as f32 / 2.0) / aside_unit(w as f32);
                        film.sensor.expose(index, y, aside, light, out);
                    }
                });
            }
        });
        RgbImage::from_raw(camera.width_px, camera.height_px, picture)
            .expect("the buffer has the picture's size")
    }

    /// The light that a row of the sensor gathers.
    fn gather_row(&self, index: u64, y: usize, shown: Option<&Shown>, light: &mut [Light]) {
        let camera = &self.shoot.camera;
        let row_s = camera.row_delay_s(y as u32).to_f64();
        let time_s = camera.middle_s(index).to_f64() + row_s;
        let exposure_s = camera.exposure_s.to_f64();
        let ambient = self
            .shoot
            .ambient
            .mean(time_s - exposure_s / 2.0, time_s + exposure_s / 2.0);
        self.gather_scene(time_s, exposure_s, y, ambient, light);
        let (Some(stage), Some(shown)) = (&self.stage, shown) else {
            return;
        };
        let Some((taps, way_px)) = self.taps(stage, time_s, exposure_s) else {
            return;
        };
        // Turning and zooming move the rim more than the middle.
        let room_px = 8.0 + 2.0 * way_px;
        let Some((from, to)) = self.span(stage, time_s, y, room_px) else {
            return;
        };
        let reach = light.len();
        let (from, to) = (from.min(reach), to.min(reach));
        let share = 1.0 / taps.len() as f32;
        let window = Window {
            shown,
            frame_s: time_s - row_s,
            ambient,
            middle_s: row_s as f32,
            exposure_s: exposure_s as f32,
            scan_s: stage.display.scan_delay_s(Ratio::ONE).to_f64() as f32,
        };
        let mut seen = vec![CLEAR; to.saturating_sub(from)];
        for tap in &taps {
            let m = tap.to_plate.0;
            let py = y as f64 + 0.5 + tap.jitter.1;
            for (x, sum) in (from..to).zip(&mut seen) {
                let px = x as f64 + 0.5 + tap.jitter.0;
                let [u, v, d] = m.map(|r| (r[0] * px + r[1] * py + r[2]) as f32);
                if d <= 0.0 {
                    continue;
                }
                let at = (px as f32 - tap.shift.0, py as f32 - tap.shift.1);
                let part = stage.light(u / d, v / d, at, &window);
                for c in 0..4 {
                    sum[c] += part[c] * share;
                }
            }
        }
        for (light, seen) in light[from..to].iter_mut().zip(&seen) {
            let through = 1.0 - seen[3];
            for c in 0..3 {
                light[c] = light[c] * through + seen[c];
            }
        }
    }

    /// The scene behind, blurred along the hand's way if it moves fast.
    fn gather_scene(
        &self,
        time_s: f64,
        exposure_s: f64,
        y: usize,
        ambient: f32,
        light: &mut [Light],
    ) {
        let w = light.len() as f64;
        let h = f64::from(self.shoot.camera.height_px);
        let views: Vec<Projection> = {
            let at = |share: f64| self.view(time_s + share * exposure_s);
            let way = {
                let (a, b) = (at(-0.5).0, at(0.5).0);
                (a[0][2] - b[0][2]).hypot(a[1][2] - b[1][2])
            };
            let taps = (way / 1.5).ceil().clamp(1.0, MOST_VIEWS) as usize;
            (0..taps)
                .map(|i| at((i as f64 + 0.5) / taps as f64 - 0.5))
                .collect()
        };
        let to_scene = |view: &Projection| -> Option<[f32; 4]> {
            let m = view.inverse()?.0;
            let py = y as f64 + 0.5;
            let x0 = m[0][0] * 0.5 + m[0][1] * py + m[0][2] + w * (SCENE_MARGIN - 1.0) / 2.0;
            let y0 = m[1][0] * 0.5 + m[1][1] * py + m[1][2] + h * (SCENE_MARGIN - 1.0) / 2.0;
            Some([x0 as f32, y0 as f32, m[0][0] as f32, m[1][0] as f32])
        };
        let share = ambient / views.len() as f32;
        for (i, line) in views.iter().filter_map(to_scene).enumerate() {
            let [x0, y0, dx, dy] = line;
            for (x, light) in light.iter_mut().enumerate() {
                let part = self
                    .scene
                    .sample_clamped(x0 + dx * x as f32, y0 + dy * x as f32);
                for c in 0..4 {
                    light[c] = part[c] * share + if i == 0 { 0.0 } else { light[c] };
                }
            }
        }
    }

    /// Samples along the display's way during an exposure, and the length of
    /// that way in pixels; `None` when it is out or seen from its edge.
    fn taps(&self, stage: &Stage, time_s: f64, exposure_s: f64) -> Option<(Vec<Tap>, f32)> {
        let at = |share: f64| self.to_picture(stage, time_s + share * exposure_s);
        let (mx, my) = (
            f64::from(stage.plate.middle.0),
            f64::from(stage.plate.middle.1),
        );
        let way = match (at(-0.5), at(0.5)) {
            (Some(a), Some(b)) => a.apply(mx, my)?.distance(b.apply(mx, my)?),
            _ => 0.0,
        };
        let count = (way.ceil() as usize + 1).clamp(LEAST_TAPS, MOST_TAPS);
        let stride = stride(count);
        let taps: Vec<Tap> = (0..count)
            .filter_map(|i| {
                let share = (i as f64 + 0.5) / count as f64;
                Some(Tap {
                    to_plate: at(share - 0.5)?.inverse()?,
                    shift: self.shift(time_s + (share - 0.5) * exposure_s),
                    // Spread over the pixel, in another order than along the way: in the
                    // same order they would stretch or shorten it by a pixel.
                    jitter: (
                        (((i * stride) % count) as f64 + 0.5) / count as f64 - 0.5,
                        (share * count as f64 * 0.618_034).fract() - 0.5,
                    ),
                })
            })
            .collect();
        (!taps.is_empty()).then_some((taps, way))
    }

    /// The columns of a row that the plate may touch, `room_px` more on all sides.
    fn span(&self, stage: &Stage, time_s: f64, y: usize, room_px: f32) -> Option<(usize, usize)> {
        let to_picture = self.to_picture(stage, time_s)?;
        let extent = stage.extent();
        let [left, top, right, bottom] =
            [extent.left, extent.top, extent.right, extent.bottom].map(f64::from);
        let corners: Option<Vec<Point>> =
            [(left, top), (right, top), (right, bottom), (left, bottom)]
                .iter()
                .map(|&(x, y)| to_picture.apply(x, y))
                .collect();
        let Some(corners) = corners else {
            // Part of the plate is behind the lens: it may touch anything.
            return Some((0, usize::MAX));
        };
        let middle = y as f32 + 0.5;
        let mut span: Option<(f32, f32)> = None;
        for i in 0..4 {
            let (a, b) = (corners[i], corners[(i + 1) % 4]);
            let (low, high) = (a.y.min(b.y), a.y.max(b.y));
            if middle + room_px < low || middle - room_px > high {
                continue;
            }
            let shares = if high > low {
                [middle - room_px, middle + room_px]
                    .map(|edge_y| (edge_y.clamp(low, high) - a.y) / (b.y - a.y))
            } else {
                [0.0, 1.0]
            };
            for share in shares {
                let x = a.towards(b, share).x;
                span = Some(span.map_or((x, x), |(l, r)| (l.min(x), r.max(x))));
            }
        }
        span.map(|(l, r)| {
            (
                (l - room_px).max(0.0) as usize,
                (r + room_px).max(0.0) as usize,
            )
        })
    }
}

/// A step near the golden section of `count` that visits all of `0..count`.
fn stride(count: usize) -> usize {
    let shares_no_factor = |step: &usize| gcd(count as u128, *step as u128) == 1;
    (1..=count * 5 / 8)
        .rev()
        .find(shares_no_factor)
        .unwrap_or(1)
}

impl Iterator for Film {
    type Item = (Stamp, RgbImage);

    fn next(&mut self) -> Option<Self::Item> {
        if self.next >= self.shoot.frames {
            return None;
        }
        let index = self.next;
        self.next += 1;
        Some((self.stamp(index), self.frame(index)))
    }
}

#[cfg(test)]
#[path = "film_tests.rs"]
mod tests;

#[cfg(test)]
#[path = "film_physics_tests.rs"]
mod physics_tests;
