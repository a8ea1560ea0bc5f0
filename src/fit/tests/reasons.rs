//! Each reason that no other test asks for, and what frames of a standing digit are worth.

use super::cases::{assert_sure, assert_unsure, codes, run, run_knowing};
use super::sim::{Filmed, Scene, frames};
use crate::fit::lean::Leans;
use crate::fit::looks::Looks;
use crate::fit::placed::Placed;
use crate::fit::reasons::drift as drift_note;
use crate::fit::sight::Blur;
use crate::fit::{ClockFit, Known};
use crate::outcome::Verdict;
use crate::reading::DigitOdds;
use crate::timecode::{ClockForm, HalfOpen, Rate, Ratio};

fn scene(frames_seen: u64) -> Scene {
    let mut scene = Scene::new(frames(Rate::F25), "12:34:20:10", Rate::F25);
    scene.frames = (0..frames_seen).collect();
    scene
}

/// Weight for `digit` and for another, the rest for none.
fn between((digit, weight): (usize, f32), (other, less): (usize, f32)) -> DigitOdds {
    let mut weights = [0.01; 10];
    (weights[digit], weights[other]) = (weight, less);
    DigitOdds::from_weights(weights)
}

/// All frames read the same at one place.
fn with_place(mut filmed: Filmed, place: usize, odds: DigitOdds) -> Filmed {
    for reading in &mut filmed.sighting.readings {
        reading.places[place] = odds;
    }
    filmed
}

#[test]
fn few_agreeing_frames_are_a_reason() {
    let mut scene = scene(100);
    scene.flips = 0.6;
    assert_unsure(&run(&scene.film()), "few_agree");
}

#[test]
fn a_last_digit_that_is_often_off_is_a_clock_that_runs_unevenly() {
    let mut filmed = scene(90).film();
    for (at, reading) in filmed.sighting.readings.iter_mut().enumerate() {
        if at % 3 == 0 {
            let shown = usize::from(reading.places[7].best().0);
            // No 8 or 9, which two digits may look like that lie on top of each other.
            let other = (shown % 8 + 3 + at / 2 % 5) % 8;
            reading.places[7] = between((other, 1.0), (shown, 0.0));
        }
    }
    let fit = run(&filmed);
    assert_unsure(&fit, "uneven");
    assert!(fit.reasons[0].sentence.contains("30 of 90"), "{fit:#?}");
}

/// Eight frames within one second: nothing but their own digits tells the tens of frames, or
/// the seconds.
#[test]
fn digits_that_could_be_others_are_named_by_their_group() {
    let tens = with_place(scene(8).film(), 6, between((1, 0.6), (0, 0.35)));
    assert_unsure(&run(&tens), "parts_doubtful");
    assert_unsure(&run(&tens), "start_unclear");
    let seconds = with_place(scene(8).film(), 5, between((0, 0.6), (8, 0.35)));
    assert_unsure(&run(&seconds), "seconds_doubtful");
    assert_sure(&run(&scene(8).film()), "12:34:20:10");
}

/// Over an hour, what two crystals drift apart is several frames.
#[test]
fn a_clock_seen_far_from_frame_0_has_wide_bounds() {
    let mut scene = scene(60);
    scene.frames = (100_000..100_060).collect();
    assert_unsure(&run(&scene.film()), "bounds_wide");
}

/// Eight frames at the same rate as the camera's: half as fast a clock, or twice as fast, may
/// read the same.
#[test]
fn clocks_of_other_counts_a_second_may_read_alike() {
    let mut scene = Scene::new(frames(Rate::F50), "12:34:20:10", Rate::F50);
    scene.frames = (0..8).collect();
    assert_unsure(&run(&scene.film()), "clock_unclear");
}

/// Whole seconds, seen for 3 s from 3 s after frame 0 on, in a file of 28.976 frames a second for 30.
#[test]
fn a_clip_that_may_play_at_two_speeds_asks_for_its_speed() {
    let stamped = Rate::new(168_960, 5831).unwrap();
    let mut scene = Scene::new(ClockForm::Seconds, "21:24:53", stamped);
    scene.speed = stamped.ratio().to_f64() / 30.0;
    scene.frames = (88..180).collect();
    let film = |part: u32| {
        let mut scene = scene.clone();
        scene.phi += f64::from(part) * 0.05;
        scene.film()
    };
    let asks = |fit: &ClockFit| codes(fit).contains(&"speed_unknown");
    let unclear: Vec<Filmed> = (0..20).map(film).filter(|f| asks(&run(f))).collect();
    assert!(unclear.len() >= 3, "{}", unclear.len());
    for filmed in unclear {
        let known = Known {
            speed: Some(stamped.ratio() / Ratio::from_integer(30)),
            ..Known::default()
        };
        let told = run_knowing(&filmed, &known);
        assert_eq!(told.verdict, Verdict::Sure, "{told:#?}");
    }
}

/// What so many frames in noise, of which a share is `kept`, make one standing digit worth, for
/// a reader that raises its odds to a power; the mean of 20.
fn worth(seen: u64, kept: f64, power: f32) -> f64 {
    let worth = |seed: u64| {
        let mut scene = Scene::new(frames(Rate::F25), "12:34:20:10", Rate::F29_97);
        scene.frames = (0..seen).collect();
        (scene.noise, scene.common_noise, scene.seed) = (0.45, kept, seed);
        let mut filmed = scene.film();
        for reading in &mut filmed.sighting.readings {
            for odds in &mut reading.places {
                *odds = DigitOdds::from_weights(odds.all().map(|p| p.powf(power)));
            }
        }
        worth_of(&filmed, &scene)
    };
    (0..20).map(worth).sum::<f64>() / 20.0
}

/// What a standing digit is worth by frames that show what `scene` does.
fn worth_of(filmed: &Filmed, scene: &Scene) -> f64 {
    let ticks: Vec<i64> = (filmed.sighting.readings.iter())
        .map(|r| r.stamp.ticks)
        .collect();
    let looks = Looks::of(&filmed.sighting, &ticks).unwrap();
    let blur = Blur {
        places: 0,
        steps: 1,
    };
    let mut leans = Leans::new();
    let placed = Placed {
        looks: &looks,
        form: scene.form,
        counts: counts_of(scene),
    };
    leans.add(&placed, blur);
    leans.trust().worth
}

/// The counts that a scene's frames show.
fn counts_of(scene: &Scene) -> Vec<i64> {
    let a_frame = scene.form.rate().ratio().to_f64() / scene.camera.ratio().to_f64();
    let count = |&frame: &u64| (scene.phi + a_frame * frame as f64).floor() as i64;
    scene.frames.iter().map(count).collect()
}

/// A clock of 30 that keeps step with a camera of 24 is caught in the same digits each second.
#[test]
fn a_digit_that_is_always_caught_in_its_change_says_nothing_of_leans() {
    let mut scene = Scene::new(frames(Rate::F30), "12:34:20:10", Rate::F24);
    scene.frames = (0..72).collect();
    let mut filmed = scene.film();
    let steady = worth_of(&filmed, &scene);
    // The digits before and behind it hold much, and others some of the weight.
    let caught = |digit: usize| {
        let mut weights = [0.004; 10];
        (
            weights[digit],
            weights[digit - 1],
            weights[(digit + 1) % 10],
        ) = (0.5, 0.3, 0.1);
        weights[1] = 0.06;
        DigitOdds::from_weights(weights)
    };
    for (reading, count) in filmed.sighting.readings.iter_mut().zip(counts_of(&scene)) {
        let digit = count.rem_euclid(10) as usize;
        if [4, 9].contains(&digit) {
            reading.places[7] = caught(digit);
        }
    }
    let with_caught = worth_of(&filmed, &scene);
    assert!(with_caught > 0.8 * steady, "{with_caught} {steady}");
}

/// A clock that keeps step with the camera is caught at one share of every change: the ghost of the
/// next digit makes another of some, and of others both.
#[test]
fn a_place_in_step_with_the_camera_says_nothing_of_leans() {
    let mut scene = Scene::new(frames(Rate::F25), "12:34:20:10", Rate::F25);
    scene.frames = (0..72).collect();
    let mut filmed = scene.film();
    let counts = counts_of(&scene);
    let with = |odds: [(usize, f32); 3]| {
        let mut weights = [0.004; 10];
        odds.into_iter()
            .for_each(|(digit, weight)| weights[digit] += weight);
        DigitOdds::from_weights(weights)
    };
    for (reading, &count) in filmed.sighting.readings.iter_mut().zip(&counts) {
        let digit = count.rem_euclid(10) as usize;
        let next = (digit + 1) % 10;
        reading.places[7] = match digit {
            1 | 2 | 5 | 7 => with([(digit, 0.4), (next, 0.5), (9, 0.03)]),
            0 | 3 | 6 => with([((digit + 6) % 10, 0.9), (digit, 0.05), (next, 0.02)]),
            _ => with([(digit, 0.95), (next, 0.02), (8, 0.02)]),
        };
    }
    let in_step = worth_of(&filmed, &scene);
    // One that is caught in no change, and takes as many for others, leans.
    for (reading, &count) in filmed.sighting.readings.iter_mut().zip(&counts) {
        let digit = count.rem_euclid(10) as usize;
        if matches!(digit, 1 | 2 | 5 | 7) {
            reading.places[7] = with([(digit, 0.95), (9, 0.02), (8, 0.02)]);
        }
    }
    let leaning = worth_of(&filmed, &scene);
    assert!(leaning < 0.8 * in_step, "{leaning} {in_step}");
}

#[test]
fn frames_of_a_standing_digit_are_worth_less_the_more_the_reader_leans_at_moving_ones() {
    let [free, half, mostly] = [0.0, 0.5, 0.9].map(|kept| worth(100, kept, 1.0));
    // Where all of the noise is new in each frame, more than the usual two looks; where a
    // share k of it stays, 1 / k.
    assert!(
        free > 4.0 && half < 3.0 && mostly < 2.0,
        "{free} {half} {mostly}"
    );
    assert!(free > half && half > mostly, "{free} {half} {mostly}");
    // A digit that was seen in four frames leans by chance, too: that is taken off.
    let few = worth(40, 0.0, 1.0);
    assert!(few > 3.0 && free > 4.5, "{few} {free}");
    // A reader that makes its odds too sharp does not make them worth more.
    let rash = worth(100, 0.9, 1.5);
    assert!(rash < 1.2 * mostly, "{rash} {mostly}");
}

/// A place that reads poorly while all others are plain is worth two looks, at one in three.
#[test]
fn one_spoiled_place_is_not_trusted_as_the_others_are() {
    let minutes = |weight, less| with_place(scene(60).film(), 3, between((4, weight), (1, less)));
    // 2.1 and 3.4 nats a look: nine looks would do, two do not.
    assert_unsure(&run(&minutes(0.85, 0.1)), "minutes_doubtful");
    assert_unsure(&run(&minutes(0.93, 0.03)), "minutes_doubtful");
    assert_sure(&run(&minutes(0.97, 0.01)), "12:34:20:10");
}

#[test]
fn a_drift_is_told_with_bounds_that_hold_as_they_are_written() {
    let ppm = |low, high| HalfOpen::new(Ratio::new(low, 100), Ratio::new(high, 100));
    for (drift, told) in [
        (
            ppm(312, 398),
            "gains 3.1 to 4.0 parts per million, 11 to 15 ms an hour",
        ),
        (
            ppm(-398, -312),
            "loses 3.1 to 4.0 parts per million, 11 to 15 ms an hour",
        ),
        (
            ppm(-121, 98),
            "gains -1.3 to +1.0 parts per million, -5 to +4 ms an hour",
        ),
        (
            ppm(0, 98),
            "gains 0.0 to 1.0 parts per million, 0 to 4 ms an hour",
        ),
    ] {
        let sentence = drift_note(drift).sentence;
        assert!(sentence.ends_with(told), "{sentence}");
    }
}
