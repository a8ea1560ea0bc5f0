//! The cases an editor meets, one sighting each.

use super::sim::{Filmed, SEMICOLON, Scene, drop_frames, flat_marks, frames};
use crate::fit::{ClockFit, Known, NextLook, RateKnownBy, fit};
use crate::outcome::Verdict;
use crate::reading::DigitOdds;
use crate::timecode::{ClockForm, Rate, Ratio};
use std::collections::BTreeSet;

pub fn run(filmed: &Filmed) -> ClockFit {
    run_knowing(filmed, &Known::default())
}

pub fn run_knowing(filmed: &Filmed, known: &Known) -> ClockFit {
    fit(std::slice::from_ref(&filmed.sighting), &filmed.facts, known)
}

pub fn label(fit: &ClockFit) -> &str {
    fit.start.as_ref().map_or("", |s| s.label.as_str())
}

pub fn codes(fit: &ClockFit) -> Vec<&str> {
    fit.reasons.iter().map(|r| r.code.as_str()).collect()
}

#[track_caller]
pub fn assert_sure(fit: &ClockFit, wanted: &str) {
    assert_eq!(label(fit), wanted, "{fit:#?}");
    assert_eq!(fit.verdict, Verdict::Sure, "{fit:#?}");
    assert_eq!(codes(fit), ["agreed"]);
    assert_eq!(fit.next_look, NextLook::Enough);
}

#[track_caller]
pub fn assert_unsure(fit: &ClockFit, code: &str) {
    assert_eq!(fit.verdict, Verdict::Unsure, "{fit:#?}");
    assert!(codes(fit).contains(&code), "{:?}", fit.reasons);
}

fn width(fit: &ClockFit) -> f64 {
    fit.start.as_ref().unwrap().counts.width().to_f64()
}

pub const RATES: [Rate; 8] = [
    Rate::F23_976,
    Rate::F24,
    Rate::F25,
    Rate::F29_97,
    Rate::F30,
    Rate::F50,
    Rate::F59_94,
    Rate::F60,
];

#[test]
fn a_clock_locked_to_the_camera_is_known_to_one_count_and_no_better() {
    for rate in RATES {
        let fit = run(&Scene::new(frames(rate), "10:20:30:07", rate).film());
        assert_sure(&fit, "10:20:30:07");
        let clock = fit.clock.as_ref().unwrap();
        assert_eq!(clock.form.rate(), rate);
        let counts = fit.start.as_ref().unwrap().counts;
        let count = clock.form.count(&clock.form.parse("10:20:30:07").unwrap());
        assert_eq!(counts.low, Ratio::from_integer(count.unwrap()));
        assert_eq!(counts.width(), Ratio::ONE, "{rate}");
        assert_eq!(clock.refresh_hz, None);
    }
}

/// On the edge of a count, a clock that ticks with the camera looks like those of other rates, too.
#[test]
fn a_clock_that_ticks_with_the_camera_is_taken_to_have_its_rate() {
    let mut assumed = 0;
    for rate in [Rate::F24, Rate::F25, Rate::F30, Rate::F50] {
        for part in [0.002, 0.005, 0.01, 0.02, 0.98, 0.99, 0.995, 0.998] {
            for seconds in [1, 2] {
                let mut scene = Scene::new(frames(rate), "10:20:30:07", rate);
                scene.phi += part - 0.5;
                let base = u64::from(rate.base());
                scene.frames = (base / 4..base / 4 + base * seconds).collect();
                let fit = run(&scene.film());
                let clock = fit.clock.as_ref().unwrap();
                assert_eq!(clock.form.rate(), rate, "{part} {seconds} s: {fit:#?}");
                assumed += usize::from(clock.rate_known_by == RateKnownBy::Assumed);
            }
        }
    }
    assert!(assumed > 8, "{assumed}");
}

/// Frame 0 is in view, so that a clock 1000/1001 as fast, which explains the frames as well,
/// starts within the same count: perfect digits leave one count. Shown on a panel, of which
/// a few frames are late, the other may start a few thousandths later.
#[test]
fn two_and_a_half_seconds_of_a_locked_clock_leave_one_count() {
    for rate in [Rate::F23_976, Rate::F25, Rate::F29_97, Rate::F48, Rate::F60] {
        for part in [0.02, 0.3, 0.5, 0.7, 0.98] {
            let mut scene = Scene::new(frames(rate), "10:20:30:07", rate);
            scene.phi += part - 0.5;
            scene.frames = (0..u64::from(12 * rate.base() / 5)).collect();
            let fit = run(&scene.film());
            assert_sure(&fit, "10:20:30:07");
            let width = width(&fit);
            assert!((1.0..1.02).contains(&width), "{rate} {part}: {width}");
            assert_eq!(fit.clock.unwrap().form.base(), rate.base());
        }
    }
}

#[test]
fn an_unlocked_clock_is_known_better_the_longer_it_is_in_view() {
    let mut scene = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F29_97);
    let mut last = 2.0;
    for n in [24, 60, 300] {
        scene.frames = (0..n).collect();
        let filmed = scene.film();
        let fit = run(&filmed);
        assert!(width(&fit) < last, "{n}: {}", width(&fit));
        let counts = fit.start.as_ref().unwrap().counts;
        assert!(counts.low.to_f64() <= filmed.phi_displayed);
        assert!(
            filmed.phi_displayed < counts.high.to_f64(),
            "{n} {} {fit:#?}",
            filmed.phi_displayed
        );
        last = width(&run(&filmed));
    }
    // 25 against 30000/1001: the phases of 300 frames lie 1/300 apart or so.
    assert!(last < 0.02, "{last}");
}

#[test]
fn every_clock_is_read_by_every_camera() {
    for rate in Rate::TRADE {
        for camera in RATES.into_iter().chain([Rate::F120]) {
            let form = frames(rate);
            let text = if form.last_digits() == 3 {
                "10:20:30:007"
            } else {
                "10:20:30:07"
            };
            let mut scene = Scene::new(form, text, camera);
            // Two seconds, so that every base is seen to wrap.
            scene.frames = (0..camera.base().into()).map(|i: u64| 2 * i).collect();
            let fit = run(&scene.film());
            assert_eq!(fit.verdict, Verdict::Sure, "{rate} by {camera}: {fit:#?}");
            assert_eq!(label(&fit), text, "{rate} by {camera}");
            assert_eq!(fit.clock.unwrap().form.base(), rate.base());
        }
    }
}

#[test]
fn the_published_example_of_a_25_clock_on_a_60_hz_panel_at_24_fps() {
    // Without slack no phase satisfies all sixty frames; with the panel's it is found.
    for seed in 0..20 {
        let mut scene = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F24);
        scene.phi += 0.37 * (seed as f64) % 1.0;
        scene.refresh = Some((60.0, 0.05 * seed as f64));
        scene.seed = seed;
        let filmed = scene.film();
        let fit = run(&filmed);
        assert_eq!(fit.verdict, Verdict::Sure, "{fit:#?}");
        let clock = fit.clock.as_ref().unwrap();
        assert_eq!(clock.form.rate(), Rate::F25);
        assert!(clock.refresh_hz.is_some(), "{fit:#?}");
        let off = fit.start.unwrap().counts.middle().to_f64() - scene.phi;
        assert!(off.abs() < 0.45, "{off}");
    }
}

#[test]
fn stamps_rounded_to_milliseconds_do_not_move_the_start() {
    for rate in [Rate::F23_976, Rate::F29_97, Rate::F59_94] {
        let mut scene = Scene::new(frames(rate), "10:20:30:07", rate);
        scene.tick_seconds = Some(Ratio::new(1, 1000));
        let filmed = scene.film();
        assert_sure(&run(&filmed), "10:20:30:07");
        // The same without a nominal rate to go by: half a count more is the most it costs.
        let mut facts = filmed.facts.clone();
        facts.rate = None;
        let fit = fit(
            std::slice::from_ref(&filmed.sighting),
            &facts,
            &Known::default(),
        );
        assert_eq!(label(&fit), "10:20:30:07");
        assert!(width(&fit) <= 1.5, "{rate} {fit:#?}");
    }
}

#[test]
fn uneven_stamps_and_dropped_frames_are_only_more_times() {
    // A 30-count clock, every eleventh frame but the fifth missing, stamps in
    // 1/600 s with 3 ticks added to every third.
    let mut scene = Scene::new(frames(Rate::F30), "10:00:00:00", Rate::F30);
    scene.tick_seconds = Some(Ratio::new(1, 600));
    scene.frames = (0..120).filter(|n| n % 11 != 5).collect();
    let mut filmed = scene.film();
    for (i, reading) in filmed.sighting.readings.iter_mut().enumerate() {
        if i % 3 == 1 {
            reading.stamp.ticks += 3;
        }
    }
    let fit = run(&filmed);
    assert_sure(&fit, "10:00:00:00");
    assert_eq!(fit.clock.unwrap().form.rate(), Rate::F30);
}

#[test]
fn frames_that_repeat_the_one_before_do_not_move_the_start() {
    for seed in 0..10 {
        let mut scene = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F29_97);
        scene.frames = (0..90).collect();
        scene.seed = seed;
        let mut filmed = scene.film();
        for at in (5 + seed as usize..90).step_by(23) {
            filmed.sighting.readings[at].places = filmed.sighting.readings[at - 1].places.clone();
        }
        let fit = run(&filmed);
        assert_eq!(label(&fit), "10:20:30:07", "{fit:#?}");
        assert_eq!(fit.verdict, Verdict::Sure, "{fit:#?}");
    }
}

#[test]
fn twenty_four_and_its_ntsc_cousin_are_told_by_the_cameras_family_when_short() {
    for (camera, wanted) in [(Rate::F59_94, Rate::F23_976), (Rate::F50, Rate::F24)] {
        let mut scene = Scene::new(frames(Rate::F24), "10:20:30:07", camera);
        scene.frames = (0..60).collect();
        let fit = run(&scene.film());
        assert_sure(&fit, "10:20:30:07");
        let clock = fit.clock.as_ref().unwrap();
        assert_eq!(clock.form.rate(), wanted);
        assert_eq!(clock.rate_known_by, RateKnownBy::Assumed);
        assert!(fit.notes.iter().any(|n| n.code == "rate_assumed"));
    }
}

/// A clock of 25 whose number 24 falls between two frames of a camera at 23.976 reads like one of
/// 23.976, whose time of day is 37 s later, but for a frame that shows 24.
#[test]
fn a_number_beyond_the_last_leaves_the_time_of_day_open() {
    let mut named = BTreeSet::new();
    for (camera, is_apart) in [(Rate::F23_976, true), (Rate::F24, false)] {
        // How surely the frame shows 24: one clock is the likelier, or the other.
        for rest in [0.001, 0.02, 0.05] {
            let scene = Scene {
                frames: (0..44).collect(),
                ..Scene::new(frames(camera), "10:20:30:05", camera)
            };
            let mut filmed = scene.film();
            assert_sure(&run(&filmed), "10:20:30:05");
            let mut shown = filmed.sighting.readings.iter_mut();
            let last = shown.find(|r| r.guess().ends_with("23")).expect("seen");
            let mut weights = [rest; 10];
            weights[4] = 1.0;
            *last.places.last_mut().unwrap() = DigitOdds::from_weights(weights);
            let fit = run(&filmed);
            let mut reasons = fit.reasons.iter();
            let says_so = reasons.any(|n| n.sentence.contains("at times of day"));
            assert_eq!(says_so, is_apart, "{camera} {rest} {fit:#?}");
            assert_eq!(fit.verdict == Verdict::Sure, !is_apart, "{camera} {fit:#?}");
            named.insert(fit.clock.map(|clock| clock.form.base()));
        }
    }
    assert_eq!(named.len(), 2, "{named:?}");
}

#[test]
fn a_rate_that_decides_the_start_is_not_assumed() {
    // Two minutes from frame 0, 24 and 23.976 start three counts apart.
    let mut scene = Scene::new(frames(Rate::F24), "10:20:30:07", Rate::F25);
    scene.frames = (3000..3060).collect();
    let fit = run(&scene.film());
    assert_unsure(&fit, "rate_unknown");
    assert_eq!(fit.next_look, NextLook::ElsewhereToo);
    let known = Known {
        rate: Some(Rate::F24),
        ..Known::default()
    };
    assert_sure(&run_knowing(&scene.film(), &known), "10:20:30:07");
}

#[test]
fn clocks_without_frames_are_placed_to_about_a_clip_frame() {
    for (form, text) in [
        (ClockForm::Seconds, "10:20:30"),
        (ClockForm::Tenths, "10:20:30.4"),
        (ClockForm::Hundredths, "10:20:30.41"),
        (ClockForm::Thousandths, "10:20:30.412"),
    ] {
        let mut scene = Scene::new(form, text, Rate::F25);
        scene.frames = (0..80).collect();
        scene.mark = flat_marks();
        let filmed = scene.film();
        let fit = run(&filmed);
        assert_eq!(fit.verdict, Verdict::Sure, "{fit:#?}");
        let clock = fit.clock.as_ref().unwrap();
        assert_eq!(clock.form, form);
        assert_eq!(clock.drop_frame, None);
        let seconds = fit.start.as_ref().unwrap().seconds;
        let truth_s = filmed.phi_displayed / form.rate().ratio().to_f64();
        assert!(
            (seconds.middle().to_f64() - truth_s).abs() < 0.04,
            "{fit:#?}"
        );
        // A clip frame, and a panel's refresh that nothing rules out.
        assert!(seconds.width() <= Ratio::new(3, 50), "{form:?} {seconds}");
    }
}

#[test]
fn a_clock_of_whole_seconds_needs_two_changes() {
    let mut scene = Scene::new(ClockForm::Seconds, "10:20:30", Rate::F25);
    scene.frames = (0..30).collect();
    let fit = run(&scene.film());
    assert_unsure(&fit, "not_seen_running");
    assert_eq!(fit.next_look, NextLook::MoreHere { sighting: 0 });
    assert_eq!(label(&fit), "10:20:30");
}

#[test]
fn midnight_is_only_another_carry() {
    // Starts before midnight, shows the clock after it.
    let mut scene = Scene::new(frames(Rate::F25), "23:59:59:20", Rate::F25);
    scene.frames = (100..160).collect();
    assert_sure(&run(&scene.film()), "23:59:59:20");
    // Goes over midnight in view.
    scene.frames = (0..40).collect();
    let fit = run(&scene.film());
    assert_sure(&fit, "23:59:59:20");
    let counts = fit.start.unwrap().counts;
    assert_eq!(counts.low, Ratio::from_integer(2_159_995));
    // A drop-frame day is shorter, and midnight skips no labels.
    let mut scene = Scene::new(drop_frames(Rate::F29_97), "23:59:59;20", Rate::F29_97);
    scene.mark = SEMICOLON;
    scene.frames = (0..40).collect();
    assert_sure(&run(&scene.film()), "23:59:59;20");
}

/// A digit that was not found would be ten hours.
#[test]
fn a_single_hour_digit_is_an_hour_below_ten_and_never_sure() {
    let mut scene = Scene::new(frames(Rate::F25), "07:20:30:07", Rate::F25);
    scene.one_hour_digit = true;
    let fit = run(&scene.film());
    assert_eq!(fit.verdict, Verdict::Unsure);
    assert_eq!(fit.start.unwrap().label, "07:20:30:07");
    let codes: Vec<_> = fit.reasons.iter().map(|r| r.code.as_str()).collect();
    assert_eq!(codes, ["hours_doubtful"]);
}
