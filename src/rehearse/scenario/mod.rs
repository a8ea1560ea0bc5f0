//! A practice card: a small crew films the soap-box race of Hollerbrook, an
//! invented village. Every camera has a role for a name and its own rate, and
//! every way to slate a clip, well or badly, occurs once.
//!
//! - `takes`: single clips, each with a trouble of its own
//! - `day`: two cameras in folders of their own, which follow each other's time

mod day;
mod takes;

use super::display::{Clock, whole};
use super::scene::{PHOTOS, Scene};
use super::shoot::Shoot;
use crate::error::{Error, ErrorKind, Result};
use crate::media::RecordOptions;
use crate::outcome::Verdict;
use crate::timecode::ClockForm;
use serde::{Deserialize, Serialize};
use std::fs::OpenOptions;
use std::io::Write;
use std::path::Path;

/// The answers' file name on a practice card.
pub const ANSWERS_FILE: &str = "answers.json";

/// Version of the answers' fields.
pub const ANSWERS_FORMAT_VERSION: u32 = 2;

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
    /// Path of the clip in the card's folder.
    pub file: String,
    /// What the clip is there to rehearse; one sentence.
    pub about: String,
    /// Verdicts that are right, the best first.
    pub verdicts: Vec<Verdict>,
    pub known_from: KnownFrom,
    /// The label a person would read if the clock were in view on frame 0;
    /// `null` when nothing tells it, like the fields after it.
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

/// What tells where a clip lies on the clock.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum KnownFrom {
    /// The clock is filmed in the clip.
    Clock,
    /// The clip goes on where another one that shows the clock ends.
    Chapter,
    /// The camera's own clock, which clips of the same camera allow to be compared.
    CameraClock,
    /// Nothing does.
    Nothing,
}

/// A clip of a practice card, not yet filmed.
pub struct Planned {
    pub shoot: Shoot,
    pub options: RecordOptions,
    /// Share of the file's bytes that is kept, in percent; 100 for all.
    pub kept_percent: u64,
    pub answer: Answer,
}

/// Plans the card's clips. The same seed and size give the same clips, as long
/// as the same fonts and photos are installed.
pub fn plan(seed: u64, size: Size) -> Vec<Planned> {
    let mut planned = takes::plan(seed, size);
    planned.extend(day::plan(seed, size));
    planned
}

/// A place of the story: its photo, or a drawn scene where it is not installed.
fn place(name: &str) -> Scene {
    let photo = PHOTOS.iter().find(|path| path.ends_with(name));
    match photo.map(Path::new) {
        Some(photo) if photo.exists() => Scene::Photo(photo.to_path_buf()),
        _ => Scene::Drawn,
    }
}

/// What should come out for a clip by its shoot; `known_from` says why.
fn answer(
    file: &str,
    about: &str,
    verdicts: Vec<Verdict>,
    known_from: KnownFrom,
    shoot: &Shoot,
) -> Answer {
    let running: Option<&Clock> = shoot
        .staged
        .as_ref()
        .map(|s| &s.clock)
        .filter(|_| known_from != KnownFrom::Nothing);
    let phi = running.and_then(|_| shoot.phi());
    Answer {
        file: file.to_owned(),
        about: about.to_owned(),
        verdicts,
        known_from,
        start: running
            .zip(phi)
            .map(|(clock, phi)| clock.form.text(whole(phi))),
        phi: phi.map(|p| p.to_string()),
        rate: running.map(|c| c.form.rate().to_string()),
        drop_frame: running
            .filter(|c| matches!(c.form, ClockForm::Frames(_)))
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
        if let Some(folder) = path.parent() {
            std::fs::create_dir_all(folder).map_err(|e| cannot_write(folder, e))?;
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
        assert_eq!(count(&|a| a.verdicts == [Verdict::None]), 2);
        assert_eq!(count(&|a| a.verdicts == [Verdict::Failed]), 1);
        assert_eq!(count(&|a| a.verdicts.contains(&Verdict::Unsure)), 3);
        assert_eq!(count(&|a| a.drop_frame == Some(true)), 1);
        assert!(count(&|a| a.verdicts == [Verdict::Sure]) >= 10);
        for (known_from, clips) in [
            (KnownFrom::Chapter, 2),
            (KnownFrom::CameraClock, 1),
            (KnownFrom::Nothing, 3),
        ] {
            assert_eq!(count(&|a| a.known_from == known_from), clips);
        }
        assert_eq!(planned.iter().filter(|p| p.kept_percent < 100).count(), 2);
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
            if clip.answer.known_from != KnownFrom::Clock {
                continue;
            }
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
