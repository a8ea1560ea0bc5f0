//! What a person states of a clock, rightly or wrongly.

use super::cases::{assert_sure, assert_unsure, codes, label, run_knowing};
use super::sim::{SEMICOLON, Scene, drop_frames, flat_marks, frames};
use crate::fit::Known;
use crate::fit::judge::label_of;
use crate::outcome::Verdict;
use crate::reading::MarkOdds;
use crate::timecode::{ClockForm, Rate, Ratio};

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

/// A clock of 24 shows 23 and no 24: one plain look at that is proof. Over the change of a second
/// the counts of one rate fit the labels of the other.
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

/// Any speed near the real one explains the digits, if the display may be late.
#[test]
fn a_speed_given_wrongly_is_said_to_be_wrong() {
    for (clock, camera, (num, den), (wrong_num, wrong_den)) in [
        (Rate::F30, Rate::F25, (5, 24), (1, 5)),
        (Rate::F25, Rate::F25, (1, 2), (13, 25)),
        (Rate::F30, Rate::F25, (5, 6), (4, 5)),
        (Rate::F25, Rate::F25, (1, 1), (24, 25)),
        (Rate::F25, Rate::F25, (1, 1), (2, 1)),
    ] {
        let mut scene = Scene::new(frames(clock), "10:20:30:07", camera);
        scene.speed = f64::from(num) / f64::from(den);
        scene.frames = (30..130).collect();
        let filmed = scene.film();
        let knowing = |num: i32, den: i32| Known {
            speed: Some(Ratio::new(num.into(), den.into())),
            ..Known::default()
        };
        let wrong = run_knowing(&filmed, &knowing(wrong_num, wrong_den));
        assert_unsure(&wrong, "given_speed_contradicted");
        assert_eq!(label(&wrong), "10:20:30:07", "{wrong:#?}");
        let right = run_knowing(&filmed, &knowing(num, den));
        assert_sure(&right, "10:20:30:07");
        assert_eq!(right.speed(), Ratio::new(num.into(), den.into()));
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
    let fit = run_knowing(&scene.film(), &known);
    assert_sure(&fit, "10:20:30:09");
    let start = fit.start_outcome().unwrap();
    assert_eq!(start.exact_lag_seconds.as_deref(), Some("2/25"));
    let displayed = fit.start.unwrap().displayed(frames(Rate::F25)).middle();
    assert_eq!(label_of(frames(Rate::F25), displayed), "10:20:30:07");
}

/// 10:00:58:20 and 45 counts are 10:01:00:05, or 10:01:00;07 (SMPTE ST 12-1: the minute skips two).
#[test]
fn a_lag_that_leads_over_labels_which_drop_frame_skips_leaves_the_start_open() {
    for (label, leads_over) in [("10:00:58:20", true), ("10:00:56:20", false)] {
        let mut scene = Scene::new(frames(Rate::F29_97), label, Rate::F29_97);
        scene.frames = (0..36).collect();
        scene.mark = flat_marks();
        assert_sure(&run_knowing(&scene.film(), &Known::default()), label);
        let known = Known {
            lag_s: Some(Ratio::new(3, 2)),
            ..Known::default()
        };
        let fit = run_knowing(&scene.film(), &known);
        if leads_over {
            assert_unsure(&fit, "drop_frame_unknown");
        } else {
            assert_sure(&fit, "10:00:58:05");
        }
    }
}

/// Frames may be too small to be read beside whole seconds, or there are none.
#[test]
fn a_frame_rate_given_for_a_clock_that_shows_no_frames_contradicts_nothing() {
    for rate in ["15", "25", "26", "1000"] {
        let mut scene = Scene::new(ClockForm::Seconds, "10:20:30", Rate::F25);
        scene.frames = (0..100).collect();
        let known = Known {
            rate: Some(rate.parse().unwrap()),
            ..Known::default()
        };
        let fit = run_knowing(&scene.film(), &known);
        assert_sure(&fit, "10:20:30");
    }
}
