//! Cards of small text files that a stand-in for the reader understands: what is tested is
//! what happens between clips, so no video is needed.

mod comparisons;
mod mishaps;
mod recordings;
mod runs;
mod settling;

use super::{CardRun, Settings, Stop, Work};
use crate::clip_base;
use crate::error::{Error, ErrorKind, Result};
use crate::facts::{ClipFacts, HeaderFacts};
use crate::note::Note;
use crate::outcome::{
    CLIP_FORMAT_VERSION, CardOutcome, ClipOutcome, ClipPart, Crop, DropFrameKnownBy, Evidence,
    Start, Tool, Verdict,
};
use crate::progress::{Event, Listener, Wish};
use crate::sidecar::json::TOOL_NAME;
use crate::timecode::{ClockForm, HalfOpen, Rate, Ratio};
use std::collections::BTreeMap;
use std::fs;
use std::num::NonZeroUsize;
use std::path::{Path, PathBuf};
use std::sync::Mutex;

/// What a test's file says about the clip that it stands for, as `key=value` words.
#[derive(Clone, Debug, Default)]
struct Told(BTreeMap<String, String>);

impl Told {
    fn parse(text: &str) -> Option<Self> {
        let words = text.strip_prefix("clip")?.split_whitespace();
        Some(Self(
            words
                .map(|word| word.split_once('=').unwrap_or((word, "")))
                .map(|(key, value)| (key.to_owned(), value.to_owned()))
                .collect(),
        ))
    }

    fn get(&self, key: &str) -> Option<&str> {
        self.0.get(key).map(String::as_str)
    }

    fn rate(&self) -> Rate {
        self.get("rate").unwrap_or("25").parse().unwrap()
    }

    fn frames(&self) -> u64 {
        self.get("frames").unwrap_or("50").parse().unwrap()
    }

    fn duration_s(&self) -> Ratio {
        Ratio::from_integer(self.frames()) / self.rate().ratio()
    }

    fn width_px(&self) -> u32 {
        self.get("width").unwrap_or("1920").parse().unwrap()
    }
}

/// The clip object of a clip without a clock.
fn unslated(path: &str, told: &Told) -> ClipOutcome {
    ClipOutcome {
        format: CLIP_FORMAT_VERSION,
        verdict: Verdict::None,
        reasons: vec![Note::new("no_display", "no display with digits was found")],
        start: None,
        clock: None,
        clip: ClipPart {
            frames: Some(told.frames()),
            rate: Some(told.rate().to_string()),
            duration_seconds: Some(told.duration_s().to_f64()),
            exact_duration_seconds: Some(told.duration_s().to_string()),
            width_px: Some(told.width_px()),
            height_px: Some(told.width_px() * 9 / 16),
            codec: Some("h264".into()),
            has_audio: Some(false),
            camera: told.get("camera").map(str::to_owned),
            camera_serial: told.get("serial").map(str::to_owned),
            creation_time: told.get("made").map(str::to_owned),
            ..ClipPart::unknown(path)
        },
        windows: Vec::new(),
        estimate: None,
        chapter: None,
        by_hand: None,
        notes: Vec::new(),
        tool: tool(),
    }
}

/// ... with a clock of `form` that showed `label` on frame 0.
fn slated(mut outcome: ClipOutcome, form: ClockForm, label: &str) -> ClipOutcome {
    let count = form.count(&form.parse(label).unwrap()).unwrap();
    let low = Ratio::from_integer(count);
    set_start(&mut outcome, form, HalfOpen::new(low, low + Ratio::ONE));
    outcome
}

fn set_start(outcome: &mut ClipOutcome, form: ClockForm, counts: HalfOpen) {
    outcome.verdict = Verdict::Sure;
    outcome.reasons = vec![Note::new("agreed", "all read frames agree")];
    outcome.start = Some(Start::of(form, counts, Ratio::ZERO));
    outcome.clock = Some(clip_base::tests::measured(form));
    clip_base::fill(outcome);
}

/// As the file says; `drop` tells how drop-frame is known.
fn told_outcome(path: &str, told: &Told) -> ClipOutcome {
    let outcome = unslated(path, told);
    let Some(label) = told.get("start") else {
        return outcome;
    };
    let (drop_frame, known_by) = match told.get("drop") {
        None => (Some(false), DropFrameKnownBy::Mark),
        Some("skipped") => (Some(true), DropFrameKnownBy::SkippedLabel),
        Some("mark") => (Some(true), DropFrameKnownBy::Mark),
        Some("none") => (Some(false), DropFrameKnownBy::Label),
        Some("given_none") => (Some(false), DropFrameKnownBy::Given),
        Some("open") => (None, DropFrameKnownBy::Unknown),
        Some(other) => panic!("{other}"),
    };
    let form = frames(told.rate(), drop_frame == Some(true));
    let mut outcome = slated(outcome, form, label);
    let clock = outcome.clock.as_mut().unwrap();
    clock.drop_frame = drop_frame;
    clock.drop_frame_known_by = known_by;
    if drop_frame.is_none() {
        let note = Note::new("drop_frame_open", "nothing seen tells");
        outcome.notes.push(note);
    }
    if told.get("unsure").is_some() {
        outcome.verdict = Verdict::Unsure;
    }
    outcome
}

fn frames(rate: Rate, drop_frame: bool) -> ClockForm {
    ClockForm::frames(rate, drop_frame).unwrap()
}

fn tool() -> Tool {
    Tool {
        name: TOOL_NAME.into(),
        version: "0.1.0".into(),
        model: "00".repeat(32),
    }
}

/// Reads the text files. Remembers what it was asked to read.
#[derive(Default)]
struct Reader {
    read: Mutex<Vec<PathBuf>>,
    /// Files of which it was asked whether they show a picture.
    tried: Mutex<Vec<PathBuf>>,
    /// Called in the middle of each clip.
    meanwhile: Option<Meanwhile>,
}

type Meanwhile = Box<dyn Fn(&Path) + Sync + Send>;

impl Reader {
    fn names_read(&self) -> Vec<String> {
        let read = self.read.lock().unwrap();
        let mut names: Vec<String> = read
            .iter()
            .map(|path| path.file_name().unwrap().to_string_lossy().into_owned())
            .collect();
        names.sort();
        names
    }

    fn told(path: &Path) -> Result<Told> {
        let text = fs::read(path)
            .map_err(|e| Error::new(ErrorKind::CannotOpen, "cannot be opened").because(e))?;
        if text.is_empty() {
            return Err(Error::new(ErrorKind::Empty, "has no bytes").next("copy it again"));
        }
        let text = String::from_utf8_lossy(&text);
        if text.starts_with("no index") {
            return Err(Error::new(ErrorKind::NoIndex, "has no index"));
        }
        Told::parse(&text).ok_or_else(|| Error::new(ErrorKind::NotVideo, "is no video file"))
    }
}

impl Work for Reader {
    fn probe(&self, path: &Path) -> Result<HeaderFacts> {
        let told = Self::told(path)?;
        assert!(told.get("bad_probe").is_none(), "a fault while probing");
        Ok(HeaderFacts {
            width_px: told.width_px(),
            height_px: told.width_px() * 9 / 16,
            duration_s: Some(told.duration_s()),
            creation_time: told.get("made").map(str::to_owned),
            container: ClipFacts::plain(path, told.rate()).container,
        })
    }

    fn shows_a_picture(&self, path: &Path) -> bool {
        self.tried.lock().unwrap().push(path.to_path_buf());
        Self::told(path).is_ok_and(|told| told.get("undecodable").is_none())
    }

    fn read(&self, path: &Path, listener: &mut dyn Listener) -> (ClipOutcome, Evidence) {
        self.read.lock().unwrap().push(path.to_path_buf());
        if let Some(meanwhile) = &self.meanwhile {
            meanwhile(path);
        }
        let text = path.to_string_lossy();
        let told = match Self::told(path) {
            Ok(told) => told,
            Err(error) => {
                let failed = ClipOutcome::failed(path, &error, tool());
                return (failed, Evidence::default());
            }
        };
        assert!(told.get("bad").is_none(), "a fault while reading");
        if told.get("undecodable").is_some() {
            let error = Error::new(ErrorKind::Undecodable, "not one of its pictures decodes");
            return (
                ClipOutcome::failed(path, &error, tool()),
                Evidence::default(),
            );
        }
        if listener.hear(Event::Searching { at_s: 0.0 }) == Wish::Stop {
            // What a clip that was given up gives is of no use.
            return (unslated("given up", &told), Evidence::default());
        }
        let outcome = told_outcome(&text, &told);
        let crop = Crop {
            seconds: 0.0,
            digits: told.get("start").unwrap_or("?").to_owned(),
            label: None,
            png: String::new(),
        };
        let evidence = Evidence {
            crops: vec![crop],
            points: Vec::new(),
        };
        (outcome, evidence)
    }
}

/// A card and an output folder beside it.
struct Desk {
    folder: tempfile::TempDir,
}

impl Desk {
    fn new(files: &[(&str, &str)]) -> Self {
        let desk = Self {
            folder: tempfile::tempdir().unwrap(),
        };
        fs::create_dir(desk.card()).unwrap();
        for (name, text) in files {
            desk.put(name, text);
        }
        desk
    }

    fn card(&self) -> PathBuf {
        self.folder.path().join("card")
    }

    fn out(&self) -> PathBuf {
        self.folder.path().join("out")
    }

    fn put(&self, name: &str, text: &str) {
        let file = self.card().join(name);
        fs::create_dir_all(file.parent().unwrap()).unwrap();
        fs::write(file, text).unwrap();
    }

    fn settings(&self) -> Settings {
        Settings {
            folders: vec![self.card()],
            out: self.out(),
            workers: NonZeroUsize::new(2).unwrap(),
            reading: "defaults".into(),
            tool: tool(),
        }
    }

    fn run(&self, work: &dyn Work) -> CardRun {
        run(&self.settings(), work).unwrap()
    }
}

fn run(settings: &Settings, work: &dyn Work) -> Result<CardRun> {
    super::run(
        settings,
        work,
        &|_, outcome| outcome,
        &|_: super::CardEvent<'_>| {},
        &Stop::new(),
    )
}

fn verdicts(card: &CardOutcome) -> Vec<(&str, Verdict)> {
    card.clips
        .iter()
        .map(|clip| (&*clip.name, clip.outcome.verdict))
        .collect()
}

const SLATED: &str = "clip start=10:00:00:00";

fn bytes_below(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut all = BTreeMap::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            all.extend(bytes_below(&path));
        } else {
            all.insert(path.clone(), fs::read(&path).unwrap());
        }
    }
    all
}

fn run_with(settings: &Settings, work: &dyn Work) -> CardRun {
    run(settings, work).unwrap()
}

fn settings_of_one_worker(desk: &Desk) -> Settings {
    Settings {
        workers: NonZeroUsize::MIN,
        ..desk.settings()
    }
}
