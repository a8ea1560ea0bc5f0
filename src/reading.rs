//! What was seen of a display, with its doubt: probabilities per digit place,
//! never a bare string.

use crate::frame::Stamp;
use crate::geometry::Quad;
use crate::glyph::Glyph;

/// Probabilities of the digits 0 to 9 at one place of the display. Sums to 1.
/// A place that cannot be read (dark, smeared, covered) is flat: 0.1 each. A
/// place caught between two digits holds weight on both.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DigitOdds([f32; 10]);

impl DigitOdds {
    /// Nothing is known.
    pub const FLAT: Self = Self([0.1; 10]);

    /// Scales non-negative weights to sum 1; flat if they sum to nothing.
    pub fn from_weights(weights: [f32; 10]) -> Self {
        let sum: f32 = weights.iter().filter(|w| w.is_finite() && **w > 0.0).sum();
        if sum <= 0.0 {
            return Self::FLAT;
        }
        Self(weights.map(|w| if w.is_finite() { w.max(0.0) / sum } else { 0.0 }))
    }

    /// Probability of `digit`.
    ///
    /// # Panics
    /// If `digit` is above 9.
    pub fn of(&self, digit: u8) -> f32 {
        self.0[usize::from(digit)]
    }

    /// The likeliest digit and its probability.
    pub fn best(&self) -> (u8, f32) {
        let mut best = (0, self.0[0]);
        for (digit, &p) in (0u8..).zip(&self.0) {
            if p > best.1 {
                best = (digit, p);
            }
        }
        best
    }

    /// The digit that has half of the weight or more, if one has: such a place tells it.
    pub fn told(&self) -> Option<u8> {
        let (digit, p) = self.best();
        (p >= 0.5).then_some(digit)
    }

    /// All ten probabilities, digit 0 first.
    pub const fn all(&self) -> &[f32; 10] {
        &self.0
    }
}

/// Probabilities of what stands before the last group of digits. Sums to 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MarkOdds {
    pub colon: f32,
    pub semicolon: f32,
    pub dot: f32,
    /// A space, a line break, or nothing that could be told.
    pub none: f32,
}

impl MarkOdds {
    /// Nothing is known.
    pub const UNKNOWN: Self = Self {
        colon: 0.25,
        semicolon: 0.25,
        dot: 0.25,
        none: 0.25,
    };
}

/// How the digits of a display are grouped, the same for all frames of a
/// [`Sighting`]: `[2, 2, 2, 2]` for `HH:MM:SS:FF`, `[2, 2, 2, 3]` for
/// `HH:MM:SS.mmm` or three-digit frames, `[2, 2, 2]` for `HH:MM:SS`, `[1, 2, 2, 2]`
/// for a blanked leading zero. Coarsest group first.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Layout {
    pub groups: Vec<u8>,
}

impl Layout {
    /// Number of digit places.
    pub fn places(&self) -> usize {
        self.groups.iter().map(|&n| usize::from(n)).sum()
    }
}

/// One frame's view of a display.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    pub stamp: Stamp,
    /// One entry per digit place, in reading order; as many as the layout has.
    pub places: Vec<DigitOdds>,
    /// What stood at each of the last places, or at all, in the same order; none if no pictures
    /// were kept.
    pub glyphs: Vec<Glyph>,
    /// What stands before the last group.
    pub last_mark: MarkOdds,
    /// Where the digits stood, all rows of them, in presented pixels.
    pub quad: Quad,
    /// How tall the digits of the tallest row were there, presented pixels.
    pub digit_px: f32,
}

impl Reading {
    /// What stood at a place; `None` if no picture of it was kept.
    pub fn glyph(&self, place: usize) -> Option<&Glyph> {
        let without = self.places.len().saturating_sub(self.glyphs.len());
        self.glyphs.get(place.checked_sub(without)?)
    }

    /// The likeliest digits as text, `?` where no digit has half of the weight.
    pub fn guess(&self) -> String {
        self.places
            .iter()
            .map(|odds| odds.told().map_or('?', |digit| char::from(b'0' + digit)))
            .collect()
    }
}

/// One display followed through one window of the clip. Readings are in
/// presentation order, at most one per frame.
#[derive(Clone, Debug, PartialEq)]
pub struct Sighting {
    pub layout: Layout,
    /// True if AM or PM is written around the digits.
    pub shows_half_day: bool,
    /// How many groups stand in a row above the others, or well before them in their line: one, the hours,
    /// or the number of a scene or a take; two, hours and minutes, of this clock or another; 0 if none do.
    pub groups_apart: usize,
    /// True if even ground was seen behind the last digits, where a mark and one more digit would stand.
    pub stands_free: bool,
    pub readings: Vec<Reading>,
}
