//! Displays that are held at one label, as slates hold theirs at the clap (common practice, no
//! source).

use super::cases::{assert_unsure, codes, run};
use super::sim::{Filmed, Scene, drop_frames, frames};
use crate::fit::ClockFit;
use crate::outcome::Verdict;
use crate::timecode::{ClockForm, Rate, wrapped};

/// Shows from look `from` to `to` what `from` showed.
fn hold(filmed: &mut Filmed, from: usize, to: usize) {
    let held = filmed.sighting.readings[from].places.clone();
    for reading in &mut filmed.sighting.readings[from..to] {
        reading.places.clone_from(&held);
    }
}

fn is_told(fit: &ClockFit) -> bool {
    fit.notes.iter().any(|note| note.code == "display_held")
}

fn scenes() -> Vec<Scene> {
    [
        (frames(Rate::F25), "10:20:30:07", Rate::F25),
        (frames(Rate::F25), "23:59:59:07", Rate::F24),
        (frames(Rate::F24), "10:59:58:20", Rate::F100),
        (frames(Rate::F23_976), "10:20:30:07", Rate::F23_976),
        (drop_frames(Rate::F29_97), "10:20:59;07", Rate::F59_94),
        (ClockForm::Hundredths, "10:20:30.07", Rate::F50),
    ]
    .into_iter()
    .map(|(form, label, camera)| Scene {
        frames: (0..4 * u64::from(camera.base())).collect(),
        ..Scene::new(form, label, camera)
    })
    .collect()
}

#[test]
fn a_display_that_is_held_behind_a_run_tells_the_start_by_the_run() {
    for scene in scenes() {
        let base = scene.camera.base() as usize;
        // To the end of what was seen, for longer than it ran, or on the same time line behind it.
        for (from, to) in [(2 * base, 4 * base), (base, 4 * base), (base, 2 * base)] {
            let mut filmed = scene.film();
            hold(&mut filmed, from, to);
            let fit = run(&filmed);
            let what = format!(
                "{} at {}, {from}..{to}: {fit:#?}",
                scene.form.pattern(),
                scene.camera
            );
            assert_eq!(fit.verdict, Verdict::Sure, "{what}");
            assert!(is_told(&fit), "{what}");
            let counts = fit.start.as_ref().unwrap().counts;
            let off = counts.middle().to_f64() - scene.phi;
            let per_frame = (scene.form.rate().ratio() / scene.camera.ratio()).to_f64();
            assert!(off.abs() <= per_frame.max(1.0), "{off} {what}");
            // Nothing is said of frames in which it is held, and what is true of all others.
            let day = scene.form.counts_per_day();
            let shown = |look: usize| (scene.phi + per_frame * look as f64).floor() as i64;
            let apart = |a: i64, b: i64| wrapped(a - b, day).abs();
            for (look, displayed) in fit.sightings[0].displayed.iter().enumerate() {
                let is_told = match displayed {
                    Some(count) => {
                        !(from + 1..to).contains(&look) && apart(*count, shown(look)) <= 1
                    }
                    None => (from..to).contains(&look) || apart(shown(look), shown(from)) <= 1,
                };
                assert!(is_told, "{look} {displayed:?} {what}");
            }
        }
    }
}

/// A fifth of a second, as at a clap: of a locked clock five frames, where others last one.
#[test]
fn a_display_that_is_held_for_a_few_frames_is_no_jump() {
    let mut scene = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F25);
    scene.frames = (0..50).collect();
    scene.phi += 0.4;
    for from in [12, 25, 40] {
        let mut filmed = scene.film();
        hold(&mut filmed, from, from + 5);
        let fit = run(&filmed);
        assert_eq!(fit.verdict, Verdict::Sure, "{from}: {fit:#?}");
        assert!(is_told(&fit), "{from}: {fit:#?}");
    }
}

#[test]
fn a_clock_that_goes_on_from_the_label_at_which_it_was_held_is_not_sure() {
    for (scene, base) in scenes()
        .into_iter()
        .map(|s| (s.clone(), s.camera.base() as usize))
    {
        let mut filmed = scene.film();
        let shown: Vec<_> = (filmed.sighting.readings.iter())
            .map(|r| r.places.clone())
            .collect();
        hold(&mut filmed, base, 2 * base);
        for at in 2 * base..4 * base {
            filmed.sighting.readings[at]
                .places
                .clone_from(&shown[at - base]);
        }
        let fit = run(&filmed);
        assert_ne!(
            fit.verdict,
            Verdict::Sure,
            "{} {fit:#?}",
            scene.form.pattern()
        );
    }
}

#[test]
fn a_display_that_stands_before_it_runs_may_have_been_started_then() {
    let scene = Scene {
        frames: (0..100).collect(),
        ..Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F25)
    };
    let mut filmed = scene.film();
    let later = filmed.sighting.readings[30].places.clone();
    for reading in &mut filmed.sighting.readings[..30] {
        reading.places.clone_from(&later);
    }
    let fit = run(&filmed);
    assert_unsure(&fit, "clock_jumped");
    assert!(!is_told(&fit), "{fit:#?}");
}

#[test]
fn another_number_that_takes_the_place_of_the_clock_is_no_label_that_is_held() {
    let scene = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F25);
    let other = Scene::new(frames(Rate::F25), "17:11:26:01", Rate::F25).film();
    let mut filmed = scene.film();
    for reading in &mut filmed.sighting.readings[30..] {
        reading
            .places
            .clone_from(&other.sighting.readings[0].places);
    }
    let fit = run(&filmed);
    assert_ne!(fit.verdict, Verdict::Sure, "{fit:#?}");
    assert!(!is_told(&fit), "{fit:#?}");
}

#[test]
fn a_display_that_shows_every_fifth_count_is_not_held() {
    let scene = Scene::new(frames(Rate::F25), "10:20:30:05", Rate::F25);
    let mut filmed = scene.film();
    for at in (0..60).step_by(5) {
        hold(&mut filmed, at, at + 5);
    }
    assert!(!is_told(&run(&filmed)), "{:?}", codes(&run(&filmed)));
}
