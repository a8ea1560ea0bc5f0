//! Cards that never were: a night's shoot with everything on it that a card can hold,
//! and cards of none, one and many clips.

use super::segments::{Display, digits_at_25};
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use image::imageops::{FilterType, blur, resize};
use image::{GrayImage, ImageFormat};
use rollmark::note::Note;
use rollmark::outcome::{
    ByHand, CARD_FORMAT_VERSION, CLIP_FORMAT_VERSION, Camera, CardClip, CardOutcome, Chapter,
    ClipLabel, ClipOutcome, ClipPart, Clock, Crop, Estimate, Evidence, Point, Skipped, Start, Tool,
    Verdict, Window,
};
use rollmark::timecode::{ClockForm, Rate};
use std::io::Cursor;

/// A card and what its clips rest on.
pub struct Desk {
    pub card: CardOutcome,
    pub evidence: Vec<Evidence>,
}

/// Counts a second of the filmed clock.
const RATE: i64 = 25;

/// `h:m:s:f` of the clock as a count.
pub const fn count(hours: i64, minutes: i64, seconds: i64, frames: i64) -> i64 {
    ((hours * 60 + minutes) * 60 + seconds) * RATE + frames
}

impl Desk {
    pub fn empty() -> Self {
        Self {
            card: CardOutcome {
                format: CARD_FORMAT_VERSION,
                folders: vec!["/media/edit/CARD_07".into()],
                clips: Vec::new(),
                cameras: Vec::new(),
                skipped: Vec::new(),
                notes: Vec::new(),
                tool: tool(),
            },
            evidence: Vec::new(),
        }
    }

    /// One ready clip.
    pub fn single() -> Self {
        let mut desk = Self::empty();
        desk.camera("Camera A", Some(3.2), None);
        desk.ready("A001C001.MOV", 0, count(10, 0, 0, 12), 0.31, 42.0);
        desk
    }

    /// So many clips of two cameras over a long day, most of them ready.
    pub fn of(clips: usize) -> Self {
        let mut desk = Self::empty();
        desk.camera("Camera A", Some(3.2), Some(1.4));
        desk.camera("Camera B", Some(-61.0), Some(-3.0));
        for nth in 0..clips {
            let camera = nth % 2;
            let name = format!(
                "{}/{}001C{:03}.MOV",
                camera_letter(camera),
                camera_letter(camera),
                nth + 1
            );
            let at = count(8, 0, 0, 0) + nth as i64 * RATE * 70 + (nth as i64 / 60) * RATE * 2400;
            let phase = (nth * 37 % 100) as f64 / 100.0;
            desk.ready(&name, camera, at, phase, 31.0 + (nth * 13 % 50) as f64);
            if nth % 17 == 5 {
                desk.doubt(
                    "few_frames",
                    "the clock could be read in only 5 frames; compare one frame by eye",
                );
                desk.glimpse(5);
            }
            if nth % 41 == 9 {
                desk.lose("no_display", "no display with digits was found; if the clock is in this clip, say where to look");
            }
        }
        desk
    }

    /// A night's shoot across midnight.
    pub fn night() -> Self {
        let mut desk = Self::empty();
        desk.card.folders = vec!["/media/edit/2031-03-14 harbour night".into()];
        desk.camera("Camera A, serial 4471", Some(3.24), Some(1.4));
        desk.camera("Camera B, serial 0932", Some(-3597.81), Some(-2.6));
        desk.camera("helmet", None, None);
        desk.camera("phone", Some(0.4), None);
        desk.card.cameras[1].notes.push(Note::new(
            "zone_likely",
            "its clock is 59 min 57.81 s ahead of the filmed one: a wrong time zone or summer time is likely",
        ));
        desk.of_camera_a();
        desk.of_camera_b();
        desk.of_helmet_and_phone();
        desk.card.notes.push(Note::new(
            "cameras_overlap",
            "Camera A and Camera B ran together for 41 min 12 s; their starts agree to within half a frame where both show the clock",
        ));
        for (name, code, why) in [
            (
                "A/._A001C004.MOV",
                "hidden",
                "a hidden file that a computer left on the card",
            ),
            (
                "A/PROXY/A001C001_P.MP4",
                "proxy",
                "a low-resolution copy of A/A001C001.MOV",
            ),
            ("A/A001C001.XML", "not_video", "no video"),
            ("helmet/THM010042.THM", "thumbnail", "a thumbnail"),
            (
                "phone/link to desktop",
                "link_out",
                "a link that leads out of the card; it was not followed",
            ),
        ] {
            desk.card.skipped.push(Skipped {
                name: name.into(),
                reason: Note::new(code, why),
            });
        }
        desk
    }

    fn of_camera_a(&mut self) {
        self.ready("A/A001C001.MOV", 0, count(21, 41, 7, 3), 0.42, 94.2);
        self.ready("A/A001C002.MOV", 0, count(21, 46, 30, 20), 0.11, 312.8);
        self.ready("A/A001C003.MOV", 0, count(21, 58, 2, 8), 0.77, 48.0);
        self.doubt(
            "few_frames",
            "the clock could be read in only 4 frames; compare one frame by eye",
        );
        self.glimpse(4);
        self.ready("A/A001C004.MOV", 0, count(22, 4, 51, 0), 0.05, 203.4);
        self.ready("A/A001C005.MOV", 0, count(22, 13, 19, 14), 0.58, 611.0);
        self.ready("A/A001C006.MOV", 0, count(23, 49, 12, 1), 0.93, 520.0);
        self.ready("A/A001C007.MOV", 0, count(23, 59, 41, 22), 0.36, 264.6);
        self.ready("A/A001C008.MOV", 0, count(0, 8, 15, 9), 0.5, 77.7);
        self.doubt(
            "hours_doubtful",
            "the hours may be 00 or 08; compare one frame by eye",
        );
        self.doubt(
            "few_agree",
            "only 19 of 47 read frames agree; compare one frame by eye",
        );
        self.spoil(3);
        self.ready("A/A001C009.MOV", 0, count(0, 14, 2, 17), 0.21, 118.0);
        self.by_hand("the clapper shows it; checked with sound");
        self.ready("A/A001C010.MOV", 0, count(0, 21, 0, 0), 0.4, 61.2);
        self.lose(
            "no_display",
            "no display with digits was found; if the clock is in this clip, say where to look",
        );
        self.estimate(
            count(0, 21, 4, 0),
            2.4,
            &["A/A001C008.MOV", "A/A001C009.MOV"],
        );
    }

    fn of_camera_b(&mut self) {
        for (nth, (at, length)) in [
            (count(21, 41, 9, 1), 92.0),
            (count(21, 46, 28, 5), 318.0),
            (count(21, 57, 58, 0), 61.0),
            (count(22, 13, 22, 7), 604.0),
            (count(23, 49, 2, 0), 540.0),
            (count(23, 59, 44, 4), 260.0),
        ]
        .into_iter()
        .enumerate()
        {
            self.ready(
                &format!("B/B001C{:03}.MOV", nth + 1),
                1,
                at,
                0.13 * nth as f64,
                length,
            );
        }
        self.ready("B/B001C007.MOV", 1, count(0, 8, 20, 3), 0.66, 74.0);
        self.doubt("clock_rejammed", "the clock was set anew between two places in the clip; the start is by the earlier one");
        self.second_slate(62.0, 12);
        self.ready("B/B001C008.MOV", 1, count(0, 14, 0, 0), 0.0, 100.0);
        self.fail("no_index", "the file has no index: the recording was cut off before it was closed; look for a repair function in the camera");
        self.ready("B/B001C009.MOV", 1, count(0, 22, 0, 0), 0.0, 18.0);
        self.lose("clock_stood_still", "a clock was found, but it shows the same time in all frames: a still or paused display");
        self.reject("a photograph of the slate on the monitor");
    }

    fn of_helmet_and_phone(&mut self) {
        let first = count(22, 30, 4, 11);
        for (nth, length_s) in [480.0, 480.0, 133.5].into_iter().enumerate() {
            let at = first + nth as i64 * 480 * RATE + if nth == 2 { 3 } else { 0 };
            self.ready(
                &format!("helmet/AB{:02}0042.MP4", nth + 1),
                2,
                at,
                0.28,
                length_s,
            );
            self.last().0.chapter = Some(Chapter {
                recording: "0042".into(),
                number: nth as u32 + 1,
                chapters: 3,
                gap_frames: [None, None, Some(3)][nth],
                gap_known_by: ["first", "assumed", "measured"][nth].into(),
            });
            if nth == 1 {
                self.inherit("helmet/AB010042.MP4");
                self.doubt("seam_assumed", "the start rests on the chapter before, taken to be gapless; no slate in this chapter");
            }
        }
        self.ready(
            "phone/VID_0007 harbour, from the crane (take two, wide, after the rain stopped).MOV",
            3,
            count(22, 52, 40, 6),
            0.82,
            58.3,
        );
        let (outcome, _) = self.last();
        outcome.clip.rotation = 90;
        outcome.clip.variable_rate = true;
        outcome.clip.rate = Some("30000/1001".into());
        (outcome.clip.width_px, outcome.clip.height_px) = (Some(1080), Some(1920));
        outcome.notes.push(Note::new("variable_rate", "frames are 16.7 to 66.7 ms apart; the start holds for frame 0, a timecode track would drift"));
        self.ready("phone/VID_0008.MOV", 3, count(0, 30, 12, 0), 0.1, 25.0);
        self.conform(0.25);
        self.last().0.notes.push(Note::new(
            "conformed",
            "the clip plays at 0.250 of real speed: it was shot at a higher rate",
        ));
    }

    /// Names and remarks that try to be more than text.
    pub fn hostile() -> Self {
        let mut desk = Self::empty();
        let attack = "<script>window.hit=1</script>";
        desk.card.folders = vec![format!("/cards/{attack}\"'"), "a\u{202e}b".into()];
        desk.camera(
            &format!("{attack}</option><img src=x onerror=window.hit=2>"),
            Some(f64::NAN),
            Some(f64::INFINITY),
        );
        desk.camera("\"><svg onload=window.hit=3>", None, None);
        for (nth, name) in [
            "<img src=x onerror=window.hit=4>.mov",
            "javascript:window.hit=5",
            "\" onmouseover=\"window.hit=6\" x=\".mov",
            "' autofocus onfocus='window.hit=7'.mov",
            "two\nlines\r\tand a bell\u{7}.mov",
            "--><script>window.hit=8</script><!--",
            "</style></title></script><script>window.hit=9</script>",
            "na\\xefve \\x41.mov",
            "{{7*7}} ${7*7} &lt;b&gt; &amp;.mov",
            "",
        ]
        .into_iter()
        .enumerate()
        {
            desk.ready(name, nth % 2, count(10, nth as i64, 0, 0), 0.5, 20.0);
            desk.doubt(attack, &format!("{attack} {name}"));
            let (outcome, evidence) = desk.last();
            outcome.notes.push(Note::new(name, attack));
            outcome.clip.camera = Some(attack.into());
            outcome.clip.codec = Some(attack.into());
            outcome.clip.creation_time = Some(name.into());
            outcome.start.as_mut().unwrap().inherited_from = Some(name.into());
            evidence.crops[0].digits = attack.into();
            evidence.crops[1].png = "\"><script>window.hit=10</script>".into();
        }
        let last = desk.card.clips.len() - 1;
        desk.card.clips[last].sidecar = "../../etc/passwd".into();
        // A camera that the card does not list, and figures that are none.
        desk.card.clips[last].camera = 99;
        let (outcome, evidence) = desk.last();
        outcome.clip.duration_seconds = Some(f64::INFINITY);
        outcome.start.as_mut().unwrap().seconds = f64::NAN;
        outcome.clock.as_mut().unwrap().rate = "0/0".into();
        evidence.points[0].seconds = f64::NAN;
        desk.card.skipped.push(Skipped {
            name: attack.into(),
            reason: Note::new(attack, attack),
        });
        desk.card.notes.push(Note::new(attack, attack));
        desk.card.tool.model = attack.into();
        desk
    }

    fn camera(&mut self, name: &str, offset_s: Option<f64>, drift_ppm: Option<f64>) {
        self.card.cameras.push(Camera {
            name: name.into(),
            clock_offset_seconds: offset_s,
            clock_drift_ppm: drift_ppm,
            notes: Vec::new(),
        });
    }

    /// The clip that was added last.
    fn last(&mut self) -> (&mut ClipOutcome, &mut Evidence) {
        (
            &mut self.card.clips.last_mut().expect("a clip").outcome,
            self.evidence.last_mut().expect("its evidence"),
        )
    }

    /// A clip with a head slate; the clock's count at frame 0 is `at + phase`.
    fn ready(&mut self, name: &str, camera: usize, at: i64, phase: f64, length_s: f64) {
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
                }),
                clock: Some(Clock {
                    form: "HH:MM:SS:FF".into(),
                    rate: "25/1".into(),
                    rate_known_by: "measured".into(),
                    drop_frame: Some(false),
                    drop_frame_known_by: "rate".into(),
                    refresh_hz: None,
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
    fn doubt(&mut self, code: &str, sentence: &str) {
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
    fn glimpse(&mut self, frames: usize) {
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
    fn spoil(&mut self, nth: usize) {
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
    fn conform(&mut self, speed: f64) {
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
    fn second_slate(&mut self, at_s: f64, later: i64) {
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

    fn without_start(&mut self, verdict: Verdict, code: &str, sentence: &str) {
        let (outcome, evidence) = self.last();
        outcome.verdict = verdict;
        outcome.reasons = vec![Note::new(code, sentence)];
        (outcome.start, outcome.clock) = (None, None);
        outcome.windows.clear();
        *evidence = Evidence::default();
    }

    fn lose(&mut self, code: &str, sentence: &str) {
        self.without_start(Verdict::None, code, sentence);
    }

    fn fail(&mut self, code: &str, sentence: &str) {
        self.without_start(Verdict::Failed, code, sentence);
        let part = &mut self.last().0.clip;
        (part.frames, part.rate, part.duration_seconds) = (None, None, None);
        (part.width_px, part.height_px, part.codec, part.has_audio) = (None, None, None, None);
    }

    fn estimate(&mut self, at: i64, within_s: f64, rests_on: &[&str]) {
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

    fn inherit(&mut self, from: &str) {
        let (outcome, evidence) = self.last();
        outcome.start.as_mut().expect("a start").inherited_from = Some(from.into());
        outcome.windows.clear();
        *evidence = Evidence::default();
    }

    fn by_hand(&mut self, remark: &str) {
        let (outcome, _) = self.last();
        let mut read = outcome.start.clone();
        if let Some(read) = &mut read {
            read.label = label(count(0, 14, 2, 11));
        }
        outcome.by_hand = Some(ByHand {
            what: "set".into(),
            remark: remark.into(),
            read_verdict: Verdict::Unsure,
            read_start: read,
            read_clock: outcome.clock.clone(),
        });
        outcome.reasons = vec![Note::new("by_hand", "the start was said by hand")];
    }

    fn reject(&mut self, remark: &str) {
        self.last().0.by_hand = Some(ByHand {
            what: "rejected".into(),
            remark: remark.into(),
            read_verdict: Verdict::None,
            read_start: None,
            read_clock: None,
        });
    }
}

const fn camera_letter(camera: usize) -> char {
    (b'A' + camera as u8) as char
}

fn label(count: i64) -> String {
    ClockForm::frames(Rate::F25, false)
        .expect("a clock of 25")
        .text(count)
}

fn tool() -> Tool {
    Tool {
        name: "rollmark".into(),
        version: "0.1.0".into(),
        model: "0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef".into(),
    }
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
