//! OpenTimelineIO, read by its reference library.

use crate::cards::{card, frames, mixed, named, outcome, outcome_at, unsure};
use crate::readers::check;
use proptest::prelude::*;
use rollmark::clip_base;
use rollmark::outcome::CardOutcome;
use rollmark::sidecar::{Admit, otio};
use rollmark::timecode::{ClockForm, Rate, Ratio};
use serde_json::{Value, json};

fn bytes(card: &CardOutcome) -> Vec<u8> {
    otio::to_bytes(card, &otio::Options::default())
}

fn read(card: &CardOutcome) -> Value {
    check("otio", &bytes(card), &[])
}

fn written(card: &CardOutcome) -> Value {
    serde_json::from_slice(&bytes(card)).unwrap()
}

/// Names of the clips, track by track.
fn clip_names(timeline: &Value) -> Vec<Vec<String>> {
    let names = |track: &Value| {
        let items = track["items"].as_array().unwrap();
        let clips = items.iter().filter(|item| item["kind"] == "Clip");
        clips
            .map(|clip| clip["name"].as_str().unwrap().to_owned())
            .collect()
    };
    timeline["tracks"]
        .as_array()
        .unwrap()
        .iter()
        .map(names)
        .collect()
}

/// 23:59:59:20 is frame 2 073 596; the rate is the double nearest to 24000/1001.
#[test]
fn a_slow_rate_is_the_nearest_double_and_the_range_counts_labels() {
    let clock = frames(Rate::F23_976, false);
    let card = card(
        &["A"],
        vec![named(
            "d.mov",
            0,
            outcome(clock, "23:59:59:20", Rate::F23_976, 24),
        )],
    );
    let text = String::from_utf8(bytes(&card)).unwrap();
    assert!(text.contains("\"rate\": 23.976023976023978,"), "{text}");
    let clip = &read(&card)["tracks"][0]["items"][0];
    let rate = 24000.0 / 1001.0;
    assert_eq!(
        clip["available"],
        json!({"start": [2_073_596.0, rate], "duration": [24.0, rate]})
    );
    assert_eq!(clip["source"], clip["available"]);

    for (rate, double) in [
        (Rate::F29_97, "29.97002997002997"),
        (Rate::F59_94, "59.94005994005994"),
        (Rate::F25, "25.0"),
    ] {
        let clip = named("d.mov", 0, outcome(clock, "02:00:00:00", rate, 24));
        let text = String::from_utf8(bytes(&super::cards::card(&["A"], vec![clip]))).unwrap();
        assert!(text.contains(&format!("\"rate\": {double},")), "{rate}");
    }
}

#[test]
fn the_reference_library_reads_the_ranges_that_were_meant() {
    let card = mixed();
    let timeline = read(&card);
    assert_eq!(timeline["same_after_round_trip"], true);
    assert_eq!(timeline["global_start"], json!([900_000.0, 25.0]));
    let mut found = 0;
    for track in timeline["tracks"].as_array().unwrap() {
        assert_eq!(track["kind"], "Video");
        for item in track["items"].as_array().unwrap() {
            let Some(clip) = card.clips.iter().find(|clip| {
                clip.name
                    .ends_with(&format!("/{}", item["name"].as_str().unwrap()))
            }) else {
                assert_eq!(item["kind"], "Gap");
                continue;
            };
            found += 1;
            let start = clip.outcome.start.as_ref().unwrap();
            let base = start.in_clip_base.as_ref().unwrap();
            let ratio: Ratio = base.rate.parse().unwrap();
            let rate = ratio.num() as f64 / ratio.den() as f64;
            let length = clip.outcome.clip.frames.unwrap();
            let range =
                json!({"start": [base.count as f64, rate], "duration": [length as f64, rate]});
            assert_eq!(item["available"], range, "{}", clip.name);
            assert_eq!(item["source"], range, "{}", clip.name);
            let seen = json!([{"start": [(base.count + 2) as f64, rate], "duration": [4.0, rate]}]);
            assert_eq!(item["markers"], seen, "{}", clip.name);
        }
    }
    assert_eq!(found, 6, "all sure clips");
}

#[test]
fn clips_of_one_camera_that_overlap_lie_on_two_tracks() {
    let names = clip_names(&read(&mixed()));
    assert_eq!(names[0], ["A001.mov", "A002.mov"]);
    assert_eq!(names[1], ["A003.mov"]);
    assert_eq!(names.len(), 3);
}

#[test]
fn the_time_between_clips_is_the_time_between_their_labels() {
    let timeline = read(&mixed());
    let items = &timeline["tracks"][0]["items"];
    // 10:00:10:12 comes 262 frames after 10:00:00:00, of which the first clip fills 100.
    assert_eq!(items[1]["source"]["duration"], json!([162.0, 25.0]));
    assert_eq!(items[2]["in_parent_s"], json!(262.0 / 25.0));
}

#[test]
fn links_are_relative_urls() {
    let timeline = read(&mixed());
    let items = timeline["tracks"][2]["items"].as_array().unwrap();
    let urls: Vec<_> = items
        .iter()
        .filter_map(|item| item["url"].as_str())
        .collect();
    assert_eq!(urls[0], "B/A001C003_1124.mov");
    // RFC 3986: reserved characters and bytes of UTF-8 in percent signs and capitals.
    assert_eq!(urls[1], "B/50%20%25%20%22take%22%20%232%2C%20%C3%BC.mov");
    let card = mixed();
    let elsewhere = otio::Options {
        media: &|clip| format!("/media/{}\\xE9", clip.name),
        ..otio::Options::default()
    };
    let value = check("otio", &otio::to_bytes(&card, &elsewhere), &[]);
    assert_eq!(
        value["tracks"][0]["items"][0]["url"],
        "file:///media/A/A001.mov%E9"
    );
}

#[test]
fn clips_without_a_sure_start_are_named_and_not_placed() {
    let timeline = written(&mixed());
    let ours = &timeline["metadata"]["rollmark"];
    let names: Vec<_> = ours["not_placed"]
        .as_array()
        .unwrap()
        .iter()
        .map(|clip| {
            (
                clip["name"].as_str().unwrap(),
                clip["verdict"].as_str().unwrap(),
            )
        })
        .collect();
    assert_eq!(
        names,
        [
            ("A/A004.mov", "none"),
            ("=B/+1.mov", "unsure"),
            ("B/broken.mov", "failed")
        ]
    );
    assert_eq!(
        ours["not_placed"][0]["left_out_because"],
        "no start: no digits were seen"
    );
    assert_eq!(
        ours["clocks"],
        json!(["HH:MM:SS:FF at 25/1", "HH:MM:SS;FF at 30000/1001"])
    );
    let facts = &timeline["tracks"]["children"][0]["children"][0]["metadata"]["rollmark"];
    assert_eq!(facts["verdict"], "sure");
    assert_eq!(facts["count_bounds"], json!(["900000/1", "900001/1"]));
}

#[test]
fn unsure_clips_enter_when_asked_for_and_say_so() {
    let options = otio::Options {
        admit: Admit { unsure: true },
        ..otio::Options::default()
    };
    let timeline: Value = serde_json::from_slice(&otio::to_bytes(&mixed(), &options)).unwrap();
    assert_eq!(timeline["metadata"]["rollmark"]["placed_unsure"], 1);
    let tracks = timeline["tracks"]["children"].as_array().unwrap();
    let items = tracks
        .iter()
        .flat_map(|track| track["children"].as_array().unwrap());
    let unsure: Vec<_> = items
        .filter(|item| item["metadata"]["rollmark"]["verdict"] == "unsure")
        .collect();
    assert_eq!(unsure.len(), 1);
    assert_eq!(unsure[0]["name"], "+1.mov");
    let mark = &unsure[0]["markers"][0];
    assert_eq!(mark["name"], "start unsure: only 4 frames show the clock");
    assert_eq!(mark["color"], "RED");
}

/// A damaged file may claim any length.
#[test]
fn a_clip_that_claims_to_last_for_years_is_left_out_and_the_others_are_placed() {
    let clip = |name, length| {
        let rate = Rate::F120;
        named(
            name,
            0,
            outcome(frames(rate, false), "10:00:00:00", rate, length),
        )
    };
    for length in [120 * 86_400 * 367, 1 << 53, i64::MAX as u64, u64::MAX] {
        let clips = vec![clip("endless.mov", length), clip("plain.mov", 240)];
        let card = card(&["A"], clips);
        assert_eq!(clip_names(&read(&card)).concat(), ["plain.mov"], "{length}");
        let timeline = written(&card);
        let why = &timeline["metadata"]["rollmark"]["not_placed"][0]["left_out_because"];
        assert_eq!(why, "the clip's length is not known", "{length}");
    }
}

/// At ten o'clock the two ways of counting lie 36 s apart.
#[test]
fn a_clock_that_leaves_drop_frame_open_is_not_placed_beside_one_that_does_not() {
    let clip = |name, drop_frame, label| {
        named(
            name,
            0,
            outcome(frames(Rate::F29_97, drop_frame), label, Rate::F25, 50),
        )
    };
    let mut open = clip("open.mov", false, "10:00:00:00");
    open.outcome.clock.as_mut().unwrap().drop_frame = None;
    let known = clip("known.mov", true, "10:00:30;00");
    let non_drop = clip("plain.mov", false, "10:00:30:00");
    let placed = |clips| clip_names(&read(&card(&["A"], clips))).concat();
    assert_eq!(placed(vec![open.clone(), known.clone()]), ["known.mov"]);
    assert_eq!(
        placed(vec![open.clone(), non_drop]),
        ["open.mov", "plain.mov"]
    );
    // In a clip of another rate its label would be open, too.
    let mut apart = outcome(frames(Rate::F29_97, false), "10:00:00:00", Rate::F25, 50);
    apart.clock.as_mut().unwrap().drop_frame = None;
    clip_base::fill(&mut apart);
    let apart = named("apart.mov", 0, apart);
    assert!(placed(vec![apart]).is_empty());
    let timeline = written(&card(&["A"], vec![open, known]));
    let why = &timeline["metadata"]["rollmark"]["not_placed"][0]["left_out_because"];
    assert!(
        why.as_str()
            .unwrap()
            .contains("say which for this clip with --corrections")
    );
}

/// A shoot from 23:50 to 00:10 is not one that lasts nearly a day.
#[test]
fn a_shoot_through_midnight_begins_before_it() {
    let clock = frames(Rate::F25, false);
    let clip = |name, label, length| named(name, 0, outcome(clock, label, Rate::F25, length));
    let order = |clips| clip_names(&read(&card(&["A"], clips))).concat();
    let late = vec![
        clip("1.mov", "23:50:00:00", 50),
        clip("2.mov", "00:10:00:00", 50),
    ];
    assert_eq!(order(late), ["1.mov", "2.mov"]);
    let rolling = vec![
        clip("3.mov", "23:00:00:00", 50),
        clip("4.mov", "23:59:59:00", 500),
        clip("5.mov", "00:00:30:00", 50),
    ];
    let timeline = read(&card(&["A"], rolling));
    assert_eq!(clip_names(&timeline).concat(), ["3.mov", "4.mov", "5.mov"]);
    // From 23:00:00 to 23:59:59, and from there to 00:00:30.
    assert_eq!(timeline["tracks"][0]["items"][2]["in_parent_s"], 3599.0);
    assert_eq!(timeline["tracks"][0]["items"][4]["in_parent_s"], 3630.0);
    let day = vec![
        clip("6.mov", "10:00:00:00", 50),
        clip("7.mov", "23:00:00:00", 50),
    ];
    assert_eq!(order(day), ["6.mov", "7.mov"]);
    // The longest pause is between the morning and the night, but the morning came first.
    let long = vec![
        clip("1.mov", "10:00:00:00", 50),
        clip("2.mov", "23:50:00:00", 50),
        clip("3.mov", "00:05:00:00", 50),
        clip("4.mov", "02:00:00:00", 50),
    ];
    assert_eq!(order(long), ["1.mov", "2.mov", "3.mov", "4.mov"]);
}

#[test]
fn every_track_has_a_name_of_its_own() {
    let clock = frames(Rate::F25, false);
    let clip = |name, camera| named(name, camera, outcome(clock, "10:00:00:00", Rate::F25, 50));
    let clips = vec![
        clip("1.mov", 0),
        clip("2.mov", 0),
        clip("3.mov", 1),
        clip("4.mov", 2),
    ];
    let timeline = written(&card(&["A", "A (2)", "A"], clips));
    let tracks = timeline["tracks"]["children"].as_array().unwrap();
    let names: Vec<&Value> = tracks.iter().map(|track| &track["name"]).collect();
    assert_eq!(names, ["A", "A (2)", "A (2) (2)", "A (3)"]);
}

#[test]
fn a_card_without_a_start_gives_a_timeline_without_clips() {
    let nothing = card(&["A"], vec![]);
    let timeline = read(&nothing);
    assert_eq!(
        (&timeline["tracks"], &timeline["global_start"]),
        (&json!([]), &Value::Null)
    );
    let clock = frames(Rate::F25, false);
    let doubtful = unsure(outcome(clock, "10:00:00:00", Rate::F25, 50));
    let timeline = written(&card(&["A"], vec![named("a.mov", 0, doubtful)]));
    assert_eq!(timeline["metadata"]["rollmark"]["placed"], 0);
}

/// Duration of an item in seconds, exactly.
fn exact_s(item: &Value) -> Ratio {
    let duration = &item["source_range"]["duration"];
    let rate = duration["rate"].as_f64().unwrap();
    let nearest = Rate::TRADE
        .into_iter()
        .find(|known| known.ratio().num() as f64 / known.ratio().den() as f64 == rate)
        .expect("a rate of the trade");
    let value = duration["value"].as_f64().unwrap();
    assert_eq!(value.fract(), 0.0, "whole frames");
    Ratio::from_integer(value as i64) / nearest.ratio()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// However many clips of however many rates stand before it, a clip lies within half
    /// of its own frames of its moment; with one rate, exactly on it.
    #[test]
    fn no_drift_gathers_along_a_track(
        starts in prop::collection::vec((0i64..80_000_000, 1u64..5000, 0usize..13), 2..40),
        is_one_rate in any::<bool>(),
    ) {
        let clips = starts.iter().enumerate().map(|(i, &(count, length, rate))| {
            let rate = Rate::TRADE[if is_one_rate { 7 } else { rate }];
            let outcome = outcome_at(ClockForm::Thousandths, count, rate, length);
            named(&format!("{i}.mov"), 0, outcome)
        });
        let timeline = written(&card(&["A"], clips.collect()));
        let origin: Ratio = timeline["metadata"]["rollmark"]["origin_seconds"].as_str().unwrap().parse().unwrap();
        let mut clips_seen = 0;
        for track in timeline["tracks"]["children"].as_array().unwrap() {
            let mut at = origin;
            for item in track["children"].as_array().unwrap() {
                let length = exact_s(item);
                if item["OTIO_SCHEMA"] == "Clip.1" {
                    clips_seen += 1;
                    let facts = &item["metadata"]["rollmark"];
                    let wanted: Ratio = facts["at_seconds"].as_str().unwrap().parse().unwrap();
                    let rate: Ratio = facts["clip_rate"].as_str().unwrap().parse().unwrap();
                    let off = (at - wanted).abs();
                    prop_assert!(off * rate <= Ratio::new(1, 2), "{off} s");
                    prop_assert!(!is_one_rate || off.is_zero());
                }
                at = at + length;
            }
        }
        prop_assert_eq!(clips_seen, starts.len());
    }
}
