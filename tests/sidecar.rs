//! The clip object as the world outside sees it: against its published schema,
//! against kept files, and there and back for outcomes of every kind.
//!
//! `ROLLMARK_REGENERATE=1 cargo test --release --test sidecar` writes the kept files anew;
//! look at what changed before committing it.

use jsonschema::Validator;
use proptest::prelude::*;
use rollmark::error::{Error, ErrorKind};
use rollmark::note::Note;
use rollmark::outcome::{
    ByHand, CLIP_FORMAT_VERSION, Chapter, ClipLabel, ClipOutcome, ClipPart, Clock, Corrected,
    DropFrameKnownBy, Estimate, GapKnownBy, RateKnownBy, Start, Tool, Verdict, Window,
};
use rollmark::sidecar::json;
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn schema() -> Value {
    let text = fs::read_to_string(root().join("docs/sidecar.schema.json")).unwrap();
    serde_json::from_str(&text).unwrap()
}

fn validator() -> Validator {
    let schema = schema();
    jsonschema::draft202012::meta::validate(&schema).expect("the schema is a schema");
    jsonschema::draft202012::new(&schema).unwrap()
}

/// What the schema has against `object`, one line each.
fn faults(validator: &Validator, object: &Value) -> Vec<String> {
    validator
        .iter_errors(object)
        .map(|fault| format!("{}: {fault}", fault.instance_path()))
        .collect()
}

fn as_value(outcome: &ClipOutcome) -> Value {
    serde_json::from_slice(&json::to_bytes(outcome)).unwrap()
}

fn tool() -> Tool {
    Tool {
        name: json::TOOL_NAME.into(),
        version: "0.1.0".into(),
        model: "0123456789abcdef".repeat(4),
    }
}

fn failed() -> ClipOutcome {
    let error = Error::new(ErrorKind::NoIndex, "the file has no index")
        .next("the recording was cut off; look for a repair function in the camera");
    ClipOutcome::failed(Path::new("card/A003.mov"), &error, tool())
}

/// A 25 fps clip of a 29.97 drop-frame clock. By hand: 10 h of drop-frame are
/// 10 x 107 892 counts (SMPTE ST 12-1), so 10:00:00;12 is count 1 078 932. Half a count
/// later, 36 000.381 s of real time have passed, which is frame 900 009 at 25.
fn sure() -> ClipOutcome {
    let seconds = |count: f64| count * 1001.0 / 30_000.0;
    ClipOutcome {
        format: CLIP_FORMAT_VERSION,
        verdict: Verdict::Sure,
        reasons: vec![Note::new("agreement", "all 48 frames agree with one start")],
        start: Some(Start {
            label: "10:00:00;12".into(),
            count: 1_078_932.5,
            count_bounds: [1_078_932.25, 1_078_932.75],
            seconds: seconds(1_078_932.5),
            seconds_bounds: [seconds(1_078_932.25), seconds(1_078_932.75)],
            exact_count_bounds: Some(["4315729/4".into(), "4315731/4".into()]),
            in_clip_base: Some(ClipLabel {
                label: "10:00:00:09".into(),
                count: 900_009,
                rate: "25/1".into(),
                drop_frame: false,
            }),
            inherited_from: None,
            exact_lag_seconds: None,
        }),
        clock: Some(Clock {
            form: "HH:MM:SS;FF".into(),
            rate: "30000/1001".into(),
            rate_known_by: RateKnownBy::Measured,
            drop_frame: Some(true),
            drop_frame_known_by: DropFrameKnownBy::Mark,
            refresh_hz: Some(60.0),
            drift_ppm_bounds: None,
        }),
        clip: ClipPart {
            path: "card/A001.mov".into(),
            frames: Some(1500),
            rate: Some("25/1".into()),
            duration_seconds: Some(60.0),
            variable_rate: false,
            rotation: 90,
            speed: 1.0,
            exact_duration_seconds: Some("60/1".into()),
            width_px: Some(1080),
            height_px: Some(1920),
            codec: Some("h264".into()),
            has_audio: Some(false),
            camera: None,
            camera_serial: None,
            creation_time: Some("2026-05-28T12:40:43Z".into()),
            carried_timecode: None,
        },
        windows: vec![Window {
            first_frame: Some(30),
            last_frame: Some(78),
            first_seconds: 1.2,
            last_seconds: 3.12,
            frames_read: 48,
            frames_agreeing: 48,
            quad: [
                [812.5, 440.0],
                [1107.25, 452.0],
                [1104.0, 521.5],
                [809.0, 509.75],
            ],
        }],
        estimate: None,
        chapter: Some(Chapter {
            recording: "0042".into(),
            number: 2,
            chapters: 3,
            gap_frames: Some(0),
            gap_known_by: GapKnownBy::Measured,
        }),
        by_hand: None,
        notes: vec![Note::new("no_audio", "the clip has no sound")],
        tool: tool(),
    }
}

fn unsure() -> ClipOutcome {
    let mut outcome = sure();
    outcome.verdict = Verdict::Unsure;
    outcome.reasons = vec![Note::new("few_frames", "only 4 frames show the clock")];
    outcome.clip.frames = None;
    outcome.clip.rate = None;
    outcome.windows[0].first_frame = None;
    outcome.windows[0].last_frame = None;
    let clock = outcome.clock.as_mut().unwrap();
    clock.drop_frame = None;
    clock.drop_frame_known_by = DropFrameKnownBy::Unknown;
    clock.refresh_hz = None;
    let start = outcome.start.as_mut().unwrap();
    start.in_clip_base = None;
    start.inherited_from = Some("card/A000.mov".into());
    outcome
}

/// One that a person set after it had been read as `unsure`.
fn by_hand() -> ClipOutcome {
    let read = unsure();
    ClipOutcome {
        reasons: vec![Note::new("set_by_hand", "the start was set by hand")],
        by_hand: Some(ByHand {
            what: Corrected::Set,
            says_start: true,
            remark: "seen on the call sheet".into(),
            read_verdict: read.verdict,
            read_start: read.start,
            read_clock: read.clock,
            read_speed: None,
        }),
        windows: Vec::new(),
        ..sure()
    }
}

fn none() -> ClipOutcome {
    ClipOutcome {
        verdict: Verdict::None,
        reasons: vec![Note::new("no_clock", "no running clock was seen")],
        start: None,
        clock: None,
        windows: Vec::new(),
        estimate: Some(Estimate {
            seconds: 36_010.0,
            seconds_bounds: [36_005.0, 36_015.0],
            sentence: "the camera's clock, measured by one slate".into(),
            rests_on: vec!["card/A001.mov".into()],
        }),
        ..sure()
    }
}

fn one_of_each() -> [(&'static str, ClipOutcome); 5] {
    [
        ("sure", sure()),
        ("unsure", unsure()),
        ("none", none()),
        ("failed", failed()),
        ("by_hand", by_hand()),
    ]
}

#[test]
fn an_outcome_of_each_verdict_satisfies_the_schema() {
    let validator = validator();
    for (name, outcome) in one_of_each() {
        let faults = faults(&validator, &as_value(&outcome));
        assert!(faults.is_empty(), "{name}:\n{}", faults.join("\n"));
    }
}

/// The schema would be worth nothing if it let everything pass.
#[test]
fn the_schema_refuses_what_is_wrong() {
    let validator = validator();
    type Change = fn(&mut Value);
    let wrong: [(&str, Change); 15] = [
        ("a newer format", |o| o["format"] = 2.into()),
        ("an unknown verdict", |o| o["verdict"] = "maybe".into()),
        ("sure without a start", |o| o["start"] = Value::Null),
        ("unsure without a start", |o| {
            o["verdict"] = "unsure".into();
            o["start"] = Value::Null;
        }),
        ("a lag as a decimal", |o| {
            o["start"]["exact_lag_seconds"] = "0.5".into()
        }),
        ("sure without a window", |o| {
            o["windows"] = Value::Array(vec![])
        }),
        ("none with a start", |o| o["verdict"] = "none".into()),
        ("sure with an estimate", |o| {
            o["estimate"] = as_value(&none())["estimate"].clone()
        }),
        ("a reason without a code", |o| {
            o["reasons"][0]["code"] = "".into()
        }),
        ("one bound", |o| {
            o["start"]["count_bounds"] = vec![1.5].into()
        }),
        ("a rate as a decimal", |o| {
            o["clock"]["rate"] = "29.97".into()
        }),
        ("a rate as a number", |o| o["clip"]["rate"] = 25.into()),
        ("an odd rotation", |o| o["clip"]["rotation"] = 45.into()),
        ("a quad of three", |o| {
            drop(o["windows"][0]["quad"].as_array_mut().unwrap().pop())
        }),
        ("a label of five groups", |o| {
            o["start"]["label"] = "10:00:00:00:00".into()
        }),
    ];
    for (what, change) in wrong {
        let mut object = as_value(&sure());
        change(&mut object);
        assert!(!validator.is_valid(&object), "{what} should be refused");
    }
    for key in as_value(&sure()).as_object().unwrap().keys() {
        let mut object = as_value(&sure());
        object.as_object_mut().unwrap().shift_remove(key);
        assert!(!validator.is_valid(&object), "`{key}` should be required");
    }
}

#[test]
fn every_field_that_is_written_is_described_and_required() {
    let schema = schema();
    for (_, outcome) in one_of_each() {
        check_described(&schema, &schema, &as_value(&outcome), "");
    }
}

/// Follows `object` and the part of the schema that describes it, side by side.
fn check_described(schema: &Value, part: &Value, object: &Value, place: &str) {
    let part = resolved(schema, part);
    match object {
        Value::Object(fields) => {
            for (key, value) in fields {
                let place = format!("{place}/{key}");
                let field = &part["properties"][key];
                let target = resolved(schema, field);
                assert!(
                    field["description"].is_string() || target["description"].is_string(),
                    "{place} is not described"
                );
                let required = part["required"].as_array().unwrap();
                assert!(
                    required.iter().any(|name| name == key),
                    "{place} is not required"
                );
                check_described(schema, field, value, &place);
            }
        }
        Value::Array(items) => {
            for item in items {
                check_described(schema, &part["items"], item, &format!("{place}/*"));
            }
        }
        _ => {}
    }
}

/// Through `$ref`, and to the other branch where one is `null`.
fn resolved<'a>(schema: &'a Value, part: &'a Value) -> &'a Value {
    if let Some(name) = part["$ref"].as_str() {
        let place = name.strip_prefix('#').unwrap();
        return resolved(schema, schema.pointer(place).unwrap());
    }
    match part["oneOf"].as_array() {
        Some(branches) => resolved(schema, branches.last().unwrap()),
        None => part,
    }
}

/// The page that explains the object.
fn page() -> String {
    fs::read_to_string(root().join("docs/sidecar.md")).unwrap()
}

#[test]
fn the_example_of_the_page_is_a_clip_object() {
    let page = page();
    let (_, rest) = page.split_once("```json\n").unwrap();
    let (example, _) = rest.split_once("```").unwrap();
    let faults = faults(&validator(), &serde_json::from_str(example).unwrap());
    assert!(faults.is_empty(), "{}", faults.join("\n"));
    json::from_bytes(example.as_bytes()).unwrap();
}

#[test]
fn the_page_lists_every_code_that_is_written() {
    let page = page();
    let mut sources = Vec::new();
    collect(&root().join("src"), &mut sources);
    let mut codes: Vec<String> = Vec::new();
    let mut by_name = 0;
    for file in sources {
        let text = fs::read_to_string(&file).unwrap();
        let text = text.split("#[cfg(test)]\nmod tests {").next().unwrap();
        // `const CODE: &str = "code";` of the same file.
        let constant = |name: &str| {
            let (_, value) = text.split_once(&format!("const {name}: &str = \""))?;
            Some(value.split_once('"')?.0.to_owned())
        };
        // `Note::new("code", ...)`, `self.note("code", ...)`, and the tables of error kinds and doubts.
        for call in ["Note::new(", "self.note(", "=> "] {
            let is_table = file.ends_with("src/error.rs") || file.ends_with("src/fit/doubt.rs");
            if call == "=> " && !is_table {
                continue;
            }
            codes.extend(text.split(call).skip(1).filter_map(|rest| {
                let rest = rest.trim_start();
                if let Some(rest) = rest.strip_prefix('"') {
                    return Some(rest.split_once('"')?.0.to_owned());
                }
                let (name, _) = rest.split_once(|c: char| c != '_' && !c.is_ascii_uppercase())?;
                let code = (!name.is_empty()).then(|| constant(name)).flatten();
                by_name += usize::from(code.is_some());
                code
            }));
        }
    }
    assert!(codes.len() > 20, "the sources were not understood");
    assert!(by_name > 5, "{by_name} codes were found by their names");
    let missing: Vec<_> = codes
        .into_iter()
        .filter(|code| !page.contains(&format!("`{code}`")))
        .collect();
    assert!(
        missing.is_empty(),
        "docs/sidecar.md does not list {missing:?}"
    );
}

/// Rust files below `folder` that are not test code only.
fn collect(folder: &Path, files: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_str().unwrap();
        let is_test = name == "tests" || name.ends_with("tests.rs");
        if path.is_dir() && !is_test {
            collect(&path, files);
        } else if name.ends_with(".rs") && !is_test {
            files.push(path);
        }
    }
}

#[test]
fn the_bytes_are_those_of_the_kept_files() {
    let is_regenerating = std::env::var_os("ROLLMARK_REGENERATE").is_some();
    for (name, outcome) in one_of_each() {
        let file: PathBuf = root().join(format!("tests/golden/{name}{}", json::SUFFIX));
        let bytes = json::to_bytes(&outcome);
        if is_regenerating {
            fs::create_dir_all(file.parent().unwrap()).unwrap();
            fs::write(&file, &bytes).unwrap();
        }
        let kept = fs::read_to_string(&file)
            .unwrap_or_else(|e| panic!("{}: {e}; ROLLMARK_REGENERATE=1 makes it", file.display()));
        let now = String::from_utf8(bytes).unwrap();
        assert!(
            kept == now,
            "{} differs (- kept, + now):\n{}",
            file.display(),
            differences(&kept, &now)
        );
        assert_eq!(json::from_bytes(kept.as_bytes()).unwrap(), outcome);
    }
}

/// Lines that differ, with their numbers.
fn differences(kept: &str, now: &str) -> String {
    let (kept, now): (Vec<_>, Vec<_>) = (kept.lines().collect(), now.lines().collect());
    let mut text = String::new();
    for i in 0..kept.len().max(now.len()) {
        let (old, new) = (kept.get(i), now.get(i));
        if old != new {
            for (mark, line) in [('-', old), ('+', new)] {
                if let Some(line) = line {
                    text.push_str(&format!("{:4} {mark} {line}\n", i + 1));
                }
            }
        }
    }
    text
}

fn any_note() -> impl Strategy<Value = Note> {
    ("[a-z][a-z0-9_]{0,12}", "\\PC{1,40}").prop_map(|(code, sentence)| Note::new(code, sentence))
}

fn any_ratio() -> impl Strategy<Value = String> {
    (1u32.., 1u32..).prop_map(|(num, den)| format!("{num}/{den}"))
}

fn any_start() -> impl Strategy<Value = Start> {
    (0u8..24, 0u8..60, 0u8..60, 0u16..120, 0.0..1e8, 1e-3..10.0).prop_map(
        |(h, m, s, part, count, width)| Start {
            label: format!("{h:02}:{m:02}:{s:02};{part:02}"),
            count,
            count_bounds: [count - width, count + width],
            seconds: count / 29.97,
            seconds_bounds: [(count - width) / 29.97, (count + width) / 29.97],
            exact_count_bounds: Some([
                format!("{part}/1"),
                format!("{}/7", u32::from(part) * 7 + 1),
            ]),
            in_clip_base: None,
            inherited_from: (part % 2 == 1).then(|| "another.mov".to_owned()),
            exact_lag_seconds: (part % 3 == 1).then(|| format!("{part}/240")),
        },
    )
}

fn any_clock() -> impl Strategy<Value = Clock> {
    (
        any_ratio(),
        any::<Option<bool>>(),
        proptest::option::of(0.1..500.0),
    )
        .prop_map(|(rate, drop_frame, refresh_hz)| Clock {
            form: "HH:MM:SS:FF".into(),
            rate,
            rate_known_by: RateKnownBy::Assumed,
            drop_frame,
            drop_frame_known_by: DropFrameKnownBy::Unknown,
            refresh_hz,
            drift_ppm_bounds: None,
        })
}

fn any_window() -> impl Strategy<Value = Window> {
    (
        any::<Option<u64>>(),
        0.0..1e5,
        0usize..1000,
        any::<[[i16; 2]; 4]>(),
    )
        .prop_map(
            |(first_frame, first_seconds, frames_read, corners)| Window {
                first_frame,
                last_frame: first_frame,
                first_seconds,
                last_seconds: first_seconds,
                frames_read,
                frames_agreeing: frames_read,
                quad: corners.map(|corner| corner.map(|c| f32::from(c) / 3.0)),
            },
        )
}

prop_compose! {
    fn any_outcome()(
        verdict in proptest::sample::select(vec![
            Verdict::Sure, Verdict::Unsure, Verdict::None, Verdict::Failed,
        ]),
        reasons in proptest::collection::vec(any_note(), 1..4),
        start in any_start(),
        clock in any_clock(),
        windows in proptest::collection::vec(any_window(), 1..4),
        notes in proptest::collection::vec(any_note(), 0..4),
        path in "\\PC{1,40}",
        frames in any::<Option<u64>>(),
        rate in proptest::option::of(any_ratio()),
        duration_seconds in proptest::option::of(0.0..1e6),
        variable_rate in any::<bool>(),
        rotation in proptest::sample::select(vec![0u16, 90, 180, 270]),
        speed in 1e-3..1e3,
    ) -> ClipOutcome {
        let has_start = matches!(verdict, Verdict::Sure | Verdict::Unsure);
        ClipOutcome {
            format: CLIP_FORMAT_VERSION,
            verdict,
            reasons,
            start: has_start.then_some(start),
            clock: has_start.then_some(clock),
            clip: ClipPart {
                path, frames, rate, duration_seconds, variable_rate, rotation, speed,
                ..sure().clip
            },
            windows,
            estimate: None,
            chapter: None,
            by_hand: None,
            notes,
            tool: tool(),
        }
    }
}

proptest! {
    #[test]
    fn any_outcome_satisfies_the_schema_and_comes_back(outcome in any_outcome()) {
        let object = as_value(&outcome);
        let faults = faults(&validator(), &object);
        prop_assert!(faults.is_empty(), "{}", faults.join("\n"));
        let back = json::from_bytes(json::to_line(&outcome).as_bytes()).unwrap();
        prop_assert_eq!(back, outcome);
    }
}
