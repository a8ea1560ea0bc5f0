//! A display that is held while its clock runs on, as slates hold theirs at the clap.

use super::looks::Looks;
use crate::reading::DigitOdds;
use std::ops::Range;

/// A label is held if it stands this many times longer than any that was seen to change before.
/// Panels and repeated frames keep one for three times as long, a display that shows every fifth
/// count keeps them all alike.
const LONGER: i64 = 4;
/// Looks, at least, in which a label stands that is said to be held.
const FEWEST_LOOKS: usize = 5;
/// Labels that must have been seen to change before one can be said to be held.
const FEWEST_LABELS: usize = 6;

/// Looks at held labels, told apart from those at a display that runs.
pub(super) struct Held {
    /// All looks but those, and the first at each held label: it says when that came.
    pub running: Vec<usize>,
    /// The first look at each held label and the last.
    pub held: Vec<(usize, usize)>,
}

impl Held {
    /// `None` if no label is held behind some that run: a display that stands before it runs may
    /// be a clock that was started then.
    pub fn of(looks: &Looks) -> Option<Self> {
        let labels = labels(looks);
        let mut running = Vec::new();
        let mut held = Vec::new();
        let mut longest = 0;
        for (number, &(first, behind)) in labels.iter().enumerate() {
            let last = behind - 1;
            let until = behind.min(looks.len() - 1);
            let stood_for = looks.ticks[until] - looks.ticks[first];
            let is_held = number >= FEWEST_LABELS
                && behind - first >= FEWEST_LOOKS
                && stood_for >= LONGER * longest
                && tells_the_last_place(looks, first..behind);
            if is_held {
                running.push(first);
                held.push((first, last));
            } else {
                running.extend(first..behind);
                longest = longest.max(stood_for);
            }
        }
        (!held.is_empty()).then_some(Self { running, held })
    }
}

/// Stretches of looks that show one label: the first of each, and that behind its last. A look that
/// reads otherwise between two that read alike is misread.
fn labels(looks: &Looks) -> Vec<(usize, usize)> {
    let mut labels: Vec<(usize, usize)> = Vec::new();
    let mut shown: Vec<Option<u8>> = Vec::new();
    for look in 0..looks.len() {
        let now = digits(looks, look);
        let is_misread = || {
            let next = (look + 1 < looks.len()).then(|| digits(looks, look + 1));
            next.is_some_and(|next| tells(&next) > 0 && agree(&shown, &next))
        };
        match labels.last_mut() {
            Some((_, behind)) if agree(&shown, &now) || is_misread() => {
                *behind = look + 1;
                if agree(&shown, &now) {
                    for (known, now) in shown.iter_mut().zip(now) {
                        *known = known.or(now);
                    }
                }
            }
            _ => {
                labels.push((look, look + 1));
                shown = now;
            }
        }
    }
    labels
}

fn digits(looks: &Looks, look: usize) -> Vec<Option<u8>> {
    let places = &looks.reading(look).places[..looks.dial.places()];
    places.iter().map(DigitOdds::told).collect()
}

fn tells(digits: &[Option<u8>]) -> usize {
    digits.iter().flatten().count()
}

fn agree(one: &[Option<u8>], other: &[Option<u8>]) -> bool {
    let mut places = one.iter().zip(other);
    places.all(|(one, other)| one.is_none() || other.is_none() || one == other)
}

/// True if most of some looks tell the place that changes first: where it is not read, any label
/// seems to stand.
fn tells_the_last_place(looks: &Looks, some: Range<usize>) -> bool {
    let of = some.len();
    let last = looks.dial.places() - 1;
    let tells = |&look: &usize| looks.reading(look).places[last].told().is_some();
    2 * some.filter(tells).count() > of
}
