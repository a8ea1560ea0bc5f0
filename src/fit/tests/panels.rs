//! Which late digits a panel makes, and which none does.

use super::cases::{assert_sure, run};
use super::sim::{Filmed, Scene, frames};
use crate::fit::Known;
use crate::fit::ballot::ENOUGH;
use crate::fit::looks::{Looks, Times};
use crate::fit::pace::{Dial, paces};
use crate::fit::panel::may_be_a_panel;
use crate::fit::window::fit_window;
use crate::outcome::Verdict;
use crate::timecode::{ClockForm, Rate, Ratio};

/// Whether a panel may show `clock` as it was filmed, nearly as well as a display that is late at
/// will.
fn may_be(filmed: &Filmed, clock: Rate) -> bool {
    let sightings = [&filmed.sighting];
    let times = Times::of(&sightings, &filmed.facts);
    let mut looks = Looks::of(&filmed.sighting, &times.ticks[0]).unwrap();
    let known = Known {
        rate: Some(clock),
        speed: Some(Ratio::ONE),
        drop_frame: Some(false),
        ..Known::default()
    };
    let paces = paces(Dial::of(&filmed.sighting.layout).unwrap(), &known, None);
    let window = fit_window(&mut looks, &times, &paces, Some(false));
    let start = &window.scored[0];
    may_be_a_panel(&looks, &times, start, window.reference_tick, ENOUGH)
}

#[test]
fn no_panel_in_use_is_ruled_out() {
    let rates = [
        Rate::F24,
        Rate::F25,
        Rate::F29_97,
        Rate::F48,
        Rate::F50,
        Rate::F60,
        Rate::F100,
    ];
    let mut seed = 0;
    for clock in rates {
        for camera in [
            Rate::F23_976,
            Rate::F25,
            Rate::F30,
            Rate::F48,
            Rate::F60,
            Rate::F120,
        ] {
            for hz in [
                50.0, 59.94, 60.0, 60.3, 72.0, 75.0, 90.0, 120.0, 144.0, 240.0,
            ] {
                seed += 1;
                let mut scene = Scene::new(frames(clock), "10:20:30:07", camera);
                scene.phi += (0.37 * seed as f64) % 1.0;
                scene.refresh = Some((hz, (0.618 * seed as f64) % 1.0));
                scene.exposure = 0.1 * (seed % 6) as f64;
                scene.frames = (0..40 + seed % 110).collect();
                scene.seed = seed;
                assert!(
                    may_be(&scene.film(), clock),
                    "{clock} on {hz} Hz by {camera}: {scene:?}"
                );
            }
        }
    }
}

/// Damage may leave the stamp of one frame most of a day away.
#[test]
fn a_stray_stamp_rules_out_no_panel() {
    for clock in [Rate::F24, Rate::F60, Rate::F120] {
        for hours in [5, 10, 23] {
            let label = if clock == Rate::F120 {
                "00:20:30:007"
            } else {
                "00:20:30:07"
            };
            let mut scene = Scene::new(frames(clock), label, Rate::F25);
            scene.refresh = Some((60.0, 0.3));
            let mut filmed = scene.film();
            let last = filmed.sighting.readings.last_mut().unwrap();
            let stray = Ratio::from_integer(hours * 3600) / last.stamp.tick_seconds;
            last.stamp.ticks += i64::try_from(stray.floor()).unwrap();
            assert!(may_be(&filmed, clock), "{clock} {hours} h");
        }
    }
}

/// A clock of 50 would have to hide each :48 and :49, which takes a lateness that grows through
/// all of a second and falls at its end: a refresh of 49 Hz. A panel of 50 or more, seen by a
/// camera of 48, is late in turns that are shorter.
#[test]
fn a_clock_of_48_locked_to_the_camera_is_none_of_50_on_any_panel() {
    for label in ["10:20:59:46", "10:20:30:24", "10:20:07:00"] {
        for (frames_seen, noise) in [(96, 0.12), (144, 0.12), (144, 0.2), (240, 0.2)] {
            let mut scene = Scene::new(frames(Rate::F48), label, Rate::F48);
            scene.frames = (0..frames_seen).collect();
            scene.noise = noise;
            let fit = run(&scene.film());
            assert_sure(&fit, label);
            let width = fit.start.as_ref().unwrap().counts.width().to_f64();
            assert!(
                (1.0..1.02).contains(&width),
                "{label} {frames_seen} {noise}: {width}"
            );
        }
    }
}

/// A panel of 60 Hz before a camera of 29.97 is later by a thousandth of the time that passes, as if
/// the clip played 0.1 % slow. A minute behind frame 0 that is 60 ms.
#[test]
fn thousandths_on_a_panel_that_slowly_beats_are_not_carried_at_another_pace_unasked() {
    let mut by_table = 0;
    for seed in 0..240 {
        let mut scene = Scene::new(ClockForm::Thousandths, "11:30:30.264", Rate::F29_97);
        scene.refresh = Some((60.0, seed as f64 / 24.0));
        scene.exposure = 0.1;
        let from = [600, 1800, 2700][seed as usize % 3];
        scene.frames = (from..from + 97).collect();
        scene.seed = seed;
        let fit = run(&scene.film());
        let Some(start) = fit.start.filter(|_| fit.verdict == Verdict::Sure) else {
            continue;
        };
        by_table += 1;
        let off = start.counts.middle().to_f64() - scene.phi;
        assert!(off.abs() < 33.4, "{off} {scene:?}");
    }
    assert!(by_table >= 4, "{by_table}");
}

/// On a panel of 60 Hz a clock of 23.976 looks like one of 24 that is on time, for up to 17 s: in a
/// twelfth of these scenes so plainly that by the digits alone it would be taken for that.
#[test]
fn of_two_rates_that_a_panel_may_blur_the_clips_own_is_assumed() {
    let mut another = 0;
    for (clock, camera) in [
        (Rate::F23_976, Rate::F23_976),
        (Rate::F29_97, Rate::F29_97),
        (Rate::F59_94, Rate::F29_97),
    ] {
        for seed in 0..240 {
            let mut scene = Scene::new(frames(clock), "23:58:30:05", camera);
            scene.phi += 0.08 * seed as f64;
            scene.refresh = Some((60.0, (0.37 * seed as f64) % 1.0));
            scene.exposure = 0.25 * (seed % 3) as f64;
            scene.frames = (28..[75, 100, 190][seed as usize / 3 % 3]).collect();
            scene.seed = seed;
            let found = run(&scene.film()).clock.expect("a clock").form;
            another += u32::from(found.rate() != clock);
        }
    }
    assert!(another <= 20, "{another} of 720");
}
