//! What a frame shows of each digit: which counts, for how long, and whether fingers leave
//! enough of it to tell it from others. For judging readers fairly.

use super::faces::Sheet;
use super::stage::Stage;
use crate::timecode::Ratio;
use std::collections::BTreeMap;

/// Places of a digit, across and down, and moments of its exposure at which it is asked what
/// stands there: half-drawn digits change within a place.
const ACROSS: u8 = 3;
const DOWN: u8 = 5;
const MOMENTS: u8 = 12;

/// A digit of the display, as one frame shows it.
#[derive(Clone, Debug, PartialEq)]
pub struct DigitSeen {
    /// The counts on the glass there while it was exposed, each with its share of the digit's
    /// place and exposure; together 1.
    pub counts: BTreeMap<i64, f32>,
    /// How much ink in plain view sets the digit apart from the one most like it, in shares of a
    /// digit's ink: about a fifth where they differ by a segment, 0 where fingers hide that one.
    pub apart: f32,
}

impl Stage {
    /// What is seen of each digit, in reading order, where `exposed` says from when to when a
    /// place on the plate is exposed. Empty where it is out of the picture.
    pub(super) fn digits_seen(
        &self,
        exposed: impl Fn(f32, f32) -> Option<[Ratio; 2]>,
    ) -> Vec<DigitSeen> {
        let at_moment = |(u, v): (f32, f32), moment: u8| {
            let [from, to] = exposed(u, v)?;
            let passed = Ratio::new(2 * i128::from(moment) + 1, 2 * i128::from(MOMENTS));
            let along = Ratio::new((self.along(u, v) * 4096.0).round() as i128, 4096);
            let time_s = from + (to - from) * passed;
            Some(self.display.lit_count(&self.clock, time_s, along))
        };
        let Some(usual) = at_moment(self.plate.middle, MOMENTS / 2) else {
            return Vec::new();
        };
        let mut seen = Vec::new();
        let texts = self.plate.look.texts(self.plate.form, usual);
        for (slot, text) in self.plate.slots.iter().zip(texts) {
            let (start, line) = slot.place(&text, self.plate.look.is_even);
            let height_px = slot.sheet.digit_height_px();
            for (c, pen) in line.pens.into_iter().filter(|(c, _)| c.is_ascii_digit()) {
                let left_px = start + pen;
                let share = |part: u8, parts: u8| (f32::from(part) + 0.5) / f32::from(parts);
                let width_px = slot.sheet.glyph(c).advance_px;
                let mut counts: BTreeMap<i64, f32> = BTreeMap::new();
                for part in 0..ACROSS * DOWN {
                    let u = left_px as f32 + share(part % ACROSS, ACROSS) * width_px;
                    let v = slot.baseline - share(part / ACROSS, DOWN) * height_px;
                    for count in (0..MOMENTS).filter_map(|moment| at_moment((u, v), moment)) {
                        *counts.entry(count).or_default() += 1.0;
                    }
                }
                let all: f32 = counts.values().sum();
                counts.values_mut().for_each(|share| *share /= all);
                let baseline_px = slot.baseline.round() as i32;
                seen.push(DigitSeen {
                    counts,
                    apart: self.apart(&slot.sheet, c, left_px, baseline_px),
                });
            }
        }
        seen
    }

    /// [`DigitSeen::apart`] of the digit `c` drawn from a pen's place.
    fn apart(&self, sheet: &Sheet, c: char, left_px: i32, baseline_px: i32) -> f32 {
        let own = sheet.glyph(c);
        let mut ink = 0.0;
        let mut least = f32::MAX;
        for other in ('0'..='9').map(|digit| sheet.glyph(digit)) {
            ink += other.mask.cover.iter().sum::<f32>() / 10.0;
            // It would stand in the middle of the same cell.
            let aside_px = ((own.advance_px - other.advance_px) / 2.0).round() as i32;
            let (a, b) = (&own.mask, &other.mask);
            let other_left_px = b.left_px + aside_px;
            let right_px = |left_px: i32, width_px: usize| left_px + width_px as i32;
            let columns = a.left_px.min(other_left_px)
                ..right_px(a.left_px, a.width_px).max(right_px(other_left_px, b.width_px));
            let rows = a.top_px.min(b.top_px)
                ..right_px(a.top_px, a.height_px).max(right_px(b.top_px, b.height_px));
            let mut differs = 0.0;
            for y in rows {
                for x in columns.clone() {
                    let difference = (a.cover_at(x, y) - b.cover_at(x - aside_px, y)).abs();
                    if difference > 0.0 {
                        let (u, v) = ((left_px + x) as f32 + 0.5, (baseline_px + y) as f32 + 0.5);
                        let hidden = self.pane.as_ref().map_or(0.0, |pane| pane.hides(u, v));
                        differs += difference * (1.0 - hidden);
                    }
                }
            }
            if !std::ptr::eq(own, other) {
                least = least.min(differs);
            }
        }
        least / ink
    }
}
