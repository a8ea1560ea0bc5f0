//! For each check a set of readings that is judged wrongly without it.

use super::cases::{assert_sure, assert_unsure, label, run};
use super::sim::{Scene, flat_marks, frames};
use crate::fit::{Known, fit};
use crate::outcome::Verdict;
use crate::reading::DigitOdds;
use crate::timecode::{ClockForm, Rate, Ratio};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

fn clock(frames_seen: u64) -> Scene {
    let mut scene = Scene::new(frames(Rate::F25), "10:20:30:04", Rate::F25);
    scene.frames = (0..frames_seen).collect();
    scene
}

/// Odds for some digits; the rest share little.
fn odds(of: &[(usize, f32)]) -> DigitOdds {
    let mut weights = [0.005; 10];
    of.iter()
        .for_each(|&(digit, weight)| weights[digit] = weight);
    DigitOdds::from_weights(weights)
}

#[test]
fn a_clock_that_may_as_well_stand_still_was_not_seen_to_run() {
    // The last digit goes on, by a hair: the one of the first frame may stand in all of them.
    let with_last = |still: f32| {
        let mut filmed = clock(4).film();
        for (at, reading) in filmed.sighting.readings.iter_mut().enumerate().skip(1) {
            reading.places[7] = odds(&[(4 + at, 0.5), (4, still)]);
        }
        run(&filmed)
    };
    assert_unsure(&with_last(0.4), "not_seen_running");
    assert_sure(&with_last(0.005), "10:20:30:04");
}

#[test]
fn digits_that_go_round_while_the_shutter_is_open_do_not_tell_its_middle() {
    for seed in 0..60 {
        let mut scene = Scene::new(ClockForm::Thousandths, "10:20:30.412", Rate::F25);
        scene.exposure = 0.5;
        scene.phi += 0.25 * f64::from(seed as u32);
        scene.mark = flat_marks();
        scene.seed = seed;
        let filmed = scene.film();
        // The last digit may be left out as unread: then counts are hundredths.
        let seconds = run(&filmed).start.expect("a start").seconds;
        let (low, high) = (seconds.low.to_f64(), seconds.high.to_f64());
        let truth = scene.phi / 1000.0;
        assert!(low <= truth && truth < high, "{seed}: {truth} {seconds}");
    }
}

#[test]
fn a_single_change_of_the_tens_does_not_show_that_a_clock_runs() {
    // The last digit is dark, and the tens go on once: all else is what was given.
    let known = Known {
        rate: Some(Rate::F25),
        speed: Some(Ratio::ONE),
        ..Known::default()
    };
    let seen = |n: u64| {
        let mut scene = clock(n);
        scene.dark = vec![7];
        let filmed = scene.film();
        fit(&[filmed.sighting], &filmed.facts, &known)
    };
    assert_unsure(&seen(12), "not_seen_running");
    assert_sure(&seen(20), "10:20:30:04");
}

#[test]
fn a_still_time_with_digits_at_random_behind_it_is_no_clock() {
    for seed in 0..40 {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut filmed = Scene::new(frames(Rate::F25), "10:20:30:04", Rate::F25).film();
        let still = filmed.sighting.readings[0].places.clone();
        for reading in &mut filmed.sighting.readings {
            reading.places.clone_from(&still);
            for place in 6..8 {
                reading.places[place] = odds(&[(rng.random_range(0..10), 1.0)]);
            }
        }
        let fit = run(&filmed);
        assert_eq!(fit.verdict, Verdict::None, "{seed}: {fit:#?}");
        assert_eq!(fit.start, None);
    }
}

#[test]
fn frames_far_between_are_fitted_together() {
    // Eight frames, up to sixteen seconds apart: no part of them would stand for itself.
    let mut sure = 0;
    for seed in 0..60 {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut scene = clock(0);
        let mut at = 0;
        let frames = std::iter::repeat_with(|| {
            at += rng.random_range(100..400);
            at
        });
        scene.frames = frames.take(8).collect();
        scene.seed = seed;
        let fit = run(&scene.film());
        assert_eq!(label(&fit), "10:20:30:04", "{seed}: {fit:#?}");
        sure += i32::from(fit.verdict == Verdict::Sure);
    }
    assert!(sure >= 45, "{sure}");
}

/// A clock of 25 before a camera of 25, fast or slow by up to 2.5 %, seen from frame 0 on.
fn at_an_odd_pace(seed: u64) -> Scene {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut scene = clock(80 + seed % 60);
    scene.speed = 0.975 + 0.05 * rng.random::<f64>();
    scene.phi += rng.random::<f64>() - 0.5;
    scene.exposure = 0.3;
    scene.seed = seed;
    scene
}

#[test]
fn a_clock_that_gains_on_the_tables_is_not_taken_for_one_that_is_shown_late() {
    let (mut sets, mut sure, mut off_by_a_frame) = (0, 0, Vec::new());
    for seed in 0..240 {
        let scene = at_an_odd_pace(seed);
        // What is less may as well be a display that is late by a count.
        if (scene.speed - 1.0).abs() * (scene.frames.len() as f64) < 1.5 {
            continue;
        }
        sets += 1;
        let filmed = scene.film();
        let fit = run(&filmed);
        let start = fit.start.as_ref().expect("a start").counts;
        // By labels: a clock of 24 whose footage plays as 25 shows the same, but for number 24.
        let form = fit.clock.as_ref().expect("a clock").form;
        let real = filmed.phi_displayed.floor();
        let labels = [
            form.parse(label(&fit)).unwrap(),
            scene.form.label(real as i64),
        ];
        let [there, here] = labels.map(|label| scene.form.count(&label).unwrap() as f64);
        let within = start.middle().to_f64().fract() - (filmed.phi_displayed - real);
        let off = there - here + within;
        sure += i32::from(fit.verdict == Verdict::Sure);
        if fit.verdict == Verdict::Sure && off.abs() > 1.0 {
            off_by_a_frame.push((seed, scene.speed, scene.frames.len(), off));
        }
    }
    assert!(sets > 90 && sure > 90, "{sure} of {sets}");
    assert!(off_by_a_frame.is_empty(), "{off_by_a_frame:?}");
}

#[test]
fn frames_that_caught_the_change_to_the_next_second_show_no_number_beyond_the_last() {
    // A camera locked to a clock of 25, open through every change: 24 and 00 lie on each other, once
    // in a second, over the seconds that were.
    let mut scene = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F25);
    scene.frames = (0..65).collect();
    let mut filmed = scene.film();
    let mut caught = 0;
    for reading in &mut filmed.sighting.readings {
        let shown = reading.guess();
        if shown.ends_with("00") {
            let last = reading.places.len() - 1;
            let (second, _) = reading.places[last - 2].best();
            reading.places[last - 2] = odds(&[(usize::from(second - 1), 1.0)]);
            reading.places[last - 1] = odds(&[(0, 0.78), (2, 0.2)]);
            reading.places[last] = odds(&[(4, 0.47), (0, 0.3), (5, 0.1)]);
            caught += 1;
        }
    }
    assert_eq!(caught, 2);
    assert_sure(&run(&filmed), "10:20:30:07");
}
