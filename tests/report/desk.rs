//! Cards that never were: a night's shoot with everything on it that a card can hold,
//! and cards of none, one and many clips.

#[path = "clips.rs"]
mod clips;

use clips::camera_letter;
use rollmark::note::Note;
use rollmark::outcome::{
    CARD_FORMAT_VERSION, CardOutcome, Chapter, Evidence, GapKnownBy, Skipped, Tool,
};

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
                gone: Vec::new(),
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
                desk.lose("no_display", "no display with digits was found; if the clock is in this clip, set the start with --corrections");
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
            "no display with digits was found; if the clock is in this clip, set the start with --corrections",
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
                gap_known_by: [GapKnownBy::First, GapKnownBy::Assumed, GapKnownBy::Measured][nth],
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
}

fn tool() -> Tool {
    Tool {
        name: "rollmark".into(),
        version: "0.1.0".into(),
        model: "0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef".into(),
    }
}
