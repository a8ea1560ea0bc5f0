use super::*;
use rollmark::error::{Error, ErrorKind};
use rollmark::outcome::{ByHand, Corrected, DropFrameKnownBy, RateKnownBy, Start, Tool, Window};

fn failed(name: &str) -> Row<'static> {
    let tool = Tool {
        name: "rollmark".into(),
        version: "0.1.0".into(),
        model: "00".repeat(32),
    };
    let error = Error::new(ErrorKind::Empty, "the file is empty").next("copy it again");
    Row {
        name: name.into(),
        outcome: Cow::Owned(ClipOutcome::failed(Path::new(name), &error, tool)),
    }
}

fn window(first_seconds: f64, last_seconds: f64) -> Window {
    Window {
        first_frame: None,
        last_frame: None,
        first_seconds,
        last_seconds,
        frames_read: 50,
        frames_agreeing: 50,
        quad: [[0.0; 2]; 4],
    }
}

/// A clip at 25 frames per second whose clock runs at 29.97, drop-frame.
fn sure(name: &str) -> Row<'static> {
    let mut row = failed(name);
    let outcome = row.outcome.to_mut();
    outcome.verdict = Verdict::Sure;
    outcome.reasons = vec![Note::new("agreement", "50 of 50 frames agree")];
    outcome.start = Some(Start {
        label: "10:00:00;12".into(),
        count: 1_078_932.0,
        count_bounds: [1_078_931.9, 1_078_932.1],
        seconds: 36_000.0,
        seconds_bounds: [35_999.997, 36_000.003],
        exact_count_bounds: None,
        in_clip_base: None,
        inherited_from: None,
        exact_lag_seconds: None,
    });
    outcome.clock = Some(Clock {
        form: "HH:MM:SS;FF".into(),
        rate: "30000/1001".into(),
        rate_known_by: RateKnownBy::Measured,
        drop_frame: Some(true),
        drop_frame_known_by: DropFrameKnownBy::Mark,
        refresh_hz: None,
        drift_ppm_bounds: None,
    });
    outcome.clip.rate = Some("25/1".into());
    outcome.windows = vec![window(1.24, 63.36)];
    row
}

fn unsure(name: &str, sentence: &str) -> Row<'static> {
    let mut row = sure(name);
    row.outcome.to_mut().verdict = Verdict::Unsure;
    row.outcome.to_mut().reasons = vec![Note::new("few_frames", sentence)];
    row
}

fn none(name: &str) -> Row<'static> {
    let mut row = failed(name);
    row.outcome.to_mut().verdict = Verdict::None;
    row.outcome.to_mut().reasons = vec![Note::new("no_clock", "no running clock was seen")];
    row
}

fn shown(rows: &[Row], width: Option<usize>) -> String {
    whole(&Table {
        rows,
        closing: Closing::Read { sidecars: None },
        look: Look {
            in_colour: false,
            width,
        },
    })
}

fn whole(table: &Table<'_>) -> String {
    table.rows() + &table.summary()
}

#[test]
fn a_sure_clip_has_one_row_with_all_it_needs() {
    let text = shown(&[sure("A001.mov")], None);
    let lines: Vec<_> = text.lines().collect();
    assert_eq!(
        lines,
        [
            "clip      verdict  start        clock       ± frames  seen at",
            "A001.mov  sure     10:00:00;12  29.97 drop      0.08  0:01.2-1:03.4",
            "",
            "1 clip: 1 sure.",
        ]
    );
}

#[test]
fn the_reason_stands_below_its_clip_and_the_advice_at_the_end() {
    let rows = [
        unsure("A001.mov", "only 4 frames show the clock"),
        sure("A002.mov"),
        none("A003.mov"),
        failed("A004.mov"),
    ];
    let text = shown(&rows, Some(80));
    let lines: Vec<_> = text.lines().collect();
    assert!(lines[1].starts_with("A001.mov  unsure"));
    assert_eq!(lines[2], "     Only 4 frames show the clock.");
    assert!(lines[3].starts_with("A002.mov  sure"));
    assert_eq!(lines[4], "A003.mov  none");
    assert_eq!(lines[5], "     No running clock was seen.");
    assert_eq!(lines[6], "A004.mov  failed");
    assert_eq!(lines[7], "     The file is empty; copy it again.");
    assert_eq!(
        lines[9],
        "4 clips: 1 sure, 1 unsure, 1 without a running clock, 1 failed."
    );
    let advice: Vec<_> = lines[10..]
        .iter()
        .filter_map(|l| l.split_once(": "))
        .collect();
    let of: Vec<_> = advice.iter().map(|(verdict, _)| *verdict).collect();
    assert_eq!(of, ["Unsure", "No running clock", "Failed"]);
}

#[test]
fn a_clip_that_was_rejected_by_hand_is_told_as_such_and_needs_no_advice() {
    let mut rejected = none("A003.mov");
    rejected.outcome.to_mut().by_hand = Some(ByHand {
        what: Corrected::Rejected,
        says_start: false,
        remark: String::new(),
        read_verdict: Verdict::Sure,
        read_start: None,
        read_clock: None,
        read_speed: None,
    });
    let text = shown(&[sure("A002.mov"), rejected], Some(80));
    assert!(
        text.ends_with("2 clips: 1 sure, 1 rejected by hand.\n"),
        "{text}"
    );
}

#[test]
fn nothing_is_wider_than_the_terminal() {
    let rows = [
        sure("2024-05-17_second-unit_camera-B_A001C003_take_0012.mov"),
        unsure(
            "現場の映像素材とても長い名前のクリップ第十二番_0013.mov",
            "the digits of the hours were covered in every frame in which the clock was seen, \
             so the start may be off by whole hours; look at the clip, or film the slate again",
        ),
    ];
    for width in [80, 100, 120] {
        let text = shown(&rows, Some(width));
        let table = text.split("\n\n").next().unwrap();
        for line in table.lines() {
            assert!(
                columns(line) <= width,
                "{} > {width}: {line}",
                columns(line)
            );
        }
        assert!(table.contains("_0012.mov"), "the number at the end stays");
        assert!(table.contains("_0013.mov"), "the number at the end stays");
    }
}

#[test]
fn names_are_whole_where_there_is_no_terminal() {
    let long = "a".repeat(300);
    assert!(shown(&[sure(&long)], None).contains(&long));
}

#[test]
fn control_characters_in_a_reason_do_not_reach_the_terminal() {
    let text = shown(&[unsure("A.mov", "the tag says \u{1b}[2J\u{7}")], Some(80));
    assert!(
        !text.contains('\u{1b}') && !text.contains('\u{7}'),
        "{text}"
    );
}

#[test]
fn colour_comes_only_where_it_is_wanted() {
    let rows = [sure("A001.mov")];
    let table = |in_colour| {
        whole(&Table {
            rows: &rows,
            closing: Closing::Read { sidecars: None },
            look: Look {
                in_colour,
                width: Some(100),
            },
        })
    };
    assert!(table(true).contains('\u{1b}'));
    assert!(!table(false).contains('\u{1b}'));
}

#[test]
fn the_folder_of_the_sidecars_is_named_last() {
    let text = whole(&Table {
        rows: &[sure("A001.mov")],
        closing: Closing::Read {
            sidecars: Some(Path::new("starts")),
        },
        look: Look {
            in_colour: false,
            width: None,
        },
    });
    assert!(text.ends_with("\nSidecars: starts\n"), "{text}");
}

#[test]
fn the_clock_is_named_by_what_it_counts() {
    let mut clock = sure("A").outcome.into_owned().clock.unwrap();
    let words = |clock: &Clock| clock_words(clock);
    assert_eq!(words(&clock), "29.97 drop");
    clock.drop_frame = None;
    assert_eq!(words(&clock), "29.97 drop?");
    clock.drop_frame = Some(false);
    assert_eq!(words(&clock), "29.97");
    clock.drop_frame = None;
    clock.rate = "24000/1001".into();
    assert_eq!(words(&clock), "23.976");
    clock.form = "HH:MM:SS.dd".into();
    clock.rate = "100/1".into();
    assert_eq!(words(&clock), "1/100 s");
}

#[test]
fn bounds_are_in_frames_of_the_clip() {
    let mut row = sure("A");
    let half = |row: &Row| row.outcome.either_way().map(|way| way.width);
    // 3 ms either way, at 25 frames per second.
    approx::assert_relative_eq!(half(&row).unwrap(), 0.075, max_relative = 1e-6);
    // Filmed at four times the rate it plays at: frames lie four times closer.
    row.outcome.to_mut().clip.speed = 0.25;
    approx::assert_relative_eq!(half(&row).unwrap(), 0.3, max_relative = 1e-6);
    // Without a rate of the clip: counts of the clock.
    row.outcome.to_mut().clip.speed = 1.0;
    row.outcome.to_mut().clip.rate = None;
    approx::assert_relative_eq!(
        half(&row).unwrap(),
        0.003 * 30_000.0 / 1001.0,
        max_relative = 1e-6
    );
}

#[test]
fn times_in_a_clip_are_minutes_and_seconds() {
    assert_eq!(minutes(0.0), "0:00.0");
    assert_eq!(minutes(59.96), "1:00.0");
    assert_eq!(minutes(3_725.25), "62:05.3");
}

#[test]
fn several_windows_show_the_first_and_how_many_more() {
    let mut row = sure("A");
    row.outcome.to_mut().windows.push(window(590.0, 592.0));
    assert_eq!(seen_at(&row.outcome), "0:01.2-1:03.4 +1");
}

#[test]
fn names_are_cut_in_the_middle() {
    assert_eq!(shortened("A001C003.mov", 12), "A001C003.mov");
    assert_eq!(shortened("A001C003_long_0012.mov", 16), "A001C…g_0012.mov");
    assert_eq!(columns(&shortened(&"映".repeat(40), 17)), 15);
}

/// The summary of a card that took 185 seconds.
fn card_summary(rows: &[Row], notes: &[Note], not_read: usize, width: Option<usize>) -> String {
    let table = Table {
        rows,
        closing: Closing::Card {
            out: Path::new("my results"),
            notes,
            resumed: 1,
            not_read,
            took: Duration::from_secs(185),
            has_report: not_read == 0,
        },
        look: Look {
            in_colour: false,
            width,
        },
    };
    table.summary()
}

#[test]
fn a_card_ends_with_its_report_and_how_long_it_took() {
    let rows = [sure("A001.mov"), sure("A002.mov")];
    let notes = [Note::new("chapter_missing", "chapter 2 of 0042 is missing")];
    assert_eq!(
        card_summary(&rows, &notes, 0, None),
        "2 clips: 2 sure. 1 of them from an earlier run. It took 3 min 05 s.\n\
         Chapter 2 of 0042 is missing.\n\
         Open my results/report.html to see what each start rests on.\n"
    );
    assert!(card_summary(&rows[..1], &[], 0, None).contains(" All from an earlier run. "));
}

#[test]
fn a_run_that_ended_early_counts_what_it_did_not_come_to_and_says_so_once() {
    let notes = [
        Note::new("output_failed", "the run ended early; run it again"),
        Note::new(NOT_WRITTEN, "a.json: cannot write this file"),
    ];
    assert_eq!(
        card_summary(&[sure("A001.mov"), failed("A002.mov")], &notes, 12, None),
        "14 clips: 1 sure, 1 failed, 12 not read. 1 of them from an earlier run. It took \
         3 min 05 s.\nThe run ended early; run it again.\n"
    );
}

#[test]
fn a_card_without_clips_has_no_empty_table() {
    let notes = [Note::new("no_clips", "no clip was found")];
    let text = card_summary(&[], &notes, 0, None);
    assert!(text.starts_with("0 clips. "), "{text}");
    assert!(
        text.ends_with(
            "No clip was found.\nOpen my results/report.html to see what was passed over.\n"
        ),
        "{text}"
    );
    assert_eq!(shown(&[], None).lines().next(), Some("0 clips."));
}

#[test]
fn the_summary_is_no_wider_than_the_terminal_and_keeps_paths_whole() {
    let notes = [Note::new("no_clips", "word ".repeat(40))];
    let text = card_summary(&[sure("A.mov"), failed("B.mov")], &notes, 0, Some(40));
    let (rest, path) = text.trim_end().rsplit_once('\n').unwrap();
    assert!(rest.lines().all(|line| columns(line) < 40), "{rest}");
    assert!(path.contains("my results/report.html"), "{path}");
}

#[test]
fn times_are_told_in_the_unit_that_fits() {
    let told = |millis| duration(Duration::from_millis(millis));
    assert_eq!(told(3), "0.1 s");
    assert_eq!(told(840), "0.8 s");
    assert_eq!(told(42_000), "42 s");
    assert_eq!(told(185_000), "3 min 05 s");
    assert_eq!(told(7_800_000), "2 h 10 min");
}
