//! Two cameras of one afternoon, each in a folder of its own and on the same clock: a
//! recording in three files, a clip that nobody slated, a phone held upright, a file that
//! cannot be opened. Their own clocks are wrong, each by an amount that never changes.

use super::takes::story_display;
use super::{KnownFrom, Planned, Size, answer, place};
use crate::media::RecordCodec;
use crate::outcome::Verdict;
use crate::rehearse::display::Clock;
use crate::rehearse::motion::Hold;
use crate::rehearse::screens::Body;
use crate::rehearse::shoot::Shoot;
use crate::timecode::{ClockForm, Rate, Ratio};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// A camera that keeps its files in a folder.
struct Kit {
    rate: Rate,
    body: Body,
    place: &'static str,
    /// Its own clock minus the filmed one, seconds.
    ahead_s: i64,
    /// Held upright: pictures are stored lying and marked to be turned.
    is_upright: bool,
}

const RAMP: Kit = Kit {
    rate: Rate::F25,
    body: Body::PhoneUpright,
    place: "greentock_by_Peter_Nerlich.jpg",
    ahead_s: 61,
    is_upright: false,
};
/// Nobody set this one to summer time.
const BEND: Kit = Kit {
    rate: Rate::F29_97,
    body: Body::LedBox,
    place: "aitzgorri_by_Aitzol_Berasategi.jpg",
    ahead_s: -3588,
    is_upright: true,
};

#[derive(Clone, Copy, PartialEq, Eq)]
enum Part {
    Slated,
    /// Goes on without a gap after the clip before it in the list.
    GoesOn,
    Unslated,
    /// Only the first part of the file is there, and nothing tells players what it holds.
    Cut,
}

struct Cut {
    kit: &'static Kit,
    file: &'static str,
    about: &'static str,
    part: Part,
    /// When the camera starts, seconds after the first clip; [`Part::GoesOn`] takes no notice.
    at_s: i64,
    length_s: i64,
}

const fn cut(
    kit: &'static Kit,
    file: &'static str,
    about: &'static str,
    part: Part,
    at_s: i64,
    length_s: i64,
) -> Cut {
    Cut {
        kit,
        file,
        about,
        part,
        at_s,
        length_s,
    }
}

static CUTS: [Cut; 8] = [
    cut(
        &RAMP,
        "ramp/RA010042.MP4",
        "slated; the camera goes on in two more files",
        Part::Slated,
        0,
        5,
    ),
    cut(
        &RAMP,
        "ramp/RA020042.MP4",
        "the second file of the recording, without a clock",
        Part::GoesOn,
        0,
        4,
    ),
    cut(
        &RAMP,
        "ramp/RA030042.MP4",
        "the third file of the recording, without a clock",
        Part::GoesOn,
        0,
        4,
    ),
    cut(
        &RAMP,
        "ramp/RA010043.MP4",
        "nobody slated this one; the camera's own clock must do",
        Part::Unslated,
        95,
        4,
    ),
    cut(
        &RAMP,
        "ramp/RA010044.MP4",
        "slated again a few minutes later",
        Part::Slated,
        411,
        5,
    ),
    cut(
        &BEND,
        "bend/BE010007.MP4",
        "a camera held upright, at another rate than the clock's",
        Part::Slated,
        37,
        5,
    ),
    cut(
        &BEND,
        "bend/BE010008.MP4",
        "the battery died before the file was closed: it cannot be opened",
        Part::Cut,
        150,
        4,
    ),
    cut(
        &BEND,
        "bend/BE010009.MP4",
        "slated again a few minutes later",
        Part::Slated,
        437,
        5,
    ),
];

const KEPT_OF_CUT_PERCENT: u64 = 60;

/// Plans the clips.
pub(super) fn plan(seed: u64, size: Size) -> Vec<Planned> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed ^ 0xda1_2a7e);
    let form = ClockForm::frames(Rate::F25, false).expect("25 counts");
    // The clock's count when the first clip starts: some time in the afternoon.
    let first_s = rng.random_range(14 * 3600..16 * 3600);
    let first = Ratio::from_integer(first_s * 25) + Ratio::new(rng.random_range(0..25_000), 1000);
    let mut planned: Vec<Planned> = Vec::new();
    let mut begun: Option<(u64, Ratio)> = None;
    for (cut, number) in CUTS.iter().zip(500u64..) {
        let kit = cut.kit;
        // What goes on is the same recording: same seed, and later on all its clocks.
        let (of_seed, at_s) = match (cut.part, begun) {
            (Part::GoesOn, Some(end)) => end,
            _ => (
                seed.wrapping_mul(1000).wrapping_add(number),
                Ratio::from_integer(cut.at_s),
            ),
        };
        let mut shoot = Shoot::ordinary(of_seed, form, kit.rate);
        let length_s = Ratio::from_integer(cut.length_s);
        shoot.frames = u64::try_from((length_s * kit.rate.ratio()).ceil()).unwrap_or(0);
        shoot.scene = place(kit.place);
        if let Some(staged) = &mut shoot.staged {
            staged.display = story_display(&mut rng, kit.body);
            staged.pose.digit_px = rng.random_range(36.0..46.0);
            staged.clock = Clock::running(form, first + form.rate().ratio() * at_s);
            staged.hold = match cut.part {
                Part::Slated | Part::Cut => Hold {
                    from_s: 0.3,
                    to_s: 2.9,
                    ..staged.hold
                },
                // Long gone.
                Part::GoesOn | Part::Unslated => Hold {
                    from_s: -9.0,
                    to_s: -6.0,
                    ..staged.hold
                },
            };
        }
        let frames_s = Ratio::from_integer(shoot.frames) / kit.rate.ratio();
        begun = Some((of_seed, at_s + frames_s));
        let mut shoot = shoot.resized(size.width_px, size.height_px);
        let mut options = shoot.record_options(RecordCodec::H264);
        if kit.is_upright {
            let camera = &mut shoot.camera;
            (camera.width_px, camera.height_px) = (camera.height_px, camera.width_px);
            options.rotation_degrees = 90;
        }
        options.audio = true;
        let begun_s = (first / form.rate().ratio() + at_s).floor() as i64;
        options.created = Some(header_time(begun_s + kit.ahead_s));
        let (verdicts, known_from) = match cut.part {
            Part::Slated => (vec![Verdict::Sure], KnownFrom::Clock),
            Part::GoesOn => (vec![Verdict::Sure, Verdict::Unsure], KnownFrom::Chapter),
            Part::Unslated => (vec![Verdict::None], KnownFrom::CameraClock),
            Part::Cut => (vec![Verdict::Failed], KnownFrom::Nothing),
        };
        planned.push(Planned {
            answer: answer(cut.file, cut.about, verdicts, known_from, &shoot),
            options,
            kept_percent: if cut.part == Part::Cut {
                KEPT_OF_CUT_PERCENT
            } else {
                100
            },
            shoot,
        });
    }
    planned
}

/// A moment of the day of the race as file headers have it.
fn header_time(second_of_day: i64) -> String {
    let (h, m, s) = (
        second_of_day / 3600,
        second_of_day / 60 % 60,
        second_of_day % 60,
    );
    format!("2031-05-04T{h:02}:{m:02}:{s:02}Z")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::{Footage, Light};

    const SMALL: Size = Size {
        width_px: 320,
        height_px: 180,
    };

    #[test]
    fn chapters_follow_each_other_to_the_frame() {
        let planned = plan(3, SMALL);
        let phi = |i: usize| -> Ratio { planned[i].answer.phi.as_ref().unwrap().parse().unwrap() };
        // Five seconds and four seconds of 25 counts.
        assert_eq!(phi(1) - phi(0), Ratio::from_integer(125));
        assert_eq!(phi(2) - phi(1), Ratio::from_integer(100));
        for chapter in &planned[1..3] {
            let film = chapter.shoot.film().unwrap();
            assert!((0..chapter.shoot.frames).all(|k| film.truth(k).quads.is_empty()));
            assert_eq!(chapter.answer.known_from, KnownFrom::Chapter);
        }
    }

    #[test]
    fn own_clocks_are_wrong_by_one_amount_each() {
        for clip in plan(5, SMALL).iter().filter(|c| c.answer.phi.is_some()) {
            let phi: Ratio = clip.answer.phi.as_ref().unwrap().parse().unwrap();
            let ahead = if clip.answer.file.starts_with("ramp") {
                61
            } else {
                -3588
            };
            let second = (phi / Ratio::from_integer(25)).floor() as i64 + ahead;
            assert_eq!(clip.options.created, Some(header_time(second)));
        }
        assert_eq!(header_time(3600 * 14 + 61), "2031-05-04T14:01:01Z");
    }

    #[test]
    fn an_upright_camera_is_presented_upright() {
        let dir = tempfile::tempdir().unwrap();
        let mut clip = plan(5, SMALL)
            .into_iter()
            .find(|c| c.answer.file == "bend/BE010007.MP4")
            .unwrap();
        clip.shoot.frames = 20;
        clip.write(dir.path()).unwrap();
        let mut movie = crate::media::open(&dir.path().join(&clip.answer.file)).unwrap();
        assert_eq!(movie.facts().creation_time.as_deref().map(|t| &t[..19]), {
            let created = clip.options.created.as_deref().unwrap();
            Some(&created[..19])
        });
        let mut film = clip.shoot.film().unwrap();
        for index in 0..20 {
            movie.advance().unwrap().unwrap();
            let seen = movie.picture(Light::Luma).unwrap().grey;
            let drawn = image::DynamicImage::from(film.frame(index)).to_luma8();
            assert_eq!(seen.dimensions(), (180, 320));
            let apart: f64 = seen
                .pixels()
                .zip(drawn.pixels())
                .map(|(a, b)| (f64::from(a.0[0]) - f64::from(b.0[0])).abs())
                .sum();
            assert!(apart / f64::from(180 * 320) < 6.0, "{index}: {apart}");
        }
    }

    #[test]
    fn a_file_that_was_not_closed_does_not_open() {
        let dir = tempfile::tempdir().unwrap();
        let mut clip = plan(5, SMALL)
            .into_iter()
            .find(|c| c.kept_percent < 100)
            .unwrap();
        clip.shoot.frames = 30;
        clip.write(dir.path()).unwrap();
        assert!(crate::media::open(&dir.path().join(&clip.answer.file)).is_err());
        assert_eq!(clip.answer.verdicts, [Verdict::Failed]);
    }
}
