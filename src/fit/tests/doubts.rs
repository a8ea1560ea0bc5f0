//! Readings that are poor, or contradict each other.

use super::cases::{assert_sure, assert_unsure, codes, label, run};
use super::sim::{Filmed, Scene, frames};
use crate::fit::{Known, NextLook, RateKnownBy, fit};
use crate::geometry::{Point, Quad};
use crate::note::Note;
use crate::outcome::Verdict;
use crate::reading::{DigitOdds, Sighting};
use crate::timecode::{ClockForm, Rate, Ratio};

#[test]
fn one_misread_digit_in_every_fifth_frame_does_not_move_the_start() {
    for seed in 0..30 {
        let mut scene = Scene::new(frames(Rate::F25), "02:28:52:00", Rate::F25);
        scene.frames = (0..100).collect();
        scene.flips = 0.2;
        scene.seed = seed;
        assert_sure(&run(&scene.film()), "02:28:52:00");
    }
}

#[test]
fn fewer_than_half_agreeing_is_never_sure() {
    let mut unsure = 0;
    for seed in 0..30 {
        let mut scene = Scene::new(frames(Rate::F25), "02:28:52:00", Rate::F25);
        scene.frames = (0..100).collect();
        scene.flips = 0.65;
        scene.seed = seed;
        let fit = run(&scene.film());
        assert_ne!(fit.verdict, Verdict::Sure, "{fit:#?}");
        if fit.verdict == Verdict::Unsure {
            assert_eq!(label(&fit), "02:28:52:00");
            unsure += 1;
        }
    }
    assert!(unsure > 20, "{unsure}");
}

#[test]
fn a_single_frame_gives_its_label_and_honest_bounds() {
    let mut scene = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F25);
    scene.frames = vec![0];
    let fit = run(&scene.film());
    assert_unsure(&fit, "few_frames");
    assert_eq!(label(&fit), "10:20:30:07");
    assert_eq!(fit.start.unwrap().counts.width(), Ratio::ONE);
    assert_eq!(fit.next_look, NextLook::MoreHere { sighting: 0 });
}

#[test]
fn five_frames_at_the_head_are_enough() {
    let mut scene = Scene::new(frames(Rate::F25), "15:40:38:00", Rate::F25);
    scene.frames = (0..5).collect();
    let fit = run(&scene.film());
    assert_sure(&fit, "15:40:38:00");
    assert_eq!(fit.clock.unwrap().form.rate(), Rate::F25);
}

#[test]
fn unread_hours_are_said_to_be_unknown() {
    let mut scene = Scene::new(frames(Rate::F25), "12:34:20:00", Rate::F25);
    scene.dark = vec![0, 1, 2, 3];
    let fit = run(&scene.film());
    assert_unsure(&fit, "hours_unknown");
    assert_unsure(&fit, "minutes_unknown");
    assert!(
        fit.reasons
            .iter()
            .any(|r| r.sentence.contains("hours unknown"))
    );
    assert!(label(&fit).ends_with(":20:00"));
}

/// A time of day above the running seconds of a race was sure, eleven times of sixteen.
#[test]
fn hours_and_minutes_above_running_hundredths_are_doubtful_until_a_minute_passes() {
    let hundredths = ClockForm::Hundredths;
    for (form, at, groups_apart, code) in [
        (hundredths, "12:34:20.00", 0, "agreed"),
        (hundredths, "12:34:20.00", 2, "hours_doubtful"),
        (hundredths, "12:34:59.50", 2, "agreed"),
        (frames(Rate::F25), "12:34:20:00", 2, "agreed"),
    ] {
        let mut filmed = Scene::new(form, at, Rate::F25).film();
        filmed.sighting.groups_apart = groups_apart;
        assert_eq!(codes(&run(&filmed)), [code], "{at} {groups_apart}");
    }
}

/// Unless a clock that shows its hours in line with the rest has the same.
#[test]
fn hours_that_were_read_above_the_rest_are_doubtful() {
    let scene = Scene::new(frames(Rate::F25), "12:34:20:00", Rate::F25);
    let mut above = scene.film();
    above.sighting.groups_apart = 1;
    let fit = run(&above);
    assert_unsure(&fit, "hours_doubtful");
    assert_eq!(label(&fit), "12:34:20:00");

    let mut without = Scene::new(frames(Rate::F25), "12:34:20:00", Rate::F25);
    without.dark = vec![0, 1];
    let without = without.film().sighting;
    above.sighting.readings.truncate(20);
    let known = Known::default();
    let both = crate::fit::fit(&[above.sighting.clone(), without], &above.facts, &known);
    assert_eq!(codes(&both), ["hours_doubtful"]);
    let whole = scene.film().sighting;
    let both = crate::fit::fit(&[above.sighting, whole], &above.facts, &known);
    assert_sure(&both, "12:34:20:00");
}

/// Starts whose hours nobody read are no two starts because each has some.
#[test]
fn hours_that_were_not_read_make_no_doubt_about_the_rate() {
    for (rate, camera, first) in [
        (Rate::F30, Rate::F25, 0),
        (Rate::F29_97, Rate::F30, 40),
        (Rate::F24, Rate::F25, 90),
        (Rate::F23_976, Rate::F30, 10),
        (Rate::F60, Rate::F25, 60),
        (Rate::F50, Rate::F24, 75),
    ] {
        for minutes in ["00:00", "09:59", "36:41"] {
            let mut scene = Scene::new(frames(rate), &format!("00:{minutes}:11"), camera);
            scene.frames = (first..first + 45).collect();
            let mut filmed = scene.film();
            for reading in &mut filmed.sighting.readings {
                reading.places[..2].fill(DigitOdds::FLAT);
            }
            let fit = run(&filmed);
            let what = format!("{rate} by {camera} from {minutes}");
            assert_eq!(codes(&fit), ["hours_unknown"], "{what}: {:?}", fit.reasons);
        }
    }
}

#[test]
fn a_slow_digit_that_could_be_two_is_named() {
    let scene = Scene::new(frames(Rate::F25), "12:34:20:00", Rate::F25);
    let mut filmed = scene.film();
    let mut weights = [0.01; 10];
    (weights[3], weights[8]) = (0.6, 0.35);
    for reading in &mut filmed.sighting.readings {
        reading.places[2] = DigitOdds::from_weights(weights);
    }
    // A hundred frames that all say the same are not a hundred opinions. 8 is
    // not a ten of minutes, so here it settles 3.
    assert_sure(&run(&filmed), "12:34:20:00");
    for reading in &mut filmed.sighting.readings {
        reading.places[3] = DigitOdds::from_weights(weights);
    }
    let fit = run(&filmed);
    assert_unsure(&fit, "minutes_doubtful");
    assert!(
        fit.reasons[0].sentence.contains("33 or 38"),
        "{:?}",
        fit.reasons
    );
}

#[test]
fn a_multiplexed_dial_is_read_from_whatever_is_lit() {
    // Eight digits, three of them lit in each frame.
    let scene = Scene::new(frames(Rate::F25), "12:34:20:00", Rate::F25);
    let mut filmed = scene.film();
    for (n, reading) in filmed.sighting.readings.iter_mut().enumerate() {
        let lit: Vec<usize> = (0..3).map(|j| (3 * n + j) % 8).collect();
        for place in (0..8).filter(|p| !lit.contains(p)) {
            reading.places[place] = DigitOdds::FLAT;
        }
    }
    assert_sure(&run(&filmed), "12:34:20:00");
}

#[test]
fn a_place_that_always_says_the_same_is_left_out() {
    let mut scene = Scene::new(frames(Rate::F25), "12:34:20:00", Rate::F25);
    scene.stuck = Some((7, 8));
    scene.frames = (0..100).collect();
    let fit = run(&scene.film());
    assert_eq!(label(&fit), "12:34:20:00", "{fit:#?}");
    assert!(
        fit.notes.iter().any(|n| n.code == "place_left_out"),
        "{fit:#?}"
    );
}

/// Drawn anew five times a second, or three, a display shows one or two numbers of the last digit, and
/// those before it are late by as much.
#[test]
fn a_display_that_is_drawn_anew_now_and_then_is_never_sure_to_the_frame() {
    for (base, every) in [(Rate::F25, 5), (Rate::F30, 10), (Rate::F25, 10)] {
        for phase in 0..every {
            let mut scene = Scene::new(frames(base), "12:34:20:00", base);
            scene.frames = (0..75).collect();
            let mut filmed = scene.film();
            // Of each number that is drawn, all frames until the next one.
            let readings = &mut filmed.sighting.readings;
            for at in 0..readings.len() {
                let drawn = at.saturating_sub((at + phase) % every);
                readings[at].places = readings[drawn].places.clone();
            }
            let fit = run(&filmed);
            let is_right = fit.verdict != Verdict::Sure || label(&fit) == "12:34:20:00";
            assert!(is_right, "{base} every {every} from {phase}: {fit:#?}");
        }
    }
}

#[test]
fn many_half_read_frames_are_certain_together() {
    // No digit has half of the weight in most frames.
    let mut scene = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F29_97);
    scene.noise = 0.55;
    scene.frames = (0..150).collect();
    let fit = run(&scene.film());
    assert_eq!(label(&fit), "10:20:30:07", "{fit:#?}");
}

#[test]
fn am_or_pm_beside_hours_of_one_to_twelve_leaves_half_a_day_open() {
    for (form, text, other) in [
        (ClockForm::Seconds, "10:04:22", Some("22:04:22")),
        (ClockForm::Seconds, "12:04:22", Some("00:04:22")),
        (ClockForm::Seconds, "01:04:22", Some("13:04:22")),
        (ClockForm::Tenths, "11:59:58.3", Some("23:59:58.3")),
        // No hours of such a clock.
        (ClockForm::Seconds, "13:04:22", None),
        (ClockForm::Seconds, "12:59:58", None),
        (frames(Rate::F30), "10:04:22:07", Some("22:04:22:07")),
    ] {
        let mut scene = Scene::new(form, text, Rate::F30);
        scene.frames = (0..150).collect();
        let mut filmed = scene.film();
        assert_sure(&run(&filmed), text);
        filmed.sighting.shows_half_day = true;
        let fit = run(&filmed);
        let Some(other) = other else {
            assert_sure(&fit, text);
            continue;
        };
        assert_unsure(&fit, "half_day_unknown");
        assert_eq!(label(&fit), text);
        let sentence = &fit.reasons[0].sentence;
        assert!(
            sentence.contains(&format!("{text} or {other}")),
            "{sentence}"
        );
        let is_written = filmed.sighting.shows_half_day;
        assert_eq!(sentence.starts_with("AM or PM"), is_written, "{sentence}");
    }
}

#[test]
fn a_clock_that_is_set_in_view_is_not_sure() {
    let first = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F25);
    let mut later = Scene::new(frames(Rate::F25), "11:00:00:00", Rate::F25);
    later.seed = 2;
    for changed_at in [20, 30, 45] {
        let mut filmed = first.film();
        let other = later.film().sighting.readings;
        filmed.sighting.readings[changed_at..].clone_from_slice(&other[changed_at..]);
        let fit = run(&filmed);
        assert_unsure(&fit, "clock_jumped");
    }
}

#[test]
fn a_digit_of_the_hours_seen_alone_says_nothing_where_two_are_there() {
    // A finger lies on the 8 of 08: one sighting has a place for it, in which nothing is read,
    // another takes the 0 for all of the hours.
    let scene = Scene::new(frames(Rate::F25), "08:34:20:00", Rate::F25);
    let mut whole = scene.film();
    let mut cut = whole.sighting.clone();
    cut.layout.groups[0] = 1;
    for (reading, seen_alone) in whole.sighting.readings.iter_mut().zip(&mut cut.readings) {
        reading.places[1] = DigitOdds::FLAT;
        seen_alone.places.remove(1);
    }
    let both = [whole.sighting, cut];
    let fit = crate::fit::fit(&both, &whole.facts, &Known::default());
    assert_eq!(fit.verdict, Verdict::Unsure, "{fit:#?}");
    assert!(codes(&fit).contains(&"hours_doubtful") || codes(&fit).contains(&"hours_unknown"));
}

#[test]
fn a_display_that_is_seen_in_two_ways_counts_once() {
    // The tens of the minutes lean to another digit by little: how surely they stand hangs on
    // how many looks there were.
    let mut weights = [0.0; 10];
    (weights[3], weights[5]) = (0.94, 0.06);
    let doubt_of = |rows: f32| {
        let mut scene = Scene::new(frames(Rate::F25), "12:34:20:00", Rate::F25);
        scene.frames = (0..20).collect();
        let mut whole = scene.film();
        for reading in &mut whole.sighting.readings {
            reading.places[2] = DigitOdds::from_weights(weights);
            reading.quad = level(100.0);
        }
        let mut again = whole.sighting.clone();
        for reading in &mut again.readings {
            reading.quad = level(100.0 + rows * 20.0);
        }
        let alone = run(&whole);
        let both = crate::fit::fit(&[whole.sighting, again], &whole.facts, &Known::default());
        (alone, both)
    };
    for rows in [0.0, 0.3] {
        let (alone, both) = doubt_of(rows);
        assert_unsure(&alone, "minutes_doubtful");
        assert_unsure(&both, "minutes_doubtful");
    }
    // Two displays of one clock are two looks.
    let (_, both) = doubt_of(4.0);
    assert_sure(&both, "12:34:20:00");
}

/// A row of digits, 20 px high.
fn level(y: f32) -> Quad {
    let corners = [(100.0, y), (300.0, y), (300.0, y + 20.0), (100.0, y + 20.0)];
    Quad::from_corners(corners.map(|(x, y)| Point::new(x, y)))
}

/// As a damaged table of times makes them.
#[test]
fn stamps_that_lie_ages_apart_cost_no_memory_and_make_no_wrong_start() {
    for power in [40, 50, 61] {
        let mut filmed = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F25).film();
        for reading in &mut filmed.sighting.readings[30..] {
            reading.stamp.ticks += 1_i64 << power;
        }
        let fit = run(&filmed);
        // The frames before the leap tell the start all the same.
        assert_sure(&fit, "10:20:30:07");
    }
}

/// Damage may leave one stamp hours away, which a day's clock could show.
#[test]
fn a_stamp_that_lies_hours_away_changes_no_start() {
    let mut filmed = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F25).film();
    let start_of = |filmed: &Filmed| run(filmed).start.unwrap().counts;
    let without = start_of(&filmed);
    let [.., last] = &mut filmed.sighting.readings[..] else {
        unreachable!("a clip has frames");
    };
    let hours = Ratio::from_integer(20 * 3600) / last.stamp.tick_seconds;
    last.stamp.ticks += i64::try_from(hours.floor()).unwrap();
    assert_eq!(start_of(&filmed), without);
}

/// Places that were laid out over narrow digits can fall on the wide ones beside them: the
/// last digit is lost, the one before it is read in its place, and the counts seem slow.
#[test]
fn a_clock_whose_last_digit_is_lost_and_another_read_twice_is_not_sure() {
    for (rate, camera) in [
        (Rate::F119_88, Rate::F59_94),
        (Rate::F120, Rate::F60),
        (Rate::F120, Rate::F25),
    ] {
        for label in ["19:22:13:114", "10:00:00:050", "08:59:58:001"] {
            let mut scene = Scene::new(frames(rate), label, camera);
            scene.frames = (30..106).collect();
            let mut filmed = scene.film();
            for reading in &mut filmed.sighting.readings {
                let [.., first, second, third] = &mut reading.places[..] else {
                    unreachable!("three digits of frames");
                };
                *third = *second;
                *second = *first;
            }
            let fit = run(&filmed);
            assert_ne!(fit.verdict, Verdict::Sure, "{label} at {rate}: {fit:?}");
        }
    }
}

#[test]
fn a_display_that_shows_every_second_frame_number_is_followed() {
    for rate in [Rate::F50, Rate::F59_94, Rate::F60] {
        let mut scene = Scene::new(frames(rate), "10:20:30:08", Rate::F24);
        scene.phi -= 0.5;
        scene.refresh = Some((rate.ratio().to_f64() / 2.0, 0.0));
        scene.frames = (0..100).collect();
        let filmed = scene.film();
        let fit = run(&filmed);
        assert_eq!(fit.verdict, Verdict::Sure, "{fit:#?}");
        let off = fit.start.unwrap().counts.middle().to_f64() - scene.phi;
        assert!(off.abs() < 2.6, "{off}");
    }
}

#[test]
fn a_display_that_is_late_in_two_frames_of_seven_is_within_a_frame() {
    let scene = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F25);
    let mut filmed = scene.film();
    let shown: Vec<_> = filmed
        .sighting
        .readings
        .iter()
        .map(|r| r.places.clone())
        .collect();
    for at in (1..60).filter(|at| at % 7 >= 5) {
        filmed.sighting.readings[at].places = shown[at - 1].clone();
    }
    let fit = run(&filmed);
    let off = fit.start.as_ref().unwrap().counts.middle().to_f64() - scene.phi;
    // One frame, and one refresh of the 25 Hz at which such a display would redraw.
    assert!(off.abs() <= 2.0, "{off} {fit:#?}");
    assert!(
        fit.verdict == Verdict::Unsure || off.abs() <= 1.5,
        "{off} {fit:#?}"
    );
}

/// However clearly the clock is read: what the file says about its frames is in doubt.
#[test]
fn doubts_about_the_file_stand_beside_a_start_that_is_not_sure() {
    let mut scene = Scene::new(frames(Rate::F25), "02:28:52:00", Rate::F25);
    scene.frames = (0..100).collect();
    let mut filmed = scene.film();
    assert_sure(&run(&filmed), "02:28:52:00");
    filmed
        .facts
        .doubts
        .push(Note::new("head_lost", "the first pictures are lost"));
    let fit = run(&filmed);
    assert_unsure(&fit, "head_lost");
    assert_eq!(label(&fit), "02:28:52:00");
    // Without a clock too: another clip may give the start.
    let fit = crate::fit::fit::<Sighting>(&[], &filmed.facts, &Known::default());
    let codes: Vec<&str> = fit.reasons.iter().map(|reason| &*reason.code).collect();
    assert_eq!(codes, ["no_display", "head_lost"]);
}

/// Of a clock of 100 before a camera of 24, four counts pass in a frame: that a last digit is
/// seen with others that stood in the same picture says nothing of the reader.
#[test]
fn digits_that_share_one_exposure_put_no_hour_in_doubt() {
    for seed in 0..20 {
        let mut scene = Scene::new(frames(Rate::F100), "23:55:28:38", Rate::F24);
        scene.phi += 0.09 * seed as f64;
        scene.refresh = Some((60.0, 0.3));
        (scene.exposure, scene.noise, scene.seed) = (0.7, 0.34, seed);
        let fit = run(&scene.film());
        let in_doubt = ["hours_doubtful", "minutes_doubtful", "seconds_doubtful"];
        let code = fit.reasons.iter().find(|r| in_doubt.contains(&&*r.code));
        assert_eq!(code, None, "{seed}");
    }
}

/// Seen 13 times by a camera of 59.94, a clock of 29.97 burned in may be one of 25 on a slow panel,
/// whose start is a count later. The middle of both is within a frame of either.
#[test]
fn a_start_within_a_frame_of_all_that_explain_the_frames_is_sure() {
    for seed in 0..8 {
        let mut scene = Scene::new(frames(Rate::F29_97), "16:36:39:15", Rate::F59_94);
        scene.frames = (0..13).collect();
        scene.seed = seed;
        let fit = run(&scene.film());
        assert_eq!(fit.verdict, Verdict::Sure, "{seed}: {:#?}", fit.reasons);
        let off = fit.start.unwrap().counts.middle().to_f64() - scene.phi;
        assert!(off.abs() <= 1.0, "{seed}: {off}");
    }
}

#[test]
fn whole_seconds_behind_which_frames_may_stand_leave_the_label_of_an_ntsc_clip_open() {
    let given = |rate| Known {
        rate,
        ..Known::default()
    };
    for (camera, known, stands_free, is_sure) in [
        (Rate::F29_97, None, true, true),
        (Rate::F29_97, None, false, false),
        (Rate::F23_976, None, false, false),
        (Rate::F59_94, Some(Rate::F59_94), false, false),
        // It is said to count none, or whole ones to a real second.
        (Rate::F29_97, Rate::from_ratio(Ratio::ONE), false, true),
        (Rate::F25, None, false, true),
        (Rate::F30, None, false, true),
    ] {
        let mut scene = Scene::new(ClockForm::Seconds, "14:04:22", camera);
        scene.frames = (0..150).collect();
        let mut filmed = scene.film();
        filmed.sighting.stands_free = stands_free;
        let fit = crate::fit::fit(&[&filmed.sighting], &filmed.facts, &given(known));
        if is_sure {
            assert_sure(&fit, "14:04:22");
        } else {
            assert_unsure(&fit, "frames_unseen");
        }
        // The rate of another clip says nothing of such a clock: that it is one is assumed. So is, where a
        // display ends with them, that none are shown elsewhere.
        let is_assumed = camera.is_ntsc() == stands_free && known.is_none();
        let is_noted = fit.notes.iter().any(|note| note.code == "frames_unseen");
        let known_by = fit.clock.as_ref().unwrap().rate_known_by;
        assert_eq!(is_noted, is_assumed, "{fit:#?}");
        assert_eq!(known_by == RateKnownBy::Assumed, is_assumed, "{fit:#?}");
    }
}

/// Of 700 frames one shows the 7 of 17 alone; five others lean to a 0 before it. That the clock was
/// seen in many frames says nothing of a digit that few of them show.
#[test]
fn hours_that_few_of_many_frames_tell_want_as_much_evidence_as_any() {
    for (few, zero, one) in [(5, 0.8, 0.15), (5, 0.85, 0.12), (6, 0.8, 0.15)] {
        let mut long = Scene::new(frames(Rate::F25), "07:23:05:07", Rate::F25);
        long.one_hour_digit = true;
        long.frames = (0..700).collect();
        let mut short = Scene::new(frames(Rate::F25), "17:23:05:07", Rate::F25);
        short.frames = (800..800 + few).collect();
        short.seed = 7;
        let (long, mut short) = (long.film(), short.film());
        for reading in &mut short.sighting.readings {
            let mut weights = [0.005; 10];
            (weights[0], weights[1]) = (zero, one);
            reading.places[0] = DigitOdds::from_weights(weights);
        }
        let fit = fit(
            &[&long.sighting, &short.sighting],
            &long.facts,
            &Known::default(),
        );
        assert_unsure(&fit, "hours_doubtful");
    }
}

/// The looks begin in another minute and another hour than the clip.
#[test]
fn what_is_in_doubt_is_told_as_the_start_has_it() {
    for (dark, told) in [([2, 3], "the start has 59 "), ([0, 1], "the start has 23 ")] {
        let mut scene = Scene::new(frames(Rate::F25), "23:59:58:07", Rate::F25);
        scene.frames = (100..160).collect();
        scene.dark = dark.to_vec();
        let fit = run(&scene.film());
        let sentence = &fit.reasons[0].sentence;
        assert!(sentence.contains(told), "{} {sentence}", label(&fit));
    }
}
