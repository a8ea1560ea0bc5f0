//! A hand on the display, whose fingers reach over its edge.

use super::canvas::{Area, CLEAR, Canvas, Light, dimmed, mix, srgb};
use super::glass::Glass;
use super::screens::{Body, Plate};
use rand::RngExt;
use rand_chacha::ChaCha8Rng;

/// Fingers, drawn; all in plate pixels.
pub(super) struct Fingers {
    canvas: Canvas,
    left: f32,
    top: f32,
}

/// Length of a finger from tip to knuckle, and of the hand and arm behind it, in
/// thicknesses of a finger.
const FINGER: f32 = 3.2;
const ARM: f32 = 14.0;

impl Fingers {
    /// A hand from the left or from below.
    pub(super) fn draw(glass: &Glass, plate: &Plate, blur_px: f32, rng: &mut ChaCha8Rng) -> Self {
        let d = plate.digit_px;
        let text = plate
            .digit_areas(0)
            .into_iter()
            .reduce(|a, b| a.joined(&b))
            .unwrap_or(plate.text_area);
        // A finger is a fifth as thick as a phone is wide (about 15 mm of 72 mm).
        let thick = match plate.look.body {
            Body::PhoneAcross | Body::PhoneUpright => {
                0.2 * plate.body.width().min(plate.body.height())
            }
            _ => 0.85 * d,
        };
        let is_across = rng.random_bool(0.5);
        let place: f32 = rng.random_range(0.0..1.0);
        let number = glass.fingers as f32;
        let reaches: Vec<f32> = (0..glass.fingers)
            .map(|_| glass.finger_reach * d * rng.random_range(0.7..1.0f32))
            .collect();
        let tones = [
            [226, 178, 150],
            [198, 142, 108],
            [150, 100, 72],
            [96, 62, 46],
        ];
        let skin = srgb(tones[rng.random_range(0..tones.len())]);

        // Drawn as a hand from the left; one from below is the same, turned.
        let (edge, middle) = if is_across {
            let middle = (text.top + text.bottom) / 2.0 + (place - 0.5) * 0.8 * d;
            (text.left, middle)
        } else {
            let room = (text.width() - number * thick).max(0.0);
            let middle = text.left + number * thick / 2.0 + place * room;
            // Not over more than half of the height: halves tell most digits.
            (-text.bottom, middle)
        };
        let limit = if is_across { f32::MAX } else { 0.5 * d };
        let boxes: Vec<Area> = reaches
            .iter()
            .enumerate()
            .map(|(i, reach)| {
                let y = middle + (i as f32 - (number - 1.0) / 2.0) * thick * 1.04;
                let tip = edge + reach.min(limit);
                Area::new(tip - FINGER * thick, y - thick / 2.0, tip, y + thick / 2.0)
            })
            .collect();
        let shortest = boxes.iter().map(|b| b.right).fold(f32::MAX, f32::min);
        let knuckles = shortest - (FINGER - 0.9) * thick;
        let hand = Area::new(
            knuckles - ARM * thick,
            middle - number.max(2.5) * 0.56 * thick,
            knuckles,
            middle + number.max(2.5) * 0.56 * thick,
        );
        let all = boxes
            .iter()
            .fold(hand, |all, b| all.joined(b))
            .grown(3.0 * blur_px + 2.0);
        let turned = |a: &Area| {
            if is_across {
                *a
            } else {
                // Right becomes up: (x, y) to (y, -x).
                Area::new(a.top, -a.right, a.bottom, -a.left)
            }
        };
        let whole = turned(&all);
        let mut canvas = Canvas::new(
            whole.width().ceil() as usize,
            whole.height().ceil() as usize,
            CLEAR,
        );
        let mut stamp = |area: &Area, radius: f32, paint: Light, is_round: bool| {
            let a = turned(area);
            let moved = Area::new(
                a.left - whole.left,
                a.top - whole.top,
                a.right - whole.left,
                a.bottom - whole.top,
            );
            canvas.rounded_box(moved, radius, |x, y| {
                // A cylinder under light from above and in front.
                let off = if is_across {
                    (y - (moved.top + moved.bottom) / 2.0) / (moved.height() / 2.0)
                } else {
                    (x - (moved.left + moved.right) / 2.0) / (moved.width() / 2.0)
                };
                let round = (1.0 - (off * off).min(1.0)).sqrt();
                let shade = if is_round {
                    0.35 + 0.65 * round - 0.12 * off
                } else {
                    1.0
                };
                dimmed(paint, shade)
            });
        };
        stamp(&hand, thick * 0.8, dimmed(skin, 0.85), true);
        let nail = mix(skin, srgb([240, 200, 190]), 0.4);
        for finger in &boxes {
            stamp(finger, thick * 0.48, skin, true);
            let inset = thick * 0.14;
            let nail_area = Area::new(
                finger.right - inset - 0.4 * thick,
                finger.top + 0.25 * thick,
                finger.right - inset,
                finger.bottom - 0.25 * thick,
            );
            stamp(&nail_area, thick * 0.18, nail, false);
        }
        Self {
            canvas: canvas.blurred(blur_px),
            left: whole.left,
            top: whole.top,
        }
    }

    /// What the hand may cover.
    pub(super) fn area(&self) -> Area {
        Area::new(
            self.left,
            self.top,
            self.left + self.canvas.width_px() as f32,
            self.top + self.canvas.height_px() as f32,
        )
    }

    /// Skin at a place, as white light shows it.
    pub(super) fn sample(&self, u: f32, v: f32) -> Light {
        self.canvas.sample(u - self.left, v - self.top)
    }
}
