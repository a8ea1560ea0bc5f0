//! Cards to write.

use rollmark::clip_base;
use rollmark::note::Note;
use rollmark::outcome::{
    CARD_FORMAT_VERSION, CLIP_FORMAT_VERSION, Camera, CardClip, CardOutcome, ClipOutcome, ClipPart,
    Clock, DropFrameKnownBy, RateKnownBy, Start, Tool, Verdict, Window,
};
use rollmark::timecode::{ClockForm, Rate, Ratio};

pub fn frames(rate: Rate, drop_frame: bool) -> ClockForm {
    ClockForm::frames(rate, drop_frame).unwrap()
}

fn tool() -> Tool {
    Tool {
        name: "rollmark".into(),
        version: "0.1.0".into(),
        model: "0123456789abcdef".repeat(4),
    }
}

/// A sure clip of `length` frames at `rate`, in whose frame 0 the middle of the count
/// `count` of that clock was exposed.
pub fn outcome_at(clock: ClockForm, count: i64, rate: Rate, length: u64) -> ClipOutcome {
    let seconds = |count: i64| clock.seconds(Ratio::from_integer(count));
    let duration = Ratio::from_integer(length) / rate.ratio();
    let drop_frame = match clock {
        ClockForm::Frames(_) => Some(clock.drop_frame()),
        _ => None,
    };
    let mut outcome = ClipOutcome {
        format: CLIP_FORMAT_VERSION,
        verdict: Verdict::Sure,
        reasons: vec![Note::new(
            "agreed",
            "48 of 48 read frames agree on one running clock",
        )],
        start: Some(Start {
            label: clock.text(count),
            count: count as f64 + 0.5,
            count_bounds: [count as f64, count as f64 + 1.0],
            seconds: seconds(count).to_f64(),
            seconds_bounds: [seconds(count).to_f64(), seconds(count + 1).to_f64()],
            exact_count_bounds: Some([format!("{count}/1"), format!("{}/1", count + 1)]),
            in_clip_base: None,
            inherited_from: None,
            exact_lag_seconds: None,
        }),
        clock: Some(Clock {
            form: clock.pattern().into(),
            rate: clock.rate().to_string(),
            rate_known_by: RateKnownBy::Measured,
            drop_frame,
            drop_frame_known_by: DropFrameKnownBy::Mark,
            refresh_hz: None,
            drift_ppm_bounds: None,
        }),
        clip: ClipPart {
            path: "card/clip".into(),
            frames: Some(length),
            rate: Some(rate.to_string()),
            duration_seconds: Some(duration.to_f64()),
            variable_rate: false,
            rotation: 0,
            speed: 1.0,
            exact_duration_seconds: Some(duration.to_string()),
            width_px: Some(1920),
            height_px: Some(1080),
            codec: Some("h264".into()),
            has_audio: Some(true),
            camera: None,
            camera_serial: None,
            creation_time: None,
            carried_timecode: None,
        },
        windows: vec![Window {
            first_frame: Some(2),
            last_frame: Some(5),
            first_seconds: 2.0 / rate.ratio().to_f64(),
            last_seconds: 5.0 / rate.ratio().to_f64(),
            frames_read: 4,
            frames_agreeing: 4,
            quad: [[1.0, 1.0], [9.0, 1.0], [9.0, 4.0], [1.0, 4.0]],
        }],
        estimate: None,
        chapter: None,
        by_hand: None,
        notes: Vec::new(),
        tool: tool(),
    };
    clip_base::fill(&mut outcome);
    outcome
}

pub fn outcome(clock: ClockForm, label: &str, rate: Rate, length: u64) -> ClipOutcome {
    let count = clock.count(&clock.parse(label).unwrap()).unwrap();
    outcome_at(clock, count, rate, length)
}

pub fn without_start(verdict: Verdict, code: &str, sentence: &str) -> ClipOutcome {
    let mut outcome = outcome_at(frames(Rate::F25, false), 0, Rate::F25, 50);
    outcome.verdict = verdict;
    outcome.reasons = vec![Note::new(code, sentence)];
    outcome.start = None;
    outcome.clock = None;
    outcome.windows.clear();
    outcome
}

pub fn unsure(mut outcome: ClipOutcome) -> ClipOutcome {
    outcome.verdict = Verdict::Unsure;
    outcome.reasons = vec![Note::new("few_frames", "only 4 frames show the clock")];
    outcome
}

pub fn named(name: &str, camera: usize, mut outcome: ClipOutcome) -> CardClip {
    outcome.clip.path = format!("card/{name}");
    CardClip {
        name: name.into(),
        sidecar: format!("{name}.rollmark.json"),
        camera,
        outcome,
    }
}

pub fn card(cameras: &[&str], clips: Vec<CardClip>) -> CardOutcome {
    let camera = |name: &&str| Camera {
        name: (*name).into(),
        clock_offset_seconds: None,
        clock_drift_ppm: None,
        notes: Vec::new(),
    };
    CardOutcome {
        format: CARD_FORMAT_VERSION,
        folders: vec!["card".into()],
        clips,
        cameras: cameras.iter().map(camera).collect(),
        skipped: Vec::new(),
        gone: Vec::new(),
        notes: Vec::new(),
        tool: tool(),
    }
}

/// Two cameras at three rates, every verdict, an overlap, and names that need care.
pub fn mixed() -> CardOutcome {
    let drop_frame = frames(Rate::F29_97, true);
    let pal = frames(Rate::F25, false);
    card(
        &["A", "B & <C>"],
        vec![
            named("A/A001.mov", 0, outcome(pal, "10:00:00:00", Rate::F25, 100)),
            named("A/A002.mov", 0, outcome(pal, "10:00:10:12", Rate::F25, 75)),
            named("A/A003.mov", 0, outcome(pal, "10:00:12:00", Rate::F25, 25)),
            named(
                "A/A004.mov",
                0,
                without_start(Verdict::None, "no_display", "no digits were seen"),
            ),
            named(
                "B/A001C003_1124.mov",
                1,
                outcome(drop_frame, "10:00:59;28", Rate::F29_97, 10),
            ),
            named(
                "B/A001C003_1125.mov",
                1,
                outcome(drop_frame, "10:59:59;28", Rate::F29_97, 10),
            ),
            named(
                "B/50 % \"take\" #2, \u{fc}.mov",
                1,
                outcome(drop_frame, "10:01:05;00", Rate::F59_94, 120),
            ),
            named(
                "=B/+1.mov",
                1,
                unsure(outcome(pal, "10:02:00:00", Rate::F25, 50)),
            ),
            named(
                "B/broken.mov",
                1,
                without_start(Verdict::Failed, "no_index", "the file has no index"),
            ),
        ],
    )
}
