//! A practice card: a small crew films the soap-box race of Hollerbrook, an
//! invented village. Every camera has a role for a name and its own rate, and
//! every way to slate a clip, well or badly, occurs once.

use super::display::{Clock, Display, Drive, Edge};
use super::motion::Hold;
use super::ordinary::ordinary_display;
use super::scene::{PHOTOS, Scene};
use super::screens::{Body, Lines, Marks};
use super::shoot::Shoot;
use crate::error::{Error, ErrorKind, Result};
use crate::media::{RecordCodec, RecordOptions};
use crate::outcome::Verdict;
use crate::timecode::{ClockForm, Rate};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde::{Deserialize, Serialize};
use std::fs::OpenOptions;
use std::io::Write;
use std::path::Path;

/// The answers' file name on a practice card.
pub const ANSWERS_FILE: &str = "answers.json";

/// Version of the answers' fields.
pub const ANSWERS_FORMAT_VERSION: u32 = 1;

/// Picture size of a card's clips.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Size {
    pub width_px: u32,
    pub height_px: u32,
}

impl Size {
    /// Small enough to be rendered while one waits, large enough to be read.
    pub const PRACTICE: Self = Self {
        width_px: 960,
        height_px: 540,
    };
    pub const HD: Self = Self {
        width_px: 1920,
        height_px: 1080,
    };
}

/// A card's answers, as `answers.json` holds them.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Answers {
    /// [`ANSWERS_FORMAT_VERSION`] of the writer.
    pub format: u32,
    /// The seed of the card: the same seed gives the same pictures.
    pub seed: u64,
    pub clips: Vec<Answer>,
}

/// What should come out for one clip.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Answer {
    /// Name of the clip in the card's folder.
    pub file: String,
    /// What the clip is there to rehearse; one sentence.
    pub about: String,
    /// Verdicts that are right, the best first.
    pub verdicts: Vec<Verdict>,
    /// The label a person would read if the clock were in view on frame 0;
    /// `null` when the clip has no running clock, like the fields after it.
    pub start: Option<String>,
    /// The clock's real-valued count at the middle of frame 0's exposure,
    /// exact, as a fraction of integers such as `1642802137/1000`.
    pub phi: Option<String>,
    /// The clock's counts per second as a fraction, such as `30000/1001`.
    pub rate: Option<String>,
    /// `null` too for a clock without frames.
    pub drop_frame: Option<bool>,
    /// How the clock counts, such as `HH:MM:SS:FF`.
    pub form: Option<String>,
    /// Longest time a new count waits for the screen's refresh, seconds, as a
    /// fraction; `0/1` where there is no refresh.
    pub refresh_seconds: Option<String>,
    /// The camera's frames per second as a fraction.
    pub clip_rate: String,
}

/// A clip of a practice card, not yet filmed.
pub struct Planned {
    pub shoot: Shoot,
    pub options: RecordOptions,
    /// Share of the file's bytes that is kept, in percent; 100 for all.
    pub kept_percent: u64,
    pub answer: Answer,
}

/// How a clip of the story differs from an ordinary one.
struct Take {
    file: &'static str,
    about: &'static str,
    clock: ClockForm,
    camera: Rate,
    body: Body,
    twist: Twist,
    /// File name of the place's photo among [`PHOTOS`].
    place: &'static str,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Twist {
    None,
    /// The slate comes at the end, upside down, as is common practice (no source).
    Tail,
    /// The camera lay on its side.
    OnItsSide,
    Unslated,
    /// The recording broke off.
    BrokenOff,
    /// Someone stopped the clock.
    Stopped,
}

const KEPT_OF_BROKEN_PERCENT: u64 = 72;

fn takes() -> [Take; 9] {
    let frames = |rate, drop_frame| ClockForm::Frames { rate, drop_frame };
    let take = |file, about, clock, camera, body, twist, place| Take {
        file,
        about,
        clock,
        camera,
        body,
        twist,
        place,
    };
    [
        take(
            "ramp_001.mp4",
            "a phone held up at the start ramp",
            frames(Rate::F25, false),
            Rate::F25,
            Body::PhoneUpright,
            Twist::None,
            "Bridge_by_Sander_Klootwijk.jpg",
        ),
        take(
            "bend_004.mov",
            "an LED box with drop-frame counts, filmed at a cinema rate",
            frames(Rate::F29_97, true),
            Rate::F23_976,
            Body::LedBox,
            Twist::None,
            "sunset_by_Aitzol_Berasategi.jpg",
        ),
        take(
            "bales_002.mp4",
            "an LCD clock filmed at twice its rate",
            frames(Rate::F25, false),
            Rate::F50,
            Body::Lcd,
            Twist::None,
            "seeding_by_Clements_Engelhardt.jpg",
        ),
        take(
            "finish_007.mov",
            "forgotten at the head, slated at the tail, upside down",
            frames(Rate::F24, false),
            Rate::F24,
            Body::PhoneAcross,
            Twist::Tail,
            "picosdeeuropa_by_Aitzol_Berasategi.jpg",
        ),
        take(
            "paddock_003.mp4",
            "the camera lay on its side",
            frames(Rate::F30, false),
            Rate::F29_97,
            Body::PhoneUpright,
            Twist::OnItsSide,
            "friends_by_Aitzol_Berasategi.jpg",
        ),
        take(
            "winch_006.mp4",
            "a stop clock with hundredths on a monitor",
            ClockForm::Hundredths,
            Rate::F30,
            Body::Window,
            Twist::None,
            "Wine_by_Jakkub_Mede.jpg",
        ),
        take(
            "hill_001.mp4",
            "nobody slated this one",
            frames(Rate::F25, false),
            Rate::F25,
            Body::PhoneUpright,
            Twist::Unslated,
            "aitzgorri_by_Aitzol_Berasategi.jpg",
        ),
        take(
            "crowd_005.mkv",
            "the battery died: the file breaks off",
            frames(Rate::F59_94, false),
            Rate::F59_94,
            Body::PhoneAcross,
            Twist::BrokenOff,
            "Dragonfly_by_Bolly.jpg",
        ),
        take(
            "helmet_002.mp4",
            "the clock had been stopped",
            frames(Rate::F25, false),
            Rate::F25,
            Body::LedBox,
            Twist::Stopped,
            "life_by_Aitzol_Berasategi.jpg",
        ),
    ]
}

/// Plans the card's clips. The same seed and size give the same clips, as long
/// as the same fonts and photos are installed.
pub fn plan(seed: u64, size: Size) -> Vec<Planned> {
    takes()
        .iter()
        .zip(0u64..)
        .map(|(take, number)| plan_take(take, seed.wrapping_mul(1000).wrapping_add(number), size))
        .collect()
}

fn plan_take(take: &Take, seed: u64, size: Size) -> Planned {
    let mut rng = ChaCha8Rng::seed_from_u64(seed ^ 0x510_b0c5);
    let mut shoot = Shoot::ordinary(seed, take.clock, take.camera);
    if let Some(staged) = &mut shoot.staged {
        staged.display = story_display(&mut rng, take.body);
        staged.pose.digit_px = rng.random_range(36.0..52.0);
        match take.twist {
            Twist::None | Twist::Unslated | Twist::BrokenOff => {}
            Twist::Tail => {
                staged.pose.roll_degrees += 180.0;
                staged.hold = Hold {
                    from_s: 3.4,
                    to_s: f64::INFINITY,
                    slide_s: 0.5,
                    way_degrees: 80.0,
                };
            }
            Twist::OnItsSide => {
                staged.pose.roll_degrees += 90.0;
                staged.pose.digit_px *= 0.8;
            }
            Twist::Stopped => staged.clock.is_running = false,
        }
    }
    if take.twist == Twist::Unslated {
        shoot.staged = None;
    }
    let photo = PHOTOS.iter().find(|path| path.ends_with(take.place));
    shoot.scene = match photo.map(Path::new) {
        Some(photo) if photo.exists() => Scene::Photo(photo.to_path_buf()),
        _ => Scene::Drawn,
    };
    let shoot = shoot.resized(size.width_px, size.height_px);
    let answer = answer(take, &shoot);
    Planned {
        options: camera_options(take, &shoot),
        answer,
        kept_percent: if take.twist == Twist::BrokenOff {
            KEPT_OF_BROKEN_PERCENT
        } else {
            100
        },
        shoot,
    }
}

/// Cameras differ in how they write: order of frames, sound, a timecode of their own.
fn camera_options(take: &Take, shoot: &Shoot) -> RecordOptions {
    let mut options = shoot.record_options(RecordCodec::H264);
    let is_mov = take.file.ends_with(".mov");
    // A camera that nobody set, as they come out of the box.
    options.timecode = is_mov.then(|| "00:00:00:00".to_owned());
    options.b_frames = if is_mov || take.twist == Twist::BrokenOff {
        0
    } else {
        2
    };
    options.audio = take.twist != Twist::Unslated;
    options
}

/// A display with the marks its clock calls for, so that drop-frame can be told.
fn story_display(rng: &mut ChaCha8Rng, body: Body) -> Display {
    let mut display = ordinary_display(rng, body);
    display.look.marks = Marks::AsCounted;
    display.look.lines = match body {
        Body::PhoneUpright => Lines::Two {
            after: 2,
            second: 1.0,
        },
        _ => Lines::One,
    };
    if let Drive::Panel { from, .. } = &mut display.drive
        && body == Body::PhoneAcross
    {
        *from = Edge::Left;
    }
    display
}

fn answer(take: &Take, shoot: &Shoot) -> Answer {
    let running: Option<&Clock> = shoot
        .staged
        .as_ref()
        .map(|s| &s.clock)
        .filter(|clock| clock.is_running);
    let phi = running.and_then(|_| shoot.phi());
    Answer {
        file: take.file.to_owned(),
        about: take.about.to_owned(),
        verdicts: match take.twist {
            Twist::Unslated => vec![Verdict::None],
            Twist::Stopped => vec![Verdict::None, Verdict::Unsure],
            _ => vec![Verdict::Sure],
        },
        start: running
            .zip(phi)
            .map(|(clock, phi)| clock.form.text(super::display::whole(phi))),
        phi: phi.map(|p| p.to_string()),
        rate: running.map(|c| c.form.rate().to_string()),
        drop_frame: running
            .filter(|c| matches!(c.form, ClockForm::Frames { .. }))
            .map(|c| c.form.drop_frame()),
        form: running.map(|c| c.form.pattern().to_owned()),
        refresh_seconds: running
            .and(shoot.staged.as_ref())
            .map(|s| s.display.refresh_s().to_string()),
        clip_rate: shoot.camera.rate.to_string(),
    }
}

impl Planned {
    /// Films the clip into a folder.
    ///
    /// # Errors
    /// What [`Shoot::record`] gives; the clip exists already.
    pub fn write(&self, dir: &Path) -> Result<()> {
        let path = dir.join(&self.answer.file);
        if path.exists() {
            return Err(would_replace(&path));
        }
        self.shoot.record(&path, self.options.clone())?;
        if self.kept_percent < 100 {
            let cut = || -> std::io::Result<()> {
                let file = OpenOptions::new().write(true).open(&path)?;
                let kept = file.metadata()?.len() * self.kept_percent / 100;
                file.set_len(kept)
            };
            cut().map_err(|e| cannot_write(&path, e))?;
        }
        Ok(())
    }
}

/// Films a practice card into a folder, which is made if it is not there:
/// clips and [`ANSWERS_FILE`]. Nothing that is there is replaced.
///
/// # Errors
/// The folder cannot be made or written; it holds a file of the card already.
pub fn card(dir: &Path, seed: u64, size: Size) -> Result<Vec<Answer>> {
    let planned = plan(seed, size);
    begin(dir, &planned)?;
    for clip in &planned {
        clip.write(dir)?;
    }
    finish(dir, seed, &planned)
}

/// Makes the folder and looks whether the card's names are free: before the work.
///
/// # Errors
/// The folder cannot be made; a name is taken.
pub fn begin(dir: &Path, planned: &[Planned]) -> Result<()> {
    std::fs::create_dir_all(dir).map_err(|e| cannot_write(dir, e))?;
    let names = planned.iter().map(|p| p.answer.file.as_str());
    for name in names.chain([ANSWERS_FILE]) {
        let path = dir.join(name);
        if path.exists() {
            return Err(would_replace(&path));
        }
    }
    Ok(())
}

/// Writes the answers of a card whose clips are all there.
///
/// # Errors
/// The file exists or cannot be written.
pub fn finish(dir: &Path, seed: u64, planned: &[Planned]) -> Result<Vec<Answer>> {
    let answers = Answers {
        format: ANSWERS_FORMAT_VERSION,
        seed,
        clips: planned.iter().map(|p| p.answer.clone()).collect(),
    };
    let path = dir.join(ANSWERS_FILE);
    let mut text = serde_json::to_string_pretty(&answers)
        .map_err(|e| cannot_write(&path, std::io::Error::other(e)))?;
    text.push('\n');
    OpenOptions::new()
        .write(true)
        .create_new(true)
        .open(&path)
        .and_then(|mut file| {
            file.write_all(text.as_bytes())?;
            file.sync_all()
        })
        .map_err(|e| cannot_write(&path, e))?;
    Ok(answers.clips)
}

fn cannot_write(path: &Path, cause: std::io::Error) -> Error {
    Error::new(ErrorKind::CannotWrite, "cannot be written")
        .in_file(path)
        .because(cause)
        .next("name a folder that can be written to")
}

fn would_replace(path: &Path) -> Error {
    Error::new(ErrorKind::WouldReplace, "exists already")
        .in_file(path)
        .next("name an empty or new folder for the practice card")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::Footage;
    use crate::timecode::Ratio;

    const SMALL: Size = Size {
        width_px: 320,
        height_px: 180,
    };

    #[test]
    fn the_card_holds_every_kind_of_clip() {
        let planned = plan(1, SMALL);
        let count = |f: &dyn Fn(&Answer) -> bool| planned.iter().filter(|p| f(&p.answer)).count();
        assert_eq!(count(&|a| a.verdicts == [Verdict::None]), 1);
        assert_eq!(count(&|a| a.verdicts.contains(&Verdict::Unsure)), 1);
        assert_eq!(count(&|a| a.drop_frame == Some(true)), 1);
        assert!(count(&|a| a.verdicts == [Verdict::Sure]) >= 6);
        assert_eq!(planned.iter().filter(|p| p.kept_percent < 100).count(), 1);
        let mut rates: Vec<_> = planned.iter().map(|p| &p.answer.clip_rate).collect();
        rates.sort();
        rates.dedup();
        assert!(rates.len() >= 6, "{rates:?}");
    }

    #[test]
    fn answers_agree_with_themselves_and_with_the_pictures() {
        for clip in plan(7, SMALL) {
            let Some(phi) = &clip.answer.phi else {
                assert_eq!(clip.answer.start, None);
                continue;
            };
            let phi: Ratio = phi.parse().unwrap();
            let staged = clip.shoot.staged.as_ref().unwrap();
            let label = staged.clock.form.parse(clip.answer.start.as_ref().unwrap());
            let count = staged.clock.form.count(&label.unwrap()).unwrap();
            assert_eq!(i128::from(count), phi.floor());
            let film = clip.shoot.film().unwrap();
            let full = (0..clip.shoot.frames)
                .filter(|&k| film.truth(k).is_fully_visible)
                .count();
            let seconds = full as f64 / clip.shoot.camera.rate.ratio().to_f64();
            assert!(seconds > 1.2, "{}: {seconds} s", clip.answer.file);
        }
    }

    #[test]
    fn the_tail_slate_is_upside_down_at_the_end_only() {
        let clip = plan(7, SMALL)
            .into_iter()
            .find(|c| c.answer.file.starts_with("finish"))
            .unwrap();
        let film = clip.shoot.film().unwrap();
        assert!(film.truth(0).quads.is_empty());
        let last = film.truth(clip.shoot.frames - 1);
        assert!(last.is_fully_visible);
        assert!(last.quads[0].top_left.x > last.quads[0].top_right.x);
    }

    #[test]
    fn every_place_has_its_photo() {
        for take in takes() {
            assert!(
                PHOTOS.iter().any(|p| p.ends_with(take.place)),
                "{}",
                take.place
            );
        }
    }

    #[test]
    fn the_same_seed_plans_the_same_card() {
        let answers =
            |seed| -> Vec<Answer> { plan(seed, SMALL).into_iter().map(|p| p.answer).collect() };
        assert_eq!(answers(3), answers(3));
        assert_ne!(answers(3), answers(4));
    }

    #[test]
    fn a_recording_that_broke_off_opens_and_ends_early() {
        let dir = tempfile::tempdir().unwrap();
        let mut clip = plan(7, SMALL)
            .into_iter()
            .find(|c| c.kept_percent < 100)
            .unwrap();
        clip.shoot.frames = 120;
        clip.write(dir.path()).unwrap();
        let mut opened = crate::media::open(&dir.path().join(&clip.answer.file)).unwrap();
        let mut frames = 0;
        while let Ok(Some(_)) = opened.advance() {
            frames += 1;
        }
        assert!((30..115).contains(&frames), "{frames}");
    }

    #[test]
    fn nothing_is_replaced() {
        let dir = tempfile::tempdir().unwrap();
        std::fs::write(dir.path().join(ANSWERS_FILE), "mine").unwrap();
        let error = card(dir.path(), 1, SMALL).unwrap_err();
        assert_eq!(error.kind(), ErrorKind::WouldReplace);
        assert_eq!(
            std::fs::read_to_string(dir.path().join(ANSWERS_FILE)).unwrap(),
            "mine"
        );
        assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 1);
    }
}
