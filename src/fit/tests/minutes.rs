//! Drop-frame clocks that pass a minute mark in view, with few frames on one
//! side of it.

use super::cases::{assert_sure, label, run};
use super::sim::{SEMICOLON, Scene, drop_frames, flat_marks};
use crate::outcome::Verdict;
use crate::timecode::{ClockForm, Rate};

/// The last count before a minute at which a drop-frame clock skips labels.
fn last_before_a_minute(form: ClockForm, minute: &str) -> i64 {
    let skipped = form.base() / 15;
    let first = form.parse(&format!("{minute};{skipped:02}")).unwrap();
    form.count(&first).unwrap() - 1
}

/// A burned-in clock, seen in `n` frames of a camera at its own rate, of which
/// `before` lie before the minute.
fn scene(form: ClockForm, minute: &str, before: i64, n: u64) -> Scene {
    let mut scene = Scene::new(ClockForm::Seconds, "00:00:00", form.rate());
    scene.form = form;
    scene.phi = (last_before_a_minute(form, minute) - before + 1) as f64 + 0.5;
    scene.frames = (0..n).collect();
    scene
}

#[test]
fn a_minute_mark_right_after_the_start_or_right_before_the_end_is_seen() {
    // Few frames of a fast clock do not tell it from one that was slowed down and is shown late.
    for (rate, shortest) in [(Rate::F29_97, 9), (Rate::F59_94, 20), (Rate::F119_88, 40)] {
        let form = drop_frames(rate);
        for (minute, mark) in [("00:01:00", SEMICOLON), ("10:09:00", flat_marks())] {
            for n in [shortest, 90] {
                for near in 1..=8.min(n as i64 - 1) {
                    for before in [near, n as i64 - near] {
                        let mut scene = scene(form, minute, before, n);
                        scene.mark = mark;
                        let wanted = form.text(scene.phi.floor() as i64);
                        let fit = run(&scene.film());
                        let what = format!("{wanted}, {before} of {n}: {fit:#?}");
                        assert_eq!(label(&fit), wanted, "{what}");
                        // A single frame on one side may be a stray one; two are not.
                        if near > 1 {
                            assert_eq!(fit.verdict, Verdict::Sure, "{what}");
                        }
                        let start = fit.start.as_ref().unwrap().counts;
                        let clock = fit.clock.as_ref().unwrap();
                        // One digit of one frame does not settle drop-frame, and need not.
                        if n as i64 - before > 1 || mark == SEMICOLON {
                            assert_eq!(clock.drop_frame, Some(true), "{what}");
                        }
                        let low = start.low.to_f64();
                        assert!(
                            clock.form != form || (low - scene.phi.floor()).abs() < 0.01,
                            "{what}"
                        );
                    }
                }
            }
        }
    }
}

#[test]
fn a_semicolon_tells_the_rate_of_a_clock_whose_digits_come_late() {
    // On a panel the digits of 59.94 come late in a pattern that 60, which no crystal of the
    // camera drives, explains without. Frame 0 lies before a minute at which one skips labels.
    for refresh in [(60.0, 0.1), (90.0, 0.1), (120.0, 0.35)] {
        let mut scene = Scene::new(drop_frames(Rate::F59_94), "10:00:59;30", Rate::F59_94);
        scene.phi -= 0.1;
        scene.frames = (48..239).collect();
        scene.refresh = Some(refresh);
        scene.mark = SEMICOLON;
        assert_sure(&run(&scene.film()), "10:00:59;30");
    }
}
