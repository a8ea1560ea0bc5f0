//! Lays out and draws a plate: the body, its screen, everything but the running digits.

use super::canvas::{Area, Canvas, Light, dimmed, mix, srgb};
use super::faces::{Line, Sheet};
use super::screens::{Body, GLOW_REACH, Lines, Look, Plate, Slot};
use crate::timecode::ClockForm;

/// Sizes in plate pixels, before anything is drawn.
pub(super) struct Layout {
    pub(super) width_px: f32,
    pub(super) height_px: f32,
    screen: Area,
    slots: Vec<Slot>,
    text: Area,
    digit_px: f32,
    form: ClockForm,
}

impl Layout {
    pub(super) fn new(look: &Look, form: ClockForm, digit_px: f32) -> Self {
        // All digits may be as wide as a zero; proportional ones hardly wider.
        let texts = look.texts(form, 0);
        let second = match look.lines {
            Lines::One => 1.0,
            Lines::Two { second, .. } => second,
        };
        let heights: Vec<f32> = (0..texts.len())
            .map(|i| if i == 0 { digit_px } else { digit_px * second })
            .collect();
        let sheets: Vec<Sheet> = heights
            .iter()
            .map(|&height| look.face.sheet(height, &format!(":;.{}", texts.concat())))
            .collect();
        let lines: Vec<Line> = sheets
            .iter()
            .zip(&texts)
            .map(|(sheet, text)| sheet.lay(text, look.is_even))
            .collect();
        let text_w = lines.iter().map(|l| l.ink.width()).fold(0.0, f32::max);
        const LEADING: f32 = 0.35;
        let gap = LEADING * digit_px;
        let text_h = heights.iter().sum::<f32>() + gap * (texts.len().saturating_sub(1)) as f32;

        // Screen and case around the text, in shares that real devices have.
        let d = digit_px;
        let (screen_w, screen_h, at_y, rim) = match look.body {
            Body::Bare => (text_w + 2.0 * d, text_h + 2.0 * d, 0.5, 0.0),
            Body::PhoneAcross => {
                let w = (text_w / 0.82).max((text_h + 2.2 * d) * 1.9);
                (w, w / 2.05, 0.5, 0.025 * w)
            }
            Body::PhoneUpright => {
                let w = text_w / 0.84;
                (w, (w * 2.05).max(text_h + 3.0 * d), 0.42, 0.045 * w)
            }
            Body::Window => {
                let w = text_w / 0.6;
                (w, (w / 1.6).max(text_h + 4.0 * d), 0.48, 0.03 * w)
            }
            Body::LedBox => (text_w + 1.1 * d, text_h + 0.9 * d, 0.5, 0.35 * d),
            Body::Lcd => (text_w + 0.9 * d, text_h + 1.1 * d, 0.55, 0.7 * d),
        };
        const MARGIN_PX: f32 = 4.0;
        let screen = Area::new(
            rim + MARGIN_PX,
            rim + MARGIN_PX,
            rim + MARGIN_PX + screen_w,
            rim + MARGIN_PX + screen_h,
        );
        let mid_x = (screen.left + screen.right) / 2.0;
        let mut top = screen.top + screen_h * at_y - text_h / 2.0;
        let text = Area::new(
            mid_x - text_w / 2.0,
            top,
            mid_x + text_w / 2.0,
            top + text_h,
        );
        let mut slots = Vec::new();
        for (sheet, height) in sheets.into_iter().zip(heights) {
            slots.push(Slot {
                sheet,
                mid_x,
                baseline: (top + height).round(),
            });
            top += height + gap;
        }
        Self {
            width_px: screen.right + rim + MARGIN_PX,
            height_px: screen.bottom + rim + MARGIN_PX,
            screen,
            slots,
            text,
            digit_px,
            form,
        }
    }

    pub(super) fn draw(self, look: &Look) -> Plate {
        let mut base = Canvas::new(
            self.width_px.ceil() as usize,
            self.height_px.ceil() as usize,
            [0.0; 4],
        );
        let outer = Area::new(2.0, 2.0, self.width_px - 2.0, self.height_px - 2.0);
        let case = srgb(look.case);
        let ground = dimmed(srgb(look.ground), look.brightness);
        let d = self.digit_px;
        let short = self.screen.width().min(self.screen.height());
        let shade = |top: Light, bottom: Light| {
            let (y0, h) = (outer.top, outer.height());
            move |_: f32, y: f32| mix(top, bottom, (y - y0) / h)
        };
        match look.body {
            Body::Bare => {
                base.rounded_box(self.screen, 0.0, |_, _| ground);
            }
            Body::PhoneAcross | Body::PhoneUpright => {
                let radius = short * 0.11;
                base.rounded_box(
                    outer,
                    radius + 3.0,
                    shade(dimmed(case, 4.0), dimmed(case, 2.0)),
                );
                base.rounded_box(outer.grown(-short * 0.008 - 1.0), radius, |_, _| case);
                base.rounded_box(self.screen, radius * 0.8, |_, _| ground);
            }
            Body::Window => {
                base.rounded_box(outer, short * 0.02, shade(dimmed(case, 1.5), case));
                self.draw_desktop(&mut base, look);
            }
            Body::LedBox => {
                base.rounded_box(outer, d * 0.12, shade(dimmed(case, 1.7), dimmed(case, 0.8)));
                base.rounded_box(self.screen, d * 0.06, |_, _| ground);
            }
            Body::Lcd => {
                base.rounded_box(
                    outer,
                    d * 0.35,
                    shade(dimmed(case, 1.2), dimmed(case, 0.75)),
                );
                base.rounded_box(self.screen.grown(d * 0.12), d * 0.15, |_, _| {
                    dimmed(case, 0.3)
                });
                base.rounded_box(self.screen, d * 0.08, |_, _| ground);
            }
        }
        self.draw_words(&mut base, look);
        let text_area = self.text.grown(
            d * (0.3
                + if look.glow > 0.0 {
                    3.0 * GLOW_REACH
                } else {
                    0.0
                }),
        );
        Plate {
            base,
            body: outer,
            screen: self.screen,
            digit_px: d,
            middle: (
                (self.text.left + self.text.right) / 2.0,
                (self.text.top + self.text.bottom) / 2.0,
            ),
            text_area,
            slots: self.slots,
            look: look.clone(),
            form: self.form,
        }
    }

    /// A monitor's desktop with one window, in which the digits stand.
    fn draw_desktop(&self, base: &mut Canvas, look: &Look) {
        let d = self.digit_px;
        let ground = dimmed(srgb(look.ground), look.brightness);
        let lit = dimmed(srgb(look.lit), look.brightness);
        let (left, right) = (
            dimmed(srgb([38, 62, 84]), look.brightness),
            dimmed(srgb([88, 108, 104]), look.brightness),
        );
        let screen = self.screen;
        base.rounded_box(screen, 0.0, |x, _| {
            mix(left, right, (x - screen.left) / screen.width())
        });
        let window = Area::new(
            self.text.left - 0.9 * d,
            self.text.top - 1.5 * d,
            self.text.right + 0.9 * d,
            self.text.bottom + 1.3 * d,
        );
        base.rounded_box(window.grown(1.0), d * 0.1, |_, _| mix(ground, lit, 0.4));
        base.rounded_box(window, d * 0.1, |_, _| ground);
        let bar = Area::new(window.left, window.top, window.right, window.top + 0.5 * d);
        base.rounded_box(bar, d * 0.1, |_, _| mix(ground, lit, 0.2));
        // Other windows' text: rows of short strokes.
        for row in 0..9u32 {
            let y = window.bottom + (0.4 + 0.3 * row as f32) * d;
            if y + 0.12 * d > screen.bottom {
                break;
            }
            let length = 0.3 + 0.5 * ((row * 37 % 11) as f32 / 11.0);
            base.rounded_box(
                Area::new(
                    screen.left + 0.5 * d,
                    y,
                    screen.left + 0.5 * d + length * screen.width(),
                    y + 0.12 * d,
                ),
                0.05 * d,
                |_, _| mix(left, lit, 0.3),
            );
        }
    }

    fn draw_words(&self, base: &mut Canvas, look: &Look) {
        let Some(face) = &look.words else {
            return;
        };
        let d = self.digit_px;
        let lit = dimmed(srgb(look.lit), look.brightness);
        let ground = dimmed(srgb(look.ground), look.brightness);
        let faint = mix(ground, lit, 0.55);
        let (screen, text) = (self.screen, self.text);
        let short = screen.width().min(screen.height());
        let is_phone = matches!(look.body, Body::PhoneAcross | Body::PhoneUpright);
        let mut write = |words: &str, height: f32, x: f32, y: f32, align: f32, paint: Light| {
            if words.is_empty() || height < 3.0 {
                return;
            }
            let sheet = face.sheet(height, words);
            let line = sheet.lay(words, false);
            let start = (x - line.advance_px * align).round() as i32;
            for (c, pen) in line.pens {
                base.stamp(&sheet.glyph(c).mask, start + pen, y.round() as i32, paint);
            }
        };
        let small = if is_phone { 0.032 * short } else { 0.28 * d }.clamp(0.0, 0.5 * d);
        let (inset_x, inset_y) = if is_phone {
            (0.09 * short, 0.08 * short)
        } else {
            (0.3 * d, 0.45 * d)
        };
        let chatter = &look.chatter;
        let y = screen.top + inset_y;
        write(
            &chatter.status_left,
            small,
            screen.left + inset_x,
            y,
            0.0,
            lit,
        );
        write(
            &chatter.status_right,
            small,
            screen.right - inset_x,
            y,
            1.0,
            lit,
        );
        let mid = (text.left + text.right) / 2.0;
        let note = (0.24 * d).max(small * 0.8);
        write(&chatter.above, note, mid, text.top - 0.45 * d, 0.5, faint);
        write(
            &chatter.below,
            note,
            mid,
            text.bottom + 0.75 * d,
            0.5,
            faint,
        );
    }
}
