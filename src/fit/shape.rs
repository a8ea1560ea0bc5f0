//! The clock's own font: a digit that stands, held against those that moved.
//!
//! A digit of which a reader is in doubt, among others that it reads plainly, may be one of a font that
//! it never saw, or one that something lies over. The clock itself shows what its digits look like: which
//! of them a place showed that moved is known from the motion, and the mean of many frames has little
//! noise. What lies over a digit makes it like none of them.

use super::placed::Placed;
use crate::glyph::Shape;

/// Correlation with the clock's own digit, at least, and how much nearer a digit must lie to that than
/// to another one (half way is 0). Of 18,077 pairs of a digit that stood in a filmed clip and
/// another, 11 were the other by these limits; half of those in plain view correlate by 0.95 or more
/// (docs/fit.md).
const LEAST_LIKENESS: f32 = 0.9;
const LEAST_NEARNESS: f32 = 0.5;
/// Correlation with the clock's own digit below which a digit is unlike it. In 319 filmed clips, half
/// of them behind fingers, it was below that for 88 of 1,254 right digits that stood, and for 15 of 22
/// wrong ones on dials of eight places (docs/fit.md).
const MOST_UNLIKE: f32 = 0.6;
/// Probability that a look must give to the digit which the motion tells, to show what it looks
/// like: caught in its change, it looks like two.
const WELL_READ: f32 = 0.6;
/// Looks that tell what a digit looks like, at least.
const FEWEST_LOOKS: usize = 2;
/// Different digits that a place must have shown for its motion to tell which they were.
const FEWEST_DIGITS: usize = 3;

/// What the places of one sighting looked like.
pub(super) struct Shapes {
    /// Of places that showed one digit throughout: which, and its shape.
    standing: Vec<Option<(u8, Shape)>>,
    /// Of each place that moved: the shapes of its digits, made of no look where it did not show one.
    moved: Vec<[Shape; 10]>,
}

impl Shapes {
    /// Of one sighting.
    pub fn of(placed: &Placed) -> Self {
        let looks = placed.looks;
        let mut shapes = Self {
            standing: Vec::new(),
            moved: Vec::new(),
        };
        for place in 0..looks.dial.places() {
            let digit_at = |look: usize| placed.digit(look, place);
            let mut is_shown = [false; 10];
            (0..looks.len()).for_each(|look| is_shown[usize::from(digit_at(look))] = true);
            let seen = (0..looks.len()).filter_map(|look| {
                let reading = looks.reading(look);
                Some((
                    digit_at(look),
                    &reading.places[place],
                    reading.glyph(place)?,
                ))
            });
            let digits = is_shown.iter().filter(|&&is| is).count();
            let mut standing = None;
            if digits == 1 {
                let mut shape = Shape::default();
                seen.for_each(|(_, _, glyph)| shape.add(glyph));
                standing = Some((digit_at(0), shape));
            } else if digits >= FEWEST_DIGITS {
                let mut shown: [Shape; 10] = Default::default();
                seen.filter(|(digit, odds, _)| odds.of(*digit) >= WELL_READ)
                    .for_each(|(digit, _, glyph)| shown[usize::from(digit)].add(glyph));
                shapes.moved.push(shown);
            }
            shapes.standing.push(standing);
        }
        shapes
    }

    /// True if the digit that stands at a place looks unlike that digit elsewhere in the clock:
    /// something lies over it, or it is another one. False also if it does not stand, if the clock
    /// did not show it elsewhere, and of a 1: most of its picture is what stands beside it.
    pub fn is_unlike_its_own(&self, place: usize) -> bool {
        let Some((digit, shape)) = &self.standing[place] else {
            return false;
        };
        if *digit == 1 || shape.looks == 0 {
            return false;
        }
        let of_it = self.moved_to(usize::from(*digit));
        let likeness = of_it.map(|(_, own)| shape.likeness(own));
        (likeness.reduce(f32::max)).is_some_and(|likeness| likeness < MOST_UNLIKE)
    }

    /// The shapes of a digit where the clock moved, with their places.
    fn moved_to(&self, digit: usize) -> impl Iterator<Item = (usize, &Shape)> {
        let places = self.moved.iter().enumerate();
        places.filter_map(move |(i, shown)| {
            let shape = shown.get(digit)?;
            (shape.looks >= FEWEST_LOOKS).then_some((i, shape))
        })
    }

    /// True if the digit that stands at a place looks as it does elsewhere in the clock, and not as
    /// another one; false also if it does not stand, or if the clock did not show both.
    pub fn tell(&self, place: usize, other: usize) -> bool {
        let Some((digit, shape)) = &self.standing[place] else {
            return false;
        };
        let digit = usize::from(*digit);
        if digit == other || shape.looks == 0 {
            return false;
        }
        // One place shows both in one light.
        let pairs = || {
            let ones = self.moved_to(digit);
            ones.flat_map(|one| self.moved_to(other).map(move |two| (one, two)))
        };
        let has_both = pairs().any(|(one, two)| one.0 == two.0);
        let closest = pairs()
            .filter(|(one, two)| !has_both || one.0 == two.0)
            .map(|(one, two)| shape.between(one.1, two.1))
            .max_by(|a, b| a.likeness.total_cmp(&b.likeness));
        closest.is_some_and(|c| c.likeness >= LEAST_LIKENESS && c.nearness >= LEAST_NEARNESS)
    }
}
