//! What clips of one camera say about each other: estimates, overlaps, contradictions.

use super::super::agree::{Agreed, Member, agree};
use super::*;
use crate::outcome::{ByHand, Corrected, RateKnownBy};
use crate::sidecar::corrections::{self, Corrections};

fn clip(card: usize, path: &str, words: &str) -> Member {
    let told = Told::parse(&format!("clip {words}")).unwrap();
    let outcome = told_outcome(&format!("card/{path}"), &told);
    Member {
        card,
        path: path.to_owned(),
        name: path.to_owned(),
        outcome,
    }
}

fn agreed(clips: Vec<Member>) -> Agreed {
    agree(&["one".to_owned(), "two".to_owned()], clips)
}

fn note<'a>(notes: &'a [Note], code: &str) -> Option<&'a str> {
    notes.iter().find(|n| n.code == code).map(|n| &*n.sentence)
}

/// `--clock-rate` holds for all clips: those in view long enough tell that it is wrong, and the others
/// fit it.
#[test]
fn a_given_rate_that_other_clips_contradict_makes_no_start_sure() {
    let verdict_of_one_beside = |against: usize, resting: usize| {
        let member = |n: usize, told: fn(&mut ClipOutcome)| {
            let mut member = clip(0, &format!("C{n:04}.mov"), "start=10:00:00:00");
            told(&mut member.outcome);
            member
        };
        let contradicting = |outcome: &mut ClipOutcome| {
            outcome.verdict = Verdict::Unsure;
            outcome.reasons = vec![Note::new("given_rate_contradicted", "the digits run at 25")];
        };
        let resting_on_it = |outcome: &mut ClipOutcome| {
            outcome.clock.as_mut().unwrap().rate_known_by = RateKnownBy::Given;
        };
        let clips = (0..against).map(|n| member(n, contradicting));
        let clips = clips.chain((0..resting).map(|n| member(against + n, resting_on_it)));
        let outcome = agreed(clips.collect()).clips.pop().unwrap().0;
        (outcome.verdict, outcome.reasons[0].sentence.clone())
    };
    assert_eq!(verdict_of_one_beside(0, 2).0, Verdict::Sure);
    assert_eq!(verdict_of_one_beside(1, 2).0, Verdict::Sure);
    let (verdict, why) = verdict_of_one_beside(2, 2);
    assert_eq!(verdict, Verdict::Unsure);
    assert!(
        why.starts_with("the digits of 2 clips, of C0000.mov among them, run"),
        "{why}"
    );
}

/// A dashcam lays its own clock over every picture, three seconds ahead; slates are held before it.
#[test]
fn seconds_alone_are_not_sure_where_the_camera_shows_another_clock_beside_a_slate() {
    let beside = |change: fn(&mut ClipOutcome)| {
        let mut slated = clip(0, "DASH0001.MP4", "start=10:00:00:00");
        change(&mut slated.outcome);
        let seconds = |name: &str, label: &str| {
            let mut member = clip(0, name, "");
            member.outcome = super::slated(member.outcome, ClockForm::Seconds, label);
            member
        };
        let mut other = clip(1, "A/C1.mov", "");
        other.outcome = super::slated(other.outcome, ClockForm::Seconds, "12:00:00");
        let clips = vec![
            slated,
            seconds("DASH0002.MP4", "11:00:03"),
            clip(0, "DASH0003.MP4", "start=11:30:00:00"),
            other,
        ];
        let verdicts = agreed(clips).clips.into_iter().skip(1);
        verdicts
            .map(|(o, _)| (o.verdict, o.reasons[0].code.clone()))
            .collect::<Vec<_>>()
    };
    let sure = (Verdict::Sure, "agreed".to_owned());
    let doubted = (Verdict::Unsure, "may_be_another_clock".to_owned());
    assert_eq!(beside(|_| ()), vec![sure.clone(); 3]);
    // Nor does a correction by hand of the slated clip make them so.
    let disagrees: fn(&mut ClipOutcome) = |outcome| {
        outcome.verdict = Verdict::Unsure;
        outcome.reasons = vec![Note::new(
            "clocks_disagree",
            "two running clocks are in view",
        )];
    };
    let set_by_hand: fn(&mut ClipOutcome) = |outcome| {
        let read = outcome.start.clone().map(|start| Start {
            seconds: start.seconds + 3.0,
            ..start
        });
        outcome.by_hand = Some(ByHand {
            what: Corrected::Set,
            says_start: true,
            remark: String::new(),
            read_verdict: Verdict::Unsure,
            read_start: read,
            read_clock: outcome.clock.clone(),
            read_speed: None,
        });
    };
    for change in [disagrees, set_by_hand] {
        assert_eq!(
            beside(change),
            [doubted.clone(), sure.clone(), sure.clone()]
        );
    }
}

/// A phone's clip: header in UTC, display three hours on, written five seconds after the start.
#[test]
fn a_header_whole_quarters_of_an_hour_off_the_display_is_a_likely_zone() {
    let agreed = agreed(vec![clip(
        0,
        "VID_20210528_154038.mp4",
        "frames=5 made=2021-05-28T12:40:43.000000Z start=15:40:38:00",
    )]);
    let start = agreed.clips[0].0.start.as_ref().unwrap();
    assert_eq!(start.label, "15:40:38:00");
    assert_eq!(agreed.clips[0].0.verdict, Verdict::Sure);
    let camera = &agreed.cameras[0];
    let offset = camera.clock_offset_seconds.unwrap();
    assert!((offset - 10_795.0).abs() < 0.5, "{offset}");
    assert_eq!(
        note(&camera.notes, "zone_offset_likely").unwrap(),
        "zone offset likely: in VID_20210528_154038.mp4 the display read 15:40:38:00, and the \
         header says 2021-05-28T12:40:43.000000Z; a zone +03:00 from the header's would explain \
         it, and none was applied"
    );
}

#[test]
fn other_differences_are_no_zone() {
    for start in ["12:40:43:00", "15:38:38:00", "12:41:30:00"] {
        let words = format!("made=2021-05-28T12:40:43Z start={start}");
        let agreed = agreed(vec![clip(0, "a.mov", &words)]);
        assert_eq!(agreed.cameras[0].notes, [], "{start}");
    }
    // Nepal and Newfoundland keep quarters and halves of an hour.
    for (start, zone) in [("18:25:43:00", "+05:45"), ("10:10:43:00", "-02:30")] {
        let words = format!("made=2021-05-28T12:40:43Z start={start}");
        let agreed = agreed(vec![clip(0, "a.mov", &words)]);
        assert!(
            note(&agreed.cameras[0].notes, "zone_offset_likely")
                .unwrap()
                .contains(zone)
        );
    }
}

#[test]
fn a_clip_without_a_slate_gets_an_estimate_and_never_a_start() {
    let agreed = agreed(vec![
        clip(
            0,
            "C1.mov",
            "frames=1500 made=2021-05-28T12:40:00Z start=15:40:00:00",
        ),
        clip(
            0,
            "C2.mov",
            "frames=250 made=2021-05-28T12:50:00Z start=15:50:00:00",
        ),
        clip(0, "C3.mov", "frames=500 made=2021-05-28T13:00:00Z"),
    ]);
    let outcome = &agreed.clips[2].0;
    assert_eq!((outcome.verdict, &outcome.start), (Verdict::None, &None));
    let estimate = outcome.estimate.as_ref().unwrap();
    let [low, high] = estimate.seconds_bounds;
    let truth = 16.0 * 3600.0;
    assert!(
        low < truth && truth < high && high - low < 5.0,
        "{low} {high}"
    );
    assert_eq!(estimate.rests_on, ["C1.mov", "C2.mov"]);
    assert_eq!(
        estimate.sentence,
        "probably near 16:00:00 on the filmed clock, give or take 2.1 s: by the camera's own \
         clock (2021-05-28T13:00:00Z, written at the start of a take), which 2 clips with a \
         start tell to be 3 h 0 min 0 s behind it; no time zone was applied"
    );
    assert!(agreed.clips[..2].iter().all(|(o, _)| o.estimate.is_none()));
}

/// Four clip seconds are one of the clock's, in chapters too.
#[test]
fn estimates_of_chapters_count_real_seconds() {
    let slowed = |path: &str, words: &str| {
        let mut member = clip(0, path, &format!("frames=1000 camera=X {words}"));
        member.outcome.clip.speed = 0.25;
        member
    };
    let header = "made=2021-05-28T12:10:00Z";
    let agreed = agreed(vec![
        slowed("A0001.MP4", "made=2021-05-28T12:00:00Z start=15:00:00:00"),
        slowed("A0002.MP4", "made=2021-05-28T12:05:00Z start=15:05:00:00"),
        slowed("GX010042.MP4", header),
        slowed("GX020042.MP4", header),
        slowed("GX030042.MP4", header),
    ]);
    for (chapter, truth_s) in [(2, 0.0), (3, 10.0), (4, 20.0)] {
        let estimate = agreed.clips[chapter].0.estimate.as_ref().unwrap();
        // Written at the start or at the end of a take: both are ten seconds long.
        let [low, high] = estimate.seconds_bounds;
        let truth_s = 15.0 * 3600.0 + 600.0 + truth_s;
        assert!(
            low < truth_s && truth_s < high && high - low < 5.0,
            "{low} {high}"
        );
    }
}

/// Speeds and bounds as a fit may give them, whose terms have nothing in common.
#[test]
fn clips_at_odd_speeds_are_compared_and_lose_no_card() {
    let speeds = [333_333_333, 999_999_937, 999_000_999, 1_414_213_562];
    let mut clips: Vec<Member> = speeds
        .into_iter()
        .enumerate()
        .map(|(n, billionths)| {
            let words = format!("camera=X frames=977 rate=30000/1001 made=2021-05-28T12:0{n}:00Z");
            let mut member = clip(0, &format!("C{n}.mov"), &words);
            let rate = [Rate::F25, Rate::F29_97, Rate::F24, Rate::F23_976][n];
            let form = frames(rate, false);
            let at_s = Ratio::from_integer(36_000 + 60 * i64::try_from(n).unwrap());
            let low = form.count_at(at_s) + Ratio::new(1, 512_000_000_000 + billionths);
            let counts = HalfOpen::new(low, low + Ratio::new(billionths, 1_000_000_000));
            set_start(&mut member.outcome, form, counts);
            member.outcome.clip.speed = billionths as f64 / 1e9;
            member
        })
        .collect();
    clips.push(clip(0, "C9.mov", "camera=X made=2021-05-28T12:09:00Z"));
    let agreed = agreed(clips);
    assert!(agreed.clips[4].0.estimate.is_some());
}

/// The slate was held up in the second chapter only.
#[test]
fn a_recording_without_a_slate_in_its_first_chapter_is_held_against_the_camera_by_its_next() {
    let verdicts = |second: &str, third: &str| {
        let mut clips: Vec<Member> = [("12:40", "15:40"), ("12:50", "15:50"), ("13:00", "16:00")]
            .iter()
            .enumerate()
            .map(|(n, (made, start))| {
                let words = format!("camera=X made=2021-05-28T{made}:00Z start={start}:00:00");
                clip(0, &format!("C{n}.MP4"), &words)
            })
            .collect();
        for (path, words) in [
            ("GX010042.MP4", ""),
            ("GX020042.MP4", second),
            ("GX030042.MP4", third),
        ] {
            let words = format!("camera=X made=2021-05-28T13:10:00Z {words}");
            clips.push(clip(0, path, &words));
        }
        let clips = agreed(clips).clips.into_iter().skip(4);
        clips
            .map(|(outcome, _)| outcome.verdict)
            .collect::<Vec<_>>()
    };
    let (right, hour_off) = (
        ["16:10:02:00", "16:10:04:00"],
        ["17:10:02:00", "17:10:04:00"],
    );
    let both = |starts: [&str; 2]| {
        let [second, third] = starts.map(|start| format!("start={start}"));
        verdicts(&second, &third)
    };
    assert_eq!(both(right), [Verdict::Sure; 2]);
    assert_eq!(both(hour_off), [Verdict::Unsure; 2]);
}

/// Chapters 1 and 3 show an hour too much, as a digit that is hard to read does.
#[test]
fn a_recording_whose_first_chapter_contradicts_the_camera_is_doubted_as_a_whole() {
    let verdicts = |third: &str, is_said: bool| {
        let mut clips = vec![
            clip(
                0,
                "C1.MP4",
                "camera=X made=2021-05-28T12:40:00Z start=15:40:00:00",
            ),
            clip(
                0,
                "C2.MP4",
                "camera=X made=2021-05-28T12:50:00Z start=15:50:00:00",
            ),
            clip(
                0,
                "C3.MP4",
                "camera=X made=2021-05-28T13:00:00Z start=16:00:00:00",
            ),
        ];
        let header = "camera=X made=2021-05-28T13:10:00Z";
        for (path, words) in [
            ("GX010042.MP4", "start=17:10:00:00"),
            ("GX020042.MP4", ""),
            ("GX030042.MP4", third),
            ("GX040042.MP4", ""),
        ] {
            clips.push(clip(0, path, &format!("{header} {words}")));
        }
        if is_said {
            clips[5].outcome.by_hand = Some(ByHand {
                what: Corrected::Set,
                says_start: true,
                remark: String::new(),
                read_verdict: Verdict::Unsure,
                read_start: None,
                read_clock: None,
                read_speed: None,
            });
        }
        let clips = agreed(clips).clips.into_iter().skip(3);
        clips
            .map(|(o, _)| {
                let mut reasons = o.reasons.into_iter().map(|reason| reason.code);
                (o.verdict, reasons.next().unwrap(), reasons.next_back())
            })
            .collect::<Vec<_>>()
    };
    let against = (
        Verdict::Unsure,
        "against_camera_clock".to_owned(),
        Some("agreed".to_owned()),
    );
    let unsure = |code: &str| {
        (
            Verdict::Unsure,
            code.to_owned(),
            Some("source_unsure".to_owned()),
        )
    };
    assert_eq!(
        verdicts("start=17:10:04:00", false),
        [
            against.clone(),
            unsure("between_slates"),
            against.clone(),
            unsure("assumed_gapless"),
        ]
    );
    // What a person said is not doubted, nor is a slate that goes with the camera's clock.
    let sure = (Verdict::Sure, "agreed".to_owned(), None);
    let said = verdicts("start=17:10:04:00", true);
    assert_eq!(
        said[..3],
        [against.clone(), unsure("between_slates"), sure.clone()]
    );
    let right = verdicts("start=16:10:04:00", false);
    assert_eq!((&right[0], &right[2]), (&against, &sure));
}

#[test]
fn without_a_header_a_slate_or_a_common_camera_there_is_no_estimate() {
    let slated = clip(0, "C1.mov", "made=2021-05-28T12:40:00Z start=15:40:00:00");
    for other in [
        clip(0, "C2.mov", ""),
        clip(0, "X2.mov", "made=2021-05-28T12:50:00Z"),
        clip(0, "C2.mov", "made=2021-05-28T12:50:00Z rate=50"),
        clip(0, "C2.mov", "made=2021-05-28T12:50:00Z camera=other"),
        clip(1, "C2.mov", "made=2021-05-28T12:50:00Z"),
        clip(0, "C2.mov", "made=1904-01-01T00:00:00Z"),
    ] {
        let agreed = agreed(vec![slated.clone(), other.clone()]);
        assert_eq!(agreed.clips[1].0.estimate, None, "{other:?}");
    }
}

#[test]
fn chapters_without_a_slate_are_estimated_from_the_first_ones_header() {
    let same = "made=2021-05-28T13:00:00Z";
    let agreed = agreed(vec![
        clip(
            0,
            "GX010041.MP4",
            "made=2021-05-28T12:40:00Z start=15:40:00:00",
        ),
        clip(0, "GX010042.MP4", &format!("frames=1500 {same}")),
        clip(0, "GX020042.MP4", &format!("frames=1500 {same}")),
    ]);
    let seconds = |at: usize| agreed.clips[at].0.estimate.as_ref().unwrap().seconds;
    assert!((seconds(2) - seconds(1) - 60.0).abs() < 1e-6);
}

/// Its header may tell when the recording began, and the length of what is missing is not known.
#[test]
fn a_chapter_behind_a_missing_one_is_estimated_by_a_header_of_its_own_only() {
    for (header, is_estimated) in [
        ("made=2021-05-28T13:00:00Z", false),
        ("made=2021-05-28T13:02:00Z", true),
    ] {
        let slated = "made=2021-05-28T12:40:00Z start=15:40:00:00";
        let first = "frames=1500 made=2021-05-28T13:00:00Z";
        let agreed = agreed(vec![
            clip(0, "GX010041.MP4", slated),
            clip(0, "GX010042.MP4", first),
            clip(0, "GX030042.MP4", &format!("frames=1500 {header}")),
        ]);
        let last = &agreed.clips[2].0;
        assert_eq!(last.estimate.is_some(), is_estimated, "{header}");
    }
}

#[test]
fn a_start_against_the_cameras_clock_is_not_called_sure() {
    let mut clips: Vec<Member> = (0..4)
        .map(|n| {
            let words = format!("made=2021-05-28T12:4{n}:00Z start=15:4{n}:00:00");
            clip(0, &format!("C{n}.mov"), &words)
        })
        .collect();
    // A two read as a seven in the hours.
    clips.push(clip(
        0,
        "C5.mov",
        "made=2021-05-28T12:50:00Z start=17:50:00:00",
    ));
    let agreed = agreed(clips.clone());
    let odd = &agreed.clips[4].0;
    assert_eq!(
        (odd.verdict, &*odd.reasons[0].code),
        (Verdict::Unsure, "against_camera_clock")
    );
    assert!(
        odd.reasons[0].sentence.contains("2 h 0 min 0 s earlier"),
        "{:?}",
        odd.reasons
    );
    assert_eq!(odd.start.as_ref().unwrap().label, "17:50:00:00");
    assert!(
        agreed.clips[..4]
            .iter()
            .all(|(o, _)| o.verdict == Verdict::Sure)
    );
    // How its clock counts says nothing of the digits; what its start is does.
    for (said, verdict) in [
        ("rate = 25", Verdict::Unsure),
        (r#"start = "17:50:00:00""#, Verdict::Sure),
    ] {
        let text = format!("[[clip]]\nname = \"C5.mov\"\n{said}\n");
        let mut said_of = clips.clone();
        let read = said_of[4].outcome.clone();
        let corrections = Corrections::from_text(&text).unwrap();
        said_of[4].outcome =
            corrections::apply(&corrections, "C5.mov", read, corrections::Given::NOTHING);
        assert_eq!(said_of[4].outcome.verdict, Verdict::Sure, "{text}");
        assert_eq!(self::agreed(said_of).clips[4].0.verdict, verdict, "{text}");
    }
    // Two against one are too few to doubt the third.
    let few = self::agreed(clips.split_off(2));
    assert!(few.clips.iter().all(|(o, _)| o.verdict == Verdict::Sure));
    assert!(note(&few.clips[2].0.notes, "against_camera_clock").is_some());
}

/// A second camera of the same make, its clock 40 s apart: no misread digit, and nothing to
/// estimate by.
#[test]
fn several_clips_by_another_clock_are_not_doubted_and_nothing_is_estimated_from_two_clocks() {
    let mut clips: Vec<Member> = (0..4)
        .map(|n| {
            let words = format!("made=2021-05-28T12:4{n}:00Z start=15:4{n}:00:00");
            clip(0, &format!("C{n}.mov"), &words)
        })
        .collect();
    for n in 5..7 {
        let words = format!("made=2021-05-28T12:4{n}:00Z start=15:4{n}:40:00");
        clips.push(clip(0, &format!("C{n}.mov"), &words));
    }
    clips.push(clip(0, "C9.mov", "made=2021-05-28T12:49:00Z"));
    let agreed = agreed(clips);
    let (slated, other) = agreed.clips.split_at(6);
    assert!(slated.iter().all(|(o, _)| o.verdict == Verdict::Sure));
    assert_eq!(other[0].0.estimate, None);
    assert!(note(&agreed.cameras[0].notes, "camera_clock_split").is_some());
}

#[test]
fn takes_of_one_camera_that_overlap_are_told_on_both() {
    let agreed = agreed(vec![
        clip(0, "C1.mov", "frames=250 start=10:00:00:00"),
        clip(0, "C2.mov", "frames=250 start=10:00:06:00"),
        clip(0, "C3.mov", "frames=250 start=10:00:16:00"),
        clip(0, "X4.mov", "frames=250 start=10:00:00:00"),
    ]);
    let told: Vec<bool> = agreed
        .clips
        .iter()
        .map(|(o, _)| note(&o.notes, "takes_overlap").is_some())
        .collect();
    assert_eq!(told, [true, true, false, false]);
    let sentence = note(&agreed.clips[0].0.notes, "takes_overlap").unwrap();
    assert!(sentence.contains("C2.mov share 4.0 s"), "{sentence}");
}

#[test]
fn takes_that_overlap_across_midnight_are_told_too() {
    let told = |starts: [&str; 2]| {
        let clips = starts.map(|start| format!("frames=250 start={start}"));
        let agreed = agreed(vec![
            clip(0, "C1.mov", &clips[0]),
            clip(0, "C2.mov", &clips[1]),
        ]);
        let sentences = agreed.clips.iter().map(|(o, _)| {
            let note = note(&o.notes, "takes_overlap")?;
            Some(note.to_owned())
        });
        sentences.collect::<Vec<_>>()
    };
    // Ten seconds each; the second one begins six seconds after the first.
    for starts in [
        ["23:59:56:00", "00:00:02:00"],
        ["00:00:02:00", "23:59:56:00"],
    ] {
        let sentences = told(starts);
        let sentence = sentences[0].as_ref().unwrap();
        assert!(sentence.contains("C2.mov share 4.0 s"), "{sentence}");
        assert!(sentences[1].is_some());
    }
    assert_eq!(told(["23:59:56:00", "00:00:06:00"]), [None, None]);
}

#[test]
fn takes_of_two_days_at_one_time_of_day_do_not_overlap() {
    let agreed = agreed(vec![
        clip(
            0,
            "C1.mov",
            "frames=250 start=10:00:00:00 made=2021-05-28T10:00:00Z",
        ),
        clip(
            0,
            "C2.mov",
            "frames=250 start=10:00:06:00 made=2021-05-29T10:00:06Z",
        ),
    ]);
    assert!(agreed.clips.iter().all(|(o, _)| o.notes.is_empty()));
}

#[test]
fn one_camera_name_on_two_cards_is_told_with_what_its_clock_says() {
    let on = |card: usize, start: &str| {
        clip(
            card,
            "C1.mov",
            &format!("camera=X made=2021-05-28T10:00:00Z start={start}"),
        )
    };
    for (other, code) in [
        ("12:00:00:12", "one_camera_two_cards"),
        ("12:00:40:00", "two_cameras_one_name"),
    ] {
        let agreed = agreed(vec![on(0, "12:00:00:00"), on(1, other)]);
        assert_eq!(agreed.notes[0].code, code);
        assert_eq!(agreed.cameras.len(), 2);
    }
    assert_eq!(agreed(vec![on(0, "12:00:00:00")]).notes, []);
}

#[test]
fn broken_clips_belong_to_the_camera_beside_them() {
    let error = Error::new(ErrorKind::NoIndex, "has no index");
    let broken = Member {
        outcome: ClipOutcome::failed(Path::new("A/C2.mov"), &error, tool()),
        ..clip(0, "A/C2.mov", "")
    };
    let agreed = agreed(vec![
        clip(0, "A/C1.mov", "camera=X"),
        broken,
        clip(0, "B/C1.mov", ""),
    ]);
    let cameras: Vec<usize> = agreed.clips.iter().map(|(_, camera)| *camera).collect();
    assert_eq!(cameras, [0, 0, 1]);
    let names: Vec<&str> = agreed.cameras.iter().map(|c| &*c.name).collect();
    assert_eq!(names, ["X", "B"]);
}

#[test]
fn cameras_of_one_folder_are_called_by_what_their_clips_are_called() {
    let agreed = agreed(vec![
        clip(0, "day/bales_001.mov", ""),
        clip(0, "day/ramp_001.mov", ""),
        clip(0, "day/ramp_002.mov", "rate=50"),
        clip(0, "night/ramp_003.mov", ""),
    ]);
    let names: Vec<&str> = agreed.cameras.iter().map(|c| &*c.name).collect();
    assert_eq!(names, ["day: bales", "day: ramp", "day: ramp (2)", "night"]);
}
