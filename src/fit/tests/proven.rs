//! What is taken as proven: last places that cannot be read, and rates that cannot be told.

use super::cases::{RATES, assert_sure, assert_unsure, codes, label, run};
use super::sim::{Filmed, Scene, flat_marks, frames};
use crate::fit::{RateKnownBy, fit};
use crate::outcome::Verdict;
use crate::reading::DigitOdds;
use crate::timecode::{ClockForm, Rate, Ratio};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// Adds places to the last group, or a last group, that read as `odds` says.
fn with_more_places(filmed: &mut Filmed, places: u8, mut odds: impl FnMut() -> DigitOdds) {
    let groups = &mut filmed.sighting.layout.groups;
    if groups.len() == 4 {
        groups[3] += places;
    } else {
        groups.push(places);
    }
    for reading in &mut filmed.sighting.readings {
        reading.places.extend((0..places).map(|_| odds()));
    }
}

/// Adds places that are no digits: flat, but for a share of frames in which they read as anything.
fn with_phantoms(filmed: &mut Filmed, places: u8, share: f64) {
    let mut rng = ChaCha8Rng::seed_from_u64(9);
    with_more_places(filmed, places, || {
        let mut weights = [0.1; 10];
        if rng.random_bool(share) {
            weights[rng.random_range(0..10)] = 4.0;
        }
        DigitOdds::from_weights(weights)
    });
}

/// Fingers that hold a display at its right edge read as one of a few digits, in half of the frames
/// plainly; by chance, as thousandths of a slowed clip would now and then.
#[test]
fn a_last_place_that_speaks_against_all_others_is_none() {
    let mut sure = 0;
    for rate in RATES {
        for seed in 0..3 {
            let mut scene = Scene::new(frames(rate), "05:29:33:05", rate);
            scene.frames = (17..60).collect();
            scene.seed = seed;
            let mut filmed = scene.film();
            let mut rng = ChaCha8Rng::seed_from_u64(seed);
            with_more_places(&mut filmed, 1, || {
                let mut weights = [0.1; 10];
                weights[[3, 8, 1][rng.random_range(0..3)]] = rng.random_range(0.3..6.0);
                DigitOdds::from_weights(weights)
            });
            let fit = run(&filmed);
            if fit.verdict == Verdict::Sure {
                assert_sure(&fit, "05:29:33:05");
                assert_eq!(fit.clock.as_ref().unwrap().form, frames(rate), "{fit:#?}");
                let has_note = fit.notes.iter().any(|n| n.code == "last_places_unread");
                assert!(has_note, "{fit:#?}");
                sure += 1;
            }
        }
    }
    assert!(sure >= 22, "{sure} of 24");
}

/// ... but not if the others would then be a slower clock's in a slowed clip: the first two of the three
/// digits of a clock of 120, whose last goes half-way round from frame to frame.
#[test]
fn a_last_place_is_not_left_off_for_another_speed() {
    for seed in 0..60 {
        let mut scene = Scene::new(frames(Rate::F119_88), "01:33:44:027", Rate::F23_976);
        scene.frames = (0..6 + seed % 9).collect();
        scene.seed = seed;
        let mut filmed = scene.film();
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        for reading in &mut filmed.sighting.readings {
            let mut weights = [0.1; 10];
            weights[rng.random_range(0..10)] = rng.random_range(0.3..6.0);
            *reading.places.last_mut().unwrap() = DigitOdds::from_weights(weights);
        }
        let fit = run(&filmed);
        let is_slowed = fit.speed() != Ratio::ONE;
        assert!(!(is_slowed && fit.verdict == Verdict::Sure), "{fit:#?}");
    }
}

/// ... and one that is hard to read, whatever it is taken for, is part of a clock that counts by it.
#[test]
fn a_last_place_that_is_often_misread_is_not_left_off() {
    for (form, text) in [
        (ClockForm::Thousandths, "05:29:33.215"),
        (frames(Rate::F119_88), "05:29:33:115"),
        (frames(Rate::F25), "05:29:33:05"),
    ] {
        for seed in 0..5 {
            let mut scene = Scene::new(form, text, Rate::F50);
            scene.frames = (17..97).collect();
            scene.seed = seed;
            let mut filmed = scene.film();
            let mut rng = ChaCha8Rng::seed_from_u64(seed);
            for reading in &mut filmed.sighting.readings {
                let mut weights = [0.1; 10];
                weights[rng.random_range(0..10)] = 6.0;
                if rng.random_bool(0.4) {
                    *reading.places.last_mut().unwrap() = DigitOdds::from_weights(weights);
                }
            }
            let fit = run(&filmed);
            let found = fit.clock.as_ref().expect("a clock");
            assert_eq!(found.form.pattern(), form.pattern(), "{fit:#?}");
        }
    }
}

#[test]
fn last_places_that_hardly_read_do_not_count() {
    for share in [0.0, 0.15] {
        for (form, text, places) in [
            (ClockForm::Tenths, "10:20:30.4", 1),
            (ClockForm::Tenths, "10:20:30.4", 2),
            (ClockForm::Seconds, "10:20:30", 2),
        ] {
            let mut scene = Scene::new(form, text, Rate::F25);
            scene.frames = (0..90).collect();
            scene.mark = flat_marks();
            let mut filmed = scene.film();
            with_phantoms(&mut filmed, places, share);
            let fit = run(&filmed);
            let what = format!("{text} {places} {share} {fit:#?}");
            let found = fit.clock.as_ref().expect(&what);
            assert_eq!(found.form, form, "{what}");
            assert_eq!(fit.verdict, Verdict::Sure, "{what}");
            assert_eq!(codes(&fit), ["agreed"], "{what}");
            assert!(
                fit.notes.iter().any(|n| n.code == "last_places_unread"),
                "{what}"
            );
            let seconds = fit.start.as_ref().unwrap().seconds;
            let truth_s = filmed.phi_displayed / form.rate().ratio().to_f64();
            let off_s = seconds.middle().to_f64() - truth_s;
            assert!(off_s.abs() <= 0.04, "{off_s} {what}");
        }
    }
}

#[test]
fn the_tens_of_frames_prove_frames_and_thousandths_may_blur() {
    let mut scene = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F29_97);
    scene.dark = vec![7];
    scene.frames = (0..150).collect();
    let fit = run(&scene.film());
    assert_sure(&fit, "10:20:30:07");
    assert_eq!(fit.clock.unwrap().form, frames(Rate::F25));
    let mut scene = Scene::new(ClockForm::Thousandths, "10:20:30.412", Rate::F25);
    scene.dark = vec![8];
    scene.mark = flat_marks();
    let fit = run(&scene.film());
    assert_eq!(fit.clock.unwrap().form, ClockForm::Thousandths);
}

#[test]
fn places_that_no_frame_tells_do_not_make_a_clock_run() {
    // Frames of which no digit reads, within one second: nothing was seen to change.
    let mut scene = Scene::new(frames(Rate::F25), "10:20:30:01", Rate::F25);
    scene.dark = vec![6, 7];
    scene.frames = (0..20).collect();
    let fit = run(&scene.film());
    assert!(fit.verdict != Verdict::Sure, "{fit:#?}");
}

#[test]
fn a_rate_that_a_panel_could_feign_is_assumed() {
    // A 29.97 clock on 60 Hz changes with every second refresh until it slips.
    for (clock, hz) in [
        (Rate::F29_97, 60.0),
        (Rate::F30, 59.94),
        (Rate::F24, 119.88),
    ] {
        for seed in 0..20 {
            let mut scene = Scene::new(frames(clock), "10:20:30:07", Rate::F29_97);
            scene.phi += 0.049 * seed as f64 - 0.5;
            scene.refresh = Some((hz, 0.031 * seed as f64));
            scene.frames = (0..46).collect();
            scene.seed = seed;
            let fit = run(&scene.film());
            let found = fit.clock.as_ref().unwrap();
            assert!(
                found.form.rate() == clock || found.rate_known_by == RateKnownBy::Assumed,
                "{clock} on {hz}: {fit:#?}"
            );
        }
    }
}

#[test]
fn a_display_that_misses_counts_is_followed() {
    // Every ninth count never comes up: the one before stands in its place.
    for rate in RATES {
        let mut scene = Scene::new(frames(rate), "10:20:30:07", rate);
        scene.frames = (0..100).collect();
        let mut filmed = scene.film();
        for at in (4..100).step_by(9) {
            filmed.sighting.readings[at].places = filmed.sighting.readings[at - 1].places.clone();
        }
        let fit = run(&filmed);
        let counts = fit.start.as_ref().unwrap().counts;
        let off = counts.middle().to_f64() - scene.phi;
        assert!(off.abs() <= 1.0, "{rate}: {off} {fit:#?}");
        assert_eq!(fit.verdict, Verdict::Sure, "{rate}: {fit:#?}");
    }
}

#[test]
fn two_windows_a_day_apart_are_one_clock() {
    // 15 parts per million make 32 counts of a day.
    let mut scene = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F25);
    scene.drift = 1.0 + 15e-6;
    let filmed = [0, 86_400 * 25].map(|first| {
        let mut scene = scene.clone();
        scene.frames = (first..first + 60).collect();
        scene.film()
    });
    let sightings = [&filmed[0].sighting, &filmed[1].sighting];
    let fit = fit(&sightings, &filmed[0].facts, &Default::default());
    assert_sure(&fit, "10:20:30:07");
    let drift = fit.clock.unwrap().drift_ppm.expect("measured");
    assert!(
        drift.low.to_f64() <= 15.0 && 15.0 <= drift.high.to_f64(),
        "{drift}"
    );
    assert!(drift.width().to_f64() < 2.0, "{drift}");
    // Ten counts of a thousand seconds' drift more is a clock set anew, not a drift.
    let mut later = scene.clone();
    later.phi += 500.0;
    later.frames = (86_400 * 25..86_400 * 25 + 60).collect();
    let later = later.film();
    let sightings = [&filmed[0].sighting, &later.sighting];
    let fit = super::super::fit(&sightings, &filmed[0].facts, &Default::default());
    assert_unsure(&fit, "clock_rejammed");
}

/// Of clear readings from frame 0, nearly all must be sure, and all that are sure right.
#[test]
fn the_verdict_is_neither_rash_nor_timid() {
    let (mut sets, mut sure) = (0, 0);
    for (i, clock) in RATES.into_iter().enumerate() {
        for (k, camera) in RATES.into_iter().enumerate() {
            for hz in [None, Some(59.94), Some(90.0)] {
                let mut scene = Scene::new(frames(clock), "10:20:30:07", camera);
                scene.phi += (0.37 * i as f64 + 0.11 * k as f64) % 1.0;
                scene.refresh = hz.map(|hz| (hz, (0.29 * k as f64) % 1.0));
                scene.exposure = 0.4;
                scene.frames = (0..80).collect();
                scene.seed = (10 * i + k) as u64;
                let fit = run(&scene.film());
                sets += 1;
                if fit.verdict != Verdict::Sure {
                    continue;
                }
                sure += 1;
                let form = frames(clock);
                let start = fit.start.as_ref().unwrap();
                let shown = form.parse(&label(&fit).replace(';', ":")).unwrap();
                let off = form.count(&shown).unwrap() as f64 + 0.5 - scene.phi;
                let frame = clock.ratio().to_f64() / camera.ratio().to_f64();
                let late = hz.map_or(0.0, |hz| clock.ratio().to_f64() / hz);
                assert!(
                    off.abs() <= frame.max(1.0) + late + 0.5,
                    "{clock} by {camera}: {off} {start:?}"
                );
            }
        }
    }
    assert!(100 * sure >= 97 * sets, "{sure} of {sets}");
}
