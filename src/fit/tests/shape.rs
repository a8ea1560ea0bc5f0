//! What digits look like, where a reader is in doubt of one that stands.

use super::cases::{assert_sure, assert_unsure, run};
use super::sim::{Filmed, Scene, frames};
use crate::glyph::Glyph;
use crate::reading::DigitOdds;
use crate::timecode::{ClockForm, Rate};

const START: &str = "15:25:02:00";
/// Place of the 5 of the minutes, and what else a reader takes it for.
const PLACE: usize = 3;
const DOUBTED: usize = 5;
const RIVAL: usize = 3;

/// Which of the segments a to g (top, then clockwise, middle last) make a digit.
const SEGMENTS: [&str; 10] = [
    "abcdef", "bc", "abged", "abgcd", "fgbc", "afgcd", "afgedc", "abc", "abcdefg", "abfgcd",
];

fn drawn(digit: usize) -> Glyph {
    drawn_with(SEGMENTS[digit], |_, _| false)
}

/// Segments, but for what lies over them.
fn drawn_with(segments: &str, is_covered: impl Fn(f32, f32) -> bool) -> Glyph {
    let box_of = |segment| match segment {
        'a' => (0.25..0.75, 0.15..0.22),
        'b' => (0.67..0.75, 0.15..0.50),
        'c' => (0.67..0.75, 0.50..0.85),
        'd' => (0.25..0.75, 0.78..0.85),
        'e' => (0.25..0.33, 0.50..0.85),
        'f' => (0.25..0.33, 0.15..0.50),
        _ => (0.25..0.75, 0.465..0.535),
    };
    Glyph::from_fn(|x, y| {
        let is_lit = |segment| {
            let (across, down) = box_of(segment);
            across.contains(&x) && down.contains(&y)
        };
        match (is_covered(x, y), segments.chars().any(is_lit)) {
            (true, _) => 90,
            (false, true) => 220,
            (false, false) => 20,
        }
    })
}

/// Frames of a clock at 25 in which all is plain but for one digit that stands, of which the reader
/// is in doubt, and what its places look like: the doubted one as `doubted` says.
fn filmed(doubted: &Glyph) -> Filmed {
    let mut weights = [0.005; 10];
    (weights[DOUBTED], weights[RIVAL]) = (0.9, 0.06);
    filmed_with(PLACE, weights, doubted)
}

/// The same, of the digit at `place`, which the reader takes for each by such odds.
fn filmed_with(place: usize, weights: [f32; 10], looks: &Glyph) -> Filmed {
    let scene = Scene::new(frames(Rate::F25), START, Rate::F25);
    let mut filmed = scene.film();
    let form: ClockForm = scene.form;
    let first = form.count(&form.parse(START).unwrap()).unwrap();
    for (reading, count) in filmed.sighting.readings.iter_mut().zip(first..) {
        reading.places[place] = DigitOdds::from_weights(weights);
        let shown = form.digits(count);
        let glyphs = shown.as_slice().iter().map(|&d| drawn(usize::from(d)));
        reading.glyphs = glyphs.collect();
        reading.glyphs[place] = looks.clone();
    }
    filmed
}

#[test]
fn a_digit_in_doubt_stands_if_it_looks_as_it_does_where_the_clock_moves() {
    assert_sure(&run(&filmed(&drawn(DOUBTED))), START);
    let mut unseen = filmed(&drawn(DOUBTED));
    let readings = unseen.sighting.readings.iter_mut();
    readings.for_each(|reading| reading.glyphs.clear());
    assert_unsure(&run(&unseen), "minutes_doubtful");
}

#[test]
fn it_does_not_if_it_looks_like_the_other_one_or_something_lies_over_it() {
    let covered = drawn_with(SEGMENTS[DOUBTED], |x, y| x < 0.45 && y < 0.6);
    for doubted in [drawn(RIVAL), covered, Glyph::from_fn(|_, _| 20)] {
        assert_unsure(&run(&filmed(&doubted)), "minutes_doubtful");
    }
}

#[test]
fn it_does_not_if_no_picture_shows_either_digit_where_the_clock_moves() {
    for unseen in [DOUBTED, RIVAL] {
        let mut filmed = filmed(&drawn(DOUBTED));
        let readings = filmed.sighting.readings.iter_mut().enumerate();
        // Seconds show both digits in no other frames, tens of frames neither.
        for (_, reading) in readings.filter(|(n, _)| n % 10 == unseen || (25..50).contains(n)) {
            reading.glyphs.clear();
        }
        assert_unsure(&run(&filmed), "minutes_doubtful");
    }
}

/// A fingernail may pass for the 0 of 08, and for no 1 at all; a little for a 6, which no hour begins
/// with.
#[test]
fn a_digit_that_is_not_plain_and_looks_like_none_of_its_own_does_not_stand() {
    const TENS: usize = 2;
    const DIGIT: usize = 2;
    let taken_for_seven = |share: f32| {
        let mut weights = [0.0005; 10];
        (weights[DIGIT], weights[7]) = (0.95, share);
        weights
    };
    let covered = Glyph::from_fn(|x, y| if x + y < 1.0 { 90 } else { 20 });
    for (weights, looks, is_sure) in [
        (taken_for_seven(0.02), &covered, false),
        (taken_for_seven(0.02), &drawn(DIGIT), true),
        // Half hidden and plain.
        (taken_for_seven(0.0005), &covered, true),
    ] {
        let clock = run(&filmed_with(TENS, weights, looks));
        match is_sure {
            true => assert_sure(&clock, START),
            false => assert_unsure(&clock, "minutes_doubtful"),
        }
    }
    // Where the clock shows that digit nowhere else, nothing tells what it should look like.
    let mut unseen = filmed_with(TENS, taken_for_seven(0.02), &covered);
    let form = frames(Rate::F25);
    let first = form.count(&form.parse(START).unwrap()).unwrap();
    for (reading, count) in unseen.sighting.readings.iter_mut().zip(first..) {
        let shown = form.digits(count);
        let mut moving = shown.as_slice()[TENS + 2..].iter();
        if moving.any(|&digit| usize::from(digit) == DIGIT) {
            reading.glyphs.clear();
        }
    }
    assert_sure(&run(&unseen), START);
}
