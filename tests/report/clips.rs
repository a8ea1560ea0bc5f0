//! What may be said of a clip, put on a card one after the other.

use super::super::segments::{Display, digits_at_25};
use super::{Desk, RATE, count, tool};
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use image::imageops::{FilterType, blur, resize};
use image::{GrayImage, ImageFormat};
use rollmark::note::Note;
use rollmark::outcome::{
    ByHand, CLIP_FORMAT_VERSION, Camera, CardClip, ClipLabel, ClipOutcome, ClipPart, Clock,
    Corrected, Crop, DropFrameKnownBy, Estimate, Evidence, Point, RateKnownBy, Start, Verdict,
    Window,
};
use rollmark::timecode::{ClockForm, Rate};
use std::io::Cursor;

impl Desk {
    pub(super) fn camera(&mut self, name: &str, offset_s: Option<f64>, drift_ppm: Option<f64>) {
        self.card.cameras.push(Camera {
            name: name.into(),
            clock_offset_seconds: offset_s,
            clock_drift_ppm: drift_ppm,
            notes: Vec::new(),
        });
    }

    /// The clip that was added last.
    pub(super) fn last(&mut self) -> (&mut ClipOutcome, &mut Evidence) {
        (
            &mut self.card.clips.last_mut().expect("a clip").outcome,
            self.evidence.last_mut().expect("its evidence"),
        )
    }

    /// A clip with a head slate; the clock's count at frame 0 is `at + phase`.
    pub(super) fn ready(&mut self, name: &str, camera: usize, at: i64, phase: f64, length_s: f64) {
        let phi = at as f64 + phase;
        let (low, high) = (phi - 0.02, phi + 0.02);
        let seconds = |count: f64| count / RATE as f64;
        let (from_s, frames) = (0.8 + phase, 52);
        let to_s = from_s + (frames - 1) as f64 / RATE as f64;
        self.card.clips.push(CardClip {
            name: name.into(),
            sidecar: format!("{name}.rollmark.json"),
            camera,
            outcome: ClipOutcome {
                format: CLIP_FORMAT_VERSION,
                verdict: Verdict::Sure,
                reasons: vec![Note::new(
                    "agreed",
                    format!("{frames} of {frames} read frames agree on one running clock"),
                )],
                start: Some(Start {
                    label: label(at),
                    count: phi,
                    count_bounds: [low, high],
                    seconds: seconds(phi),
                    seconds_bounds: [seconds(low), seconds(high)],
                    exact_count_bounds: None,
                    in_clip_base: Some(ClipLabel {
                        label: label(at),
                        count: at,
                        rate: "25/1".into(),
                        drop_frame: false,
                    }),
                    inherited_from: None,
                    exact_lag_seconds: None,
                }),
                clock: Some(Clock {
                    form: "HH:MM:SS:FF".into(),
                    rate: "25/1".into(),
                    rate_known_by: RateKnownBy::Measured,
                    drop_frame: Some(false),
                    drop_frame_known_by: DropFrameKnownBy::Rate,
                    refresh_hz: None,
                    drift_ppm_bounds: None,
                }),
                clip: ClipPart {
                    frames: Some((length_s * 25.0) as u64),
                    rate: Some("25/1".into()),
                    duration_seconds: Some(length_s),
                    width_px: Some(3840),
                    height_px: Some(2160),
                    codec: Some("hevc".into()),
                    has_audio: Some(true),
                    creation_time: Some("2031-03-14T21:41:04Z".into()),
                    ..ClipPart::unknown(format!("/media/edit/{name}"))
                },
                windows: vec![Window {
                    first_frame: Some((from_s * 25.0) as u64),
                    last_frame: Some((to_s * 25.0) as u64),
                    first_seconds: from_s,
                    last_seconds: to_s,
                    frames_read: frames,
                    frames_agreeing: frames,
                    quad: [
                        [810.0, 440.0],
                        [1110.0, 452.0],
                        [1104.0, 521.0],
                        [808.0, 509.0],
                    ],
                }],
                estimate: None,
                chapter: None,
                by_hand: None,
                notes: Vec::new(),
                tool: tool(),
            },
        });
        // Frames come a little unevenly, as a camera's and a clock's ticks slide along each other.
        let points: Vec<Point> = (0..frames)
            .map(|nth| {
                let seconds = from_s + (nth as f64 + (nth % 7) as f64 * 0.13) / RATE as f64;
                let displayed_count = (phi + seconds * RATE as f64).floor() as i64;
                Point {
                    seconds,
                    read_count: Some(displayed_count),
                    displayed_count,
                }
            })
            .collect();
        let crops = [0, frames / 2, frames - 1].map(|nth| crop(&points[nth]));
        self.evidence.push(Evidence {
            crops: crops.into(),
            points,
        });
    }

    /// A reason to look.
    pub(super) fn doubt(&mut self, code: &str, sentence: &str) {
        let (outcome, _) = self.last();
        if outcome.verdict == Verdict::Sure {
            outcome.reasons.clear();
            let start = outcome.start.as_mut().expect("a start");
            start.seconds_bounds = [start.seconds - 0.031, start.seconds + 0.031];
        }
        outcome.verdict = Verdict::Unsure;
        outcome.reasons.push(Note::new(code, sentence));
    }

    /// The clock was in view for so many frames only.
    pub(super) fn glimpse(&mut self, frames: usize) {
        let (outcome, evidence) = self.last();
        evidence.points.truncate(frames);
        evidence.crops = [0, frames - 1]
            .map(|nth| crop(&evidence.points[nth]))
            .into();
        let window = &mut outcome.windows[0];
        (window.frames_read, window.frames_agreeing) = (frames, frames);
        window.last_seconds = evidence.points[frames - 1].seconds;
    }

    /// Every `nth` reading goes wrong: a one for a seven, a digit in the dark.
    pub(super) fn spoil(&mut self, nth: usize) {
        let (outcome, evidence) = self.last();
        for (at, point) in evidence.points.iter_mut().enumerate() {
            match at % nth {
                0 if at % 4 == 1 => point.read_count = None,
                0 => {
                    point.read_count = point
                        .read_count
                        .map(|c| c + [6, -5, 8 * 3600 * RATE][at % 3])
                }
                _ => {}
            }
        }
        evidence.crops[0].digits.replace_range(1..2, "8");
        evidence.crops[1].digits.replace_range(6..8, "??");
        outcome.windows[0].frames_agreeing = 19;
        outcome.windows[0].frames_read = 47;
    }

    /// Shot faster than it plays.
    pub(super) fn conform(&mut self, speed: f64) {
        let (outcome, evidence) = self.last();
        outcome.clip.speed = speed;
        let phi = outcome.start.as_ref().expect("a start").count;
        for point in &mut evidence.points {
            point.displayed_count = (phi + point.seconds * speed * RATE as f64).floor() as i64;
            point.read_count = Some(point.displayed_count);
        }
        evidence.crops = [0, 51].map(|nth| crop(&evidence.points[nth])).into();
    }

    /// A slate at the end, on a clock that was set on by so many counts.
    pub(super) fn second_slate(&mut self, at_s: f64, later: i64) {
        let (outcome, evidence) = self.last();
        let mut window = outcome.windows[0].clone();
        let moved = at_s - window.first_seconds;
        window.first_seconds += moved;
        window.last_seconds += moved;
        outcome.windows.push(window);
        let again: Vec<Point> = evidence
            .points
            .iter()
            .map(|point| {
                let on = (moved * RATE as f64) as i64 + later;
                Point {
                    seconds: point.seconds + moved,
                    read_count: point.read_count.map(|count| count + on),
                    displayed_count: point.displayed_count + on,
                }
            })
            .collect();
        evidence.crops.push(crop(&again[10]));
        evidence.points.extend(again);
    }

    pub(super) fn without_start(&mut self, verdict: Verdict, code: &str, sentence: &str) {
        let (outcome, evidence) = self.last();
        outcome.verdict = verdict;
        outcome.reasons = vec![Note::new(code, sentence)];
        (outcome.start, outcome.clock) = (None, None);
        outcome.windows.clear();
        *evidence = Evidence::default();
    }

    pub(super) fn lose(&mut self, code: &str, sentence: &str) {
        self.without_start(Verdict::None, code, sentence);
    }

    pub(super) fn fail(&mut self, code: &str, sentence: &str) {
        self.without_start(Verdict::Failed, code, sentence);
        let part = &mut self.last().0.clip;
        (part.frames, part.rate, part.duration_seconds) = (None, None, None);
        (part.width_px, part.height_px, part.codec, part.has_audio) = (None, None, None, None);
    }

    pub(super) fn estimate(&mut self, at: i64, within_s: f64, rests_on: &[&str]) {
        let seconds = at as f64 / RATE as f64;
        self.last().0.estimate = Some(Estimate {
            seconds,
            seconds_bounds: [seconds - within_s, seconds + within_s],
            sentence: format!(
                "by the camera's own clock, which {} slates on this card measured",
                rests_on.len()
            ),
            rests_on: rests_on.iter().map(|&name| name.into()).collect(),
        });
    }

    pub(super) fn inherit(&mut self, from: &str) {
        let (outcome, evidence) = self.last();
        outcome.start.as_mut().expect("a start").inherited_from = Some(from.into());
        outcome.windows.clear();
        *evidence = Evidence::default();
    }

    pub(super) fn by_hand(&mut self, remark: &str) {
        let (outcome, _) = self.last();
        let mut read = outcome.start.clone();
        if let Some(read) = &mut read {
            read.label = label(count(0, 14, 2, 11));
        }
        outcome.by_hand = Some(ByHand {
            what: Corrected::Set,
            says_start: true,
            remark: remark.into(),
            read_verdict: Verdict::Unsure,
            read_start: read,
            read_clock: outcome.clock.clone(),
            read_speed: None,
        });
        outcome.reasons = vec![Note::new("by_hand", "the start was said by hand")];
    }

    pub(super) fn reject(&mut self, remark: &str) {
        self.last().0.by_hand = Some(ByHand {
            what: Corrected::Rejected,
            says_start: false,
            remark: remark.into(),
            read_verdict: Verdict::None,
            read_start: None,
            read_clock: None,
            read_speed: None,
        });
    }
}

pub(super) const fn camera_letter(camera: usize) -> char {
    (b'A' + camera as u8) as char
}

fn label(count: i64) -> String {
    ClockForm::frames(Rate::F25, false)
        .expect("a clock of 25")
        .text(count)
}

/// The display as a camera might have seen it: soft, grainy, lit from one side.
fn crop(point: &Point) -> Crop {
    let shown = point.displayed_count.rem_euclid(count(24, 0, 0, 0));
    let digits = digits_at_25(shown as u32);
    let display = Display {
        scale: 1,
        has_unusual_shapes: false,
    };
    let sharp = GrayImage::from_raw(
        display.width() as u32,
        display.height() as u32,
        display.frame(digits, [true; 8]),
    )
    .expect("a frame of that size");
    let mut seen = resize(&blur(&sharp, 1.3), 224, 63, FilterType::Triangle);
    let mut grain = shown as u32;
    for (x, _, pixel) in seen.enumerate_pixels_mut() {
        grain = grain.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let light = 18 + x / 8;
        pixel.0[0] = (u32::from(pixel.0[0]) * 7 / 8 + light + (grain >> 29)).min(255) as u8;
    }
    let mut png = Cursor::new(Vec::new());
    seen.write_to(&mut png, ImageFormat::Png)
        .expect("a PNG file");
    Crop {
        seconds: point.seconds,
        digits: digits.iter().map(u8::to_string).collect(),
        label: Some(label(shown)),
        png: STANDARD.encode(png.into_inner()),
    }
}
