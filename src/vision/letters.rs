//! Letters where AM and PM stand beside the digits of a clock of twelve hours. They are not read: two
//! letters by themselves, whichever they are, leave open which half of the day it is. In strips that
//! are cut for the reader, since the network of `half_day.rs` is less sure close behind the digits.

use super::display::Display;
use super::eye::{Eye, WITH_ROOM};
use super::pyramid::Pyramid;
use super::read::{COLUMN_PX, Character, Columns, Kind, LEAST_TELLING, middle_of};
use super::rectify::{DIGIT_PX, Room};
use super::row::Beside;
use crate::error::Result;

/// Letters of AM or PM that are as tall as the digits begin within so many strip px of the edge of
/// the last digit's cell: a space of a font whose letters are all as wide, and a little more.
const LETTERS_BEGIN_PX: f32 = 24.0;
/// Two such letters take no more strip px than this, in wide fonts too; three take more.
const TWO_LETTERS_PX: f32 = 40.0;
/// Two letters half as tall as the digits take no fewer strip px than this: AM and PM take 10 to 26
/// (seen in twelve clips), and the edge of a screen passes for one sign of 2 to 8.
const FEWEST_PX: f32 = 10.0;
/// Nothing for so many strip px ends them.
const LETTERS_END_PX: f32 = 14.0;
/// Columns in which the first of them stands, at least: that of a letter of a third of the height.
const FEWEST_OF_A_LETTER: usize = 2;
/// Strip px on either side of two small letters in which nothing stands: twice what parts words.
const ALONE_PX: f32 = 24.0;
/// Two small letters take no more strip px than this: they may be a third taller than the strip is
/// cut for.
const TWO_ALONE_PX: f32 = 48.0;
/// Letters where texture is looked at as well, above the digits, far behind or before them, are plain
/// from this sureness on (texture has 0.7 at most), and their middles lie so many strip px apart.
const PLAIN_LETTER: f32 = 0.75;
const LETTERS_APART_PX: std::ops::Range<f32> = 8.0..26.0;
/// Share of the strongest contrast in a strip that a letter has at least, and how far it reaches to
/// either side.
const LEAST_CONTRAST: f32 = 0.4;
const HALF_A_LETTER_PX: f32 = 5.0;
/// Small print of AM and PM behind the upper half of the last digit.
const BEHIND: Beside = Beside {
    along: (0.0, 2.0),
    across: (-0.05, 0.45),
};
/// Small print below the last digits, of two sizes.
const BELOW: [Beside; 2] = [
    Beside {
        along: (-1.8, 0.2),
        across: (1.2, 1.7),
    },
    Beside {
        along: (-1.8, 0.2),
        across: (1.3, 1.9),
    },
];
/// Small print above the digits, near to them or a little further: from and to how far below the
/// upper edge of their row. How far along is not known; so much beyond both ends is looked at, too.
const ABOVE: [(f32, f32); 2] = [(-0.9, -0.4), (-0.6, -0.1)];
const BEYOND_THE_ENDS: f32 = 0.6;
/// Small print further behind the digits, or the lower of two that stand there, of which one is lit.
const FURTHER_BEHIND: [Beside; 2] = [
    Beside {
        along: (0.3, 5.5),
        across: (0.0, 1.0),
    },
    Beside {
        along: (0.1, 5.5),
        across: (0.5, 1.05),
    },
];
/// Small print before the first of the digits: along from there.
const BEFORE: [Beside; 2] = [
    Beside {
        along: (-4.5, -0.2),
        across: (0.0, 1.0),
    },
    Beside {
        along: (-4.5, -0.2),
        across: (0.15, 0.85),
    },
];
/// What is taken in around small print, in heights of its letters.
const AROUND_LETTERS: Room = Room {
    margin: 1.0,
    step_px: 16,
};

impl Columns {
    /// How far letters reach, strip px, of which the first begins right behind the cell of a digit
    /// that ends at `x`; `None` if none does.
    pub fn letters_behind(&self, x: f32) -> Option<f32> {
        let from = (x / COLUMN_PX).ceil().max(0.0) as usize;
        let holds = |c: usize| self.weight(c, Kind::Nothing) < LEAST_TELLING;
        let is_letter = |c: &usize| self.weight(*c, Kind::Other) > LEAST_TELLING;
        let first = (from..self.len()).find(|&c| holds(c))?;
        let letter = (first..self.len()).take_while(is_letter).count();
        if letter < FEWEST_OF_A_LETTER || middle_of(first) - x > LETTERS_BEGIN_PX {
            return None;
        }
        let mut last = first;
        for c in first..self.len() {
            if self.weight(c, Kind::Nothing) < 1.0 - PLAIN_LETTER {
                last = c;
            } else if middle_of(c) - middle_of(last) > LETTERS_END_PX {
                break;
            }
        }
        let px = middle_of(last + 1) - middle_of(first);
        let goes_on = last + 1 == self.len();
        (px >= FEWEST_PX || goes_on).then_some(px)
    }

    /// True if two letters stand together from `x` (strip px) on, with nothing beside them: noise and
    /// texture that pass for letters seldom leave room around two of them.
    pub fn has_two_letters(&self, x: f32) -> bool {
        let from = (x / COLUMN_PX).ceil().max(0.0) as usize;
        let mut runs: Vec<(usize, usize)> = Vec::new();
        for c in (from..self.len()).filter(|&c| self.weight(c, Kind::Nothing) < LEAST_TELLING) {
            match runs.last_mut() {
                Some(run) if run.1 == c => run.1 += 1,
                _ => runs.push((c, c + 1)),
            }
        }
        let px = |from: usize, to: usize| (to - from) as f32 * COLUMN_PX;
        let is_letter = |&(first, end): &(usize, usize)| {
            let letters = (first..end).filter(|&c| self.weight(c, Kind::Other) > LEAST_TELLING);
            letters.count() >= FEWEST_OF_A_LETTER.max(end - first - 1)
        };
        (0..runs.len().saturating_sub(1)).any(|i| {
            let [first, second] = [runs[i], runs[i + 1]];
            let before = i.checked_sub(1).map(|before| px(runs[before].1, first.0));
            let behind = match runs.get(i + 2) {
                Some(next) => px(second.1, next.0) > ALONE_PX,
                None => second.1 < self.len(),
            };
            before.is_none_or(|px| px > ALONE_PX)
                && behind
                && px(first.1, second.0) < LETTERS_END_PX
                && (DIGIT_PX..TWO_ALONE_PX).contains(&px(first.0, second.1))
                && is_letter(&first)
                && is_letter(&second)
        })
    }

    /// True if two plain letters stand somewhere, with nothing plain beside them; or up to `most` of
    /// what passes for letters, as a broad one may for two. A sign that has a `contrast_at` its place
    /// (strip px) much below that of others is none: beside letters, noise on an even ground passes
    /// for more.
    fn has_plain_letters(&self, most: usize, contrast_at: impl Fn(f32) -> f32) -> bool {
        let mut plain = self.characters();
        plain.retain(|c| c.sureness >= PLAIN_LETTER);
        let signs = plain.iter().filter(|c| c.kind == Kind::Other);
        let strongest = signs.map(|c| contrast_at(c.x)).fold(0.0, f32::max);
        plain.retain(|c| c.kind != Kind::Other || contrast_at(c.x) >= LEAST_CONTRAST * strongest);
        let stand_together =
            |a: &Character, b: &Character| b.x - a.x <= ALONE_PX + LETTERS_APART_PX.start;
        plain.chunk_by(stand_together).any(|word| {
            (2..=most).contains(&word.len())
                && word.iter().all(|c| c.kind == Kind::Other)
                && (word.windows(2)).all(|two| LETTERS_APART_PX.contains(&(two[1].x - two[0].x)))
        })
    }
}

impl Eye {
    /// True if more letters than two follow each other behind the last place of a display, of which
    /// following shows the first only; `None` if none are seen.
    ///
    /// # Errors
    /// Those of the networks.
    pub fn is_word_behind(&self, frame: &Pyramid, display: &Display) -> Result<Option<bool>> {
        let mut found = None;
        for row in &display.rows {
            let Some((_, columns)) = self.look(frame, &row.quad, WITH_ROOM)? else {
                continue;
            };
            let fit = row.align(&columns, WITH_ROOM.margin * DIGIT_PX);
            let letters_px = columns.letters_behind(fit.at(row.length));
            found = found.or(letters_px.map(|px| px > TWO_LETTERS_PX));
        }
        Ok(found)
    }

    /// True if two letters stand by themselves behind the last digits of a display of one row, below
    /// them, above the row or before it: where following does not see those of AM and PM.
    ///
    /// # Errors
    /// Those of the network.
    pub fn has_small_letters(&self, frame: &Pyramid, display: &Display) -> Result<bool> {
        let [row] = &display.rows[..] else {
            return Ok(false);
        };
        // What stands before those behind the digits is a digit.
        let behind = (BEHIND, AROUND_LETTERS.margin * DIGIT_PX);
        let below = BELOW.map(|place| (place, 0.0));
        for (place, begin_px) in [behind].into_iter().chain(below) {
            let quad = row.beside(&place);
            if let Some((_, columns)) = self.cut_and_read(frame, &quad, AROUND_LETTERS)?
                && columns.has_two_letters(begin_px)
            {
                return Ok(true);
            }
        }
        let above = ABOVE.map(|across| Beside {
            along: (-row.length - BEYOND_THE_ENDS, BEYOND_THE_ENDS),
            across,
        });
        let before = BEFORE.map(|place| Beside {
            along: (place.along.0 - row.length, place.along.1 - row.length),
            ..place
        });
        let places = above.map(|place| (place, 2)).into_iter();
        let beside = FURTHER_BEHIND.into_iter().chain(before);
        for (place, most) in places.chain(beside.map(|place| (place, 3))) {
            let seen = self.cut_and_read(frame, &row.beside(&place), AROUND_LETTERS)?;
            if seen.is_some_and(|(strip, columns)| {
                columns.has_plain_letters(most, |x| strip.contrast(x, HALF_A_LETTER_PX))
            }) {
                return Ok(true);
            }
        }
        Ok(false)
    }
}

#[cfg(test)]
mod tests {
    use super::super::read::tests::perfect;
    use super::*;

    /// Strip px between the edges of the digits' cells and of the strip.
    const START: f32 = 20.0;
    const PITCH: f32 = 17.0;

    #[test]
    fn two_letters_behind_the_digits_are_shorter_than_a_word() {
        let end = START + 7.0 * PITCH;
        for (text, is_lettered, is_word) in [
            ("10:20:30", false, false),
            ("10:20:30 PM", true, false),
            ("10:20:30PM", true, false),
            ("10:20:30 W", true, false),
            ("10:20:30 UTC", true, true),
            // One sign, as thin as the edge of a screen.
            ("10:20:30 |", false, false),
            ("10:20:30  25", false, false),
            // Far away, or not right behind.
            ("10:20:30   PM", false, false),
            ("10:20:30 5 M", false, false),
            // What stands beside them is no part of them.
            ("10:20:30 PM   LOT", true, false),
        ] {
            let px = perfect(text, START, PITCH, 200).letters_behind(end);
            assert_eq!(px.is_some(), is_lettered, "{text}");
            assert_eq!(px.is_some_and(|px| px > TWO_LETTERS_PX), is_word, "{text}");
        }
    }

    #[test]
    fn two_letters_by_themselves_are_told_from_one_and_from_more() {
        for (text, are_two) in [
            ("PM", true),
            ("AM   LOT", true),
            ("LOT   AM", true),
            ("P", false),
            ("UTC", false),
            ("25", false),
            ("P5", false),
            ("in step", false),
            ("", false),
        ] {
            let columns = perfect(text, START, PITCH, 100);
            assert_eq!(columns.has_two_letters(0.0), are_two, "{text}");
        }
        for (text, are_two) in [
            ("   PM", true),
            ("AM   SCENE", true),
            ("SCENE", false),
            ("A", false),
            ("A  M", false),
            ("PM5", false),
            ("25", false),
        ] {
            let columns = perfect(text, START, PITCH, 200);
            assert_eq!(columns.has_plain_letters(2, |_| 100.0), are_two, "{text}");
        }
        // Noise beside two letters passes for more of them; its contrast is low.
        let columns = perfect("LPML", START, PITCH, 100);
        let is_within = |x: f32| (START + PITCH..START + 3.0 * PITCH).contains(&x);
        for (beside, are_two) in [(30.0, true), (60.0, false)] {
            let contrast_at = |x: f32| if is_within(x) { 100.0 } else { beside };
            assert_eq!(
                columns.has_plain_letters(2, contrast_at),
                are_two,
                "{beside}"
            );
        }
        // Where a broad letter may pass for two, so may a word of three.
        for (text, are_few) in [("PM", true), ("UTC", true), ("ROLL", false), ("UT5", false)] {
            let columns = perfect(text, START, PITCH, 200);
            assert_eq!(columns.has_plain_letters(3, |_| 100.0), are_few, "{text}");
        }
        // What lies before the place asked for is a digit.
        let columns = perfect("0PM", START, PITCH, 100);
        assert!(!columns.has_two_letters(0.0));
        assert!(columns.has_two_letters(START + PITCH));
        // Letters that run on beyond the strip are a word.
        assert!(!perfect("PM", START, PITCH, 25).has_two_letters(0.0));
    }
}
