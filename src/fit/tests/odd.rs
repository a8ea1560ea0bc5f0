//! Clips that play at a pace that no table holds.

use super::cases::{codes, label, run};
use super::sim::{Scene, frames};
use crate::fit::RateKnownBy;
use crate::note::Note;
use crate::outcome::Verdict;
use crate::timecode::{ClockForm, Rate, Ratio};

/// 25 into 24, a webcam's 29 for 30, 24 and 23.976 into 25.
const SPEEDS: [f64; 4] = [0.96, 0.9667, 25.0 / 24.0, 1.042_708];

#[test]
fn a_clock_seen_from_frame_0_at_an_odd_pace_is_sure_of_its_label() {
    for (clock, camera) in [
        (Rate::F25, Rate::F24),
        (Rate::F25, Rate::F29_97),
        (Rate::F30, Rate::F30),
        (Rate::F24, Rate::F25),
    ] {
        for speed in SPEEDS {
            let mut scene = Scene::new(frames(clock), "10:20:30:07", camera);
            scene.speed = speed;
            scene.frames = (0..90).collect();
            let filmed = scene.film();
            let fit = run(&filmed);
            let what = format!("{clock} by {camera} at {speed}: {fit:#?}");
            assert_eq!(fit.verdict, Verdict::Sure, "{what}");
            // 0.967 may be 0.96, and late by a count.
            if (clock, camera, speed) == (Rate::F25, Rate::F24, 0.9667) {
                let start = fit.start.as_ref().unwrap().counts;
                let (low, high) = (start.low.to_f64(), start.high.to_f64());
                assert!((low..high).contains(&filmed.phi_displayed), "{what}");
                continue;
            }
            assert_eq!(label(&fit), "10:20:30:07", "{what}");
            let found = fit.clock.as_ref().unwrap();
            assert_eq!(found.form.base(), clock.base(), "{what}");
            // Counts a second are measured; whether by a clock of 30 or of 29.97 is not.
            let pace = (found.form.rate().ratio() * found.speed).to_f64();
            let real = clock.ratio().to_f64() * speed;
            assert!((pace / real - 1.0).abs() < 0.012, "{pace} {real} {what}");
            // Played at the rate of the camera what was shot at that of the clock, or its cousin.
            let is_replayed = (speed - (camera.ratio() / clock.ratio()).to_f64()).abs() < 0.002;
            let is_measured = found.rate_known_by == RateKnownBy::Measured;
            assert!(is_replayed || !is_measured, "{what}");
            let note = if is_replayed { "conformed" } else { "odd_pace" };
            assert!(fit.notes.iter().any(|n| n.code == note), "{what}");
            let counts = fit.start.as_ref().unwrap().counts;
            let (low, high) = (counts.low.to_f64(), counts.high.to_f64());
            let phi = filmed.phi_displayed;
            // Bases of 30 are counted as drop-frame could be: compare within the label.
            let within = phi - phi.floor();
            let from = low - counts.middle().floor() as f64;
            assert!(from <= within && within < from + high - low, "{phi} {what}");
        }
    }
}

#[test]
fn footage_played_at_another_rate_of_the_trade_is_not_sure_of_a_start_far_ahead_that_is_wrong() {
    for (shot, played) in [
        (Rate::F25, Rate::F24),
        (Rate::F24, Rate::F25),
        (Rate::F30, Rate::F25),
        (Rate::F50, Rate::F24),
        (Rate::F60, Rate::F25),
    ] {
        let mut sure = 0;
        for seen in [24, 31, 43, 60, 90] {
            for ahead in [1, 3] {
                for phase in [0.1, 0.4, 0.7, 0.9] {
                    let mut scene = Scene::new(frames(shot), "10:20:30:07", played);
                    scene.phi += phase - 0.5;
                    scene.speed = (played.ratio() / shot.ratio()).to_f64();
                    let first = ahead * u64::from(played.base());
                    scene.frames = (first..first + seen).collect();
                    let filmed = scene.film();
                    let fit = run(&filmed);
                    if fit.verdict != Verdict::Sure {
                        continue;
                    }
                    sure += 1;
                    let what = format!("{shot} as {played}, {seen}, {ahead}, {phase}: {fit:#?}");
                    let clock = fit.clock.as_ref().unwrap();
                    assert_eq!(clock.form.base(), shot.base(), "{what}");
                    let start = fit.start.as_ref().unwrap().counts.middle().to_f64();
                    let frame = shot.ratio().to_f64() / played.ratio().to_f64();
                    assert!((start - filmed.phi_displayed).abs() < frame, "{what}");
                }
            }
        }
        assert!(sure >= 8, "{shot} as {played}: {sure} of 40");
    }
}

/// A monitor may replay at any pace; a file with a wrong rate is off by a twentieth at most.
#[test]
fn a_pace_that_no_wrong_rate_makes_is_doubtful() {
    for (speed, is_doubted) in [
        (0.9, true),
        (0.9667, false),
        (1.042_708, false),
        (1.1, true),
    ] {
        let mut scene = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F29_97);
        (scene.speed, scene.frames) = (speed, (0..90).collect());
        let fit = run(&scene.film());
        assert_eq!(label(&fit), "10:20:30:07", "{speed} {fit:#?}");
        let codes = codes(&fit);
        assert_eq!(
            codes.contains(&"speed_doubtful"),
            is_doubted,
            "{speed} {fit:#?}"
        );
    }
}

#[test]
fn the_way_to_frame_0_at_an_odd_pace_widens_the_bounds() {
    let mut last = 0.0;
    for first in [0, 60] {
        let mut scene = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F25);
        scene.speed = 0.9667;
        scene.frames = (first..first + 100).collect();
        let filmed = scene.film();
        let fit = run(&filmed);
        let counts = fit.start.as_ref().unwrap().counts;
        let width = counts.width().to_f64();
        assert!(width > last, "{first}: {width} {fit:#?}");
        last = width;
        assert_eq!(fit.verdict, Verdict::Sure, "{first}: {fit:#?}");
        let phi = filmed.phi_displayed;
        assert!(
            counts.low.to_f64() <= phi && phi < counts.high.to_f64(),
            "{first}: {phi} {fit:#?}"
        );
    }
    for first in [400, 2000] {
        let mut far = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F25);
        far.speed = 0.9667;
        far.frames = (first..first + 60).collect();
        let fit = run(&far.film());
        assert_eq!(fit.verdict, Verdict::Unsure, "{first}: {fit:#?}");
    }
}

#[test]
fn whole_seconds_at_an_odd_pace_are_never_a_frame_off_and_sure() {
    let mut sure = 0;
    // A phone's file of 28.976 frames a second for 30.
    let camera = Rate::new(168_960, 5831).unwrap();
    for seed in 0..20 {
        let mut scene = Scene::new(ClockForm::Seconds, "21:24:53", camera);
        scene.phi += 0.05 * seed as f64 - 0.5;
        scene.speed = 0.955;
        scene.seed = seed;
        scene.frames = (80..220).collect();
        let filmed = scene.film();
        let fit = run(&filmed);
        let Some(start) = &fit.start else { continue };
        let off = (start.counts.middle().to_f64() - filmed.phi_displayed).abs();
        let frame = 0.955 / camera.ratio().to_f64();
        assert!(
            fit.verdict != Verdict::Sure || off <= frame,
            "{off} {fit:#?}"
        );
        // Seen from frame 0, it is right.
        scene.frames = (0..140).collect();
        let filmed = scene.film();
        let fit = run(&filmed);
        let off = fit.start.as_ref().unwrap().counts.middle().to_f64() - filmed.phi_displayed;
        assert!(off.abs() <= frame, "{off} {fit:#?}");
        sure += i32::from(fit.verdict == Verdict::Sure);
    }
    assert!(sure > 2, "{sure}");
}

#[test]
fn flips_and_late_displays_make_no_odd_pace() {
    for seed in 0..20 {
        let mut scene = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F29_97);
        scene.seed = seed;
        scene.flips = 0.2;
        scene.refresh = Some((60.3, 0.05 * seed as f64));
        let fit = run(&scene.film());
        assert!(
            fit.notes.iter().all(|n| n.code != "odd_pace"),
            "{seed} {:?} {fit:#?}",
            codes(&fit)
        );
        assert_eq!(fit.speed(), Ratio::ONE);
    }
}

/// At 0.99 of its speed a clock of 25 passes for one of 23.976 on a slow display, but for the
/// frames that show the number 24, which that clock has not.
#[test]
fn a_clock_of_25_that_plays_slowly_is_not_named_24_without_a_word() {
    let mut named_24 = 0;
    for speed in [0.975, 0.98, 0.985, 0.99] {
        for seconds in [1, 3, 5] {
            for phase in [0.0, 0.25, 0.5, 0.75] {
                let mut scene = Scene::new(frames(Rate::F25), "10:20:30:16", Rate::F24);
                scene.phi += phase - 0.5;
                scene.speed = speed;
                scene.seed = 3;
                scene.frames = (0..24 * seconds).collect();
                let fit = run(&scene.film());
                let what = format!("{speed} {seconds} {phase}: {fit:#?}");
                let clock = fit.clock.as_ref().unwrap();
                if clock.form.base() == 25 {
                    continue;
                }
                named_24 += 1;
                let seen = &fit.sightings[0];
                let both_explain = seen.frames_agreeing == seen.frames_read
                    && clock.rate_known_by == RateKnownBy::Assumed;
                let says_so = |n: &Note| n.code == "rate_assumed" && n.sentence.contains("25");
                let is_noted = fit.notes.iter().any(says_so);
                assert!(
                    both_explain || is_noted || fit.verdict == Verdict::Unsure,
                    "{what}"
                );
            }
        }
    }
    assert!(named_24 < 8, "{named_24}");
}

/// Clocks whose last digits have no number beyond the last one, and those that are hardly read.
#[test]
fn no_number_beyond_the_last_digits_is_looked_for() {
    let mut sure = 0;
    for (form, text) in [
        (frames(Rate::F100), "10:20:30:90"),
        (ClockForm::Hundredths, "10:20:30.90"),
        (ClockForm::Thousandths, "10:20:30.900"),
        (ClockForm::Tenths, "10:20:30.9"),
    ] {
        for seed in 0..10 {
            let mut scene = Scene::new(form, text, Rate::F24);
            scene.flips = 0.4;
            scene.seed = seed;
            let fit = run(&scene.film());
            // Digits that go round in a frame leave its middle open.
            let start_s = fit.start.as_ref().unwrap().seconds.middle();
            let rate = form.rate().ratio();
            let off_s = start_s.to_f64() - scene.phi / rate.to_f64();
            let grain_s = rate.recip().max(Ratio::new(1, 24)).to_f64();
            assert!(off_s.abs() <= grain_s, "{seed} {off_s} {fit:#?}");
            assert!(!codes(&fit).contains(&"uneven"), "{seed} {fit:#?}");
            sure += i32::from(fit.verdict == Verdict::Sure);
        }
    }
    assert!(sure > 20, "{sure}");
}
