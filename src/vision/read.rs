//! A strip -> what stands in each of its columns.

mod lie;

use super::net::Net;
use super::rectify::{Lie, STRIP_HEIGHT_PX, Strip};
use crate::error::Result;
use crate::reading::{DigitOdds, MarkOdds};
use ndarray::Array4;
use std::ops::Range;

/// Strip px per column of the network's answer.
pub(super) const COLUMN_PX: f32 = 2.0;
/// Divides the digit logits so that probabilities mean what they say; measured on the
/// tuning set when the network was trained (`digit_temperature` in models/manifest.json).
pub(super) const DIGIT_TEMPERATURE: f32 = 1.04;
/// Keeps an even strip from being blown up to full contrast; from training.
const LEAST_DEVIATION: f32 = 6.0;

/// What a column can hold, as the network tells them apart.
const NOTHING: usize = 0;
const DIGIT: usize = 1;
const COLON: usize = 2;
const SEMICOLON: usize = 3;
const DOT: usize = 4;
const OTHER: usize = 5;
/// A digit upside down, where that makes no digit.
const TURNED: usize = 6;
/// A digit in a mirror, where that makes no digit.
const MIRROR: usize = 7;
const CLASSES: usize = 8;
/// Columns in which a digit stands this surely tell how the line lies.
pub(super) const LEAST_TELLING: f32 = 0.5;
/// Columns in which a digit stands, in a row of digits that is worth being read every way. Of
/// 1,280 simulated frames as many are read with 12, and with 6 reading takes a fifth longer.
const FEWEST_IN_ROW: usize = 10;
/// Columns in which the digits of a line usually stand, at least: in the narrowest fonts they are two
/// fifths as wide as they are tall. Where fewer were usual, specks beside two digits would cut each in two.
const SHORTEST_RUN: usize = 3;
/// Strip px from its end within which a digit may have a neighbour beyond: the wider half
/// of a digit and its gap.
const AT_AN_END_PX: f32 = 12.0;

/// What matters for the layout of a line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    Nothing,
    Digit,
    /// A colon, semicolon or dot; which of them is a question of its own.
    Mark,
    /// A letter or another sign.
    Other,
}

/// One character as read.
#[derive(Clone, Debug)]
pub(super) struct Character {
    pub kind: Kind,
    /// Middle, strip px.
    pub x: f32,
    /// Highest probability of the kind among its columns.
    pub sureness: f32,
    /// Its height among digits of its size, of the line's large ones: 1.0 in a line of one size.
    pub scale: f32,
}

/// The reader's answer for one strip.
pub(super) struct Columns {
    /// Probabilities per column of what `NOTHING` to `MIRROR` name.
    kinds: Vec<[f32; CLASSES]>,
    /// Digit probabilities per column, given that a digit stands there.
    digits: Vec<[f32; 10]>,
    /// Per column, of the digit there: how far its middle lies below the strip's, in digit
    /// heights, and log2 of its height against that.
    lies: Vec<[f32; 2]>,
    /// True if the digits are known to be of two sizes.
    pub is_in_two_sizes: bool,
    /// Where the smaller digits of a line in two sizes stand, once that was asked for.
    pub small: Option<Small>,
}

/// The smaller digits of a line in two sizes.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Small {
    /// Strip px from and to which they stand.
    pub between: Range<f32>,
    /// How they lie in the strip.
    pub lie: Lie,
    /// Their height, of the large digits'.
    pub scale: f32,
}

/// Runs the reader over a strip.
pub(super) fn read_strip(net: &dyn Net, strip: &Strip) -> Result<Columns> {
    let (w, h) = (strip.luma.width() as usize, STRIP_HEIGHT_PX as usize);
    let pixels = strip.luma.as_raw();
    // Whole numbers: compilers do these for many pixels at once.
    let (sum, of_squares) = pixels.iter().fold((0u64, 0u64), |(sum, of_squares), &v| {
        let v = u64::from(v);
        (sum + v, of_squares + v * v)
    });
    let n = pixels.len() as u64;
    let mean = (sum as f64 / n as f64) as f32;
    let deviation = ((n * of_squares - sum * sum) as f64).sqrt() / n as f64;
    let scale = 1.0 / (deviation as f32 + LEAST_DEVIATION);
    let input: Vec<f32> = pixels
        .iter()
        .map(|&v| (f32::from(v) - mean) * scale)
        .collect();
    let input = Array4::from_shape_vec((1, 1, h, w), input).expect("as many as there are pixels");
    let out = net.run(input)?;
    let columns = w / COLUMN_PX as usize;
    Ok(Columns {
        kinds: (0..columns)
            .map(|x| softmax(std::array::from_fn(|c| out[[0, c, 0, x]])))
            .collect(),
        digits: (0..columns)
            .map(|x| {
                softmax(std::array::from_fn(|c| {
                    out[[0, CLASSES + c, 0, x]] / DIGIT_TEMPERATURE
                }))
            })
            .collect(),
        lies: (0..columns)
            .map(|x| std::array::from_fn(|i| out[[0, CLASSES + 10 + i, 0, x]]))
            .collect(),
        is_in_two_sizes: false,
        small: None,
    })
}

/// Middle of a column, strip px.
pub(super) fn middle_of(column: usize) -> f32 {
    (column as f32 + 0.5) * COLUMN_PX
}

fn softmax<const N: usize>(logits: [f32; N]) -> [f32; N] {
    let top = logits.iter().copied().fold(f32::MIN, f32::max);
    let weights = logits.map(|l| (l - top).exp());
    let sum: f32 = weights.iter().sum();
    weights.map(|w| w / sum)
}

impl Columns {
    pub fn len(&self) -> usize {
        self.kinds.len()
    }

    /// Probability that a digit stands at `x` (strip px); 0 outside the strip.
    pub fn digit_at(&self, x: f32) -> f32 {
        self.column(x).map_or(0.0, |c| self.kinds[c][DIGIT])
    }

    fn column(&self, x: f32) -> Option<usize> {
        let c = (x / COLUMN_PX).floor();
        (c >= 0.0 && (c as usize) < self.len()).then_some(c as usize)
    }

    /// How well the middle of a `kind` of character stands at each strip px: 1 at the middle
    /// of a sure one, falling to a seventh two `spread` (strip px) away. For lining up places.
    pub fn middles(&self, kind: Kind, spread: f32) -> Vec<f32> {
        let mut out = vec![0.0f32; self.len() * COLUMN_PX as usize];
        for character in self.characters().iter().filter(|c| c.kind == kind) {
            let reach = 3.0 * spread;
            let first = (character.x - reach).floor().max(0.0) as usize;
            let last = ((character.x + reach).ceil().max(0.0) as usize).min(out.len());
            for (x, value) in out.iter_mut().enumerate().take(last).skip(first) {
                let off = (x as f32 + 0.5 - character.x) / spread;
                *value = value.max(character.sureness * (-0.5 * off * off).exp());
            }
        }
        out
    }

    /// How well the line reads as digits, 0..=1: mean over its characters of how sure the
    /// likeliest digit is; a letter counts nothing. Tells upright from upside down.
    pub fn legibility(&self) -> f32 {
        let mut sum = 0.0;
        let mut count = 0;
        for c in self.characters() {
            count += usize::from(matches!(c.kind, Kind::Digit | Kind::Other));
            if c.kind == Kind::Digit {
                sum += self.odds_near(c.x, COLUMN_PX).best().1 * c.sureness;
            }
        }
        sum / count.max(1) as f32
    }

    /// Takes the digits between two px of this strip as they were read in another, cut for them alone,
    /// in which they stand between the px `ends`. What is no digit there, as a letter behind the line
    /// that passed for a small one, is none here.
    pub fn take_digits(&mut self, between: &Range<f32>, closer: &Self, ends: (f32, f32)) {
        let closer_by = (ends.1 - ends.0) / (between.end - between.start);
        let at = |x: f32| ends.0 + (x - between.start) * closer_by;
        // The other strip's columns within some px of a column of this one, and its surest digit there.
        let near = |c: usize, reach: f32| {
            let (from, to) = (at(middle_of(c) - reach), at(middle_of(c) + reach));
            let columns = closer.column(from.max(0.0)).zip(closer.column(to));
            let columns = columns.map_or(0..0, |(first, last)| first..last + 1);
            let stands = columns.clone().map(|f| closer.kinds[f][DIGIT]);
            (columns, stands.fold(0.0, f32::max))
        };
        for c in (0..self.len()).filter(|&c| between.contains(&middle_of(c))) {
            let (columns, trust) = near(c, 0.5 * COLUMN_PX);
            let sum: f32 = columns.clone().map(|f| closer.kinds[f][DIGIT]).sum();
            for (digit, p) in self.digits[c].iter_mut().enumerate() {
                let seen = columns
                    .clone()
                    .map(|f| closer.kinds[f][DIGIT] * closer.digits[f][digit]);
                *p = (1.0 - trust) * *p + trust * seen.sum::<f32>() / sum.max(1e-6);
            }
            let (_, stands) = near(c, 1.5 * COLUMN_PX);
            let none = (1.0 - stands) * self.kinds[c][DIGIT];
            self.kinds[c][DIGIT] -= none;
            self.kinds[c][OTHER] += none;
        }
    }

    /// The likeliest digits from left to right, without what stands between them.
    pub fn digits(&self) -> String {
        let digits = self
            .characters()
            .into_iter()
            .filter(|c| c.kind == Kind::Digit);
        digits
            .map(|c| char::from(b'0' + self.odds_near(c.x, COLUMN_PX).best().0))
            .collect()
    }

    /// True if a digit stands so near to an end of the strip that another may lie beyond.
    pub fn has_digit_at_an_end(&self) -> bool {
        let width_px = self.len() as f32 * COLUMN_PX;
        let is_near = |x: f32| x < AT_AN_END_PX || x > width_px - AT_AN_END_PX;
        self.characters()
            .iter()
            .any(|c| c.kind == Kind::Digit && c.sureness > LEAST_TELLING && is_near(c.x))
    }

    /// True if a mark stands before the first digit, or behind the last: it leads to more of them.
    pub fn has_mark_at_an_end(&self) -> bool {
        let mut characters = self.characters();
        characters.retain(|c| c.kind != Kind::Other && c.sureness > LEAST_TELLING);
        [characters.first(), characters.last()]
            .iter()
            .flatten()
            .any(|c| c.kind == Kind::Mark)
    }

    /// True if three digits or so stand in the strip, whichever way they face.
    pub fn shows_digits(&self) -> bool {
        self.telling().len() >= FEWEST_IN_ROW
    }

    /// True if a digit stands in the strip, whichever way it faces.
    pub fn shows_a_digit(&self) -> bool {
        !self.telling().is_empty()
    }

    /// Columns in which a digit stands, whichever way it faces.
    fn telling(&self) -> Vec<usize> {
        let stands = |&c: &usize| self.facing(c).iter().sum::<f32>() > LEAST_TELLING;
        (0..self.len()).filter(stands).collect()
    }

    /// True if a digit stands here that makes sense in a mirror only.
    pub fn has_mirrored(&self) -> bool {
        self.characters().iter().any(|c| {
            self.column(c.x)
                .is_some_and(|at| self.kinds[at][MIRROR] > LEAST_TELLING)
        })
    }

    /// Probabilities that a digit stands in a column: upright, upside down, in a mirror.
    fn facing(&self, column: usize) -> [f32; 3] {
        [DIGIT, TURNED, MIRROR].map(|class| self.kinds[column][class])
    }

    /// Digit odds of the place whose middle is expected at `x`, give or take `reach`
    /// (strip px). Columns count by how surely a digit stands there; where none does,
    /// the odds lean to flat, because a dark or covered place says nothing.
    pub fn odds_near(&self, x: f32, reach: f32) -> DigitOdds {
        let mut weights = [0.0f32; 10];
        let (mut sum, mut top) = (0.0f32, 0.0f32);
        let first = ((x - reach) / COLUMN_PX).floor().max(0.0) as usize;
        let last = (((x + reach) / COLUMN_PX).floor().max(0.0) as usize).min(self.len() - 1);
        for c in first..=last {
            let w = self.kinds[c][DIGIT];
            top = top.max(w);
            sum += w;
            for (total, p) in weights.iter_mut().zip(&self.digits[c]) {
                *total += w * p;
            }
        }
        if sum <= 1e-3 {
            return DigitOdds::FLAT;
        }
        let trust = (2.0 * top).min(1.0);
        DigitOdds::from_weights(weights.map(|w| trust * w / sum + (1.0 - trust) * 0.1))
    }

    /// What stands between two places (middles in strip px).
    pub fn mark_between(&self, left: f32, right: f32) -> MarkOdds {
        let first = (left / COLUMN_PX).ceil().max(0.0) as usize;
        let last =
            ((right / COLUMN_PX).floor().max(0.0) as usize).min(self.len().saturating_sub(1));
        let most = |class: usize| {
            (first..=last)
                .map(|c| self.kinds[c][class])
                .fold(0.0f32, f32::max)
        };
        let (colon, semicolon, dot) = (most(COLON), most(SEMICOLON), most(DOT));
        let none = (1.0 - colon.max(semicolon).max(dot)).max(0.0);
        let sum = (colon + semicolon + dot + none).max(1e-6);
        MarkOdds {
            colon: colon / sum,
            semicolon: semicolon / sum,
            dot: dot / sum,
            none: none / sum,
        }
    }

    /// The column (strip px) between two places in which a semicolon is likeliest.
    pub fn semicolon_between(&self, left: f32, right: f32) -> f32 {
        let columns = (0..self.len()).filter(|&c| (left..=right).contains(&middle_of(c)));
        let weight = |c: usize| self.kinds[c][SEMICOLON];
        let likeliest = columns.max_by(|&a, &b| weight(a).total_cmp(&weight(b)));
        likeliest.map_or(f32::midpoint(left, right), middle_of)
    }

    /// The characters from left to right: runs of columns of one kind.
    pub fn characters(&self) -> Vec<Character> {
        let label = |c: usize| {
            [Kind::Nothing, Kind::Digit, Kind::Mark, Kind::Other]
                .into_iter()
                .max_by(|&a, &b| self.weight(c, a).total_cmp(&self.weight(c, b)))
                .unwrap_or(Kind::Nothing)
        };
        let mut runs: Vec<(Kind, usize, usize)> = Vec::new();
        let mut last = Kind::Nothing;
        for c in 0..self.len() {
            let kind = label(c);
            match runs.last_mut() {
                Some(run) if kind == last && kind != Kind::Nothing => run.2 = c + 1,
                _ if kind != Kind::Nothing => runs.push((kind, c, c + 1)),
                _ => {}
            }
            last = kind;
        }
        let mut lengths: Vec<usize> = runs
            .iter()
            .filter(|r| r.0 == Kind::Digit)
            .map(|r| r.2 - r.1)
            .collect();
        lengths.sort_unstable();
        let usual = lengths.get(lengths.len() / 2).copied();
        let usual = usual.unwrap_or(0).max(SHORTEST_RUN);
        let mut found = Vec::new();
        for (kind, from, to) in runs {
            let scale = self.scale_at(middle_of(usize::midpoint(from, to)));
            let usual = ((usual as f32 * scale).round() as usize).max(2);
            // Gaps are about as long as digits, so that n digits that touch make one run of 2n - 1 of them.
            let pieces = match kind {
                Kind::Digit => ((to - from + usual) / (2 * usual)).max(1),
                _ => 1,
            };
            let step = (to - from) as f32 / pieces as f32;
            for piece in 0..pieces {
                let a = from + (piece as f32 * step).round() as usize;
                let b = (from + ((piece + 1) as f32 * step).round() as usize).max(a + 1);
                found.push(self.character(kind, a, b.min(self.len())));
            }
        }
        found
    }

    /// Probability of a kind in a column.
    pub(super) fn weight(&self, column: usize, kind: Kind) -> f32 {
        let p = &self.kinds[column];
        match kind {
            Kind::Nothing => p[NOTHING],
            Kind::Digit => p[DIGIT],
            Kind::Mark => p[COLON] + p[SEMICOLON] + p[DOT],
            Kind::Other => p[OTHER] + p[TURNED] + p[MIRROR],
        }
    }

    fn character(&self, kind: Kind, from: usize, to: usize) -> Character {
        let weight = |c: usize| self.weight(c, kind);
        let sum: f32 = (from..to).map(weight).sum();
        let x = (from..to)
            .map(|c| (c as f32 + 0.5) * weight(c))
            .sum::<f32>()
            / sum.max(1e-6);
        let x = x * COLUMN_PX;
        Character {
            kind,
            x,
            sureness: (from..to).map(weight).fold(0.0, f32::max),
            scale: self.scale_at(x),
        }
    }

    /// True if digits at two columns (strip px) are of one size.
    pub fn are_of_one_size(&self, x: f32, other: f32) -> bool {
        let small = self.small.as_ref();
        small.is_none_or(|small| small.between.contains(&x) == small.between.contains(&other))
    }

    /// As [`Character::scale`], at a column (strip px).
    fn scale_at(&self, x: f32) -> f32 {
        let small = self.small.as_ref().filter(|s| s.between.contains(&x));
        small.map_or(1.0, |small| small.scale)
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    /// Columns as a perfect reader would give them: digits of `pitch` px, marks narrower; `?` is
    /// a digit that may be any.
    pub fn perfect(text: &str, start: f32, pitch: f32, width: usize) -> Columns {
        let mut nothing = [0.0; CLASSES];
        nothing[NOTHING] = 1.0;
        let mut kinds = vec![nothing; width];
        let mut digits = vec![[0.1; 10]; width];
        let mut x = start;
        for ch in text.chars() {
            let (class, advance) = match ch {
                '0'..='9' | '?' => (DIGIT, pitch),
                ':' => (COLON, pitch * 0.5),
                ';' => (SEMICOLON, pitch * 0.5),
                '.' => (DOT, pitch * 0.5),
                ' ' => (NOTHING, pitch * 0.8),
                '|' => (OTHER, pitch * 0.3),
                'W' => (OTHER, pitch * 1.3),
                _ => (OTHER, pitch),
            };
            let middle = x + advance / 2.0;
            for c in 0..width {
                if ((c as f32 + 0.5) * COLUMN_PX - middle).abs() < 0.25 * advance.max(6.0) {
                    kinds[c] = [0.0125; CLASSES];
                    kinds[c][class] = 0.9125;
                    if let Some(d) = ch.to_digit(10) {
                        digits[c] = [0.01; 10];
                        digits[c][d as usize] = 0.91;
                    }
                }
            }
            x += advance;
        }
        let lies = vec![[0.0; 2]; width];
        Columns {
            is_in_two_sizes: false,
            small: None,
            kinds,
            digits,
            lies,
        }
    }

    #[test]
    fn small_digits_are_taken_from_a_strip_of_their_own() {
        // Two digits of 6 px, of which nobody can tell what they are, between 80 and 92 px.
        let mut columns = perfect("10:20?", 20.0, 12.0, 64);
        let small = perfect("??", 80.0, 6.0, 64);
        for c in 40..46 {
            (columns.kinds[c], columns.digits[c]) = (small.kinds[c], small.digits[c]);
        }
        let closer = perfect("47", 16.0, 14.0, 32);
        columns.take_digits(&(80.0..92.0), &closer, (16.0, 44.0));
        for (x, digit) in [(83.0, 4), (89.0, 7)] {
            let (best, sureness) = columns.odds_near(x, 1.0).best();
            assert_eq!(best, digit);
            assert!(sureness > 0.8, "{x}: {sureness}");
        }
        let before = columns.odds_near(26.0, 4.0).best();
        assert_eq!((before.0, before.1 > 0.85), (1, true));
        // Where the other strip shows no digit there is none.
        let was = columns.digits.clone();
        columns.take_digits(&(80.0..92.0), &perfect("", 0.0, 1.0, 32), (16.0, 44.0));
        assert_eq!(columns.digits, was);
        assert!(columns.digit_at(26.0) > 0.9);
        for x in [83.0, 89.0] {
            assert!(columns.digit_at(x) < 0.1, "{x}");
        }
    }

    #[test]
    fn specks_beside_two_digits_do_not_cut_them_in_two() {
        let mut columns = perfect("28", 40.0, 24.0, 64);
        for speck in [2, 50, 53, 57] {
            columns.kinds[speck] = columns.kinds[26];
        }
        let digits: Vec<f32> = (columns.characters().into_iter())
            .filter(|c| (40.0..88.0).contains(&c.x))
            .map(|c| c.x)
            .collect();
        assert_eq!(digits.len(), 2, "{digits:?}");
    }

    #[test]
    fn a_digit_at_either_end_of_the_strip_is_noticed() {
        for (start, width, is_at_an_end) in [(30.0, 100, false), (4.0, 100, true), (30.0, 59, true)]
        {
            let columns = perfect("10:20:30", start, 12.0, width);
            assert_eq!(columns.has_digit_at_an_end(), is_at_an_end, "from {start}");
        }
    }

    #[test]
    fn characters_come_back_in_order_with_their_kinds() {
        let columns = perfect("P 10:59;23", 20.0, 12.0, 128);
        let kinds: Vec<Kind> = columns.characters().iter().map(|c| c.kind).collect();
        use Kind::{Digit, Mark, Other};
        assert_eq!(
            kinds,
            [Other, Digit, Digit, Mark, Digit, Digit, Mark, Digit, Digit]
        );
    }

    #[test]
    fn a_line_of_mirrored_digits_is_one_in_a_mirror() {
        let mut columns = perfect("10:20:30", 20.0, 12.0, 128);
        assert!(!columns.has_mirrored());
        for kinds in &mut columns.kinds {
            kinds.swap(DIGIT, MIRROR);
        }
        assert!(columns.has_mirrored());
        assert!(columns.lie().is_some());
        assert!(columns.shows_digits());
        assert!(!perfect("7:LOT", 20.0, 12.0, 128).shows_digits());
    }

    #[test]
    fn a_place_without_a_digit_is_flat_and_one_with_a_digit_is_not() {
        let columns = perfect("7", 20.0, 12.0, 64);
        assert_eq!(columns.odds_near(26.0, 4.0).best().0, 7);
        assert!(columns.odds_near(26.0, 4.0).best().1 > 0.85);
        assert!(columns.odds_near(90.0, 4.0).best().1 < 0.2);
    }
}
