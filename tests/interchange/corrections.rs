//! Corrections by hand: what the file may say, and what becomes of the outcome.

use crate::cards::{frames, outcome, unsure, without_start};
use proptest::prelude::*;
use rollmark::clip_base;
use rollmark::error::ErrorKind;
use rollmark::note::Note;
use rollmark::outcome::{ClipOutcome, Corrected, DropFrameKnownBy, RateKnownBy, Verdict};
use rollmark::sidecar::corrections::{Corrections, Given, apply, withdraw};
use rollmark::sidecar::{Admit, json, xmp};
use rollmark::timecode::{ClockForm, Rate, Ratio};

fn corrected(text: &str, outcome: ClipOutcome) -> ClipOutcome {
    let corrections = Corrections::from_text(text).unwrap_or_else(|error| panic!("{error}"));
    apply(&corrections, "A/1.mov", outcome, Given::NOTHING)
}

fn nothing() -> ClipOutcome {
    without_start(Verdict::None, "no_display", "no digits were seen")
}

fn pal(label: &str) -> ClipOutcome {
    outcome(frames(Rate::F25, false), label, Rate::F25, 50)
}

/// A clock of 29.97 whose drop-frame the digits themselves told.
fn known_by(known_by: DropFrameKnownBy) -> ClipOutcome {
    let skips = known_by == DropFrameKnownBy::SkippedLabel;
    let mut read = outcome(frames(Rate::F29_97, skips), "10:00:59:28", Rate::F29_97, 50);
    let clock = read.clock.as_mut().unwrap();
    clock.drop_frame = Some(skips);
    clock.drop_frame_known_by = known_by;
    read
}

fn label(outcome: &ClipOutcome) -> &str {
    &outcome.start.as_ref().unwrap().label
}

fn clip_label(outcome: &ClipOutcome) -> &str {
    &outcome
        .start
        .as_ref()
        .unwrap()
        .in_clip_base
        .as_ref()
        .unwrap()
        .label
}

fn codes(outcome: &ClipOutcome) -> Vec<&str> {
    outcome
        .reasons
        .iter()
        .map(|reason| reason.code.as_str())
        .collect()
}

#[test]
fn a_start_is_set_at_frame_0_or_at_another_frame() {
    let set = corrected(
        "[[clip]]\nname = \"A/1.mov\"\nstart = \"10:00:00:00\"\nremark = \"from the notes\"\n",
        nothing(),
    );
    assert_eq!(set.verdict, Verdict::Sure);
    assert_eq!(
        (label(&set), clip_label(&set)),
        ("10:00:00:00", "10:00:00:00")
    );
    assert_eq!(codes(&set), ["set_by_hand"]);
    assert_eq!(
        set.reasons[0].sentence,
        "the start was set by hand, to 10:00:00:00: from the notes"
    );
    let hand = set.by_hand.as_ref().unwrap();
    assert_eq!(
        (hand.what, hand.read_verdict),
        (Corrected::Set, Verdict::None)
    );
    assert!(set.notes.iter().any(|note| note.code == "read_no_display"));
    let clock = set.clock.as_ref().unwrap();
    assert_eq!(
        (clock.rate.as_str(), clock.rate_known_by),
        ("25/1", RateKnownBy::Assumed)
    );

    // Hours may have one digit, as some clocks show them.
    let set = corrected(
        "[[clip]]\nname = \"A/1.mov\"\nstart = \"9:20:30:12\"\n",
        nothing(),
    );
    assert_eq!(label(&set), "09:20:30:12");

    // 37 frames of a 25 fps clip before 10:00:01:12 lies 10:00:00:00.
    let set = corrected(
        "[[clip]]\nname = \"A/1.mov\"\nstart = \"10:00:01:12\"\nframe = 37\n",
        nothing(),
    );
    assert_eq!(label(&set), "10:00:00:00");
    // 50 frames at 25 fps are 2 s, which a 29.97 clock takes 59.94 counts for: the label of
    // frame 0 is 60 labels or 59 earlier, and the middle of the bounds says 60 less 0.06.
    let mut longer = nothing();
    longer.clip.frames = Some(51);
    longer.clip.exact_duration_seconds = Some("51/25".into());
    let set = corrected(
        "[[clip]]\nname = \"A/1.mov\"\nstart = \"10:00:02;00\"\nframe = 50\nrate = 29.97\n",
        longer,
    );
    assert_eq!(label(&set), "10:00:00;00");
    assert_eq!(set.clock.as_ref().unwrap().drop_frame, Some(true));
    // 1 078 920 counts of drop-frame are 35 999.964 s.
    assert_eq!(clip_label(&set), "09:59:59:24");
}

#[test]
fn clocks_of_whole_and_broken_seconds_need_no_rate() {
    // The middles of these counts are 0.5, 0.55, 0.505 and 0.5005 s.
    for (start, form, based) in [
        ("10:00:00", "HH:MM:SS", "10:00:00:12"),
        ("9:00:00", "HH:MM:SS", "09:00:00:12"),
        ("9:00:00.5", "HH:MM:SS.d", "09:00:00:13"),
        ("10:00:00.5", "HH:MM:SS.d", "10:00:00:13"),
        ("10:00:00,50", "HH:MM:SS.dd", "10:00:00:12"),
        ("10:00:00.500", "HH:MM:SS.ddd", "10:00:00:12"),
    ] {
        let text = format!("[[clip]]\nname = \"A/1.mov\"\nstart = \"{start}\"\n");
        let set = corrected(&text, nothing());
        assert_eq!(set.clock.as_ref().unwrap().form, form);
        assert_eq!(clip_label(&set), based, "{start}");
    }
}

#[test]
fn a_start_is_rejected_and_kept_as_evidence() {
    let read = pal("10:00:00:00");
    let text = "[[clip]]\nname = \"A/1.mov\"\nreject = true\nremark = \"a wall clock\"\n";
    let rejected = corrected(text, read.clone());
    assert_eq!((rejected.verdict, &rejected.start), (Verdict::None, &None));
    assert_eq!(codes(&rejected), ["rejected_by_hand"]);
    let hand = rejected.by_hand.as_ref().unwrap();
    assert_eq!(
        (hand.what, hand.read_start.as_ref()),
        (Corrected::Rejected, read.start.as_ref())
    );
    assert_eq!(withdraw(rejected), read);
}

/// As a counter of something else would read, which runs at the clip's own pace.
fn doubted(codes: &[&str]) -> ClipOutcome {
    let mut read = pal("10:00:00:00");
    read.clip.speed = 0.25;
    read.verdict = Verdict::Unsure;
    read.reasons = codes.iter().map(|&code| Note::new(code, "why")).collect();
    read
}

#[test]
fn a_start_by_another_frame_is_as_doubtful_as_the_time_between() {
    let start = "[[clip]]\nname = \"A/1.mov\"\nstart = \"10:00:10:00\"\n";
    for (code, and_with_rate) in [
        ("speed_doubtful", true),
        ("speed_unknown", true),
        ("given_speed_contradicted", true),
        ("times_wrong", true),
        ("rate_unknown", false),
        ("clock_unclear", false),
        ("given_rate_contradicted", false),
    ] {
        let read = doubted(&["few_frames", code]);
        let set = corrected(&format!("{start}frame = 40\n"), read.clone());
        assert_eq!(set.verdict, Verdict::Unsure, "{code}");
        assert_eq!(codes(&set), ["set_by_hand", code]);
        assert_eq!(withdraw(set), read);
        let set = corrected(&format!("{start}frame = 40\nrate = 25\n"), read.clone());
        assert_eq!(set.verdict == Verdict::Unsure, and_with_rate, "{code}");
        // Frame 0 is where it was seen.
        assert_eq!(corrected(start, read).verdict, Verdict::Sure);
    }
}

/// One second before 10:01:00:05 lies 10:00:59:05, or 10:00:59;03 where :00 and :01 are skipped.
#[test]
fn a_start_behind_labels_that_may_be_skipped_is_unsure() {
    let mut read = outcome(frames(Rate::F29_97, false), "10:00:59:05", Rate::F29_97, 50);
    let clock = read.clock.as_mut().unwrap();
    clock.drop_frame = None;
    clock.drop_frame_known_by = DropFrameKnownBy::Unknown;
    let at = |start: &str, more: &str| {
        let text = format!("[[clip]]\nname = \"A/1.mov\"\nstart = \"{start}\"\nframe = 30\n{more}");
        corrected(&text, read.clone())
    };
    let open = at("10:01:00:05", "");
    assert_eq!(codes(&open), ["set_by_hand", "drop_frame_unknown"]);
    let why = &open.reasons[1].sentence;
    assert!(
        why.contains("the start is 10:00:59:05, or 10:00:59;03 if"),
        "{why}"
    );
    assert_eq!(open.verdict, Verdict::Unsure);
    for (set, label_of_it) in [
        (at("10:01:00:05", "drop_frame = false\n"), "10:00:59:05"),
        (at("10:01:00:05", "drop_frame = true\n"), "10:00:59;03"),
        (at("10:01:00;05", ""), "10:00:59;03"),
        // No minute begins, or one with a label that is never skipped where labels are.
        (at("10:00:58:05", ""), "10:00:57:05"),
        (at("10:01:00:00", ""), "10:00:59:00"),
    ] {
        assert_eq!((set.verdict, label(&set)), (Verdict::Sure, label_of_it));
    }
}

/// What a person reads off the display is as late as what the fit reads off it.
#[test]
fn a_lag_moves_what_was_said_by_hand_as_it_moves_what_was_read() {
    let late = |read: ClipOutcome, lag_s: Ratio, said: &str| {
        let text = format!("[[clip]]\nname = \"A/1.mov\"\n{said}\n");
        let given = Given {
            lag_s,
            ..Given::NOTHING
        };
        let corrections = Corrections::from_text(&text).unwrap();
        let set = apply(&corrections, "A/1.mov", read, given);
        let again = json::from_bytes(&json::to_bytes(&set)).unwrap();
        assert_eq!(apply(&corrections, "A/1.mov", again, given), set);
        set
    };
    let half = Ratio::new(1, 2);
    // 10:09:17:02.5 and half a second of 25 counts.
    let set = late(nothing(), half, "start = \"10:09:17:02\"");
    assert_eq!((set.verdict, label(&set)), (Verdict::Sure, "10:09:17:15"));
    let start = set.start.as_ref().unwrap();
    assert_eq!(start.exact_lag_seconds.as_deref(), Some("1/2"));
    assert_eq!(
        set.reasons[0].sentence,
        "the start was set by hand, to 10:09:17:02, as displayed: the start lies 500 ms later"
    );
    let set = late(nothing(), half, "start = \"10:09:18:02\"\nframe = 25");
    assert_eq!(label(&set), "10:09:17:15");

    // Only how it counts is said: the lag is taken off at the rate that was read, 10 counts of 25, and
    // put on at the one that was said, 9.6.
    let mut read = pal("10:00:00:00");
    read.clock.as_mut().unwrap().rate_known_by = RateKnownBy::Assumed;
    let lag_s = Ratio::new(2, 5);
    let start = read.start.as_mut().unwrap();
    let low = 900_000 + 10;
    start.exact_count_bounds = Some([format!("{low}/1"), format!("{}/1", low + 1)]);
    start.exact_lag_seconds = Some("2/5".into());
    // The label of frame 0 is that which was seen.
    read.windows[0].first_seconds = 0.0;
    clip_base::fill(&mut read);
    let set = late(read, lag_s, "rate = 24");
    // 10 h at 24 are 864 000 counts.
    let bounds = set
        .start
        .as_ref()
        .unwrap()
        .exact_count_bounds
        .clone()
        .unwrap();
    assert_eq!(bounds, ["4320048/5", "4320053/5"]);

    // The lag may lead over labels that drop-frame skips, and hangs on the rate.
    let mut read = known_by(DropFrameKnownBy::Unknown);
    read.clock.as_mut().unwrap().drop_frame = None;
    let set = late(read.clone(), half, "start = \"10:00:59:20\"");
    assert_eq!(codes(&set), ["set_by_hand", "drop_frame_unknown"]);
    let set = late(read, half, "start = \"10:00:58:20\"");
    assert_eq!(codes(&set), ["set_by_hand"]);
    let set = late(doubted(&["rate_unknown"]), half, "start = \"10:00:58:20\"");
    assert_eq!(codes(&set), ["set_by_hand", "rate_unknown"]);
    let set = late(doubted(&["times_wrong"]), half, "start = \"10:00:58:20\"");
    assert_eq!(codes(&set), ["set_by_hand"]);
}

#[test]
fn a_name_is_that_of_the_one_clip_which_looks_alike() {
    // é as one letter, and as two; ộ in three ways.
    let (composed, decomposed) = ("A/Caf\u{e9}.mov", "A/Cafe\u{301}.mov");
    let said = |names: &[&str]| {
        let entry = |name: &&str| format!("[[clip]]\nname = \"{name}\"\nreject = true\n");
        Corrections::from_text(&names.iter().map(entry).collect::<String>()).unwrap()
    };
    let rejects = |corrections: &Corrections, name: &str| {
        apply(corrections, name, pal("10:00:00:00"), Given::NOTHING).verdict == Verdict::None
    };
    for (typed, there) in [(composed, decomposed), (decomposed, composed)] {
        let meant = said(&[typed]).meant_of([there, "A/Cafe.mov"]);
        assert!(rejects(&meant, there) && !rejects(&meant, "A/Cafe.mov"));
        assert!(meant.unused([there]).is_empty());
        // Where both are there, each is itself.
        let meant = said(&[typed]).meant_of([there, typed]);
        assert!(rejects(&meant, typed) && !rejects(&meant, there));
    }
    // Two that are meant alike, and one that is corrected by its own name.
    let three = [
        "A/o\u{323}\u{302}.mov",
        "A/o\u{302}\u{323}.mov",
        "A/\u{1ed9}.mov",
    ];
    let meant = said(&three[..1]).meant_of(three[1..].iter().copied());
    assert!(
        three
            .iter()
            .all(|name| *name == three[0] || !rejects(&meant, name))
    );
    assert_eq!(meant.unused(three[1..].iter().copied()).len(), 1);
    let meant = said(&three[..2]).meant_of([three[1]]);
    assert!(rejects(&meant, three[1]));
    assert_eq!(meant.unused([three[1]]).len(), 1);
}

#[test]
fn a_rejected_clock_says_nothing_of_the_speed_either() {
    let mut read = doubted(&["speed_doubtful"]);
    read.notes.push(Note::new("conformed", "it plays at 0.25"));
    let text = "[[clip]]\nname = \"A/1.mov\"\nreject = true\n";
    let corrections = Corrections::from_text(text).unwrap();
    for (told, speed, kept) in [
        (None, 1.0, "read_conformed"),
        (Some(Ratio::new(1, 2)), 0.5, "read_conformed"),
        (Some(Ratio::new(1, 4)), 0.25, "conformed"),
    ] {
        let given = Given {
            speed: told,
            ..Given::NOTHING
        };
        let rejected = apply(&corrections, "A/1.mov", read.clone(), given);
        assert_eq!(rejected.clip.speed, speed);
        assert!(rejected.notes.iter().any(|note| note.code == kept));
        let again = json::from_bytes(&json::to_bytes(&rejected)).unwrap();
        assert_eq!(withdraw(again), read);
    }
}

#[test]
fn a_clip_that_could_not_be_looked_at_stays_failed_when_it_is_rejected() {
    let read = without_start(Verdict::Failed, "no_index", "the file has no index");
    let rejected = corrected(
        "[[clip]]\nname = \"A/1.mov\"\nreject = true\n",
        read.clone(),
    );
    assert_eq!(rejected.verdict, Verdict::Failed);
    assert_eq!(codes(&rejected), ["no_index", "rejected_by_hand"]);
    assert_eq!(withdraw(rejected), read);
}

#[test]
fn a_correction_of_no_use_needs_a_look_whatever_was_read() {
    let text = "[[clip]]\nname = \"A/1.mov\"\nrate = 24\n";
    let told = corrected(text, nothing());
    assert_eq!(told.verdict, Verdict::None);
    assert!(told.needs_a_look() && !nothing().needs_a_look());
}

/// The digits stay where they were first seen; what follows from them changes.
#[test]
fn a_clock_is_said_to_count_drop_frame() {
    let clock = frames(Rate::F29_97, false);
    let mut read = outcome(clock, "10:00:58:28", Rate::F25, 50);
    let unknown = read.clock.as_mut().unwrap();
    unknown.drop_frame = None;
    unknown.drop_frame_known_by = DropFrameKnownBy::Unknown;
    read.verdict = Verdict::Unsure;
    read.reasons[0].code = "drop_frame_unknown".into();
    let text = "[[clip]]\nname = \"A/1.mov\"\ndrop_frame = true\n";
    let set = corrected(text, read.clone());
    assert_eq!((set.verdict, label(&set)), (Verdict::Sure, "10:00:58;28"));
    assert_eq!(set.clock.as_ref().unwrap().form, "HH:MM:SS;FF");
    // 1 080 688.5 counts of 1001/30000 s are 36 058.973 s.
    assert_eq!(clip_label(&set), "10:00:58:24");

    // What was open is not said beside the answer any more, and comes back with the question.
    let open = "nothing seen tells whether the clock counts drop-frame";
    let mut unasked = read.clone();
    unasked.notes.push(Note::new("drop_frame_open", open));
    clip_base::fill(&mut unasked);
    for text in [
        text,
        "[[clip]]\nname = \"A/1.mov\"\nstart = \"10:00:58;28\"\n",
    ] {
        let set = corrected(text, unasked.clone());
        let packet = xmp::to_bytes(&set, Admit::default()).unwrap();
        assert!(
            !String::from_utf8(packet).unwrap().contains(open),
            "{set:#?}"
        );
        assert_eq!(withdraw(set), unasked);
    }
    let start = "[[clip]]\nname = \"A/1.mov\"\nstart = \"10:00:58:28\"\n";
    let set = corrected(start, unasked);
    assert!(set.notes.iter().any(|note| note.code == "drop_frame_open"));

    // Another doubt is not settled by that.
    read.reasons[0].code = "few_frames".into();
    let set = corrected(text, read);
    assert_eq!(
        (set.verdict, codes(&set)),
        (Verdict::Unsure, vec!["set_by_hand", "few_frames"])
    );
}

#[test]
fn another_rate_moves_the_start_by_what_lies_before_the_slate() {
    let mut read = pal("10:00:00:00");
    read.windows[0].first_seconds = 10.0;
    read.clock.as_mut().unwrap().rate_known_by = RateKnownBy::Assumed;
    let set = corrected("[[clip]]\nname = \"A/1.mov\"\nrate = \"24\"\n", read);
    // Seen: 10:00:10:00 after ten seconds; at 24 counts a second that is 10:00:10:00 less 240.
    assert_eq!(label(&set), "10:00:00:00");
    assert_eq!(set.start.as_ref().unwrap().count, 864_000.5);
}

#[test]
fn a_correction_of_no_use_is_told_and_lets_nothing_be_sure() {
    for (text, read, why) in [
        (
            "start = \"10:00:00:29\"",
            pal("10:00:00:00"),
            "frames 29 is above the largest, 24",
        ),
        (
            "start = \"00:01:00;00\"",
            outcome(frames(Rate::F29_97, true), "10:00:00;00", Rate::F29_97, 50),
            "does not exist",
        ),
        (
            "drop_frame = true",
            pal("10:00:00:00"),
            "there is no drop-frame at 25",
        ),
        (
            "start = \"10:00:00:00\"\nframe = 50",
            pal("10:00:00:00"),
            "the clip has no frame 50, it ends after 2.00 s",
        ),
        (
            "rate = 24",
            pal("10:00:00:00"),
            "the digits that were read ran at 25, and at no rate near 24",
        ),
        (
            "drop_frame = false",
            known_by(DropFrameKnownBy::SkippedLabel),
            "was seen to skip labels",
        ),
        (
            "drop_frame = true",
            known_by(DropFrameKnownBy::Label),
            "showed a label that drop-frame skips",
        ),
        ("rate = 24", nothing(), "no clock was read; add `start`"),
        (
            "rate = 24",
            outcome(ClockForm::Seconds, "10:00:00", Rate::F25, 50),
            "does not count frames",
        ),
        (
            "start = \"10:00:00:00\"",
            without_start(Verdict::Failed, "no_index", "the file has no index"),
            "could not be looked at",
        ),
    ] {
        let text = format!("[[clip]]\nname = \"A/1.mov\"\n{text}\n");
        let told = corrected(&text, read.clone());
        assert_ne!(told.verdict, Verdict::Sure, "{text}");
        assert_eq!(told.reasons[0].code, "correction_unusable");
        assert!(
            told.reasons[0]
                .sentence
                .starts_with("the correction on line 2 is of no use: ")
        );
        assert!(
            told.reasons[0].sentence.contains(why),
            "{}",
            told.reasons[0].sentence
        );
        assert_eq!(withdraw(told), read);
    }
    let mut varying = nothing();
    varying.clip.variable_rate = true;
    let text = "[[clip]]\nname = \"A/1.mov\"\nstart = \"10:00:00:00\"\nframe = 3\n";
    let told = corrected(text, varying);
    assert!(
        told.reasons[0]
            .sentence
            .contains("only frame 0 has a known time")
    );
}

#[test]
fn faults_of_the_file_name_the_line_and_what_to_do() {
    for (text, message) in [
        (
            "[[clip]]\nname = \"a\"\nstart = \"ten\"\n",
            "line 3: `ten` is not a label",
        ),
        (
            "[[clip]]\nname = \"a\"\n",
            "line 2: nothing is said about this clip; add `start",
        ),
        (
            "[[clip]]\nname = \"a\"\nstrat = \"10:00:00:00\"\n",
            "line 3: unknown field `strat`",
        ),
        (
            "[[clip]]\nname = \"a\"\nstart = 10:00:00\n",
            "line 3: invalid type",
        ),
        (
            "[[clip]]\nstart = \"10:00:00\"\n",
            "line 1: missing field `name`",
        ),
        (
            "[[clip]]\nname = \"a\"\nrate = 29.98\n",
            "line 3: `29.98` is not a known rate",
        ),
        (
            "[[clip]]\nname = \"a\"\nrate = 0\n",
            "line 3: `0` is not a known rate",
        ),
        (
            "[[clip]]\nname = \"a\"\nrate = 25\ndrop_frame = true\n",
            "line 2: there is no drop-frame",
        ),
        (
            "[[clip]]\nname = \"a\"\nframe = 3\n",
            "line 2: nothing is said",
        ),
        (
            "[[clip]]\nname = \"a\"\nrate = 25\nframe = 3\n",
            "line 2: there is a `frame` and no",
        ),
        (
            "[[clip]]\nname = \"a\"\nstart = \"10:00:00:00\"\nframe = -1\n",
            "line 4: -1 is not a frame of a clip; count frames from 0",
        ),
        (
            "[[clip]]\nname = \"a\"\nstart = \"00:01:00;00\"\nrate = 29.97\n",
            "line 3: `00:01:00;00` does not exist",
        ),
        (
            "[[clip]]\nname = \"a\"\nstart = \"25:00:00:00\"\n",
            "line 3: hours 25 is above the largest, 23",
        ),
        (
            "[[clip]]\nname = \"a\"\nstart = \"10:60:00;00\"\n",
            "line 3: minutes 60 is above the largest, 59",
        ),
        (
            "[[clip]]\nname = \"a\"\nstart = \"10:00:00.5\"\nrate = 25\n",
            "line 3: a clock without frames has no frame rate",
        ),
        (
            "[[clip]]\nname = \"a\"\nstart = \"10:00:00;00\"\ndrop_frame = false\n",
            "line 3: the label has the semicolon of drop-frame",
        ),
        (
            "[[clip]]\nname = \"a\"\nreject = true\nrate = 25\n",
            "line 2: a clip cannot be rejected and",
        ),
        (
            "[[clip]]\nname = \"a\"\nreject = true\n[[clip]]\nname = \"a\"\nreject = true\n",
            "line 5: `a` was corrected on line 2 already",
        ),
        ("[[clip]\n", "line 1: "),
    ] {
        let error = Corrections::from_text(text).unwrap_err();
        assert_eq!(error.kind(), ErrorKind::BadRequest);
        assert!(
            error.to_string().starts_with(message),
            "{error}\nfor {text}"
        );
        if !message.contains("no drop-frame") && !message.contains("known rate") {
            assert!(error.advice().is_some(), "{error}");
        }
    }
}

#[test]
fn corrections_of_no_clip_are_reported_with_the_clip_that_was_meant() {
    let text =
        "[[clip]]\nname = \"1.MOV\"\nreject = true\n[[clip]]\nname = \"x.mov\"\nreject = true\n";
    let corrections = Corrections::from_text(text).unwrap();
    let unused = corrections.unused(["A/1.mov", "A/2.mov"]);
    assert_eq!(unused.len(), 2);
    assert_eq!(
        unused[0].sentence,
        "line 2: no clip is named `1.MOV`; did you mean `A/1.mov`?"
    );
    assert!(
        unused[1]
            .sentence
            .starts_with("line 5: no clip is named `x.mov`; write")
    );
    assert_eq!(corrections.unused(["1.MOV", "x.mov"]), []);
    // What a screen or a page shows of a name that neither can: the advice, followed, works.
    let name = "new\nli\u{1b}ne \"7\".mov";
    for shown in [
        "new\u{fffd}li\u{fffd}ne \\\"7\\\".mov",
        "new\u{240a}li\u{241b}ne \\\"7\\\".mov",
    ] {
        let text = format!("[[clip]]\nname = \"{shown}\"\nreject = true\n");
        let unused = Corrections::from_text(&text).unwrap().unused([name]);
        let (_, meant) = unused[0].sentence.split_once("did you mean ").unwrap();
        let meant = meant.trim_end_matches('?');
        assert_eq!(meant, r#""new\nli\u001Bne \"7\".mov""#);
        let text = format!("[[clip]]\nname = {meant}\nreject = true\n");
        assert_eq!(Corrections::from_text(&text).unwrap().unused([name]), []);
    }
    assert!(
        Corrections::from_text("# nothing yet\n")
            .unwrap()
            .is_empty()
    );
    // As some editors save text: a byte order mark, and lines that end in CR LF.
    let saved = format!("\u{feff}{}", text.replace('\n', "\r\n"));
    assert_eq!(Corrections::from_text(&saved).unwrap(), corrections);
}

#[test]
fn corrected_outcomes_satisfy_the_json_reader() {
    let text = "[[clip]]\nname = \"A/1.mov\"\nstart = \"10:00:00:00\"\n";
    let set = corrected(text, pal("11:00:00:00"));
    assert_eq!(json::from_bytes(&json::to_bytes(&set)).unwrap(), set);
}

/// Lines of the kind that a file may hold, good and bad.
fn any_line() -> impl Strategy<Value = String> {
    prop_oneof![
        Just("[[clip]]".to_owned()),
        Just("name = \"A/1.mov\"".to_owned()),
        "name = \"[ -~]{0,6}\"",
        "start = \"[0-2][0-9]:[0-5][0-9]:[0-5][0-9][:;.,]?[0-9]{0,4}\"",
        "start = \"\\PC{0,14}\"",
        "frame = -?[0-9]{1,19}",
        "rate = \"?[0-9]{1,5}(\\.|/)?[0-9]{0,5}\"?",
        prop::sample::select(vec![
            "drop_frame = true".to_owned(),
            "drop_frame = false".to_owned(),
            "reject = true".to_owned(),
            "rate = 29.97".to_owned(),
            "remark = \"why\"".to_owned(),
        ]),
        "\\PC{0,20}",
    ]
}

fn any_read() -> impl Strategy<Value = ClipOutcome> {
    (
        0usize..6,
        prop::sample::select(Rate::TRADE.to_vec()),
        any::<bool>(),
    )
        .prop_map(|(kind, rate, varies)| {
            let mut read = match kind {
                0 => nothing(),
                1 => outcome(frames(Rate::F29_97, true), "23:59:59;29", rate, 50),
                2 => outcome(frames(Rate::F29_97, false), "00:00:00:00", rate, 50),
                3 => outcome(ClockForm::Thousandths, "10:00:00.000", rate, 50),
                4 => unsure(outcome(frames(Rate::F24, false), "10:00:00:00", rate, 50)),
                _ => without_start(Verdict::Failed, "no_index", "the file has no index"),
            };
            read.clip.variable_rate = varies;
            if kind == 0 && varies {
                read.clip.rate = None;
            }
            read
        })
}

proptest! {
    #[test]
    fn any_text_is_read_or_refused(text in "\\PC*") {
        let _ = Corrections::from_text(&text);
    }

    #[test]
    fn any_file_does_what_it_says_or_nothing(
        lines in prop::collection::vec(any_line(), 1..4),
        is_about_the_clip in prop::bool::weighted(0.8),
        read in any_read(),
    ) {
        let head = if is_about_the_clip { "[[clip]]\nname = \"A/1.mov\"\n" } else { "" };
        let text = format!("{head}{}", lines.join("\n"));
        let Ok(corrections) = Corrections::from_text(&text) else {
            return Ok(());
        };
        let once = apply(&corrections, "A/1.mov", read.clone(), Given::NOTHING);
        prop_assert_eq!(apply(&corrections, "A/1.mov", once.clone(), Given::NOTHING), once.clone());
        prop_assert_eq!(withdraw(once), read);
    }

    /// Files that are well formed, so that most cases reach the arithmetic.
    #[test]
    fn whatever_is_set_comes_out_as_it_was_said(
        (h, m, s, f) in (0u8..24, 0u8..60, 0u8..60, 0u16..130),
        frame in 0i64..10_000_000,
        rate in prop::option::of(prop::sample::select(Rate::TRADE.to_vec())),
        drop_frame in any::<Option<bool>>(),
        read in any_read(),
    ) {
        let mut text = format!(
            "[[clip]]\nname = \"A/1.mov\"\nstart = \"{h:02}:{m:02}:{s:02}:{f:02}\"\nframe = {frame}\n"
        );
        if let Some(rate) = rate {
            text += &format!("rate = \"{rate}\"\n");
        }
        if let Some(drop_frame) = drop_frame {
            text += &format!("drop_frame = {drop_frame}\n");
        }
        let Ok(corrections) = Corrections::from_text(&text) else {
            return Ok(());
        };
        let set = apply(&corrections, "A/1.mov", read.clone(), Given::NOTHING);
        prop_assert_eq!(apply(&corrections, "A/1.mov", set.clone(), Given::NOTHING), set.clone());
        if set.verdict == Verdict::Sure && frame == 0 {
            prop_assert_eq!(label(&set).replace(';', ":"), format!("{h:02}:{m:02}:{s:02}:{f:0w$}", w = label(&set).len() - 9));
        }
        prop_assert_eq!(withdraw(set), read);
    }
}
