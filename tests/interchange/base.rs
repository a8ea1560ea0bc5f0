//! Starts in the clip's own base, as outcomes and notes tell them.

use crate::cards::{frames, outcome, without_start};
use rollmark::clip_base::{fill, phi_bounds, seconds_of_day};
use rollmark::outcome::{ClipLabel, ClipOutcome, RateKnownBy, Verdict};
use rollmark::timecode::{ClockForm, Rate, Ratio};

fn base(outcome: &ClipOutcome) -> Option<&ClipLabel> {
    outcome.start.as_ref().unwrap().in_clip_base.as_ref()
}

fn codes(outcome: &ClipOutcome) -> Vec<&str> {
    outcome
        .notes
        .iter()
        .map(|note| note.code.as_str())
        .collect()
}

#[test]
fn the_label_goes_with_its_count_its_rate_and_its_way_of_counting() {
    // Half a count after 10:00:00;00 is a whole frame at the doubled rate.
    let clip = outcome(frames(Rate::F29_97, true), "10:00:00;00", Rate::F59_94, 50);
    assert_eq!(
        base(&clip),
        Some(&ClipLabel {
            label: "10:00:00;01".into(),
            count: 2_157_841,
            rate: "60000/1001".into(),
            drop_frame: true,
        })
    );
    assert!(codes(&clip).is_empty());
}

#[test]
fn a_different_speed_is_noted_once_however_often_it_is_filled() {
    let mut clip = outcome(frames(Rate::F29_97, false), "10:00:00:00", Rate::F25, 50);
    assert_eq!(base(&clip).unwrap().label, "10:00:36:00");
    assert_eq!(codes(&clip), ["base_apart"]);
    let once = clip.clone();
    fill(&mut clip);
    assert_eq!(clip, once);
}

#[test]
fn an_open_drop_frame_leaves_no_label_where_it_would_move_it() {
    let open = |rate, label| {
        let mut clip = outcome(frames(Rate::F29_97, false), label, rate, 50);
        clip.clock.as_mut().unwrap().drop_frame = None;
        fill(&mut clip);
        clip
    };
    let same = open(Rate::F59_94, "10:00:00:00");
    assert!(codes(&same).is_empty());
    assert!(!base(&same).unwrap().drop_frame);
    let apart = open(Rate::F25, "10:00:00:00");
    assert_eq!((base(&apart), codes(&apart)), (None, vec!["base_open"]));
    let why = &apart.notes[0].sentence;
    assert!(
        why.contains(
            "10:00:36:00 without, 09:59:59:24 with; say which for this clip with --corrections"
        ),
        "{why}"
    );
    // A label that drop-frame skips leaves nothing open.
    assert_eq!(codes(&open(Rate::F25, "10:01:00:00")), ["base_apart"]);
}

/// 30 and 29.97 look alike for a while, and lie 36 s apart at ten o'clock.
#[test]
fn an_assumed_rate_leaves_no_label_unless_the_clip_bears_it_out() {
    let assumed = |rate, clip_rate| {
        let mut clip = outcome(frames(rate, false), "10:00:00:00", clip_rate, 50);
        let clock = clip.clock.as_mut().unwrap();
        clock.rate_known_by = RateKnownBy::Assumed;
        fill(&mut clip);
        clip
    };
    for (clock, clip, other) in [
        (Rate::F30, Rate::F25, "10:00:36:00"),
        (Rate::F29_97, Rate::F50, "10:00:00:00"),
        (Rate::F24, Rate::F25, "10:00:36:00"),
        (Rate::F24, Rate::F23_976, "10:00:00:00"),
    ] {
        let clip = assumed(clock, clip);
        assert_eq!((base(&clip), codes(&clip)), (None, vec!["base_open"]));
        let why = &clip.notes[0].sentence;
        assert!(why.contains(other) && why.contains("--clock-rate"), "{why}");
    }
    let mut seconds = outcome(ClockForm::Seconds, "10:00:00", Rate::F25, 50);
    assert!(base(&seconds).is_some());
    seconds.clock.as_mut().unwrap().rate_known_by = RateKnownBy::Assumed;
    fill(&mut seconds);
    assert_eq!((base(&seconds), codes(&seconds)), (None, vec!["base_open"]));
    // In a clip of such a rate the display was seen to end with its seconds, or the clip is unsure.
    let mut seconds = outcome(ClockForm::Seconds, "10:00:00", Rate::F29_97, 50);
    let measured = base(&seconds).expect("a label").clone();
    seconds.clock.as_mut().unwrap().rate_known_by = RateKnownBy::Assumed;
    fill(&mut seconds);
    assert_eq!(base(&seconds), Some(&measured));
    for (clock, clip) in [
        (Rate::F29_97, Rate::F29_97),
        (Rate::F29_97, Rate::F23_976),
        (Rate::F23_976, Rate::F59_94),
        (Rate::F24, Rate::F48),
        (Rate::F30, Rate::F60),
        (Rate::F60, Rate::F30),
        // Without a cousin.
        (Rate::F25, Rate::F50),
        (Rate::F25, Rate::F24),
    ] {
        let known = assumed(clock, clip);
        assert!(base(&known).is_some(), "{clock} by {clip}: {known:#?}");
    }
}

#[test]
fn what_has_no_start_no_rate_or_no_base_gets_no_label() {
    let mut nothing = without_start(Verdict::None, "no_display", "no digits were seen");
    let before = nothing.clone();
    fill(&mut nothing);
    assert_eq!(nothing, before);
    let mut no_rate = outcome(ClockForm::Seconds, "10:00:00", Rate::F25, 50);
    no_rate.clip.rate = None;
    fill(&mut no_rate);
    assert_eq!(base(&no_rate), None);
    let odd = outcome(
        ClockForm::Seconds,
        "10:00:00",
        Rate::new(25, 2).unwrap(),
        50,
    );
    assert_eq!((base(&odd), codes(&odd)), (None, vec!["base_none"]));
}

/// Frame 0 of a clip whose slate comes after midnight may lie before it.
#[test]
fn seconds_count_from_the_last_midnight() {
    let clock = frames(Rate::F25, false);
    let mut clip = outcome(clock, "00:00:00:00", Rate::F25, 50);
    clip.start.as_mut().unwrap().exact_count_bounds = Some(["-51/1".into(), "-50/1".into()]);
    fill(&mut clip);
    assert_eq!(base(&clip).unwrap().label, "23:59:57:24");
    assert_eq!(
        seconds_of_day(&clip),
        Some(Ratio::new(86_400 * 50 - 101, 50))
    );
}

#[test]
fn bounds_that_no_clip_has_are_not_believed() {
    let with = |low: &str, high: &str| {
        let mut clip = outcome(ClockForm::Seconds, "10:00:00", Rate::F25, 50);
        let start = clip.start.as_mut().unwrap();
        start.exact_count_bounds = Some([low.into(), high.into()]);
        let bounds = phi_bounds(start);
        fill(&mut clip);
        bounds
    };
    assert!(with("1/3", "1/2").is_some());
    assert!(with("-1/999999999999", "1/1000000000000").is_some());
    let huge = i128::MAX.to_string();
    for (low, high) in [
        ("1/2", "1/2"),
        ("1/2", "1/3"),
        ("one", "2/1"),
        ("0/1", huge.as_str()),
        ("0/1", "1/170141183460469231731687303715884105727"),
    ] {
        assert_eq!(with(low, high), None, "{low} {high}");
    }
}
