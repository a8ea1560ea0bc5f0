//! Runs that something befalls: stopped, killed, a card pulled, a disk full, records damaged.

use super::super::records::Records;
use super::super::{CardEvent, Ended, GAVE_UP, STATE_FOLDER, Stop, folder_unread, named};
use super::*;
use crate::note::Note;
use crate::outcome::{NOT_READ, Skipped};
use crate::save::FileStamp;
use crate::sidecar::json;
use std::sync::Arc;

#[test]
fn stopping_gently_finishes_the_clip_and_the_next_run_goes_on() {
    let desk = Desk::new(&[("a.mov", SLATED), ("b.mov", SLATED), ("c.mov", SLATED)]);
    let stop = Stop::new();
    let listener = |event: CardEvent<'_>| {
        if let CardEvent::Clip { clip: 1, .. } = event {
            stop.finish();
        }
    };
    let settings = settings_of_one_worker(&desk);
    let by_hand = |_: &str, outcome| outcome;
    let run = super::super::run(&settings, &Reader::default(), &by_hand, &listener, &stop).unwrap();
    assert_eq!(run.ended, Ended::Stopped);
    assert_eq!(
        verdicts(&run.outcome),
        [
            ("a.mov", Verdict::Sure),
            ("b.mov", Verdict::Sure),
            ("c.mov", Verdict::Failed)
        ]
    );
    assert_eq!(run.outcome.clips[2].outcome.reasons[0].code, NOT_READ);
    assert!(!desk.out().join("c.mov.rollmark.json").exists());
    assert_eq!(
        run.outcome.notes[0].sentence,
        "stopped early: 1 of 3 clips were not read; run the same command again to go on"
    );
    drop(run);
    let again = Reader::default();
    let run = desk.run(&again);
    assert_eq!(again.names_read(), ["c.mov"]);
    assert_eq!(run.ended, Ended::Complete);
    assert!(run.outcome.notes.is_empty());
}

#[test]
fn a_run_that_is_stopped_early_still_knows_what_earlier_ones_found() {
    let desk = Desk::new(&[("a.mov", SLATED), ("b.mov", SLATED)]);
    drop(desk.run(&Reader::default()));
    desk.put("a.mov", "clip frames=99 start=12:00:00:00");
    let stop = Stop::new();
    let listener = |event: CardEvent<'_>| {
        if matches!(event, CardEvent::Planned { .. }) {
            stop.finish();
        }
    };
    let by_hand = |_: &str, outcome| outcome;
    let settings = desk.settings();
    let run = super::super::run(&settings, &Reader::default(), &by_hand, &listener, &stop).unwrap();
    assert_eq!((run.ended, run.resumed), (Ended::Stopped, 1));
    assert_eq!(
        verdicts(&run.outcome),
        [("a.mov", Verdict::Failed), ("b.mov", Verdict::Sure)]
    );
}

#[test]
fn a_slip_in_a_folders_name_leaves_nothing_behind() {
    let desk = Desk::new(&[]);
    let settings = Settings {
        folders: vec![desk.card(), desk.card().join("gone")],
        ..desk.settings()
    };
    let error = run(&settings, &Reader::default()).err().unwrap();
    assert_eq!(error.file(), Some(&*desk.card().join("gone")));
    assert!(!desk.out().exists());
}

#[test]
fn stopping_at_once_gives_up_the_clip_and_leaves_nothing_of_it() {
    let desk = Desk::new(&[("a.mov", SLATED), ("b.mov", SLATED)]);
    let stop = Arc::new(Stop::new());
    let reader = Reader {
        meanwhile: Some(Box::new({
            let stop = Arc::clone(&stop);
            move |path| {
                if path.ends_with("b.mov") {
                    stop.now();
                }
            }
        })),
        ..Reader::default()
    };
    let settings = settings_of_one_worker(&desk);
    let run = super::super::run(
        &settings,
        &reader,
        &|_, outcome| outcome,
        &|_: CardEvent<'_>| {},
        &stop,
    )
    .unwrap();
    assert_eq!(run.ended, Ended::Stopped);
    assert_eq!(run.outcome.clips[1].outcome.reasons[0].code, NOT_READ);
    assert!(!desk.out().join("b.mov.rollmark.json").exists());
    drop(run);
    let again = Reader::default();
    desk.run(&again);
    assert_eq!(again.names_read(), ["b.mov"]);
}

#[test]
fn a_record_and_a_sidecar_are_there_before_the_next_clip_is_begun() {
    let desk = Desk::new(&[("a.mov", SLATED), ("b.mov", "clip")]);
    let out = desk.out();
    let reader = Reader {
        meanwhile: Some(Box::new(move |path| {
            if path.ends_with("b.mov") {
                let sidecar = fs::read(out.join("a.mov.rollmark.json")).unwrap();
                assert_eq!(json::from_bytes(&sidecar).unwrap().verdict, Verdict::Sure);
                assert_eq!(
                    fs::read_dir(out.join(STATE_FOLDER).join("clips"))
                        .unwrap()
                        .count(),
                    1
                );
            }
        })),
        ..Reader::default()
    };
    let run = run_with(&settings_of_one_worker(&desk), &reader);
    assert_eq!(run.outcome.clips[1].outcome.verdict, Verdict::None);
}

/// As after three runs that ended, without a word, in one clip.
#[test]
fn a_clip_that_ends_the_program_again_and_again_is_left_out() {
    let desk = Desk::new(&[("a.mov", SLATED), ("b.mov", SLATED)]);
    let bad = fs::canonicalize(desk.card()).unwrap().join("a.mov");
    let stamp = FileStamp::of(&fs::metadata(&bad).unwrap());
    let settings = desk.settings();
    for _ in 0..3 {
        let records = Records::open(&settings.out, &settings.reading, &settings.tool).unwrap();
        records.begin(&bad, stamp);
    }
    let reader = Reader::default();
    let run = desk.run(&reader);
    assert_eq!(reader.names_read(), ["b.mov"]);
    let code = |at: usize| &*run.outcome.clips[at].outcome.reasons[0].code;
    assert_eq!((code(0), code(1)), (GAVE_UP, "agreed"));
    assert_eq!(run.ended, Ended::Complete);
}

#[test]
fn a_card_that_is_pulled_ends_the_run_and_keeps_what_was_read() {
    let desk = Desk::new(&[("a.mov", SLATED), ("b.mov", SLATED), ("c.mov", SLATED)]);
    let card = desk.card();
    let reader = Reader {
        meanwhile: Some(Box::new(move |path| {
            if path.ends_with("b.mov") {
                fs::remove_dir_all(&card).unwrap();
            }
        })),
        ..Reader::default()
    };
    let run = run_with(&settings_of_one_worker(&desk), &reader);
    assert_eq!(run.ended, Ended::CardGone);
    let codes: Vec<&str> = run
        .outcome
        .clips
        .iter()
        .map(|clip| &*clip.outcome.reasons[0].code)
        .collect();
    assert_eq!(codes, ["agreed", "cannot_open", NOT_READ]);
    assert_eq!(run.outcome.notes[0].code, "card_gone");
    drop(run);
    // Back again: the first clip is not read a second time.
    for name in ["b.mov", "c.mov"] {
        desk.put(name, SLATED);
    }
    let again = Reader::default();
    desk.run(&again);
    assert_eq!(again.names_read(), ["b.mov", "c.mov"]);
}

#[test]
fn a_clip_that_grows_while_it_is_read_is_read_again_next_time() {
    let desk = Desk::new(&[("a.mov", SLATED)]);
    let reader = Reader {
        meanwhile: Some(Box::new(|path| {
            fs::write(path, "clip start=10:00:00:00 frames=60").unwrap();
        })),
        ..Reader::default()
    };
    let run = desk.run(&reader);
    assert_eq!(
        run.outcome.clips[0].outcome.notes[0].code,
        "changed_while_read"
    );
    drop(run);
    let again = Reader::default();
    desk.run(&again);
    assert_eq!(again.names_read(), ["a.mov"]);
}

#[test]
fn an_output_that_takes_no_files_ends_the_run_and_keeps_what_was_read() {
    let desk = Desk::new(&[("a.mov", SLATED), ("b.mov", SLATED), ("c.mov", SLATED)]);
    let clips = desk.out().join(STATE_FOLDER).join("clips");
    let reader = Reader {
        meanwhile: Some(Box::new(move |path| {
            if path.ends_with("b.mov") {
                // A folder that cannot be written to, for any user.
                fs::remove_dir_all(&clips).unwrap();
                fs::write(&clips, b"").unwrap();
            }
        })),
        ..Reader::default()
    };
    let run = run_with(&settings_of_one_worker(&desk), &reader);
    assert_eq!(run.ended, Ended::OutputFailed);
    assert_eq!(reader.names_read(), ["a.mov", "b.mov"]);
    assert_eq!(run.faults.len(), 1);
    assert_eq!(run.faults[0].kind(), ErrorKind::CannotWrite);
    assert_eq!(run.outcome.notes[0].code, "output_failed");
    assert_eq!(run.outcome.notes[1].code, "not_written");
    assert!(
        !run.outcome.notes[1].sentence.contains(".part"),
        "a name that differs each time"
    );
    assert_eq!(run.outcome.clips[2].outcome.reasons[0].code, NOT_READ);
    assert!(desk.out().join("a.mov.rollmark.json").exists());
}

#[test]
fn what_others_put_in_place_of_a_sidecar_is_kept_and_the_others_are_written() {
    let desk = Desk::new(&[("a.mov", SLATED), ("b.mov", SLATED)]);
    fs::create_dir(desk.out()).unwrap();
    let foreign = desk.out().join("a.mov.rollmark.json");
    fs::write(&foreign, "mine").unwrap();
    let run = desk.run(&Reader::default());
    assert_eq!(run.ended, Ended::Complete);
    assert_eq!(run.faults.len(), 1);
    assert_eq!(run.faults[0].file(), Some(&*foreign));
    assert_eq!(fs::read(&foreign).unwrap(), b"mine");
    assert!(desk.out().join("b.mov.rollmark.json").exists());
}

/// Records, probes, sidecars, the card object and the list of what was written are read
/// back. Cut off, zeroed, full of noise, swapped or with
/// one digit changed, they cost a second reading or are kept
/// as somebody else's, and never a start.
#[test]
fn whatever_is_read_back_may_be_damaged() {
    use rand::{Rng, RngExt, SeedableRng, seq::IndexedRandom};
    let clips = [
        ("a.mov", SLATED),
        ("b.mov", "clip"),
        ("c.mov", "no index"),
        ("d.mov", "clip start=11:00:00:00"),
    ];
    for seed in 0..120 {
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
        let desk = Desk::new(&clips);
        let (first, sources) = (desk.run(&Reader::default()).outcome.clone(), desk.card());
        let sources_before = bytes_below(&sources);
        let written = bytes_below(&desk.out());
        let names: Vec<&PathBuf> = written.keys().collect();
        for _ in 0..rng.random_range(1..4) {
            let name = *names.choose(&mut rng).unwrap();
            let mut bytes = written[name].clone();
            let at = rng.random_range(0..=bytes.len());
            match rng.random_range(0..5) {
                0 => bytes.truncate(at),
                1 => bytes[at..].fill(0),
                2 => rng.fill_bytes(&mut bytes[at..]),
                3 => bytes
                    .iter_mut()
                    .skip(at)
                    .take(1)
                    .for_each(|byte| *byte ^= 1),
                _ => bytes = written[*names.choose(&mut rng).unwrap()].clone(),
            }
            fs::write(name, bytes).unwrap();
        }
        let run = desk.run(&Reader::default());
        assert_eq!(run.ended, Ended::Complete, "seed {seed}");
        assert_eq!(run.outcome.clips, first.clips, "seed {seed}");
        for fault in &run.faults {
            assert_eq!(
                fault.kind(),
                ErrorKind::WouldReplace,
                "seed {seed}: {fault}"
            );
        }
        assert_eq!(bytes_below(&sources), sources_before, "seed {seed}");
    }
}

#[test]
fn leftovers_of_a_killed_run_go_and_never_count_as_clips() {
    let desk = Desk::new(&[("d/a.mov", SLATED)]);
    let settings = Settings {
        out: desk.card(),
        ..desk.settings()
    };
    desk.put("d/.rollmark-abc123.part", "clip");
    drop(run_with(&settings, &Reader::default()));
    assert!(!desk.card().join("d/.rollmark-abc123.part").exists());
    let run = run_with(&settings, &Reader::default());
    assert_eq!(verdicts(&run.outcome), [("d/a.mov", Verdict::Sure)]);
    assert_eq!(run.outcome.skipped, []);
}

#[test]
fn a_smaller_copy_is_read_where_the_clip_itself_shows_no_picture() {
    // The copy has fewer bytes; both are of one length.
    let desk = Desk::new(&[
        (
            "a.mov",
            "clip width=3840 undecodable start=10:00:00:00 padding",
        ),
        ("a_Proxy.mp4", "clip width=960 start=10:00:00:00"),
        ("b.mov", "clip width=3840 start=10:00:00:00 padding padding"),
        ("b_Proxy.mp4", "clip width=960 start=10:00:00:00"),
        ("c.mov", SLATED),
    ]);
    let found = [
        ("a.mov", Verdict::Failed),
        ("a_Proxy.mp4", Verdict::Sure),
        ("b.mov", Verdict::Sure),
        ("c.mov", Verdict::Sure),
    ];
    let reader = Reader::default();
    let run = desk.run(&reader);
    assert_eq!(verdicts(&run.outcome), found);
    assert_eq!(run.outcome.skipped.len(), 1);
    assert_eq!(run.outcome.skipped[0].name, "b_Proxy.mp4");
    // Only clips with a copy are tried, and those that were read are not tried again.
    assert_eq!(reader.tried.lock().unwrap().len(), 2);
    drop(run);
    let again = Reader::default();
    let run = desk.run(&again);
    assert_eq!(verdicts(&run.outcome), found);
    assert!(again.tried.lock().unwrap().is_empty() && again.names_read().is_empty());
}

#[test]
fn folders_that_could_not_be_read_are_remarked_on_and_other_skipped_files_are_not() {
    let skipped = |name: &str, code: &str| Skipped {
        name: name.into(),
        reason: Note::new(code, "why"),
    };
    let hidden = skipped(".trash", "hidden");
    assert_eq!(folder_unread(std::slice::from_ref(&hidden)), None);
    let said = |skipped: &[Skipped]| folder_unread(skipped).unwrap().sentence;
    let one = [hidden.clone(), skipped("day 2", "cannot_open")];
    assert!(said(&one).starts_with("day 2 could not be read, and"));
    let two = [&one[..], &[skipped("day 3", "cannot_open")]].concat();
    assert!(said(&two).starts_with("2 files and folders could not be read, day 2 for one"));
}

#[test]
fn a_folder_named_by_a_dot_is_called_what_it_is_called() {
    let place = tempfile::tempdir().unwrap();
    let card = place.path().join("A-CAM");
    std::fs::create_dir_all(card.join("day 1")).unwrap();
    let whole = card.canonicalize().unwrap();
    assert_eq!(named(&[card.join("day 1/..")]), [whole]);
    let as_it_is = [PathBuf::from("cards/A-CAM"), PathBuf::from("B")];
    assert_eq!(named(&as_it_is), as_it_is);
}
