//! Clocks of seconds and tenths, which may run fast or slow, on the way to frame 0.

use super::cases::{assert_sure, assert_unsure, run};
use super::sim::Scene;
use crate::fit::{Known, fit};
use crate::outcome::Verdict;
use crate::timecode::{ClockForm, Rate};

fn tenths(first: u64, frames: u64) -> Scene {
    let mut scene = Scene::new(ClockForm::Tenths, "10:20:30.4", Rate::F30);
    // In phase: each count is seen in three frames, the first time at frame 0, 3, 6 ...
    scene.phi += 1.0 / 6.0 - 0.5;
    scene.frames = (first..first + frames).collect();
    scene
}

#[test]
fn a_start_is_carried_no_further_than_its_clock_was_seen() {
    for (first, frames) in [(0, 75), (60, 75), (200, 240)] {
        assert_sure(&run(&tenths(first, frames).film()), "10:20:30.4");
    }
    // 75 frames tell the pace to a frame or so in 75.
    let filmed = tenths(240, 75).film();
    let unsure = run(&filmed);
    assert_unsure(&unsure, "carried_far");
    let sentence = &unsure.reasons[0].sentence;
    // As the example in docs/fit.md reckons by hand.
    assert!(
        sentence.contains("seen for 2.5 s, from 8.0 s") && sentence.contains("4.0 frames"),
        "{sentence}"
    );
    // All that the reason names lies in the bounds, and the label is that of an even clock.
    let start = unsure.start.unwrap();
    assert_eq!(start.label, "10:20:30.4");
    assert!(start.counts.width().to_f64() > 1.0, "{:?}", start.counts);
    let known = Known {
        rate: Some(ClockForm::Tenths.rate()),
        ..Known::default()
    };
    let sure = fit(&[filmed.sighting], &filmed.facts, &known);
    assert_sure(&sure, "10:20:30.4");
}

/// Two sightings far apart measure the pace; over midnight, too.
#[test]
fn a_second_sighting_holds_the_pace() {
    for label in ["10:20:30.4", "23:59:45.4"] {
        let [near, far] = [240, 9_000].map(|first| {
            let mut scene = tenths(first, 75);
            scene.phi = Scene::new(scene.form, label, scene.camera).phi;
            scene.film()
        });
        let both = [near.sighting, far.sighting];
        let got = fit(&both, &near.facts, &Known::default());
        assert_sure(&got, label);
    }
}

#[test]
fn a_clock_that_runs_fast_or_slow_is_not_sure_and_off() {
    let mut off_by_frames = Vec::new();
    let mut sure = 0;
    for seed in 0..96u32 {
        let form = [ClockForm::Seconds, ClockForm::Tenths][seed as usize % 2];
        let label = ["10:20:30", "10:20:30.0"][seed as usize % 2];
        let mut scene = Scene::new(form, label, Rate::F30);
        scene.phi += 0.137 * f64::from(seed);
        scene.drift = [0.96, 0.98, 0.99, 0.996, 1.004, 1.01, 1.02, 1.04][seed as usize / 2 % 8];
        let first = [30, 90, 180][seed as usize / 16 % 3];
        scene.frames = (first..first + 120).collect();
        scene.exposure = 0.2;
        scene.seed = seed.into();
        let fit = run(&scene.film());
        if fit.verdict != Verdict::Sure {
            continue;
        }
        sure += 1;
        let off = fit.start.unwrap().counts.middle().to_f64() - scene.phi;
        let frames = off / form.rate().ratio().to_f64() * 30.0;
        // What hides within a frame, once more on the way.
        if frames.abs() >= 2.0 {
            off_by_frames.push((seed, scene.drift, first, frames));
        }
    }
    assert!(off_by_frames.is_empty(), "{off_by_frames:?}");
    assert!(sure > 5, "{sure}");
}

/// Panels of 59.94 and 60.3 Hz come round with a clock of seconds or tenths once in many counts:
/// they are late in one stretch, too, and by less than a frame.
#[test]
fn a_panel_that_comes_round_slowly_is_no_lost_frame() {
    let mut unsure = Vec::new();
    for seed in 0..60u32 {
        let form = [ClockForm::Seconds, ClockForm::Tenths][seed as usize % 2];
        let label = ["10:20:30", "10:20:30.0"][seed as usize % 2];
        let mut scene = Scene::new(form, label, Rate::F24);
        scene.phi += 0.271 * f64::from(seed);
        scene.frames = (0..140).collect();
        scene.exposure = 0.3;
        let hz = [59.94, 60.3][seed as usize / 2 % 2];
        scene.refresh = Some((hz, f64::from(seed) * 0.37 % 1.0));
        scene.seed = seed.into();
        let fit = run(&scene.film());
        if fit.verdict != Verdict::Sure {
            unsure.push((seed, fit.reasons));
        }
    }
    assert!(unsure.len() <= 3, "{unsure:?}");
}
