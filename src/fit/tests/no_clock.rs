//! Digits that are no running clock.

use super::cases::{assert_sure, codes, run};
use super::sim::{Scene, frames};
use crate::fit::{Known, NextLook};
use crate::outcome::Verdict;
use crate::reading::{DigitOdds, Sighting};
use crate::timecode::{ClockForm, Rate, Ratio};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

#[test]
fn a_still_display_is_no_running_clock() {
    let scene = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F25);
    let mut filmed = scene.film();
    let first = filmed.sighting.readings[0].places.clone();
    for reading in &mut filmed.sighting.readings {
        reading.places = first.clone();
    }
    let fit = run(&filmed);
    assert_eq!(fit.verdict, Verdict::None, "{fit:#?}");
    assert_eq!(codes(&fit), ["clock_stood_still"]);
    assert_eq!(fit.next_look, NextLook::ElsewhereToo);
    assert_eq!(fit.start, None);
}

/// Whole seconds at a tenth of the speed stand for ten.
#[test]
fn what_may_be_slowed_down_does_not_stand_still() {
    for (frames, speed, code) in [
        (40, None, "not_seen_to_step"),
        (350, None, "not_seen_to_step"),
        (361, None, "clock_stood_still"),
        (40, Some(Ratio::ONE), "clock_stood_still"),
        (160, Some(Ratio::new(1, 4)), "clock_stood_still"),
    ] {
        let mut scene = Scene::new(ClockForm::Seconds, "10:20:30", Rate::F30);
        scene.frames = (0..frames).collect();
        let mut filmed = scene.film();
        let first = filmed.sighting.readings[0].places.clone();
        for reading in &mut filmed.sighting.readings {
            reading.places = first.clone();
        }
        let known = Known {
            speed,
            ..Known::default()
        };
        let fit = crate::fit::fit(&[&filmed.sighting], &filmed.facts, &known);
        assert_eq!(fit.verdict, Verdict::None, "{fit:#?}");
        assert_eq!(codes(&fit), [code], "{frames} {speed:?}");
    }
}

#[test]
fn a_timer_that_counts_down_is_no_clock() {
    for form in [frames(Rate::F25), ClockForm::Seconds] {
        let text = if form == ClockForm::Seconds {
            "00:09:30"
        } else {
            "00:09:30:07"
        };
        let mut scene = Scene::new(form, text, Rate::F25);
        scene.frames = (0..100).collect();
        let mut filmed = scene.film();
        let places: Vec<_> = filmed
            .sighting
            .readings
            .iter()
            .map(|r| r.places.clone())
            .collect();
        for (reading, places) in filmed
            .sighting
            .readings
            .iter_mut()
            .zip(places.into_iter().rev())
        {
            reading.places = places;
        }
        let fit = run(&filmed);
        assert_eq!(fit.verdict, Verdict::None, "{fit:#?}");
        assert_eq!(codes(&fit), ["counts_down"], "{form:?} {fit:#?}");
    }
}

#[test]
fn digits_at_random_are_no_clock() {
    let mut rng = ChaCha8Rng::seed_from_u64(5);
    for sharpness in [1.0, 4.0, 12.0] {
        for _ in 0..40 {
            let mut filmed = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F25).film();
            for reading in &mut filmed.sighting.readings {
                for odds in &mut reading.places {
                    *odds = DigitOdds::from_weights(std::array::from_fn(|_| {
                        rng.random::<f32>().powf(sharpness)
                    }));
                }
            }
            let fit = run(&filmed);
            assert_eq!(fit.verdict, Verdict::None, "{fit:#?}");
            assert_eq!(codes(&fit), ["no_running_clock"]);
        }
    }
}

#[test]
fn what_was_given_is_not_asked_for_again() {
    let mut rng = ChaCha8Rng::seed_from_u64(6);
    let mut filmed = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F25).film();
    for odds in filmed
        .sighting
        .readings
        .iter_mut()
        .flat_map(|r| &mut r.places)
    {
        *odds = DigitOdds::from_weights(std::array::from_fn(|_| rng.random::<f32>().powi(4)));
    }
    for (rate, speed) in [
        (None, None),
        (Some(Rate::F25), None),
        (None, Some(Ratio::new(1, 4))),
        (Some(Rate::F25), Some(Ratio::new(1, 4))),
    ] {
        let known = Known {
            rate,
            speed,
            ..Known::default()
        };
        let fit = crate::fit::fit(&[&filmed.sighting], &filmed.facts, &known);
        assert_eq!(codes(&fit), ["no_running_clock"]);
        let advice = &fit.reasons[0].sentence;
        assert_eq!(advice.contains("--clock-rate"), rate.is_none(), "{advice}");
        assert_eq!(advice.contains("--speed"), speed.is_none(), "{advice}");
    }
}

#[test]
fn a_price_is_no_clock_and_nothing_is_none() {
    let mut filmed = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F25).film();
    filmed.sighting.layout.groups = vec![2, 2];
    for reading in &mut filmed.sighting.readings {
        reading.places.truncate(4);
    }
    // Nor is what has the groups of one, and no reading with as many digits.
    let mut short = filmed.sighting.clone();
    short.layout.groups = vec![2, 2, 2, 2];
    let mut empty = short.clone();
    empty.readings.clear();
    for (sightings, code) in [
        (&[&filmed.sighting][..], "no_clock_layout"),
        (&[&short], "no_clock_layout"),
        (&[&empty], "no_display"),
        (&[], "no_display"),
    ] {
        let fit = crate::fit::fit(sightings, &filmed.facts, &Known::default());
        assert_eq!(fit.verdict, Verdict::None);
        assert_eq!(codes(&fit), [code]);
    }
    // They take nothing from a clock beside them.
    let clock = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F25).film();
    let beside = [&short, &clock.sighting, &empty];
    assert_sure(
        &crate::fit::fit(&beside, &clock.facts, &Known::default()),
        "10:20:30:07",
    );
}

#[test]
fn digits_that_were_not_seen_to_run_and_are_not_clear_are_no_start() {
    // Texture: two frames that read alike, with the minutes between two values.
    let mut scene = Scene::new(frames(Rate::F25), "12:34:20:00", Rate::F25);
    scene.frames = (0..2).collect();
    let mut filmed = scene.film();
    let mut weights = [0.01; 10];
    (weights[1], weights[4]) = (0.5, 0.4);
    for reading in &mut filmed.sighting.readings {
        reading.places[3] = DigitOdds::from_weights(weights);
    }
    let fit = run(&filmed);
    assert_eq!(fit.verdict, Verdict::None, "{fit:#?}");
    assert_eq!(codes(&fit), ["no_running_clock"]);
    assert_eq!((&fit.start, &fit.clock), (&None, &None));
    assert!(!fit.sightings[0].is_the_clock() && fit.sightings[0].frames_read == 2);
}

#[test]
fn a_clip_without_a_clock_plays_as_was_given() {
    let filmed = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F25).film();
    for speed in [None, Some(Ratio::new(1, 4))] {
        let known = Known {
            speed,
            ..Known::default()
        };
        let fit = crate::fit::fit::<Sighting>(&[], &filmed.facts, &known);
        assert_eq!(fit.verdict, Verdict::None);
        assert_eq!(fit.speed(), speed.unwrap_or(Ratio::ONE));
    }
}

/// A piece of a number on a wall, in the two frames that show it as a time.
#[test]
fn five_digits_that_were_not_seen_to_run_are_no_clock() {
    for (form, label, count, has_a_start) in [
        (ClockForm::Seconds, "07:20:30", 1, false),
        (ClockForm::Seconds, "07:20:30", 2, false),
        (ClockForm::Seconds, "07:20:30", 120, true),
        (frames(Rate::F25), "07:20:30:07", 1, true),
    ] {
        let mut scene = Scene::new(form, label, Rate::F25);
        scene.one_hour_digit = true;
        scene.frames = (0..count).collect();
        let fit = run(&scene.film());
        assert_eq!(fit.start.is_some(), has_a_start, "{count}: {fit:#?}");
    }
}
