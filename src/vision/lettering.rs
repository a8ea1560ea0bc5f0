//! Lines of digits that were looked at in vain for longer than a slate is held: house numbers,
//! prices, what stands on a wall. They are met again at every look.

use crate::frame::Stamp;
use std::collections::HashMap;

/// Seconds between two looks at the same digits from which they are lettering: twice what a slate is
/// held for. A clock shows others by then, all but its hours and minutes, which a second row may
/// leave alone in theirs.
const HELD_S: i128 = 4;
/// Fewer digits are met by chance.
const FEWEST_DIGITS: usize = 3;

/// Digits of lines that were no display when they were looked at every way.
#[derive(Debug, Default)]
pub struct Lettering {
    /// When each was seen first, and whether it was legible as it was
    /// found, rather than upside down or in a mirror.
    lines: HashMap<String, (Stamp, bool)>,
}

impl Lettering {
    /// Whether a line with these digits is legible as it was found, if it is lettering as of a look at
    /// `stamp`.
    pub(super) fn holds(&self, digits: &str, stamp: Stamp) -> Option<bool> {
        let &(first, stands_upright) = self.lines.get(digits)?;
        let apart_s = (stamp.seconds() - first.seconds()).abs();
        (apart_s.floor() >= HELD_S).then_some(stands_upright)
    }

    /// Takes a line that showed no display at `stamp`.
    pub(super) fn add(&mut self, digits: String, stands_upright: bool, stamp: Stamp) {
        if digits.len() >= FEWEST_DIGITS {
            self.lines.entry(digits).or_insert((stamp, stands_upright));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::timecode::Ratio;

    #[test]
    fn digits_are_lettering_once_they_stood_longer_than_a_slate_is_held() {
        let at = |seconds: i64| Stamp {
            ticks: seconds,
            tick_seconds: Ratio::ONE,
            index: None,
        };
        let mut lettering = Lettering::default();
        for seconds in [10, 11, 13] {
            assert_eq!(lettering.holds("1723", at(seconds)), None);
            lettering.add("1723".to_owned(), true, at(seconds));
            lettering.add("1889".to_owned(), false, at(seconds));
            lettering.add("17".to_owned(), true, at(seconds));
        }
        assert_eq!(lettering.holds("1723", at(14)), Some(true));
        assert_eq!(lettering.holds("1889", at(14)), Some(false));
        // The tail is looked at before the middle.
        assert_eq!(lettering.holds("1723", at(2)), Some(true));
        assert_eq!(lettering.holds("1724", at(14)), None);
        assert_eq!(lettering.holds("17", at(14)), None);
    }
}
