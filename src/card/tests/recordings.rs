//! Chapters: which files follow each other, what is missing between them, and starts taken
//! over from chapter to chapter.

use super::super::agree::{Agreed, Member, agree};
use super::*;
use crate::outcome::{ByHand, CardClip, Corrected, GapKnownBy};
use crate::sidecar::corrections::{self, Corrections};
use proptest::prelude::*;

fn member(name: &str, outcome: ClipOutcome) -> Member {
    Member {
        card: 0,
        path: name.to_owned(),
        name: name.to_owned(),
        outcome,
    }
}

/// A clip as the words of a test file would tell it.
fn clip(name: &str, words: &str) -> Member {
    let told = Told::parse(&format!("clip {words}")).unwrap();
    let outcome = unslated(&format!("card/{name}"), &told);
    let outcome = match told.get("start") {
        None => outcome,
        Some(label) => {
            let form = frames(told.rate(), label.contains(';'));
            slated(outcome, form, label)
        }
    };
    member(name, outcome)
}

fn failed(name: &str) -> Member {
    let error = Error::new(ErrorKind::NoIndex, "has no index");
    member(name, ClipOutcome::failed(Path::new(name), &error, tool()))
}

fn agreed(clips: &[Member]) -> Agreed {
    agree(&["card".to_owned()], clips.to_vec())
}

fn outcomes(clips: &[Member]) -> Vec<ClipOutcome> {
    agreed(clips).clips.into_iter().map(|(o, _)| o).collect()
}

fn label(outcome: &ClipOutcome) -> &str {
    outcome.start.as_ref().map_or("-", |start| &start.label)
}

fn reason(outcome: &ClipOutcome) -> &str {
    &outcome.reasons[0].code
}

fn has_note(outcome: &ClipOutcome, code: &str) -> bool {
    outcome.notes.iter().any(|note| note.code == code)
}

const T: &str = "made=2021-05-28T12:40:43Z";

/// Four clips of 50 frames at 25, all with one header: three chapters, of which the third
/// begins three frames late, and another recording.
#[test]
fn gaps_between_chapters_that_show_the_clock_are_counted_in_frames() {
    let all = outcomes(&[
        clip("GX010042.MP4", &format!("start=10:00:00:00 {T}")),
        clip("GX020042.MP4", &format!("start=10:00:02:00 {T}")),
        clip("GX030042.MP4", &format!("start=10:00:04:03 {T}")),
        clip("GX010043.MP4", &format!("start=11:00:00:00 {T}")),
    ]);
    let labels: Vec<&str> = all.iter().map(label).collect();
    assert_eq!(
        labels,
        ["10:00:00:00", "10:00:02:00", "10:00:04:03", "11:00:00:00"]
    );
    let chapters: Vec<_> = all
        .iter()
        .map(|o| {
            let c = o.chapter.as_ref().unwrap();
            (
                &*c.recording,
                c.number,
                c.chapters,
                c.gap_frames,
                c.gap_known_by.word(),
            )
        })
        .collect();
    assert_eq!(
        chapters,
        [
            ("0042", 1, 3, None, "first"),
            ("0042", 2, 3, Some(0), "measured"),
            ("0042", 3, 3, Some(3), "measured"),
            ("0043", 1, 1, None, "first"),
        ]
    );
    assert!(all.iter().all(|o| o.verdict == Verdict::Sure));
    assert!(has_note(&all[2], "frames_missing"));
}

#[test]
fn a_start_is_carried_forwards_and_backwards_and_never_called_sure() {
    let all = outcomes(&[
        clip("GX010042.MP4", ""),
        clip("GX020042.MP4", "start=10:00:02:00"),
        clip("GX030042.MP4", "frames=30"),
        clip("GX040042.MP4", ""),
    ]);
    let labels: Vec<&str> = all.iter().map(label).collect();
    assert_eq!(
        labels,
        ["10:00:00:00", "10:00:02:00", "10:00:04:00", "10:00:05:05"]
    );
    for at in [0, 2, 3] {
        assert_eq!(
            (all[at].verdict, reason(&all[at])),
            (Verdict::Unsure, "assumed_gapless")
        );
        let start = all[at].start.as_ref().unwrap();
        assert_eq!(start.inherited_from.as_deref(), Some("card/GX020042.MP4"));
        assert_eq!(start.in_clip_base.as_ref().unwrap().label, start.label);
        assert!(has_note(&all[at], "no_display"));
        assert_eq!(all[at].clock, all[1].clock);
    }
    assert_eq!(
        all[2].chapter.as_ref().unwrap().gap_known_by,
        GapKnownBy::Assumed
    );
    assert_eq!(all[1].start.as_ref().unwrap().inherited_from, None);
}

#[test]
fn slates_on_both_sides_prove_that_nothing_is_missing_or_say_how_much() {
    let between = |last: &str| {
        outcomes(&[
            clip("GX010042.MP4", "start=10:00:00:00"),
            clip("GX020042.MP4", ""),
            clip("GX030042.MP4", &format!("start={last}")),
        ])
    };
    let proved = between("10:00:04:00");
    assert_eq!(
        (proved[1].verdict, reason(&proved[1])),
        (Verdict::Sure, "between_slates")
    );
    assert_eq!(label(&proved[1]), "10:00:02:00");
    let gap = between("10:00:04:04");
    assert_eq!(
        (gap[1].verdict, reason(&gap[1])),
        (Verdict::Unsure, "gap_between_slates")
    );
    let bounds = gap[1].start.as_ref().unwrap().count_bounds;
    assert_eq!(bounds, [900_050.0, 900_055.0]);
    let jam = between("10:00:03:20");
    assert_eq!(
        (jam[1].verdict, reason(&jam[1])),
        (Verdict::Unsure, "chapters_contradict")
    );
    assert_eq!(label(&jam[1]), "10:00:02:00");
}

/// Whatever the clocks around it say: frame 0 of the chapter, or the length of one on the way, may
/// be another.
#[test]
fn a_chapter_whose_file_is_in_doubt_is_never_sure() {
    for (code, doubtful) in [("head_lost", 1), ("times_wrong", 1), ("times_wrong", 2)] {
        let mut clips = [
            clip("GX010042.MP4", "start=10:00:00:00"),
            clip("GX020042.MP4", ""),
            clip("GX030042.MP4", ""),
            clip("GX040042.MP4", "start=10:00:06:00"),
        ];
        let doubt = Note::new(code, "the file is in doubt");
        clips[doubtful].outcome.reasons.push(doubt);
        let all = outcomes(&clips);
        assert_eq!(label(&all[1]), "10:00:02:00");
        for chapter in &all[1..3] {
            assert_eq!(chapter.verdict, Verdict::Unsure);
            assert!(chapter.reasons.iter().any(|reason| reason.code == code));
        }
        assert!(!has_note(&all[doubtful], code), "it is told once");
    }
}

#[test]
fn a_chapter_about_which_a_person_spoke_inherits_nothing() {
    let mut rejected = clip("GX020042.MP4", "");
    rejected.outcome.by_hand = Some(ByHand {
        what: Corrected::Rejected,
        says_start: false,
        remark: "the wrong clock".into(),
        read_verdict: Verdict::Sure,
        read_start: None,
        read_clock: None,
        read_speed: None,
    });
    let all = outcomes(&[
        clip("GX010042.MP4", "start=10:00:00:00"),
        rejected.clone(),
        clip("GX030042.MP4", "start=10:00:04:00"),
    ]);
    assert_eq!((all[1].verdict, &all[1].start), (Verdict::None, &None));
    assert_eq!(all[1].by_hand, rejected.outcome.by_hand);
}

#[test]
fn slates_that_leave_room_for_a_frame_prove_nothing() {
    // One count of 24 a second is more than a frame of 25.
    let film = |name: &str, count: Option<i64>| {
        let mut member = clip(name, "");
        if let Some(count) = count {
            let low = Ratio::from_integer(count);
            let counts = HalfOpen::new(low, low + Ratio::ONE);
            set_start(&mut member.outcome, frames(Rate::F24, false), counts);
        }
        member
    };
    let all = outcomes(&[
        film("GX010042.MP4", Some(0)),
        film("GX020042.MP4", None),
        film("GX030042.MP4", Some(96)),
    ]);
    assert_eq!(label(&all[1]), "00:00:02:00");
    assert_eq!(
        (all[1].verdict, reason(&all[1])),
        (Verdict::Unsure, "gap_unproven")
    );
}

#[test]
fn between_an_unsure_slate_and_a_sure_one_nothing_is_sure() {
    let mut first = clip("GX010042.MP4", "start=10:00:00:00");
    first.outcome.verdict = Verdict::Unsure;
    first.outcome.reasons = vec![Note::new("few_frames", "too few frames")];
    let all = outcomes(&[
        first,
        clip("GX020042.MP4", ""),
        clip("GX030042.MP4", "start=10:00:04:00"),
    ]);
    assert_eq!(all[1].verdict, Verdict::Unsure);
    assert!(all[1].reasons.iter().any(|r| r.code == "source_unsure"));
}

#[test]
fn whichever_of_the_slates_is_unsure_is_told() {
    for unsure in ["GX010042.MP4", "GX040042.MP4"] {
        let mut clips = [
            clip("GX010042.MP4", "start=10:00:00:00"),
            clip("GX020042.MP4", ""),
            clip("GX030042.MP4", ""),
            clip("GX040042.MP4", "start=10:00:06:00"),
        ];
        for member in clips.iter_mut().filter(|member| member.name == unsure) {
            member.outcome.verdict = Verdict::Unsure;
        }
        let all = outcomes(&clips);
        for chapter in &all[1..3] {
            assert_eq!(chapter.verdict, Verdict::Unsure);
            let doubts = chapter.reasons.iter();
            let doubts: Vec<_> = doubts.filter(|r| r.code == "source_unsure").collect();
            assert_eq!(doubts.len(), 1, "{doubts:?}");
            assert!(doubts[0].sentence.contains(unsure), "{doubts:?}");
        }
    }
}

#[test]
fn a_chapter_of_which_nothing_of_use_was_said_inherits_and_is_not_sure() {
    let mut clips = [
        clip("GX010042.MP4", "start=10:00:00:00"),
        clip("GX020042.MP4", ""),
        clip("GX030042.MP4", "start=10:00:04:00"),
    ];
    let text = "[[clip]]\nname = \"GX020042.MP4\"\ndrop_frame = false\n";
    let corrections = Corrections::from_text(text).unwrap();
    let read = clips[1].outcome.clone();
    clips[1].outcome = corrections::apply(
        &corrections,
        "GX020042.MP4",
        read,
        corrections::Given::NOTHING,
    );
    let all = outcomes(&clips);
    assert_eq!(
        (all[1].verdict, label(&all[1])),
        (Verdict::Unsure, "10:00:02:00")
    );
    let reasons: Vec<_> = all[1].reasons.iter().map(|reason| &*reason.code).collect();
    assert_eq!(reasons, ["correction_unusable", "between_slates"]);
}

#[test]
fn drop_frame_and_midnight_are_passed_exactly() {
    // 1798 frames from 00:00:59;28 less two: the labels ;00 and ;01 of the minute do not exist.
    let all = outcomes(&[
        clip("GX010042.MP4", "rate=30000/1001 frames=4 start=00:00:59;28"),
        clip("GX020042.MP4", "rate=30000/1001 frames=4"),
    ]);
    assert_eq!(label(&all[1]), "00:01:00;04");
    // The last label of a drop-frame day is 23:59:59;29.
    let all = outcomes(&[
        clip(
            "GX010042.MP4",
            "rate=30000/1001 frames=40 start=23:59:59;00",
        ),
        clip("GX020042.MP4", "rate=30000/1001 frames=40"),
        clip(
            "GX030042.MP4",
            "rate=30000/1001 frames=40 start=00:00:01;20",
        ),
    ]);
    assert_eq!(label(&all[1]), "00:00:00;10");
    assert_eq!(all[1].verdict, Verdict::Sure);
    for outcome in &all[1..] {
        let chapter = outcome.chapter.as_ref().unwrap();
        assert_eq!(
            (chapter.gap_frames, chapter.gap_known_by.word()),
            (Some(0), "measured")
        );
    }
    // Backwards over midnight.
    let all = outcomes(&[
        clip("GX010042.MP4", "frames=50"),
        clip("GX020042.MP4", "frames=50 start=00:00:01:00"),
    ]);
    assert_eq!(label(&all[0]), "23:59:59:00");
    // 24 hours of labels at 23.976 last 86 486.4 s: no wrap at 86 400.
    let all = outcomes(&[
        clip(
            "GX010042.MP4",
            "rate=24000/1001 frames=24 start=23:58:33:14",
        ),
        clip("GX020042.MP4", "rate=24000/1001 frames=24"),
    ]);
    assert_eq!(label(&all[1]), "23:58:34:14");
}

#[test]
fn a_missing_or_broken_chapter_breaks_the_chain_and_is_told() {
    let all = outcomes(&[
        clip("GX010042.MP4", "start=10:00:00:00"),
        clip("GX030042.MP4", ""),
        clip("GX040042.MP4", ""),
    ]);
    assert!(has_note(&all[1], "chapter_missing"));
    assert_eq!((label(&all[1]), label(&all[2])), ("-", "-"));
    assert_eq!(all[1].verdict, Verdict::None);
    assert_eq!(
        all[1].chapter.as_ref().unwrap().gap_known_by,
        GapKnownBy::Unknown
    );
    let all = outcomes(&[
        clip("GX010042.MP4", "start=10:00:00:00"),
        failed("GX020042.MP4"),
        clip("GX030042.MP4", ""),
    ]);
    assert_eq!((all[1].verdict, label(&all[2])), (Verdict::Failed, "-"));
    assert!(has_note(&all[2], "chapter_unread"));
    let all = outcomes(&[
        clip("GX020042.MP4", "start=10:00:00:00"),
        clip("GX030042.MP4", ""),
    ]);
    assert!(has_note(&all[0], "chapter_missing"));
    assert_eq!(label(&all[1]), "10:00:02:00");
}

#[test]
fn chapters_that_are_missing_are_told_for_the_card_too() {
    for (clips, said) in [
        (&["GX010042.MP4", "GX020042.MP4"][..], None),
        (
            &["GX010042.MP4", "GX030042.MP4"],
            Some("GX030042.MP4: chapter 2 of recording 0042 is not here; look for it on the card"),
        ),
        (
            &[
                "GX010042.MP4",
                "GX030042.MP4",
                "GX050042.MP4",
                "GX070042.MP4",
            ],
            Some("; before 2 more clips, chapters are missing, too"),
        ),
    ] {
        let members: Vec<_> = clips.iter().map(|name| clip(name, "")).collect();
        let outcomes = outcomes(&members).into_iter().zip(clips);
        let clips: Vec<CardClip> = outcomes
            .map(|(outcome, name)| CardClip {
                name: (*name).to_owned(),
                sidecar: String::new(),
                camera: 0,
                outcome,
            })
            .collect();
        let note = super::super::chapters_missing(&clips);
        let told = note.map_or_else(String::new, |note| note.sentence);
        assert!(
            told.ends_with(said.unwrap_or("")) && told.is_empty() == said.is_none(),
            "{told}"
        );
    }
}

#[test]
fn a_gap_over_a_missing_chapter_is_measured_where_both_sides_show_the_clock() {
    let all = outcomes(&[
        clip("GX010042.MP4", "start=10:00:00:00"),
        clip("GX030042.MP4", "start=10:00:04:00"),
    ]);
    let chapter = all[1].chapter.as_ref().unwrap();
    assert_eq!(
        (chapter.gap_frames, chapter.gap_known_by.word()),
        (Some(50), "measured")
    );
}

#[test]
fn names_alone_do_not_make_chapters_of_takes_hours_apart() {
    let all = outcomes(&[
        clip("AA010001.MP4", "start=10:00:00:00"),
        clip("AA020001.MP4", "start=14:00:00:00"),
    ]);
    assert_eq!((&all[0].chapter, &all[1].chapter), (&None, &None));
    let by_header = outcomes(&[
        clip("AA010001.MP4", &format!("start=10:00:00:00 {T}")),
        clip("AA020001.MP4", "made=2021-05-28T14:40:43Z"),
    ]);
    assert_eq!((&by_header[1].chapter, label(&by_header[1])), (&None, "-"));
}

#[test]
fn a_common_stem_needs_more_than_the_name() {
    let pair = |first: &str, second: &str| {
        outcomes(&[clip("talk_001.mov", first), clip("talk_002.mov", second)])
    };
    let silent = pair("start=10:00:00:00", "");
    assert_eq!((&silent[1].chapter, label(&silent[1])), (&None, "-"));
    let by_header = pair(
        &format!("frames=1500 start=10:00:00:00 {T}"),
        "frames=1500 made=2021-05-28T12:41:43Z",
    );
    assert_eq!(label(&by_header[1]), "10:01:00:00");
    assert_eq!(by_header[1].chapter.as_ref().unwrap().recording, "talk");
    let by_clock = pair("start=10:00:00:00", "start=10:00:02:00");
    assert_eq!(by_clock[1].chapter.as_ref().unwrap().gap_frames, Some(0));
    let later = pair("start=10:00:00:00", "start=10:00:09:00");
    assert_eq!(later[1].chapter, None);
    let two_and_one = outcomes(&[
        clip("talk_001.mov", "start=10:00:00:00"),
        clip("talk_002.mov", "start=10:00:02:00"),
        clip("talk_003.mov", "start=11:00:00:00"),
    ]);
    assert_eq!(two_and_one[1].chapter.as_ref().unwrap().chapters, 2);
    assert_eq!(
        (&two_and_one[2].chapter, &*two_and_one[2].notes),
        (&None, &[][..])
    );
}

/// Takes of their own have such names, too.
#[test]
fn of_clips_with_a_common_stem_only_those_are_missing_that_are_not_here() {
    let clip_at = |number: u32, made: &str| {
        let words = format!("frames=75 made=2021-05-28T{made}Z");
        clip(&format!("talk_{number:03}.mov"), &words)
    };
    let missing = |clips: &[Member]| -> Vec<Option<String>> {
        let said = |o: ClipOutcome| {
            let mut notes = o.notes.into_iter();
            notes
                .find(|note| note.code == "chapter_missing")
                .map(|note| note.sentence)
        };
        outcomes(clips).into_iter().map(said).collect()
    };
    let take_and_chapters = [
        clip_at(1, "12:00:00"),
        clip_at(2, "13:00:00"),
        clip_at(3, "13:00:03"),
    ];
    assert_eq!(missing(&take_and_chapters), [None, None, None]);
    let two_recordings = [
        clip_at(1, "12:00:00"),
        clip_at(2, "12:00:03"),
        clip_at(4, "13:00:00"),
        clip_at(5, "13:00:03"),
    ];
    let said = "chapter 3 of recording talk is not here; look for it on the card";
    assert_eq!(
        missing(&two_recordings),
        [None, None, Some(said.to_owned()), None]
    );
}

#[test]
fn a_first_file_without_a_chapter_number_owns_the_start() {
    let all = outcomes(&[
        clip("GOPR0042.MP4", "start=10:00:00:00"),
        clip("GP010042.MP4", ""),
    ]);
    assert_eq!(label(&all[1]), "10:00:02:00");
    assert_eq!(all[0].notes, []);
}

#[test]
fn footage_conformed_to_a_slower_rate_is_carried_in_real_time() {
    // 100 frames a second played at 25: four clip seconds are one of the clock's.
    let mut first = clip("GX010042.MP4", "frames=100 start=10:00:00:00");
    first.outcome.clip.speed = 0.25;
    let all = outcomes(&[first, clip("GX020042.MP4", "frames=100")]);
    assert_eq!(label(&all[1]), "10:00:01:00");
    assert_eq!(all[1].clip.speed.to_bits(), 0.25_f64.to_bits());
}

#[test]
fn a_clock_of_whole_seconds_leaves_the_gap_open() {
    let second = |name: &str, at: i64| {
        let mut member = clip(name, "");
        let low = Ratio::from_integer(at);
        set_start(
            &mut member.outcome,
            ClockForm::Seconds,
            HalfOpen::new(low, low + Ratio::ONE),
        );
        member
    };
    let all = outcomes(&[
        second("GX010042.MP4", 36_000),
        second("GX020042.MP4", 36_002),
    ]);
    let chapter = all[1].chapter.as_ref().unwrap();
    assert_eq!(
        (chapter.gap_frames, chapter.gap_known_by.word()),
        (None, "unknown")
    );
    assert!(has_note(&all[1], "gap_unclear"));
}

proptest! {
    /// Cutting a take into chapters and carrying the start of any one of them to all others
    /// gives the counts that the whole take has there.
    #[test]
    fn chapters_of_one_take_add_up(
        rate in prop::sample::select(Rate::TRADE.to_vec()),
        drop_frame: bool,
        first in 0_i64..10_000_000,
        lengths in prop::collection::vec(1_u64..200_000, 2..6),
        slate in 0_usize..6,
    ) {
        let form = ClockForm::frames(rate, drop_frame && rate.has_drop_frame()).unwrap();
        let slate = slate % lengths.len();
        let counts: Vec<i64> = lengths
            .iter()
            .scan(first, |at, n| {
                let here = *at;
                *at += i64::try_from(*n).unwrap();
                Some(here.rem_euclid(form.counts_per_day()))
            })
            .collect();
        let members: Vec<Member> = lengths
            .iter()
            .enumerate()
            .map(|(at, n)| {
                let mut member = clip(&format!("GX{:02}0042.MP4", at + 1), &format!("rate={rate} frames={n}"));
                if at == slate {
                    let low = Ratio::from_integer(counts[at]);
                    set_start(&mut member.outcome, form, HalfOpen::new(low, low + Ratio::ONE));
                }
                member
            })
            .collect();
        for (outcome, count) in outcomes(&members).iter().zip(&counts) {
            prop_assert_eq!(label(outcome), form.text(*count));
        }
    }

    /// Two slates and a gap: what is measured is what was left out.
    #[test]
    fn gaps_are_what_was_left_out(
        first in 0_i64..2_160_000,
        frames in 1_u64..100_000,
        gap in -20_i64..1_000,
    ) {
        let form = ClockForm::frames(Rate::F25, false).unwrap();
        let later = (first + i64::try_from(frames).unwrap() + gap).rem_euclid(form.counts_per_day());
        let all = outcomes(&[
            clip("GX010042.MP4", &format!("frames={frames} start={}", form.text(first))),
            clip("GX020042.MP4", &format!("start={}", form.text(later))),
        ]);
        prop_assert_eq!(all[1].chapter.as_ref().unwrap().gap_frames, Some(gap));
    }

    /// The order in which clips come changes nothing of what is said about each.
    #[test]
    fn the_order_of_clips_does_not_matter(order in Just((0..9).collect::<Vec<usize>>()).prop_shuffle()) {
        let clips = [
            clip("GX010042.MP4", &format!("start=10:00:00:00 {T}")),
            clip("GX020042.MP4", T),
            clip("GX030042.MP4", &format!("start=10:00:04:03 {T}")),
            clip("GX010043.MP4", "made=2021-05-28T12:50:43Z"),
            clip("A/C1.mov", "camera=X made=2021-05-28T12:50:43Z start=10:10:00:00"),
            clip("A/C2.mov", "camera=X made=2021-05-28T12:50:43Z start=10:10:01:00"),
            clip("A/C3.mov", "camera=X made=2021-05-28T13:50:43Z"),
            failed("A/C4.mov"),
            clip("B/C1.mov", "rate=30000/1001 start=10:10:00;00"),
        ];
        let straight = agreed(&clips);
        let shuffled: Vec<Member> = order.iter().map(|&i| clips[i].clone()).collect();
        let mixed = agreed(&shuffled);
        prop_assert_eq!(&mixed.cameras, &straight.cameras);
        prop_assert_eq!(&mixed.notes, &straight.notes);
        for (at, &i) in order.iter().enumerate() {
            prop_assert_eq!(&mixed.clips[at], &straight.clips[i]);
        }
    }
}
