//! Draws what holds the digits: phones, windows on a monitor, LED boxes, LCDs.

use super::bodies::Layout;
use super::canvas::{Area, Canvas, dimmed, mix, srgb};
use super::faces::{Face, Line, Sheet};
use super::segments::SegmentShape;
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
    /// Line break after so many groups (1..=3), and before the last one at the latest; the second
    /// line's digits are `second` times as high as the first's.
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

/// What the large digits tell.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Showing {
    /// The clock.
    Clock,
    /// Always the same lines: a date, a price, a telephone number.
    Words(Vec<String>),
    /// A figure with two decimals that rises by `step` hundredths a count, as on a petrol
    /// pump; it begins again after 9999.99.
    Figure { step: i64 },
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
    /// sRGB colour of unlit segments of a stuff of their own; none where `ghost` says it.
    pub unlit: Option<[u8; 3]>,
    /// Light of the screen's white, where 1.0 is a white card in the scene's light.
    pub brightness: f32,
    /// Share of the digits' light that spreads around them, 0.0..=0.5.
    pub glow: f32,
    pub lines: Lines,
    pub marks: Marks,
    /// Every digit in the widest digit's cell.
    pub is_even: bool,
    pub chatter: Chatter,
    pub showing: Showing,
    /// Pixels of the panel per digit height, each with its three colours side by side;
    /// 0 is a surface without pixels.
    pub pixels_per_digit: f32,
}

impl Look {
    /// White segments on black without a body: for measuring.
    pub fn plain() -> Self {
        Self {
            body: Body::Bare,
            face: Face::Segments(SegmentShape::PLAIN),
            words: None,
            lit: [255; 3],
            ground: [0; 3],
            case: [0; 3],
            ghost: 0.0,
            unlit: None,
            brightness: 1.0,
            glow: 0.0,
            lines: Lines::One,
            marks: Marks::AsCounted,
            is_even: true,
            chatter: Chatter::default(),
            showing: Showing::Clock,
            pixels_per_digit: 0.0,
        }
    }

    /// The texts of the lines at a count.
    pub(super) fn texts(&self, form: ClockForm, count: i64) -> Vec<String> {
        let text = match &self.showing {
            Showing::Clock => form.text(count),
            Showing::Words(lines) => return lines.clone(),
            Showing::Figure { step } => {
                let hundredths = (count * step).rem_euclid(1_000_000);
                return vec![format!("{:04}.{:02}", hundredths / 100, hundredths % 100)];
            }
        };
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
            Lines::Two { after, .. } => after.min(groups.len() - 1).max(1),
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
pub(super) struct Slot {
    pub(super) sheet: Sheet,
    /// Middle of the line.
    pub(super) mid_x: f32,
    pub(super) baseline: f32,
}

impl Slot {
    /// Pen start and layout of a text centred in the slot.
    pub(super) fn place(&self, text: &str, is_even: bool) -> (i32, Line) {
        let line = self.sheet.lay(text, is_even);
        let start = self.mid_x - (line.ink.left + line.ink.right) / 2.0;
        (start.round() as i32, line)
    }
}

/// A display without its digits, and where they go. All in plate pixels.
pub struct Plate {
    pub base: Canvas,
    /// The body's outline.
    pub body: Area,
    /// The part that is refreshed.
    pub screen: Area,
    /// Digit height of the first line.
    pub digit_px: f32,
    /// Middle of the digits.
    pub middle: (f32, f32),
    /// Holds the digits of every count, and their glow.
    pub text_area: Area,
    pub(super) slots: Vec<Slot>,
    pub(super) look: Look,
    pub(super) form: ClockForm,
}

impl Plate {
    /// Which digit a place on the plate belongs to, counted from 0 in reading order; marks
    /// belong to the digit before them.
    pub fn digit_at(&self, u: f32, v: f32) -> usize {
        let mut before = 0;
        let texts = self.look.texts(self.form, 0);
        let last = self.slots.len().saturating_sub(1);
        for (i, (slot, text)) in self.slots.iter().zip(texts).enumerate() {
            let half_gap = slot.sheet.digit_height_px() * 0.15;
            if i < last && v > slot.baseline + half_gap {
                before += text.chars().filter(char::is_ascii_digit).count();
                continue;
            }
            let lean = match &self.look.face {
                Face::Segments(shape) => shape.slant * (slot.baseline - v),
                Face::Font(_) => 0.0,
            };
            let (start, line) = slot.place(&text, self.look.is_even);
            let digits = line.pens.iter().filter(|(c, _)| c.is_ascii_digit());
            let passed = digits
                .filter(|(_, pen)| (start + pen) as f32 <= u - lean)
                .count();
            return before + passed.saturating_sub(1);
        }
        before
    }

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
    /// (`left`, `top`); without a count, the unlit segments.
    pub fn draw_count(&self, count: Option<i64>, canvas: &mut Canvas, left: i32, top: i32) {
        let lit = dimmed(srgb(self.look.lit), self.look.brightness);
        let ground = dimmed(srgb(self.look.ground), self.look.brightness);
        let unlit = match self.look.unlit {
            Some(colour) => Some(dimmed(srgb(colour), self.look.brightness)),
            None => (self.look.ghost > 0.0).then(|| mix(ground, lit, self.look.ghost)),
        };
        let mut glow = (self.look.glow > 0.0)
            .then(|| Canvas::new(canvas.width_px(), canvas.height_px(), [0.0; 4]));
        for (slot, text) in self
            .slots
            .iter()
            .zip(self.look.texts(self.form, count.unwrap_or(0)))
        {
            let (start, line) = slot.place(&text, self.look.is_even);
            let y = slot.baseline.round() as i32 - top;
            for (c, pen) in line.pens {
                let x = start + pen - left;
                if c.is_ascii_digit()
                    && let Some(unlit) = unlit
                    && let Some(blank) = slot.sheet.blank()
                {
                    canvas.stamp(blank, x, y, unlit);
                }
                if count.is_none() {
                    continue;
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
pub(super) const GLOW_REACH: f32 = 0.12;

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
        let seconds = ClockForm::Seconds;
        let count = seconds.count(&seconds.parse("01:02:03").unwrap()).unwrap();
        assert_eq!(look.texts(seconds, count), ["01:02", "03"]);
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

    #[test]
    fn every_place_knows_its_digit() {
        let look = Look {
            lines: Lines::Two {
                after: 2,
                second: 1.0,
            },
            ..Look::plain()
        };
        let plate = look.plate(form(), 40.0, 4_000_000);
        for (line, area) in plate.digit_areas(0).iter().enumerate() {
            let middle = (area.top + area.bottom) / 2.0;
            for digit in 0..4 {
                // 00:00, four digits of 0.76 heights and a mark of 0.344 after the second.
                let pen = digit as f32 * 0.76 + if digit < 2 { 0.0 } else { 0.344 };
                let u = area.left + (pen + 0.28) * 40.0;
                assert_eq!(
                    plate.digit_at(u, middle),
                    line * 4 + digit,
                    "{line} {digit}"
                );
            }
        }
    }

    #[test]
    fn screens_can_show_other_things_than_the_clock() {
        let mut look = Look::plain();
        look.showing = Showing::Figure { step: 37 };
        assert_eq!(look.texts(form(), 3), ["0001.11"]);
        assert_eq!(look.texts(form(), -1), ["9999.63"]);
        look.showing = Showing::Words(vec!["12.04".into(), "08:15".into()]);
        assert_eq!(look.texts(form(), 3), look.texts(form(), 4));
    }
}
