//! Digits that are against the fit and say nothing against the clock: what one exposure lays on
//! top of each other, and a last group that is read with its places moved by one.

use super::looks::Looks;
use super::placed::Placed;
use super::sight::Blur;
use crate::reading::DigitOdds;

/// The lit segments of the digits 0 to 9, a to g from the lowest bit on.
const SEGMENTS: [u8; 10] = [
    0b011_1111, 0b000_0110, 0b101_1011, 0b100_1111, 0b110_0110, 0b110_1101, 0b111_1101, 0b000_0111,
    0b111_1111, 0b110_1111,
];

/// What may excuse the digits of a look that are against the fit.
pub(super) struct Excuse {
    /// For each place, whether it tells a pile.
    piled: Vec<bool>,
    is_moved: bool,
    /// The first place of the last group.
    last_group: usize,
}

impl Excuse {
    pub fn is_moved(&self, place: usize) -> bool {
        self.is_moved && place >= self.last_group
    }

    pub fn holds(&self, place: usize) -> bool {
        self.piled[place] || self.is_moved(place)
    }
}

pub(super) fn excuse(placed: &Placed, look: usize, blur: Blur) -> Excuse {
    let (looks, form, counts) = (placed.looks, placed.form, &placed.counts);
    let count = counts[look];
    let reach = blur.steps * blur.counts_per_step();
    // A change that is caught in this frame lies between its neighbours.
    let before = look.checked_sub(1).map_or(i64::MIN, |i| counts[i]);
    let after = counts.get(look + 1).copied().unwrap_or(i64::MAX);
    let first = before.max(count - reach).min(count);
    let last = after.min(count + reach).max(count);
    let labels: Vec<_> = (first..=last).map(|c| form.digits(c)).collect();
    let at = (count - first) as usize;
    let hidden = looks.dial.hidden_digits();
    let places = looks.dial.places();
    let is_moved = is_moved(looks, look, &labels[at].as_slice()[hidden..]);
    let piled = (0..places)
        .map(|place| {
            let shown: Vec<u8> = labels
                .iter()
                .map(|label| label.as_slice()[hidden + place])
                .collect();
            let (told, _) = looks.reading(look).places[place].best();
            is_pile(told, &shown, at)
        })
        .collect();
    Excuse {
        piled,
        is_moved,
        last_group: places - usize::from(looks.dial.last_digits),
    }
}

/// True if `told` is none of the digits that a place shows one after the other, but has just the
/// segments of some of them in a row, the one `at` an index among them: a shutter that is open for
/// all of these sees them on top of each other, 3 and 4 as a 9.
fn is_pile(told: u8, shown: &[u8], at: usize) -> bool {
    // A digit that stands adds nothing, and ten in turn are all that a place has.
    let others = |run: &mut dyn Iterator<Item = &u8>| {
        let mut turns: Vec<u8> = run.copied().collect();
        turns.dedup();
        turns.truncate(10);
        let until = turns.iter().position(|&digit| digit == told);
        turns.truncate(until.unwrap_or(turns.len()));
        turns
    };
    let before = others(&mut shown[..=at].iter().rev());
    let behind = others(&mut shown[at..].iter());
    let lit = |digits: &[u8]| {
        digits
            .iter()
            .fold(0, |lit, &digit| lit | SEGMENTS[usize::from(digit)])
    };
    (1..=before.len()).any(|from| {
        let before = lit(&before[..from]);
        (1..=behind.len()).any(|to| before | lit(&behind[..to]) == SEGMENTS[usize::from(told)])
    })
}

/// True if the last group shows the digits of the label but one, and has one place that tells
/// none: where two ones stand close they pass for one, and the rest moves up.
fn is_moved(looks: &Looks, look: usize, label: &[u8]) -> bool {
    let group = label.len() - usize::from(looks.dial.last_digits)..label.len();
    let places = &looks.reading(look).places[group.clone()];
    let told: Vec<u8> = places.iter().filter_map(DigitOdds::told).collect();
    !told.is_empty()
        && told.len() + 1 == group.len()
        && group.clone().any(|missing| {
            let rest = group.clone().filter(|&place| place != missing);
            rest.map(|place| label[place]).eq(told.iter().copied())
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand, from the seven segments: 3 and 4 light all but the lower left one, 6 and 7 all; 1
    /// and 2 light what is no digit.
    #[test]
    fn digits_on_top_of_each_other_look_like_the_one_with_all_their_segments() {
        assert!(is_pile(9, &[3, 4], 0) && is_pile(9, &[3, 4, 5], 1));
        assert!(is_pile(8, &[6, 7], 1) && is_pile(8, &[9, 0], 0));
        // The next digit, or the one before, is no pile: it says that the clock is ahead.
        assert!(!is_pile(4, &[3, 4], 0) && !is_pile(8, &[8, 9], 1));
        assert!(!is_pile(8, &[3, 4], 0) && (0..10).all(|told| !is_pile(told, &[1, 2], 0)));
        // Of three digits in a row, two that do not hold the middle one are none, either.
        assert!(!is_pile(9, &[3, 4, 8], 2));
        assert!((0..10).all(|told| !is_pile(told, &[5], 0)));
        // A place that stands is what it shows, and one that goes round may show anything.
        assert!(is_pile(9, &[3, 3, 3, 4, 4], 1) && !is_pile(8, &[3; 1000], 500));
    }

    /// Footage that plays a thousand times too fast is no reason to wait.
    #[test]
    fn a_long_run_is_looked_at_once() {
        let shown: Vec<u8> = (0..1_000_000).map(|count| (count / 7 % 6) as u8).collect();
        assert!(is_pile(8, &shown, 500_000) && !is_pile(7, &shown, 500_000));
    }
}
