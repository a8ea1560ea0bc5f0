//! Drop-frame carried from clip to clip, and cameras that are one by their serial number.

use super::super::agree::{Agreed, Member, agree};
use super::*;
use crate::outcome::{CARD_FORMAT_VERSION, CardClip};
use crate::sidecar::{Admit, edl, without_a_place};

const PROOF: &str = "A1.mov";
const PROOF_WORDS: &str =
    "rate=30000/1001 drop=skipped start=10:00:58;00 made=2026-05-28T10:00:58Z";
const OPEN_WORDS: &str = "rate=30000/1001 drop=open start=10:10:00:00 made=2026-05-28T10:10:00Z";

fn clip(card: usize, path: &str, words: &str) -> Member {
    let told = Told::parse(&format!("clip {words}")).unwrap();
    Member {
        card,
        path: path.to_owned(),
        name: path.to_owned(),
        outcome: told_outcome(&format!("card/{path}"), &told),
    }
}

fn agreed(clips: Vec<Member>) -> Agreed {
    agree(&["one".to_owned(), "two".to_owned()], clips)
}

fn codes(notes: &[Note]) -> Vec<&str> {
    notes.iter().map(|note| &*note.code).collect()
}

fn drop_frame(outcome: &ClipOutcome) -> (Option<bool>, &str) {
    let clock = outcome.clock.as_ref().unwrap();
    (clock.drop_frame, clock.drop_frame_known_by.word())
}

#[test]
fn what_one_clip_proves_holds_for_another_of_the_same_clock() {
    let agreed = agreed(vec![
        clip(0, "A2.mov", OPEN_WORDS),
        clip(0, PROOF, PROOF_WORDS),
    ]);
    let outcome = &agreed.clips[0].0;
    assert_eq!(drop_frame(outcome), (Some(true), "another_clip"));
    assert_eq!(outcome.verdict, Verdict::Sure);
    let start = outcome.start.as_ref().unwrap();
    assert_eq!(start.label, "10:10:00;00");
    // 610 minutes of 1800 counts, less two in each but every tenth (SMPTE ST 12-1).
    let count = 610 * 1800 - 2 * (610 - 61);
    assert_eq!(start.count_bounds, [f64::from(count), f64::from(count + 1)]);
    assert_eq!(start.in_clip_base.as_ref().unwrap().count, i64::from(count));
    assert!((start.seconds - (f64::from(count) + 0.5) * 1001.0 / 30_000.0).abs() < 1e-6);
    assert_eq!(codes(&outcome.notes), ["drop_frame_carried"]);
    assert!(outcome.notes[0].sentence.contains(PROOF));
    // The witness stays as it was.
    assert_eq!(
        drop_frame(&agreed.clips[1].0),
        (Some(true), "skipped_label")
    );
}

#[test]
fn a_clock_that_is_proven_not_to_skip_settles_others_too() {
    let agreed = agreed(vec![
        clip(
            0,
            PROOF,
            "rate=30000/1001 drop=none start=10:01:00:00 made=2026-05-28T10:01:00Z",
        ),
        clip(0, "A2.mov", OPEN_WORDS),
    ]);
    let outcome = &agreed.clips[1].0;
    assert_eq!(drop_frame(outcome), (Some(false), "another_clip"));
    let start = outcome.start.as_ref().unwrap();
    assert_eq!(
        (&*start.label, start.count_bounds[0]),
        ("10:10:00:00", 1_098_000.0)
    );
}

#[test]
fn a_settled_clip_enters_the_timeline() {
    let list = |with_proof: bool| {
        let proof = match with_proof {
            true => PROOF_WORDS.to_owned(),
            // A colon was read, or a semicolon: no proof for others.
            false => PROOF_WORDS.replace("skipped", "mark"),
        };
        let agreed = agreed(vec![clip(0, PROOF, &proof), clip(0, "A2.mov", OPEN_WORDS)]);
        let clips = agreed.clips.into_iter().zip([PROOF, "A2.mov"]);
        let card = CardOutcome {
            format: CARD_FORMAT_VERSION,
            folders: vec!["card".into()],
            clips: clips
                .map(|((outcome, camera), name)| CardClip {
                    name: name.into(),
                    sidecar: format!("{name}.rollmark.json"),
                    camera,
                    outcome,
                })
                .collect(),
            cameras: agreed.cameras,
            skipped: Vec::new(),
            gone: Vec::new(),
            notes: agreed.notes,
            tool: tool(),
        };
        let files = edl::to_files(&card, Admit::default());
        let absent = without_a_place(&card, Admit::default());
        let absent: Vec<String> = absent.into_iter().map(|(name, _)| name.into()).collect();
        (String::from_utf8(files[0].1.clone()).unwrap(), absent)
    };
    let (settled, absent) = list(true);
    assert!(settled.contains("10:10:00;00"), "{settled}");
    assert!(!settled.contains("NOT LISTED"));
    assert!(absent.is_empty(), "{absent:?}");
    let (open, absent) = list(false);
    assert!(open.contains("NOT LISTED"), "{open}");
    assert_eq!(absent, ["A2.mov"]);
}

#[test]
fn clips_that_contradict_each_other_settle_nothing_and_the_card_says_so() {
    for other in [
        "rate=30000/1001 drop=none start=12:01:00:00",
        // Another camera, another rate, not even sure: any of it is a doubt.
        "rate=60000/1001 drop=none start=12:01:00:00 camera=other unsure",
        "rate=30000/1001 drop=given_none start=12:02:02:00",
    ] {
        let agreed = agreed(vec![
            clip(0, PROOF, PROOF_WORDS),
            clip(0, "A2.mov", OPEN_WORDS),
            clip(0, "A3.mov", other),
        ]);
        assert_eq!(drop_frame(&agreed.clips[1].0), (None, "unknown"), "{other}");
        assert_eq!(codes(&agreed.notes), ["drop_frame_contradicts"], "{other}");
        for name in [PROOF, "A2.mov", "A3.mov"] {
            assert!(
                agreed.notes[0].sentence.contains(name),
                "{:?}",
                agreed.notes
            );
        }
    }
}

#[test]
fn without_a_clock_that_is_surely_the_same_it_stays_open() {
    let proof = |words: &str| clip(0, PROOF, words);
    for (why, witness, open) in [
        (
            "a mark only",
            PROOF_WORDS.replace("skipped", "mark"),
            OPEN_WORDS.to_owned(),
        ),
        (
            "an unsure witness",
            format!("{PROOF_WORDS} unsure"),
            OPEN_WORDS.to_owned(),
        ),
        (
            "no header there",
            PROOF_WORDS.split(" made").next().unwrap().to_owned(),
            OPEN_WORDS.to_owned(),
        ),
        (
            "no header here",
            PROOF_WORDS.to_owned(),
            OPEN_WORDS.split(" made").next().unwrap().to_owned(),
        ),
        (
            "another camera",
            format!("{PROOF_WORDS} camera=X"),
            format!("{OPEN_WORDS} camera=Y"),
        ),
        (
            "another day",
            PROOF_WORDS.to_owned(),
            OPEN_WORDS.replace("05-28", "05-29"),
        ),
        (
            "a clock set in between",
            PROOF_WORDS.to_owned(),
            OPEN_WORDS.replace("10:10:00Z", "10:10:07Z"),
        ),
        (
            "another rate",
            PROOF_WORDS.to_owned(),
            OPEN_WORDS.replace("30000", "60000"),
        ),
        (
            "an unsure start",
            PROOF_WORDS.to_owned(),
            format!("{OPEN_WORDS} unsure"),
        ),
        // A drop-frame clock never shows it.
        (
            "a label that cannot be",
            PROOF_WORDS.to_owned(),
            OPEN_WORDS.replace("10:10", "10:11"),
        ),
    ] {
        let agreed = agreed(vec![proof(&witness), clip(0, "A2.mov", &open)]);
        assert_eq!(drop_frame(&agreed.clips[1].0), (None, "unknown"), "{why}");
        assert_eq!(
            agreed.clips[1].0.start,
            clip(0, "A2.mov", &open).outcome.start,
            "{why}"
        );
    }
}

/// A display that prints semicolons would have printed one in the open clip, too.
#[test]
fn a_semicolon_on_the_card_keeps_a_clip_with_a_colon_open() {
    let agreed = agreed(vec![
        clip(0, PROOF, PROOF_WORDS),
        clip(0, "A2.mov", OPEN_WORDS),
        clip(0, "A3.mov", "rate=30000/1001 drop=mark start=10:20:00;00"),
    ]);
    assert_eq!(drop_frame(&agreed.clips[1].0), (None, "unknown"));
}

/// The option `--drop-frame` makes it known in every clip.
#[test]
fn what_the_user_says_of_drop_frame_stands() {
    let words = OPEN_WORDS.replace("open", "given_none");
    let agreed = agreed(vec![clip(0, PROOF, PROOF_WORDS), clip(0, "A2.mov", &words)]);
    assert_eq!(agreed.clips[1].0, clip(0, "A2.mov", &words).outcome);
}

#[test]
fn chapters_carry_on_from_a_settled_start() {
    let agreed = agreed(vec![
        clip(0, "GX010041.MP4", PROOF_WORDS),
        clip(0, "GX010042.MP4", OPEN_WORDS),
        clip(
            0,
            "GX020042.MP4",
            "rate=30000/1001 made=2026-05-28T10:10:00Z",
        ),
    ]);
    let start = agreed.clips[2].0.start.as_ref().unwrap();
    assert_eq!(start.label, "10:10:01;20");
}

const SLATE: &str = "camera=X made=2026-05-28T10:00:00Z start=12:00:00:00";
const LATER: &str = "made=2026-05-28T11:00:00Z";

#[test]
fn one_camera_by_its_serial_number_has_one_clock_on_two_cards() {
    let agreed = agreed(vec![
        clip(0, "C1.mov", &format!("{SLATE} serial=7")),
        clip(1, "C2.mov", &format!("camera=X serial=7 {LATER}")),
        clip(1, "C3.mov", &format!("camera=X serial=8 {LATER}")),
    ]);
    let estimate = agreed.clips[1].0.estimate.as_ref().unwrap();
    let [low, high] = estimate.seconds_bounds;
    assert!(
        low < 46_800.0 && 46_800.0 < high && high - low < 8.0,
        "{low} {high}"
    );
    assert_eq!(estimate.rests_on, ["C1.mov"]);
    assert_eq!(agreed.clips[2].0.estimate, None, "another of its kind");
    let cameras: Vec<usize> = agreed.clips.iter().map(|(_, camera)| *camera).collect();
    assert_eq!(cameras, [0, 0, 1]);
    assert_eq!(agreed.cameras.len(), 2);
    assert_eq!(
        codes(&agreed.cameras[0].notes),
        ["zone_offset_likely", "camera_pooled"]
    );
    assert_eq!(agreed.notes, [], "their serial numbers tell who is who");
}

#[test]
fn a_name_without_a_serial_number_proves_nothing() {
    let agreed = agreed(vec![
        clip(0, "C1.mov", SLATE),
        clip(1, "C2.mov", &format!("camera=X {LATER}")),
    ]);
    assert_eq!(agreed.clips[1].0.estimate, None);
    assert_eq!(agreed.cameras.len(), 2);
}

#[test]
fn a_camera_whose_clock_was_set_between_two_cards_has_two_clocks() {
    let agreed = agreed(vec![
        clip(0, "C1.mov", &format!("{SLATE} serial=7")),
        clip(0, "C2.mov", &format!("camera=X serial=7 {LATER}")),
        // An hour on: summer time.
        clip(
            1,
            "D1.mov",
            &format!("{} serial=7", SLATE.replace("12:00", "13:00")),
        ),
        clip(1, "D2.mov", &format!("camera=X serial=7 {LATER}")),
    ]);
    let near = |at: usize| {
        agreed.clips[at]
            .0
            .estimate
            .as_ref()
            .unwrap()
            .seconds
            .round()
    };
    assert_eq!((near(1), near(3)), (46_800.0, 50_400.0));
    assert_eq!(agreed.cameras.len(), 2);
    for camera in &agreed.cameras {
        assert!(
            codes(&camera.notes).contains(&"camera_clock_set"),
            "{camera:?}"
        );
    }
}
