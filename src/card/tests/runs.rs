//! Whole runs: what is read, what is written, what a second run does.

use super::super::{CARD_FILE, CardEvent, Ended, STATE_FOLDER, Stop};
use super::*;
use crate::fault::FAULT;
use crate::sidecar::{card_json, json};

#[test]
fn every_clip_gets_a_sidecar_at_its_path_and_the_card_holds_the_same_objects() {
    let desk = Desk::new(&[
        ("DCIM/100/a.mov", SLATED),
        ("DCIM/100/b.mov", "clip"),
        ("DCIM/notes.txt", "hello"),
    ]);
    let run = desk.run(&Reader::default());
    assert_eq!(run.ended, Ended::Complete);
    assert!(run.faults.is_empty());
    let card = card_json::from_bytes(&fs::read(desk.out().join(CARD_FILE)).unwrap()).unwrap();
    assert_eq!(card, run.outcome);
    assert_eq!(
        verdicts(&card),
        [
            ("DCIM/100/a.mov", Verdict::Sure),
            ("DCIM/100/b.mov", Verdict::None)
        ]
    );
    for clip in &card.clips {
        assert_eq!(clip.sidecar, format!("{}{}", clip.name, json::SUFFIX));
        let sidecar = fs::read(desk.out().join(&clip.sidecar)).unwrap();
        assert_eq!(json::from_bytes(&sidecar).unwrap(), clip.outcome);
    }
    let skipped = &card.skipped[0];
    assert_eq!(
        (&*skipped.name, &*skipped.reason.code),
        ("DCIM/notes.txt", "not_video")
    );
    assert_eq!(run.evidence(0).crops[0].digits, "10:00:00:00");
}

/// One folder with everything that has stopped batches elsewhere.
#[test]
fn broken_files_are_results_of_their_own_and_stop_nothing() {
    let desk = Desk::new(&[
        ("good1.mp4", SLATED),
        ("good2.mp4", "clip start=11:00:00:00"),
        ("cut.mp4", "no index"),
        ("empty.mp4", ""),
        ("text.MOV", "hello"),
        ("fault.mp4", "clip bad"),
        ("fault2.mp4", "clip bad_probe"),
    ]);
    fs::create_dir(desk.card().join("X.MP4")).unwrap();
    let run = desk.run(&Reader::default());
    assert_eq!(run.ended, Ended::Complete);
    let codes: Vec<(&str, &str)> = run
        .outcome
        .clips
        .iter()
        .map(|clip| (&*clip.name, &*clip.outcome.reasons[0].code))
        .collect();
    assert_eq!(
        codes,
        [
            ("cut.mp4", "no_index"),
            ("empty.mp4", "empty_file"),
            ("fault.mp4", FAULT),
            ("fault2.mp4", "no_display"),
            ("good1.mp4", "agreed"),
            ("good2.mp4", "agreed"),
            ("text.MOV", "not_video"),
        ]
    );
    assert!(run.outcome.skipped.is_empty());
    assert!(
        run.outcome.clips[2].outcome.reasons[0]
            .sentence
            .contains("a fault while reading")
    );
}

#[test]
fn the_originals_are_as_they_were() {
    let desk = Desk::new(&[("a.mov", SLATED), ("b/c.mov", "clip bad"), ("n.txt", "x")]);
    let before = bytes_below(&desk.card());
    desk.run(&Reader::default());
    assert_eq!(bytes_below(&desk.card()), before);
}

#[test]
fn a_second_run_reads_and_changes_nothing() {
    let desk = Desk::new(&[("a.mov", SLATED), ("b.mov", "clip"), ("c.mov", "no index")]);
    let first = desk.run(&Reader::default());
    let (outcome, evidence) = (first.outcome.clone(), first.evidence(0));
    drop(first);
    let before = bytes_below(&desk.out());
    let again = Reader::default();
    let second = desk.run(&again);
    assert_eq!(again.names_read(), [""; 0]);
    assert_eq!(second.resumed, 3);
    assert_eq!(second.outcome, outcome);
    assert_eq!(second.evidence(0), evidence);
    assert_eq!(bytes_below(&desk.out()), before);
}

fn gone(card: &CardOutcome) -> Vec<&str> {
    card.gone.iter().map(|one| &*one.name).collect()
}

fn records(desk: &Desk) -> usize {
    let folder = desk.out().join(STATE_FOLDER).join("clips");
    fs::read_dir(folder).unwrap().count()
}

#[test]
fn a_clip_that_is_no_longer_there_is_not_a_clip_of_the_card_and_not_forgotten() {
    let desk = Desk::new(&[("a.mov", SLATED), ("d/b.mov", SLATED), ("c.mov", "clip")]);
    assert_eq!(gone(&desk.run(&Reader::default()).outcome), [""; 0]);
    fs::remove_file(desk.card().join("d/b.mov")).unwrap();
    let sidecar = desk.out().join("d/b.mov.rollmark.json");
    let before = fs::read(&sidecar).unwrap();
    for _ in 0..2 {
        let card = desk.run(&Reader::default()).outcome;
        let names: Vec<&str> = card.clips.iter().map(|clip| &*clip.name).collect();
        assert_eq!(names, ["a.mov", "c.mov"]);
        assert_eq!(gone(&card), ["d/b.mov"]);
        assert_eq!(card.gone[0].sidecar, "d/b.mov.rollmark.json");
        let note = card.notes.iter().find(|note| note.code == "clips_gone");
        assert!(note.unwrap().sentence.contains("d/b.mov"));
        assert_eq!(fs::read(&sidecar).unwrap(), before);
        assert_eq!(records(&desk), 2);
    }
    // It comes back, and is read.
    desk.put("d/b.mov", SLATED);
    let again = Reader::default();
    assert_eq!(gone(&desk.run(&again).outcome), [""; 0]);
    assert_eq!(again.names_read(), ["b.mov"]);
    // Whoever removes the sidecar, too, wants to hear no more of it.
    fs::remove_file(desk.card().join("d/b.mov")).unwrap();
    fs::remove_file(&sidecar).unwrap();
    let card = desk.run(&Reader::default()).outcome;
    assert_eq!((gone(&card), card.notes.len()), (vec![], 0));
}

#[test]
fn another_card_into_the_same_folder_does_not_cost_the_first_its_records() {
    let desk = Desk::new(&[("a.mov", SLATED)]);
    let other = Desk::new(&[("b.mov", SLATED)]);
    desk.run(&Reader::default());
    let settings = Settings {
        folders: vec![other.card()],
        ..desk.settings()
    };
    assert_eq!(
        gone(&run_with(&settings, &Reader::default()).outcome),
        ["a.mov"]
    );
    let again = Reader::default();
    assert_eq!(gone(&desk.run(&again).outcome), ["b.mov"]);
    assert_eq!(again.names_read(), [""; 0]);
}

#[test]
fn only_what_changed_is_read_again() {
    let desk = Desk::new(&[("a.mov", SLATED), ("b.mov", "clip")]);
    drop(desk.run(&Reader::default()));
    desk.put("b.mov", "clip start=12:00:00:00");
    let again = Reader::default();
    let run = desk.run(&again);
    assert_eq!(again.names_read(), ["b.mov"]);
    assert_eq!(
        run.outcome.clips[1].outcome.start.as_ref().unwrap().label,
        "12:00:00:00"
    );
    drop(run);
    for settings in [
        Settings {
            reading: "rate 25".into(),
            ..desk.settings()
        },
        Settings {
            tool: Tool {
                model: "11".repeat(32),
                ..tool()
            },
            ..desk.settings()
        },
    ] {
        let again = Reader::default();
        drop(run_with(&settings, &again));
        assert_eq!(again.names_read(), ["a.mov", "b.mov"]);
    }
}

#[test]
fn a_run_with_more_threads_gives_the_same_bytes() {
    let files: Vec<(String, String)> = (0..40)
        .map(|n| {
            let start = if n % 3 == 0 { " start=10:00:00:00" } else { "" };
            (
                format!("C{n}.mov"),
                format!("clip frames={}{start}", 50 + n),
            )
        })
        .collect();
    let files: Vec<(&str, &str)> = files.iter().map(|(a, b)| (&**a, &**b)).collect();
    let desk = Desk::new(&files);
    let results = [1, 8].map(|workers| {
        let _ = fs::remove_dir_all(desk.out());
        let settings = Settings {
            workers: NonZeroUsize::new(workers).unwrap(),
            ..desk.settings()
        };
        drop(run_with(&settings, &Reader::default()));
        bytes_below(&desk.out())
    });
    assert_eq!(results[0], results[1]);
}

#[test]
fn two_cards_with_the_same_tree_keep_their_clips_apart() {
    let desk = Desk::new(&[("A/DCIM/a.mov", SLATED), ("B/DCIM/a.mov", "clip")]);
    let settings = Settings {
        folders: vec![desk.card().join("A"), desk.card().join("B")],
        ..desk.settings()
    };
    let run = run_with(&settings, &Reader::default());
    assert_eq!(
        verdicts(&run.outcome),
        [
            ("A/DCIM/a.mov", Verdict::Sure),
            ("B/DCIM/a.mov", Verdict::None)
        ]
    );
    assert!(desk.out().join("B/DCIM/a.mov.rollmark.json").exists());
}

#[cfg(unix)]
#[test]
fn names_of_all_kinds_get_a_sidecar_each() {
    use std::ffi::OsStr;
    use std::os::unix::ffi::OsStrExt;
    let desk = Desk::new(&[("two\nlines \"q\" 'x'.mov", SLATED)]);
    fs::write(desk.card().join(OsStr::from_bytes(b"\xFF.mov")), SLATED).unwrap();
    let long = format!("{}.mov", "n".repeat(250));
    desk.put(&long, SLATED);
    let run = desk.run(&Reader::default());
    assert!(run.faults.is_empty(), "{:?}", run.faults);
    let names: Vec<&str> = run.outcome.clips.iter().map(|c| &*c.name).collect();
    assert_eq!(names, [&*long, "two\nlines \"q\" 'x'.mov", "\\xFF.mov"]);
    assert!(
        desk.out()
            .join(OsStr::from_bytes(b"\xFF.mov.rollmark.json"))
            .exists()
    );
    assert!(desk.out().join(&run.outcome.clips[0].sidecar).exists());
    // Known again, too.
    drop(run);
    let again = Reader::default();
    desk.run(&again);
    assert_eq!(again.names_read(), [""; 0]);
}

#[test]
fn corrections_by_hand_come_before_the_clips_are_compared_and_are_not_kept_as_measured() {
    let desk = Desk::new(&[("a.mov", "clip")]);
    let by_hand = |name: &str, outcome: ClipOutcome| {
        assert_eq!(name, "a.mov");
        slated(outcome, frames(Rate::F25, false), "09:00:00:00")
    };
    let corrected = super::super::run(
        &desk.settings(),
        &Reader::default(),
        &by_hand,
        &|_: CardEvent<'_>| {},
        &Stop::new(),
    )
    .unwrap();
    let start = corrected.outcome.clips[0].outcome.start.as_ref().unwrap();
    assert_eq!(start.label, "09:00:00:00");
    drop(corrected);
    let plain = desk.run(&Reader::default());
    assert_eq!(
        (plain.resumed, plain.outcome.clips[0].outcome.verdict),
        (1, Verdict::None)
    );
}

#[test]
fn events_tell_the_whole_story() {
    let desk = Desk::new(&[("a.mov", SLATED), ("n.txt", "x")]);
    let heard = Mutex::new(Vec::new());
    let listener = |event: CardEvent<'_>| {
        let line = match event {
            CardEvent::Scanned { files } => format!("scanned {files}"),
            CardEvent::Probed { done, of } => format!("probed {done}/{of}"),
            CardEvent::Planned { clips } => format!("planned {clips:?}"),
            CardEvent::Began { clip } => format!("began {clip}"),
            CardEvent::Clip { clip, event } => format!("clip {clip} {event:?}"),
            CardEvent::Finished {
                clip,
                outcome,
                is_from_record,
            } => {
                format!("finished {clip} {:?} {is_from_record}", outcome.verdict)
            }
        };
        heard.lock().unwrap().push(line);
    };
    for _ in 0..2 {
        let by_hand = |_: &str, outcome| outcome;
        let settings = settings_of_one_worker(&desk);
        super::super::run(
            &settings,
            &Reader::default(),
            &by_hand,
            &listener,
            &Stop::new(),
        )
        .unwrap();
    }
    let planned = "planned [Planned { name: \"a.mov\", duration_s: Some(2.0) }]";
    assert_eq!(
        *heard.lock().unwrap(),
        [
            "scanned 2",
            "probed 1/2",
            "probed 2/2",
            planned,
            "began 0",
            "clip 0 Searching { at_s: 0.0 }",
            "finished 0 Sure false",
            "scanned 2",
            "probed 1/2",
            "probed 2/2",
            planned,
            "finished 0 Sure true",
        ]
    );
}
