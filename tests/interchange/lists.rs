//! Edit decision lists, read by OpenTimelineIO's reader of CMX 3600 lists, and the
//! table, read by Python's csv module. The reader of lists knows neither how long a
//! reel name may be nor what FCM lines say; those are held here.

use crate::cards::{card, frames, mixed, named, outcome, unsure, without_start};
use crate::readers::check;
use proptest::prelude::*;
use rollmark::outcome::{ByHand, CardClip, CardOutcome, Corrected, Estimate, Verdict};
use rollmark::sidecar::{Admit, csv, edl, xmp};
use rollmark::timecode::{ClockForm, Rate};
use serde_json::json;
use std::collections::BTreeSet;

fn lists(card: &CardOutcome) -> Vec<(String, String)> {
    let text = |bytes| String::from_utf8(bytes).unwrap();
    let files = edl::to_files(card, Admit::default());
    files
        .into_iter()
        .map(|(name, bytes)| (name, text(bytes)))
        .collect()
}

/// Event lines as fields: number, reel, track, cut, source in and out, record in and out.
fn events(list: &str) -> Vec<Vec<&str>> {
    list.lines()
        .filter(|line| line.starts_with(|c: char| c.is_ascii_digit()))
        .map(|line| line.split_whitespace().collect())
        .collect()
}

fn reels(card: &CardOutcome) -> Vec<String> {
    let lists = lists(card);
    let reels = lists.iter().flat_map(|(_, list)| events(list));
    reels.map(|event| event[1].to_owned()).collect()
}

fn drop_frame_clip(name: &str, label: &str) -> CardClip {
    let clock = frames(Rate::F29_97, true);
    named(name, 0, outcome(clock, label, Rate::F29_97, 10))
}

/// Ten frames from 00:00:59;28 end, exclusively, at 00:01:00;10, since two labels are
/// skipped; ten from 00:59:59;28 at 01:00:00;08, since the hour is a tenth minute.
#[test]
fn outs_are_exclusive_and_count_the_skipped_labels() {
    let card = card(
        &["A"],
        vec![
            drop_frame_clip("A001C003_1124.mov", "00:00:59;28"),
            drop_frame_clip("A001C003_1125.mov", "00:59:59;28"),
        ],
    );
    let lists = lists(&card);
    let (name, list) = &lists[0];
    assert_eq!((lists.len(), name.as_str()), (1, "timeline.edl"));
    let events = events(list);
    assert_eq!(
        events[0][4..],
        ["00:00:59;28", "00:01:00;10", "01:00:00;00", "01:00:00;10"]
    );
    assert_eq!(
        events[1][4..],
        ["00:59:59;28", "01:00:00;08", "01:00:00;10", "01:00:00;20"]
    );
    assert_eq!(list.matches("FCM: DROP FRAME\r\n").count(), 1);
    assert!(!list.contains("NON-DROP"));
    assert!(list.contains("* FROM CLIP NAME: A001C003_1124.mov\r\n"));
    assert!(list.lines().count() == list.matches("\r\n").count());

    let rate = Rate::F29_97.ratio();
    let rate = rate.num() as f64 / rate.den() as f64;
    let read = check("edl", list.as_bytes(), &[&rate.to_string()]);
    let items = &read["tracks"][0]["items"];
    for (i, (name, start)) in [
        ("A001C003_1124.mov", 1798.0),
        ("A001C003_1125.mov", 107_890.0),
    ]
    .into_iter()
    .enumerate()
    {
        assert_eq!(items[i]["name"], name);
        let range = json!({"start": [start, rate], "duration": [10.0, rate]});
        assert_eq!(items[i]["source"], range);
        assert_eq!(items[i]["reel"], events[i][1]);
    }
}

#[test]
fn a_line_of_frame_code_stands_at_each_change_of_mode_and_nowhere_else() {
    let non_drop = |name, label| {
        let clock = frames(Rate::F29_97, false);
        named(name, 0, outcome(clock, label, Rate::F29_97, 30))
    };
    let card = card(
        &["A"],
        vec![
            drop_frame_clip("1.mov", "10:00:00;00"),
            drop_frame_clip("2.mov", "10:01:00;02"),
            non_drop("3.mov", "11:00:00:00"),
            non_drop("4.mov", "11:10:00:00"),
            drop_frame_clip("5.mov", "12:00:00;00"),
        ],
    );
    let lists = lists(&card);
    let modes: Vec<&str> = lists[0]
        .1
        .lines()
        .filter(|line| line.starts_with("FCM"))
        .collect();
    assert_eq!(
        modes,
        ["FCM: DROP FRAME", "FCM: NON-DROP FRAME", "FCM: DROP FRAME"]
    );
    for event in events(&lists[0].1) {
        let is_drop_frame = ["001", "002", "005"].contains(&event[0]);
        assert_eq!(event[4].contains(';'), is_drop_frame);
        assert_eq!(event[5].contains(';'), is_drop_frame);
        assert!(event[6].contains(';'), "the record side keeps its own mode");
    }
}

#[test]
fn each_rate_has_a_list_and_the_commonest_is_the_main_one() {
    let lists = lists(&mixed());
    let names: Vec<_> = lists.iter().map(|(name, _)| name.as_str()).collect();
    assert_eq!(
        names,
        ["timeline.edl", "timeline_29.97.edl", "timeline_59.94.edl"]
    );
    assert!(
        lists[0]
            .1
            .starts_with("TITLE: ROLLMARK\r\nFCM: NON-DROP FRAME\r\n001  ")
    );
    assert!(
        lists[0]
            .1
            .contains("* NOT LISTED: B/broken.mov: not looked at: the file has no index\r\n")
    );
    assert_eq!(lists[0].1.matches("* FRAME RATE: 25\r\n").count(), 1);
    for (list, rate) in [(0, 25.0), (1, 30000.0 / 1001.0), (2, 60000.0 / 1001.0)] {
        let read = check("edl", lists[list].1.as_bytes(), &[&format!("{rate}")]);
        let read: usize = read["tracks"][0]["items"].as_array().unwrap().len();
        assert_eq!(read, events(&lists[list].1).len());
    }
    // Record sides run on without holes.
    for (_, list) in &lists {
        let events = events(list);
        for pair in events.windows(2) {
            assert_eq!(pair[0][7], pair[1][6]);
        }
    }
}

#[test]
fn what_a_list_cannot_hold_is_named_in_it() {
    let fast = frames(Rate::F120, false);
    let odd = Rate::new(25, 2).unwrap();
    let card = card(
        &["A"],
        vec![
            named("fast.mov", 0, outcome(fast, "10:00:00:000", Rate::F120, 12)),
            named("odd.mov", 0, outcome(fast, "10:00:00:000", odd, 12)),
        ],
    );
    let lists = lists(&card);
    assert_eq!(lists.len(), 1);
    assert!(events(&lists[0].1).is_empty());
    assert!(
        lists[0]
            .1
            .contains("fast.mov: at 120 frames a second labels need three")
    );
    assert!(
        lists[0]
            .1
            .contains("odd.mov: 12.5 frames a second have no timecode base")
    );
}

/// The independent reader refuses a list with an out before its in.
#[test]
fn a_clip_that_rolls_through_midnight_spoils_no_other_list() {
    let clock = frames(Rate::F25, false);
    let clip = |name, label| named(name, 0, outcome(clock, label, Rate::F25, 10));
    let through = || clip("a.mov", "23:59:59:20");
    let alone = lists(&card(&["A"], vec![through()]));
    assert_eq!((alone.len(), alone[0].0.as_str()), (1, "timeline.edl"));
    assert_eq!(
        events(&alone[0].1)[0][4..],
        ["23:59:59:20", "00:00:00:05", "01:00:00:00", "01:00:00:10"]
    );
    assert!(alone[0].1.contains("* SOURCE PASSES MIDNIGHT"));

    let before = clip("b.mov", "23:59:59:14");
    let two = lists(&card(&["A"], vec![through(), before]));
    let names: Vec<_> = two.iter().map(|(name, _)| name.as_str()).collect();
    assert_eq!(names, ["timeline.edl", "timeline_midnight.edl"]);
    assert_eq!(events(&two[0].1)[0][4..6], ["23:59:59:14", "23:59:59:24"]);
    check("edl", two[0].1.as_bytes(), &["25"]);
    assert_eq!(events(&two[1].1).len(), 1);
}

/// Three digits number an event, and the record side ends before midnight.
#[test]
fn long_cards_go_on_in_another_part() {
    let clip = |i: i64, length| {
        let label = ClockForm::Seconds.text(i);
        named(
            &format!("{i:04}.mov"),
            0,
            outcome(ClockForm::Seconds, &label, Rate::F25, length),
        )
    };
    let many = lists(&card(&["A"], (0..1001).map(|i| clip(i * 60, 25)).collect()));
    assert_eq!(many.len(), 2);
    assert_eq!(
        (events(&many[0].1).len(), events(&many[1].1).len()),
        (999, 2)
    );
    assert_eq!(many[1].0, "timeline_part2.edl");
    assert_eq!(events(&many[1].1)[0][0], "001");
    let ten_hours = 10 * 3600 * 25;
    let long = lists(&card(&["A"], (0..3).map(|i| clip(i, ten_hours)).collect()));
    assert_eq!((events(&long[0].1).len(), events(&long[1].1).len()), (2, 1));
    assert_eq!(events(&long[0].1)[1][7], "21:00:00:00");
}

/// A reel stays the same whatever else lies on the card, as far as names allow.
#[test]
fn reels_keep_names_that_fit_and_never_share_one() {
    let names = [
        "A001C003_1124.mov",
        "A001C003_1125.mov",
        "a001c003 take 2.mov",
        "\u{dc}ber-caf\u{e9}.mov",
        "P1000042.MOV",
        "C0007.MP4",
        "100/C0008.MP4",
        "101/C0008.MP4",
        "\u{6620}\u{50cf}.mov",
    ];
    let clips: Vec<CardClip> = names
        .iter()
        .enumerate()
        .map(|(i, name)| drop_frame_clip(name, &format!("10:0{i}:30;00")))
        .collect();
    let all = reels(&card(&["A"], clips.clone()));
    assert_eq!(all.iter().collect::<BTreeSet<_>>().len(), names.len());
    for reel in &all {
        let is_plain = |c: char| c.is_ascii_uppercase() || c.is_ascii_digit();
        assert!(reel.len() == 8 && reel.chars().all(is_plain), "{reel}");
    }
    assert_eq!((all[4].as_str(), all[5].as_str()), ("P1000042", "C0007000"));
    let reversed = reels(&card(&["A"], clips.iter().rev().cloned().collect()));
    assert_eq!(reversed, all, "events lie in the order of the clock");
    let alone = reels(&card(&["A"], vec![clips[1].clone()]));
    assert_eq!(alone[0], all[1]);
}

#[test]
fn marks_of_doubt_and_of_hands_stand_in_comments() {
    let mut by_hand = outcome(frames(Rate::F25, false), "10:00:00:00", Rate::F25, 10);
    let hand = ByHand {
        what: Corrected::Set,
        says_start: true,
        remark: "from the\r\nnotes".into(),
        read_verdict: Verdict::None,
        read_start: None,
        read_clock: None,
        read_speed: None,
    };
    by_hand.by_hand = Some(hand.clone());
    let marks = |what, says_start| {
        let mut clip = by_hand.clone();
        clip.by_hand = Some(ByHand {
            what,
            says_start,
            ..hand.clone()
        });
        let packet = xmp::to_bytes(&clip, Admit::default()).unwrap();
        let lists = lists(&card(&["A"], vec![named("a.mov", 0, clip)]));
        [lists[0].1.clone(), String::from_utf8(packet).unwrap()]
    };
    for (what, says_start, marked) in [
        (Corrected::Set, true, Some("start set by hand")),
        (Corrected::Set, false, Some("clock set by hand")),
        (Corrected::Unusable, true, None),
    ] {
        for text in marks(what, says_start).map(|text| text.to_lowercase()) {
            let has = |mark: &str| text.contains(mark);
            assert_eq!(has("set by hand"), marked.is_some(), "{text}");
            assert!(marked.is_none_or(has), "{text}");
        }
    }
    let doubtful = unsure(outcome(
        frames(Rate::F25, false),
        "11:00:00:00",
        Rate::F25,
        10,
    ));
    let card = card(
        &["A"],
        vec![named("a.mov", 0, by_hand), named("b.mov", 0, doubtful)],
    );
    let files = edl::to_files(&card, Admit { unsure: true });
    let list = String::from_utf8(files[0].1.clone()).unwrap();
    assert!(list.contains("* START SET BY HAND: from the__notes\r\n"));
    assert!(list.contains("* START UNSURE: only 4 frames show the clock\r\n"));
    assert!(
        lists(&card)[0]
            .1
            .contains("* NOT LISTED: b.mov: unsure: only 4 frames")
    );
}

fn rows(card: &CardOutcome) -> Vec<Vec<String>> {
    serde_json::from_value(check("csv", &csv::to_bytes(card), &[])).unwrap()
}

#[test]
fn the_table_has_a_row_a_clip_and_every_column_is_explained() {
    let card = mixed();
    let rows = rows(&card);
    assert_eq!(rows[0], csv::COLUMNS);
    assert_eq!(rows.len(), card.clips.len() + 1);
    assert!(rows.iter().all(|row| row.len() == csv::COLUMNS.len()));
    let cell = |row: usize, head: &str| {
        let column = csv::COLUMNS.iter().position(|c| *c == head).unwrap();
        rows[row][column].as_str()
    };
    assert_eq!(cell(1, "clip_label"), "10:00:00:00");
    assert_eq!(
        (cell(1, "seconds"), cell(1, "seconds_either_way")),
        ("36000.020000", "0.020000")
    );
    assert_eq!(
        (cell(5, "clock_label"), cell(5, "clip_drop_frame")),
        ("10:00:59;28", "yes")
    );
    assert_eq!((cell(4, "verdict"), cell(4, "clip_label")), ("none", ""));
    assert_eq!(cell(4, "reasons"), "no digits were seen");
    assert_eq!(cell(7, "name"), "B/50 % \"take\" #2, \u{fc}.mov");
    let page = std::fs::read_to_string(crate::root().join("docs/interchange.md")).unwrap();
    for column in csv::COLUMNS {
        assert!(page.contains(&format!("| `{column}` |")), "{column}");
    }
}

#[test]
fn the_table_says_no_seconds_of_a_clock_that_leaves_drop_frame_open() {
    let mut open = outcome(frames(Rate::F29_97, false), "10:00:00:00", Rate::F29_97, 50);
    open.clock.as_mut().unwrap().drop_frame = None;
    let rows = rows(&card(&["A"], vec![named("a.mov", 0, open)]));
    let cell = |head: &str| &rows[1][csv::COLUMNS.iter().position(|c| *c == head).unwrap()];
    assert_eq!(cell("clip_label"), "10:00:00:00");
    assert_eq!(cell("clock_drop_frame"), "");
    assert_eq!(
        (&**cell("seconds"), &**cell("seconds_either_way")),
        ("", "")
    );
}

/// The clock's own day: 24 hours of 29.97 labels without drop-frame last 86 486.4 s.
#[test]
fn an_estimate_stays_in_the_day_of_its_clock_and_no_doubt_is_rounded_away() {
    for (seconds, [low, high], told, either_way) in [
        (86_450.5, [86_440.5, 86_460.5], "86450.5", "10.000"),
        (86_486.399_9, [86_480.4, 86_492.4], "86486.3999", "6.000"),
        (
            86_399.999_9,
            [86_399.0, 86_400.999_2],
            "86399.9999",
            "1.000",
        ),
        (0.0, [-2.0, 2.0], "0", "2.000"),
    ] {
        let mut lost = without_start(Verdict::None, "no_display", "no digits were seen");
        lost.estimate = Some(Estimate {
            seconds,
            seconds_bounds: [low, high],
            sentence: "probably near there".into(),
            rests_on: Vec::new(),
        });
        let rows = rows(&card(&["A"], vec![named("1.mov", 0, lost)]));
        let column = |head| csv::COLUMNS.iter().position(|c| *c == head).unwrap();
        assert_eq!(rows[1][column("estimate_seconds")], told);
        assert_eq!(rows[1][column("estimate_either_way")], either_way);
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(16))]

    /// Read back by another reader, the table holds what was meant, and no cell begins
    /// like a formula.
    #[test]
    fn no_name_breaks_the_table_or_runs_as_a_formula(
        names in prop::collection::vec("[=+@\\-\t\r\n;,\"'a\u{e9}]{1,8}", 1..8),
    ) {
        let nothing = || without_start(Verdict::None, "no_display", "no, \"digits\"\nwere seen");
        let clips = names.iter().map(|name| named(name, 0, nothing())).collect();
        let card = card(&["=A"], clips);
        let rows = rows(&card);
        for (row, name) in rows[1..].iter().zip(&names) {
            let marked = format!("'{name}");
            prop_assert!(row[0] == *name || row[0] == marked);
            prop_assert_eq!(row[1].as_str(), "'=A");
            for cell in row {
                prop_assert!(!cell.starts_with(['=', '+', '-', '@', '\t', '\r']), "{:?}", cell);
            }
        }
    }
}
