//! What lies right beside the digits of a display: further digits, letters, even ground, and whole
//! clocks that share a row with it.

use super::Track;
use crate::vision::Followed;

/// Share of the readings with letters behind the digits from which on there are some: what blurs a
/// letter until it is none blurs no edge into one.
const LETTERED: (usize, usize) = (1, 4);

/// What the readings of a display, and closer looks, saw beside it.
#[derive(Clone, Default)]
pub(super) struct Beside {
    /// Readings in which a digit stood right beside the outermost places.
    cut: usize,
    /// Readings in which letters stood right behind the last place.
    lettered: usize,
    /// Readings beside a whole clock, and those of them in which one of its own rows was that one's.
    with_whole: usize,
    borrowed: usize,
    /// Looks further behind the digits that saw more letters than two, less those that did not.
    words: i32,
    /// Looks that found two small letters by themselves, less those that did not.
    small_letters: i32,
    /// Looks that saw even ground behind the last digits, less those that did not.
    free: i32,
}

impl Beside {
    /// As often as a reading takes one in.
    #[cfg(test)]
    pub fn see_a_digit(&mut self) {
        self.cut += 1;
    }

    pub fn take(&mut self, seen: &Followed) {
        self.cut += usize::from(seen.beyond > 0.5);
        self.lettered += usize::from(seen.is_lettered);
    }
}

impl Track {
    /// Takes what else was read in the frame that was read last.
    pub fn meets<'a>(&mut self, others: impl Iterator<Item = &'a Self>) {
        let is_whole = |other: &&Self| {
            other.misses == 0 && other.display.is_plain_and_whole() && other.counts_parts()
        };
        let mut wholes = others.filter(is_whole).peekable();
        if self.misses == 0 && wholes.peek().is_some() {
            self.beside.with_whole += 1;
            self.beside.borrowed +=
                usize::from(wholes.any(|w| self.display.takes_the_row_of(&w.display)));
        }
    }

    /// True if one of several rows is that of a whole clock: a number above that or below, of a
    /// scene or a slate, would pass for its hours or frames.
    pub(super) fn borrows_a_row(&self) -> bool {
        2 * self.beside.borrowed > self.beside.with_whole
    }

    /// True if letters stand right behind the last place, two or more.
    pub fn seems_lettered(&self) -> bool {
        let (num, den) = LETTERED;
        self.beside.lettered * den > self.sighting.readings.len() * num
    }

    /// Takes what a closer look found: more letters than two behind the last place, if any are
    /// seen, and two small ones by themselves.
    pub fn take_letters(&mut self, is_word: Option<bool>, are_small: bool) {
        self.beside.words += is_word.map_or(0, vote);
        self.beside.small_letters += vote(are_small);
        self.weigh_letters();
    }

    /// Takes what a closer look found: whether even ground lies behind the last digits.
    pub fn take_ground(&mut self, is_even: bool) {
        self.beside.free += vote(is_even);
        self.sighting.stands_free = self.beside.free > 0;
    }

    pub(super) fn weigh_letters(&mut self) {
        let is_behind = self.seems_lettered() && self.beside.words <= 0;
        self.sighting.is_lettered = is_behind || self.beside.small_letters > 0;
    }

    /// True if a digit often stood right beside the display's outermost places: then the
    /// layout leaves one out, and what remains would read as a clock of another form.
    pub fn is_cut(&self) -> bool {
        self.beside.cut >= 3 && self.beside.cut * 4 > self.sighting.readings.len()
    }
}

const fn vote(is: bool) -> i32 {
    if is { 1 } else { -1 }
}

#[cfg(test)]
mod tests {
    use super::super::tests::followed;

    #[test]
    fn letters_in_a_quarter_of_the_readings_or_at_closer_looks_are_some() {
        let lettered = |share: usize, words: &[Option<bool>], small: &[bool]| {
            let mut track = followed(&[2, 2, 2], |n| format!("14221{}", n / 25));
            track.beside.lettered = share;
            for i in 0..words.len().max(small.len()) {
                let word = words.get(i).copied().flatten();
                track.take_letters(word, small.get(i) == Some(&true));
            }
            track.weigh_letters();
            track.sighting.is_lettered
        };
        for (share, words, small, is_lettered) in [
            (0, &[][..], &[][..], false),
            (12, &[], &[], false),
            (13, &[], &[], true),
            (50, &[None, None], &[], true),
            // A word.
            (50, &[Some(true), Some(false), Some(true)], &[], false),
            (50, &[Some(true), Some(false)], &[], true),
            // Small ones, which following does not see.
            (0, &[], &[true, true, false], true),
            (0, &[], &[true, false], false),
        ] {
            assert_eq!(
                lettered(share, words, small),
                is_lettered,
                "{share} {words:?} {small:?}"
            );
        }
    }
}
