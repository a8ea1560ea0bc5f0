//! Digits against the fit that say nothing against the clock.

use super::cases::{assert_sure, assert_unsure, run};
use super::sim::{Filmed, Scene, frames};
use crate::fit::{ClockFit, Known, fit};
use crate::geometry::{Point, Quad};
use crate::reading::{DigitOdds, Layout, Sighting};
use crate::timecode::Rate;

/// Plainly this digit.
fn plain(digit: u8) -> DigitOdds {
    let mut weights = [0.001; 10];
    weights[usize::from(digit)] = 1.0;
    DigitOdds::from_weights(weights)
}

fn shown(filmed: &Filmed, frame: usize, place: usize) -> u8 {
    filmed.sighting.readings[frame].places[place].best().0
}

/// Ninety frames of 25, in which some last digits read as others.
fn with_last_digits(as_read: &[(u8, u8)]) -> ClockFit {
    let mut scene = Scene::new(frames(Rate::F25), "12:34:20:10", Rate::F25);
    scene.frames = (0..90).collect();
    let mut filmed = scene.film();
    for frame in 0..90 {
        let last = shown(&filmed, frame, 7);
        if let Some((_, read)) = as_read.iter().find(|(digit, _)| *digit == last) {
            filmed.sighting.readings[frame].places[7] = plain(*read);
        }
    }
    run(&filmed)
}

/// A shutter that is open over a change sees both digits: 3 and 4 together look like a 9, 4 and 5
/// too, 7 and 6 like an 8.
#[test]
fn digits_that_lie_on_top_of_each_other_are_no_uneven_clock() {
    let fit = with_last_digits(&[(3, 9), (4, 9), (7, 8)]);
    assert_sure(&fit, "12:34:20:10");
    // The count that a locked camera leaves, and half a frame either way.
    let width = fit.start.unwrap().counts.width().to_f64();
    assert!((width - 2.0).abs() < 0.05, "{width}");
    // As many that are no two digits at once.
    assert_unsure(&with_last_digits(&[(3, 0), (4, 7), (7, 5)]), "uneven");
    // A digit early, or late.
    assert_unsure(&with_last_digits(&[(3, 4), (4, 5), (7, 8)]), "uneven");
}

/// The frames that stand at one place of the picture, `keep` of all.
fn at_one_place(filmed: &Filmed, keep: impl Fn(usize) -> bool) -> Sighting {
    let corners = [(0.0, 0.0), (90.0, 0.0), (90.0, 10.0), (0.0, 10.0)];
    let mut sighting = filmed.sighting.clone();
    sighting.readings = (sighting.readings.into_iter().enumerate())
        .filter(|(frame, _)| keep(*frame))
        .map(|(_, reading)| reading)
        .collect();
    for reading in &mut sighting.readings {
        reading.quad = Quad::from_corners(corners.map(|(x, y)| Point::new(x, y)));
    }
    sighting
}

/// Two looks at one display, of which the shorter one misreads a last digit in every third frame.
#[test]
fn what_a_better_look_at_the_same_digits_reads_in_that_frame_is_no_uneven_clock() {
    let mut scene = Scene::new(frames(Rate::F25), "12:34:20:10", Rate::F25);
    scene.frames = (0..90).collect();
    let filmed = scene.film();
    let mut misread = filmed.clone();
    for frame in (0..60).step_by(3) {
        let other = (shown(&filmed, frame, 7) + 3 + frame as u8 / 3 % 4) % 10;
        misread.sighting.readings[frame].places[7] = plain(other);
    }
    let shorter = at_one_place(&misread, |frame| frame < 60);
    let both = |better: Sighting| {
        let sightings = [better, shorter.clone()];
        fit(&sightings, &filmed.facts, &Known::default())
    };
    assert_sure(&both(at_one_place(&filmed, |_| true)), "12:34:20:10");
    // Frames that the better look has not seen tell what they tell.
    let without = at_one_place(&filmed, |frame| frame >= 60 || frame % 3 > 0);
    assert_unsure(&both(without), "uneven");
    // Nor does another display.
    let mut aside = at_one_place(&filmed, |_| true);
    for reading in &mut aside.readings {
        let corners = [(0.0, 50.0), (90.0, 50.0), (90.0, 60.0), (0.0, 60.0)];
        reading.quad = Quad::from_corners(corners.map(|(x, y)| Point::new(x, y)));
    }
    assert_unsure(&both(aside), "uneven");
}

/// 120 counts a second, of which 112 to 118 read as 12 and a place that tells nothing: where the
/// two ones stand so close that they pass for one.
#[test]
fn a_last_group_that_moved_up_by_one_place_is_no_jump() {
    let filmed = |second: bool| {
        let mut scene = Scene::new(frames(Rate::F120), "12:34:20:060", Rate::F60);
        scene.frames = (0..110).collect();
        let mut filmed = scene.film();
        for frame in 0..110 {
            if shown(&filmed, frame, 6) == 1 && shown(&filmed, frame, 7) == 1 {
                let last = shown(&filmed, frame, 8);
                let reading = &mut filmed.sighting.readings[frame];
                reading.places[7] = plain(if second { last } else { (last + 1) % 10 });
                reading.places[8] = DigitOdds::FLAT;
            }
        }
        filmed
    };
    assert_sure(&run(&filmed(true)), "12:34:20:060");
    // The same frames with digits that are none of the label's.
    assert_unsure(&run(&filmed(false)), "clock_jumped");
}

/// The last digit of three goes round in a frame, and was too blurred to be found at first.
#[test]
fn a_look_without_the_last_digit_is_no_other_clock() {
    let mut scene = Scene::new(frames(Rate::F120), "12:34:20:060", Rate::F23_976);
    scene.frames = (0..51).collect();
    let filmed = scene.film();
    let whole = at_one_place(&filmed, |_| true);
    let mut cut = whole.clone();
    cut.layout = Layout {
        groups: vec![2, 2, 2, 2],
    };
    for reading in &mut cut.readings {
        reading.places.truncate(8);
    }
    let both = |cut: &Sighting| {
        let sightings = [cut.clone(), whole.clone()];
        fit(&sightings, &filmed.facts, &Known::default())
    };
    assert_sure(&both(&cut), "12:34:20:060");
    // A display that tells another minute is another clock.
    for reading in &mut cut.readings {
        reading.places[3] = plain(7);
    }
    assert_unsure(&both(&cut), "clocks_disagree");
}

/// A fingertip behind the frames is read as a third digit of them: thousandths at 0.3 of the speed, as
/// long as the second does not change.
#[test]
fn a_look_with_a_digit_behind_the_last_one_is_no_other_clock() {
    let mut scene = Scene::new(frames(Rate::F30), "12:34:20:05", Rate::F30);
    scene.frames = (0..30).collect();
    let filmed = scene.film();
    let whole = at_one_place(&filmed, |_| true);
    let mut with_more = whole.clone();
    with_more.layout = Layout {
        groups: vec![2, 2, 2, 3],
    };
    for more in [|_| 5, |i| i * 3 % 10, |i| i % 10] as [fn(usize) -> usize; 3] {
        for (i, reading) in with_more.readings.iter_mut().enumerate() {
            reading.places.truncate(8);
            reading.places.push(plain(more(i) as u8));
        }
        let sightings = [whole.clone(), with_more.clone()];
        let fit = fit(&sightings, &filmed.facts, &Known::default());
        assert_sure(&fit, "12:34:20:05");
    }
    for reading in &mut with_more.readings {
        reading.places[3] = plain(7);
    }
    let fit = fit(&[whole, with_more], &filmed.facts, &Known::default());
    assert_unsure(&fit, "clocks_disagree");
}

/// Six frames show the next count, which is another start; two frames that show anything are no
/// part of it. What comes six frames early is more than a count away.
#[test]
fn frames_that_agree_on_nothing_do_not_make_a_jump_of_one_count() {
    let mut scene = Scene::new(frames(Rate::F120), "12:34:20:012", Rate::F29_97);
    scene.frames = (0..67).collect();
    let film = |early: usize| {
        let told = scene.film();
        let mut filmed = scene.film();
        for frame in 20..26 {
            let shows = &mut filmed.sighting.readings[frame].places;
            shows.clone_from(&told.sighting.readings[frame + early].places);
            if early == 0 {
                shows[8] = plain((shown(&told, frame, 8) + 1) % 10);
            }
        }
        for frame in [40, 57] {
            filmed.sighting.readings[frame].places[3] = plain(9);
            filmed.sighting.readings[frame].places[4] = plain(5);
        }
        filmed
    };
    assert_sure(&run(&film(0)), "12:34:20:012");
    assert_unsure(&run(&film(6)), "clock_jumped");
}
