//! Draws what holds the digits: phones, windows on a monitor, LED boxes, LCDs.

use super::canvas::{Area, Canvas, Light, dimmed, mix, srgb};
use super::faces::{Face, Line, Sheet};
use super::segments::{SegmentEnds, SegmentShape};
use crate::timecode::ClockForm;

/// What the screen is part of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Body {
    /// Nothing but the lit ground around the digits.
    Bare,
    /// Held across.
    PhoneAcross,
    PhoneUpright,
    /// A window on a monitor or tablet.
    Window,
    LedBox,
    Lcd,
}

/// How the digits are spread.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Lines {
    One,
    /// Line break after so many groups (1..=3); the second line's digits are
    /// `second` times as high as the first's.
    Two {
        after: usize,
        second: f32,
    },
}

/// What stands between the groups.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Marks {
    /// `:`, and `;` or `.` before the last group where the clock has it.
    AsCounted,
    Colons,
    Dots,
    Spaces,
}

/// Other writing on the same screen or body; empty strings draw nothing.
#[derive(Clone, Debug, Default)]
pub struct Chatter {
    /// Upper left corner: another clock, as phones have.
    pub status_left: String,
    /// Upper right corner: a battery figure.
    pub status_right: String,
    /// Above the digits.
    pub above: String,
    /// Below the digits: a rate, a date.
    pub below: String,
}

/// How a display looks.
#[derive(Clone)]
pub struct Look {
    pub body: Body,
    pub face: Face,
    /// Face of the small writing; none draws none.
    pub words: Option<Face>,
    /// sRGB colour of the digits.
    pub lit: [u8; 3],
    /// sRGB colour behind the digits.
    pub ground: [u8; 3],
    /// sRGB colour of the case.
    pub case: [u8; 3],
    /// How far unlit segments go from the ground to the lit colour, 0.0..=0.3.
    pub ghost: f32,
    /// Light of the screen's white, where 1.0 is a white card in the scene's light.
    pub brightness: f32,
    /// Share of the digits' light that spreads around them, 0.0..=0.5.
    pub glow: f32,
    pub lines: Lines,
    pub marks: Marks,
    /// Every digit in the widest digit's cell.
    pub is_even: bool,
    pub chatter: Chatter,
}

impl Look {
    /// White segments on black without a body: for measuring.
    pub fn plain() -> Self {
        Self {
            body: Body::Bare,
            face: Face::Segments(SegmentShape {
                width: 0.56,
                thickness: 0.12,
                gap: 0.01,
                slant: 0.0,
                spacing: 0.2,
                ends: SegmentEnds::Chamfered,
                tail_6: true,
                tail_7: false,
                tail_9: true,
            }),
            words: None,
            lit: [255; 3],
            ground: [0; 3],
            case: [0; 3],
            ghost: 0.0,
            brightness: 1.0,
            glow: 0.0,
            lines: Lines::One,
            marks: Marks::AsCounted,
            is_even: true,
            chatter: Chatter::default(),
        }
    }

    /// The texts of the lines at a count.
    fn texts(&self, form: ClockForm, count: i64) -> Vec<String> {
        let text = form.text(count);
        let mut groups: Vec<(char, String)> = vec![(' ', String::new())];
        for c in text.chars() {
            match (c.is_ascii_digit(), groups.last_mut()) {
                (true, Some(group)) => group.1.push(c),
                _ => groups.push((
                    match self.marks {
                        Marks::AsCounted => c,
                        Marks::Colons => ':',
                        Marks::Dots => '.',
                        Marks::Spaces => ' ',
                    },
                    String::new(),
                )),
            }
        }
        let split = match self.lines {
            Lines::One => groups.len(),
            Lines::Two { after, .. } => after.clamp(1, groups.len()),
        };
        [&groups[..split], &groups[split..]]
            .into_iter()
            .filter(|line| !line.is_empty())
            .map(|line| {
                let mut text = String::new();
                for (i, (mark, digits)) in line.iter().enumerate() {
                    if i > 0 {
                        text.push(*mark);
                    }
                    text.push_str(digits);
                }
                text
            })
            .collect()
    }

    /// Draws everything but the digits, with digits to be `digit_px` high in
    /// the plate. Smaller, if the plate would get larger than `limit_px` pixels.
    pub fn plate(&self, form: ClockForm, digit_px: f32, limit_px: usize) -> Plate {
        let mut digit_px = digit_px;
        loop {
            let layout = Layout::new(self, form, digit_px);
            let area = layout.width_px * layout.height_px;
            if area <= limit_px as f32 || digit_px < 6.0 {
                return layout.draw(self);
            }
            digit_px *= (limit_px as f32 / area).sqrt() * 0.98;
        }
    }
}

/// One line of running digits on a plate.
struct Slot {
    sheet: Sheet,
    /// Middle of the line.
    mid_x: f32,
    baseline: f32,
}

impl Slot {
    /// Pen start and layout of a text centred in the slot.
    fn place(&self, text: &str, is_even: bool) -> (i32, Line) {
        let line = self.sheet.lay(text, is_even);
        let start = self.mid_x - (line.ink.left + line.ink.right) / 2.0;
        (start.round() as i32, line)
    }
}

/// A display without its digits, and where they go. All in plate pixels.
pub struct Plate {
    pub base: Canvas,
    /// The part that is refreshed.
    pub screen: Area,
    /// Digit height of the first line.
    pub digit_px: f32,
    /// Middle of the digits.
    pub middle: (f32, f32),
    /// Holds the digits of every count, and their glow.
    pub text_area: Area,
    slots: Vec<Slot>,
    look: Look,
    form: ClockForm,
}

impl Plate {
    /// Outlines of the lines of digits at a count.
    pub fn digit_areas(&self, count: i64) -> Vec<Area> {
        self.slots
            .iter()
            .zip(self.look.texts(self.form, count))
            .map(|(slot, text)| {
                let (start, line) = slot.place(&text, self.look.is_even);
                Area::new(
                    line.ink.left + start as f32,
                    line.ink.top + slot.baseline,
                    line.ink.right + start as f32,
                    line.ink.bottom + slot.baseline,
                )
            })
            .collect()
    }

    /// Draws a count's digits onto a copy of the base, which is cut out at
    /// (`left`, `top`).
    pub fn draw_count(&self, count: i64, canvas: &mut Canvas, left: i32, top: i32) {
        let lit = dimmed(srgb(self.look.lit), self.look.brightness);
        let ground = dimmed(srgb(self.look.ground), self.look.brightness);
        let mut glow = (self.look.glow > 0.0)
            .then(|| Canvas::new(canvas.width_px(), canvas.height_px(), [0.0; 4]));
        for (slot, text) in self.slots.iter().zip(self.look.texts(self.form, count)) {
            let (start, line) = slot.place(&text, self.look.is_even);
            let y = slot.baseline.round() as i32 - top;
            for (c, pen) in line.pens {
                let x = start + pen - left;
                if c.is_ascii_digit()
                    && self.look.ghost > 0.0
                    && let Some(blank) = slot.sheet.blank()
                {
                    canvas.stamp(blank, x, y, mix(ground, lit, self.look.ghost));
                }
                canvas.stamp(&slot.sheet.glyph(c).mask, x, y, lit);
                if let Some(glow) = &mut glow {
                    glow.stamp(&slot.sheet.glyph(c).mask, x, y, lit);
                }
            }
        }
        if let Some(glow) = glow {
            canvas.add(&glow.blurred(self.digit_px * GLOW_REACH), self.look.glow);
        }
    }
}

/// Standard deviation of the glow in digit heights.
const GLOW_REACH: f32 = 0.12;

/// Sizes in plate pixels, before anything is drawn.
struct Layout {
    width_px: f32,
    height_px: f32,
    screen: Area,
    slots: Vec<Slot>,
    text: Area,
    digit_px: f32,
    form: ClockForm,
}

impl Layout {
    fn new(look: &Look, form: ClockForm, digit_px: f32) -> Self {
        // All digits may be as wide as a zero; proportional ones hardly wider.
        let texts = look.texts(form, 0);
        let heights = match look.lines {
            Lines::One => vec![digit_px],
            Lines::Two { second, .. } => vec![digit_px, digit_px * second],
        };
        let sheets: Vec<Sheet> = heights
            .iter()
            .map(|&height| look.face.sheet(height, ":;."))
            .collect();
        let lines: Vec<Line> = sheets
            .iter()
            .zip(&texts)
            .map(|(sheet, text)| sheet.lay(text, look.is_even))
            .collect();
        let text_w = lines.iter().map(|l| l.ink.width()).fold(0.0, f32::max);
        const LEADING: f32 = 0.35;
        let gap = LEADING * digit_px;
        let text_h = heights.iter().take(texts.len()).sum::<f32>()
            + gap * (texts.len().saturating_sub(1)) as f32;

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
        for (sheet, height) in sheets.into_iter().zip(heights).take(texts.len()) {
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

    fn draw(self, look: &Look) -> Plate {
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::timecode::Rate;

    fn form() -> ClockForm {
        ClockForm::frames(Rate::F29_97, true).unwrap()
    }

    #[test]
    fn marks_and_lines_follow_the_look() {
        let count = form().count(&form().parse("01:02:03;04").unwrap()).unwrap();
        let mut look = Look::plain();
        assert_eq!(look.texts(form(), count), ["01:02:03;04"]);
        look.marks = Marks::Spaces;
        assert_eq!(look.texts(form(), count), ["01 02 03 04"]);
        look.marks = Marks::Dots;
        look.lines = Lines::Two {
            after: 2,
            second: 1.0,
        };
        assert_eq!(look.texts(form(), count), ["01.02", "03.04"]);
        look.lines = Lines::Two {
            after: 3,
            second: 0.7,
        };
        look.marks = Marks::AsCounted;
        assert_eq!(look.texts(form(), count), ["01:02:03", "04"]);
    }

    #[test]
    fn digits_stay_inside_screen_and_text_area_of_every_body() {
        for body in [
            Body::Bare,
            Body::PhoneAcross,
            Body::PhoneUpright,
            Body::Window,
            Body::LedBox,
            Body::Lcd,
        ] {
            for lines in [
                Lines::One,
                Lines::Two {
                    after: 2,
                    second: 1.0,
                },
                Lines::Two {
                    after: 3,
                    second: 0.6,
                },
            ] {
                let look = Look {
                    body,
                    lines,
                    ..Look::plain()
                };
                let plate = look.plate(form(), 40.0, 4_000_000);
                for area in plate.digit_areas(1_234_567) {
                    for outer in [plate.screen, plate.text_area] {
                        assert_eq!(outer.joined(&area), outer, "{body:?} {lines:?}");
                    }
                }
            }
        }
    }

    #[test]
    fn a_plate_keeps_to_its_limit() {
        let look = Look {
            body: Body::PhoneUpright,
            ..Look::plain()
        };
        let plate = look.plate(form(), 400.0, 1_000_000);
        assert!(plate.base.width_px() * plate.base.height_px() < 1_100_000);
        assert!(plate.digit_px < 400.0);
    }
}
