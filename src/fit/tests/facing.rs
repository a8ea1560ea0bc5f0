//! One display, read more than one way.

use super::cases::{RATES, assert_sure, codes, label};
use super::sim::{Filmed, Scene, frames};
use crate::fit::{ClockFit, Known, fit};
use crate::geometry::{Point, Quad};
use crate::outcome::Verdict;
use crate::reading::{DigitOdds, Sighting};
use crate::timecode::{ClockForm, Rate};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::ops::Range;

/// Which way a display is read: as it stands, as a mirror below it shows it, turned over, as a
/// mirror beside it shows it.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Way {
    Standing,
    InMirrorBelow,
    TurnedOver,
    InMirrorBeside,
}

impl Way {
    const OTHERS: [Self; 3] = [Self::InMirrorBelow, Self::TurnedOver, Self::InMirrorBeside];

    /// The digit of seven segments that each digit makes; `None` where it makes none.
    const fn digits(self) -> [Option<usize>; 10] {
        const NO: Option<usize> = None;
        let [zero, one, two, three, five, six, eight, nine] = [
            Some(0),
            Some(1),
            Some(2),
            Some(3),
            Some(5),
            Some(6),
            Some(8),
            Some(9),
        ];
        match self {
            Self::Standing => [
                zero,
                one,
                two,
                three,
                Some(4),
                five,
                six,
                Some(7),
                eight,
                nine,
            ],
            Self::InMirrorBelow => [zero, one, five, three, NO, two, NO, NO, eight, NO],
            Self::TurnedOver => [zero, one, two, NO, NO, five, nine, NO, eight, six],
            Self::InMirrorBeside => [zero, one, five, NO, NO, two, NO, NO, eight, NO],
        }
    }

    fn quad(self, [a, b, c, d]: [Point; 4]) -> Quad {
        Quad::from_corners(match self {
            Self::Standing => [a, b, c, d],
            Self::InMirrorBelow => [d, c, b, a],
            Self::TurnedOver => [c, d, a, b],
            Self::InMirrorBeside => [b, a, d, c],
        })
    }
}

/// What a reader makes of a digit that is none the other way.
#[derive(Clone, Copy, Debug)]
enum NoDigit {
    Flat,
    TakenFor(usize),
    /// The one that it is the right way.
    Itself,
}

const AT_PX: f32 = 100.0;

/// The sighting as it reads some way, so far from the left.
fn read(filmed: &Filmed, way: Way, left_px: f32, no_digit: NoDigit) -> Sighting {
    let corners = [(0.0, 0.0), (160.0, 0.0), (160.0, 20.0), (0.0, 20.0)];
    let corners = corners.map(|(x, y)| Point::new(left_px + x, 100.0 + y));
    let mut sighting = filmed.sighting.clone();
    for reading in &mut sighting.readings {
        reading.quad = way.quad(corners);
        if matches!(way, Way::TurnedOver | Way::InMirrorBeside) {
            reading.places.reverse();
        }
        for odds in &mut reading.places {
            let mut weights = [0.0; 10];
            for (digit, p) in odds.all().iter().enumerate() {
                match (way.digits()[digit], no_digit) {
                    (Some(other), _) | (None, NoDigit::TakenFor(other)) => weights[other] += p,
                    (None, NoDigit::Itself) => weights[digit] += p,
                    (None, NoDigit::Flat) => weights.iter_mut().for_each(|w| *w += p / 10.0),
                }
            }
            *odds = DigitOdds::from_weights(weights);
        }
    }
    sighting
}

fn fit_both(filmed: &Filmed, one: &Sighting, other: &Sighting) -> [ClockFit; 2] {
    let fit = |sightings: [&Sighting; 2]| fit(&sightings, &filmed.facts, &Known::default());
    [fit([one, other]), fit([other, one])]
}

/// Labels whose hours or minutes are others in a mirror, and whose seconds do not tell.
const TEXTS: [&str; 3] = ["13:12:10:05", "10:20:30:07", "02:52:00:00"];

fn two_seconds(text: &str, rate: Rate) -> Filmed {
    let mut scene = Scene::new(frames(rate), text, Rate::F25);
    scene.frames = (0..45).collect();
    scene.film()
}

#[test]
fn a_display_that_is_read_the_other_way_as_well_is_one_display() {
    for text in TEXTS {
        for rate in [Rate::F25, Rate::F30, Rate::F59_94] {
            let filmed = two_seconds(text, rate);
            let right = read(&filmed, Way::Standing, AT_PX, NoDigit::Flat);
            for way in Way::OTHERS {
                for no_digit in [NoDigit::Flat, NoDigit::TakenFor(8), NoDigit::TakenFor(3)] {
                    let wrong = read(&filmed, way, AT_PX, no_digit);
                    for fit in fit_both(&filmed, &right, &wrong) {
                        assert_sure(&fit, text);
                        let clocks = fit.sightings.iter().filter(|s| s.is_the_clock());
                        assert_eq!(clocks.count(), 1, "{way:?} {no_digit:?}");
                    }
                }
            }
        }
    }
}

/// Read the other way for a few frames, a clock that begins with the clip stands at noughts.
#[test]
fn noughts_that_are_read_the_other_way_as_well_are_no_clock_that_stood() {
    let filmed = two_seconds("00:00:00:00", Rate::F25);
    let right = read(&filmed, Way::Standing, AT_PX, NoDigit::Flat);
    for way in Way::OTHERS {
        for length in [3, 5, 8, 12] {
            let mut wrong = read(&filmed, way, AT_PX, NoDigit::TakenFor(0));
            wrong.readings.truncate(length);
            for fit in fit_both(&filmed, &right, &wrong) {
                assert_sure(&fit, "00:00:00:00");
            }
        }
    }
}

/// The same digits at another place, which tell another time.
#[test]
fn a_clock_elsewhere_that_faces_otherwise_is_another_clock() {
    for text in TEXTS {
        let filmed = two_seconds(text, Rate::F25);
        let right = read(&filmed, Way::Standing, AT_PX, NoDigit::Flat);
        let beside = read(&filmed, Way::InMirrorBelow, AT_PX + 90.0, NoDigit::Flat);
        for fit in fit_both(&filmed, &right, &beside) {
            assert_eq!(codes(&fit), ["clocks_disagree"], "{text}");
        }
    }
}

/// Filmed in a mirror, the display stands there as it is read.
#[test]
fn a_display_in_a_mirror_is_read_as_the_mirror_shows_it() {
    let text = TEXTS[0];
    let filmed = two_seconds(text, Rate::F25);
    let mut right = read(&filmed, Way::Standing, AT_PX, NoDigit::Flat);
    let mut wrong = read(&filmed, Way::InMirrorBelow, AT_PX, NoDigit::Flat);
    for (right, wrong) in right.readings.iter_mut().zip(&mut wrong.readings) {
        std::mem::swap(&mut right.quad, &mut wrong.quad);
    }
    for fit in fit_both(&filmed, &right, &wrong) {
        assert_sure(&fit, text);
    }
}

/// None of its digits that move tells which way it faces; 2 is 5 in the hours.
fn seconds_in_doubt() -> Filmed {
    let mut scene = Scene::new(ClockForm::Seconds, "12:00:06", Rate::F25);
    scene.frames = (0..90).collect();
    scene.film()
}

#[test]
fn where_both_ways_explain_as_much_the_start_is_that_of_no_mirror_and_unsure() {
    let filmed = seconds_in_doubt();
    let standing = read(&filmed, Way::Standing, AT_PX, NoDigit::Itself);
    let mirrored = read(&filmed, Way::InMirrorBelow, AT_PX, NoDigit::Itself);
    // More looks or a little more light in each are no news of which way it faces.
    let mut fewer = standing.clone();
    fewer.readings.drain(..5);
    let mut dimmer = standing.clone();
    for odds in dimmer.readings.iter_mut().flat_map(|r| &mut r.places) {
        *odds = DigitOdds::from_weights(odds.all().map(|p| 0.95 * p + 0.005));
    }
    for standing in [standing, fewer, dimmer] {
        for fit in fit_both(&filmed, &standing, &mirrored) {
            assert_eq!(fit.verdict, Verdict::Unsure, "{fit:#?}");
            assert_eq!(codes(&fit), ["clocks_disagree"]);
            assert_eq!(label(&fit), "12:00:06");
        }
    }
}

/// Any time of day, clock, light, way and reader: what is seen the other way as well costs next to
/// no verdict, and none is wrong for it.
#[test]
fn a_second_way_to_read_a_display_costs_no_verdict() {
    let mut rng = ChaCha8Rng::seed_from_u64(2);
    let (mut alone_sure, mut both_sure) = (0, 0);
    for seed in 0..200 {
        let rate = RATES[rng.random_range(0..RATES.len())];
        let form = frames(rate);
        let mut scene = Scene::new(form, "00:00:00:00", Rate::F25);
        scene.phi = rng.random_range(0.0..1.0) * form.counts_per_day() as f64;
        scene.frames = (0..rng.random_range(15..60)).collect();
        scene.noise = rng.random_range(0.12..0.25);
        scene.seed = seed;
        let filmed = scene.film();
        let text = form.text(scene.phi.floor() as i64);
        let right = read(&filmed, Way::Standing, AT_PX, NoDigit::Flat);
        let way = Way::OTHERS[rng.random_range(0..Way::OTHERS.len())];
        let no_digit = match rng.random_range(0..3) {
            0 => NoDigit::Flat,
            1 => NoDigit::Itself,
            _ => NoDigit::TakenFor(rng.random_range(0..10)),
        };
        let wrong = read(&filmed, way, AT_PX, no_digit);
        let alone = fit(&[&right], &filmed.facts, &Known::default());
        alone_sure += usize::from(alone.verdict == Verdict::Sure);
        let both = fit(&[&right, &wrong], &filmed.facts, &Known::default());
        if both.verdict == Verdict::Sure {
            both_sure += 1;
            assert_eq!(label(&both), label(&alone), "{text} {way:?} {no_digit:?}");
        }
    }
    assert!(alone_sure > 150, "{alone_sure}");
    assert!(both_sure + 6 >= alone_sure, "{both_sure} of {alone_sure}");
}

/// The sighting without a place for the first digit, in some of its readings.
fn without_first_digit(sighting: &Sighting, readings: Range<usize>) -> Sighting {
    let mut cut = sighting.clone();
    cut.layout.groups[0] = 1;
    cut.readings = cut.readings[readings].to_vec();
    for reading in &mut cut.readings {
        reading.places.remove(0);
    }
    cut
}

/// A fingernail before 7:45 makes 07 of it, where a finger hides the 1 of 17. A first digit that
/// is none but 0 disagrees with the display without it.
#[test]
fn a_first_digit_that_only_one_way_to_see_a_display_has_is_in_doubt() {
    for (text, code) in [
        ("07:45:06:10", "hours_doubtful"),
        ("17:45:06:10", "clocks_disagree"),
    ] {
        let filmed = two_seconds(text, Rate::F25);
        let whole = read(&filmed, Way::Standing, AT_PX, NoDigit::Flat);
        let length = whole.readings.len();
        for (first, last) in [(0, length), (length / 2, length), (0, length / 3)] {
            let cut = without_first_digit(&whole, 0..length);
            let mut short = whole.clone();
            short.readings = short.readings[first..last].to_vec();
            let some = without_first_digit(&whole, first..last);
            for (cut, whole) in [(&cut, &short), (&some, &whole)] {
                for fit in fit_both(&filmed, whole, cut) {
                    assert_eq!(fit.verdict, Verdict::Unsure, "{text} {first}..{last}");
                    assert!(codes(&fit).contains(&code), "{text} {first}..{last}");
                }
            }
        }
    }
}

#[test]
fn a_first_digit_that_was_covered_at_another_time_is_known() {
    let text = "07:45:06:10";
    let filmed = two_seconds(text, Rate::F25);
    let seen = read(&filmed, Way::Standing, AT_PX, NoDigit::Flat);
    let half = seen.readings.len() / 2;
    let cut = without_first_digit(&seen, 0..half);
    let mut whole = seen.clone();
    whole.readings.drain(..half);
    for fit in fit_both(&filmed, &whole, &cut) {
        assert_sure(&fit, text);
    }
}
