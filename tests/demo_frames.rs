//! The stills and the clips of `demo-frames/`, read and held against their answers.
//!
//! `ROLLMARK_REGENERATE=1 cargo test --release --test demo_frames` films them anew from the
//! simulator (drawn scenes and drawn or measuring faces: nothing foreign is in the pictures).

use rollmark::clip::{ReadOptions, read_clip};
use rollmark::frame::Stamp;
use rollmark::media::RecordCodec;
use rollmark::outcome::Verdict;
use rollmark::progress::Deaf;
use rollmark::rehearse::Shoot;
use rollmark::rehearse::scene::Scene;
use rollmark::timecode::{ClockForm, Rate, Ratio};
use rollmark::vision::{Eye, Lettering, Pyramid, Search, Sharpness};
use serde::{Deserialize, Serialize};
use std::path::{Path, PathBuf};

#[derive(Serialize, Deserialize)]
struct Answers {
    /// Digits that a person reads in each still, without marks.
    stills: Vec<Still>,
    clips: Vec<Clip>,
}

#[derive(Serialize, Deserialize)]
struct Still {
    file: String,
    digits: String,
}

#[derive(Serialize, Deserialize)]
struct Clip {
    file: String,
    start: String,
    rate: String,
}

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-frames")
}

fn shoots() -> Vec<(u64, ClockForm, Rate)> {
    let frames = |rate, drop_frame| ClockForm::frames(rate, drop_frame).unwrap();
    vec![
        (41, frames(Rate::F25, false), Rate::F25),
        (42, frames(Rate::F29_97, true), Rate::F24),
        (45, frames(Rate::F25, false), Rate::F30),
        (51, frames(Rate::F24, false), Rate::F23_976),
        (46, frames(Rate::F30, false), Rate::F59_94),
        (47, ClockForm::Seconds, Rate::F25),
    ]
}

fn film_anew() {
    let mut answers = Answers {
        stills: Vec::new(),
        clips: Vec::new(),
    };
    for (seed, form, camera) in shoots() {
        let mut shoot = Shoot::ordinary(seed, form, camera).resized(640, 360);
        shoot.scene = Scene::Drawn;
        let mut film = shoot.film().unwrap();
        let steady = |k: &u64| film.truth(*k).is_fully_visible;
        let index = (0..shoot.frames)
            .filter(steady)
            .nth(8)
            .expect("the display is in view");
        let shown = film.truth(index).shown.expect("a display was filmed");
        let file = format!("still_{seed}.jpg");
        film.frame(index).save(folder().join(&file)).unwrap();
        let digits = form.digits(shown);
        let digits = digits
            .as_slice()
            .iter()
            .map(|d| char::from(b'0' + d))
            .collect();
        answers.stills.push(Still { file, digits });
        if seed < 43 {
            let file = format!("clip_{seed}.mp4");
            let _ = std::fs::remove_file(folder().join(&file));
            shoot.frames = shoot.frames * 7 / 12;
            shoot
                .record(
                    &folder().join(&file),
                    shoot.record_options(RecordCodec::H264),
                )
                .unwrap();
            let start = form.text(i64::try_from(shoot.phi().unwrap().floor()).unwrap());
            answers.clips.push(Clip {
                file,
                start,
                rate: form.rate().to_string(),
            });
        }
    }
    let mut text = serde_json::to_string_pretty(&answers).unwrap();
    text.push('\n');
    std::fs::write(folder().join("answers.json"), text).unwrap();
}

fn answers() -> Answers {
    if std::env::var_os("ROLLMARK_REGENERATE").is_some() {
        film_anew();
    }
    serde_json::from_slice(&std::fs::read(folder().join("answers.json")).unwrap()).unwrap()
}

#[test]
fn stills_and_clips_are_read_as_their_answers_say() {
    let answers = answers();
    assert!(answers.stills.len() >= 6 && answers.clips.len() >= 2);
    let eye = Eye::open().unwrap();
    let stamp = Stamp {
        ticks: 0,
        tick_seconds: Ratio::new(1, 25),
        index: Some(0),
    };
    for still in &answers.stills {
        let picture = image::open(folder().join(&still.file)).unwrap().to_luma8();
        let frame = Pyramid::new(picture);
        let found = eye
            .discover(&frame, Sharpness::Coarse, &mut Lettering::default(), stamp)
            .unwrap();
        let guesses: Vec<String> = found
            .displays
            .iter()
            .filter_map(|display| eye.follow(&frame, display, stamp, Search::Around).unwrap())
            .map(|seen| seen.reading.guess())
            .collect();
        assert!(
            guesses.contains(&still.digits),
            "{}: {guesses:?}",
            still.file
        );
    }
    for clip in &answers.clips {
        let path = folder().join(&clip.file);
        let outcome = read_clip(&eye, &path, &ReadOptions::default(), &mut Deaf).outcome;
        assert_eq!(
            outcome.verdict,
            Verdict::Sure,
            "{}: {:?}",
            clip.file,
            outcome.reasons
        );
        let form = ClockForm::frames(clip.rate.parse().unwrap(), clip.start.contains(';')).unwrap();
        let count = |label: &str| form.count(&form.parse(label).unwrap()).unwrap();
        let start = outcome.start.unwrap();
        // A count for the clip frame, and one for the display's refresh.
        assert!(
            (count(&start.label) - count(&clip.start)).abs() <= 2,
            "{}: {}",
            clip.file,
            start.label
        );
    }
}
