//! Nine clips of as many cameras, six of them slated at head or tail in different ways,
//! the others each with a trouble of its own.

use super::{Answer, KnownFrom, Planned, Size, answer, place};
use crate::media::{RecordCodec, RecordOptions};
use crate::outcome::Verdict;
use crate::rehearse::display::{Display, Drive, Edge};
use crate::rehearse::motion::Hold;
use crate::rehearse::ordinary::ordinary_display;
use crate::rehearse::screens::{Body, Lines, Marks};
use crate::rehearse::shoot::Shoot;
use crate::timecode::{ClockForm, Rate};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// How a clip of the story differs from an ordinary one.
struct Take {
    file: &'static str,
    about: &'static str,
    clock: ClockForm,
    camera: Rate,
    body: Body,
    twist: Twist,
    /// File name of the place's photo among `PHOTOS`.
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
    let frames = |rate, drop_frame| ClockForm::frames(rate, drop_frame).expect("a clock there is");
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

/// Plans the clips.
pub(super) fn plan(seed: u64, size: Size) -> Vec<Planned> {
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
    shoot.scene = place(take.place);
    let shoot = shoot.resized(size.width_px, size.height_px);
    let answer = answer_to(take, &shoot);
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
pub(super) fn story_display(rng: &mut ChaCha8Rng, body: Body) -> Display {
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

fn answer_to(take: &Take, shoot: &Shoot) -> Answer {
    let (verdicts, known_from) = match take.twist {
        Twist::Unslated => (vec![Verdict::None], KnownFrom::Nothing),
        Twist::Stopped => (vec![Verdict::None, Verdict::Unsure], KnownFrom::Nothing),
        _ => (vec![Verdict::Sure], KnownFrom::Clock),
    };
    answer(take.file, take.about, verdicts, known_from, shoot)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rehearse::scene::PHOTOS;

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
}
