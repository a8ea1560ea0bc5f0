//! Clips that play at another speed than real time, and counters that only seem to.

use super::cases::{assert_sure, assert_unsure, codes, label, run};
use super::sim::{BARE, COLON, Scene, flat_marks, frames};
use crate::outcome::Verdict;
use crate::reading::DigitOdds;
use crate::timecode::{ClockForm, Rate, Ratio};

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
fn four_counts_tell_a_speed_at_which_the_clip_plays() {
    for (seed, speed) in (0u64..).zip([0.1, 0.125, 0.2, 0.1, 0.125, 0.2]) {
        let mut scene = Scene::new(frames(Rate::F24), "09:42:27:08", Rate::F120);
        (scene.speed, scene.seed) = (speed, seed);
        // From the middle of one count to the end of the third after it.
        scene.frames = (0..(3.4 / (24.0 * speed) * 120.0) as u64).collect();
        assert_sure(&run(&scene.film()), "09:42:27:08");
        scene.frames = (0..(2.4 / (24.0 * speed) * 120.0) as u64).collect();
        assert_unsure(&run(&scene.film()), "speed_doubtful");
    }
}

#[test]
fn a_day_before_the_time_of_day_is_not_explained_by_a_clip_at_another_speed() {
    // 12 for the hours, and seconds where frames would be.
    for camera in [Rate::F24, Rate::F25, Rate::F30, Rate::F60] {
        let per_second = camera.ratio().to_f64();
        for step in 0..12 {
            for seconds in [1.25, 1.5, 2.0, 3.0, 6.0] {
                let mut scene = Scene::new(frames(camera), "12:14:22:00", camera);
                scene.frames = (0..(seconds * per_second) as u64).collect();
                let mut filmed = scene.film();
                for (i, reading) in (0u32..).zip(&mut filmed.sighting.readings) {
                    let second = 10 + (f64::from(i) / per_second + f64::from(step) / 12.0) as u8;
                    let shown = [1, 2, 1, 4, 2, 2, second / 10, second % 10];
                    for (place, digit) in reading.places.iter_mut().zip(shown) {
                        let mut weights = [0.0005; 10];
                        weights[usize::from(digit)] = 1.0;
                        *place = DigitOdds::from_weights(weights);
                    }
                }
                let fit = run(&filmed);
                let what = format!("{camera} {step} {seconds}: {fit:#?}");
                assert_ne!(fit.verdict, Verdict::Sure, "{what}");
            }
        }
    }
}

/// Eight digits that count thirty a second pass for a clock of 60 at half of its speed, until they
/// go on beyond 59.
#[test]
fn a_counter_without_marks_is_no_clock_at_another_speed() {
    for (speed, seconds, is_told_bare) in [(0.5, 1, false), (0.5, 3, true), (0.2, 2, false)] {
        let mut scene = Scene::new(frames(Rate::F60), "10:45:22:01", Rate::F30);
        (scene.speed, scene.frames) = (speed, (0..30 * seconds).collect());
        let fit = run(&scene.film());
        assert_eq!(fit.verdict, Verdict::Sure, "{speed} {fit:#?}");
        scene.mark = BARE;
        let fit = run(&scene.film());
        match is_told_bare {
            true => assert_eq!(fit.verdict, Verdict::Sure, "{speed} {fit:#?}"),
            false => assert_unsure(&fit, "speed_doubtful"),
        }
    }
    // Hundredths go on beyond 99 as any counter does, but not beyond 59 seconds.
    for (label, is_told_bare) in [("18:27:36.40", false), ("18:27:59.40", true)] {
        let mut scene = Scene::new(ClockForm::Hundredths, label, Rate::F30);
        (scene.speed, scene.frames) = (0.5, (0..90).collect());
        scene.mark = BARE;
        let fit = run(&scene.film());
        match is_told_bare {
            true => assert_eq!(fit.verdict, Verdict::Sure, "{label} {fit:#?}"),
            false => assert_unsure(&fit, "speed_doubtful"),
        }
    }
    // Some clocks have no marks; at the clip's own speed they need none.
    let mut scene = Scene::new(frames(Rate::F60), "10:45:22:01", Rate::F30);
    (scene.mark, scene.frames) = (BARE, (0..25).collect());
    assert_sure(&run(&scene.film()), "10:45:22:01");
}

/// With marks, too: pairs of any counter go on to 99, and are hundredths at some speed.
#[test]
fn pairs_that_go_on_to_99_are_no_hundredths_at_another_speed() {
    for (camera, speed) in [
        (Rate::F25, 0.25),
        (Rate::F25, 0.2),
        (Rate::F30, 0.3),
        (Rate::F29_97, 0.3 / 1.001),
        (Rate::F50, 0.5),
    ] {
        let mut scene = Scene::new(ClockForm::Hundredths, "22:23:43.72", camera);
        (scene.speed, scene.frames) = (speed, (0..90).collect());
        for mark in [COLON, flat_marks()] {
            scene.mark = mark;
            assert_unsure(&run(&scene.film()), "speed_doubtful");
        }
        scene = Scene::new(ClockForm::Hundredths, "22:23:59.72", camera);
        (scene.speed, scene.frames) = (speed, (0..90).collect());
        scene.mark = flat_marks();
        assert_sure(&run(&scene.film()), "22:23:59.72");
    }
}

/// Tenths of a kilometre, a litre or a degree are those of a second at some speed, until 59 seconds go
/// on to a minute.
#[test]
fn a_number_with_one_decimal_is_no_clock_of_tenths_at_another_speed() {
    for camera in [Rate::F25, Rate::F29_97, Rate::F60] {
        for (speed, label, has_carried) in [
            (0.2, "01:23:45.0", false),
            (0.25, "01:23:45.0", false),
            (0.3, "01:23:45.0", false),
            (0.5, "01:23:45.0", false),
            (0.8, "01:23:45.0", false),
            (0.25, "01:23:58.9", true),
            (0.5, "01:23:58.9", true),
        ] {
            let mut scene = Scene::new(ClockForm::Tenths, label, camera);
            (scene.speed, scene.frames) = (speed, (0..8 * u64::from(camera.base())).collect());
            for mark in [COLON, flat_marks()] {
                scene.mark = mark;
                let fit = run(&scene.film());
                let is_doubted = codes(&fit).contains(&"speed_doubtful");
                assert_eq!(
                    is_doubted, !has_carried,
                    "{camera} {speed} {label} {fit:#?}"
                );
            }
        }
    }
}

/// No counter of anything else happens to go on as fast as that.
#[test]
fn thousandths_at_another_speed_need_no_carry() {
    for speed in [0.25, 0.5, 0.8] {
        let mut scene = Scene::new(ClockForm::Thousandths, "15:18:34.245", Rate::F25);
        (scene.speed, scene.frames) = (speed, (0..90).collect());
        let fit = run(&scene.film());
        assert!(!codes(&fit).contains(&"speed_doubtful"), "{speed} {fit:#?}");
    }
}

#[test]
fn digits_that_were_read_twice_are_not_explained_by_a_clip_at_another_speed() {
    // The hours of a clock of tenths stood in two places, so that its last three digits passed
    // for frames: 120 a second, at a tenth of the speed, the first of them misread throughout.
    let mut scene = Scene::new(ClockForm::Tenths, "20:24:16.9", Rate::F30);
    scene.frames = (0..40).collect();
    let mut filmed = scene.film();
    assert_sure(&run(&filmed), "20:24:16.9");
    filmed.sighting.layout.groups = vec![2, 2, 2, 3];
    for reading in &mut filmed.sighting.readings {
        let hours = [reading.places[0], reading.places[1]];
        reading.places.splice(0..0, hours);
    }
    assert_unsure(&run(&filmed), "speed_doubtful");
}
