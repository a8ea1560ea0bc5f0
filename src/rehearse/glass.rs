//! What lies between the panel and the lens: glass that mirrors the scene, protectors,
//! cracks, a bulge, and fingers.

use super::canvas::{Area, CLEAR, Canvas, Light, dimmed};
use super::fingers::Fingers;
use super::screens::{Body, Plate};
use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use std::f32::consts::{PI, TAU};

/// The glass over a panel, and hands on it. Lengths are in digit heights.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Glass {
    /// Share of the light from in front that the glass throws back, 0.0..=0.3. Plain glass
    /// has 0.04 on each side (Fresnel's equations, index 1.5, straight on).
    pub mirror: f32,
    /// What is mirrored is this much brighter than the scene behind: the sky over one's
    /// shoulder.
    pub mirrored_light: f32,
    /// Light of a lamp's mirror image, 1.0 is a white card; 0 is none.
    pub lamp: f32,
    /// Half width of the lamp's image.
    pub lamp_reach: f32,
    /// Share of the panel's light that a matte protector scatters, 0.0..=0.8.
    pub haze: f32,
    /// How far the haze reaches, standard deviation.
    pub haze_reach: f32,
    /// Share of the scene's light that the protector's own surface sends back, 0.0..=0.2.
    pub veil: f32,
    /// Standard deviation of the protector's sparkle, share of the light, 0.0..=0.4.
    pub sparkle: f32,
    /// A bulge like a magnifier's, 0.0..=0.45: the middle appears `1 / (1 - bulge)` times
    /// as wide, and the sides are pressed together.
    pub bulge: f32,
    /// Splits that run from where something hit the glass; 0 is whole.
    pub cracks: usize,
    /// Largest shift of what is seen through a splinter.
    pub shift: f32,
    /// Fingers over the edge; 0 is none.
    pub fingers: usize,
    /// How far the fingertips reach over the digits, from their outline inwards.
    pub finger_reach: f32,
}

impl Glass {
    /// Nothing at all: no glass, no hands.
    pub const NONE: Self = Self {
        mirror: 0.0,
        mirrored_light: 1.0,
        lamp: 0.0,
        lamp_reach: 1.0,
        haze: 0.0,
        haze_reach: 0.1,
        veil: 0.0,
        sparkle: 0.0,
        bulge: 0.0,
        cracks: 0,
        shift: 0.0,
        fingers: 0,
        finger_reach: 0.0,
    };
}

/// Thickness of a crack in digit heights.
const CRACK_WIDTH: f32 = 0.026;
/// Share of the scene's light that a crack sends to the camera at most, where it catches
/// light from the side; and the share of the panel's that it lets through.
const CRACK_LIGHT: f32 = 0.5;
const CRACK_THROUGH: f32 = 0.5;

/// A crack that runs out from the point of impact, in a zigzag.
struct Crack {
    /// Direction it leaves in, radians.
    angle: f32,
    /// Kinks: amplitude and length of a stretch in digit heights, phase in stretches.
    kinks: [f32; 3],
    /// Where a crack runs across to the next one, in digit heights from the impact.
    across: [f32; 2],
}

/// The glass, drawn for a plate. All in plate pixels.
pub(super) struct Pane {
    glass: Glass,
    digit_px: f32,
    /// Where the glass is.
    area: Area,
    screen: Area,
    /// What is mirrored, in picture pixels, in whites.
    mirrored: Option<Canvas>,
    impact: (f32, f32),
    /// In order of their angles.
    cracks: Vec<Crack>,
    /// Shift of what is seen between a crack and the next, plate pixels.
    splinters: Vec<(f32, f32)>,
    fingers: Option<Fingers>,
}

impl Pane {
    /// `mirrored` is what stands in front of the display, as large as the picture; `place`
    /// where the display's middle stands in it, and `scale` picture pixels per plate pixel.
    pub(super) fn new(
        glass: Glass,
        plate: &Plate,
        mirrored: Option<Canvas>,
        place: (f32, f32),
        scale: f32,
        blur_px: f32,
        rng: &mut ChaCha8Rng,
    ) -> Self {
        let d = plate.digit_px;
        let is_phone = matches!(plate.look.body, Body::PhoneAcross | Body::PhoneUpright);
        let area = if is_phone { plate.body } else { plate.screen };
        let text = plate.text_area;
        let impact = (
            rng.random_range(text.left..text.right),
            rng.random_range(text.top - d..text.bottom + d),
        );
        let turn = rng.random_range(0.0..TAU);
        let cracks: Vec<Crack> = (0..glass.cracks)
            .map(|i| Crack {
                angle: turn + TAU * (i as f32 + rng.random_range(-0.3..0.3)) / glass.cracks as f32,
                kinks: [
                    rng.random_range(0.03..0.12),
                    rng.random_range(0.5..1.6),
                    rng.random_range(0.0..2.0),
                ],
                across: [rng.random_range(0.35..0.9), rng.random_range(1.2..2.4)],
            })
            .collect();
        // Between two cracks there are three splinters: within the first crack across,
        // between it and the second, and outside.
        let splinters = (0..3 * glass.cracks.max(1))
            .map(|_| {
                let (sin, cos) = rng.random_range(0.0..TAU).sin_cos();
                let by = glass.shift * d * rng.random_range(0.4..1.0f32);
                (cos * by, sin * by)
            })
            .collect();
        let fingers = (glass.fingers > 0).then(|| Fingers::draw(&glass, plate, blur_px, rng));
        Self {
            mirrored: mirrored.map(|world| draw_lamp(world, &glass, place, d * scale, rng)),
            area,
            screen: plate.screen,
            glass,
            digit_px: d,
            impact,
            cracks,
            splinters,
            fingers,
        }
    }

    /// The place on the panel that is seen at a place of the plate.
    pub(super) fn seen_through(&self, u: f32, v: f32) -> (f32, f32) {
        let (mut u, mut v) = self.bulged(u, v);
        if !self.cracks.is_empty() && self.is_on_screen(u, v) {
            let (dx, dy) = self.splinters[self.splinter(u, v).0];
            u += dx;
            v += dy;
        }
        (u, v)
    }

    /// Where on the plate a place on the panel appears; splinters not counted.
    pub(super) fn appears(&self, u: f32, v: f32) -> (f32, f32) {
        let (mut x, mut y) = (u, v);
        for _ in 0..12 {
            let (seen_u, seen_v) = self.bulged(x, y);
            x += u - seen_u;
            y += v - seen_v;
        }
        (x, y)
    }

    fn is_on_screen(&self, u: f32, v: f32) -> bool {
        u > self.screen.left
            && u < self.screen.right
            && v > self.screen.top
            && v < self.screen.bottom
    }

    fn bulged(&self, u: f32, v: f32) -> (f32, f32) {
        let screen = &self.screen;
        let (mid, half) = ((screen.left + screen.right) / 2.0, screen.width() / 2.0);
        let x = (u - mid) / half;
        if self.glass.bulge <= 0.0 || x.abs() >= 1.0 || !self.is_on_screen(u, v) {
            return (u, v);
        }
        // The edges stay where they are, and the line bows a little.
        let dip = 1.0 - x * x;
        let y = (v - screen.top) / screen.height() * 2.0 - 1.0;
        let bow = self.glass.bulge * 0.4 * self.digit_px * dip * (1.0 - y * y);
        (mid + half * x * (1.0 - self.glass.bulge * dip), v + bow)
    }

    /// The splinter at a place, and the distance to the nearest crack, plate pixels.
    fn splinter(&self, u: f32, v: f32) -> (usize, f32) {
        let (dx, dy) = (u - self.impact.0, v - self.impact.1);
        let distance = dx.hypot(dy).max(1e-3);
        let angle = dy.atan2(dx);
        let along = distance / self.digit_px;
        let mut nearest = f32::MAX;
        let (mut sector, mut least) = (0, f32::MAX);
        for (i, crack) in self.cracks.iter().enumerate() {
            let [amplitude, stretch, phase] = crack.kinks;
            let zigzag = 2.0 * ((along / stretch + phase).rem_euclid(2.0) - 1.0).abs() - 1.0;
            // At the impact itself nothing is kinked.
            let bent = crack.angle + amplitude * zigzag * along.min(0.5) / along.max(0.5).powi(2);
            // How far past this crack, 0..2 pi: the least is the crack just passed.
            let past = (angle - bent).rem_euclid(TAU);
            if past < least {
                least = past;
                sector = i;
            }
            let off = past.min(TAU - past);
            if off < PI / 2.0 {
                nearest = nearest.min(off.sin() * distance);
            }
        }
        let mut ring = 0;
        for across in self.cracks[sector].across {
            if along > across {
                ring += 1;
            }
            nearest = nearest.min((along - across).abs() * self.digit_px);
        }
        (3 * sector + ring, nearest)
    }

    /// What fingers and the hand behind them may cover.
    pub(super) fn hand_area(&self) -> Option<Area> {
        self.fingers.as_ref().map(Fingers::area)
    }

    /// How much of a place of the plate skin hides, 0..=1.
    pub(super) fn hides(&self, u: f32, v: f32) -> f32 {
        self.fingers.as_ref().map_or(0.0, |f| f.sample(u, v)[3])
    }

    /// What the camera gets from a place of the plate, where the panel gives `light`.
    /// `at` is the place in the picture, in a hand that does not move; `ambient` the mean
    /// light on the scene.
    pub(super) fn over(
        &self,
        light: Light,
        (u, v): (f32, f32),
        at: (f32, f32),
        ambient: f32,
    ) -> Light {
        let mut light = light;
        let glass = &self.glass;
        let is_glass =
            u > self.area.left && u < self.area.right && v > self.area.top && v < self.area.bottom;
        if is_glass {
            if glass.sparkle > 0.0 {
                // Grains of the protector are about as large as a plate pixel.
                let by = (1.0 + glass.sparkle * grain(u as i32, v as i32)).max(0.0);
                light = dimmed(light, by);
            }
            // What is clear stays clear: light is thrown back by the body only.
            let mut back = glass.veil * ambient;
            if !self.cracks.is_empty() && self.is_on_screen(u, v) {
                let half = CRACK_WIDTH * self.digit_px / 2.0;
                let cover = (half + 0.5 - self.splinter(u, v).1).clamp(0.0, 1.0);
                light = dimmed(light, 1.0 - cover * (1.0 - CRACK_THROUGH));
                // Some stretches glint and others hardly show.
                let stretch = ((u + 0.7 * v) * 3.0 / self.digit_px).floor() as i32;
                let glint = (0.4 + 0.3 * grain(stretch, 1)).clamp(0.05, 1.0);
                back += cover * glint * CRACK_LIGHT * ambient;
            }
            for c in 0..3 {
                light[c] += back * light[3];
            }
            if let Some(mirrored) = &self.mirrored {
                let seen = mirrored.sample_clamped(at.0, at.1);
                for c in 0..3 {
                    light[c] += seen[c] * ambient * light[3];
                }
            }
        }
        if let Some(fingers) = &self.fingers {
            let skin = fingers.sample(u, v);
            let through = 1.0 - skin[3];
            for c in 0..3 {
                light[c] = light[c] * through + skin[c] * ambient;
            }
            light[3] = light[3] * through + skin[3];
        }
        light
    }
}

/// Noise of standard deviation about 1 that is fixed to places.
fn grain(x: i32, y: i32) -> f32 {
    let mut z = (x as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ (y as u64).rotate_left(32);
    z = (z ^ (z >> 29)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z ^= z >> 32;
    // The sum of four uniform numbers is nearly normal.
    let sum: f32 = (0..4)
        .map(|k| ((z >> (16 * k)) & 0xffff) as f32 / 65536.0)
        .sum();
    (sum - 2.0) * 3f32.sqrt()
}

/// The mirrored world with a lamp near the display; both as the glass throws them back.
fn draw_lamp(
    world: Canvas,
    glass: &Glass,
    place: (f32, f32),
    digit_px: f32,
    rng: &mut ChaCha8Rng,
) -> Canvas {
    let (w, h) = (world.width_px(), world.height_px());
    let by = glass.mirror * glass.mirrored_light;
    let mut mirrored = Canvas::from_fn(w, h, |x, y| dimmed(world.at(x, y), by));
    if glass.lamp > 0.0 {
        let half = glass.lamp_reach * digit_px;
        let middle = (
            place.0 + rng.random_range(-2.5..2.5) * digit_px,
            place.1 + rng.random_range(-0.4..0.4) * digit_px,
        );
        let tall = half * rng.random_range(0.5..1.0f32);
        let area = Area::new(
            middle.0 - half,
            middle.1 - tall,
            middle.0 + half,
            middle.1 + tall,
        );
        let round = half * rng.random_range(0.2..1.0f32);
        let warm = [
            1.0,
            rng.random_range(0.85..1.0),
            rng.random_range(0.65..1.0),
        ];
        let mut lamp = Canvas::new(w, h, CLEAR);
        let light = [
            warm[0] * glass.lamp,
            warm[1] * glass.lamp,
            warm[2] * glass.lamp,
            1.0,
        ];
        lamp.rounded_box(area, round, |_, _| light);
        mirrored.add(&lamp.blurred(0.25 * digit_px), 1.0);
    }
    mirrored
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rehearse::screens::Look;
    use crate::timecode::{ClockForm, Rate};
    use approx::assert_relative_eq;
    use rand::SeedableRng;

    fn plate() -> Plate {
        let form = ClockForm::frames(Rate::F25, false).unwrap();
        Look::plain().plate(form, 40.0, 4_000_000)
    }

    fn pane(glass: Glass, mirrored: Option<Canvas>) -> Pane {
        let rng = &mut ChaCha8Rng::seed_from_u64(5);
        Pane::new(glass, &plate(), mirrored, (200.0, 100.0), 1.0, 0.5, rng)
    }

    const BLACK: Light = [0.0, 0.0, 0.0, 1.0];
    const WHITE: Light = [1.0, 1.0, 1.0, 1.0];

    #[test]
    fn mirrors_add_the_same_light_to_dark_and_bright_places() {
        let glass = Glass {
            mirror: 0.08,
            mirrored_light: 2.5,
            ..Glass::NONE
        };
        let half = |x: usize| [x as f32 / 400.0, 0.5, 0.25, 1.0];
        let world = Canvas::from_fn(400, 200, |x, _| half(x));
        let pane = pane(glass, Some(world));
        let place = pane.area;
        let at = (
            (place.left + place.right) / 2.0,
            (place.top + place.bottom) / 2.0,
        );
        for ambient in [1.0, 0.3] {
            let dark = pane.over(BLACK, at, (100.5, 50.0), ambient);
            let bright = pane.over(WHITE, at, (100.5, 50.0), ambient);
            // A fifth of the light in front, which is half of a white there.
            assert_relative_eq!(dark[1], 0.2 * 0.5 * ambient, epsilon = 1e-5);
            assert_relative_eq!(bright[1] - dark[1], 1.0, epsilon = 1e-5);
            // A mirror that is shifted in its plane shows the same.
            let aside = pane.over(BLACK, (at.0 + 60.0, at.1 - 9.0), (100.5, 50.0), ambient);
            assert_eq!(aside, dark);
            let elsewhere = pane.over(BLACK, at, (300.5, 50.0), ambient);
            assert_relative_eq!(elsewhere[0], 0.2 * 0.75 * ambient, epsilon = 1e-4);
        }
        // And none outside the glass.
        let outside = (place.left - 2.0, at.1);
        assert_eq!(pane.over(BLACK, outside, (100.5, 50.0), 1.0), BLACK);
    }

    #[test]
    fn a_lamp_is_as_bright_as_asked_and_as_large() {
        let glass = Glass {
            lamp: 1.5,
            lamp_reach: 1.0,
            ..Glass::NONE
        };
        let world = Canvas::new(400, 200, BLACK);
        let pane = pane(glass, Some(world));
        let mirrored = pane.mirrored.as_ref().unwrap();
        let reds: Vec<f32> = (0..400 * 200)
            .map(|i| mirrored.at(i % 400, i / 400)[0])
            .collect();
        let peak = reds.iter().copied().fold(0.0, f32::max);
        assert_relative_eq!(peak, 1.5, max_relative = 0.06);
        // Between half and all of a square of two digit heights, less its corners.
        let area: f32 = reds.iter().sum::<f32>() / 1.5;
        assert!((0.3..1.0).contains(&(area / (80.0 * 80.0))), "{area}");
    }

    #[test]
    fn a_veil_lifts_black_and_a_sparkle_spreads_white() {
        let glass = Glass {
            veil: 0.12,
            sparkle: 0.2,
            ..Glass::NONE
        };
        let pane = pane(glass, None);
        let at = (pane.area.left + 5.0, pane.area.top + 5.0);
        assert_relative_eq!(pane.over(BLACK, at, at, 0.5)[0], 0.06, epsilon = 1e-6);
        let light: Vec<f32> = (0..60 * 60)
            .map(|i| {
                let at = (at.0 + (i % 60) as f32, at.1 + (i / 60) as f32);
                pane.over(WHITE, at, at, 0.0)[1]
            })
            .collect();
        let n = light.len() as f32;
        let mean = light.iter().sum::<f32>() / n;
        let spread = (light.iter().map(|l| (l - mean).powi(2)).sum::<f32>() / n).sqrt();
        assert_relative_eq!(mean, 1.0, epsilon = 0.02);
        assert_relative_eq!(spread, 0.2, max_relative = 0.1);
    }

    #[test]
    fn a_bulge_magnifies_the_middle_and_keeps_the_edges() {
        let bulge = 0.3;
        let pane = pane(
            Glass {
                bulge,
                ..Glass::NONE
            },
            None,
        );
        let s = pane.screen;
        let mid = ((s.left + s.right) / 2.0, (s.top + s.bottom) / 2.0);
        let (left, _) = pane.appears(mid.0 - 2.0, mid.1);
        let (right, _) = pane.appears(mid.0 + 2.0, mid.1);
        assert_relative_eq!(
            (right - left) / 4.0,
            1.0 / (1.0 - bulge),
            max_relative = 0.01
        );
        let edge = (s.right - 0.5, mid.1);
        let (u, v) = pane.seen_through(edge.0, edge.1);
        assert!((u - edge.0).abs() < 0.5 && (v - edge.1).abs() < 0.5);
        // There and back.
        for k in 1..20 {
            let u = s.left + s.width() * k as f32 / 20.0;
            let (x, y) = pane.appears(u, mid.1);
            let (back_u, back_v) = pane.seen_through(x, y);
            assert_relative_eq!(back_u, u, epsilon = 0.1);
            assert_relative_eq!(back_v, mid.1, epsilon = 0.1);
        }
    }

    #[test]
    fn splinters_shift_what_is_behind_them_as_a_whole() {
        let glass = Glass {
            cracks: 7,
            shift: 0.08,
            ..Glass::NONE
        };
        let pane = pane(glass, None);
        let (cx, cy) = pane.impact;
        let mut crossed = 0;
        let mut before: Option<(f32, f32)> = None;
        for k in 0..=3600 {
            let (sin, cos) = (k as f32 / 3600.0 * TAU).sin_cos();
            let at = (cx + 8.0 * cos, cy + 8.0 * sin);
            if !pane.is_on_screen(at.0, at.1) {
                before = None;
                continue;
            }
            let (u, v) = pane.seen_through(at.0, at.1);
            let shift = (u - at.0, v - at.1);
            // Between 0.4 and 1.0 times 0.08 digit heights of 40 pixels.
            let by = shift.0.hypot(shift.1);
            assert!((1.27..3.21).contains(&by), "{by}");
            if let Some(b) = before
                && (b.0 - shift.0).hypot(b.1 - shift.1) > 0.01
            {
                crossed += 1;
                assert!(pane.splinter(at.0, at.1).1 < 0.5, "a step off a crack");
            }
            before = Some(shift);
        }
        // Around the impact, on the first cracks' inner side, each crack is crossed once.
        assert_eq!(crossed, 7);
    }

    #[test]
    fn fingers_reach_as_far_as_asked_and_hide_what_is_below() {
        let glass = Glass {
            fingers: 2,
            finger_reach: 0.5,
            ..Glass::NONE
        };
        let plate = plate();
        let text = plate.digit_areas(0)[0];
        for seed in 0..6 {
            let rng = &mut ChaCha8Rng::seed_from_u64(seed);
            let pane = Pane::new(glass, &plate, None, (0.0, 0.0), 1.0, 0.3, rng);
            let is_hidden = |u: f32, v: f32| {
                let at = (u, v);
                pane.over(WHITE, at, at, 1.0)[1] - pane.over(BLACK, at, at, 1.0)[1] < 0.01
            };
            let (mut deepest, mut hidden) = (0.0f32, 0);
            for v in text.top as i32..text.bottom as i32 {
                for u in text.left as i32..text.right as i32 {
                    let (u, v) = (u as f32 + 0.5, v as f32 + 0.5);
                    if is_hidden(u, v) {
                        hidden += 1;
                        // From the left or from below.
                        let depth = (u - text.left).min(text.bottom - v);
                        deepest = deepest.max(depth);
                    }
                }
            }
            assert!(hidden > 200, "{seed}: {hidden}");
            // Tips are round and out of focus: a little of the 0.35 to 0.5 is lost.
            assert!(
                (0.27 * 40.0..0.5 * 40.0).contains(&deepest),
                "{seed}: {deepest}"
            );
        }
    }
}
