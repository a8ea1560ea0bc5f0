//! More than one sighting.

use super::cases::{codes, label};
use super::sim::{BARE, COLON, Filmed, Scene, flat_marks, frames};
use crate::fit::{ClockFit, Known, NextLook, RateKnownBy, fit};
use crate::geometry::{Point, Quad};
use crate::note::Note;
use crate::outcome::Verdict;
use crate::reading::{DigitOdds, Sighting};
use crate::timecode::{ClockForm, Rate, Ratio};

fn run(filmed: &[Filmed]) -> ClockFit {
    let sightings: Vec<&Sighting> = filmed.iter().map(|f| &f.sighting).collect();
    fit(&sightings, &filmed[0].facts, &Known::default())
}

/// The scene seen in windows of 60 frames that begin at the given frames.
fn windows(scene: &Scene, firsts: &[u64]) -> Vec<Filmed> {
    let film = |(i, &first): (usize, &u64)| {
        let mut scene = scene.clone();
        scene.frames = (first..first + 60).collect();
        scene.seed += i as u64;
        scene.film()
    };
    firsts.iter().enumerate().map(film).collect()
}

/// A display of seconds that nobody could read: each digit leads another by little, and the last
/// one, of which little more is seen, goes on.
fn texture(first: u64, last_digits: &[u8]) -> Filmed {
    let mut scene = Scene::new(ClockForm::Seconds, "10:20:32", Rate::F25);
    scene.frames = (first..first + 25 * last_digits.len() as u64).collect();
    let mut filmed = scene.film();
    for (frame, reading) in filmed.sighting.readings.iter_mut().enumerate() {
        let lean = |digit: u8, weight: f32| {
            let mut weights = [1.0; 10];
            weights[usize::from(digit)] = weight;
            weights[usize::from(digit + 1) % 10] = 0.8 * weight;
            DigitOdds::from_weights(weights)
        };
        for (place, odds) in reading.places.iter_mut().enumerate() {
            *odds = match place {
                5 => lean(last_digits[frame / 25], 4.0),
                _ => lean([2, 0, 5, 9, 0][place], 6.0),
            };
        }
    }
    filmed
}

#[test]
fn texture_that_reads_like_a_clock_hides_none() {
    let scene = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F25);
    for [first_of_texture, first_of_clock] in [[0, 200], [300, 0]] {
        let texture = texture(first_of_texture, &[2, 3, 4]);
        let alone = run(std::slice::from_ref(&texture));
        assert_eq!(codes(&alone), ["no_running_clock"], "{alone:#?}");
        let [clock] = &windows(&scene, &[first_of_clock])[..] else {
            unreachable!("one window");
        };
        let mut both = [texture, clock.clone()];
        both.sort_by_key(|f| f.sighting.readings[0].stamp.ticks);
        let fit = run(&both);
        assert_eq!(fit.verdict, Verdict::Sure, "{fit:#?}");
        assert_eq!(label(&fit), "10:20:30:07");
    }
}

/// Lettering that a camera pans over, and of which one digit is misread now and then.
#[test]
fn digits_that_stand_still_but_for_one_that_is_misread_are_no_clock() {
    for (misread, has_a_start) in [(&[][..], true), (&[(2, 7), (5, 3), (8, 8)], false)] {
        let mut scene = Scene::new(ClockForm::Seconds, "11:05:00", Rate::F25);
        scene.frames = (0..11).collect();
        let mut filmed = scene.film();
        for &(frame, digit) in misread {
            let mut weights = [0.1; 10];
            weights[digit] = 9.0;
            filmed.sighting.readings[frame].places[5] = DigitOdds::from_weights(weights);
        }
        let fit = run(&[filmed]);
        assert_eq!(fit.start.is_some(), has_a_start, "{fit:#?}");
    }
}

#[test]
fn head_and_tail_tell_24_from_its_ntsc_cousin() {
    for (clock, camera) in [
        (Rate::F24, Rate::F25),
        (Rate::F23_976, Rate::F25),
        (Rate::F29_97, Rate::F25),
        (Rate::F30, Rate::F25),
        (Rate::F29_97, Rate::F30),
    ] {
        let mut scene = Scene::new(frames(clock), "10:20:30:07", camera);
        scene.mark = flat_marks();
        let fit = run(&windows(&scene, &[0, 6000]));
        assert_eq!(fit.verdict, Verdict::Sure, "{fit:#?}");
        assert_eq!(label(&fit), "10:20:30:07");
        let found = fit.clock.unwrap();
        assert_eq!(found.form.rate(), clock);
        // What is left open, if anything, is another base, never the cousin.
        let cousin = if clock.is_ntsc() {
            Rate::F24
        } else {
            Rate::F23_976
        };
        let said = |note: &Note| note.sentence.contains(&cousin.decimal());
        assert!(
            clock.base() != 24 || !fit.notes.iter().any(said),
            "{:?}",
            fit.notes
        );
        assert!(
            fit.sightings
                .iter()
                .all(|s| s.is_the_clock() && s.frames_agreeing == 60)
        );
    }
}

#[test]
fn drift_between_head_and_tail_is_measured_with_its_bounds() {
    for ppm in [-80.0, -20.0, 0.0, 45.0, 120.0] {
        let mut scene = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F29_97);
        scene.drift = 1.0 + ppm * 1e-6;
        // Ten minutes apart: a count is 67 ppm.
        let filmed = windows(&scene, &[0, 18_000]);
        let fit = run(&filmed);
        assert_eq!(fit.verdict, Verdict::Sure, "{fit:#?}");
        assert_eq!(label(&fit), "10:20:30:07");
        let drift = fit.clock.as_ref().unwrap().drift_ppm.expect("bounded");
        assert!(
            drift.low.to_f64() <= ppm && ppm <= drift.high.to_f64(),
            "{ppm}: {drift}"
        );
        assert!(drift.width() < Ratio::from_integer(20), "{drift}");
        let note = fit.notes.iter().find(|n| n.code == "drift_measured");
        let sentence = &note.expect("said").sentence;
        let what = if drift.high <= Ratio::ZERO {
            "loses"
        } else {
            "gains"
        };
        assert!(sentence.contains(what), "{ppm}: {sentence}");
    }
}

/// Drifts that are not usual, seen from windows too near to each other to tell them from a usual
/// one: nothing is told of them, or what holds the truth.
#[test]
fn what_is_taken_for_granted_of_the_drift_is_no_measurement() {
    let mut untold = 0;
    for ppm in [45.0, 70.0, 95.0, 120.0, 145.0] {
        for apart in [2000, 3000, 4500, 6000, 9000] {
            let mut scene = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F29_97);
            scene.drift = 1.0 + ppm * 1e-6;
            let fit = run(&windows(&scene, &[0, apart]));
            let is_told = fit.notes.iter().any(|n| n.code == "drift_measured");
            let drift = fit.clock.as_ref().unwrap().drift_ppm;
            assert_eq!(is_told, drift.is_some(), "{fit:#?}");
            untold += usize::from(!is_told);
            if let Some(drift) = drift {
                let holds = drift.low.to_f64() <= ppm && ppm <= drift.high.to_f64();
                assert!(holds, "{ppm}, {apart} frames apart: {drift}");
            }
        }
    }
    assert!(untold > 5, "{untold}");
}

#[test]
fn more_than_two_sightings_narrow_the_start() {
    let mut scene = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F29_97);
    scene.drift = 1.0 + 15e-6;
    let filmed = windows(&scene, &[0, 3000, 9000, 18_000]);
    let all = run(&filmed);
    let one = run(&filmed[..1]);
    assert_eq!(all.verdict, Verdict::Sure);
    let [all, one] = [all, one].map(|f| f.start.unwrap().counts);
    assert!(all.width() <= one.width());
    assert!(all.low.to_f64() <= scene.phi && scene.phi < all.high.to_f64());
}

#[test]
fn a_clock_set_anew_between_two_sightings_is_never_averaged() {
    // Behind, as after a pause, and ahead.
    for apart in [-250, -3, 3, 250, 90_000] {
        let scene = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F25);
        let mut later = scene.clone();
        later.phi += f64::from(apart);
        let mut filmed = windows(&scene, &[0, 1000]);
        filmed[1] = windows(&later, &[0, 1000]).remove(1);
        // In whatever order they were found.
        for _ in 0..2 {
            let fit = run(&filmed);
            assert_eq!(fit.verdict, Verdict::Unsure, "{apart}: {fit:#?}");
            assert_eq!(codes(&fit), ["clock_rejammed"]);
            assert_eq!(label(&fit), "10:20:30:07");
            assert_eq!(fit.start.unwrap().counts.width(), Ratio::ONE);
            filmed.reverse();
        }
    }
}

#[test]
fn a_tail_alone_carries_what_crystals_may_drift() {
    let scene = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F25);
    let head = run(&windows(&scene, &[0]));
    let tail = run(&windows(&scene, &[7500]));
    assert_eq!(tail.verdict, Verdict::Sure);
    assert_eq!(label(&tail), "10:20:30:07");
    let [head, tail] = [head, tail].map(|f| f.start.unwrap().counts.width());
    // 30 ppm of 300 s either way, at 25 counts a second.
    assert_eq!(tail - head, Ratio::new(2 * 30 * 7500, 1_000_000));
}

#[test]
fn midnight_between_two_sightings_is_no_jump() {
    let scene = Scene::new(frames(Rate::F25), "23:59:30:07", Rate::F25);
    let fit = run(&windows(&scene, &[0, 2000]));
    assert_eq!(fit.verdict, Verdict::Sure, "{fit:#?}");
    assert_eq!(label(&fit), "23:59:30:07");
}

#[test]
fn a_status_bar_that_tells_the_same_time_is_no_conflict() {
    let slate = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F25);
    let mut bar = Scene::new(ClockForm::Seconds, "10:20:30", Rate::F25);
    bar.phi = slate.phi / 25.0 - 0.4;
    bar.frames = (0..90).collect();
    let fit = run(&[bar.film(), slate.film()]);
    assert_eq!(fit.verdict, Verdict::Sure, "{fit:#?}");
    assert_eq!(label(&fit), "10:20:30:07");
    assert!(fit.sightings[1].is_the_clock() && !fit.sightings[0].is_the_clock());
}

#[test]
fn two_running_clocks_that_disagree_are_not_sure() {
    let slate = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F25);
    // A player's time bar, running from the start of the film it plays.
    let mut player = Scene::new(ClockForm::Seconds, "00:03:10", Rate::F25);
    player.frames = (0..90).collect();
    let fit = run(&[slate.film(), player.film()]);
    assert_eq!(fit.verdict, Verdict::Unsure, "{fit:#?}");
    assert_eq!(codes(&fit), ["clocks_disagree"]);
    assert_eq!(label(&fit), "10:20:30:07");
}

/// Frames of another rate may be those of a clock in step, a panel's refresh apart, but no more.
#[test]
fn two_clocks_of_frames_are_in_step_to_a_refresh_or_disagree() {
    for (rate, at, later_s, code) in [
        (Rate::F24, "10:20:30:08", 0.02, "agreed"),
        (Rate::F24, "10:20:30:08", 0.15, "clocks_disagree"),
        (Rate::F24, "10:20:30:08", -0.15, "clocks_disagree"),
        (Rate::F29_97, "10:20:30:10", 0.01, "agreed"),
        (Rate::F29_97, "10:20:30:10", 0.1, "clocks_disagree"),
        (Rate::F29_97, "10:20:30:10", -0.1, "clocks_disagree"),
    ] {
        let slate = Scene::new(frames(Rate::F30), "10:20:30:10", Rate::F25);
        let mut other = Scene::new(frames(rate), at, Rate::F25);
        other.phi += later_s * rate.ratio().to_f64();
        let fit = run(&[slate.film(), other.film()]);
        assert_eq!(codes(&fit), [code], "{rate} {later_s} s {fit:#?}");
    }
}

/// Joined where their bounds touched, within a thousandth of a count: five of ten such clips were sure
/// of a start between the two.
#[test]
fn two_clocks_in_view_that_are_a_count_or_two_apart_are_not_joined_where_they_touch() {
    // Of 50 counts one is a panel's refresh.
    for (rate, camera, later) in [
        (Rate::F24, Rate::F24, [1.0, 2.0]),
        (Rate::F25, Rate::F25, [1.0, 2.0]),
        (Rate::F30, Rate::F30, [1.0, 2.0]),
        (Rate::F25, Rate::F30, [1.0, 2.0]),
        // These may be of 29.97 as well, which would make another form of clock of one of the two.
        (Rate::F30, Rate::F23_976, [1.0, 2.0]),
        (Rate::F50, Rate::F25, [2.0, 3.0]),
        (Rate::F50, Rate::F50, [2.0, 3.0]),
    ] {
        for phase in [0.0, 0.3, 0.6] {
            let mut slate = Scene::new(frames(rate), "10:20:30:07", camera);
            slate.phi += phase;
            for (later, code) in [
                (0.0, "agreed"),
                (later[0], "clocks_disagree"),
                (later[1], "clocks_disagree"),
            ] {
                let mut other = slate.clone();
                other.phi += later;
                other.seed += 1;
                let fit = run(&[slate.film(), other.film()]);
                let case = format!("{rate} by {camera}, {phase}, {later} later");
                assert_eq!(codes(&fit)[0], code, "{case} {fit:#?}");
            }
        }
    }
}

/// A line of whole seconds tells when they pass, and may be drawn by a timer of its own, but no more.
#[test]
fn whole_seconds_beside_frames_are_the_same_to_half_a_second_or_disagree() {
    for (later_s, code) in [
        (-0.4, "agreed"),
        (0.0, "agreed"),
        (0.4, "agreed"),
        (-0.7, "clocks_disagree"),
        (0.7, "clocks_disagree"),
        (-1.0, "clocks_disagree"),
        (1.0, "clocks_disagree"),
    ] {
        let slate = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F25);
        let mut bar = Scene::new(ClockForm::Seconds, "10:20:30", Rate::F25);
        bar.phi = slate.phi / 25.0 + later_s;
        bar.frames = (0..90).collect();
        let fit = run(&[slate.film(), bar.film()]);
        assert_eq!(codes(&fit), [code], "{later_s} s {fit:#?}");
    }
}

/// A scene whose digits are so tall, px.
fn of_height(scene: &Scene, digit_px: f32) -> Filmed {
    let mut filmed = scene.film();
    (filmed.sighting.readings.iter_mut()).for_each(|reading| reading.digit_px = digit_px);
    filmed
}

/// The length of a call on a phone, then a slate: not a clock that was set anew, if they count other
/// parts of a second and one is much larger.
#[test]
fn a_clock_of_another_form_before_the_slate_is_not_the_slate_set_anew() {
    let scene = |form, at, range: std::ops::Range<u64>| {
        let mut scene = Scene::new(form, at, Rate::F25);
        scene.frames = range.collect();
        scene
    };
    let later = scene(frames(Rate::F25), "10:20:30:07", 200..240);
    for (form, at, height, expected, code) in [
        (
            ClockForm::Seconds,
            "01:07:41",
            20.0,
            "10:20:30:07",
            "clocks_disagree",
        ),
        (
            ClockForm::Seconds,
            "01:07:41",
            30.0,
            "01:07:41",
            "clock_rejammed",
        ),
        (
            frames(Rate::F25),
            "01:07:41:00",
            20.0,
            "01:07:41:00",
            "clock_rejammed",
        ),
    ] {
        let call = scene(form, at, 0..90);
        let fit = run(&[of_height(&call, height), of_height(&later, 40.0)]);
        assert_eq!(codes(&fit), [code], "{at} {height}");
        assert_eq!(label(&fit), expected, "{at} {height}");
    }
}

/// A counter laid over the picture reads better than a slate that is held up close.
#[test]
fn of_two_clocks_that_disagree_the_start_is_by_the_much_larger_one() {
    let slate = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F25);
    let mut counter = Scene::new(frames(Rate::F25), "01:00:00:00", Rate::F25);
    counter.frames = (0..90).collect();
    for (height, expected, by) in [
        (
            40.0,
            "10:20:30:07",
            "by the larger one; by the other it would be 01:00:00:00",
        ),
        (
            25.0,
            "01:00:00:00",
            "by the clearer one; by the other it would be 10:20:30:07",
        ),
        (
            12.0,
            "01:00:00:00",
            "by the larger one; by the other it would be 10:20:30:07",
        ),
    ] {
        let fit = run(&[of_height(&slate, height), of_height(&counter, 20.0)]);
        assert_eq!(codes(&fit), ["clocks_disagree"]);
        assert_eq!(label(&fit), expected, "{height} px");
        assert!(
            fit.reasons[0].sentence.contains(by),
            "{}",
            fit.reasons[0].sentence
        );
    }
}

/// Where a display of usual size stands in the picture.
fn quad(x: f32, y: f32) -> Quad {
    let corners = [(x, y), (x + 200.0, y), (x + 200.0, y + 40.0), (x, y + 40.0)];
    Quad::from_corners(corners.map(|(x, y)| Point::new(x, y)))
}

fn place(mut filmed: Filmed, quad: Quad) -> Filmed {
    (filmed.sighting.readings.iter_mut()).for_each(|reading| reading.quad = quad);
    filmed
}

/// The same display, showing throughout what it showed first.
fn stopped(mut filmed: Filmed) -> Filmed {
    let shown = filmed.sighting.readings[0].places.clone();
    for reading in &mut filmed.sighting.readings {
        reading.places.clone_from(&shown);
    }
    filmed
}

/// A player's position with its length behind, far behind or below, or with what is left, and signs
/// that are none: before it, above it, a time that has passed, user bits beside a clock of frames.
#[test]
fn a_clock_before_a_time_that_it_has_yet_to_reach_may_be_a_players() {
    let still = |form, label, mark| {
        let mut sign = Scene::new(form, label, Rate::F25);
        sign.mark = mark;
        sign.frames = (0..100).collect();
        stopped(sign.film())
    };
    let (seconds, with_frames) = (ClockForm::Seconds, frames(Rate::F25));
    for (form, at, length, mark, there, is_one) in [
        (
            seconds,
            "01:12:05",
            "01:42:16",
            COLON,
            quad(240.0, 0.0),
            true,
        ),
        (
            seconds,
            "01:12:05",
            "01:42:16",
            COLON,
            quad(-240.0, 0.0),
            false,
        ),
        (
            seconds,
            "01:12:05",
            "01:42:16",
            COLON,
            quad(0.0, -60.0),
            false,
        ),
        (
            seconds,
            "01:12:05",
            "01:42:16",
            COLON,
            quad(0.0, 60.0),
            true,
        ),
        (
            seconds,
            "01:12:05",
            "01:42:16",
            COLON,
            quad(1500.0, 0.0),
            true,
        ),
        (
            seconds,
            "10:12:05",
            "01:42:16",
            COLON,
            quad(240.0, 0.0),
            false,
        ),
        (
            with_frames,
            "01:12:05:10",
            "01:42:16:02",
            COLON,
            quad(240.0, 0.0),
            true,
        ),
        (
            with_frames,
            "01:12:05:10",
            "01:42:16:02",
            COLON,
            quad(0.0, 60.0),
            true,
        ),
        (
            with_frames,
            "01:12:05:10",
            "01:42:16:02",
            BARE,
            quad(0.0, 60.0),
            false,
        ),
        // In its own places: unlit segments.
        (
            with_frames,
            "01:12:05:10",
            "01:42:16:02",
            COLON,
            quad(12.0, 0.0),
            false,
        ),
        (
            with_frames,
            "02:12:05:10",
            "01:42:16:02",
            COLON,
            quad(0.0, 60.0),
            false,
        ),
    ] {
        // The length may be found a frame before the position, or behind it.
        for first in [0, 1] {
            let mut clock = Scene::new(form, at, Rate::F25);
            clock.frames = (first..100).collect();
            let clock = place(clock.film(), quad(0.0, 0.0));
            let mut length = place(still(form, length, mark), there);
            length.sighting.readings.drain(..1 - first as usize);
            let fit = run(&[clock, length]);
            let is_doubted = codes(&fit).contains(&"may_be_a_player");
            assert_eq!(is_doubted, is_one, "{at} {there:?} {fit:#?}");
            assert_eq!(fit.verdict == Verdict::Unsure, is_one, "{fit:#?}");
        }
    }
    let mut clock = Scene::new(ClockForm::Seconds, "01:12:05", Rate::F25);
    clock.frames = (0..100).collect();
    let clock = place(clock.film(), quad(0.0, 0.0));
    let mut left = Scene::new(ClockForm::Seconds, "00:30:11", Rate::F25);
    left.frames = (0..100).collect();
    let mut left = place(left.film(), quad(-900.0, 300.0));
    let stamps: Vec<_> = left.sighting.readings.iter().map(|r| r.stamp).collect();
    left.sighting.readings.reverse();
    for (reading, stamp) in left.sighting.readings.iter_mut().zip(stamps) {
        reading.stamp = stamp;
    }
    let fit = run(&[clock.clone(), left.clone()]);
    assert!(codes(&fit).contains(&"may_be_a_player"), "{fit:#?}");
    // Of what is left one change was seen, a little before the middle or behind it.
    for (from, to) in [(0, 40), (4, 44), (30, 70), (35, 75)] {
        let [mut clock, mut left] = [clock.clone(), left.clone()];
        for filmed in [&mut clock, &mut left] {
            filmed.sighting.readings.drain(to..);
            filmed.sighting.readings.drain(..from);
        }
        let fit = run(&[clock, left]);
        assert!(codes(&fit).contains(&"may_be_a_player"), "{from} {fit:#?}");
    }
}

/// `01:19:02 / 01:58:46`
#[test]
fn the_stroke_before_a_players_length_may_be_read_as_a_digit() {
    for (at, is_one) in [("01:19:02", true), ("02:19:02", false)] {
        let mut clock = Scene::new(ClockForm::Seconds, at, Rate::F25);
        clock.frames = (0..70).collect();
        let mut length = Scene::new(frames(Rate::F100), "01:01:58:46", Rate::F25);
        length.one_hour_digit = true;
        length.frames = (0..14).collect();
        let clock = place(clock.film(), quad(0.0, 0.0));
        let length = place(stopped(length.film()), quad(240.0, 0.0));
        let fit = run(&[clock, length]);
        let is_doubted = codes(&fit).contains(&"may_be_a_player");
        assert_eq!(is_doubted, is_one, "{at} {fit:#?}");
    }
}

/// Less than an hour is how long something lasted, unless it counts frames.
#[test]
fn seconds_below_an_hour_may_be_a_recorded_length() {
    for (form, at, is_one) in [
        (ClockForm::Seconds, "00:00:00", true),
        (ClockForm::Tenths, "00:00:00.0", true),
        (ClockForm::Hundredths, "00:00:00.30", true),
        (ClockForm::Hundredths, "23:59:59.70", true),
        (ClockForm::Seconds, "00:00:02", true),
        (ClockForm::Tenths, "00:00:00.8", true),
        (ClockForm::Hundredths, "00:59:50.00", true),
        (ClockForm::Thousandths, "01:00:00.000", false),
        (ClockForm::Seconds, "23:59:58", false),
        (ClockForm::Seconds, "10:00:00", false),
        (frames(Rate::F25), "00:00:00:00", false),
    ] {
        let mut clock = Scene::new(form, at, Rate::F30);
        clock.frames = (40..140).collect();
        if ClockForm::WITHOUT_FRAMES.contains(&form) {
            clock.mark = flat_marks();
        }
        let fit = run(&[clock.film()]);
        assert_eq!(label(&fit), at, "{fit:#?}");
        let is_doubted = codes(&fit).contains(&"may_be_a_length");
        assert_eq!(is_doubted, is_one, "{at} {fit:#?}");
        assert_eq!(fit.verdict == Verdict::Unsure, is_one, "{at} {fit:#?}");
    }
}

#[test]
fn a_still_sign_beside_the_clock_is_no_conflict() {
    let slate = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F25);
    let sign = stopped(Scene::new(frames(Rate::F25), "01:02:03:04", Rate::F25).film());
    let fit = run(&[sign, slate.film()]);
    assert_eq!(fit.verdict, Verdict::Sure, "{fit:#?}");
    assert_eq!(label(&fit), "10:20:30:07");
    assert_eq!(fit.next_look, NextLook::Enough);
    assert!(fit.is_settled());
}

#[test]
fn hours_lit_in_one_sighting_serve_the_other() {
    let mut scene = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F25);
    let lit = windows(&scene, &[0, 2000]).remove(1);
    scene.dark = vec![0, 1];
    let dark = windows(&scene, &[0]).remove(0);
    let fit = run(&[dark, lit]);
    assert_eq!(label(&fit), "10:20:30:07", "{fit:#?}");
    assert_eq!(fit.verdict, Verdict::Sure, "{fit:#?}");
}

/// The clock loses a count and a half between the two, so that its foretold second may be the first
/// of a day and the true one the last of the day before.
#[test]
fn hours_lit_in_one_sighting_serve_the_other_over_midnight() {
    for before_midnight in 0..60 {
        let mut scene = Scene::new(frames(Rate::F25), "00:00:00:00", Rate::F25);
        scene.phi += f64::from(24 * 3600 * 25 - 15_000 - before_midnight);
        scene.drift = 1.0 - 100e-6;
        let lit = windows(&scene, &[0]).remove(0);
        scene.dark = vec![0, 1];
        let dark = windows(&scene, &[0, 15_000]).remove(1);
        let fit = run(&[lit, dark]);
        let are_the_clock = fit.sightings.iter().all(|s| s.is_the_clock());
        assert!(are_the_clock, "{before_midnight} {fit:#?}");
        assert_eq!(fit.verdict, Verdict::Sure, "{before_midnight} {fit:#?}");
    }
}

/// The clock is held at a time and then started. What stands at another time is another number, and
/// so is what stands beside the running clock in another layout.
#[test]
fn a_clock_that_stood_before_it_ran_was_set_in_view() {
    for (held_at, verdict) in [
        ("10:20:30:07", Verdict::Unsure),
        ("10:19:44:00", Verdict::Unsure),
        ("10:12:44:00", Verdict::Sure),
        ("23:11:26:00", Verdict::Sure),
    ] {
        let scene = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F25);
        let mut filmed = windows(&scene, &[0, 80]);
        let digits: Vec<u8> = held_at.bytes().filter(u8::is_ascii_digit).collect();
        for reading in &mut filmed[0].sighting.readings {
            for (odds, digit) in reading.places.iter_mut().zip(&digits) {
                let mut weights = [0.002; 10];
                weights[usize::from(digit - b'0')] = 1.0;
                *odds = DigitOdds::from_weights(weights);
            }
        }
        let fit = run(&filmed);
        assert_eq!(fit.verdict, verdict, "{held_at} {fit:#?}");
        let is_jumped = fit.reasons.iter().any(|n| n.code == "clock_jumped");
        assert_eq!(is_jumped, verdict == Verdict::Unsure, "{held_at} {fit:#?}");
        // Only its hours, minutes and seconds.
        filmed[0].sighting.layout.groups = vec![2, 2, 2];
        for reading in &mut filmed[0].sighting.readings {
            reading.places.truncate(6);
        }
        assert_eq!(run(&filmed).verdict, Verdict::Sure, "{held_at}");
    }
}

/// Each slate hides a lag of its own of up to one refresh. Between head and tail that looks like up to
/// 300 ppm, and is no reason to believe in labels that a clock with a colon was never seen to skip.
#[test]
fn a_panel_that_is_late_in_another_way_at_the_tail_makes_no_other_clock() {
    let (mut sure, mut measured) = (0, 0);
    let cameras = [Rate::F23_976, Rate::F25, Rate::F29_97, Rate::F59_94];
    let clocks = [Rate::F30, Rate::F60];
    for (scenes, (clock, camera)) in clocks
        .iter()
        .flat_map(|c| cameras.map(|camera| (*c, camera)))
        .enumerate()
    {
        for nth in 0..48 {
            let mut head = Scene::new(frames(clock), "20:00:30:10", camera);
            head.phi += 0.23 * nth as f64;
            head.noise = 0.08;
            head.refresh = Some((
                [59.79, 59.94, 59.95, 60.01][nth % 4],
                0.31 * nth as f64 % 1.0,
            ));
            head.seed = (100 * scenes + nth) as u64;
            let fps = camera.ratio().to_f64();
            let seconds = |s: f64| (s * fps) as u64;
            head.frames = (0..seconds(1.5)).collect();
            let mut tail = head.clone();
            let from = [62.0, 75.0, 100.0, 150.0][nth / 12];
            tail.frames = (seconds(from)..seconds(from + 1.5)).collect();
            tail.seed += 50;
            let filmed = [head.film(), tail.film()];
            let fit = run(&filmed);
            if fit.verdict != Verdict::Sure {
                continue;
            }
            sure += 1;
            let found = fit.clock.as_ref().unwrap();
            if found.rate_known_by == RateKnownBy::Assumed {
                continue; // as the note says, of two that start alike
            }
            measured += 1;
            assert_eq!(found.form.rate(), clock, "{head:?} {fit:#?}");
            assert_eq!(found.drop_frame, Some(false), "{head:?} {fit:#?}");
            let start_s = fit.start.as_ref().unwrap().seconds.middle().to_f64();
            let true_s = head.phi / clock.ratio().to_f64();
            let grain_s = (1.0 / fps).max(1.0 / clock.ratio().to_f64());
            let off_s = start_s - true_s;
            assert!(
                off_s.abs() < grain_s + 1.0 / 59.0,
                "{off_s} s: {head:?} {fit:#?}"
            );
        }
    }
    assert!(sure > 350 && measured > 100, "{measured} of {sure}");
}

/// A display may be followed twice, as it is found again in the same frames.
#[test]
fn a_second_look_at_the_same_frames_is_no_news() {
    let mut unsure = 0;
    for (camera, clock) in [
        (Rate::F25, Rate::F25),
        (Rate::F30, Rate::F25),
        (Rate::F24, Rate::F30),
    ] {
        for count in 3..=6 {
            for noise in [0.12, 0.25, 0.3] {
                let mut scene = Scene::new(frames(clock), "10:20:30:10", camera);
                scene.noise = noise;
                scene.frames = (0..count).collect();
                let mut filmed = scene.film();
                for reading in &mut filmed.sighting.readings {
                    let corners = [(0.0, 0.0), (100.0, 0.0), (100.0, 20.0), (0.0, 20.0)];
                    reading.quad = Quad::from_corners(corners.map(|(x, y)| Point::new(x, y)));
                    reading.digit_px = 20.0;
                }
                let once = run(std::slice::from_ref(&filmed));
                let twice = run(&[filmed.clone(), filmed]);
                if once.verdict != Verdict::Sure {
                    unsure += 1;
                    assert_ne!(
                        twice.verdict,
                        Verdict::Sure,
                        "{scene:?} {once:#?} {twice:#?}"
                    );
                }
            }
        }
    }
    assert!(unsure >= 9, "{unsure}");
}
