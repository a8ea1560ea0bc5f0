//! The cases an editor meets, one sighting each.

use super::sim::{Filmed, SEMICOLON, Scene, drop_frames, flat_marks, frames};
use crate::fit::{ClockFit, DropFrameKnownBy, Known, NextLook, RateKnownBy, fit};
use crate::outcome::Verdict;
use crate::reading::{DigitOdds, MarkOdds};
use crate::timecode::{ClockForm, Rate, Ratio, in_clip_base};
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
    let cameras = [
        Rate::F23_976,
        Rate::F24,
        Rate::F25,
        Rate::F29_97,
        Rate::F30,
        Rate::F50,
        Rate::F59_94,
        Rate::F60,
        Rate::F120,
    ];
    for rate in Rate::TRADE {
        for camera in cameras {
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
fn the_semicolon_tells_drop_frame() {
    let mut scene = Scene::new(drop_frames(Rate::F29_97), "00:00:59;10", Rate::F25);
    scene.frames = (0..14).collect();
    scene.mark = SEMICOLON;
    let fit = run(&scene.film());
    assert_sure(&fit, "00:00:59;10");
    let clock = fit.clock.unwrap();
    assert_eq!(clock.drop_frame, Some(true));
    assert_eq!(clock.drop_frame_known_by, DropFrameKnownBy::Mark);
    assert_eq!(clock.form.rate(), Rate::F29_97);
}

/// The tail of a semicolon on segments may be seen in part. Whatever is told of drop-frame, the
/// count goes with it: a reader of the record takes what is open to count without.
#[test]
fn a_mark_that_is_seen_in_part_and_the_count_agree_on_drop_frame() {
    let mut open = Vec::new();
    for semicolon in [0.03, 0.2, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.97] {
        let mut scene = Scene::new(drop_frames(Rate::F29_97), "04:02:26;07", Rate::F29_97);
        scene.frames = (24..78).collect();
        scene.mark = MarkOdds {
            colon: 1.0 - semicolon,
            semicolon,
            ..SEMICOLON
        };
        let fit = run(&scene.film());
        let clock = fit.clock.as_ref().unwrap();
        assert_eq!(
            clock.form.drop_frame(),
            clock.drop_frame == Some(true),
            "{semicolon}: {fit:#?}"
        );
        let shown = if clock.drop_frame == Some(true) {
            "04:02:26;07"
        } else {
            "04:02:26:07"
        };
        assert_sure(&fit, shown);
        let start = fit.start.as_ref().unwrap();
        let own = in_clip_base(clock.form, start.counts.middle(), Rate::F29_97).unwrap();
        assert_eq!(own.label, shown, "{semicolon}");
        if clock.drop_frame.is_none() {
            open.push(semicolon);
        }
    }
    assert_eq!(open, [0.03, 0.2, 0.4, 0.5, 0.6, 0.7]);
}

#[test]
fn a_skipped_label_tells_drop_frame_whatever_the_mark() {
    for mark in [flat_marks(), super::sim::COLON] {
        for rate in [Rate::F29_97, Rate::F59_94] {
            let mut scene = Scene::new(drop_frames(rate), "00:00:59;20", rate);
            scene.mark = mark;
            scene.frames = (0..90).collect();
            let fit = run(&scene.film());
            assert_sure(&fit, "00:00:59;20");
            let clock = fit.clock.unwrap();
            assert_eq!(clock.drop_frame, Some(true));
            assert_eq!(clock.drop_frame_known_by, DropFrameKnownBy::SkippedLabel);
        }
    }
}

#[test]
fn a_label_that_drop_frame_skips_tells_that_it_is_none() {
    let mut scene = Scene::new(frames(Rate::F29_97), "00:00:59:20", Rate::F29_97);
    scene.mark = flat_marks();
    let fit = run(&scene.film());
    assert_sure(&fit, "00:00:59:20");
    let clock = fit.clock.unwrap();
    assert_eq!(clock.drop_frame, Some(false));
    assert_eq!(clock.drop_frame_known_by, DropFrameKnownBy::Label);
}

#[test]
fn drop_frame_that_nothing_tells_does_not_matter_within_a_minute() {
    let scene = Scene::new(frames(Rate::F29_97), "10:20:30:07", Rate::F29_97);
    let fit = run(&scene.film());
    assert_sure(&fit, "10:20:30:07");
    let clock = fit.clock.as_ref().unwrap();
    assert_eq!(clock.drop_frame, None);
    assert_eq!(clock.drop_frame_known_by, DropFrameKnownBy::Unknown);
    assert!(fit.notes.iter().any(|n| n.code == "drop_frame_open"));
}

#[test]
fn drop_frame_that_nothing_tells_matters_beyond_a_minute() {
    // Seen at 10:21:05, two seconds of frame 0 lie before 10:21.
    let mut scene = Scene::new(drop_frames(Rate::F29_97), "10:20:58;07", Rate::F29_97);
    scene.mark = flat_marks();
    scene.frames = (210..300).collect();
    let filmed = scene.film();
    assert_unsure(&run(&filmed), "drop_frame_unknown");
    // The user knows.
    for (drop_frame, wanted) in [(true, "10:20:58;07"), (false, "10:20:58:09")] {
        let known = Known {
            rate: Some(Rate::F29_97),
            drop_frame: Some(drop_frame),
            ..Known::default()
        };
        let fit = run_knowing(&filmed, &known);
        assert_sure(&fit, wanted);
        let clock = fit.clock.unwrap();
        assert_eq!(clock.drop_frame_known_by, DropFrameKnownBy::Given);
        assert_eq!(clock.rate_known_by, RateKnownBy::Given);
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
fn a_rate_given_wrongly_is_said_to_be_wrong() {
    let scene = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F25);
    let known = Known {
        rate: Some(Rate::F30),
        ..Known::default()
    };
    let fit = run_knowing(&scene.film(), &known);
    assert_unsure(&fit, "given_rate_contradicted");
    assert_eq!(label(&fit), "10:20:30:07");
    assert!(fit.reasons[0].sentence.contains("25"));
}

/// A clock of 24 shows 23 and no 24: one plain look at that is proof. Over the change of a second the counts of
/// one rate fit the labels of the other.
#[test]
fn a_given_rate_that_has_no_such_number_is_said_to_be_wrong_by_a_single_look_at_it() {
    for (clock, given, camera) in [
        (Rate::F25, Rate::F24, Rate::F25),
        (Rate::F25, Rate::F23_976, Rate::F25),
        (Rate::F30, Rate::F25, Rate::F30),
        (Rate::F50, Rate::F48, Rate::F25),
    ] {
        let mut told = 0;
        for first in 0..clock.ratio().ceil() as u64 {
            let mut scene = Scene::new(frames(clock), "10:20:30:07", camera);
            scene.frames = (first..first + 33).collect();
            let knowing = |rate| Known {
                rate: Some(rate),
                ..Known::default()
            };
            let fit = run_knowing(&scene.film(), &knowing(given));
            assert_ne!(
                fit.verdict,
                Verdict::Sure,
                "{given:?} from {first}: {fit:#?}"
            );
            told += usize::from(codes(&fit)[0] == "given_rate_contradicted");
            assert_sure(&run_knowing(&scene.film(), &knowing(clock)), "10:20:30:07");
        }
        assert!(told > 20, "{clock:?} {given:?}: {told}");
    }
}

/// By the semicolon, or by labels that are seen to be skipped.
#[test]
fn a_given_rate_without_drop_frame_is_said_to_be_wrong_of_a_clock_that_counts_it() {
    for (start, mark) in [
        ("11:01:50;02", SEMICOLON),
        ("11:01:59;02", MarkOdds::UNKNOWN),
    ] {
        for (clock, given) in [(Rate::F29_97, Rate::F30), (Rate::F59_94, Rate::F60)] {
            let mut scene = Scene::new(drop_frames(clock), start, clock);
            scene.mark = mark;
            let mut known = Known {
                rate: Some(given),
                ..Known::default()
            };
            let fit = run_knowing(&scene.film(), &known);
            assert_unsure(&fit, "given_rate_contradicted");
            known.rate = Some(clock);
            assert_sure(&run_knowing(&scene.film(), &known), start);
        }
    }
}

/// A semicolon is seen, and the clip counts otherwise: its own label would be seconds off.
#[test]
fn no_drop_frame_against_a_semicolon_needs_the_rate_where_the_clip_counts_otherwise() {
    for (camera, goes_over) in [
        (Rate::F29_97, true),
        (Rate::F59_94, true),
        (Rate::F25, false),
        (Rate::F23_976, false),
    ] {
        let mut scene = Scene::new(drop_frames(Rate::F29_97), "11:01:50;02", camera);
        scene.mark = SEMICOLON;
        let knowing = |rate| Known {
            rate,
            drop_frame: Some(false),
            ..Known::default()
        };
        let fit = run_knowing(&scene.film(), &knowing(None));
        match goes_over {
            true => {
                assert_sure(&fit, "11:01:50:02");
                assert!(fit.notes.iter().any(|n| n.code == "given_against_mark"));
            }
            false => assert_unsure(&fit, "given_drop_frame_contradicted"),
        }
        let fit = run_knowing(&scene.film(), &knowing(Some(Rate::F29_97)));
        assert_sure(&fit, "11:01:50:02");
    }
}

/// The start lies before a minute mark at which the clock is seen to skip labels, or not to.
#[test]
fn a_wrong_word_on_drop_frame_is_said_to_be_wrong_where_it_moves_the_start() {
    for (skips, text, last) in [
        (true, "11:01:58;02", 110),
        (false, "11:01:58:02", 110),
        (true, "11:01:50;02", 60),
    ] {
        let form = match skips {
            true => drop_frames(Rate::F29_97),
            false => frames(Rate::F29_97),
        };
        let mut scene = Scene::new(form, text, Rate::F29_97);
        if skips {
            scene.mark = SEMICOLON;
        }
        scene.frames = (0..last).collect();
        let is_over_the_minute = last > 60;
        let knowing = |drop_frame| Known {
            drop_frame: Some(drop_frame),
            ..Known::default()
        };
        assert_sure(&run_knowing(&scene.film(), &knowing(skips)), text);
        let fit = run_knowing(&scene.film(), &knowing(!skips));
        match is_over_the_minute {
            true => {
                assert_unsure(&fit, "given_drop_frame_contradicted");
                assert_eq!(label(&fit), text);
            }
            false => assert_sure(&fit, &text.replace(';', ":")),
        }
    }
}

/// The last of the frames digits counts as misread throughout, and what is left goes with any rate.
#[test]
fn a_rate_given_wrongly_is_said_to_be_wrong_where_the_right_one_leaves_something_open() {
    let mut scene = Scene::new(drop_frames(Rate::F29_97), "10:58:57;10", Rate::F29_97);
    scene.frames = (20..80).collect();
    for rate in [Rate::F24, Rate::F25] {
        let known = Known {
            rate: Some(rate),
            ..Known::default()
        };
        let fit = run_knowing(&scene.film(), &known);
        assert_ne!(fit.verdict, Verdict::Sure, "{fit:#?}");
    }
}

#[test]
fn a_given_rate_that_no_trade_uses_must_beat_those_that_are_used() {
    // Within a count, 26 a second explain each label that 25 a second show; they would show :25.
    let given = Rate::new(26, 1).unwrap();
    let known = Known {
        rate: Some(given),
        ..Known::default()
    };
    for seconds in [2, 4] {
        let mut scene = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F25);
        scene.frames = (0..25 * seconds).collect();
        let fit = run_knowing(&scene.film(), &known);
        assert_unsure(&fit, "given_rate_contradicted");
        let mut scene = Scene::new(frames(given), "10:20:30:07", Rate::F25);
        scene.frames = (0..25 * seconds).collect();
        assert_sure(&run_knowing(&scene.film(), &known), "10:20:30:07");
    }
}

#[test]
fn a_stated_lag_moves_the_start_on() {
    let scene = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F25);
    let known = Known {
        lag_s: Some(Ratio::new(2, 25)),
        ..Known::default()
    };
    assert_sure(&run_knowing(&scene.film(), &known), "10:20:30:09");
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
fn conformed_footage_gives_its_speed() {
    // 1.25, 2, 2.5, 4, 5, 8 and 10 times as many frames as are played in a second.
    for (num, den) in [(4, 5), (1, 2), (2, 5), (1, 4), (1, 5), (1, 8), (1, 10)] {
        let mut scene = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F25);
        scene.speed = f64::from(num) / f64::from(den);
        scene.frames = (0..250).collect();
        let fit = run(&scene.film());
        assert_eq!(label(&fit), "10:20:30:07", "{fit:#?}");
        let speed = fit.speed();
        assert_eq!(speed, Ratio::new(num.into(), den.into()));
        assert!(fit.notes.iter().any(|n| n.code == "conformed"));
    }
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
