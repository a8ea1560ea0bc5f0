//! Whether a clock drops frame numbers, and what tells it.

use super::cases::{assert_sure, assert_unsure, run, run_knowing};
use super::sim::{COLON, SEMICOLON, Scene, drop_frames, flat_marks, frames};
use crate::fit::{DropFrameKnownBy, Known, RateKnownBy};
use crate::reading::MarkOdds;
use crate::timecode::{Rate, in_clip_base};

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
    for mark in [flat_marks(), COLON] {
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
